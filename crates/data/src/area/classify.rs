//! What files dropped on the window are: told by their content, not by their names alone.

use crate::error::{LoadError, LoadErrorKind};
use crate::terrain;
use std::path::{Path, PathBuf};

/// What a file is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileRole {
    /// Terrain.
    Terrain,
    /// Fields.
    Fields,
    /// Hazards and quiet zones.
    Hazards,
    /// An aircraft.
    Aircraft,
}

/// Columns that only fields have.
const FIELD_COLUMNS: [&str; 4] = ["surface", "stock", "surveyed", "edges"];
/// Columns that only hazards and quiet zones have.
const HAZARD_COLUMNS: [&str; 5] = ["kind", "height_m", "height", "height_ft", "below_agl_m"];
/// Companions of a Shapefile; they are read with it.
const COMPANIONS: [&str; 9] = ["shx", "dbf", "prj", "cpg", "qpj", "sbn", "sbx", "qix", "xml"];

/// Tells what each file is for; companions of a Shapefile are passed over, as they are read with it.
///
/// An outline is a field unless its columns are those of a hazard; points and lines are hazards.
///
/// # Errors
/// At the first file that is none of these.
pub fn classify(paths: &[PathBuf]) -> Result<Vec<(PathBuf, FileRole)>, LoadError> {
    let mut roles = Vec::with_capacity(paths.len());
    for path in paths {
        let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
        let role = match extension.as_str() {
            "geojson" | "json" => geojson_role(path)?,
            "shp" => shapefile_role(path)?,
            "toml" => FileRole::Aircraft,
            "gpkg" => {
                return Err(LoadError::new(
                    path,
                    LoadErrorKind::Unsupported,
                    "area files (.gpkg) are not read by this version",
                    "open its terrain (GeoTIFF, HGT, ASCII grid) and its fields (GeoJSON, Shapefile) instead",
                ));
            }
            companion if COMPANIONS.contains(&companion) => continue,
            _ => terrain::inspect(path).map(|_| FileRole::Terrain)?,
        };
        roles.push((path.clone(), role));
    }
    if roles.is_empty()
        && let Some(path) = paths.first()
    {
        return Err(LoadError::new(
            path,
            LoadErrorKind::Unsupported,
            "it only accompanies a Shapefile",
            "open the file that ends in .shp",
        ));
    }
    Ok(roles)
}

fn by_columns(columns: &[String], areas: bool) -> FileRole {
    let has = |wanted: &[&str]| columns.iter().any(|c| wanted.iter().any(|w| c.eq_ignore_ascii_case(w)));
    if has(&FIELD_COLUMNS) {
        FileRole::Fields
    } else if has(&HAZARD_COLUMNS) || !areas {
        FileRole::Hazards
    } else {
        FileRole::Fields
    }
}

fn geojson_role(path: &Path) -> Result<FileRole, LoadError> {
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
    Ok(by_columns(&columns, areas))
}

fn shapefile_role(path: &Path) -> Result<FileRole, LoadError> {
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
    let areas = matches!(u32::from_le_bytes([a, b, c, d]), 5 | 15 | 25 | 31);
    let columns: Vec<String> = ["dbf", "DBF"]
        .iter()
        .find_map(|e| dbase::File::open_read_only(path.with_extension(e)).ok())
        .map(|file| file.fields().iter().map(|f| f.name().to_owned()).collect())
        .unwrap_or_default();
    Ok(by_columns(&columns, areas))
}
