//! The computation of least heights.

use super::super::departure::{Bend, Turning, place};
use super::super::descent::Descent;
use super::super::floor::{Floor, Place, Pyramid, SMALL};
use super::super::forward::NEIGHBOURS;
use super::super::options::ReachOptions;
use super::LeastError;
use super::blocks::Blocks;
use super::cells::{BLOCK, Cells, State, Ways};
use super::map::LeastHeights;
use super::sight::{Offer, Sight};
use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::fields::demand::Demand;
use crate::grid::Terrain;
use crate::position::Xy;
use std::sync::Arc;

/// Height of a bucket of the queue, metres; the result hardly depends on it.
const BUCKET_M: f64 = 4.0;
/// Labels between two looks at whether to stop.
const LABELS_PER_POLL: usize = 8_192;
/// A correction by less than this is none, metres.
const NOTHING_M: f64 = 1e-6;
/// No label.
pub(super) const NONE: u32 = u32::MAX;

/// The assumptions of least heights besides aircraft, wind and terrain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastOptions {
    /// How many fields must be in reach: 1, 2 or 3.
    pub fields_needed: usize,
    /// Height above which nobody asks, metres above mean sea level: places that need more have no least height.
    pub ceiling_amsl_m: f64,
    /// Clearance and the cost of bends; the reaction time does not count.
    pub glide: ReachOptions,
}

/// One field's standing in one cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Label {
    pub(super) height: f64,
    /// The next bend of the way to the field.
    pub(super) bend: u32,
    /// Index into the demands.
    pub(super) demand: u32,
}

impl Label {
    pub(super) const EMPTY: Self = Self { height: f64::INFINITY, bend: NONE, demand: NONE };
}

/// How high the aircraft must be, everywhere over a terrain, so that so many fields are in reach.
///
/// `progress` hears the share done, `stopped` is asked now and then. The same input gives the same bits.
///
/// # Errors
/// When the count is not 1, 2 or 3, a number is not finite, or when stopped.
pub fn least_heights(
    terrain: &Terrain,
    aircraft: &Aircraft,
    wind: &Wind,
    demands: &[Demand],
    options: &LeastOptions,
    progress: &dyn Fn(f32),
    stopped: &dyn Fn() -> bool,
) -> Result<LeastHeights, LeastError> {
    solved(&Ground::new(terrain), aircraft, wind, demands, options, progress, stopped)
}

/// What is known of a terrain before there is a wind.
pub(super) struct Ground<'a> {
    terrain: &'a Terrain,
    pyramid: Arc<Pyramid>,
    /// Its lowest height, metres above mean sea level; 0 without any.
    low: f64,
}

impl<'a> Ground<'a> {
    pub(super) fn new(terrain: &'a Terrain) -> Self {
        let pyramid = Arc::new(Pyramid::new(terrain, (0, 0), terrain.frame.rows, terrain.frame.cols));
        Self { terrain, pyramid, low: terrain.range().map_or(0.0, |(low, _)| low) }
    }
}

/// [`least_heights`] over a ground.
pub(super) fn solved(
    ground: &Ground<'_>,
    aircraft: &Aircraft,
    wind: &Wind,
    demands: &[Demand],
    options: &LeastOptions,
    progress: &dyn Fn(f32),
    stopped: &dyn Fn() -> bool,
) -> Result<LeastHeights, LeastError> {
    let count = options.fields_needed;
    if !(1..=3).contains(&count) {
        return Err(LeastError::Count);
    }
    let winds = core::iter::once(wind.surface).chain(wind.aloft().iter().map(|layer| layer.wind));
    let known = winds.into_iter().all(|w| w.east_ms.is_finite() && w.north_ms.is_finite())
        && options.ceiling_amsl_m.is_finite()
        && options.glide.clearance_m.is_finite()
        && demands.iter().all(|d| d.overhead.x.is_finite() && d.overhead.y.is_finite());
    if !known {
        return Err(LeastError::NotFinite);
    }
    let Ground { terrain, pyramid, low } = ground;
    let (frame, low) = (terrain.frame, *low);
    let ceiling = options.ceiling_amsl_m.max(low + 1.0);
    let descent = Descent::new(aircraft, wind, low, ceiling);
    let turning = Turning::new(aircraft, wind, ceiling, &options.glide);
    // Where several fields are as good as each other, neighbours of a cell may not have the one that is best there: one more
    // than is asked for is kept.
    let slots = if count > 1 { count + 1 } else { 1 };
    let blocks = Blocks::new(&frame);
    let mut solver = Solver {
        blocks,
        floor: Floor { terrain, pyramid, clearance_m: options.glide.clearance_m },
        descent: &descent,
        turning: &turning,
        demands,
        ceiling,
        low,
        bends: Vec::new(),
        cells: Cells::new(blocks, slots),
        buckets: Vec::new(),
        lowest: 0,
        overwritten: None,
        sight: Sight::new(pyramid.small_rows * pyramid.small_cols),
    };
    solver.sources();
    solver.spread(progress, stopped)?;
    let (bends, cells) = (solver.bends, solver.cells);
    Ok(LeastHeights {
        frame,
        count,
        bends,
        cells,
        demands: demands.to_vec(),
        descent,
        pyramid: Arc::clone(pyramid),
        clearance_m: options.glide.clearance_m,
        ceiling_amsl_m: ceiling,
    })
}

/// Which cells of a tile took a bend, and which of them were queued for that; by row and column in the tile.
#[derive(Clone, Copy, Default)]
struct Took {
    cells: [u16; SMALL + 1],
    queued: [u16; SMALL + 1],
}

impl Took {
    fn set(&mut self, row: usize, col: usize) {
        self.cells[row] |= 1 << col;
    }
    fn set_some(&mut self, row: usize, col: usize, count: usize) {
        self.cells[row] |= ((1 << count) - 1) << col;
    }
    fn has(&self, row: usize, col: usize) -> bool {
        self.cells[row] >> col & 1 == 1
    }
    /// Notes that a cell is queued; false where it was before.
    fn queue(&mut self, row: usize, col: usize) -> bool {
        let was = self.queued[row] >> col & 1 == 1;
        self.queued[row] |= 1 << col;
        !was
    }
}

pub(super) struct Solver<'a> {
    pub(super) blocks: Blocks,
    pub(super) floor: Floor<'a>,
    pub(super) descent: &'a Descent,
    pub(super) turning: &'a Turning,
    pub(super) demands: &'a [Demand],
    pub(super) ceiling: f64,
    pub(super) low: f64,
    pub(super) bends: Vec<Bend>,
    pub(super) cells: Cells,
    pub(super) buckets: Vec<Vec<Event>>,
    pub(super) lowest: usize,
    /// What was overwritten, in order, where that is to be taken back.
    pub(super) overwritten: Option<Vec<(u32, Label)>>,
    pub(super) sight: Sight,
}

/// What waits in the queue.
#[derive(Clone, Copy, Debug)]
pub(super) enum Event {
    /// A label of a cell, to be offered to its neighbours.
    Cell(u32, Label),
    /// A way by a bend, to be offered to all cells of a tile; the label's height is that of the first of them.
    Tile(u32, Label),
}

/// Height needed at a bend by an aircraft that comes along a displacement and goes on from there.
pub(super) fn needed_at(bend: &Bend, demands: &[Demand], number: u32, demand: u32, d: Xy) -> f64 {
    // The first bends are the fields themselves.
    if (number as usize) < demands.len() {
        return demands
            .get(demand as usize)
            .map_or(f64::INFINITY, |field| field.needed_along(Some(d)))
            .max(bend.height);
    }
    bend.height + bend.turn_loss(d)
}

/// The direction of a displacement; `None` for none.
pub(super) fn direction(d: Xy) -> Option<Xy> {
    let length = d.norm();
    (length > 0.0).then(|| d * (1.0 / length))
}

impl Solver<'_> {
    fn cols(&self) -> usize {
        self.floor.terrain.frame.cols
    }

    fn ways(&self) -> Ways<'_> {
        let frame = &self.floor.terrain.frame;
        Ways { frame, descent: self.descent, demands: self.demands, bends: &self.bends }
    }

    pub(super) fn centre(&self, cell: usize) -> Xy {
        let (row, col) = self.blocks.place(cell);
        self.floor.terrain.frame.centre(row, col)
    }

    pub(super) fn place_of(&self, cell: usize) -> Place {
        let (row, col) = self.blocks.place(cell);
        Place { x: col as f64, y: row as f64 }
    }

    pub(super) fn floor_at(&self, cell: usize) -> f64 {
        let (row, col) = self.blocks.place(cell);
        self.floor.at_post(row, col)
    }

    /// Every field as a bend at its centre, and the cells around it.
    pub(super) fn sources(&mut self) {
        let frame = self.floor.terrain.frame;
        for field in self.demands {
            let at = place(&frame, field.overhead);
            // A field beyond the terrain, or over ground that is not known, is in reach of nobody.
            let floor = self.floor.at(at);
            let height = if floor.is_nan() { f64::INFINITY } else { floor };
            self.bends.push(self.turning.bend((field.overhead, at), height, None, NONE));
        }
        for number in 0..self.demands.len() {
            let bend = self.bends[number];
            let Some((row, col)) = frame.cell_of(bend.position).filter(|_| bend.height.is_finite()) else { continue };
            let cell = self.blocks.cell(row, col);
            for near in core::iter::once(cell).chain(self.blocks.neighbours(cell)) {
                self.offer(near, number as u32, number as u32);
            }
            let label = Label { height: bend.height, bend: number as u32, demand: number as u32 };
            self.offer_tile(self.tile_of(cell), label);
        }
    }

    /// What a cell would need by way of a bend, if that is better than what it has, as high as its floor asks.
    fn candidate(&self, cell: usize, bend: &Bend, number: u32, demand: u32) -> Option<(f64, bool)> {
        let (row, col) = self.blocks.place(cell);
        let floor = self.floor.at_post(row, col);
        let to_beat = self.cells.to_beat(&self.ways(), cell, demand) - NOTHING_M;
        // Ground without data compares false.
        if !(floor < to_beat) {
            return None;
        }
        let d = bend.position - self.floor.terrain.frame.centre(row, col);
        let needed = if d.x == 0.0 && d.y == 0.0 {
            // Overhead already, whichever way it flies.
            self.demands.get(demand as usize)?.needed_along(None).max(bend.height)
        } else if let Some(loss) = self.descent.loss(d) {
            // Most are not even without their turn less than what the cell has.
            if bend.height + loss >= to_beat {
                return None;
            }
            needed_at(bend, self.demands, number, demand, d) + loss
        } else {
            self.descent.height_needed(needed_at(bend, self.demands, number, demand, d), d)?
        };
        let height = if floor > needed { floor } else { needed };
        let fits = floor.is_finite() && height <= self.ceiling && height < to_beat;
        fits.then_some((height, floor > needed))
    }

    pub(super) fn would_take(&self, cell: usize, demand: u32, height: f64) -> bool {
        height < self.cells.to_beat(&self.ways(), cell, demand) - NOTHING_M
    }

    fn is_clear(&self, cell: usize, height: f64, bend: &Bend, number: u32) -> bool {
        let (from, at) = (self.centre(cell), self.blocks.place(cell));
        let Some((near_m, far_m)) = self.sight.unknown_m(&self.floor, number, bend, at, from) else { return true };
        let cell_m = self.floor.terrain.frame.cell_m;
        let line = self.descent.line(height, bend.position - from);
        line.is_some_and(|mut line| {
            self.floor.is_clear_between(self.place_of(cell), bend.place, &mut line, near_m / cell_m, far_m / cell_m)
        })
    }

    /// Offers a cell the way by a bend. Says whether the terrain was in the way.
    fn offer(&mut self, cell: usize, number: u32, demand: u32) -> bool {
        if self.cells.has(cell, number, demand) {
            // The same way once more, from another neighbour.
            return false;
        }
        let bend = self.bends[number as usize];
        let Some((height, raised)) = self.candidate(cell, &bend, number, demand) else { return false };
        if !self.is_clear(cell, height, &bend, number) {
            return true;
        }
        let number = if raised {
            let at = (self.centre(cell), self.place_of(cell));
            let track = direction(bend.position - at.0);
            self.bends.push(self.turning.bend(at, height, track, number));
            (self.bends.len() - 1) as u32
        } else {
            number
        };
        self.set(cell, Label { height, bend: number, demand });
        false
    }

    pub(super) fn set(&mut self, cell: usize, label: Label) {
        self.put(cell, label);
        self.queue(label.height, Event::Cell(cell as u32, label));
    }

    /// Gives a cell a label that it would take.
    fn put(&mut self, cell: usize, label: Label) {
        let frame = &self.floor.terrain.frame;
        let ways = Ways { frame, descent: self.descent, demands: self.demands, bends: &self.bends };
        let own = self.cells.own_mut(&ways, cell);
        let slot = own.iter().position(|l| l.demand == label.demand).unwrap_or(own.len() - 1);
        if let Some(overwritten) = &mut self.overwritten {
            overwritten.push((cell as u32, own[slot]));
        }
        own[slot] = label;
        // The list stays in order of height.
        own[..=slot].sort_by(|a, b| a.height.total_cmp(&b.height));
    }

    fn queue(&mut self, height: f64, event: Event) {
        let bucket = (((height - self.low) / BUCKET_M).max(0.0) as usize).max(self.lowest);
        if self.buckets.len() <= bucket {
            self.buckets.resize_with(bucket + 1, Vec::new);
        }
        self.buckets[bucket].push(event);
    }

    /// The tile that a cell belongs to.
    fn tile_of(&self, cell: usize) -> usize {
        let (row, col) = self.blocks.place(cell);
        self.tile_at(row, col)
    }

    fn tile_at(&self, row: usize, col: usize) -> usize {
        let (row, col) = self.floor.pyramid.small_of(row, col);
        row * self.floor.pyramid.small_cols + col
    }

    /// Queues a bend for a whole tile.
    fn offer_tile(&mut self, tile: usize, label: Label) {
        self.sight.set_offer(label.bend, tile, Offer::Waiting);
        self.queue(label.height, Event::Tile(tile as u32, label));
    }

    /// Rows and columns of the cells that belong to a tile: first and one after the last.
    fn cells_of(&self, (row, col): (usize, usize)) -> [usize; 4] {
        let pyramid = self.floor.pyramid;
        let end = |i: usize, tiles: usize, posts: usize| if i + 1 == tiles { posts } else { (i + 1) * SMALL };
        [
            row * SMALL,
            end(row, pyramid.small_rows, pyramid.rows),
            col * SMALL,
            end(col, pyramid.small_cols, pyramid.cols),
        ]
    }

    /// Offers a bend to all cells of a tile. Where not all of the tile is seen from it, the cells around it that have the
    /// way offer it one by one.
    fn take_tile(&mut self, tile: usize, label: Label) {
        let small_cols = self.floor.pyramid.small_cols;
        let at = (tile / small_cols, tile % small_cols);
        let frame = self.floor.terrain.frame;
        let bend = self.bends[label.bend as usize];
        let ways = Ways { frame: &frame, descent: self.descent, demands: self.demands, bends: &self.bends };
        let rise = ways.rise(label.bend, label.demand);
        if !self.sight.is_whole(&self.floor, &frame, &rise, label.bend, at) {
            self.sight.set_offer(label.bend, tile, Offer::OneByOne);
            self.around(at, label);
            return;
        }
        self.sight.set_offer(label.bend, tile, Offer::Whole);
        let cells = self.cells_of(at);
        let mut took = self.give_tile(cells, label);
        for (dr, dc) in NEIGHBOURS {
            self.go_on(at, (dr, dc), cells, &mut took, &bend, label);
        }
    }

    /// Gives a way that all cells of a tile see to those that need less by it.
    fn give_tile(&mut self, [first_row, end_row, first_col, end_col]: [usize; 4], label: Label) -> Took {
        let mut took = Took::default();
        for row in (first_row..end_row).step_by(SMALL) {
            for col in (first_col..end_col).step_by(SMALL) {
                self.give_block((row, col), (row - first_row, col - first_col), label, &mut took);
            }
        }
        took
    }

    /// The same for a block, which lies so many rows and columns into the tile.
    fn give_block(&mut self, at: (usize, usize), (down, right): (usize, usize), label: Label, took: &mut Took) {
        let frame = self.floor.terrain.frame;
        let (rows, cols) = ((frame.rows - at.0).min(SMALL), (frame.cols - at.1).min(SMALL));
        let block = self.blocks.cell(at.0, at.1) / BLOCK;
        let state = self.cells.state(block);
        let may_be_one = self.cells.slots == 1 && self.overwritten.is_none();
        let rise = self.ways().rise(label.bend, label.demand);
        if may_be_one && state == State::Empty && rise.at_most(&frame, at, (rows, cols)) <= self.ceiling {
            self.cells.set_state(block, State::By { bend: label.bend, demand: label.demand });
            (0..rows).for_each(|row| took.set_some(down + row, right, cols));
            return;
        }
        let (mut new, mut old) = ([0.0; BLOCK], [f64::INFINITY; BLOCK]);
        self.ways().block(label.bend, label.demand, at, &mut new);
        if let State::By { bend, demand } = state {
            self.ways().block(bend, demand, at, &mut old);
        }
        let (mut all, mut any) = (true, false);
        let mut takes = [false; BLOCK];
        for row in 0..rows {
            for col in 0..cols {
                let i = row * SMALL + col;
                let to_beat = match state {
                    State::Kept(_) => self.cells.to_beat(&self.ways(), block * BLOCK + i, label.demand),
                    State::Empty | State::By { .. } => old[i],
                };
                takes[i] = new[i] <= self.ceiling && new[i] < to_beat - NOTHING_M;
                all &= takes[i];
                any |= takes[i];
            }
        }
        let by_one = all && may_be_one;
        if by_one {
            self.cells.set_state(block, State::By { bend: label.bend, demand: label.demand });
        }
        for i in (0..BLOCK).filter(|i| any && takes[*i]) {
            if !by_one {
                self.put(block * BLOCK + i, Label { height: new[i], ..label });
            }
            took.set(down + i / SMALL, right + i % SMALL);
        }
    }

    /// Goes on with a bend from the cells of a tile that took it to the tile on one side.
    fn go_on(
        &mut self,
        tile: (usize, usize),
        (dr, dc): (isize, isize),
        [first_row, end_row, first_col, end_col]: [usize; 4],
        took: &mut Took,
        bend: &Bend,
        label: Label,
    ) {
        let pyramid = self.floor.pyramid;
        let (Some(row), Some(col)) = (tile.0.checked_add_signed(dr), tile.1.checked_add_signed(dc)) else { return };
        if row >= pyramid.small_rows || col >= pyramid.small_cols {
            return;
        }
        let other = row * pyramid.small_cols + col;
        let offer = self.sight.offer(label.bend, other);
        if matches!(offer, Offer::Waiting | Offer::Whole) {
            return;
        }
        let cols = self.cols();
        let side = |step: isize, first: usize, end: usize| match step {
            -1 => first..first + 1,
            1 => end - 1..end,
            _ => first..end,
        };
        for r in side(dr, first_row, end_row) {
            for c in side(dc, first_col, end_col) {
                if !took.has(r - first_row, c - first_col) {
                    continue;
                }
                let cell = self.blocks.cell(r, c);
                if offer == Offer::OneByOne {
                    if took.queue(r - first_row, c - first_col)
                        && let Some(own) = self.cells.way(&self.ways(), cell, label.bend, label.demand)
                    {
                        self.queue(own.height, Event::Cell(cell as u32, own));
                    }
                    continue;
                }
                // Along a side there are three cells beyond; at a corner one.
                for aside in [0, -1, 1] {
                    let (step_r, step_c) = if dr == 0 { (aside, dc) } else { (dr, if dc == 0 { aside } else { dc }) };
                    let (Some(near_r), Some(near_c)) = (r.checked_add_signed(step_r), c.checked_add_signed(step_c))
                    else {
                        continue;
                    };
                    let beside = aside != 0 && dr != 0 && dc != 0;
                    if beside
                        || near_r >= pyramid.rows
                        || near_c >= cols
                        || pyramid.small_of(near_r, near_c) != (row, col)
                    {
                        continue;
                    }
                    if let Some((height, _)) =
                        self.candidate(self.blocks.cell(near_r, near_c), bend, label.bend, label.demand)
                    {
                        self.offer_tile(other, Label { height, ..label });
                        return;
                    }
                }
            }
        }
    }

    /// Queues the cells around a tile that have a way by a bend.
    fn around(&mut self, tile: (usize, usize), label: Label) {
        let (rows, cols) = (self.floor.terrain.frame.rows, self.cols());
        let [first_row, end_row, first_col, end_col] = self.cells_of(tile);
        for row in first_row.saturating_sub(1)..(end_row + 1).min(rows) {
            let inside = row >= first_row && row < end_row;
            for col in first_col.saturating_sub(1)..(end_col + 1).min(cols) {
                if inside && col >= first_col && col < end_col {
                    continue;
                }
                let cell = self.blocks.cell(row, col);
                if let Some(own) = self.cells.way(&self.ways(), cell, label.bend, label.demand) {
                    self.queue(own.height, Event::Cell(cell as u32, own));
                }
            }
        }
    }

    pub(super) fn spread(&mut self, progress: &dyn Fn(f32), stopped: &dyn Fn() -> bool) -> Result<(), LeastError> {
        let cells = (self.floor.terrain.frame.len() * self.cells.slots).max(1);
        let (mut done, mut next_poll) = (0usize, LABELS_PER_POLL);
        while self.lowest < self.buckets.len() {
            let Some(event) = self.buckets[self.lowest].pop() else {
                self.lowest += 1;
                continue;
            };
            done += if matches!(event, Event::Tile(..)) { SMALL * SMALL } else { 1 };
            if done >= next_poll {
                next_poll = done + LABELS_PER_POLL;
                if stopped() {
                    return Err(LeastError::Stopped);
                }
                progress((done as f32 / cells as f32).min(1.0));
            }
            let (cell, label) = match event {
                Event::Cell(cell, label) => (cell as usize, label),
                Event::Tile(tile, label) => {
                    self.take_tile(tile as usize, label);
                    continue;
                }
            };
            // Corrected since it was queued.
            if !self.cells.holds(cell, &label) {
                continue;
            }
            // Where a better place to turn is found, it is that way which is handed on.
            if let Some(better) = self.cut(cell, &label) {
                self.set(cell, better);
                continue;
            }
            let mut own: Option<u32> = None;
            let tile = self.tile_of(cell);
            // Most neighbours are in one tile.
            let mut last = (tile, self.sight.offer(label.bend, tile));
            for (row, col) in self.blocks.around(cell) {
                let (near, other) = (self.blocks.cell(row, col), self.tile_at(row, col));
                if other != last.0 {
                    last = (other, self.sight.offer(label.bend, other));
                }
                match last.1 {
                    Offer::Waiting | Offer::Whole => continue,
                    Offer::None if other != tile => {
                        let bend = self.bends[label.bend as usize];
                        if let Some((height, _)) = self.candidate(near, &bend, label.bend, label.demand) {
                            self.offer_tile(other, Label { height, ..label });
                            last.1 = Offer::Waiting;
                        }
                        continue;
                    }
                    Offer::None | Offer::OneByOne => {}
                }
                let blocked = self.offer(near, label.bend, label.demand);
                if !blocked {
                    continue;
                }
                let number = if let Some(number) = own {
                    number
                } else {
                    let number = self.bend_at(cell, &label);
                    own = Some(number);
                    number
                };
                if self.offer(near, number, label.demand) {
                    self.lift(near, number, label.demand);
                }
            }
        }
        progress(1.0);
        Ok(())
    }

    /// A cell as a bend of the way onwards; the cell's own where it is one already.
    fn bend_at(&mut self, cell: usize, label: &Label) -> u32 {
        let at = (self.centre(cell), self.place_of(cell));
        let next = self.bends[label.bend as usize];
        if next.position == at.0 && label.bend as usize >= self.demands.len() {
            return label.bend;
        }
        let track = direction(next.position - at.0);
        self.bends.push(self.turning.bend(at, label.height, track, label.bend));
        (self.bends.len() - 1) as u32
    }
}
