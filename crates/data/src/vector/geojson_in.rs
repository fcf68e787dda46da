//! GeoJSON into records: RFC 7946, and the older form with a `crs` member.

use super::record::{Columns, Layer, Notes, Pair, Record, Shape, StatedCrs, text_of};
use super::source::stem;
use crate::error::{LoadError, LoadErrorKind};
use geojson::{Geometry, GeometryValue, Position};
use serde_json::{Map, Value};
use std::path::Path;

const REMEDY: &str = "name a GeoJSON file, as any GIS writes it";

/// Reads GeoJSON text; a bad feature costs that feature.
pub(crate) fn read(path: &Path, bytes: &[u8]) -> Result<Layer, LoadError> {
    let error = |kind, problem: &str| LoadError::new(path, kind, problem, REMEDY);
    let text = decode(path, bytes)?;
    if text.trim().is_empty() {
        return Err(error(LoadErrorKind::Empty, "the file is empty"));
    }
    let value: Value = serde_json::from_str(&text).map_err(|e| {
        let kind = if e.is_eof() { LoadErrorKind::Truncated } else { LoadErrorKind::Corrupt };
        let (problem, remedy) = if e.is_eof() {
            ("the text ends before the JSON does".to_owned(), "save or download the file again")
        } else if e.to_string().starts_with("recursion limit") {
            ("it is nested deeper than 128 levels".to_owned(), REMEDY)
        } else {
            let what = e.to_string();
            (format!("it is not JSON ({})", what.split(" at line").next().unwrap_or("")), REMEDY)
        };
        LoadError::new(path, kind, problem, remedy).at(format!("line {}, column {}", e.line(), e.column()))
    })?;
    let Value::Object(mut top) = value else {
        return Err(error(LoadErrorKind::Unsupported, "it is JSON but not a GeoJSON object"));
    };
    let crs = stated_crs(path, top.remove("crs"))?;
    let mut notes = Notes::default();
    let kind = top.get("type").and_then(Value::as_str).unwrap_or("").to_owned();
    let features = match kind.as_str() {
        "FeatureCollection" => match top.remove("features") {
            Some(Value::Array(features)) => features,
            _ => return Err(error(LoadErrorKind::Corrupt, "it is a FeatureCollection without an array of features")),
        },
        "Feature" => vec![Value::Object(top)],
        "Point" | "MultiPoint" | "LineString" | "MultiLineString" | "Polygon" | "MultiPolygon"
        | "GeometryCollection" => {
            let mut feature = Map::new();
            feature.insert("type".into(), "Feature".into());
            feature.insert("geometry".into(), Value::Object(top));
            vec![Value::Object(feature)]
        }
        "Topology" => return Err(error(LoadErrorKind::Unsupported, "it is TopoJSON, which is not read")),
        "" => return Err(error(LoadErrorKind::Unsupported, "it is JSON without a GeoJSON type")),
        _ => return Err(error(LoadErrorKind::Unsupported, "its type is none of GeoJSON's")),
    };
    let mut records = Vec::with_capacity(features.len());
    for (i, feature) in features.into_iter().enumerate() {
        match record(i + 1, feature, &mut notes) {
            Ok(record) => records.push(record),
            Err(problem) => notes.add(
                "features that cannot be read",
                format!("record {}", i + 1),
                format!("{problem}; it was left out"),
            ),
        }
    }
    Ok(Layer { path: path.to_owned(), name: stem(path), format: "GeoJSON", crs, records, notes })
}

fn decode(path: &Path, bytes: &[u8]) -> Result<String, LoadError> {
    // A byte-order mark decides; without one JSON is UTF-8 (RFC 8259, section 8.1).
    let (text, _, broken) = encoding_rs::UTF_8.decode(bytes);
    if broken {
        let at = String::from_utf8_lossy(bytes).find('\u{fffd}').unwrap_or(0);
        let line = bytes.iter().take(at).filter(|b| **b == b'\n').count() + 1;
        let problem = "it is not UTF-8 text";
        return Err(LoadError::new(path, LoadErrorKind::Corrupt, problem, REMEDY).at(format!("line {line}")));
    }
    Ok(text.into_owned())
}

/// The `crs` member of the 2008 specification; RFC 7946 dropped it, and files still have it.
fn stated_crs(path: &Path, member: Option<Value>) -> Result<StatedCrs, LoadError> {
    let not_understood = |what: &str| {
        LoadError::new(
            path,
            LoadErrorKind::Crs,
            format!("its crs member {what}"),
            "name the reference system with --crs EPSG:code",
        )
        .at("crs")
    };
    let Some(member) = member else { return Ok(StatedCrs::LonLatByFormat) };
    let name = member.pointer("/properties/name").and_then(Value::as_str);
    let code = member.pointer("/properties/code").map(text_of);
    match member.get("type").and_then(Value::as_str).map(str::to_lowercase).as_deref() {
        Some("name") => {
            let name = name.ok_or_else(|| not_understood("has no name"))?;
            if name.to_uppercase().ends_with("CRS84") {
                Ok(StatedCrs::LonLatByFormat)
            } else {
                Ok(StatedCrs::Named(name.to_owned()))
            }
        }
        Some("epsg") => {
            code.map(|c| StatedCrs::Named(format!("EPSG:{c}"))).ok_or_else(|| not_understood("has no code"))
        }
        // "null" says that no system may be assumed; a link would have to be fetched.
        Some("link") => Ok(StatedCrs::Missing("its crs member is a link, which is not followed")),
        None if member.is_null() => Ok(StatedCrs::Missing("its crs member says that the system is not known")),
        _ => Ok(StatedCrs::Missing("its crs member is not understood")),
    }
}

fn record(number: usize, feature: Value, notes: &mut Notes) -> Result<Record, String> {
    let Value::Object(mut feature) = feature else { return Err("it is not a feature".into()) };
    if feature.get("type").and_then(Value::as_str) != Some("Feature") {
        return Err("its type is not Feature".into());
    }
    let id = match feature.remove("id") {
        Some(id @ (Value::String(_) | Value::Number(_))) => Some(text_of(&id)).filter(|t| !t.is_empty()),
        _ => None,
    };
    let columns = match feature.remove("properties") {
        Some(Value::Object(properties)) => properties.into_iter().collect(),
        None | Some(Value::Null) => Vec::new(),
        Some(_) => {
            notes.add(
                "properties that are not an object",
                format!("record {number}"),
                "its properties are not an object and were left out",
            );
            Vec::new()
        }
    };
    let shape = match feature.remove("geometry") {
        None | Some(Value::Null) => Shape::Nothing,
        Some(geometry @ Value::Object(_)) => {
            let geometry: Geometry =
                serde_json::from_value(geometry).map_err(|e| format!("its geometry cannot be read ({e})"))?;
            shape(geometry.value)?
        }
        Some(_) => return Err("its geometry is not an object".into()),
    };
    Ok(Record { number, id, shape, columns: Columns::new(columns) })
}

fn pair(position: &Position) -> Result<Pair, String> {
    match position.as_slice() {
        [x, y, ..] => Ok([*x, *y]),
        _ => Err("it has a position with fewer than two numbers".into()),
    }
}

fn pairs(positions: &[Position]) -> Result<Vec<Pair>, String> {
    positions.iter().map(pair).collect()
}

fn parts(parts: &[Vec<Position>]) -> Result<Vec<Vec<Pair>>, String> {
    parts.iter().map(|p| pairs(p)).collect()
}

fn shape(value: GeometryValue) -> Result<Shape, String> {
    Ok(match value {
        GeometryValue::Point { coordinates } => {
            if coordinates.is_empty() {
                Shape::Nothing
            } else {
                Shape::Points(vec![pair(&coordinates)?])
            }
        }
        GeometryValue::MultiPoint { coordinates } => Shape::Points(pairs(&coordinates)?),
        GeometryValue::LineString { coordinates } => Shape::Lines(vec![pairs(&coordinates)?]),
        GeometryValue::MultiLineString { coordinates } => Shape::Lines(parts(&coordinates)?),
        GeometryValue::Polygon { coordinates } => Shape::Polygons(vec![parts(&coordinates)?]),
        GeometryValue::MultiPolygon { coordinates } => {
            Shape::Polygons(coordinates.iter().map(|p| parts(p)).collect::<Result<_, _>>()?)
        }
        GeometryValue::GeometryCollection { geometries } => {
            Shape::Several(geometries.into_iter().map(|g| shape(g.value)).collect::<Result<_, _>>()?)
        }
    })
}
