//! Changes of an area, each with what was there before and what is there after, so that every one can be undone.
//!
//! The window applies an [`Edit`] to the [`Area`] in memory and writes the same edit to the area's file in one
//! transaction. Undo is the inverse edit, taken the same way.

use super::{Area, Home, Proposal};
use sparefield_geometry::drill::{DrillResult, DrillSet};
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use std::collections::HashMap;
use std::sync::Arc;
use thiserror::Error;

/// One thing before and after; `None` where there is none.
#[derive(Clone, Debug, PartialEq)]
pub struct Swap<T> {
    /// What was there.
    pub before: Option<Arc<T>>,
    /// What is there now.
    pub after: Option<Arc<T>>,
}

impl<T> Swap<T> {
    /// Something new.
    #[must_use]
    pub fn add(after: T) -> Self {
        Self { before: None, after: Some(Arc::new(after)) }
    }
    /// Something taken away.
    #[must_use]
    pub fn remove(before: &Arc<T>) -> Self {
        Self { before: Some(Arc::clone(before)), after: None }
    }
    /// Something changed.
    #[must_use]
    pub fn replace(before: &Arc<T>, after: T) -> Self {
        Self { before: Some(Arc::clone(before)), after: Some(Arc::new(after)) }
    }
    fn inverse(&self) -> Self {
        Self { before: self.after.clone(), after: self.before.clone() }
    }
}

/// One change of one thing in an area.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// Of a field, by identifier.
    Field(Swap<Field>),
    /// Of a hazard, by identifier.
    Hazard(Swap<Hazard>),
    /// Of a quiet zone, by identifier.
    QuietZone(Swap<QuietZone>),
    /// Of a suggested field, by the identifier of its field.
    Proposal(Swap<Proposal>),
    /// Of a drill set, by identifier.
    DrillSet(Swap<DrillSet>),
    /// The result of a drill is added, unless one of its identifier is there. It is not undone: results are kept.
    DrillResult(Arc<DrillResult>),
    /// Of the home strip.
    Home(Swap<Home>),
    /// Of the area's title.
    Title(Swap<String>),
}

/// Changes that are made and undone together.
#[derive(Clone, Debug, PartialEq)]
pub struct Edit {
    /// What was done, in words that read after "Undo": "move a corner of Long Ley".
    pub words: String,
    /// What changed. A thing appears at most once.
    pub changes: Vec<Change>,
}

/// Why an edit does not fit an area.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum EditError {
    /// The thing to change is not there, or is not what it was when the edit was made: look again and repeat it.
    #[error("{what} “{id}” is not as it was when this change was made, so nothing was changed")]
    Stale {
        /// What kind of thing.
        what: &'static str,
        /// Its identifier.
        id: String,
    },
    /// Another thing has the same identifier: choose another.
    #[error("there is already a {what} “{id}”, so nothing was changed")]
    Taken {
        /// What kind of thing.
        what: &'static str,
        /// Its identifier.
        id: String,
    },
    /// A change names a thing without an identifier: give it one.
    #[error("a {what} without an identifier cannot be kept")]
    Nameless {
        /// What kind of thing.
        what: &'static str,
    },
}

impl Edit {
    /// An edit of several changes.
    #[must_use]
    pub fn new(words: impl Into<String>, changes: Vec<Change>) -> Self {
        Self { words: words.into(), changes }
    }
    /// The edit that takes this one back. Results of drills stay.
    #[must_use]
    pub fn inverse(&self) -> Self {
        let changes = self.changes.iter().rev().filter_map(|change| {
            Some(match change {
                Change::Field(s) => Change::Field(s.inverse()),
                Change::Hazard(s) => Change::Hazard(s.inverse()),
                Change::QuietZone(s) => Change::QuietZone(s.inverse()),
                Change::Proposal(s) => Change::Proposal(s.inverse()),
                Change::Home(s) => Change::Home(s.inverse()),
                Change::DrillSet(s) => Change::DrillSet(s.inverse()),
                Change::DrillResult(_) => return None,
                Change::Title(s) => Change::Title(s.inverse()),
            })
        });
        Self { words: self.words.clone(), changes: changes.collect() }
    }
}

/// A thing that is found by its identifier.
pub trait Identified {
    /// What kind of thing it is, in words.
    const WHAT: &'static str;
    /// Its identifier, unique among its kind.
    fn id(&self) -> &str;
}

impl Identified for Field {
    const WHAT: &'static str = "field";
    fn id(&self) -> &str {
        &self.id
    }
}

impl Identified for Hazard {
    const WHAT: &'static str = "hazard";
    fn id(&self) -> &str {
        &self.id
    }
}

impl Identified for QuietZone {
    const WHAT: &'static str = "quiet zone";
    fn id(&self) -> &str {
        &self.id
    }
}

impl Identified for DrillSet {
    const WHAT: &'static str = "drill set";
    fn id(&self) -> &str {
        &self.id
    }
}

impl Identified for Proposal {
    const WHAT: &'static str = "suggested field";
    fn id(&self) -> &str {
        &self.field.id
    }
}

impl Area {
    /// Applies an edit, whole or not at all.
    ///
    /// # Errors
    /// When the edit was made on another state of the area; the area is then as before.
    pub fn apply(&mut self, edit: &Edit) -> Result<(), EditError> {
        // Vectors are shared, so this clones only what is changed, and a failure leaves `self` alone.
        let mut new = self.clone();
        let swaps = Swaps::of(edit);
        put_all(&mut new.fields, &swaps.fields)?;
        put_all(&mut new.hazards, &swaps.hazards)?;
        put_all(&mut new.quiet_zones, &swaps.quiet_zones)?;
        put_all(&mut new.proposals, &swaps.proposals)?;
        put_all(&mut new.drill_sets, &swaps.drill_sets)?;
        for change in &edit.changes {
            match change {
                Change::Home(swap) => {
                    if new.home.as_ref() != swap.before.as_deref() {
                        let id = new.home.map_or_else(String::new, |h| h.name);
                        return Err(EditError::Stale { what: "home strip", id });
                    }
                    new.home = swap.after.as_deref().cloned();
                }
                Change::Title(swap) => {
                    if swap.before.as_deref() != Some(&new.title) {
                        return Err(EditError::Stale { what: "title", id: new.title });
                    }
                    new.title = swap.after.as_deref().cloned().unwrap_or_default();
                }
                Change::DrillResult(result) => {
                    if new.drill_results.iter().all(|kept| kept.id != result.id) {
                        Arc::make_mut(&mut new.drill_results).push(Arc::clone(result));
                    }
                }
                Change::Field(_)
                | Change::Hazard(_)
                | Change::QuietZone(_)
                | Change::Proposal(_)
                | Change::DrillSet(_) => {}
            }
        }
        *self = new;
        Ok(())
    }

    /// An identifier that no field, suggested field, hazard, quiet zone or drill set has yet: the stem and a number.
    #[must_use]
    pub fn free_id(&self, stem: &str) -> String {
        let ids = self.fields.iter().map(|f| f.id.as_str());
        let ids = ids.chain(self.proposals.iter().map(|p| p.field.id.as_str()));
        let ids = ids.chain(self.hazards.iter().map(|h| h.id.as_str()));
        let ids = ids.chain(self.quiet_zones.iter().map(|q| q.id.as_str()));
        let ids = ids.chain(self.drill_sets.iter().map(|s| s.id.as_str()));
        let highest = ids.filter_map(|id| id.strip_prefix(stem)?.strip_prefix('-')?.parse::<u64>().ok()).max();
        format!("{stem}-{}", highest.map_or(1, |n| n.saturating_add(1)))
    }
}

/// Changes of one kind of thing each, in the order of the edit.
#[derive(Default)]
struct Swaps<'a> {
    fields: Vec<&'a Swap<Field>>,
    hazards: Vec<&'a Swap<Hazard>>,
    quiet_zones: Vec<&'a Swap<QuietZone>>,
    proposals: Vec<&'a Swap<Proposal>>,
    drill_sets: Vec<&'a Swap<DrillSet>>,
}

impl<'a> Swaps<'a> {
    fn of(edit: &'a Edit) -> Self {
        let mut all = Self::default();
        for change in &edit.changes {
            match change {
                Change::Field(swap) => all.fields.push(swap),
                Change::Hazard(swap) => all.hazards.push(swap),
                Change::QuietZone(swap) => all.quiet_zones.push(swap),
                Change::Proposal(swap) => all.proposals.push(swap),
                Change::DrillSet(swap) => all.drill_sets.push(swap),
                Change::Home(_) | Change::Title(_) | Change::DrillResult(_) => {}
            }
        }
        all
    }
}

/// From this many changes on, an index of identifiers costs less than looking through all things for each.
const MANY: usize = 16;

fn put_all<T: Identified + PartialEq>(all: &mut Arc<Vec<Arc<T>>>, swaps: &[&Swap<T>]) -> Result<(), EditError> {
    if swaps.len() < MANY { swaps.iter().try_for_each(|swap| put(all, swap)) } else { put_many(all, swaps) }
}

/// As [`put`] for one after the other.
fn put_many<T: Identified + PartialEq>(all: &mut Arc<Vec<Arc<T>>>, swaps: &[&Swap<T>]) -> Result<(), EditError> {
    let what = T::WHAT;
    let mut things: Vec<Option<Arc<T>>> = all.iter().cloned().map(Some).collect();
    let mut by_id: HashMap<String, Vec<usize>> = HashMap::new();
    for (i, thing) in all.iter().enumerate() {
        by_id.entry(thing.id().to_owned()).or_default().push(i);
    }
    for swap in swaps {
        if swap.after.as_ref().is_some_and(|after| after.id().is_empty()) {
            return Err(EditError::Nameless { what });
        }
        let mut at = None;
        if let Some(before) = &swap.before {
            let same = |i: &usize| things[*i].as_ref().is_some_and(|now| Arc::ptr_eq(now, before) || now == before);
            let places = by_id.get_mut(before.id());
            let Some((places, k)) = places.and_then(|places| places.iter().position(same).map(|k| (places, k))) else {
                return Err(EditError::Stale { what, id: before.id().to_owned() });
            };
            let place = places.remove(k);
            things[place] = None;
            at = Some(place);
        }
        let Some(after) = &swap.after else { continue };
        let places = by_id.entry(after.id().to_owned()).or_default();
        if !places.is_empty() {
            return Err(EditError::Taken { what, id: after.id().to_owned() });
        }
        let place = at.unwrap_or(things.len());
        places.push(place);
        if place == things.len() {
            things.push(Some(Arc::clone(after)));
        } else {
            things[place] = Some(Arc::clone(after));
        }
    }
    *all = Arc::new(things.into_iter().flatten().collect());
    Ok(())
}

fn put<T: Identified + PartialEq>(all: &mut Arc<Vec<Arc<T>>>, swap: &Swap<T>) -> Result<(), EditError> {
    let what = T::WHAT;
    if swap.after.as_ref().is_some_and(|after| after.id().is_empty()) {
        return Err(EditError::Nameless { what });
    }
    let at = match &swap.before {
        None => None,
        Some(before) => {
            let same = |now: &Arc<T>| now.id() == before.id() && (Arc::ptr_eq(now, before) || now == before);
            let stale = || EditError::Stale { what, id: before.id().to_owned() };
            Some(all.iter().position(same).ok_or_else(stale)?)
        }
    };
    if let Some(after) = &swap.after {
        let taken = all.iter().enumerate().any(|(i, now)| Some(i) != at && now.id() == after.id());
        if taken {
            return Err(EditError::Taken { what, id: after.id().to_owned() });
        }
    }
    let list = Arc::make_mut(all);
    match (at, &swap.after) {
        (Some(at), Some(after)) => list[at] = Arc::clone(after),
        (Some(at), None) => {
            list.remove(at);
        }
        (None, Some(after)) => list.push(Arc::clone(after)),
        (None, None) => {}
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::NoProgress;
    use sparefield_geometry::fields::model::Stock;
    use sparefield_geometry::position::Xy;

    fn area() -> Area {
        Area::sample(&NoProgress).unwrap()
    }

    fn square(id: &str) -> Field {
        let at = |x: f64, y: f64| Xy::new(500_000.0 + x, 5_790_000.0 + y);
        Field::new(id, vec![at(0.0, 0.0), at(300.0, 0.0), at(300.0, 200.0), at(0.0, 200.0)])
    }

    #[test]
    fn every_edit_is_taken_back_by_its_inverse() {
        let mut a = area();
        let first = Arc::clone(&a.fields[3]);
        let changed = Field { stock: Stock::Present, ..(*first).clone() };
        let edit = Edit::new(
            "several things",
            vec![
                Change::Field(Swap::replace(&first, changed)),
                Change::Field(Swap::add(square("field-new"))),
                Change::Hazard(Swap::remove(&a.hazards[0].clone())),
                Change::QuietZone(Swap::remove(&a.quiet_zones[0].clone())),
                Change::Title(Swap::replace(&Arc::new(a.title.clone()), "Another".to_owned())),
                Change::Home(Swap { before: a.home.clone().map(Arc::new), after: None }),
            ],
        );
        let before = a.clone();
        a.apply(&edit).unwrap();
        assert_eq!(a.fields.len(), before.fields.len() + 1);
        assert_eq!(a.fields[3].stock, Stock::Present);
        assert_eq!((a.title.as_str(), a.home.as_ref()), ("Another", None));
        a.apply(&edit.inverse()).unwrap();
        let sorted = |hazards: &[Arc<Hazard>]| {
            let mut ids: Vec<String> = hazards.iter().map(|h| h.id.clone()).collect();
            ids.sort();
            ids
        };
        assert_eq!(sorted(&a.hazards), sorted(&before.hazards));
        assert_eq!((&a.fields, &a.home, &a.title), (&before.fields, &before.home, &before.title));
    }

    #[test]
    fn an_edit_of_something_else_changes_nothing() {
        let mut a = area();
        let old = Arc::clone(&a.fields[0]);
        let edit = |id: &str| {
            let changed = Field { id: id.to_owned(), ..(*old).clone() };
            Edit::new(
                "rename",
                vec![Change::Field(Swap::add(square("x"))), Change::Field(Swap::replace(&old, changed))],
            )
        };
        let taken = a.fields[1].id.clone();
        let before = Arc::clone(&a.fields);
        assert_eq!(a.apply(&edit(&taken)), Err(EditError::Taken { what: "field", id: taken.clone() }));
        assert_eq!(a.apply(&edit("")), Err(EditError::Nameless { what: "field" }));
        assert!(Arc::ptr_eq(&before, &a.fields));
        a.apply(&edit("renamed")).unwrap();
        assert!(matches!(a.apply(&edit("again")), Err(EditError::Taken { .. })), "square x is there already");
        let twice = Edit::new("again", vec![Change::Field(Swap::remove(&old))]);
        assert_eq!(a.apply(&twice), Err(EditError::Stale { what: "field", id: old.id.clone() }));
    }

    #[test]
    fn many_changes_at_once_come_to_the_same_as_one_after_the_other() {
        let start = area();
        let mut changes = Vec::new();
        for (i, field) in start.fields.iter().enumerate().take(60) {
            changes.push(match i % 4 {
                0 => Change::Field(Swap::remove(field)),
                1 => Change::Field(Swap::replace(field, Field { id: format!("new-{i}"), ..(**field).clone() })),
                2 => Change::Field(Swap::replace(field, Field { stock: Stock::Present, ..(**field).clone() })),
                // What was freed above is taken again.
                _ => Change::Field(Swap::add(square(&start.fields[i - 3].id))),
            });
        }
        let (mut at_once, mut in_turn) = (start.clone(), start.clone());
        at_once.apply(&Edit::new("all", changes.clone())).unwrap();
        for change in &changes {
            in_turn.apply(&Edit::new("one", vec![change.clone()])).unwrap();
        }
        assert_eq!(at_once.fields, in_turn.fields);

        // One change that does not fit leaves everything as it was, for the same reason either way.
        let twin = start.fields[70].id.clone();
        for (bad, why) in [
            (Swap::add(square(&twin)), EditError::Taken { what: "field", id: twin }),
            (Swap::add(square("")), EditError::Nameless { what: "field" }),
            (Swap::remove(&start.fields[0]), EditError::Stale { what: "field", id: start.fields[0].id.clone() }),
        ] {
            let mut more = changes.clone();
            more.push(Change::Field(bad.clone()));
            let mut tried = start.clone();
            assert_eq!(tried.apply(&Edit::new("all", more)), Err(why.clone()));
            assert_eq!(tried.fields, start.fields);
            assert_eq!(in_turn.clone().apply(&Edit::new("one", vec![Change::Field(bad)])), Err(why));
        }
    }

    #[test]
    fn free_identifiers_are_free() {
        let mut a = area();
        assert_eq!(a.free_id("drawn"), "drawn-1");
        a.apply(&Edit::new("draw", vec![Change::Field(Swap::add(square("drawn-7")))])).unwrap();
        assert_eq!(a.free_id("drawn"), "drawn-8");
    }
}
