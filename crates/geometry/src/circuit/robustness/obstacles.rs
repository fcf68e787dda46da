//! What a flight can meet on its way: the ground, what stands on it, and quiet zones; looked at along every step.
//!
//! Most steps pass high above everything. Squares of the ground round the circuit know the height above which nothing
//! in them can be met, and only what is flown lower is looked at closely; outside the squares everything is.
//!
//! A flight meets what it touches: the clearance with which a circuit is chosen is its margin, and here it may be used up.
//! On final, up to the strip's start, quiet zones no longer count, as when the circuit was chosen.
#![expect(clippy::inline_always, reason = "vectors stay in registers only where everything is one function")]

use super::lanes::{Each, EachXy, Which};
use crate::circuit::clearance::{FINAL_TOLERANCE_M, InTheWay, Surroundings};
use crate::circuit::motion::Motion;
use crate::circuit::plan::Landing;
use crate::fields::hazards::{distance_to_m, outline, to_chain_m};
use crate::fields::strip::{bounds, inside_ring};
use crate::position::Xy;

/// How far aside something that stands on the ground is hit, metres: half a wide span. Common practice, no source.
const HIT_ASIDE_M: f64 = 8.0;

/// Distance between two close looks along a step, metres: a line that is crossed is never further aside than half of it.
const LOOK_M: f64 = 5.0;

/// Side of a square, metres, and most squares in a row.
const TILE_M: f64 = 100.0;
const MOST_TILES: f64 = 80.0;

/// Half the diagonal of a square of side 1, rounded up.
const HALF_DIAGONAL: f64 = 0.708;

/// How far round the planned circuit the squares reach, metres.
const AROUND_M: f64 = 600.0;

/// What can be met on the way round one circuit.
#[derive(Clone, Debug)]
pub(super) struct Obstacles<'a> {
    around: Surroundings<'a>,
    landing: Landing,
    heeds_quiet: bool,
    low: Xy,
    per_m: f64,
    cols: usize,
    rows: usize,
    /// Heights above sea level above which nothing is met, and the highest of them.
    ceilings_m: Vec<f64>,
    highest_m: f64,
}

/// What was met on one step, and where.
pub(super) struct Met {
    pub(super) over: InTheWay,
    pub(super) at: Motion,
}

impl<'a> Obstacles<'a> {
    /// Round the places of a planned circuit.
    pub(super) fn new(around: Surroundings<'a>, landing: Landing, heeds_quiet: bool, places: &[Xy]) -> Self {
        let mut all = Self {
            around,
            landing,
            heeds_quiet,
            low: Xy::default(),
            per_m: 1.0,
            cols: 0,
            rows: 0,
            ceilings_m: Vec::new(),
            highest_m: f64::INFINITY,
        };
        let aside = Xy::new(AROUND_M, AROUND_M);
        let Some((low, high)) = bounds(places).map(|(low, high)| (low - aside, high + aside)) else { return all };
        let extent = high - low;
        let longest = extent.x.max(extent.y);
        if !longest.is_finite() {
            return all;
        }
        let side = TILE_M.max(longest / MOST_TILES);
        (all.low, all.per_m) = (low, 1.0 / side);
        (all.cols, all.rows) = ((extent.x / side).ceil() as usize, (extent.y / side).ceil() as usize);
        all.ceilings_m = all.ceilings(side);
        all.highest_m = all.ceilings_m.iter().fold(f64::NEG_INFINITY, |a, &b| a.max(b));
        all
    }

    fn ceilings(&self, side: f64) -> Vec<f64> {
        let aside = Xy::new(HIT_ASIDE_M, HIT_ASIDE_M);
        let high = self.low + Xy::new(self.cols as f64, self.rows as f64) * side;
        let hazards = self.around.hazards.all();
        let numbers = self.around.hazards.numbers_near(self.low - aside, high + aside);
        let hazards = numbers.map(|i| (outline(&hazards[i].shape), hazards[i].height_or_assumed().0, HIT_ASIDE_M));
        let zones = self.around.quiet_zones.iter().filter(|_| self.heeds_quiet);
        let zones = zones.map(|zone| ((zone.outer.as_slice(), true), zone.below_agl_m, 0.0));
        let tops: Vec<_> = hazards.chain(zones).collect();
        let reach = side * HALF_DIAGONAL;
        let mut out = Vec::with_capacity(self.cols * self.rows);
        for row in 0..self.rows {
            for col in 0..self.cols {
                let corner = self.low + Xy::new(col as f64, row as f64) * side;
                let centre = corner + Xy::new(0.5, 0.5) * side;
                let mut above = 0.0_f64;
                for &((chain, closed), top, aside) in &tops {
                    // A place in a hole is not far from what stands round it.
                    let is_near =
                        || closed && inside_ring(chain, centre) || to_chain_m(chain, closed, centre) <= reach + aside;
                    if top > above && is_near() {
                        above = top;
                    }
                }
                out.push(self.highest_ground(corner, side).map_or(f64::INFINITY, |ground| ground + above));
            }
        }
        out
    }

    /// The highest ground in a square; `None` where some of it is not known.
    fn highest_ground(&self, corner: Xy, side: f64) -> Option<f64> {
        let (terrain, frame) = (self.around.terrain, self.around.terrain.frame);
        let (bottom, left) = frame.fractional(corner);
        let (top, right) = frame.fractional(corner + Xy::new(side, side));
        let (top, left) = (top.floor(), left.floor());
        let (bottom, right) = (bottom.ceil(), right.ceil());
        if !(top >= 0.0 && left >= 0.0 && bottom < frame.rows as f64 && right < frame.cols as f64) {
            return None;
        }
        let mut highest = f64::NEG_INFINITY;
        for row in top as usize..=bottom as usize {
            for col in left as usize..=right as usize {
                highest = highest.max(terrain.post(row, col)?);
            }
        }
        Some(highest)
    }

    /// Whether a step between two places, nowhere lower than a height above sea level, can meet nothing.
    fn is_clear(&self, a: Xy, b: Xy, lowest_m: f64) -> bool {
        let tile = |p: Xy| (p - self.low) * self.per_m;
        let inside = |t: Xy| t.x >= 0.0 && t.y >= 0.0 && t.x < self.cols as f64 && t.y < self.rows as f64;
        let (a, b) = (tile(a), tile(b));
        if !inside(a) || !inside(b) {
            return false;
        }
        if lowest_m > self.highest_m {
            return true;
        }
        let range = |a: f64, b: f64| a.min(b) as usize..=a.max(b) as usize;
        let mut tiles = range(a.y, b.y).flat_map(|row| range(a.x, b.x).map(move |col| row * self.cols + col));
        tiles.all(|tile| lowest_m > self.ceilings_m[tile])
    }

    /// Which of some steps, nowhere lower than heights above sea level, pass high above everything.
    #[inline(always)]
    pub(super) fn are_far_below(&self, a: EachXy, b: EachXy, lowest_m: Each) -> Which {
        let high = self.low + Xy::new(self.cols as f64, self.rows as f64) * (1.0 / self.per_m);
        let inside = |p: EachXy| {
            p.x.is_at_least(Each::of(self.low.x))
                & p.y.is_at_least(Each::of(self.low.y))
                & Each::of(high.x).is_above(p.x)
                & Each::of(high.y).is_above(p.y)
        };
        lowest_m.is_above(Each::of(self.highest_m)) & inside(a) & inside(b)
    }

    /// What a step meets first. The first quiet zone that is overflown low is noted in `quiet`, where none is yet.
    pub(super) fn met(&self, from: &Motion, to: &Motion, on_final: bool, quiet: &mut Option<usize>) -> Option<Met> {
        if self.is_clear(from.position, to.position, from.height_amsl_m.min(to.height_amsl_m)) {
            return None;
        }
        let aside = Xy::new(HIT_ASIDE_M, HIT_ASIDE_M);
        let (low, high) = bounds(&[from.position, to.position])?;
        let mut near: Vec<usize> = self.around.hazards.numbers_near(low - aside, high + aside).collect();
        near.sort_unstable();
        // Half a metre on final is put down to rounding, as when the circuit was chosen.
        let tolerance = if on_final { FINAL_TOLERANCE_M } else { 0.0 };
        let count = (from.position.distance(to.position) / LOOK_M).ceil().clamp(1.0, 1_000.0);
        for i in 1..=count as usize {
            let at = from.towards(to, i as f64 / count);
            if on_final && self.landing.along_of(at.position) > -self.landing.aim_from_start_m {
                return None;
            }
            let Some(ground) = self.around.terrain.height_at(at.position) else {
                return Some(Met { over: InTheWay::UnknownGround, at });
            };
            let above = at.height_amsl_m - ground + tolerance;
            if above < 0.0 {
                return Some(Met { over: InTheWay::Ground, at });
            }
            for &number in &near {
                let hazard = &self.around.hazards.all()[number];
                if above < hazard.height_or_assumed().0 && distance_to_m(&hazard.shape, at.position) <= HIT_ASIDE_M {
                    return Some(Met { over: InTheWay::Hazard(number), at });
                }
            }
            if self.heeds_quiet && !on_final && quiet.is_none() {
                *quiet = self.around.over_quiet_zone(at.position, above).map(|(zone, _)| zone);
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::tests::{flat, landing, quiet_zone};
    use crate::fields::hazards::HazardIndex;
    use crate::fields::model::{Hazard, HazardKind, HazardShape, QuietZone};
    use crate::grid::Terrain;
    use proptest::prelude::*;
    use std::sync::Arc;

    fn at(x: f64, y: f64, height_amsl_m: f64) -> Motion {
        let position = Xy::new(x, y);
        Motion { position, height_amsl_m, heading_rad: 0.0, bank_rad: 0.0, level_speed_ms: 20.0, time_s: 0.0 }
    }

    /// What a step meets round the origin, with the squares and without.
    fn met(
        terrain: &Terrain,
        hazards: Vec<Hazard>,
        zones: &[Arc<QuietZone>],
        step: [Motion; 2],
        on_final: bool,
    ) -> Look {
        let hazards = HazardIndex::new(hazards);
        let around = Surroundings { terrain, hazards: &hazards, quiet_zones: zones, clearance_m: 50.0 };
        let looks = [[Xy::default(), Xy::new(300.0, 200.0)].as_slice(), &[]].map(|places| {
            let mut quiet = None;
            let met = Obstacles::new(around, landing(0.0), true, places).met(&step[0], &step[1], on_final, &mut quiet);
            (met.map(|m| (m.over, m.at)), quiet)
        });
        assert_eq!(looks[0], looks[1]);
        looks[0]
    }
    type Look = (Option<(InTheWay, Motion)>, Option<usize>);

    fn wires(height_m: f64) -> Hazard {
        let line = HazardShape::Line(vec![Xy::new(-200.0, 31.0), Xy::new(200.0, 31.0)]);
        Hazard { height_m: Some(height_m), ..Hazard::new("", HazardKind::Wires, line) }
    }

    fn zone(below_agl_m: f64) -> Arc<QuietZone> {
        let outer = [(-50.0, 20.0), (50.0, 20.0), (50.0, 60.0), (-50.0, 60.0)].map(|(x, y)| Xy::new(x, y)).to_vec();
        quiet_zone(outer, below_agl_m)
    }

    #[test]
    fn what_lies_between_the_ends_of_a_step_is_met() {
        let level = flat(0.0);
        let over = |height: f64| [at(0.0, 0.0, height), at(0.0, 90.0, height - 9.0)];
        let (hit, _) = met(&level, vec![wires(12.0)], &[], over(14.0), false);
        let (what, place) = hit.unwrap();
        assert_eq!(what, InTheWay::Hazard(0));
        assert!((23.0..=31.0).contains(&place.position.y), "{place:?}");
        assert_eq!(met(&level, vec![wires(12.0)], &[], over(17.0), false), (None, None));
        // A ridge of one post, and a hole in what is known.
        let (mut ridge, mut hole) = (flat(0.0), flat(0.0));
        ridge.heights_m[100 * 201 + 100] = 40.0;
        hole.heights_m[100 * 201 + 100] = f32::NAN;
        let past = [at(-90.0, 0.0, 30.0), at(90.0, 0.0, 28.0)];
        assert_eq!(met(&ridge, vec![], &[], past, false).0.unwrap().0, InTheWay::Ground);
        assert_eq!(
            met(&hole, vec![], &[], past.map(|m| at(m.position.x, 0.0, 900.0)), false).0.unwrap().0,
            InTheWay::UnknownGround
        );
    }

    #[test]
    fn a_quiet_zone_is_noted_and_flown_over_and_does_not_count_on_final() {
        let level = flat(0.0);
        let over = [at(0.0, 0.0, 80.0), at(0.0, 90.0, 75.0)];
        assert_eq!(met(&level, vec![], &[zone(20.0), zone(100.0)], over, false), (None, Some(1)));
        assert_eq!(met(&level, vec![], &[zone(60.0)], over, false), (None, None));
        let before = [at(0.0, -90.0, 80.0), at(0.0, -60.0, 75.0)];
        let outer = zone(0.0).outer.iter().map(|p| *p - Xy::new(0.0, 110.0)).collect();
        let there = [quiet_zone(outer, 100.0)];
        assert_eq!(met(&level, vec![], &there, before, false).1, Some(0));
        assert_eq!(met(&level, vec![], &there, before, true).1, None);
    }

    #[test]
    fn on_final_the_strip_itself_is_not_looked_at() {
        // The strip begins 40 m before the aiming point, which is the origin; it lands northward.
        let level = flat(0.0);
        let step = [at(0.0, -30.0, 8.0), at(0.0, 60.0, 2.0)];
        assert_eq!(met(&level, vec![wires(12.0)], &[], step, true).0, None);
        assert!(met(&level, vec![wires(12.0)], &[], step, false).0.is_some());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]
        /// `met` itself asserts that squares change nothing.
        #[test]
        fn squares_leave_nothing_out(
            heights in proptest::collection::vec(-20.0..60.0_f32, 64),
            masts in proptest::collection::vec((-400.0..700.0_f64, -400.0..600.0_f64, 5.0..60.0_f64), 0..6),
            a in (-900.0..1_200.0_f64, -900.0..1_100.0_f64, -10.0..150.0_f64),
            way in (-90.0..90.0_f64, -90.0..90.0_f64, -25.0..5.0_f64),
            below in 0.0..150.0_f64,
            on_final: bool,
        ) {
            let mut terrain = flat(0.0);
            for (i, h) in terrain.heights_m.iter_mut().enumerate() {
                *h = heights[(i % 201 * 5 + i / 201 * 3) % 64];
            }
            let mut hazards: Vec<Hazard> = masts
                .iter()
                .map(|&(x, y, h)| Hazard { height_m: Some(h), ..Hazard::new("", HazardKind::Mast, HazardShape::Point(Xy::new(x, y))) })
                .collect();
            hazards.push(wires(20.0));
            let step = [at(a.0, a.1, a.2), at(a.0 + way.0, a.1 + way.1, a.2 + way.2)];
            let _ = met(&terrain, hazards, &[zone(below)], step, on_final);
        }
    }
}
