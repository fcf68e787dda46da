//! The one core behind debriefs in the window and on the command line: an area, an aircraft and a recorded flight become
//! a sortie with its exercises, each measured, and what else could have been done.

pub mod basis;
pub mod corrections;
pub mod given;
pub mod glide;
pub mod pictures;
pub mod practise;
pub mod report;
pub mod trends;
pub mod words;

use crate::assess::{Conditions, HeightInput, Rules, StateInput, WindInput, frame_wind, rank_options};
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::{Aircraft, AircraftError};
use sparefield_geometry::circuit::{Circuit, Landing, Surroundings};
use sparefield_geometry::fields::flown::strip_towards;
use sparefield_geometry::fields::model::{Day, Stock};
use sparefield_geometry::fields::rank::{RankInput, rank};
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Xy;
use sparefield_geometry::reach::Arrival;
use sparefield_geometry::track::Track;
use sparefield_geometry::track::exercises::{Event, Exercise};
use sparefield_geometry::track::hindsight::{Hindsight, best_field, circuit_to};
use sparefield_geometry::track::measures::{Against, Measures, measure};
use sparefield_geometry::track::options::{Candidate, Cover, Needs, OptionsAt, cover};
use sparefield_geometry::track::phases::{Flight, PhaseKind};
use sparefield_geometry::track::samples::Samples;
use sparefield_geometry::track::wind_by_height::WindByHeight;
use std::sync::Arc;
use thiserror::Error;

/// Least height over stock, metres above ground: 500 ft, as from people and animals in the rules of the air (SERA.5005).
pub const OVER_STOCK_M: f64 = 152.4;
/// Low flying unless the user says otherwise, metres above ground: 500 ft (SERA.5005 (f), minimum height for VFR flights).
pub const LOW_FLYING_M: f64 = 152.4;
/// Height above a field from which its landing is judged whatever the distance, metres.
const FROM_ABOVE_M: f64 = 1_000.0;
/// Shortest low flight that is told, seconds.
const SHORTEST_LOW_S: usize = 5;

/// Within this of a take-off, landing or go-around flying low is its purpose, seconds.
const AROUND_GROUND_S: usize = 60;

/// What a flight is held against.
#[derive(Clone, Debug)]
pub struct Ask {
    /// The area.
    pub area: Arc<Area>,
    /// The aircraft.
    pub aircraft: Arc<Aircraft>,
    /// The wind as the user knows it; `None` takes what the track tells.
    pub wind: Option<WindInput>,
    /// Rules.
    pub rules: Rules,
    /// The day for which surveys are judged.
    pub today: Day,
    /// Flying lower than this above the ground is marked, metres.
    pub low_flying_m: f64,
}

/// Why a flight cannot be analysed: plain answers.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum NoSortie {
    /// The aircraft's numbers contradict each other.
    #[error("the aircraft cannot be used: {0}")]
    Aircraft(#[from] AircraftError),
    /// Hardly any fixes.
    #[error("the recording has only {fixes} usable fixes in a row, too few to tell anything; choose a longer one")]
    TooShort {
        /// How many.
        fixes: usize,
    },
    /// No heights at all.
    #[error(
        "the recording has no heights, so neither glides nor heights at a failure can be told; record with heights, or \
         choose another recording of the flight"
    )]
    NoHeights,
    /// It lies elsewhere.
    #[error("the recording lies outside the terrain of this area; open the area where it was flown")]
    OutsideTerrain,
    /// It never left the ground.
    #[error(
        "nothing in the recording is a flight: it stays within {most_agl_m:.0} m of the ground; was it made on a road?"
    )]
    NeverFlew {
        /// Highest above ground, metres.
        most_agl_m: f64,
    },
    /// The wind that was given has no direction.
    #[error(
        "the direction of the wind is variable, so nothing can be worked out; leave it out to take what the flight tells"
    )]
    VariableWind,
    /// Stopped by the user.
    #[error("stopped")]
    Cancelled,
}

/// Where the wind comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WindFrom {
    /// The track's turns.
    Track,
    /// The user.
    User,
    /// Nobody: calm is taken.
    Nobody,
}

/// One exercise with everything told about it.
#[derive(Clone, Debug)]
pub struct Debriefed {
    /// When and how it ended.
    pub exercise: Exercise,
    /// Its measures.
    pub measures: Measures,
    /// The best field in hindsight.
    pub hindsight: Option<Hindsight>,
    /// The circuit the program would have flown to the same landing.
    pub same_field: Option<Circuit>,
}

/// A stretch of low flying.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Low {
    /// First sample.
    pub first: usize,
    /// Last sample.
    pub last: usize,
    /// Lowest height above ground, metres.
    pub lowest_m: f64,
}

/// A recorded flight, analysed.
#[derive(Clone, Debug)]
pub struct Sortie {
    /// What it was held against.
    pub ask: Ask,
    /// Fixes of the recording.
    pub fixes: usize,
    /// Wind, phases and samples.
    pub flight: Flight,
    /// The wind that options and circuits were worked out with.
    pub wind: Wind,
    /// Where that wind comes from.
    pub wind_from: WindFrom,
    /// What the turns tell about the wind, also where another was given.
    pub turns_wind: WindByHeight,
    /// Landings it was held against.
    pub candidates: Arc<Vec<Candidate>>,
    /// Options at every sample.
    pub options: Vec<OptionsAt>,
    /// Exercises in order.
    pub exercises: Vec<Debriefed>,
    /// Take-offs, landings and circuits.
    pub events: Vec<Event>,
    /// Share of time with options, exercises left out.
    pub cover: Cover,
    /// Low flying, exercises, take-offs and landings left out.
    pub low: Vec<Low>,
    /// Samples for which the terrain gives no height.
    pub outside: usize,
}

/// Told how far the work is, from 0 to 1; `false` stops it.
pub type GoesOn<'a> = &'a (dyn Fn(f32) -> bool + Sync);

/// The user's word on exercises: told the flight and what was found, the exercises instead; `None` for those found.
pub type Corrected<'a> = &'a dyn Fn(&Flight, &[Exercise]) -> Option<Vec<Exercise>>;

/// Analyses a flight. `corrected` may put the user's own exercises in the place of those found.
///
/// # Errors
/// A plain answer where there is nothing to analyse.
pub fn analyse(
    ask: &Ask,
    track: &Track,
    corrected: Option<Corrected<'_>>,
    goes_on: GoesOn<'_>,
) -> Result<Sortie, NoSortie> {
    ask.aircraft.validate()?;
    let stop = || NoSortie::Cancelled;
    let samples = Samples::of(track);
    if samples.all.len() < 30 {
        return Err(NoSortie::TooShort { fixes: track.fixes.len().min(samples.all.len()) });
    }
    if samples.all.iter().all(|s| s.height_amsl_m.is_none()) {
        return Err(NoSortie::NoHeights);
    }
    let terrain = &ask.area.terrain;
    let outside = samples.all.iter().filter(|s| terrain.height_at(s.position).is_none()).count();
    if outside == samples.all.len() {
        return Err(NoSortie::OutsideTerrain);
    }
    goes_on(0.1).then_some(()).ok_or_else(stop)?;
    let InAir { flight, turns_wind, wind, wind_from } = in_air(&ask.area, &ask.aircraft, ask.wind.as_ref(), samples)?;
    let most_agl_m = flight.flying.iter().filter_map(|f| f.height_agl_m).fold(0.0, f64::max);
    if most_agl_m < 40.0 {
        return Err(NoSortie::NeverFlew { most_agl_m });
    }
    goes_on(0.3).then_some(()).ok_or_else(stop)?;
    let top = flight.samples.all.iter().filter_map(|s| s.height_amsl_m).fold(0.0, f64::max);
    let conditions = Conditions {
        aircraft: (*ask.aircraft).clone(),
        wind: ask.wind.clone().unwrap_or(WindInput {
            surface: None,
            aloft: Vec::new(),
            profile: WindProfile::OPEN_GRASS,
        }),
        state: StateInput { position: ask.area.centre(), height: HeightInput::AboveSea(top), heading: None },
        rules: ask.rules,
        today: ask.today,
    };
    let studies =
        Studies::in_steps(None, &ask.area, &conditions, &|done| goes_on(0.3 + 0.2 * done)).ok_or_else(stop)?;
    let candidates = Arc::new(candidates(ask, &studies, &wind));
    let needs = Needs::new(&candidates, &ask.aircraft, &wind, terrain, top);
    let options = needs.over(&flight, &|| !goes_on(0.55));
    goes_on(0.7).then_some(()).ok_or_else(stop)?;
    let surroundings = Surroundings {
        terrain,
        hazards: studies.hazard_index(),
        quiet_zones: &ask.area.quiet_zones,
        clearance_m: ask.aircraft.terrain_clearance_m,
    };
    let stock: Vec<(usize, Vec<Xy>)> = ask
        .area
        .fields
        .iter()
        .enumerate()
        .filter(|(_, f)| !matches!(f.stock, Stock::None | Stock::Unknown))
        .map(|(i, f)| (i, f.outer.clone()))
        .collect();
    let against =
        Against { aircraft: &ask.aircraft, needs: &needs, surroundings, stock: &stock, over_stock_m: OVER_STOCK_M };
    let told = flight.exercises();
    let found = corrected.and_then(|correct| correct(&flight, &told)).unwrap_or(told);
    let mut exercises = Vec::with_capacity(found.len());
    for (i, exercise) in found.iter().enumerate() {
        goes_on(0.7 + 0.3 * i as f32 / found.len() as f32).then_some(()).ok_or_else(stop)?;
        let Some(measures) = measure(&flight, &options, exercise, &against) else { continue };
        let hindsight = best_field(&flight, &measures, &wind, &against);
        let same_field = measures.landing.and_then(|c| circuit_to(&flight, &measures, c, &wind, &against));
        exercises.push(Debriefed { exercise: exercise.clone(), measures, hindsight, same_field });
    }
    let in_exercise = |i: usize| exercises.iter().any(|e| e.measures.samples.contains(&i));
    let cover = cover(&flight, &options, in_exercise);
    // The climb away after a go-around belongs to the exercise.
    let low = low_flying(ask, &flight, |i| in_exercise(i) || in_exercise(i.saturating_sub(AROUND_GROUND_S)));
    let events = flight.events();
    Ok(Sortie {
        ask: ask.clone(),
        fixes: track.fixes.len(),
        flight,
        wind,
        wind_from,
        turns_wind,
        candidates,
        options,
        exercises,
        events,
        cover,
        low,
        outside,
    })
}

/// A flight in its air.
struct InAir {
    flight: Flight,
    turns_wind: WindByHeight,
    wind: Wind,
    wind_from: WindFrom,
}

fn in_air(
    area: &Area,
    aircraft: &Aircraft,
    wind_given: Option<&WindInput>,
    samples: Samples,
) -> Result<InAir, NoSortie> {
    let terrain = &area.terrain;
    let given = wind_given.is_some().then(|| samples.clone());
    let mut flight = Flight::of(samples, aircraft, Some(terrain), None);
    let turns_wind = flight.wind.clone();
    let (wind, wind_from) = wind(area, wind_given, &flight)?;
    if let Some(samples) = given {
        // A given wind is the wind of everything: airspeeds, phases and options.
        let given = WindByHeight::given(&wind, &samples);
        flight = Flight::of(samples, aircraft, Some(terrain), Some(given));
    }
    Ok(InAir { flight, turns_wind, wind, wind_from })
}

/// A track as a flight in its air and nothing more: wind, airspeeds and phases.
///
/// # Errors
/// Where the aircraft or the wind that was given cannot be used, or the recording is too short.
pub fn flight_of(
    area: &Area,
    aircraft: &Aircraft,
    wind_given: Option<&WindInput>,
    track: &Track,
) -> Result<Flight, NoSortie> {
    aircraft.validate()?;
    let samples = Samples::of(track);
    if samples.all.len() < 30 {
        return Err(NoSortie::TooShort { fixes: track.fixes.len().min(samples.all.len()) });
    }
    in_air(area, aircraft, wind_given, samples).map(|i| i.flight)
}

fn wind(area: &Area, wind_given: Option<&WindInput>, flight: &Flight) -> Result<(Wind, WindFrom), NoSortie> {
    let home = area.home.as_ref();
    let place = home.map_or_else(|| area.centre(), |h| h.position);
    let ground = area.terrain.height_at(place).or(home.map(|h| h.elevation_amsl_m)).unwrap_or(0.0);
    if let Some(input) = wind_given {
        let wind = frame_wind(area, input, place, ground).map_err(|_variable| NoSortie::VariableWind)?;
        return Ok((wind, WindFrom::User));
    }
    Ok(match flight.wind.to_wind(WindProfile::OPEN_GRASS, ground) {
        Some(wind) => (wind, WindFrom::Track),
        None => (Wind::uniform(WindVector::CALM), WindFrom::Nobody),
    })
}

/// Every field's best strip in this wind, and the same strip the other way for landings that were flown so.
fn candidates(ask: &Ask, studies: &Studies, wind: &Wind) -> Vec<Candidate> {
    let area = &ask.area;
    let options = rank_options(area, ask.rules, ask.today);
    let input = RankInput { aircraft: &ask.aircraft, wind, options: &options, quiet_zones: &area.quiet_zones };
    // Judged as from high above, so that only the field itself decides.
    let arrivals: Vec<Option<Arrival>> = studies
        .each()
        .iter()
        .map(|study| {
            let ground = area.terrain.height_at(study.centre)?;
            Some(Arrival { height_amsl_m: ground + FROM_ABOVE_M, track: None })
        })
        .collect();
    let ranked = rank(&area.fields, studies.each(), &input, &arrivals);
    let mut candidates = Vec::new();
    for field in &ranked {
        let Some(strip) = &field.strip else { continue };
        let outer = &area.fields[field.index].outer;
        let candidate = |landing: Landing, verdict: Verdict| Candidate {
            field: field.index,
            landing,
            verdict,
            score: field.score,
            outer: outer.clone(),
        };
        candidates.extend(Landing::on(strip).map(|l| candidate(l, field.verdict)));
        let study = &studies.each()[field.index];
        let other = strip_towards(&area.fields[field.index], study, &input, strip.heading.reversed());
        let reversed = other.filter(|s| s.heading.turn_to(strip.heading).abs() > 1.0);
        candidates.extend(reversed.and_then(|s| Landing::on(&s)).map(|l| candidate(l, Verdict::Out)));
    }
    candidates
}

fn low_flying(ask: &Ask, flight: &Flight, in_exercise: impl Fn(usize) -> bool) -> Vec<Low> {
    let near_ground = |i: usize| {
        flight
            .phases
            .iter()
            .filter(|p| p.kind == PhaseKind::OnGround)
            .any(|p| i + AROUND_GROUND_S >= p.samples.start && i < p.samples.end + AROUND_GROUND_S)
    };
    let mut low: Vec<Low> = Vec::new();
    for (i, f) in flight.flying.iter().enumerate() {
        let Some(h) = f.height_agl_m.filter(|h| *h < ask.low_flying_m) else { continue };
        if flight.phase_at(i) == Some(PhaseKind::OnGround) || in_exercise(i) || near_ground(i) {
            continue;
        }
        match low.last_mut().filter(|l| l.last + 1 == i) {
            Some(open) => (open.last, open.lowest_m) = (i, open.lowest_m.min(h)),
            None => low.push(Low { first: i, last: i, lowest_m: h }),
        }
    }
    low.retain(|l| l.last - l.first + 1 >= SHORTEST_LOW_S);
    low
}

impl Sortie {
    /// The name of a candidate's field.
    #[must_use]
    pub fn field_name(&self, candidate: usize) -> &str {
        self.candidates.get(candidate).and_then(|c| self.ask.area.fields.get(c.field)).map_or("a field", |f| f.label())
    }
    /// Seconds from the first to the last sample.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        let all = &self.flight.samples.all;
        all.first().zip(all.last()).map_or(0.0, |(a, b)| b.time_s - a.time_s)
    }
}
