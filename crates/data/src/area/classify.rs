//! What files dropped on the window are: told by their content, not by their names alone.

use crate::area_file::{self, Trouble};
use crate::error::LoadError;
use crate::terrain;
use crate::vector::{Format, Purpose, purposes_in, recognise, source};
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

/// Companions of a Shapefile; they are read with it.
const COMPANIONS: [&str; 9] = ["shx", "dbf", "prj", "cpg", "qpj", "sbn", "sbx", "qix", "xml"];

/// Sorts files into terrain, fields and hazards. A file with layers of several kinds stands under each.
///
/// An outline is a field unless its columns are those of a hazard; points and lines are hazards, but for layers of
/// lines that speak of hedges, fences or walls: those are the sides of fields.
#[must_use]
pub fn classify(paths: &[PathBuf]) -> Classified {
    let mut sorted = Classified::default();
    for path in paths {
        let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
        if COMPANIONS.contains(&extension.as_str()) {
            continue;
        }
        let format = recognise(path).ok();
        // A zip archive is a height tile more often than it is somebody's map.
        let vector = format.filter(|f| *f != Format::Kmz || extension != "zip");
        if vector == Some(Format::GeoPackage) {
            match area_file::check(path) {
                Ok(()) => sorted.areas.push(path.clone()),
                // Somebody else's layers; an area file that is damaged or open elsewhere is not taken apart instead.
                Err(error) if error.trouble == Trouble::NotAnArea => {
                    if sort_layers(path, &mut sorted).is_err() {
                        sorted.refused.push(error.into());
                    }
                }
                Err(error) => sorted.refused.push(error.into()),
            }
        } else if vector.is_some() {
            if let Err(error) = sort_layers(path, &mut sorted) {
                sorted.refused.push(error);
            }
        } else {
            match terrain::inspect(path) {
                Ok(_) => sorted.terrain.push(path.clone()),
                Err(error) => sorted.refused.push(error),
            }
        }
    }
    sorted
}

fn sort_layers(path: &Path, sorted: &mut Classified) -> Result<(), LoadError> {
    let layers = source::layers(path, None)?;
    let purposes: Vec<Purpose> = layers.iter().flat_map(purposes_in).collect();
    let (fields, edges) = (purposes.contains(&Purpose::Fields), purposes.contains(&Purpose::Edges));
    // A file of which nobody can tell what it is for is shown as something in the way.
    let hazards = purposes.contains(&Purpose::Hazards) || !(fields || edges);
    if fields {
        sorted.fields.push(path.to_owned());
    }
    if hazards {
        sorted.hazards.push(path.to_owned());
    }
    if edges {
        sorted.edges.push(path.to_owned());
    }
    Ok(())
}
