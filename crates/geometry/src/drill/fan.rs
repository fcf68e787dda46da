//! Fan stops at the home strip as a grid: every height on every heading, what was flown of it, and what comes next.

use super::failure::{HEADINGS, HEIGHT_STEPS};
use super::result::DrillResult;
use super::set::{DrillSet, DrillSetError, Place};
use crate::math;
use crate::position::{Bearing, Xy};

/// How many cells the grid has.
pub const FAN_CELLS: usize = HEIGHT_STEPS * HEADINGS;
/// How many numbers are looked at for one of a cell: where a set has other places too, its turn comes more seldom.
const LOOK_AHEAD: usize = FAN_CELLS * 400;
/// A place kept in a file is where it was to this much, metres.
const PLACE_M: f64 = 1.0;

/// One height and one heading of fan stops at the home strip.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FanCell {
    step: usize,
    direction: usize,
}

impl FanCell {
    /// The cell of a height, counted from the lowest, and a direction, counted clockwise from grid north; both within
    /// their range.
    #[must_use]
    pub fn new(step: usize, direction: usize) -> Self {
        Self { step: step.min(HEIGHT_STEPS - 1), direction: direction % HEADINGS }
    }

    /// Every cell: the lowest height first, and each clockwise from grid north.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..FAN_CELLS).map(|i| Self { step: i / HEADINGS, direction: i % HEADINGS })
    }

    /// The cell of a height above ground, metres, and a heading from grid north; `None` where the set does not go so low
    /// or high.
    #[must_use]
    pub fn of(set: &DrillSet, height_agl_m: f64, heading: Bearing) -> Option<Self> {
        let (low, high) = (set.lowest_agl_m, set.highest_agl_m);
        if !(low..=high).contains(&height_agl_m) {
            return None;
        }
        let share = if high > low { (height_agl_m - low) / (high - low) } else { 0.0 };
        let direction = (heading.rad() / math::TAU * HEADINGS as f64).round() as usize;
        Some(Self::new((share * HEIGHT_STEPS as f64) as usize, direction))
    }

    /// Its place among all of them.
    #[must_use]
    pub fn index(self) -> usize {
        self.step * HEADINGS + self.direction
    }
    /// Its height, counted from the lowest.
    #[must_use]
    pub fn step(self) -> usize {
        self.step
    }
    /// Its direction, counted clockwise from grid north.
    #[must_use]
    pub fn direction(self) -> usize {
        self.direction
    }

    /// The cell so many directions clockwise and so many heights up; the lowest and the highest are not left.
    #[must_use]
    pub fn moved(self, clockwise: isize, up: isize) -> Self {
        let direction = (self.direction as isize + clockwise).rem_euclid(HEADINGS as isize);
        let step = (self.step as isize + up).clamp(0, HEIGHT_STEPS as isize - 1);
        Self { step: step as usize, direction: direction as usize }
    }

    /// The heading in the middle of its directions, from grid north.
    #[must_use]
    pub fn heading(self) -> Bearing {
        Bearing::from_rad(self.direction as f64 * math::TAU / HEADINGS as f64)
    }

    /// Lowest and highest height above ground of its failures in a set, metres.
    #[must_use]
    pub fn heights_agl_m(self, set: &DrillSet) -> (f64, f64) {
        let each = (set.highest_agl_m - set.lowest_agl_m) / HEIGHT_STEPS as f64;
        (set.lowest_agl_m + each * self.step as f64, set.lowest_agl_m + each * (self.step + 1) as f64)
    }
}

/// What one pilot did in one cell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FanRecord {
    /// Drills flown.
    pub drills: usize,
    /// Of those, how many stopped in the strip that was chosen.
    pub stopped: usize,
    /// The latest.
    pub last: Option<DrillResult>,
}

impl FanRecord {
    /// Share that stopped in the strip; `None` where nothing was flown.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        (self.drills > 0).then(|| self.stopped as f64 / self.drills as f64)
    }
}

impl DrillSet {
    /// How far from the middle of the home strip its fan stops are at most, metres; `None` where it has none.
    #[must_use]
    pub fn fan_within_m(&self) -> Option<f64> {
        let each = self.places.iter().filter_map(|place| match place {
            Place::HomeStrip { within_m } => Some(*within_m),
            _ => None,
        });
        each.reduce(f64::max)
    }

    /// What one pilot did in every cell, in the order of [`FanCell::all`].
    ///
    /// `results` are that pilot's, in the order flown; counted are those of this set over the home strip at heights that
    /// the set still has. `home` is the middle of the strip.
    #[must_use]
    pub fn fan_records(&self, home: Xy, results: &[&DrillResult]) -> Vec<FanRecord> {
        let mut records = vec![FanRecord::default(); FAN_CELLS];
        let Some(within_m) = self.fan_within_m() else { return records };
        let mut own: Vec<&&DrillResult> = results.iter().filter(|r| r.set_id == self.id).collect();
        own.sort_by_key(|r| r.day);
        for result in own.into_iter().filter(|r| r.position.distance(home) <= within_m + PLACE_M) {
            let heading = Bearing::from_rad(result.heading_grid_rad);
            let Some(cell) = FanCell::of(self, result.height_agl_m, heading) else { continue };
            let record = &mut records[cell.index()];
            record.drills += 1;
            record.stopped += usize::from(result.stopped_in_strip());
            record.last = Some((*result).clone());
        }
        records
    }

    /// The cell of a number; `None` where its failure is elsewhere.
    ///
    /// # Errors
    /// When the set cannot be drilled.
    pub fn fan_cell(&self, number: u32, home: Option<Xy>) -> Result<Option<FanCell>, DrillSetError> {
        let failure = self.failure(number, home)?;
        let is_fan = matches!(self.places.get(failure.place), Some(Place::HomeStrip { .. }));
        Ok(is_fan.then(|| FanCell::of(self, failure.height_agl_m, failure.heading)).flatten())
    }

    /// The first number in a cell that is none of `flown`; `None` where none of many is.
    ///
    /// # Errors
    /// When the set cannot be drilled.
    pub fn next_in_cell(
        &self,
        cell: FanCell,
        home: Option<Xy>,
        flown: &[&DrillResult],
    ) -> Result<Option<u32>, DrillSetError> {
        let flown: std::collections::HashSet<u32> =
            flown.iter().filter(|r| r.set_id == self.id && r.set_seed == self.seed).map(|r| r.number).collect();
        for number in (1..=u32::MAX).filter(|n| !flown.contains(n)).take(LOOK_AHEAD) {
            if self.fan_cell(number, home)? == Some(cell) {
                return Ok(Some(number));
            }
        }
        Ok(None)
    }
}
