//! Fields, hazards, quiet zones and what stands on boundaries, from vector files and back to them.
//!
//! Read are GeoJSON (RFC 7946, and the older form with a `crs` member), Shapefile with its companions, KML and KMZ,
//! GeoPackage and GPX, told apart by their content. Every format becomes layers of records first; what a record means is
//! found out in one place for all. A record that cannot be used costs that record and gives a warning; only a file that
//! cannot be understood at all is an error. A reference system is never assumed: some formats have one by their standard,
//! a Shapefile needs a `.prj` or the user's word.

mod codepage;
mod columns;
mod dbf;
mod dbf_out;
mod edges;
mod export;
mod facts;
mod fields;
mod geojson_in;
mod geojson_out;
pub(crate) mod gpkg_geometry;
mod gpkg_in;
mod gpkg_out;
mod gpx;
mod gpx_out;
mod guess;
mod hazards;
mod import;
pub(crate) mod kml;
mod kml_out;
mod mapping;
mod preview;
pub(crate) mod record;
pub(crate) mod ring;
mod shape;
mod shape_out;
pub(crate) mod source;
mod track_out;
pub(crate) mod xml;

pub use edges::{EdgeLine, match_edges};
pub(crate) use export::whole_or_not;
pub use export::{ExportLayer, Exported, edge_features, layers_of, write_vector, write_vector_about};
pub use facts::{FACT_COLUMNS, from_text_columns, pole_heights_text, text_columns, value_columns};
pub use geojson_out::{
    ExportFeature, ExportShape, feature_collection, field_features, hazard_features, quiet_zone_features, write_geojson,
};

pub use import::{Imported, read_with};
pub use mapping::{DateOrder, Mapping, Meaning, Purpose};
pub(crate) use preview::purposes_in;
pub use preview::{ColumnPreview, LayerPreview, Preview, RawRecord, VectorFile, inspect};
pub use source::{Format, recognise};
pub use track_out::{TrackFix, write_track};

use crate::error::{LoadError, LoadErrorKind, Loaded};
use crate::frame::{Crs, Frame, Transformer};
use crate::free_ids::FreeIds;
use record::{Layer, Notes, Pair, StatedCrs};
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use sparefield_geometry::position::Xy;
use std::path::Path;

/// How vector files are read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct VectorOptions {
    /// The reference system by the user's word; it wins over what the file states.
    pub crs_override: Option<Crs>,
    /// The layer of a file with several; `None` for all that hold what is asked for.
    pub layer: Option<String>,
}

/// What is in the way: hazards, and places not to be overflown low.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hazards {
    /// Wires, masts, trees, buildings, woods, water.
    pub hazards: Vec<Hazard>,
    /// Quiet zones.
    pub quiet_zones: Vec<QuietZone>,
}

/// Reads fields from a file of any format.
///
/// Columns used, in any case: `id`, `edges` and [`FACT_COLUMNS`]; all others are kept.
///
/// # Errors
/// When the file cannot be read or its reference system is not known. Records that cannot be used are warnings.
pub fn load_fields(path: &Path, frame: &Frame, options: &VectorOptions) -> Result<Loaded<Vec<Field>>, LoadError> {
    let layers = chosen(path, options, Purpose::Fields)?;
    let mut read = each(layers, |layer| interpret(layer, frame, crs_of(options), "areas", fields::fields))?;
    let mut ids = FreeIds::default();
    for field in &mut read.value {
        field.id = fields::unique(&mut ids, &field.id);
    }
    Ok(read)
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
    interpret(layer, frame, crs_of(options), "areas", fields::fields)
}

/// Reads hazards and quiet zones from a file of any format.
///
/// Columns used, in any case: `id`, `name`, `kind`, `height_m` (or `height`, `height_ft`), `pole_heights_m` (one height
/// for each vertex of a line), `below_agl_m`, `protects`; all others are kept. A record is a quiet zone when its kind is
/// `quiet zone` or it has `below_agl_m`.
///
/// # Errors
/// As [`load_fields`].
pub fn load_hazards(path: &Path, frame: &Frame, options: &VectorOptions) -> Result<Loaded<Hazards>, LoadError> {
    let layers = chosen(path, options, Purpose::Hazards)?;
    let read = each(layers, |layer| {
        let read = interpret(layer, frame, crs_of(options), "hazards", hazards::hazards)?;
        Ok(Loaded { value: vec![read.value], warnings: read.warnings, provenance: read.provenance })
    })?;
    let mut all = Hazards::default();
    for mut more in read.value {
        all.hazards.append(&mut more.hazards);
        all.quiet_zones.append(&mut more.quiet_zones);
    }
    Ok(Loaded { value: all, warnings: read.warnings, provenance: read.provenance })
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
    interpret(layer, frame, crs_of(options), "hazards", hazards::hazards)
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
    let lines = edge_lines(path, frame, options)?;
    let (sides, more) = match_edges(fields, &lines.value);
    let warnings = lines.warnings.into_iter().chain(more).collect();
    Ok(Loaded { value: sides, warnings, provenance: lines.provenance })
}

/// The lines of [`load_edges`] before they are put on the fields' sides.
///
/// # Errors
/// As [`load_fields`].
pub fn edge_lines(path: &Path, frame: &Frame, options: &VectorOptions) -> Result<Loaded<Vec<EdgeLine>>, LoadError> {
    let layers = chosen(path, options, Purpose::Edges)?;
    each(layers, |layer| interpret(layer, frame, crs_of(options), "edges", edges::lines))
}

/// The layers of a file that are asked for: the one named, the only one, or those that hold what is wanted. Of a layer
/// with fields, hazards and edges in one, only the records that are wanted.
fn chosen(path: &Path, options: &VectorOptions, wanted: Purpose) -> Result<Vec<Layer>, LoadError> {
    let mut layers = source::layers(path, options.layer.as_deref())?;
    if layers.len() > 1 {
        let fits: Vec<bool> = layers.iter().map(|layer| purposes_in(layer).contains(&wanted)).collect();
        if fits.contains(&true) {
            let mut fits = fits.into_iter();
            layers.retain(|_| fits.next().unwrap_or(false));
        }
    }
    for layer in &mut layers {
        if preview::purpose_of(layer) == Purpose::Mixed {
            layer.records.retain(|record| {
                let entries = record.columns.entries();
                let told = entries.iter().any(|(name, _)| matches!(Meaning::of_column(name), Some(Meaning::Kind)));
                // What is told apart by its shape alone is not passed over without a word.
                guess::record_purpose(&record.shape, entries) == wanted || (wanted == Purpose::Fields && !told)
            });
        }
    }
    Ok(layers)
}

fn crs_of(options: &VectorOptions) -> Option<&Crs> {
    options.crs_override.as_ref()
}

/// Every layer read, put together.
fn each<T>(
    layers: Vec<Layer>,
    read: impl Fn(Layer) -> Result<Loaded<Vec<T>>, LoadError>,
) -> Result<Loaded<Vec<T>>, LoadError> {
    let mut all = Loaded { value: Vec::new(), warnings: Vec::new(), provenance: Vec::new() };
    for layer in layers {
        let mut more = read(layer)?;
        all.value.append(&mut more.value);
        all.warnings.append(&mut more.warnings);
        all.provenance.append(&mut more.provenance);
    }
    Ok(all)
}

/// Takes a coordinate pair of the file to the frame; `None` where it has no image.
pub(crate) type Placer<'a> = dyn Fn(Pair) -> Option<Xy> + 'a;

pub(crate) fn interpret<T>(
    layer: Layer,
    frame: &Frame,
    user_crs: Option<&Crs>,
    what: &str,
    meaning: impl FnOnce(Layer, &Placer<'_>, &mut Notes) -> (T, usize),
) -> Result<Loaded<T>, LoadError> {
    let crs = reference_system(&layer, user_crs)?;
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
    let stated = if user_crs.is_some() { "as named by the user" } else { "as the file states" };
    let mut notes = Notes::default();
    let (value, count) = meaning(layer, &placer, &mut notes);
    if count == 0 {
        notes.add("empty files", "", format!("no {what} were found in it"));
    }
    let provenance = vec![format!("{}: {format}, {} ({stated}), {count} {what}", path.display(), crs.label())];
    Ok(Loaded { value, warnings: notes.into_warnings(), provenance })
}

fn reference_system(layer: &Layer, user_crs: Option<&Crs>) -> Result<Crs, LoadError> {
    const REMEDY: &str = "name it with --crs EPSG:code";
    if let Some(crs) = user_crs {
        return Ok(crs.clone());
    }
    let error = |problem: String| LoadError::new(&layer.path, LoadErrorKind::Crs, problem, REMEDY);
    match &layer.crs {
        StatedCrs::Missing(why) => Err(error((*why).to_owned())),
        StatedCrs::Named(name) => {
            let text = crate::quantity::parse_epsg(name).map_or_else(|_| name.clone(), |code| format!("EPSG:{code}"));
            Crs::from_user(&text).map_err(|e| error(format!("its reference system is not understood: {e}")))
        }
        StatedCrs::Wkt(text) => Crs::from_wkt(text)
            .map_err(|e| error(format!("the reference system that it states is not understood: {e}"))),
        StatedCrs::LonLatByFormat => {
            // Metres in a file whose format says degrees: somebody forgot to say so.
            let beyond = |[x, y]: &Pair| x.abs() > 360.0 || y.abs() > 90.0;
            let (mut all, mut out) = (0_usize, 0_usize);
            for pair in layer.records.iter().flat_map(|r| r.shape.pairs()) {
                all += 1;
                out += usize::from(beyond(pair));
            }
            if out * 2 > all {
                return Err(error(format!(
                    "its coordinates are no longitudes and latitudes, as {} has them where it states no system",
                    layer.format
                )));
            }
            Crs::wgs84().map_err(|e| error(e.to_string()))
        }
    }
}

#[cfg(test)]
mod tests;

#[cfg(test)]
mod formats_tests;
#[cfg(test)]
mod hostile_tests;
