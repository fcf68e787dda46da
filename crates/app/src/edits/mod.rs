//! What the pilot does to the land, as edits: from an area and an intention to an [`Edit`], or one sentence why not.
//!
//! Nothing here knows how it is drawn, and nothing here changes an area; the model applies the edit.

pub mod describe;
pub mod draft;
pub mod drills;
pub mod outline;
pub mod proposals;
pub mod things;

use sparefield_data::area::{Area, Change, Edit, Places, Swap};
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use sparefield_geometry::outline::OutlineError;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Why something was not done, for people.
#[derive(Clone, Debug, PartialEq)]
pub struct Refused {
    /// One sentence.
    pub sentence: String,
    /// Where on the map, if somewhere.
    pub at: Option<Xy>,
}

impl Refused {
    /// A reason that belongs to no place.
    #[must_use]
    pub fn because(sentence: impl Into<String>) -> Self {
        Self { sentence: sentence.into(), at: None }
    }
}

impl From<OutlineError> for Refused {
    fn from(error: OutlineError) -> Self {
        let at = match &error {
            OutlineError::Crosses(crossing) => Some(crossing.at),
            OutlineError::Neighbour { reason, .. } => match reason.as_ref() {
                OutlineError::Crosses(crossing) => Some(crossing.at),
                _ => None,
            },
            _ => None,
        };
        let text = error.to_string();
        let mut letters = text.chars();
        let first = letters.next().map_or_else(String::new, |c| c.to_uppercase().collect());
        Self { sentence: format!("{first}{}.", letters.as_str()), at }
    }
}

/// An edit, or why not.
pub type Made = Result<Edit, Refused>;

fn gone(what: &str) -> Refused {
    Refused::because(format!("The {what} is no longer there."))
}

/// The field with an identifier and its index.
pub(crate) fn field<'a>(area: &'a Area, id: &str) -> Result<(usize, &'a Arc<Field>), Refused> {
    area.fields.iter().enumerate().find(|(_, f)| f.id == id).ok_or_else(|| gone("field"))
}

/// The fields with identifiers and their indices.
pub(crate) fn fields<'a>(area: &'a Area, ids: &[String]) -> Result<Vec<(usize, &'a Arc<Field>)>, Refused> {
    let places = Places::new(&area.fields, ids.len());
    ids.iter().map(|id| places.find(id).ok_or_else(|| gone("field"))).collect()
}

/// The hazard with an identifier.
pub(crate) fn hazard<'a>(area: &'a Area, id: &str) -> Result<&'a Arc<Hazard>, Refused> {
    area.hazards.iter().find(|h| h.id == id).ok_or_else(|| gone("hazard"))
}

/// The quiet zone with an identifier.
pub(crate) fn quiet_zone<'a>(area: &'a Area, id: &str) -> Result<&'a Arc<QuietZone>, Refused> {
    area.quiet_zones.iter().find(|z| z.id == id).ok_or_else(|| gone("quiet zone"))
}

/// Fields changed at their indices, as changes.
fn changed(fields: &[Arc<Field>], new: Vec<(usize, Field)>) -> Vec<Change> {
    new.into_iter()
        .filter_map(|(i, after)| {
            let before = fields.get(i)?;
            (before.as_ref() != &after).then(|| Change::Field(Swap::replace(before, after)))
        })
        .collect()
}
