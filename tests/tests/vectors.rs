//! Vector readers against shapely, pyshp and pyproj on real files: `vector_reference/generate.py` wrote what those
//! libraries find, and its `expected.json` names their versions.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use serde_json::Value;
use sparefield_data::frame::{Crs, Frame};
use sparefield_data::vector::{Hazards, VectorOptions, load_fields, load_hazards};
use sparefield_data::{LoadErrorKind, Loaded};
use sparefield_geometry::fields::model::{Field, HazardShape};
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};

/// Both sides call PROJ, in versions that differ; measured 7.5e-9 m.
const PLACE_M: f64 = 1e-6;
/// Relative difference of areas; measured 8e-16.
const AREA: f64 = 1e-11;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("vector_reference")
}

fn expected() -> Value {
    serde_json::from_str(&std::fs::read_to_string(folder().join("expected.json")).unwrap()).unwrap()
}

fn frame_and_options(case: &Value) -> (Frame, VectorOptions) {
    let frame = Frame::from_user(case["frame"].as_str().unwrap()).unwrap();
    let crs_override = case["crs"].as_str().map(|text| Crs::from_user(text).unwrap());
    (frame, VectorOptions { crs_override, ..VectorOptions::default() })
}

fn fields(case: &Value) -> Loaded<Vec<Field>> {
    let (frame, options) = frame_and_options(case);
    load_fields(&folder().join(case["file"].as_str().unwrap()), &frame, &options).unwrap()
}

fn hazards(case: &Value) -> Loaded<Hazards> {
    let (frame, options) = frame_and_options(case);
    load_hazards(&folder().join(case["file"].as_str().unwrap()), &frame, &options).unwrap()
}

/// Area, centroid of the outer ring, and number of holes of every area, largest first.
fn summary(fields: &[Field]) -> Vec<(f64, Xy, usize)> {
    let mut all: Vec<_> = fields.iter().map(|f| (f.area_m2(), f.centroid(), f.holes.len())).collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all
}

fn expected_areas(case: &Value) -> Vec<(f64, Xy, usize)> {
    let mut all: Vec<_> = case["areas"]
        .as_array()
        .unwrap()
        .iter()
        .map(|a| {
            assert_eq!(a["valid"], true, "the reference takes it for valid, too");
            let number = |v: &Value| v.as_f64().unwrap();
            let centre = Xy::new(number(&a["centroid"][0]), number(&a["centroid"][1]));
            (number(&a["area_m2"]), centre, a["holes"].as_u64().unwrap() as usize)
        })
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all
}

fn agrees(got: &[(f64, Xy, usize)], wanted: &[(f64, Xy, usize)]) -> bool {
    got.len() == wanted.len()
        && got.iter().zip(wanted).all(|(g, w)| {
            // An area's centroid moves by the errors of its corners only.
            (g.0 - w.0).abs() <= AREA * w.0 && g.1.distance(w.1) <= PLACE_M && g.2 == w.2
        })
}

#[test]
fn areas_are_those_of_the_reference() {
    let document = expected();
    let mut checked = 0;
    for case in document["areas"].as_array().unwrap() {
        let (got, wanted) = (summary(&fields(case).value), expected_areas(case));
        let worst = got.iter().zip(&wanted).map(|(g, w)| ((g.0 - w.0).abs() / w.0, g.1.distance(w.1)));
        let worst = worst.fold((0.0_f64, 0.0_f64), |m, d| (m.0.max(d.0), m.1.max(d.1)));
        println!("{}: {} areas, off by {:.1e} of area, {:.1e} m", case["file"], got.len(), worst.0, worst.1);
        assert!(agrees(&got, &wanted), "{}: {got:?}\n{wanted:?}", case["file"]);
        checked += got.len();
    }
    assert_eq!(checked, 120);
}

#[test]
fn the_bounds_catch_a_wrong_reference_system() {
    let document = expected();
    for case in document["areas"].as_array().unwrap().iter().filter(|c| c["file"].as_str().unwrap().ends_with("nc.shp"))
    {
        // Taken for WGS 84 instead of the datum of 1927: some ten metres.
        let frame = Frame::from_user(case["frame"].as_str().unwrap()).unwrap();
        let options = VectorOptions { crs_override: Some(Crs::wgs84().unwrap()), ..VectorOptions::default() };
        let got = load_fields(&folder().join("sf/nc.shp"), &frame, &options).unwrap();
        assert!(!agrees(&summary(&got.value), &expected_areas(case)));
    }
}

#[test]
fn names_stay_with_their_shapes() {
    let document = expected();
    let case = document["areas"].as_array().unwrap().iter().find(|c| c["file"] == "sf/nc.shp").unwrap();
    let mut wanted: Vec<(String, f64)> = case["areas"]
        .as_array()
        .unwrap()
        .iter()
        .map(|a| (a["name"].as_str().unwrap().to_owned(), a["area_m2"].as_f64().unwrap().round()))
        .collect();
    let mut got: Vec<(String, f64)> =
        fields(case).value.iter().map(|f| (f.name.clone(), f.area_m2().round())).collect();
    let order = |a: &(String, f64), b: &(String, f64)| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1));
    wanted.sort_by(order);
    got.sort_by(order);
    assert_eq!(got.len(), 108);
    for (g, w) in got.iter().zip(&wanted) {
        assert_eq!(g.0, w.0);
        assert!((g.1 - w.1).abs() <= AREA * w.1 + 1.0, "{g:?} {w:?}");
    }
    let ashe = fields(case).value.into_iter().find(|f| f.name == "Ashe").unwrap();
    assert!(ashe.other.contains(&("FIPS".to_owned(), "37009".to_owned())), "{:?}", ashe.other);
}

#[test]
fn lines_are_those_of_the_reference() {
    let document = expected();
    let mut checked = 0;
    for case in document["lines"].as_array().unwrap() {
        let loaded = hazards(case);
        let wanted = case["lines"].as_array().unwrap();
        assert_eq!(loaded.value.hazards.len(), wanted.len(), "{}", case["file"]);
        for (hazard, line) in loaded.value.hazards.iter().zip(wanted) {
            let HazardShape::Line(points) = &hazard.shape else { panic!("{hazard:?}") };
            let length: f64 = points.windows(2).map(|s| s[0].distance(s[1])).sum();
            assert!((length - line["length_m"].as_f64().unwrap()).abs() <= PLACE_M, "{}", line["record"]);
            // A vertex twice in a row is one here.
            assert!(points.len() as u64 <= line["vertices"].as_u64().unwrap());
        }
        checked += wanted.len();
    }
    assert_eq!(checked, 146);
}

#[test]
fn points_are_those_of_the_reference() {
    let document = expected();
    for case in document["points"].as_array().unwrap() {
        let loaded = hazards(case);
        let wanted = case["points"].as_array().unwrap();
        assert_eq!(loaded.value.hazards.len(), wanted.len(), "{}", case["file"]);
        for (hazard, point) in loaded.value.hazards.iter().zip(wanted) {
            let HazardShape::Point(at) = hazard.shape else { panic!("{hazard:?}") };
            let expected = Xy::new(point[0].as_f64().unwrap(), point[1].as_f64().unwrap());
            assert!(at.distance(expected) <= PLACE_M, "{} {at:?} {expected:?}", case["file"]);
        }
    }
}

#[test]
fn shapes_without_a_system_are_refused_and_bodies_passed_over() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let error = load_fields(&folder().join("go-shp/polygon.shp"), &frame, &VectorOptions::default()).unwrap_err();
    assert_eq!(error.kind, LoadErrorKind::Crs);
    let options = VectorOptions { crs_override: Some(Crs::from_epsg(32_630).unwrap()), ..VectorOptions::default() };
    let bodies = load_fields(&folder().join("go-shp/multipatch.shp"), &frame, &options).unwrap();
    assert!(bodies.value.is_empty());
    assert!(bodies.warnings.iter().any(|w| w.message.contains("multipatch")), "{:?}", bodies.warnings);
}

#[test]
fn every_geojson_of_the_canon_is_read() {
    let frame = Frame::from_user("EPSG:32647").unwrap();
    let mut read = 0;
    for entry in std::fs::read_dir(folder().join("geojson")).unwrap() {
        let path = entry.unwrap().path();
        let fields = load_fields(&path, &frame, &VectorOptions::default()).unwrap();
        let hazards = load_hazards(&path, &frame, &VectorOptions::default()).unwrap();
        let is_null = path.ends_with("nullgeometry.geojson");
        assert_eq!(fields.value.is_empty() && hazards.value.hazards.is_empty(), is_null, "{}", path.display());
        read += 1;
    }
    assert_eq!(read, 16);
}
