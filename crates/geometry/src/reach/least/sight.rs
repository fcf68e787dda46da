//! Which squares of the terrain see a bend as a whole, so that most cells need no line of their own.
//!
//! The height needed to glide straight to a bend is a surface over the ground, and the glide from any place of it runs
//! down that very surface: direction and end are the same. A place sees the bend when the surface is nowhere below the
//! floor between the two. So a patch between four posts is clear when the surface over it is nowhere below the floor, and
//! a place sees the bend when all patches between the two are clear. Patches are looked at outwards from the bend, tiles of
//! eight by eight at once where all of a tile is clear; the others leave a shadow ([`Shadow`]).
//!
//! What is not clear here may still be seen: bounds are taken over whole patches. Then the line itself is tested.

use super::super::departure::Bend;
use super::super::descent::{AT_ONCE, Descent};
use super::super::floor::{Floor, Place, SMALL};
use super::patch::{Hides, SLACK_M, is_patch_clear, least_within};
use super::shadow::Shadow;
use crate::fields::demand::{ARRIVAL_TRACKS, Demand, Either, Sectors};
use crate::grid::GridFrame;
use crate::position::Xy;
use core::hash::{BuildHasherDefault, Hasher};
use std::collections::HashMap;

/// Heights needed to glide straight to one bend.
#[derive(Clone, Copy)]
pub(super) struct Rise<'a> {
    pub(super) descent: &'a Descent,
    pub(super) bend: &'a Bend,
    /// The field, where the bend is one.
    pub(super) field: Option<&'a Demand>,
}

/// What is needed on arriving from places of a square.
enum Arriving {
    Same(f64),
    Either(Either),
    ByDirection,
}

impl Rise<'_> {
    /// Height needed on arriving at the bend along a displacement.
    pub(super) fn arriving(&self, d: Xy) -> f64 {
        match self.field {
            Some(field) => field.needed_along(Some(d)).max(self.bend.height),
            None => self.bend.height + self.bend.turn_loss(d),
        }
    }

    /// Heights needed over some rows of eight cells each, from one cell on; infinite where there is no glide.
    pub(super) fn over(&self, frame: &GridFrame, (row, col): (usize, usize), out: &mut [[f64; AT_ONCE]]) {
        let to_bend = |row: usize, col: usize| self.bend.position - frame.centre(row, col);
        let (last_row, last_col) = (row + out.len().saturating_sub(1), col + AT_ONCE - 1);
        let corners = [to_bend(row, col), to_bend(row, last_col), to_bend(last_row, last_col), to_bend(last_row, col)];
        let (bend, (first_row, first_col)) = (self.bend, (row as f64, col as f64));
        // What the frame says of the centre of each, but several at once.
        let x = |col: i32| bend.position.x - (frame.origin.x + (first_col + f64::from(col)) * frame.cell_m);
        let y = |row: i32| bend.position.y - (frame.origin.y - (first_row + f64::from(row)) * frame.cell_m);
        let x = core::array::from_fn(|col| x(col as i32));
        match (self.arriving_from_square(&corners), self.field) {
            (Arriving::Same(same), _) => self.descent.heights_needed(|_| same, x, y, out),
            (Arriving::Either(either), _) => {
                self.descent.heights_needed(|d| either.needed(d).max(bend.height), x, y, out);
            }
            (Arriving::ByDirection, None) => {
                self.descent.heights_needed(|d| bend.height + bend.turn_loss(d), x, y, out);
            }
            (Arriving::ByDirection, Some(_)) => self.descent.heights_needed(|d| self.arriving(d), x, y, out),
        }
    }

    /// What is needed on arriving from places of a square.
    fn arriving_from_square(&self, corners: &[Xy; 4]) -> Arriving {
        let Some(field) = self.field else {
            let turns = self.bend.track.is_some() && self.bend.loss_per_rad > 0.0;
            return if turns { Arriving::ByDirection } else { Arriving::Same(self.bend.height) };
        };
        let Some((first, count)) = Sectors::of_square(corners) else { return Arriving::ByDirection };
        let needed = |k: usize| field.needed_in((first + k) % ARRIVAL_TRACKS);
        if (1..count).all(|k| needed(k) == needed(0)) {
            Arriving::Same(needed(0).max(self.bend.height))
        } else if count == 2 {
            Arriving::Either(field.needed_either(first))
        } else {
            Arriving::ByDirection
        }
    }

    /// No less than what is needed anywhere in so many rows and columns of cells.
    pub(super) fn at_most(&self, frame: &GridFrame, (row, col): (usize, usize), (rows, cols): (usize, usize)) -> f64 {
        let (last_row, last_col) = (row + rows.saturating_sub(1), col + cols.saturating_sub(1));
        let corners = [(row, col), (row, last_col), (last_row, last_col), (last_row, col)]
            .map(|(r, c)| self.bend.position - frame.centre(r, c));
        let to = match self.arriving_from_all(&corners) {
            Some(same) => same,
            None => match self.field {
                Some(field) => field.needed_along(None).max(self.bend.height),
                None => self.bend.height + self.bend.most_turn_loss,
            },
        };
        let (across, down) = (corners[1] - corners[0], corners[3] - corners[0]);
        let half = 0.5 * (across.x.abs() + down.y.abs());
        let middle = self.descent.height_needed(to, (corners[0] + corners[2]) * 0.5).unwrap_or(f64::INFINITY);
        // From anywhere in the square by way of its middle.
        middle + self.descent.most_loss() * half + SLACK_M
    }

    /// What is needed on arriving from anywhere in a square, where that is the same everywhere.
    fn arriving_from_all(&self, corners: &[Xy; 4]) -> Option<f64> {
        match self.arriving_from_square(corners) {
            Arriving::Same(same) => Some(same),
            Arriving::Either(_) | Arriving::ByDirection => None,
        }
    }

    /// No more than what is needed on arriving from anywhere in a square.
    pub(super) fn arriving_at_least(&self, corners: &[Xy; 4]) -> f64 {
        if let Some(same) = self.arriving_from_all(corners) {
            return same;
        }
        if let Some(field) = self.field {
            let (first, count) = Sectors::of_square(corners).unwrap_or((0, ARRIVAL_TRACKS));
            let needed = (first..first + count).map(|k| field.needed_in(k % ARRIVAL_TRACKS));
            return needed.fold(f64::INFINITY, f64::min).max(self.bend.height);
        }
        let Some(track) = self.bend.track else { return self.bend.height };
        // Seen from the bend the smallest angle to a square is that to a corner, unless the track runs through it.
        let sides = corners.map(|d| (track.cross(d), track.dot(d)));
        let through =
            sides.iter().any(|s| s.0 >= 0.0) && sides.iter().any(|s| s.0 <= 0.0) && sides.iter().any(|s| s.1 > 0.0);
        let turn =
            if through { 0.0 } else { corners.iter().map(|d| self.bend.turn_loss(*d)).fold(f64::INFINITY, f64::min) };
        self.bend.height + turn
    }
}

/// How a bend stands with a tile.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Offer {
    /// Nobody has offered the bend to the tile.
    None,
    /// The tile is in the queue.
    Waiting,
    /// Every cell of the tile has been offered it.
    Whole,
    /// The cells are offered it one by one.
    OneByOne,
}

#[derive(Clone, Copy)]
struct Seen {
    offer: Offer,
    /// Whether all of its patches are clear; `None` until asked.
    clear: Option<bool>,
}

/// Mixes the bits of one number; keys are few and not chosen by strangers.
#[derive(Clone, Copy, Default)]
pub(super) struct Mix(u64);

impl Hasher for Mix {
    fn finish(&self) -> u64 {
        self.0
    }
    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.write_u64(u64::from(*byte));
        }
    }
    fn write_u64(&mut self, n: u64) {
        let mixed = (self.0 ^ n).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        self.0 = mixed ^ (mixed >> 29);
    }
}

/// What is known so far about bends and tiles.
///
/// Most tiles hear of one bend only: the first is kept in a row by tile, and only the others by bend and tile.
pub(super) struct Sight {
    first: Vec<(u32, Seen)>,
    /// Tiles in whose row something stands, where they are few.
    used: Vec<u32>,
    others: HashMap<u64, Seen, BuildHasherDefault<Mix>>,
    open: Vec<(usize, usize)>,
    /// By bend; only of those that have one.
    shadows: HashMap<u64, Shadow, BuildHasherDefault<Mix>>,
}

/// No bend.
const NOBODY: u32 = u32::MAX;

fn key(bend: u32, tile: usize) -> u64 {
    (u64::from(bend) << 32) | tile as u64
}

impl Sight {
    /// For a terrain of so many tiles.
    pub(super) fn new(tiles: usize) -> Self {
        Self {
            first: vec![(NOBODY, Seen { offer: Offer::None, clear: None }); tiles],
            used: Vec::new(),
            others: HashMap::default(),
            open: Vec::new(),
            shadows: HashMap::default(),
        }
    }

    pub(super) fn clear(&mut self) {
        for tile in self.used.drain(..) {
            self.first[tile as usize].0 = NOBODY;
        }
        self.others.clear();
        self.shadows.clear();
    }

    fn get(&self, bend: u32, tile: usize) -> Option<&Seen> {
        let (first, seen) = &self.first[tile];
        if *first == bend {
            return Some(seen);
        }
        if *first == NOBODY { None } else { self.others.get(&key(bend, tile)) }
    }

    fn entry(&mut self, bend: u32, tile: usize) -> &mut Seen {
        let empty = Seen { offer: Offer::None, clear: None };
        let (first, seen) = &mut self.first[tile];
        if *first == NOBODY {
            (*first, *seen) = (bend, empty);
            self.used.push(tile as u32);
        }
        if *first == bend { seen } else { self.others.entry(key(bend, tile)).or_insert(empty) }
    }

    pub(super) fn offer(&self, bend: u32, tile: usize) -> Offer {
        self.get(bend, tile).map_or(Offer::None, |seen| seen.offer)
    }

    pub(super) fn set_offer(&mut self, bend: u32, tile: usize, offer: Offer) {
        self.entry(bend, tile).offer = offer;
    }

    /// Whether all patches of a tile are known to be clear.
    fn known(&self, bend: u32, tile: usize) -> Option<bool> {
        self.get(bend, tile).and_then(|seen| seen.clear)
    }

    /// From how far to how far from a bend the line there from a post is not known to be clear, metres; `None` where all of
    /// it is.
    pub(super) fn unknown_m(
        &self,
        floor: &Floor<'_>,
        number: u32,
        bend: &Bend,
        at: (usize, usize),
        from: Xy,
    ) -> Option<(f64, f64)> {
        // The patch through which the line leaves the post: with it, all that the line crosses have been looked at.
        let patch = |at: usize, to: f64, count: usize| {
            let before = to < at as f64 || at + 1 >= count;
            at.saturating_sub(usize::from(before))
        };
        let pyramid = floor.pyramid;
        let (row, col) = (patch(at.0, bend.place.y, pyramid.rows), patch(at.1, bend.place.x, pyramid.cols));
        if self.known(number, row / SMALL * pyramid.small_cols + col / SMALL).is_none() {
            return Some((0.0, f64::INFINITY));
        }
        let shadow = self.shadows.get(&u64::from(number))?;
        let from = from - bend.position;
        (!shadow.is_free(from)).then(|| shadow.between_m(from))
    }

    /// Whether every place of a tile sees the bend.
    pub(super) fn is_whole(
        &mut self,
        floor: &Floor<'_>,
        frame: &GridFrame,
        rise: &Rise<'_>,
        number: u32,
        tile: (usize, usize),
    ) -> bool {
        let cols = floor.pyramid.small_cols;
        let mut open = core::mem::take(&mut self.open);
        open.clear();
        open.push(tile);
        // Walk inwards until something is known, then look outwards; `open` holds the tiles waiting for others.
        while let Some(&(r, c)) = open.last() {
            if self.known(number, r * cols + c).is_some() {
                open.pop();
                continue;
            }
            let facing = facing(floor, rise.bend.place, r, c);
            let unknown = facing.iter().flatten().find(|f| self.known(number, f.0 * cols + f.1).is_none());
            if let Some(&next) = unknown {
                open.push(next);
                continue;
            }
            let shadows = &mut self.shadows;
            let mut shade = |hides: Hides| {
                let shadow = shadows.entry(u64::from(number)).or_insert_with(Shadow::new);
                match hides {
                    Hides::Patch(corners) => shadow.add(&corners),
                    Hides::Between(one, other) => shadow.add_near(one, other, frame.cell_m),
                }
            };
            let clear = is_clear(floor, frame, rise, (r, c), &mut shade);
            self.entry(number, r * cols + c).clear = Some(clear);
            open.pop();
        }
        self.open = open;
        if self.known(number, tile.0 * cols + tile.1) != Some(true) {
            return false;
        }
        self.shadows.get(&u64::from(number)).is_none_or(|shadow| {
            shadow.is_free_from(&corners(floor, frame, rise.bend.position, tile).map(|d| Xy::default() - d))
        })
    }
}

/// The tiles through which lines leave a tile for a place: above or below it, and left or right of it.
fn facing(floor: &Floor<'_>, to: Place, row: usize, col: usize) -> [Option<(usize, usize)>; 2] {
    let (top, bottom, left, right) = floor.pyramid.small_edges(row, col);
    let next = |at: usize, low: usize, high: usize, to: f64| {
        if (low as f64) > to {
            at.checked_sub(1)
        } else if (high as f64) < to {
            Some(at + 1)
        } else {
            None
        }
    };
    let (next_row, next_col) = (next(row, top, bottom, to.y), next(col, left, right, to.x));
    [next_row.map(|r| (r, col)), next_col.map(|c| (row, c))]
}

/// Displacements from the corners of a tile to a place.
fn corners(floor: &Floor<'_>, frame: &GridFrame, to: Xy, (row, col): (usize, usize)) -> [Xy; 4] {
    let (top, bottom, left, right) = floor.pyramid.small_edges(row, col);
    [(top, left), (top, right), (bottom, right), (bottom, left)].map(|(r, c)| to - frame.centre(r, c))
}

/// Whether all patches of a tile are clear. Those that are not known to be are noted in the shadow.
fn is_clear(
    floor: &Floor<'_>,
    frame: &GridFrame,
    rise: &Rise<'_>,
    tile: (usize, usize),
    shade: &mut dyn FnMut(Hides),
) -> bool {
    let pyramid = floor.pyramid;
    let (top, bottom, left, right) = pyramid.small_edges(tile.0, tile.1);
    let descent = rise.descent;
    let position = rise.bend.position;
    let ends = corners(floor, frame, position, tile);
    let same = rise.arriving_from_all(&ends);
    let arriving = same.unwrap_or_else(|| rise.arriving_at_least(&ends));
    let needed = |d: Xy| descent.height_needed(arriving, d).unwrap_or(f64::INFINITY);
    let highest = pyramid.small_max(tile.0, tile.1) + floor.clearance_m;
    let centre = (ends[0] + ends[2]) * 0.5;
    // Which posts are known to be under what is needed.
    let mut under = [[false; SMALL + 1]; SMALL + 1];
    if let Some((loss, gradient)) = descent.plane(centre) {
        // The plane that touches in the middle is below what is needed everywhere, and least at a corner.
        let half = (ends[0] - ends[2]) * 0.5;
        let least = arriving + loss - SLACK_M - (gradient.x * half.x).abs() - (gradient.y * half.y).abs();
        if least >= highest {
            return true;
        }
        // Where it is above the floor at the posts of a patch, it is between them, where the floor is bilinear.
        for (row, under) in (top..=bottom).zip(&mut under) {
            let d = position - frame.centre(row, left) - centre;
            let first = arriving + loss - SLACK_M + gradient.dot(d) - floor.clearance_m;
            let step = -gradient.x * frame.cell_m;
            // Without a stop on the way several are compared at once. What is not a number is not under the plane.
            for ((post, i), under) in floor.posts(row, left, right).iter().zip(0_i32..).zip(under) {
                *under = first + step * f64::from(i) >= f64::from(*post);
            }
        }
        if under[..=bottom - top].iter().all(|row| row[..=right - left].iter().fold(true, |all, under| all & under)) {
            return true;
        }
    } else {
        let half_side_m = 0.5 * frame.cell_m * SMALL as f64;
        if least_within(descent, ends.map(needed), needed(centre), half_side_m) >= highest {
            return true;
        }
    }
    let mut all = true;
    for i in 0..bottom - top {
        for j in 0..right - left {
            if under[i][j] && under[i][j + 1] && under[i + 1][j] && under[i + 1][j + 1] {
                continue;
            }
            let ground = [(0, 0), (0, 1), (1, 1), (1, 0)].map(|(r, c)| floor.at_post(top + i + r, left + j + c));
            let posts =
                [(0, 0), (0, 1), (1, 1), (1, 0)].map(|(r, c)| position - frame.centre(top + i + r, left + j + c));
            all &= is_patch_clear(rise, (same, arriving), ground, posts, shade);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::super::super::departure::{Turning, place};
    use super::super::super::floor::Pyramid;
    use super::*;
    use crate::aircraft::{Aircraft, GlideSpeed};
    use crate::fields::verdict::Verdict;
    use crate::reach::tests::{Dice, fractal, log_wind, options, wind};

    /// What counts as clear is clear by the exact test of every line, and that is most of the ground.
    #[test]
    fn what_is_clear_is_clear_by_every_line() {
        let flexwing = Aircraft::example_flexwing();
        // In a wind that is stronger than the speed held some directions cannot be flown.
        let slow = Aircraft { glide_speed: GlideSpeed::Held(15.0), ..flexwing.clone() };
        let (mut tested, mut whole_tiles, mut tiles) = (0, 0, 0);
        for (seed, relief, air, aircraft, holes) in [
            (3, 300.0, wind(0.0, 0.0), &flexwing, 0),
            (4, 900.0, wind(5.0, -6.0), &flexwing, 0),
            (5, 600.0, log_wind(-4.0, 5.0, 200.0), &flexwing, 0),
            (6, 900.0, wind(0.0, 17.0), &slow, 0),
            (7, 300.0, wind(3.0, 2.0), &flexwing, 40),
        ] {
            let mut terrain = fractal(seed, 121, 25.0, relief, 60.0);
            let mut dice = Dice(seed, 0);
            // Most of them near one of the bends to come.
            let posts: Vec<(usize, usize)> =
                (0..16).map(|_| (dice.within(1.0, 118.9) as usize, dice.within(1.0, 118.9) as usize)).collect();
            for hole in 0..holes {
                let (row, col) = posts[hole % posts.len()];
                let (down, right) = (dice.within(0.0, 2.9) as usize, dice.within(0.0, 2.9) as usize);
                if (down, right) != (1, 1) {
                    terrain.heights_m[(row + down - 1) * 121 + col + right - 1] = f32::NAN;
                }
            }
            let frame = terrain.frame;
            let pyramid = Pyramid::new(&terrain, (0, 0), frame.rows, frame.cols);
            let floor = Floor { terrain: &terrain, pyramid: &pyramid, clearance_m: 50.0 };
            let descent = Descent::new(aircraft, &air, 0.0, 4_000.0);
            let turning = Turning::new(aircraft, &air, 4_000.0, &options(50.0));
            for (number, (row, col)) in (0_u32..).zip(posts) {
                // On a post, on a side between two, and within a patch.
                let (east, south) = match number / 2 % 4 {
                    0 => (0.0, 0.0),
                    1 => (dice.within(0.0, 1.0), 0.0),
                    2 => (0.0, dice.within(0.0, 1.0)),
                    _ => (dice.within(0.0, 1.0), dice.within(0.0, 1.0)),
                };
                let position = frame.centre(row, col) + Xy::new(east, -south) * frame.cell_m;
                let ground = floor.at(place(&frame, position));
                if ground.is_nan() {
                    continue;
                }
                // Fields somewhat above the floor, and bends on it that were arrived at along some track.
                let needed_amsl_m = core::array::from_fn(|_| ground + dice.within(20.0, 120.0));
                let demand = Demand { field: 0, overhead: position, verdict: Verdict::Workable, needed_amsl_m };
                let is_field = number % 2 == 0;
                let angle = dice.within(0.0, crate::math::TAU);
                let track = (!is_field).then(|| crate::position::Bearing::from_rad(angle).unit());
                let bend = turning.bend((position, place(&frame, position)), ground, track, number);
                let rise = Rise { descent: &descent, bend: &bend, field: is_field.then_some(&demand) };
                let mut sight = Sight::new(pyramid.small_rows * pyramid.small_cols);
                for tile_row in 0..pyramid.small_rows {
                    for tile_col in 0..pyramid.small_cols {
                        tiles += 1;
                        whole_tiles += usize::from(sight.is_whole(&floor, &frame, &rise, number, (tile_row, tile_col)));
                    }
                }
                for r in 0..frame.rows {
                    for c in 0..frame.cols {
                        let d = position - frame.centre(r, c);
                        if (d.x == 0.0 && d.y == 0.0)
                            || sight.unknown_m(&floor, number, &bend, (r, c), frame.centre(r, c)).is_some()
                        {
                            continue;
                        }
                        let Some(height) = descent.height_needed(rise.arriving(d), d) else { continue };
                        let mut line = descent.line(height, d).unwrap();
                        let from = Place { x: c as f64, y: r as f64 };
                        assert!(
                            floor.is_clear(from, bend.place, &mut line, |_, _| false),
                            "{seed} {number} ({r}, {c})"
                        );
                        tested += 1;
                    }
                }
            }
        }
        assert!(tested > 100_000 && whole_tiles * 3 > tiles, "{tested} lines, {whole_tiles} of {tiles} tiles");
    }
}
