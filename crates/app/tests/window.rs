//! The whole window, driven by accessible labels without a screen.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use sparefield::app::{App, StartWith};
use sparefield::assess::HeightInput;
use sparefield::model::NoticeLevel;
use sparefield_geometry::fields::model::Day;
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// 25 November 2026.
const TODAY: Day = Day { days_since_epoch: 20_782 };

/// How long a job may take before a test gives up on it: a guard against hanging, not a measure of speed.
const PATIENCE: Duration = Duration::from_mins(2);

type Window = Harness<'static, Option<App>>;

fn window(files: Vec<PathBuf>) -> Window {
    let start = StartWith { files, today: TODAY, keep_settings: false };
    Harness::builder().with_size([1280.0, 800.0]).build_ui_state(
        move |ui, state: &mut Option<App>| {
            let app = state.get_or_insert_with(|| App::new(ui.ctx(), start.clone()).unwrap());
            app.logic(ui.ctx());
            app.draw(ui);
        },
        None,
    )
}

fn app(window: &Window) -> &App {
    window.state().as_ref().unwrap()
}

/// Runs frames until a condition holds.
fn until(window: &mut Window, what: &str, holds: impl Fn(&App) -> bool) {
    let start = Instant::now();
    loop {
        window.step();
        if holds(app(window)) {
            window.step();
            return;
        }
        assert!(start.elapsed() < PATIENCE, "waited in vain until {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// A window with the sample area assessed.
fn sample() -> Window {
    let mut window = window(Vec::new());
    until(&mut window, "the sample area is assessed", |a| a.model.assessment.is_some() && !a.model.assessing);
    window
}

/// A message leaves the list its room in a low window, and stands in the column in a high one.
#[test]
fn messages_do_not_push_the_list_over_the_cautions() {
    for (height, over_the_map) in [(600.0, true), (1_000.0, false)] {
        let mut window = sample();
        window.set_size(egui::vec2(900.0, height));
        let words = "A message of some length, which takes two or three lines where the column is narrow.";
        window.state_mut().as_mut().unwrap().model.notify(NoticeLevel::Info, words);
        (0..4).for_each(|_| window.step());
        let dismiss = window.get_by_label("Dismiss").rect();
        let field = window.get_by_label_contains("Harrowmead, ").rect();
        let cautions = window.get_by_label_contains("wires cannot be seen").rect();
        assert_eq!(dismiss.left() > 340.0, over_the_map, "{dismiss:?}");
        assert!(field.top() < cautions.top(), "{field:?} {cautions:?}");
        window.get_by_label("Dismiss").click();
        (0..2).for_each(|_| window.step());
        assert!(app(&window).model.notices.is_empty());
    }
}

fn settled(window: &mut Window) {
    until(window, "the answer is up to date", |a| !a.model.assessing && a.model.opening.is_none());
}

/// Frames until hover, focus and animations have come to rest.
fn rest(window: &mut Window) {
    for _ in 0..4 {
        window.step();
    }
}

#[test]
fn first_start_shows_the_sample_area_with_three_things_to_try() {
    let mut window = sample();
    assert!(app(&window).model.area.as_ref().unwrap().is_sample);
    window.get_by_label("Sparefield");
    window.get_by_label_contains("Drag the aircraft");
    window.get_by_label_contains("not for navigation");
    window.get_by_label("Got it").click();
    rest(&mut window);
    assert!(window.query_by_label_contains("Drag the aircraft").is_none());
}

#[test]
fn a_row_opens_the_card_and_a_number_opens_to_its_working() {
    let mut window = sample();
    let first = app(&window).model.assessment.as_ref().unwrap().ranked[0].clone();
    let label = app(&window).model.area.as_ref().unwrap().fields[first.index].label().to_owned();
    window.get_by_label_contains(&format!("1. {label}")).click();
    rest(&mut window);
    assert_eq!(app(&window).model.selected, Some(first.index));
    window.get_by_label("Judged by");
    assert!(window.query_by_label_contains("Source:").is_none());
    window.get_by_label_contains("needed length:").click();
    rest(&mut window);
    window.get_by_label_contains("Source:");
    window.get_by_label("Close").click();
    rest(&mut window);
    assert_eq!(app(&window).model.selected, None);
}

#[test]
fn less_height_never_adds_fields() {
    let mut window = sample();
    let usable = |a: &App| {
        let assessment = a.model.assessment.as_ref().unwrap();
        assessment.ranked.iter().filter(|r| r.verdict != sparefield_geometry::fields::verdict::Verdict::Out).count()
    };
    let mut before = usize::MAX;
    for height in [900.0, 457.2, 250.0, 120.0] {
        window
            .state_mut()
            .as_mut()
            .unwrap()
            .push(sparefield::command::Command::SetHeight(HeightInput::AboveGround(height)));
        window.step();
        settled(&mut window);
        let now = usable(app(&window));
        assert!(now <= before, "{now} fields from {height} m, {before} from higher up");
        before = now;
    }
    assert_eq!(before, 0, "from 120 m no field has a circuit in hand");
    window.get_by_label_contains("No field passes the checks");
}

#[test]
fn undo_takes_back_a_whole_gesture() {
    use sparefield::command::Command;
    let mut window = sample();
    let start = app(&window).model.conditions.clone();
    let push = |window: &mut Window, c: Command| window.state_mut().as_mut().unwrap().push(c);
    for step in 1..=5 {
        let there = start.position + sparefield_geometry::position::Xy::new(f64::from(step) * 40.0, 0.0);
        push(&mut window, Command::MoveAircraft(there));
        window.step();
    }
    push(&mut window, Command::EndGesture);
    rest(&mut window);
    assert_ne!(app(&window).model.conditions, start);
    window.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::Z);
    rest(&mut window);
    assert_eq!(app(&window).model.conditions, start);
    window.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::Y);
    rest(&mut window);
    assert_ne!(app(&window).model.conditions, start);
}

#[test]
fn an_aircraft_outside_what_is_known_gets_a_plain_answer() {
    use sparefield::command::Command;
    let mut window = sample();
    let below = HeightInput::AboveSea(-50.0);
    window.state_mut().as_mut().unwrap().push(Command::SetHeight(below));
    window.step();
    settled(&mut window);
    window.get_by_label_contains("below the ground");
    let from = sparefield_geometry::position::Bearing::from_deg(240.0);
    window.state_mut().as_mut().unwrap().push(Command::SetHeight(HeightInput::AboveGround(500.0)));
    window.state_mut().as_mut().unwrap().push(Command::SetWind { from, speed_ms: 50.0, gust_ms: None });
    window.step();
    settled(&mut window);
    let why = app(&window).model.cannot_assess.clone();
    assert!(why.as_ref().is_some_and(|w| w.contains("makes no way against it")), "{why:?}");
    window.get_by_label_contains("as strong as the fastest glide");
}

#[test]
fn a_file_that_cannot_be_used_leaves_the_area_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let broken = folder.path().join("broken.tif");
    std::fs::write(&broken, b"II*\0 this is no image").unwrap();
    let mut window = sample();
    let revision = app(&window).model.area_revision;
    window.state_mut().as_mut().unwrap().push(sparefield::command::Command::OpenFiles(vec![broken]));
    window.step();
    settled(&mut window);
    let model = &app(&window).model;
    assert_eq!(model.area_revision, revision);
    assert!(model.area.as_ref().unwrap().is_sample);
    assert!(model.notices.iter().any(|n| n.text.contains("broken.tif")), "{:?}", model.notices);
    rest(&mut window);
    window.get_by_label_contains("broken.tif");
    window.get_by_label("Dismiss").click();
    rest(&mut window);
    assert!(app(&window).model.notices.is_empty());
}

#[test]
fn page_keys_walk_through_the_list() {
    let mut window = sample();
    let ranked: Vec<usize> = app(&window).model.assessment.as_ref().unwrap().ranked.iter().map(|r| r.index).collect();
    window.key_press(egui::Key::PageDown);
    rest(&mut window);
    assert_eq!(app(&window).model.selected, Some(ranked[0]));
    window.key_press(egui::Key::PageDown);
    rest(&mut window);
    assert_eq!(app(&window).model.selected, Some(ranked[1]));
    window.key_press(egui::Key::PageUp);
    rest(&mut window);
    assert_eq!(app(&window).model.selected, Some(ranked[0]));
    window.key_press(egui::Key::Escape);
    rest(&mut window);
    assert_eq!(app(&window).model.selected, None);
}

#[test]
fn night_colours_and_units_change_by_the_menu() {
    let mut window = sample();
    window.get_by_label("View").click();
    rest(&mut window);
    window.get_by_label("Night colours").click();
    rest(&mut window);
    assert!(app(&window).model.settings.night);
    window.get_by_label("metres").click();
    rest(&mut window);
    assert_eq!(app(&window).model.settings.units.height, sparefield_data::quantity::HeightUnit::M);
}

#[test]
fn every_control_of_the_column_has_a_label() {
    let mut window = sample();
    rest(&mut window);
    for label in ["Aircraft", "Height", "Heading", "Wind", "list fields that are out", "count the first turn"] {
        assert!(window.query_all_by_label(label).next().is_some(), "nothing is labelled “{label}”");
    }
    // The map itself is one focusable thing with a spoken description.
    let map = window.get_by_label_contains("Map");
    assert!(map.accesskit_node().bounding_box().is_some());
}

#[test]
fn layers_are_added_ordered_and_taken_away_by_label() {
    use sparefield::command::Command;
    use sparefield::model::layers::{LayerState, LayersCommand};
    use sparefield_data::imagery::GroundLayer;
    use sparefield_data::imagery::{LayerKind, LayerSpec};
    let inputs = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/imagery_reference/inputs");
    let mut window = sample();
    window.key_press(egui::Key::L);
    rest(&mut window);
    window.get_by_label("Slope").click();
    rest(&mut window);
    assert_eq!(app(&window).model.layers.ground, GroundLayer::Slope);
    window.get_by_label_contains("up to 2.86 %");
    window.get_by_label_contains("a slope is good to about");
    window.get_by_label("Height above home").click();
    rest(&mut window);
    window.get_by_label_contains("Measured from");
    for name in ["grid_27700.tif", "tiles_png.mbtiles", "no such file.tif"] {
        let spec = LayerSpec::new(&inputs.join(name), LayerKind::Imagery);
        window.state_mut().as_mut().unwrap().push(Command::Layers(LayersCommand::Add(spec)));
    }
    until(&mut window, "the layers are opened", |a| {
        a.model.layers.list.len() == 3 && a.model.layers.list.iter().all(|l| !matches!(l.state, LayerState::Opening))
    });
    rest(&mut window);
    window.get_by_label_contains("there is no such file");
    window.get_by_label("Opacity of grid_27700");
    window.get_by_label("Move grid_27700 up").click();
    rest(&mut window);
    let order = |a: &App| a.model.layers.kept().list.into_iter().map(|s| s.name).collect::<Vec<_>>();
    assert_eq!(order(app(&window)), ["tiles_png", "grid_27700", "no such file"]);
    window.get_by_label("Show grid_27700").click();
    rest(&mut window);
    assert!(!app(&window).model.layers.list[1].spec.visible);
    window.get_by_label("Remove no such file").click();
    rest(&mut window);
    assert_eq!(order(app(&window)), ["tiles_png", "grid_27700"]);
    window.key_press(egui::Key::L);
    rest(&mut window);
    assert!(window.query_by_label("Height above home").is_none());
}

#[test]
fn a_dropped_image_becomes_a_layer_and_leaves_the_area_alone() {
    let inputs = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/imagery_reference/inputs");
    let mut window = sample();
    let revision = app(&window).model.area_revision;
    let files = vec![inputs.join("rgb_jpeg_ycbcr_tiles.tif")];
    window.state_mut().as_mut().unwrap().push(sparefield::command::Command::OpenFiles(files));
    until(&mut window, "the image is a layer", |a| a.model.layers.covered());
    assert_eq!(app(&window).model.area_revision, revision);
    rest(&mut window);
    window.get_by_label("Remove rgb_jpeg_ycbcr_tiles");
}
