//! Which format a file is, told by its content, and its layers.

use super::record::Layer;
use super::{geojson_in, gpkg_in, gpx, kml, shape, xml};
use crate::error::{LoadError, LoadErrorKind};
use std::io::Read as _;
use std::path::Path;

/// The largest vector file read, bytes.
pub(crate) const LARGEST_FILE: u64 = 512 << 20;
/// The most records of one file; a country has as many fields.
pub(crate) const MOST_RECORDS: usize = 2_000_000;
/// The most values of one file: each takes some hundred and fifty bytes of memory, and in the file it may take none.
pub(crate) const MOST_VALUES: usize = 8_000_000;
/// How much of a file is looked at to tell its format, bytes.
const HEAD: u64 = 4_096;

/// A format of vector files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// GeoJSON.
    GeoJson,
    /// Shapefile, with its companions.
    Shapefile,
    /// KML.
    Kml,
    /// KML in an archive.
    Kmz,
    /// GeoPackage.
    GeoPackage,
    /// GPX.
    Gpx,
}

impl Format {
    /// Every format.
    pub const ALL: [Self; 6] = [Self::GeoJson, Self::Shapefile, Self::Kml, Self::Kmz, Self::GeoPackage, Self::Gpx];
    /// The name for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::GeoJson => "GeoJSON",
            Self::Shapefile => "Shapefile",
            Self::Kml => "KML",
            Self::Kmz => "KMZ",
            Self::GeoPackage => "GeoPackage",
            Self::Gpx => "GPX",
        }
    }
    /// The usual ending of its files, without a point.
    #[must_use]
    pub fn extension(self) -> &'static str {
        match self {
            Self::GeoJson => "geojson",
            Self::Shapefile => "shp",
            Self::Kml => "kml",
            Self::Kmz => "kmz",
            Self::GeoPackage => "gpkg",
            Self::Gpx => "gpx",
        }
    }
    /// The format that a name's ending asks for.
    #[must_use]
    pub fn of_name(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_string_lossy().to_lowercase();
        if extension == "json" {
            return Some(Self::GeoJson);
        }
        Self::ALL.into_iter().find(|f| f.extension() == extension)
    }
}

/// The format of a file by its first bytes; the name is not asked, but for the companions of a Shapefile.
///
/// # Errors
/// When the file cannot be read, or is none of the formats.
pub fn recognise(path: &Path) -> Result<Format, LoadError> {
    let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    if matches!(extension.as_str(), "shx" | "dbf" | "prj" | "cpg") {
        let problem = "it is one of the companions of a shapefile";
        return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, "name the file that ends in .shp"));
    }
    let mut head = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(HEAD).read_to_end(&mut head))
        .map_err(|e| LoadError::from_io(path, &e))?;
    if let Some(format) = by_content(&head) {
        return Ok(format);
    }
    // What is wrong with a file that only its name tells apart, its reader says best.
    if let Some(format) = Format::of_name(path) {
        return Ok(format);
    }
    if head.is_empty() {
        return Err(LoadError::new(path, LoadErrorKind::Empty, "the file is empty", "name another file"));
    }
    let problem = "it is no GeoJSON, Shapefile, KML, KMZ, GeoPackage or GPX file";
    Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, "name a file in one of these formats"))
}

fn by_content(head: &[u8]) -> Option<Format> {
    if head.starts_with(b"SQLite format 3\0") {
        return Some(Format::GeoPackage);
    }
    if head.starts_with(b"PK\x03\x04") || head.starts_with(b"PK\x05\x06") {
        return Some(Format::Kmz);
    }
    if head.starts_with(&9_994_i32.to_be_bytes()) {
        return Some(Format::Shapefile);
    }
    let plain = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head).trim_ascii_start();
    if plain.starts_with(b"{") {
        return Some(Format::GeoJson);
    }
    match xml::root(head)?.as_str() {
        "kml" => Some(Format::Kml),
        "gpx" => Some(Format::Gpx),
        _ => None,
    }
}

/// Every layer of a file, or the one that is named.
pub(crate) fn layers(path: &Path, only: Option<&str>) -> Result<Vec<Layer>, LoadError> {
    let mut layers = match recognise(path)? {
        Format::GeoJson => vec![geojson_in::read(path, &read_bytes(path)?)?],
        Format::Shapefile => vec![shape::read(path)?],
        Format::Kml => kml::read(path, &read_bytes(path)?)?,
        Format::Kmz => kml::read_archive(path, &read_bytes(path)?)?,
        Format::Gpx => gpx::read(path, &read_bytes(path)?)?,
        Format::GeoPackage => return gpkg_in::read(path, only),
    };
    if let Some(name) = only {
        let names: Vec<String> = layers.iter().map(|l| format!("“{}”", super::columns::shortened(&l.name))).collect();
        layers.retain(|l| l.name == name);
        if layers.is_empty() {
            let problem = format!("it has no layer “{}”", super::columns::shortened(name));
            let remedy = format!("name one of {}", names.into_iter().take(10).collect::<Vec<_>>().join(", "));
            return Err(LoadError::new(path, LoadErrorKind::NothingHere, problem, remedy));
        }
    }
    Ok(layers)
}

pub(crate) fn too_many_records(path: &Path) -> LoadError {
    let problem = format!("it has more than {MOST_RECORDS} records");
    LoadError::new(path, LoadErrorKind::TooLarge, problem, "cut the area you fly in out of it")
}

pub(crate) fn too_many_values(path: &Path) -> LoadError {
    let problem = format!("it has more than {} million values in its columns", MOST_VALUES / 1_000_000);
    LoadError::new(path, LoadErrorKind::TooLarge, problem, "cut the area you fly in out of it, or leave columns out")
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

/// A file's name without folder and ending, for a layer that has no name of its own.
pub(crate) fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| "layer".to_owned(), |s| s.to_string_lossy().into_owned())
}
