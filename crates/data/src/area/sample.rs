//! The invented sample area, embedded in the program so that a copied binary has something to show.

use super::{Area, Home, Lane, LaneKind, RunwayEnd, Start, sample_drills, shared, with_ids};
use crate::error::{LoadError, LoadErrorKind, Loaded, Progress, Warning};
use crate::frame::{Frame, FrameError};
use crate::land_cover::{self, CoverRequest};
use crate::quantity::ReportedWind;
use crate::terrain::{self, TerrainRequest};
use crate::vector::{self, VectorOptions};
use serde::Deserialize;
use sparefield_geometry::grid::{SurfaceKind, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{Bearing, LonLat, Xy};
use sparefield_geometry::suggest::{LandCover, Standing};
use std::path::Path;
use std::sync::Arc;

const TERRAIN: &[u8] = include_bytes!("../../../../sample-terrain/terrain.tif");
const LAND_COVER: &[u8] = include_bytes!("../../../../sample-terrain/land-cover.tif");
const SURFACE: &[u8] = include_bytes!("../../../../sample-terrain/surface.tif");
const FIELDS: &str = include_str!("../../../../sample-terrain/fields.geojson");
const HAZARDS: &str = include_str!("../../../../sample-terrain/hazards.geojson");
const QUIET_ZONES: &str = include_str!("../../../../sample-terrain/quiet-zones.geojson");
const LANES: &str = include_str!("../../../../sample-terrain/lanes.geojson");
const HOME: &str = include_str!("../../../../sample-terrain/home.json");

/// The heights are invented, so they are what they are; 0.5 m stands for a ground model averaged from laser scans.
const ACCURACY: TerrainAccuracy = TerrainAccuracy { point_to_point_m: 0.5, kind: SurfaceKind::BareGround };

/// The surface model's noise, as the program that makes it states it.
const SURFACE_ACCURACY: TerrainAccuracy = TerrainAccuracy { point_to_point_m: 0.2, kind: SurfaceKind::SurfaceModel };

#[derive(Deserialize)]
struct HomeFile {
    name: String,
    field_id: String,
    position: [f64; 2],
    elevation_m: f64,
    runway: RunwayRecord,
    start: StartRecord,
}

#[derive(Deserialize)]
struct RunwayRecord {
    length_m: f64,
    width_m: f64,
    ends: Vec<EndRecord>,
}

#[derive(Deserialize)]
struct EndRecord {
    name: String,
    heading_deg: f64,
    threshold: [f64; 2],
    elevation_m: f64,
}

#[derive(Deserialize)]
struct StartRecord {
    position: [f64; 2],
    height_agl_m: f64,
    heading_deg: f64,
    wind: WindRecord,
}

#[derive(Deserialize)]
struct WindRecord {
    from_deg: f64,
    speed_ms: f64,
}

fn corrupt(name: &str, problem: impl Into<String>) -> LoadError {
    LoadError::new(Path::new(name), LoadErrorKind::Corrupt, problem, "build the program again")
}

fn placed(frame: &Frame, [lon_deg, lat_deg]: [f64; 2]) -> Result<Xy, LoadError> {
    frame.to_xy(LonLat { lon_deg, lat_deg }).map_err(|e: FrameError| corrupt("sample area", e.to_string()))
}

/// The terrain of the sample area.
pub(super) fn terrain(frame: &Frame, progress: &dyn Progress) -> Result<Loaded<Terrain>, LoadError> {
    let request = TerrainRequest { accuracy: Some(ACCURACY), ..TerrainRequest::new(frame) };
    terrain::load_bytes("sample terrain.tif", TERRAIN, &request, progress)
}

pub(super) fn load(progress: &dyn Progress) -> Result<Area, LoadError> {
    let home: HomeFile = serde_json::from_str(HOME).map_err(|e| corrupt("sample home", e.to_string()))?;
    let middle = LonLat { lon_deg: home.position[0], lat_deg: home.position[1] };
    let frame = Frame::utm_for(middle).map_err(|e| corrupt("sample home", e.to_string()))?;
    let terrain = terrain(&frame, progress)?;
    let options = VectorOptions::default();
    let fields = vector::fields_from_geojson("sample fields.geojson", FIELDS, &frame, &options)?;
    let hazards = vector::hazards_from_geojson("sample hazards.geojson", HAZARDS, &frame, &options)?;
    let quiet = vector::hazards_from_geojson("sample quiet-zones.geojson", QUIET_ZONES, &frame, &options)?;
    let mut warnings: Vec<Warning> = terrain.warnings;
    warnings.extend(fields.warnings);
    warnings.extend(hazards.warnings);
    warnings.extend(quiet.warnings);
    let end = |e: &EndRecord| -> Result<RunwayEnd, LoadError> {
        Ok(RunwayEnd {
            name: e.name.clone(),
            heading_true: Bearing::from_deg(e.heading_deg),
            threshold: placed(&frame, e.threshold)?,
            elevation_amsl_m: e.elevation_m,
        })
    };
    let start = Start {
        position: placed(&frame, home.start.position)?,
        height_agl_m: home.start.height_agl_m,
        heading_true: Bearing::from_deg(home.start.heading_deg),
        wind: ReportedWind {
            from: Some(Bearing::from_deg(home.start.wind.from_deg)),
            speed_ms: home.start.wind.speed_ms,
            gust_ms: None,
        },
    };
    let home_position = placed(&frame, home.position)?;
    Ok(Area {
        title: format!("{} (invented sample area)", home.name),
        terrain: Arc::new(terrain.value),
        fields: shared(fields.value),
        proposals: Arc::default(),
        hazards: shared(with_ids(hazards.value.hazards, "hazard", |h| &mut h.id)),
        quiet_zones: shared(with_ids(quiet.value.quiet_zones, "quiet", |q| &mut q.id)),
        lanes: Arc::new(lanes(&frame)?),
        layers: Arc::default(),
        home: Some(Home {
            ends: home.runway.ends.iter().map(end).collect::<Result<_, _>>()?,
            position: home_position,
            name: home.name,
            field_id: home.field_id,
            elevation_amsl_m: home.elevation_m,
            runway_length_m: home.runway.length_m,
            runway_width_m: home.runway.width_m,
        }),
        start: Some(start),
        drill_sets: Arc::new(
            sample_drills::drill_sets(&frame, home_position).map_err(|e| corrupt("sample drills", e.to_string()))?,
        ),
        drill_results: Arc::default(),
        sorties: Arc::default(),
        frame: Arc::new(frame),
        provenance: vec!["sample area: invented for demonstration, it shows no real place".to_owned()],
        warnings,
        is_sample: true,
        places: super::GonePlaces::default(),
    })
}

/// The invented land-cover map over the sample area, in the classes of ESA WorldCover.
pub(super) fn land_cover(area: &Area, progress: &dyn Progress) -> Result<Loaded<LandCover>, LoadError> {
    let request = CoverRequest::over(&area.terrain, &area.frame);
    land_cover::load_bytes("sample land-cover.tif", LAND_COVER, land_cover::worldcover(), &request, progress)
}

/// What stands on the ground around the home strip of the sample area, from an invented surface model.
pub(super) fn standing(area: &Area) -> Result<Loaded<Standing>, LoadError> {
    let request = TerrainRequest { accuracy: Some(SURFACE_ACCURACY), ..TerrainRequest::new(&area.frame) };
    land_cover::standing_from_bytes("sample surface.tif", SURFACE, &area.terrain, &request)
}

/// Lines of the map. They carry no result, so they are read plainly.
fn lanes(frame: &Frame) -> Result<Vec<Lane>, LoadError> {
    #[derive(Deserialize)]
    struct Collection {
        features: Vec<Feature>,
    }
    #[derive(Deserialize)]
    struct Feature {
        properties: Properties,
        geometry: Geometry,
    }
    #[derive(Deserialize)]
    struct Properties {
        kind: String,
        #[serde(default)]
        name: String,
    }
    #[derive(Deserialize)]
    struct Geometry {
        coordinates: Vec<[f64; 2]>,
    }
    let collection: Collection = serde_json::from_str(LANES).map_err(|e| corrupt("sample lanes", e.to_string()))?;
    collection
        .features
        .into_iter()
        .map(|f| {
            Ok(Lane {
                kind: if f.properties.kind == "river" { LaneKind::River } else { LaneKind::Lane },
                name: f.properties.name,
                line: f.geometry.coordinates.into_iter().map(|p| placed(frame, p)).collect::<Result<_, _>>()?,
            })
        })
        .collect()
}
