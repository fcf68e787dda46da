//! Options maps and routes at the command line.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use serde_json::Value;
use sparefield_data::NoProgress;
use sparefield_data::frame::Frame;
use sparefield_data::terrain::{self, TerrainRequest};
use sparefield_geometry::math;
use std::path::Path;
use std::process::{Command, Output};

const DATE: [&str; 2] = ["--date", "2026-11-25"];

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(program()).current_dir(folder).args(arguments).args(DATE).output().unwrap()
}

fn document(folder: &Path, arguments: &[&str]) -> Value {
    let output = run(folder, &[arguments, &["--json"]].concat());
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn share(folder: &Path, more: &[&str]) -> f64 {
    document(folder, &[&["options"], more].concat())["covered_share"].as_f64().unwrap()
}

#[test]
fn more_height_covers_more_and_more_fields_needed_cover_less() {
    let folder = tempfile::tempdir().unwrap();
    let at = |height: &str, more: &[&str]| {
        share(folder.path(), &[&["--wind", "240/10kt", "--at-height", height], more].concat())
    };
    let (low, high) = (at("1000ft", &[]), at("2500ft", &[]));
    assert!(0.0 < low && low < high && high < 1.0, "{low} {high}");
    let (two, three) = (at("2500ft", &["--fields-needed", "2"]), at("2500ft", &["--fields-needed", "3"]));
    assert!(three <= two && two < high, "{three} {two} {high}");
    // Fewer fields that count cannot cover more.
    let looked_at = at("2500ft", &["--looked-at-since", "60d"]);
    assert!(looked_at < high, "{looked_at} {high}");
}

/// Where the raster says that a height is enough, the ranking from that height and place finds a field with a circuit in
/// hand; forward and backward are two computations.
#[test]
fn the_raster_agrees_with_the_ranking() {
    let folder = tempfile::tempdir().unwrap();
    let wind = ["--wind", "240/10kt", "--wind-profile", "uniform"];
    let out = document(folder.path(), &[&["options", "--out", "least.tif"], &wind[..]].concat());
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let request = TerrainRequest::new(&frame);
    let raster = terrain::load(&[folder.path().join("least.tif")], &request, &NoProgress).unwrap().value;
    let (cols, rows, heights) = (raster.frame.cols as u32, raster.frame.rows as u32, &raster.heights_m);
    assert_eq!(heights.iter().filter(|h| h.is_finite()).count() as u64, out["cells"].as_u64().unwrap());
    let (bounds, corners) = (&out["bounds"], &out["corners"]);
    let cell = out["cell_m"].as_f64().unwrap();
    assert_eq!(((bounds[2].as_f64().unwrap() - bounds[0].as_f64().unwrap()) / cell).round() as u32, cols);
    // The area is 20 km wide: longitude and latitude are bilinear between its corners to a metre or two.
    let place = |row: u32, col: u32| {
        let (u, v) = ((f64::from(col) + 0.5) / f64::from(cols), 1.0 - (f64::from(row) + 0.5) / f64::from(rows));
        let at = |corner: usize, axis: usize| corners[corner][axis].as_f64().unwrap();
        let mix = |axis: usize| {
            let (south, north) =
                (at(0, axis) + u * (at(1, axis) - at(0, axis)), at(3, axis) + u * (at(2, axis) - at(3, axis)));
            south + v * (north - south)
        };
        (mix(1), mix(0))
    };
    let (mut looked, mut agreed) = (0, 0);
    for (row, col) in [(400, 300), (300, 560), (350, 620), (500, 400), (250, 330), (430, 500), (200, 300), (600, 350)] {
        let least = f64::from(heights[(row * cols + col) as usize]);
        if !least.is_finite() {
            continue;
        }
        let (lat, lon) = place(row, col);
        // Fifteen metres for bends on cell centres and for a circuit that is flown where the map estimates it.
        let typed = [format!("--at={lat:.7},{lon:.7}"), format!("--height-amsl={:.1}m", least + 15.0)];
        let state = ["rank", &typed[0], &typed[1], "--heading", "any"];
        let ranked = document(folder.path(), &[&state[..], &wind[..]].concat());
        looked += 1;
        let fields = ranked["fields"].as_array().unwrap();
        agreed += usize::from(fields.iter().any(|f| f["verdict"] != "out"));
    }
    assert!(looked >= 6 && agreed == looked, "{agreed} of {looked}");
}

fn gpx(points: &[(f64, f64)]) -> String {
    let places: Vec<String> = points.iter().map(|(lat, lon)| format!("<rtept lat=\"{lat}\" lon=\"{lon}\"/>")).collect();
    let places = places.concat();
    format!(
        "<?xml version=\"1.0\"?><gpx version=\"1.1\" creator=\"test\" \
         xmlns=\"http://www.topografix.com/GPX/1/1\"><rte>{places}</rte></gpx>"
    )
}

#[test]
fn a_route_is_cut_into_stretches_with_and_without_cover() {
    let folder = tempfile::tempdir().unwrap();
    let route = [(52.2722, -2.825), (52.26, -2.75), (52.30, -2.75)];
    std::fs::write(folder.path().join("east.gpx"), gpx(&route)).unwrap();
    let fly = |height: &str| {
        document(folder.path(), &["route", "east.gpx", "--height", height, "--wind", "240/12kt", "--speed", "55mph"])
    };
    let out = fly("1500ft");
    let number = |v: &Value, key: &str| v[key].as_f64().unwrap();
    let length = number(&out, "length_m");
    // On a sphere of 6 371 km: 5.29 km and 4.45 km.
    let legs = |a: (f64, f64), b: (f64, f64)| {
        let (dy, dx) = ((b.0 - a.0).to_radians(), (b.1 - a.1).to_radians() * math::cos(a.0.to_radians()));
        6_371_000.0 * math::hypot(dx, dy)
    };
    let expected = legs(route[0], route[1]) + legs(route[1], route[2]);
    assert!((length / expected - 1.0).abs() < 0.01, "{length} {expected}");
    let segments = out["segments"].as_array().unwrap();
    assert!(segments.len() >= 2);
    let mut at = 0.0;
    let (mut uncovered, mut seconds) = (0.0, 0.0);
    for segment in segments {
        assert!((number(segment, "from_m") - at).abs() < 1e-6);
        at = number(segment, "to_m");
        seconds += number(segment, "seconds");
        let covered = segment["covered"].as_bool().unwrap();
        let spare = segment["worst"]["spare_height_m"].as_f64();
        assert_eq!(covered, spare.is_some_and(|s| s >= 0.0), "{segment}");
        if !covered {
            uncovered += number(segment, "length_m");
        }
    }
    assert!((at - length).abs() < 1e-6 && (uncovered - number(&out, "uncovered_m")).abs() < 1e-6);
    // 55 mph is 24.6 m/s, and the wind aloft helps or hinders by no more than 10 m/s.
    assert!(seconds > length / 34.6 && seconds < length / 14.6, "{seconds}");
    let worst = out["worst"]["spare_height_m"].as_f64();
    let points = out["profile"].as_array().unwrap();
    let least = points.iter().filter_map(|p| p["spare_height_m"].as_f64()).fold(f64::INFINITY, f64::min);
    assert!(worst.is_none_or(|w| (w - least).abs() < 1e-9));
    // At the height that covers the worst stretch, all of it is covered.
    let needed = segments.iter().filter_map(|s| s["covering_height_amsl_m"].as_f64()).fold(0.0, f64::max);
    let amsl = format!("{:.1}m", needed + 1.0);
    let higher = document(folder.path(), &["route", "east.gpx", "--height-amsl", &amsl, "--wind", "240/12kt"]);
    assert_eq!(number(&higher, "uncovered_m"), 0.0, "{amsl}");
}

#[test]
fn nonsense_is_refused_in_one_sentence() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("point.gpx"), "<gpx><wpt lat=\"52.27\" lon=\"-2.8\"/></gpx>").unwrap();
    std::fs::write(folder.path().join("line.gpx"), gpx(&[(52.27, -2.8), (52.28, -2.8)])).unwrap();
    for (arguments, says) in [
        (&["options", "--fields-needed", "4"][..], "--fields-needed"),
        (&["options", "--at-height", "high"], "--at-height"),
        (&["options", "--looked-at-since", "soon"], "--looked-at-since"),
        (&["options", "--wind", "240/90kt"], "wind"),
        (&["route", "line.gpx"], "--height"),
        (&["route", "point.gpx", "--height", "1500ft"], "no line"),
        (&["route", "missing.gpx", "--height", "1500ft"], "missing.gpx"),
        (&["route", "line.gpx", "--height", "1500ft", "--speed", "0mph"], "--speed"),
        (&["route", "--from", "52.27,-2.8", "--to", "48,2", "--height", "1500ft"], "--to"),
        (&["route", "--from", "52.27,-2.8", "--height", "1500ft"], "--to"),
        (&["options", "--winds", "3"], "--winds"),
        (&["options", "--winds", "20", "--wind-speed-doubt", "quite"], "--wind-speed-doubt"),
        (&["options", "--surveys"], "--at-height"),
    ] {
        let output = run(folder.path(), arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(says) && said.trim_end().lines().count() == 1, "{arguments:?}: {said}");
    }
}

#[test]
fn in_nine_winds_of_ten_less_is_covered_and_the_rasters_say_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = ["options", "--wind", "240/10kt", "--at-height", "2000ft", "--winds", "10"];
    let out = document(folder.path(), &[&arguments[..], &["--out", "nine.tif", "--share-out", "share.tif"]].concat());
    let winds = &out["winds"];
    let nine = winds["covered_share"].as_f64().unwrap();
    let this = out["covered_share"].as_f64().unwrap();
    assert!(nine > 0.0 && nine < this, "{nine} {this}");
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let request = TerrainRequest::new(&frame);
    let read = |name: &str| terrain::load(&[folder.path().join(name)], &request, &NoProgress).unwrap().value.heights_m;
    let (least, share) = (read("nine.tif"), read("share.tif"));
    assert_eq!(least.iter().filter(|h| h.is_finite()).count() as u64, winds["cells"].as_u64().unwrap());
    let known = share.iter().filter(|s| s.is_finite()).count() as f64;
    // Of ten winds nine are nine in ten, and shares are tenths.
    let covered = share.iter().filter(|s| **s > 0.85).count() as f64;
    assert!((covered / known - nine).abs() < 1e-9, "{} {nine}", covered / known);
    let mean = share.iter().filter(|s| s.is_finite()).map(|s| f64::from(*s)).sum::<f64>() / known;
    assert!((mean - winds["mean_share_of_winds"].as_f64().unwrap()).abs() < 1e-6);
    assert!((winds["direction_deviation_deg"].as_f64().unwrap() - 30.0).abs() < 1e-9);
}

#[test]
fn surveys_are_listed_by_what_they_would_cover() {
    let folder = tempfile::tempdir().unwrap();
    let out = document(folder.path(), &["options", "--wind", "240/10kt", "--at-height", "1500ft", "--surveys"]);
    let surveys = &out["surveys"];
    let list = surveys["fields"].as_array().unwrap();
    assert!(list.len() > 5);
    let mut left = surveys["uncovered_m2"].as_f64().unwrap();
    let mut last = f64::INFINITY;
    for field in list {
        let number = |key: &str| field[key].as_f64().unwrap();
        assert!(number("gain_m2") <= last && number("gain_m2") <= number("alone_m2"), "{field}");
        left -= number("gain_m2");
        last = number("gain_m2");
        assert!((left - number("uncovered_after_m2")).abs() < 1.0, "{field}");
    }
}

#[test]
fn a_route_found_round_what_is_not_covered_costs_distance_and_saves_cover() {
    let folder = tempfile::tempdir().unwrap();
    let height = ["--height", "1500ft", "--wind", "240/12kt"];
    let (from, to) = ((52.2722, -2.825), (52.30, -2.75));
    std::fs::write(folder.path().join("straight.gpx"), gpx(&[from, to])).unwrap();
    let straight = document(folder.path(), &[&["route", "straight.gpx"], &height[..]].concat());
    let typed = ["--from=52.2722,-2.825", "--to=52.30,-2.75", "--out", "round.gpx"];
    let round = document(folder.path(), &[&["route"], &typed[..], &height[..]].concat());
    let number = |v: &Value, key: &str| v[key].as_f64().unwrap();
    assert!((number(&round, "straight_m") - number(&straight, "length_m")).abs() < 1.0);
    assert!(number(&round, "detour_m") > 0.0);
    assert!((number(&round, "length_m") - number(&round, "straight_m") - number(&round, "detour_m")).abs() < 1.0);
    // A margin of a cell on either side of what counts as covered.
    assert!(number(&round, "uncovered_m") <= number(&straight, "uncovered_m") + 50.0);
    // What was written down is what was flown.
    let again = document(folder.path(), &[&["route", "round.gpx"], &height[..]].concat());
    assert!((number(&again, "uncovered_m") - number(&round, "uncovered_m")).abs() < 60.0);
    assert!((number(&again, "length_m") - number(&round, "length_m")).abs() < 1.0);
}
