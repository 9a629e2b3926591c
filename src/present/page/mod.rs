//! Reports as one HTML page that stands alone: no script, no network, figures inline, readable by screen readers, on a
//! phone and on paper (A4 and Letter).
//!
//! A report is built from parts and turned into text at the end:
//!
//! ```
//! use railtrue::present::page::{Cell, Figure, Page, Section, Table};
//! let table = Table::new("Tolerances", ["error", "±, mm"]).row([Cell::text("span"), Cell::number("0.5")]);
//! let section = Section::new("What to set").text("All hold at once.").table(table);
//! let html = Page::new("Installation card").lead("Nailing bridge").section(section).html();
//! assert!(html.starts_with("<!doctype html>"));
//! ```
//!
//! Everything a caller gives is text and is escaped; only a figure's SVG goes in as it is, so it must be one of ours.

mod html;
mod style;

/// A whole page.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Page {
    title: String,
    lead: Option<String>,
    one_sheet: bool,
    running: Option<String>,
    sections: Vec<Section>,
}

/// A heading with what stands under it; sections inside it come after its own blocks.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Section {
    heading: String,
    beside: bool,
    blocks: Vec<Block>,
    sections: Vec<Self>,
}

/// A part of a section.
#[derive(Debug, Clone, PartialEq)]
enum Block {
    Text(String),
    Table(Table),
    Figure(Figure),
    List(Vec<String>),
    Facts(Vec<(String, String)>),
    Verdict { mark: Mark, text: String },
    Caution(String),
    Signatures(Vec<String>),
}

/// How a verdict is marked: by a word and a sign, the colour only helps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// It is met.
    Good,
    /// It is not met.
    Bad,
    /// It is not decided, or must be known.
    Open,
}

/// A table with a caption; its first column heads the rows.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    caption: String,
    header: Vec<String>,
    rows: Vec<Vec<Cell>>,
}

/// A cell of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    text: String,
    number: bool,
    strong: bool,
}

/// A drawing with what a reader who cannot see it needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    svg: String,
    title: String,
    description: String,
    caption: Option<String>,
}

impl Page {
    /// A page with its main heading.
    #[must_use]
    pub fn new(title: impl Into<String>) -> Self {
        Self { title: title.into(), ..Self::default() }
    }

    /// A line under the main heading.
    #[must_use]
    pub fn lead(self, text: impl Into<String>) -> Self {
        Self { lead: Some(text.into()), ..self }
    }

    /// Printed pages are numbered, with this line at their foot.
    #[must_use]
    pub fn running(self, text: impl Into<String>) -> Self {
        Self { running: Some(text.into()), ..self }
    }

    /// Prints small and close, for what must fit on one sheet.
    #[must_use]
    pub fn one_sheet(self) -> Self {
        Self { one_sheet: true, ..self }
    }

    /// Adds a section.
    #[must_use]
    pub fn section(mut self, section: Section) -> Self {
        self.sections.push(section);
        self
    }

    /// The page as HTML.
    #[must_use]
    pub fn html(&self) -> String {
        html::page(self)
    }
}

impl Section {
    /// A section with its heading.
    #[must_use]
    pub fn new(heading: impl Into<String>) -> Self {
        Self { heading: heading.into(), ..Self::default() }
    }

    /// May stand beside its neighbour where the page is wide enough.
    #[must_use]
    pub fn beside(self) -> Self {
        Self { beside: true, ..self }
    }

    /// Adds a section under this one.
    #[must_use]
    pub fn section(mut self, section: Self) -> Self {
        self.sections.push(section);
        self
    }

    /// Adds a paragraph.
    #[must_use]
    pub fn text(self, text: impl Into<String>) -> Self {
        self.with(Block::Text(text.into()))
    }

    /// Adds a table.
    #[must_use]
    pub fn table(self, table: Table) -> Self {
        self.with(Block::Table(table))
    }

    /// Adds a figure.
    #[must_use]
    pub fn figure(self, figure: Figure) -> Self {
        self.with(Block::Figure(figure))
    }

    /// Adds a list.
    #[must_use]
    pub fn list<T: Into<String>>(self, items: impl IntoIterator<Item = T>) -> Self {
        self.with(Block::List(items.into_iter().map(Into::into).collect()))
    }

    /// Adds names with their values.
    #[must_use]
    pub fn facts<K: Into<String>, V: Into<String>>(self, facts: impl IntoIterator<Item = (K, V)>) -> Self {
        self.with(Block::Facts(facts.into_iter().map(|(k, v)| (k.into(), v.into())).collect()))
    }

    /// Adds a marked sentence.
    #[must_use]
    pub fn verdict(self, mark: Mark, text: impl Into<String>) -> Self {
        self.with(Block::Verdict { mark, text: text.into() })
    }

    /// Adds a framed caution.
    #[must_use]
    pub fn caution(self, text: impl Into<String>) -> Self {
        self.with(Block::Caution(text.into()))
    }

    /// Adds lines to sign on, each for a role.
    #[must_use]
    pub fn signatures<T: Into<String>>(self, roles: impl IntoIterator<Item = T>) -> Self {
        self.with(Block::Signatures(roles.into_iter().map(Into::into).collect()))
    }

    fn with(mut self, block: Block) -> Self {
        self.blocks.push(block);
        self
    }
}

impl Table {
    /// A table with its caption and header.
    #[must_use]
    pub fn new<T: Into<String>>(caption: impl Into<String>, header: impl IntoIterator<Item = T>) -> Self {
        Self { caption: caption.into(), header: header.into_iter().map(Into::into).collect(), rows: Vec::new() }
    }

    /// Adds a row; missing cells are empty, and cells beyond the header are left out.
    #[must_use]
    pub fn row(mut self, cells: impl IntoIterator<Item = Cell>) -> Self {
        let mut row: Vec<Cell> = cells.into_iter().take(self.header.len()).collect();
        row.resize(self.header.len(), Cell::text(""));
        self.rows.push(row);
        self
    }
}

impl Cell {
    /// Words.
    #[must_use]
    pub fn text(text: impl Into<String>) -> Self {
        Self { text: text.into(), number: false, strong: false }
    }

    /// A number, set flush right and never broken.
    #[must_use]
    pub fn number(text: impl Into<String>) -> Self {
        Self { text: text.into(), number: true, strong: false }
    }

    /// Set in bold.
    #[must_use]
    pub fn strong(self) -> Self {
        Self { strong: true, ..self }
    }
}

impl Figure {
    /// A drawing of this program with a title, and in words what it shows.
    #[must_use]
    pub fn new(svg: impl Into<String>, title: impl Into<String>, description: impl Into<String>) -> Self {
        Self { svg: svg.into(), title: title.into(), description: description.into(), caption: None }
    }

    /// Adds a line under the drawing.
    #[must_use]
    pub fn caption(self, text: impl Into<String>) -> Self {
        Self { caption: Some(text.into()), ..self }
    }
}
