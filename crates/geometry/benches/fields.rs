//! Strips, studies and ranking at the sizes the program is built for.
#![allow(missing_docs, reason = "criterion's macros make undocumented items")]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use rayon::prelude::*;
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::{
    BoundaryEdge, Day, EdgeKind, Field, Hazard, HazardKind, HazardShape, Stock, Surface,
};
use sparefield_geometry::fields::rank::{RankInput, RankOptions, rank};
use sparefield_geometry::fields::sheet::{FieldSheet, SheetInput};
use sparefield_geometry::fields::strip::{Scratch, StripSpace};
use sparefield_geometry::fields::study::{FieldStudy, StudyOptions, study_all};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::Arrival;
use std::hint::black_box;

/// The same numbers on every run (a multiplicative congruential generator; constants of Lehmer 64, from memory).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(0xda94_2042_e4dd_58b5).wrapping_add(1);
        low + (high - low) * ((self.0 >> 11) as f64 / (1u64 << 53) as f64)
    }
}

fn star(numbers: &mut Numbers, sides: usize, centre: Xy, size: f64) -> Vec<Xy> {
    (0..sides)
        .map(|i| {
            let angle = -math::TAU * i as f64 / sides as f64;
            centre + Bearing::from_rad(angle).unit() * numbers.next(0.6 * size, size)
        })
        .collect()
}

fn fields(count: usize, spread: f64) -> Vec<Field> {
    let mut n = Numbers(7);
    (0..count)
        .map(|i| {
            let centre = Xy::new(n.next(-spread, spread), n.next(-spread, spread));
            let sides = 4 + (n.next(0.0, 9.0) as usize);
            let size = n.next(120.0, 350.0);
            let outer = star(&mut n, sides, centre, size);
            let kinds = [EdgeKind::Hedge, EdgeKind::Nothing, EdgeKind::TreeLine, EdgeKind::Fence, EdgeKind::Unknown];
            Field {
                id: format!("f{i}"),
                name: String::new(),
                edges: outer
                    .iter()
                    .map(|_| BoundaryEdge { kind: kinds[n.next(0.0, 5.0) as usize], height_m: None })
                    .collect(),
                outer,
                holes: vec![],
                surface: Surface::ALL[n.next(0.0, 8.0) as usize],
                stock: Stock::None,
                surveyed: Some(Day { days_since_epoch: 19_990 }),
                notes: String::new(),
                other: vec![],
                ..Field::default()
            }
        })
        .collect()
}

fn terrain(half: f64, cell_m: f64) -> Terrain {
    let n = (2.0 * half / cell_m) as usize + 1;
    let frame = GridFrame { origin: Xy::new(-half, half), cell_m, cols: n, rows: n };
    let height = |p: Xy| 200.0 + 60.0 * math::sin(p.x / 2_500.0) * math::sin(p.y / 3_100.0);
    let heights_m = (0..frame.len()).map(|i| height(frame.centre(i / n, i % n)) as f32).collect();
    Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
}

fn hazards(count: usize, spread: f64) -> HazardIndex {
    let mut n = Numbers(11);
    let mut list = Vec::new();
    for i in 0..count {
        let p = Xy::new(n.next(-spread, spread), n.next(-spread, spread));
        let (kind, shape) = match i % 3 {
            0 => {
                let q = Xy::new(n.next(-900.0, 900.0), n.next(-900.0, 900.0));
                (HazardKind::Wires, HazardShape::Line(vec![p, p + q * 0.5, p + q]))
            }
            1 => (HazardKind::LoneTree, HazardShape::Point(p)),
            _ => (HazardKind::Wood, HazardShape::Area { outer: star(&mut n, 12, p, 150.0), holes: vec![] }),
        };
        list.push(Hazard {
            id: String::new(),
            kind,
            shape,
            height_m: None,
            pole_heights_m: Vec::new(),
            name: String::new(),
            other: vec![],
        });
    }
    HazardIndex::new(list)
}

fn strips(c: &mut Criterion) {
    let mut n = Numbers(3);
    let rings: Vec<Vec<Xy>> = (0..10_000).map(|_| star(&mut n, 24, Xy::default(), 300.0)).collect();
    let spaces: Vec<StripSpace> = rings.iter().filter_map(|r| StripSpace::new(r, &[], &[])).collect();
    let mut group = c.benchmark_group("strips");
    group.sample_size(10);
    group.throughput(Throughput::Elements(360_000));
    let all = |space: &StripSpace, scratch: &mut Scratch| {
        (0..36)
            .filter_map(|i| space.longest(Bearing::from_deg(f64::from(i) * 5.0), 30.0, scratch))
            .map(|s| s.length_m)
            .sum::<f64>()
    };
    group.bench_function("10 000 24-gons × 36 headings, one thread", |b| {
        let mut scratch = Scratch::default();
        b.iter(|| black_box(spaces.iter().map(|s| all(s, &mut scratch)).sum::<f64>()));
    });
    group.bench_function("10 000 24-gons × 36 headings, all threads", |b| {
        b.iter(|| {
            let each = spaces.par_iter().with_min_len(64).map_init(Scratch::default, |scratch, s| all(s, scratch));
            black_box(each.collect::<Vec<_>>())
        });
    });
    group.throughput(Throughput::Elements(500));
    group.bench_function("best heading of 500 24-gons, one thread", |b| {
        let mut scratch = Scratch::default();
        b.iter(|| black_box(spaces[..500].iter().filter_map(|s| s.best(30.0, &mut scratch)).count()));
    });
    group.finish();
}

fn ranking(c: &mut Criterion) {
    let aircraft = Aircraft::example_flexwing();
    let options = RankOptions { today: Some(Day { days_since_epoch: 20_000 }), ..RankOptions::default() };
    let wind =
        Wind::new(WindVector::coming_from(Bearing::from_deg(250.0), 5.0), WindProfile::OPEN_GRASS, Vec::new(), 200.0);
    let mut group = c.benchmark_group("ranking");
    group.sample_size(10);
    for (count, spread, obstacles) in [(150, 10_000.0, 60), (20_000, 50_000.0, 3_000)] {
        let fields = fields(count, spread);
        let terrain = terrain(spread + 2_000.0, 30.0);
        let hazards = hazards(obstacles, spread);
        let study = || study_all(&fields, &hazards, Some(&terrain), &aircraft, &StudyOptions::default());
        let studies = study();
        let arrivals: Vec<Option<Arrival>> = fields
            .iter()
            .enumerate()
            .map(|(i, f)| {
                let track = f.centroid().bearing();
                (i % 4 != 0).then_some(Arrival { height_amsl_m: 700.0, track })
            })
            .collect();
        let input = RankInput { aircraft: &aircraft, wind: &wind, options: &options, quiet_zones: &[] };
        if count < 1_000 {
            group.bench_function(format!("study of {count} fields"), |b| b.iter(|| black_box(study())));
        }
        group.bench_function(format!("rank of {count} fields"), |b| {
            b.iter(|| black_box(rank(&fields, &studies, &input, &arrivals)));
        });
    }
    group.finish();
}

fn sheets(c: &mut Criterion) {
    let aircraft = Aircraft::example_flexwing();
    let (rank_options, options) = (RankOptions::default(), StudyOptions::default());
    let wind = Wind::uniform(WindVector::coming_from(Bearing::from_deg(250.0), 5.0));
    let fields = fields(40, 5_000.0);
    let terrain = terrain(7_000.0, 30.0);
    let hazards = hazards(60, 5_000.0);
    let rank = RankInput { aircraft: &aircraft, wind: &wind, options: &rank_options, quiet_zones: &[] };
    let one = |field: &Field| {
        let study = FieldStudy::new(field, &hazards, Some(&terrain), &aircraft, &options);
        let (hazards, options) = (&hazards, &options);
        let north = Bearing::NORTH;
        FieldSheet::new(&SheetInput { field, study: &study, hazards, terrain: Some(&terrain), options, rank, north })
    };
    let mut group = c.benchmark_group("sheets");
    group.sample_size(10);
    group.throughput(Throughput::Elements(fields.len() as u64));
    group.bench_function("study and sheet of 40 fields, one thread", |b| {
        b.iter(|| black_box(fields.iter().map(|f| one(f).directions_served()).sum::<usize>()));
    });
    group.finish();
}

criterion_group!(benches, strips, ranking, sheets);
criterion_main!(benches);
