//! The one core behind climb-outs: an area's home strip and conditions become what is in reach off one end, height by
//! height, in numbers and in words.

mod page;
pub mod words;

pub use page::page;

use crate::assess::{self, AssessError, Assessment, Conditions, HeightInput, StateInput};
use crate::circuits::{Around, Wanted};
use crate::studies::Studies;
use sparefield_data::area::{Area, RunwayEnd as AreaEnd};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::circuit::{CircuitTask, Landing};
use sparefield_geometry::climb_out::{ClimbOut, ClimbOutAt, ClimbOutError, ClimbOutOptions, ClimbOutTask, RunwayEnd};
use sparefield_geometry::fields::verdict::{RankedField, Verdict};
use sparefield_geometry::position::Bearing;
use sparefield_geometry::reach::ReachError;
use std::sync::Arc;
use thiserror::Error;

/// Height above the runway's end from which fields are judged for what they are, metres: so high that every field near
/// the way out is in reach from there.
const JUDGED_FROM_M: f64 = 1_200.0;
/// Most fields flown to, the nearest to the way out: as many as anybody looks at in a climb-out.
const FIELDS: usize = 32;
/// How far the way out leads, metres: about as far as 1 500 ft are climbed in.
const WAY_OUT_M: f64 = 3_000.0;

/// Why there is no climb-out.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NoClimbOut {
    /// The area has no home strip.
    #[error("the area has no home strip, so there is no runway to climb out from; open an area that has one")]
    NoHome,
    /// No end of the runway has that name.
    #[error("the home strip has no runway “{wanted}”; it has {known}")]
    NoEnd {
        /// What was asked for.
        wanted: String,
        /// The names there are.
        known: String,
    },
    /// Aircraft or wind make no sense here.
    #[error("{0}")]
    Assess(#[from] AssessError),
    /// The climb-out cannot be flown.
    #[error("{0}")]
    Flown(#[from] ClimbOutError),
}

/// What is in reach off one end of the home strip.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The area.
    pub area: Arc<Area>,
    /// The conditions; their state is above the runway's end.
    pub conditions: Conditions,
    /// The end's name.
    pub name: String,
    /// The runway as taken off from.
    pub runway: RunwayEnd,
    /// Fields as judged from high above the runway's end, and the wind.
    pub assessment: Assessment,
    /// The fields flown to, by their place in [`ClimbOut`]'s lists.
    pub fields: Vec<RankedField>,
    /// Fields that would take the aircraft and were left out as too many.
    pub left_out: usize,
    /// How it was flown.
    pub options: ClimbOutOptions,
    /// What came of it.
    pub flown: ClimbOut,
}

/// The end of the home strip with a name or, by degrees, a direction; the one most into the wind where none is asked for.
///
/// # Errors
/// When there is no home strip or no such end.
pub fn end<'a>(area: &'a Area, wanted: Option<&str>, wind: WindVector) -> Result<&'a AreaEnd, NoClimbOut> {
    let home = area.home.as_ref().ok_or(NoClimbOut::NoHome)?;
    let Some(wanted) = wanted else {
        let headwind = |end: &AreaEnd| wind.headwind_ms(area.to_grid(end.heading_true, home.position));
        let best = home.ends.iter().max_by(|a, b| headwind(a).total_cmp(&headwind(b)));
        return best.ok_or(NoClimbOut::NoHome);
    };
    let asked = wanted.trim().trim_start_matches('0');
    let named = home.ends.iter().find(|e| e.name.trim().trim_start_matches('0').eq_ignore_ascii_case(asked));
    let turned = || {
        // "240" means the runway nearest to that direction, as long as it is meant.
        let bearing = sparefield_data::quantity::parse_bearing(wanted).ok()?;
        let off = |end: &&AreaEnd| end.heading_true.turn_to(bearing).abs();
        let nearest = home.ends.iter().min_by(|a, b| off(a).total_cmp(&off(b)))?;
        (wanted.trim().len() == 3 && off(&nearest) <= 20f64.to_radians()).then_some(nearest)
    };
    named.or_else(turned).ok_or_else(|| NoClimbOut::NoEnd {
        wanted: wanted.to_owned(),
        known: home.ends.iter().map(|e| e.name.as_str()).collect::<Vec<_>>().join(" and "),
    })
}

/// What is in reach off an end of the home strip. `tell` is told the share done.
///
/// # Errors
/// When there is no such end, or the wind or the aircraft do not allow it.
pub fn climb_out(
    area: &Arc<Area>,
    wanted: Option<&str>,
    conditions: &Conditions,
    options: ClimbOutOptions,
    stopped: &(dyn Fn() -> bool + Sync),
    tell: &dyn Fn(f32),
) -> Result<Answer, NoClimbOut> {
    let home = area.home.as_ref().ok_or(NoClimbOut::NoHome)?;
    let wind = assess::frame_wind(area, &conditions.wind, home.position, home.elevation_amsl_m)?;
    let chosen = end(area, wanted, wind.surface)?;
    let heading: Bearing = area.to_grid(chosen.heading_true, home.position);
    let departure_end = chosen.threshold + heading.unit() * home.runway_length_m;
    let elevation_amsl_m = area.terrain.height_at(departure_end).unwrap_or(home.elevation_amsl_m);
    let runway = RunwayEnd { departure_end, heading, length_m: home.runway_length_m, elevation_amsl_m };
    let state = StateInput {
        position: departure_end,
        height: HeightInput::AboveSea(elevation_amsl_m + JUDGED_FROM_M),
        // Judged for what the fields are, not for where the nose points.
        heading: None,
    };
    let conditions = Conditions { state, ..conditions.clone() };
    let studies = Studies::new(area, &conditions);
    let assessment = assess::assess(area, &studies, &conditions, stopped)?;
    let away = |r: &RankedField| {
        let from = area.fields[r.index].centroid() - departure_end;
        let along = from.dot(heading.unit()).clamp(0.0, WAY_OUT_M);
        (from - heading.unit() * along).norm()
    };
    let mut fields: Vec<(Landing, RankedField)> = assessment
        .ranked
        .iter()
        .filter(|r| r.verdict != Verdict::Out)
        .filter_map(|r| Some((Landing::on(r.strip.as_ref()?)?, r.clone())))
        .collect();
    fields.sort_by(|a, b| away(&a.1).total_cmp(&away(&b.1)));
    let left_out = fields.len().saturating_sub(FIELDS);
    fields.truncate(FIELDS);
    let around = Around::new(Arc::clone(area));
    let tasks: Vec<(CircuitTask<'_>, RankedField)> = fields
        .into_iter()
        .filter_map(|(landing, ranked)| Some((around.task(&assessment, landing, Wanted::default()).ok()?, ranked)))
        .collect();
    let (tasks, fields): (Vec<CircuitTask<'_>>, Vec<RankedField>) = tasks.into_iter().unzip();
    let task = ClimbOutTask {
        aircraft: &conditions.aircraft,
        wind: &assessment.wind,
        terrain: &area.terrain,
        fields: &tasks,
        runway,
        options,
    };
    let flown = task.compute(stopped, tell)?;
    if stopped() {
        return Err(AssessError::Reach(ReachError::Cancelled).into());
    }
    let name = chosen.name.clone();
    drop(tasks);
    Ok(Answer { area: Arc::clone(area), conditions, name, runway, assessment, fields, left_out, options, flown })
}

impl Answer {
    /// What is in reach at one height above the runway, with the ways there; fields by their place in `fields`.
    ///
    /// # Errors
    /// When the height was not looked at, the wind does not allow the climb-out, or the caller stopped it.
    pub fn at(&self, height_m: f64, stopped: &(dyn Fn() -> bool + Sync)) -> Result<ClimbOutAt, ClimbOutError> {
        let around = Around::new(Arc::clone(&self.area));
        let task_of = |ranked: &RankedField| {
            let landing = Landing::on(ranked.strip.as_ref()?)?;
            around.task(&self.assessment, landing, Wanted::default()).ok()
        };
        // Each of them was a task before, so that none is left out and every place in the list is the same.
        let tasks: Vec<CircuitTask<'_>> = self.fields.iter().filter_map(task_of).collect();
        let task = ClimbOutTask {
            aircraft: &self.conditions.aircraft,
            wind: &self.assessment.wind,
            terrain: &self.area.terrain,
            fields: &tasks,
            runway: self.runway,
            options: self.options,
        };
        task.at_unless(height_m, stopped)
    }

    /// Height above the runway from which a field is in reach at every height looked at above, and its place in the list;
    /// the lowest first.
    #[must_use]
    pub fn reached_from(&self) -> Vec<(usize, f64)> {
        let mut out: Vec<(usize, f64)> = (0..self.fields.len())
            .filter_map(|index| {
                let reached = |step: &&sparefield_geometry::climb_out::ClimbOutStep| {
                    step.fields.iter().any(|f| f.index == index && f.spare_m >= 0.0)
                };
                let lasting = self.flown.steps.iter().rev().take_while(reached).last();
                Some((index, lasting?.height_m))
            })
            .collect();
        out.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::{Rules, WindInput};
    use sparefield_data::NoProgress;
    use sparefield_geometry::air::WindProfile;
    use sparefield_geometry::aircraft::Aircraft;
    use sparefield_geometry::circuit::NoCircuit;
    use sparefield_geometry::fields::model::Day;
    use sparefield_geometry::position::Xy;

    fn conditions(from_deg: f64, speed_ms: f64) -> Conditions {
        Conditions {
            aircraft: Aircraft::example_flexwing(),
            wind: WindInput::surface(Bearing::from_deg(from_deg), speed_ms, WindProfile::OPEN_GRASS),
            state: StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None },
            rules: Rules::default(),
            today: Day { days_since_epoch: 20_782 },
        }
    }

    fn sample() -> Arc<Area> {
        Arc::new(Area::sample(&NoProgress).unwrap())
    }

    #[test]
    fn the_end_into_the_wind_is_taken_where_none_is_asked_for() {
        let area = sample();
        let home = area.home.clone().unwrap();
        for end_of in &home.ends {
            let heading = area.to_grid(end_of.heading_true, home.position);
            let wind = WindVector::coming_from(heading, 5.0);
            assert_eq!(end(&area, None, wind).unwrap().name, end_of.name);
            assert_eq!(end(&area, Some(&end_of.name), wind).unwrap().name, end_of.name);
            let degrees = format!("{:03.0}", end_of.heading_true.deg());
            assert_eq!(end(&area, Some(&degrees), wind).unwrap().name, end_of.name);
        }
        let refused = end(&area, Some("13"), WindVector::CALM).unwrap_err().to_string();
        assert!(refused.contains("13") && home.ends.iter().all(|e| refused.contains(&e.name)), "{refused}");
        let without = Area { home: None, ..(*area).clone() };
        assert!(matches!(end(&without, None, WindVector::CALM), Err(NoClimbOut::NoHome)));
    }

    /// What a climb-out says of a field is what flying there from that place gives.
    #[test]
    fn fields_are_reached_from_where_the_climb_out_is() {
        let area = sample();
        let options = ClimbOutOptions { step_m: 60.0, ..ClimbOutOptions::default() };
        let calm = climb_out(&area, Some("24"), &conditions(0.0, 0.0), options, &|| false, &|_| {}).unwrap();
        let top = calm.flown.steps.last().unwrap();
        assert!(top.fields.iter().any(|f| f.spare_m >= 0.0), "nothing in reach from {} m", top.height_m);
        assert!(calm.flown.steps[0].fields.is_empty(), "a circuit from 50 ft");
        // Asked about alone it is the same.
        assert_eq!(calm.at(top.height_m, &|| false).unwrap().step, *top);
        // Flown again by the circuit of the window, from the same place.
        let studies = Studies::new(&area, &calm.conditions);
        let height = HeightInput::AboveSea(calm.runway.elevation_amsl_m + top.height_m);
        let state = StateInput { position: top.position, height, heading: Some(calm.runway.heading) };
        let there = Conditions { state, ..calm.conditions.clone() };
        let assessment = assess::assess(&area, &studies, &there, &|| false).unwrap();
        let around = Around::new(Arc::clone(&area));
        for reached in &top.fields {
            let ranked = &calm.fields[reached.index];
            // Too high for a circuit that uses it all up is in reach all the more.
            let spare_m = match around.answer(&assessment, ranked, Wanted::default(), &|| false).unwrap().circuit {
                Ok(circuit) => circuit.spare_m,
                Err(NoCircuit::TooHigh { spare_m }) => spare_m,
                Err(why) => panic!("{why:?}"),
            };
            assert!((spare_m - reached.spare_m).abs() < 1.0, "{spare_m} {}", reached.spare_m);
        }
        // From everywhere above where a field is first in reach for good, it is.
        for (index, from_m) in calm.reached_from() {
            let above = calm.flown.steps.iter().filter(|s| s.height_m >= from_m);
            assert!(above.clone().count() > 0);
            assert!(above.flat_map(|s| s.fields.iter().filter(|f| f.index == index)).all(|f| f.spare_m >= 0.0));
        }
    }
}
