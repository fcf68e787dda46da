//! From what was typed to what the core takes: every mistake becomes one sentence that names the option.

use super::CliError;
use super::args::{AreaArgs, ConditionArgs, DEFAULT_HEIGHT, StateArgs};
use crate::assess::{HeightInput, Rules, WindInput};
use sparefield_data::Loaded;
use sparefield_data::aircraft_file;
use sparefield_data::area::AreaRequest;
use sparefield_data::quantity::{self, HeightUnit, SpeedUnit, UnitPrefs};
use sparefield_geometry::air::WindProfile;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::approach::ObstacleRule;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::needed::SafetyFactor;
use sparefield_geometry::position::{Bearing, LonLat};
use std::path::PathBuf;

/// Exponent of the power law over smooth grass (The Engineering ToolBox, wind shear: smooth hard ground and grass).
const POWER_LAW_GRASS: f64 = 0.15;

/// Where the engine stops, as typed: still on the globe and from true north.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TypedState {
    /// Position; `None` stands for the home strip.
    pub at: Option<LonLat>,
    /// Height.
    pub height: HeightInput,
    /// Heading from true north; `None` leaves out the first turn.
    pub heading_true: Option<Bearing>,
}

fn bad(option: &str, problem: impl std::fmt::Display) -> CliError {
    CliError::BadInput(format!("{option}: {problem}"))
}

/// The land asked for.
#[derive(Clone, Debug, PartialEq)]
pub enum Land {
    /// The sample area.
    Sample,
    /// An area put together from files.
    Files(Box<AreaRequest>),
    /// An area file, on other terrain than its own where some is named.
    AreaFile(PathBuf, Vec<PathBuf>),
}

/// The area asked for.
///
/// # Errors
/// For options that do not go together.
pub fn area(args: &AreaArgs, at: Option<LonLat>) -> Result<Land, CliError> {
    if let Some(file) = &args.area {
        let own = [&args.fields, &args.hazards, &args.edges].iter().any(|files| !files.is_empty());
        if own || args.crs.is_some() || args.grid.is_some() {
            return Err(CliError::BadInput(
                "--area: an area file holds its own fields, hazards and reference system; leave out --fields, \
                 --hazards, --edges, --crs and --grid"
                    .into(),
            ));
        }
        return Ok(Land::AreaFile(file.clone(), args.terrain.clone()));
    }
    let grid_m = length_m("--grid", args.grid.as_deref(), 0.5..=1_000.0)?;
    if args.terrain.is_empty() {
        let own = [&args.fields, &args.hazards, &args.edges].iter().any(|files| !files.is_empty());
        if own || args.crs.is_some() || grid_m.is_some() {
            return Err(CliError::BadInput(
                "--fields, --hazards, --edges, --crs and --grid belong to terrain of your own; name it with --terrain"
                    .into(),
            ));
        }
        return Ok(Land::Sample);
    }
    Ok(Land::Files(Box::new(AreaRequest {
        terrain: args.terrain.clone(),
        fields: args.fields.clone(),
        hazards: args.hazards.clone(),
        edges: args.edges.clone(),
        crs: args.crs.clone(),
        grid_m,
        around: at,
    })))
}

/// Where the engine stops.
///
/// # Errors
/// When a value is not understood.
pub fn state(args: &StateArgs) -> Result<TypedState, CliError> {
    let at = position("--at", args.at.as_deref())?;
    let height = match (&args.height, &args.height_amsl) {
        (None, Some(text)) => {
            HeightInput::AboveSea(quantity::parse_height_m(text, None).map_err(|e| bad("--height-amsl", e))?)
        }
        (text, _) => {
            let text = text.as_deref().unwrap_or(DEFAULT_HEIGHT);
            let metres = quantity::parse_height_m(text, None).map_err(|e| bad("--height", e))?;
            if metres < 0.0 {
                return Err(bad("--height", format!("“{text}” is below the ground; write a height above it")));
            }
            HeightInput::AboveGround(metres)
        }
    };
    let (HeightInput::AboveGround(metres) | HeightInput::AboveSea(metres)) = height;
    if !(-500.0..=12_000.0).contains(&metres) {
        return Err(bad("height", "the aircraft must be between 500 m below and 12 000 m above sea level"));
    }
    let heading_true = match args.heading.trim() {
        any if any.eq_ignore_ascii_case("any") => None,
        text => Some(quantity::parse_bearing(text).map_err(|e| bad("--heading", format!("{e}, or “any”")))?),
    };
    Ok(TypedState { at, height, heading_true })
}

/// The aircraft named: an aircraft file, or one of the examples by its name; the two-seat flexwing when left out.
///
/// # Errors
/// When the file cannot be read or no example has that name.
pub fn aircraft(args: &ConditionArgs) -> Result<Loaded<Aircraft>, CliError> {
    aircraft_named(args.aircraft.as_deref())
}

/// As [`aircraft`], from the name alone.
///
/// # Errors
/// As [`aircraft`].
pub fn aircraft_named(name: Option<&str>) -> Result<Loaded<Aircraft>, CliError> {
    match name {
        Some(name) => aircraft_file::find(name).map_err(|e| bad("--aircraft", e)),
        None => Ok(Loaded { value: Aircraft::example_flexwing(), warnings: Vec::new(), provenance: Vec::new() }),
    }
}

/// The wind as known.
///
/// # Errors
/// When a value is not understood.
pub fn wind(args: &ConditionArgs) -> Result<WindInput, CliError> {
    let surface = args.wind.as_deref().map(|t| quantity::parse_wind(t).map_err(|e| bad("--wind", e))).transpose()?;
    let aloft = args
        .wind_aloft
        .iter()
        .map(|t| quantity::parse_wind_aloft(t).map_err(|e| bad("--wind-aloft", e)))
        .collect::<Result<_, _>>()?;
    let profile = match args.wind_profile.trim().to_lowercase().as_str() {
        "log" => WindProfile::OPEN_GRASS,
        "power" => WindProfile::Power { alpha: POWER_LAW_GRASS },
        "uniform" => WindProfile::Uniform,
        other => return Err(bad("--wind-profile", format!("“{other}” is none of log, power and uniform"))),
    };
    Ok(WindInput { surface, aloft, profile })
}

/// The rules by which landing distance and approach are judged.
///
/// # Errors
/// When a value is not understood.
pub fn rules(args: &ConditionArgs) -> Result<Rules, CliError> {
    let obstacle = match args.obstacle_rule.trim().to_lowercase().as_str() {
        "glide" => ObstacleRule::Gradient,
        "8" => ObstacleRule::Times8,
        "10" => ObstacleRule::Times10,
        other => return Err(bad("--obstacle-rule", format!("“{other}” is none of glide, 8 and 10"))),
    };
    Ok(Rules { obstacle, safety: safety_factor(args.safety_factor.as_deref())? })
}

/// The general safety factor on the landing distance.
///
/// # Errors
/// When it is not a number from 1 to 5.
pub fn safety_factor(typed: Option<&str>) -> Result<SafetyFactor, CliError> {
    let Some(text) = typed else { return Ok(SafetyFactor::Recommended) };
    match text.trim().parse::<f64>() {
        Ok(factor) if (1.0..=5.0).contains(&factor) => Ok(SafetyFactor::Own(factor)),
        _ => Err(bad("--safety-factor", format!("“{text}” is not a number from 1 to 5, such as 1.43"))),
    }
}

/// A length in metres that must lie within a range, `None` when it was not typed.
///
/// # Errors
/// When it is no length, or outside the range.
pub fn length_m(
    option: &str,
    typed: Option<&str>,
    range: std::ops::RangeInclusive<f64>,
) -> Result<Option<f64>, CliError> {
    let Some(text) = typed else { return Ok(None) };
    let metres = quantity::parse_length_m(text, Some(quantity::LengthUnit::M)).map_err(|e| bad(option, e))?;
    if range.contains(&metres) {
        Ok(Some(metres))
    } else {
        Err(bad(option, format!("“{text}” is not between {} and {} m", range.start(), range.end())))
    }
}

/// A position, `None` when it was not typed.
///
/// # Errors
/// When it is not understood.
pub fn position(option: &str, typed: Option<&str>) -> Result<Option<LonLat>, CliError> {
    typed.map(|t| quantity::parse_position(t).map_err(|e| bad(option, e))).transpose()
}

/// The day for which surveys are judged.
///
/// # Errors
/// When the date is not understood.
pub fn day(args: &ConditionArgs) -> Result<Day, CliError> {
    args.date.as_deref().map_or_else(|| Ok(today()), |text| quantity::parse_day(text).map_err(|e| bad("--date", e)))
}

/// Today by this machine's clock and time zone.
#[must_use]
pub fn today() -> Day {
    let now = jiff::ZonedDateTime::now().date();
    let epoch = jiff::civil::date(1970, 1, 1);
    Day { days_since_epoch: epoch.until(now).map_or(0, |span| span.get_days()) }
}

/// The units to print in: those that were typed, else feet and knots.
#[must_use]
pub fn units(state: &StateArgs, conditions: &ConditionArgs) -> UnitPrefs {
    units_of(state.height.as_deref().or(state.height_amsl.as_deref()).unwrap_or(DEFAULT_HEIGHT), conditions)
}

/// The units to print in, from a height and a wind as typed.
#[must_use]
pub fn units_of(height: &str, conditions: &ConditionArgs) -> UnitPrefs {
    let height = height.to_lowercase();
    let height = if height.contains('f') || height.contains('\'') || height.contains("nm") || height.contains("mi") {
        HeightUnit::Ft
    } else {
        HeightUnit::M
    };
    let wind = conditions.wind.as_deref().or(conditions.wind_aloft.first().map(String::as_str)).unwrap_or_default();
    let wind = wind.to_lowercase();
    let speed = if wind.contains("mph") {
        SpeedUnit::Mph
    } else if wind.contains("km") || wind.contains("kph") {
        SpeedUnit::Kmh
    } else if wind.contains("m/s") || wind.contains("mps") {
        SpeedUnit::Ms
    } else {
        SpeedUnit::Kt
    };
    UnitPrefs { height, speed, length: quantity::LengthUnit::M }
}
