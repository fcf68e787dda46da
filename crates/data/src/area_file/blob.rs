//! Things of an area as GeoPackage geometry, by the reader and writer of the exchange format
//! ([`gpkg_geometry`]). Rings are open in the program and closed in the file.

use crate::vector::gpkg_geometry;
use crate::vector::record::{Pair, Shape};
use crate::vector::ring;
use sparefield_geometry::fields::model::HazardShape;
use sparefield_geometry::position::Xy;

/// Lowest and highest corner of a shape; `None` when it has no vertex.
pub(super) fn extent(shape: &HazardShape) -> Option<(Xy, Xy)> {
    let points = match shape {
        HazardShape::Point(p) => std::slice::from_ref(p),
        HazardShape::Line(line) => line,
        HazardShape::Area { outer, .. } => outer,
    };
    points.iter().fold(None, |all, &p| {
        let (low, high) = all.unwrap_or((p, p));
        Some((Xy::new(low.x.min(p.x), low.y.min(p.y)), Xy::new(high.x.max(p.x), high.y.max(p.y))))
    })
}

/// A shape as a GeoPackage blob.
pub(super) fn encode(shape: &HazardShape, srs_id: i32) -> Vec<u8> {
    let pairs = |points: &[Xy]| points.iter().map(|p| [p.x, p.y]).collect::<Vec<Pair>>();
    let shape = match shape {
        HazardShape::Point(p) => Shape::Points(pairs(std::slice::from_ref(p))),
        HazardShape::Line(line) => Shape::Lines(vec![pairs(line)]),
        HazardShape::Area { outer, holes } => {
            let rings = std::iter::once(outer).chain(holes).filter(|ring| !ring.is_empty());
            Shape::Polygons(vec![rings.map(|ring| pairs(ring)).collect()])
        }
    };
    gpkg_geometry::encode(&shape, srs_id)
}

/// The simple shapes of a GeoPackage blob; none for an empty geometry. Heights and measures are passed over.
///
/// # Errors
/// What is wrong with the blob, in words.
pub(super) fn decode(blob: &[u8]) -> Result<Vec<HazardShape>, String> {
    let line = |pairs: Vec<Pair>| pairs.into_iter().map(|[x, y]| Xy::new(x, y)).collect::<Vec<Xy>>();
    let open = |pairs: Vec<Pair>| {
        let mut points = line(pairs);
        ring::open(&mut points);
        points
    };
    let (shape, _) = gpkg_geometry::decode(blob)?;
    let mut shapes = Vec::new();
    for shape in shape.flatten() {
        match shape {
            Shape::Points(points) => shapes.extend(line(points).into_iter().map(HazardShape::Point)),
            Shape::Lines(lines) => shapes.extend(lines.into_iter().map(|l| HazardShape::Line(line(l)))),
            Shape::Polygons(polygons) => shapes.extend(polygons.into_iter().filter_map(|rings| {
                let mut rings = rings.into_iter().map(open);
                Some(HazardShape::Area { outer: rings.next()?, holes: rings.collect() })
            })),
            // The decoder gives none of these.
            Shape::Rings(_) | Shape::Nothing | Shape::Several(_) => {}
        }
    }
    Ok(shapes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ring() -> impl Strategy<Value = Vec<Xy>> {
        let xy = (-1e7..1e7_f64, -1e7..1e7_f64).prop_map(|(x, y)| Xy::new(x, y));
        proptest::collection::vec(xy, 3..9).prop_filter("an open ring", |r| r.first() != r.last())
    }

    proptest! {
        #[test]
        fn every_shape_comes_back_bit_for_bit(outer in ring(), hole in ring(), srs in any::<i32>()) {
            for shape in [
                HazardShape::Point(outer[0]),
                HazardShape::Line(outer.clone()),
                HazardShape::Area { outer: outer.clone(), holes: vec![hole.clone()] },
            ] {
                prop_assert_eq!(decode(&encode(&shape, srs)), Ok(vec![shape]));
            }
        }

        #[test]
        fn any_bytes_are_a_shape_or_a_reason(bytes in proptest::collection::vec(any::<u8>(), 0..80)) {
            let mut blob = b"GP\0\x01\0\0\0\0".to_vec();
            blob.extend(&bytes);
            let shapes = decode(&blob).unwrap_or_default();
            prop_assert!(shapes.len() <= bytes.len());
            prop_assert!(decode(&bytes).is_err());
        }
    }
}
