//! A result's folder: page, data and figures held against each other and against what is made again.

use std::path::{Path, PathBuf};

use super::again::{Again, figures};
use super::{Kept, Told};
use crate::cli::{Failure, output};
use crate::present::same_drawing;

/// Names under which a report's data is kept.
const DATA: [&str; 2] = ["study.json", "review.json"];

/// The page beside the data.
const PAGE: &str = "report.html";

/// The data file of a folder.
pub(super) fn data_of(folder: &Path) -> Result<PathBuf, Failure> {
    let shown = output::shown(folder);
    match DATA.map(|name| folder.join(name)).into_iter().filter(|p| p.exists()).collect::<Vec<_>>().as_slice() {
        [one] => Ok(one.clone()),
        [] => Err(Failure(format!("{shown}: there is no {} in this folder\n    help: {}", DATA.join(" and no "), super::HELP))),
        _ => Err(Failure(format!("{shown}: there are several data files in this folder\n    help: Name one of {}.", DATA.join(", ")))),
    }
}

/// Holds the folder's page and figures against the data and the result made again. What was not looked at is returned.
pub(super) fn check(folder: &Path, kept: &Kept, again: &Again, told: &mut Told) -> Result<Vec<String>, Failure> {
    let listed = figures(kept)?;
    let mut wrong = Vec::new();
    for (file, hash) in &listed {
        // A name is a file of this folder, nothing beyond it.
        let plain = Path::new(file).file_name().is_some_and(|n| n == file.as_str());
        match std::fs::read(folder.join(file)).ok().filter(|_| plain) {
            None => wrong.push(format!("figure {file}: MISSING from this folder")),
            Some(bytes) if output::sha256(&bytes) != *hash => wrong.push(format!("figure {file}: CHANGED, its hash is not the data's")),
            Some(_) => {}
        }
    }
    let drawn = again.figures()?;
    let mut kept_figures = Vec::new();
    for (name, svg) in &drawn {
        let file = format!("{name}.svg");
        let there = std::fs::read_to_string(folder.join(&file)).unwrap_or_default();
        if !listed.iter().any(|(f, _)| *f == file) {
            wrong.push(format!("figure {file}: NOT in the data's list"));
        } else if !same_drawing(&there, svg) {
            wrong.push(format!("figure {file}: DIFFERS from the one drawn again by more than a pixel"));
        }
        kept_figures.push((*name, there));
    }
    wrong.iter().for_each(|line| told.line(false, line));
    if wrong.is_empty() {
        told.line(true, &format!("figures: {} files with the data's hashes, drawings the same to a pixel", listed.len()));
    }
    let page =
        std::fs::read_to_string(folder.join(PAGE)).map_err(|e| Failure(format!("{}: cannot be read: {e}", folder.join(PAGE).display())))?;
    if page.contains(&kept.sha256) {
        told.line(true, &format!("page: carries the hash of its data, {}", kept.sha256));
    } else {
        told.line(false, &format!("page: {PAGE} is NOT the page of this data: it does not carry its hash {}", kept.sha256));
    }
    let made = again.page(kept.text("command")?, &kept.sha256, &kept_figures);
    match page.lines().zip(made.lines()).position(|(a, b)| a != b) {
        None if page == made => told.line(true, &format!("page: {PAGE} is what this data makes, word for word")),
        at => {
            let line = at.unwrap_or_else(|| page.lines().count().min(made.lines().count()));
            let of = |text: &str| text.lines().nth(line).map_or_else(|| "nothing".into(), short);
            told.line(false, &format!("page: {PAGE} DIFFERS from what this data makes, first in line {}", line + 1));
            told.line(false, &format!("- was {}, is {}", of(&page), of(&made)));
        }
    }
    others(folder, kept, &listed)
}

/// A line of a page without its tags, cut short.
fn short(line: &str) -> String {
    let mut text = String::new();
    let mut inside = false;
    for c in line.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            c if !inside => text.push(c),
            _ => {}
        }
    }
    let text = text.trim();
    if text.chars().count() > 100 { format!("\"{}...\"", text.chars().take(97).collect::<String>()) } else { format!("\"{text}\"") }
}

/// Files of the folder that belong to no check.
fn others(folder: &Path, kept: &Kept, listed: &[(String, String)]) -> Result<Vec<String>, Failure> {
    let refused = |e: std::io::Error| Failure(format!("{}: this folder cannot be read: {e}", folder.display()));
    let mut names = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(refused)? {
        let name = entry.map_err(refused)?.file_name().to_string_lossy().into_owned();
        let known = name == PAGE || kept.file.ends_with(&name) || name.starts_with('.') || listed.iter().any(|(f, _)| *f == name);
        if !known {
            names.push(name);
        }
    }
    names.sort();
    Ok(if names.is_empty() { Vec::new() } else { vec![format!("other files of the folder: {}", names.join(", "))] })
}
