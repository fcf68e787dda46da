//! Import and export in the window, driven by accessible labels without a screen.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, until};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield_geometry::fields::model::Surface;
use std::path::Path;

/// Two new outlines by the home strip, in words of another language.
fn file(window: &Window, path: &Path) {
    let area = app(window).model.area.clone().unwrap();
    let home = area.home.as_ref().unwrap().position;
    let place = |dx: f64, dy: f64| {
        let at = sparefield_geometry::position::Xy::new(home.x + dx, home.y + dy);
        let place = area.frame.to_lonlat(at).unwrap();
        format!("[{:.8},{:.8}]", place.lon_deg, place.lat_deg)
    };
    let feature = |name: &str, use_of: &str, at: f64| {
        let corners = [(0.0, 0.0), (180.0, 0.0), (180.0, 90.0), (0.0, 90.0), (0.0, 0.0)];
        let ring: Vec<String> = corners.iter().map(|(x, y)| place(at + x, 2_000.0 + y)).collect();
        format!(
            "{{\"type\":\"Feature\",\"properties\":{{\"Schlagname\":\"{name}\",\"Nutzung\":\"{use_of}\"}},\
             \"geometry\":{{\"type\":\"Polygon\",\"coordinates\":[[{}]]}}}}",
            ring.join(",")
        )
    };
    let text = format!(
        "{{\"type\":\"FeatureCollection\",\"features\":[{},{}]}}",
        feature("Anger", "Stoppelfeld", 0.0),
        feature("Breite", "Grünland", 400.0)
    );
    std::fs::write(path, text).unwrap();
}

fn look_at(window: &mut Window, path: &Path) {
    window.state_mut().as_mut().unwrap().push(Command::ChooseImport);
    window.step();
    window.step();
    let name = window.get_by_label("File (Shapefile, GeoJSON, KML, KMZ, GeoPackage or GPX)");
    name.focus();
    name.type_text(&path.display().to_string());
    window.step();
    window.get_by_label("Look at it").click();
}

#[test]
fn a_file_is_looked_at_mapped_added_and_taken_back_in_one_step() {
    let mut window = common::opened(1280.0, 800.0, Vec::new());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("flur.geojson");
    file(&window, &path);
    let before = app(&window).model.area.as_ref().unwrap().fields.len();
    look_at(&mut window, &path);
    let ready = "New: 2 fields, 0 hazards, 0 quiet zones, 0 boundary edges";
    until(&mut window, "the file was looked at", |w| w.query_by_label(ready).is_some());
    assert!(window.query_by_label("Meaning of Schlagname: name").is_some());
    assert!(window.query_by_label("Meaning of Nutzung: surface").is_some());
    assert!(window.query_by_label("Surface for Stoppelfeld: stubble").is_some());
    // What the word does not say is not guessed; the pilot says it.
    let chooser = window.get_by_label("Surface for Grünland: unknown");
    chooser.click();
    until(&mut window, "the surfaces are offered", |w| w.query_by_label("grazed grass").is_some());
    window.get_by_label("grazed grass").click();
    window.step();
    until(&mut window, "it was worked out anew", |w| w.query_by_label("Surface for Grünland: grazed grass").is_some());
    for _ in 0..200 {
        window.step();
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    window.get_by_label("Add to the area").click();
    until(&mut window, "the fields are there", |w| app(w).model.area.as_ref().unwrap().fields.len() == before + 2);
    let area = app(&window).model.area.clone().unwrap();
    let surface = |name: &str| area.fields.iter().find(|f| f.name == name).unwrap().surface;
    assert_eq!([surface("Anger"), surface("Breite")], [Surface::Stubble, Surface::GrazedGrass]);
    // The same file again adds nothing, unless it is wanted.
    look_at(&mut window, &path);
    let none = "New: 0 fields, 0 hazards, 0 quiet zones, 0 boundary edges";
    until(&mut window, "it was looked at again", |w| w.query_by_label(none).is_some());
    assert!(window.query_by_label("2 more are in the area already and are left out.").is_some());
    window.get_by_label("Cancel").click();
    window.step();
    window.state_mut().as_mut().unwrap().push(Command::Undo);
    until(&mut window, "it is taken back", |w| app(w).model.area.as_ref().unwrap().fields.len() == before);
}

#[test]
fn a_file_that_cannot_be_read_says_why_in_the_dialogue() {
    let mut window = common::opened(1280.0, 800.0, Vec::new());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("broken.kml");
    std::fs::write(&path, "<kml><Document>").unwrap();
    look_at(&mut window, &path);
    let why = |w: &Window| w.query_by_label_contains("ends inside <Document>").is_some();
    until(&mut window, "it says why", why);
}

#[test]
fn fields_are_written_for_another_program() {
    let mut window = common::opened(1280.0, 800.0, Vec::new());
    let folder = tempfile::tempdir().unwrap();
    window.state_mut().as_mut().unwrap().push(Command::ChooseExport);
    window.step();
    window.step();
    let path = folder.path().join("out.gpkg");
    let name = window.get_by_label("File (.gpkg)");
    name.focus();
    window.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
    window.step();
    window.get_by_label("File (.gpkg)").type_text(&path.display().to_string());
    window.step();
    window.get_by_label("Write").click();
    let there = path.clone();
    until(&mut window, "the file is there", move |_| there.exists());
    let area = app(&window).model.area.clone().unwrap();
    let read = sparefield_data::vector::read_with(&path, &area.frame, &[]).unwrap().value;
    assert_eq!(read.fields.len(), area.fields.len());
    assert_eq!(read.hazards.len(), area.hazards.len());
    until(&mut window, "it says so", |w| w.query_by_label_contains("records written to").is_some());
}
