//! Where places of the frame lie on a picture from above, for every map that is drawn as a picture.

use egui::{Pos2, Vec2, pos2};
use sparefield_geometry::position::Xy;

/// Least width and height of the ground shown, metres.
const LEAST_M: f64 = 200.0;
/// How far outside the picture something still counts as shown, points.
const EDGE: f32 = 20.0;

/// From the frame to a picture, north upwards.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Placing {
    /// The place in the middle of the picture.
    pub middle: Xy,
    /// Points for each metre.
    pub scale: f32,
    /// Size of the picture, points.
    pub size: Vec2,
}

impl Placing {
    /// All of these places in a picture of a size with room round them; `None` where there are none.
    pub(crate) fn around(points: impl Iterator<Item = Xy>, size: Vec2, room: f32) -> Option<Self> {
        let (low, high) = extent(points)?;
        let (w, h) = ((high.x - low.x).max(LEAST_M), (high.y - low.y).max(LEAST_M));
        let scale = (f64::from(size.x - 2.0 * room) / w).min(f64::from(size.y - 2.0 * room) / h) as f32;
        Some(Self { middle: (low + high) * 0.5, scale, size })
    }
    /// Where a place lies.
    pub(crate) fn at(&self, p: Xy) -> Pos2 {
        let d = (p - self.middle) * f64::from(self.scale);
        pos2(self.size.x * 0.5 + d.x as f32, self.size.y * 0.5 - d.y as f32)
    }
    /// Whether a place lies in the picture or just outside it.
    pub(crate) fn shows(&self, p: Xy) -> bool {
        let q = self.at(p);
        (-EDGE..=self.size.x + EDGE).contains(&q.x) && (-EDGE..=self.size.y + EDGE).contains(&q.y)
    }
    /// The south-west and north-east corners of what is shown.
    pub(crate) fn corners(&self) -> (Xy, Xy) {
        let half = Xy::new(f64::from(self.size.x / self.scale) / 2.0, f64::from(self.size.y / self.scale) / 2.0);
        (self.middle - half, self.middle + half)
    }
}

/// The least and greatest coordinates of places; `None` where there are none.
pub(crate) fn extent(points: impl Iterator<Item = Xy>) -> Option<(Xy, Xy)> {
    points.filter(|p| p.x.is_finite() && p.y.is_finite()).fold(None, |bounds: Option<(Xy, Xy)>, p| {
        let (lo, hi) = bounds.unwrap_or((p, p));
        Some((Xy::new(lo.x.min(p.x), lo.y.min(p.y)), Xy::new(hi.x.max(p.x), hi.y.max(p.y))))
    })
}
