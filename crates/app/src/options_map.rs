//! The one core behind the options map: an area and conditions become the least height everywhere that keeps so many
//! fields in reach, and what that means along a route.

mod detour;
mod route;
mod surveys;
mod winds;

pub use detour::{FoundRoute, find_route, gpx};
pub use route::{Route, RouteHeight, RoutePoint, Stretch, highest_around, route};
pub use surveys::{MOST_CANDIDATES, SurveyFor, Surveys, WORTH_LISTING_M2, surveys};
pub use winds::in_many_winds;

use crate::assess::{self, AssessError, Conditions};
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_geometry::air::Wind;
use sparefield_geometry::fields::demand::{Demand, demands};
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::fields::rank::RankInput;
use sparefield_geometry::reach::ReachOptions;
use sparefield_geometry::reach::least::{LeastError, LeastHeights, LeastOptions, least_heights};
use std::sync::Arc;
use thiserror::Error;

/// So far above the highest ground nobody asks, metres: about 8 000 ft.
const CEILING_ABOVE_M: f64 = 2_400.0;

/// What nothing of an options map takes into account.
pub const NOT_COUNTED: &str = "The aircraft is taken to glide already, on its way to the field: allow for the moment \
of surprise and the first turn. Circuits are estimates for joining from overhead, and nothing round them was looked at.";

/// Why there is no options map.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NoOptions {
    /// Aircraft or wind make no sense here.
    #[error("{0}")]
    Assess(#[from] AssessError),
    /// The terrain is empty.
    #[error("the terrain has no heights, so nothing can be worked out; load terrain that covers the area")]
    NoTerrain,
    /// It could not be computed.
    #[error("{0}")]
    Least(#[from] LeastError),
}

/// Least heights over an area.
#[derive(Clone, Debug)]
pub struct OptionsMap {
    /// The area.
    pub area: Arc<Area>,
    /// The conditions; their state does not count.
    pub conditions: Conditions,
    /// The wind in the area's frame.
    pub wind: Wind,
    /// What each field asks that would take the aircraft.
    pub demands: Vec<Demand>,
    /// Least heights.
    pub least: LeastHeights,
}

/// The options map of an area. Only fields that `counts` are taken.
///
/// # Errors
/// When the aircraft or the wind make no sense here, there is no terrain, or when stopped.
pub fn options_map(
    area: &Arc<Area>,
    studies: &Studies,
    conditions: &Conditions,
    fields_needed: usize,
    counts: &dyn Fn(&Field) -> bool,
    progress: &dyn Fn(f32),
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<OptionsMap, NoOptions> {
    let basis = Basis::new(area, conditions)?;
    assess::check_wind(&conditions.aircraft, &basis.wind, basis.ground_amsl_m)?;
    let demands = basis.demands(area, studies, conditions, &basis.wind, counts);
    let options = basis.least_options(conditions, fields_needed);
    let (aircraft, wind) = (&conditions.aircraft, &basis.wind);
    let least = least_heights(&area.terrain, aircraft, wind, &demands, &options, progress, &|| stopped())?;
    Ok(OptionsMap { area: Arc::clone(area), conditions: conditions.clone(), wind: basis.wind, demands, least })
}

/// What every map of an area under some conditions is made from.
struct Basis {
    /// The wind in the area's frame.
    wind: Wind,
    /// The ground it belongs to, metres above mean sea level.
    ground_amsl_m: f64,
    ceiling_amsl_m: f64,
}

impl Basis {
    fn new(area: &Area, conditions: &Conditions) -> Result<Self, NoOptions> {
        conditions.aircraft.validate().map_err(AssessError::from)?;
        let (low, high) = area.terrain.range().ok_or(NoOptions::NoTerrain)?;
        let place = area.home.as_ref().map_or_else(|| area.centre(), |home| home.position);
        let ground_amsl_m = area.terrain.height_at(place).unwrap_or(low);
        let wind = assess::frame_wind(area, &conditions.wind, place, ground_amsl_m)?;
        Ok(Self { wind, ground_amsl_m, ceiling_amsl_m: high + CEILING_ABOVE_M })
    }

    fn least_options(&self, conditions: &Conditions, fields_needed: usize) -> LeastOptions {
        let glide = ReachOptions::of(&conditions.aircraft);
        LeastOptions { fields_needed, ceiling_amsl_m: self.ceiling_amsl_m, glide }
    }

    /// What the fields that count ask in a wind.
    fn demands(
        &self,
        area: &Area,
        studies: &Studies,
        conditions: &Conditions,
        wind: &Wind,
        counts: &dyn Fn(&Field) -> bool,
    ) -> Vec<Demand> {
        let options = assess::rank_options(area, conditions.rules, conditions.today);
        let input =
            RankInput { aircraft: &conditions.aircraft, wind, options: &options, quiet_zones: &area.quiet_zones };
        let mut demands = demands(&area.fields, studies.each(), &input);
        demands.retain(|demand| counts(&area.fields[demand.field]));
        demands
    }
}
