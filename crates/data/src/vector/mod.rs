//! Fields, hazards, quiet zones and what stands on boundaries, from vector files and back to them.
//!
//! Read are GeoJSON (RFC 7946, and the older form with a `crs` member) and Shapefile with its companions. A record that
//! cannot be used costs that record and gives a warning; only a file that cannot be understood at all is an error. A
//! reference system is never assumed: GeoJSON has one by its standard, a Shapefile needs a `.prj` or the user's word.

mod codepage;
mod columns;
mod dbf;
mod edges;
mod facts;
mod fields;
mod geojson_in;
mod geojson_out;
mod hazards;
pub(crate) mod record;
pub(crate) mod ring;
mod shape;

pub use edges::{EdgeLine, match_edges};
pub use facts::{FACT_COLUMNS, from_text_columns, pole_heights_text, text_columns, value_columns};
pub use geojson_out::{
    ExportFeature, ExportShape, feature_collection, field_features, hazard_features, quiet_zone_features, write_geojson,
};

use crate::error::{LoadError, LoadErrorKind, Loaded};
use crate::frame::{Crs, Frame, Transformer};
use record::{Layer, Notes, Pair, StatedCrs};
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use sparefield_geometry::position::Xy;
use std::path::Path;

/// The largest vector file read, bytes.
const LARGEST_FILE: u64 = 512 << 20;

/// How vector files are read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct VectorOptions {
    /// The reference system by the user's word; it wins over what the file states.
    pub crs_override: Option<Crs>,
}

/// What is in the way: hazards, and places not to be overflown low.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hazards {
    /// Wires, masts, trees, buildings, woods, water.
    pub hazards: Vec<Hazard>,
    /// Quiet zones.
    pub quiet_zones: Vec<QuietZone>,
}

/// Reads fields from a `.geojson`, `.json` or `.shp` file.
///
/// Columns used, in any case: `id`, `edges` and [`FACT_COLUMNS`]; all others are kept.
///
/// # Errors
/// When the file cannot be read or its reference system is not known. Records that cannot be used are warnings.
pub fn load_fields(path: &Path, frame: &Frame, options: &VectorOptions) -> Result<Loaded<Vec<Field>>, LoadError> {
    let layer = read_layer(path)?;
    interpret(layer, frame, options, "areas", |layer, placer, notes| fields::fields(layer, placer, notes))
}

/// Reads fields from GeoJSON text; `name` stands for the file in messages.
///
/// # Errors
/// As [`load_fields`].
pub fn fields_from_geojson(
    name: &str,
    text: &str,
    frame: &Frame,
    options: &VectorOptions,
) -> Result<Loaded<Vec<Field>>, LoadError> {
    let layer = geojson_in::read(Path::new(name), text.as_bytes())?;
    interpret(layer, frame, options, "areas", |layer, placer, notes| fields::fields(layer, placer, notes))
}

/// Reads hazards and quiet zones from a `.geojson`, `.json` or `.shp` file.
///
/// Columns used, in any case: `id`, `name`, `kind`, `height_m` (or `height`, `height_ft`), `pole_heights_m` (one height
/// for each vertex of a line), `below_agl_m`, `protects`; all others are kept. A record is a quiet zone when its kind is `quiet zone` or it has `below_agl_m`.
///
/// # Errors
/// As [`load_fields`].
pub fn load_hazards(path: &Path, frame: &Frame, options: &VectorOptions) -> Result<Loaded<Hazards>, LoadError> {
    let layer = read_layer(path)?;
    interpret(layer, frame, options, "hazards", |layer, placer, notes| hazards::hazards(layer, placer, notes))
}

/// Reads hazards and quiet zones from GeoJSON text; `name` stands for the file in messages.
///
/// # Errors
/// As [`load_fields`].
pub fn hazards_from_geojson(
    name: &str,
    text: &str,
    frame: &Frame,
    options: &VectorOptions,
) -> Result<Loaded<Hazards>, LoadError> {
    let layer = geojson_in::read(Path::new(name), text.as_bytes())?;
    interpret(layer, frame, options, "hazards", |layer, placer, notes| hazards::hazards(layer, placer, notes))
}

/// Reads what stands on boundaries from a layer of lines and puts it on the fields' sides.
///
/// Columns used, in any case: `kind`, `height_m` (or `height`, `height_ft`), and `field`, which ties a line to the field
/// of that identifier; without it a line counts for every side that it runs along. The value is the number of sides
/// that something was put on; see [`match_edges`] for how lines and sides are matched.
///
/// # Errors
/// As [`load_fields`].
pub fn load_edges(
    path: &Path,
    fields: &mut [Field],
    frame: &Frame,
    options: &VectorOptions,
) -> Result<Loaded<usize>, LoadError> {
    let layer = read_layer(path)?;
    let lines = interpret(layer, frame, options, "edges", |layer, placer, notes| edges::lines(layer, placer, notes))?;
    let (sides, more) = match_edges(fields, &lines.value);
    let warnings = lines.warnings.into_iter().chain(more).collect();
    Ok(Loaded { value: sides, warnings, provenance: lines.provenance })
}

pub(crate) fn read_layer(path: &Path) -> Result<Layer, LoadError> {
    let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    match extension.as_str() {
        "geojson" | "json" => geojson_in::read(path, &read_bytes(path)?),
        "shp" => shape::read(path),
        "shx" | "dbf" | "prj" | "cpg" => Err(LoadError::new(
            path,
            LoadErrorKind::Unsupported,
            "it is one of the companions of a shapefile",
            "name the file that ends in .shp",
        )),
        _ => Err(LoadError::new(
            path,
            LoadErrorKind::Unsupported,
            "its name does not end in .geojson, .json or .shp",
            "name a GeoJSON file or a Shapefile",
        )),
    }
}

/// A whole file, unless it is larger than any layer of fields can be.
pub(crate) fn read_bytes(path: &Path) -> Result<Vec<u8>, LoadError> {
    let size = std::fs::metadata(path).map_err(|e| LoadError::from_io(path, &e))?.len();
    if size > LARGEST_FILE {
        return Err(LoadError::new(
            path,
            LoadErrorKind::TooLarge,
            format!("it has {} MB, more than the {} that are read", size >> 20, LARGEST_FILE >> 20),
            "cut the area you fly in out of it",
        ));
    }
    std::fs::read(path).map_err(|e| LoadError::from_io(path, &e))
}

/// Takes a coordinate pair of the file to the frame; `None` where it has no image.
pub(crate) type Placer<'a> = dyn Fn(Pair) -> Option<Xy> + 'a;

pub(crate) fn interpret<T>(
    layer: Layer,
    frame: &Frame,
    options: &VectorOptions,
    what: &str,
    meaning: impl FnOnce(Layer, &Placer<'_>, &mut Notes) -> (T, usize),
) -> Result<Loaded<T>, LoadError> {
    let crs = reference_system(&layer, options)?;
    let transformer = Transformer::new(&crs, frame).map_err(|e| {
        LoadError::new(&layer.path, LoadErrorKind::Crs, e.to_string(), "name the reference system with --crs EPSG:code")
    })?;
    let placer = |[x, y]: Pair| {
        if !(x.is_finite() && y.is_finite()) || (crs.is_geographic() && (x.abs() > 360.0 || y.abs() > 90.0)) {
            return None;
        }
        transformer.to_frame(x, y).ok().filter(|at| at.x.is_finite() && at.y.is_finite())
    };
    let (path, format) = (layer.path.clone(), layer.format);
    let stated = if options.crs_override.is_some() { "as named by the user" } else { "as the file states" };
    let mut notes = Notes::default();
    let (value, count) = meaning(layer, &placer, &mut notes);
    if count == 0 {
        notes.add("empty files", "", format!("no {what} were found in it"));
    }
    let provenance = vec![format!("{}: {format}, {} ({stated}), {count} {what}", path.display(), crs.label())];
    Ok(Loaded { value, warnings: notes.into_warnings(), provenance })
}

fn reference_system(layer: &Layer, options: &VectorOptions) -> Result<Crs, LoadError> {
    const REMEDY: &str = "name it with --crs EPSG:code";
    if let Some(crs) = &options.crs_override {
        return Ok(crs.clone());
    }
    let error = |problem: String| LoadError::new(&layer.path, LoadErrorKind::Crs, problem, REMEDY);
    match &layer.crs {
        StatedCrs::Missing(why) => Err(error((*why).to_owned())),
        StatedCrs::Named(name) => {
            let text = crate::quantity::parse_epsg(name).map_or_else(|_| name.clone(), |code| format!("EPSG:{code}"));
            Crs::from_user(&text).map_err(|e| error(format!("its reference system is not understood: {e}")))
        }
        StatedCrs::Wkt(text) => {
            Crs::from_wkt(text).map_err(|e| error(format!("the reference system in its .prj is not understood: {e}")))
        }
        StatedCrs::LonLatByFormat => {
            // Metres in a file whose format says degrees: somebody forgot to say so.
            let beyond = |[x, y]: &Pair| x.abs() > 360.0 || y.abs() > 90.0;
            let (mut all, mut out) = (0_usize, 0_usize);
            for pair in layer.records.iter().flat_map(|r| r.shape.pairs()) {
                all += 1;
                out += usize::from(beyond(pair));
            }
            if out * 2 > all {
                return Err(error(
                    "its coordinates are no longitudes and latitudes, as GeoJSON has them where no crs is stated"
                        .into(),
                ));
            }
            Crs::wgs84().map_err(|e| error(e.to_string()))
        }
    }
}

#[cfg(test)]
mod tests;
