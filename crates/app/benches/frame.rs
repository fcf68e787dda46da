//! One frame of the map: shapes and tessellation, without the graphics card.
//!
//! 150 fields with rings and contours as a pilot looks at them, and 20 000 fields (some 87 000 boundary sides) at the scales
//! where most is drawn: all of them as dots, all of them as outlines, as many numbers as fit.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed bench")]

#[path = "../tests/scene/mod.rs"]
mod scene;

use criterion::{Criterion, criterion_group, criterion_main};
use egui::{Context, RawInput, Rect, Vec2};
use scene::Scene;
use sparefield::theme::{Palette, Scheme, Theme, install_fonts};
use sparefield::views::map::relief::{ContourSteps, GroundLook, Pyramid, TileKey, draw_tile};
use sparefield::views::map::{Camera, Loading, MapInput, MapState, map_view};
use sparefield_geometry::position::Xy;
use std::hint::black_box;
use std::rc::Rc;
use std::sync::Arc;

/// What the map is looked at for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Look {
    /// Verdicts, numbers, strips, rings.
    Rehearse,
    /// Outlines and what nobody looked at.
    Annotate,
}

#[derive(Clone, Copy)]
struct Case {
    look: Look,
    metres_per_point: f64,
    size: Vec2,
}

const WINDOW: Vec2 = Vec2::new(940.0, 800.0);
const FULL_SCREEN: Vec2 = Vec2::new(1920.0, 1080.0);

struct Bench {
    ctx: Context,
    scene: Rc<Scene>,
    state: MapState,
    theme: Theme,
    case: Case,
    frame: u32,
}

impl Bench {
    fn new(scene: &Rc<Scene>, case: Case) -> Self {
        let theme = Theme::new(&Palette::built_in().unwrap(), Scheme::Day);
        let ctx = Context::default();
        install_fonts(&ctx);
        theme.apply(&ctx);
        let mut state = MapState::new(Loading::Inline);
        let camera = Camera { centre: scene.aircraft.position, metres_per_point: case.metres_per_point };
        state.set_camera(camera);
        let mut bench = Self { ctx, scene: Rc::clone(scene), state, theme, case, frame: 0 };
        // Tiles and glyphs are made in the first frames; what is measured is the frame after.
        for _ in 0..3 {
            bench.frame(false);
        }
        bench
    }

    fn frame(&mut self, tessellate: bool) -> usize {
        self.frame += 1;
        let input = RawInput {
            screen_rect: Some(Rect::from_min_size(egui::Pos2::ZERO, self.case.size)),
            time: Some(f64::from(self.frame) / 60.0),
            ..RawInput::default()
        };
        let (scene, state, theme, look) = (&self.scene, &mut self.state, &self.theme, self.case.look);
        let mut output = self.ctx.run_ui(input, |ui| {
            scene.with_input(theme, |input| match look {
                Look::Rehearse => drop(map_view(ui, state, input)),
                Look::Annotate => {
                    let input =
                        MapInput { ranked: None, reach: None, aircraft: None, wind: None, path: None, ..*input };
                    drop(map_view(ui, state, &input));
                }
            });
        });
        output.textures_delta.clear();
        if !tessellate {
            return output.shapes.len();
        }
        let primitives = self.ctx.tessellate(output.shapes, output.pixels_per_point);
        assert!(!primitives.is_empty());
        primitives.len()
    }

    fn pan(&mut self) -> usize {
        let mut camera = self.state.camera();
        let step = if self.frame.is_multiple_of(2) { 3.0 } else { -3.0 };
        camera.centre.x += step * camera.metres_per_point;
        self.state.set_camera(camera);
        self.frame(true)
    }

    fn zoom(&mut self) -> usize {
        let mut camera = self.state.camera();
        camera.metres_per_point *= if self.frame.is_multiple_of(2) { 1.01 } else { 1.0 / 1.01 };
        self.state.set_camera(camera);
        self.frame(true)
    }

    fn drag_aircraft(&mut self) -> usize {
        let step = if self.frame.is_multiple_of(2) { 5.0 } else { -5.0 };
        let scene = Rc::make_mut(&mut self.scene);
        scene.aircraft.position = scene.aircraft.position + Xy::new(step, 0.0);
        // A new answer object, as the job would hand over.
        scene.reach = scene.reach.as_ref().map(|r| Arc::new(r.as_ref().clone()));
        self.frame(true)
    }
}

fn frames(c: &mut Criterion) {
    let scene = |fields, km, cell_m| {
        let mut scene = Scene::new(fields, km, cell_m);
        scene.choose(2);
        Rc::new(scene)
    };
    let few = scene(150, 22.0, 25.0);
    let many = scene(20_000, 72.0, 50.0);
    let sides: usize = many.fields.iter().map(|f| f.edges.len()).sum();
    assert!(many.fields.len() == 20_000 && sides >= 50_000, "{sides} sides");
    let mut group = c.benchmark_group("frame");
    for (scene, fields, look, metres_per_point, size) in [
        (&few, "150 fields", Look::Rehearse, 8.5, WINDOW),
        (&few, "150 fields", Look::Rehearse, 3.0, WINDOW),
        (&many, "20 000 fields", Look::Rehearse, 90.0, FULL_SCREEN),
        (&many, "20 000 fields", Look::Rehearse, 52.0, FULL_SCREEN),
        (&many, "20 000 fields", Look::Rehearse, 22.0, FULL_SCREEN),
        (&many, "20 000 fields", Look::Rehearse, 8.5, FULL_SCREEN),
        (&many, "20 000 fields", Look::Annotate, 90.0, FULL_SCREEN),
        (&many, "20 000 fields", Look::Annotate, 52.0, FULL_SCREEN),
        (&many, "20 000 fields", Look::Annotate, 12.0, FULL_SCREEN),
        (&many, "20 000 fields", Look::Annotate, 8.5, FULL_SCREEN),
    ] {
        let case = Case { look, metres_per_point, size };
        let name = format!("{fields}, {look:?}, {metres_per_point} m/pt");
        let mut still = Bench::new(scene, case);
        group.bench_function(format!("{name}, still, shapes only"), |b| b.iter(|| black_box(still.frame(false))));
        group.bench_function(format!("{name}, still"), |b| b.iter(|| black_box(still.frame(true))));
        let mut panned = Bench::new(scene, case);
        group.bench_function(format!("{name}, panned"), |b| b.iter(|| black_box(panned.pan())));
        let mut zoomed = Bench::new(scene, case);
        group.bench_function(format!("{name}, zoomed"), |b| b.iter(|| black_box(zoomed.zoom())));
        if look == Look::Rehearse {
            let mut dragged = Bench::new(scene, case);
            // The copy that `drag_aircraft` changes is made once, before it is measured.
            dragged.drag_aircraft();
            group.bench_function(format!("{name}, aircraft dragged, new reach"), |b| {
                b.iter(|| black_box(dragged.drag_aircraft()));
            });
        }
    }
    group.finish();

    let theme = Theme::new(&Palette::built_in().unwrap(), Scheme::Day);
    let terrain = &few.terrain;
    let pyramid = Pyramid::new(Arc::clone(terrain));
    c.bench_function("relief tile, 8 m/px", |b| {
        let key = TileKey { level: 6, east: 125, north: 1378 };
        let steps = ContourSteps::for_zoom(8.0, pyramid.steepness(), true);
        assert!(draw_tile(&pyramid, key, steps, &theme, GroundLook::default(), &[]).is_some());
        b.iter(|| draw_tile(&pyramid, black_box(key), steps, &theme, GroundLook::default(), &[]));
    });
    c.bench_function("relief pyramid, 881 x 881", |b| b.iter(|| Pyramid::new(Arc::clone(terrain))));
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20).measurement_time(std::time::Duration::from_secs(3));
    targets = frames
}
criterion_main!(benches);
