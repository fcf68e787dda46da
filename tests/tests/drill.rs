//! Drills at the command line, run as a pilot or a script would.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use serde_json::Value;
use sparefield::drill::Rehearsal;
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::area_file::{self, AreaFile, AreaParts, TerrainSource};
use sparefield_geometry::drill::DrillSet;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Bearing;
use std::io::Write as _;
use std::process::{Command, Output, Stdio};

fn run(arguments: &[&str]) -> Output {
    Command::new(program()).args(arguments).stdin(Stdio::null()).output().unwrap()
}

fn json(arguments: &[&str]) -> Value {
    let output = run(arguments);
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// A drill of the sample area as a script flies it.
fn flown(number: &str, more: &[&str]) -> Value {
    let drill = ["drill", "--set", "fan", "--number", number, "--date", "2026-11-25", "--json"];
    json(&[&drill[..], more].concat())
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn the_best_field_chosen_at_once_leaves_no_regret_and_the_clock_costs_height() {
    let nothing = flown("3", &["--choose", "none", "--after", "0"]);
    let best = nothing["best_at_failure"]["field"].as_str().unwrap().to_owned();
    assert_eq!(nothing["outcome"]["kind"], "nothing-chosen");
    assert_eq!(number(&nothing["regret_at_failure"]["score"]), number(&nothing["best_at_failure"]["score"]));
    let soon = flown("3", &["--choose", &best, "--after", "4"]);
    let later = flown("3", &["--choose", &best, "--after", "10"]);
    assert_eq!(soon["stopped_in_strip"], true, "{soon:#}");
    assert_eq!((number(&soon["regret_at_failure"]["score"]), number(&soon["time_to_choose_s"])), (0.0, 4.0));
    // 50 mph at 6 : 1 is 3.7 m/s; thinner air adds a little.
    let lost = number(&soon["choices"][0]["height_m"]) - number(&later["choices"][0]["height_m"]);
    assert!((6.0 * 3.6..6.0 * 4.1).contains(&lost), "{lost}");
    // Everyone gets the same failure, and the same score for the same choice.
    let mut again = flown("3", &["--choose", &best, "--after", "4"]);
    again["id"] = soon["id"].clone();
    assert_eq!(again, soon);
    assert_ne!(flown("4", &["--choose", "none", "--after", "0"])["state"], soon["state"]);
}

#[test]
fn the_true_wind_is_near_the_one_told_but_not_that() {
    let document = flown("1", &["--choose", "none", "--after", "0"]);
    let (told, blows) = (&document["told_wind"], &document["true_wind"]);
    let speeds = (number(&told["speed_ms"]) - number(&blows["speed_ms"])).abs();
    assert!(speeds > 0.0 && speeds <= 3.0 * 1_852.0 / 3_600.0 + 1e-9, "{speeds}");
    let turn = (number(&told["from_deg"]) - number(&blows["from_deg"])).abs();
    assert!(turn > 0.0 && turn.min(360.0 - turn) <= 20.0 + 1e-6, "{turn}");
}

#[test]
fn what_is_offered_is_what_the_ranking_chose_and_other_directions_are_no_better() {
    let area = Area::sample(&NoProgress).unwrap();
    let day = Day { days_since_epoch: 20_782 };
    let rehearsal = Rehearsal::new(&area, &area.drill_sets[0], 3, day, &[]).unwrap();
    let ranked = &rehearsal.assessment().ranked;
    let mut turned_round = 0;
    for field in ranked.iter().filter(|r| r.verdict != Verdict::Out) {
        let strip = field.strip.as_ref().unwrap();
        let best = rehearsal.offer(field.index, None).unwrap();
        assert_eq!((best.landing.heading, best.verdict), (strip.heading, field.verdict), "{}", best.name);
        assert!((best.score - field.score).abs() < 1e-12);
        let opposite = Bearing::from_rad(strip.heading.rad() + std::f64::consts::PI);
        let Some(other) = rehearsal.offer(field.index, Some(opposite)) else { continue };
        turned_round += 1;
        assert!(other.landing.heading.turn_to(opposite).abs() <= 20f64.to_radians());
        assert!(other.verdict > best.verdict || other.score <= best.score + 1e-12, "{}", best.name);
    }
    assert!(turned_round > 10, "{turned_round}");
}

#[test]
fn a_change_of_mind_is_told_with_its_height() {
    let nothing = flown("3", &["--choose", "none", "--after", "0"]);
    let best = nothing["best_at_failure"]["field"].as_str().unwrap().to_owned();
    let document = flown("3", &["--choose", "1", "--after", "3", "--choose", &best, "--after", "8.5"]);
    let change = &document["changes"][0];
    assert_eq!((number(&change["at_s"]), change["to_field_id"].as_str().unwrap()), (8.5, best.as_str()));
    assert!(change["still_open"].is_boolean() && number(&change["height_m"]) > 0.0);
    assert_eq!(document["choices"].as_array().unwrap().len(), 2);
}

#[test]
fn at_the_terminal_the_real_clock_counts_and_the_ranking_stays_hidden_until_after() {
    let mut child = Command::new(program())
        .args(["drill", "--set", "fan", "--number", "3", "--date", "2026-11-25"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"no such field\n1\n").unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    let (before, after) = text.split_once("THE ENGINE STOPS").unwrap();
    assert!(before.contains("Fan stops at home, drill 3") && before.contains("o’clock"), "{before}");
    for hidden in ["score", "roomy", "workable", "last resort", "true wind"] {
        assert!(!before.contains(hidden), "{hidden}: {before}");
    }
    assert!(after.contains("“no such field” is neither the number of a field in the list"), "{after}");
    for told in ["true wind", "chosen", "yours", "best", "Cautions"] {
        assert!(after.contains(told), "{told}: {after}");
    }
    assert!(!text.to_lowercase().contains("safe"), "{text}");
}

#[test]
fn results_are_kept_in_the_area_file_and_progress_is_read_from_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("area.gpkg");
    let area = Area::sample(&NoProgress).unwrap();
    drop(AreaFile::create(&path, &AreaParts::of(&area, TerrainSource::Sample)).unwrap());
    let file = path.to_str().unwrap();
    let drill = ["drill", "--area", file, "--set", "Fan stops at home", "--pilot", "Pat", "--json"];
    let mut numbers = Vec::new();
    for seed in ["1", "2"] {
        let more = ["--seed", seed, "--date", "2026-11-25", "--choose", "1", "--after", "6"];
        numbers.push(json(&[&drill[..], &more].concat())["set"]["number"].as_u64().unwrap());
    }
    assert_ne!(numbers[0], numbers[1], "a drill flown is not drawn again");
    // Without a pilot's name nothing is kept.
    json(&["drill", "--area", file, "--number", "1", "--choose", "none", "--after", "0", "--json"]);
    let kept = area_file::read(&path, &NoProgress).unwrap().value.drill_results;
    assert_eq!(kept.iter().map(|r| u64::from(r.number)).collect::<Vec<_>>(), numbers);
    let progress = json(&["drill", "--area", file, "--progress", "--pilot", "Pat", "--json"]);
    assert_eq!(progress["series"][0]["drills"], 2);
    assert_eq!(number(&progress["series"][0]["median_time_to_choose_s"]), 6.0);
    let other = json(&["drill", "--area", file, "--progress", "--pilot", "Sam", "--json"]);
    assert_eq!(other["series"].as_array().unwrap().len(), 0);

    // Two people's areas: both sides' results and sets come together, once.
    let theirs = folder.path().join("theirs.gpkg");
    let own = DrillSet { id: "own".into(), name: "Own".into(), ..(*area.drill_sets[0]).clone() };
    let mut other = AreaFile::create(&theirs, &AreaParts::of(&area, TerrainSource::Sample)).unwrap();
    other.write(&Edit::new("set", vec![Change::DrillSet(Swap::add(own))])).unwrap();
    drop(other);
    let (a, b, c) = (folder.path().join("both.gpkg"), folder.path().join("again.gpkg"), theirs.to_str().unwrap());
    let merged = json(&["merge", c, file, "--out", a.to_str().unwrap(), "--json"]);
    assert_eq!((merged["drill_sets_taken"].as_u64(), merged["drill_results_taken"].as_u64()), (Some(0), Some(2)));
    let both = area_file::read(&a, &NoProgress).unwrap().value;
    assert_eq!((both.drill_sets.len(), both.drill_results), (3, kept));
    let again = json(&["merge", a.to_str().unwrap(), file, "--out", b.to_str().unwrap(), "--json"]);
    assert_eq!((again["drill_sets_taken"].as_u64(), again["drill_results_taken"].as_u64()), (Some(0), Some(0)));
}

#[test]
fn sets_are_listed_handed_out_and_flown_from_the_document() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("drills.json");
    let sets = json(&["drill", "--list", "--json"]);
    let names: Vec<&str> = sets["sets"].as_array().unwrap().iter().map(|s| s["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["Fan stops at home", "Anywhere around home"]);
    assert!(run(&["drill", "--export", path.to_str().unwrap()]).status.success());
    let drill = ["drill", "--number", "5", "--choose", "none", "--after", "0", "--json", "--date", "2026-11-25"];
    let (mut here, there) = (json(&drill), json(&[&drill[..], &["--sets", path.to_str().unwrap()]].concat()));
    here["id"] = there["id"].clone();
    assert_eq!(here, there);
}

#[test]
fn mistakes_are_answered_with_one_sentence() {
    for (arguments, words) in [
        (&["drill", "--set", "nothing"][..], "is none of the drill sets"),
        (&["drill", "--number", "0"], "numbered from 1"),
        (&["drill", "--choose", "1", "--after", "-3"], "is not between 0 and 3600 seconds"),
        (&["drill", "--choose", "1", "--after", "soon"], "--after"),
        (&["drill", "--choose", "1", "--choose", "2", "--after", "3"], "give one for each"),
        (&["drill", "--number", "1", "--choose", "Nowhere", "--after", "3"], "“Nowhere” is neither the number"),
        (&["drill", "--number", "1", "--choose", "1:north-ish", "--after", "3"], "--choose"),
        (&["drill", "--join", "sideways"], "none of straight in"),
        (&["drill", "--hand", "both"], "neither left nor right"),
        (&["drill", "--sets", "missing.json"], "missing.json"),
        (&["drill", "--progress"], "--pilot"),
    ] {
        let output = run(arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
        assert!(said.lines().count() == 1 && said.contains(words), "{arguments:?}: {said}");
    }
}
