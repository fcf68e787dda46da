//! Drawing and describing the home area in the whole window, by label, pointer and key.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{TODAY, Window, app, area};
use egui::accesskit::Role;
use egui::{Key, Modifiers, PointerButton, Pos2};
use egui_kittest::kittest::{By, Queryable};
use sparefield::command::Command;
use sparefield::model::{AnnotateCommand, Thing, Tool};
use sparefield_geometry::fields::model::{EdgeKind, Field, Stock, Surface};
use sparefield_geometry::outline::validity;
use sparefield_geometry::position::Xy;

/// Where the tests draw: a corner of the sample area without fields, metres from the middle of the terrain.
const EMPTY: Xy = Xy { x: -4_000.0, y: -6_000.0 };

fn rest(window: &mut Window) {
    for _ in 0..4 {
        window.step();
    }
}

/// Looks at a square around a place, so that one point is about a metre.
fn look_at(window: &mut Window, centre: Xy) {
    let around = Xy::new(300.0, 300.0);
    window.state_mut().as_mut().unwrap().show(centre - around, centre + around);
    rest(window);
}

/// Where a place of the area is on the screen.
fn on_screen(window: &Window, p: Xy) -> Pos2 {
    app(window).map_view().unwrap().to_screen(p)
}

fn pointer(window: &mut Window, at: Pos2) {
    window.event(egui::Event::PointerMoved(at));
    window.step();
}

fn button(window: &mut Window, at: Pos2, pressed: bool, modifiers: Modifiers) {
    window.event(egui::Event::PointerButton { pos: at, button: PointerButton::Primary, pressed, modifiers });
    window.step();
}

/// A click, long enough after the one before that the two are no double click.
fn click(window: &mut Window, p: Xy) {
    let at = on_screen(window, p);
    pointer(window, at);
    button(window, at, true, Modifiers::NONE);
    button(window, at, false, Modifiers::NONE);
    pause(window);
}

/// Frames for longer than a double click lasts.
fn pause(window: &mut Window) {
    for _ in 0..40 {
        window.step();
    }
}

fn drag(window: &mut Window, from: Xy, to: Xy) {
    let (a, b) = (on_screen(window, from), on_screen(window, to));
    pointer(window, a);
    button(window, a, true, Modifiers::NONE);
    for i in 1..=8 {
        pointer(window, a + (b - a) * (i as f32 / 8.0));
    }
    window.step();
    button(window, b, false, Modifiers::NONE);
    pause(window);
}

fn key(window: &mut Window, key: Key) {
    window.key_press(key);
    rest(window);
}

fn centre(window: &Window) -> Xy {
    area(window).centre() + EMPTY
}

/// Draws a square of 200 m with its south-west corner at a place, by pointer.
fn draw_square(window: &mut Window, at: Xy) -> Field {
    key(window, Key::D);
    assert!(matches!(app(window).model.annotating.tool, Tool::Draw(_)));
    for (x, y) in [(0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0), (0.0, 0.0)] {
        click(window, at + Xy::new(x, y));
    }
    let drawn = area(window).fields.last().unwrap().as_ref().clone();
    assert_eq!(app(window).model.annotating.one_field(), Some(drawn.id.as_str()), "what was drawn is chosen");
    drawn
}

/// Draws a field to the east of a square drawn at a place, some metres beside the corners of that one.
fn draw_beside(window: &mut Window, at: Xy) -> Field {
    key(window, Key::D);
    for (x, y) in [(204.0, 3.0), (380.0, 10.0), (380.0, 190.0), (197.0, 204.0), (204.0, 3.0)] {
        click(window, at + Xy::new(x, y));
    }
    area(window).fields.last().unwrap().as_ref().clone()
}

#[test]
fn a_field_is_drawn_measured_undone_and_drawn_again() {
    let mut window = common::annotating(1280.0, 800.0);
    let at = centre(&window);
    look_at(&mut window, at + Xy::new(100.0, 100.0));
    let before = area(&window).fields.len();
    let drawn = draw_square(&mut window, at);
    assert_eq!(area(&window).fields.len(), before + 1);
    // A click is a point of the screen, which is about a metre of the map.
    assert!((drawn.area_m2() - 40_000.0).abs() < 1_000.0, "{}", drawn.area_m2());
    assert!(validity::check(&drawn).is_ok());
    assert_eq!((drawn.surface, drawn.surveyed), (Surface::Unknown, None));
    window.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    rest(&mut window);
    assert_eq!(area(&window).fields.len(), before);
    assert!(app(&window).model.annotating.chosen.is_empty());
    window.key_press_modifiers(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
    rest(&mut window);
    assert_eq!(area(&window).fields.last().unwrap().as_ref(), &drawn);
    // Each step was left to be saved.
    assert!(app(&window).model.history.undo_words().unwrap().contains("draw a field"));
}

#[test]
fn an_outline_that_crosses_itself_is_refused_where_it_crosses() {
    let mut window = common::annotating(1280.0, 800.0);
    let at = centre(&window);
    look_at(&mut window, at + Xy::new(100.0, 100.0));
    key(&mut window, Key::D);
    for (x, y) in [(0.0, 0.0), (200.0, 0.0), (200.0, 200.0)] {
        click(&mut window, at + Xy::new(x, y));
    }
    click(&mut window, at + Xy::new(100.0, -100.0));
    assert_eq!(app(&window).model.annotating.draft.corners.len(), 3, "the fourth corner was not set");
    window.get_by_label_contains("crosses itself");
    let refused = app(&window).model.annotating.refused.clone().unwrap();
    // From (200, 200) to (100, −100) the line y = 0 is met at x = 100 + 100 / 3.
    assert!(refused.at.unwrap().distance(at + Xy::new(133.3, 0.0)) < 3.0, "{refused:?}");
    key(&mut window, Key::Escape);
    assert!(app(&window).model.annotating.draft.corners.is_empty());
}

#[test]
fn a_field_drawn_beside_another_takes_its_boundary_and_a_shared_corner_moves_both() {
    let mut window = common::annotating(1280.0, 800.0);
    let at = centre(&window);
    look_at(&mut window, at + Xy::new(200.0, 100.0));
    let first = draw_square(&mut window, at);
    let second = draw_beside(&mut window, at);
    assert_ne!(second.id, first.id);
    let shared: Vec<Xy> = second.outer.iter().copied().filter(|p| first.outer.contains(p)).collect();
    assert_eq!(shared.len(), 2, "{:?}", second.outer);
    let corner = shared[0];
    drag(&mut window, corner, corner + Xy::new(25.0, 15.0));
    let now = area(&window);
    let find = |id: &str| now.fields.iter().find(|f| f.id == id).unwrap().clone();
    assert!(!find(&first.id).outer.contains(&corner) && !find(&second.id).outer.contains(&corner));
    let still: Vec<Xy> = find(&second.id).outer.iter().copied().filter(|p| find(&first.id).outer.contains(p)).collect();
    assert_eq!(still.len(), 2, "the boundary is still one");
}

#[test]
fn what_stands_on_a_shared_side_is_said_once_for_both() {
    let mut window = common::annotating(1280.0, 800.0);
    let at = centre(&window);
    look_at(&mut window, at + Xy::new(200.0, 100.0));
    let first = draw_square(&mut window, at);
    let second = draw_beside(&mut window, at).id;
    key(&mut window, Key::S);
    assert_eq!(app(&window).model.annotating.tool, Tool::Sides);
    click(&mut window, at + Xy::new(200.0, 100.0));
    let now = area(&window);
    let hedges = |id: &str| {
        let field = now.fields.iter().find(|f| f.id == id).unwrap();
        field.edges.iter().filter(|e| e.kind == EdgeKind::Hedge).count()
    };
    assert_eq!((hedges(&first.id), hedges(&second)), (1, 1));
    window.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    rest(&mut window);
    let now = area(&window);
    assert!(
        now.fields
            .iter()
            .filter(|f| f.id == first.id || f.id == second)
            .all(|f| f.edges.iter().all(|e| e.kind == EdgeKind::Unknown))
    );
}

#[test]
fn a_field_is_cut_and_joined_and_gets_a_hole() {
    let mut window = common::annotating(1280.0, 800.0);
    let at = centre(&window);
    look_at(&mut window, at + Xy::new(100.0, 100.0));
    let whole = draw_square(&mut window, at);
    key(&mut window, Key::H);
    for (x, y) in [(30.0, 30.0), (60.0, 30.0), (60.0, 60.0), (30.0, 60.0)] {
        click(&mut window, at + Xy::new(x, y));
    }
    key(&mut window, Key::Enter);
    let with_hole = area(&window).fields.iter().find(|f| f.id == whole.id).unwrap().clone();
    assert_eq!(with_hole.holes.len(), 1);
    let before = area(&window).fields.len();
    key(&mut window, Key::C);
    for (x, y) in [(100.0, -40.0), (110.0, 240.0)] {
        click(&mut window, at + Xy::new(x, y));
    }
    key(&mut window, Key::Enter);
    let parts: Vec<_> = area(&window).fields.iter().skip(before - 1).cloned().collect();
    assert_eq!(parts.len(), 2);
    let total: f64 = parts.iter().map(|f| f.area_m2()).sum();
    assert!((total - with_hole.area_m2()).abs() < 1.0, "{total}");
    assert_eq!(parts.iter().map(|f| f.holes.len()).sum::<usize>(), 1);
    let both = parts.iter().map(|f| Thing::Field(f.id.clone())).collect();
    window.state_mut().as_mut().unwrap().push(Command::Annotate(AnnotateCommand::Choose(both)));
    rest(&mut window);
    window.get_by_label_contains("Join into one").click();
    rest(&mut window);
    assert_eq!(area(&window).fields.len(), before);
    let joined = area(&window).fields.iter().find(|f| f.id == whole.id).unwrap().area_m2();
    assert!((joined - with_hole.area_m2()).abs() < 1.0, "{joined}");
}

#[test]
fn a_corner_is_moved_and_deleted_by_keys_alone() {
    let mut window = common::annotating(1280.0, 800.0);
    let at = centre(&window);
    look_at(&mut window, at + Xy::new(100.0, 100.0));
    let drawn = draw_square(&mut window, at);
    key(&mut window, Key::N);
    let corner = app(&window).model.annotating.corner.unwrap();
    let place = drawn.outer[corner.corner];
    // The map has the keyboard since it was clicked.
    window.key_press_modifiers(Modifiers::SHIFT, Key::ArrowLeft);
    rest(&mut window);
    let moved = area(&window).fields.last().unwrap().outer[corner.corner];
    assert!(moved.distance(place - Xy::new(10.0, 0.0)) < 1e-6, "{moved:?} {place:?}");
    key(&mut window, Key::Insert);
    assert_eq!(area(&window).fields.last().unwrap().outer.len(), 5);
    key(&mut window, Key::Delete);
    assert_eq!(area(&window).fields.last().unwrap().outer.len(), 4);
    assert!(app(&window).model.annotating.corner.is_none(), "the corner is gone, the field still chosen");
    key(&mut window, Key::Delete);
    assert!(area(&window).fields.iter().all(|f| f.id != drawn.id));
}

#[test]
fn a_field_is_drawn_by_keys_alone() {
    let mut window = common::annotating(1280.0, 800.0);
    let at = centre(&window);
    look_at(&mut window, at);
    let before = area(&window).fields.len();
    window.get_by_label("Map, drag to pan, scroll to zoom, arrow keys to move").focus();
    rest(&mut window);
    key(&mut window, Key::D);
    key(&mut window, Key::Space);
    for step in [Key::ArrowRight, Key::ArrowUp, Key::ArrowLeft] {
        for _ in 0..8 {
            window.key_press(step);
            window.step();
        }
        key(&mut window, Key::Space);
    }
    key(&mut window, Key::Enter);
    assert_eq!(area(&window).fields.len(), before + 1);
    let drawn = area(&window).fields.last().unwrap().clone();
    assert_eq!(drawn.outer.len(), 4);
}

#[test]
fn wires_masts_and_quiet_zones_are_drawn_and_described() {
    let mut window = common::annotating(1280.0, 800.0);
    let at = centre(&window);
    look_at(&mut window, at + Xy::new(100.0, 100.0));
    let before = (area(&window).hazards.len(), area(&window).quiet_zones.len());
    key(&mut window, Key::W);
    for x in [0.0, 80.0, 160.0] {
        click(&mut window, at + Xy::new(x, 0.0));
    }
    key(&mut window, Key::Enter);
    key(&mut window, Key::M);
    click(&mut window, at + Xy::new(50.0, 150.0));
    key(&mut window, Key::Q);
    for (x, y) in [(100.0, 50.0), (180.0, 50.0), (140.0, 120.0), (100.0, 50.0)] {
        click(&mut window, at + Xy::new(x, y));
    }
    let now = area(&window);
    assert_eq!((now.hazards.len(), now.quiet_zones.len()), (before.0 + 2, before.1 + 1));
    // The wires can be chosen on the map, and a height typed for the line.
    click(&mut window, at + Xy::new(40.0, 0.0));
    assert!(matches!(app(&window).model.annotating.chosen.as_slice(), [Thing::Hazard(_)]));
    let height = || By::new().role(Role::TextInput).label("Height");
    window.get(height()).focus();
    window.step();
    window.get(height()).type_text("30 ft");
    key(&mut window, Key::Enter);
    let wires = area(&window).hazards[before.0].clone();
    assert!((wires.height_m.unwrap() - 9.144).abs() < 1e-9, "{wires:?}");
}

#[test]
fn several_fields_are_chosen_and_described_at_once() {
    let mut window = common::annotating(1280.0, 800.0);
    let ids: Vec<String> = area(&window).fields.iter().take(3).map(|f| f.id.clone()).collect();
    let things = ids.iter().cloned().map(Thing::Field).collect();
    window.state_mut().as_mut().unwrap().push(Command::Annotate(AnnotateCommand::Choose(things)));
    rest(&mut window);
    window.get_by_label("3 things chosen");
    window.get_by_label("Stock").click();
    rest(&mut window);
    window.get_by_label("present").click();
    rest(&mut window);
    let stock = |window: &Window| area(window).fields.iter().take(3).map(|f| f.stock).collect::<Vec<_>>();
    assert_eq!(stock(&window), [Stock::Present; 3]);
    window.get_by_label("Looked at today").click();
    rest(&mut window);
    assert!(area(&window).fields.iter().take(3).all(|f| f.surveyed == Some(TODAY)));
}

#[test]
fn suggestions_are_searched_accepted_and_refused_and_refused_ones_stay_away() {
    let mut window = common::annotating(1280.0, 800.0);
    window.get_by_label("Suggested fields…").click();
    rest(&mut window);
    let search = |window: &mut Window| {
        window.get_by_label("Search").click();
        rest(window);
        common::until(window, "the search ends", |w| app(w).model.suggesting.running.is_none());
        rest(window);
    };
    search(&mut window);
    let found = area(&window).proposals.to_vec();
    assert!(found.len() >= 2, "{} suggestions", found.len());
    assert!(found.iter().all(|p| p.field.surveyed.is_none() && !p.not_checked.is_empty()));
    let fields = area(&window).fields.len();
    let choose = |window: &mut Window, id: &str| {
        let things = vec![Thing::Proposal(id.to_owned())];
        window.state_mut().as_mut().unwrap().push(Command::Annotate(AnnotateCommand::Choose(things)));
        rest(window);
    };
    choose(&mut window, &found[0].field.id);
    window.get_by_label("Accept 1").click();
    rest(&mut window);
    assert_eq!((area(&window).fields.len(), area(&window).proposals.len()), (fields + 1, found.len() - 1));
    choose(&mut window, &found[1].field.id);
    window.get_by_label("Refuse 1").click();
    rest(&mut window);
    search(&mut window);
    let again = area(&window).proposals.to_vec();
    let open = again.iter().filter(|p| !p.refused);
    let middle = found[1].field.centroid();
    assert!(open.clone().all(|p| p.field.centroid().distance(middle) > 1.0), "what was refused is not suggested again");
    assert_eq!(again.iter().filter(|p| p.refused).count(), 1);
    // Left alone they are neither shown nor chosen, and said to be there.
    let left = open.clone().next().unwrap().field.id.clone();
    choose(&mut window, &left);
    window.get_by_label("Back to the list").click();
    rest(&mut window);
    assert!(app(&window).model.annotating.chosen.is_empty());
    window.get_by_label(&format!("Suggested fields ({} open)…", open.count()));
    // All of it can be taken back: the second search, the refusal, the acceptance, the first search.
    for _ in 0..4 {
        window.key_press_modifiers(Modifiers::COMMAND, Key::Z);
        rest(&mut window);
    }
    assert_eq!((area(&window).fields.len(), area(&window).proposals.len()), (fields, 0));
}

#[test]
fn keys_belong_to_an_open_dialogue_and_escape_closes_it() {
    let mut window = common::annotating(1280.0, 800.0);
    let first = area(&window).fields[0].id.clone();
    let things = vec![Thing::Field(first.clone())];
    window.state_mut().as_mut().unwrap().push(Command::Annotate(AnnotateCommand::Choose(things)));
    for command in [Command::ChooseImport, Command::ChooseExport, Command::ChooseCopy, Command::ChooseFiles] {
        window.state_mut().as_mut().unwrap().push(command.clone());
        rest(&mut window);
        assert!(app(&window).model.asking, "{command:?}");
        // The first Escape may only leave the line that is typed in.
        key(&mut window, Key::Escape);
        if app(&window).model.asking {
            key(&mut window, Key::Delete);
            key(&mut window, Key::D);
            key(&mut window, Key::Escape);
        }
        assert!(!app(&window).model.asking, "{command:?} stays open");
    }
    assert!(area(&window).fields.iter().any(|f| f.id == first), "nothing was deleted under the dialogue");
    assert_eq!(app(&window).model.annotating.tool, Tool::Choose);
    assert_eq!(app(&window).model.annotating.one_field(), Some(first.as_str()));
}
