//! The area as files: the terrain as GeoTIFF, everything else as GeoJSON (RFC 7946) and JSON.

use crate::features::{Area, Home, STRIP_LENGTH_M, STRIP_WIDTH_M};
use crate::{CORNER_M, SEED, cover, names};
use anyhow::{Context, Result};
use sparefield_data::frame::Frame;
use sparefield_data::vector::value_columns;
use sparefield_geometry::fields::model::{BoundaryEdge, Day, Field, Hazard, HazardKind, HazardShape, QuietZone, Stock};
use sparefield_geometry::grid::{GridFrame, Terrain};
use sparefield_geometry::position::{Bearing, Xy};
use std::fmt::Write as _;
use std::io::Cursor;
use tiff::encoder::TiffEncoder;
use tiff::encoder::compression::{CompressionAlgorithm, Deflate, DeflateLevel};
use tiff::tags::Tag;

/// Stands in every file.
pub const NOTE: &str =
    "Invented for demonstration with Sparefield. It shows no real place; never use it for a real flight.";
/// What the files may be used for.
pub const LICENCE: &str = "CC0-1.0";
/// No-data value named in the terrain file; no cell has it.
pub const NO_DATA: &str = "-9999";
/// Rows in one strip of the terrain file.
const STRIP_ROWS: usize = 64;

/// The name and content of every file of the area.
///
/// # Errors
/// When a position has no longitude and latitude, or a file cannot be encoded.
pub fn files(area: &Area) -> Result<Vec<(&'static str, Vec<u8>)>> {
    let globe = Globe { frame: Frame::from_user("EPSG:32630").context("UTM zone 30 north")? };
    let truth = cover::truth(area, SEED);
    Ok(vec![
        ("terrain.tif", terrain(&area.relief.terrain)?),
        ("land-cover.tif", classes(&cover::mapped(&truth, SEED))?),
        ("surface.tif", terrain(&cover::surface(area, &truth, SEED))?),
        ("fields.geojson", collection("fields", &fields(area, &globe)?)),
        ("hazards.geojson", collection("hazards", &hazards(area, &globe)?)),
        ("quiet-zones.geojson", collection("quiet-zones", &quiet_zones(area, &globe)?)),
        ("lanes.geojson", collection("lanes", &lines(area, &globe)?)),
        ("home.json", home(area, &globe)?.into_bytes()),
    ])
}

/// From local metres to longitude and latitude.
struct Globe {
    frame: Frame,
}

impl Globe {
    /// `[lon,lat]` with seven decimals, about a centimetre.
    fn place(&self, p: Xy) -> Result<String> {
        let at = self.frame.to_lonlat(p + Xy::new(CORNER_M.0, CORNER_M.1))?;
        Ok(format!("[{:.7},{:.7}]", at.lon_deg, at.lat_deg))
    }
    /// True compass degrees of a direction in the frame.
    fn true_deg(&self, heading: Bearing, at: Xy) -> Result<f64> {
        Ok(self.frame.true_bearing(heading, at + Xy::new(CORNER_M.0, CORNER_M.1))?.deg())
    }
    fn places(&self, line: &[Xy]) -> Result<String> {
        let all: Result<Vec<String>> = line.iter().map(|&p| self.place(p)).collect();
        Ok(format!("[{}]", all?.join(",")))
    }
    fn ring(&self, ring: &[Xy]) -> Result<String> {
        let closed: Vec<Xy> = ring.iter().chain(ring.first()).copied().collect();
        self.places(&closed)
    }
    fn polygon(&self, outer: &[Xy], holes: &[Vec<Xy>]) -> Result<String> {
        let mut rings = vec![self.ring(outer)?];
        for hole in holes {
            rings.push(self.ring(hole)?);
        }
        Ok(format!("{{\"type\":\"Polygon\",\"coordinates\":[{}]}}", rings.join(",")))
    }
}

/// Properties of one feature, in order.
#[derive(Default)]
struct Properties(Vec<String>);

impl Properties {
    fn text(mut self, key: &str, value: &str) -> Self {
        self.0.push(format!("{}:{}", quoted(key), quoted(value)));
        self
    }
    /// A number with one decimal, or null.
    fn number(mut self, key: &str, value: Option<f64>) -> Self {
        self.0.push(format!("{}:{}", quoted(key), one_decimal(value)));
        self
    }
    fn raw(mut self, key: &str, value: &str) -> Self {
        self.0.push(format!("{}:{value}", quoted(key)));
        self
    }
    fn feature(self, geometry: &str) -> String {
        format!("{{\"type\":\"Feature\",\"properties\":{{{}}},\"geometry\":{geometry}}}", self.0.join(","))
    }
}

fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

fn one_decimal(value: Option<f64>) -> String {
    value.map_or_else(|| "null".to_owned(), |v| format!("{v:.1}"))
}

/// A feature collection with one feature on each line, so that changes can be read.
fn collection(name: &str, features: &[String]) -> Vec<u8> {
    let mut out = String::from("{\"type\":\"FeatureCollection\",\n");
    let _ = writeln!(out, "\"name\":{},\n\"note\":{},\n\"licence\":{},", quoted(name), quoted(NOTE), quoted(LICENCE));
    let _ = writeln!(out, "\"features\":[\n{}\n]}}", features.join(",\n"));
    out.into_bytes()
}

/// A calendar date as in ISO 8601.
///
/// Source: the civil-calendar arithmetic of E. G. Richards, "Mapping Time" (1998), by Julian day number.
#[must_use]
pub fn iso_date(day: Day) -> String {
    let j = i64::from(day.days_since_epoch) + 2_440_588;
    let f = j + 1_401 + (((4 * j + 274_277) / 146_097) * 3) / 4 - 38;
    let e = 4 * f + 3;
    let h = 5 * ((e % 1_461) / 4) + 2;
    let (d, m) = ((h % 153) / 5 + 1, (h / 153 + 2) % 12 + 1);
    let y = e / 1_461 - 4_716 + (12 + 2 - m) / 12;
    format!("{y:04}-{m:02}-{d:02}")
}

fn edge(edge: &BoundaryEdge) -> String {
    format!("{{\"kind\":{},\"height_m\":{}}}", quoted(edge.kind.words()), one_decimal(edge.height_m))
}

/// Columns of the seasons and of what people wrote.
const SEASONS: [&str; 5] = ["stock_seen", "calendar", "hazard_remarks", "access", "permission"];

fn field(f: &Field, globe: &Globe) -> Result<String> {
    let stock = match f.stock {
        Stock::None => "none",
        Stock::Present => "present",
        Stock::Unknown => "unknown",
    };
    let mut p = Properties::default().text("id", &f.id);
    if !f.name.is_empty() {
        p = p.text("name", &f.name);
    }
    p = p.text("surface", f.surface.words()).text("stock", stock);
    if let Some(day) = f.surveyed {
        p = p.text("surveyed", &iso_date(day));
    }
    for (column, value) in value_columns(f).into_iter().filter(|(c, _)| SEASONS.contains(c)) {
        p = p.raw(column, &value.to_string());
    }
    if !f.notes.is_empty() {
        p = p.text("notes", &f.notes);
    }
    let edges: Vec<String> = f.edges.iter().map(edge).collect();
    Ok(p.raw("edges", &format!("[{}]", edges.join(","))).feature(&globe.polygon(&f.outer, &f.holes)?))
}

fn fields(area: &Area, globe: &Globe) -> Result<Vec<String>> {
    area.fields.iter().map(|f| field(f, globe)).collect()
}

fn hazard(h: &Hazard, globe: &Globe) -> Result<String> {
    let geometry = match &h.shape {
        HazardShape::Point(p) => format!("{{\"type\":\"Point\",\"coordinates\":{}}}", globe.place(*p)?),
        HazardShape::Line(l) => format!("{{\"type\":\"LineString\",\"coordinates\":{}}}", globe.places(l)?),
        HazardShape::Area { outer, holes } => globe.polygon(outer, holes)?,
    };
    let mut p = Properties::default().text("id", &h.id).text("kind", h.kind.words());
    p = p.number("height_m", if h.kind == HazardKind::Water { Some(0.0) } else { h.height_m });
    if !h.name.is_empty() {
        p = p.text("name", &h.name);
    }
    Ok(p.feature(&geometry))
}

fn hazards(area: &Area, globe: &Globe) -> Result<Vec<String>> {
    area.hazards.iter().map(|h| hazard(h, globe)).collect()
}

fn quiet_zones(area: &Area, globe: &Globe) -> Result<Vec<String>> {
    let one = |z: &QuietZone| {
        let p = Properties::default().text("name", &z.name).number("below_agl_m", Some(z.below_agl_m));
        Ok(p.feature(&globe.polygon(&z.outer, &[])?))
    };
    area.quiet_zones.iter().map(one).collect()
}

fn lines(area: &Area, globe: &Globe) -> Result<Vec<String>> {
    let mut out = Vec::new();
    for line in &area.lines {
        let mut p = Properties::default().text("kind", line.kind);
        if !line.name.is_empty() {
            p = p.text("name", line.name);
        }
        out.push(p.feature(&format!("{{\"type\":\"LineString\",\"coordinates\":{}}}", globe.places(&line.line)?)));
    }
    Ok(out)
}

/// Name of a runway end from the direction flown when landing on it, in tens of degrees.
fn end_name(heading_deg: f64) -> String {
    let tens = (heading_deg / 10.0).round() as i64 % 36;
    format!("{:02}", if tens == 0 { 36 } else { tens })
}

fn home(area: &Area, globe: &Globe) -> Result<String> {
    let Home { middle, axis, elevation_m, ends_m, start } = area.home;
    let half = axis.unit() * (STRIP_LENGTH_M / 2.0);
    let mut ends = Vec::new();
    for (at, heading, height_m) in [(middle - half, axis, ends_m[0]), (middle + half, axis.reversed(), ends_m[1])] {
        ends.push(format!(
            "      {{\"name\": \"{}\", \"heading_deg\": {:.1}, \"threshold\": {}, \"elevation_m\": {height_m:.1}}}",
            end_name(heading.deg()),
            globe.true_deg(heading, at)?,
            globe.place(at)?
        ));
    }
    let mut out = String::from("{\n");
    let _ = writeln!(out, "  \"note\": {},\n  \"licence\": {},", quoted(NOTE), quoted(LICENCE));
    let _ = writeln!(out, "  \"name\": {},\n  \"field_id\": \"F001\",", quoted(names::HOME));
    let _ = writeln!(out, "  \"position\": {},\n  \"elevation_m\": {elevation_m:.1},", globe.place(middle)?);
    let _ =
        writeln!(out, "  \"runway\": {{\n    \"length_m\": {STRIP_LENGTH_M:.1},\n    \"width_m\": {STRIP_WIDTH_M:.1},");
    let _ = writeln!(out, "    \"surface\": \"grazed grass\",\n    \"ends\": [\n{}\n    ]\n  }},", ends.join(",\n"));
    let _ = writeln!(out, "  \"start\": {{\n    \"position\": {},", globe.place(start)?);
    let _ = writeln!(out, "    \"height_agl_m\": 609.6,\n    \"heading_deg\": 200.0,");
    let _ =
        writeln!(out, "    \"wind\": {{\"from_deg\": 240.0, \"speed_ms\": 6.17, \"text\": \"240/12kt\"}}\n  }}\n}}");
    Ok(out)
}

/// Bytes of one strip after the floating-point predictor: within each row, the bytes of all samples sorted by
/// significance (highest first), each byte less the one before it.
///
/// Source: Adobe Photoshop TIFF Technical Note 3 (2005).
fn predicted(rows: &[f32], columns: usize) -> Vec<u8> {
    let mut out = Vec::with_capacity(rows.len() * 4);
    for row in rows.chunks(columns) {
        let mut planes = vec![0_u8; row.len() * 4];
        for (i, sample) in row.iter().enumerate() {
            for (k, byte) in sample.to_be_bytes().into_iter().enumerate() {
                planes[k * row.len() + i] = byte;
            }
        }
        let mut before = 0_u8;
        for byte in planes {
            out.push(byte.wrapping_sub(before));
            before = byte;
        }
    }
    out
}

/// How the samples of a file are stored.
#[derive(Clone, Copy)]
struct Stored {
    bits: u16,
    /// TIFF's sample format: 1 unsigned, 3 floating point.
    format: u16,
    /// TIFF's predictor: 2 differences, 3 floating point.
    predictor: u16,
}

/// A grid of heights as float32 GeoTIFF.
fn terrain(terrain: &Terrain) -> Result<Vec<u8>> {
    let columns = terrain.frame.cols;
    let strips = terrain.heights_m.chunks(STRIP_ROWS * columns).map(|strip| predicted(strip, columns)).collect();
    geotiff(&terrain.frame, strips, Stored { bits: 32, format: 3, predictor: 3 }, NO_DATA)
}

/// The land-cover map as uint8 GeoTIFF.
fn classes(classes: &[u8]) -> Result<Vec<u8>> {
    let frame = cover::cover_frame();
    let differences = |row: &[u8]| -> Vec<u8> {
        let before = std::iter::once(0).chain(row.iter().copied());
        row.iter().zip(before).map(|(v, b)| v.wrapping_sub(b)).collect()
    };
    let strips = classes
        .chunks(STRIP_ROWS * frame.cols)
        .map(|strip| strip.chunks(frame.cols).flat_map(differences).collect())
        .collect();
    geotiff(&frame, strips, Stored { bits: 8, format: 1, predictor: 2 }, "0")
}

/// A GeoTIFF of strips whose predictor has been applied: deflate, pixel is area.
///
/// Source: OGC 19-008r4 (GeoTIFF 1.1) for the keys.
fn geotiff(frame: &GridFrame, strips: Vec<Vec<u8>>, stored: Stored, no_data: &str) -> Result<Vec<u8>> {
    let (columns, rows) = (frame.cols, frame.rows);
    let mut bytes = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut bytes)?;
    let mut directory = encoder.image_directory()?;
    let (mut offsets, mut counts) = (Vec::new(), Vec::new());
    for strip in strips {
        let mut packed = Vec::new();
        Deflate::with_level(DeflateLevel::Best).write_to(&mut packed, &strip)?;
        offsets.push(u32::try_from(directory.write_data(&packed[..])?)?);
        counts.push(u32::try_from(packed.len())?);
    }
    directory.write_tag(Tag::ImageWidth, u32::try_from(columns)?)?;
    directory.write_tag(Tag::ImageLength, u32::try_from(rows)?)?;
    directory.write_tag(Tag::BitsPerSample, stored.bits)?;
    directory.write_tag(Tag::Compression, 8_u16)?;
    directory.write_tag(Tag::PhotometricInterpretation, 1_u16)?;
    directory.write_tag(Tag::ImageDescription, NOTE)?;
    directory.write_tag(Tag::StripOffsets, &offsets[..])?;
    directory.write_tag(Tag::SamplesPerPixel, 1_u16)?;
    directory.write_tag(Tag::RowsPerStrip, u32::try_from(STRIP_ROWS)?)?;
    directory.write_tag(Tag::StripByteCounts, &counts[..])?;
    directory.write_tag(Tag::PlanarConfiguration, 1_u16)?;
    directory.write_tag(Tag::Predictor, stored.predictor)?;
    directory.write_tag(Tag::SampleFormat, stored.format)?;
    let west_m = CORNER_M.0 + frame.origin.x - frame.cell_m / 2.0;
    let north_m = CORNER_M.1 + frame.origin.y + frame.cell_m / 2.0;
    directory.write_tag(Tag::ModelPixelScaleTag, &[frame.cell_m, frame.cell_m, 0.0][..])?;
    directory.write_tag(Tag::ModelTiepointTag, &[0.0, 0.0, 0.0, west_m, north_m, 0.0][..])?;
    // GTModelType projected, GTRasterType pixel-is-area, ProjectedCRS 32630, ProjLinearUnits metre.
    let keys: [u16; 20] = [1, 1, 0, 4, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32630, 3076, 0, 1, 9001];
    directory.write_tag(Tag::GeoKeyDirectoryTag, &keys[..])?;
    directory.write_tag(Tag::GdalNodata, no_data)?;
    directory.finish()?;
    Ok(bytes.into_inner())
}
