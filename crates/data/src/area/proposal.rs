//! Fields that were suggested and not looked at yet.

use sparefield_geometry::fields::model::Field;

/// A suggested field. It is never ranked and never counted as a field before somebody accepts it.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Proposal {
    /// What the field would be. Its identifier is unique among all proposals.
    pub field: Field,
    /// How promising it is, 0 to 1.
    pub score: f64,
    /// Length of its longest strip, metres.
    pub strip_length_m: f64,
    /// What was looked at, in words.
    pub checked: Vec<String>,
    /// What could not be looked at, in words.
    pub not_checked: Vec<String>,
    /// Whether somebody refused it; kept so that it is not suggested again.
    pub refused: bool,
}
