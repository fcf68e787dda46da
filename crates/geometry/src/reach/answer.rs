//! What a reach can be asked.

use super::departure::{Bend, Departure, Turning, place};
use super::descent::Descent;
use super::floor::{Floor, Place, Pyramid};
use super::forward::{TOO_LOW, track_between};
use super::{AircraftState, Arrival, PathPoint};
use crate::grid::{GridFrame, Terrain};
use crate::position::{Bearing, Xy};

/// Where the aircraft can glide to, and how high it arrives.
#[derive(Clone, Debug)]
pub struct Reach {
    /// The window of the terrain that was looked at; its cells are the terrain's cells.
    pub frame: GridFrame,
    /// Row and column in the terrain of the window's north-west cell.
    pub offset: (usize, usize),
    /// Arrival height above mean sea level at cell centres, metres, rounded down; `NaN` where not reachable.
    pub arrival_amsl_m: Vec<f32>,
    /// Whether the aircraft starts lower than the clearance above the ground, so that nothing can be said.
    pub starts_below_clearance: bool,
    /// The state it was computed from.
    pub state: AircraftState,
    pub(super) anchors: Vec<u32>,
    pub(super) bends: Vec<Bend>,
    pub(super) starts: usize,
    pub(super) departure: Departure,
    pub(super) descent: Descent,
    pub(super) turning: Turning,
    pub(super) pyramid: Pyramid,
    pub(super) clearance_m: f64,
}

impl Reach {
    /// Arrival height at a cell of the window, metres above mean sea level; `None` outside or where not reachable.
    #[must_use]
    pub fn arrival_at_cell(&self, row: usize, col: usize) -> Option<f64> {
        if row >= self.frame.rows || col >= self.frame.cols {
            return None;
        }
        let h = f64::from(self.arrival_amsl_m[row * self.frame.cols + col]);
        h.is_finite().then_some(h)
    }

    /// Track over the ground on arriving at a cell's centre; `None` where it is not reached or starts there.
    #[must_use]
    pub fn track_at_cell(&self, row: usize, col: usize) -> Option<Bearing> {
        if row >= self.frame.rows || col >= self.frame.cols {
            return None;
        }
        let bend = self.bends.get(self.anchors[row * self.frame.cols + col] as usize)?;
        track_between(bend, self.frame.centre(row, col)).and_then(Xy::bearing)
    }

    /// Number of reachable cells.
    #[must_use]
    pub fn reachable_cells(&self) -> usize {
        self.arrival_amsl_m.iter().filter(|h| h.is_finite()).count()
    }

    /// Area of the reachable cells, m².
    #[must_use]
    pub fn reachable_area_m2(&self) -> f64 {
        self.reachable_cells() as f64 * self.frame.cell_m * self.frame.cell_m
    }

    /// Distance to the farthest reachable cell centre, metres; 0 where nothing is reachable.
    #[must_use]
    pub fn max_range_m(&self) -> f64 {
        let cols = self.frame.cols.max(1);
        self.arrival_amsl_m
            .iter()
            .enumerate()
            .filter(|(_, h)| h.is_finite())
            .map(|(i, _)| self.frame.centre(i / cols, i % cols).distance(self.state.position))
            .fold(0.0, f64::max)
    }

    /// How the aircraft arrives at any point, `None` where it cannot be reached.
    ///
    /// The best of: the bends of the cells around, those cells as bends, and straight from the start; each line is
    /// tested against the floor in full. `terrain` must be the terrain the reach was computed over.
    #[must_use]
    pub fn arrival_at(&self, terrain: &Terrain, p: Xy) -> Option<Arrival> {
        let (height_amsl_m, last, _) = self.best_to(terrain, p)?;
        let track = track_between(&last, p).and_then(Xy::bearing);
        Some(Arrival { height_amsl_m, track })
    }

    /// The whole path to a point, with its heights: reaction and first turn as flown, then straight lines.
    ///
    /// A turn at a bend is two points at the same place, the second lower by the height of the turn. Between two points
    /// the height is linear. `terrain` must be the terrain the reach was computed over.
    #[must_use]
    pub fn path_to(&self, terrain: &Terrain, p: Xy) -> Option<Vec<PathPoint>> {
        let (_, last, parent) = self.best_to(terrain, p)?;
        let mut chain = vec![last];
        let mut number = parent;
        while let Some(n) = number {
            let bend = *self.bends.get(n as usize)?;
            chain.push(bend);
            number = (n as usize >= self.starts).then_some(bend.parent);
        }
        // The last one pushed is the start bend; its number is what its first successor, or the point, hangs on.
        let start = chain.last()?;
        let mut path = self.departure.path(start.parent);
        for i in (0..chain.len()).rev() {
            let to = if i == 0 { p } else { chain[i - 1].position };
            self.leg(&chain[i], to, &mut path)?;
        }
        Some(path)
    }

    /// Adds the glide from a bend to a point, without its first point where that is already the path's last.
    fn leg(&self, bend: &Bend, to: Xy, path: &mut Vec<PathPoint>) -> Option<()> {
        let mut line = bend.line(&self.descent, to)?;
        let d = to - bend.position;
        let mut points = Vec::new();
        let mut t = 0.0;
        while t < 1.0 {
            points.push(PathPoint { position: to - d * t, height_amsl_m: line.height(t) });
            line.advance(t);
            t = line.linear_until().min(1.0);
        }
        let begin = PathPoint { position: bend.position, height_amsl_m: bend.height - bend.turn_loss(d) };
        if path.last().is_none_or(|p| *p != begin) {
            path.push(begin);
        }
        path.extend(points.into_iter().rev());
        Some(())
    }

    /// Height, last bend, and the number of a recorded bend before it (or its own number, when recorded: `None` for a
    /// start, whose parent is itself).
    fn best_to(&self, terrain: &Terrain, p: Xy) -> Option<(f64, Bend, Option<u32>)> {
        let end = place(&self.frame, p);
        let (last_x, last_y) = (self.frame.cols as f64 - 1.0, self.frame.rows as f64 - 1.0);
        if !(end.x >= 0.0 && end.y >= 0.0 && end.x <= last_x && end.y <= last_y) {
            return None;
        }
        let floor = Floor { terrain, pyramid: &self.pyramid, clearance_m: self.clearance_m };
        let ground = floor.at(end);
        let mut tried: Vec<(f64, Bend, Option<u32>)> = Vec::new();
        let parent_of = |number: u32, bend: &Bend| (number as usize >= self.starts).then_some(bend.parent);
        let mut numbers: Vec<u32> = Vec::new();
        for number in self.departure.candidates(&self.bends, p).into_iter().flatten() {
            numbers.push(number);
        }
        let (row, col) = (end.y.round() as usize, end.x.round() as usize);
        for r in row.saturating_sub(1)..=(row + 1).min(self.frame.rows - 1) {
            for c in col.saturating_sub(1)..=(col + 1).min(self.frame.cols - 1) {
                let anchor = self.anchors[r * self.frame.cols + c];
                if anchor == TOO_LOW {
                    continue;
                }
                let Some(bend) = self.bends.get(anchor as usize) else { continue };
                if !numbers.contains(&anchor) {
                    numbers.push(anchor);
                }
                let here = self.frame.centre(r, c);
                let height = bend.arrive(&self.descent, here);
                let at = (here, Place { x: c as f64, y: r as f64 });
                let own = self.turning.bend(at, height, track_between(bend, here), anchor);
                tried.push((own.arrive(&self.descent, p), own, Some(anchor)));
            }
        }
        for number in numbers {
            if let Some(bend) = self.bends.get(number as usize) {
                tried.push((bend.arrive(&self.descent, p), *bend, parent_of(number, bend)));
            }
        }
        tried.retain(|t| t.0 >= ground);
        tried.sort_by(|a, b| b.0.total_cmp(&a.0));
        tried.into_iter().find(|(_, bend, _)| {
            bend.line(&self.descent, p).is_some_and(|mut line| floor.is_clear(bend.place, end, &mut line, |_, _| false))
        })
    }
}
