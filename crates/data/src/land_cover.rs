//! Land-cover maps: a GeoTIFF of class numbers, and a table that says what they mean.
//!
//! Tables are TOML, as `assets/land-cover/worldcover.toml`, which is the default. A number that is not in the table is
//! not known, and what is not known is never open ground.

use crate::error::{LoadError, LoadErrorKind, Loaded, NoProgress, Progress, Warning};
use crate::frame::{Crs, Frame};
use crate::terrain::{self, ClassRequest, TerrainRequest};
use serde::Deserialize;
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::Xy;
use sparefield_geometry::suggest::{ClassTable, CoverClass, CoverUse, LandCover, NO_CLASS, Standing};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

const WORLDCOVER: &str = include_str!("../../../assets/land-cover/worldcover.toml");

/// The largest table read, bytes.
const LARGEST_TABLE: u64 = 1 << 20;

/// Which part of a map is wanted.
#[derive(Clone, Debug)]
pub struct CoverRequest<'a> {
    /// The frame of the area.
    pub frame: &'a Frame,
    /// South-west and north-east corner of the area in metres.
    pub window: (Xy, Xy),
    /// Side of a cell in metres; `None` for that of the file, rounded.
    pub cell_m: Option<f64>,
    /// The reference system of a file that states none that is understood.
    pub crs_where_missing: Option<Crs>,
}

impl<'a> CoverRequest<'a> {
    /// The part of a map that a terrain grid covers, at the map's own cells.
    #[must_use]
    pub fn over(terrain: &Terrain, frame: &'a Frame) -> Self {
        Self { frame, window: terrain.frame.bounds(), cell_m: None, crs_where_missing: None }
    }
}

/// Reads a land-cover map, each cell of the grid with the class of the nearest cell of the file.
///
/// # Errors
/// When the file cannot be read, is no GeoTIFF of class numbers, states no reference system, covers nothing of the
/// window, or the caller cancels.
pub fn load(
    path: &Path,
    table: ClassTable,
    request: &CoverRequest<'_>,
    progress: &dyn Progress,
) -> Result<Loaded<LandCover>, LoadError> {
    let raster = terrain::load_classes(path, &class_request(request), progress)?;
    with_table(&path.display().to_string(), raster, table)
}

/// As [`load`], for a file in memory; the name appears in messages.
///
/// # Errors
/// As [`load`].
pub fn load_bytes(
    name: &str,
    bytes: &[u8],
    table: ClassTable,
    request: &CoverRequest<'_>,
    progress: &dyn Progress,
) -> Result<Loaded<LandCover>, LoadError> {
    with_table(name, terrain::load_classes_bytes(name, bytes, &class_request(request), progress)?, table)
}

fn class_request<'a>(request: &CoverRequest<'a>) -> ClassRequest<'a> {
    ClassRequest {
        frame: request.frame,
        window: request.window,
        cell_m: request.cell_m,
        crs_where_missing: request.crs_where_missing.clone(),
    }
}

fn with_table(
    name: &str,
    raster: Loaded<terrain::ClassRaster>,
    table: ClassTable,
) -> Result<Loaded<LandCover>, LoadError> {
    let Loaded { value, mut warnings, provenance } = raster;
    let mut counts: BTreeMap<u16, usize> = BTreeMap::new();
    for &class in value.classes.iter().filter(|c| **c != NO_CLASS) {
        *counts.entry(class).or_default() += 1;
    }
    let all = counts.values().sum::<usize>();
    if all == 0 {
        return Err(LoadError::new(
            Path::new(name),
            LoadErrorKind::NothingHere,
            "it holds no class in the area",
            "name the land-cover map of this area, or check its reference system",
        ));
    }
    let strange: Vec<(u16, usize)> =
        counts.into_iter().filter(|(class, _)| !table.classes.contains_key(class)).collect();
    if !strange.is_empty() {
        let shown: Vec<String> = strange.iter().take(8).map(|(class, _)| class.to_string()).collect();
        let more = if strange.len() > 8 { " and more" } else { "" };
        let share = 100.0 * strange.iter().map(|(_, n)| *n).sum::<usize>() as f64 / all as f64;
        warnings.push(Warning {
            place: String::new(),
            message: format!(
                "the class table does not know the classes {}{more} of the land-cover map; {share:.1} % of the area \
                 counts as unknown",
                shown.join(", ")
            ),
        });
    }
    Ok(Loaded { value: LandCover { frame: value.frame, classes: value.classes, table }, warnings, provenance })
}

/// Reads a surface model over a terrain grid, and takes the terrain from it.
///
/// The surface model keeps its own cells, at most as large as those of the terrain.
///
/// # Errors
/// As [`terrain::load`].
pub fn load_standing(
    paths: &[PathBuf],
    ground: &Terrain,
    frame: &Frame,
    crs_where_missing: Option<Crs>,
    progress: &dyn Progress,
) -> Result<Loaded<Standing>, LoadError> {
    let infos = paths.iter().map(|path| terrain::inspect(path)).collect::<Result<Vec<_>, _>>()?;
    let finest =
        infos.iter().filter_map(|i| i.spacing_m).map(|(dx, dy)| (dx * dy).sqrt()).fold(f64::INFINITY, f64::min);
    let cell_m = (finest > ground.frame.cell_m).then_some(ground.frame.cell_m);
    let request =
        TerrainRequest { window: Some(ground.frame.bounds()), cell_m, crs_where_missing, ..TerrainRequest::new(frame) };
    Ok(standing_on(ground, terrain::load(paths, &request, progress)?))
}

/// As [`load_standing`], for one file in memory.
///
/// # Errors
/// As [`terrain::load`].
pub fn standing_from_bytes(
    name: &str,
    bytes: &[u8],
    ground: &Terrain,
    request: &TerrainRequest<'_>,
) -> Result<Loaded<Standing>, LoadError> {
    Ok(standing_on(ground, terrain::load_bytes(name, bytes, request, &NoProgress)?))
}

/// Share of the posts that may lie below the ground before something must be wrong.
const MOST_BELOW: f64 = 0.2;
/// How far below the ground a surface has to lie to be more than noise, metres.
const BELOW_M: f32 = -2.0;

fn standing_on(ground: &Terrain, surface: Loaded<Terrain>) -> Loaded<Standing> {
    let Loaded { value, mut warnings, provenance } = surface;
    let standing = Standing::between(&value, ground);
    let known = standing.heights_m.iter().filter(|h| h.is_finite()).count();
    let below = standing.heights_m.iter().filter(|h| **h < BELOW_M).count();
    let nothing = standing.heights_m.iter().filter(|h| h.abs() < 1e-3).count();
    let mut warn = |message: &str| warnings.push(Warning { place: String::new(), message: message.to_owned() });
    if below as f64 > MOST_BELOW * known as f64 {
        warn(
            "much of the surface model lies below the terrain, so the two do not belong together; what stands there \
             cannot be trusted",
        );
    }
    if known > 0 && nothing as f64 > 0.95 * known as f64 {
        warn("the surface model is the same as the terrain, so it shows nothing that stands on it");
    }
    Loaded { value: standing, warnings, provenance }
}

/// The table of the ESA WorldCover maps, with the accuracy of each class where a source gives it.
///
/// # Source
/// Codes: ESA WorldCover product user manual. Accuracy by class: Z. S. Venter et al., *Global 10 m land use land cover
/// datasets*, Remote Sensing 14 (2022) 4101.
#[must_use]
pub fn worldcover() -> ClassTable {
    // The file is part of the program, and a test reads it.
    parse_table(Path::new("worldcover.toml"), WORLDCOVER).map(|t| t.value).unwrap_or_default()
}

/// Reads a class table.
///
/// # Errors
/// When the file cannot be read, is no TOML, or a class has a number twice, a use that is not one, or a probability
/// that is not one.
pub fn load_table(path: &Path) -> Result<Loaded<ClassTable>, LoadError> {
    let size = std::fs::metadata(path).map_err(|e| LoadError::from_io(path, &e))?.len();
    if size > LARGEST_TABLE {
        let remedy = "name a class table such as assets/land-cover/worldcover.toml";
        return Err(LoadError::new(path, LoadErrorKind::TooLarge, "it is too large for a class table", remedy));
    }
    let bytes = std::fs::read(path).map_err(|e| LoadError::from_io(path, &e))?;
    let text = String::from_utf8(bytes).map_err(|_not_text| {
        LoadError::new(path, LoadErrorKind::Corrupt, "it is not text in UTF-8", "save it as UTF-8")
    })?;
    parse_table(path, &text)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TableFile {
    #[serde(default)]
    name: String,
    #[serde(default)]
    source: String,
    #[serde(default)]
    class: Vec<ClassRecord>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ClassRecord {
    code: i64,
    #[serde(default)]
    name: String,
    #[serde(rename = "use")]
    used: String,
    right: Option<f64>,
}

fn parse_table(path: &Path, text: &str) -> Result<Loaded<ClassTable>, LoadError> {
    let file: TableFile = toml::from_str(text).map_err(|e| {
        let line = e.span().map_or(1, |s| text.get(..s.start).unwrap_or_default().matches('\n').count() + 1);
        let problem = e.message().trim().replace('\n', ", ");
        LoadError::new(path, LoadErrorKind::Corrupt, problem, "write it like assets/land-cover/worldcover.toml")
            .at(format!("line {line}"))
    })?;
    let mut classes = BTreeMap::new();
    for record in file.class {
        let bad = |problem: String, remedy: &str| {
            LoadError::new(path, LoadErrorKind::BadValue, problem, remedy).at(format!("class {}", record.code))
        };
        let code = u16::try_from(record.code).ok().filter(|c| *c != NO_CLASS).ok_or_else(|| {
            bad("its code is not between 0 and 65534".to_owned(), "use the number that stands in the map")
        })?;
        let used = CoverUse::from_words(&record.used).ok_or_else(|| {
            let known: Vec<&str> = CoverUse::ALL.iter().map(|u| u.words()).collect();
            bad(format!("“{}” is not a use", record.used), &format!("write one of {}", known.join(", ")))
        })?;
        if let Some(right) = record.right
            && !(0.0..=1.0).contains(&right)
        {
            return Err(bad(format!("its probability {right} is not between 0 and 1"), "write 78 % as 0.78"));
        }
        if classes.insert(code, CoverClass { name: record.name, used, right: record.right }).is_some() {
            return Err(bad("it is there twice".to_owned(), "leave one of them out"));
        }
    }
    if classes.is_empty() {
        let remedy = "write it like assets/land-cover/worldcover.toml";
        return Err(LoadError::new(path, LoadErrorKind::NothingHere, "it names no class", remedy));
    }
    let about = [file.name, file.source].into_iter().filter(|t| !t.is_empty()).collect::<Vec<_>>().join("; ");
    let provenance = vec![format!("class table {}: {about}", path.display())];
    Ok(Loaded { value: ClassTable { classes }, warnings: Vec::new(), provenance })
}

#[cfg(test)]
#[path = "land_cover_tests.rs"]
mod tests;
