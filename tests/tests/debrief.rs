//! Debriefs at the command line, on the invented lesson whose truth is known, and plain answers to tracks that are none.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use sample_terrain::sortie::{SORTIE_SEED, lesson};
use serde_json::Value;
use sparefield_data::area::Area;
use sparefield_data::error::NoProgress;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

fn sortie() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-terrain/sortie.gpx")
}

fn run(arguments: &[&str]) -> Output {
    Command::new(program()).args(arguments).stdin(Stdio::null()).output().unwrap()
}

fn refused(arguments: &[&str]) -> String {
    let output = run(arguments);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
    assert_eq!(said.trim().lines().count(), 1, "{said}");
    said
}

#[test]
fn the_sample_lesson_is_told_as_it_was_flown() {
    let track = sortie();
    let output = run(&["debrief", track.to_str().unwrap(), "--date=2026-11-25", "--json"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    let sortie = &told["sorties"][0];
    let area = Area::sample(&NoProgress).unwrap();
    let truth = lesson(&area, SORTIE_SEED).unwrap();
    assert_eq!(sortie["fixes"].as_u64().unwrap() as usize, truth.track.fixes.len());
    let exercises = sortie["exercises"].as_array().unwrap();
    assert_eq!(exercises.len(), truth.exercises.len());
    for (told, flown) in exercises.iter().zip(&truth.exercises) {
        assert!((told["start"].as_f64().unwrap() - flown.start_s).abs() <= 3.0, "{told}");
        assert!((told["height_agl_at_start_m"].as_f64().unwrap() - flown.height_agl_m).abs() <= 15.0, "{told}");
        assert!(told["confidence"].as_f64().unwrap() > 0.5);
        let options = told["options"].as_array().unwrap().len() as f64;
        assert!((options - (flown.end_s - flown.start_s)).abs() < 15.0);
        assert!(!told["outcome_words"].as_str().unwrap().is_empty());
        assert!(told["turns"].as_array().unwrap().iter().all(|t| t["predicted_m"].as_f64().unwrap() > 0.0));
    }
    let bands = sortie["wind"]["bands"].as_array().unwrap();
    assert!(!bands.is_empty());
    for band in bands {
        // 240° and 4.6 m/s at the surface, half as much again aloft.
        assert!((band["from_deg"].as_f64().unwrap() - 240.0).abs() < 25.0, "{band}");
        assert!((band["speed_ms"].as_f64().unwrap() - 6.8).abs() < 2.0, "{band}");
    }
    let shares: f64 =
        ["none_share", "one_share", "several_share"].iter().map(|k| sortie["cover"][k].as_f64().unwrap()).sum();
    assert!((shares - 1.0).abs() < 1e-9);
}

#[test]
fn a_given_wind_is_told_by_height_beside_what_the_turns_tell() {
    let track = sortie();
    let wind = ["--wind", "090/10kt", "--wind-aloft", "3000ft:120/20kt"];
    let mut arguments = vec!["debrief", track.to_str().unwrap(), "--date=2026-11-25", "--json"];
    let told = |arguments: &[&str]| -> Value {
        let output = run(arguments);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let told: Value = serde_json::from_slice(&output.stdout).unwrap();
        told["sorties"][0]["wind"].clone()
    };
    let turns = told(&arguments);
    let heights = |list: &Value| -> Vec<f64> {
        list.as_array().unwrap().iter().map(|b| b["height_amsl_m"].as_f64().unwrap()).collect()
    };
    assert_eq!(heights(&turns["used"]), heights(&turns["bands"]), "without a given wind the turns' is used");
    arguments.extend(wind);
    let given = told(&arguments);
    assert_eq!(given["from"], "given");
    assert_eq!(given["bands"], turns["bands"], "what the turns tell is still told");
    let used = given["used"].as_array().unwrap();
    assert!(used.len() > 1 && heights(&given["used"]).is_sorted(), "{given}");
    for band in used {
        let (from, speed) = (band["from_deg"].as_f64().unwrap(), band["speed_ms"].as_f64().unwrap());
        assert!((85.0..=125.0).contains(&from) && (4.0..=10.4).contains(&speed), "{band}");
    }
    let speed = |i: usize| used[i]["speed_ms"].as_f64().unwrap();
    assert!(speed(used.len() - 1) > speed(0) + 1.0, "it grows with height: {given}");
}

#[test]
fn the_page_stands_alone_and_tells_every_exercise() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("debrief.html");
    let output = run(&["debrief", sortie().to_str().unwrap(), "--date=2026-11-25", "--report", page.to_str().unwrap()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let said = String::from_utf8(output.stdout).unwrap();
    let text = std::fs::read_to_string(&page).unwrap();
    let exercises = said.matches(" as a practice failure)").count();
    assert!(exercises >= 3, "{said}");
    assert_eq!(text.matches(" as a practice failure.</p>").count(), exercises);
    assert!(text.matches("<svg").count() >= 2 + 2 * exercises);
    // The ground under each map comes with the page: one picture for the flight and one for each exercise.
    let inside = " href=\"data:image/png;base64,";
    assert_eq!(text.matches(inside).count(), 1 + exercises);
    // Letters that encode a picture are no words.
    let after = |part: &'_ str| part.split_once('"').map_or_else(String::new, |(_, rest)| rest.to_owned());
    let mut parts = text.split(inside);
    let words: String = parts.next().map(str::to_owned).into_iter().chain(parts.map(after)).collect();
    for outside in ["http://", "https://", "src=", "href="] {
        assert!(!words.replace("http://www.w3.org/2000/svg", "").contains(outside), "{outside}");
    }
    assert!(!words.contains("NaN") && !words.contains("inf "));
    for caution in ["A training aid", "no instrument was read", "invented"] {
        assert!(words.contains(caution) && said.replace("\n             ", " ").contains(caution), "{caution}");
    }
    assert!(!words.to_lowercase().contains(" safe"));
}

fn gpx(points: impl Iterator<Item = (f64, f64, Option<f64>, u64)>) -> String {
    let mut out = String::from("<gpx version=\"1.1\" xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><trkseg>\n");
    for (lat, lon, height, second) in points {
        let ele = height.map_or_else(String::new, |h| format!("<ele>{h:.1}</ele>"));
        let _ = writeln!(
            out,
            "<trkpt lat=\"{lat:.6}\" lon=\"{lon:.6}\">{ele}<time>2026-11-{:02}T{:02}:{:02}:{:02}Z</time></trkpt>",
            20 + second / 86_400,
            second / 3_600 % 24,
            second / 60 % 60,
            second % 60
        );
    }
    out.push_str("</trkseg></trk></gpx>\n");
    out
}

#[test]
fn tracks_that_are_no_flights_get_a_plain_answer() {
    let folder = tempfile::tempdir().unwrap();
    let kept = |name: &str, text: String| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let east = |i: u64| -2.83 + 0.000_2 * i as f64;
    let few = kept("few.gpx", gpx((0..3).map(|i| (52.27, east(i), Some(300.0), i))));
    assert!(refused(&["debrief", &few]).contains("too few"));
    let bare = kept("bare.gpx", gpx((0..300).map(|i| (52.27, east(i), None, i))));
    assert!(refused(&["debrief", &bare]).contains("no heights"));
    let elsewhere = kept("elsewhere.gpx", gpx((0..300).map(|i| (51.0, east(i), Some(500.0), i))));
    assert!(refused(&["debrief", &elsewhere]).contains("outside the terrain"));
    // A car on the ground: the heights of the terrain itself.
    let area = Area::sample(&NoProgress).unwrap();
    let on_ground = (0..400).filter_map(|i| {
        let place = sparefield_geometry::position::LonLat::new(east(i) - 0.01, 52.272)?;
        let ground = area.terrain.height_at(area.frame.to_xy(place).ok()?)?;
        Some((place.lat_deg, place.lon_deg, Some(ground), i))
    });
    let car = kept("car.gpx", gpx(on_ground));
    assert!(refused(&["debrief", &car]).contains("nothing in the recording is a flight"));
    // Two days, and a clock that jumps: analysed, without an exercise.
    let circling = |i: u64| {
        let angle = i as f64 / 30.0;
        let (sin, cos) = sparefield_geometry::math::sin_cos(angle);
        (52.272 + 0.004 * sin, -2.82 + 0.006 * cos, Some(600.0))
    };
    let long = (0..2 * 86_400).step_by(5).map(|i| {
        let (lat, lon, h) = circling(i);
        (lat, lon, h, i)
    });
    let long = kept("long.gpx", gpx(long));
    let output = run(&["debrief", &long, "--json"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let jumping = (0..900_u64).map(|i| {
        let (lat, lon, h) = circling(i);
        (lat, lon, h, if i < 450 { i } else { i + 4_000 })
    });
    let jumping = kept("jumping.gpx", gpx(jumping));
    let output = run(&["debrief", &jumping]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(String::from_utf8_lossy(&output.stdout).contains("gap"));
}

#[test]
fn a_glide_curve_is_told_or_it_is_said_what_is_missing() {
    let track = sortie();
    let output = run(&["fit", track.to_str().unwrap(), "--json"]);
    if output.status.success() {
        let told: Value = serde_json::from_slice(&output.stdout).unwrap();
        let ratio = &told["best_glide_ratio"];
        // The lesson was flown at 6 : 1 give or take 7 %.
        let (value, sd) = (ratio["value"].as_f64().unwrap(), ratio["standard_deviation"].as_f64().unwrap());
        assert!((value - 6.0).abs() < 0.42 + 3.0 * sd, "{told}");
    } else {
        assert_eq!(output.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&output.stderr).contains("several speeds"));
    }
    let missing = refused(&["fit", "nowhere.igc"]);
    assert!(missing.contains("nowhere.igc"));
}
