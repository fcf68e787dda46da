//! What a circuit must keep clear of: ground, what stands on it, and places not to be overflown low.
//!
//! Until the final turn is done the aircraft's terrain clearance is kept; lower than twice that clearance above the
//! landing end, half the height above it. On final the path is held against the bare ground and tops: what stands there
//! has already moved the landing end in. Wires are only as good as the map: they cannot be seen, and one that nobody
//! drew is not looked for.

use super::flight::Part;
use super::motion::Motion;
use super::plan::Leg;
use crate::fields::hazards::{HazardIndex, distance_to_m};
use crate::fields::model::QuietZone;
use crate::fields::strip::inside_ring;
use crate::grid::Terrain;
use crate::position::Xy;
use serde::Serialize;
use std::sync::Arc;

/// Distance between two looks at the ground along a flown step, metres.
const LOOK_M: f64 = 20.0;

/// How far to the side of the path a line or a point still counts, metres. Common practice, no source: half a span and
/// the width of a doubt.
const ASIDE_M: f64 = 30.0;

/// Shortfall on final that is put down to rounding, metres.
pub(super) const FINAL_TOLERANCE_M: f64 = 0.5;

/// What is in the way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum InTheWay {
    /// Rising ground.
    Ground,
    /// Ground whose height is not known.
    UnknownGround,
    /// A hazard, by its index.
    Hazard(usize),
    /// A quiet zone, by its index.
    QuietZone(usize),
}

/// Where a path comes too low over something.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TooLow {
    /// Over what.
    pub over: InTheWay,
    /// Where.
    pub at: Xy,
    /// By how much, metres; infinite where the ground is not known.
    pub by_m: f64,
}

/// Ground, hazards and quiet zones, ready to be asked about.
#[derive(Clone, Copy, Debug)]
pub struct Surroundings<'a> {
    /// The ground.
    pub terrain: &'a Terrain,
    /// What stands on it.
    pub hazards: &'a HazardIndex,
    /// Places not to be overflown low.
    pub quiet_zones: &'a [Arc<QuietZone>],
    /// Clearance above the ground while gliding, metres.
    pub clearance_m: f64,
}

impl Surroundings<'_> {
    /// The clearance asked for at a height above the landing place.
    fn wanted(&self, above_landing_m: f64) -> f64 {
        self.clearance_m.min((0.5 * above_landing_m).max(0.0))
    }

    /// What a flown step comes too low over first, if anything; `landing_amsl_m` is the height of the landing place.
    pub(super) fn look(&self, from: &Motion, to: &Motion, part: Part, landing_amsl_m: f64, quiet: bool) -> Look {
        let final_leg = part.leg == Leg::Final && !part.turn;
        let way = to.position - from.position;
        let count = (way.norm() / LOOK_M).ceil().clamp(1.0, 1_000.0);
        let mut look = Look { least_m: f64::INFINITY, too_low: None };
        let (a, b, aside) = (from.position, to.position, Xy::new(ASIDE_M, ASIDE_M));
        let low = Xy::new(a.x.min(b.x), a.y.min(b.y)) - aside;
        let high = Xy::new(a.x.max(b.x), a.y.max(b.y)) + aside;
        let mut near: Vec<usize> = self.hazards.numbers_near(low, high).collect();
        near.sort_unstable();
        for i in 1..=count as usize {
            let t = i as f64 / count;
            let at = from.position + way * t;
            let height = from.height_amsl_m + (to.height_amsl_m - from.height_amsl_m) * t;
            let Some(ground) = self.terrain.height_at(at) else {
                look.too_low = Some(TooLow { over: InTheWay::UnknownGround, at, by_m: f64::INFINITY });
                return look;
            };
            let above = height - ground;
            if !final_leg {
                look.least_m = look.least_m.min(above);
            }
            let wanted = if final_leg { -FINAL_TOLERANCE_M } else { self.wanted(height - landing_amsl_m) };
            let mut short = (!(above >= wanted)).then_some(TooLow { over: InTheWay::Ground, at, by_m: wanted - above });
            for &index in &near {
                let hazard = &self.hazards.all()[index];
                let wanted = hazard.height_or_assumed().0 + if final_leg { -FINAL_TOLERANCE_M } else { wanted };
                // The study of the strip has looked at the sides of the approach.
                let aside = if final_leg { LOOK_M / 2.0 } else { ASIDE_M };
                if !(above >= wanted) && distance_to_m(&hazard.shape, at) <= aside {
                    short = Some(TooLow { over: InTheWay::Hazard(index), at, by_m: wanted - above });
                }
            }
            if quiet && !final_leg && short.is_none() {
                short =
                    self.over_quiet_zone(at, above).map(|(i, by_m)| TooLow { over: InTheWay::QuietZone(i), at, by_m });
            }
            if short.is_some() {
                look.too_low = short;
                return look;
            }
        }
        look
    }

    /// The first quiet zone under a place that is overflown too low, and by how much, metres.
    pub(super) fn over_quiet_zone(&self, at: Xy, above_m: f64) -> Option<(usize, f64)> {
        self.quiet_zones.iter().enumerate().find_map(|(i, zone)| {
            let by_m = zone.below_agl_m - above_m;
            (by_m > 0.0 && inside_ring(&zone.outer, at)).then_some((i, by_m))
        })
    }
}

/// What looking at one step found.
pub(super) struct Look {
    /// Least height above the ground outside the final, metres.
    pub(super) least_m: f64,
    pub(super) too_low: Option<TooLow>,
}
