//! The one core behind fan stops at the home strip: from which heights and on which headings a circuit onto the strip
//! works in a wind, flown by simulation, and what a pilot has practised of it.

mod page;
pub mod picture;
pub mod words;

pub use page::page;

use crate::assess::{self, AssessError, Assessment, Conditions, HeightInput, StateInput};
use crate::circuits::Around;
use crate::drill::DrillError;
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_geometry::circuit::{CircuitTask, Join, Landing, NoCircuit, Start};
use sparefield_geometry::drill::{DrillResult, DrillSet, FAN_CELLS, FanCell, FanRecord, next_number};
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::fields::rank::RankInput;
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::fields::ways::ways_in;
use sparefield_geometry::position::Bearing;
use sparefield_geometry::reach::ReachError;
use std::sync::Arc;
use thiserror::Error;

/// Height above the strip from which its landings are judged for what they are, metres: every one is in reach from there.
const JUDGED_FROM_M: f64 = 1_200.0;
/// How far a strip may be turned from the runway to be a landing on it, radians.
const ALONG_RUNWAY_RAD: f64 = 20.0 * std::f64::consts::PI / 180.0;

/// Why there are no fan stops to look at, as one sentence without a full stop.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NoFanStops {
    /// The area has no home strip.
    #[error("the area has no home strip, so there is nothing to practise at; open an area that has one")]
    NoHome,
    /// No set practises at the home strip.
    #[error("no drill set practises fan stops at the home strip; make one under Sets with the home strip as its place")]
    NoSet,
    /// The field that the home strip lies in is not there.
    #[error("the field that the home strip lies in is not in the area; draw it, or import it")]
    NoField,
    /// The set makes no sense, or its aircraft is not known.
    #[error("{0}")]
    Set(#[from] DrillError),
    /// No landing on the strip passes every check, whatever the height.
    #[error("no landing on the home strip passes every check in this wind, whatever the height")]
    NoLanding,
    /// Aircraft or wind make no sense here.
    #[error("{0}")]
    Assess(#[from] AssessError),
}

/// A landing on the home strip that was flown to.
#[derive(Clone, Debug, PartialEq)]
pub struct HomeLanding {
    /// The runway's name.
    pub runway: String,
    /// Where it comes down.
    pub landing: Landing,
}

/// The circuit that leaves most height over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way {
    /// Which landing, by its place among those flown to.
    pub landing: usize,
    /// Height to spare, metres.
    pub spare_m: f64,
    /// The join.
    pub join: Join,
    /// The hand.
    pub hand: Hand,
    /// Whether no circuit uses all the height up.
    pub too_high: bool,
}

/// What would come of an engine that stops in one cell: over the middle of the strip, in the middle of the cell's heights
/// and directions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FanState {
    /// Height above the ground, metres.
    pub height_agl_m: f64,
    /// The way onto the strip, or why there is none: of several landings, that which lacks least.
    pub way: Result<Way, NoCircuit>,
}

/// The strip as seen from every cell.
#[derive(Clone, Debug)]
pub struct FanStops {
    /// The area.
    pub area: Arc<Area>,
    /// The set.
    pub set: Arc<DrillSet>,
    /// Aircraft and wind; the aircraft is the set's.
    pub conditions: Conditions,
    /// The strip as judged from high above, and the wind.
    pub assessment: Assessment,
    /// The landings flown to.
    pub landings: Vec<HomeLanding>,
    /// One for each cell, in their order.
    pub cells: Vec<FanState>,
}

impl FanStops {
    /// What would come of one cell.
    #[must_use]
    pub fn state(&self, cell: FanCell) -> &FanState {
        &self.cells[cell.index()]
    }
    /// How many cells the strip is in reach from.
    #[must_use]
    pub fn in_reach(&self) -> usize {
        self.cells.iter().filter(|c| c.way.is_ok()).count()
    }
}

/// What one pilot practised, and what comes next.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Practised {
    /// One for each cell, in their order.
    pub records: Vec<FanRecord>,
    /// The cell of the drill that comes next; nothing where that is elsewhere.
    pub next: Option<FanCell>,
}

/// What one pilot practised of a set, and what comes next; `seed` is that of the drill that is drawn next.
///
/// # Errors
/// When the set cannot be drilled here.
pub fn practised(area: &Area, set: &DrillSet, own: &[&DrillResult], seed: u64) -> Result<Practised, NoFanStops> {
    let home = area.home.as_ref().ok_or(NoFanStops::NoHome)?.position;
    let next = next_number(set, Some(home), own, seed)
        .and_then(|number| set.fan_cell(number, Some(home)))
        .map_err(DrillError::from)?;
    Ok(Practised { records: set.fan_records(home, own), next })
}

/// The set, if it has fan stops; else the area's first that does.
#[must_use]
pub fn fan_set<'a>(area: &'a Area, chosen: Option<&'a Arc<DrillSet>>) -> Option<&'a Arc<DrillSet>> {
    let has = |set: &&Arc<DrillSet>| set.fan_within_m().is_some();
    chosen.filter(has).or_else(|| area.drill_sets.iter().find(has))
}

/// From which cells a circuit onto the home strip works, with the aircraft and the wind of the conditions; their state is
/// not looked at.
///
/// `stopped` is asked and `tell` told the share done for every cell.
///
/// # Errors
/// When there is no strip to land on, the wind or the aircraft do not allow it, or it was stopped.
pub fn fan_stops(
    area: &Arc<Area>,
    set: &Arc<DrillSet>,
    conditions: &Conditions,
    stopped: &(dyn Fn() -> bool + Sync),
    tell: &dyn Fn(f32),
) -> Result<FanStops, NoFanStops> {
    let home = area.home.as_ref().ok_or(NoFanStops::NoHome)?;
    set.fan_within_m().ok_or(NoFanStops::NoSet)?;
    set.validate().map_err(DrillError::from)?;
    let state = StateInput { position: home.position, height: HeightInput::AboveGround(JUDGED_FROM_M), heading: None };
    let conditions = Conditions { state, ..conditions.clone() };
    let studies = Studies::new(area, &conditions);
    let assessment = assess::assess(area, &studies, &conditions, stopped)?;
    let landings = landings(area, &studies, &conditions, &assessment)?;
    let around = Around::new(Arc::clone(area));
    let task = |landing: &HomeLanding| -> Result<CircuitTask<'_>, NoCircuit> {
        around.task_with(&assessment, landing.landing, set.allowed_joins())
    };
    let tasks: Vec<_> = landings.iter().map(task).collect();
    let ground_amsl_m = area.terrain.height_at(home.position).unwrap_or(home.elevation_amsl_m);
    let mut cells = Vec::with_capacity(FAN_CELLS);
    for cell in FanCell::all() {
        if stopped() {
            return Err(AssessError::Reach(ReachError::Cancelled).into());
        }
        let (low, high) = cell.heights_agl_m(set);
        let height_agl_m = 0.5 * (low + high);
        let state = sparefield_geometry::reach::AircraftState {
            position: home.position,
            height_amsl_m: ground_amsl_m + height_agl_m,
            heading: Some(cell.heading()),
        };
        let way = best_way(&tasks, |task| task.start(&state, conditions.aircraft.reaction_time_s));
        cells.push(FanState { height_agl_m, way });
        tell(cells.len() as f32 / FAN_CELLS as f32);
    }
    drop(tasks);
    Ok(FanStops { area: Arc::clone(area), set: Arc::clone(set), conditions, assessment, landings, cells })
}

/// The landings on the runway that nothing but the height could keep out.
fn landings(
    area: &Area,
    studies: &Studies,
    conditions: &Conditions,
    assessment: &Assessment,
) -> Result<Vec<HomeLanding>, NoFanStops> {
    let home = area.home.as_ref().ok_or(NoFanStops::NoHome)?;
    let field = area.fields.iter().position(|f| f.id == home.field_id).ok_or(NoFanStops::NoField)?;
    let study = studies.each().get(field).ok_or(NoFanStops::NoField)?;
    let options = assess::rank_options(area, conditions.rules, conditions.today);
    let input = RankInput {
        aircraft: &conditions.aircraft,
        wind: &assessment.wind,
        options: &options,
        quiet_zones: &area.quiet_zones,
    };
    let arrival = assessment.arrivals.get(field).copied().flatten();
    let ends: Vec<(&str, Bearing)> =
        home.ends.iter().map(|e| (e.name.as_str(), area.to_grid(e.heading_true, home.position))).collect();
    let mut found: Vec<HomeLanding> = Vec::new();
    for way in ways_in(&area.fields[field], study, &input, arrival) {
        let along = |end: &&(&str, Bearing)| end.1.turn_to(way.strip.heading).abs() <= ALONG_RUNWAY_RAD;
        let (Some((name, _)), Some(landing)) = (ends.iter().find(along), Landing::on(&way.strip)) else { continue };
        let serves = way.verdict != Verdict::Out || way.out_by_height_alone;
        // The first of each end is its best.
        if serves && found.iter().all(|f| f.runway != *name) {
            found.push(HomeLanding { runway: (*name).to_owned(), landing });
        }
    }
    if found.is_empty() { Err(NoFanStops::NoLanding) } else { Ok(found) }
}

/// The circuit that leaves most over among several landings.
fn best_way<'t, 'a: 't>(
    tasks: &'t [Result<CircuitTask<'a>, NoCircuit>],
    start: impl Fn(&CircuitTask<'a>) -> Start,
) -> Result<Way, NoCircuit> {
    let mut best: Option<(usize, &'t CircuitTask<'a>, sparefield_geometry::circuit::Least)> = None;
    let mut why: Option<NoCircuit> = None;
    for (i, task) in tasks.iter().enumerate() {
        let least = task.as_ref().map_err(|e| *e).and_then(|task| Ok((task, task.least(&start(task))?)));
        match least {
            Ok((task, least)) if best.as_ref().is_none_or(|b| least.spare_m > b.2.spare_m) => {
                best = Some((i, task, least));
            }
            Ok(_) => {}
            Err(other) => why = Some(nearer(why, other)),
        }
    }
    let Some((landing, task, least)) = best else { return Err(why.unwrap_or(NoCircuit::NoRoom)) };
    let (plan, spare_m) = (&least.plan, least.spare_m);
    let of_least = Way { landing, spare_m, join: plan.join, hand: plan.hand, too_high: false };
    match task.circuit(&start(task)) {
        Ok(circuit) => Ok(Way { join: circuit.plan.join, hand: circuit.plan.hand, ..of_least }),
        Err(NoCircuit::TooHigh { .. }) => Ok(Way { too_high: true, ..of_least }),
        Err(other) => Err(other),
    }
}

/// Of two reasons, the one that is nearer to working.
fn nearer(one: Option<NoCircuit>, other: NoCircuit) -> NoCircuit {
    match (one, other) {
        (Some(NoCircuit::TooLow { short_by_m: a }), NoCircuit::TooLow { short_by_m: b }) => {
            NoCircuit::TooLow { short_by_m: a.min(b) }
        }
        (Some(low @ NoCircuit::TooLow { .. }), _) => low,
        (_, other) => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::{Rules, WindInput};
    use crate::drill::aircraft_of;
    use sparefield_data::NoProgress;
    use sparefield_geometry::air::WindProfile;
    use sparefield_geometry::drill::{HEADINGS, HEIGHT_STEPS};
    use sparefield_geometry::fields::model::Day;
    use sparefield_geometry::position::Xy;

    fn stops(from_deg: f64, speed_ms: f64, heights_m: (f64, f64)) -> Result<FanStops, NoFanStops> {
        let area = Arc::new(Area::sample(&NoProgress).unwrap());
        let set = fan_set(&area, None).unwrap();
        let set = Arc::new(DrillSet { lowest_agl_m: heights_m.0, highest_agl_m: heights_m.1, ..(**set).clone() });
        let conditions = Conditions {
            aircraft: aircraft_of(&set, &[]).unwrap(),
            wind: WindInput::surface(Bearing::from_deg(from_deg), speed_ms, WindProfile::OPEN_GRASS),
            state: StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None },
            rules: Rules::default(),
            today: Day { days_since_epoch: 20_782 },
        };
        fan_stops(&area, &set, &conditions, &|| false, &|_| {})
    }

    #[test]
    fn what_a_cell_says_is_what_a_drill_of_it_would_fly() {
        let stops = stops(240.0, 4.0, (60.0, 620.0)).unwrap();
        assert_eq!(stops.cells.len(), FAN_CELLS);
        let reached = |step: usize| (0..HEADINGS).filter(|d| stops.state(FanCell::new(step, *d)).way.is_ok()).count();
        // 130 m are not enough for a way round on every heading, 550 m over the strip are.
        assert!(reached(0) < HEADINGS && reached(HEIGHT_STEPS - 1) == HEADINGS, "{} {}", reached(0), reached(3));
        let around = Around::new(Arc::clone(&stops.area));
        let home = stops.area.home.as_ref().unwrap();
        for cell in FanCell::all().step_by(7) {
            let state = stops.state(cell);
            // Flown again from the place as people would say it, each landing by itself.
            let at = sparefield_geometry::reach::AircraftState {
                position: home.position,
                height_amsl_m: stops.area.terrain.height_at(home.position).unwrap() + state.height_agl_m,
                heading: Some(cell.heading()),
            };
            let spare = stops.landings.iter().filter_map(|landing| {
                let task = around.task_with(&stops.assessment, landing.landing, [true; 5]).ok()?;
                Some(task.least(&task.start(&at, stops.conditions.aircraft.reaction_time_s)).ok()?.spare_m)
            });
            let best = spare.reduce(f64::max);
            assert_eq!(state.way.ok().map(|w| w.spare_m), best, "{cell:?}");
        }
    }

    #[test]
    fn a_wind_that_no_landing_takes_and_stopping_are_told() {
        // Straight across the runway, and more than the aircraft may.
        let across = stops(330.0, 11.0, (240.0, 600.0)).map(|s| s.landings).unwrap_err();
        assert!(matches!(across, NoFanStops::NoLanding), "{across}");
        let area = Arc::new(Area::sample(&NoProgress).unwrap());
        let without = Arc::new(Area { home: None, ..(*area).clone() });
        let set = fan_set(&area, None).unwrap();
        let good = stops(240.0, 4.0, (240.0, 600.0)).unwrap();
        let again = |area: &Arc<Area>, stopped: bool| fan_stops(area, set, &good.conditions, &|| stopped, &|_| {});
        assert!(matches!(again(&without, false), Err(NoFanStops::NoHome)));
        assert!(matches!(again(&area, true), Err(NoFanStops::Assess(AssessError::Reach(ReachError::Cancelled)))));
        // A set elsewhere is passed over for one over the strip.
        let other = area.drill_sets.iter().find(|s| s.fan_within_m().is_none()).unwrap();
        assert_eq!(fan_set(&area, Some(other)).unwrap().id, set.id);
    }

    #[test]
    fn every_place_of_the_rose_is_the_wedge_drawn_there() {
        let side = 300.0;
        let (centre, radius) = (side / 2.0, side / 2.0 - 34.0);
        let mut found = std::collections::BTreeSet::new();
        for cell in FanCell::all() {
            let share = 0.27 + (1.0 - 0.27) * (cell.step() as f32 + 0.5) / HEIGHT_STEPS as f32;
            let unit = cell.heading().unit();
            let at = egui::pos2(centre + radius * share * unit.x as f32, centre - radius * share * unit.y as f32);
            assert_eq!(picture::cell_at(side, at), Some(cell));
            found.insert(cell);
        }
        assert_eq!(found.len(), FAN_CELLS);
        assert_eq!(picture::cell_at(side, egui::pos2(centre, centre)), None);
        assert_eq!(picture::cell_at(side, egui::pos2(1.0, 1.0)), None);
    }
}
