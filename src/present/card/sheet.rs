//! The card as a page that prints on one sheet.

use super::content::Content;
use super::sketch::{DESCRIPTION, sketch};
use crate::present::CAUTIONS;
use crate::present::figure::FigureError;
use crate::present::page::{Cell, Figure, Page, Section, Table};

pub(super) fn page(card: &Content) -> Result<Page, FigureError> {
    let mut set = Section::new("What to set: all of it at once");
    for (mark, text) in &card.statements {
        set = set.verdict(*mark, text.as_str());
    }
    let mut header = vec!["error".to_string()];
    header.extend(card.columns.iter().cloned());
    header.push("how it is measured".into());
    let mut table = Table::new("Tolerances that hold together; ± about nominal, a single value is a whole zone", header);
    for row in &card.rows {
        let mut cells = vec![Cell::text(format!("{} {}, {}", row.number, row.set.label, row.set.unit))];
        cells.extend(row.set.cells.iter().map(value));
        cells.push(Cell::text(row.measured));
        table = table.row(cells);
    }
    let svg = sketch(&|kind| card.number(kind))?;
    let drawing = Figure::new(svg, "What each error is and where it is measured", DESCRIPTION);
    let mut header = vec!["made before".to_string()];
    header.extend(card.columns.iter().cloned());
    let mut made = Table::new("The tolerances above hold only with these", header);
    for row in &card.made {
        let head = std::iter::once(Cell::text(format!("{}, {}", row.label, row.unit)));
        made = made.row(head.chain(row.cells.iter().map(value)));
    }
    let mut page = Page::new("Installation card").lead(card.machine.as_str()).one_sheet().section(set.table(table));
    page = page.section(Section::new("What each error is").figure(drawing));
    if !card.made.is_empty() {
        page = page.section(Section::new("What must be made so").beside().table(made));
    }
    let origin = Section::new("Where the numbers come from").facts(card.origin.clone());
    page = page.section(Section::new("Conditions").beside().facts(card.conditions.clone()).section(origin));
    Ok(page.section(Section::new("Cautions").caution(CAUTIONS.replace('\n', " ")).signatures(["Set by", "Checked by"])))
}

fn value(cell: &Option<String>) -> Cell {
    cell.as_ref().map_or_else(|| Cell::number("no set"), |text| Cell::number(text.as_str()).strong())
}
