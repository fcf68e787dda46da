//! The area card at the command line.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output};

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(program()).current_dir(folder).args(arguments).output().unwrap()
}

fn card(folder: &Path, out: &str, more: &[&str]) {
    let arguments = [&["card", "--wind", "240/8kt", "--date", "2026-11-25", "--out", out], more].concat();
    let output = run(folder, &arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// What stands between two marks, each time.
fn between<'a>(text: &'a str, from: &str, to: &str) -> Vec<&'a str> {
    text.split(from).skip(1).filter_map(|rest| rest.split_once(to)).map(|(inside, _)| inside).collect()
}

fn plain(cell: &str) -> &str {
    cell.trim_start_matches("<b>").trim_end_matches("</b>")
}

#[test]
fn every_field_is_in_the_table_and_its_number_on_the_map() {
    let folder = tempfile::tempdir().unwrap();
    card(folder.path(), "card.html", &[]);
    let page = std::fs::read_to_string(folder.path().join("card.html")).unwrap();
    let tables = between(&page, "<table>", "</table>");
    let rows: Vec<Vec<&str>> = between(tables[0], "<tr>", "</tr>")
        .into_iter()
        .map(|row| between(row, "<td>", "</td>").into_iter().map(plain).collect::<Vec<_>>())
        .filter(|row| !row.is_empty())
        .collect();
    // The names of the invented area's own file, and not what the program makes of it.
    let known: Value = serde_json::from_str(include_str!("../../sample-terrain/fields.geojson")).unwrap();
    let mut names: Vec<String> = known["features"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| {
            let name = f["properties"]["name"].as_str().unwrap_or_default();
            let id = f["properties"]["id"].as_str().or(f["id"].as_str()).unwrap_or_default();
            if name.is_empty() { id.to_owned() } else { name.to_owned() }
        })
        .collect();
    let mut listed: Vec<String> = rows.iter().map(|row| row[1].to_owned()).collect();
    names.sort();
    listed.sort();
    assert_eq!(listed, names);
    let numbers: Vec<usize> = rows.iter().map(|row| row[0].parse().unwrap()).collect();
    assert_eq!(numbers, (1..=rows.len()).collect::<Vec<_>>());
    // Each number once on the first map, bold exactly where the table says that the field would take the aircraft.
    let map = between(&page, "<svg", "</svg>")[0];
    let mut seen = BTreeSet::new();
    for text in between(map, "<text ", "</text>") {
        let (style, words) = text.split_once('>').unwrap();
        let Ok(number) = words.parse::<usize>() else { continue };
        assert!(seen.insert(number), "{number} is on the map twice");
        assert_eq!(style.contains("font-weight=\"bold\""), rows[number - 1][2] != "out", "{number}");
    }
    assert_eq!(seen.into_iter().collect::<Vec<_>>(), numbers);
    // The lengths decide as the verdict says.
    let metres = |cell: &str| cell.trim_end_matches('m').trim().trim_end_matches('\u{a0}').parse::<f64>().ok();
    let mut compared = 0;
    for row in rows.iter().filter(|row| row[2] != "out") {
        let (usable, needed) = (metres(row[4]).unwrap(), metres(row[5]).unwrap());
        // Usable is rounded down and needed up.
        assert!(usable + 2.0 >= needed, "{row:?}");
        compared += 1;
    }
    assert!(compared > 20);
    for words in ["Options", "runway 06", "runway 24", "Cautions", "not for navigation", "invented", "Computed from"] {
        assert!(page.contains(words), "{words}");
    }
    assert!(map.contains("data:image/png;base64,"), "no relief");
}

#[test]
fn the_share_covered_is_larger_from_higher_up_and_agrees_with_the_options_map() {
    let folder = tempfile::tempdir().unwrap();
    card(folder.path(), "card.html", &["--heights", "1000ft,2000ft,3000ft"]);
    let page = std::fs::read_to_string(folder.path().join("card.html")).unwrap();
    let shares: Vec<f64> =
        between(&page, "a field in reach over ", " %").into_iter().map(|s| s.trim().parse().unwrap()).collect();
    assert_eq!(shares.len(), 3);
    assert!(shares[0] < shares[1] && shares[1] < shares[2] && shares[2] <= 100.0, "{shares:?}");
}

#[test]
fn the_card_prints_on_either_paper_and_nonsense_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    card(folder.path(), "card.pdf", &["--paper", "a5"]);
    assert!(std::fs::read(folder.path().join("card.pdf")).unwrap().starts_with(b"%PDF-"));
    card(folder.path(), "card.png", &[]);
    let first = image_size(&std::fs::read(folder.path().join("card-1.png")).unwrap());
    // A4 at 200 dots to the inch: 210 and 297 mm by 25.4.
    assert!((1_653..=1_655).contains(&first.0) && (2_338..=2_340).contains(&first.1), "{first:?}");
    for (arguments, says) in [
        (&["card"][..], "--out"),
        (&["card", "--out", "card.doc"], ".pdf"),
        (&["card", "--out", "card.pdf", "--heights", "high"], "--heights"),
        (&["card", "--out", "card.pdf", "--heights", ","], "--heights"),
        (&["card", "--out", "card.pdf", "--wind", "240/90kt"], "wind"),
    ] {
        let output = run(folder.path(), arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(says) && said.trim_end().lines().count() == 1, "{arguments:?}: {said}");
    }
}

/// Width and height of a PNG file, from its header (PNG specification, 11.2.2).
fn image_size(file: &[u8]) -> (u32, u32) {
    let number = |at: usize| u32::from_be_bytes(file[at..at + 4].try_into().unwrap());
    (number(16), number(20))
}
