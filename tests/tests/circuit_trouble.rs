//! What nobody can fly, or nobody should: each gets the best honest advice and the reason.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use serde_json::{Value, json};
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// What is said where nothing better is left.
const AHEAD: &str = "land ahead, within about 30° either side of the nose";

/// Metres of a degree at 51.495° N (GRS 80, meridian and parallel arcs).
const NORTH_M: f64 = 111_257.0;
const EAST_M: f64 = 69_423.0;

/// Level ground 10 km square round the field, and one field 150 m wide that runs north, with what stands on its south, east,
/// north and west sides.
fn land(folder: &Path, length_m: f64, sides: [(&str, f64); 4]) {
    let rows = format!("{}\n", "50 ".repeat(100)).repeat(100);
    let head = "ncols 100\nnrows 100\nxllcorner 500000\nyllcorner 5700000\ncellsize 100\nNODATA_value -9999\n";
    std::fs::write(folder.join("level.asc"), format!("{head}{rows}")).unwrap();
    let (lon, lat) = (-2.93, 51.495);
    let (east, north) = (lon + 150.0 / EAST_M, lat + length_m / NORTH_M);
    let edges: Vec<Value> =
        sides.iter().map(|(kind, height_m)| json!({ "kind": kind, "height_m": height_m })).collect();
    let field = json!({ "type": "FeatureCollection", "features": [{
        "type": "Feature",
        "properties": { "id": "long", "name": "Long Acre", "surface": "grazed grass", "stock": "none",
            "surveyed": "2026-11-20", "edges": edges },
        "geometry": { "type": "Polygon",
            "coordinates": [[[lon, lat], [east, lat], [east, north], [lon, north], [lon, lat]]] },
    }]});
    std::fs::write(folder.join("field.geojson"), field.to_string()).unwrap();
}

/// From south-east of the field, unless said otherwise.
fn run(folder: &Path, more: &[&str]) -> Output {
    let land = ["--terrain", "level.asc", "--crs", "EPSG:32630", "--fields", "field.geojson", "--date=2026-11-25"];
    let mut command = Command::new(program());
    command.arg("circuit").args(land).args(more).current_dir(folder).stdin(Stdio::null());
    if !more.contains(&"--at") {
        command.args(["--at", "51.492,-2.922"]);
    }
    command.output().unwrap()
}

fn text(folder: &Path, more: &[&str]) -> String {
    let output = run(folder, more);
    assert!(output.status.success(), "{more:?}: {}", String::from_utf8_lossy(&output.stderr));
    // Lines are wrapped, and numbers keep to their units.
    let said = String::from_utf8(output.stdout).unwrap().replace(['\u{a0}', '\u{202f}'], " ");
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn told(folder: &Path, more: &[&str]) -> Value {
    let output = run(folder, &[more, &["--json"]].concat());
    assert!(output.status.success(), "{more:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

const OPEN: (&str, f64) = ("nothing", 0.0);

#[test]
fn a_strip_that_ends_in_a_wall_is_landed_in_before_it_and_the_wall_is_named() {
    let folder = tempfile::tempdir().unwrap();
    land(folder.path(), 700.0, [OPEN, OPEN, ("wall", 3.0), OPEN]);
    let into_wall = ["--strip", "0", "--wind", "360/10", "--height", "1500ft", "--heading", "300"];
    let flown = told(folder.path(), &into_wall);
    assert_eq!(flown["feasible"], true, "{flown}");
    assert_eq!((&flown["far_end"]["kind"], &flown["far_end"]["height_m"]), (&json!("wall"), &json!(3.0)));
    assert_eq!(flown["stops_in_strip"], true);
    let said = text(folder.path(), &into_wall);
    assert!(said.contains("boundary beyond the end: wall, "), "{said}");
    // The other way the wall stands under the approach: the landing end moves in, and the end is open.
    let over_wall = ["--strip", "180", "--wind", "180/10", "--height", "1500ft", "--heading", "300"];
    let flown = told(folder.path(), &over_wall);
    assert_eq!(flown["far_end"]["kind"], "nothing");
}

#[test]
fn a_strip_too_short_before_a_wall_is_said_to_be() {
    let folder = tempfile::tempdir().unwrap();
    land(folder.path(), 90.0, [OPEN, OPEN, ("wall", 3.0), OPEN]);
    let state = ["--strip", "0", "--wind", "360/4", "--height", "1500ft", "--heading", "300"];
    let flown = told(folder.path(), &state);
    assert_eq!((&flown["feasible"], &flown["stops_in_strip"]), (&json!(true), &json!(false)), "{flown}");
    assert!(flown["long_margin_m"].as_f64().unwrap() < 0.0);
    assert!(flown["robustness"]["landed_in_strip_share"].as_f64().unwrap() < 0.05, "{}", flown["robustness"]);
    let said = text(folder.path(), &state);
    assert!(said.contains("does not stop before the end (boundary there: wall"), "{said}");
    assert!(said.contains("choose another field") && said.contains("The list has this field out"), "{said}");
    assert_eq!(flown["verdict"], "out");
}

#[test]
fn a_wind_that_carries_the_aircraft_backwards_is_refused_in_one_sentence() {
    let folder = tempfile::tempdir().unwrap();
    land(folder.path(), 700.0, [OPEN; 4]);
    let output = run(folder.path(), &["--wind", "360/90", "--wind-profile", "uniform"]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("makes no way against it") && said.lines().count() == 1, "{said}");
    // The aircraft could outrun this one, but not at the speeds of an approach: no circuit, and no share of flights.
    let state = ["--wind", "360/49", "--wind-profile", "uniform", "--height", "1500ft", "--heading", "0"];
    let refused = told(folder.path(), &state);
    assert_eq!((&refused["feasible"], &refused["why"]["why"]), (&json!(false), &json!("wind")), "{refused}");
    assert_eq!(refused["robustness"], Value::Null);
    let said = text(folder.path(), &state);
    assert!(said.contains("as strong as the airspeed") && said.contains("point into the wind"), "{said}");
    assert!(said.contains(AHEAD) && !said.contains("stopped in the strip"), "{said}");
}

#[test]
fn a_failure_at_50_ft_is_told_to_land_ahead_with_the_height_that_is_missing() {
    let folder = tempfile::tempdir().unwrap();
    land(folder.path(), 700.0, [OPEN; 4]);
    let state = ["--height", "50ft", "--heading", "90", "--wind", "360/8"];
    let refused = told(folder.path(), &state);
    assert_eq!((&refused["feasible"], &refused["why"]["why"]), (&json!(false), &json!("too-low")), "{refused}");
    assert!(refused["why"]["short_by_m"].as_f64().unwrap() > 50.0);
    assert_eq!(refused["robustness"], Value::Null);
    assert!(refused["reason"].as_str().unwrap().contains(AHEAD), "{refused}");
    let said = text(folder.path(), &state);
    assert!(said.contains("needs more height, at least") && said.contains(AHEAD), "{said}");
    // With the strip under the nose it is simply flown.
    let ahead = ["--height", "50ft", "--heading", "0", "--wind", "360/8", "--strip", "0", "--at", "51.4953,-2.9289"];
    let over = told(folder.path(), &ahead);
    assert!(over["feasible"] == true || over["reason"].as_str().unwrap().contains(AHEAD), "{over}");
}

#[test]
fn where_something_stands_in_every_way_it_is_named_and_another_field_advised() {
    let folder = tempfile::tempdir().unwrap();
    land(folder.path(), 700.0, [OPEN; 4]);
    // A wood as high as a hill all round, outside the field.
    let ring = |d: f64| {
        let (w, s) = (-2.93 - d / EAST_M, 51.495 - d / NORTH_M);
        let (e, n) = (-2.93 + (150.0 + d) / EAST_M, 51.495 + (700.0 + d) / NORTH_M);
        json!([[w, s], [e, s], [e, n], [w, n], [w, s]])
    };
    let wood = json!({ "type": "FeatureCollection", "features": [{
        "type": "Feature", "properties": { "kind": "wood", "height_m": 400.0, "name": "Tall Wood" },
        "geometry": { "type": "Polygon", "coordinates": [ring(900.0), ring(60.0)] },
    }]});
    std::fs::write(folder.path().join("wood.geojson"), wood.to_string()).unwrap();
    let state = ["--height", "1500ft", "--heading", "0", "--hazards", "wood.geojson"];
    let refused = told(folder.path(), &state);
    assert_eq!((&refused["feasible"], &refused["robustness"]), (&json!(false), &Value::Null), "{refused}");
    let reason = refused["reason"].as_str().unwrap();
    assert!(reason.contains("wood (Tall Wood)") && reason.contains("choose another field, join or strip"), "{reason}");
    assert!(reason.contains(AHEAD), "{reason}");
}
