//! The list of findings and the merge of two areas in the whole window, by label.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{app, area, push, until};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::model::{MergeCommand, MergeFiles};
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use sparefield_data::sortie::{Original, Sortie};
use sparefield_data::track::{HeightChoice, HeightSource, from_bytes};
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind};
use std::sync::Arc;

#[test]
fn an_impossible_height_is_listed_and_mended_and_the_mend_can_be_undone() {
    let mut window = common::annotating(1280.0, 800.0);
    let before = Arc::clone(&area(&window).fields[0]);
    let mut after = (*before).clone();
    after.edges.resize(after.outer.len(), BoundaryEdge::UNKNOWN);
    after.edges[0] = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(-3.0) };
    let edit = Edit::new("lower a hedge", vec![Change::Field(Swap::replace(&before, after.clone()))]);
    push(&mut window, Command::Edit(Box::new(edit)));
    window.get_by_label("Check this area").click();
    window.step();
    until(&mut window, "the area is checked", |w| app(w).model.findings.of == Some(app(w).model.land_revision));
    window.get_by_label("1 wrong").click();
    window.run_steps(2);
    window.get_by_label_contains("Mend: ").click();
    window.run_steps(3);
    until(&mut window, "the mended area is checked", |w| app(w).model.findings.of == Some(app(w).model.land_revision));
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

    let mut window = common::annotating(1280.0, 800.0);
    let mine = area(&window);
    let files = MergeFiles { theirs: vec![path], base: Vec::new() };
    push(&mut window, Command::Merge(MergeCommand::Compare(files)));
    until(&mut window, "the areas are compared", |w| app(w).model.merging.is_some());
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

#[test]
fn a_sortie_that_only_they_have_is_taken_along_and_taken_back() {
    let mut theirs = Area::sample(&NoProgress).unwrap();
    let text = b"AXXX\nHFDTE010125\nB1000005100000N00200000WA0010000100\n".to_vec();
    let name = std::path::Path::new("evening.igc");
    let recording = from_bytes(name, &text).unwrap().value.swap_remove(0);
    let none = HeightChoice::of(HeightSource::None);
    let sortie = Sortie::new("sortie-1".into(), &recording, 0, Original::new(name, text.clone()), none);
    theirs.apply(&Edit::new("record", vec![Change::Sortie(Swap::add(sortie))])).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("theirs.gpkg");
    drop(AreaFile::create(&path, &AreaParts::of(&theirs, TerrainSource::Sample)).unwrap());
    let mut window = common::annotating(900.0, 600.0);
    let files = MergeFiles { theirs: vec![path], base: Vec::new() };
    push(&mut window, Command::Merge(MergeCommand::Compare(files)));
    until(&mut window, "the areas are compared", |w| app(w).model.merging.is_some());
    window.get_by_label_contains("1 differences in 1 things, 1 taken from theirs");
    window.get_by_label_contains("theirs: evening.igc, 1 fix");
    // Looking at it leads nowhere on the map, and does no harm.
    let pair = app(&window).model.merging.as_ref().unwrap().merge.differences()[0].pair;
    push(&mut window, Command::Merge(MergeCommand::Look(pair)));
    window.get_by_label("Take these").click();
    window.run_steps(3);
    assert!(app(&window).model.merging.is_none());
    let taken = area(&window).sorties.to_vec();
    assert_eq!(**taken[0].original.held.as_ref().unwrap(), text, "with what the recorder wrote");
    push(&mut window, Command::Undo);
    assert!(area(&window).sorties.is_empty());
}
