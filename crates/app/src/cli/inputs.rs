//! From what was typed to what the core takes: every mistake becomes one sentence that names the option.

use super::CliError;
use super::args::{AreaArgs, ConditionArgs, DEFAULT_HEIGHT, StateArgs};
use crate::assess::{HeightInput, Rules, WindInput};
use sparefield_data::area::AreaRequest;
use sparefield_data::aircraft_file;
use sparefield_data::quantity::{self, HeightUnit, SpeedUnit, UnitPrefs};
use sparefield_geometry::air::WindProfile;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::{Bearing, LonLat};
use std::path::Path;

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

/// The area asked for, `None` for the sample area.
///
/// # Errors
/// For options that do not go together.
pub fn area(args: &AreaArgs, at: Option<LonLat>) -> Result<Option<AreaRequest>, CliError> {
    if let Some(file) = &args.area {
        return Err(CliError::BadInput(format!(
            "{}: area files (.gpkg) are not read by this version; name the terrain with --terrain, the fields with \
             --fields and the hazards with --hazards",
            file.display()
        )));
    }
    let grid_m = args
        .grid
        .as_deref()
        .map(|text| {
            let metres =
                quantity::parse_length_m(text, Some(quantity::LengthUnit::M)).map_err(|e| bad("--grid", e))?;
            if (0.5..=1_000.0).contains(&metres) {
                Ok(metres)
            } else {
                Err(bad("--grid", "a terrain cell must be between 0.5 and 1000 m wide"))
            }
        })
        .transpose()?;
    if args.terrain.is_empty() {
        if !args.fields.is_empty() || !args.hazards.is_empty() || args.crs.is_some() || grid_m.is_some() {
            return Err(CliError::BadInput(
                "--fields, --hazards, --crs and --grid belong to terrain of your own; name it with --terrain".into(),
            ));
        }
        return Ok(None);
    }
    Ok(Some(AreaRequest {
        terrain: args.terrain.clone(),
        fields: args.fields.clone(),
        hazards: args.hazards.clone(),
        crs: args.crs.clone(),
        grid_m,
        around: at,
    }))
}

/// Where the engine stops.
///
/// # Errors
/// When a value is not understood.
pub fn state(args: &StateArgs) -> Result<TypedState, CliError> {
    let at = args.at.as_deref().map(|t| quantity::parse_position(t).map_err(|e| bad("--at", e))).transpose()?;
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

/// The aircraft named: an aircraft file, or one of the examples by its name or the start of a word in it.
///
/// # Errors
/// When the file cannot be read or no example has that name.
pub fn aircraft(args: &ConditionArgs) -> Result<Aircraft, CliError> {
    let examples = aircraft_file::examples();
    let Some(text) = args.aircraft.as_deref() else { return Ok(Aircraft::example_flexwing()) };
    let path = Path::new(text);
    if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) || path.is_file() {
        return aircraft_file::load(path).map(|loaded| loaded.value).map_err(|e| CliError::BadInput(e.to_string()));
    }
    let wanted = text.trim().to_lowercase();
    examples.iter().find(|a| !wanted.is_empty() && a.name.to_lowercase().contains(&wanted)).cloned().ok_or_else(|| {
        let names: Vec<String> = examples.iter().map(|a| format!("“{}”", a.name)).collect();
        bad("--aircraft", format!("“{text}” is neither a .toml file nor one of {}", names.join(", ")))
    })
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
    let mut rules = Rules::default();
    rules.obstacle_rule = match args.obstacle_rule.trim().to_lowercase().as_str() {
        "glide" => crate::assess::ObstacleRule::Glide,
        "8" => crate::assess::ObstacleRule::TimesHeight(8.0),
        "10" => crate::assess::ObstacleRule::TimesHeight(10.0),
        other => return Err(bad("--obstacle-rule", format!("“{other}” is none of glide, 8 and 10"))),
    };
    if let Some(text) = &args.safety_factor {
        let factor: f64 = text
            .trim()
            .parse()
            .map_err(|_unreadable| bad("--safety-factor", format!("“{text}” is not a number; write 1.43")))?;
        if !(1.0..=5.0).contains(&factor) {
            return Err(bad("--safety-factor", format!("“{text}” is not between 1 and 5")));
        }
        rules.safety_factor = factor;
    }
    Ok(rules)
}

/// The day for which surveys are judged.
///
/// # Errors
/// When the date is not understood.
pub fn day(args: &ConditionArgs) -> Result<Day, CliError> {
    args.date.as_deref().map_or_else(
        || Ok(today()),
        |text| quantity::parse_day(text).map_err(|e| bad("--date", e)),
    )
}

/// Today by this machine's clock and time zone.
#[must_use]
pub fn today() -> Day {
    let now = jiff::Zoned::now().date();
    let epoch = jiff::civil::date(1970, 1, 1);
    Day { days_since_epoch: epoch.until(now).map_or(0, |span| span.get_days()) }
}

/// The units to print in: those that were typed, else feet and knots.
#[must_use]
pub fn units(state: &StateArgs, conditions: &ConditionArgs) -> UnitPrefs {
    let height = state.height.as_deref().or(state.height_amsl.as_deref()).unwrap_or(DEFAULT_HEIGHT).to_lowercase();
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
