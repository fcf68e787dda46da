//! From two areas to differences with defaults, and from choices to one edit.

use super::pairing::{Three, threes};
use super::sortie::recording;
use super::{Attribute, Difference, Kind, Land, MergeOptions, Status, Take};
use crate::area::{Area, Change, Edit, Home, Identified, Swap};
use crate::area_file;
use crate::drills::Drills;
use crate::frame::FrameError;
use crate::quantity::UnitPrefs;
use crate::sortie::{Original, Sortie};
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use sparefield_geometry::position::Xy;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::path::Path;
use std::sync::Arc;

/// What comparing needs besides the things.
#[derive(Clone, Copy, Debug)]
pub(super) struct Context {
    pub(super) tolerance_m: f64,
    pub(super) units: UnitPrefs,
}

/// A thing of which two versions can be compared and made one.
pub(super) trait Mergeable: Identified + Clone + PartialEq {
    const KIND: Kind;
    /// Whether what only I have stays, whatever is chosen.
    const MINE_STAYS: bool = false;
    /// Pairs of the same thing in two lists; `to_ancestor` when the second holds what the first came from.
    fn pairs(first: &[Arc<Self>], second: &[Arc<Self>], to_ancestor: bool) -> BTreeMap<usize, usize>;
    fn label(&self) -> String;
    /// Where it is, where it is anywhere in particular.
    fn place(&self) -> Option<Xy>;
    /// Everything in which the two could differ, in the order in which people read it.
    fn attributes(mine: &Self, theirs: &Self, context: Context) -> Vec<Attribute>;
    /// Whether two versions agree; `mine` tells which side is meant.
    fn same(a: &Self, b: &Self, attribute: &Attribute, mine: &Self, context: Context) -> bool;
    /// A version in words.
    fn words(&self, attribute: &Attribute, mine: &Self, context: Context) -> String;
    /// Why theirs should be taken where nobody knows who changed it; `None` keeps mine.
    fn theirs_is_better(mine: &Self, theirs: &Self, attribute: &Attribute, context: Context) -> Option<&'static str>;
    /// The two made one, with my identifier.
    fn merged(mine: &Self, theirs: &Self, take: &dyn Fn(&Attribute) -> Take, context: Context) -> Self;
    fn with_id(self, id: String) -> Self;
}

/// The same thing in mine, theirs and the ancestor; `None` where it is not.
#[derive(Clone, Debug, PartialEq)]
pub struct Trio<T> {
    /// Mine.
    pub mine: Option<Arc<T>>,
    /// Theirs, in my frame.
    pub theirs: Option<Arc<T>>,
    /// The ancestor's, in my frame.
    pub base: Option<Arc<T>>,
}

/// Two things that are one, or one that has no counterpart.
#[derive(Clone, Debug, PartialEq)]
pub enum Pair {
    /// A field.
    Field(Trio<Field>),
    /// A hazard.
    Hazard(Trio<Hazard>),
    /// A quiet zone.
    QuietZone(Trio<QuietZone>),
    /// The home strip.
    Home(Trio<Home>),
    /// A recorded flight.
    Sortie(Trio<Sortie>),
}

/// Two areas compared.
#[derive(Clone, Debug)]
pub struct Merge {
    pairs: Vec<Pair>,
    differences: Vec<Difference>,
    context: Context,
    home_field: Option<String>,
    used: HashMap<Kind, HashSet<String>>,
    drills: Drills,
    notes: Vec<String>,
}

const KEPT: &str = "what is mine stays unless you choose";

impl Merge {
    /// Compares mine with theirs, and with a common ancestor where there is one. Deterministic: the order of things in
    /// neither area matters.
    ///
    /// # Errors
    /// When theirs or the ancestor has a place without an image in my frame.
    pub fn between(
        mine: &Land,
        theirs: &Land,
        base: Option<&Land>,
        options: &MergeOptions,
    ) -> Result<Self, FrameError> {
        let theirs = theirs.in_frame(&mine.frame)?;
        let base = base.map(|base| base.in_frame(&mine.frame)).transpose()?;
        let tolerance_m = theirs.tolerance_m.max(base.as_ref().map_or(0.0, |b| b.tolerance_m));
        let context = Context { tolerance_m, units: options.units };
        let mut merge = Self {
            pairs: Vec::new(),
            differences: Vec::new(),
            context,
            home_field: mine.home.as_ref().map(|h| h.field_id.clone()),
            used: HashMap::new(),
            drills: theirs.drills.lacking(&mine.drills),
            notes: Vec::new(),
        };
        if let (Some(own), Some(other)) = (&mine.fields, &theirs.fields) {
            merge.compare(own, other, base.as_ref().and_then(|b| b.fields.clone()), Pair::Field);
        }
        if let (Some(own), Some(other)) = (&mine.hazards, &theirs.hazards) {
            merge.compare(own, other, base.as_ref().and_then(|b| b.hazards.clone()), Pair::Hazard);
        }
        if let (Some(own), Some(other)) = (&mine.quiet_zones, &theirs.quiet_zones) {
            merge.compare(own, other, base.as_ref().and_then(|b| b.quiet_zones.clone()), Pair::QuietZone);
        }
        merge.compare_homes(mine, &theirs, base.as_ref());
        if let (Some(own), Some(other)) = (&mine.sorties, &theirs.sorties) {
            let other = merge.with_recordings(own, other, theirs.file.as_deref());
            merge.compare(own, &other, base.as_ref().and_then(|b| b.sorties.clone()), Pair::Sortie);
        }
        Ok(merge)
    }

    /// Every difference, those of one thing after each other: fields, hazards, quiet zones, the home strip; by name.
    #[must_use]
    pub fn differences(&self) -> &[Difference] {
        &self.differences
    }

    /// Things of which at least one side has a version, with all their versions in my frame.
    #[must_use]
    pub fn pairs(&self) -> &[Pair] {
        &self.pairs
    }

    /// Drill sets and results that only they have. They are taken whatever is chosen: nothing of mine changes by it, and
    /// no result is lost.
    #[must_use]
    pub fn drills(&self) -> &Drills {
        &self.drills
    }

    /// What of theirs cannot be taken along, in a sentence each.
    #[must_use]
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Their sorties, those that I lack with the recorder's bytes, since those come along; one whose bytes are lost or
    /// damaged is left out and noted.
    fn with_recordings(&mut self, own: &[Arc<Sortie>], other: &[Arc<Sortie>], file: Option<&Path>) -> Vec<Arc<Sortie>> {
        let mine: HashSet<(&str, u32)> = own.iter().map(|s| recording(s)).collect();
        let mut read: HashMap<&str, Arc<Vec<u8>>> = HashMap::new();
        let mut all = Vec::with_capacity(other.len());
        for sortie in other {
            let key = sortie.original.key.as_str();
            if mine.contains(&recording(sortie)) || sortie.original.held.is_some() {
                all.push(Arc::clone(sortie));
                continue;
            }
            let bytes = match (read.get(key), file) {
                (Some(bytes), _) => Ok(Arc::clone(bytes)),
                (None, Some(file)) => area_file::original(file, key).map(Arc::new).map_err(|e| e.to_string()),
                (None, None) => Err("its recording is not there".to_owned()),
            };
            match bytes {
                Ok(bytes) => {
                    read.insert(key, Arc::clone(&bytes));
                    let original = Original { held: Some(bytes), ..sortie.original.clone() };
                    all.push(Arc::new(Sortie { original, ..(**sortie).clone() }));
                }
                Err(why) => self.notes.push(format!("Their sortie “{}” cannot be taken along: {why}", sortie.name)),
            }
        }
        all
    }

    /// The defaults, one for each difference.
    #[must_use]
    pub fn defaults(&self) -> Vec<Take> {
        self.differences.iter().map(|d| d.default).collect()
    }

    /// The edit of my area that takes what was chosen, one choice for each difference; a missing choice is the default.
    ///
    /// Things that only they have keep their identifier if it is free among mine, or get another. `whose` names the
    /// other area in the words of the edit.
    #[must_use]
    pub fn edit(&self, takes: &[Take], whose: &str) -> Edit {
        let mut chosen: BTreeMap<usize, BTreeMap<&Attribute, Take>> = BTreeMap::new();
        for (i, difference) in self.differences.iter().enumerate() {
            let take = takes.get(i).copied().unwrap_or(difference.default);
            chosen.entry(difference.pair).or_default().insert(&difference.attribute, take);
        }
        let mut used = self.used.clone();
        let (mut changes, mut added) = (Vec::new(), Vec::new());
        // What their identifiers of fields became, for the home strip.
        let mut renamed: HashMap<String, String> = HashMap::new();
        for pair in &self.pairs {
            if let Pair::Field(Trio { mine: Some(mine), theirs: Some(theirs), .. }) = pair {
                renamed.insert(theirs.id.clone(), mine.id.clone());
            }
        }
        for (index, takes) in &chosen {
            let take = |attribute: &Attribute| takes.get(attribute).copied().unwrap_or(Take::Mine);
            match &self.pairs[*index] {
                Pair::Field(trio) => {
                    let swap = self.swap(trio, &take, &mut used);
                    if let (Some(Swap { before: None, after: Some(new) }), Some(theirs)) = (&swap, &trio.theirs) {
                        renamed.insert(theirs.id.clone(), new.id.clone());
                    }
                    let holds_home = |s: &Swap<Field>| {
                        s.after.is_none() && s.before.as_ref().map(|f| &f.id) == self.home_field.as_ref()
                    };
                    push(swap.filter(|s| !holds_home(s)), Change::Field, &mut changes, &mut added);
                }
                Pair::Hazard(trio) => {
                    push(self.swap(trio, &take, &mut used), Change::Hazard, &mut changes, &mut added);
                }
                Pair::QuietZone(trio) => {
                    push(self.swap(trio, &take, &mut used), Change::QuietZone, &mut changes, &mut added);
                }
                Pair::Sortie(trio) => {
                    push(self.swap(trio, &take, &mut used), Change::Sortie, &mut changes, &mut added);
                }
                Pair::Home(trio) => {
                    if let (Take::Theirs, Some(theirs)) = (take(&Attribute::Whole), &trio.theirs) {
                        let mut after = (**theirs).clone();
                        if let Some(id) = renamed.get(&after.field_id) {
                            after.field_id.clone_from(id);
                        }
                        let swap = Swap { before: trio.mine.clone(), after: Some(Arc::new(after)) };
                        changes.push(Change::Home(swap));
                    }
                }
            }
        }
        changes.extend(added);
        let sets = self.drills.sets.iter().map(|s| Change::DrillSet(Swap { before: None, after: Some(Arc::clone(s)) }));
        changes.extend(sets);
        changes.extend(self.drills.results.iter().map(|r| Change::DrillResult(Arc::clone(r))));
        Edit::new(format!("merge with {whose}"), changes)
    }

    /// What choices make of one thing; `None` when it stays as it is.
    fn swap<T: Mergeable>(
        &self,
        trio: &Trio<T>,
        take: &dyn Fn(&Attribute) -> Take,
        used: &mut HashMap<Kind, HashSet<String>>,
    ) -> Option<Swap<T>> {
        match (&trio.mine, &trio.theirs) {
            (Some(mine), Some(theirs)) => {
                let after = T::merged(mine, theirs, take, self.context);
                (after != **mine).then(|| Swap::replace(mine, after))
            }
            (Some(mine), None) => {
                (take(&Attribute::Whole) == Take::Theirs && !T::MINE_STAYS).then(|| Swap::remove(mine))
            }
            (None, Some(theirs)) if take(&Attribute::Whole) == Take::Theirs => {
                let used = used.entry(T::KIND).or_default();
                let id = free(theirs.id(), T::KIND, used);
                used.insert(id.clone());
                Some(Swap::add((**theirs).clone().with_id(id)))
            }
            (None, _) => None,
        }
    }

    fn compare<T: Mergeable>(
        &mut self,
        mine: &[Arc<T>],
        theirs: &[Arc<T>],
        base: Option<Vec<Arc<T>>>,
        pair: impl Fn(Trio<T>) -> Pair,
    ) {
        let has_base = base.is_some();
        self.used.insert(T::KIND, mine.iter().map(|t| t.id().to_owned()).collect());
        let (own, other) = (sorted(mine), sorted(theirs));
        let ancestors = base.map(|b| sorted(&b));
        let found = threes(&own, &other, ancestors.as_deref(), T::pairs);
        let mut trios: Vec<(String, Trio<T>)> = found
            .into_iter()
            .map(|Three { mine, theirs, base }| Trio {
                mine: mine.map(|i| Arc::clone(&own[i])),
                theirs: theirs.map(|j| Arc::clone(&other[j])),
                base: base.and_then(|b| ancestors.as_ref().map(|a| Arc::clone(&a[b]))),
            })
            .filter_map(|trio| Some((trio.mine.as_ref().or(trio.theirs.as_ref())?.label(), trio)))
            .collect();
        trios.sort_by(|(a, s), (b, t)| a.cmp(b).then_with(|| ids(s).cmp(&ids(t))));
        for (label, trio) in trios {
            self.differences_of(&trio, &label, has_base);
            self.pairs.push(pair(trio));
        }
    }

    fn differences_of<T: Mergeable>(&mut self, trio: &Trio<T>, label: &str, has_base: bool) {
        let context = self.context;
        let (mine, theirs) = match (&trio.mine, &trio.theirs) {
            (Some(mine), Some(theirs)) => (mine, theirs),
            // Nothing is to be chosen.
            (Some(_), None) if T::MINE_STAYS => return,
            (mine, theirs) => {
                return self.one_sided(mine.as_deref(), theirs.as_deref(), trio.base.as_deref(), label, has_base);
            }
        };
        if mine == theirs {
            return;
        }
        for attribute in T::attributes(mine, theirs, context) {
            if T::same(mine, theirs, &attribute, mine, context) {
                continue;
            }
            let changed = trio.base.as_deref().map(|base| {
                let same = |version: &T| T::same(version, base, &attribute, mine, context);
                (!same(mine), !same(theirs))
            });
            let better = || T::theirs_is_better(mine, theirs, &attribute, context);
            let (status, default, because) = match changed {
                Some((true, false)) => (Status::ChangedByMe, Take::Mine, "only you changed it"),
                Some((false, true)) => (Status::ChangedByThem, Take::Theirs, "only they changed it"),
                both => {
                    let status = if both == Some((true, true)) { Status::ChangedByBoth } else { Status::Differs };
                    let (take, because) = better().map_or((Take::Mine, KEPT), |why| (Take::Theirs, why));
                    (status, take, because)
                }
            };
            self.differences.push(Difference {
                pair: self.pairs.len(),
                kind: T::KIND,
                id: mine.id().to_owned(),
                label: label.to_owned(),
                status,
                mine: Some(mine.words(&attribute, mine, context)),
                theirs: Some(theirs.words(&attribute, mine, context)),
                before: trio.base.as_ref().map(|b| b.words(&attribute, mine, context)),
                attribute,
                default,
                because,
                at: mine.place(),
            });
        }
    }

    fn one_sided<T: Mergeable>(
        &mut self,
        mine: Option<&T>,
        theirs: Option<&T>,
        base: Option<&T>,
        label: &str,
        has_base: bool,
    ) {
        let Some(thing) = mine.or(theirs) else { return };
        let context = self.context;
        let unchanged = base.is_some_and(|base| {
            let all = T::attributes(thing, base, context);
            all.iter().all(|a| T::same(thing, base, a, thing, context))
        });
        let (status, default, because) = match (mine.is_some(), base.is_some()) {
            (true, true) if unchanged => {
                (Status::DeletedByThem, Take::Mine, "nothing of yours is deleted unless you choose")
            }
            (true, true) => (Status::ChangedByBoth, Take::Mine, "you changed what they deleted"),
            (true, false) if has_base => (Status::AddedByMe, Take::Mine, "only you have it"),
            (true, false) => (Status::OnlyMine, Take::Mine, "only you have it"),
            (false, true) if unchanged => (Status::DeletedByMe, Take::Mine, "you deleted it"),
            (false, true) => (Status::ChangedByBoth, Take::Mine, "you deleted what they changed"),
            (false, false) if has_base => (Status::AddedByThem, Take::Theirs, "only they have it"),
            (false, false) => (Status::OnlyTheirs, Take::Theirs, "only they have it"),
        };
        let words = |thing: &T| thing.words(&Attribute::Whole, thing, context);
        let gone = |other: bool| (base.is_some() && !other).then(|| "deleted".to_owned());
        self.differences.push(Difference {
            pair: self.pairs.len(),
            kind: T::KIND,
            id: thing.id().to_owned(),
            label: label.to_owned(),
            attribute: Attribute::Whole,
            status,
            mine: mine.map(words).or_else(|| gone(mine.is_some())),
            theirs: theirs.map(words).or_else(|| gone(theirs.is_some())),
            before: base.map(words),
            default,
            because,
            at: thing.place(),
        });
    }

    fn compare_homes(&mut self, mine: &Land, theirs: &Land, base: Option<&Land>) {
        // A field file says nothing about a home strip, and could not hold one.
        let Some(other) = theirs.home.as_ref().filter(|_| mine.whole) else { return };
        let renamed: HashMap<&str, &str> = self
            .pairs
            .iter()
            .filter_map(|pair| match pair {
                Pair::Field(Trio { mine: Some(mine), theirs: Some(theirs), .. }) => {
                    Some((theirs.id.as_str(), mine.id.as_str()))
                }
                _ => None,
            })
            .collect();
        let tolerance_m = self.context.tolerance_m;
        let same = |a: &Home, b: &Home| {
            let field = |h: &Home| renamed.get(h.field_id.as_str()).map_or(h.field_id.clone(), |id| (*id).to_owned());
            let near = |p: Xy, q: Xy| p.distance(q) <= tolerance_m;
            let ends = a.ends.len() == b.ends.len()
                && a.ends.iter().zip(&b.ends).all(|(p, q)| {
                    (&p.name, p.elevation_amsl_m) == (&q.name, q.elevation_amsl_m)
                        && near(p.threshold, q.threshold)
                        && p.heading_true.turn_to(q.heading_true).abs() < 1e-6
                });
            let plain = |h: &Home| (h.name.clone(), h.elevation_amsl_m, h.runway_length_m, h.runway_width_m);
            plain(a) == plain(b)
                && (field(a) == field(b) || a.field_id == field(b))
                && near(a.position, b.position)
                && ends
        };
        if mine.home.as_ref().is_some_and(|own| same(own, other)) {
            return;
        }
        let before = base.and_then(|b| b.home.as_ref());
        let (status, default, because) = match (&mine.home, before) {
            (None, _) => (Status::OnlyTheirs, Take::Theirs, "only they have it"),
            (Some(own), Some(before)) if same(own, before) => {
                (Status::ChangedByThem, Take::Theirs, "only they changed it")
            }
            (Some(_), Some(before)) if same(other, before) => (Status::ChangedByMe, Take::Mine, "only you changed it"),
            (Some(_), Some(_)) => (Status::ChangedByBoth, Take::Mine, KEPT),
            (Some(_), None) => (Status::Differs, Take::Mine, KEPT),
        };
        let units = self.context.units;
        let words = |h: &Home| {
            let ends: Vec<&str> = h.ends.iter().map(|e| e.name.as_str()).collect();
            format!(
                "{}, {} by {}, ends {}, {} above sea level",
                h.name,
                units.format_length(h.runway_length_m),
                units.format_length(h.runway_width_m),
                ends.join(" and "),
                units.format_height(h.elevation_amsl_m)
            )
        };
        self.differences.push(Difference {
            pair: self.pairs.len(),
            kind: Kind::Home,
            id: other.field_id.clone(),
            label: "home strip".to_owned(),
            attribute: Attribute::Whole,
            status,
            mine: mine.home.as_ref().map(words),
            theirs: Some(words(other)),
            before: before.map(words),
            default,
            because,
            at: Some(other.position),
        });
        self.pairs.push(Pair::Home(Trio {
            mine: mine.home.clone().map(Arc::new),
            theirs: Some(Arc::new(other.clone())),
            base: before.cloned().map(Arc::new),
        }));
    }
}

impl Area {
    /// This area with choices of a merge taken.
    ///
    /// # Errors
    /// When the area is no longer the one that was compared.
    pub fn merged(&self, merge: &Merge, takes: &[Take], whose: &str) -> Result<Self, crate::area::EditError> {
        let mut merged = self.clone();
        merged.apply(&merge.edit(takes, whose))?;
        Ok(merged)
    }
}

fn push<T>(
    swap: Option<Swap<T>>,
    change: impl Fn(Swap<T>) -> Change,
    changes: &mut Vec<Change>,
    added: &mut Vec<Change>,
) {
    if let Some(swap) = swap {
        let list = if swap.before.is_none() { added } else { changes };
        list.push(change(swap));
    }
}

fn sorted<T: Identified>(things: &[Arc<T>]) -> Vec<Arc<T>> {
    let mut sorted = things.to_vec();
    sorted.sort_by(|a, b| a.id().cmp(b.id()));
    sorted
}

fn ids<T: Identified>(trio: &Trio<T>) -> (Option<&str>, Option<&str>) {
    (trio.mine.as_ref().map(|t| t.id()), trio.theirs.as_ref().map(|t| t.id()))
}

/// The wanted identifier, or the next free one like it.
fn free(wanted: &str, kind: Kind, used: &HashSet<String>) -> String {
    if !wanted.is_empty() && !used.contains(wanted) {
        return wanted.to_owned();
    }
    let stem = if wanted.is_empty() { kind.words().replace(' ', "-") } else { wanted.to_owned() };
    let mut number = 2_u64;
    loop {
        let id = format!("{stem}-{number}");
        if !used.contains(&id) {
            return id;
        }
        number += 1;
    }
}

/// The names of columns that either has, in order.
pub(super) fn columns(mine: &[(String, String)], theirs: &[(String, String)]) -> impl Iterator<Item = String> {
    let names: BTreeSet<String> = mine.iter().chain(theirs).map(|(name, _)| name.clone()).collect();
    names.into_iter()
}

/// The value of a column.
pub(super) fn column<'a>(columns: &'a [(String, String)], name: &str) -> Option<&'a str> {
    columns.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str())
}

/// The columns of both as chosen: mine in their order, then those that only they have.
pub(super) fn merged_columns(
    mine: &[(String, String)],
    theirs: &[(String, String)],
    take: &dyn Fn(&Attribute) -> Take,
) -> Vec<(String, String)> {
    let is_mine = |name: &str| mine.iter().any(|(n, _)| n == name);
    let names = mine.iter().map(|(n, _)| n).chain(theirs.iter().map(|(n, _)| n).filter(|n| !is_mine(n)));
    let mut merged: Vec<(String, String)> = Vec::new();
    for name in names {
        let from = if take(&Attribute::Column(name.clone())) == Take::Theirs { theirs } else { mine };
        if let Some(value) = column(from, name).filter(|_| !merged.iter().any(|(n, _)| n == name)) {
            merged.push((name.clone(), value.to_owned()));
        }
    }
    merged
}
