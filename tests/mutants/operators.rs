//! What an operator may be changed to, and what a function may give back instead of its work.

use syn::{BinOp, GenericArgument, PathArguments, ReturnType, Type};

/// The text of an operator and of those put in its place.
pub(crate) fn swaps(op: &BinOp) -> Option<(&'static str, &'static [&'static str])> {
    Some(match op {
        BinOp::Add(_) => ("+", &["-", "*"]),
        BinOp::Sub(_) => ("-", &["+", "/"]),
        BinOp::Mul(_) => ("*", &["+", "/"]),
        BinOp::Div(_) => ("/", &["*", "%"]),
        BinOp::Rem(_) => ("%", &["/", "+"]),
        BinOp::Lt(_) => ("<", &["<=", ">", "=="]),
        BinOp::Gt(_) => (">", &[">=", "<", "=="]),
        BinOp::Le(_) => ("<=", &["<", ">"]),
        BinOp::Ge(_) => (">=", &[">", "<"]),
        BinOp::Eq(_) => ("==", &["!="]),
        BinOp::Ne(_) => ("!=", &["=="]),
        BinOp::And(_) => ("&&", &["||"]),
        BinOp::Or(_) => ("||", &["&&"]),
        BinOp::BitAnd(_) => ("&", &["|", "^"]),
        BinOp::BitOr(_) => ("|", &["&", "^"]),
        BinOp::BitXor(_) => ("^", &["|", "&"]),
        BinOp::Shl(_) => ("<<", &[">>"]),
        BinOp::Shr(_) => (">>", &["<<"]),
        BinOp::AddAssign(_) => ("+=", &["-=", "*="]),
        BinOp::SubAssign(_) => ("-=", &["+=", "/="]),
        BinOp::MulAssign(_) => ("*=", &["+=", "/="]),
        BinOp::DivAssign(_) => ("/=", &["*=", "%="]),
        BinOp::BitAndAssign(_) => ("&=", &["|=", "^="]),
        BinOp::BitOrAssign(_) => ("|=", &["&=", "^="]),
        BinOp::BitXorAssign(_) => ("^=", &["|=", "&="]),
        _ => return None,
    })
}

/// Values that a function's body is replaced by; none where no simple one is known.
pub(crate) fn bodies(output: &ReturnType) -> Vec<String> {
    match output {
        ReturnType::Default => vec!["()".into()],
        ReturnType::Type(_, of) => values(of),
    }
}

fn values(of: &Type) -> Vec<String> {
    match of {
        Type::Path(path) => named(path),
        Type::Tuple(tuple) => {
            let parts: Option<Vec<String>> = tuple.elems.iter().map(|t| values(t).into_iter().next()).collect();
            parts.map(|p| vec![format!("({})", p.join(", "))]).unwrap_or_default()
        }
        Type::Array(array) => values(&array.elem).into_iter().map(|v| format!("std::array::from_fn(|_| {v})")).collect(),
        Type::Reference(r) if matches!(&*r.elem, Type::Path(p) if p.path.is_ident("str")) => vec!["\"\"".into(), "\"mutant\"".into()],
        _ => Vec::new(),
    }
}

fn named(path: &syn::TypePath) -> Vec<String> {
    let Some(last) = path.path.segments.last() else { return Vec::new() };
    let inner = || match &last.arguments {
        PathArguments::AngleBracketed(list) => {
            list.args.iter().find_map(|a| if let GenericArgument::Type(t) = a { Some(values(t)) } else { None })
        }
        _ => None,
    };
    let texts = |list: &[&str]| list.iter().map(ToString::to_string).collect();
    match last.ident.to_string().as_str() {
        "f64" => texts(&["0.0", "1.0"]),
        "bool" => texts(&["true", "false"]),
        "usize" | "u8" | "u32" | "u64" | "i32" | "i64" => texts(&["0", "1"]),
        "String" => texts(&["String::new()", "\"mutant\".into()"]),
        "Vec" => texts(&["Vec::new()"]),
        "Option" => {
            let some = inner().unwrap_or_default().into_iter().take(1).map(|v| format!("Some({v})"));
            std::iter::once("None".to_string()).chain(some).collect()
        }
        "Result" => inner().unwrap_or_default().into_iter().map(|v| format!("Ok({v})")).collect(),
        _ => texts(&["Default::default()"]),
    }
}
