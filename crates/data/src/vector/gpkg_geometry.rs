//! The geometry column of a GeoPackage: a header, then well-known binary.
//!
//! Source: OGC 12-128r19, *GeoPackage Encoding Standard 1.4*, clause 2.1.3 (GeoPackageBinary); ISO 13249-3 for the
//! codes of shapes with heights and measures; the high bits that some programs set instead are read, too.

use super::record::{Pair, Shape};

/// Collections inside one another; real ones have one level or two.
const DEEPEST: usize = 16;
/// Bytes of envelope by its kind: none, plane, with heights, with measures, with both.
const ENVELOPE: [usize; 5] = [0, 32, 48, 48, 64];

/// A GeoPackageBinary as a shape, and the identifier of its reference system.
///
/// # Errors
/// A sentence part when the bytes are not what the standard says; no count in them can ask for more memory than they
/// are long.
pub(crate) fn decode(blob: &[u8]) -> Result<(Shape, i32), String> {
    let header = blob.get(..8).ok_or("its geometry ends inside its header")?;
    if &header[..2] != b"GP" {
        return Err("its geometry is no GeoPackage geometry".into());
    }
    if header[2] != 0 {
        return Err(format!("its geometry has version {}, and 0 is read", header[2]));
    }
    let flags = header[3];
    if flags & 0b10_0000 != 0 {
        return Err("its geometry is of an extended kind, which is not read".into());
    }
    let id = [header[4], header[5], header[6], header[7]];
    let srs = if flags & 1 == 1 { i32::from_le_bytes(id) } else { i32::from_be_bytes(id) };
    let skip = ENVELOPE.get(usize::from(flags >> 1 & 0b111)).ok_or("its geometry has an envelope of unknown kind")?;
    if flags & 0b1_0000 != 0 {
        return Ok((Shape::Nothing, srs));
    }
    let body = blob.get(8 + skip..).ok_or("its geometry ends inside its envelope")?;
    let mut reader = Reader { bytes: body };
    Ok((reader.shape(0)?, srs))
}

struct Reader<'a> {
    bytes: &'a [u8],
}

impl Reader<'_> {
    fn take<const N: usize>(&mut self) -> Result<[u8; N], String> {
        let (head, rest) = self.bytes.split_first_chunk::<N>().ok_or("its geometry ends too early")?;
        self.bytes = rest;
        Ok(*head)
    }

    fn count(&mut self, little: bool, least: usize) -> Result<usize, String> {
        let bytes = self.take::<4>()?;
        let count = if little { u32::from_le_bytes(bytes) } else { u32::from_be_bytes(bytes) } as usize;
        if count.checked_mul(least).is_none_or(|needed| needed > self.bytes.len()) {
            return Err("its geometry counts more points or parts than it holds".into());
        }
        Ok(count)
    }

    fn pair(&mut self, little: bool, dimensions: usize) -> Result<Pair, String> {
        let mut out = [0.0; 2];
        for i in 0..dimensions {
            let bytes = self.take::<8>()?;
            let value = if little { f64::from_le_bytes(bytes) } else { f64::from_be_bytes(bytes) };
            if let Some(place) = out.get_mut(i) {
                *place = value;
            }
        }
        Ok(out)
    }

    fn line(&mut self, little: bool, dimensions: usize) -> Result<Vec<Pair>, String> {
        let count = self.count(little, 8 * dimensions)?;
        (0..count).map(|_| self.pair(little, dimensions)).collect()
    }

    fn rings(&mut self, little: bool, dimensions: usize) -> Result<Vec<Vec<Pair>>, String> {
        let count = self.count(little, 4)?;
        let mut rings = Vec::new();
        for _ in 0..count {
            let ring = self.line(little, dimensions)?;
            if !ring.is_empty() {
                rings.push(ring);
            }
        }
        Ok(rings)
    }

    fn shape(&mut self, depth: usize) -> Result<Shape, String> {
        if depth > DEEPEST {
            return Err(format!("its geometry is nested deeper than {DEEPEST} levels"));
        }
        let [order] = self.take::<1>()?;
        let little = match order {
            0 => false,
            1 => true,
            _ => return Err("its geometry has no byte order".into()),
        };
        let code = self.take::<4>()?;
        let code = if little { u32::from_le_bytes(code) } else { u32::from_be_bytes(code) };
        let (mut z, mut m) = (code & 0x8000_0000 != 0, code & 0x4000_0000 != 0);
        if code & 0x2000_0000 != 0 {
            self.take::<4>()?;
        }
        let plain = code & 0x1fff_ffff;
        match plain / 1_000 {
            0 => {}
            1 => z = true,
            2 => m = true,
            3 => (z, m) = (true, true),
            _ => return Err(format!("its geometry is of the unknown kind {code}")),
        }
        let dimensions = 2 + usize::from(z) + usize::from(m);
        Ok(match plain % 1_000 {
            1 => {
                let pair = self.pair(little, dimensions)?;
                // An empty point is written as one of no numbers.
                if pair.iter().all(|v| v.is_nan()) { Shape::Nothing } else { Shape::Points(vec![pair]) }
            }
            2 => match self.line(little, dimensions)? {
                line if line.is_empty() => Shape::Nothing,
                line => Shape::Lines(vec![line]),
            },
            3 => match self.rings(little, dimensions)? {
                rings if rings.is_empty() => Shape::Nothing,
                rings => Shape::Polygons(vec![rings]),
            },
            4..=7 => {
                let count = self.count(little, 5)?;
                let mut parts = Vec::new();
                for _ in 0..count {
                    parts.push(self.shape(depth + 1)?);
                }
                gathered(parts)
            }
            8..=14 => return Err("its geometry has curves, which are not read".into()),
            15..=17 => return Err("its geometry is a body in space, which is not read".into()),
            _ => return Err(format!("its geometry is of the unknown kind {code}")),
        })
    }
}

/// Parts of one kind as one shape of that kind.
fn gathered(parts: Vec<Shape>) -> Shape {
    let mut parts: Vec<Shape> = parts.into_iter().filter(|p| *p != Shape::Nothing).collect();
    if parts.is_empty() {
        return Shape::Nothing;
    }
    if parts.iter().all(|p| matches!(p, Shape::Points(_))) {
        return Shape::Points(
            parts.into_iter().flat_map(|p| if let Shape::Points(all) = p { all } else { Vec::new() }).collect(),
        );
    }
    if parts.iter().all(|p| matches!(p, Shape::Lines(_))) {
        return Shape::Lines(
            parts.into_iter().flat_map(|p| if let Shape::Lines(all) = p { all } else { Vec::new() }).collect(),
        );
    }
    if parts.iter().all(|p| matches!(p, Shape::Polygons(_))) {
        let all = parts.into_iter().flat_map(|p| if let Shape::Polygons(all) = p { all } else { Vec::new() });
        return Shape::Polygons(all.collect());
    }
    if parts.len() == 1 { parts.swap_remove(0) } else { Shape::Several(parts) }
}

/// A shape as GeoPackageBinary: little-endian, with an envelope, without heights. Rings are closed as they are written.
#[must_use]
pub(crate) fn encode(shape: &Shape, srs: i32) -> Vec<u8> {
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for pair in shape.pairs() {
        for axis in 0..2 {
            low[axis] = low[axis].min(pair[axis]);
            high[axis] = high[axis].max(pair[axis]);
        }
    }
    let empty = low[0] > high[0];
    let mut out = b"GP\0".to_vec();
    // Points need no envelope; an empty shape has none.
    let envelope = !empty && !matches!(shape, Shape::Points(points) if points.len() == 1);
    out.push(1 | if envelope { 0b10 } else { 0 } | if empty { 0b1_0000 } else { 0 });
    out.extend(srs.to_le_bytes());
    if envelope {
        for value in [low[0], high[0], low[1], high[1]] {
            out.extend(value.to_le_bytes());
        }
    }
    write_shape(shape, &mut out);
    out
}

fn begin(code: u32, out: &mut Vec<u8>) {
    out.push(1);
    out.extend(code.to_le_bytes());
}

fn length<T>(all: &[T], out: &mut Vec<u8>) {
    out.extend(u32::try_from(all.len()).unwrap_or(u32::MAX).to_le_bytes());
}

fn write_pairs(pairs: &[Pair], close: bool, out: &mut Vec<u8>) {
    let again = pairs.first().filter(|first| close && pairs.last() != Some(first));
    out.extend(u32::try_from(pairs.len() + usize::from(again.is_some())).unwrap_or(u32::MAX).to_le_bytes());
    for pair in pairs.iter().chain(again) {
        for value in pair {
            out.extend(value.to_le_bytes());
        }
    }
}

fn write_polygon(rings: &[Vec<Pair>], out: &mut Vec<u8>) {
    begin(3, out);
    length(rings, out);
    for ring in rings {
        write_pairs(ring, true, out);
    }
}

fn write_point(pair: &Pair, out: &mut Vec<u8>) {
    begin(1, out);
    for value in pair {
        out.extend(value.to_le_bytes());
    }
}

fn write_line(line: &[Pair], out: &mut Vec<u8>) {
    begin(2, out);
    write_pairs(line, false, out);
}

fn write_shape(shape: &Shape, out: &mut Vec<u8>) {
    match shape {
        Shape::Nothing => {
            begin(7, out);
            out.extend(0_u32.to_le_bytes());
        }
        Shape::Points(points) => {
            if let [one] = points.as_slice() {
                return write_point(one, out);
            }
            begin(4, out);
            length(points, out);
            points.iter().for_each(|p| write_point(p, out));
        }
        Shape::Lines(lines) => {
            if let [one] = lines.as_slice() {
                return write_line(one, out);
            }
            begin(5, out);
            length(lines, out);
            lines.iter().for_each(|l| write_line(l, out));
        }
        Shape::Polygons(polygons) => {
            if let [one] = polygons.as_slice() {
                return write_polygon(one, out);
            }
            begin(6, out);
            length(polygons, out);
            polygons.iter().for_each(|p| write_polygon(p, out));
        }
        Shape::Rings(rings) => {
            begin(6, out);
            length(rings, out);
            rings.iter().for_each(|ring| write_polygon(std::slice::from_ref(ring), out));
        }
        Shape::Several(shapes) => {
            begin(7, out);
            length(shapes, out);
            shapes.iter().for_each(|s| write_shape(s, out));
        }
    }
}

#[cfg(test)]
#[path = "gpkg_geometry_tests.rs"]
mod tests;
