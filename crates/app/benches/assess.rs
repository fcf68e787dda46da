//! From the sample area to a ranked list: opening it, studying its fields, the answer after each move, one field's sheet;
//! and the answer after one edit among 20 000 fields.
//!
//! Every bench asserts what it computes, so that a fast wrong answer does not pass.

#[path = "../tests/scene/mod.rs"]
mod scene;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use scene::{ORIGIN, Scene};
use sparefield::assess::{Conditions, HeightInput, Rules, StateInput, WindInput, assess};
use sparefield::sheet::{self, Ask};
use sparefield::studies::Studies;
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::quantity::ReportedWind;
use sparefield_geometry::air::WindProfile;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::{Day, Field, Stock};
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Bearing;
use std::hint::black_box;
use std::sync::Arc;

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
    let hazards = HazardIndex::new(area.hazards.iter().cloned());
    let ask = Ask {
        area: Arc::new(area.clone()),
        field: answer_field(&area, &studies, &conditions),
        beside: None,
        aircraft: Arc::new(conditions.aircraft.clone()),
        wind: conditions.wind.clone(),
        position: conditions.state.position,
        rules: conditions.rules,
        today: conditions.today,
    };
    group.bench_function("sheet of one field", |b| {
        b.iter(|| {
            let made = sheet::make(&ask, &hazards).expect("the field is there");
            assert!(!made.sheets[0].sheet.strips.is_empty());
            made
        });
    });
    group.bench_function("rings", |b| b.iter(|| black_box(answer.rings(&[0.0, 45.72, 91.44, 182.88]))));
    group.finish();
}

/// The field chosen first.
fn answer_field(area: &Area, studies: &Studies, conditions: &Conditions) -> usize {
    assess(area, studies, conditions, &|| false).map_or(0, |answer| answer.ranked[0].index)
}

fn large(c: &mut Criterion) {
    let scene = Scene::new(20_000, 72.0, 50.0);
    let sample = Area::sample(&NoProgress).expect("the sample area is part of the program");
    let mut conditions = conditions(&sample, 457.2);
    conditions.state.position = ORIGIN;
    let area = Area {
        terrain: scene.terrain,
        fields: Arc::new(scene.fields),
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        home: None,
        ..sample
    };
    let before = Studies::new(&area, &conditions);
    let mut group = c.benchmark_group("20 000 fields");
    group.sample_size(10);
    let mut turn = 0_usize;
    group.bench_function("studies and answer after one edit", |b| {
        b.iter_batched(
            || {
                turn += 1;
                let field = &area.fields[turn * 7_919 % area.fields.len()];
                let seen = Field { stock: Stock::ALL[turn % 3], ..(**field).clone() };
                let edit = Edit::new("look", vec![Change::Field(Swap::replace(field, seen))]);
                let mut edited = area.clone();
                edited.apply(&edit).expect("the field is there");
                edited
            },
            |edited| {
                let studies =
                    Studies::in_steps(Some(&before), &edited, &conditions, &|_| true).expect("nobody stops it");
                let answer = assess(&edited, &studies, &conditions, &|| false).expect("the start is over known ground");
                assert_eq!(answer.ranked.len(), 20_000);
                answer
            },
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

criterion_group!(benches, sample, large);
criterion_main!(benches);
