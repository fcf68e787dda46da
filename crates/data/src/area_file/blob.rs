//! Geometry as GeoPackage keeps it: a short header with the extent, then well-known binary.
//!
//! # Source
//! OGC 12-128r19 (GeoPackage Encoding Standard 1.4), clause 2.1.3; OGC 06-103r4 (Simple feature access, part 1),
//! clause 8. Read here and not by a library, because a damaged file may state four thousand million vertices: nothing
//! is set aside for more vertices than the bytes that are there can hold.

use sparefield_geometry::fields::model::HazardShape;
use sparefield_geometry::position::Xy;

const POINT: u32 = 1;
const LINE: u32 = 2;
const POLYGON: u32 = 3;
/// MultiPoint, MultiLineString, MultiPolygon, GeometryCollection.
const COLLECTIONS: std::ops::RangeInclusive<u32> = 4..=7;
/// Collections nested deeper are refused.
const DEEPEST: usize = 4;
/// Bits of the header's flags: little-endian, and an extent of four numbers.
const LITTLE_ENDIAN: u8 = 1;
const EXTENT_XY: u8 = 1 << 1;
const EMPTY: u8 = 1 << 4;

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

/// A shape as a GeoPackage blob. Rings are open in the program and closed in the file.
pub(super) fn encode(shape: &HazardShape, srs_id: i32) -> Vec<u8> {
    let mut out = b"GP\0".to_vec();
    let put = |out: &mut Vec<u8>, p: &Xy| {
        out.extend(p.x.to_le_bytes());
        out.extend(p.y.to_le_bytes());
    };
    let count = |out: &mut Vec<u8>, n: usize| out.extend((n as u32).to_le_bytes());
    match extent(shape) {
        // A point is its own extent.
        Some(_) if matches!(shape, HazardShape::Point(_)) => {
            out.push(LITTLE_ENDIAN);
            out.extend(srs_id.to_le_bytes());
        }
        Some((low, high)) => {
            out.push(LITTLE_ENDIAN | EXTENT_XY);
            out.extend(srs_id.to_le_bytes());
            for v in [low.x, high.x, low.y, high.y] {
                out.extend(v.to_le_bytes());
            }
        }
        None => {
            out.push(LITTLE_ENDIAN | EMPTY);
            out.extend(srs_id.to_le_bytes());
        }
    }
    out.push(LITTLE_ENDIAN);
    match shape {
        HazardShape::Point(p) => {
            out.extend(POINT.to_le_bytes());
            put(&mut out, p);
        }
        HazardShape::Line(line) => {
            out.extend(LINE.to_le_bytes());
            count(&mut out, line.len());
            line.iter().for_each(|p| put(&mut out, p));
        }
        HazardShape::Area { outer, holes } => {
            out.extend(POLYGON.to_le_bytes());
            let rings = || std::iter::once(outer).chain(holes).filter(|r| !r.is_empty());
            count(&mut out, rings().count());
            for ring in rings() {
                count(&mut out, ring.len() + 1);
                ring.iter().chain(ring.first()).for_each(|p| put(&mut out, p));
            }
        }
    }
    out
}

/// The simple shapes of a GeoPackage blob; none for an empty geometry. Heights and measures are passed over.
///
/// # Errors
/// What is wrong with the blob, in words.
pub(super) fn decode(blob: &[u8]) -> Result<Vec<HazardShape>, &'static str> {
    const HEADER: usize = 8;
    let (Some(b"GP"), Some(&flags)) = (blob.get(..2), blob.get(3)) else {
        return Err("its geometry does not begin as GeoPackage demands");
    };
    if flags & 0b10_0000 != 0 {
        return Err("its geometry is of an extended kind");
    }
    let extent_bytes = match (flags >> 1) & 0b111 {
        0 => 0,
        1 => 32,
        2 | 3 => 48,
        4 => 64,
        _ => return Err("the header of its geometry is damaged"),
    };
    let mut reader = Reader { bytes: blob.get(HEADER + extent_bytes..).ok_or(SHORT)? };
    let mut shapes = Vec::new();
    reader.shape(&mut shapes, 0)?;
    Ok(shapes)
}

const SHORT: &str = "its geometry ends too early";

struct Reader<'a> {
    bytes: &'a [u8],
}

impl Reader<'_> {
    fn take<const N: usize>(&mut self) -> Result<[u8; N], &'static str> {
        let (head, rest) = self.bytes.split_first_chunk::<N>().ok_or(SHORT)?;
        self.bytes = rest;
        Ok(*head)
    }
    fn number(&mut self, little: bool) -> Result<u32, &'static str> {
        let bytes = self.take()?;
        Ok(if little { u32::from_le_bytes(bytes) } else { u32::from_be_bytes(bytes) })
    }
    /// A count of things of at least `least` bytes each, no more than there can be.
    fn count(&mut self, little: bool, least: usize) -> Result<usize, &'static str> {
        let n = self.number(little)? as usize;
        if n > self.bytes.len() / least { Err(SHORT) } else { Ok(n) }
    }
    fn point(&mut self, little: bool, numbers: usize) -> Result<Xy, &'static str> {
        let mut xy = [0.0; 2];
        for i in 0..numbers {
            let bytes = self.take()?;
            let value = if little { f64::from_le_bytes(bytes) } else { f64::from_be_bytes(bytes) };
            if let Some(slot) = xy.get_mut(i) {
                *slot = value;
            }
        }
        Ok(Xy::new(xy[0], xy[1]))
    }
    fn points(&mut self, little: bool, numbers: usize) -> Result<Vec<Xy>, &'static str> {
        let n = self.count(little, 8 * numbers)?;
        (0..n).map(|_| self.point(little, numbers)).collect()
    }
    fn shape(&mut self, shapes: &mut Vec<HazardShape>, depth: usize) -> Result<(), &'static str> {
        let [order] = self.take()?;
        let little = order & 1 == LITTLE_ENDIAN;
        // Z, M and ZM are 1000, 2000 and 3000 more (ISO), or bits at the top (as some programs write).
        let code = self.number(little)?;
        let (kind, dimension) = ((code & 0xFFFF) % 1000, (code & 0xFFFF) / 1000);
        let extra = match dimension {
            0 => (code >> 30).count_ones() as usize,
            1 | 2 => 1,
            3 => 2,
            _ => return Err("its geometry is of an unknown kind"),
        };
        let numbers = 2 + extra;
        match kind {
            POINT => {
                let at = self.point(little, numbers)?;
                // An empty point is one of NaN.
                if !(at.x.is_nan() && at.y.is_nan()) {
                    shapes.push(HazardShape::Point(at));
                }
            }
            LINE => {
                let line = self.points(little, numbers)?;
                if !line.is_empty() {
                    shapes.push(HazardShape::Line(line));
                }
            }
            POLYGON => {
                let rings = self.count(little, 4)?;
                let mut rings = (0..rings).map(|_| self.points(little, numbers)).collect::<Result<Vec<_>, _>>()?;
                for ring in &mut rings {
                    if ring.len() > 1 && ring.first() == ring.last() {
                        ring.pop();
                    }
                }
                let mut rings = rings.into_iter();
                if let Some(outer) = rings.next() {
                    shapes.push(HazardShape::Area { outer, holes: rings.collect() });
                }
            }
            kind if COLLECTIONS.contains(&kind) => {
                if depth >= DEEPEST {
                    return Err("its geometry is nested too deeply");
                }
                for _ in 0..self.count(little, 5)? {
                    self.shape(shapes, depth + 1)?;
                }
            }
            _ => return Err("its geometry is curved or of an unknown kind"),
        }
        Ok(())
    }
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

    #[test]
    fn heights_measures_and_the_other_byte_order_are_read() {
        // POINT ZM (1 2 3 4), big-endian.
        let mut blob = b"GP\0\x00\0\0\0\0\x00".to_vec();
        blob.extend(3001_u32.to_be_bytes());
        for v in [1.0_f64, 2.0, 3.0, 4.0] {
            blob.extend(v.to_be_bytes());
        }
        assert_eq!(decode(&blob), Ok(vec![HazardShape::Point(Xy::new(1.0, 2.0))]));
    }

    #[test]
    fn a_count_of_millions_without_bytes_is_refused() {
        let mut blob = b"GP\0\x01\0\0\0\0\x01".to_vec();
        blob.extend(2_u32.to_le_bytes());
        blob.extend(u32::MAX.to_le_bytes());
        assert_eq!(decode(&blob), Err(SHORT));
    }
}
