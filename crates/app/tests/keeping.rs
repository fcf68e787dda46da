//! What must not be lost: the question before closing, trying again after a failed save, and images dropped on the map.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, area, opened, push, until};
use egui::{DroppedFile, Key, Modifiers, ViewportCommand, ViewportEvent, ViewportId};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::model::{AnnotateCommand, Mode, Tool, layers::LayerState};
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The sample area kept in a file, open in a window.
fn kept(folder: &Path) -> (Window, PathBuf) {
    let path = folder.join("home.gpkg");
    let sample = Area::sample(&NoProgress).unwrap();
    drop(AreaFile::create(&path, &AreaParts::of(&sample, TerrainSource::Sample)).unwrap());
    let mut window = opened(1280.0, 800.0, vec![path.clone()]);
    push(&mut window, Command::SetMode(Mode::Annotate));
    (window, path)
}

fn rename(window: &Window, to: &str) -> Command {
    let old = Arc::new(area(window).title.clone());
    Command::Edit(Box::new(Edit::new("rename", vec![Change::Title(Swap::replace(&old, to.to_owned()))])))
}

/// Presses the cross of the window; says whether the window would close.
fn close(window: &mut Window) -> bool {
    let root = window.input_mut().viewports.entry(ViewportId::ROOT).or_default();
    root.events.push(ViewportEvent::Close);
    window.step();
    let stays = orders(window).contains(&ViewportCommand::CancelClose);
    window.input_mut().viewports.entry(ViewportId::ROOT).or_default().events.clear();
    window.run_steps(2);
    !stays
}

fn orders(window: &Window) -> Vec<ViewportCommand> {
    window.output().viewport_output.get(&ViewportId::ROOT).map_or_else(Vec::new, |v| v.commands.clone())
}

fn title_in(path: &Path) -> String {
    sparefield_data::area_file::read(path, &NoProgress).unwrap().value.title
}

#[test]
fn what_could_not_be_saved_is_asked_about_before_closing_and_saved_on_trying_again() {
    let folder = tempfile::tempdir().unwrap();
    let (mut window, path) = kept(folder.path());
    assert!(close(&mut window), "with everything kept there is nothing to ask");
    // The file goes away under the window, as when a stick is pulled out.
    let away = folder.path().join("elsewhere.gpkg");
    std::fs::rename(&path, &away).unwrap();
    let command = rename(&window, "Mine");
    push(&mut window, command);
    until(&mut window, "the failure is told", |w| app(w).model.keeping.problem.is_some());
    assert!(window.query_by_label_contains("1 change is not kept yet").is_some());
    assert!(!close(&mut window));
    window.get_by_label("Not everything is kept");
    // Escape stays, as the button does; keys do not reach the map meanwhile.
    window.key_press_modifiers(Modifiers::NONE, Key::D);
    window.run_steps(2);
    assert_eq!(app(&window).model.annotating.tool, Tool::Choose);
    window.key_press_modifiers(Modifiers::NONE, Key::Escape);
    window.run_steps(2);
    assert!(window.query_by_label("Not everything is kept").is_none());
    std::fs::rename(&away, &path).unwrap();
    window.get_by_label("Try again").click();
    until(&mut window, "it is kept", |w| app(w).model.keeping.waiting == 0);
    assert_eq!(title_in(&path), "Mine");
    assert!(close(&mut window));
}

#[test]
fn an_area_that_cannot_be_kept_is_saved_elsewhere_in_the_dialogue_and_a_bad_place_can_be_mended() {
    let folder = tempfile::tempdir().unwrap();
    let (mut window, path) = kept(folder.path());
    push(&mut window, Command::ChooseCopy);
    window.get_by_label("Save the area");
    let field = "File (a GeoPackage, .gpkg); a file that exists is not written over";
    let type_name = |window: &mut Window, to: &Path| {
        window.get_by_label(field).focus();
        window.step();
        window.key_press_modifiers(Modifiers::COMMAND, Key::A);
        window.step();
        window.get_by_label(field).type_text(&to.display().to_string());
        window.step();
        window.get_by_label("Save").click();
        window.run_steps(2);
    };
    type_name(&mut window, &path);
    until(&mut window, "the failure is told", |w| !app(w).model.notices.is_empty());
    assert!(app(&window).model.notices[0].text.contains("home.gpkg"), "{:?}", app(&window).model.notices);
    push(&mut window, Command::DismissAllNotices);
    let copy = folder.path().join("copy");
    push(&mut window, Command::ChooseCopy);
    type_name(&mut window, &copy);
    until(&mut window, "the copy is saved", |w| w.query_by_label_contains("A copy is saved in").is_some());
    assert_eq!(title_in(&copy.with_extension("gpkg")), area(&window).title);
    assert_eq!(app(&window).model.keeping.path.as_deref(), Some(path.as_path()), "the area itself stays where it is");
}

#[test]
fn a_drawing_is_not_lost_by_closing_nor_by_escape() {
    let mut window = common::annotating(1280.0, 800.0);
    window.key_press_modifiers(Modifiers::NONE, Key::D);
    window.run_steps(2);
    let centre = area(&window).centre();
    for (dx, dy) in [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0)] {
        let to = centre + sparefield_geometry::position::Xy::new(dx, dy);
        // In one frame: a pen that is not over the map is lifted.
        let program = window.state_mut().as_mut().unwrap();
        program.push(Command::Annotate(AnnotateCommand::Pen { to, radius_m: 0.0 }));
        push(&mut window, Command::Annotate(AnnotateCommand::SetCorner));
    }
    let set = app(&window).model.annotating.draft.corners.len();
    assert_eq!(set, 3);
    assert!(!close(&mut window));
    window.get_by_label("A drawing is not finished");
    window.get_by_label("Stay").click();
    window.run_steps(2);
    assert!(app(&window).model.annotating.is_drawing());
    window.key_press_modifiers(Modifiers::NONE, Key::Escape);
    window.run_steps(2);
    assert!(!app(&window).model.annotating.is_drawing());
    window.get_by_label("Bring back the 3 corners left").click();
    window.run_steps(2);
    assert_eq!(app(&window).model.annotating.draft.corners.len(), set);
    // Undo takes back the last corner and no earlier change of the area.
    let fields = area(&window).fields.len();
    push(&mut window, Command::Undo);
    assert_eq!((app(&window).model.annotating.draft.corners.len(), area(&window).fields.len()), (set - 1, fields));
    assert!(!close(&mut window));
    window.get_by_label("Close and lose it").click();
    window.step();
    window.step();
    assert!(close(&mut window), "then it closes");
}

#[derive(Debug)]
struct Dropped(PathBuf);

impl DroppedFile for Dropped {
    fn path(&self) -> &Path {
        &self.0
    }
    fn bytes(&self) -> Result<Vec<u8>, String> {
        std::fs::read(&self.0).map_err(|e| e.to_string())
    }
}

#[test]
fn an_image_dropped_on_the_map_becomes_a_layer_of_the_area_and_can_be_undone() {
    let folder = tempfile::tempdir().unwrap();
    let (mut window, path) = kept(folder.path());
    let frame = area(&window).frame.clone();
    let home = area(&window).centre();
    let image = folder.path().join("summer.png");
    // One pixel of half a metre by a world file in the area's own frame.
    let one_pixel: [u8; 67] = [
        0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a, 0x00, 0x00, 0x00, 0x0d, 0x49, 0x48, 0x44, 0x52, 0x00, 0x00,
        0x00, 0x01, 0x00, 0x00, 0x00, 0x01, 0x08, 0x00, 0x00, 0x00, 0x00, 0x3a, 0x7e, 0x9b, 0x55, 0x00, 0x00, 0x00,
        0x0a, 0x49, 0x44, 0x41, 0x54, 0x78, 0x9c, 0x63, 0x68, 0x00, 0x00, 0x00, 0x82, 0x00, 0x81, 0x77, 0xcd, 0x72,
        0xb6, 0x00, 0x00, 0x00, 0x00, 0x49, 0x45, 0x4e, 0x44, 0xae, 0x42, 0x60, 0x82,
    ];
    std::fs::write(&image, one_pixel).unwrap();
    std::fs::write(image.with_extension("pgw"), format!("0.5\n0\n0\n-0.5\n{}\n{}\n", home.x, home.y)).unwrap();
    let land = app(&window).model.land_revision;
    window.input_mut().dropped_files.push(Arc::new(Dropped(image.clone())));
    window.step();
    window.input_mut().dropped_files.clear();
    until(&mut window, "it is no longer being opened", |w| {
        let list = &app(w).model.layers.list;
        !list.is_empty() && list.iter().all(|l| !matches!(l.state, LayerState::Opening))
    });
    window.get_by_label("Layers under the fields");
    assert!(window.query_by_label("Show summer").is_some());
    assert_eq!(app(&window).model.land_revision, land, "{}", frame.name());
    until(&mut window, "it is kept", |w| app(w).model.keeping.waiting == 0);
    let written = sparefield_data::area_file::read(&path, &NoProgress).unwrap().value.layers;
    assert_eq!(written.list.iter().map(|l| l.name.as_str()).collect::<Vec<_>>(), ["summer"]);
    window.get_by_label("Undo add the layer summer").click();
    window.run_steps(2);
    assert!(app(&window).model.layers.list.is_empty());
    push(&mut window, Command::Redo);
    // Another area has layers of its own.
    push(&mut window, Command::OpenSample);
    until(&mut window, "the sample area is open", |w| app(w).model.keeping.path.is_none());
    assert!(app(&window).model.layers.list.is_empty());
}
