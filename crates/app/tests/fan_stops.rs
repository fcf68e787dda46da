//! Fan stops at the home strip in the whole window, by label, pointer and key.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, opened, push, until};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::model::{DrillCommand, Stage};
use sparefield_geometry::drill::FanCell;

fn fan(window: &Window) -> &sparefield::model::Fan {
    &app(window).model.fan
}

fn made(window: &mut Window) {
    until(window, "the strip was flown to", |w| fan(w).working.is_none() && fan(w).made.is_some());
}

/// The page of fan stops.
fn with_page() -> Window {
    let mut window = opened(1280.0, 800.0, Vec::new());
    push(&mut window, Command::ShowFirstSteps(false));
    window.get_by_label("Drill").click();
    window.run_steps(3);
    window.get_by_label("Fan stops").click();
    window.run_steps(3);
    window
}

#[test]
fn a_cell_is_looked_at_by_key_and_drilled_and_then_counted() {
    let mut window = with_page();
    push(&mut window, Command::Drill(DrillCommand::Pilot("Robin Example".to_owned())));
    made(&mut window);
    let practised = app(&window).model.fan_practised().unwrap().clone();
    assert_eq!(Some(app(&window).model.fan_cell()), practised.next);
    window.get_by_label_contains("Nothing of it drilled yet");
    // From the one that comes next, one heading on and then up or down.
    let before = app(&window).model.fan_cell();
    window.get_by_label_contains("arrow keys go to other headings").focus();
    window.run_steps(2);
    window.key_press(egui::Key::ArrowRight);
    window.run_steps(2);
    window.key_press(egui::Key::ArrowUp);
    window.run_steps(2);
    let cell = before.moved(1, 1);
    assert_eq!(app(&window).model.fan_cell(), cell);
    window.get_by_label_contains("Not drilled yet");
    window.get_by_label("Drill this one").click();
    until(&mut window, "the drill is ready", |w| app(w).model.drilling.session.is_some());
    let session = app(&window).model.drilling.session.clone().unwrap();
    let failure = session.prepared.rehearsal.failure();
    let set = app(&window).model.fan_set().unwrap().clone();
    assert_eq!(FanCell::of(&set, failure.height_agl_m, failure.heading), Some(cell));
    // Left at once, it ends without a choice and is counted.
    let session = window.state_mut().as_mut().unwrap().model.drilling.session.as_mut().unwrap();
    session.stage = Stage::Gliding;
    push(&mut window, Command::Drill(DrillCommand::Settle));
    until(&mut window, "it is judged", |w| {
        app(w).model.drilling.session.as_ref().is_some_and(sparefield::model::Session::is_over)
    });
    // Its circuits are flown many times behind it: nothing was chosen, so there is only the best.
    until(&mut window, "it was flown many times", |w| !app(w).model.drilling.flies_many);
    let result = app(&window).model.drilling.session.clone().unwrap().ended().unwrap().result.clone();
    let known = result.robustness.expect("it was flown many times");
    assert!(known.chosen.is_none() && known.best.is_some() == result.best_at_failure.is_some());
    assert_eq!(*common::area(&window).drill_results[0], result);
    if known.best.is_some() {
        window.get_by_label_contains("flights by a pilot who is not exact");
    }
    window.get_by_label_contains("Done").click();
    window.run_steps(3);
    window.get_by_label("Fan stops").click();
    made(&mut window);
    let record = &app(&window).model.fan_practised().unwrap().records[cell.index()];
    assert_eq!((record.drills, record.stopped), (1, 0));
    window.get_by_label_contains("Drilled once, 0 of 1 stopped in the strip");
    window.get_by_label_contains("1 of 48 combinations drilled");
}

#[test]
fn another_wind_is_flown_anew_and_it_can_be_stopped() {
    let mut window = with_page();
    until(&mut window, "it is under way", |w| fan(w).working.is_some());
    window.get_by_label("Stop").click();
    window.run_steps(3);
    assert!(fan(&window).working.is_none() && fan(&window).made.is_none());
    window.get_by_label("Work it out").click();
    made(&mut window);
    let first = fan(&window).made.clone().unwrap();
    let from = app(&window).model.conditions.wind_from.reversed();
    push(&mut window, Command::SetWind { from, speed_ms: 3.0, gust_ms: None });
    until(&mut window, "the other wind was flown", |w| {
        fan(w).working.is_none() && fan(w).made.as_ref().is_some_and(|m| m.ask != first.ask)
    });
    let second = fan(&window).made.clone().unwrap();
    assert_ne!(first.stops.cells, second.stops.cells);
    // The page dialogue opens, and the page holds both tables only where somebody is named.
    window.get_by_label("Printed page…").click();
    window.run_steps(3);
    window.get_by_label("Write the page");
    let page = app(&window).model.fan_page(app(&window).model.settings.units).unwrap()().unwrap();
    let tables = page.blocks.iter().filter(|b| matches!(b, sparefield::print::Block::Table { .. }));
    assert_eq!(tables.count(), 1);
}
