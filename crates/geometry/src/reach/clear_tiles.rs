//! Tiles of the terrain that a start sees as a whole, so that most cells need no walk of their own.
//!
//! A tile is clear from a place when every straight glide from there to any of its points is above the floor all the
//! way. A ray into a tile comes through the neighbour on the side facing the place; when that neighbour is clear and the
//! lowest glide inside the tile is above its highest post plus clearance, the tile is clear as well. That is decided
//! tile by tile outwards and remembered.

use super::departure::Bend;
use super::descent::Descent;
use super::floor::{Floor, Place};
use crate::grid::GridFrame;
use crate::math;
use crate::position::Xy;

const UNKNOWN: u8 = 0;
const CLEAR: u8 = 1;
const NOT_CLEAR: u8 = 2;

/// What is known so far, per start bend.
#[derive(Debug)]
pub(super) struct ClearTiles<'a> {
    pub(super) floor: Floor<'a>,
    pub(super) descent: &'a Descent,
    pub(super) frame: GridFrame,
    known: Vec<Vec<u8>>,
}

impl<'a> ClearTiles<'a> {
    pub(super) fn new(floor: Floor<'a>, descent: &'a Descent, frame: GridFrame, starts: usize) -> Self {
        Self { floor, descent, frame, known: vec![Vec::new(); starts] }
    }

    /// Whether every point of a small tile is seen from the start bend.
    pub(super) fn is_clear(&mut self, start: usize, bend: &Bend, row: usize, col: usize) -> bool {
        let Some(known) = self.known.get_mut(start) else { return false };
        let pyramid = self.floor.pyramid;
        if known.is_empty() {
            *known = vec![UNKNOWN; pyramid.small_rows * pyramid.small_cols];
        }
        // Walk inwards until something is known, then decide outwards; `open` holds the tiles waiting for others.
        let mut open = vec![];
        let mut next = Some((row, col));
        loop {
            if let Some((r, c)) = next.take()
                && self.known[start][r * pyramid.small_cols + c] == UNKNOWN
            {
                if self.is_above(bend, r, c) {
                    open.push((r, c));
                } else {
                    self.known[start][r * pyramid.small_cols + c] = NOT_CLEAR;
                }
            }
            let Some(&(r, c)) = open.last() else { break };
            let mut state = CLEAR;
            for neighbour in self.facing(bend.place, r, c).into_iter().flatten() {
                match self.known[start][neighbour.0 * pyramid.small_cols + neighbour.1] {
                    UNKNOWN => {
                        next = Some(neighbour);
                        state = UNKNOWN;
                        break;
                    }
                    NOT_CLEAR => {
                        state = NOT_CLEAR;
                        break;
                    }
                    _ => {}
                }
            }
            if state != UNKNOWN {
                self.known[start][r * pyramid.small_cols + c] = state;
                open.pop();
            }
        }
        self.known[start][row * pyramid.small_cols + col] == CLEAR
    }

    /// The neighbours through which rays from a place enter a tile, above or below it and left or right of it.
    fn facing(&self, from: Place, row: usize, col: usize) -> [Option<(usize, usize)>; 2] {
        let (top, bottom, left, right) = self.floor.pyramid.small_edges(row, col);
        let next_row = if (top as f64) > from.y {
            row.checked_sub(1)
        } else if (bottom as f64) < from.y {
            Some(row + 1)
        } else {
            None
        };
        let next_col = if (left as f64) > from.x {
            col.checked_sub(1)
        } else if (right as f64) < from.x {
            Some(col + 1)
        } else {
            None
        };
        [next_row.map(|r| (r, col)), next_col.map(|c| (row, c))]
    }

    /// Whether the lowest glide from a bend to any point of a tile is above the tile's highest floor.
    fn is_above(&self, bend: &Bend, row: usize, col: usize) -> bool {
        let needed = self.floor.pyramid.small_max(row, col) + self.floor.clearance_m;
        if !(needed < bend.height) {
            return false;
        }
        let (top, bottom, left, right) = self.floor.pyramid.small_edges(row, col);
        let corners = [(top, left), (top, right), (bottom, right), (bottom, left)]
            .map(|(r, c)| self.frame.centre(r, c) - bend.position);
        let mut turn = 0.0f64;
        if let Some(track) = bend.track {
            for d in corners {
                // Within a half-plane ahead the greatest angle to a convex tile is that to a corner.
                if track.dot(d) <= 0.0 {
                    return false;
                }
                turn = turn.max(bend.turn_loss(d));
            }
        }
        let from = bend.height - turn;
        let mut least = f64::INFINITY;
        for d in corners {
            match self.descent.height_after(from, d) {
                Some(h) => least = least.min(h),
                None => return false,
            }
        }
        if self.descent.is_uniform() {
            // The height over the ground is a concave function of the place: least at a corner.
            return least >= needed;
        }
        let drop = from - least;
        // The loss of the worst layer in each direction is a norm, so its greatest value is at a corner.
        let bound = from - drop * self.descent.unevenness();
        if bound >= needed {
            return true;
        }
        let Some(angle) = angle_seen(&corners) else { return false };
        // The loss per metre where the dent is may be greater than on average, at most by the unevenness.
        least - drop * self.descent.dent(angle) * self.descent.unevenness() >= needed
    }
}

/// Angle under which the corners of a tile are seen; `None` when it is a right angle or more.
fn angle_seen(corners: &[Xy; 4]) -> Option<f64> {
    let middle = (corners[0] + corners[2]) * 0.5;
    let (mut left, mut right) = (0.0f64, 0.0f64);
    for &d in corners {
        let (cross, dot) = (middle.cross(d), middle.dot(d));
        if dot <= 0.0 {
            return None;
        }
        // The arc tangent is below its argument.
        left = left.max(cross / dot);
        right = right.max(-cross / dot);
    }
    let angle = left + right;
    (angle < math::FRAC_PI_2).then_some(angle)
}
