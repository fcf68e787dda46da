//! One home area: terrain, fields and hazards in one frame, put together from files or from the sample area.

mod classify;
mod edit;
mod from_file;
mod gone;
mod import;
mod places;
mod proposal;
mod sample;
mod sample_drills;

pub use classify::{Classified, classify};
pub use edit::{Change, Edit, EditError, Identified, Swap};
pub use gone::GonePlaces;
pub(crate) use gone::Thing;
pub use import::Present;
pub use places::Places;
pub use proposal::Proposal;

use crate::error::{LoadError, LoadErrorKind, Loaded, Progress, Warning};
use crate::frame::{Crs, Frame, FrameError};
use crate::free_ids::FreeIds;
use crate::imagery::AreaLayers;
use crate::quantity::ReportedWind;
use crate::sortie::Sortie;
use crate::terrain::{self, TerrainInfo, TerrainRequest};
use crate::vector::record::Notes;
use crate::vector::{self, Hazards, VectorOptions};
use sparefield_geometry::drill::{DrillResult, DrillSet};
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::{Bearing, LonLat, Xy};
use sparefield_geometry::suggest::{LandCover, Standing};
use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// How far around the fields and the aircraft terrain is loaded, metres: a glide from 2 500 m at 6 : 1.
const MARGIN_M: f64 = 15_000.0;
/// Fields farther than this from the middle do not enlarge what is loaded, metres.
const FARTHEST_M: f64 = 60_000.0;

/// What an area is put together from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AreaRequest {
    /// Terrain files, at least one.
    pub terrain: Vec<PathBuf>,
    /// Field files.
    pub fields: Vec<PathBuf>,
    /// Hazard files; may hold quiet zones.
    pub hazards: Vec<PathBuf>,
    /// Lines along the sides of fields, with what stands there and how high.
    pub edges: Vec<PathBuf>,
    /// A reference system by the user's word: the frame where it is projected in metres, and the system of files that
    /// state none.
    pub crs: Option<String>,
    /// Side of a terrain cell, metres; `None` for the spacing of the files.
    pub grid_m: Option<f64>,
    /// Where the aircraft is; terrain is loaded around it and the fields.
    pub around: Option<LonLat>,
}

/// The home strip.
#[derive(Clone, Debug, PartialEq)]
pub struct Home {
    /// Name.
    pub name: String,
    /// The field it lies in.
    pub field_id: String,
    /// Middle of the runway.
    pub position: Xy,
    /// Height above mean sea level, metres.
    pub elevation_amsl_m: f64,
    /// Runway length, metres.
    pub runway_length_m: f64,
    /// Runway width, metres.
    pub runway_width_m: f64,
    /// Both ends, as landed on.
    pub ends: Vec<RunwayEnd>,
}

/// One end of a runway.
#[derive(Clone, Debug, PartialEq)]
pub struct RunwayEnd {
    /// Its number.
    pub name: String,
    /// Landing direction from true north.
    pub heading_true: Bearing,
    /// Where the runway begins.
    pub threshold: Xy,
    /// Height above mean sea level, metres.
    pub elevation_amsl_m: f64,
}

/// A state and a wind worth looking at first.
#[derive(Clone, Debug, PartialEq)]
pub struct Start {
    /// Position.
    pub position: Xy,
    /// Height above ground, metres.
    pub height_agl_m: f64,
    /// Heading from true north.
    pub heading_true: Bearing,
    /// Surface wind, from true north.
    pub wind: ReportedWind,
}

/// What a line on the map shows. Lines are drawn and never counted in a result.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LaneKind {
    /// A road or track.
    Lane,
    /// A river or stream.
    River,
}

/// A line that helps to find one's way on the map.
#[derive(Clone, Debug, PartialEq)]
pub struct Lane {
    /// What it shows.
    pub kind: LaneKind,
    /// Name; may be empty.
    pub name: String,
    /// The line.
    pub line: Vec<Xy>,
}

/// One area in one frame. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Area {
    /// Title for people.
    pub title: String,
    /// The projected frame.
    pub frame: Arc<Frame>,
    /// Terrain.
    pub terrain: Arc<Terrain>,
    /// Fields.
    pub fields: Arc<Vec<Arc<Field>>>,
    /// Suggested fields.
    pub proposals: Arc<Vec<Arc<Proposal>>>,
    /// Hazards. Every one has an identifier of its own.
    pub hazards: Arc<Vec<Arc<Hazard>>>,
    /// Quiet zones. Every one has an identifier of its own.
    pub quiet_zones: Arc<Vec<Arc<QuietZone>>>,
    /// Lines for orientation.
    pub lanes: Arc<Vec<Lane>>,
    /// What is drawn under the fields.
    pub layers: Arc<AreaLayers>,
    /// Home strip, where one is known.
    pub home: Option<Home>,
    /// A state worth looking at first, where one is known.
    pub start: Option<Start>,
    /// Drill sets.
    pub drill_sets: Arc<Vec<Arc<DrillSet>>>,
    /// Results of drills.
    pub drill_results: Arc<Vec<Arc<DrillResult>>>,
    /// Recorded flights.
    pub sorties: Arc<Vec<Arc<Sortie>>>,
    /// One line for each source.
    pub provenance: Vec<String>,
    /// What was repaired, assumed or left out.
    pub warnings: Vec<Warning>,
    /// Whether this is the invented sample area.
    pub is_sample: bool,
    /// Where things stood that were taken away; begin with the default.
    pub places: GonePlaces,
}

impl Area {
    /// The sample area that is embedded in the program.
    ///
    /// # Errors
    /// When stopped; the embedded files themselves are tested.
    pub fn sample(progress: &dyn Progress) -> Result<Self, LoadError> {
        sample::load(progress)
    }

    /// The land-cover map that comes with the sample area.
    ///
    /// # Errors
    /// When stopped, or when this is not the sample area and lies elsewhere.
    pub fn sample_land_cover(&self, progress: &dyn Progress) -> Result<Loaded<LandCover>, LoadError> {
        sample::land_cover(self, progress)
    }

    /// What stands on the ground in a part of the sample area, from its surface model.
    ///
    /// # Errors
    /// As [`Self::sample_land_cover`].
    pub fn sample_standing(&self) -> Result<Loaded<Standing>, LoadError> {
        sample::standing(self)
    }

    /// An area from files.
    ///
    /// # Errors
    /// When a file cannot be used, the reference system is not understood, or the caller cancels.
    pub fn open(request: &AreaRequest, progress: &dyn Progress) -> Result<Self, LoadError> {
        let given = request.crs.as_deref().map(named_crs).transpose()?;
        let infos = inspect_all(request, given.as_ref())?;
        let first = infos.first().map_or(Path::new("terrain"), |i| i.path.as_path()).to_owned();
        let in_file = |e: FrameError| LoadError::new(&first, LoadErrorKind::Crs, e.to_string(), "");
        let frame = match &given {
            Some(crs) if !crs.is_geographic() => Frame::from_crs(crs.clone()).map_err(|e| in_option(&e))?,
            _ => Frame::utm_for(request.around.map_or_else(|| middle(&infos, &first), Ok)?).map_err(in_file)?,
        };

        let mut warnings = Vec::new();
        let mut provenance = Vec::new();
        let mut fields = Vec::new();
        for path in &request.fields {
            let read = |options: &VectorOptions| vector::load_fields(path, &frame, options);
            fields.extend(collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance));
        }
        unique_ids(&mut fields, &mut warnings);
        for path in &request.edges {
            let known = fields.clone();
            let read = |options: &VectorOptions| {
                let mut tried = known.clone();
                let count = vector::load_edges(path, &mut tried, &frame, options)?;
                Ok(Loaded { value: (tried, count.value), warnings: count.warnings, provenance: count.provenance })
            };
            let (with_edges, sides) =
                collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance);
            fields = with_edges;
            if sides == 0 {
                warnings.push(Warning {
                    place: path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
                    message: "none of its lines runs along the side of a field, so it changes nothing".to_owned(),
                });
            }
        }
        let mut hazards = Hazards::default();
        for path in &request.hazards {
            let read = |options: &VectorOptions| vector::load_hazards(path, &frame, options);
            let more = collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance);
            hazards.hazards.extend(more.hazards);
            hazards.quiet_zones.extend(more.quiet_zones);
        }

        let around = request
            .around
            .map(|at| frame.to_xy(at))
            .transpose()
            .map_err(|e| LoadError::new(Path::new("--at"), LoadErrorKind::BadValue, e.to_string(), ""))?;
        let window = extent_window(&infos, around, &fields, &frame).map_err(in_file)?;
        let terrain_request = TerrainRequest {
            window,
            cell_m: request.grid_m,
            crs_where_missing: given.clone(),
            ..TerrainRequest::new(&frame)
        };
        let loaded = terrain::load(&request.terrain, &terrain_request, progress)?;
        warnings.extend(loaded.warnings);
        provenance.extend(loaded.provenance);
        let title = first.file_stem().map_or_else(|| "Area".to_owned(), |s| s.to_string_lossy().into_owned());
        Ok(Self {
            title,
            frame: Arc::new(frame),
            terrain: Arc::new(loaded.value),
            fields: shared(fields),
            proposals: Arc::default(),
            hazards: shared(with_ids(hazards.hazards, "hazard", |h| &mut h.id)),
            quiet_zones: shared(with_ids(hazards.quiet_zones, "quiet", |q| &mut q.id)),
            lanes: Arc::new(Vec::new()),
            layers: Arc::default(),
            home: None,
            start: None,
            drill_sets: Arc::default(),
            drill_results: Arc::default(),
            sorties: Arc::default(),
            provenance,
            warnings,
            is_sample: false,
            places: GonePlaces::default(),
        })
    }

    /// Middle of the terrain.
    #[must_use]
    pub fn centre(&self) -> Xy {
        let (low, high) = self.terrain.frame.bounds();
        (low + high) * 0.5
    }

    /// The angle from true north to grid north at a place, radians: true bearing = grid bearing + convergence.
    ///
    /// Far outside the area, where the frame has no image on the globe, it is that of the middle of the terrain.
    #[must_use]
    pub fn convergence_rad(&self, at: Xy) -> f64 {
        let there = |p: Xy| self.frame.grid_convergence_rad(p).ok().filter(|c| c.is_finite());
        there(at).or_else(|| there(self.centre())).unwrap_or(0.0)
    }

    /// A bearing from true north as one from grid north at a place.
    #[must_use]
    pub fn to_grid(&self, from_true_north: Bearing, at: Xy) -> Bearing {
        Bearing::from_rad(from_true_north.rad() - self.convergence_rad(at))
    }

    /// A bearing from grid north as one from true north at a place.
    #[must_use]
    pub fn to_true(&self, from_grid_north: Bearing, at: Xy) -> Bearing {
        Bearing::from_rad(from_grid_north.rad() + self.convergence_rad(at))
    }
}

fn shared<T>(all: Vec<T>) -> Arc<Vec<Arc<T>>> {
    Arc::new(all.into_iter().map(Arc::new).collect())
}

/// The same things, each with an identifier of its own: those that have none, or one that came before, get a new one.
fn with_ids<T>(mut all: Vec<T>, stem: &str, id_of: impl Fn(&mut T) -> &mut String) -> Vec<T> {
    let mut free = FreeIds::of(all.iter_mut().map(|thing| id_of(thing).clone()));
    let named = |stem: &str, number: u64| format!("{stem}-{number}");
    let mut seen = HashSet::new();
    for thing in &mut all {
        let id = id_of(thing);
        if id.is_empty() {
            *id = free.numbered_from(1, stem, named);
        } else if !seen.insert(id.clone()) {
            *id = free.numbered_from(1, id, named);
        }
    }
    all
}

/// The reference system named by the user.
fn named_crs(text: &str) -> Result<Crs, LoadError> {
    Crs::from_user(text).map_err(|e| in_option(&e))
}

fn in_option(error: &FrameError) -> LoadError {
    LoadError::new(Path::new("--crs"), LoadErrorKind::Crs, error.to_string(), "")
}

fn inspect_all(request: &AreaRequest, given: Option<&Crs>) -> Result<Vec<TerrainInfo>, LoadError> {
    if request.terrain.is_empty() {
        return Err(LoadError::new(
            Path::new("terrain"),
            LoadErrorKind::NothingHere,
            "no terrain file was named",
            "name a GeoTIFF, HGT or Esri ASCII grid that covers the area",
        ));
    }
    let infos = request.terrain.iter().map(|path| terrain::inspect(path)).collect::<Result<Vec<_>, _>>()?;
    // A file without a reference system is refused before anything else is read.
    if let (Some(info), None) = (infos.iter().find(|i| i.crs.is_none()), given) {
        let problem = info.crs_problem.clone().unwrap_or_else(|| "it states no reference system".to_owned());
        let remedy = "name its reference system with --crs, such as --crs EPSG:27700";
        return Err(LoadError::new(&info.path, LoadErrorKind::Crs, problem, remedy));
    }
    Ok(infos)
}

/// Middle of all terrain files together.
fn middle(infos: &[TerrainInfo], first: &Path) -> Result<LonLat, LoadError> {
    let centres: Vec<LonLat> = infos.iter().filter_map(TerrainInfo::centre).collect();
    let count = centres.len() as f64;
    let sum = |of: fn(&LonLat) -> f64| centres.iter().map(of).sum::<f64>() / count;
    LonLat::new(sum(|c| c.lon_deg), sum(|c| c.lat_deg)).ok_or_else(|| {
        let remedy = "name the system to compute in with --crs, such as --crs EPSG:32630";
        LoadError::new(first, LoadErrorKind::Crs, "it does not say where on the globe it lies", remedy)
    })
}

/// Reads a vector file, with the user's reference system only where the file states none.
fn with_given_crs<T>(
    given: Option<&Crs>,
    read: impl Fn(&VectorOptions) -> Result<Loaded<T>, LoadError>,
) -> Result<Loaded<T>, LoadError> {
    match (read(&VectorOptions::default()), given) {
        (Err(error), Some(crs)) if error.kind == LoadErrorKind::Crs => {
            read(&VectorOptions { crs_override: Some(crs.clone()), ..VectorOptions::default() })
        }
        (answer, _) => answer,
    }
}

fn collect<T>(path: &Path, loaded: Loaded<T>, warnings: &mut Vec<Warning>, provenance: &mut Vec<String>) -> T {
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    warnings.extend(loaded.warnings.into_iter().map(|w| Warning { place: name.clone(), message: w.to_string() }));
    provenance.extend(loaded.provenance);
    loaded.value
}

/// Two files may use the same identifiers; answers are found by identifier, so later ones get a suffix.
fn unique_ids(fields: &mut [Field], warnings: &mut Vec<Warning>) {
    let mut free = FreeIds::of(fields.iter().map(|f| f.id.clone()));
    let mut seen = HashSet::new();
    let mut notes = Notes::default();
    for field in fields.iter_mut() {
        if seen.insert(field.id.clone()) {
            continue;
        }
        let id = free.numbered(&field.id, |stem, number| format!("{stem}-{number}"));
        let message = format!("there is more than one field “{}”; a later one is called “{id}” here", field.id);
        notes.add("identifiers that were there twice", "", message);
        field.id = id;
    }
    warnings.extend(notes.into_warnings());
}

/// The part of the terrain worth loading; `None` for all of it.
fn extent_window<F: std::borrow::Borrow<Field>>(
    infos: &[TerrainInfo],
    around: Option<Xy>,
    fields: &[F],
    frame: &Frame,
) -> Result<Option<(Xy, Xy)>, FrameError> {
    let Some((low, high)) = extent(infos, frame)? else { return Ok(None) };
    let all_middle = (low + high) * 0.5;
    let inside = |p: Xy| p.x >= low.x && p.x <= high.x && p.y >= low.y && p.y <= high.y;
    let placed: Vec<Xy> = fields.iter().map(|f| f.borrow().centroid()).filter(|&c| inside(c)).collect();
    let anchor = around.filter(|&a| inside(a)).or_else(|| placed.first().copied()).unwrap_or(all_middle);
    let near = placed.into_iter().filter(|c| c.distance(anchor) <= FARTHEST_M);
    let (mut from, mut to) = (anchor, anchor);
    for p in near {
        from = Xy::new(from.x.min(p.x), from.y.min(p.y));
        to = Xy::new(to.x.max(p.x), to.y.max(p.y));
    }
    let margin = Xy::new(MARGIN_M, MARGIN_M);
    let (from, to) = (from - margin, to + margin);
    let from = Xy::new(from.x.max(low.x), from.y.max(low.y));
    let to = Xy::new(to.x.min(high.x), to.y.min(high.y));
    Ok((from.x < to.x && from.y < to.y).then_some((from, to)))
}

/// Corners in the frame of what all files cover, where they say so.
fn extent(infos: &[TerrainInfo], frame: &Frame) -> Result<Option<(Xy, Xy)>, FrameError> {
    const STEPS: i32 = 8;
    let mut corners: Option<(Xy, Xy)> = None;
    for info in infos {
        let Some((sw, ne)) = info.bounds else { return Ok(None) };
        for step in 0..=STEPS {
            let t = f64::from(step) / f64::from(STEPS);
            let lon_deg = sw.lon_deg + (ne.lon_deg - sw.lon_deg) * t;
            let lat_deg = sw.lat_deg + (ne.lat_deg - sw.lat_deg) * t;
            for place in [
                LonLat { lon_deg, lat_deg: sw.lat_deg },
                LonLat { lon_deg, lat_deg: ne.lat_deg },
                LonLat { lon_deg: sw.lon_deg, lat_deg },
                LonLat { lon_deg: ne.lon_deg, lat_deg },
            ] {
                let p = frame.to_xy(place)?;
                let (low, high) = corners.unwrap_or((p, p));
                corners = Some((Xy::new(low.x.min(p.x), low.y.min(p.y)), Xy::new(high.x.max(p.x), high.y.max(p.y))));
            }
        }
    }
    Ok(corners)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::NoProgress;

    fn sample_file(name: &str) -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sample-terrain").join(name)
    }

    #[test]
    fn a_layer_of_lines_tells_what_stands_on_the_sides_of_fields() {
        let folder = tempfile::tempdir().unwrap();
        let sample = Area::sample(&NoProgress).unwrap();
        // One side of one field, written as a line with a kind no field of the sample has at that height.
        let field = &sample.fields[3];
        let place = |p: Xy| {
            let l = sample.frame.to_lonlat(p).unwrap();
            vec![l.lon_deg, l.lat_deg]
        };
        let line = serde_json::json!({"type": "FeatureCollection", "features": [{"type": "Feature",
            "properties": {"kind": "wall", "height_m": 33.0, "field": field.id},
            "geometry": {"type": "LineString", "coordinates": [place(field.outer[0]), place(field.outer[1])]}}]});
        let edges = folder.path().join("edges.geojson");
        std::fs::write(&edges, line.to_string()).unwrap();
        let (fields, terrain) = (sample_file("fields.geojson"), sample_file("terrain.tif"));
        let sorted = classify(&[edges.clone(), fields.clone(), terrain.clone()]);
        assert_eq!((sorted.edges.len(), sorted.fields.len(), sorted.terrain.len()), (1, 1, 1), "{sorted:?}");
        let request = AreaRequest {
            terrain: sorted.terrain,
            fields: sorted.fields,
            edges: sorted.edges,
            ..AreaRequest::default()
        };
        let area = Area::open(&request, &NoProgress).unwrap();
        let same = area.fields.iter().find(|f| f.id == field.id).unwrap();
        assert!(same.edges.iter().any(|e| e.height_m == Some(33.0)), "{:?}", same.edges);
        assert!(
            area.fields.iter().filter(|f| f.id != field.id).all(|f| f.edges.iter().all(|e| e.height_m != Some(33.0)))
        );
    }

    #[test]
    fn the_sample_area_opens_and_lies_on_its_terrain() {
        let area = Area::sample(&NoProgress).unwrap();
        assert!(area.is_sample && area.fields.len() >= 150, "{} fields", area.fields.len());
        assert!(area.warnings.is_empty(), "{:?}", area.warnings);
        assert!(area.fields.iter().all(|f| area.terrain.height_at(f.centroid()).is_some()));
        let home = area.home.clone().unwrap();
        assert!(area.fields.iter().any(|f| f.id == home.field_id));
        let ground = area.terrain.height_at(home.position).unwrap();
        assert!((ground - home.elevation_amsl_m).abs() < 5.0, "{ground} and {}", home.elevation_amsl_m);
        // The runway points where it says, from true north.
        let (a, b) = (&home.ends[0], &home.ends[1]);
        let along = area.to_true((b.threshold - a.threshold).bearing().unwrap(), home.position);
        assert!(
            along.turn_to(a.heading_true).abs().to_degrees() < 0.5,
            "{}° and {}°",
            along.deg(),
            a.heading_true.deg()
        );
        assert!(area.start.is_some() && !area.lanes.is_empty());
    }

    #[test]
    fn bearings_turn_there_and_back() {
        let area = Area::sample(&NoProgress).unwrap();
        for deg in [0.0, 77.0, 200.0, 359.0] {
            let bearing = Bearing::from_deg(deg);
            let back = area.to_true(area.to_grid(bearing, area.centre()), area.centre());
            assert!(back.turn_to(bearing).abs() < 1e-12);
        }
        // A place without an image on the globe takes the middle's.
        let nowhere = Xy::new(f64::NAN, 0.0);
        assert_eq!(area.convergence_rad(nowhere), area.convergence_rad(area.centre()));
    }

    #[test]
    fn files_open_to_the_same_area() {
        let request = AreaRequest {
            terrain: vec![sample_file("terrain.tif")],
            fields: vec![sample_file("fields.geojson")],
            hazards: vec![sample_file("hazards.geojson"), sample_file("quiet-zones.geojson")],
            ..AreaRequest::default()
        };
        let (open, sample) = (Area::open(&request, &NoProgress).unwrap(), Area::sample(&NoProgress).unwrap());
        assert_eq!(open.frame.epsg(), sample.frame.epsg());
        assert_eq!(open.fields, sample.fields);
        assert_eq!(open.hazards, sample.hazards);
        assert_eq!(open.quiet_zones, sample.quiet_zones);
        let place = sample.home.unwrap().position;
        assert_eq!(open.terrain.height_at(place), sample.terrain.height_at(place));
        assert!(!open.is_sample && open.home.is_none());
    }

    #[test]
    fn only_what_is_needed_of_the_terrain_is_loaded() {
        let infos = [terrain::inspect(&sample_file("terrain.tif")).unwrap()];
        let frame = Frame::utm_for(infos[0].centre().unwrap()).unwrap();
        let (low, high) = extent(&infos, &frame).unwrap().unwrap();
        assert!((high - low).norm() > 25_000.0);
        let corner = low + Xy::new(1_000.0, 1_000.0);
        let (from, to) = extent_window::<Field>(&infos, Some(corner), &[], &frame).unwrap().unwrap();
        assert_eq!(from, low);
        assert_eq!(to, corner + Xy::new(MARGIN_M, MARGIN_M));
    }

    #[test]
    fn a_second_field_of_the_same_name_is_told_apart() {
        let field = Area::sample(&NoProgress).unwrap().fields[0].as_ref().clone();
        let mut fields = vec![field.clone(), field.clone(), field];
        let mut warnings = Vec::new();
        unique_ids(&mut fields, &mut warnings);
        assert_eq!(warnings.len(), 2);
        let ids: HashSet<_> = fields.iter().map(|f| &f.id).collect();
        assert_eq!(ids.len(), 3);
    }

    #[test]
    fn dropped_files_are_told_apart_by_content() {
        let names = ["terrain.tif", "fields.geojson", "hazards.geojson", "quiet-zones.geojson", "home.json"];
        let found = classify(&names.map(sample_file));
        assert_eq!(found.terrain, [sample_file("terrain.tif")]);
        assert_eq!(found.fields, [sample_file("fields.geojson")]);
        assert_eq!(found.hazards, [sample_file("hazards.geojson"), sample_file("quiet-zones.geojson")]);
        let [refused] = &found.refused[..] else { panic!("{:?}", found.refused) };
        assert!(refused.to_string().contains("home.json"), "{refused}");
    }

    #[test]
    fn a_reference_system_nobody_knows_is_refused() {
        let request = AreaRequest {
            terrain: vec![sample_file("terrain.tif")],
            crs: Some("EPSG:999999".into()),
            ..AreaRequest::default()
        };
        assert!(Area::open(&request, &NoProgress).unwrap_err().to_string().contains("--crs"));
        assert!(Area::open(&AreaRequest::default(), &NoProgress).unwrap_err().to_string().contains("no terrain file"));
    }
}
