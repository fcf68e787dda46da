//! The map as a hand and a screen reader meet it: found by label, dragged, scrolled, clicked, typed at.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod scene;

use egui::{Key, Modifiers, Pos2, Rect, pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use scene::Scene;
use sparefield::theme::{Palette, Scheme, Theme, install_fonts};
use sparefield::views::map::{
    AIRCRAFT_LABEL, Camera, Loading, MAP_LABEL, MapEvent, MapState, NOSE_LABEL, View, map_view,
};
use sparefield_geometry::position::{Bearing, Xy};

struct Test {
    scene: Scene,
    state: MapState,
    theme: Theme,
    events: Vec<MapEvent>,
    follow: bool,
}

impl Test {
    fn show(&mut self, ui: &mut egui::Ui) {
        egui::CentralPanel::default().frame(egui::Frame::NONE).show(ui, |ui| {
            let events = self.scene.with_input(&self.theme, |input| map_view(ui, &mut self.state, input).events);
            for event in &events {
                match *event {
                    MapEvent::MoveAircraft(to) if self.follow => self.scene.aircraft.position = to,
                    MapEvent::TurnAircraft(to) if self.follow => self.scene.aircraft.heading = Some(to),
                    MapEvent::SelectField(field) => self.scene.selected = field,
                    _ => {}
                }
            }
            self.events.extend(events);
        });
    }
}

fn harness() -> Harness<'static, Test> {
    harness_with(Loading::Inline)
}

fn harness_with(loading: Loading) -> Harness<'static, Test> {
    let scene = Scene::new(40, 8.0, 50.0);
    let mut state = MapState::new(loading);
    state.set_camera(Camera { centre: scene.aircraft.position, metres_per_point: 6.0 });
    let theme = Theme::new(&Palette::built_in().unwrap(), Scheme::Day);
    let look = theme.clone();
    let test = Test { scene, state, theme, events: Vec::new(), follow: true };
    let mut harness = Harness::builder()
        .with_size([900.0, 700.0])
        .with_context_setup(move |ctx| {
            install_fonts(ctx);
            look.apply(ctx);
        })
        .build_ui_state(|ui, test: &mut Test| test.show(ui), test);
    harness.run_steps(2);
    harness
}

fn view(harness: &Harness<'_, Test>) -> View {
    View::new(harness.state().state.camera(), harness.get_by_label(MAP_LABEL).rect())
}

fn drag(harness: &mut Harness<'_, Test>, from: Pos2, to: Pos2) {
    harness.hover_at(from);
    harness.step();
    harness.drag_at(from);
    harness.step();
    for k in 1..=4 {
        harness.hover_at(from + (to - from) * (k as f32 / 4.0));
        harness.step();
    }
    harness.drop_at(to);
    harness.run_steps(2);
}

fn scroll(harness: &mut Harness<'_, Test>, at: Pos2, lines: f32) {
    harness.hover_at(at);
    harness.step();
    harness.event(egui::Event::MouseWheel {
        unit: egui::MouseWheelUnit::Line,
        delta: vec2(0.0, lines),
        phase: egui::TouchPhase::Move,
        source: egui::MouseWheelSource::Wheel,
        modifiers: Modifiers::NONE,
    });
    harness.run_steps(40);
}

#[test]
fn dragging_the_aircraft_moves_it_by_what_the_hand_moved_and_ends_once() {
    let mut harness = harness();
    let before = harness.state().scene.aircraft.position;
    let camera = harness.state().state.camera();
    // Taken hold of beside the middle: it must not jump.
    let from = harness.get_by_label(AIRCRAFT_LABEL).rect().center() + vec2(7.0, -4.0);
    drag(&mut harness, from, from + vec2(120.0, -80.0));
    let moved = harness.state().scene.aircraft.position - before;
    assert!((moved - Xy::new(720.0, 480.0)).norm() < 6.0, "{moved:?}");
    assert_eq!(harness.state().state.camera(), camera, "the map must not pan");
    let ends = harness.state().events.iter().filter(|e| **e == MapEvent::DropAircraftEnd).count();
    assert_eq!(ends, 1);
    assert!(!harness.state().events.iter().any(|e| matches!(e, MapEvent::SelectField(_))));
}

#[test]
fn dragging_the_nose_turns_the_aircraft() {
    let mut harness = harness();
    let nose = harness.get_by_label(NOSE_LABEL).rect().center();
    let middle = harness.get_by_label(AIRCRAFT_LABEL).rect().center();
    drag(&mut harness, nose, middle + vec2(90.0, 0.0));
    let heading = harness.state().scene.aircraft.heading.unwrap();
    assert!((heading.deg() - 90.0).abs() < 1.0, "{}", heading.deg());
    let mut acts = harness.state().events.iter().filter(|e| !matches!(e, MapEvent::HoverField(_)));
    assert_eq!(acts.next_back(), Some(&MapEvent::DropAircraftEnd));
    assert!(!harness.state().events.iter().any(|e| matches!(e, MapEvent::MoveAircraft(_))));
}

#[test]
fn dragging_the_map_pans_it() {
    let mut harness = harness();
    let place = view(&harness).to_world(pos2(100.0, 120.0));
    drag(&mut harness, pos2(100.0, 120.0), pos2(160.0, 90.0));
    let now = view(&harness).to_screen(place);
    assert!((now - pos2(160.0, 90.0)).length() < 1.0, "{now:?}");
}

#[test]
fn the_wheel_zooms_and_keeps_the_place_under_the_pointer() {
    let mut harness = harness();
    let at = pos2(222.0, 511.0);
    let (place, scale) = (view(&harness).to_world(at), view(&harness).camera.metres_per_point);
    scroll(&mut harness, at, 3.0);
    let after = view(&harness);
    assert!(after.camera.metres_per_point < 0.8 * scale, "zooming in did nothing");
    assert!((after.to_screen(place) - at).length() < 0.5);
    scroll(&mut harness, at, -6.0);
    assert!(view(&harness).camera.metres_per_point > scale);
    assert!((view(&harness).to_screen(place) - at).length() < 0.5);
}

#[test]
fn arrow_keys_pan_plus_zooms_and_home_shows_everything() {
    let mut harness = harness();
    harness.get_by_label(MAP_LABEL).focus();
    harness.run_steps(2);
    let start = view(&harness).camera;
    harness.key_press(Key::ArrowRight);
    harness.run_steps(2);
    let right = view(&harness).camera;
    assert!(right.centre.x > start.centre.x && right.centre.y == start.centre.y);
    harness.key_press(Key::ArrowUp);
    harness.run_steps(2);
    assert!(view(&harness).camera.centre.y > right.centre.y);
    assert!(harness.get_by_label(MAP_LABEL).is_focused(), "arrow keys must not carry the focus away");
    harness.key_press(Key::Plus);
    harness.run_steps(2);
    assert!(view(&harness).camera.metres_per_point < start.metres_per_point);
    harness.key_press(Key::Home);
    harness.run_steps(2);
    let (sw, ne) = harness.state().scene.terrain.frame.bounds();
    let all = view(&harness);
    assert!(all.rect.contains(all.to_screen(sw)) && all.rect.contains(all.to_screen(ne)));
}

#[test]
fn shift_arrows_nudge_the_aircraft_and_brackets_turn_it() {
    let mut harness = harness();
    harness.state_mut().scene.aircraft.heading = Some(Bearing::from_deg(302.0));
    harness.get_by_label(MAP_LABEL).focus();
    harness.run_steps(2);
    let before = harness.state().scene.aircraft.position;
    let camera = view(&harness).camera;
    harness.key_press_modifiers(Modifiers::SHIFT, Key::ArrowLeft);
    harness.run_steps(2);
    let moved = harness.state().scene.aircraft.position - before;
    assert!(moved.x < 0.0 && moved.y == 0.0, "{moved:?}");
    assert_eq!(view(&harness).camera, camera);
    harness.key_press(Key::CloseBracket);
    harness.run_steps(2);
    let heading = harness.state().scene.aircraft.heading.unwrap().deg();
    assert!((heading - 305.0).abs() < 1e-6, "{heading}");
}

#[test]
fn a_click_chooses_the_field_under_it_and_beside_a_small_one() {
    let mut harness = harness();
    let index = 0;
    let middle = view(&harness).to_screen(harness.state().scene.fields[index].centroid());
    let click = |harness: &mut Harness<'_, Test>, at: Pos2| {
        harness.hover_at(at);
        harness.step();
        harness.drag_at(at);
        harness.step();
        harness.drop_at(at);
        harness.run_steps(2);
    };
    click(&mut harness, middle);
    assert_eq!(harness.state().scene.selected, Some(index));
    assert!(harness.state().events.contains(&MapEvent::HoverField(Some(index))));

    // From far away the field is a few points wide: just beside it still counts, well beside it does not.
    let centre = harness.state().scene.fields[index].centroid();
    harness.state_mut().state.set_camera(Camera { centre: centre - Xy::new(4_000.0, 0.0), metres_per_point: 60.0 });
    harness.state_mut().scene.selected = None;
    harness.run_steps(2);
    let field = &harness.state().scene.fields[index];
    let box_ = Rect::from_points(&field.outer.iter().map(|&p| view(&harness).to_screen(p)).collect::<Vec<_>>());
    assert!(box_.width() < 8.0);
    click(&mut harness, pos2(box_.left() - 5.0, box_.center().y));
    assert_eq!(harness.state().scene.selected, Some(index));
    click(&mut harness, pos2(box_.left() - 60.0, box_.center().y));
    assert_eq!(harness.state().scene.selected, None);
}

#[test]
fn a_map_without_anything_still_draws_and_answers() {
    let mut harness = harness();
    let scene = &mut harness.state_mut().scene;
    scene.fields.clear();
    scene.hazards.clear();
    scene.lanes.clear();
    scene.quiet_zones.clear();
    (scene.ranked, scene.reach) = (None, None);
    scene.aircraft.heading = None;
    scene.revision += 1;
    harness.run_steps(2);
    assert!(harness.query_by_label(AIRCRAFT_LABEL).is_some());
    drag(&mut harness, pos2(100.0, 120.0), pos2(160.0, 90.0));
}

#[test]
fn the_worker_draws_the_relief_without_holding_up_frames() {
    let mut harness = harness_with(Loading::Background);
    // Time passes only between frames here; the bound is for a machine that is busy with everything else.
    for _ in 0..600 {
        if harness.state().state.relief_ready() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
        harness.step();
    }
    assert!(harness.state().state.relief_ready());
    scroll(&mut harness, pos2(300.0, 300.0), 2.0);
    assert!(view(&harness).camera.metres_per_point < 6.0);
}

#[test]
fn without_terrain_the_map_says_what_to_do() {
    let theme = Theme::new(&Palette::built_in().unwrap(), Scheme::Night);
    let scene = Scene::new(3, 2.0, 50.0);
    let (mut state, look) = (MapState::new(Loading::Inline), theme.clone());
    let mut harness = Harness::builder()
        .with_size([400.0, 300.0])
        .with_context_setup(move |ctx| {
            install_fonts(ctx);
            look.apply(ctx);
        })
        .build_ui(move |ui| {
            scene.with_input(&theme, |input| {
                let empty = sparefield::views::map::MapInput { terrain: None, ..*input };
                map_view(ui, &mut state, &empty);
            });
        });
    harness.run_steps(2);
    assert!(harness.query_by_label(MAP_LABEL).is_some());
}
