//! Edits of drill sets.

use super::{Made, Refused, gone};
use sparefield_data::Loaded;
use sparefield_data::aircraft_file;
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::drills::Drills;
use sparefield_geometry::drill::{DrillSet, DrillWind, Place, Told};
use sparefield_geometry::position::Bearing;
use std::fmt::Write as _;
use std::sync::Arc;

/// A knot in m/s.
const KNOT_MS: f64 = 1_852.0 / 3_600.0;
/// A foot in metres.
const FOOT_M: f64 = 0.304_8;
/// How far round home engines stop in a new set, metres.
const AROUND_M: f64 = 4_000.0;

/// The set with an identifier.
fn set<'a>(area: &'a Area, id: &str) -> Result<&'a Arc<DrillSet>, Refused> {
    area.drill_sets.iter().find(|s| s.id == id).ok_or_else(|| gone("drill set"))
}

/// Changes a set.
///
/// # Errors
/// When it is gone, or what would come of it cannot be drilled.
pub fn change_set(area: &Area, id: &str, change: impl FnOnce(&mut DrillSet)) -> Made {
    let before = set(area, id)?;
    let mut after = (**before).clone();
    change(&mut after);
    checked(&after)?;
    Ok(Edit::new("change a drill set", vec![Change::DrillSet(Swap::replace(before, after))]))
}

/// A new set: anywhere around home, in a light westerly that the pilot is told.
///
/// # Errors
/// Does not fail for an area that has a middle.
pub fn new_set(area: &Area) -> Made {
    let id = area.free_id("drills");
    let centre = area.home.as_ref().map_or_else(|| area.centre(), |h| h.position);
    let seed = id.bytes().fold(area.drill_sets.len() as u64 + 1, |sum, b| sum.wrapping_mul(31).wrapping_add(b.into()));
    let aircraft = aircraft_file::builtin().into_iter().next().map(|a| a.name).unwrap_or_default();
    let wind = DrillWind {
        from_grid: Some(area.to_grid(Bearing::from_deg(260.0), centre)),
        speed_ms: 8.0 * KNOT_MS,
        told: Told::Everything,
        direction_error_rad: 20_f64.to_radians(),
        speed_error_ms: 3.0 * KNOT_MS,
    };
    let new = DrillSet {
        name: free_name(area, "Around home"),
        id,
        seed,
        drills: 20,
        places: vec![Place::Circle { centre, radius_m: AROUND_M }],
        lowest_agl_m: 800.0 * FOOT_M,
        highest_agl_m: 2_000.0 * FOOT_M,
        winds: vec![wind],
        aircraft,
        joins: Vec::new(),
        shortest_run_s: 5.0,
        longest_run_s: 45.0,
    };
    checked(&new)?;
    Ok(Edit::new("make a drill set", vec![Change::DrillSet(Swap::add(new))]))
}

/// A copy of a set with a seed of its own: further failures of the same kind.
///
/// # Errors
/// When it is gone.
pub fn copy_set(area: &Area, id: &str) -> Made {
    let before = set(area, id)?;
    let name = free_name(area, &before.name);
    let new = DrillSet { id: area.free_id("drills"), name, seed: before.seed.wrapping_add(1), ..(**before).clone() };
    Ok(Edit::new("copy a drill set", vec![Change::DrillSet(Swap::add(new))]))
}

/// Deletes a set. Results of it stay.
///
/// # Errors
/// When it is gone.
pub fn delete_set(area: &Area, id: &str) -> Made {
    Ok(Edit::new("delete a drill set", vec![Change::DrillSet(Swap::remove(set(area, id)?))]))
}

/// What of a document's sets the area lacks. Names of other sets that are taken get a number; the failures stay the same,
/// since they hang on identifier and seed.
///
/// # Errors
/// When the area has all of them, or there are none.
pub fn take_in(area: &Area, read: &Drills) -> Made {
    if read.sets.is_empty() {
        return Err(Refused::because("There is no drill set in this document."));
    }
    let mine = Drills { sets: area.drill_sets.to_vec(), results: Vec::new() };
    let theirs = Drills { sets: read.sets.clone(), results: Vec::new() };
    let new = theirs.lacking(&mine).sets;
    if new.is_empty() {
        return Err(Refused::because("Every drill set of this document is here already."));
    }
    let mut names: Vec<String> = area.drill_sets.iter().map(|s| s.name.clone()).collect();
    let mut changes = Vec::new();
    for set in new {
        let name = free_among(&names, &set.name);
        names.push(name.clone());
        changes.push(Change::DrillSet(Swap::add(DrillSet { name, ..(*set).clone() })));
    }
    Ok(Edit::new("take in drill sets", changes))
}

/// What was taken in, for people: the sets by name, what was here already, and what could not be read.
#[must_use]
pub fn taken_in(read: &Loaded<Drills>, edit: &Edit) -> String {
    let added = |change: &Change| match change {
        Change::DrillSet(swap) => swap.after.as_ref().map(|set| format!("“{}”, {} drills", set.name, set.drills)),
        _ => None,
    };
    let names: Vec<String> = edit.changes.iter().filter_map(added).collect();
    let mut words = match names.len() {
        1 => format!("Taken in: drill set {}.", names[0]),
        n => format!("Taken in: {n} drill sets ({}).", names.join("; ")),
    };
    let known = read.value.sets.len().saturating_sub(names.len());
    if known > 0 {
        let _ = write!(words, " {known} of the document were here already.");
    }
    if !read.value.results.is_empty() {
        let _ = write!(words, " Its {} results were left there: they are their pilots’.", read.value.results.len());
    }
    for warning in &read.warnings {
        let _ = write!(words, " {warning}.");
    }
    words.push_str(" Undo takes them out again.");
    words
}

/// A name that no set has: the one wanted, or with a number behind it.
fn free_name(area: &Area, wanted: &str) -> String {
    let names: Vec<String> = area.drill_sets.iter().map(|s| s.name.clone()).collect();
    free_among(&names, wanted)
}

fn free_among(names: &[String], wanted: &str) -> String {
    let taken = |name: &String| names.contains(name);
    let numbered = (2_u32..).map(|n| format!("{wanted} {n}"));
    core::iter::once(wanted.to_owned()).chain(numbered).find(|name| !taken(name)).unwrap_or_default()
}

fn checked(set: &DrillSet) -> Result<(), Refused> {
    if set.name.trim().is_empty() {
        return Err(Refused::because("A drill set needs a name."));
    }
    set.validate().map_err(|why| {
        let text = why.to_string();
        let mut letters = text.chars();
        let first = letters.next().map_or_else(String::new, |c| c.to_uppercase().collect());
        Refused::because(format!("{first}{}.", letters.as_str()))
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]
mod tests {
    use super::*;
    use sparefield_data::NoProgress;

    #[test]
    fn sets_are_made_copied_changed_and_deleted_and_every_step_is_taken_back() {
        let mut area = Area::sample(&NoProgress).unwrap();
        let before = area.drill_sets.clone();
        let mut edits = Vec::new();
        for make in [
            new_set as fn(&Area) -> Made,
            new_set,
            |a| copy_set(a, "drills-home"),
            |a| change_set(a, "drills-home", |s| s.highest_agl_m = 500.0),
            |a| delete_set(a, "drills-around"),
        ] {
            let edit = make(&area).unwrap();
            area.apply(&edit).unwrap();
            edits.push(edit);
        }
        let names: Vec<&str> = area.drill_sets.iter().map(|s| s.name.as_str()).collect();
        assert!(names.contains(&"Around home") && names.contains(&"Around home 2"), "{names:?}");
        assert!(names.contains(&"Fan stops at home 2") && !names.contains(&"Anywhere around home"), "{names:?}");
        let copy = area.drill_sets.iter().find(|s| s.name == "Fan stops at home 2").unwrap();
        assert_ne!(copy.seed, before[0].seed);
        for edit in edits.iter().rev() {
            area.take_back(edit).unwrap();
        }
        assert_eq!(area.drill_sets, before);
    }

    #[test]
    fn sets_of_a_document_are_taken_in_once_and_with_names_of_their_own() {
        let mut area = Area::sample(&NoProgress).unwrap();
        let before = area.drill_sets.clone();
        let mut other = (*before[0]).clone();
        other.id = "from-the-club".into();
        other.seed += 1;
        let document = Drills { sets: vec![Arc::clone(&before[0]), Arc::new(other.clone())], results: Vec::new() };
        let edit = take_in(&area, &document).unwrap();
        let read = Loaded { value: document.clone(), warnings: Vec::new(), provenance: Vec::new() };
        let words = taken_in(&read, &edit);
        assert!(
            words.contains(&format!("{} 2”", other.name)) && words.contains("1 of the document were here"),
            "{words}"
        );
        area.apply(&edit).unwrap();
        let taken = area.drill_sets.iter().find(|s| s.id == other.id).unwrap();
        // The same failures under another name.
        assert_eq!(DrillSet { name: other.name.clone(), ..(**taken).clone() }, other);
        assert!(take_in(&area, &document).unwrap_err().sentence.contains("here already"));
        assert!(take_in(&area, &Drills::default()).unwrap_err().sentence.contains("no drill set"));
        area.take_back(&edit).unwrap();
        assert_eq!(area.drill_sets, before);
    }

    #[test]
    fn what_cannot_be_drilled_is_refused_with_a_sentence() {
        let area = Area::sample(&NoProgress).unwrap();
        let told = |change: fn(&mut DrillSet)| change_set(&area, "drills-home", change).unwrap_err().sentence;
        assert!(told(|s| s.highest_agl_m = 10.0).contains("heights"), "{}", told(|s| s.highest_agl_m = 10.0));
        assert!(told(|s| s.drills = 0).contains("drills"));
        assert_eq!(told(|s| s.name = " ".into()), "A drill set needs a name.");
        assert!(change_set(&area, "nowhere", |_| {}).unwrap_err().sentence.contains("no longer there"));
    }
}
