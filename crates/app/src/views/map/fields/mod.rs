//! Fields by verdict, their strips, and what stands on the boundary of the chosen one.
//!
//! Verdicts differ by fill, pattern and number together, so that no one needs colour: roomy is solid with its number in
//! a filled disc, workable hatched with its number in a ring, last resort dotted with a bare number, out an outline.

mod areas;
mod marks;

pub(super) use areas::draw_areas;
pub(super) use marks::draw_marks;

use super::MapInput;
use super::camera::{Bounds, View};
use super::ground::Area;
use egui::{Color32, Pos2};
use geo::algorithm::{Contains as _, InteriorPoint as _};
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::fields::verdict::{RankedField, Verdict};
use sparefield_geometry::position::Xy;
use std::cell::OnceCell;
use std::collections::HashMap;
use std::sync::Arc;

/// How far beside a small field a click still finds it.
const REACH_PT: f32 = 8.0;
/// What is derived from one field, when it is first needed.
struct Derived {
    of: Arc<Field>,
    bounds: Bounds,
    area: OnceCell<Box<Area>>,
    label_at: OnceCell<Xy>,
}

impl Derived {
    fn new(of: &Arc<Field>) -> Self {
        let bounds = Bounds::around(&of.outer);
        Self { of: Arc::clone(of), bounds, area: OnceCell::new(), label_at: OnceCell::new() }
    }
}

/// What is derived from the fields, and whose verdict is whose.
#[derive(Default)]
pub(super) struct FieldCache {
    revision: Option<(u64, usize)>,
    derived: Vec<Derived>,
    place: Vec<Option<usize>>,
}

impl FieldCache {
    pub(super) fn refresh(&mut self, input: &MapInput<'_>) {
        let now = Some((input.revision, input.fields.len()));
        if self.revision != now {
            self.revision = now;
            // What an edit did not touch is the same thing as before, wherever it stands now.
            let before = std::mem::take(&mut self.derived).into_iter().map(|d| (Arc::as_ptr(&d.of), d));
            let mut before: HashMap<*const Field, Derived> = before.collect();
            let derived =
                input.fields.iter().map(|f| before.remove(&Arc::as_ptr(f)).unwrap_or_else(|| Derived::new(f)));
            self.derived = derived.collect();
        }
        self.place.clear();
        self.place.resize(input.fields.len(), None);
        for (i, ranked) in input.ranked.unwrap_or_default().iter().enumerate() {
            if let Some(slot) = self.place.get_mut(ranked.index) {
                *slot = Some(i);
            }
        }
    }

    fn area(&self, i: usize, field: &Field) -> Option<&Area> {
        self.derived.get(i).map(|d| d.area.get_or_init(|| Box::new(Area::new(&field.outer, &field.holes))).as_ref())
    }

    /// Where the number stands: the centroid, or a point well inside where that lies outside.
    fn label_at(&self, i: usize, field: &Field) -> Xy {
        self.derived.get(i).map_or_else(|| field.centroid(), |d| *d.label_at.get_or_init(|| inner_point(field)))
    }

    fn ranked<'a>(&self, i: usize, input: &MapInput<'a>) -> Option<&'a RankedField> {
        let place = self.place.get(i).copied().flatten()?;
        input.ranked?.get(place)
    }

    /// The field under a point of the screen; small fields are found from beside them too.
    pub(super) fn hit(&self, view: &View, at: Pos2, fields: &[Arc<Field>]) -> Option<usize> {
        let place = view.to_world(at);
        let reach = f64::from(REACH_PT) * view.camera.metres_per_point;
        let mut best: Option<(f64, usize)> = None;
        for (i, (field, derived)) in fields.iter().zip(&self.derived).enumerate() {
            let b = &derived.bounds;
            let near = Bounds { min: b.min - Xy::new(reach, reach), max: b.max + Xy::new(reach, reach) };
            if !near.holds(place) {
                continue;
            }
            // Inside counts as no distance; of several, the smallest field wins: it is the harder one to hit.
            let inside = inside(&field.outer, place) && !field.holes.iter().any(|h| inside(h, place));
            let far = if inside { 0.0 } else { distance_to_ring(&field.outer, place) };
            let size = (b.max.x - b.min.x) * (b.max.y - b.min.y);
            let measure = if inside { -1.0 / size.max(1.0) } else { far };
            if far <= reach && best.is_none_or(|(m, _)| measure < m) {
                best = Some((measure, i));
            }
        }
        best.map(|(_, i)| i)
    }
}

fn inner_point(field: &Field) -> Xy {
    let centroid = field.centroid();
    let ring = |points: &[Xy]| geo::LineString::new(points.iter().map(|p| geo::Coord { x: p.x, y: p.y }).collect());
    let polygon = geo::Polygon::new(ring(&field.outer), field.holes.iter().map(|h| ring(h)).collect());
    if field.outer.len() < 3 || polygon.contains(&geo::Coord { x: centroid.x, y: centroid.y }) {
        return centroid;
    }
    polygon.interior_point().map_or(centroid, |p| Xy::new(p.x(), p.y()))
}

/// Whether a point lies inside a ring, by counting crossings of a ray.
pub(super) fn inside(ring: &[Xy], p: Xy) -> bool {
    let mut odd = false;
    for (i, a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x) {
            odd = !odd;
        }
    }
    odd
}

fn distance_to_ring(ring: &[Xy], p: Xy) -> f64 {
    let mut least = f64::INFINITY;
    for (i, &a) in ring.iter().enumerate() {
        let d = ring[(i + 1) % ring.len()] - a;
        let length2 = d.dot(d);
        let t = if length2 > 0.0 { ((p - a).dot(d) / length2).clamp(0.0, 1.0) } else { 0.0 };
        least = least.min(p.distance(a + d * t));
    }
    least
}

/// How one field is drawn.
#[derive(Clone, Copy)]
struct Manner {
    colour: Color32,
    verdict: Option<Verdict>,
    doubtful: bool,
    dimmed: bool,
}

/// How much of a field is left when something else is looked for.
const DIMMED: f32 = 0.3;

impl Manner {
    fn strength(self, alpha: f32) -> f32 {
        if self.dimmed { alpha * DIMMED } else { alpha }
    }
}

fn manner(cache: &FieldCache, i: usize, input: &MapInput<'_>) -> Manner {
    let c = &input.theme.colours;
    let verdict = cache.ranked(i, input).map(|r| r.verdict);
    let colour = match verdict {
        None => c.neutral,
        Some(Verdict::Roomy) => c.roomy,
        Some(Verdict::Workable) => c.workable,
        Some(Verdict::LastResort) => c.last_resort,
        Some(Verdict::Out) => c.out,
    };
    Manner { colour, verdict, doubtful: (input.doubtful)(i), dimmed: (input.dimmed)(i) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distance_and_inside_of_a_square() {
        let ring = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)].map(|(x, y)| Xy::new(x, y));
        assert!(inside(&ring, Xy::new(5.0, 5.0)));
        assert!(!inside(&ring, Xy::new(15.0, 5.0)));
        assert_eq!(distance_to_ring(&ring, Xy::new(14.0, 13.0)), 5.0);
        assert_eq!(distance_to_ring(&ring, Xy::new(5.0, 8.0)), 2.0);
    }
}
