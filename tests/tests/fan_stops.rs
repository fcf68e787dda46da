//! Fan stops at the home strip at the command line.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use serde_json::Value;
use std::process::{Command, Output};

fn run(arguments: &[&str]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    Command::new(program()).current_dir(folder.path()).arg("fan-stops").args(arguments).output().unwrap()
}

#[test]
fn every_cell_is_told_and_one_of_them_is_what_circuit_flies() {
    let output = run(&["--date", "2026-11-25", "--wind", "240/8kt", "--json"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let out: Value = serde_json::from_slice(&output.stdout).unwrap();
    let cells = out["cells"].as_array().unwrap();
    assert_eq!(cells.len(), 48);
    assert_eq!(out["in_reach"], cells.iter().filter(|c| c["computed"]["works"] == true).count());
    // The set's heights are 800 to 2000 ft, four bands of 300 ft; twelve headings, north first.
    for (i, cell) in cells.iter().enumerate() {
        let low = cell["lowest_agl_m"].as_f64().unwrap();
        assert!((low - 0.304_8 * (800.0 + 300.0 * (i / 12) as f64)).abs() < 1e-6, "{low}");
        let off = (cell["heading_deg"].as_f64().unwrap() - 30.0 * (i % 12) as f64 + 180.0).rem_euclid(360.0) - 180.0;
        // Grid north and true north differ by the convergence of the frame.
        assert!(off.abs() < 3.0, "{off}");
        let computed = &cell["computed"];
        assert_eq!(computed["works"] == true, computed["spare_height_m"].is_f64());
        assert!(cell["practised"].is_null());
    }
    // More height on the same heading leaves more over where the circuit is the same kind.
    let spare = |i: usize| cells[i]["computed"]["spare_height_m"].as_f64();
    assert!((0..12).filter_map(|d| Some(spare(d + 36)? > spare(d + 12)?)).all(|more| more));
}

#[test]
fn people_get_tables_a_page_and_one_sentence_for_bad_input() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("fan.html");
    let output = run(&["--wind", "calm", "--pilot", "Robin Example", "--out", page.to_str().unwrap()]);
    // A number and its unit stay on one line.
    let text = String::from_utf8(output.stdout).unwrap().replace('\u{a0}', " ");
    for words in ["Fan stops at", "800 ft to 1100 ft", "Robin Example", "not drilled", "Wires cannot be seen"] {
        assert!(text.contains(words), "{words} in {text}");
    }
    let written = std::fs::read_to_string(&page).unwrap();
    assert!(written.contains("What Robin Example drilled") && written.contains("<svg"), "{written}");
    let refused = run(&["--set", "Anywhere around home"]);
    assert_eq!(refused.status.code(), Some(2));
    let told = String::from_utf8(refused.stderr).unwrap();
    assert!(told.contains("no drill set practises fan stops") && told.lines().count() == 1, "{told}");
}
