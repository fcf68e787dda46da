//! What every subcommand needs: the area, the conditions, and the way back to the globe for output.

use super::args::{AreaArgs, ConditionArgs, StateArgs};
use super::inputs::Land;
use super::{CliError, inputs, progress};
use crate::assess::{self, AssessError, Assessment, Conditions, StateInput};
use crate::studies::Studies;
use serde_json::{Value, json};
use sparefield_data::area::Area;
use sparefield_data::frame::Frame;
use sparefield_data::quantity::{UnitPrefs, format_bearing, format_position, format_quantity};
use sparefield_data::{LoadError, LoadErrorKind};
use sparefield_geometry::air::{WindProfile, WindVector};
use sparefield_geometry::fields::verdict::{Quantity, Reason};
use sparefield_geometry::position::{Bearing, LonLat, Xy};
use sparefield_geometry::reach::ReachError;
use std::fmt::Write as _;

/// An area and conditions, ready to be assessed.
pub(super) struct Session {
    /// The area.
    pub(super) area: Area,
    /// The conditions.
    pub(super) conditions: Conditions,
    /// Units to print in.
    pub(super) units: UnitPrefs,
    /// What was taken for granted about the aircraft.
    aircraft_notes: Vec<String>,
}

impl Session {
    /// Reads what was typed and opens the area.
    ///
    /// # Errors
    /// When anything of it cannot be used.
    pub(super) fn open(area: &AreaArgs, state: &StateArgs, conditions: &ConditionArgs) -> Result<Self, CliError> {
        let units = inputs::units(state, conditions);
        let typed = inputs::state(state)?;
        let land = inputs::area(area, typed.at)?;
        let wind = inputs::wind(conditions)?;
        let rules = inputs::rules(conditions)?;
        let today = inputs::day(conditions)?;
        let aircraft = inputs::aircraft(conditions)?;
        if matches!(land, Land::Files(_)) && typed.at.is_none() {
            return Err(CliError::BadInput(
                "--at is missing: with terrain of your own, say where the aircraft is, such as --at 51.5,-2.3".into(),
            ));
        }
        let area = open_area(&land).map_err(|e| unusable(&e))?;
        let position = match (typed.at, &area.home) {
            (Some(at), _) => area.frame.to_xy(at).map_err(|_no_image| {
                CliError::BadInput(format!("--at: {} is not in this area", format_position(at)))
            })?,
            (None, Some(home)) => home.position,
            (None, None) if matches!(land, Land::AreaFile(..)) => {
                return Err(CliError::BadInput(
                    "--at is missing: the area has no home strip, so say where the aircraft is, such as --at 51.5,-2.3"
                        .into(),
                ));
            }
            (None, None) => area.centre(),
        };
        let heading = typed.heading_true.map(|heading| area.to_grid(heading, position));
        let state = StateInput { position, height: typed.height, heading };
        Ok(Self {
            conditions: Conditions { aircraft: aircraft.value, wind, state, rules, today },
            aircraft_notes: aircraft.warnings.iter().map(|w| format!("Aircraft: {w}.")).collect(),
            area,
            units,
        })
    }

    /// Works out reach and ranking.
    ///
    /// # Errors
    /// When the state or the wind make no sense here.
    pub(super) fn assess(&self) -> Result<Assessment, CliError> {
        let studies = Studies::new(&self.area, &self.conditions);
        assess::assess(&self.area, &studies, &self.conditions, &|| false).map_err(|e| match e {
            AssessError::Reach(ReachError::Cancelled) => CliError::Failure(e.to_string()),
            _ => CliError::BadInput(e.to_string()),
        })
    }

    /// Everything that has to be said with a result.
    pub(super) fn cautions(&self, assessment: &Assessment, units: UnitPrefs) -> Vec<String> {
        let mut cautions = assessment.cautions(&self.area, &self.conditions, &units);
        cautions.extend(self.aircraft_notes.iter().cloned());
        cautions.extend(self.area.warnings.iter().map(|w| format!("Data: {w}.")));
        cautions
    }

    /// A place as longitude and latitude.
    ///
    /// # Errors
    /// When the frame has no image of it on the globe.
    pub(super) fn place(&self, at: Xy) -> Result<LonLat, CliError> {
        self.area.frame.to_lonlat(at).map_err(|e| CliError::Failure(e.to_string()))
    }

    /// A place as JSON has it: `[lon, lat]`, to about a millimetre.
    ///
    /// # Errors
    /// As [`Self::place`].
    pub(super) fn lon_lat(&self, at: Xy) -> Result<Value, CliError> {
        lon_lat(&self.area.frame, at)
    }

    /// A grid bearing as degrees from true north.
    pub(super) fn true_deg(&self, bearing: Bearing, at: Xy) -> f64 {
        self.area.to_true(bearing, at).deg()
    }

    /// A reason in words, directions from true north.
    pub(super) fn reason(&self, reason: &Reason, at: Xy, units: UnitPrefs) -> String {
        reason.words(|quantity| match quantity {
            Quantity::Direction(bearing) => format_bearing(self.area.to_true(bearing, at)),
            other => format_quantity(other, &units),
        })
    }

    /// The state for JSON.
    ///
    /// # Errors
    /// As [`Self::place`].
    pub(super) fn state_json(&self, assessment: &Assessment) -> Result<Value, CliError> {
        let state = assessment.state;
        Ok(json!({
            "position": self.lon_lat(state.position)?,
            "terrain_height_m": assessment.ground_amsl_m,
            "height_amsl_m": state.height_amsl_m,
            "height_agl_m": assessment.height_agl_m(),
            "heading_deg": state.heading.map(|h| self.true_deg(h, state.position)),
        }))
    }

    /// The wind for JSON, as it was used.
    pub(super) fn wind_json(&self, assessment: &Assessment) -> Value {
        let place = self.area.home.as_ref().map_or(assessment.state.position, |h| h.position);
        let vector = |wind: WindVector| {
            json!({
                "from_deg": wind.from_bearing().map(|from| self.true_deg(from, place)),
                "speed_ms": wind.speed_ms(),
            })
        };
        let aloft: Vec<Value> = assessment
            .wind
            .aloft()
            .iter()
            .map(|layer| {
                let mut value = vector(layer.wind);
                value["height_amsl_m"] = layer.height_amsl_m.into();
                value
            })
            .collect();
        let mut wind = json!({ "surface": vector(assessment.wind.surface), "aloft": aloft });
        wind["profile"] = match assessment.wind.profile {
            WindProfile::Uniform => "uniform".into(),
            WindProfile::Log { .. } => "log".into(),
            WindProfile::Power { .. } => "power".into(),
        };
        wind
    }

    /// What people read first: area, aircraft, state, wind.
    ///
    /// # Errors
    /// As [`Self::place`].
    pub(super) fn heading_lines(&self, assessment: &Assessment) -> Result<String, CliError> {
        let units = &self.units;
        let state = assessment.state;
        let heading = state.heading.map_or_else(
            || "any heading".to_owned(),
            |h| format!("heading {}", format_bearing(self.area.to_true(h, state.position))),
        );
        let mut out = String::new();
        let _ = writeln!(out, "{}", self.area.title);
        let _ = writeln!(
            out,
            "{}, {} above the ground ({} above sea level),\n{heading}, at {}",
            self.conditions.aircraft.name,
            units.format_height(assessment.height_agl_m()),
            units.format_height(state.height_amsl_m),
            format_position(self.place(state.position)?),
        );
        let _ = writeln!(out, "Wind {}", assessment.wind_words(&self.area, units));
        Ok(out)
    }
}

/// The area asked for, the sample area where none is.
///
/// # Errors
/// As [`Area::open`].
pub(super) fn open_area(land: &Land) -> Result<Area, LoadError> {
    let bar = progress::Bar::new("reading terrain");
    match land {
        Land::Sample => Area::sample(&bar),
        Land::Files(request) => Area::open(request, &bar),
        Land::AreaFile(path, terrain) => Area::open_file(path, terrain, &bar),
    }
}

/// A place of a frame as JSON has it: `[lon, lat]`, to about a millimetre.
///
/// # Errors
/// When the frame has no image of it on the globe.
pub(super) fn lon_lat(frame: &Frame, at: Xy) -> Result<Value, CliError> {
    let rounded = |v: f64| (v * 1e8).round() / 1e8;
    let place = frame.to_lonlat(at).map_err(|e| CliError::Failure(e.to_string()))?;
    Ok(json!([rounded(place.lon_deg), rounded(place.lat_deg)]))
}

/// An area that could not be opened, as an exit.
pub(super) fn unusable(error: &LoadError) -> CliError {
    match error.kind {
        LoadErrorKind::Cancelled => CliError::Failure(error.to_string()),
        _ => CliError::BadInput(error.to_string()),
    }
}
