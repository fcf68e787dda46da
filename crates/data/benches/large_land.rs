//! What is asked of a whole area of 20 000 fields: its check, and a merge with the same area after others worked on it.

#![allow(clippy::unwrap_used, reason = "a bench that cannot set up has nothing to measure")]

mod land;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use land::TODAY;
use sparefield_data::NoProgress;
use sparefield_data::area::Area;
use sparefield_data::check::{CheckOptions, check};
use sparefield_data::merge::{Land, Merge, MergeOptions};
use sparefield_geometry::fields::model::{Field, Surface};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::Xy;
use std::hint::black_box;
use std::sync::Arc;

fn area() -> Area {
    let frame = GridFrame { origin: Xy::new(498_000.0, 5_734_000.0), cell_m: 50.0, cols: 560, rows: 720 };
    let heights_m = (0..frame.len()).map(|i| 200.0 + (i % 97) as f32 * 0.1).collect();
    let terrain = Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() };
    Area {
        fields: Arc::new(land::fields()),
        terrain: Arc::new(terrain),
        home: None,
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        ..Area::sample(&NoProgress).unwrap()
    }
}

/// The same area, every second field looked at since, and some outlines drawn anew.
fn theirs(mine: &Area) -> Area {
    let seen = |(i, field): (usize, &Arc<Field>)| {
        let mut outer = field.outer.clone();
        if i % 10 == 1 {
            outer[1].y -= 5.0;
        }
        let looked_at = i % 2 == 1;
        let seen = Field { surface: Surface::Stubble, surveyed: Some(TODAY), outer, ..(**field).clone() };
        if looked_at { Arc::new(seen) } else { Arc::clone(field) }
    };
    Area { fields: Arc::new(mine.fields.iter().enumerate().map(seen).collect()), ..mine.clone() }
}

fn large_land(c: &mut Criterion) {
    let mine = area();
    let theirs = theirs(&mine);
    let mut group = c.benchmark_group("area of 20 000 fields");
    group.sample_size(10);
    let options = CheckOptions::on(TODAY);
    assert!(check(&mine, &options).len() >= mine.fields.len(), "nobody looked at any field");
    group.bench_function("check", |b| b.iter(|| black_box(check(&mine, &options).len())));

    let (own, other) = (Land::from(&mine), Land::from(&theirs));
    let compare = || Merge::between(&own, &other, None, &MergeOptions::default()).unwrap();
    let merge = compare();
    assert!(merge.differences().len() >= 10_000, "{} differences", merge.differences().len());
    group.bench_function("compare with another of which 10 000 fields differ", |b| b.iter(|| black_box(compare())));
    let takes = merge.defaults();
    let edit = merge.edit(&takes, "theirs");
    assert_eq!(edit.changes.len(), 10_000);
    group.bench_function("make one edit of what is taken", |b| b.iter(|| black_box(merge.edit(&takes, "theirs"))));
    group.bench_function("apply that edit", |b| {
        b.iter_batched(
            || mine.clone(),
            |mut area| {
                area.apply(&edit).unwrap();
                area
            },
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

criterion_group!(benches, large_land);
criterion_main!(benches);
