//! Hazards found by place.

use super::model::{Hazard, HazardShape};
use super::strip::{bounds, inside_ring};
use crate::position::Xy;
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};
use std::sync::Arc;

/// Hazards with a spatial index over their extents.
#[derive(Clone, Debug, Default)]
pub struct HazardIndex {
    hazards: Vec<Arc<Hazard>>,
    tree: RTree<GeomWithData<Rectangle<[f64; 2]>, usize>>,
}

impl HazardIndex {
    /// Builds the index. A hazard without a finite place is kept in the list and never found.
    #[must_use]
    pub fn new(hazards: impl IntoIterator<Item: Into<Arc<Hazard>>>) -> Self {
        let hazards: Vec<Arc<Hazard>> = hazards.into_iter().map(Into::into).collect();
        let boxes = hazards
            .iter()
            .enumerate()
            .filter_map(|(i, hazard)| {
                let (low, high) = extent(&hazard.shape)?;
                Some(GeomWithData::new(Rectangle::from_corners([low.x, low.y], [high.x, high.y]), i))
            })
            .collect();
        Self { tree: RTree::bulk_load(boxes), hazards }
    }
    /// Every hazard, in the caller's order.
    #[must_use]
    pub fn all(&self) -> &[Arc<Hazard>] {
        &self.hazards
    }
    /// Hazards whose extent meets a box, in the caller's order.
    #[must_use]
    pub fn near(&self, low: Xy, high: Xy) -> Vec<&Hazard> {
        let mut found: Vec<usize> = self.numbers_near(low, high).collect();
        found.sort_unstable();
        found.into_iter().map(|i| self.hazards[i].as_ref()).collect()
    }
    /// Places in the caller's order of the hazards whose extent meets a box, in no order.
    pub(crate) fn numbers_near(&self, low: Xy, high: Xy) -> impl Iterator<Item = usize> + '_ {
        let wanted = AABB::from_corners([low.x, low.y], [high.x, high.y]);
        self.tree.locate_in_envelope_intersecting(&wanted).map(|b| b.data)
    }
}

fn extent(shape: &HazardShape) -> Option<(Xy, Xy)> {
    let (low, high) = match shape {
        HazardShape::Point(p) => (*p, *p),
        HazardShape::Line(line) => bounds(line)?,
        HazardShape::Area { outer, .. } => bounds(outer)?,
    };
    [low.x, low.y, high.x, high.y].iter().all(|v| v.is_finite()).then_some((low, high))
}

/// The vertices of a hazard's line, outline or point, and whether the last joins the first.
pub(crate) fn outline(shape: &HazardShape) -> (&[Xy], bool) {
    match shape {
        HazardShape::Point(p) => (core::slice::from_ref(p), false),
        HazardShape::Line(line) => (line, false),
        HazardShape::Area { outer, .. } => (outer, true),
    }
}

/// The segments of a chain of vertices; a single vertex is a segment of no length.
pub(crate) fn segments(chain: &[Xy], closed: bool) -> impl Iterator<Item = (Xy, Xy)> + '_ {
    let count = if closed || chain.len() == 1 { chain.len() } else { chain.len().saturating_sub(1) };
    (0..count).map(move |i| (chain[i], chain[(i + 1) % chain.len()]))
}

/// Shortest distance between a hazard's outline and a ring's, metres.
pub(super) fn distance_m(shape: &HazardShape, ring: &[Xy]) -> f64 {
    let (chain, closed) = outline(shape);
    let mut nearest = f64::INFINITY;
    for (a, b) in segments(chain, closed) {
        for (p, q) in segments(ring, true) {
            nearest = nearest.min(between(a, b, p, q));
        }
    }
    nearest
}

/// Distance from a place to a hazard, metres; 0 inside its area.
#[must_use]
pub fn distance_to_m(shape: &HazardShape, place: Xy) -> f64 {
    if let HazardShape::Area { outer, holes } = shape
        && inside_ring(outer, place)
        && !holes.iter().any(|hole| inside_ring(hole, place))
    {
        return 0.0;
    }
    let (chain, closed) = outline(shape);
    to_chain_m(chain, closed, place)
}

/// Distance from a place to a chain of vertices, metres; infinite where there is none.
pub(crate) fn to_chain_m(chain: &[Xy], closed: bool, place: Xy) -> f64 {
    segments(chain, closed).map(|(a, b)| to_segment(place, a, b)).fold(f64::INFINITY, f64::min)
}

fn between(a: Xy, b: Xy, p: Xy, q: Xy) -> f64 {
    let (ab, pq) = (b - a, q - p);
    let sides = ab.cross(p - a) * ab.cross(q - a);
    if sides < 0.0 && pq.cross(a - p) * pq.cross(b - p) < 0.0 {
        return 0.0;
    }
    to_segment(a, p, q).min(to_segment(b, p, q)).min(to_segment(p, a, b)).min(to_segment(q, a, b))
}

fn to_segment(p: Xy, a: Xy, b: Xy) -> f64 {
    let ab = b - a;
    let length2 = ab.dot(ab);
    let t = if length2 > 0.0 { ((p - a).dot(ab) / length2).clamp(0.0, 1.0) } else { 0.0 };
    p.distance(a + ab * t)
}

#[cfg(test)]
mod tests {
    use super::super::model::HazardKind;
    use super::*;

    fn mast(x: f64, y: f64) -> Hazard {
        Hazard {
            id: format!("{x}"),
            kind: HazardKind::Mast,
            shape: HazardShape::Point(Xy::new(x, y)),
            height_m: None,
            pole_heights_m: Vec::new(),
            name: String::new(),
            other: vec![],
        }
    }

    #[test]
    fn finds_what_is_near_in_order() {
        let index = HazardIndex::new(vec![mast(5.0, 5.0), mast(f64::NAN, 0.0), mast(90.0, 0.0), mast(1.0, 1.0)]);
        let found = index.near(Xy::new(0.0, 0.0), Xy::new(10.0, 10.0));
        assert_eq!(found.iter().map(|h| h.id.as_str()).collect::<Vec<_>>(), ["5", "1"]);
        assert_eq!(index.all().len(), 4);
    }

    #[test]
    fn distances() {
        let square = [Xy::new(0.0, 0.0), Xy::new(10.0, 0.0), Xy::new(10.0, 10.0), Xy::new(0.0, 10.0)];
        assert_eq!(distance_m(&HazardShape::Point(Xy::new(13.0, 14.0)), &square), 5.0);
        let line = |a: (f64, f64), b: (f64, f64)| HazardShape::Line(vec![Xy::new(a.0, a.1), Xy::new(b.0, b.1)]);
        assert_eq!(distance_m(&line((-5.0, 5.0), (5.0, 5.0)), &square), 0.0);
        assert_eq!(distance_m(&line((-5.0, 12.0), (15.0, 12.0)), &square), 2.0);
        assert_eq!(distance_m(&HazardShape::Line(vec![]), &square), f64::INFINITY);
    }
}
