//! Where the map looks, and the one place that turns metres into points on the screen and back.

use egui::{Pos2, Rect, Vec2};
use sparefield_geometry::position::{Bearing, Xy};

/// Closest and farthest the map zooms, metres for each point.
const NEAREST_M_PER_PT: f64 = 0.05;
const FARTHEST_M_PER_PT: f64 = 2_000.0;

/// What part of the frame is in the middle of the map, and how large it is drawn. Which way is up is the view's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// The place in the middle of the map, frame metres.
    pub centre: Xy,
    /// Metres on the ground for one point on the screen.
    pub metres_per_point: f64,
}

impl Default for Camera {
    fn default() -> Self {
        Self { centre: Xy::default(), metres_per_point: 10.0 }
    }
}

impl Camera {
    /// A camera that shows a box (south-west, north-east) whole, with a little room around it.
    ///
    /// `None` when the box or the view is empty or not finite.
    #[must_use]
    pub fn showing(south_west: Xy, north_east: Xy, view: Vec2) -> Option<Self> {
        let size = north_east - south_west;
        let scale = (size.x / f64::from(view.x)).max(size.y / f64::from(view.y)) * 1.06;
        let centre = (south_west + north_east) * 0.5;
        let usable = view.x > 1.0 && view.y > 1.0 && scale.is_finite() && centre.norm().is_finite();
        usable.then(|| Self { centre, metres_per_point: clamp_scale(scale) })
    }

    /// Moves the map with the hand: what was under the pointer follows it by `delta` points.
    pub fn pan(&mut self, delta: Vec2) {
        self.centre = self.centre - Xy::new(f64::from(delta.x), -f64::from(delta.y)) * self.metres_per_point;
    }

    /// Zooms so that the place under `fixed` stays there; `factor` above 1 zooms in.
    pub fn zoom_about(&mut self, fixed: Pos2, rect: Rect, factor: f64) {
        self.zoom_in(&View::new(*self, rect), fixed, factor);
    }

    /// As [`Self::zoom_about`], through a view that may be turned.
    pub fn zoom_in(&mut self, view: &View, fixed: Pos2, factor: f64) {
        if !(factor.is_finite() && factor > 0.0) {
            return;
        }
        let place = view.to_world(fixed);
        let scale = clamp_scale(self.metres_per_point / factor);
        self.centre = place + (self.centre - place) * (scale / self.metres_per_point);
        self.metres_per_point = scale;
    }
}

fn clamp_scale(metres_per_point: f64) -> f64 {
    metres_per_point.clamp(NEAREST_M_PER_PT, FARTHEST_M_PER_PT)
}

/// A camera looking through one rectangle of the window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Where it looks.
    pub camera: Camera,
    /// The rectangle of the window it fills.
    pub rect: Rect,
    /// The bearing that is up.
    up: Bearing,
    /// Its unit vector, so that nothing is computed for each point: (1, 0) where north is up.
    cos_sin: (f64, f64),
}

impl View {
    /// Puts a camera behind a rectangle, north up.
    #[must_use]
    pub fn new(camera: Camera, rect: Rect) -> Self {
        Self { camera, rect, up: Bearing::NORTH, cos_sin: (1.0, 0.0) }
    }
    /// The same with another bearing up.
    #[must_use]
    pub fn turned(self, up: Bearing) -> Self {
        let unit = up.unit();
        Self { up, cos_sin: (unit.y, unit.x), ..self }
    }
    /// The bearing that is up.
    #[must_use]
    pub fn up(&self) -> Bearing {
        self.up
    }
    /// Whether north is up, so that upright boxes of the frame are upright on the screen.
    #[must_use]
    pub fn is_north_up(&self) -> bool {
        self.cos_sin == (1.0, 0.0)
    }
    /// The direction of a bearing on the screen.
    #[must_use]
    pub fn direction(&self, bearing: Bearing) -> Vec2 {
        self.vector(bearing.unit())
    }
    /// A displacement in the frame as a displacement on the screen, without its scale.
    #[must_use]
    pub fn vector(&self, d: Xy) -> Vec2 {
        let (cos, sin) = self.cos_sin;
        Vec2::new((d.x * cos - d.y * sin) as f32, -(d.x * sin + d.y * cos) as f32)
    }
    /// The corners of an upright box of the frame, from the north-west clockwise.
    #[must_use]
    pub fn corners(&self, north_west: Xy, south_east: Xy) -> [Pos2; 4] {
        let (nw, se) = (north_west, south_east);
        [nw, Xy::new(se.x, nw.y), se, Xy::new(nw.x, se.y)].map(|p| self.to_screen(p))
    }
    /// Where a place appears. The difference to the centre is taken in `f64`: frame metres do not fit into `f32`.
    #[must_use]
    pub fn to_screen(&self, p: Xy) -> Pos2 {
        let d = (p - self.camera.centre) * (1.0 / self.camera.metres_per_point);
        self.rect.center() + self.vector(d)
    }
    /// The place that appears at a point.
    #[must_use]
    pub fn to_world(&self, p: Pos2) -> Xy {
        let d = p - self.rect.center();
        let (x, y) = (f64::from(d.x), -f64::from(d.y));
        let (cos, sin) = self.cos_sin;
        self.camera.centre + Xy::new(x * cos + y * sin, y * cos - x * sin) * self.camera.metres_per_point
    }
    /// How many points a length in metres takes.
    #[must_use]
    pub fn points(&self, metres: f64) -> f32 {
        (metres / self.camera.metres_per_point) as f32
    }
    /// The visible box (south-west, north-east), widened by `margin` points.
    #[must_use]
    pub fn bounds(&self, margin: f32) -> Bounds {
        let r = self.rect.expand(margin);
        Bounds::around(&[r.left_top(), r.right_top(), r.right_bottom(), r.left_bottom()].map(|p| self.to_world(p)))
    }
}

/// An upright box in frame metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// South-west corner.
    pub min: Xy,
    /// North-east corner.
    pub max: Xy,
}

impl Bounds {
    /// The box around some points; one that meets nothing when there are none.
    #[must_use]
    pub fn around(points: &[Xy]) -> Self {
        let start = Self { min: Xy::new(f64::MAX, f64::MAX), max: Xy::new(f64::MIN, f64::MIN) };
        points.iter().fold(start, |b, p| Self {
            min: Xy::new(b.min.x.min(p.x), b.min.y.min(p.y)),
            max: Xy::new(b.max.x.max(p.x), b.max.y.max(p.y)),
        })
    }
    /// Whether two boxes share a point.
    #[must_use]
    pub fn meets(&self, other: &Self) -> bool {
        self.min.x <= other.max.x && other.min.x <= self.max.x && self.min.y <= other.max.y && other.min.y <= self.max.y
    }
    /// Whether a point lies inside or on the edge.
    #[must_use]
    pub fn holds(&self, p: Xy) -> bool {
        p.x >= self.min.x && p.x <= self.max.x && p.y >= self.min.y && p.y <= self.max.y
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::pos2;
    use proptest::prelude::*;

    fn view() -> Rect {
        Rect::from_min_size(pos2(340.0, 10.0), egui::vec2(940.0, 790.0))
    }

    proptest! {
        #[test]
        fn screen_and_world_are_inverse(
            x in -1e3f32..1e3, y in -1e3f32..1e3, scale in 0.05f64..2e3, cx in 1e5f64..9e5, cy in 0f64..9.9e6,
        ) {
            let v = View::new(Camera { centre: Xy::new(cx, cy), metres_per_point: scale }, view());
            let p = v.rect.center() + egui::vec2(x, y);
            prop_assert!((v.to_screen(v.to_world(p)) - p).length() < 1e-2);
        }

        #[test]
        fn zooming_keeps_the_place_under_the_pointer(
            x in 0f32..940.0, y in 0f32..790.0, factor in 0.1f64..10.0, scale in 0.05f64..2e3,
        ) {
            let mut camera = Camera { centre: Xy::new(5e5, 4e6), metres_per_point: scale };
            let fixed = view().min + egui::vec2(x, y);
            let before = View::new(camera, view()).to_world(fixed);
            camera.zoom_about(fixed, view(), factor);
            let after = View::new(camera, view()).to_world(fixed);
            prop_assert!(before.distance(after) < 1e-3 * camera.metres_per_point.max(1e-3));
        }
    }

    proptest! {
        #[test]
        fn a_turned_view_keeps_distances_and_puts_its_bearing_up(
            x in -1e3f32..1e3, y in -1e3f32..1e3, up in 0f64..360.0, scale in 0.05f64..2e3,
        ) {
            let up = Bearing::from_deg(up);
            let v = View::new(Camera { centre: Xy::new(5e5, 4e6), metres_per_point: scale }, view()).turned(up);
            let p = v.rect.center() + egui::vec2(x, y);
            prop_assert!((v.to_screen(v.to_world(p)) - p).length() < 1e-2);
            let ahead = v.to_screen(v.camera.centre + up.unit() * (100.0 * scale)) - v.rect.center();
            prop_assert!((ahead - egui::vec2(0.0, -100.0)).length() < 1e-2, "{ahead:?}");
            prop_assert!((v.direction(up) - egui::vec2(0.0, -1.0)).length() < 1e-5);
            let seen = v.bounds(0.0);
            for corner in [v.rect.left_top(), v.rect.right_bottom(), v.rect.right_top(), v.rect.left_bottom()] {
                let place = v.to_world(corner);
                prop_assert!(seen.holds(place));
            }
        }
    }

    #[test]
    fn a_shown_box_lies_inside_the_view() {
        let (sw, ne) = (Xy::new(1_000.0, 2_000.0), Xy::new(21_000.0, 9_000.0));
        let camera = Camera::showing(sw, ne, view().size()).unwrap();
        let v = View::new(camera, view());
        assert!(view().contains(v.to_screen(sw)) && view().contains(v.to_screen(ne)));
        assert_eq!(Camera::showing(sw, ne, Vec2::ZERO), None);
    }
}
