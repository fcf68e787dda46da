//! What files dropped on the window are: told by their content, not by their names alone.

use crate::area_file;
use crate::error::{LoadError, LoadErrorKind};
use crate::terrain;
use std::path::{Path, PathBuf};

/// Files by what they hold.
#[derive(Debug, Default)]
pub struct Classified {
    /// Area files.
    pub areas: Vec<PathBuf>,
    /// Terrain.
    pub terrain: Vec<PathBuf>,
    /// Fields.
    pub fields: Vec<PathBuf>,
    /// Hazards and quiet zones.
    pub hazards: Vec<PathBuf>,
    /// Lines along the sides of fields, with what stands there.
    pub edges: Vec<PathBuf>,
    /// Files that are none of these, each with a sentence that says so.
    pub refused: Vec<LoadError>,
}

/// Columns that only fields have.
const FIELD_COLUMNS: [&str; 4] = ["surface", "stock", "surveyed", "edges"];
/// Columns that only hazards and quiet zones have.
const HAZARD_COLUMNS: [&str; 5] = ["kind", "height_m", "height", "height_ft", "below_agl_m"];
/// Companions of a Shapefile; they are read with it.
const COMPANIONS: [&str; 9] = ["shx", "dbf", "prj", "cpg", "qpj", "sbn", "sbx", "qix", "xml"];

/// Words of what stands along a side and is no hazard by itself; with them a layer of lines is one of sides.
const EDGE_WORDS: [&str; 6] = ["hedge", "fence", "wall", "tree line", "tree-line", "tree_line"];

enum Kind {
    Fields,
    Hazards,
    Edges,
}

/// Sorts files into terrain, fields and hazards.
///
/// An outline is a field unless its columns are those of a hazard; points and lines are hazards, but for layers of
/// lines that speak of hedges, fences or walls: those are the sides of fields.
#[must_use]
pub fn classify(paths: &[PathBuf]) -> Classified {
    let mut sorted = Classified::default();
    for path in paths {
        let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
        let kind = match extension.as_str() {
            "geojson" | "json" => geojson_kind(path),
            "shp" => shapefile_kind(path),
            "gpkg" => {
                match area_file::check(path) {
                    Ok(()) => sorted.areas.push(path.clone()),
                    Err(error) => sorted.refused.push(error.into()),
                }
                continue;
            }
            companion if COMPANIONS.contains(&companion) => continue,
            _ => {
                match terrain::inspect(path) {
                    Ok(_) => sorted.terrain.push(path.clone()),
                    Err(error) => sorted.refused.push(error),
                }
                continue;
            }
        };
        match kind {
            Ok(Kind::Fields) => sorted.fields.push(path.clone()),
            Ok(Kind::Hazards) => sorted.hazards.push(path.clone()),
            Ok(Kind::Edges) => sorted.edges.push(path.clone()),
            Err(error) => sorted.refused.push(error),
        }
    }
    sorted
}

fn by_columns(columns: &[String], areas: bool) -> Kind {
    let has = |wanted: &[&str]| columns.iter().any(|c| wanted.iter().any(|w| c.eq_ignore_ascii_case(w)));
    if has(&FIELD_COLUMNS) {
        Kind::Fields
    } else if has(&HAZARD_COLUMNS) || !areas {
        Kind::Hazards
    } else {
        Kind::Fields
    }
}

fn geojson_kind(path: &Path) -> Result<Kind, LoadError> {
    let bytes = crate::vector::read_bytes(path)?;
    let document: serde_json::Value = serde_json::from_slice(&bytes).map_err(|e| {
        LoadError::new(path, LoadErrorKind::Corrupt, format!("it is not JSON ({e})"), "save it again as GeoJSON")
    })?;
    let features = document.get("features").and_then(serde_json::Value::as_array);
    let Some(features) = features else {
        return Err(LoadError::new(
            path,
            LoadErrorKind::Unsupported,
            "it is JSON, but not a GeoJSON collection of features",
            "save the layer as GeoJSON",
        ));
    };
    let columns: Vec<String> = features
        .iter()
        .filter_map(|f| f.get("properties").and_then(serde_json::Value::as_object))
        .flat_map(|p| p.keys().cloned())
        .collect();
    let areas = features.iter().any(|f| {
        let kind = f.pointer("/geometry/type").and_then(serde_json::Value::as_str);
        matches!(kind, Some("Polygon" | "MultiPolygon" | "GeometryCollection"))
    });
    let words = |f: &serde_json::Value| {
        let kind = f.pointer("/properties/kind").and_then(serde_json::Value::as_str);
        kind.is_some_and(|k| EDGE_WORDS.contains(&k.trim().to_lowercase().as_str()))
    };
    let lines = features.iter().any(|f| {
        let kind = f.pointer("/geometry/type").and_then(serde_json::Value::as_str);
        matches!(kind, Some("LineString" | "MultiLineString"))
    });
    if lines && !areas && features.iter().any(words) {
        return Ok(Kind::Edges);
    }
    Ok(by_columns(&columns, areas))
}

/// Whether a dBASE table speaks of hedges, fences or walls in its first megabyte.
fn speaks_of_edges(path: &Path) -> bool {
    use std::io::Read as _;
    let mut head = Vec::new();
    let read = std::fs::File::open(path).and_then(|f| f.take(0x10_0000).read_to_end(&mut head));
    let text = String::from_utf8_lossy(&head).to_lowercase();
    read.is_ok() && EDGE_WORDS.iter().any(|w| text.contains(w))
}

/// Names of the columns of a dBASE table: descriptors of 32 bytes after a header of 32, up to a carriage return.
fn column_names(path: &Path) -> Option<Vec<String>> {
    use std::io::Read as _;
    const DESCRIPTOR: usize = 32;
    let mut head = Vec::new();
    std::fs::File::open(path).ok()?.take(0x1_0000).read_to_end(&mut head).ok()?;
    let descriptors = head.get(DESCRIPTOR..)?.chunks_exact(DESCRIPTOR).take_while(|d| d[0] != b'\r');
    let name = |d: &[u8]| d[..11].iter().take_while(|&&b| b != 0).map(|&b| char::from(b)).collect();
    Some(descriptors.map(name).collect())
}

fn shapefile_kind(path: &Path) -> Result<Kind, LoadError> {
    use std::io::Read as _;
    let mut head = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(100).read_to_end(&mut head))
        .map_err(|e| LoadError::from_io(path, &e))?;
    let Some(&[a, b, c, d]) = head.get(32..36) else {
        return Err(LoadError::new(
            path,
            LoadErrorKind::Truncated,
            "it is too short for a Shapefile",
            "copy or download the file again",
        ));
    };
    // Shape types of polygons with and without heights and measures (ESRI Shapefile Technical Description, 1998).
    let shape = u32::from_le_bytes([a, b, c, d]);
    let (areas, lines) = (matches!(shape, 5 | 15 | 25 | 31), matches!(shape, 3 | 13 | 23));
    if lines && ["dbf", "DBF"].iter().any(|e| speaks_of_edges(&path.with_extension(e))) {
        return Ok(Kind::Edges);
    }
    let columns: Vec<String> =
        ["dbf", "DBF"].iter().find_map(|e| column_names(&path.with_extension(e))).unwrap_or_default();
    Ok(by_columns(&columns, areas))
}
