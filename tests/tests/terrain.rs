//! Terrain readers against rasterio (GDAL) and positions against pyproj (PROJ), on the files of `terrain_reference`.
//!
//! The expected values were computed by `terrain_reference/generate.py`, with no part of Sparefield.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed check")]

use sparefield_data::frame::{Crs, Frame, Transformer};
use sparefield_data::{LoadErrorKind, Loaded, NoProgress, terrain};
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::{LonLat, Xy};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Greatest error of a position, in source posts: what the reader promises (1/50), and nothing else.
const POSITION_POSTS: f64 = 0.02;
/// Rounding of heights to 32-bit floats: half a unit in the last place below 4096 m is 0.12 mm.
const ROUNDING_M: f64 = 0.000_25;
/// Greatest error of a projected position.
const PROJECTION_M: f64 = 0.001;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("terrain_reference")
}

fn rows(name: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(folder().join(name)).unwrap();
    text.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

struct Sample {
    at: Xy,
    place: LonLat,
    height_m: f64,
    spread_m: f64,
}

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Case {
    files: String,
    frame: String,
    cell_m: String,
    user_crs: String,
}

fn cases() -> BTreeMap<Case, Vec<Sample>> {
    cases_of("samples.csv")
}

fn cases_of(table: &str) -> BTreeMap<Case, Vec<Sample>> {
    let mut cases: BTreeMap<Case, Vec<Sample>> = BTreeMap::new();
    for row in rows(table) {
        let number = |i: usize| row[i].parse::<f64>().unwrap();
        let case =
            Case { files: row[0].clone(), frame: row[1].clone(), cell_m: row[2].clone(), user_crs: row[3].clone() };
        cases.entry(case).or_default().push(Sample {
            place: LonLat { lon_deg: number(4), lat_deg: number(5) },
            at: Xy::new(number(6), number(7)),
            height_m: number(8),
            spread_m: number(9),
        });
    }
    cases
}

fn load(case: &Case) -> Loaded<Terrain> {
    load_from(&folder().join("inputs"), case)
}

fn load_from(folder: &Path, case: &Case) -> Loaded<Terrain> {
    let frame = Frame::from_user(&case.frame).unwrap();
    let paths: Vec<PathBuf> = case.files.split('+').map(|f| folder.join(f)).collect();
    let request = terrain::TerrainRequest {
        cell_m: Some(case.cell_m.parse().unwrap()),
        crs_where_missing: (!case.user_crs.is_empty()).then(|| Crs::from_user(&case.user_crs).unwrap()),
        ..terrain::TerrainRequest::new(&frame)
    };
    terrain::load(&paths, &request, &NoProgress).unwrap_or_else(|e| panic!("{case:?}: {e}"))
}

/// The post at a position, which must be one; `NaN` where it has no height.
fn post(terrain: &Terrain, at: Xy) -> f64 {
    let (row, col) = terrain.frame.fractional(at);
    assert!((row - row.round()).abs() < 1e-6 && (col - col.round()).abs() < 1e-6, "{at:?} is no post");
    terrain.post(row.round() as usize, col.round() as usize).unwrap_or(f64::NAN)
}

fn allowed(sample: &Sample) -> f64 {
    // Along both axes at once, the surface changes by at most its spread for one post.
    ROUNDING_M + 2.0 * POSITION_POSTS * sample.spread_m
}

/// Compares all samples; gives how many are missing heights, and the greatest error as a share of its bound.
fn compare(case: &Case, samples: &[Sample], terrain: &Terrain) -> (usize, f64) {
    let (mut missing, mut worst) = (0, 0.0f64);
    for sample in samples {
        let found = post(terrain, sample.at);
        assert_eq!(found.is_nan(), sample.height_m.is_nan(), "{case:?} at {:?}: {found}", sample.at);
        if found.is_nan() {
            missing += 1;
            continue;
        }
        let share = (found - sample.height_m).abs() / allowed(sample);
        assert!(share <= 1.0, "{case:?} at {:?}: {found}, expected {}", sample.at, sample.height_m);
        worst = worst.max(share);
    }
    (missing, worst)
}

#[test]
fn heights_are_those_of_rasterio() {
    let cases = cases();
    let (mut missing, mut worst) = (0, (0.0, ""));
    for (case, samples) in &cases {
        let (none, share) = compare(case, samples, &load(case).value);
        missing += none;
        if share > worst.0 {
            worst = (share, &case.files);
        }
    }
    assert!(missing >= 40, "the samples must fall on missing heights too, {missing} do");
    println!("{} cases, greatest error {:.3} of its bound, in {}", cases.len(), worst.0, worst.1);
}

/// Whole files, where an open-data folder is at hand (see the README of the reference).
#[test]
fn whole_files_are_those_of_rasterio() {
    let Some(folder) = std::env::var_os("SPAREFIELD_OPEN_DATA").map(PathBuf::from) else {
        println!("not run: SPAREFIELD_OPEN_DATA names no folder");
        return;
    };
    let cases = cases_of("open_data.csv");
    assert_eq!(cases.len(), 10);
    for (case, samples) in cases {
        if !folder.join(&case.files).exists() {
            println!("not run: {} is not there", case.files);
            continue;
        }
        let loaded = load_from(&folder, &case);
        let (missing, share) = compare(&case, &samples, &loaded.value);
        println!("{}: greatest error {share:.3} of its bound, {missing} missing", case.files);
    }
}

/// Every file is used, and every file used is there.
#[test]
fn files_are_counted_both_ways() {
    let used: BTreeSet<String> =
        cases().keys().flat_map(|c| c.files.split('+').map(str::to_owned).collect::<Vec<_>>()).collect();
    let there: BTreeSet<String> = std::fs::read_dir(folder().join("inputs"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| !name.contains(".prj"))
        .collect();
    assert_eq!(used, there);
    assert_eq!(used.len(), 66);
    assert_eq!(cases().values().map(Vec::len).sum::<usize>(), 924);
}

/// The bounds would not hold for a file read half a pixel off, mirrored, or in feet.
#[test]
fn the_bounds_can_fail() {
    for (case, samples) in cases().iter().filter(|(c, _)| c.files.starts_with("type_float32") && c.cell_m == "20.0") {
        let terrain = load(case).value;
        let half_a_pixel = Xy::new(12.7, 15.4);
        let off = |change: &dyn Fn(&Sample) -> f64| {
            samples.iter().filter(|s| (change(s) - s.height_m).abs() > allowed(s)).count() * 2 > samples.len()
        };
        assert!(off(&|s| terrain.height_at(s.at + half_a_pixel).unwrap_or(f64::NAN) + 0.0));
        assert!(off(&|s| post(&terrain, s.at) * 0.3048));
        let middle = terrain.frame.centre(terrain.frame.rows / 2, terrain.frame.cols / 2);
        assert!(off(&|s| terrain.height_at(Xy::new(s.at.x, 2.0 * middle.y - s.at.y)).unwrap_or(f64::NAN)));
    }
}

#[test]
fn posts_of_the_frame_itself_are_taken_unchanged() {
    let case = cases().into_keys().find(|c| c.files == "utm_same_grid.tif").unwrap();
    let frame = Frame::from_user("EPSG:32611").unwrap();
    let path = folder().join("inputs").join(&case.files);
    let loaded = terrain::load(&[path], &terrain::TerrainRequest::new(&frame), &NoProgress).unwrap();
    assert_eq!((loaded.value.frame.cols, loaded.value.frame.rows), (37, 29));
    assert_eq!(loaded.value.frame.cell_m, 30.0);
    assert!(loaded.value.heights_m.iter().all(|h| h.fract() == 0.0), "whole metres stay whole");
    assert!(loaded.warnings.is_empty(), "{:?}", loaded.warnings);
}

#[test]
fn remarks_are_made_where_something_was_assumed() {
    let all = cases();
    let warned = |file: &str, text: &str| {
        let case = all.keys().find(|c| c.files == file).unwrap();
        let loaded = load(case);
        assert!(loaded.warnings.iter().any(|w| w.to_string().contains(text)), "{file}: {:?}", loaded.warnings);
    };
    warned("no_crs.tif", "EPSG:27700");
    warned("vertical_feet.tif", "converted to metres");
    warned("two_bands_planar.tif", "2 bands");
    warned("scale_and_offset.tif", "0.5 × value + -100");
    warned("user_tmerc_grs80.tif", "datum is not stated");
    warned("ascii_no_no_data_line.asc", "−9999");
    warned("no_data_zero.tif", "no height");
    let frame = Frame::from_user("EPSG:27700").unwrap();
    let error =
        terrain::load(&[folder().join("inputs/no_crs.tif")], &terrain::TerrainRequest::new(&frame), &NoProgress)
            .unwrap_err();
    assert_eq!(error.kind, LoadErrorKind::Crs);
    assert!(error.to_string().contains("states no reference system"), "{error}");
}

#[test]
fn positions_are_those_of_pyproj() {
    let rows = rows("projections.csv");
    assert_eq!(rows.len(), 60);
    let mut worst = (0.0f64, 0.0f64, 0.0f64);
    for row in &rows {
        let number = |i: usize| row[i].parse::<f64>().unwrap();
        let frame = Frame::from_user(&row[0]).unwrap();
        let place = LonLat { lon_deg: number(1), lat_deg: number(2) };
        let expected = Xy::new(number(3), number(4));
        let found = frame.to_xy(place).unwrap();
        let error = found.distance(expected);
        assert!(error <= PROJECTION_M, "{row:?}: {found:?}");
        let back = frame.to_lonlat(expected).unwrap();
        let metres_per_degree = 111_320.0;
        let shrink = sparefield_geometry::math::cos(place.lat_deg.to_radians());
        let back_error = Xy::new(
            (back.lon_deg - number(5)) * metres_per_degree * shrink,
            (back.lat_deg - number(6)) * metres_per_degree,
        )
        .norm();
        assert!(back_error <= PROJECTION_M, "{row:?}: {back:?}");
        let turn = (frame.grid_convergence_rad(expected).unwrap() - number(7)).abs();
        worst = (worst.0.max(error), worst.1.max(back_error), worst.2.max(turn));
        // pyproj's convergence is that on the system's own datum, ours that of WGS 84's meridians. Datums here differ
        // by 150 m at most, which is 0.002° of longitude, and meridians turn by that times the sine of the latitude.
        assert!(turn < 5e-5, "{row:?}: {turn}");
    }
    println!("greatest errors: {:.2e} m, back {:.2e} m, convergence {:.2e} rad", worst.0, worst.1, worst.2);
}

#[test]
fn sample_places_lie_at_their_posts() {
    for (case, samples) in cases() {
        let frame = Frame::from_user(&case.frame).unwrap();
        for sample in samples {
            assert!(frame.to_xy(sample.place).unwrap().distance(sample.at) < PROJECTION_M, "{case:?}");
        }
    }
}

#[test]
fn a_transformer_goes_there_and_back() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let grid = Crs::from_user("EPSG:27700").unwrap();
    let transformer = Transformer::new(&grid, &frame).unwrap();
    let at = transformer.to_frame(321_000.0, 130_000.0).unwrap();
    let (x, y) = transformer.from_frame(at).unwrap();
    assert!((x - 321_000.0).abs() < PROJECTION_M && (y - 130_000.0).abs() < PROJECTION_M);
    assert!(transformer.to_frame(f64::NAN, 0.0).is_err());
}

/// What was written is read back unchanged, also by name of another program's conventions: pixel is area, `NaN` no data.
#[test]
fn written_files_are_read_back() {
    let frame = Frame::from_user("EPSG:32633").unwrap();
    let grid = sparefield_geometry::grid::GridFrame {
        origin: Xy::new(400_012.5, 5_200_037.5),
        cell_m: 25.0,
        cols: 300,
        rows: 270,
    };
    let heights: Vec<f32> = (0..grid.len())
        .map(|i| if i % 97 == 0 { f32::NAN } else { 300.0 + (i % 300) as f32 * 0.37 + (i / 300) as f32 * 0.11 })
        .collect();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("heights.tif");
    terrain::write_geotiff(&path, &grid, frame.epsg(), &heights).unwrap();
    let loaded = terrain::load(&[path], &terrain::TerrainRequest::new(&frame), &NoProgress).unwrap();
    assert_eq!(loaded.value.frame, grid);
    for (found, wanted) in loaded.value.heights_m.iter().zip(&heights) {
        assert!(found == wanted || (found.is_nan() && wanted.is_nan()));
    }
    let missing = folder.path().join("not there").join("heights.tif");
    let error = terrain::write_geotiff(&missing, &grid, None, &heights).unwrap_err();
    assert!(error.to_string().contains("not there"), "{error}");
    assert!(terrain::write_geotiff(&missing, &grid, None, &heights[1..]).is_err());
}
