//! Bends where the ground is passed, and not on the centre of a cell nearby.
//!
//! Ways spread from cell to cell, and where the ground hides a bend from a cell, the neighbour that sees it becomes the next
//! bend. The best place to turn is up to half a cell's diagonal from there: at the edge of what hides the bend, or where
//! a crest between two posts is lowest. Two repairs look for it:
//!
//! - A cell about to hand on a way that turns close by looks for a place where the turn costs less, on to the same bend or
//!   to the one after that.
//! - Where the ground between two neighbouring cells hides even the neighbour, the glide is lifted until it just clears it,
//!   and the place where it does becomes the bend.
//!
//! Places need not see the next bend: what their glides lack is added to their height. Every glide found is tested in full
//! as all others are.
//!
//! # Source
//! Search along the compass with halved steps: Kolda, Lewis & Torczon, *Optimization by direct search* (2003), section 1,
//! from memory.

use super::super::departure::{Bend, place};
use super::super::floor::Place;
use super::solve::{Label, NONE, Solver, direction, needed_at};
use crate::position::Xy;

/// Farthest from a cell that a bend is moved for it, cells.
const NEAR_CELLS: f64 = 2.0;
/// What the ground must cost, against flying straight, for a search to be tried, metres.
const HOPE_M: f64 = 0.5;
/// Least that a better place must save, metres.
const WORTH_M: f64 = 0.05;
/// How many of the next bends are tried as the one to go on to.
const ONWARD: usize = 2;
/// First step of the search, and that at which it ends, cells. What is left is the height lost over half the last one, at
/// most.
const FIRST_STEP: f64 = 0.5;
const LAST_STEP: f64 = 0.125;
/// A step of the search must save so much, metres.
const STEP_WORTH_M: f64 = 1e-3;
/// Lifted glides are lifted by so much more, metres, so that rounding does not hide what they pass.
const SPARE_M: f64 = 1e-6;
const DIRECTIONS: [(f64, f64); 8] =
    [(1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (-1.0, 1.0), (-1.0, 0.0), (-1.0, -1.0), (0.0, -1.0), (1.0, -1.0)];

/// A place for a bend, with what is needed there, and at the cell that comes from there.
#[derive(Clone, Copy)]
struct Corner {
    at: (Xy, Place),
    height: f64,
    needed: f64,
    /// Whether the cell needs more than its glide to the place, for the floor there or on the way.
    raised: bool,
}

/// Where a way goes on to.
#[derive(Clone, Copy)]
struct Onward {
    number: u32,
    bend: Bend,
    demand: u32,
}

impl Solver<'_> {
    /// A better way for a cell than by its bend, where that is close by.
    pub(super) fn cut(&mut self, cell: usize, label: &Label) -> Option<Label> {
        let is_field = |number: u32| (number as usize) < self.demands.len();
        if is_field(label.bend) {
            return None;
        }
        let bend = self.bends[label.bend as usize];
        let d = bend.position - self.centre(cell);
        let near_m = NEAR_CELLS * self.floor.terrain.frame.cell_m;
        if d.dot(d) > near_m * near_m || (d.x == 0.0 && d.y == 0.0) {
            return None;
        }
        let at = (bend.position, bend.place);
        let mut best = Corner { at, height: bend.height, needed: label.height, raised: false };
        let mut found = None;
        let mut number = bend.parent;
        for _ in 0..ONWARD {
            let Some(bend) = self.bends.get(number as usize) else { break };
            let onward = Onward { number, bend: *bend, demand: label.demand };
            if let Some(corner) = self.search(cell, &onward, &best) {
                best = corner;
                found = Some((corner, onward));
            }
            if is_field(number) {
                break;
            }
            number = bend.parent;
        }
        let (corner, onward) = found?;
        Some(self.turn_at(cell, &corner, &onward))
    }

    /// Offers a cell the way by a bend that the ground hides from it, lifted over that ground.
    pub(super) fn lift(&mut self, cell: usize, number: u32, demand: u32) {
        let onward = Onward { number, bend: self.bends[number as usize], demand };
        let corner = self.over(cell, &onward, self.ceiling);
        if let Some(corner) = corner.filter(|corner| self.would_take(cell, demand, corner.needed)) {
            let label = self.turn_at(cell, &corner, &onward);
            self.set(cell, label);
        }
    }

    /// Height needed at a place for the glide to a bend and on from there, whatever the ground.
    fn by_air(&self, from: Xy, onward: &Onward) -> Option<f64> {
        let d = onward.bend.position - from;
        self.descent.height_needed(needed_at(&onward.bend, self.demands, onward.number, onward.demand, d), d)
    }

    /// The place that the straight glide to a bend just clears when it is lifted over the ground.
    fn over(&self, cell: usize, onward: &Onward, most: f64) -> Option<Corner> {
        let here = self.centre(cell);
        let d = onward.bend.position - here;
        let height = self.by_air(here, onward)?;
        let mut line = self.descent.line(height, d)?;
        let (_, t) = self.floor.depth(self.place_of(cell), onward.bend.place, &mut line, most - height)?;
        self.corner(cell, onward.bend.position - d * t, onward, most)
    }

    /// A place to turn by which a cell needs less than by the one before.
    fn search(&self, cell: usize, onward: &Onward, before: &Corner) -> Option<Corner> {
        let straight = self.by_air(self.centre(cell), onward)?.max(self.floor_at(cell));
        if straight > before.needed - HOPE_M {
            return None;
        }
        let cell_m = self.floor.terrain.frame.cell_m;
        let mut best = self.over(cell, onward, before.needed).unwrap_or(*before);
        let mut step = FIRST_STEP;
        while step >= LAST_STEP {
            let mut better = None;
            for (x, y) in DIRECTIONS {
                let at = best.at.0 + Xy::new(x, y) * (step * cell_m);
                let most = better.map_or(best.needed, |corner: Corner| corner.needed);
                better = self.corner(cell, at, onward, most).or(better);
            }
            match better {
                Some(corner) => best = corner,
                None => step *= 0.5,
            }
        }
        (best.needed < before.needed - WORTH_M).then_some(best)
    }

    /// What a cell needs by way of a place on to a bend, where that is less than so much.
    fn corner(&self, cell: usize, position: Xy, onward: &Onward, most: f64) -> Option<Corner> {
        let most = most - STEP_WORTH_M;
        let here = self.centre(cell);
        let (to, back) = (onward.bend.position - position, position - here);
        if (to.x == 0.0 && to.y == 0.0) || (back.x == 0.0 && back.y == 0.0) {
            return None;
        }
        // Most places are no better even without the turn there.
        let lost = if self.descent.is_uniform() {
            self.descent.height_needed(0.0, back)?
        } else {
            self.descent.least_loss() * back.norm()
        };
        let at = (position, place(&self.floor.terrain.frame, position));
        let floor = self.floor.at(at.1);
        // Ground without data compares false.
        if !(floor + lost < most) {
            return None;
        }
        let mut height = self.by_air(position, onward)?.max(floor);
        if height + lost >= most {
            return None;
        }
        let (from, floor_here) = (self.place_of(cell), self.floor_at(cell));
        let track = direction(to);
        // What the cell needs when so much is needed at the place, and whether its glide there had to be lifted.
        let lifted = |height: f64| {
            let turn = self.turning.bend(at, height, track, NONE).turn_loss(back);
            let glide = self.descent.height_needed(height + turn, back)?;
            let needed = if floor_here > glide { floor_here } else { glide };
            if needed >= most {
                return None;
            }
            let mut line = self.descent.line(needed, back)?;
            let (deep, _) = self.floor.depth(from, at.1, &mut line, most - needed)?;
            let raised = needed > glide || deep > 0.0;
            let needed = if deep > 0.0 { needed + deep + SPARE_M } else { needed };
            (needed < most).then_some((needed, raised))
        };
        let (mut needed, mut raised) = lifted(height)?;
        let mut line = self.descent.line(height, to)?;
        let (deep, _) = self.floor.depth(at.1, onward.bend.place, &mut line, most - needed)?;
        if deep > 0.0 {
            height += deep + SPARE_M;
            (needed, raised) = lifted(height)?;
        }
        let is_clear = |height: f64, d: Xy, from: Place, to: Place| {
            self.descent.line(height, d).is_some_and(|mut line| self.floor.is_clear(from, to, &mut line, |_, _| false))
        };
        let clear = is_clear(needed, back, from, at.1) && is_clear(height, to, at.1, onward.bend.place);
        (clear && needed <= self.ceiling).then_some(Corner { at, height, needed, raised })
    }

    /// Makes a place the bend of a cell's way, and the cell itself one where it needs more than the glide there.
    fn turn_at(&mut self, cell: usize, corner: &Corner, onward: &Onward) -> Label {
        let mut add = |bend: Bend| {
            self.bends.push(bend);
            (self.bends.len() - 1) as u32
        };
        let track = direction(onward.bend.position - corner.at.0);
        let number = add(self.turning.bend(corner.at, corner.height, track, onward.number));
        let number = if corner.raised {
            let (row, col) = self.blocks.place(cell);
            let here = self.floor.terrain.frame.centre(row, col);
            let own = (here, Place { x: col as f64, y: row as f64 });
            add(self.turning.bend(own, corner.needed, direction(corner.at.0 - here), number))
        } else {
            number
        };
        Label { height: corner.needed, bend: number, demand: onward.demand }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::descent::{Descent, GlideLine};
    use super::super::super::floor::{Floor, Pyramid};
    use super::*;
    use crate::aircraft::Aircraft;
    use crate::reach::tests::{Dice, fractal, log_wind};

    /// A glide lifted by its depth is just clear, no place of it is deeper, and the deepest is where it is said to be.
    #[test]
    fn a_glide_lifted_by_its_depth_is_just_clear() {
        let air = log_wind(-4.0, 5.0, 200.0);
        let descent = Descent::new(&Aircraft::example_flexwing(), &air, 0.0, 4_000.0);
        let (mut deep_ones, mut clear_ones) = (0, 0);
        for seed in 0..4 {
            let terrain = fractal(seed, 100, 25.0, 500.0, 40.0);
            let frame = terrain.frame;
            let pyramid = Pyramid::new(&terrain, (0, 0), frame.rows, frame.cols);
            let floor = Floor { terrain: &terrain, pyramid: &pyramid, clearance_m: 50.0 };
            let mut dice = Dice(seed, 0);
            for i in 0..2_000 {
                // Every tenth begins or ends on a post, and some run along a row.
                let mut coordinate = || {
                    let at = dice.within(0.0, 99.0);
                    if i % 10 == 0 { at.round() } else { at }
                };
                let start = Place { x: coordinate(), y: coordinate() };
                let end = Place { x: coordinate(), y: if i % 40 == 0 { start.y } else { coordinate() } };
                if start == end {
                    continue;
                }
                let end_height = floor.at(end) + dice.within(0.0, 100.0);
                let rise = dice.within(0.0, 300.0);
                let straight = |lift: f64| GlideLine::straight(end_height + lift, rise);
                let found = floor.depth(start, end, &mut straight(0.0), f64::INFINITY);
                let (deep, t) = found.unwrap();
                let at = |t: f64| Place { x: end.x + (start.x - end.x) * t, y: end.y + (start.y - end.y) * t };
                assert!(floor.is_clear(start, end, &mut straight(deep + 1e-6), |_, _| false), "{seed} {i}");
                if deep > 0.0 {
                    assert!(!floor.is_clear(start, end, &mut straight(deep - 1e-3), |_, _| false), "{seed} {i}");
                    assert!((floor.at(at(t)) - straight(0.0).height(t) - deep).abs() < 1e-6, "{seed} {i}");
                    assert_eq!(floor.depth(start, end, &mut straight(0.0), deep * 0.9), None);
                }
                deep_ones += usize::from(deep > 0.0);
                clear_ones += usize::from(deep == 0.0);
                // Bent glides too are nowhere deeper.
                let d = Xy::new(end.x - start.x, start.y - end.y) * 25.0;
                let height = floor.at(start) + dice.within(0.0, 200.0);
                let Some((mut line, mut other)) = descent.line(height, d).zip(descent.line(height, d)) else {
                    continue;
                };
                let (deep, _) = floor.depth(start, end, &mut line, f64::INFINITY).unwrap();
                for k in 0..=500 {
                    let t = f64::from(k) / 500.0;
                    assert!(floor.at(at(t)) - other.height(t) <= deep + 1e-6, "{seed} {i} {k}");
                }
            }
        }
        assert!(deep_ones > 1_000 && clear_ones > 1_000, "{deep_ones} {clear_ones}");
    }
}
