//! Drills in the window, driven by accessible labels, keys and pointer without a screen.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, area, opened, push, until};
use egui::Key;
use egui::accesskit::Role;
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::edits::{describe, drills};
use sparefield::model::{DrillCommand, DrillPage, Mode, PadEvent, PadReader, RehearsePage, Session, Stage, Steer};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::drill::Outcome;
use sparefield_geometry::fields::model::Surface;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

fn session(window: &Window) -> &Session {
    app(window).model.drilling.session.as_ref().unwrap()
}

fn drill(window: &mut Window, command: DrillCommand) {
    push(window, Command::Drill(command));
}

/// A window on the Drill page with a pilot's name.
fn drilling(width: f32, height: f32, pilot: &str) -> Window {
    let mut window = opened(width, height, Vec::new());
    window.get_by_label("Drill").click();
    window.run_steps(3);
    drill(&mut window, DrillCommand::Pilot(pilot.to_owned()));
    window
}

/// Starts a drill of the first set and waits until its engine stops.
fn stopped(window: &mut Window, number: u32) {
    drill(window, DrillCommand::Number(Some(number)));
    window.get_by_label("Start Space").click();
    window.step();
    until(window, "the drill is ready", |w| app(w).model.drilling.session.is_some());
    assert!(matches!(session(window).stage, Stage::Running));
    until(window, "the engine stops", |w| session(w).is_choosing());
}

fn settled(window: &mut Window) {
    window.key_press(Key::Space);
    window.step();
    until(window, "it is judged", |w| session(w).is_over());
}

#[test]
fn nothing_of_the_answer_is_seen_before_it_is_over() {
    let mut window = drilling(1280.0, 800.0, "");
    stopped(&mut window, 1);
    let failure = session(&window).prepared.rehearsal.failure().clone();
    assert!((session(&window).shown().position - failure.position).norm() < 500.0);
    for hidden in ["roomy", "workable", "spare", "circuit in hand", "score"] {
        assert!(window.query_by_label_contains(hidden).is_none(), "“{hidden}” is told while the clock runs");
    }
    window.get_by_label_contains("The engine has stopped");
    window.get_by_label_contains("Wind as told");
    // Height is lost while nothing is decided.
    let before = session(&window).shown();
    window.run_steps(8);
    let after = session(&window).shown();
    assert!(after.time_s > before.time_s && after.height_amsl_m < before.height_amsl_m, "{before:?} {after:?}");
    window.key_press(Key::Escape);
    window.run_steps(3);
    assert!(app(&window).model.drilling.session.is_none());
    assert!(area(&window).drill_results.is_empty());
}

#[test]
fn a_choice_is_changed_settled_judged_kept_and_played() {
    let mut window = drilling(1280.0, 800.0, "Rowan");
    stopped(&mut window, 2);
    window.key_press(Key::Num1);
    window.run_steps(2);
    let listed = session(&window).prepared.listed.clone();
    let fields = area(&window).fields.clone();
    assert_eq!(session(&window).field, Some(listed[0]));
    // A few seconds later the pilot thinks better of it, on the map.
    window.run_steps(10);
    let other = listed[3];
    let at = app(&window).map_view().unwrap().to_screen(fields[other].centroid());
    window.hover_at(at);
    window.run_steps(1);
    window.drag_at(at);
    window.drop_at(at);
    window.run_steps(3);
    assert_eq!(session(&window).field, Some(other), "{:?}", session(&window).refused);
    let choices = session(&window).choices.clone();
    assert_eq!(choices.last().unwrap().offer.field_id, fields[other].id);
    assert!(choices.len() >= 2 && choices[0].at_s < choices.last().unwrap().at_s);
    settled(&mut window);
    let result = session(&window).ended().unwrap().result.clone();
    assert_eq!((result.pilot.as_str(), result.number), ("Rowan", 2));
    assert_eq!(result.time_to_choose_s, Some(choices[0].at_s));
    assert_eq!(result.changes.len(), choices.len() - 1);
    window.get_by_label(&result.words());
    window.get_by_label_contains("Kept for Rowan");
    let kept = area(&window).drill_results.clone();
    assert_eq!(kept.len(), 1);
    assert_eq!(*kept[0], result);
    // The land is as it was: nothing has to be worked out again.
    window.get_by_label_contains("Play").click();
    until(&mut window, "it plays", |w| session(w).at_s > 2.0);
    drill(&mut window, DrillCommand::At(1e9));
    assert!((session(&window).at_s - session(&window).lasts_s()).abs() < 1e-9);
    window.get_by_label_contains("Done").click();
    window.run_steps(3);
    window.get_by_label("Progress").click();
    window.run_steps(3);
    window.get_by_label_contains("Rowan: ");
    window.get_by_label("What costs most");
    assert!(window.get_all_by_label("Time to choose").count() > 0, "it is plotted");
}

#[test]
fn who_chooses_nothing_glides_to_the_ground_and_is_told() {
    let mut window = drilling(900.0, 600.0, "");
    stopped(&mut window, 1);
    until(&mut window, "the ground comes up", |w| session(w).is_over());
    let ended = session(&window).ended().unwrap();
    assert_eq!(ended.result.outcome, Outcome::NothingChosen);
    assert!(ended.result.choices.is_empty());
    window.get_by_label_contains("Not kept");
    assert!(area(&window).drill_results.is_empty());
    // The same place with everything shown, in the wind that blew.
    let failure = session(&window).prepared.rehearsal.failure().clone();
    window.get_by_label("Look at it with everything shown").click();
    window.run_steps(4);
    let model = &app(&window).model;
    assert_eq!((model.mode, model.drilling.page), (Mode::Rehearse, RehearsePage::Look));
    assert!((model.conditions.position - failure.position).norm() < 1.0);
    assert!((model.conditions.wind_speed_ms - failure.true_wind.speed_ms()).abs() < 1e-9);
}

#[test]
fn sets_are_made_and_changed_and_every_step_is_undone() {
    let mut window = drilling(1280.0, 800.0, "");
    drill(&mut window, DrillCommand::Show(DrillPage::Sets));
    let before = area(&window).drill_sets.clone();
    let land = app(&window).model.land_revision;
    window.get_by_label("Copy").click();
    window.run_steps(3);
    let copied = area(&window).drill_sets.clone();
    assert_eq!(copied.len(), before.len() + 1);
    window.get_by_role_and_label(Role::TextInput, "Highest").click();
    window.run_steps(2);
    window.key_press_modifiers(egui::Modifiers::COMMAND, Key::A);
    window.run_steps(1);
    window.get_by_role_and_label(Role::TextInput, "Highest").type_text("10 ft");
    window.run_steps(1);
    window.key_press(Key::Enter);
    window.run_steps(3);
    window.get_by_label_contains("heights do not go from above the ground upwards");
    assert_eq!(area(&window).drill_sets, copied, "a set that makes no sense is not taken");
    push(&mut window, Command::Undo);
    assert_eq!(area(&window).drill_sets, before);
    assert_eq!(app(&window).model.land_revision, land, "drills are no land");
}

#[test]
fn everything_fits_into_a_small_window() {
    let mut window = drilling(900.0, 600.0, "Rowan");
    for page in DrillPage::ALL {
        drill(&mut window, DrillCommand::Show(page));
        window.run_steps(2);
    }
    drill(&mut window, DrillCommand::Show(DrillPage::Fly));
    stopped(&mut window, 3);
    window.key_press(Key::Num2);
    window.run_steps(3);
    let screen = egui::Rect::from_min_size(egui::Pos2::ZERO, egui::vec2(900.0, 600.0));
    for label in ["Settle on", "Leave the drill"] {
        let rect = window.get_by_label_contains(label).rect();
        assert!(screen.contains_rect(rect) && rect.right() <= 340.0, "{label}: {rect:?}");
    }
    assert!(session(&window).shown().position.distance(Xy::default()) > 0.0);
}

#[test]
fn an_aircraft_from_a_file_can_be_drilled_and_an_edit_of_the_land_ends_a_drill() {
    let mut window = drilling(1280.0, 800.0, "");
    let own = Aircraft { name: "Club single".into(), ..Aircraft::example_flexwing() };
    push(&mut window, Command::AddAircraft(Arc::new(own)));
    let made = drills::change_set(&area(&window), "drills-home", |s| s.aircraft = "Club single".into());
    drill(&mut window, DrillCommand::Do(Box::new(made)));
    stopped(&mut window, 1);
    assert_eq!(session(&window).prepared.rehearsal.trial().aircraft.name, "Club single");
    let id = area(&window).fields[0].id.clone();
    let made = describe::change_fields(&area(&window), &[id], "surface", |f| f.surface = Surface::Stubble);
    push(&mut window, Command::Edit(Box::new(made.unwrap())));
    assert!(app(&window).model.drilling.session.is_none());
    window.get_by_label_contains("The land was changed");
}

#[test]
fn a_set_is_handed_out_and_taken_in_and_taken_out_again() {
    let mut window = opened(1280.0, 800.0, Vec::new());
    push(&mut window, Command::Drill(DrillCommand::Page(RehearsePage::Drill)));
    push(&mut window, Command::Drill(DrillCommand::Show(DrillPage::Sets)));
    window.get_by_label("Take in…");
    window.get_by_label("Hand out…");
    let folder = tempfile::tempdir().unwrap();
    let before = area(&window).drill_sets.clone();
    let id = before[0].id.clone();
    // Without an ending it gets that of the document.
    push(&mut window, Command::Drill(DrillCommand::HandOut(id.clone(), folder.path().join("club"))));
    let path = folder.path().join("club.json");
    until(&mut window, "it is written", |w| app(w).model.notices.iter().any(|n| n.text.contains("club.json")));
    assert!(path.is_file());
    // Here it is already; in an area without it, it is taken in.
    push(&mut window, Command::Drill(DrillCommand::TakeIn(path.clone())));
    until(&mut window, "it is refused", |w| app(w).model.drilling.problem.is_some());
    assert!(app(&window).model.drilling.problem.as_ref().unwrap().contains("here already"));
    let delete = sparefield::edits::drills::delete_set(&area(&window), &id);
    push(&mut window, Command::Drill(DrillCommand::Do(Box::new(delete))));
    assert!(area(&window).drill_sets.iter().all(|s| s.id != id));
    push(&mut window, Command::Drill(DrillCommand::TakeIn(path)));
    until(&mut window, "it is taken in", |w| area(w).drill_sets.iter().any(|s| s.id == id));
    let taken = area(&window).drill_sets.iter().find(|s| s.id == id).cloned().unwrap();
    assert_eq!(taken, before[0]);
    assert_eq!(app(&window).model.drill_set().unwrap().id, id);
    let told = app(&window).model.notices.last().unwrap().text.clone();
    assert!(told.contains(&before[0].name) && told.contains("Undo"), "{told}");
    push(&mut window, Command::Undo);
    assert!(area(&window).drill_sets.iter().all(|s| s.id != id));
    // A file that is none is refused in a sentence.
    let wrong = folder.path().join("wrong.json");
    std::fs::write(&wrong, "{\"format\": 3}").unwrap();
    push(&mut window, Command::Drill(DrillCommand::TakeIn(wrong)));
    until(&mut window, "nonsense is refused", |w| {
        app(w).model.drilling.problem.as_ref().is_some_and(|p| p.contains("no document of drills"))
    });
}

#[test]
fn a_glide_flown_by_hand_is_steered_paused_and_judged() {
    let mut window = drilling(1280.0, 800.0, "Pat");
    drill(&mut window, DrillCommand::ByHand(true));
    window.step();
    stopped(&mut window, 1);
    assert!(window.query_by_label_contains("View ahead: wings level").is_some());
    assert!(window.query_by_label_contains("Settle on").is_none(), "a glide by hand is flown to its end");
    let field = session(&window).prepared.listed[0];
    drill(&mut window, DrillCommand::Choose(field));
    window.step();
    let heading = session(&window).shown().heading_rad;
    drill(&mut window, DrillCommand::Steer(Steer::BankTo(0.3)));
    window.key_press(Key::ArrowUp);
    window.run_steps(40);
    let hand = session(&window).by_hand.as_ref().unwrap();
    assert!((hand.hold.bank_rad - 0.3).abs() < 1e-9 && (hand.now().bank_rad - 0.3).abs() < 0.05);
    let glide_ms = Aircraft::example_flexwing().straight_speed_ms();
    assert!(hand.hold.level_speed_ms > glide_ms + 0.5, "{}", hand.hold.level_speed_ms);
    assert!(session(&window).shown().heading_rad != heading, "a bank turns");
    assert!(window.query_by_label_contains("to the right").is_some());
    // Nothing moves while it is paused; L levels the wings all the same.
    window.key_press(Key::Space);
    window.step();
    let before = session(&window).now_s;
    window.key_press(Key::L);
    window.run_steps(5);
    assert!((session(&window).now_s - before).abs() < 1e-9);
    assert!(session(&window).by_hand.as_ref().unwrap().hold.bank_rad.abs() < 1e-9);
    window.key_press(Key::Space);
    until(&mut window, "it is judged", |w| session(w).is_over());
    let ended = session(&window).ended().unwrap().clone();
    let measured = ended.result.by_hand.expect("it was flown by hand");
    assert!((measured.steepest_bank_rad - 0.3).abs() < 0.05 && ended.result.choices.len() == 1);
    assert!(ended.result.join.is_none() && ended.flown.track.len() > 20);
    assert!(window.query_by_label_contains("flown by you").is_some());
    assert!(app(&window).model.area.as_ref().unwrap().drill_results.iter().any(|r| r.by_hand.is_some()));
}

/// What happens at a pad that does not exist, and whether it was last asked to be read.
#[derive(Clone, Default)]
struct Scripted(std::rc::Rc<std::cell::RefCell<(Vec<PadEvent>, bool)>>);

impl PadReader for Scripted {
    fn read(&mut self, flying: bool) -> Vec<PadEvent> {
        let mut script = self.0.borrow_mut();
        script.1 = flying;
        if flying { std::mem::take(&mut script.0) } else { Vec::new() }
    }
}

impl Scripted {
    fn does(&self, window: &mut Window, events: &[PadEvent]) {
        self.0.borrow_mut().0.extend_from_slice(events);
        window.run_steps(2);
    }
    fn is_read(&self) -> bool {
        self.0.borrow().1
    }
}

#[test]
fn a_gamepad_holds_the_glide_and_may_be_plugged_in_and_out_while_it_is_flown() {
    let pad = Scripted::default();
    let mut window = drilling(900.0, 600.0, "");
    window.state_mut().as_mut().unwrap().read_pads_from(Box::new(pad.clone()));
    drill(&mut window, DrillCommand::ByHand(true));
    window.step();
    assert!(!pad.is_read(), "nothing is read while nothing is flown");
    stopped(&mut window, 1);
    window.step();
    assert!(pad.is_read());
    window.get_by_label("Gamepad: none");
    let held = |window: &Window| session(window).by_hand.as_ref().unwrap().hold;
    let before = held(&window);
    pad.does(&mut window, &[PadEvent::Plugged("Club pad".into()), PadEvent::Across(0.1), PadEvent::Along(-0.1)]);
    window.get_by_label_contains("Gamepad: Club pad. Stick: bank and speed");
    assert_eq!(held(&window), before, "a stick that only does not rest holds nothing");
    // Nothing of the controls is pushed out of the smallest window.
    let told = window.get_by_label_contains("Gamepad: Club pad").rect();
    assert!(told.bottom() <= 600.0 && told.right() <= 340.0, "{told:?}");
    pad.does(&mut window, &[PadEvent::Across(-1.0), PadEvent::AlongRight(1.0)]);
    let turned = held(&window);
    assert!(turned.bank_rad < -0.05 && turned.level_speed_ms > before.level_speed_ms + 0.1, "{turned:?}");
    // However long, no more than the aircraft can be held at.
    pad.does(&mut window, &[PadEvent::AlongRight(-1.0)]);
    window.run_steps(55);
    let (steepest, slowest, _) = session(&window).by_hand.as_ref().unwrap().limits();
    assert!((held(&window).bank_rad + steepest).abs() < 1e-9 && (held(&window).level_speed_ms - slowest).abs() < 1e-9);
    // Let go, it stays; a reading that is no number changes nothing.
    let nothing = [PadEvent::Across(f32::NAN), PadEvent::AlongRight(0.0), PadEvent::Along(f32::NAN)];
    pad.does(&mut window, &nothing);
    assert!((held(&window).bank_rad + steepest).abs() < 1e-9);
    pad.does(&mut window, &[PadEvent::Level]);
    assert!(held(&window).bank_rad.abs() < 1e-9);
    pad.does(&mut window, &[PadEvent::Pause, PadEvent::Across(1.0)]);
    let now_s = session(&window).now_s;
    window.run_steps(3);
    assert!((session(&window).now_s - now_s).abs() < 1e-9 && held(&window).bank_rad.abs() < 1e-9);
    window.get_by_label_contains("Go on");
    // Pulled out in a turn: its stick is let go, what is held stays held, and keys hold on.
    pad.does(&mut window, &[PadEvent::Pause, PadEvent::Unplugged]);
    window.get_by_label("Gamepad unplugged: keys hold the glide");
    let left = held(&window);
    window.run_steps(4);
    assert_eq!(held(&window), left);
    window.key_press(Key::ArrowUp);
    window.key_press(Key::L);
    window.run_steps(2);
    assert!(held(&window).bank_rad.abs() < 1e-9);
    pad.does(&mut window, &[PadEvent::Plugged("Another".into())]);
    window.get_by_label_contains("Gamepad: Another");
    drill(&mut window, DrillCommand::Leave);
    window.step();
    assert!(!pad.is_read(), "nothing is read once it is over");
}
