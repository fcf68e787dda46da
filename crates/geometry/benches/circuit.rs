//! Speed of the circuit search: the way that needs least height, the one to fly, and five fields planned at once.

#![allow(missing_docs, reason = "criterion_group! makes a public function")]

use criterion::{Criterion, criterion_group, criterion_main};
use rayon::prelude::*;
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{CircuitOptions, CircuitTask, Landing, Surroundings};
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::Hazard;
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::AircraftState;

fn landing(x: f64, y: f64, heading_deg: f64) -> Landing {
    Landing {
        aim: Xy::new(x, y),
        aim_amsl_m: 0.0,
        heading: Bearing::from_deg(heading_deg),
        slope: 0.0,
        aim_from_start_m: 60.0,
        displacement_m: 20.0,
        length_m: 420.0,
        width_m: 20.0,
        stop_from_50_ft_m: 180.0,
    }
}

fn circuits(c: &mut Criterion) {
    let frame = GridFrame { origin: Xy::new(-10_000.0, 10_000.0), cell_m: 100.0, cols: 201, rows: 201 };
    let heights_m = (0..frame.len()).map(|i| ((i % 201) as f32 * 0.07).sin() * 15.0 - 15.0).collect();
    let terrain = Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() };
    let hazards = HazardIndex::new(Vec::<Hazard>::new());
    let around = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 50.0 };
    let aircraft = Aircraft::example_flexwing();
    let wind = Wind::new(WindVector::coming_from(Bearing::from_deg(20.0), 6.0), WindProfile::OPEN_GRASS, vec![], 0.0);
    let state = AircraftState {
        position: Xy::new(700.0, 500.0),
        height_amsl_m: 480.0,
        heading: Some(Bearing::from_deg(200.0)),
    };
    let task = |l: Landing| {
        CircuitTask::new(&aircraft, &wind, l, around, CircuitOptions::default(), state.height_amsl_m).expect("flies")
    };
    let mut group = c.benchmark_group("circuit");
    group.bench_function("least height, one field", |b| {
        b.iter(|| {
            let task = task(landing(0.0, 0.0, 0.0));
            task.least(&task.start(&state, 4.0)).expect("in reach").spare_m
        });
    });
    group.bench_function("full search, one field", |b| {
        b.iter(|| {
            let task = task(landing(0.0, 0.0, 0.0));
            task.circuit(&task.start(&state, 4.0)).expect("in reach").duration_s
        });
    });
    let five =
        [(0.0, 0.0, 0.0), (400.0, -300.0, 40.0), (-200.0, 700.0, 350.0), (900.0, 100.0, 20.0), (600.0, 900.0, 10.0)];
    group.bench_function("full search, five fields", |b| {
        b.iter(|| {
            let found = five.par_iter().with_max_len(1).map(|&(x, y, heading)| {
                let task = task(landing(x, y, heading));
                task.circuit(&task.start(&state, 4.0)).map_or(0.0, |circuit| circuit.duration_s)
            });
            found.sum::<f64>()
        });
    });
    group.finish();
}

criterion_group!(benches, circuits);
criterion_main!(benches);
