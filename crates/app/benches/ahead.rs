//! The view ahead of a glide by hand: what is put into one picture, in a bank over the sample area.

use criterion::{Criterion, criterion_group, criterion_main};
use egui::vec2;
use sparefield::drill::Rehearsal;
use sparefield::drill::ahead::{Scenery, ahead};
use sparefield_data::NoProgress;
use sparefield_data::area::Area;
use sparefield_geometry::circuit::Motion;
use sparefield_geometry::fields::model::Day;
use std::hint::black_box;

fn picture(c: &mut Criterion) {
    let area = Area::sample(&NoProgress).expect("the sample area opens");
    let set = area.drill_sets.first().expect("it has drill sets");
    let today = Day { days_since_epoch: 20_782 };
    let rehearsal = Rehearsal::new(&area, set, 1, today, &[]).expect("the first drill can be flown");
    let scenery = Scenery::of(&rehearsal);
    let from = Motion { bank_rad: 0.4, ..rehearsal.trial().beginning() };
    let size = vec2(1_580.0, 340.0);
    assert!(ahead(&area.terrain, &scenery, &from, size).patches.len() > 10_000);
    let mut group = c.benchmark_group("view ahead");
    group.bench_function("one picture", |b| b.iter(|| ahead(&area.terrain, &scenery, black_box(&from), size)));
    group.bench_function("the land of a drill", |b| b.iter(|| Scenery::of(black_box(&rehearsal))));
    group.finish();
}

criterion_group!(benches, picture);
criterion_main!(benches);
