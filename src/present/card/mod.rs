//! The installation card: the one set of tolerances that holds all at once, on one sheet, as a page and as a picture.

mod content;
mod pen;
mod picture;
mod sheet;
mod sketch;

use content::Content;

use super::figure::FigureError;
use super::json::Origin;
use crate::input::Plan;
use crate::study::LimitsResult;

/// The card in both forms.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InstallationCard {
    /// A picture, as SVG.
    pub svg: String,
    /// A page that prints on one sheet.
    pub html: String,
}

/// Makes the card; `replay` is the command that gives the same numbers.
///
/// # Errors
/// The picture could not be drawn.
pub fn installation_card(plan: &Plan, limits: &LimitsResult, origin: &Origin, replay: &str) -> Result<InstallationCard, FigureError> {
    let content = Content::new(plan, limits, origin, replay);
    Ok(InstallationCard { svg: picture::svg(&content)?, html: sheet::page(&content)?.html() })
}
