//! One frame of the map: shapes and tessellation, without the graphics card. 150 fields, rings, contours, 940 × 800.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed bench")]

#[path = "../tests/scene/mod.rs"]
mod scene;

use criterion::{Criterion, criterion_group, criterion_main};
use egui::{Context, RawInput, Rect, Vec2};
use scene::Scene;
use sparefield::theme::{Palette, Scheme, Theme, install_fonts};
use sparefield::views::map::relief::{ContourSteps, GroundLook, Pyramid, TileKey, draw_tile};
use sparefield::views::map::{Camera, Loading, MapState, map_view};
use sparefield_geometry::position::Xy;
use std::hint::black_box;
use std::sync::Arc;

struct Bench {
    ctx: Context,
    scene: Scene,
    state: MapState,
    theme: Theme,
    frame: u32,
}

impl Bench {
    fn new(fields: usize, metres_per_point: f64) -> Self {
        let theme = Theme::new(&Palette::built_in().unwrap(), Scheme::Day);
        let ctx = Context::default();
        install_fonts(&ctx);
        theme.apply(&ctx);
        let mut scene = Scene::new(fields, 22.0, 25.0);
        scene.choose(2);
        let mut state = MapState::new(Loading::Inline);
        state.set_camera(Camera { centre: scene.aircraft.position, metres_per_point });
        let mut bench = Self { ctx, scene, state, theme, frame: 0 };
        // Tiles and glyphs are made in the first frames; what is measured is the frame after.
        for _ in 0..3 {
            bench.frame(false);
        }
        bench
    }

    fn frame(&mut self, tessellate: bool) -> usize {
        self.frame += 1;
        let input = RawInput {
            screen_rect: Some(Rect::from_min_size(egui::Pos2::ZERO, Vec2::new(940.0, 800.0))),
            time: Some(f64::from(self.frame) / 60.0),
            ..RawInput::default()
        };
        let (scene, state, theme) = (&self.scene, &mut self.state, &self.theme);
        let mut output = self.ctx.run_ui(input, |ui| {
            scene.with_input(theme, |input| {
                let _ = map_view(ui, state, input);
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
}

fn frames(c: &mut Criterion) {
    let mut group = c.benchmark_group("frame");
    for (name, fields, scale) in
        [("150 fields, 8.5 m/pt", 150, 8.5), ("150 fields, 3 m/pt", 150, 3.0), ("20 000 fields, 90 m/pt", 20_000, 90.0)]
    {
        let mut still = Bench::new(fields, scale);
        group.bench_function(format!("{name}, still, shapes only"), |b| b.iter(|| black_box(still.frame(false))));
        group.bench_function(format!("{name}, still"), |b| b.iter(|| black_box(still.frame(true))));
        let mut dragged = Bench::new(fields, scale);
        group.bench_function(format!("{name}, aircraft dragged, new reach"), |b| {
            b.iter(|| {
                let step = if dragged.frame.is_multiple_of(2) { 5.0 } else { -5.0 };
                dragged.scene.aircraft.position = dragged.scene.aircraft.position + Xy::new(step, 0.0);
                // A new answer object, as the job would hand over.
                dragged.scene.reach = dragged.scene.reach.as_ref().map(|r| Arc::new(r.as_ref().clone()));
                black_box(dragged.frame(true))
            });
        });
        let mut panned = Bench::new(fields, scale);
        group.bench_function(format!("{name}, panned"), |b| {
            b.iter(|| {
                let mut camera = panned.state.camera();
                camera.centre.x += if panned.frame.is_multiple_of(2) { 3.0 } else { -3.0 };
                panned.state.set_camera(camera);
                black_box(panned.frame(true))
            });
        });
    }
    group.finish();

    let theme = Theme::new(&Palette::built_in().unwrap(), Scheme::Day);
    let scene = Scene::new(1, 22.0, 25.0);
    let pyramid = Pyramid::new(Arc::clone(&scene.terrain));
    c.bench_function("relief tile, 8 m/px", |b| {
        let key = TileKey { level: 6, east: 125, north: 1378 };
        let steps = ContourSteps::for_zoom(8.0, pyramid.steepness(), true);
        assert!(draw_tile(&pyramid, key, steps, &theme, GroundLook::default(), &[]).is_some());
        b.iter(|| draw_tile(&pyramid, black_box(key), steps, &theme, GroundLook::default(), &[]));
    });
    c.bench_function("relief pyramid, 881 x 881", |b| b.iter(|| Pyramid::new(Arc::clone(&scene.terrain))));
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20).measurement_time(std::time::Duration::from_secs(3));
    targets = frames
}
criterion_main!(benches);
