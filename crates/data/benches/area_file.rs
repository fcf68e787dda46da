//! An area file of 20 000 fields and 57 500 known sides: opening it, and keeping one edit.

#![allow(clippy::unwrap_used, reason = "a bench that cannot set up has nothing to measure")]

mod land;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use land::TODAY;
use sparefield_data::NoProgress;
use sparefield_data::area::{Change, Edit, Swap};
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use sparefield_data::frame::Frame;
use sparefield_data::sortie::{KeptExercise, KeptMeasures, Measured, Original, Sortie};
use sparefield_data::track::{HeightChoice, HeightSource, from_bytes};
use sparefield_geometry::fields::model::Stock;
use sparefield_geometry::position::LonLat;
use std::hint::black_box;
use std::io::{Seek, SeekFrom, Write};
use std::sync::Arc;

fn area() -> AreaParts {
    AreaParts {
        title: "Large".into(),
        frame: Arc::new(Frame::utm_for(LonLat { lon_deg: -2.8, lat_deg: 51.5 }).unwrap()),
        fields: Arc::new(land::fields()),
        proposals: Arc::default(),
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        lanes: Arc::default(),
        layers: Arc::default(),
        home: None,
        start: None,
        drill_sets: Arc::default(),
        drill_results: Arc::default(),
        sorties: Arc::default(),
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
    drop(file);
    // What no way of keeping an edit can be faster than: one page written and waited for.
    let mut bare = std::fs::File::create(folder.path().join("bare")).unwrap();
    let page = vec![7_u8; 4_096];
    for _ in 0..64 {
        bare.write_all(&page).unwrap();
    }
    group.bench_function("one page written and waited for, without an area", |b| {
        b.iter(|| {
            bare.seek(SeekFrom::Start(0)).unwrap();
            bare.write_all(&page).unwrap();
            bare.sync_data().unwrap();
        });
    });
    group.finish();
}

/// A thousand sorties of ten thousand fixes each; their files differ in one line.
fn library(c: &mut Criterion) {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("library.gpkg");
    let fix = |s: u32| format!("B10{:02}{:02}51{:05}N00200000WA0010000100\n", s / 60 % 60, s % 60, s);
    let fixes: String = (0..10_000).map(fix).collect();
    let sortie = |n: u32| {
        let text = format!("AXXX{n:03}\nHFDTE0101{:02}\n{fixes}", 10 + n % 80);
        let name = std::path::Path::new("flight.igc");
        let recording = from_bytes(name, text.as_bytes()).unwrap().value.swap_remove(0);
        let original = Original::new(name, text.into_bytes());
        let heights = HeightChoice::of(HeightSource::None);
        let mut sortie = Sortie::new(format!("sortie-{n}"), &recording, 0, original, heights);
        // Ten exercises of each were measured when it was looked through.
        let one = KeptExercise { base_leg_m: Some(240.0 + f64::from(n % 40)), ..KeptExercise::default() };
        let from = sortie.measured_from();
        let kept = KeptMeasures { from, exercises: vec![one; 10], ..KeptMeasures::default() };
        sortie.measured = Measured(Some(Arc::new(kept)));
        Arc::new(sortie)
    };
    let parts = AreaParts { fields: Arc::default(), sorties: Arc::new((0..1_000).map(sortie).collect()), ..area() };
    drop(AreaFile::create(&path, &parts).unwrap());
    let mut group = c.benchmark_group("area file of 1 000 sorties");
    group.sample_size(10);
    group.bench_function("open", |b| {
        b.iter(|| assert_eq!(AreaFile::open(&path, TODAY, &NoProgress).unwrap().value.1.sorties.len(), 1_000));
    });
    let sorties = AreaFile::open(&path, TODAY, &NoProgress).unwrap().value.1.sorties;
    group.bench_function("find what was measured of each", |b| {
        b.iter(|| assert_eq!(sorties.iter().filter_map(|s| s.measures()).flat_map(|m| &m.exercises).count(), 10_000));
    });
    let sortie = AreaFile::open(&path, TODAY, &NoProgress).unwrap().value.1.sorties[500].clone();
    group.bench_function("read one again", |b| {
        b.iter(|| assert_eq!(sortie.read(Some(&path)).unwrap().value.fixes.len(), 10_000));
    });
    group.finish();
}

criterion_group!(benches, area_file, library);
criterion_main!(benches);
