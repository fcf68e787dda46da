//! Debrief in the window, driven by accessible labels without a screen: a lesson is added, gone through, played and
//! corrected.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, area, opened, push, until};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::debrief::glide::GlideTold;
use sparefield::debrief::trends::StaleCount;
use sparefield::debrief::words;
use sparefield::model::{Debrief, DebriefCommand, Mode};
use sparefield_geometry::aircraft::{Aircraft, GlideCurve};
use sparefield_geometry::track::glide_fit::{GlideFit, GlidePoint};
use std::fmt::Write as _;
use std::sync::Arc;

fn debrief(window: &Window) -> &Debrief {
    &app(window).model.debrief
}

fn spans(window: &Window) -> Vec<(f64, f64)> {
    let made = debrief(window).made.as_ref().unwrap();
    made.sortie.exercises.iter().map(|e| (e.exercise.start_s, e.exercise.end_s)).collect()
}

/// Whether the analysis shown is of the sortie as the area has it.
fn settled(window: &Window) -> bool {
    let model = &app(window).model;
    let current = model.debrief_key();
    model.debrief.made.as_ref().is_some_and(|m| current.as_ref() == Some(&m.key))
}

/// A window in Debrief with the invented lesson looked through.
fn lesson(width: f32, height: f32) -> Window {
    let mut window = opened(width, height, Vec::new());
    window.get_by_label("Debrief").click();
    window.run_steps(3);
    window.get_by_label("Take the invented lesson").click();
    until(&mut window, "the lesson is looked through", settled);
    window
}

/// Chooses a correction.
fn correct(window: &mut Window, what: &str) {
    window.get_by_label("Correct…").click();
    window.run_steps(3);
    window.get_by_label(what).click();
    window.run_steps(2);
}

#[test]
fn a_lesson_is_added_looked_through_and_played() {
    let mut window = lesson(1280.0, 800.0);
    assert_eq!(app(&window).model.mode, Mode::Debrief);
    assert_eq!(area(&window).sorties.len(), 1);
    let made = Arc::clone(debrief(&window).made.as_ref().unwrap());
    assert!(made.sortie.exercises.len() >= 3);
    let units = app(&window).model.settings.units;
    // The first exercise stands in the card, and the cursor at its beginning.
    window.get_by_label(&words::headline(&made.sortie, &made.sortie.exercises[0], units));
    assert!((debrief(&window).at_s - spans(&window)[0].0).abs() < 1e-9);
    let second = spans(&window)[1].0;
    push(&mut window, Command::Debrief(DebriefCommand::Exercise(Some(1))));
    window.get_by_label(&words::headline(&made.sortie, &made.sortie.exercises[1], units));
    assert!((debrief(&window).at_s - second).abs() < 1e-9);
    window.get_by_label("20×").click();
    window.run_steps(2);
    window.get_by_label("Play").click();
    until(&mut window, "the flight has moved on", |w| debrief(w).at_s > second + 5.0);
    window.get_by_label("Pause").click();
    window.run_steps(3);
    let held = debrief(&window).at_s;
    window.run_steps(5);
    assert!((debrief(&window).at_s - held).abs() < 1e-9, "a paused flight stands still");
    // The end is the end.
    push(&mut window, Command::Debrief(DebriefCommand::At(1e9)));
    let (_, last) = debrief(&window).span_s();
    assert!((debrief(&window).at_s - last).abs() < 1e-9);
    for page in ["Overlaid", "Trends", "Exercise"] {
        window.get_by_label(page).click();
        window.run_steps(3);
    }
}

#[test]
fn corrections_stand_over_a_new_analysis_and_are_undone() {
    let mut window = lesson(1280.0, 800.0);
    let found = spans(&window);
    let (start, end) = found[0];
    let cut = (start + 12.0).round();
    push(&mut window, Command::Debrief(DebriefCommand::At(cut)));
    correct(&mut window, "Begins here");
    until(&mut window, "the beginning has moved", |w| settled(w) && spans(w)[0].0 == cut);
    assert_eq!(spans(&window).len(), found.len());
    assert_eq!(area(&window).sorties[0].marks.len(), 2, "what was cut off must not be found again");
    // The first exercise is the user's own now; the analysis finds the rest again as before.
    assert_eq!(debrief(&window).made.as_ref().unwrap().sortie.exercises[0].exercise.confidence, 1.0);
    assert_eq!(spans(&window)[1..], found[1..]);
    push(&mut window, Command::Debrief(DebriefCommand::At(((cut + end) / 2.0).round())));
    correct(&mut window, "Split here");
    until(&mut window, "it is two", |w| settled(w) && spans(w).len() == found.len() + 1);
    push(&mut window, Command::Debrief(DebriefCommand::Exercise(Some(0))));
    correct(&mut window, "Join with the next");
    until(&mut window, "it is one again", |w| settled(w) && spans(w).len() == found.len());
    correct(&mut window, "No exercise");
    until(&mut window, "it is gone", |w| settled(w) && spans(w).len() == found.len() - 1);
    // The same sortie opened again: the user's word still stands.
    let id = area(&window).sorties[0].id.clone();
    push(&mut window, Command::Debrief(DebriefCommand::Open(None)));
    push(&mut window, Command::Debrief(DebriefCommand::Open(Some(id))));
    until(&mut window, "it is looked through again", settled);
    assert_eq!(spans(&window).len(), found.len() - 1);
    for _ in 0..4 {
        push(&mut window, Command::Undo);
    }
    until(&mut window, "everything is as found", |w| settled(w) && spans(w) == found);
    assert!(area(&window).sorties[0].marks.is_empty());
}

#[test]
fn a_small_window_shows_everything_and_a_track_that_is_none_is_told_so() {
    let mut window = lesson(900.0, 600.0);
    for label in ["Play", "Add flights…", "Correct…"] {
        window.get_by_label(label);
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("walk.gpx");
    let mut points = String::new();
    for i in 0..60 {
        let _ = writeln!(
            points,
            "<trkpt lat=\"52.27{i:02}\" lon=\"-2.82\"><ele>1</ele><time>2026-11-21T09:00:{i:02}Z</time></trkpt>"
        );
    }
    std::fs::write(&path, format!("<gpx version=\"1.1\"><trk><trkseg>{points}</trkseg></trk></gpx>")).unwrap();
    push(&mut window, Command::Debrief(DebriefCommand::Add(vec![path])));
    until(&mut window, "the walk is refused", |w| debrief(w).refusal.is_some());
    let why = debrief(&window).refusal.clone().unwrap();
    assert!(why.contains("ground"), "{why}");
    window.get_by_label(&why);
    assert_eq!(area(&window).sorties.len(), 2, "it is kept all the same");
}

#[test]
fn a_wind_is_given_by_hand_used_and_taken_back() {
    let mut window = lesson(1280.0, 800.0);
    window.get_by_label("Sortie").click();
    window.run_steps(3);
    let told = debrief(&window).made.as_ref().unwrap().sortie.wind.surface;
    let field = window.get_by_role_and_label(egui::accesskit::Role::TextInput, "Wind you know at the surface");
    field.click();
    window.run_steps(2);
    let field = window.get_by_role_and_label(egui::accesskit::Role::TextInput, "Wind you know at the surface");
    field.type_text("090/14kt");
    window.run_steps(2);
    window.key_press(egui::Key::Enter);
    window.run_steps(2);
    until(&mut window, "the given wind is used", |w| settled(w) && area(w).sorties[0].wind.is_some());
    let made = Arc::clone(debrief(&window).made.as_ref().unwrap());
    assert_eq!(made.sortie.wind_from, sparefield::debrief::WindFrom::User);
    assert!((made.sortie.wind.surface.speed_ms() - 14.0 * 1_852.0 / 3_600.0).abs() < 1e-6);
    let used = made.sortie.wind.surface.from_bearing().unwrap();
    assert!(
        used.turn_to(sparefield_geometry::position::Bearing::from_deg(90.0)).abs() < 0.03,
        "true, not grid: {used:?}"
    );
    // Airspeeds follow from it, and what the turns tell is still said.
    assert!(made.sortie.flight.wind.bands.iter().all(|b| b.samples == 0));
    let said = words::wind(&made.sortie, app(&window).model.settings.units);
    assert!(said.contains("as you gave it") && said.contains("the turns tell"), "{said}");
    // It blows from the other side: that is said.
    let remark = words::wind_differs(&made.sortie, app(&window).model.settings.units).unwrap();
    window.get_by_label(&remark);
    window.get_by_label("Back to the wind from the turns").click();
    window.run_steps(2);
    until(&mut window, "the turns tell the wind again", |w| settled(w) && area(w).sorties[0].wind.is_none());
    assert_eq!(debrief(&window).made.as_ref().unwrap().sortie.wind.surface, told);
    push(&mut window, Command::Undo);
    until(&mut window, "the given wind is back", |w| settled(w) && area(w).sorties[0].wind.is_some());
    push(&mut window, Command::Undo);
    until(&mut window, "nothing was given", |w| settled(w) && area(w).sorties[0].wind.is_none());
    // What is no wind is told and changes nothing.
    push(&mut window, Command::Debrief(DebriefCommand::GiveWind { surface: "vrb/5".into(), aloft: String::new() }));
    assert!(area(&window).sorties[0].wind.is_none());
    assert!(app(&window).model.notices.iter().any(|n| n.text.contains("variable direction")));
}

/// Steady glides on a curve of a best speed (m/s) and ratio, with a scatter.
fn glides(speed_ms: f64, ratio: f64, scatter_ms: f64) -> GlideTold {
    let curve = GlideCurve::from_best_glide(speed_ms, ratio).unwrap();
    let points = (0..30_u32).map(|i| {
        let at = 19.0 + 0.3 * f64::from(i);
        let off = if i % 2 == 0 { scatter_ms } else { -scatter_ms };
        GlidePoint { time_s: f64::from(i), speed_ms: at, load_factor: 1.0, sink_ms: curve.sink_ms(at, 1.0) + off }
    });
    GlideTold { sorties: 1, points: points.collect(), ..GlideTold::default() }.settle()
}

/// Puts glides in the place of those that the lesson tells.
fn fly(window: &mut Window, glide: GlideTold) {
    let debrief = &mut window.state_mut().as_mut().unwrap().model.debrief;
    let made = (**debrief.made.as_ref().unwrap()).clone();
    debrief.made = Some(Arc::new(sparefield::model::DebriefMade { glide, ..made }));
    window.run_steps(3);
}

#[test]
fn a_curve_as_flown_is_taken_over_in_a_new_aircraft_and_back() {
    for (width, height) in [(1280.0, 800.0), (900.0, 600.0)] {
        let mut window = lesson(width, height);
        window.get_by_label("Glide").click();
        window.run_steps(3);
        // A flight with too few steady glides.
        let few = glides(22.0, 5.2, 0.05).points.into_iter().take(5).collect();
        fly(&mut window, GlideTold { sorties: 1, points: few, ..GlideTold::default() }.settle());
        window.get_by_label_contains("A glide curve needs 8 or more steady stretches");
        assert!(window.query_by_label("Use this curve in a new aircraft").is_none());
        let mut unsure = glides(22.0, 5.2, 0.05);
        unsure.fit = unsure.fit.map(|fit| GlideFit { best_ratio: (5.2, 0.8), ..fit });
        fly(&mut window, unsure);
        window.get_by_label_contains("is too uncertain: fly more steady glides");
        fly(&mut window, glides(22.0, 5.2, 0.05));
        window.get_by_label_contains("worse than the aircraft in use");
        let before = (*app(&window).model.conditions.aircraft).clone();
        window.get_by_label("Use this curve in a new aircraft").click_accesskit();
        window.run_steps(2);
        until(&mut window, "it is used", |w| app(w).model.conditions.aircraft.name.ends_with("as fitted 2026-11-25"));
        let model = &app(&window).model;
        let new = &model.conditions.aircraft;
        assert!((new.glide.best_glide_ratio() - 5.2).abs() < 0.1);
        assert_eq!(Aircraft { name: before.name.clone(), glide: before.glide, ..(**new).clone() }, before);
        assert!(model.hangar.contains(&before) && model.hangar.contains(new), "the one before is as it was");
        assert_eq!(model.settings.aircraft, new.name, "it is in use at the next start");
        assert!(model.notices.iter().any(|n| n.text.contains("is used from now on")));
        push(&mut window, Command::Undo);
        assert_eq!(*app(&window).model.conditions.aircraft, before);
        assert_eq!(app(&window).model.settings.aircraft, before.name);
    }
}

#[test]
fn sorties_in_one_aircraft_tell_their_glides_together() {
    let mut window = lesson(1280.0, 800.0);
    window.get_by_label("Glide").click();
    window.run_steps(3);
    window.get_by_label_contains("Say on the Sortie page what you flew in");
    push(&mut window, Command::Debrief(DebriefCommand::FlownIn("Blue".into())));
    until(&mut window, "it is looked through", settled);
    let one = debrief(&window).made.as_ref().unwrap().glide.clone();
    assert!(!one.points.is_empty());
    let other = |id: &str, aircraft: &str| {
        let sortie = (*area(&window).sorties[0]).clone();
        let sortie = sparefield_data::sortie::Sortie { id: id.into(), aircraft: aircraft.into(), ..sortie };
        sparefield_data::area::Change::Sortie(sparefield_data::area::Swap::add(sortie))
    };
    let add = vec![other("twin", "Blue"), other("stranger", "Red")];
    push(&mut window, Command::Edit(Box::new(sparefield_data::area::Edit::new("add", add))));
    window.run_steps(3);
    window.get_by_label("All 2 in Blue").click();
    window.run_steps(2);
    until(&mut window, "both are read", |w| debrief(w).glide_of_all.is_some());
    let told = app(&window).model.glide_shown().unwrap().clone();
    assert_eq!((told.sorties, told.unread), (2, 0));
    assert_eq!(told.points.len(), 2 * one.points.len());
    window.get_by_label(&told.from_words());
    // Said otherwise, they are no longer together.
    push(&mut window, Command::Debrief(DebriefCommand::FlownIn("Red".into())));
    assert_eq!(app(&window).model.glide_shown().unwrap().sorties, 1);
}

#[test]
fn measures_of_other_land_and_aircraft_are_said_and_measured_again() {
    let mut window = lesson(900.0, 600.0);
    until(&mut window, "what was measured is kept", |w| area(w).sorties[0].measures().is_some());
    window.get_by_label("Trends").click();
    window.run_steps(3);
    let stale = |w: &Window| debrief(w).trends.stale;
    until(&mut window, "what it is held against is known", |w| debrief(w).basis.is_some());
    assert_eq!(stale(&window), StaleCount::default());
    assert!(window.query_by_label("Look through them").is_none());
    // Nothing is open, so that nothing is analysed again by itself.
    push(&mut window, Command::Debrief(DebriefCommand::Open(None)));
    let field = Arc::clone(&area(&window).fields[5]);
    let mut moved = (*field).clone();
    moved.outer[0].x += 1.0;
    let swap = sparefield_data::area::Swap::replace(&field, moved);
    let edit = sparefield_data::area::Edit::new("move", vec![sparefield_data::area::Change::Field(swap)]);
    push(&mut window, Command::Edit(Box::new(edit)));
    until(&mut window, "other fields are said", |w| stale(w) == StaleCount { land: 1, any: 1, ..stale(w) });
    window.get_by_label_contains("1 sortie was measured with other fields");
    let count = debrief(&window).trends.exercises;
    assert!(count > 0, "it counts as it was measured");
    window.get_by_label("Look through them").click();
    window.run_steps(2);
    until(&mut window, "it is measured again", |w| stale(w) == StaleCount::default());
    assert_eq!(debrief(&window).trends.missing, 0);
    push(&mut window, Command::SetAircraft(1));
    until(&mut window, "another aircraft is said", |w| stale(w).held == 1);
    window.get_by_label_contains("measured with another aircraft");
    push(&mut window, Command::SetAircraft(0));
    until(&mut window, "it is the same again", |w| stale(w) == StaleCount::default());
}

#[test]
fn trends_run_over_what_is_kept_without_looking_again() {
    let mut window = lesson(900.0, 600.0);
    let made = Arc::clone(debrief(&window).made.as_ref().unwrap());
    until(&mut window, "what was measured is kept", |w| area(w).sorties[0].measures().is_some());
    // A second sortie that nobody opened: the same flight under another name.
    let twin = sparefield_data::sortie::Sortie {
        id: "twin".into(),
        pilot: "Elm".into(),
        measured: sparefield_data::sortie::Measured::default(),
        ..(*area(&window).sorties[0]).clone()
    };
    let add = sparefield_data::area::Change::Sortie(sparefield_data::area::Swap::add(twin));
    push(&mut window, Command::Edit(Box::new(sparefield_data::area::Edit::new("add", vec![add]))));
    window.get_by_label("Trends").click();
    window.run_steps(3);
    let count = made.sortie.exercises.len();
    assert_eq!((debrief(&window).trends.missing, debrief(&window).trends.exercises), (1, count));
    window.get_by_label("Look through them").click();
    window.run_steps(2);
    until(&mut window, "both are measured", |w| debrief(w).trends.exercises == 2 * count);
    assert_eq!(debrief(&window).open.as_deref(), Some("sortie-1"), "nothing was opened for it");
    let filter = |pilot: &str| sparefield::debrief::trends::Filter { pilot: Some(pilot.into()), ..Default::default() };
    push(&mut window, Command::Debrief(DebriefCommand::Filter(filter("Elm"))));
    assert_eq!(debrief(&window).trends.exercises, count);
    push(&mut window, Command::Debrief(DebriefCommand::Filter(filter("Nobody"))));
    window.get_by_label_contains("No exercise passes the filter");
    // What was measured is no edit of the user's: undoing goes on as if nothing was kept.
    push(&mut window, Command::Undo);
    until(&mut window, "the twin is gone", |w| area(w).sorties.len() == 1);
    push(&mut window, Command::Undo);
    until(&mut window, "the lesson is gone", |w| area(w).sorties.is_empty());
    window.get_by_label_contains("Trends run over every sortie");
}

#[test]
fn heights_count_from_where_the_user_says_and_what_changed_is_shown() {
    let mut window = lesson(1280.0, 800.0);
    window.get_by_label("Sortie").click();
    window.run_steps(3);
    let made = Arc::clone(debrief(&window).made.as_ref().unwrap());
    window.get_by_label_contains(&made.heights.decision.reason);
    let heights = |w: &Window| {
        let all = &debrief(w).made.as_ref().unwrap().sortie.flight.samples.all;
        all[all.len() / 2].height_amsl_m.unwrap()
    };
    let (before, decided) = (heights(&window), made.heights.decision.choice);
    let (other, shift) = (made.heights.decision.alternatives[1], made.heights.shift_m[1].unwrap());
    assert!(shift.abs() > 5.0, "the geoid is far from the ellipsoid there: {shift}");
    window.get_by_label_contains(&other.words()).click();
    window.run_steps(2);
    until(&mut window, "other heights are used", |w| settled(w) && area(w).sorties[0].heights == other);
    assert!(area(&window).sorties[0].heights_by_user);
    assert!((heights(&window) - before - shift).abs() < 2.0, "{} {before} {shift}", heights(&window));
    window.get_by_label("Back to the heights as decided").click_accesskit();
    window.run_steps(2);
    until(&mut window, "they are as decided", |w| settled(w) && area(w).sorties[0].heights == decided);
    assert!(!area(&window).sorties[0].heights_by_user);
    push(&mut window, Command::Undo);
    push(&mut window, Command::Undo);
    until(&mut window, "everything is as it was", |w| settled(w) && heights(w) == before);
    push(&mut window, Command::Debrief(DebriefCommand::Pilot("Ash".into())));
    push(&mut window, Command::Debrief(DebriefCommand::FlownIn("G-TEST".into())));
    let sortie = &area(&window).sorties[0];
    assert_eq!((sortie.pilot.as_str(), sortie.aircraft.as_str()), ("Ash", "G-TEST"));
}

#[test]
fn the_report_of_the_open_sortie_is_written_where_one_says() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lesson.html");
    let mut window = lesson(1280.0, 800.0);
    window.get_by_label("Report…").click();
    window.run_steps(4);
    // The name has the keyboard; what is suggested is replaced.
    window.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
    window.run_steps(2);
    let file = "File (.pdf to print, .png pictures, .html for a browser)";
    let field = window.get_by_role_and_label(egui::accesskit::Role::TextInput, file);
    field.type_text(&path.display().to_string());
    window.run_steps(2);
    window.get_by_label("Write the report").click();
    window.run_steps(2);
    until(&mut window, "the report is written", |w| {
        app(w).model.notices.iter().any(|n| n.text.contains("The report was written to"))
    });
    let page = std::fs::read_to_string(&path).unwrap();
    let made = debrief(&window).made.as_ref().unwrap();
    assert!(
        page.contains("What to practise next")
            && page.contains(&words::wind(&made.sortie, app(&window).model.settings.units))
    );
    assert!(window.query_by_label("Write the report").is_none());
}
