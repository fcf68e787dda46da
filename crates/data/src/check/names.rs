//! Identifiers and names.

use super::ground::middle;
use super::{Finding, FindingKind, Severity, Subject, field_words, hazard_words, zone_words};
use crate::area::{Area, Change, Edit, Identified, Swap};
use sparefield_geometry::fields::model::{Field, Hazard, HazardShape, QuietZone};
use sparefield_geometry::position::Xy;
use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;

pub(super) fn look(area: &Area, found: &mut Vec<Finding>) {
    let mut look = Look { area, given: HashSet::new(), found };
    look.identifiers(&area.fields, |f: &Field| (field_words(f), f.centroid()), Subject::Field, Change::Field);
    look.identifiers(&area.hazards, |h: &Hazard| (hazard_words(h), middle(&h.shape)), Subject::Hazard, Change::Hazard);
    let zone = |z: &QuietZone| (zone_words(z), middle(&HazardShape::Line(z.outer.clone())));
    look.identifiers(&area.quiet_zones, zone, Subject::QuietZone, Change::QuietZone);
    names(area, found);
}

struct Look<'a> {
    area: &'a Area,
    /// Identifiers that mends of this check already use.
    given: HashSet<String>,
    found: &'a mut Vec<Finding>,
}

impl Look<'_> {
    fn identifiers<T: Identified + Clone + WithId>(
        &mut self,
        all: &[Arc<T>],
        words: impl Fn(&T) -> (String, Xy),
        subject: impl Fn(String) -> Subject,
        change: impl Fn(Swap<T>) -> Change,
    ) {
        let mut seen: HashSet<&str> = HashSet::new();
        for thing in all {
            let id = thing.id();
            let (name, at) = words(thing);
            let (kind, sentence) = if id.is_empty() {
                (FindingKind::NoIdentifier, format!("{name} has no identifier, so edits of it cannot be kept"))
            } else if !seen.insert(id) {
                let sentence = format!("{name} has the identifier “{id}” of another {}", T::WHAT);
                (FindingKind::IdentifierTwice, sentence)
            } else {
                continue;
            };
            let stem = if id.is_empty() { T::WHAT.replace(' ', "-") } else { id.to_owned() };
            let mut new = self.area.free_id(&stem);
            let mut number = 1_u32;
            while !self.given.insert(new.clone()) {
                number += 1;
                new = format!("{}-{number}", self.area.free_id(&stem));
            }
            let after = thing.as_ref().clone().with_id(new.clone());
            let edit = Edit::new(format!("call {name} “{new}”"), vec![change(Swap::replace(thing, after))]);
            let remedy = "give it an identifier of its own";
            let finding = Finding::about(kind, Severity::Wrong, subject(id.to_owned()), at, sentence, remedy);
            self.found.push(finding.with(Some(edit)));
        }
    }
}

trait WithId {
    fn with_id(self, id: String) -> Self;
}

impl WithId for Field {
    fn with_id(self, id: String) -> Self {
        Self { id, ..self }
    }
}
impl WithId for Hazard {
    fn with_id(self, id: String) -> Self {
        Self { id, ..self }
    }
}
impl WithId for QuietZone {
    fn with_id(self, id: String) -> Self {
        Self { id, ..self }
    }
}

fn names(area: &Area, found: &mut Vec<Finding>) {
    let mut by_name: BTreeMap<String, Vec<&Arc<Field>>> = BTreeMap::new();
    for field in area.fields.iter().filter(|f| !f.name.trim().is_empty()) {
        by_name.entry(field.name.trim().to_lowercase()).or_default().push(field);
    }
    for same in by_name.values().filter(|same| same.len() > 1) {
        let sentence = format!("{} fields are called “{}”", same.len(), same[0].name.trim());
        let remedy = "give each a name of its own, so that a word on the radio means one field";
        let subject = Subject::Field(same[0].id.clone());
        let at = same[0].centroid();
        let finding = Finding::about(FindingKind::NameTwice, Severity::Doubtful, subject, at, sentence, remedy);
        let subjects = same.iter().map(|f| Subject::Field(f.id.clone())).collect();
        found.push(Finding { subjects, ..finding });
    }
}
