//! Circuits at the command line, flown as a pilot or a script would ask for them.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use serde_json::Value;
use std::process::{Command, Output, Stdio};

const STATE: [&str; 8] = ["circuit", "--height", "1500ft", "--heading", "240", "--wind", "240/12", "--date=2026-11-25"];

fn run(more: &[&str]) -> Output {
    Command::new(program()).args(STATE).args(more).stdin(Stdio::null()).output().unwrap()
}

fn json(more: &[&str]) -> Value {
    let output = run(&[more, &["--json"]].concat());
    assert!(output.status.success(), "{more:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn numbers(list: &Value, key: &str) -> Vec<f64> {
    list.as_array().unwrap().iter().map(|v| v[key].as_f64().unwrap()).collect()
}

/// Metres between two `[lon, lat]` places of the sample area: a degree of latitude is 111.3 km, of longitude at 52.27°
/// 68.1 km.
fn apart_m(a: &Value, b: &Value) -> f64 {
    let d = |i: usize, scale: f64| (a[i].as_f64().unwrap() - b[i].as_f64().unwrap()) * scale;
    (d(0, 68_100.0).powi(2) + d(1, 111_300.0).powi(2)).sqrt()
}

#[test]
fn a_circuit_comes_down_on_its_aiming_point_and_tells_every_step() {
    let told = json(&[]);
    assert_eq!(told["feasible"], true, "{told}");
    let heights = numbers(&told["key_positions"], "height_agl_m");
    let times = numbers(&told["key_positions"], "time_s");
    assert!(heights.windows(2).all(|w| w[1] <= w[0]), "{heights:?}");
    assert!(times.windows(2).all(|w| w[1] >= w[0]), "{times:?}");
    assert!(heights.last().unwrap().abs() < 0.5);
    // Every metre of height is lost on some leg.
    let lost: f64 = numbers(&told["legs"], "height_lost_m").iter().sum();
    assert!((lost - heights[0]).abs() < 0.5, "{lost} {}", heights[0]);
    assert!(apart_m(&told["touchdown"], &told["strip"]["aiming_point"]) < 2.0);
    assert!(told["short_margin_m"].as_f64().unwrap() >= 0.0 && told["long_margin_m"].as_f64().unwrap() >= 0.0);
    assert!(told["cautions"].as_array().unwrap().len() >= 4);
    let base = told["base_leg_distance_m"].as_f64().unwrap();
    let usual = told["base_leg_distance_is_pilots"].as_bool().unwrap();
    assert!(base >= 250.0 - 1e-6 || usual, "{base}");
}

#[test]
fn join_hand_field_and_strip_are_as_asked_for() {
    for hand in ["left", "right"] {
        assert_eq!(json(&["--hand", hand, "--join", "downwind"])["hand"], hand);
    }
    let told = json(&["--field", "Coopers Pasture", "--join", "crosswind"]);
    assert_eq!((&told["field"]["name"], &told["join"]), (&"Coopers Pasture".into(), &"crosswind".into()));
    let ahead = json(&["--strip", "240"])["strip"]["heading_deg"].as_f64().unwrap();
    let back = json(&["--strip", "60"])["strip"]["heading_deg"].as_f64().unwrap();
    assert!((ahead - 240.0).abs() < 15.0 && (back - 60.0).abs() < 15.0, "{ahead} {back}");
}

#[test]
fn the_track_is_written_with_heights_and_times() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["track.gpx", "track.geojson"] {
        let path = folder.path().join(name);
        assert!(run(&["--out", path.to_str().unwrap()]).status.success());
        let text = std::fs::read_to_string(&path).unwrap();
        if name.ends_with("gpx") {
            let heights: Vec<f64> =
                text.split("<ele>").skip(1).map(|rest| rest.split('<').next().unwrap().parse().unwrap()).collect();
            assert!(heights.len() > 60 && heights.windows(2).all(|w| w[1] <= w[0] + 1e-9), "{heights:?}");
            assert_eq!(text.matches("<time>1970-01-01T00:0").count(), heights.len());
        } else {
            let told: Value = serde_json::from_str(&text).unwrap();
            let line = told["features"][0]["geometry"]["coordinates"].as_array().unwrap();
            assert!(line.len() > 60 && line.iter().all(|p| p.as_array().unwrap().len() == 3));
        }
    }
}

#[test]
fn what_cannot_be_flown_is_said_with_the_reason() {
    let output = Command::new(program())
        .args(["circuit", "--height", "50ft", "--heading", "60", "--field", "Coopers Pasture", "--json"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(told["feasible"], false);
    assert!(told["reason"].as_str().unwrap().contains("land ahead"), "{told}");
}

#[test]
fn what_makes_no_sense_is_one_sentence_and_exit_code_2() {
    for (bad, word) in [
        (["--join", "sideways"], "--join"),
        (["--hand", "both"], "--hand"),
        (["--field", "nowhere"], "--field"),
        (["--strip", "north by"], "--strip"),
    ] {
        let output = run(&bad);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(word) && said.lines().count() == 1, "{said}");
    }
}

#[test]
fn robustness_is_the_same_for_a_seed_and_its_parts_make_a_whole() {
    let told = |seed: &str| json(&["--samples", "2000", "--seed", seed])["robustness"].clone();
    let r = told("7");
    assert_eq!((&r["samples"], &r["seed"]), (&2_000.into(), &7.into()));
    let share = |key: &str| r[key].as_f64().unwrap();
    let parts = ["landed_in_strip_share", "short_share", "long_share", "aside_share", "hit_share"];
    let whole: f64 = parts.iter().map(|p| share(p)).sum::<f64>() + share("low_over_quiet_zone_share");
    assert!((whole - 1.0).abs() < 1e-9, "{r}");
    assert!(share("landed_in_strip_share") > 0.5 && share("standard_error") > 0.0 && share("standard_error") < 0.05);
    assert!(r["not_counted"].as_str().unwrap().contains("sinking air"));
    assert_eq!(r["inputs"].as_array().unwrap().len(), 10);
    // On one thread it is the same, with another seed it is not.
    let one = Command::new(program())
        .args(STATE)
        .args(["--samples", "2000", "--seed", "7", "--json"])
        .env("RAYON_NUM_THREADS", "1")
        .output()
        .unwrap();
    assert_eq!(serde_json::from_slice::<Value>(&one.stdout).unwrap()["robustness"], r);
    assert_ne!(told("8"), r);
    let said = String::from_utf8(run(&["--samples", "2000"]).stdout).unwrap();
    assert!(said.contains("Of 2\u{202f}000 flights by a pilot who is not exact"), "{said}");
    assert_eq!(run(&["--samples", "0"]).status.code(), Some(2));
}
