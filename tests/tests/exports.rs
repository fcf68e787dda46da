//! Exported layers of the options map and judged fields, against what other readers found in them.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use serde_json::Value;
use sparefield_data::NoProgress;
use sparefield_data::frame::Frame;
use sparefield_data::imagery::BackgroundLayer;
use sparefield_data::terrain::{self, TerrainRequest};
use sparefield_data::vector::VectorOptions;
use sparefield_geometry::fields::model::ring_area;
use sparefield_geometry::position::{LonLat, Xy};
use std::path::Path;
use std::process::Command;

const COMMON: [&str; 4] = ["--wind", "240/10kt", "--date", "2026-11-25"];
/// What a place may differ by in the seventh decimal of a degree that the reference was rounded to.
const PLACE_DEG: f64 = 1.0e-7;
/// Places are written in steps of about a millimetre, and shapely's projection is not ours.
const SHARE: f64 = 1.0e-5;

fn run(folder: &Path, arguments: &[&str]) {
    let output = Command::new(program()).current_dir(folder).args(arguments).args(COMMON).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

fn options(folder: &Path, more: &[&str]) {
    run(folder, &[&["options", "--fields-needed", "2", "--at-height", "1500ft"], more].concat());
}

fn expected() -> Value {
    serde_json::from_str(include_str!("../export_reference/expected.json")).unwrap()
}

fn near(ours: f64, theirs: &Value, what: &str) {
    let theirs = theirs.as_f64().unwrap();
    assert!((ours - theirs).abs() <= SHARE * theirs.abs().max(1.0), "{what}: {ours} {theirs}");
}

fn json(path: &Path) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn ring(frame: &Frame, ring: &Value) -> Vec<Xy> {
    let place =
        |p: &Value| frame.to_xy(LonLat { lon_deg: p[0].as_f64().unwrap(), lat_deg: p[1].as_f64().unwrap() }).unwrap();
    let mut points: Vec<Xy> = ring.as_array().unwrap().iter().map(place).collect();
    points.pop();
    points
}

#[test]
fn rasters_hold_what_another_reader_finds_in_them() {
    let folder = tempfile::tempdir().unwrap();
    options(folder.path(), &["--out", "least.tif", "--count-out", "count.tif"]);
    let expected = expected();
    for name in ["least.tif", "count.tif"] {
        let theirs = &expected[name];
        let utm = Frame::from_user("EPSG:32630").unwrap();
        let request = TerrainRequest::new(&utm);
        let read = terrain::load(&[folder.path().join(name)], &request, &NoProgress).unwrap().value;
        let frame = read.frame;
        assert_eq!(theirs["size"][0].as_u64().unwrap() as usize, frame.cols, "{name}");
        assert_eq!(theirs["size"][1].as_u64().unwrap() as usize, frame.rows, "{name}");
        near(frame.cell_m, &theirs["cell_m"], name);
        let (low, high) = frame.bounds();
        near(low.x, &theirs["corner"][0], name);
        near(high.y, &theirs["corner"][1], name);
        let known: Vec<f64> = read.heights_m.iter().filter(|v| !v.is_nan()).map(|v| f64::from(*v)).collect();
        assert_eq!(theirs["known"].as_u64().unwrap() as usize, known.len(), "{name}");
        near(known.iter().sum(), &theirs["sum"], name);
        if let Some(counts) = theirs["values"].as_object() {
            // Two fields were asked for, so no place has more.
            assert!(counts.len() == 3, "{counts:?}");
            for (value, count) in counts {
                let ours = known.iter().filter(|v| v.to_string() == *value).count();
                assert_eq!(count.as_u64().unwrap() as usize, ours, "{name}: {value}");
            }
        }
    }
}

#[test]
fn covered_land_and_lines_are_the_same_in_both_formats_and_to_another_reader() {
    let folder = tempfile::tempdir().unwrap();
    options(folder.path(), &["--land-out", "land.geojson", "--count-out", "count.tif"]);
    options(folder.path(), &["--land-out", "land.kml"]);
    let (expected, collection) = (expected(), json(&folder.path().join("land.geojson")));
    let cautions: Vec<&str> = collection["cautions"].as_array().unwrap().iter().map(|c| c.as_str().unwrap()).collect();
    assert!(cautions.iter().any(|c| c.contains("not for navigation")), "{cautions:?}");
    let kml = std::fs::read_to_string(folder.path().join("land.kml")).unwrap();
    assert!(kml.split("<Folder>").next().unwrap().contains("not for navigation"), "the caution stands in the document");
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let features = collection["features"].as_array().unwrap();
    let theirs = &expected["land.geojson"][0];
    assert_eq!(theirs["records"].as_u64().unwrap() as usize, features.len());
    let (mut area_m2, mut holes) = (0.0, 0);
    let mut said_m2 = 0.0;
    for feature in features.iter().filter(|f| f["geometry"]["type"] == "Polygon") {
        for (i, corners) in feature["geometry"]["coordinates"].as_array().unwrap().iter().enumerate() {
            let signed = ring_area(&ring(&frame, corners));
            // Outer rings run anticlockwise, holes clockwise (RFC 7946, 3.1.6).
            assert_eq!(signed > 0.0, i == 0);
            area_m2 += signed;
            holes += usize::from(i > 0);
        }
        said_m2 += feature["properties"]["area_m2"].as_f64().unwrap();
    }
    near(area_m2, &theirs["area_m2"], "covered land");
    assert_eq!(theirs["holes"].as_u64().unwrap() as usize, holes);
    assert!((said_m2 / area_m2 - 1.0).abs() < 1e-3, "{said_m2} {area_m2}");
    // The land is as large as the cells that two fields are in reach from, but for half a cell along its boundary.
    let twos = expected["count.tif"]["values"]["2"].as_f64().unwrap();
    let cell_m2 = expected["count.tif"]["cell_m"].as_f64().unwrap().powi(2);
    assert!((area_m2 / (twos * cell_m2) - 1.0).abs() < 0.03, "{area_m2} {}", twos * cell_m2);
    // The other format holds the same land and lines, in folders of their own.
    let kml: Vec<&Value> = expected["land.kml"].as_array().unwrap().iter().collect();
    assert_eq!(kml.len(), 2);
    near(area_m2, &kml[0]["area_m2"], "covered land as KML");
    near(theirs["length_m"].as_f64().unwrap(), &kml[1]["length_m"], "lines as KML");
    let read = BackgroundLayer::open(&folder.path().join("land.kml"), &frame, &VectorOptions::default()).unwrap();
    let length_m: f64 = read.value.lines.iter().map(|l| l.windows(2).map(|p| p[0].distance(p[1])).sum::<f64>()).sum();
    near(length_m, &kml[1]["length_m"], "lines as KML, by our own reader");
}

#[test]
fn judged_fields_are_outlines_and_waypoints_with_their_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    for name in ["fields.gpx", "fields.kml", "fields.geojson"] {
        run(folder.path(), &["card", "--fields-out", name]);
    }
    let (expected, collection) = (expected(), json(&path("fields.geojson")));
    let features = collection["features"].as_array().unwrap();
    assert!(collection["cautions"][0].as_str().unwrap().contains("Another wind"));
    let points = expected["fields.gpx"]["points"].as_array().unwrap();
    assert_eq!(points.len(), features.len());
    assert_eq!(expected["fields.gpx"]["tracks"], 0);
    let said = expected["fields.gpx"]["description"].as_str().unwrap();
    assert!(said.contains("not for navigation") && said.contains("Two-seat flexwing"), "{said}");
    // The waypoints that are written now are those that the other reader found.
    let gpx = std::fs::read_to_string(path("fields.gpx")).unwrap();
    let ours: Vec<(f64, f64)> = gpx
        .split("<wpt ")
        .skip(1)
        .map(|rest| {
            let number = |key: &str| rest.split(&format!("{key}=\"")).nth(1).unwrap().split('"').next().unwrap();
            (number("lon").parse().unwrap(), number("lat").parse().unwrap())
        })
        .collect();
    assert_eq!(ours.len(), points.len());
    for (i, ((point, (lon, lat)), feature)) in points.iter().zip(ours).zip(features).enumerate() {
        assert!(
            (point[1].as_f64().unwrap() - lon).abs() <= PLACE_DEG
                && (point[2].as_f64().unwrap() - lat).abs() <= PLACE_DEG
        );
        let of = &feature["properties"];
        // One name, number and verdict in every format.
        assert_eq!(of["number"].as_u64().unwrap() as usize, i + 1);
        assert_eq!(point[0], of["name"]);
        let told = point[3].as_str().unwrap();
        assert!(told.contains(&format!("verdict: {}", of["verdict"].as_str().unwrap())), "{told}");
        assert!(told.contains("last_looked_at: ") && told.contains("surface: "), "{told}");
        let known = ["roomy", "workable", "last resort", "out"];
        assert!(known.contains(&of["verdict"].as_str().unwrap()));
        if of["verdict"] != "out" {
            let (usable, needed) = (of["usable_length_m"].as_f64().unwrap(), of["needed_length_m"].as_f64().unwrap());
            // One is rounded down to a metre, the other up.
            assert!(usable + 2.0 >= needed, "{told}");
            assert!((0.0..360.0).contains(&of["land_deg"].as_f64().unwrap()));
        }
    }
    let area = |name: &str| expected[name][0]["area_m2"].as_f64().unwrap();
    assert!((area("fields.kml") / area("fields.geojson") - 1.0).abs() < SHARE);
    assert_eq!(expected["fields.kml"][0]["records"].as_u64().unwrap() as usize, features.len());
}

#[test]
fn nonsense_is_refused_in_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    for (arguments, says) in [
        (&["options", "--land-out", "land.doc", "--at-height", "1500ft"][..], ".geojson"),
        (&["options", "--land-out", "land.kml"], "--at-height"),
        (&["options", "--count-out", "count.tif"], "--at-height"),
        (&["card", "--fields-out", "fields.txt"], "--fields-out"),
        (&["card"], "--out"),
    ] {
        let output = Command::new(program()).current_dir(folder.path()).args(arguments).output().unwrap();
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {told}");
        assert!(told.contains(says), "{arguments:?}: {told}");
    }
}
