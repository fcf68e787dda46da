//! What kept measures were held against, as names of content: the land, and the aircraft with the rules. Where they are
//! not those of today, measures are of another day.
//!
//! The day itself is no part of it: surveys are judged for the day on which a sortie was looked through, and every kept
//! measure would be out of date on the next.

use crate::assess::Rules;
use sparefield_data::area::Area;
use sparefield_data::sortie::{Fingerprint, KeptMeasures};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone, Remarks};
use std::fmt::{Debug, Write as _};

/// Names of what measures are held against.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Basis {
    /// The land: terrain, fields, hazards, quiet zones and the home strip.
    pub land: String,
    /// The aircraft's numbers and the rules.
    pub held: String,
}

/// In what kept measures differ from what they would be held against now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Stale {
    /// Other land.
    pub land: bool,
    /// Another aircraft, or other rules.
    pub held: bool,
    /// Nobody kept what they were held against.
    pub unknown: bool,
}

impl Basis {
    /// Of an area, an aircraft and rules. Takes as long as reading the whole land once.
    #[must_use]
    pub fn of(area: &Area, aircraft: &Aircraft, rules: Rules) -> Self {
        Self { land: land(area), held: held(aircraft, rules) }
    }
    /// In what kept measures differ from this.
    #[must_use]
    pub fn stale(&self, kept: &KeptMeasures) -> Stale {
        if self.land.is_empty() {
            // What is there now is not known, so nothing is said.
            return Stale::default();
        }
        let unknown = kept.land.is_empty() || kept.held.is_empty();
        Stale { land: !unknown && kept.land != self.land, held: !unknown && kept.held != self.held, unknown }
    }
}

impl Stale {
    /// Whether it differs in anything, or nobody knows.
    #[must_use]
    pub fn is_any(self) -> bool {
        self.land || self.held || self.unknown
    }
}

fn print_of(what: &impl Debug) -> Fingerprint {
    let mut print = Fingerprint::default();
    let _ = write!(print, "{what:?}");
    print
}

/// Things in any order; two of the same count twice.
fn all<T: Debug>(things: impl Iterator<Item = T>) -> String {
    let mut sum = Fingerprint::default();
    for thing in things {
        sum.join(&print_of(&thing));
    }
    sum.key()
}

fn held(aircraft: &Aircraft, rules: Rules) -> String {
    // The same numbers under another name measure the same.
    print_of(&(Aircraft { name: String::new(), ..aircraft.clone() }, rules)).key()
}

fn land(area: &Area) -> String {
    let mut heights = Fingerprint::default();
    for height in &area.terrain.heights_m {
        heights.add(&height.to_bits().to_le_bytes());
    }
    let bare = |f: &Field| Field {
        name: String::new(),
        notes: String::new(),
        other: Vec::new(),
        remarks: Remarks::default(),
        ..f.clone()
    };
    let fields = all(area.fields.iter().map(|f| bare(f)));
    let hazards = all(area.hazards.iter().map(|h| Hazard { name: String::new(), other: Vec::new(), ..(**h).clone() }));
    let zones = all(area.quiet_zones.iter().map(|z| QuietZone { name: String::new(), ..(**z).clone() }));
    let crs = area.frame.crs().definition();
    let home = area.home.as_ref().map(|h| (h.position, h.elevation_amsl_m));
    let all = (area.terrain.frame, heights.key(), fields, hazards, zones, crs, home);
    print_of(&all).key()
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_data::NoProgress;
    use sparefield_data::area::{Change, Edit, Swap};
    use std::sync::Arc;

    #[test]
    fn what_measures_depend_on_changes_their_basis_and_nothing_else_does() {
        let area = Area::sample(&NoProgress).unwrap();
        let (aircraft, rules) = (Aircraft::example_flexwing(), Rules::default());
        let now = Basis::of(&area, &aircraft, rules);
        let with = |change: &dyn Fn(&mut Field)| {
            let (mut area, old) = (area.clone(), Arc::clone(&area.fields[3]));
            let mut new = (*old).clone();
            change(&mut new);
            area.apply(&Edit::new("change", vec![Change::Field(Swap::replace(&old, new))])).unwrap();
            Basis::of(&area, &aircraft, rules)
        };
        assert_eq!(with(&|f| f.name.push('x')), now);
        assert_eq!(with(&|f| f.notes.push('x')), now);
        assert_ne!(with(&|f| f.outer[0].x += 0.5).land, now.land);
        assert_ne!(with(&|f| f.surveyed = None).land, now.land);
        let mut turned = area.clone();
        turned.fields = Arc::new(area.fields.iter().rev().cloned().collect());
        assert_eq!(Basis::of(&turned, &aircraft, rules), now, "the order of fields does not matter");
        let mut less = area.clone();
        less.hazards = Arc::new(area.hazards[1..].to_vec());
        assert_ne!(Basis::of(&less, &aircraft, rules).land, now.land);
        let mut higher = area.clone();
        let mut terrain = (*area.terrain).clone();
        terrain.heights_m[100] += 1.0;
        higher.terrain = Arc::new(terrain);
        assert_ne!(Basis::of(&higher, &aircraft, rules).land, now.land);

        let other = Aircraft { base_leg_distance_m: 260.0, ..aircraft.clone() };
        assert_ne!(Basis::of(&area, &other, rules).held, now.held);
        assert_eq!(Basis::of(&area, &Aircraft { name: "Another".into(), ..aircraft.clone() }, rules), now);

        let kept = KeptMeasures { land: now.land.clone(), held: now.held.clone(), ..KeptMeasures::default() };
        assert!(!now.stale(&kept).is_any());
        assert_eq!(now.stale(&KeptMeasures::default()), Stale { unknown: true, ..Stale::default() });
        let elsewhere = KeptMeasures { land: "x".into(), ..kept };
        assert_eq!(now.stale(&elsewhere), Stale { land: true, ..Stale::default() });
    }
}
