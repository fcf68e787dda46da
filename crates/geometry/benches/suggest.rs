//! Speed of suggesting fields: 3000 × 3000 cells of hill country with a patchwork of uses.

#![allow(missing_docs, reason = "criterion_group! makes a public function")]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use sparefield_geometry::grid::{GridFrame, SurfaceKind, Terrain, TerrainAccuracy};
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;
use sparefield_geometry::suggest::{
    ClassTable, CoverClass, CoverUse, LandCover, Options, Scene, Standing, boundary_heights, suggest,
};

const SIDE: usize = 3_000;
const CELL_M: f64 = 10.0;

fn frame() -> GridFrame {
    GridFrame { origin: Xy::new(0.0, 0.0), cell_m: CELL_M, cols: SIDE, rows: SIDE }
}

/// Waves of several lengths: slopes from level to some 15 %.
fn hills() -> Terrain {
    let frame = frame();
    let height = |p: Xy| {
        let wave = |length_m: f64, high_m: f64, turn: f64| {
            let (s, c) = math::sin_cos(turn);
            high_m * math::sin((p.x * c + p.y * s) * math::TAU / length_m)
        };
        200.0 + wave(9_000.0, 80.0, 0.3) + wave(3_100.0, 25.0, 1.9) + wave(900.0, 4.0, 1.1) + wave(170.0, 0.2, 2.4)
    };
    let heights_m = (0..frame.len()).map(|i| height(frame.centre(i / SIDE, i % SIDE)) as f32).collect();
    Terrain { frame, heights_m, accuracy: TerrainAccuracy { point_to_point_m: 0.5, kind: SurfaceKind::BareGround } }
}

/// Parcels of about 350 × 250 m in crop or grass, woods, and hedges of trees one cell wide between some.
fn patchwork() -> LandCover {
    let frame = frame();
    let mixed = |a: i64, b: i64| ((a * 7_919 + b * 104_729).wrapping_mul(2_654_435_761) >> 8).rem_euclid(100);
    let class = |p: Xy| {
        let (x, y) = (p.x + 0.2 * p.y, p.y - 0.2 * p.x);
        let (i, j) = ((x / 350.0).floor(), (y / 250.0).floor());
        let hedge = (x - i * 350.0 < 12.0 && mixed(i as i64, j as i64 + 50) < 60)
            || (y - j * 250.0 < 12.0 && mixed(i as i64 + 50, j as i64) < 60);
        match mixed(i as i64, j as i64) {
            _ if hedge => 10,
            0..30 => 10,
            30..65 => 30,
            _ => 40,
        }
    };
    let classes = (0..frame.len()).map(|i| class(frame.centre(i / SIDE, i % SIDE))).collect();
    let named = |name: &str, used, right| CoverClass { name: name.into(), used, right: Some(right) };
    let table = ClassTable {
        classes: [
            (10, named("trees", CoverUse::Trees, 0.81)),
            (30, named("grass", CoverUse::OpenGrass, 0.34)),
            (40, named("crop", CoverUse::Crop, 0.78)),
        ]
        .into(),
    };
    LandCover { frame, classes, table }
}

fn benches(c: &mut Criterion) {
    let (land, cover) = (hills(), patchwork());
    let options = Options { needed_m: 250.0, cell_m: Some(CELL_M), most: 100_000, ..Options::default() };
    let bare = Scene { terrain: &land, cover: None, standing: None, fields: &[], barriers: &[] };
    let covered = Scene { cover: Some(&cover), ..bare };
    let mut group = c.benchmark_group("suggest");
    group.sample_size(10).throughput(Throughput::Elements((SIDE * SIDE) as u64));
    for (name, scene) in [("terrain and land cover, 3000 × 3000", covered), ("terrain alone, 3000 × 3000", bare)] {
        let found = suggest(&scene, &options, &|_| {}, &|| false).map(|s| s.proposals.len());
        assert!(found.is_ok_and(|n| n > 300), "the scene must hold fields");
        group.bench_function(name, |b| b.iter(|| suggest(&scene, &options, &|_| {}, &|| false)));
    }
    group.finish();

    let surface = Terrain { accuracy: TerrainAccuracy { point_to_point_m: 0.3, ..land.accuracy }, ..land.clone() };
    let standing = Standing::between(&surface, &land);
    let proposals = suggest(&covered, &options, &|_| {}, &|| false).map(|s| s.proposals).unwrap_or_default();
    let fields: Vec<_> = proposals.iter().take(200).map(|p| p.field("f")).collect();
    c.bench_function("boundary heights of 200 fields", |b| {
        b.iter(|| fields.iter().map(|f| boundary_heights(f, &standing).len()).sum::<usize>());
    });
}

criterion_group!(all, benches);
criterion_main!(all);
