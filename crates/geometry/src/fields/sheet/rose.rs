//! The rose: the best landing for every direction the wind may come from.

use super::super::rank::{Place, RankInput};
use super::{Landing, SheetInput};
use crate::air::{Wind, WindVector};
use crate::math;
use crate::position::{Bearing, Xy};

/// Wind directions of a rose: every 5°.
pub const DIRECTIONS: usize = 72;

/// One direction of the rose.
#[derive(Clone, Debug, PartialEq)]
pub struct RoseBar {
    /// Where the wind comes from, in the frame.
    pub wind_from: Bearing,
    /// The landing that would be chosen in it; `None` when the field has no strip.
    pub landing: Option<Landing>,
}

/// The rose at the speed of the input's surface wind, clockwise from its north.
pub(super) fn rose(input: &SheetInput<'_>, zones: &[Option<(Xy, Xy)>]) -> Vec<RoseBar> {
    let now = input.rank.wind;
    let speed_ms = now.surface.speed_ms();
    (0..DIRECTIONS)
        .map(|i| {
            let wind_from = Bearing::from_rad(input.north.rad() + i as f64 * math::TAU / DIRECTIONS as f64);
            let surface = WindVector::coming_from(wind_from, speed_ms);
            let wind = Wind::new(surface, now.profile, now.aloft().to_vec(), now.ground_amsl_m);
            let rank = RankInput { wind: &wind, ..input.rank };
            let place = Place::by_itself(input.field, input.study, &rank, zones);
            let landing = place.best().map(|j| Landing::new(&place, &j));
            RoseBar { wind_from, landing }
        })
        .collect()
}
