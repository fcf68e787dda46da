//! Climb-outs at the command line.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use serde_json::Value;
use sparefield_geometry::math;
use std::process::{Command, Output};

fn run(arguments: &[&str]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    Command::new(program()).current_dir(folder.path()).arg("climb-out").args(arguments).output().unwrap()
}

fn document(arguments: &[&str]) -> Value {
    let output = run(&[&["--date", "2026-11-25", "--json"], arguments].concat());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn steps_climb_along_the_runway_and_say_what_is_in_reach() {
    let out = document(&["--runway", "24", "--wind", "240/8kt", "--step", "200ft"]);
    let known: Value = serde_json::from_str(include_str!("../../sample-terrain/home.json")).unwrap();
    assert_eq!(out["runway"]["name"], "24");
    assert!(known.to_string().contains("24"));
    let steps = out["steps"].as_array().unwrap();
    // From 50 ft by 200 ft while below 1 500 ft: 50, 250 … 1 450.
    assert_eq!(steps.len(), 8);
    let number = |step: &Value, key: &str| step[key].as_f64().unwrap();
    for pair in steps.windows(2) {
        assert!((number(&pair[1], "height_m") - number(&pair[0], "height_m") - 60.96).abs() < 1e-9);
        assert!(number(&pair[1], "beyond_end_m") > number(&pair[0], "beyond_end_m"));
        // A steady climb in still air at 7 degrees goes 8.1 m along for each metre up; into wind it goes less.
        let along = number(&pair[1], "beyond_end_m") - number(&pair[0], "beyond_end_m");
        assert!(along < 60.96 / math::tan(7f64.to_radians()) && along > 150.0, "{along}");
    }
    for field in steps.iter().flat_map(|s| s["fields"].as_array().unwrap()) {
        assert!(number(field, "spare_height_m") >= 0.0);
        let (side, from_nose) = (field["side"].as_str().unwrap(), number(field, "from_nose_deg"));
        assert_eq!(
            side,
            if from_nose.abs() <= 30.0 {
                "ahead"
            } else if from_nose < 0.0 {
                "left"
            } else {
                "right"
            }
        );
    }
    // The least height for a turn back lies where the table turns from short to over.
    let least = out["least_turn_back_height_m"].as_f64().unwrap();
    for step in steps {
        let works = step["turn_back"]["works"].as_bool().unwrap_or(false);
        if works {
            assert!(number(step, "height_m") >= least - 1.0, "works at {} below {least}", step["height_m"]);
        }
    }
    let more = out["turn_back_height_with_half_more_m"].as_f64().unwrap();
    assert!((more - 1.5 * least).abs() < 1e-9);
    assert!(out["cautions"].as_array().unwrap().iter().any(|c| c.as_str().unwrap().contains("not for navigation")));
    assert!(out["advice"].as_array().unwrap().len() >= 3);
}

#[test]
fn a_tail_wind_turns_a_turn_back_into_a_longer_way() {
    let least = |wind: &str| {
        document(&["--runway", "24", "--wind", wind, "--step", "100ft"])["least_turn_back_height_m"].as_f64()
    };
    // With the wind on the nose the way back is with it; with the wind behind, the climb leads far and the way back is
    // against it.
    let (ahead, behind) = (least("240/10kt"), least("060/10kt"));
    assert!(ahead.is_some());
    assert!(behind.is_none_or(|height| height > ahead.unwrap()), "{behind:?} {ahead:?}");
}

#[test]
fn the_table_prints_and_nonsense_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new(program())
        .current_dir(folder.path())
        .args(["climb-out", "--wind", "240/8kt", "--out", "climb.pdf"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let said = String::from_utf8(output.stdout).unwrap();
    for words in ["runway 24", "Turn back", "Lower the nose", "not for navigation", "invented"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(std::fs::read(folder.path().join("climb.pdf")).unwrap().starts_with(b"%PDF-"));
    for (arguments, says) in [
        (&["--runway", "13"][..], "--runway"),
        (&["--step", "high"], "--step"),
        (&["--step", "1ft"], "step"),
        (&["--climb", "80 deg"], "climb"),
        (&["--wind", "240/90kt"], "wind"),
    ] {
        let output = run(arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(says) && said.trim_end().lines().count() == 1, "{arguments:?}: {said}");
    }
}
