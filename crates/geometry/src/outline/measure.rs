//! Measures of an outline, finished or not.

use super::place::{is_place, side_at};
use crate::fields::model::ring_area;
use crate::fields::strip::{Scratch, Strip, StripSpace};
use crate::math;
use crate::position::{Bearing, Xy};

/// Measures of one side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SideMeasure {
    /// Length, metres.
    pub length_m: f64,
    /// Direction from its first corner; `None` for a side without length.
    pub bearing: Option<Bearing>,
}

/// Measures of an outline.
#[derive(Clone, Debug, PartialEq)]
pub struct Measures {
    /// Enclosed area, m², of a chain that is closed provisionally as well; holes are not taken off.
    pub area_m2: f64,
    /// Length of all sides, metres. The side that would close an open chain is not counted.
    pub perimeter_m: f64,
    /// Each side; the one that would close an open chain is left out.
    pub sides: Vec<SideMeasure>,
    /// Angle on the inside at each corner, radians in (0, 2π); `None` at the ends of an open chain and beside a side
    /// without length.
    pub interior_rad: Vec<Option<f64>>,
}

/// Measures of a ring (`closed`) or of an open chain, drawn either way round; `None` when a coordinate is no place.
#[must_use]
pub fn measure(points: &[Xy], closed: bool) -> Option<Measures> {
    if !points.iter().all(|p| is_place(*p)) {
        return None;
    }
    let n = points.len();
    let count = if closed { n } else { n.saturating_sub(1) };
    let sides: Vec<SideMeasure> = (0..count)
        .map(|i| side_at(points, i))
        .map(|(a, b)| SideMeasure { length_m: a.distance(b), bearing: (b - a).bearing() })
        .collect();
    let area = ring_area(points);
    let interior_rad = (0..n)
        .map(|i| {
            let inner = if closed { n >= 3 } else { i > 0 && i + 1 < n };
            if inner { interior_angle(points[(i + n - 1) % n], points[i], points[(i + 1) % n], area) } else { None }
        })
        .collect();
    Some(Measures { area_m2: area.abs(), perimeter_m: sides.iter().map(|s| s.length_m).sum(), sides, interior_rad })
}

/// The angle at `b` on the inside of a ring whose signed area is given.
pub(super) fn interior_angle(a: Xy, b: Xy, c: Xy, signed_area: f64) -> Option<f64> {
    let (back, on) = (a - b, c - b);
    if back.norm() <= 0.0 || on.norm() <= 0.0 {
        return None;
    }
    // From the side ahead anticlockwise to the side behind lies the inside of an anticlockwise ring.
    let angle = math::wrap_tau(math::atan2(on.cross(back), on.dot(back)));
    Some(if signed_area < 0.0 { math::TAU - angle } else { angle })
}

/// The longest strip of a width inside an outline that is still being drawn, closed provisionally.
///
/// Over all headings and as exact as for a finished field ([`StripSpace::best`]). `None` while there is no outline, when
/// no strip fits, and when the outline would cross itself. `obstacles` as for [`StripSpace::new`].
#[must_use]
pub fn provisional_strip(
    points: &[Xy],
    holes: &[Vec<Xy>],
    obstacles: &[Vec<Xy>],
    width_m: f64,
    scratch: &mut Scratch,
) -> Option<Strip> {
    super::crossing::check_rings(points, holes).ok()?;
    StripSpace::new(points, holes, obstacles)?.best(width_m, scratch)
}
