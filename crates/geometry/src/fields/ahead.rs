//! What stands on the boundary ahead of a place in a field.

use super::hazards::segments;
use super::model::{BoundaryEdge, Field};
use crate::position::{Bearing, Xy};

/// The side of a field that a straight line meets first, and how far off, metres; `None` from outside, away from it.
///
/// A side of which nothing is entered is unknown.
#[must_use]
pub fn side_ahead(field: &Field, from: Xy, towards: Bearing) -> Option<(BoundaryEdge, f64)> {
    let along = towards.unit();
    let meets = |(i, (a, b)): (usize, (Xy, Xy))| {
        let side = b - a;
        let across = along.cross(side);
        let (distance, part) = ((a - from).cross(side) / across, (a - from).cross(along) / across);
        let edge = field.edges.get(i).copied().unwrap_or(BoundaryEdge::UNKNOWN);
        (distance >= 0.0 && (0.0..=1.0).contains(&part)).then_some((edge, distance))
    };
    segments(&field.outer, true).enumerate().filter_map(meets).min_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fields::model::EdgeKind;

    #[test]
    fn the_nearest_side_on_the_way_is_found() {
        let corners = [(0.0, 0.0), (100.0, 0.0), (100.0, 300.0), (0.0, 300.0)];
        let mut field = Field::new("f", corners.map(|(x, y)| Xy::new(x, y)).to_vec());
        let wall = BoundaryEdge { kind: EdgeKind::Wall, height_m: Some(2.0) };
        field.edges = vec![BoundaryEdge::UNKNOWN, BoundaryEdge::UNKNOWN, wall];
        let ahead = |x: f64, y: f64, deg: f64| side_ahead(&field, Xy::new(x, y), Bearing::from_deg(deg));
        assert_eq!(ahead(50.0, 290.0, 0.0), Some((wall, 10.0)));
        let (edge, distance) = ahead(50.0, 290.0, 90.0).unwrap();
        assert_eq!(edge, BoundaryEdge::UNKNOWN);
        assert!((distance - 50.0).abs() < 1e-9);
        assert_eq!(ahead(50.0, 310.0, 0.0), None);
        assert_eq!(ahead(f64::NAN, 10.0, 0.0), None);
    }
}
