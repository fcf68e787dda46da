//! Arrival height everywhere from one aircraft state: anchored any-angle label setting.
//!
//! Every cell keeps the last bend of its path, and its height is computed from there over the straight line, never
//! summed along grid edges; on flat ground there is therefore no error of direction.
//!
//! 1. Every cell in range is tried straight from the start (after reaction and first turn, where there is a heading).
//! 2. Cells that are high enough to be reached but hidden behind terrain are reached round it: from cells at the edge of
//!    the hidden ground, in descending order of height, a neighbour is first tried from the same bend, and where terrain
//!    blocks that, the cell itself becomes a bend. Labels may be corrected; the queue is a row of buckets.
//!
//! Bends are records that never change. When a cell is found to be reached higher, it gets a new record, so that a path
//! once found stays a path that can be flown.
//!
//! # Accuracy
//! Bends lie on cell centres. A bend costs the height of the turn but is not displaced by it. A cell keeps one way to
//! reach it, the highest; where bends cost, another might be better onwards, so that a few cells in 100 000 behind
//! obstacles are given lower than they could be.

use super::answer::Reach;
use super::clear_tiles::ClearTiles;
use super::departure::{Bend, Departure, Turning};
use super::descent::{Descent, Speeds};
use super::floor::{Floor, Place, Pyramid};
use super::options::ReachOptions;
use super::{AircraftState, ReachError};
use crate::air::{PROFILE_TOP_M, Wind};
use crate::aircraft::Aircraft;
use crate::grid::{GridFrame, Terrain};
use crate::position::Xy;
use rayon::prelude::*;

/// Cell not reached: too low even without obstacles, or outside what can be flown.
pub(super) const TOO_LOW: u32 = u32::MAX;
/// Cell not reached: hidden behind terrain.
pub(super) const HIDDEN: u32 = u32::MAX - 1;

/// Height of a bucket of the queue, metres; the result hardly depends on it.
const BUCKET_M: f64 = 2.0;

/// Cells between two looks at whether to stop.
const CELLS_PER_POLL: usize = 4096;

/// Share of the height lost by which a direct glide may be beaten, when cells out of range are passed over.
const SPARE_SHARE: f64 = 0.05;

/// The eight neighbours: rows south and columns east.
pub(super) const NEIGHBOURS: [(isize, isize); 8] =
    [(-1, 0), (0, 1), (1, 0), (0, -1), (-1, 1), (1, 1), (1, -1), (-1, -1)];

/// Computes where the aircraft can glide to, and how high it arrives.
///
/// A place counts as reached only where the whole path keeps `options.clearance_m` above the bilinear terrain surface.
/// `cancel` is asked regularly whether to stop.
///
/// # Errors
/// When the aircraft is outside the terrain, over ground without data, below it, when a number is not finite, or when
/// stopped.
pub fn forward_reach(
    terrain: &Terrain,
    aircraft: &Aircraft,
    wind: &Wind,
    state: &AircraftState,
    options: &ReachOptions,
    cancel: &(dyn Fn() -> bool + Sync),
) -> Result<Reach, ReachError> {
    let height = state.height_amsl_m;
    let winds_finite = core::iter::once(wind.surface)
        .chain(wind.aloft().iter().map(|l| l.wind))
        .all(|w| w.east_ms.is_finite() && w.north_ms.is_finite())
        && wind.ground_amsl_m.is_finite();
    let finite = state.position.x.is_finite() && state.position.y.is_finite() && height.is_finite();
    if !(finite && winds_finite && options.clearance_m.is_finite() && options.reaction_time_s.is_finite()) {
        return Err(ReachError::NotFinite);
    }
    let (row, col) = terrain.frame.fractional(state.position);
    let within = |x: f64, n: usize| n > 0 && x >= 0.0 && x <= (n - 1) as f64;
    if !(within(row, terrain.frame.rows) && within(col, terrain.frame.cols)) {
        return Err(ReachError::OutsideTerrain);
    }
    let ground = terrain.height_at(state.position).ok_or(ReachError::NoTerrain)?;
    if height < ground {
        return Err(ReachError::BelowTerrain { below_m: ground - height, ground_amsl_m: ground });
    }
    let starts_below_clearance = height < ground + options.clearance_m;

    let low = lowest_floor(terrain, aircraft, wind, state, options);
    let descent = Descent::new(aircraft, wind, low, height);
    let window = Window::around(terrain, state.position, descent.extents(height, low));
    // The lowest ground of the window found with the bound that holds anywhere is never higher than its own.
    let own_low = window.lowest(terrain).map_or(low, |h| (h + options.clearance_m).max(low));
    let window = Window::around(terrain, state.position, descent.extents(height, own_low));

    let frame = window.frame(terrain);
    let pyramid = Pyramid::new(terrain, (window.top, window.left), frame.rows, frame.cols);
    let floor = Floor { terrain, pyramid: &pyramid, clearance_m: options.clearance_m };
    let turning = Turning::new(aircraft, wind, height, options);
    let (departure, bends) = if starts_below_clearance {
        (Departure::default(), Vec::new())
    } else {
        Departure::new(state, aircraft, &descent, &turning, &floor, &frame, options)
    };
    let starts = bends.len();
    let mut solver = Solver {
        frame,
        floor,
        descent: &descent,
        turning: &turning,
        bends,
        starts,
        heights: vec![f64::NAN; frame.len()],
        anchors: vec![TOO_LOW; frame.len()],
        top: height,
        buckets: Vec::new(),
        lowest_bucket: 0,
        improvable: Vec::new(),
        cancel,
    };
    if starts > 0 {
        solver.straight(&departure, state.position)?;
        solver.round_obstacles()?;
    }
    let (mut anchors, bends, heights) = (solver.anchors, solver.bends, solver.heights);
    let mut arrival: Vec<f32> = heights.iter().map(|&h| round_down(h)).collect();
    if starts_below_clearance && let Some((r, c)) = frame.cell_of(state.position) {
        arrival[r * frame.cols + c] = round_down(height);
    }
    for anchor in &mut anchors {
        if *anchor == HIDDEN {
            *anchor = TOO_LOW;
        }
    }
    Ok(Reach {
        frame,
        offset: (window.top, window.left),
        arrival_amsl_m: arrival,
        starts_below_clearance,
        state: *state,
        anchors,
        bends,
        starts,
        departure,
        descent,
        turning,
        pyramid,
        clearance_m: options.clearance_m,
    })
}

/// The nearest `f32` that is not above a value; `NaN` stays.
fn round_down(h: f64) -> f32 {
    let near = h as f32;
    if f64::from(near) > h { near.next_down() } else { near }
}

/// A part of the terrain: rows `top..=bottom`, columns `left..=right`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Window {
    top: usize,
    bottom: usize,
    left: usize,
    right: usize,
}

impl Window {
    /// The cells within the extents (west, east, south, north) of a point, and two more on each side.
    fn around(terrain: &Terrain, p: Xy, [west, east, south, north]: [f64; 4]) -> Self {
        let (row, col) = terrain.frame.fractional(p);
        let cell = terrain.frame.cell_m;
        let index = |x: f64, n: usize| x.clamp(0.0, (n - 1) as f64) as usize;
        Self {
            top: index((row - north / cell).floor() - 2.0, terrain.frame.rows),
            bottom: index((row + south / cell).ceil() + 2.0, terrain.frame.rows),
            left: index((col - west / cell).floor() - 2.0, terrain.frame.cols),
            right: index((col + east / cell).ceil() + 2.0, terrain.frame.cols),
        }
    }

    fn frame(&self, terrain: &Terrain) -> GridFrame {
        GridFrame {
            origin: terrain.frame.centre(self.top, self.left),
            cell_m: terrain.frame.cell_m,
            cols: self.right - self.left + 1,
            rows: self.bottom - self.top + 1,
        }
    }

    /// Lowest post with data.
    fn lowest(&self, terrain: &Terrain) -> Option<f64> {
        let mut lowest = f32::INFINITY;
        for row in self.top..=self.bottom {
            let start = row * terrain.frame.cols;
            for &h in &terrain.heights_m[start + self.left..=start + self.right] {
                // A comparison with no data is false.
                if h < lowest {
                    lowest = h;
                }
            }
        }
        lowest.is_finite().then_some(f64::from(lowest))
    }
}

/// A height that is not above the lowest floor in range, found with a range that is too great in every direction: the
/// window grows with the depth of the ground in it until both agree.
fn lowest_floor(
    terrain: &Terrain,
    aircraft: &Aircraft,
    wind: &Wind,
    state: &AircraftState,
    options: &ReachOptions,
) -> f64 {
    let aloft = wind.aloft().iter().map(|l| l.wind.speed_ms()).fold(0.0, f64::max);
    let near_ground = wind.surface.speed_ms() * wind.profile.ratio_at(PROFILE_TOP_M).max(1.0);
    // The density ratio is below 1.11 down to 1 000 m below sea level.
    let ratio = Speeds::of(aircraft).greatest_ratio(1.06 * near_ground.max(aloft));
    let mut low = state.height_amsl_m;
    let mut window = Window::around(terrain, state.position, [0.0; 4]);
    loop {
        let lowest = window.lowest(terrain).map_or(low, |h| (h + options.clearance_m).min(low));
        let range = (state.height_amsl_m - lowest) * ratio;
        let wider = Window::around(terrain, state.position, [range; 4]);
        low = lowest;
        if wider == window {
            return low;
        }
        window = wider;
    }
}

/// Rows worked on together; a multiple of the small tiles' size.
const ROWS_PER_BAND: usize = 32;

/// A way straight from a start bend: what is left after the remaining turn, where it starts, and the arrival height
/// once it has been worked out.
#[derive(Clone, Copy)]
struct Way {
    number: u32,
    start_m: f64,
    position: Xy,
    arrival_m: Option<f64>,
}

/// The ways worth trying to a point.
fn ways(departure: &Departure, bends: &[Bend], to: Xy) -> [Option<Way>; 3] {
    departure.candidates(bends, to).map(|number| {
        let number = number?;
        let bend = bends.get(number as usize)?;
        let start_m = bend.height - bend.turn_loss(to - bend.position);
        Some(Way { number, start_m, position: bend.position, arrival_m: None })
    })
}

/// Height lost for each metre between two starts, at most: a ratio of 2 : 1, poorer than any glide that is worth it.
const WORST_LOSS: f64 = 0.5;

/// Takes the way that arrives highest, working out no more arrivals than that needs: from a start so much lower that not
/// even the way from the higher one to it would make up for it, nothing better can come.
fn best_way(ways: &mut [Option<Way>; 3], bends: &[Bend], descent: &Descent, to: Xy) -> Option<(f64, u32)> {
    let highest = ways.iter().flatten().copied().max_by(|a, b| a.start_m.total_cmp(&b.start_m))?;
    let mut best: Option<(f64, usize)> = None;
    for (i, slot) in ways.iter_mut().enumerate() {
        let Some(way) = slot else { continue };
        let apart = (way.position - highest.position).norm();
        if way.number != highest.number && way.start_m + WORST_LOSS * apart <= highest.start_m {
            continue;
        }
        let arrival = *way.arrival_m.get_or_insert_with(|| {
            let d = to - bends[way.number as usize].position;
            descent.height_after(way.start_m, d).unwrap_or(f64::NEG_INFINITY)
        });
        if best.is_none_or(|(b, _)| arrival > b) {
            best = Some((arrival, i));
        }
    }
    let (arrival, i) = best?;
    ways[i].take().map(|way| (arrival, way.number))
}

/// Some rows of the window.
struct Band<'a> {
    first_row: usize,
    heights: &'a mut [f64],
    anchors: &'a mut [u32],
    tiles: ClearTiles<'a>,
    bends: &'a [Bend],
    /// Place and height of the failure.
    origin: Xy,
    top: f64,
}

impl Band<'_> {
    /// Every cell straight from the start; gives the cells of which a better start was hidden.
    fn straight(&mut self, departure: &Departure, cancel: &(dyn Fn() -> bool + Sync)) -> Result<Vec<u32>, ReachError> {
        let (floor, frame, descent) = (self.tiles.floor, self.tiles.frame, self.tiles.descent);
        let mut improvable = Vec::new();
        for (i, (kept, anchor)) in self.heights.iter_mut().zip(self.anchors.iter_mut()).enumerate() {
            if i % CELLS_PER_POLL == 0 && cancel() {
                return Err(ReachError::Cancelled);
            }
            let (row, col) = (self.first_row + i / frame.cols, i % frame.cols);
            let lowest = floor.at_post(row, col);
            let to = frame.centre(row, col);
            if self.bends.len() > 1 && !may_reach(descent, self.origin, self.top, to, lowest) {
                continue;
            }
            let mut ways = ways(departure, self.bends, to);
            let tile = floor.pyramid.small_of(row, col);
            let mut hidden = false;
            while let Some((height, number)) = best_way(&mut ways, self.bends, descent, to) {
                // A floor without data compares false: not reached, but others may pass beside it.
                if !(height >= lowest) {
                    break;
                }
                let bend = &self.bends[number as usize];
                let start = number as usize;
                let tiles = &mut self.tiles;
                let seen = tiles.is_clear(start, bend, tile.0, tile.1) || {
                    let end = Place { x: col as f64, y: row as f64 };
                    bend.line(descent, to).is_some_and(|mut line| {
                        floor.is_clear(bend.place, end, &mut line, |r, c| tiles.is_clear(start, bend, r, c))
                    })
                };
                if seen {
                    *kept = height;
                    *anchor = number;
                    break;
                }
                hidden = true;
            }
            if hidden {
                if *anchor == TOO_LOW {
                    *anchor = HIDDEN;
                }
                improvable.push((row * frame.cols + col) as u32);
            }
        }
        Ok(improvable)
    }
}

/// Whether a point would be high enough straight from the failure, without reaction and turn, which only cost.
///
/// In layered wind a straight line is not quite the best one; the twentieth covers that.
fn may_reach(descent: &Descent, origin: Xy, top: f64, to: Xy, floor: f64) -> bool {
    // Where the direct line cannot be flown nothing is said.
    let direct = descent.height_after(top, to - origin);
    direct.is_none_or(|best| best + SPARE_SHARE * (top - best) >= floor)
}

struct Solver<'a> {
    frame: GridFrame,
    floor: Floor<'a>,
    descent: &'a Descent,
    turning: &'a Turning,
    bends: Vec<Bend>,
    /// Number of bends at which straight glides start.
    starts: usize,
    heights: Vec<f64>,
    anchors: Vec<u32>,
    top: f64,
    buckets: Vec<Vec<(u32, f64)>>,
    lowest_bucket: usize,
    /// Cells of which a better start was hidden, whether or not a worse one was not.
    improvable: Vec<u32>,
    cancel: &'a (dyn Fn() -> bool + Sync),
}

impl Solver<'_> {
    /// First part: every cell straight from the start, in bands of rows that are worked on side by side.
    ///
    /// No cell depends on another here, and the bands do not depend on the number of threads.
    fn straight(&mut self, departure: &Departure, origin: Xy) -> Result<(), ReachError> {
        let cells_per_band = ROWS_PER_BAND * self.frame.cols.max(1);
        let (floor, descent, frame) = (self.floor, self.descent, self.frame);
        let (bends, starts, cancel, top) = (&self.bends, self.starts, self.cancel, self.top);
        let bands: Vec<Result<Vec<u32>, ReachError>> = self
            .heights
            .par_chunks_mut(cells_per_band)
            .zip(self.anchors.par_chunks_mut(cells_per_band))
            .enumerate()
            .map(|(band, (heights, anchors))| {
                let tiles = ClearTiles::new(floor, descent, frame, starts);
                let first_row = band * ROWS_PER_BAND;
                let mut band = Band { first_row, heights, anchors, tiles, bends, origin, top };
                band.straight(departure, cancel)
            })
            .collect();
        for hidden in bands {
            self.improvable.extend(hidden?);
        }
        Ok(())
    }

    /// Second part: hidden cells, round what hides them.
    fn round_obstacles(&mut self) -> Result<(), ReachError> {
        let mut queued = vec![false; self.frame.len()];
        for cell in core::mem::take(&mut self.improvable) {
            let cell = cell as usize;
            for near in neighbours(&self.frame, cell) {
                if self.anchors[near] < HIDDEN && !queued[near] {
                    queued[near] = true;
                    self.push(near, self.heights[near]);
                }
            }
        }
        drop(queued);
        let mut popped = 0usize;
        while self.lowest_bucket < self.buckets.len() {
            let Some((cell, height)) = self.buckets[self.lowest_bucket].pop() else {
                self.lowest_bucket += 1;
                continue;
            };
            popped += 1;
            if popped.is_multiple_of(CELLS_PER_POLL) && (self.cancel)() {
                return Err(ReachError::Cancelled);
            }
            // An entry whose cell has since been reached higher is stale.
            if self.heights[cell as usize] == height {
                self.spread(cell as usize);
            }
        }
        Ok(())
    }

    fn push(&mut self, cell: usize, height: f64) {
        let bucket = ((self.top - height) / BUCKET_M).max(0.0) as usize;
        let bucket = bucket.max(self.lowest_bucket);
        if bucket >= self.buckets.len() {
            self.buckets.resize_with(bucket + 1, Vec::new);
        }
        self.buckets[bucket].push((cell as u32, height));
    }

    /// Tries the neighbours of a cell from its bend, and from the cell as a bend.
    fn spread(&mut self, cell: usize) {
        let cols = self.frame.cols;
        let anchor = self.anchors[cell];
        let (row, col) = (cell / cols, cell % cols);
        let from_start = (anchor as usize) < self.starts;
        let bend = self.bends[anchor as usize];
        let here = self.frame.centre(row, col);
        let own = self.turning.bend(
            (here, Place { x: col as f64, y: row as f64 }),
            self.heights[cell],
            track_between(&bend, here),
            anchor,
        );
        let mut own_number = None;
        for near in neighbours(&self.frame, cell) {
            if self.anchors[near] == anchor || self.anchors[near] == TOO_LOW && from_start {
                continue;
            }
            let (near_row, near_col) = (near / cols, near % cols);
            let to = self.frame.centre(near_row, near_col);
            let end = Place { x: near_col as f64, y: near_row as f64 };
            let floor = self.floor.at_post(near_row, near_col);
            let best = self.heights[near];
            let better = |h: f64| h >= floor && !(h <= best);
            // Straight from the start everything has been tried.
            if !from_start {
                let height = bend.arrive(self.descent, to);
                if !better(height) {
                    continue;
                }
                let seen = bend
                    .line(self.descent, to)
                    .is_some_and(|mut line| self.floor.is_clear(bend.place, end, &mut line, |_, _| false));
                if seen {
                    self.set(near, height, anchor);
                    continue;
                }
            }
            let height = own.arrive(self.descent, to);
            if !better(height) {
                continue;
            }
            let seen = own
                .line(self.descent, to)
                .is_some_and(|mut line| self.floor.is_clear(own.place, end, &mut line, |_, _| false));
            if seen {
                let number = *own_number.get_or_insert_with(|| {
                    self.bends.push(own);
                    self.bends.len() as u32 - 1
                });
                self.set(near, height, number);
            }
        }
    }

    fn set(&mut self, cell: usize, height: f64, anchor: u32) {
        self.heights[cell] = height;
        self.anchors[cell] = anchor;
        self.push(cell, height);
    }
}

/// Track on arriving at a point from a bend; the bend's own where it is the same point.
pub(super) fn track_between(bend: &Bend, to: Xy) -> Option<Xy> {
    let d = to - bend.position;
    let length = d.norm();
    if length > 0.0 { Some(d * (1.0 / length)) } else { bend.track }
}

/// The cells around a cell that lie in the frame.
pub(super) fn neighbours(frame: &GridFrame, cell: usize) -> impl Iterator<Item = usize> + use<> {
    let (rows, cols) = (frame.rows, frame.cols);
    let (row, col) = (cell / cols, cell % cols);
    NEIGHBOURS.iter().filter_map(move |&(dr, dc)| {
        let (r, c) = (row.checked_add_signed(dr)?, col.checked_add_signed(dc)?);
        (r < rows && c < cols).then_some(r * cols + c)
    })
}
