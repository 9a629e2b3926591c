//! Style of the pages: readable on a phone, on a desk and on paper. Contrasts are at least 4.5 to 1 (WCAG AA).

/// The style sheet; the contrasts of its colours are held in the test below.
pub(super) const CSS: &str = "\
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 62rem; background: #fff; color: #1e1e1e; \
font: 1rem/1.45 \"DejaVu Sans\", Verdana, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 0 0 0.2rem; color: #123c6e; }
h2 { font-size: 1.2rem; margin: 1.4rem 0 0.4rem; border-bottom: 2px solid #123c6e; padding-bottom: 0.1rem; }
h3 { font-size: 1.05rem; margin: 1rem 0 0.3rem; }
h4, h5, h6 { font-size: 1rem; margin: 0.8rem 0 0.2rem; }
p, ul, dl { margin: 0.4rem 0; }
ul { padding-left: 1.2rem; }
.lead { font-size: 1.05rem; color: #4a4a4a; margin: 0; }
.wide { overflow-x: auto; margin: 0.5rem 0; }
.wide:focus-visible { outline: 3px solid #123c6e; }
table { border-collapse: collapse; min-width: 100%; }
caption { text-align: left; color: #4a4a4a; padding-bottom: 0.2rem; }
th, td { text-align: left; vertical-align: top; padding: 0.25rem 0.6rem; border-bottom: 1px solid #c8c8c8; }
thead th { border-bottom: 2px solid #1e1e1e; vertical-align: bottom; white-space: normal; }
tbody th { font-weight: normal; }
.again { display: none; }
thead .number { width: 6.5em; white-space: normal; }
.number { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
dl > div { display: flex; gap: 0.8rem; padding: 0.1rem 0; }
dt { flex: 0 0 8em; color: #4a4a4a; }
dd { margin: 0; flex: 1; min-width: 0; }
figure { margin: 0.6rem 0; }
figure svg { display: block; width: 100%; height: auto; }
figcaption { color: #4a4a4a; font-size: 0.92em; }
.verdict { padding: 0.4rem 0.7rem; border-left: 0.4rem solid; }
.good { color: #1d5c2e; background: #eef6f0; }
.bad { color: #8c1d13; background: #fbefee; }
.open { color: #6b4a00; background: #fbf5e6; }
.caution { border: 2px solid #6b4a00; padding: 0.5rem 0.7rem; }
.signatures { list-style: none; padding: 0; display: flex; flex-wrap: wrap; gap: 1rem 2rem; }
.signatures li { flex: 1 1 16rem; border-top: 1px solid #1e1e1e; margin-top: 2.2rem; padding-top: 0.2rem; }
@media screen and (max-width: 40rem) {
body { padding: 0.6rem; }
h1 { font-size: 1.3rem; }
thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
table, caption, tbody, tr, th, td { display: block; }
.number { text-align: left; }
tr { border-bottom: 1px solid #c8c8c8; padding: 0.3rem 0; }
tbody th, td { border: 0; padding: 0.05rem 0; text-align: left; white-space: normal; }
tbody th { font-weight: bold; }
td[data-head]:not(:empty)::before { content: attr(data-head) \": \"; color: #4a4a4a; font-weight: normal; }
dl > div { display: block; }
figure { overflow-x: auto; }
figure svg { min-width: var(--readable, 34rem); }
}
@media (min-width: 60rem), print {
main { display: grid; grid-template-columns: 1fr 1fr; column-gap: 1.5rem; }
main > section { grid-column: 1 / -1; min-width: 0; }
main > section.beside { grid-column: auto; }
}
@page { margin: 9mm; }
@media print {
body { max-width: none; padding: 0; font-size: 9.5pt; }
.wide { overflow: visible; }
h1 { font-size: 16pt; }
h2 { font-size: 12pt; }
h3 { font-size: 10.5pt; }
.lead { font-size: 10pt; }
h2, h3, h4, .again { break-after: avoid; }
tr, figure, .caution, .verdict, .signatures { break-inside: avoid; }
thead { display: table-header-group; }
caption { display: none; }
.again { display: table-row; }
.again th { border: 0; color: #4a4a4a; font-weight: normal; padding-left: 0; }
.verdict, .caution { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
.one-sheet { font-size: 7pt; line-height: 1.18; }
.one-sheet header { display: flex; align-items: baseline; gap: 1em; }
.one-sheet h1 { font-size: 13pt; }
.one-sheet h2:first-child { margin-top: 2pt; }
.one-sheet h3 { border-bottom: 1px solid #123c6e; }
.one-sheet h2, .one-sheet h3 { font-size: 9pt; margin: 4pt 0 1pt; border-bottom-width: 1px; padding: 0; }
.one-sheet p, .one-sheet ul, .one-sheet dl, .one-sheet .wide, .one-sheet figure { margin: 2pt 0; }
.one-sheet .lead { font-size: 8.5pt; }
.one-sheet th, .one-sheet td { padding: 0.5pt 4pt; font-size: 7pt; }
.one-sheet thead th { border-bottom-width: 1px; }
.one-sheet dl > div { display: flex; padding: 0; }
.one-sheet .caution { padding: 3pt 5pt; border-width: 1px; }
.one-sheet .verdict { padding: 2pt 5pt; }
.one-sheet .signatures li { margin-top: 12pt; padding-top: 0; }
.one-sheet .signatures { margin: 0; }
.one-sheet figure svg { width: 90%; margin: 0 auto; }
.one-sheet dt { flex-basis: 7em; }
}
";

#[cfg(test)]
mod tests {
    use super::CSS;

    /// Relative luminance (WCAG 2.2).
    fn luminance(colour: &str) -> f64 {
        let part = |i: usize| {
            let c = f64::from(u8::from_str_radix(&colour[i..i + 2], 16).unwrap_or(0)) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }

    #[test]
    fn every_text_has_a_contrast_of_at_least_4_5() {
        let pairs = [
            ("#1e1e1e", "#ffffff"),
            ("#4a4a4a", "#ffffff"),
            ("#123c6e", "#ffffff"),
            ("#8c1d13", "#fbefee"),
            ("#1d5c2e", "#eef6f0"),
            ("#6b4a00", "#fbf5e6"),
        ];
        for (ink, paper) in pairs {
            assert!(CSS.contains(ink) && (paper == "#ffffff" || CSS.contains(paper)), "{ink} on {paper} is not in use");
            let contrast = (luminance(paper) + 0.05) / (luminance(ink) + 0.05);
            assert!(contrast >= 4.5, "{ink} on {paper}: {contrast}");
        }
        let texts = CSS.match_indices("color: #").filter(|(i, _)| !CSS[..*i].ends_with("border-"));
        for (i, _) in texts {
            let colour = &CSS[i + 7..i + 14];
            assert!(pairs.iter().any(|(ink, _)| *ink == colour), "{colour} has no pair");
        }
    }
}
