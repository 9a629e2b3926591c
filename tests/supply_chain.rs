//! What is built in: licences that we may pass on, from the public registry only, and no unsafe code of our own.

use std::path::Path;
use std::process::Command;

/// Licences that ask for no more than to be named.
const ALLOWED: [&str; 12] = [
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "0BSD",
    "BSL-1.0",
    "Zlib",
    "Unicode-3.0",
    "Unlicense",
    "CC0-1.0",
];

/// The part of an expression between operators at the outer level.
fn parts<'e>(expression: &'e str, operator: &str) -> Vec<&'e str> {
    let (mut depth, mut from, mut list) = (0, 0, Vec::new());
    for (i, c) in expression.char_indices() {
        match c {
            '(' => depth += 1,
            ')' => depth -= 1,
            _ if depth == 0 && i >= from && expression[i..].starts_with(operator) => {
                list.push(expression[from..i].trim());
                from = i + operator.len();
            }
            _ => {}
        }
    }
    list.push(expression[from..].trim());
    list
}

/// True where a licence expression (SPDX, or with the older slash) leaves a choice that is allowed.
fn allowed(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ");
    let mut bare = expression.trim();
    if bare.starts_with('(')
        && bare.ends_with(')')
        && parts(&bare[1..bare.len() - 1], "\0").len() == 1
        && balanced(&bare[1..bare.len() - 1])
    {
        bare = &bare[1..bare.len() - 1];
    }
    let or = parts(bare, " OR ");
    if or.len() > 1 {
        return or.into_iter().any(allowed);
    }
    let and = parts(bare, " AND ");
    if and.len() > 1 {
        return and.into_iter().all(allowed);
    }
    ALLOWED.contains(&bare)
}

fn balanced(text: &str) -> bool {
    let mut depth = 0;
    text.chars().all(|c| {
        depth += i32::from(c == '(') - i32::from(c == ')');
        depth >= 0
    })
}

#[test]
fn licence_expressions_are_understood() {
    assert!(allowed("MIT OR GPL-3.0") && allowed("(MIT OR Apache-2.0) AND Unicode-3.0") && allowed("MIT/Apache-2.0"));
    assert!(!allowed("GPL-3.0") && !allowed("MIT AND GPL-3.0") && !allowed("(MIT OR Apache-2.0) AND LGPL-2.1") && !allowed(""));
    assert!(allowed("(MIT) OR (GPL-3.0)") && allowed("(MIT AND Zlib)"));
}

#[test]
fn everything_built_in_has_a_licence_we_may_pass_on_and_comes_from_the_registry() {
    let run = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let value: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    let packages = value["packages"].as_array().unwrap();
    assert!(packages.len() > 100, "{} packages", packages.len());
    let bad: Vec<String> = packages
        .iter()
        .filter(|p| {
            let ours = p["name"] == "railtrue";
            let registry = p["source"].as_str().is_some_and(|s| s.starts_with("registry+https://github.com/rust-lang/crates.io-index"));
            !allowed(p["license"].as_str().unwrap_or("")) || !(ours || registry)
        })
        .map(|p| format!("{} {}: {} from {}", p["name"], p["version"], p["license"], p["source"]))
        .collect();
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}

#[test]
fn no_unsafe_code_is_ours() {
    let manifest = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")).unwrap();
    assert!(manifest.contains("unsafe_code = \"forbid\""));
}
