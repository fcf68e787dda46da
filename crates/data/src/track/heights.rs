//! From where a recording's heights are counted: decided with its reason, checked on the ground, open to be overridden.

use super::geoid;
use super::recording::{Datum, RecordedFix, Recording, TrackFormat};
use serde::{Deserialize, Serialize};
use sparefield_geometry::math;
use sparefield_geometry::position::LonLat;
use std::fmt::Write as _;

/// Which heights of a recording are used.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum HeightSource {
    /// None: the recording has no heights that could be used.
    None,
    /// By satellites, counted from a datum; those above the ellipsoid are taken to sea level by the EGM96 geoid.
    Satellite {
        /// The datum.
        datum: Datum,
    },
    /// By pressure in the standard atmosphere, with the pressure at sea level.
    Pressure {
        /// QNH, hPa.
        qnh_hpa: f64,
    },
}

/// Heights as they are used: a source, and what the user adds to it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeightChoice {
    /// The source.
    #[serde(flatten)]
    pub source: HeightSource,
    /// Added to every height, metres: so that a track stands on the ground where it stood there.
    #[serde(default)]
    pub offset_m: f64,
}

impl HeightChoice {
    /// A source as it is.
    #[must_use]
    pub fn of(source: HeightSource) -> Self {
        Self { source, offset_m: 0.0 }
    }
    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        let source = match self.source {
            HeightSource::None => return "no heights".to_owned(),
            HeightSource::Satellite { datum: Datum::MeanSeaLevel } => {
                "satellite heights above mean sea level".to_owned()
            }
            HeightSource::Satellite { datum: Datum::Ellipsoid } => {
                "satellite heights above the ellipsoid, taken to sea level by the EGM96 geoid".to_owned()
            }
            HeightSource::Pressure { qnh_hpa } => format!("pressure heights with QNH {qnh_hpa:.1} hPa"),
        };
        if self.offset_m == 0.0 { source } else { format!("{source}, {:+.0} m", self.offset_m) }
    }
}

/// How far a track is from the ground where it stood on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroundContact {
    /// Whether at the beginning of the recording; else at its end.
    pub at_start: bool,
    /// Where.
    pub place: LonLat,
    /// The terrain there, metres above mean sea level.
    pub terrain_m: f64,
    /// Median of the satellite heights there as recorded, metres.
    pub satellite_height_m: Option<f64>,
    /// Median of the pressure heights there as recorded, metres.
    pub pressure_height_m: Option<f64>,
}

/// What was decided, why, and what else could be chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct HeightDecision {
    /// What is used.
    pub choice: HeightChoice,
    /// Why, in one or more sentences.
    pub reason: String,
    /// Where the track stood on known ground.
    pub contacts: Vec<GroundContact>,
    /// Every choice that the recording allows, the decided one first.
    pub alternatives: Vec<HeightChoice>,
}

/// Below this speed over the ground an aircraft stands or taxies, m/s (common practice, no source).
const STANDING_MS: f64 = 3.0;
/// It must do so for this long, seconds.
const STANDING_S: f64 = 5.0;
/// No more than this much of either end is looked at, seconds.
const LOOKED_AT_S: f64 = 300.0;
/// Satellite heights are within this of the truth in 95 of 100 cases (GPS SPS Performance Standard, 5th edition, 2020:
/// 13 m; from memory), and terrain and antenna add to it.
const NEAR_M: f64 = 20.0;
/// ISA: height above which the temperature no longer falls, metres.
const TROPOPAUSE_M: f64 = 11_000.0;
const SEA_LEVEL_HPA: f64 = 1_013.25;
const LAPSE_K_PER_M: f64 = 0.006_5;
const SEA_LEVEL_K: f64 = 288.15;
const EXPONENT: f64 = 5.255_88;

/// The height of a pressure in the standard atmosphere, metres; below the tropopause.
///
/// # Source
/// ICAO Doc 7488: p = 1013.25 · (1 − 0.0065 h / 288.15)^5.25588.
#[must_use]
pub fn isa_height_m(pressure_hpa: f64) -> f64 {
    (1.0 - math::pow(pressure_hpa / SEA_LEVEL_HPA, 1.0 / EXPONENT)) * SEA_LEVEL_K / LAPSE_K_PER_M
}

/// The pressure at a height in the standard atmosphere, hPa; below the tropopause.
#[must_use]
pub fn isa_pressure_hpa(height_m: f64) -> f64 {
    let height_m = height_m.min(TROPOPAUSE_M);
    SEA_LEVEL_HPA * math::pow(1.0 - LAPSE_K_PER_M * height_m / SEA_LEVEL_K, EXPONENT)
}

/// Decides from where a recording's heights are counted. `ground` gives the terrain above mean sea level where it is
/// known.
#[must_use]
pub fn decide_heights(recording: &Recording, ground: &dyn Fn(LonLat) -> Option<f64>) -> HeightDecision {
    let has_satellite = recording.good().any(|f| f.satellite_height_m.is_some());
    let has_pressure = recording.good().any(|f| f.pressure_height_m.is_some());
    let contacts = contacts(recording, ground);
    let qnh = contacts.iter().find_map(|c| {
        let qnh = isa_pressure_hpa(c.pressure_height_m? - c.terrain_m);
        // Pressures at sea level beyond these have hardly been seen (records 870 and 1 085 hPa, WMO; from memory).
        (870.0..=1_085.0).contains(&qnh).then_some((qnh, c.at_start))
    });
    let mut alternatives = Vec::new();
    let mut reason = String::new();
    if has_satellite {
        let (datum, why) = satellite_datum(recording, &contacts);
        reason = why;
        let other = if datum == Datum::Ellipsoid { Datum::MeanSeaLevel } else { Datum::Ellipsoid };
        alternatives.push(HeightChoice::of(HeightSource::Satellite { datum }));
        alternatives.push(HeightChoice::of(HeightSource::Satellite { datum: other }));
    }
    if has_pressure {
        let (qnh_hpa, why) = match qnh {
            Some((qnh, at_start)) => {
                let end = if at_start { "beginning" } else { "end" };
                (qnh, format!("QNH {qnh:.1} hPa puts the track on the ground where it stood at its {end}"))
            }
            None => (
                SEA_LEVEL_HPA,
                "Nothing tells the QNH, so 1013.25 hPa is taken: heights may be wrong by 28 ft for each hPa".to_owned(),
            ),
        };
        alternatives.push(HeightChoice::of(HeightSource::Pressure { qnh_hpa }));
        if !has_satellite {
            reason = format!("The recording has pressure heights only. {why}");
        }
    }
    let Some(choice) = alternatives.first().copied() else {
        let none = HeightChoice::of(HeightSource::None);
        return HeightDecision {
            choice: none,
            reason: "The recording has no heights".to_owned(),
            contacts,
            alternatives: vec![none],
        };
    };
    if let Some(offset) = residual(recording, &choice, &contacts) {
        let side = if offset >= 0.0 { "above" } else { "below" };
        let near = if offset.abs() > NEAR_M {
            ": more than a receiver's error, so compare with what you know of the flight"
        } else {
            ""
        };
        let _ = write!(
            reason,
            ". Where it stood on the ground the track is {:.0} m {side} the terrain{near}",
            offset.abs()
        );
        if offset.abs() >= 1.0 {
            alternatives.push(HeightChoice { offset_m: -offset, ..choice });
        }
    }
    HeightDecision { choice, reason, contacts, alternatives }
}

/// How far the chosen heights are above the terrain where the track stood on it: the first contact that has any.
fn residual(recording: &Recording, choice: &HeightChoice, contacts: &[GroundContact]) -> Option<f64> {
    contacts.iter().find_map(|c| {
        let fix = RecordedFix {
            satellite_height_m: c.satellite_height_m,
            pressure_height_m: c.pressure_height_m,
            ..RecordedFix::at(c.place)
        };
        Some(recording.height_amsl_m(&fix, choice)? - c.terrain_m)
    })
}

fn satellite_datum(recording: &Recording, contacts: &[GroundContact]) -> (Datum, String) {
    let datum = recording.satellite_datum;
    let counted = match datum {
        Datum::MeanSeaLevel => "above mean sea level",
        Datum::Ellipsoid => "above the WGS 84 ellipsoid",
    };
    let format = recording.format.words();
    if recording.datum_stated {
        return (datum, format!("The file says that its satellite heights are counted {counted}"));
    }
    let by_format = match recording.format {
        TrackFormat::Csv => format!("Its column says no more, so its heights are taken as {counted}"),
        TrackFormat::Igc => format!("{format} files count satellite heights {counted} where they state nothing else"),
        _ => format!("{format} defines heights as {counted}"),
    };
    // On the ground the two datums can be told apart where the geoid is far from the ellipsoid.
    let error = |c: &GroundContact, datum: Datum| {
        let height = c.satellite_height_m? - if datum == Datum::Ellipsoid { geoid::undulation_m(c.place) } else { 0.0 };
        Some((height - c.terrain_m).abs())
    };
    let other = if datum == Datum::Ellipsoid { Datum::MeanSeaLevel } else { Datum::Ellipsoid };
    let mean = |datum: Datum| {
        let errors: Vec<f64> = contacts.iter().filter_map(|c| error(c, datum)).collect();
        (!errors.is_empty()).then(|| errors.iter().sum::<f64>() / errors.len() as f64)
    };
    if let (Some(as_defined), Some(as_other)) = (mean(datum), mean(other))
        && as_other <= NEAR_M
        && as_other + NEAR_M / 2.0 < as_defined
        && as_defined > NEAR_M
    {
        let really = if other == Datum::Ellipsoid { "above the WGS 84 ellipsoid" } else { "above mean sea level" };
        let why = format!(
            "{by_format}, but on the ground they would then be {as_defined:.0} m off the terrain; counted {really} they \
             are {as_other:.0} m off, so that is taken"
        );
        return (other, why);
    }
    (datum, by_format)
}

/// Where the recording begins or ends at rest on known ground.
fn contacts(recording: &Recording, ground: &dyn Fn(LonLat) -> Option<f64>) -> Vec<GroundContact> {
    let fixes: Vec<(&RecordedFix, f64)> =
        recording.good().filter_map(|f| Some((f, super::clock::unix_s(f.time?)))).collect();
    let mut found = Vec::new();
    let backwards: Vec<_> = fixes.iter().rev().copied().collect();
    for (at_start, ordered) in [(true, &fixes), (false, &backwards)] {
        let standing = standing(ordered);
        let Some((first, _)) = standing.first() else { continue };
        let Some(terrain_m) = ground(first.place).filter(|h| h.is_finite()) else { continue };
        let of = |height: fn(&RecordedFix) -> Option<f64>| {
            median(standing.iter().filter(|(f, _)| !f.height_spike).filter_map(|(f, _)| height(f)).collect())
        };
        found.push(GroundContact {
            at_start,
            place: first.place,
            terrain_m,
            satellite_height_m: of(|f| f.satellite_height_m),
            pressure_height_m: of(|f| f.pressure_height_m),
        });
    }
    found
}

/// The fixes from the front during which the aircraft stood; empty where it did not stand for long enough.
fn standing<'a>(fixes: &[(&'a RecordedFix, f64)]) -> Vec<(&'a RecordedFix, f64)> {
    let Some(&(first, from)) = fixes.first() else { return Vec::new() };
    let mut until = 1;
    for pair in fixes.windows(2) {
        let [(a, t0), (b, t1)] = pair else { break };
        let seconds = (t1 - t0).abs();
        let moved = super::clean::metres(a.place, b.place);
        let away = super::clean::metres(first.place, b.place);
        if seconds <= 0.0 || moved / seconds > STANDING_MS || away > 100.0 || (t1 - from).abs() > LOOKED_AT_S {
            break;
        }
        until += 1;
    }
    let stood: Vec<_> = fixes.iter().take(until).copied().collect();
    let long_enough = stood.last().is_some_and(|(_, to)| (to - from).abs() >= STANDING_S);
    if long_enough { stood } else { Vec::new() }
}

pub(crate) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.retain(|v| v.is_finite());
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n == 0 {
        return None;
    }
    Some((values[(n - 1) / 2] + values[n / 2]) / 2.0)
}
