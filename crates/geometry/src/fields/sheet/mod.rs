//! One field on one page, for one aircraft and one wind: how much of it can be used whichever way the wind blows, where
//! its strips lie, what the ground does along them, what stands before them, and what nobody measured.
//!
//! Nothing here has a formula of its own for length, gradient, factors or gates: every strip is judged by the ranking,
//! as if the aircraft arrived with all the height it could want. Whether it does is the ranking's question.

mod approach_profile;
mod assumptions;
mod compare;
mod landing;
mod rose;
mod slope_profile;
mod strips;

pub use approach_profile::{ApproachGround, ApproachProfile, ApproachThing, SHOWN_M};
pub use assumptions::{Assumption, AssumptionGroup};
pub use compare::{Difference, Measure, Which, compare};
pub use landing::Landing;
pub use rose::{DIRECTIONS, RoseBar};
pub use slope_profile::{GroundStation, SlopeProfile};
pub use strips::{APART_DEG, MOST_STRIPS, Placing, StripSheet, Way};

use super::hazards::HazardIndex;
use super::model::{Field, Hazard, QuietZone};
use super::rank::{Judged, Place, RankInput};
use super::reasons;
use super::strip::bounds;
use super::study::{FieldStudy, StudyOptions, hazards_near};
use super::verdict::Reason;
use crate::air::WindVector;
use crate::grid::Terrain;
use crate::position::{Bearing, Xy};
use std::sync::Arc;

/// What a sheet is made from.
#[derive(Clone, Copy, Debug)]
pub struct SheetInput<'a> {
    /// The field.
    pub field: &'a Field,
    /// Its study, made for the aircraft of `rank` with `options`.
    pub study: &'a FieldStudy,
    /// Hazards of the area.
    pub hazards: &'a HazardIndex,
    /// Terrain, where there is any.
    pub terrain: Option<&'a Terrain>,
    /// What the study was made with.
    pub options: &'a StudyOptions,
    /// Aircraft, wind, choices and quiet zones, as fields are ranked with.
    pub rank: RankInput<'a>,
    /// The direction from which the rose is counted: true north as a bearing of the frame.
    pub north: Bearing,
}

/// A field on one page.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldSheet {
    /// The surface wind it was made for.
    pub wind: WindVector,
    /// The best landing for each of [`DIRECTIONS`] wind directions at the speed of that wind, clockwise from north.
    pub rose: Vec<RoseBar>,
    /// A few strips, each both ways: the best in this wind first, then those that are best in most directions.
    pub strips: Vec<StripSheet>,
    /// The way of `strips[0]` that is best in this wind: 0 or 1. `None` when the field has no strip.
    pub best_way: Option<usize>,
    /// Why there is no strip.
    pub no_strip: Option<Reason>,
    /// What was taken for granted, what matters in this wind first within each group.
    pub assumptions: Vec<Assumption>,
    /// Enclosed area, m².
    pub area_m2: f64,
}

impl FieldSheet {
    /// Makes the sheet; the same input gives the same bits.
    #[must_use]
    pub fn new(input: &SheetInput<'_>) -> Self {
        let zones = zone_bounds(input.rank.quiet_zones);
        let near = hazards_near(input.field, input.hazards);
        let rose = rose::rose(input, &zones);
        let place = Place::by_itself(input.field, input.study, &input.rank, &zones);
        let best = place.best().map(|j| Landing::new(&place, &j));
        let strips = strips::strips(input, &place, &near, &rose, best.as_ref());
        let best_way = best.as_ref().map(|b| b.end);
        let no_strip = best.is_none().then(|| reasons::no_strip(input.study.no_strip, input.rank.aircraft));
        let best_way_of = best_way.and_then(|end| strips.first().map(|s| &s.ways[end]));
        let assumptions = assumptions::assumptions(input, &near, &strips, best_way_of);
        Self {
            wind: input.rank.wind.surface,
            rose,
            strips,
            best_way,
            no_strip,
            assumptions,
            area_m2: input.field.area_m2(),
        }
    }

    /// The best strip in this wind, landed on the better way.
    #[must_use]
    pub fn best(&self) -> Option<&Way> {
        self.best_way.and_then(|end| self.strips.first().map(|s| &s.ways[end]))
    }

    /// How many of the wind directions have a landing that passes every check of the field itself.
    #[must_use]
    pub fn directions_served(&self) -> usize {
        self.rose.iter().filter(|bar| bar.landing.as_ref().is_some_and(Landing::passes)).count()
    }

    /// The sentence a sheet starts with.
    #[must_use]
    pub fn headline(&self) -> Option<Reason> {
        self.best().map(|way| way.landing.headline()).or_else(|| self.no_strip.clone())
    }
}

fn zone_bounds(zones: &[Arc<QuietZone>]) -> Vec<Option<(Xy, Xy)>> {
    zones.iter().map(|z| bounds(&z.outer)).collect()
}

/// What a strip's both ways are looked at in.
struct Setting<'a> {
    input: &'a SheetInput<'a>,
    place: &'a Place<'a>,
    near: &'a [&'a Hazard],
}

impl Setting<'_> {
    fn way(&self, judged: &Judged<'_>) -> Way {
        let landing = Landing::new(self.place, judged);
        let placing = Placing::new(&landing.strip, self.input.study.centre);
        let slope = SlopeProfile::new(self.input.terrain, &landing.strip);
        let approach = ApproachProfile::new(self.input, self.near, judged, &placing);
        Way { landing, placing, slope, approach }
    }
}

#[cfg(test)]
mod tests;
