//! Suggesting fields over an area: what the window and the command line both call.

use sparefield_data::area::{Area, LaneKind};
use sparefield_data::land_cover::{self, CoverRequest};
use sparefield_data::{LoadError, LoadErrorKind, Loaded, Progress, Warning};
use sparefield_geometry::fields::model::{BoundaryEdge, Field};
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::Xy;

use sparefield_geometry::suggest::{
    Barrier, EdgeHeight, LandCover, Options, Proposal, Scene, Standing, SuggestError, Suggestions, boundary_heights,
    suggest,
};
use std::borrow::Cow;
use std::path::PathBuf;
use thiserror::Error;

/// What to suggest fields from, besides the area's terrain, fields and hazards.
#[derive(Clone, Debug, PartialEq)]
pub struct SuggestRequest {
    /// What a field must offer.
    pub options: Options,
    /// South-west and north-east corner of the search; `None` for all of the terrain.
    pub window: Option<(Xy, Xy)>,
    /// A land-cover map. On the sample area, its own when left out.
    pub land_cover: Option<PathBuf>,
    /// What its classes mean; those of ESA WorldCover when left out.
    pub classes: Option<PathBuf>,
    /// A surface model, in one file or several. On the sample area, its own when left out.
    pub surface_model: Vec<PathBuf>,
    /// Suggest also where fields are known.
    pub ignore_fields: bool,
}

impl SuggestRequest {
    /// From the terrain of the area alone, or all that the sample area has.
    #[must_use]
    pub fn new(options: Options) -> Self {
        Self { options, window: None, land_cover: None, classes: None, surface_model: Vec::new(), ignore_fields: false }
    }
}

/// Fields suggested over an area, with what was read for it.
#[derive(Clone, Debug)]
pub struct Suggested {
    /// What was found, best first.
    pub suggestions: Suggestions,
    /// What was repaired, assumed or left out.
    pub warnings: Vec<Warning>,
    /// One line for each source.
    pub provenance: Vec<String>,
}

impl Suggested {
    /// What was left out as water, in words; `None` where nothing was.
    #[must_use]
    pub fn left_out(&self) -> Option<String> {
        let km2 = self.suggestions.dead_level_m2 / 1e6;
        (km2 > 0.0).then(|| {
            format!("{km2:.2} km² are dead level, as terrain models show water, and were left out: look at imagery.")
        })
    }

    /// The proposals as fields with identifiers that are free in the area, in the same order.
    #[must_use]
    pub fn fields(&self, area: &Area) -> Vec<Field> {
        let taken: std::collections::HashSet<&str> = area.fields.iter().map(|f| f.id.as_str()).collect();
        let mut numbers = 1usize..;
        let mut id = || numbers.find_map(|n| Some(format!("suggested-{n}")).filter(|id| !taken.contains(id.as_str())));
        self.suggestions.proposals.iter().map(|p| p.field(id().unwrap_or_default())).collect()
    }
}

/// Why nothing was suggested. Prints as one sentence.
#[derive(Debug, Error)]
pub enum SuggestFailure {
    /// A file cannot be used.
    #[error(transparent)]
    File(#[from] LoadError),
    /// The search was refused or stopped.
    #[error(transparent)]
    Search(#[from] SuggestError),
    /// There is no surface model to measure from.
    #[error("there is no surface model to measure from; name one, a GeoTIFF of heights with trees and roofs")]
    NoSurfaceModel,
    /// The window holds no terrain.
    #[error("there is no terrain where fields are to be suggested; choose a place inside the area")]
    Outside,
}

impl SuggestFailure {
    /// Whether the caller stopped it.
    #[must_use]
    pub fn is_stop(&self) -> bool {
        match self {
            Self::File(e) => e.kind == LoadErrorKind::Cancelled,
            Self::Search(e) => *e == SuggestError::Cancelled,
            Self::Outside | Self::NoSurfaceModel => false,
        }
    }
}

/// A part of a longer task, told as a share of the whole.
struct Share<'a> {
    of: &'a dyn Progress,
    from: f64,
    to: f64,
}

impl Progress for Share<'_> {
    fn report(&self, share: f64) {
        self.of.report(self.from + share * (self.to - self.from));
    }
    fn cancelled(&self) -> bool {
        self.of.cancelled()
    }
}

/// Suggests fields over an area.
///
/// # Errors
/// When a file cannot be used, the search is refused, or the caller stops it.
pub fn suggest_fields(
    area: &Area,
    request: &SuggestRequest,
    progress: &dyn Progress,
) -> Result<Suggested, SuggestFailure> {
    let terrain: Cow<'_, Terrain> = match request.window {
        None => Cow::Borrowed(&*area.terrain),
        Some((low, high)) => Cow::Owned(area.terrain.part(low, high).ok_or(SuggestFailure::Outside)?),
    };
    let (mut warnings, mut provenance) = (Vec::new(), Vec::new());
    let cover = read_cover(area, &terrain, request, &Share { of: progress, from: 0.0, to: 0.2 })?
        .map(|loaded| unpack(loaded, &mut warnings, &mut provenance));
    let standing = read_standing(area, &terrain, request, &Share { of: progress, from: 0.2, to: 0.35 })?
        .map(|loaded| unpack(loaded, &mut warnings, &mut provenance));
    let barriers: Vec<Barrier> = area
        .hazards
        .iter()
        .map(|hazard| Barrier::around(hazard))
        .chain(area.lanes.iter().map(|lane| match lane.kind {
            LaneKind::Lane => Barrier::road(lane.line.clone()),
            LaneKind::River => Barrier::river(lane.line.clone()),
        }))
        .collect();
    let scene = Scene {
        terrain: &terrain,
        cover: cover.as_ref(),
        standing: standing.as_ref(),
        fields: if request.ignore_fields { &[] } else { &area.fields },
        barriers: &barriers,
    };
    let search = Share { of: progress, from: 0.35, to: 1.0 };
    let suggestions = suggest(&scene, &request.options, &|share| search.report(share), &|| search.cancelled())?;
    Ok(Suggested { suggestions, warnings, provenance })
}

/// What stands on the sides of an area's fields, by a surface model.
#[derive(Clone, Debug, Default)]
pub struct Measured {
    /// Identifier of a field, and what stands on each of its sides; unknown where the model does not say.
    pub sides: Vec<(String, Vec<BoundaryEdge>)>,
    /// What was repaired, assumed or left out.
    pub warnings: Vec<Warning>,
    /// One line for each source.
    pub provenance: Vec<String>,
}

/// Measures what stands on the sides of every field of an area, from the surface model of the request.
///
/// # Errors
/// When there is no surface model, one cannot be used, or the caller stops it.
pub fn measure_sides(
    area: &Area,
    request: &SuggestRequest,
    progress: &dyn Progress,
) -> Result<Measured, SuggestFailure> {
    let reading = Share { of: progress, from: 0.0, to: 0.8 };
    let loaded = read_standing(area, &area.terrain, request, &reading)?.ok_or(SuggestFailure::NoSurfaceModel)?;
    let mut measured = Measured::default();
    let standing = unpack(loaded, &mut measured.warnings, &mut measured.provenance);
    for (done, field) in area.fields.iter().enumerate() {
        if done % 64 == 0 {
            if progress.cancelled() {
                return Err(SuggestError::Cancelled.into());
            }
            progress.report(0.8 + 0.2 * done as f64 / area.fields.len() as f64);
        }
        let sides = boundary_heights(field, &standing).iter().map(EdgeHeight::edge).collect();
        measured.sides.push((field.id.clone(), sides));
    }
    Ok(measured)
}

fn unpack<T>(loaded: Loaded<T>, warnings: &mut Vec<Warning>, provenance: &mut Vec<String>) -> T {
    warnings.extend(loaded.warnings);
    provenance.extend(loaded.provenance);
    loaded.value
}

fn read_cover(
    area: &Area,
    terrain: &Terrain,
    request: &SuggestRequest,
    progress: &dyn Progress,
) -> Result<Option<Loaded<LandCover>>, LoadError> {
    let Some(path) = &request.land_cover else {
        return area.is_sample.then(|| area.sample_land_cover(progress)).transpose();
    };
    let table = match &request.classes {
        Some(file) => land_cover::load_table(file)?,
        None => Loaded {
            value: land_cover::worldcover(),
            warnings: Vec::new(),
            provenance: vec!["classes taken as those of ESA WorldCover".to_owned()],
        },
    };
    let mut loaded = land_cover::load(path, table.value, &CoverRequest::over(terrain, &area.frame), progress)?;
    loaded.warnings.extend(table.warnings);
    loaded.provenance.extend(table.provenance);
    Ok(Some(loaded))
}

fn read_standing(
    area: &Area,
    terrain: &Terrain,
    request: &SuggestRequest,
    progress: &dyn Progress,
) -> Result<Option<Loaded<Standing>>, LoadError> {
    if request.surface_model.is_empty() {
        return area.is_sample.then(|| area.sample_standing()).transpose();
    }
    land_cover::load_standing(&request.surface_model, terrain, &area.frame, None, progress).map(Some)
}

/// A proposal's middle, for lists and maps.
#[must_use]
pub fn middle(proposal: &Proposal) -> Xy {
    (proposal.strip.start + proposal.strip.end) * 0.5
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_data::NoProgress;
    use sparefield_geometry::fields::model::{Stock, Surface};
    use std::path::Path;

    fn around_home(area: &Area, half_m: f64) -> SuggestRequest {
        let at = area.home.as_ref().unwrap().position;
        let half = Xy::new(half_m, half_m);
        SuggestRequest { window: Some((at - half, at + half)), ..SuggestRequest::new(Options::default()) }
    }

    #[test]
    fn nothing_is_suggested_on_known_fields_unless_asked_for() {
        let area = Area::sample(&NoProgress).unwrap();
        let known = suggest_fields(&area, &around_home(&area, 1_500.0), &NoProgress).unwrap();
        let again = SuggestRequest { ignore_fields: true, ..around_home(&area, 1_500.0) };
        let again = suggest_fields(&area, &again, &NoProgress).unwrap();
        let on_fields = |s: &Suggested| {
            let middles = s.suggestions.proposals.iter().map(middle);
            middles
                .filter(|m| area.fields.iter().any(|f| sparefield_geometry::fields::strip::inside_ring(&f.outer, *m)))
                .count()
        };
        assert_eq!(on_fields(&known), 0);
        assert!(on_fields(&again) > 5, "{}", on_fields(&again));
        for field in again.fields(&area) {
            assert!(!area.fields.iter().any(|f| f.id == field.id));
            assert_eq!((field.surveyed, field.stock, field.surface), (None, Stock::Unknown, Surface::Unknown));
            assert_eq!(field.edges.len(), field.outer.len());
        }
    }

    #[test]
    fn files_of_ones_own_give_what_the_embedded_ones_give() {
        let area = Area::sample(&NoProgress).unwrap();
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sample-terrain");
        let embedded = SuggestRequest { ignore_fields: true, ..around_home(&area, 1_200.0) };
        let files = SuggestRequest {
            land_cover: Some(folder.join("land-cover.tif")),
            surface_model: vec![folder.join("surface.tif")],
            ..embedded.clone()
        };
        let (embedded, files) = (
            suggest_fields(&area, &embedded, &NoProgress).unwrap(),
            suggest_fields(&area, &files, &NoProgress).unwrap(),
        );
        let outlines = |s: &Suggested| s.suggestions.proposals.iter().map(|p| p.outline.clone()).collect::<Vec<_>>();
        assert!(!outlines(&files).is_empty());
        assert_eq!(outlines(&embedded).len(), outlines(&files).len());
        assert!(files.provenance.iter().any(|p| p.contains("land-cover.tif")));
    }

    #[test]
    fn a_search_outside_the_terrain_or_with_a_missing_file_says_so() {
        let area = Area::sample(&NoProgress).unwrap();
        let away = SuggestRequest {
            window: Some((Xy::new(0.0, 0.0), Xy::new(10.0, 10.0))),
            ..SuggestRequest::new(Options::default())
        };
        let error = suggest_fields(&area, &away, &NoProgress).unwrap_err();
        assert!(error.to_string().contains("no terrain") && !error.is_stop());
        let missing = SuggestRequest { land_cover: Some("no-such.tif".into()), ..around_home(&area, 600.0) };
        let error = suggest_fields(&area, &missing, &NoProgress).unwrap_err();
        assert!(error.to_string().contains("no-such.tif"), "{error}");
    }
}
