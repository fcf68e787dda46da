//! Slope classes over a thousand rows and columns.

#![allow(clippy::unwrap_used, reason = "a failed unwrap ends the bench")]

use criterion::{Criterion, criterion_group, criterion_main};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;
use sparefield_geometry::terrain_layers::{NO_CLASS, height_classes, slope_classes};
use std::hint::black_box;

fn layers(c: &mut Criterion) {
    const SIDE: usize = 1000;
    let frame = GridFrame { origin: Xy::default(), cell_m: 25.0, cols: SIDE, rows: SIDE };
    let height = |i: usize| 300.0 + 80.0 * math::sin((i % SIDE) as f64 / 40.0) * math::cos((i / SIDE) as f64 / 57.0);
    let heights_m = (0..SIDE * SIDE).map(|i| height(i) as f32).collect();
    let terrain = Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() };
    let classes = slope_classes(&terrain);
    assert!(classes[0] == NO_CLASS && classes[SIDE + 1] != NO_CLASS);
    assert!((0..6).all(|class| classes.contains(&class)));
    c.bench_function("slope classes, 1000 × 1000 posts", |b| b.iter(|| slope_classes(black_box(&terrain))));
    c.bench_function("height classes, 1000 × 1000 posts", |b| {
        b.iter(|| height_classes(black_box(&terrain), 300.0, black_box(&[-30.0, 0.0, 30.0])));
    });
}

criterion_group!(benches, layers);
criterion_main!(benches);
