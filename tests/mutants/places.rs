//! Finds the places of a source file that can be changed, and writes the file with all changes compiled in.

use crate::operators::{bodies, swaps};
use std::collections::{HashMap, HashSet};
use std::ops::Range;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, BinOp, Expr, ImplItemFn, ItemFn, ItemImpl, ItemMod, UnOp};

/// One change of one place.
#[derive(Debug, Clone)]
pub(crate) struct Mutant {
    pub(crate) id: u32,
    pub(crate) file: String,
    pub(crate) function: String,
    pub(crate) change: String,
    /// Which of its like in the function, from 1.
    pub(crate) ordinal: u32,
    pub(crate) line: usize,
    text: String,
}

impl Mutant {
    /// What names a change when lines have moved.
    pub(crate) fn key(&self) -> String {
        format!("{} {} {} #{}", self.file, self.function, self.change, self.ordinal)
    }
}

/// How a place is written with its changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    /// An expression beside what stands in its stead.
    Instead,
    /// Nothing that becomes an early return.
    Return,
    /// Nothing that becomes the guard of an arm.
    Guard,
}

/// A place and its changes.
#[derive(Debug)]
pub(crate) struct Place {
    range: Range<usize>,
    form: Form,
    pub(crate) mutants: Vec<Mutant>,
}

/// All places of a file in the order in which they are written.
pub(crate) fn find(file: &str, text: &str, first_id: u32) -> Result<Vec<Place>, syn::Error> {
    let tree = syn::parse_file(text)?;
    let mut finder =
        Finder { file, text, next: first_id, owner: Vec::new(), counts: HashMap::new(), places: Vec::new(), replaces_bodies: true };
    finder.visit_file(&tree);
    let mut places = finder.places;
    places.sort_by_key(|p| (p.range.start, p.range.end != p.range.start, std::cmp::Reverse(p.range.end)));
    Ok(places)
}

/// The file with every change compiled in but the left out ones. Marks `/*m7*/ .. /*e7*/` stand around change 7.
pub(crate) fn written(text: &str, places: &[Place], left_out: &HashSet<u32>) -> String {
    emit(text, 0..text.len(), places, &mut 0, left_out)
}

fn emit(text: &str, range: Range<usize>, places: &[Place], next: &mut usize, left_out: &HashSet<u32>) -> String {
    let mut out = String::new();
    let mut at = range.start;
    while let Some(place) = places.get(*next).filter(|p| p.range.start < range.end) {
        *next += 1;
        out += &text[at..place.range.start];
        let kept = place.mutants.iter().filter(|m| !left_out.contains(&m.id));
        let inner = emit(text, place.range.clone(), places, next, left_out);
        let written = match place.form {
            Form::Instead => kept.fold(inner, |inside, m| {
                let id = m.id;
                format!("(if crate::mutation_point::off({id}) {{ ({inside}) }} else {{ /*m{id}*/{}/*e{id}*/ }})", m.text)
            }),
            Form::Return => {
                kept.map(|m| format!(" if !crate::mutation_point::off({0}) {{ /*m{0}*/return {1};/*e{0}*/ }} ", m.id, m.text)).collect()
            }
            Form::Guard => kept.map(|m| format!(" /*m{0}*/if crate::mutation_point::off({0})/*e{0}*/", m.id)).collect(),
        };
        out += &written;
        at = place.range.end;
    }
    out + &text[at..range.end]
}

struct Finder<'t> {
    file: &'t str,
    text: &'t str,
    next: u32,
    owner: Vec<String>,
    counts: HashMap<(String, String), u32>,
    places: Vec<Place>,
    replaces_bodies: bool,
}

impl Finder<'_> {
    fn text_of(&self, of: &impl Spanned) -> &str {
        &self.text[of.span().byte_range()]
    }

    fn push(&mut self, range: Range<usize>, form: Form, changes: Vec<(String, String)>) {
        let function = self.owner.join("::");
        if function.is_empty() || changes.is_empty() {
            return;
        }
        let line = self.text[..range.start].lines().count().max(1);
        let mut mutants = Vec::new();
        for (change, text) in changes {
            let ordinal = self.counts.entry((function.clone(), change.clone())).or_insert(0);
            *ordinal += 1;
            let (file, function, ordinal) = (self.file.to_string(), function.clone(), *ordinal);
            mutants.push(Mutant { id: self.next, file, function, change, ordinal, line, text });
            self.next += 1;
        }
        self.places.push(Place { range, form, mutants });
    }

    /// The function's body replaced, then what is inside.
    fn function(&mut self, attributes: &[Attribute], signature: &syn::Signature, block: &syn::Block) {
        if signature.constness.is_some() || is_test(attributes) {
            return;
        }
        self.owner.push(signature.ident.to_string());
        let body = self.text_of(block).trim_start_matches('{').trim_end_matches('}').trim().to_string();
        if self.replaces_bodies && !body.is_empty() {
            let values: Vec<String> = bodies(&signature.output).into_iter().filter(|v| *v != body).collect();
            let start = block.span().byte_range().start + 1;
            self.push(start..start, Form::Return, values.into_iter().map(|v| (format!("body to {v}"), v)).collect());
        }
        self.visit_block(block);
        self.owner.pop();
    }

    /// Places inside are changed, the whole is not.
    fn both(&mut self, e: &syn::ExprBinary) {
        self.visit_expr(&e.left);
        self.visit_expr(&e.right);
    }
}

fn is_test(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|a| {
        a.path().is_ident("test") || a.path().is_ident("cfg") && a.meta.require_list().is_ok_and(|l| l.tokens.to_string() == "test")
    })
}

/// True where a condition holds a `let`, which may not stand in brackets.
fn binds(e: &Expr) -> bool {
    match e {
        Expr::Let(_) => true,
        Expr::Binary(b) => matches!(b.op, BinOp::And(_)) && (binds(&b.left) || binds(&b.right)),
        _ => false,
    }
}

impl<'ast> Visit<'ast> for Finder<'_> {
    fn visit_item_fn(&mut self, item: &'ast ItemFn) {
        self.function(&item.attrs, &item.sig, &item.block);
    }

    fn visit_impl_item_fn(&mut self, item: &'ast ImplItemFn) {
        self.function(&item.attrs, &item.sig, &item.block);
    }

    fn visit_item_mod(&mut self, item: &'ast ItemMod) {
        if !is_test(&item.attrs) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_item_impl(&mut self, item: &'ast ItemImpl) {
        let of = item.trait_.as_ref().and_then(|(_, path, _)| path.segments.last()).map(|s| s.ident.to_string());
        let of = of.unwrap_or_default();
        if is_test(&item.attrs) || ["Debug", "Display"].contains(&of.as_str()) {
            return;
        }
        let name = match &*item.self_ty {
            syn::Type::Path(p) => p.path.segments.last().map(|s| s.ident.to_string()).unwrap_or_default(),
            other => self.text_of(other).to_string(),
        };
        self.owner.push(name);
        // A default value made from the default value would never end.
        let before = std::mem::replace(&mut self.replaces_bodies, of != "Default");
        item.items.iter().for_each(|i| self.visit_impl_item(i));
        self.replaces_bodies = before;
        self.owner.pop();
    }

    fn visit_expr_binary(&mut self, e: &'ast syn::ExprBinary) {
        let wrapped = Expr::Binary(e.clone());
        if let Some((from, to)) = swaps(&e.op).filter(|_| !binds(&wrapped)) {
            let (left, right) = (self.text_of(&e.left).to_string(), self.text_of(&e.right).to_string());
            let changes = to.iter().map(|t| (format!("{from} to {t}"), format!("({left}) {t} ({right})"))).collect();
            self.push(e.span().byte_range(), Form::Instead, changes);
        }
        self.both(e);
    }

    fn visit_expr_unary(&mut self, e: &'ast syn::ExprUnary) {
        let name = match e.op {
            UnOp::Neg(_) => "- to nothing",
            UnOp::Not(_) => "! to nothing",
            _ => "",
        };
        if !name.is_empty() {
            let text = format!("({})", self.text_of(&e.expr));
            self.push(e.span().byte_range(), Form::Instead, vec![(name.into(), text)]);
        }
        self.visit_expr(&e.expr);
    }

    fn visit_expr_method_call(&mut self, e: &'ast syn::ExprMethodCall) {
        let to = match e.method.to_string().as_str() {
            "min" => "max",
            "max" => "min",
            "reserve" => return,
            _ => "",
        };
        if !to.is_empty() && e.args.len() == 1 {
            let (whole, method) = (e.span().byte_range(), e.method.span().byte_range());
            let text = format!("{}{to}{}", &self.text[whole.start..method.start], &self.text[method.end..whole.end]);
            self.push(whole, Form::Instead, vec![(format!("{} to {to}", e.method), text)]);
        }
        self.visit_expr(&e.receiver);
        e.args.iter().for_each(|a| self.visit_expr(a));
    }

    fn visit_expr_match(&mut self, e: &'ast syn::ExprMatch) {
        self.visit_expr(&e.expr);
        let others = e.arms.last().is_some_and(|a| a.guard.is_none() && matches!(a.pat, syn::Pat::Wild(_)));
        for arm in &e.arms {
            match &arm.guard {
                Some((_, guard)) if !binds(guard) => {
                    let changes = ["true", "false"].map(|t| (format!("guard to {t}"), t.to_string()));
                    self.push(guard.span().byte_range(), Form::Instead, changes.into());
                    self.visit_expr(guard);
                }
                Some((_, guard)) => self.visit_expr(guard),
                None if others && !matches!(arm.pat, syn::Pat::Wild(_)) => {
                    let end = arm.pat.span().byte_range().end;
                    self.push(end..end, Form::Guard, vec![("arm to nothing".into(), String::new())]);
                }
                None => {}
            }
            self.visit_expr(&arm.body);
        }
    }

    fn visit_expr_struct(&mut self, e: &'ast syn::ExprStruct) {
        if e.rest.is_some() {
            let whole = e.span().byte_range();
            let ends: Vec<usize> = e.fields.iter().skip(1).map(|f| f.span().byte_range().start).collect();
            let last = e.dot2_token.map_or(whole.end, |d| d.span().byte_range().start);
            let changes = e.fields.iter().zip(ends.into_iter().chain([last])).map(|(f, end)| {
                let name = self.text_of(&f.member).to_string();
                (
                    format!("field {name} to nothing"),
                    format!("{}{}", &self.text[whole.start..f.span().byte_range().start], &self.text[end..whole.end]),
                )
            });
            let changes = changes.collect();
            self.push(whole, Form::Instead, changes);
        }
        visit::visit_expr_struct(self, e);
    }

    fn visit_expr_call(&mut self, e: &'ast syn::ExprCall) {
        let hint = matches!(&*e.func, Expr::Path(p) if p.path.segments.last().is_some_and(|s| s.ident == "with_capacity"));
        if !hint {
            visit::visit_expr_call(self, e);
        }
    }

    fn visit_expr_repeat(&mut self, e: &'ast syn::ExprRepeat) {
        self.visit_expr(&e.expr);
    }

    fn visit_attribute(&mut self, _: &'ast Attribute) {}
    fn visit_expr_const(&mut self, _: &'ast syn::ExprConst) {}
    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}
    fn visit_item_const(&mut self, _: &'ast syn::ItemConst) {}
    fn visit_item_static(&mut self, _: &'ast syn::ItemStatic) {}
    fn visit_angle_bracketed_generic_arguments(&mut self, _: &'ast syn::AngleBracketedGenericArguments) {}
    fn visit_pat(&mut self, _: &'ast syn::Pat) {}
    fn visit_type(&mut self, _: &'ast syn::Type) {}
    fn visit_variant(&mut self, _: &'ast syn::Variant) {}
}
