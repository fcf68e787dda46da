//! Speed of flying one circuit 10 000 times.

#![allow(missing_docs, reason = "criterion_group! makes a public function")]

use criterion::{Criterion, criterion_group, criterion_main};
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{
    Budget, CircuitOptions, CircuitTask, Landing, Surroundings, Uncertainty, robustness,
};
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::Hazard;
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::AircraftState;

fn circuit_robustness(c: &mut Criterion) {
    let frame = GridFrame { origin: Xy::new(-10_000.0, 10_000.0), cell_m: 100.0, cols: 201, rows: 201 };
    let terrain = Terrain { frame, heights_m: vec![0.0; frame.len()], accuracy: TerrainAccuracy::default() };
    let hazards = HazardIndex::new(Vec::<Hazard>::new());
    let around = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 50.0 };
    let aircraft = Aircraft::example_flexwing();
    let wind = Wind::new(WindVector::coming_from(Bearing::NORTH, 6.0), WindProfile::OPEN_GRASS, vec![], 0.0);
    let landing = Landing {
        aim: Xy::default(),
        aim_amsl_m: 0.0,
        heading: Bearing::NORTH,
        slope: 0.0,
        aim_from_start_m: 80.0,
        displacement_m: 20.0,
        length_m: 500.0,
        width_m: 30.0,
        stop_from_50_ft_m: 180.0,
    };
    let task = CircuitTask::new(&aircraft, &wind, landing, around, CircuitOptions::default(), 500.0).expect("flies");
    let heading = Some(Bearing::from_deg(200.0));
    let state = AircraftState { position: Xy::new(900.0, 500.0), height_amsl_m: 450.0, heading };
    let start = task.start(&state, 4.0);
    let circuit = task.circuit(&start).expect("a circuit");
    c.bench_function("circuit robustness, 10 000 flights", |b| {
        b.iter(|| {
            let r = robustness(&task, &circuit.plan, &start, &Uncertainty::default(), &Budget::default(), &|| false);
            let r = r.expect("flies");
            assert_eq!(r.samples, 10_000);
            r
        });
    });
}

criterion_group!(benches, circuit_robustness);
criterion_main!(benches);
