//! The list of findings and the merge of two areas in the whole window, by label.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use sparefield::app::{App, StartWith};
use sparefield::command::Command;
use sparefield::model::{MergeCommand, MergeFiles};
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use sparefield_geometry::fields::model::{BoundaryEdge, Day, EdgeKind};
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

fn area(window: &Window) -> Arc<Area> {
    app(window).model.area.clone().unwrap()
}

fn until(window: &mut Window, what: &str, holds: impl Fn(&App) -> bool) {
    let start = Instant::now();
    while !holds(app(window)) {
        window.step();
        assert!(start.elapsed() < PATIENCE, "waited in vain until {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
    window.run_steps(3);
}

fn push(window: &mut Window, command: Command) {
    window.state_mut().as_mut().unwrap().push(command);
    window.run_steps(2);
}

/// A window with the sample area open in Annotate.
fn annotating() -> Window {
    let start = StartWith { files: Vec::new(), today: TODAY, keep_settings: false };
    let mut window = Harness::builder().with_size([1280.0, 800.0]).build_ui_state(
        move |ui, state: &mut Option<App>| {
            let app = state.get_or_insert_with(|| App::new(ui.ctx(), start.clone()).unwrap());
            app.logic(ui.ctx());
            app.draw(ui);
        },
        None,
    );
    window.step();
    until(&mut window, "the sample area opens", |a| a.model.area.is_some());
    window.get_by_label("Annotate").click();
    window.run_steps(3);
    window
}

#[test]
fn an_impossible_height_is_listed_and_mended_and_the_mend_can_be_undone() {
    let mut window = annotating();
    let before = Arc::clone(&area(&window).fields[0]);
    let mut after = (*before).clone();
    after.edges.resize(after.outer.len(), BoundaryEdge::UNKNOWN);
    after.edges[0] = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(-3.0) };
    let edit = Edit::new("lower a hedge", vec![Change::Field(Swap::replace(&before, after.clone()))]);
    push(&mut window, Command::Edit(Box::new(edit)));
    window.get_by_label("Check this area").click();
    window.step();
    until(&mut window, "the area is checked", |a| a.model.findings.of == Some(a.model.land_revision));
    window.get_by_label("1 wrong").click();
    window.run_steps(2);
    window.get_by_label_contains("Mend: ").click();
    window.run_steps(3);
    until(&mut window, "the mended area is checked", |a| a.model.findings.of == Some(a.model.land_revision));
    assert_eq!(area(&window).fields[0].edges[0].height_m, None);
    window.run_steps(3);
    window.get_by_label("0 wrong");
    window.get_by_label("Nothing wrong was found.");
    push(&mut window, Command::Undo);
    assert_eq!(*area(&window).fields[0], after);
}

#[test]
fn what_is_chosen_from_theirs_is_one_change_that_can_be_undone() {
    let mut theirs = Area::sample(&NoProgress).unwrap();
    let of = |theirs: &Area, n: usize| Arc::clone(&theirs.fields[n]);
    let (first, second) = (of(&theirs, 0), of(&theirs, 1));
    let mut renamed = (*first).clone();
    renamed.name = "Heron Ley".into();
    let changes = vec![Change::Field(Swap::replace(&first, renamed)), Change::Field(Swap::remove(&second))];
    theirs.apply(&Edit::new("their work", changes)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("theirs.gpkg");
    drop(AreaFile::create(&path, &AreaParts::of(&theirs, TerrainSource::Sample)).unwrap());

    let mut window = annotating();
    let mine = area(&window);
    let files = MergeFiles { theirs: vec![path], base: Vec::new() };
    push(&mut window, Command::Merge(MergeCommand::Compare(files)));
    until(&mut window, "the areas are compared", |a| a.model.merging.is_some());
    window.get_by_label_contains("2 differences in 2 things, 0 taken from theirs");
    window.get_by_label_contains("theirs: Heron Ley").click();
    window.run_steps(2);
    window.get_by_label_contains("2 differences in 2 things, 1 taken from theirs");
    window.get_by_label("Take these").click();
    window.run_steps(3);
    assert!(app(&window).model.merging.is_none());
    let merged = area(&window);
    assert_eq!(merged.fields[0].name, "Heron Ley");
    assert!(merged.fields.iter().any(|f| f.id == second.id), "nothing of mine is deleted unless chosen");
    push(&mut window, Command::Undo);
    assert_eq!(area(&window).fields, mine.fields);
}
