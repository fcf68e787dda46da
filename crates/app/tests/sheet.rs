//! The field sheet, driven by accessible labels without a screen.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use sparefield::app::{App, StartWith};
use sparefield::command::Command;
use sparefield::model::SheetCommand;
use sparefield::sheet::{Made, rose, words};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Bearing;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// 25 November 2026.
const TODAY: Day = Day { days_since_epoch: 20_782 };

/// How long a job may take before a test gives up on it: a guard against hanging, not a measure of speed.
const PATIENCE: Duration = Duration::from_mins(2);

type Window = Harness<'static, Option<App>>;

fn app(window: &Window) -> &App {
    window.state().as_ref().unwrap()
}

fn until(window: &mut Window, what: &str, holds: impl Fn(&App) -> bool) {
    let start = Instant::now();
    loop {
        window.step();
        if holds(app(window)) {
            window.step();
            window.step();
            return;
        }
        assert!(start.elapsed() < PATIENCE, "waited in vain until {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn push(window: &mut Window, command: Command) {
    window.state_mut().as_mut().unwrap().push(command);
    window.step();
}

/// A window of a size with the sample area assessed and its best field chosen.
fn sample(width: f32, height: f32) -> Window {
    let start = StartWith { files: Vec::new(), today: TODAY, keep_settings: false };
    let mut window = Harness::builder().with_size([width, height]).build_ui_state(
        move |ui, state: &mut Option<App>| {
            let app = state.get_or_insert_with(|| App::new(ui.ctx(), start.clone()).unwrap());
            app.logic(ui.ctx());
            app.draw(ui);
        },
        None,
    );
    until(&mut window, "the sample area is assessed", |a| a.model.assessment.is_some() && !a.model.assessing);
    let first = app(&window).model.assessment.as_ref().unwrap().ranked[0].index;
    push(&mut window, Command::Select(Some(first)));
    window.step();
    window
}

fn made(window: &Window) -> Option<Arc<Made>> {
    app(window).model.sheet.as_ref().and_then(|s| s.made.clone())
}

/// Whether what is shown answers what is now asked.
fn up_to_date(app: &App) -> bool {
    let made = app.model.sheet.as_ref().and_then(|s| s.made.clone());
    made.is_some_and(|m| app.model.sheet_ask(TODAY).is_some_and(|ask| m.ask == ask))
}

fn open(window: &mut Window) {
    push(window, Command::Sheet(SheetCommand::Open));
    until(window, "the sheet is worked out", up_to_date);
}

#[test]
fn the_card_opens_the_sheet_and_close_goes_back_to_the_map() {
    let mut window = sample(1280.0, 800.0);
    window.get_by_label("Field sheet").click();
    until(&mut window, "the sheet is worked out", up_to_date);
    let one = made(&window).unwrap().sheets[0].clone();
    let units = app(&window).model.settings.units;
    window.get_by_label(&format!("Field sheet: {}", one.field.label()));
    window.get_by_label(&words::headline(&one, units));
    window.get_by_label_contains("Rose of ");
    window.get_by_label("The field from above with its strips, north upwards");
    window.get_by_label_contains("Approach from the side");
    window.get_by_label_contains("Ground along the strip,");
    window.get_by_label("What this rests on");
    window.get_by_label_contains("Whether you can reach it is not counted");
    assert!(window.query_by_label_contains("Map, drag to pan").is_none());
    window.get_by_label("Close").click();
    window.step();
    window.step();
    assert!(app(&window).model.sheet.is_none());
    // The field stays chosen, with its card beside the map.
    assert!(app(&window).model.selected.is_some());
    window.get_by_label_contains("Map, drag to pan");
    window.get_by_label("Judged by");
}

#[test]
fn keys_open_step_and_close() {
    let mut window = sample(1280.0, 800.0);
    window.key_press(egui::Key::F);
    until(&mut window, "the sheet is worked out", up_to_date);
    let present = app(&window).model.conditions.wind_from;
    let before = rose::nearest(present);
    window.get_by_label_contains("Rose of ").focus();
    window.step();
    window.key_press(egui::Key::ArrowRight);
    until(&mut window, "the next direction is worked out", |a| {
        a.model.sheet.as_ref().unwrap().wind_from.is_some() && up_to_date(a)
    });
    let now = rose::bearing((before + 1) % 72);
    assert!(app(&window).model.sheet_wind().0.turn_to(now).abs() < 1e-9);
    let from = made(&window).unwrap().sheets[0].wind_from().unwrap();
    assert!(from.turn_to(now).abs() < 2e-3, "{} for {}", from.deg(), now.deg());
    // What is looked at is another wind; the conditions have not changed.
    assert_eq!(app(&window).model.conditions.wind_from, present);
    window.get_by_label_contains("Back to the present").click();
    until(&mut window, "the present wind is back", |a| {
        !a.model.sheet.as_ref().unwrap().has_own_wind() && up_to_date(a)
    });
    window.key_press(egui::Key::Escape);
    window.step();
    window.step();
    assert!(app(&window).model.sheet.is_none() && app(&window).model.selected.is_some());
    window.key_press(egui::Key::Escape);
    window.step();
    window.step();
    assert_eq!(app(&window).model.selected, None);
}

#[test]
fn buttons_step_the_wind_and_the_rose_tells_its_numbers() {
    let mut window = sample(1280.0, 800.0);
    open(&mut window);
    push(&mut window, Command::Sheet(SheetCommand::From(Some(Bearing::from_deg(100.0)))));
    until(&mut window, "that wind is worked out", up_to_date);
    for (label, deg) in
        [("Wind 5° clockwise", 105.0), ("Wind 5° anticlockwise", 100.0), ("Wind 5° anticlockwise", 95.0)]
    {
        window.get_by_label(label).click();
        window.step();
        until(&mut window, "the step is worked out", up_to_date);
        assert!((app(&window).model.sheet_wind().0.deg() - deg).abs() < 1e-6);
        let one = made(&window).unwrap().sheets[0].clone();
        let bar = &one.sheet.rose[rose::nearest(Bearing::from_deg(deg))];
        let said = words::bar(&one, bar, app(&window).model.settings.units);
        assert!(said.starts_with(&format!("Wind from {deg:03}°")), "{said}");
        window.get_by_label_contains(&format!("Rose of {}. {said}", one.field.label()));
    }
}

#[test]
fn a_second_field_stands_beside_the_first_at_the_same_scales() {
    let mut window = sample(1280.0, 800.0);
    open(&mut window);
    let second = {
        let model = &app(&window).model;
        let ranked = &model.assessment.as_ref().unwrap().ranked;
        model.area.as_ref().unwrap().fields[ranked[1].index].label().to_owned()
    };
    window.get_by_label("Compare with…").click();
    window.step();
    window.step();
    window.get_by_label("Name or number of the other field");
    let offered = format!("{second} · ");
    window.query_all_by_label_contains(&offered).next().unwrap().click();
    window.step();
    until(&mut window, "both sheets are worked out", |a| {
        up_to_date(a) && a.model.sheet.as_ref().unwrap().made.as_ref().unwrap().sheets.len() == 2
    });
    assert_eq!(window.query_all_by_label_contains("Rose of ").count(), 2);
    let both = made(&window).unwrap();
    let units = app(&window).model.settings.units;
    for row in words::differences(&both.sheets[0], &both.sheets[1], units) {
        window.get_by_label(&row.said);
    }
    window.get_by_label("Compare no more").click();
    window.step();
    until(&mut window, "one sheet is left", |a| {
        up_to_date(a) && a.model.sheet.as_ref().unwrap().made.as_ref().unwrap().sheets.len() == 1
    });
}

#[test]
fn another_strip_is_shown_from_the_side() {
    let mut window = sample(1280.0, 800.0);
    open(&mut window);
    let one = made(&window).unwrap().sheets[0].clone();
    let best = one.way(None).unwrap().landing.clone();
    let other = one.sheet.strips.iter().flat_map(|s| &s.ways).find(|w| w.landing != best).unwrap();
    let name = words::way_name(&one, other);
    window.get_by_label_contains(&format!("{}: ", words::sentence_start(&name))).click();
    window.step();
    window.step();
    window.get_by_label(&format!("Approach, {name}"));
    // Another wind starts again with its best strip.
    push(&mut window, Command::Sheet(SheetCommand::Step(3)));
    assert_eq!(app(&window).model.sheet.as_ref().unwrap().way, None);
}

#[test]
fn the_sheet_follows_the_choice_and_closes_with_the_area() {
    let mut window = sample(1280.0, 800.0);
    open(&mut window);
    let ranked: Vec<usize> = app(&window).model.assessment.as_ref().unwrap().ranked.iter().map(|r| r.index).collect();
    window.key_press(egui::Key::PageDown);
    until(&mut window, "the next field's sheet is worked out", |a| {
        a.model.selected == Some(ranked[1]) && up_to_date(a)
    });
    assert_eq!(made(&window).unwrap().sheets[0].index, ranked[1]);
    push(&mut window, Command::OpenSample);
    until(&mut window, "the area is opened again", |a| a.model.opening.is_none() && a.model.sheet.is_none());
    assert_eq!(app(&window).model.selected, None);
}

#[test]
fn the_page_says_what_the_window_says() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sheet.html");
    let mut window = sample(1280.0, 800.0);
    open(&mut window);
    window.get_by_label("Save as page…").click();
    window.step();
    window.step();
    window.get_by_label("Page to write");
    window.get_by_label("Cancel").click();
    window.step();
    push(&mut window, Command::Sheet(SheetCommand::SavePage(path.clone())));
    until(&mut window, "the page is written", |app| !app.model.notices.is_empty());
    let page = std::fs::read_to_string(&path).unwrap();
    let one = made(&window).unwrap().sheets[0].clone();
    let units = app(&window).model.settings.units;
    let way = one.way(None).unwrap();
    for said in [words::headline(&one, units), words::directions(&one, units), words::about(&one)] {
        assert!(page.contains(&said), "{said}");
        window.query_all_by_label(&said).next().unwrap();
    }
    for (name, value) in words::figures(&one, way, units) {
        assert!(page.contains(&format!("<td>{name}</td><td>{value}</td>")), "{name}");
        window.query_all_by_label(name).next().unwrap();
        window.query_all_by_label(&value).next().unwrap();
    }
    assert!(page.matches("<svg").count() == 4 && !page.contains("<script") && !page.contains("http://localhost"));
    assert!(app(&window).model.notices.iter().any(|n| n.text.contains("sheet.html")));
    // A folder that is not there: one sentence, and nothing is written.
    push(&mut window, Command::Sheet(SheetCommand::SavePage(folder.path().join("missing/sheet.html"))));
    until(&mut window, "the refusal is told", |app| {
        app.model.notices.iter().any(|n| n.text.contains("cannot be written"))
    });
}

#[test]
fn nothing_of_the_sheet_runs_out_of_the_window_sideways() {
    for (width, height) in [(900.0, 600.0), (1280.0, 800.0), (1920.0, 1080.0)] {
        let mut window = sample(width, height);
        open(&mut window);
        let second = app(&window).model.assessment.as_ref().unwrap().ranked[2].index;
        for beside in [None, Some(second)] {
            push(&mut window, Command::Sheet(SheetCommand::Beside(beside)));
            until(&mut window, "the sheet is worked out", up_to_date);
            let root = window.root();
            let mut seen = 0;
            for node in root.query_all(egui_kittest::kittest::by().predicate(|_| true)) {
                let Some(bounds) = node.accesskit_node().bounding_box() else { continue };
                assert!(
                    bounds.x0 >= -1.0 && bounds.x1 <= f64::from(width) + 1.0,
                    "{width}: {:?} lies at {bounds:?}",
                    node.accesskit_node().label()
                );
                seen += 1;
            }
            assert!(seen > 60, "only {seen} parts found");
        }
    }
}
