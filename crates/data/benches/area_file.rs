//! An area of 20 000 fields and 50 000 boundary edges: making its file, opening it, and keeping one edit.

#![allow(clippy::unwrap_used, reason = "a bench that cannot set up has nothing to measure")]

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use sparefield_data::NoProgress;
use sparefield_data::area::{Change, Edit, Swap};
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use sparefield_data::frame::Frame;
use sparefield_geometry::fields::model::{BoundaryEdge, Day, EdgeKind, Field, Stock};
use sparefield_geometry::position::{LonLat, Xy};
use std::hint::black_box;
use std::sync::Arc;

const TODAY: Day = Day { days_since_epoch: 20_782 };
const COLUMNS: usize = 200;
const ROWS: usize = 100;

/// Fields in pairs that share a side, five sides each.
fn field(number: usize) -> Field {
    let (column, row) = (number % COLUMNS, number / COLUMNS);
    // Every second field lies against the one before; a gap follows the pair.
    let west = 500_000.0 + 230.0 * (column / 2) as f64 + 100.0 * (column % 2) as f64;
    let south = 5_700_000.0 + 320.0 * row as f64;
    let at = |x: f64, y: f64| Xy::new(west + x, south + y);
    let ring = vec![at(0.0, 0.0), at(60.0, -20.0), at(100.0, 0.0), at(100.0, 250.0), at(0.0, 250.0)];
    let mut field = Field::new(format!("field-{number}"), ring);
    field.name = format!("Field {number}");
    // Two in three sides are known.
    for (side, edge) in field.edges.iter_mut().enumerate() {
        if side != 1 && (side != 4 || number % 2 == 1 || number.is_multiple_of(4)) {
            *edge = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) };
        }
    }
    field
}

fn area() -> AreaParts {
    AreaParts {
        title: "Large".into(),
        frame: Arc::new(Frame::utm_for(LonLat { lon_deg: -2.8, lat_deg: 51.5 }).unwrap()),
        fields: Arc::new((0..COLUMNS * ROWS).map(|n| Arc::new(field(n))).collect()),
        proposals: Arc::default(),
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        lanes: Arc::default(),
        home: None,
        start: None,
        drill_sets: Arc::default(),
        drill_results: Arc::default(),
        terrain: TerrainSource::Nothing,
    }
}

fn area_file(c: &mut Criterion) {
    // Beside the build and not in a folder for temporary files, which is often kept in memory.
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("large.gpkg");
    let parts = area();
    drop(AreaFile::create(&path, &parts).unwrap());
    let loaded = AreaFile::open(&path, TODAY, &NoProgress).unwrap();
    assert_eq!(loaded.value.1, parts);
    drop(loaded);
    let mut group = c.benchmark_group("area file of 20 000 fields");
    group.sample_size(10);
    group.bench_function("open", |b| {
        b.iter(|| black_box(AreaFile::open(&path, TODAY, &NoProgress).unwrap().value.1.fields.len()));
    });
    group.sample_size(60);
    let mut file = AreaFile::open(&path, TODAY, &NoProgress).unwrap().value.0;
    let mut now = parts.fields.to_vec();
    let mut turn = 0_usize;
    group.bench_function("keep one edit", |b| {
        b.iter_batched(
            || {
                // A corner moves and stock is seen, on another field each time.
                turn += 1;
                let index = turn * 7_919 % now.len();
                let mut new = (*now[index]).clone();
                new.outer[1].y -= 0.1;
                new.stock = Stock::ALL[turn % 3];
                let swap = Swap::replace(&now[index], new);
                now[index] = Arc::clone(swap.after.as_ref().unwrap());
                Edit::new("move a corner", vec![Change::Field(swap)])
            },
            |edit| file.write(&edit).unwrap(),
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

criterion_group!(benches, area_file);
criterion_main!(benches);
