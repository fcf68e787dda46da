//! The options map when the wind is not known exactly.

use super::{Basis, NoOptions};
use crate::assess::{self, Conditions};
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::reach::least::{ManyWinds, WindDoubt, many_winds, winds_about};

/// Least heights in so many winds about that of the conditions, and in how many of them each place is covered from a
/// height above the ground. Fields are judged anew in every wind: other strips may serve, and other fields.
///
/// # Errors
/// When the aircraft or the wind make no sense here, there is no terrain, or when stopped.
#[allow(clippy::too_many_arguments, reason = "what an options map is made from, and the doubt about its wind")]
pub fn in_many_winds(
    area: &Area,
    studies: &Studies,
    conditions: &Conditions,
    fields_needed: usize,
    counts: &(dyn Fn(&Field) -> bool + Sync),
    (doubt, winds, height_agl_m): (&WindDoubt, usize, f64),
    progress: &(dyn Fn(f32) + Sync),
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<ManyWinds, NoOptions> {
    let basis = Basis::new(area, conditions)?;
    let aircraft = &conditions.aircraft;
    assess::check_wind(aircraft, &basis.wind, basis.ground_amsl_m)?;
    let members = winds_about(&basis.wind, doubt, winds);
    let asks = |wind: &_| {
        let flies = assess::check_wind(aircraft, wind, basis.ground_amsl_m).is_ok();
        flies.then(|| Basis::demands(area, studies, conditions, wind, &|field| counts(field)))
    };
    let options = basis.least_options(conditions, fields_needed);
    Ok(many_winds(&area.terrain, aircraft, &members, &asks, &options, height_agl_m, progress, stopped)?)
}
