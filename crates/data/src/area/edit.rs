//! Changes of an area, each with what was there before and what is there after, so that every one can be undone.
//!
//! The window applies an [`Edit`] to the [`Area`] in memory and writes the same edit to the area's file in one
//! transaction. Undo is the inverse edit, taken the same way.

use super::gone::GonePlaces;
use super::places::MANY;
use super::{Area, Home, Proposal};
use crate::imagery::AreaLayers;
use crate::sortie::Sortie;
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
    /// Of a sortie, by identifier.
    Sortie(Swap<Sortie>),
    /// Of the home strip.
    Home(Swap<Home>),
    /// Of the area's title.
    Title(Swap<String>),
    /// Of what is drawn under the fields.
    Layers(Swap<AreaLayers>),
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
                Change::Sortie(s) => Change::Sortie(s.inverse()),
                Change::DrillResult(_) => return None,
                Change::Title(s) => Change::Title(s.inverse()),
                Change::Layers(s) => Change::Layers(s.inverse()),
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

impl Identified for Sortie {
    const WHAT: &'static str = "sortie";
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

/// What is needed of a thing to find its place again.
trait Placed: Identified + PartialEq + Send + Sync + 'static {}

impl<T: Identified + PartialEq + Send + Sync + 'static> Placed for T {}

impl Area {
    /// Applies an edit, whole or not at all.
    ///
    /// # Errors
    /// When the edit was made on another state of the area; the area is then as before.
    pub fn apply(&mut self, edit: &Edit) -> Result<(), EditError> {
        self.apply_with(edit, Twins::Refused)
    }

    /// Takes an edit back, whole or not at all. What was there before comes back as it was, also two things with one
    /// identifier, or one without.
    ///
    /// # Errors
    /// As [`Self::apply`].
    pub fn take_back(&mut self, edit: &Edit) -> Result<(), EditError> {
        self.apply_with(&edit.inverse(), Twins::Restored)
    }

    fn apply_with(&mut self, edit: &Edit, twins: Twins) -> Result<(), EditError> {
        // Vectors are shared, so this clones only what is changed, and a failure leaves `self` alone.
        let mut new = self.clone();
        let swaps = Swaps::of(edit);
        put_all(&mut new.fields, &swaps.fields, &mut new.places, twins)?;
        put_all(&mut new.hazards, &swaps.hazards, &mut new.places, twins)?;
        put_all(&mut new.quiet_zones, &swaps.quiet_zones, &mut new.places, twins)?;
        put_all(&mut new.proposals, &swaps.proposals, &mut new.places, twins)?;
        put_all(&mut new.drill_sets, &swaps.drill_sets, &mut new.places, twins)?;
        put_all(&mut new.sorties, &swaps.sorties, &mut new.places, twins)?;
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
                    let kept = new.drill_results.iter().position(|kept| kept.id == result.id);
                    match kept {
                        None => Arc::make_mut(&mut new.drill_results).push(Arc::clone(result)),
                        // Its circuits were flown many times since; nothing else of a result ever changes.
                        Some(i) if new.drill_results[i].robustness.is_none() && result.robustness.is_some() => {
                            let known =
                                DrillResult { robustness: result.robustness, ..(*new.drill_results[i]).clone() };
                            Arc::make_mut(&mut new.drill_results)[i] = Arc::new(known);
                        }
                        Some(_) => {}
                    }
                }
                Change::Layers(swap) => {
                    if swap.before.as_deref() != Some(&*new.layers) {
                        return Err(EditError::Stale { what: "list of layers of", id: new.title });
                    }
                    new.layers = swap.after.clone().unwrap_or_default();
                }
                Change::Field(_)
                | Change::Hazard(_)
                | Change::QuietZone(_)
                | Change::Proposal(_)
                | Change::DrillSet(_)
                | Change::Sortie(_) => {}
            }
        }
        *self = new;
        Ok(())
    }

    /// An identifier that no field, suggested field, hazard, quiet zone, drill set or sortie has yet: the stem and a number.
    #[must_use]
    pub fn free_id(&self, stem: &str) -> String {
        let ids = self.fields.iter().map(|f| f.id.as_str());
        let ids = ids.chain(self.proposals.iter().map(|p| p.field.id.as_str()));
        let ids = ids.chain(self.hazards.iter().map(|h| h.id.as_str()));
        let ids = ids.chain(self.quiet_zones.iter().map(|q| q.id.as_str()));
        let ids = ids.chain(self.drill_sets.iter().map(|s| s.id.as_str()));
        let ids = ids.chain(self.sorties.iter().map(|s| s.id.as_str()));
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
    sorties: Vec<&'a Swap<Sortie>>,
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
                Change::Sortie(swap) => all.sorties.push(swap),
                Change::Home(_) | Change::Title(_) | Change::Layers(_) | Change::DrillResult(_) => {}
            }
        }
        all
    }
}

/// Whether two things may have one identifier, or one none.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Twins {
    /// No: the edit is refused.
    Refused,
    /// Yes, because it was so before.
    Restored,
}

/// Takes the changes of one kind, in their order. What was taken away and comes back stands where it stood, so that
/// undoing is exact.
fn put_all<T: Placed>(
    all: &mut Arc<Vec<Arc<T>>>,
    swaps: &[&Swap<T>],
    places: &mut GonePlaces,
    twins: Twins,
) -> Result<(), EditError> {
    if swaps.len() < MANY {
        swaps.iter().try_for_each(|swap| put(all, swap, places, twins))
    } else {
        put_many(all, swaps, places, twins)
    }
}

/// As [`put`] for one after the other.
fn put_many<T: Placed>(
    all: &mut Arc<Vec<Arc<T>>>,
    swaps: &[&Swap<T>],
    places: &mut GonePlaces,
    twins: Twins,
) -> Result<(), EditError> {
    let what = T::WHAT;
    let mut row = Row::of(all);
    let mut by_id: HashMap<String, Vec<usize>> = HashMap::new();
    for (i, thing) in all.iter().enumerate() {
        by_id.entry(thing.id().to_owned()).or_default().push(i);
    }
    for swap in swaps {
        if twins == Twins::Refused && swap.after.as_ref().is_some_and(|after| after.id().is_empty()) {
            return Err(EditError::Nameless { what });
        }
        let mut at = None;
        if let Some(before) = &swap.before {
            let same = |i: &usize| row.thing(*i).is_some_and(|now| Arc::ptr_eq(now, before) || now == before);
            let known = by_id.get_mut(before.id());
            let Some((known, k)) = known.and_then(|known| known.iter().position(same).map(|k| (known, k))) else {
                return Err(EditError::Stale { what, id: before.id().to_owned() });
            };
            at = Some(known.remove(k));
        }
        match (at, &swap.after) {
            (Some(at), None) => {
                let next = row.next(at).map(|next| next.id().to_owned());
                row.remove(at);
                // What comes back is the edit's own thing.
                if let Some(before) = &swap.before {
                    places.left(before, next);
                }
            }
            (at, Some(after)) => {
                let known = by_id.entry(after.id().to_owned()).or_default();
                if twins == Twins::Refused && !known.is_empty() {
                    return Err(EditError::Taken { what, id: after.id().to_owned() });
                }
                let place = if let Some(at) = at {
                    row.put(at, after);
                    at
                } else {
                    let next = places.next_of(after).map(str::to_owned);
                    let next = next.and_then(|id| by_id.get(&id)?.first().copied());
                    row.insert(after, next)
                };
                by_id.entry(after.id().to_owned()).or_default().push(place);
            }
            (None, None) => {}
        }
    }
    *all = Arc::new(row.into_things());
    Ok(())
}

/// Things in a row, any of which can be taken out and any place be filled without moving the others.
struct Row<T> {
    /// The thing, and the index of the one after it.
    things: Vec<(Option<Arc<T>>, usize)>,
    before: Vec<usize>,
    end: usize,
}

impl<T> Row<T> {
    /// The row of a list. Its last entry holds nothing, is after the last thing and before the first.
    fn of(all: &[Arc<T>]) -> Self {
        let end = all.len();
        let mut things: Vec<_> = all.iter().enumerate().map(|(i, thing)| (Some(Arc::clone(thing)), i + 1)).collect();
        things.push((None, 0));
        let before = (0..=end).map(|i| i.checked_sub(1).unwrap_or(end)).collect();
        Self { things, before, end }
    }
    fn thing(&self, at: usize) -> Option<&Arc<T>> {
        self.things[at].0.as_ref()
    }
    fn next(&self, at: usize) -> Option<&Arc<T>> {
        self.thing(self.things[at].1)
    }
    fn put(&mut self, at: usize, thing: &Arc<T>) {
        self.things[at].0 = Some(Arc::clone(thing));
    }
    fn remove(&mut self, at: usize) {
        let (before, after) = (self.before[at], self.things[at].1);
        self.things[before].1 = after;
        self.before[after] = before;
        self.things[at].0 = None;
    }
    /// Puts a thing before another, or after the last; gives its index.
    fn insert(&mut self, thing: &Arc<T>, next: Option<usize>) -> usize {
        let own = self.things.len();
        let after = next.unwrap_or(self.end);
        let before = std::mem::replace(&mut self.before[after], own);
        self.things[before].1 = own;
        self.things.push((Some(Arc::clone(thing)), after));
        self.before.push(before);
        own
    }
    fn into_things(self) -> Vec<Arc<T>> {
        let mut all = Vec::with_capacity(self.things.len());
        let mut at = self.things[self.end].1;
        while let (Some(thing), next) = &self.things[at] {
            all.push(Arc::clone(thing));
            at = *next;
        }
        all
    }
}

fn put<T: Placed>(
    all: &mut Arc<Vec<Arc<T>>>,
    swap: &Swap<T>,
    places: &mut GonePlaces,
    twins: Twins,
) -> Result<(), EditError> {
    let what = T::WHAT;
    if twins == Twins::Refused && swap.after.as_ref().is_some_and(|after| after.id().is_empty()) {
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
        if taken && twins == Twins::Refused {
            return Err(EditError::Taken { what, id: after.id().to_owned() });
        }
    }
    let list = Arc::make_mut(all);
    match (at, &swap.after) {
        (Some(at), Some(after)) => list[at] = Arc::clone(after),
        (Some(at), None) => {
            list.remove(at);
            if let Some(before) = &swap.before {
                places.left(before, list.get(at).map(|next| next.id().to_owned()));
            }
        }
        (None, Some(after)) => {
            let next = places.next_of(after).and_then(|id| list.iter().position(|now| now.id() == id));
            list.insert(next.unwrap_or(list.len()), Arc::clone(after));
        }
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
    fn an_identifier_that_two_things_had_is_taken_back_although_it_could_not_be_given() {
        for many in [0, MANY] {
            let mut a = area();
            let twin = Arc::new(Field { id: a.fields[0].id.clone(), ..square("") });
            let mut fields = a.fields.to_vec();
            fields.push(Arc::clone(&twin));
            a.fields = Arc::new(fields);
            let before = a.fields.clone();
            let mut changes = vec![Change::Field(Swap::replace(&twin, Field { id: "own".into(), ..(*twin).clone() }))];
            changes.extend((0..many).map(|n| Change::Field(Swap::add(square(&format!("new-{n}"))))));
            let edit = Edit::new("call it “own”", changes);
            a.apply(&edit).unwrap();
            assert!(matches!(a.apply(&edit.inverse()), Err(EditError::Taken { .. })), "nobody else may give it");
            a.take_back(&edit).unwrap();
            assert_eq!(a.fields, before);
            a.apply(&edit).unwrap();
            assert_eq!(a.fields[before.len() - 1].id, "own");
        }
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
        // In the order in which they were, too: the list, the numbers on the map and ties in the ranking go by it.
        assert_eq!((&a.hazards, &a.quiet_zones), (&before.hazards, &before.quiet_zones));
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
    fn whatever_is_taken_away_comes_back_where_it_was() {
        let start = area();
        let away = |indices: &[usize]| {
            let gone = indices.iter().map(|i| Change::Field(Swap::remove(&start.fields[*i]))).collect();
            Edit::new("away", gone)
        };
        let all: Vec<usize> = (0..start.fields.len()).collect();
        let backwards: Vec<usize> = all.iter().rev().copied().collect();
        for indices in [&[0][..], &[5, 6, 7], &[7, 5, 6], &all[..40], &all[20..60], &backwards, &all[90..]] {
            let mut tried = start.clone();
            // All in one edit, and again one after the other, taken back last first.
            let edit = away(indices);
            tried.apply(&edit).unwrap();
            tried.apply(&edit.inverse()).unwrap();
            assert_eq!(tried.fields, start.fields, "{indices:?}");
            let edits: Vec<Edit> = indices.iter().map(|i| away(&[*i])).collect();
            for edit in &edits {
                tried.apply(edit).unwrap();
            }
            for edit in edits.iter().rev() {
                tried.apply(&edit.inverse()).unwrap();
            }
            assert_eq!(tried.fields, start.fields, "{indices:?}");
        }
        // Another field that got the free identifier is new and comes last.
        let mut tried = start.clone();
        tried.apply(&away(&[3])).unwrap();
        tried.apply(&Edit::new("draw", vec![Change::Field(Swap::add(square(&start.fields[3].id)))])).unwrap();
        assert_eq!(tried.fields.last().map(|f| &f.id), Some(&start.fields[3].id));
    }

    #[test]
    fn free_identifiers_are_free() {
        let mut a = area();
        assert_eq!(a.free_id("drawn"), "drawn-1");
        a.apply(&Edit::new("draw", vec![Change::Field(Swap::add(square("drawn-7")))])).unwrap();
        assert_eq!(a.free_id("drawn"), "drawn-8");
    }
}
