//! A two-hour flight with a fix each second, analysed over the sample area: wind, phases, options at every second,
//! exercises with their measures and hindsight.

use criterion::{Criterion, criterion_group, criterion_main};
use sparefield::assess::Rules;
use sparefield::debrief::{Ask, LOW_FLYING_M, analyse};
use sparefield_data::NoProgress;
use sparefield_data::area::Area;
use sparefield_data::track::{Datum, HeightChoice, HeightSource, from_bytes};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::track::{Fix, Track};
use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;

const LESSON: &[u8] = include_bytes!("../../../sample-terrain/sortie.gpx");
const TWO_HOURS: usize = 7_200;

/// The invented lesson over and over, two hours of it.
fn two_hours(area: &Area) -> Track {
    let read = from_bytes(Path::new("sortie.gpx"), LESSON).expect("the lesson is a flight");
    let heights = HeightChoice::of(HeightSource::Satellite { datum: Datum::MeanSeaLevel });
    let lesson = read.value[0].in_frame(&area.frame, &heights).expect("it lies in the area");
    let fixes = lesson.fixes.iter().cycle().take(TWO_HOURS).enumerate();
    Track { fixes: fixes.map(|(i, fix)| Fix { time_s: i as f64, ..*fix }).collect() }
}

fn debrief(c: &mut Criterion) {
    let area = Arc::new(Area::sample(&NoProgress).expect("the sample area opens"));
    let track = two_hours(&area);
    let ask = Ask {
        area,
        aircraft: Arc::new(Aircraft::example_flexwing()),
        wind: None,
        rules: Rules::default(),
        today: Day { days_since_epoch: 20_782 },
        low_flying_m: LOW_FLYING_M,
    };
    let mut group = c.benchmark_group("debrief");
    group.sample_size(10);
    group.bench_function("two hours over the sample area", |b| {
        b.iter(|| {
            let sortie = analyse(&ask, black_box(&track), None, &|_| true).expect("it is a flight");
            assert!(sortie.exercises.len() >= 8 && sortie.options.len() == TWO_HOURS);
            sortie
        });
    });
    group.finish();
}

criterion_group!(benches, debrief);
criterion_main!(benches);
