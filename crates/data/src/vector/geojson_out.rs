//! GeoJSON out: RFC 7946, longitude and latitude, with the columns that the readers take back.

use super::facts::value_columns;
use crate::error::{LoadError, LoadErrorKind};
use crate::frame::{Frame, FrameError};
use serde_json::{Map, Value, json};
use sparefield_geometry::fields::model::{BoundaryEdge, Field, Hazard, HazardShape, QuietZone};
use sparefield_geometry::position::Xy;
use std::borrow::Borrow;
use std::io::Write;
use std::path::Path;

/// A shape to be written, in frame metres.
#[derive(Clone, Debug, PartialEq)]
pub enum ExportShape {
    /// A point.
    Point(Xy),
    /// An open line.
    Line(Vec<Xy>),
    /// Several lines that belong together, such as one contour.
    Lines(Vec<Vec<Xy>>),
    /// An area of open rings: outer anticlockwise, holes clockwise.
    Area {
        /// Outer ring.
        outer: Vec<Xy>,
        /// Holes.
        holes: Vec<Vec<Xy>>,
    },
}

/// A shape with its columns.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportFeature {
    /// Identifier; none is written when empty.
    pub id: String,
    /// The shape.
    pub shape: ExportShape,
    /// The columns in the order in which they are written.
    pub properties: Vec<(String, Value)>,
}

/// Fields as features, with every column that [`super::load_fields`] reads.
#[must_use]
pub fn field_features<F: Borrow<Field>>(fields: &[F]) -> Vec<ExportFeature> {
    fields
        .iter()
        .map(Borrow::borrow)
        .map(|field| {
            let mut properties: Vec<(String, Value)> = Vec::new();
            let mut put = |key: &str, value: Value| properties.push((key.to_owned(), value));
            put("id", json!(field.id));
            for (name, value) in value_columns(field) {
                put(name, value);
            }
            if field.edges.iter().any(|e| *e != BoundaryEdge::UNKNOWN) {
                let edges: Vec<Value> =
                    field.edges.iter().map(|e| json!({"kind": e.kind.words(), "height_m": e.height_m})).collect();
                put("edges", Value::Array(edges));
            }
            put_other(&mut properties, &field.other);
            ExportFeature {
                id: field.id.clone(),
                shape: ExportShape::Area { outer: field.outer.clone(), holes: field.holes.clone() },
                properties,
            }
        })
        .collect()
}

/// Hazards as features, with every column that [`super::load_hazards`] reads.
#[must_use]
pub fn hazard_features<H: Borrow<Hazard>>(hazards: &[H]) -> Vec<ExportFeature> {
    hazards
        .iter()
        .map(Borrow::borrow)
        .map(|hazard| {
            let kind = hazard.kind.words().trim_end_matches(" hazard");
            let mut properties = vec![("kind".to_owned(), json!(kind))];
            if !hazard.name.is_empty() {
                properties.push(("name".into(), json!(hazard.name)));
            }
            if let Some(height) = hazard.height_m {
                properties.push(("height_m".into(), json!(height)));
            }
            if !hazard.pole_heights_m.is_empty() {
                properties.push(("pole_heights_m".into(), json!(hazard.pole_heights_m)));
            }
            put_other(&mut properties, &hazard.other);
            let shape = match &hazard.shape {
                HazardShape::Point(at) => ExportShape::Point(*at),
                HazardShape::Line(line) => ExportShape::Line(line.clone()),
                HazardShape::Area { outer, holes } => ExportShape::Area { outer: outer.clone(), holes: holes.clone() },
            };
            ExportFeature { id: hazard.id.clone(), shape, properties }
        })
        .collect()
}

/// Quiet zones as features that [`super::load_hazards`] reads back.
#[must_use]
pub fn quiet_zone_features<Q: Borrow<QuietZone>>(zones: &[Q]) -> Vec<ExportFeature> {
    zones
        .iter()
        .map(Borrow::borrow)
        .map(|zone| ExportFeature {
            id: zone.id.clone(),
            shape: ExportShape::Area { outer: zone.outer.clone(), holes: Vec::new() },
            properties: vec![
                ("kind".into(), json!("quiet zone")),
                ("protects".into(), json!(zone.kind.words())),
                ("name".into(), json!(zone.name)),
                ("below_agl_m".into(), json!(zone.below_agl_m)),
            ],
        })
        .collect()
}

fn put_other(properties: &mut Vec<(String, Value)>, other: &[(String, String)]) {
    for (key, value) in other {
        if !properties.iter().any(|(known, _)| known == key) {
            properties.push((key.clone(), json!(value)));
        }
    }
}

/// A FeatureCollection in longitude and latitude with eight decimals, about a millimetre.
///
/// # Errors
/// When a position has no image on the ellipsoid.
pub fn feature_collection(features: &[ExportFeature], frame: &Frame) -> Result<Value, FrameError> {
    let list = features.iter().map(|f| feature(f, frame)).collect::<Result<Vec<_>, _>>()?;
    Ok(json!({"type": "FeatureCollection", "features": list}))
}

/// Writes a FeatureCollection to a file, whole or not at all.
///
/// # Errors
/// When a position has no image on the ellipsoid or the file cannot be written.
pub fn write_geojson(path: &Path, features: &[ExportFeature], frame: &Frame) -> Result<(), LoadError> {
    write_geojson_about(path, features, frame, &[])
}

/// The same with sentences about it as the foreign member `cautions` (RFC 7946, 6.1).
pub(crate) fn write_geojson_about(
    path: &Path,
    features: &[ExportFeature],
    frame: &Frame,
    about: &[String],
) -> Result<(), LoadError> {
    let cannot = |problem: String, remedy: &str| LoadError::new(path, LoadErrorKind::BadValue, problem, remedy);
    let mut collection = feature_collection(features, frame)
        .map_err(|e| cannot(format!("it was not written: {e}"), "choose a frame that holds the area"))?;
    if !about.is_empty() {
        collection["cautions"] = json!(about);
    }
    super::export::whole_or_not(path, |file| {
        let mut buffered = std::io::BufWriter::new(file);
        serde_json::to_writer(&mut buffered, &collection)?;
        buffered.write_all(b"\n")?;
        buffered.flush()
    })
}

fn feature(feature: &ExportFeature, frame: &Frame) -> Result<Value, FrameError> {
    let line = |points: &[Xy]| points.iter().map(|p| position(*p, frame)).collect::<Result<Vec<Value>, _>>();
    let ring = |points: &[Xy]| {
        line(points).map(|mut ring| {
            ring.extend(ring.first().cloned());
            ring
        })
    };
    let geometry = match &feature.shape {
        ExportShape::Point(at) => json!({"type": "Point", "coordinates": position(*at, frame)?}),
        ExportShape::Line(points) => json!({"type": "LineString", "coordinates": line(points)?}),
        ExportShape::Lines(lines) => {
            let lines = lines.iter().map(|l| line(l)).collect::<Result<Vec<_>, _>>()?;
            json!({"type": "MultiLineString", "coordinates": lines})
        }
        ExportShape::Area { outer, holes } => {
            let rings =
                std::iter::once(outer).chain(holes).map(|r| ring(r.as_slice())).collect::<Result<Vec<_>, _>>()?;
            json!({"type": "Polygon", "coordinates": rings})
        }
    };
    let mut out = Map::new();
    out.insert("type".into(), json!("Feature"));
    if !feature.id.is_empty() {
        out.insert("id".into(), json!(feature.id));
    }
    out.insert("properties".into(), Value::Object(feature.properties.iter().cloned().collect()));
    out.insert("geometry".into(), geometry);
    Ok(Value::Object(out))
}

fn position(at: Xy, frame: &Frame) -> Result<Value, FrameError> {
    let place = frame.to_lonlat(at)?;
    let decimals = |v: f64| (v * 1e8).round() / 1e8;
    Ok(json!([decimals(place.lon_deg), decimals(place.lat_deg)]))
}
