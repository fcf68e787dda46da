//! Climb-outs in the whole window, by label, pointer and key.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, opened, push, until};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::model::{ClimbOutCommand, ClimbOuts, CoverCommand, DrillCommand, Mode, RehearsePage};
use sparefield_geometry::climb_out::ADVICE;
use std::sync::{Mutex, MutexGuard, PoisonError};

fn climb_outs(window: &Window) -> &ClimbOuts {
    &app(window).model.climb_outs
}

/// Flying climb-outs takes every core there is: windows do it one after the other, so that none waits for the others.
fn alone() -> MutexGuard<'static, ()> {
    static ALONE: Mutex<()> = Mutex::new(());
    // A test that failed leaves nothing behind that another could find.
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Runs frames until the height asked about is the one shown.
fn settled(window: &mut Window) {
    until(window, "the height is looked at", |w| {
        let now = climb_outs(w);
        let of = |at: &sparefield::model::ClimbOutsAt| {
            now.made.as_ref().is_some_and(|made| std::sync::Arc::ptr_eq(made, &at.of))
                && at.height_m.total_cmp(&now.height_m).is_eq()
        };
        now.working.is_none() && now.at.as_ref().is_some_and(|at| of(at))
    });
}

/// The page of climb-outs off the sample area's strip, in calm air.
fn with_page(width: f32, height: f32) -> Window {
    let mut window = opened(width, height, Vec::new());
    push(&mut window, Command::ShowFirstSteps(false));
    let from = app(&window).model.conditions.wind_from;
    push(&mut window, Command::SetWind { from, speed_ms: 0.0, gust_ms: None });
    window.get_by_label("Climb-out").click();
    settled(&mut window);
    window
}

#[test]
fn every_end_and_any_height_is_told_and_the_table_chooses_too() {
    let _alone = alone();
    let mut window = with_page(1280.0, 900.0);
    let made = climb_outs(&window).made.clone().unwrap();
    let home = app(&window).model.area.as_ref().unwrap().home.clone().unwrap();
    assert_eq!(made.ends.len(), home.ends.len());
    // Every end is told, by its own climb-out.
    for (i, end) in home.ends.iter().enumerate() {
        window.get_by_label(&end.name).click();
        window.run_steps(3);
        assert_eq!(app(&window).model.climb_out_end(), Some(i));
        window.get_by_label_contains(&format!("above runway {}", end.name));
        assert_eq!(made.ends[i].as_ref().unwrap().name, end.name);
    }
    // Raised by arrow key, and nothing of the climb-outs is flown anew.
    window.get_by_label("Height above the runway that is asked about").focus();
    window.run_steps(2);
    for _ in 0..2 {
        window.key_press(egui::Key::ArrowRight);
        window.run_steps(2);
    }
    let height = climb_outs(&window).height_m;
    assert!((height - 600.0 * 0.304_8).abs() < 1.0, "{height}");
    settled(&mut window);
    assert!(std::sync::Arc::ptr_eq(&made, climb_outs(&window).made.as_ref().unwrap()));
    // A height between two rows of the table is looked at as it is.
    push(&mut window, Command::ClimbOut(ClimbOutCommand::Height(400.0)));
    settled(&mut window);
    let (answer, at) = app(&window).model.climb_out_at().unwrap();
    assert!((at.step.height_m - 400.0).abs() < 1e-9);
    assert_eq!(at.step, answer.at(400.0, &|| false).unwrap().step);
    assert!(!at.glides.is_empty());
    // Heights that nobody looks at are brought within bounds; nonsense changes nothing that is not a height.
    for (asked, taken) in [(9_999.0, 457.2), (-5.0, 15.24), (f64::NAN, 15.24)] {
        push(&mut window, Command::ClimbOut(ClimbOutCommand::Height(asked)));
        assert!((climb_outs(&window).height_m - taken).abs() < 1e-9, "{asked}");
    }
    // A row of the table is a height.
    let answer = app(&window).model.climb_out().unwrap().as_ref().unwrap();
    let row = answer.flown.steps[5].height_m;
    let words = app(&window).model.settings.units.format_height(row);
    window.get_by_role_and_label(egui::accesskit::Role::Button, &words).click_accesskit();
    window.run_steps(3);
    assert!((climb_outs(&window).height_m - row).abs() < 1e-9);
    // The plain advice stands beside it, word by word.
    for advice in ADVICE {
        window.get_by_label_contains(advice.words);
    }
    window.get_by_label_contains("Nothing is said about traffic");
}

#[test]
fn another_wind_flies_them_anew_and_leaving_the_page_stops_them() {
    let _alone = alone();
    let mut window = with_page(900.0, 600.0);
    let calm = climb_outs(&window).made.clone().unwrap();
    let from = app(&window).model.conditions.wind_from;
    push(&mut window, Command::SetWind { from, speed_ms: 6.0, gust_ms: None });
    until(&mut window, "they are flown", |w| climb_outs(w).working.is_some());
    // The last answer stays until then, and is said to be older.
    window.get_by_label_contains("below stands the last answer");
    push(&mut window, Command::Drill(DrillCommand::Page(RehearsePage::Look)));
    until(&mut window, "nothing is flown", |w| climb_outs(w).working.is_none());
    assert!(std::sync::Arc::ptr_eq(&calm, climb_outs(&window).made.as_ref().unwrap()));
    assert!(!app(&window).model.shows_climb_outs());
    push(&mut window, Command::Drill(DrillCommand::Page(RehearsePage::ClimbOut)));
    settled(&mut window);
    let windy = climb_outs(&window).made.clone().unwrap();
    assert_ne!(calm.ask, windy.ask);
}

#[test]
fn the_options_map_draws_them_where_that_is_wanted() {
    let _alone = alone();
    let mut window = opened(1280.0, 900.0, Vec::new());
    push(&mut window, Command::ShowFirstSteps(false));
    push(&mut window, Command::Cover(CoverCommand::ShowPanel(true)));
    until(&mut window, "the options map is made", |w| app(w).model.cover.shade_is_current());
    assert!(!app(&window).model.shows_climb_outs() && climb_outs(&window).made.is_none());
    window.get_by_label("Climb-outs off the home strip").click_accesskit();
    settled(&mut window);
    assert!(app(&window).model.shows_climb_outs());
    let ends = climb_outs(&window).at.as_ref().unwrap().ends.len();
    assert_eq!(ends, 2);
    // Where no options map is drawn, no climb-out is.
    push(&mut window, Command::SetMode(Mode::Debrief));
    assert!(!app(&window).model.shows_climb_outs());
}

#[test]
fn the_page_is_written_from_the_window() {
    let _alone = alone();
    let mut window = with_page(1280.0, 900.0);
    window.get_by_label("Printed page…").click_accesskit();
    window.run_steps(3);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("out.html");
    let edit = window.get_by_label("File (.pdf to print, .png pictures, .html for a browser)");
    edit.focus();
    window.run_steps(2);
    window.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
    window.run_steps(2);
    window.event(egui::Event::Text(path.display().to_string()));
    window.run_steps(2);
    window.get_by_label("Write the page").click();
    until(&mut window, "the page is written", |w| {
        app(w).model.notices.iter().any(|n| n.text.contains("The climb-out was written to"))
    });
    let text = std::fs::read_to_string(&path).unwrap();
    assert!(text.contains("Climb-out from") && text.contains("Not looked at"));
    assert!(ADVICE.iter().all(|a| text.contains(&a.words[..20])), "the advice is on the page");
}
