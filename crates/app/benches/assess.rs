//! From the sample area to a ranked list: opening it, studying its fields, and the answer after each move.
//!
//! Every bench asserts what it computes, so that a fast wrong answer does not pass.

use criterion::{Criterion, criterion_group, criterion_main};
use sparefield::assess::{Conditions, HeightInput, Rules, StateInput, WindInput, assess};
use sparefield::studies::Studies;
use sparefield_data::NoProgress;
use sparefield_data::area::Area;
use sparefield_data::quantity::ReportedWind;
use sparefield_geometry::air::WindProfile;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Bearing;
use std::hint::black_box;

fn conditions(area: &Area, height_m: f64) -> Conditions {
    let start = area.start.as_ref().expect("the sample area has a start");
    Conditions {
        aircraft: Aircraft::example_flexwing(),
        wind: WindInput {
            surface: Some(ReportedWind { from: Some(Bearing::from_deg(240.0)), speed_ms: 6.17, gust_ms: None }),
            aloft: Vec::new(),
            profile: WindProfile::OPEN_GRASS,
        },
        state: StateInput {
            position: start.position,
            height: HeightInput::AboveGround(height_m),
            heading: Some(Bearing::from_deg(200.0)),
        },
        rules: Rules::default(),
        today: Day { days_since_epoch: 20_782 },
    }
}

fn sample(c: &mut Criterion) {
    let area = Area::sample(&NoProgress).expect("the sample area is part of the program");
    let low = conditions(&area, 457.2);
    let conditions = conditions(&area, 609.6);
    let studies = Studies::new(&area, &conditions);
    let mut group = c.benchmark_group("sample area");
    group.sample_size(10);
    group.bench_function("open", |b| {
        b.iter(|| {
            let area = Area::sample(&NoProgress).expect("the sample area is part of the program");
            assert!(area.fields.len() > 150);
            black_box(area)
        });
    });
    group.bench_function("study every field", |b| b.iter(|| black_box(Studies::new(&area, &conditions))));
    group.sample_size(40);
    for (name, conditions) in [("assess after a move, 1500 ft", &low), ("assess after a move, 2000 ft", &conditions)] {
        group.bench_function(name, |b| {
            b.iter(|| {
                let answer = assess(&area, &studies, conditions, &|| false).expect("the start is over known ground");
                assert!(answer.ranked[0].verdict != Verdict::Out);
                black_box(answer)
            });
        });
    }
    let answer = assess(&area, &studies, &conditions, &|| false).expect("the start is over known ground");
    group.bench_function("rings", |b| b.iter(|| black_box(answer.rings(&[0.0, 45.72, 91.44, 182.88]))));
    group.finish();
}

criterion_group!(benches, sample);
criterion_main!(benches);
