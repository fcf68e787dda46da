//! An area from its own file: the terrain it names is loaded under what it holds.

use super::{Area, AreaRequest, extent_window, gone::GonePlaces, inspect_all, named_crs, sample};
use crate::area_file::{self, AreaFile, AreaParts, TerrainSource};
use crate::error::{LoadError, LoadErrorKind, Loaded, Progress, Warning};
use crate::terrain::{self, TerrainRequest};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::grid::{GridFrame, SurfaceKind, Terrain, TerrainAccuracy};
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};
use std::sync::Arc;

impl Area {
    /// Reads an area file and its terrain, and changes nothing. Terrain named here takes the place of its own.
    ///
    /// # Errors
    /// When the file or its terrain cannot be used.
    pub fn open_file(path: &Path, terrain: &[PathBuf], progress: &dyn Progress) -> Result<Self, LoadError> {
        let mut loaded = area_file::read(path, progress)?;
        loaded.value.terrain = named(terrain).unwrap_or(loaded.value.terrain);
        Self::on_terrain(path, loaded, progress)
    }

    /// Opens an area file for editing; see [`AreaFile::open`]. Terrain named here takes the place of its own for good.
    ///
    /// # Errors
    /// When the file or its terrain cannot be used.
    pub fn open_file_to_edit(
        path: &Path,
        terrain: &[PathBuf],
        today: Day,
        progress: &dyn Progress,
    ) -> Result<(Self, AreaFile), LoadError> {
        let Loaded { value: (mut file, mut parts), mut warnings, provenance } = AreaFile::open(path, today, progress)?;
        if let Some(other) = named(terrain) {
            parts.terrain = other;
        }
        let other = (!terrain.is_empty()).then(|| parts.terrain.clone());
        let mut area = Self::on_terrain(path, Loaded { value: parts, warnings: Vec::new(), provenance }, progress)?;
        // Only terrain that could be loaded is remembered.
        if let Some(Err(e)) = other.map(|terrain| file.put_terrain(&terrain)) {
            warnings.push(Warning { place: String::new(), message: e.to_string() });
        }
        warnings.append(&mut area.warnings);
        area.warnings = warnings;
        Ok((area, file))
    }

    /// Reads what an area file holds itself, over terrain without a single cell: enough to look through its outlines,
    /// names and days, and nothing else. Changes nothing.
    ///
    /// # Errors
    /// When the file cannot be used.
    pub fn read_without_terrain(path: &Path, progress: &dyn Progress) -> Result<Self, LoadError> {
        let frame = GridFrame { origin: Xy::default(), cell_m: 1.0, cols: 0, rows: 0 };
        let accuracy = TerrainAccuracy { point_to_point_m: f64::INFINITY, kind: SurfaceKind::Unknown };
        let nothing = Terrain { frame, heights_m: Vec::new(), accuracy };
        let Loaded { value: parts, warnings, provenance } = area_file::read(path, progress)?;
        Ok(Self::of_parts(parts, nothing, warnings, provenance))
    }

    fn on_terrain(path: &Path, loaded: Loaded<AreaParts>, progress: &dyn Progress) -> Result<Self, LoadError> {
        let Loaded { value: parts, mut warnings, mut provenance } = loaded;
        let terrain = load_terrain(path, &parts, progress)?;
        warnings.extend(terrain.warnings);
        provenance.extend(terrain.provenance);
        Ok(Self::of_parts(parts, terrain.value, warnings, provenance))
    }

    fn of_parts(parts: AreaParts, terrain: Terrain, warnings: Vec<Warning>, provenance: Vec<String>) -> Self {
        Self {
            title: parts.title,
            frame: parts.frame,
            terrain: Arc::new(terrain),
            fields: parts.fields,
            proposals: parts.proposals,
            hazards: parts.hazards,
            quiet_zones: parts.quiet_zones,
            lanes: parts.lanes,
            layers: parts.layers,
            home: parts.home,
            start: parts.start,
            drill_sets: parts.drill_sets,
            drill_results: parts.drill_results,
            sorties: parts.sorties,
            provenance,
            warnings,
            is_sample: parts.terrain == TerrainSource::Sample,
            places: GonePlaces::default(),
        }
    }
}

fn named(files: &[PathBuf]) -> Option<TerrainSource> {
    (!files.is_empty()).then(|| TerrainSource::Files { files: files.to_vec(), crs: None, grid_m: None })
}

/// The terrain that an area names, as much of it as its fields need.
fn load_terrain(path: &Path, parts: &AreaParts, progress: &dyn Progress) -> Result<Loaded<Terrain>, LoadError> {
    let (files, crs, grid_m) = match &parts.terrain {
        TerrainSource::Sample => return sample::terrain(&parts.frame, progress),
        TerrainSource::Files { files, crs, grid_m } if !files.is_empty() => (files, crs, *grid_m),
        _ => {
            return Err(LoadError::new(
                path,
                LoadErrorKind::NothingHere,
                format!("it names no terrain, and its {} need some under them", counted(parts)),
                "open it together with the terrain file; everything in it is untouched",
            ));
        }
    };
    if let Some(missing) = files.iter().find(|f| !f.exists()) {
        return Err(LoadError::new(
            path,
            LoadErrorKind::Unreadable,
            format!("its terrain {} is not there any more", missing.display()),
            "put it back there, or open the area together with the terrain file from where it is now; everything in the \
             area is untouched",
        ));
    }
    let given = crs.as_deref().map(named_crs).transpose()?;
    let request = AreaRequest { terrain: files.clone(), ..AreaRequest::default() };
    let infos = inspect_all(&request, given.as_ref())?;
    let around = parts.home.as_ref().map(|h| h.position).or(parts.start.as_ref().map(|s| s.position));
    let window = extent_window(&infos, around, &parts.fields, &parts.frame);
    let window = window.map_err(|e| LoadError::new(path, LoadErrorKind::Crs, e.to_string(), ""))?;
    let request =
        TerrainRequest { window, cell_m: grid_m, crs_where_missing: given, ..TerrainRequest::new(&parts.frame) };
    terrain::load(files, &request, progress)
}

fn counted(parts: &AreaParts) -> String {
    match parts.fields.len() {
        1 => "field".to_owned(),
        n => format!("{n} fields"),
    }
}
