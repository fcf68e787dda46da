//! What stands on a side when two sides become one.

use crate::fields::model::{BoundaryEdge, EdgeKind, Field};
use crate::fields::study::AssumedHeights;

/// Two edges made one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Merged {
    /// What is taken to stand along the whole side.
    pub edge: BoundaryEdge,
    /// What is no longer said, to be shown to whoever made the edit.
    pub lost: Option<BoundaryEdge>,
}

/// What stands on a side made of two: what both say; else what must be taken for higher.
///
/// Heights nobody measured count as assumed for an assessment (an unknown side: 8 m), so that the field is never taken
/// for more open than before. Where both are equally high, *unknown* wins over a kind, and an unmeasured height over a
/// measured one.
#[must_use]
pub fn merged(a: BoundaryEdge, b: BoundaryEdge) -> Merged {
    if a == b {
        return Merged { edge: a, lost: None };
    }
    let assumed = AssumedHeights::default();
    let weight = |e: BoundaryEdge| {
        let (height_m, guessed) = assumed.height_m(e);
        (height_m, e.kind == EdgeKind::Unknown, guessed)
    };
    let ((ha, ua, ga), (hb, ub, gb)) = (weight(a), weight(b));
    let a_wins = ha.total_cmp(&hb).then(ua.cmp(&ub)).then(ga.cmp(&gb)).is_ge();
    let (edge, lost) = if a_wins { (a, b) } else { (b, a) };
    Merged { edge, lost: Some(lost) }
}

/// One edge for each side of the outer ring: missing ones are unknown, those without a side are dropped.
pub(super) fn for_each_side(field: &Field) -> Vec<BoundaryEdge> {
    let mut edges = field.edges.clone();
    edges.resize(field.outer.len(), BoundaryEdge::UNKNOWN);
    edges
}
