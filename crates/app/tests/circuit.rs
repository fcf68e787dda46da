//! Flown circuits in the window, driven by accessible labels and the pointer without a screen.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, push, started};
use egui_kittest::kittest::Queryable;
use sparefield::app::App;
use sparefield::assess::HeightInput;
use sparefield::circuits::words;
use sparefield::command::Command;
use sparefield::model::CircuitCommand;
use sparefield::not_looked_at;
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::position::Xy;

/// Frames until a press has been taken and everything stands where it will stay.
fn rest(window: &mut Window) {
    for _ in 0..5 {
        window.step();
    }
}

fn do_circuit(window: &mut Window, command: CircuitCommand) {
    push(window, Command::Circuit(command));
}

/// Runs frames until something holds of the program.
fn until(window: &mut Window, what: &str, holds: impl Fn(&App) -> bool) {
    common::until(window, what, |w| holds(app(w)));
}

/// Whether the circuits shown answer the present question, the last change of mind included.
fn flown(app: &App) -> bool {
    !app.model.assessing
        && app.model.circuits.current
        && app.model.circuits.made.as_ref().is_some_and(|m| m.has_last_change)
}

/// A window with the sample area assessed and its best field chosen.
fn sample(width: f32, height: f32) -> Window {
    let mut window = started(width, height, Vec::new());
    until(&mut window, "the sample area is assessed", |a| a.model.assessment.is_some() && !a.model.assessing);
    push(&mut window, Command::ShowFirstSteps(false));
    let first = app(&window).model.assessment.as_ref().unwrap().ranked[0].index;
    push(&mut window, Command::Select(Some(first)));
    until(&mut window, "the circuit is flown", flown);
    window
}

fn sentence(window: &Window) -> String {
    let model = &app(window).model;
    words::sentence(model.circuits.chosen().unwrap(), model.settings.units)
}

#[test]
fn choosing_a_field_shows_its_circuit() {
    let mut window = sample(1280.0, 800.0);
    window.get_by_label(&sentence(&window));
    window.get_by_label("Play");
    window.get_by_label_contains("Height above the landing place against time");
    window.get_by_label(not_looked_at::BY_CIRCUIT);
    window.get_by_label("Circuit").click();
    rest(&mut window);
    for heading in ["Height lost in each turn", "How robust it is", "Touchdown"] {
        window.get_by_label(heading);
    }
    // Every number opens to its working.
    window.get_by_label_contains("Commit height: ");
    window.get_by_label_contains("Spare height: ").click();
    rest(&mut window);
    window.get_by_label("needed by the cheapest circuit");
    window.get_by_label_contains("Source: point-mass glide");
    window.get_by_label_contains("Spare height: ").click();
    rest(&mut window);
    assert!(window.query_by_label("needed by the cheapest circuit").is_none());
    // Nothing on the page calls it safe.
    assert!(window.query_by_label_contains("safe").is_none());
    window.get_by_label("Hide circuit").click();
    rest(&mut window);
    assert!(window.query_by_label("Play").is_none() && app(&window).model.circuits.made.is_none());
    window.get_by_label("Show circuit").click();
    until(&mut window, "the circuit is flown again", flown);
    window.get_by_label("Play");
}

#[test]
fn choosing_a_hand_and_a_join_changes_the_circuit() {
    let mut window = sample(1280.0, 800.0);
    do_circuit(&mut window, CircuitCommand::InCard(true));
    window.step();
    for (label, hand, spoken) in [("Left hand", Hand::Left, "left hand"), ("Right hand", Hand::Right, "right hand")] {
        window.get_by_label(label).click();
        until(&mut window, "that hand is flown", |a| {
            flown(a) && a.model.circuits.wanted.hand == Some(hand) && a.model.circuits.chosen().is_some()
        });
        let circuit = &app(&window).model.circuits.chosen().unwrap().circuit;
        assert_eq!(circuit.plan.hand, hand);
        assert!(sentence(&window).contains(spoken), "{}", sentence(&window));
    }
    window.get_by_label("Either hand").click();
    until(&mut window, "either hand is flown", |a| flown(a) && a.model.circuits.wanted.hand.is_none());
}

#[test]
fn playing_moves_the_aircraft_along_its_track() {
    let mut window = sample(1280.0, 800.0);
    do_circuit(&mut window, CircuitCommand::Frame);
    let start = app(&window).model.conditions.clone();
    assert!(window.query_by_label_contains("Aircraft on its circuit").is_none());
    window.get_by_label("Play").click();
    until(&mut window, "some of it is flown", |a| a.model.circuits.at_s > 3.0);
    assert!(app(&window).model.circuits.playing);
    window.get_by_label_contains("Aircraft on its circuit, 0:0");
    window.get_by_label("Pause").click();
    window.step();
    window.step();
    let held = app(&window).model.circuits.at_s;
    for _ in 0..3 {
        window.step();
    }
    assert_eq!(app(&window).model.circuits.at_s, held);
    window.get_by_label("10×").click();
    window.key_press(egui::Key::Space);
    until(&mut window, "it has landed", |a| !a.model.circuits.playing && a.model.circuits.at_s > held);
    let circuits = &app(&window).model.circuits;
    assert_eq!(circuits.at_s, circuits.duration_s());
    let end = circuits.chosen().unwrap().at(circuits.at_s).unwrap();
    assert!(end.motion.position.distance(circuits.chosen().unwrap().circuit.touchdown) < 1e-6);
    // Watching a flight changes no conditions, and undo has nothing of it to take back.
    assert_eq!(app(&window).model.conditions, start);
}

#[test]
fn arrows_and_the_pointer_step_through_the_flight() {
    let mut window = sample(1280.0, 800.0);
    window.key_press(egui::Key::ArrowRight);
    window.step();
    window.step();
    assert_eq!(app(&window).model.circuits.at_s, 1.0);
    let place = window.get_by_label_contains("Height above the landing place").rect().center();
    window.hover_at(place);
    window.step();
    window.drag_at(place);
    window.step();
    window.drop_at(place);
    window.step();
    window.step();
    let circuits = &app(&window).model.circuits;
    let share = circuits.at_s / circuits.duration_s();
    assert!((0.35..0.65).contains(&share), "{share}");
    let before = circuits.at_s;
    window.key_press(egui::Key::ArrowLeft);
    window.step();
    window.step();
    assert!((app(&window).model.circuits.at_s - (before - 1.0)).abs() < 1e-9);
}

#[test]
fn two_fields_are_compared_side_by_side() {
    let mut window = sample(1280.0, 800.0);
    let second = app(&window).model.assessment.as_ref().unwrap().ranked[1].index;
    do_circuit(&mut window, CircuitCommand::InCard(true));
    do_circuit(&mut window, CircuitCommand::Beside(Some(second)));
    until(&mut window, "both are flown", |a| flown(a) && a.model.circuits.other().is_some());
    let model = &app(&window).model;
    assert_eq!(model.circuits.other().unwrap().answer.field, second);
    let name = model.area.as_ref().unwrap().fields[second].label().to_owned();
    window.get_by_label("Side by side");
    window.get_by_label(&format!("{name} (broken line)"));
    // The field compared with becomes the chosen one: nothing is compared with itself.
    push(&mut window, Command::Select(Some(second)));
    until(&mut window, "the other is flown", |a| flown(a) && a.model.circuits.other().is_none());
}

#[test]
fn a_hopeless_state_says_why_and_what_to_do() {
    let mut window = sample(1280.0, 800.0);
    push(&mut window, Command::SetHeight(HeightInput::AboveGround(60.0)));
    until(&mut window, "the answer is up to date", flown);
    let why = app(&window).model.circuits.refusal().unwrap().to_owned();
    window.get_by_label(&why);
    assert!(why.contains("more height") && why.contains("about 30°"), "{why}");
    assert!(window.query_by_label("Play").is_none());
    push(&mut window, Command::Undo);
    until(&mut window, "the circuit is back", |a| flown(a) && a.model.circuits.chosen().is_some());
}

#[test]
fn the_circuit_follows_the_aircraft() {
    let mut window = sample(1280.0, 800.0);
    let from = app(&window).model.conditions.position;
    let start = |a: &App| a.model.circuits.chosen().unwrap().circuit.track[0].motion.position;
    assert!(start(app(&window)).distance(from) < 1e-6);
    let there = from + Xy::new(120.0, -80.0);
    push(&mut window, Command::MoveAircraft(there));
    until(&mut window, "the new circuit is flown", |a| flown(a) && a.model.circuits.chosen().is_some());
    assert!(start(app(&window)).distance(there) < 1e-6);
}

/// Whether the circuit shown was also flown many times.
fn flown_many(app: &App) -> bool {
    flown(app) && app.model.circuits.many().is_some()
}

#[test]
fn the_share_that_stops_in_the_strip_is_said_and_its_touchdowns_lie_on_the_map() {
    let mut window = sample(1280.0, 800.0);
    do_circuit(&mut window, CircuitCommand::InCard(true));
    until(&mut window, "it is flown many times", flown_many);
    rest(&mut window);
    let (many, told) = app(&window).model.circuits.many().unwrap().as_ref().unwrap().clone();
    assert_eq!(many.flown.samples, 10_000);
    window.get_by_label(&told.sentence);
    window.get_by_label(not_looked_at::BY_FLIGHTS);
    // The places are those of flights that stopped in the strip and of those that did not.
    let landing = app(&window).model.circuits.chosen().unwrap().answer.landing;
    for touchdown in many.touchdowns().filter(|t| t.stopped_in_strip) {
        let along = landing.along_of(touchdown.at);
        assert!(along > -landing.aim_from_start_m && along < landing.length_m, "{along}");
    }
    assert!(many.touchdowns().any(|t| !t.stopped_in_strip));
    window.get_by_label_contains("Touchdowns. Of");
    // The box lies below the edge of the card.
    window.get_by_label("Touchdowns on the map");
    do_circuit(&mut window, CircuitCommand::Cloud(false));
    rest(&mut window);
    assert!(window.query_by_label_contains("Touchdowns. Of").is_none());
    // Without a circuit there is no share.
    push(&mut window, Command::SetHeight(HeightInput::AboveGround(60.0)));
    until(&mut window, "the answer is up to date", flown);
    rest(&mut window);
    assert!(app(&window).model.circuits.many().is_none() && window.query_by_label(&told.sentence).is_none());
}

#[test]
fn the_best_fields_of_the_list_say_how_many_flights_stop_once_nothing_moves() {
    let mut window = common::opened(1280.0, 800.0, Vec::new());
    until(&mut window, "the best fields were flown to", |a| a.model.listed_shares.is_some());
    let shares = app(&window).model.listed_shares.clone().unwrap();
    assert!(std::sync::Arc::ptr_eq(&shares.of, app(&window).model.assessment.as_ref().unwrap()));
    assert!((1..=3).contains(&shares.each.len()), "{:?}", shares.each);
    for (field, flights, share) in &shares.each {
        let ranked = shares.of.ranked.iter().find(|r| r.index == *field).unwrap();
        let label = common::area(&window).fields[*field].label().to_owned();
        window.get_by_label_contains(&format!("{}. {label}", ranked.rank));
        assert!(*flights == 2_048 && (0.0..=1.0).contains(share));
    }
    assert_eq!(window.query_all_by_label_contains("of 100 flights stop in the strip").count(), shares.each.len());
    // From elsewhere nothing is said until it was flown from there.
    let moved = app(&window).model.conditions.position + Xy::new(300.0, 0.0);
    push(&mut window, Command::MoveAircraft(moved));
    assert!(app(&window).model.listed_shares.is_none());
    until(&mut window, "they were flown to from there", |a| {
        a.model.listed_shares.as_ref().is_some_and(|now| !std::sync::Arc::ptr_eq(&now.of, &shares.of))
    });
}
