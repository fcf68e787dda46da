//! The one core behind the window and the command line: an area and conditions become an assessment.
//!
//! Nothing here reads a file, a clock or a setting; whoever calls says which day it is.

use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_data::quantity::{ReportedWind, UnitPrefs, WindAloft, WindWords};
use sparefield_geometry::air::{Wind, WindLayer, WindProfile, WindVector, isa_density_ratio};
use sparefield_geometry::aircraft::{Aircraft, AircraftError, GlideSpeed};
use sparefield_geometry::circuit::Surroundings;
use sparefield_geometry::contour::contours;
use sparefield_geometry::fields::approach::ObstacleRule;
use sparefield_geometry::fields::flown::{FlownInput, rank_flown, strip_towards};
use sparefield_geometry::fields::generic_circuit::{GenericCircuit, spare_heights};
use sparefield_geometry::fields::model::{Day, Field, QuietZone};
use sparefield_geometry::fields::needed::SafetyFactor;
use sparefield_geometry::fields::rank::{RankInput, RankOptions};
use sparefield_geometry::fields::reasons::headline;
use sparefield_geometry::fields::study::FieldStudy;
use sparefield_geometry::fields::verdict::{Quantity, RankedField, Reason, StripVerdict};
use sparefield_geometry::fields::workings;
use sparefield_geometry::grid::{SurfaceKind, Terrain};
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::{AircraftState, Arrival, Reach, ReachError, ReachOptions, forward_reach};
use std::collections::HashMap;
use std::fmt::Write as _;
use std::sync::Arc;
use thiserror::Error;

/// A height as people give it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeightInput {
    /// Metres above the ground under the aircraft.
    AboveGround(f64),
    /// Metres above mean sea level.
    AboveSea(f64),
}

/// Where the engine stops, in the area's frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StateInput {
    /// Position.
    pub position: Xy,
    /// Height.
    pub height: HeightInput,
    /// Heading from grid north; `None` leaves out reaction time's drift and the first turn.
    pub heading: Option<Bearing>,
}

/// The wind as people know it: directions from true north, heights above mean sea level.
#[derive(Clone, Debug, PartialEq)]
pub struct WindInput {
    /// Wind at 10 m above the ground, where known.
    pub surface: Option<ReportedWind>,
    /// Winds aloft.
    pub aloft: Vec<WindAloft>,
    /// How the surface wind grows with height.
    pub profile: WindProfile,
}

impl WindInput {
    /// A known surface wind, from true north, and nothing known aloft.
    #[must_use]
    pub fn surface(from_true: Bearing, speed_ms: f64, profile: WindProfile) -> Self {
        let from = (speed_ms > 0.0).then_some(from_true);
        Self { surface: Some(ReportedWind { from, speed_ms, gust_ms: None }), aloft: Vec::new(), profile }
    }
}

/// The rules by which landing distance and approach are judged.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Rules {
    /// How far an obstacle under the approach moves the landing end.
    pub obstacle: ObstacleRule,
    /// General safety factor on the landing distance.
    pub safety: SafetyFactor,
}

/// Everything but the land: aircraft, wind, state, rules, day.
#[derive(Clone, Debug, PartialEq)]
pub struct Conditions {
    /// The aircraft.
    pub aircraft: Aircraft,
    /// The wind as known.
    pub wind: WindInput,
    /// Where the engine stops.
    pub state: StateInput,
    /// Rules.
    pub rules: Rules,
    /// The day for which surveys are judged.
    pub today: Day,
}

/// Why there is no assessment. Every one is a plain answer to what was asked, not a failure of the program.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum AssessError {
    /// The aircraft's numbers contradict each other: correct the aircraft.
    #[error("the aircraft cannot be used: {0}")]
    Aircraft(#[from] AircraftError),
    /// The aircraft is outside, below or too near the terrain: move it.
    #[error("{0}")]
    Reach(#[from] ReachError),
    /// The wind has no direction: give one.
    #[error(
        "the direction of the wind is variable, so nothing can be worked out; give the direction that is worst, or calm"
    )]
    VariableWind,
    /// The wind is at least as strong as the fastest glide: check both.
    #[error(
        "the wind of {wind_kt:.0} kt {place} is as strong as the fastest glide of this aircraft ({airspeed_kt:.0} kt), so \
         it makes no way against it and cannot land; check the wind and the aircraft"
    )]
    WindTooStrong {
        /// Wind in knots.
        wind_kt: f64,
        /// Where that wind blows.
        place: &'static str,
        /// Fastest gliding airspeed in knots.
        airspeed_kt: f64,
    },
}

/// Fields of each group whose circuits are flown: the best, those just too low, and those just out of reach overhead.
const CIRCUITS_FLOWN: usize = 6;

const KNOT_MS: f64 = 1_852.0 / 3_600.0;

/// Where the aircraft can glide to, which fields would take it, and why.
#[derive(Clone, Debug)]
pub struct Assessment {
    /// The state it was computed from.
    pub state: AircraftState,
    /// Ground under the aircraft, metres above mean sea level.
    pub ground_amsl_m: f64,
    /// The wind in the area's frame.
    pub wind: Wind,
    /// Where the aircraft can glide to.
    pub reach: Arc<Reach>,
    /// How it arrives overhead each field's centre, by index; `None` where a field is not in reach.
    pub arrivals: Vec<Option<Arrival>>,
    /// Every field in the order of choice.
    pub ranked: Arc<Vec<RankedField>>,
    /// Height for a circuit over a place with no particular field; what reach rings are drawn with.
    circuit: GenericCircuit,
    /// Spare height at the centres of the reach's cells, metres: arrival height above ground less the height for a
    /// circuit; `NaN` where not reachable.
    pub spare_m: Arc<Vec<f32>>,
    /// The day for which surveys were judged.
    pub today: Day,
    aircraft: Aircraft,
    studies: Arc<Vec<Arc<FieldStudy>>>,
    fields: Arc<Vec<Arc<Field>>>,
    quiet_zones: Arc<Vec<Arc<QuietZone>>>,
    options: RankOptions,
}

/// A contour of spare height.
#[derive(Clone, Debug, PartialEq)]
pub struct Ring {
    /// Spare height on it, metres.
    pub level_m: f64,
    /// Its pieces; a closed piece ends where it starts.
    pub lines: Vec<Vec<Xy>>,
}

/// How a shown number came about.
#[derive(Clone, Debug, PartialEq)]
pub struct Working {
    /// What the number is, in words.
    pub label: String,
    /// The number.
    pub value: Quantity,
    /// Whether its sign matters, as that of a difference does.
    pub signed: bool,
    /// The formula in words and signs.
    pub formula: String,
    /// What went in, by name.
    pub inputs: Vec<(String, Quantity)>,
    /// Published source, or "common practice, no source", or "from memory".
    pub source: &'static str,
}

/// Works out reach and ranking.
///
/// `cancel` is asked regularly whether to stop. The same input gives the same bits on any number of threads.
///
/// # Errors
/// When the aircraft, its state or the wind make no sense here; the sentence says which.
pub fn assess(
    area: &Area,
    studies: &Studies,
    conditions: &Conditions,
    cancel: &(dyn Fn() -> bool + Sync),
) -> Result<Assessment, AssessError> {
    let aircraft = &conditions.aircraft;
    aircraft.validate()?;
    let StateInput { position, height, heading } = conditions.state;
    let ground_amsl_m = ground_under(&area.terrain, position)?;
    let height_amsl_m = match height {
        HeightInput::AboveGround(agl) => ground_amsl_m + agl,
        HeightInput::AboveSea(amsl) => amsl,
    };
    let wind = frame_wind(area, &conditions.wind, position, ground_amsl_m)?;
    check_wind(aircraft, &wind, height_amsl_m)?;
    let state = AircraftState { position, height_amsl_m, heading };
    let reach = forward_reach(&area.terrain, aircraft, &wind, &state, &ReachOptions::of(aircraft), cancel)?;
    let arrivals: Vec<Option<Arrival>> =
        studies.each().iter().map(|study| reach.arrival_at(&area.terrain, study.centre)).collect();
    if cancel() {
        return Err(ReachError::Cancelled.into());
    }
    let options = rank_options(area, conditions.rules, conditions.today);
    let input = RankInput { aircraft, wind: &wind, options: &options, quiet_zones: &area.quiet_zones };
    let surroundings = Surroundings {
        terrain: &area.terrain,
        hazards: studies.hazard_index(),
        quiet_zones: &area.quiet_zones,
        clearance_m: aircraft.terrain_clearance_m,
    };
    let flown = FlownInput { state: &state, surroundings, most: CIRCUITS_FLOWN };
    let ranked = rank_flown(&area.fields, studies.each(), &input, &arrivals, &flown, cancel);
    if cancel() {
        return Err(ReachError::Cancelled.into());
    }
    let (low, high) = area.terrain.range().unwrap_or((ground_amsl_m, ground_amsl_m));
    let circuit = GenericCircuit::new(aircraft, &wind, low, high.min(height_amsl_m).max(low));
    let spare_m = Arc::new(spare_heights(&reach, &area.terrain, &circuit));
    Ok(Assessment {
        state,
        ground_amsl_m,
        wind,
        reach: Arc::new(reach),
        arrivals,
        ranked: Arc::new(ranked),
        circuit,
        spare_m,
        today: conditions.today,
        aircraft: aircraft.clone(),
        studies: Arc::clone(studies.each()),
        fields: Arc::clone(&area.fields),
        quiet_zones: Arc::clone(&area.quiet_zones),
        options,
    })
}

/// The choices fields are ranked by.
pub(crate) fn rank_options(area: &Area, rules: Rules, today: Day) -> RankOptions {
    RankOptions {
        obstacle_rule: rules.obstacle,
        safety: rules.safety,
        today: Some(today),
        hazards_unknown: area.hazards.is_empty(),
        ..RankOptions::default()
    }
}

fn ground_under(terrain: &Terrain, position: Xy) -> Result<f64, ReachError> {
    let (row, col) = terrain.frame.fractional(position);
    let within = |x: f64, n: usize| n > 0 && x >= 0.0 && x <= (n - 1) as f64;
    if !(within(row, terrain.frame.rows) && within(col, terrain.frame.cols)) {
        return Err(ReachError::OutsideTerrain);
    }
    terrain.height_at(position).ok_or(ReachError::NoTerrain)
}

/// The wind in the area's frame.
///
/// The surface wind belongs to the ground under the home strip where one is known, else to that under the aircraft.
/// With winds aloft alone, the surface wind is the lowest of them carried down the profile.
///
/// # Errors
/// When the surface wind has no direction.
pub fn frame_wind(area: &Area, input: &WindInput, position: Xy, ground_amsl_m: f64) -> Result<Wind, AssessError> {
    let (place, ground) = match &area.home {
        Some(home) => (home.position, area.terrain.height_at(home.position).unwrap_or(home.elevation_amsl_m)),
        None => (position, ground_amsl_m),
    };
    let convergence = area.convergence_rad(place);
    let turned = |wind: WindVector| {
        wind.from_bearing()
            .map_or(wind, |from| WindVector::coming_from(Bearing::from_rad(from.rad() - convergence), wind.speed_ms()))
    };
    let aloft: Vec<WindLayer> =
        input.aloft.iter().map(|layer| WindLayer { height_amsl_m: layer.height_m, wind: turned(layer.wind) }).collect();
    let lowest = aloft.iter().min_by(|a, b| a.height_amsl_m.total_cmp(&b.height_amsl_m));
    let surface = match (&input.surface, lowest) {
        (Some(reported), _) => turned(reported.vector().ok_or(AssessError::VariableWind)?),
        (None, Some(layer)) => {
            let ratio = input.profile.ratio_at(layer.height_amsl_m - ground).max(1.0);
            WindVector { east_ms: layer.wind.east_ms / ratio, north_ms: layer.wind.north_ms / ratio }
        }
        (None, None) => WindVector::CALM,
    };
    Ok(Wind::new(surface, input.profile, aloft, ground))
}

pub(crate) fn check_wind(aircraft: &Aircraft, wind: &Wind, height_amsl_m: f64) -> Result<(), AssessError> {
    let fastest = match aircraft.glide_speed {
        GlideSpeed::Held(v) => v,
        GlideSpeed::BestForWind => aircraft.max_speed_ms,
    };
    let looked_at = [
        ("at the surface", wind.surface, wind.ground_amsl_m),
        ("at the aircraft's height", wind.at_amsl(height_amsl_m), height_amsl_m),
    ];
    for (place, vector, amsl) in looked_at {
        let airspeed = fastest / isa_density_ratio(amsl).sqrt();
        if vector.speed_ms() >= airspeed {
            let (wind_kt, airspeed_kt) = (vector.speed_ms() / KNOT_MS, airspeed / KNOT_MS);
            return Err(AssessError::WindTooStrong { wind_kt, place, airspeed_kt });
        }
    }
    Ok(())
}

/// What is always said, whatever the result.
pub const STANDING_CAUTIONS: [&str; 4] = [
    "A training and planning aid, not for navigation; the pilot looks outside.",
    "Wires cannot be seen in terrain or land data: assume them along every road, to every building and between any \
     two poles, until you have looked.",
    "Land data may be wrong or old: surfaces, stock, fences and crops change within days.",
    "The aircraft's handbook, local rules and licensed instruction come first.",
];

impl Assessment {
    /// The aircraft it was computed for.
    #[must_use]
    pub fn aircraft(&self) -> &Aircraft {
        &self.aircraft
    }
    /// Height of the aircraft above the ground, metres.
    #[must_use]
    pub fn height_agl_m(&self) -> f64 {
        self.state.height_amsl_m - self.ground_amsl_m
    }

    /// Height for a circuit over ground as high as that under the aircraft, arriving on an unknown track, metres;
    /// infinite when none can be flown.
    #[must_use]
    pub fn generic_circuit_m(&self) -> f64 {
        self.circuit.height_m(self.ground_amsl_m, None)
    }

    /// Height above ground on arriving at a place, and the spare height there, metres; `None` where not in reach.
    #[must_use]
    pub fn spare_at(&self, terrain: &Terrain, place: Xy) -> Option<(f64, f64)> {
        let arrival = self.reach.arrival_at(terrain, place)?;
        let ground = terrain.height_at(place)?;
        let above_ground = arrival.height_amsl_m - ground;
        let spare = above_ground - self.circuit.height_m(ground, arrival.track);
        spare.is_finite().then_some((above_ground, spare))
    }

    /// What of this still holds for a changed list of fields, until the next assessment is there: fields are found by
    /// identifier, those that are gone are left out, and new ones have no rank yet.
    #[must_use]
    pub fn carried_over(&self, fields: &Arc<Vec<Arc<Field>>>) -> Self {
        if let Some(grown) = self.grown(fields) {
            return grown;
        }
        let place: HashMap<&str, usize> = fields.iter().enumerate().map(|(i, f)| (f.id.as_str(), i)).collect();
        let from: Vec<Option<usize>> = self.fields.iter().map(|f| place.get(f.id.as_str()).copied()).collect();
        let mut arrivals = vec![None; fields.len()];
        let mut studies: Vec<Option<Arc<FieldStudy>>> = vec![None; fields.len()];
        for (old, new) in from.iter().enumerate().filter_map(|(old, new)| Some((old, (*new)?))) {
            arrivals[new] = self.arrivals.get(old).copied().flatten();
            studies[new] = self.studies.get(old).cloned();
        }
        let studies = studies.into_iter().zip(fields.iter());
        let studies = studies.map(|(made, field)| made.unwrap_or_else(|| Arc::new(FieldStudy::unmade(field))));
        let ranked =
            self.ranked.iter().filter_map(|r| Some(RankedField { index: (*from.get(r.index)?)?, ..r.clone() }));
        Self {
            arrivals,
            ranked: Arc::new(ranked.collect()),
            studies: Arc::new(studies.collect()),
            fields: Arc::clone(fields),
            ..self.clone()
        }
    }

    /// The same where every field is still in its place and new ones follow, as after most edits: nothing is copied that
    /// depends on a field.
    fn grown(&self, fields: &Arc<Vec<Arc<Field>>>) -> Option<Self> {
        let added = fields.get(self.fields.len()..)?;
        let kept = self.fields.iter().zip(fields.iter());
        if !kept.into_iter().all(|(old, new)| Arc::ptr_eq(old, new) || old.id == new.id) {
            return None;
        }
        let mut grown = Self { fields: Arc::clone(fields), ..self.clone() };
        if !added.is_empty() {
            grown.arrivals.resize(fields.len(), None);
            Arc::make_mut(&mut grown.studies).extend(added.iter().map(|field| Arc::new(FieldStudy::unmade(field))));
        }
        Some(grown)
    }

    /// Contours of spare height; the level 0 bounds the land where a circuit is in hand.
    #[must_use]
    pub fn rings(&self, levels_m: &[f64]) -> Vec<Ring> {
        let frame = &self.reach.frame;
        let value = |row: usize, col: usize| f64::from(self.spare_m[row * frame.cols + col]);
        levels_m.iter().map(|&level_m| Ring { level_m, lines: contours(frame, value, level_m) }).collect()
    }

    /// Motion of the aircraft over the ground on its heading, m/s; with any heading, that of the wind alone.
    #[must_use]
    pub fn ground_velocity_ms(&self) -> Xy {
        let drift = self.wind.at_amsl(self.state.height_amsl_m).xy();
        let airspeed = self.aircraft.straight_speed_ms() / isa_density_ratio(self.state.height_amsl_m).sqrt();
        self.state.heading.map_or(drift, |heading| heading.unit() * airspeed + drift)
    }

    /// The glide to a field's centre, `None` where it is not in reach.
    #[must_use]
    pub fn path_to(&self, terrain: &Terrain, field: usize) -> Option<Vec<Xy>> {
        let centre = self.studies.get(field)?.centre;
        let path = self.reach.path_to(terrain, centre)?;
        Some(path.into_iter().map(|p| p.position).collect())
    }

    /// The strip of a field nearest to a landing direction, judged for it; `None` when the field has none.
    #[must_use]
    pub fn strip_towards(&self, field: usize, heading: Bearing) -> Option<StripVerdict> {
        let input = RankInput {
            aircraft: &self.aircraft,
            wind: &self.wind,
            options: &self.options,
            quiet_zones: &self.quiet_zones,
        };
        strip_towards(self.fields.get(field)?, self.studies.get(field)?, &input, heading)
    }

    /// The one sentence about a field that comes first.
    #[must_use]
    pub fn headline(&self, ranked: &RankedField) -> Reason {
        headline(ranked)
    }

    /// How every number shown for a field came about.
    #[must_use]
    pub fn workings(&self, ranked: &RankedField) -> Vec<Working> {
        let Some(study) = self.studies.get(ranked.index) else { return Vec::new() };
        let input = RankInput {
            aircraft: &self.aircraft,
            wind: &self.wind,
            options: &self.options,
            quiet_zones: &self.quiet_zones,
        };
        let arrival = self.arrivals.get(ranked.index).copied().flatten();
        workings::workings(ranked, study, &input, arrival)
            .into_iter()
            .map(|w| Working {
                signed: w.label == "spare height",
                label: w.label,
                value: w.value,
                formula: w.formula,
                inputs: w.inputs,
                source: w.source,
            })
            .collect()
    }

    /// What has to be said about this result: the standing cautions, where the heights are from, and what was taken
    /// for granted.
    #[must_use]
    pub fn cautions(&self, area: &Area, conditions: &Conditions, units: &UnitPrefs) -> Vec<String> {
        let mut list: Vec<String> = STANDING_CAUTIONS.iter().map(|&c| c.to_owned()).collect();
        list.push(heights_caution(area, *units));
        if area.is_sample {
            list.push("The sample area is invented and shows no real place.".to_owned());
        }
        if area.hazards.is_empty() {
            list.push("No hazards were loaded, so none were looked at.".to_owned());
        }
        list.extend(self.wind_cautions(&conditions.wind, *units));
        if conditions.state.heading.is_none() {
            list.push(
                "No heading was given, so the height for the first turn and the reaction time is not taken off."
                    .to_owned(),
            );
        }
        if self.reach.starts_below_clearance {
            list.push(format!(
                "The aircraft starts lower than the clearance of {} kept above the ground, so nothing counts as in reach.",
                units.format_height(conditions.aircraft.terrain_clearance_m)
            ));
        }
        list
    }

    fn wind_cautions(&self, wind: &WindInput, units: UnitPrefs) -> Vec<String> {
        let mut list = Vec::new();
        match (&wind.surface, wind.aloft.is_empty()) {
            (None, true) => {
                list.push("No wind was given, so calm air was taken; any wind changes the choice.".to_owned());
            }
            (None, false) => list.push(format!(
                "No surface wind was given; {} was derived from the wind aloft.",
                units.format_speed(self.wind.surface.speed_ms())
            )),
            (Some(reported), _) => {
                if let Some(gust) = reported.gust_ms {
                    list.push(format!(
                        "Gusts of {} are not taken into account: expect more sink, a faster approach and more length.",
                        units.format_speed(gust)
                    ));
                }
            }
        }
        list
    }

    /// The wind in words, from true north.
    #[must_use]
    pub fn wind_words(&self, area: &Area, units: &UnitPrefs) -> String {
        wind_words(area, &self.wind, self.state.position, *units)
    }
}

/// A wind of the area's frame in words, from true north; `position` is where it blows in an area without a home strip.
pub(crate) fn wind_words(area: &Area, wind: &Wind, position: Xy, units: UnitPrefs) -> String {
    let place = area.home.as_ref().map_or(position, |h| h.position);
    let convergence = area.convergence_rad(place);
    let turned = |wind: WindVector| {
        wind.from_bearing()
            .map_or(wind, |from| WindVector::coming_from(Bearing::from_rad(from.rad() + convergence), wind.speed_ms()))
    };
    let mut words = format!("{} at the surface", units.format_wind(turned(wind.surface), WindWords::Long));
    for layer in wind.aloft() {
        let _ = write!(
            words,
            ", {} at {} above sea level",
            units.format_wind(turned(layer.wind), WindWords::Long),
            units.format_height(layer.height_amsl_m)
        );
    }
    words
}

/// Where the heights are from and how far they can be trusted.
pub(crate) fn heights_caution(area: &Area, units: UnitPrefs) -> String {
    let kind = match area.terrain.accuracy.kind {
        SurfaceKind::BareGround => "They are of bare ground.",
        SurfaceKind::SurfaceModel => "They include the tops of trees and buildings.",
        SurfaceKind::Unknown => "Whether they include trees and buildings is not known.",
    };
    format!(
        "Heights are from {}, {} apart, and differ from the truth by about {} from one post to the next. {kind}",
        if area.is_sample { "the invented sample terrain".to_owned() } else { format!("“{}”", area.title) },
        units.format_length(area.terrain.frame.cell_m),
        units.format_height(area.terrain.accuracy.point_to_point_m),
    )
}
