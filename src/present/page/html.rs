//! From a page's parts to HTML. Every text goes through `escaped`; tags are written nowhere else.

use std::fmt::Write as _;

use super::style::CSS;
use super::{Block, Figure, Mark, Page, Section, Table};
use crate::present::figure::escaped;

/// Deepest heading of HTML.
const DEEPEST: usize = 6;

/// What is being written, and how many figures and tables are.
struct Writer {
    out: String,
    numbered: usize,
}

/// The page as HTML.
pub(super) fn page(page: &Page) -> String {
    let title = escaped(&page.title);
    let class = if page.one_sheet { " class=\"one-sheet\"" } else { "" };
    let running = page.running.as_deref().map_or_else(String::new, numbered_pages);
    let mut w = Writer { out: String::new(), numbered: 0 };
    let _ = write!(
        w.out,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n<style>\n{CSS}{running}</style>\n</head>\n\
         <body{class}>\n<header>\n<h1>{title}</h1>\n"
    );
    if let Some(lead) = &page.lead {
        let _ = writeln!(w.out, "<p class=\"lead\">{}</p>", escaped(lead));
    }
    w.out += "</header>\n<main>\n";
    page.sections.iter().for_each(|section| w.section(section, 2));
    w.out += "</main>\n</body>\n</html>\n";
    w.out
}

impl Writer {
    fn section(&mut self, section: &Section, level: usize) {
        let h = level.min(DEEPEST);
        let class = if section.beside { " class=\"beside\"" } else { "" };
        let _ = writeln!(self.out, "<section{class}>\n<h{h}>{}</h{h}>", escaped(&section.heading));
        section.blocks.iter().for_each(|block| self.block(block));
        section.sections.iter().for_each(|s| self.section(s, level + 1));
        self.out += "</section>\n";
    }

    fn block(&mut self, block: &Block) {
        match block {
            Block::Text(text) => self.element("p", "", text),
            Block::Table(table) => self.table(table),
            Block::Figure(figure) => self.figure(figure),
            Block::List(items) => {
                self.out += "<ul>\n";
                items.iter().for_each(|item| self.element("li", "", item));
                self.out += "</ul>\n";
            }
            Block::Facts(facts) => {
                self.out += "<dl>\n";
                for (name, value) in facts {
                    let _ = writeln!(self.out, "<div><dt>{}</dt><dd>{}</dd></div>", escaped(name), escaped(value));
                }
                self.out += "</dl>\n";
            }
            Block::Verdict { mark, text } => {
                let (class, sign) = match mark {
                    Mark::Good => ("good", "✓"),
                    Mark::Bad => ("bad", "✗"),
                    Mark::Open => ("open", "?"),
                };
                let text = escaped(text);
                let _ = writeln!(self.out, "<p class=\"verdict {class}\"><span aria-hidden=\"true\">{sign}</span> {text}</p>");
            }
            Block::Caution(text) => self.element("p", " class=\"caution\" role=\"note\"", text),
            Block::Signatures(roles) => self.signatures(roles),
        }
    }

    fn element(&mut self, tag: &str, attributes: &str, text: &str) {
        let _ = writeln!(self.out, "<{tag}{attributes}>{}</{tag}>", escaped(text));
    }

    /// A table in a box of its own, in which it may scroll (with the keyboard too). A phone stacks its cells, each under the
    /// head of its column; the roles keep it a table for a screen reader even then.
    fn table(&mut self, table: &Table) {
        self.numbered += 1;
        let n = self.numbered;
        let caption = escaped(&table.caption);
        let _ = writeln!(
            self.out,
            "<div class=\"wide\" role=\"region\" aria-labelledby=\"t{n}\" tabindex=\"0\">\n<table role=\"table\">\n<caption id=\"t{n}\">{caption}</caption>\n<thead role=\"rowgroup\">\n\
             <tr class=\"again\" aria-hidden=\"true\"><th colspan=\"{}\">{caption}</th></tr>\n<tr role=\"row\">",
            table.header.len()
        );
        for (i, head) in table.header.iter().enumerate() {
            let class = class(table.rows.iter().any(|row| row[i].number));
            let _ = writeln!(self.out, "<th scope=\"col\" role=\"columnheader\"{class}>{}</th>", escaped(head));
        }
        self.out += "</tr>\n</thead>\n<tbody role=\"rowgroup\">\n";
        for row in &table.rows {
            self.out += "<tr role=\"row\">";
            for (i, (cell, head)) in row.iter().zip(&table.header).enumerate() {
                let (tag, start) = match i {
                    0 => ("th", "th scope=\"row\" role=\"rowheader\"".to_string()),
                    _ => ("td", format!("td role=\"cell\" data-head=\"{}\"", escaped(head))),
                };
                let text = escaped(&cell.text);
                let text = if cell.strong { format!("<strong>{text}</strong>") } else { text };
                let _ = write!(self.out, "<{start}{}>{text}</{tag}>", class(cell.number));
            }
            self.out += "</tr>\n";
        }
        self.out += "</tbody>\n</table>\n</div>\n";
    }

    fn figure(&mut self, figure: &Figure) {
        self.numbered += 1;
        self.out += "<figure>\n";
        self.out += &inline(figure, self.numbered);
        if let Some(caption) = &figure.caption {
            let _ = writeln!(self.out, "<figcaption>{}</figcaption>", escaped(caption));
        }
        self.out += "</figure>\n";
    }

    fn signatures(&mut self, roles: &[String]) {
        self.out += "<ul class=\"signatures\">\n";
        roles.iter().for_each(|role| self.element("li", "", &format!("{role}: name, date, signature")));
        self.out += "</ul>\n";
    }
}

/// Style of printed pages that carry a line and their number.
fn numbered_pages(line: &str) -> String {
    // In a style sheet a letter may be written by its number: nothing that a plan holds can end the text or the sheet.
    let text: String =
        line.chars().map(|c| if c.is_ascii_alphanumeric() || c == ' ' { c.into() } else { format!("\\{:x} ", u32::from(c)) }).collect();
    format!(
        "@page {{ margin: 12mm 9mm 14mm; @bottom-left {{ content: \"{text}\"; font: 8pt sans-serif; color: #4a4a4a; }} \
         @bottom-right {{ content: \"page \" counter(page) \" of \" counter(pages); font: 8pt sans-serif; color: #4a4a4a; }} }}\n"
    )
}

fn class(number: bool) -> &'static str {
    if number { " class=\"number\"" } else { "" }
}

/// A figure's SVG with its text alternative inside; its size is left to the page.
fn inline(figure: &Figure, n: usize) -> String {
    let start = figure.svg.find("<svg").unwrap_or(0);
    let svg = &figure.svg[start..];
    let end = svg.find('>').map_or(0, |i| i + 1);
    let (tag, rest) = svg.split_at(end);
    let view_box = attribute(tag, "viewBox").unwrap_or_default();
    let (title, description) = (escaped(&figure.title), escaped(&figure.description));
    let least = readable_px(view_box, rest).map_or_else(String::new, |px| format!(" style=\"--readable: {px:.0}px\""));
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\"{least} aria-labelledby=\"f{n} d{n}\" viewBox=\"{view_box}\">\
         <title id=\"f{n}\">{title}</title><desc id=\"d{n}\">{description}</desc>{}\n",
        rest.trim_end()
    )
}

/// Smallest letters on a screen, pixels.
const SMALLEST_LETTERS: f64 = 11.0;

/// Width at which a figure's smallest letters can be read on a screen; none where it has no letters.
fn readable_px(view_box: &str, svg: &str) -> Option<f64> {
    let width: f64 = view_box.split(' ').nth(2)?.parse().ok()?;
    let sizes = svg.match_indices(" font-size=\"").filter_map(|(i, found)| svg[i + found.len()..].split('"').next()?.parse::<f64>().ok());
    let smallest = sizes.fold(f64::INFINITY, f64::min);
    smallest.is_finite().then(|| (SMALLEST_LETTERS * width / smallest).ceil())
}

/// Value of an attribute in a tag.
fn attribute<'t>(tag: &'t str, name: &str) -> Option<&'t str> {
    let from = tag.find(&format!(" {name}=\""))? + name.len() + 3;
    tag[from..].split('"').next()
}

#[cfg(test)]
mod tests {
    use crate::present::page::{Cell, Figure, Mark, Page, Section, Table};

    const BAD: &str = "<b>&\"'</b>";

    /// A page that has the bad text wherever a text can stand.
    fn full() -> String {
        let table = Table::new(BAD, [BAD, "n"]).row([Cell::text(BAD), Cell::number(BAD).strong()]).row([Cell::text("short")]);
        let svg = "<?xml version=\"1.0\"?>\n<svg width=\"10\" height=\"5\" viewBox=\"0 0 40 20\" role=\"img\"><path d=\"M0 0\"/></svg>\n";
        let inner = Section::new(BAD).text("inside");
        let section = Section::new(BAD)
            .text(BAD)
            .table(table)
            .figure(Figure::new(svg, BAD, BAD).caption(BAD))
            .list([BAD])
            .facts([(BAD, BAD)])
            .verdict(Mark::Bad, BAD)
            .caution(BAD)
            .signatures([BAD])
            .section(inner);
        Page::new(BAD).lead(BAD).section(section).section(Section::new("next").beside()).html()
    }

    #[test]
    fn every_text_is_escaped() {
        let html = full();
        assert!(!html.contains("<b>") && !html.contains("&\"'"), "{html}");
        // Title twice, lead, two headings, text, caption twice, header, two cells, figure's three, list, fact's two, verdict, caution, signature.
        assert_eq!(html.matches("&lt;b&gt;&amp;").count(), 20);
    }

    #[test]
    fn headings_start_at_one_and_never_skip_a_level() {
        let html = full();
        let levels: Vec<u32> = html.match_indices("<h").filter_map(|(i, _)| html[i + 2..i + 3].parse().ok()).collect();
        assert_eq!(levels, [1, 2, 3, 2]);
        let deep = (0..8).fold(Section::new("last"), |inner, _| Section::new("outer").section(inner));
        assert!(!Page::new("deep").section(deep).html().contains("<h7"));
    }

    #[test]
    fn tables_have_header_cells_and_full_rows() {
        let html = full();
        assert_eq!(html.matches("scope=\"col\"").count(), 2);
        assert_eq!(html.matches("scope=\"row\"").count(), 2);
        assert!(html.contains("role=\"rowheader\">short</th><td role=\"cell\" data-head=\"n\"></td></tr>"));
    }

    #[test]
    fn figures_have_a_text_alternative_and_no_fixed_size() {
        let html = full();
        assert!(html.contains("role=\"img\" aria-labelledby=\"f2 d2\" viewBox=\"0 0 40 20\"><title id=\"f2\">"));
        assert!(!html.contains("<?xml") && !html.contains("width=\"10\""));
        assert_eq!(html.matches("</svg>").count(), 1);
    }

    #[test]
    fn nothing_is_fetched_or_run() {
        let html = full().replace("http://www.w3.org/2000/svg", "");
        for word in ["<script", "http:", "https:", "src=", "url(", "@import", "javascript", "onload"] {
            assert!(!html.contains(word), "{word}");
        }
    }
}
