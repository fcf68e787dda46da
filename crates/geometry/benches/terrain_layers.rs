//! Slope and height classes over a thousand rows and columns, and over 100 × 100 km at 30 m.

#![allow(clippy::unwrap_used, reason = "a failed unwrap ends the bench")]

use criterion::{Criterion, criterion_group, criterion_main};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;
use sparefield_geometry::terrain_layers::{NO_CLASS, height_classes, slope_classes};
use std::hint::black_box;

fn hills(side: usize, cell_m: f64) -> Terrain {
    let frame = GridFrame { origin: Xy::default(), cell_m, cols: side, rows: side };
    let height = |i: usize| 300.0 + 80.0 * math::sin((i % side) as f64 / 40.0) * math::cos((i / side) as f64 / 57.0);
    let heights_m = (0..side * side).map(|i| height(i) as f32).collect();
    Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
}

fn layers(c: &mut Criterion) {
    const SIDE: usize = 1000;
    let terrain = hills(SIDE, 25.0);
    let classes = slope_classes(&terrain);
    assert!(classes[0] == NO_CLASS && classes[SIDE + 1] != NO_CLASS);
    assert!((0..6).all(|class| classes.contains(&class)));
    c.bench_function("slope classes, 1000 × 1000 posts", |b| b.iter(|| slope_classes(black_box(&terrain))));
    c.bench_function("height classes, 1000 × 1000 posts", |b| {
        b.iter(|| height_classes(black_box(&terrain), 300.0, black_box(&[-30.0, 0.0, 30.0])));
    });
    let wide = hills(3_334, 30.0);
    let mut group = c.benchmark_group("100 × 100 km at 30 m");
    group.sample_size(10);
    group.bench_function("slope classes", |b| b.iter(|| slope_classes(black_box(&wide))));
    group.finish();
}

criterion_group!(benches, layers);
criterion_main!(benches);
