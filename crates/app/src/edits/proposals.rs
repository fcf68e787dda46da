//! Edits of suggested fields: taken over from a search, accepted, refused.

use super::{Made, Refused};
use crate::suggest::Suggested;
use sparefield_data::area::{Area, Change, Edit, Places, Proposal, Swap};
use sparefield_geometry::fields::model::{BoundaryEdge, Field};
use sparefield_geometry::outline::finding::overlap;
use std::sync::Arc;

/// A new suggestion that shares more than this of the smaller area with a refused one is not made again.
const SAME_SHARE: f64 = 0.5;

/// The open suggestions replaced by those of a search. What was refused stays refused and is not suggested again.
#[must_use]
pub fn take_over(area: &Area, found: &Suggested) -> Edit {
    let (refused, open): (Vec<&Arc<Proposal>>, Vec<&Arc<Proposal>>) = area.proposals.iter().partition(|p| p.refused);
    let mut changes: Vec<Change> = open.iter().map(|p| Change::Proposal(Swap::remove(p))).collect();
    let mut numbers = 1_usize..;
    let taken = |id: &str| area.fields.iter().any(|f| f.id == id) || refused.iter().any(|p| p.field.id == id);
    for proposal in &found.suggestions.proposals {
        let id = numbers.by_ref().map(|n| format!("suggested-{n}")).find(|id| !taken(id)).unwrap_or_default();
        let field = proposal.field(id);
        if refused.iter().any(|old| is_same(&old.field, &field)) {
            continue;
        }
        changes.push(Change::Proposal(Swap::add(Proposal {
            field,
            score: proposal.score,
            strip_length_m: proposal.usable_m,
            checked: proposal.checked.iter().map(|c| c.words().to_owned()).collect(),
            not_checked: proposal.not_checked.iter().map(|c| c.words().to_owned()).collect(),
            refused: false,
        })));
    }
    Edit::new("suggest fields", changes)
}

fn is_same(a: &Field, b: &Field) -> bool {
    let smaller = a.area_m2().min(b.area_m2());
    overlap(a, b).is_some_and(|(shared_m2, _)| shared_m2 > SAME_SHARE * smaller)
}

fn proposals<'a>(area: &'a Area, ids: &[String]) -> Result<Vec<&'a Arc<Proposal>>, Refused> {
    let places = Places::new(&area.proposals, ids.len());
    ids.iter().map(|id| places.find(id).map(|(_, p)| p).ok_or_else(|| super::gone("suggestion"))).collect()
}

/// Suggestions made fields: drawn, never looked at. They stay marked as suggested in their notes until somebody edits
/// that.
///
/// # Errors
/// When one of them is no longer there.
pub fn accept(area: &Area, ids: &[String]) -> Made {
    let mut changes = Vec::new();
    for old in proposals(area, ids)? {
        changes.push(Change::Proposal(Swap::remove(old)));
        changes.push(Change::Field(Swap::add(old.field.clone())));
    }
    Ok(Edit::new(counted("accept", ids.len()), changes))
}

/// Suggestions refused, or taken back among the open ones.
///
/// # Errors
/// When one of them is no longer there.
pub fn refuse(area: &Area, ids: &[String], refused: bool) -> Made {
    let mut changes = Vec::new();
    for old in proposals(area, ids)? {
        if old.refused != refused {
            changes.push(Change::Proposal(Swap::replace(old, Proposal { refused, ..old.as_ref().clone() })));
        }
    }
    Ok(Edit::new(counted(if refused { "refuse" } else { "reconsider" }, ids.len()), changes))
}

fn counted(verb: &str, count: usize) -> String {
    match count {
        1 => format!("{verb} a suggested field"),
        n => format!("{verb} {n} suggested fields"),
    }
}

/// Heights measured from a surface model put on the sides that nobody described. What a person said is never replaced.
#[must_use]
pub fn take_heights(area: &Area, measured: &[(String, Vec<BoundaryEdge>)]) -> Edit {
    let mut changes = Vec::new();
    let places = Places::new(&area.fields, measured.len());
    for (id, edges) in measured {
        let Some((_, before)) = places.find(id) else { continue };
        if edges.len() != before.edges.len() {
            continue;
        }
        let mut after = before.as_ref().clone();
        for (side, seen) in after.edges.iter_mut().zip(edges) {
            if *side == BoundaryEdge::UNKNOWN {
                *side = *seen;
            }
        }
        if &after != before.as_ref() {
            changes.push(Change::Field(Swap::replace(before, after)));
        }
    }
    Edit::new(format!("measure the sides of {} fields", changes.len()), changes)
}
