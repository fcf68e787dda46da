//! Drawing tools and the check of an area at the sizes the program is built for.
#![allow(missing_docs, reason = "criterion's macros make undocumented items")]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field, Stock, Surface};
use sparefield_geometry::fields::strip::Scratch;
use sparefield_geometry::math;
use sparefield_geometry::outline::crossing::{check_moved_corner, check_next};
use sparefield_geometry::outline::finding::{FindingOptions, findings};
use sparefield_geometry::outline::measure::provisional_strip;
use sparefield_geometry::outline::paint::set_edge;
use sparefield_geometry::outline::pick::Hold;
use sparefield_geometry::outline::shared::{SHARED_M, SharedSides};
use sparefield_geometry::outline::{CornerRef, OutlineIndex, corner::move_corner};
use sparefield_geometry::position::{Bearing, Xy};
use std::hint::black_box;
use std::sync::Arc;

/// Fields in a row of the land below; 142 rows make 20 164 fields.
const ROW: usize = 142;
const FIELD_M: f64 = 250.0;

/// A number from −1 to 1 that belongs to a place on the grid (a multiplicative hash; constants from memory).
fn noise(i: usize, j: usize, salt: u64) -> f64 {
    let mut z = (i as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (j as u64).wrapping_mul(0xbf58_476d_1ce4_e5b9) ^ salt;
    z = (z ^ (z >> 30)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// Land without gaps: crooked quadrilaterals, each side with a corner in its middle, all shared with the neighbours.
fn land() -> Vec<Arc<Field>> {
    let corner = |i: usize, j: usize| {
        let (x, y) = (i as f64 + 0.2 * noise(i, j, 1), j as f64 + 0.2 * noise(i, j, 2));
        Xy::new(500_000.0 + x * FIELD_M, 4_200_000.0 + y * FIELD_M)
    };
    let middle = |a: Xy, b: Xy, i: usize, j: usize, salt: u64| {
        let across = Xy::new(b.y - a.y, a.x - b.x);
        (a + b) * 0.5 + across * (0.1 * noise(i, j, salt))
    };
    let field = |i: usize, j: usize| {
        let [sw, se, ne, nw] = [corner(i, j), corner(i + 1, j), corner(i + 1, j + 1), corner(i, j + 1)];
        let outer = vec![
            sw,
            middle(sw, se, i, j, 3),
            se,
            middle(se, ne, i + 1, j, 4),
            ne,
            middle(nw, ne, i, j + 1, 3),
            nw,
            middle(sw, nw, i, j, 4),
        ];
        Arc::new(Field {
            id: format!("{i}/{j}"),
            name: String::new(),
            edges: vec![BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) }; outer.len()],
            outer,
            holes: vec![],
            surface: Surface::GrazedGrass,
            stock: Stock::None,
            surveyed: None,
            notes: String::new(),
            other: vec![],
            ..Field::default()
        })
    };
    (0..ROW * ROW).map(|k| field(k % ROW, k / ROW)).collect()
}

fn star(corners: usize) -> Vec<Xy> {
    (0..corners)
        .map(|i| {
            let turn = -math::TAU * i as f64 / corners as f64;
            Bearing::from_rad(turn).unit() * (250.0 + 60.0 * noise(i, corners, 5))
        })
        .collect()
}

fn one_outline(c: &mut Criterion) {
    let mut group = c.benchmark_group("outline of 500 corners");
    let ring = star(500);
    let to = ring[100] * 0.99;
    group.bench_function("next corner", |b| b.iter(|| check_next(black_box(&ring[..499]), ring[499])));
    group.bench_function("moved corner, crossings only", |b| {
        b.iter(|| check_moved_corner(black_box(&ring), &[], CornerRef::outer(100), to));
    });
    let land = land();
    let edges = vec![BoundaryEdge::UNKNOWN; ring.len()];
    let field = Field { outer: ring, edges, ..Field::clone(&land[0]) };
    group.bench_function("moved corner, whole edit", |b| {
        b.iter(|| move_corner(black_box(&field), CornerRef::outer(100), to).is_ok());
    });
    group.finish();
    let mut group = c.benchmark_group("longest strip while drawing");
    let (ring, mut scratch) = (star(24), Scratch::default());
    group.bench_function("24 corners", |b| {
        b.iter(|| provisional_strip(black_box(&ring), &[], &[], 20.0, &mut scratch));
    });
    group.finish();
}

fn whole_area(c: &mut Criterion) {
    let land = land();
    let count = land.len();
    let mut group = c.benchmark_group("20 000 fields");
    group.sample_size(10);
    group.throughput(Throughput::Elements(count as u64));
    group.bench_function("findings", |b| b.iter(|| findings(black_box(&land), &FindingOptions::default()).len()));
    group.bench_function("shared sides", |b| b.iter(|| SharedSides::new(black_box(&land), SHARED_M).all().len()));
    group.bench_function("index", |b| b.iter(|| OutlineIndex::new(black_box(&land).clone(), vec![])));
    group.finish();

    let mut group = c.benchmark_group("among 20 000 fields");
    let index = OutlineIndex::new(land.clone(), vec![]);
    let at = |k: usize| land[(k * 7_919) % count].outer[k % 8] + Xy::new(noise(k, 0, 6), noise(k, 1, 6)) * 20.0;
    let mut k = 0;
    group.bench_function("snap", |b| {
        b.iter(|| {
            k += 1;
            index.snap(black_box(at(k)), 15.0, |_| false)
        });
    });
    group.bench_function("hit", |b| {
        b.iter(|| {
            k += 1;
            index.hit(black_box(at(k)), 5.0, None)
        });
    });
    let middle = ROW / 2 * ROW + ROW / 2;
    let edge = BoundaryEdge { kind: EdgeKind::TreeLine, height_m: None };
    group.bench_function("edge set on both sides", |b| {
        b.iter(|| set_edge(black_box(&land), middle, 2, edge, SHARED_M).map(|changed| changed.len()));
    });
    let (low, high) = (Xy::new(505_000.0, 4_205_000.0), Xy::new(515_000.0, 4_215_000.0));
    group.bench_function("box of 1 600 fields", |b| b.iter(|| index.in_box(low, high, Hold::Part).len()));
    group.finish();
}

criterion_group!(benches, one_outline, whole_area);
criterion_main!(benches);
