//! Which layers belong to an area, as the area file keeps them, and what a file is as a layer.

use super::{encoded, geotiff_image, head_of};
use crate::error::LoadError;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// What kind of layer a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LayerKind {
    /// A picture: [`super::ImageryLayer`].
    Imagery,
    /// Lines, areas and points: [`super::BackgroundLayer`].
    Background,
}

/// One layer under the map, as it is kept with the area.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LayerSpec {
    /// The file.
    pub path: PathBuf,
    /// What it is.
    pub kind: LayerKind,
    /// Its name for people.
    pub name: String,
    /// How much of what lies below it hides, from 0 to 1.
    #[serde(default = "opaque")]
    pub opacity: f32,
    /// Whether it is shown.
    #[serde(default = "shown")]
    pub visible: bool,
    /// The reference system by the user's word, for files that state none, such as `EPSG:27700`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crs: Option<String>,
}

fn opaque() -> f32 {
    1.0
}

fn shown() -> bool {
    true
}

impl LayerSpec {
    /// A layer that is shown whole, named after its file.
    #[must_use]
    pub fn new(path: &Path, kind: LayerKind) -> Self {
        let name = path.file_stem().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        Self { path: path.to_owned(), kind, name, opacity: 1.0, visible: true, crs: None }
    }
}

/// What a file's first bytes say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Content {
    Tiff,
    Picture,
    Sqlite,
    PmTiles,
}

pub(crate) fn content_of(head: &[u8]) -> Option<Content> {
    match head {
        [b'I', b'I', ..] | [b'M', b'M', ..] => Some(Content::Tiff),
        _ if head.starts_with(b"SQLite format 3\0") => Some(Content::Sqlite),
        _ if head.starts_with(b"PMTiles") => Some(Content::PmTiles),
        _ => encoded::format_of(head).map(|_| Content::Picture),
    }
}

/// What kind of layer a file is meant to be that a person adds by name: vector files are backgrounds, everything else
/// is opened as an image, which says what is wrong with it.
#[must_use]
pub fn kind_by_name(path: &Path) -> LayerKind {
    const VECTORS: [&str; 6] = ["shp", "geojson", "json", "kml", "kmz", "gpkg"];
    let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    if VECTORS.contains(&extension.as_str()) { LayerKind::Background } else { LayerKind::Imagery }
}

/// What a file is as a layer, judged by its content; `None` when it is none, such as terrain.
///
/// Vector files are not claimed: as fields or hazards they mean more than as a background.
///
/// # Errors
/// When the file cannot be read.
pub fn recognise(path: &Path) -> Result<Option<LayerKind>, LoadError> {
    let picture = match content_of(&head_of(path)?) {
        // A damaged TIFF is left to the reader of terrain, which says what is wrong with it.
        Some(Content::Tiff) => geotiff_image::is_picture(path).unwrap_or(false),
        // A GeoPackage is SQLite, too; MBTiles are told by their name.
        Some(Content::Sqlite) => path.extension().is_some_and(|e| e.eq_ignore_ascii_case("mbtiles")),
        Some(Content::Picture | Content::PmTiles) => true,
        None => false,
    };
    Ok(picture.then_some(LayerKind::Imagery))
}
