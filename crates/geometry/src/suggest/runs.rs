//! Where a strip of the needed length and width fits, at any of the headings.
//!
//! # Method
//! For each heading, the set of free cells is *opened* by the strip's rectangle (J. Serra, *Image Analysis and
//! Mathematical Morphology*, 1982): first only the cells stay from which the whole rectangle lies in the set, then the
//! rectangles of those are put back. What is left is exactly the ground that some placing of the rectangle covers, so
//! necks narrower than the strip fall away and regions part there. A rectangle of n samples needs about log₂ n
//! shifts, as the meeting of a set with its shifted self doubles the length that is looked at; a shift takes 64 cells
//! at once.
//!
//! # Accuracy
//! Places are rounded to cells, so a heading is met to a cell or two over the strip. The exact strip is measured
//! afterwards in the outline.

use super::bits::Bits;
use super::mask::{Ground, headings};
use crate::position::Bearing;
use rayon::prelude::*;

/// Distance of samples along the rectangle's sides in cells: a square lattice turned any way then leaves no cell out.
const SPACING: f64 = core::f64::consts::FRAC_1_SQRT_2;

/// A shift in cells: rows down, columns right.
type Shift = (isize, isize);

/// The shifts whose successive doubling gives a row of samples.
fn shifts(towards: (f64, f64), length_cells: f64) -> Vec<Shift> {
    let count = ((length_cells / SPACING).ceil() as usize).max(1);
    let shift = |n: usize| {
        let far = n as f64 * SPACING;
        ((towards.0 * far).round() as isize, (towards.1 * far).round() as isize)
    };
    let mut list = Vec::new();
    let mut done = 1;
    while done < count {
        let step = done.min(count - done);
        list.push(shift(step));
        done += step;
    }
    list.retain(|s| *s != (0, 0));
    list
}

/// Opens a set by the rectangle along a heading and its number; `None` when the rectangle fits nowhere.
fn open_along(
    ground: &Ground<'_>,
    (number, heading): (usize, Bearing),
    window: &Bits,
    at: (usize, usize),
) -> Option<Bits> {
    let cell = ground.frame.cell_m;
    let u = heading.unit();
    // Rows run south: north is up.
    let along = shifts((-u.y, u.x), ground.options.needed_m / cell);
    let across = shifts((u.x, u.y), ground.options.room_m() / cell);
    let mut set = ground.suited.within(number, window, at);
    let mut other = Bits::none(window.rows, window.cols);
    // Most ground is too short along most headings, and that is found before anything is looked at across.
    for list in [&along, &across] {
        for (down, right) in list {
            other.both(&set, *down, *right);
            core::mem::swap(&mut set, &mut other);
        }
        if set.is_empty() {
            return None;
        }
    }
    for (down, right) in along.iter().chain(&across) {
        other.either(&set, -down, -right);
        core::mem::swap(&mut set, &mut other);
    }
    Some(set)
}

/// The part of a window's set that strips cover, at any heading. `at` is the window's first row and column.
pub(super) fn open(ground: &Ground<'_>, window: &Bits, at: (usize, usize)) -> Bits {
    let mut covered = Bits::none(window.rows, window.cols);
    for heading in headings().enumerate() {
        if let Some(more) = open_along(ground, heading, window, at) {
            covered.add(&more);
        }
    }
    covered
}

/// The part of the whole grid that strips cover; headings side by side. What is joined does not depend on the order.
pub(super) fn open_all(ground: &Ground<'_>, cancel: &(dyn Fn() -> bool + Sync)) -> Bits {
    let none = || Bits::none_on(&ground.frame);
    let all: Vec<(usize, Bearing)> = headings().enumerate().collect();
    all.par_iter()
        .fold(none, |mut covered, &heading| {
            if !cancel()
                && let Some(more) = open_along(ground, heading, &ground.free, (0, 0))
            {
                covered.add(&more);
            }
            covered
        })
        .reduce(none, |mut a, b| {
            a.add(&b);
            a
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doubled_shifts_reach_as_far_as_the_strip_is_long() {
        for length in [1.0, 2.0, 3.0, 7.5, 25.0, 40.0] {
            for heading in headings() {
                let u = heading.unit();
                let list = shifts((-u.y, u.x), length);
                let (down, right) = list.iter().fold((0, 0), |a, s| (a.0 + s.0, a.1 + s.1));
                let far = ((down * down + right * right) as f64).sqrt();
                // Each shift is rounded to a cell; the outermost samples stand for a cell each.
                let slack = 0.75 * list.len() as f64 + 1.0;
                assert!((far + 1.0 - length).abs() <= slack, "{length} {heading:?} {far}");
            }
        }
        assert!(shifts((0.0, 1.0), 0.1).is_empty());
    }
}
