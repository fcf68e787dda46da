//! Looking after what is known in the whole window, by label: forms, calendar, filter, and the check round.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{TODAY, Window, app, area, until};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::model::{AnnotateCommand, SurveyCommand, Thing};
use sparefield::survey::filter::{Filter, NotSince, SortBy};
use sparefield_geometry::fields::model::{Day, Field, Surface};
use std::sync::Arc;

fn push(window: &mut Window, command: Command) {
    window.state_mut().as_mut().unwrap().push(command);
    rest(window);
}

fn rest(window: &mut Window) {
    // Sections open over a few frames.
    for _ in 0..20 {
        window.step();
    }
}

/// A field of the sample area without a calendar, chosen.
fn choose_bare(window: &mut Window) -> String {
    let bare =
        area(window).fields.iter().find(|f| f.calendar.is_empty() && f.remarks.access.is_empty()).unwrap().id.clone();
    push(window, Command::Annotate(AnnotateCommand::Choose(vec![Thing::Field(bare.clone())])));
    bare
}

fn field(window: &Window, id: &str) -> Arc<Field> {
    area(window).fields.iter().find(|f| f.id == id).unwrap().clone()
}

#[test]
fn months_are_chosen_and_said_what_grows_and_taken_back() {
    let mut window = common::annotating(1280.0, 1400.0);
    let id = choose_bare(&mut window);
    window.get_by_label("What grows through the year").click();
    rest(&mut window);
    window.get_by_label("April: not known").click();
    rest(&mut window);
    window.get_by_label("November: not known, this month");
    window.get_by_label("To month").click();
    rest(&mut window);
    window.get_by_label("July").click();
    rest(&mut window);
    window.get_by_label("Grows in these months").click();
    rest(&mut window);
    window.query_all_by_label("tall crop").last().unwrap().click();
    rest(&mut window);
    let months = field(&window, &id).calendar.months;
    let tall = Some(Surface::TallCrop);
    assert_eq!(months[2..8], [None, tall, tall, tall, tall, None]);
    window.get_by_label("May: tall crop");
    push(&mut window, Command::Undo);
    assert!(field(&window, &id).calendar.is_empty());
}

#[test]
fn remarks_and_photographs_are_written_and_a_missing_file_is_told() {
    let mut window = common::annotating(1280.0, 1400.0);
    let id = choose_bare(&mut window);
    window.get_by_label("Remarks").click();
    rest(&mut window);
    window.get_by_label("Photographs").click();
    rest(&mut window);
    let access = window.get_by_role_and_label(egui::accesskit::Role::TextInput, "Getting out");
    access.focus();
    rest(&mut window);
    window.get_by_role_and_label(egui::accesskit::Role::TextInput, "Getting out").type_text("gate to the lane");
    rest(&mut window);
    window.get_by_label("Photograph by name").focus();
    rest(&mut window);
    assert_eq!(field(&window, &id).remarks.access, "gate to the lane");
    window.get_by_label("Photograph by name").type_text("north.jpg");
    rest(&mut window);
    window.key_press(egui::Key::Enter);
    rest(&mut window);
    assert_eq!(field(&window, &id).remarks.photographs, ["north.jpg"]);
    window.get_by_label_contains("This file is not there");
    window.get_by_label("Remove north.jpg").click();
    rest(&mut window);
    assert!(field(&window, &id).remarks.photographs.is_empty());
}

#[test]
fn stock_is_looked_for_on_a_day_of_its_own() {
    let mut window = common::annotating(1280.0, 1400.0);
    let id = choose_bare(&mut window);
    let surveyed = field(&window, &id).surveyed;
    window.get_by_label("Stock seen today").click();
    rest(&mut window);
    let now = field(&window, &id);
    assert_eq!((now.stock_seen, now.surveyed), (Some(TODAY), surveyed));
}

#[test]
fn the_filter_lists_some_fields_and_dims_the_others() {
    let mut window = common::annotating(1280.0, 1400.0);
    let all = area(&window).fields.len();
    window.get_by_label("Search fields").focus();
    rest(&mut window);
    window.get_by_label("Search fields").type_text("pasture");
    rest(&mut window);
    let shown = app(&window).model.survey.shown.order.clone();
    assert!(!shown.is_empty() && shown.len() < all);
    window.get_by_label(&format!("{} of {all} fields shown, the others faint", shown.len()));
    let hidden = (0..all).find(|i| !shown.contains(i)).unwrap();
    assert!(app(&window).model.survey.shown.hides(hidden) && !app(&window).model.survey.shown.hides(shown[0]));
    window.get_by_label("Choose all shown").click();
    rest(&mut window);
    assert_eq!(app(&window).model.annotating.fields().len(), shown.len());
    push(&mut window, Command::Annotate(AnnotateCommand::Choose(Vec::new())));
    window.get_by_label("Clear").click();
    rest(&mut window);
    assert_eq!(app(&window).model.survey.shown.order.len(), all);
}

#[test]
fn never_looked_at_comes_first_by_age() {
    let mut window = common::annotating(1280.0, 1400.0);
    let filter = Filter { sort: SortBy::Age, ..Filter::default() };
    push(&mut window, Command::Survey(SurveyCommand::SetFilter(filter)));
    let (area, shown) = (area(&window), app(&window).model.survey.shown.order.clone());
    let days: Vec<Option<Day>> = shown.iter().map(|&i| area.fields[i].surveyed).collect();
    assert!(days[0].is_none() && days.is_sorted());
}

#[test]
fn the_round_visits_what_is_shown_and_follows_what_was_looked_at() {
    let mut window = common::annotating(1280.0, 1400.0);
    let filter = Filter { not_since: NotSince::Ever, ..Filter::default() };
    push(&mut window, Command::Survey(SurveyCommand::SetFilter(filter)));
    let shown = app(&window).model.survey.shown.order.len();
    window.get_by_label("Check round…").click();
    rest(&mut window);
    let round = app(&window).model.survey.round.clone().unwrap();
    assert_eq!(round.stops.len(), shown);
    window.get_by_label_contains("in straight lines from the home strip");
    let first = round.stops[0].clone();
    window.get_by_label(&format!("1. {}", first.label)).click();
    rest(&mut window);
    assert_eq!(app(&window).model.annotating.one_field(), Some(first.id.as_str()));
    assert!(first.look_at.iter().any(|l| l.what == "Surface"));
    // It was looked at just now: the round says so.
    window.get_by_label("Looked at today").click();
    rest(&mut window);
    let round = app(&window).model.survey.round.clone().unwrap();
    let now = round.stops.iter().find(|s| s.id == first.id).unwrap();
    assert_eq!(now.surveyed, Some(TODAY));
    window.key_press(egui::Key::Escape);
    rest(&mut window);
    assert!(app(&window).model.survey.round.is_none());
}

#[test]
fn a_round_is_written_as_one_page() {
    let folder = tempfile::tempdir().unwrap();
    let mut window = common::annotating(1280.0, 1400.0);
    let filter = Filter { not_since: NotSince::Days(365), ..Filter::default() };
    push(&mut window, Command::Survey(SurveyCommand::SetFilter(filter)));
    push(&mut window, Command::Survey(SurveyCommand::MakeRound));
    let path = folder.path().join("round.html");
    push(&mut window, Command::Survey(SurveyCommand::SaveRound(path.clone())));
    until(&mut window, "the round is written", |w| {
        app(w).model.notices.iter().any(|n| n.text.contains("was written to"))
    });
    let text = std::fs::read_to_string(&path).unwrap();
    let round = app(&window).model.survey.round.clone().unwrap();
    assert_eq!(text.matches("<div class=\"together\">").count(), round.stops.len());
    assert!(text.contains("<svg") && !text.contains("http-equiv") && !text.contains("src="));
    window.get_by_label_contains("The check round was written to");
}
