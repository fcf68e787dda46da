//! Writing fields, hazards, quiet zones and edges in every format that is read.
//!
//! Everything is written in longitude and latitude on WGS 84, which every format can hold. A file is written beside its
//! place under another name and then takes it, so that what was there before is whole until what comes is whole.

use super::facts::{pole_heights_text, text_columns};
use super::geojson_out::{self, ExportFeature, ExportShape, field_features, hazard_features, quiet_zone_features};
use super::record::{Pair, Shape};
use super::source::Format;
use super::{gpkg_out, gpx_out, kml_out, shape_out};
use crate::area_file::{self, Trouble};
use crate::error::{LoadError, LoadErrorKind, Loaded, Warning};
use crate::frame::Frame;
use serde_json::{Value, json};
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field, Hazard, QuietZone};
use sparefield_geometry::position::Xy;
use std::borrow::Borrow;
use std::path::{Path, PathBuf};

/// Features that belong together, such as all fields.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ExportLayer {
    /// Name of the layer.
    pub name: String,
    /// Its features.
    pub features: Vec<ExportFeature>,
}

impl ExportLayer {
    /// A layer.
    #[must_use]
    pub fn new(name: impl Into<String>, features: Vec<ExportFeature>) -> Self {
        Self { name: name.into(), features }
    }
}

/// What is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Exported {
    /// Fields.
    pub fields: bool,
    /// Hazards.
    pub hazards: bool,
    /// What stands on the sides of fields, as lines.
    pub edges: bool,
    /// Quiet zones.
    pub quiet_zones: bool,
}

impl Exported {
    /// Everything.
    pub const ALL: Self = Self { fields: true, hazards: true, edges: true, quiet_zones: true };
    /// Nothing yet.
    pub const NOTHING: Self = Self { fields: false, hazards: false, edges: false, quiet_zones: false };
}

/// The layers of an area in the shape that a format holds: structure where it has structure, else texts.
///
/// Edges stand in the fields' own column, too, where the format has room; as lines they are for other programs.
#[must_use]
pub fn layers_of(
    format: Format,
    what: Exported,
    fields: &[impl Borrow<Field>],
    hazards: &[impl Borrow<Hazard>],
    quiet_zones: &[impl Borrow<QuietZone>],
) -> Vec<ExportLayer> {
    let mut layers = Vec::new();
    let mut add = |name: &str, wanted: bool, features: &dyn Fn() -> Vec<ExportFeature>| {
        let features = if wanted { features() } else { Vec::new() };
        if !features.is_empty() {
            layers.push(ExportLayer::new(name, features));
        }
    };
    let structured = format == Format::GeoJson;
    add("fields", what.fields, &|| {
        let mut features = field_features(fields);
        if !structured {
            for (feature, field) in features.iter_mut().zip(fields) {
                for (name, text) in text_columns(field.borrow()) {
                    replace(feature, name, &text);
                }
            }
        }
        features
    });
    add("hazards", what.hazards, &|| {
        let mut features = hazard_features(hazards);
        if !structured {
            for (feature, hazard) in features.iter_mut().zip(hazards) {
                let heights = &hazard.borrow().pole_heights_m;
                if !heights.is_empty() {
                    replace(feature, "pole_heights_m", &pole_heights_text(heights));
                }
            }
        }
        features
    });
    add("quiet zones", what.quiet_zones, &|| quiet_zone_features(quiet_zones));
    add("edges", what.edges, &|| edge_features(fields));
    layers
}

fn replace(feature: &mut ExportFeature, name: &str, text: &str) {
    if let Some((_, value)) = feature.properties.iter_mut().find(|(known, _)| known == name) {
        *value = json!(text);
    }
}

/// What stands on the sides of fields as lines, one for each side of which something is known.
#[must_use]
pub fn edge_features<F: Borrow<Field>>(fields: &[F]) -> Vec<ExportFeature> {
    let mut out = Vec::new();
    for field in fields.iter().map(Borrow::borrow) {
        let n = field.outer.len();
        for (i, edge) in field.edges.iter().enumerate().take(n).filter(|(_, e)| **e != BoundaryEdge::UNKNOWN) {
            let mut properties = vec![("field".to_owned(), json!(field.id)), ("side".to_owned(), json!(i + 1))];
            if edge.kind != EdgeKind::Unknown {
                properties.push(("kind".into(), json!(edge.kind.words())));
            }
            if let Some(height) = edge.height_m {
                properties.push(("height_m".into(), json!(height)));
            }
            let shape = ExportShape::Line(vec![field.outer[i], field.outer[(i + 1) % n]]);
            out.push(ExportFeature { id: String::new(), shape, properties });
        }
    }
    out
}

/// Writes layers to a file, whole or not at all; a Shapefile becomes several files beside one another. The value is
/// the files that were written; warnings say what the format could not hold.
///
/// # Errors
/// When a position has no image on the ellipsoid, or the file cannot be written.
pub fn write_vector(
    path: &Path,
    format: Format,
    layers: &[ExportLayer],
    frame: &Frame,
) -> Result<Loaded<Vec<PathBuf>>, LoadError> {
    write_vector_about(path, format, layers, frame, &[])
}

/// The same with sentences about the whole document, which GeoJSON, KML and GPX have a place for; what has none gives a
/// warning.
///
/// # Errors
/// As [`write_vector`].
pub fn write_vector_about(
    path: &Path,
    format: Format,
    layers: &[ExportLayer],
    frame: &Frame,
    about: &[String],
) -> Result<Loaded<Vec<PathBuf>>, LoadError> {
    if format == Format::GeoPackage && path.exists() {
        let taken = match area_file::check(path) {
            Ok(()) => true,
            Err(error) => error.trouble != Trouble::NotAnArea,
        };
        if taken {
            let problem = "it is an area file, which an exchange of fields would replace";
            return Err(LoadError::new(path, LoadErrorKind::BadValue, problem, "choose another name"));
        }
    }
    let mut warnings: Vec<Warning> = Vec::new();
    let with_ids: Vec<ExportLayer>;
    let layers = if format == Format::GeoJson {
        layers
    } else {
        with_ids = layers.iter().map(with_id_column).collect();
        &with_ids
    };
    let files = match format {
        Format::GeoJson => {
            let all: Vec<ExportFeature> = layers.iter().flat_map(|l| l.features.iter().cloned()).collect();
            geojson_out::write_geojson_about(path, &all, frame, about)?;
            vec![path.to_owned()]
        }
        Format::Kml => kml_out::write(path, layers, frame, about, false)?,
        Format::Kmz => kml_out::write(path, layers, frame, about, true)?,
        Format::GeoPackage => gpkg_out::write(path, layers, frame)?,
        Format::Gpx => gpx_out::write(path, layers, frame, about, &mut warnings)?,
        Format::Shapefile => shape_out::write(path, layers, frame, &mut warnings)?,
    };
    if !about.is_empty() && matches!(format, Format::GeoPackage | Format::Shapefile) {
        let message = "this format has no place for the cautions; hand them out with it".to_owned();
        warnings.push(Warning { place: format.words().to_owned(), message });
    }
    let count: usize = layers.iter().map(|l| l.features.len()).sum();
    let provenance = vec![format!("{}: {}, {count} records written", path.display(), format.words())];
    Ok(Loaded { value: files, warnings, provenance })
}

/// A layer whose identifiers stand in a column, for formats that have no other place for them.
fn with_id_column(layer: &ExportLayer) -> ExportLayer {
    let mut layer = layer.clone();
    for feature in layer.features.iter_mut().filter(|f| !f.id.is_empty()) {
        if !feature.properties.iter().any(|(name, _)| name.eq_ignore_ascii_case("id")) {
            feature.properties.insert(0, ("id".to_owned(), json!(feature.id)));
        }
    }
    layer
}

/// A shape in longitude and latitude, rings closed.
pub(crate) fn on_globe(path: &Path, shape: &ExportShape, frame: &Frame) -> Result<Shape, LoadError> {
    let line = |points: &[Xy]| -> Result<Vec<Pair>, LoadError> {
        let places = frame.to_lonlat_all(points).map_err(|e| {
            let remedy = "choose a frame that holds the area";
            LoadError::new(path, LoadErrorKind::BadValue, format!("it was not written: {e}"), remedy)
        })?;
        Ok(places.into_iter().map(|p| [p.lon_deg, p.lat_deg]).collect())
    };
    let ring = |points: &[Xy]| {
        line(points).map(|mut ring| {
            ring.extend(ring.first().copied());
            ring
        })
    };
    Ok(match shape {
        ExportShape::Point(at) => Shape::Points(line(&[*at])?),
        ExportShape::Line(points) => Shape::Lines(vec![line(points)?]),
        ExportShape::Lines(lines) => Shape::Lines(lines.iter().map(|l| line(l)).collect::<Result<_, _>>()?),
        ExportShape::Area { outer, holes } => {
            let rings = std::iter::once(outer).chain(holes).map(|r| ring(r)).collect::<Result<_, _>>()?;
            Shape::Polygons(vec![rings])
        }
    })
}

/// Writes a file through a temporary one beside it.
pub(crate) fn whole_or_not(
    path: &Path,
    write: impl FnOnce(&mut std::fs::File) -> std::io::Result<()>,
) -> Result<(), LoadError> {
    let attempt = || -> std::io::Result<()> {
        let mut file = temporary_beside(path)?;
        write(file.as_file_mut())?;
        file.as_file().sync_all()?;
        file.persist(path).map_err(|e| e.error)?;
        Ok(())
    };
    attempt().map_err(|e| not_written(path, &e))
}

/// A temporary file in the folder of another, with the permissions that a new file has there.
pub(crate) fn temporary_beside(path: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".sparefield-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // Less what the user's mask takes away.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

pub(crate) fn not_written(path: &Path, error: &dyn std::fmt::Display) -> LoadError {
    let remedy = "check that the folder is there and may be written to";
    LoadError::new(path, LoadErrorKind::Unreadable, format!("it cannot be written ({error})"), remedy)
}

/// Every column of a layer, in the order in which features have them.
pub(crate) fn columns_of(features: &[ExportFeature]) -> Vec<String> {
    let mut seen = std::collections::HashSet::new();
    features
        .iter()
        .flat_map(|f| f.properties.iter().map(|(name, _)| name))
        .filter(|name| seen.insert(name.as_str()))
        .cloned()
        .collect()
}

/// A value as the text that stands for it in formats that only have texts.
pub(crate) fn plain_text(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Null => String::new(),
        other => other.to_string(),
    }
}
