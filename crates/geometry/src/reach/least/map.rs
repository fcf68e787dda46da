//! What least heights can be asked.

use super::super::PathPoint;
use super::super::departure::{Bend, place};
use super::super::descent::Descent;
use super::super::floor::{Floor, Pyramid, SMALL};
use super::cells::{BLOCK, Cells, MOST_SLOTS, Ways};
use super::solve::{Label, NONE, direction, needed_at};
use crate::fields::demand::Demand;
use crate::grid::{GridFrame, Terrain};
use crate::position::Xy;
use crate::wide::{Wide, wide};
use rayon::prelude::*;
use std::sync::Arc;

/// Least heights over a terrain.
#[derive(Clone, Debug)]
pub struct LeastHeights {
    /// The terrain's cells.
    pub frame: GridFrame,
    pub(super) count: usize,
    pub(super) bends: Vec<Bend>,
    pub(super) cells: Cells,
    pub(super) demands: Vec<Demand>,
    pub(super) descent: Descent,
    pub(super) pyramid: Arc<Pyramid>,
    pub(super) clearance_m: f64,
    /// Height above which nothing was looked at, metres above mean sea level.
    pub ceiling_amsl_m: f64,
}

/// One field that covers a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cover {
    /// Index of the field.
    pub field: usize,
    /// Least height from which it is in reach with its circuit, metres above mean sea level.
    pub least_amsl_m: f64,
}

impl LeastHeights {
    /// How many fields the map was made for.
    #[must_use]
    pub fn fields_needed(&self) -> usize {
        self.count
    }

    /// Fields that cover a cell, the one that asks least first; fewer than were needed where fewer are in reach below the
    /// ceiling.
    #[must_use]
    pub fn covers_at_cell(&self, row: usize, col: usize) -> Vec<Cover> {
        if row >= self.frame.rows || col >= self.frame.cols {
            return Vec::new();
        }
        self.own(row, col).iter().take(self.count).filter_map(|label| self.cover(label)).collect()
    }

    fn known_ways(&self) -> Ways<'_> {
        Ways { frame: &self.frame, descent: &self.descent, demands: &self.demands, bends: &self.bends }
    }

    /// The labels of a cell, the one that needs least first.
    pub(super) fn own(&self, row: usize, col: usize) -> [Label; MOST_SLOTS] {
        self.cells.all(&self.known_ways(), self.cells.blocks.cell(row, col))
    }

    /// Works on blocks of cells, each with their least heights for so many fields, infinite where there is none. `each` is
    /// told in which row and column of the grid a block begins, and works out what goes to `out`, for each cell of the grid.
    fn by_blocks<T: Copy + Send>(
        &self,
        fields: usize,
        out: &mut [T],
        each: impl Fn(&[f64; BLOCK], (usize, usize)) -> [T; BLOCK] + Sync,
    ) {
        let slot = fields.clamp(1, self.count) - 1;
        let (cols, across) = (self.frame.cols, self.frame.cols.div_ceil(SMALL));
        let ways = self.known_ways();
        let strip = SMALL * cols;
        out.par_chunks_mut(strip.max(1)).enumerate().for_each(|(down, out)| {
            let mut heights = [0.0; BLOCK];
            for right in 0..across {
                self.cells.heights(&ways, down * across + right, slot, &mut heights);
                let first = right * SMALL;
                let found = each(&heights, (down * SMALL, first));
                for (out, found) in out.chunks_mut(cols).zip(found.as_chunks::<SMALL>().0) {
                    match out[first..].first_chunk_mut() {
                        Some(out) => *out = *found,
                        None => out[first..].copy_from_slice(&found[..cols - first]),
                    }
                }
            }
        });
    }

    fn cover(&self, label: &Label) -> Option<Cover> {
        let demand = self.demands.get(label.demand as usize)?;
        Some(Cover { field: demand.field, least_amsl_m: label.height })
    }

    /// Least height for so many fields (from 1) at every cell, metres above mean sea level, rounded up; `NaN` where there
    /// is none below the ceiling.
    #[must_use]
    pub fn raster(&self, fields: usize) -> Vec<f32> {
        let mut raster = vec![0.0; self.frame.len()];
        self.by_blocks(fields, &mut raster, |heights, _| wide(RoundUp(heights)));
        raster
    }

    /// Number of cells with known ground, and of those where so many fields are in reach from a height above the ground.
    #[must_use]
    pub fn covered(&self, terrain: &Terrain, fields: usize, height_agl_m: f64) -> (usize, usize) {
        let mut covered = vec![false; self.frame.len()];
        self.by_blocks(fields, &mut covered, |heights, (row, col)| {
            core::array::from_fn(|i| {
                // Beyond the last row and column there is no ground.
                let ground = terrain.post(row + i / SMALL, col + i % SMALL);
                ground.is_some_and(|ground| heights[i] <= ground + height_agl_m)
            })
        });
        let known = terrain.heights_m.iter().filter(|h| h.is_finite()).count();
        (known, covered.iter().filter(|c| **c).count())
    }

    /// Fields that cover a place, the one that asks least first: the ways of the cells around it, each line tested in
    /// full. `terrain` must be the terrain the map was made over.
    #[must_use]
    pub fn covers_at(&self, terrain: &Terrain, p: Xy) -> Vec<Cover> {
        let mut found: Vec<Cover> = Vec::new();
        for (label, _) in self.ways(terrain, p) {
            let Some(cover) = self.cover(&label) else { continue };
            if found.len() < self.count && found.iter().all(|c| c.field != cover.field) {
                found.push(cover);
            }
        }
        found
    }

    /// The way from a place to the field that asks least there, from the least height on: straight glides from bend to
    /// bend, a turn being two points at one place.
    #[must_use]
    pub fn path_from(&self, terrain: &Terrain, p: Xy) -> Option<Vec<PathPoint>> {
        let (label, _) = self.ways(terrain, p).into_iter().next()?;
        let mut path = vec![PathPoint { position: p, height_amsl_m: label.height }];
        let (mut number, mut at, mut height) = (label.bend, p, label.height);
        loop {
            let bend = self.bends.get(number as usize)?;
            let d = bend.position - at;
            if d.x != 0.0 || d.y != 0.0 {
                let mut line = self.descent.line(height, d)?;
                let mut pieces = Vec::new();
                let mut t = 0.0;
                while t < 1.0 {
                    pieces.push(PathPoint { position: bend.position - d * t, height_amsl_m: line.height(t) });
                    line.advance(t);
                    t = line.linear_until().min(1.0);
                }
                path.extend(pieces.into_iter().rev());
                height = path.last()?.height_amsl_m;
                if number as usize >= self.demands.len() && bend.turn_loss(d) > 0.0 {
                    height -= bend.turn_loss(d);
                    path.push(PathPoint { position: bend.position, height_amsl_m: height });
                }
            }
            if (number as usize) < self.demands.len() {
                return Some(path);
            }
            (number, at) = (bend.parent, bend.position);
        }
    }

    /// Ways from a place, the cheapest first, with the bend they lead to.
    fn ways(&self, terrain: &Terrain, p: Xy) -> Vec<(Label, Bend)> {
        let end = place(&self.frame, p);
        let (last_x, last_y) = (self.frame.cols as f64 - 1.0, self.frame.rows as f64 - 1.0);
        if !(end.x >= 0.0 && end.y >= 0.0 && end.x <= last_x && end.y <= last_y) {
            return Vec::new();
        }
        let floor = Floor { terrain, pyramid: &self.pyramid, clearance_m: self.clearance_m };
        let ground = floor.at(end);
        let (row, col) = (end.y.round() as usize, end.x.round() as usize);
        let mut tried: Vec<(Label, Bend)> = Vec::new();
        for r in row.saturating_sub(1)..=(row + 1).min(self.frame.rows - 1) {
            for c in col.saturating_sub(1)..=(col + 1).min(self.frame.cols - 1) {
                for label in self.own(r, c) {
                    if label.bend == NONE || tried.iter().any(|(l, _)| (l.bend, l.demand) == (label.bend, label.demand))
                    {
                        continue;
                    }
                    let Some(bend) = self.bends.get(label.bend as usize) else { continue };
                    let d = bend.position - p;
                    let needed = if direction(d).is_none() {
                        self.demands.get(label.demand as usize).map(|f| f.needed_along(None).max(bend.height))
                    } else {
                        let there = needed_at(bend, &self.demands, label.bend, label.demand, d);
                        self.descent.height_needed(there, d)
                    };
                    // A floor without data compares false.
                    let Some(height) = needed.map(|n| if n >= ground { n } else { ground }) else { continue };
                    if height.is_finite() {
                        tried.push((Label { height, ..label }, *bend));
                    }
                }
            }
        }
        tried.sort_by(|a, b| a.0.height.total_cmp(&b.0.height).then(a.0.demand.cmp(&b.0.demand)));
        tried.retain(|(label, bend)| {
            let line = self.descent.line(label.height, bend.position - p);
            line.is_some_and(|mut line| floor.is_clear(end, bend.place, &mut line, |_, _| false))
        });
        tried
    }
}

/// [`round_up`] for the cells of a block.
struct RoundUp<'a>(&'a [f64; BLOCK]);

impl Wide for RoundUp<'_> {
    type Out = [f32; BLOCK];

    #[inline(always)]
    fn work(self) -> [f32; BLOCK] {
        let mut out = [0.0; BLOCK];
        for (out, height) in out.iter_mut().zip(self.0) {
            *out = round_up(*height);
        }
        out
    }
}

/// The nearest `f32` that is not below a height; `NaN` for none.
#[inline(always)]
fn round_up(height: f64) -> f32 {
    let near = height as f32;
    // The next number up where that is below, and without a branch, which would be taken half the time.
    let step = u32::from(f64::from(near) < height);
    let bits = near.to_bits();
    let up = f32::from_bits(if near.is_sign_negative() { bits.wrapping_sub(step) } else { bits.wrapping_add(step) });
    if height.is_finite() { up } else { f32::NAN }
}

#[cfg(test)]
mod tests {
    use super::round_up;

    #[test]
    fn heights_are_rounded_up_to_the_nearest_number() {
        for height in [0.0, -0.0, 1e-60, -1e-60, 0.1, -0.1, 16_777_217.0, -16_777_217.0, 1_234.567_8, -0.3, 250.0] {
            let near = height as f32;
            let expected = if f64::from(near) < height { near.next_up() } else { near };
            assert_eq!(round_up(height).to_bits(), expected.to_bits(), "{height}");
            assert!(f64::from(round_up(height)) >= height);
        }
        assert!(round_up(f64::INFINITY).is_nan() && round_up(f64::NAN).is_nan());
    }
}
