//! Studies of an area's fields for one aircraft: made once, kept while the aircraft moves, and made again only where
//! the land changed.

use crate::assess::Conditions;
use sparefield_data::area::Area;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::{Field, Hazard};
use sparefield_geometry::fields::study::{FieldStudy, StudyOptions, study_all};
use sparefield_geometry::grid::Terrain;
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

/// Fields studied between two looks at whether to go on.
const FIELDS_PER_STEP: usize = 32;

/// What depends on the area, the aircraft and nothing else.
#[derive(Clone, Debug)]
pub struct Studies {
    each: Arc<Vec<Arc<FieldStudy>>>,
    fields: Arc<Vec<Arc<Field>>>,
    hazards: Arc<Vec<Arc<Hazard>>>,
    hazard_index: Arc<HazardIndex>,
    terrain: Arc<Terrain>,
    aircraft: Aircraft,
}

impl Studies {
    /// The area's hazards, to be found by place.
    #[must_use]
    pub fn hazard_index(&self) -> &HazardIndex {
        &self.hazard_index
    }
    /// Studies every field of the area for the aircraft of the conditions.
    #[must_use]
    pub fn new(area: &Area, conditions: &Conditions) -> Self {
        let unwatched = Self::in_steps(None, area, conditions, &|_| true);
        // Only a caller that says stop gets nothing.
        unwatched.unwrap_or_else(|| Self::of(area, conditions, Vec::new()))
    }

    /// The same in steps: `goes_on` is told the share done after each, and says whether to go on; `None` when not.
    ///
    /// Fields that are in `earlier` unchanged, with no changed hazard where their study looked, are not studied again.
    #[must_use]
    pub fn in_steps(
        earlier: Option<&Self>,
        area: &Area,
        conditions: &Conditions,
        goes_on: &dyn Fn(f32) -> bool,
    ) -> Option<Self> {
        let earlier = earlier.filter(|e| e.aircraft == conditions.aircraft && Arc::ptr_eq(&e.terrain, &area.terrain));
        let mut each: Vec<Option<Arc<FieldStudy>>> = match earlier {
            None => vec![None; area.fields.len()],
            Some(earlier) => earlier.kept_for(area),
        };
        let missing: Vec<usize> = (0..each.len()).filter(|&i| each[i].is_none()).collect();
        let hazards = HazardIndex::new(area.hazards.iter().cloned());
        let mut done = 0_usize;
        for part in missing.chunks(FIELDS_PER_STEP) {
            let fields: Vec<&Field> = part.iter().map(|&i| area.fields[i].as_ref()).collect();
            let options = StudyOptions::default();
            let made = study_all(&fields, &hazards, Some(&area.terrain), &conditions.aircraft, &options);
            for (&i, study) in part.iter().zip(made) {
                each[i] = Some(Arc::new(study));
            }
            done += part.len();
            if !goes_on(done as f32 / missing.len() as f32) {
                return None;
            }
        }
        Some(Self::of(area, conditions, each.into_iter().flatten().collect()))
    }

    fn of(area: &Area, conditions: &Conditions, each: Vec<Arc<FieldStudy>>) -> Self {
        Self {
            each: Arc::new(each),
            fields: Arc::clone(&area.fields),
            hazards: Arc::clone(&area.hazards),
            hazard_index: Arc::new(HazardIndex::new(area.hazards.iter().cloned())),
            terrain: Arc::clone(&area.terrain),
            aircraft: conditions.aircraft.clone(),
        }
    }

    /// By index of the area's fields, the studies that still hold.
    fn kept_for(&self, area: &Area) -> Vec<Option<Arc<FieldStudy>>> {
        let changed = HazardIndex::new(changed(&self.hazards, &area.hazards));
        let made: HashMap<*const Field, &Arc<FieldStudy>> =
            self.fields.iter().map(Arc::as_ptr).zip(self.each.iter()).collect();
        let holds = |study: &Arc<FieldStudy>| {
            let (low, high) = study.looked_at();
            changed.near(low, high).is_empty()
        };
        let kept = |field: &Arc<Field>| made.get(&Arc::as_ptr(field)).copied().filter(|s| holds(s)).cloned();
        area.fields.iter().map(kept).collect()
    }

    /// The studies, by index of the area's fields.
    #[must_use]
    pub fn each(&self) -> &Arc<Vec<Arc<FieldStudy>>> {
        &self.each
    }

    /// Whether these studies serve as they are: the land is the same, and so is the aircraft.
    #[must_use]
    pub fn fits(&self, area: &Area, conditions: &Conditions) -> bool {
        Arc::ptr_eq(&self.fields, &area.fields)
            && Arc::ptr_eq(&self.hazards, &area.hazards)
            && Arc::ptr_eq(&self.terrain, &area.terrain)
            && self.aircraft == conditions.aircraft
    }
}

/// Hazards of one list that are not in the other, both ways.
fn changed(before: &Arc<Vec<Arc<Hazard>>>, after: &Arc<Vec<Arc<Hazard>>>) -> Vec<Arc<Hazard>> {
    if Arc::ptr_eq(before, after) {
        return Vec::new();
    }
    let of = |list: &[Arc<Hazard>]| list.iter().map(Arc::as_ptr).collect::<HashSet<_>>();
    let (old, new) = (of(before), of(after));
    let gone = before.iter().filter(|h| !new.contains(&Arc::as_ptr(h)));
    let come = after.iter().filter(|h| !old.contains(&Arc::as_ptr(h)));
    gone.chain(come).cloned().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::{HeightInput, Rules, StateInput, WindInput};
    use sparefield_data::area::{Change, Edit, Swap};
    use sparefield_data::error::NoProgress;
    use sparefield_geometry::air::WindProfile;
    use sparefield_geometry::fields::model::{BoundaryEdge, Day, HazardKind, HazardShape};
    use sparefield_geometry::position::Bearing;
    use std::cell::Cell;

    fn conditions(area: &Area) -> Conditions {
        Conditions {
            aircraft: Aircraft::example_flexwing(),
            wind: WindInput::surface(Bearing::from_deg(240.0), 4.0, WindProfile::Uniform),
            state: StateInput { position: area.centre(), height: HeightInput::AboveGround(400.0), heading: None },
            rules: Rules::default(),
            today: Day { days_since_epoch: 20_782 },
        }
    }

    #[test]
    fn an_edit_studies_only_what_it_changes_and_gives_what_a_fresh_start_gives() {
        let mut area = Area::sample(&NoProgress).unwrap();
        let conditions = conditions(&area);
        let first = Studies::new(&area, &conditions);
        let field = Arc::clone(&area.fields[5]);
        let bare = Field { edges: vec![BoundaryEdge::UNKNOWN; field.outer.len()], ..(*field).clone() };
        let tree = Hazard::new("tree-new", HazardKind::LoneTree, HazardShape::Point(area.fields[9].centroid()));
        let edit = Edit::new(
            "look again",
            vec![
                Change::Field(Swap::replace(&field, bare)),
                Change::Field(Swap::remove(&area.fields[20].clone())),
                Change::Hazard(Swap::add(tree)),
            ],
        );
        area.apply(&edit).unwrap();
        assert!(!first.fits(&area, &conditions));
        let steps = Cell::new(0);
        let again = Studies::in_steps(Some(&first), &area, &conditions, &|_| {
            steps.set(steps.get() + 1);
            true
        });
        let again = again.unwrap();
        assert!(again.fits(&area, &conditions));
        assert!(steps.get() < area.fields.len().div_ceil(FIELDS_PER_STEP), "{} steps", steps.get());
        let fresh = Studies::new(&area, &conditions);
        assert_eq!(again.each(), fresh.each());
        let kept = first.each().iter().filter(|old| again.each().iter().any(|new| Arc::ptr_eq(old, new))).count();
        assert!(kept > area.fields.len() / 2 && kept < area.fields.len() - 1, "{kept}");
    }
}
