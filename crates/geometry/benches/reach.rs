//! How long a reach takes: over a whole square of a million cells, and for a state as a pilot has it.

mod scene;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use scene::{eight_ms, fractal, reference};
use sparefield_geometry::air::WindProfile;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::{AircraftState, Descent, ReachOptions, forward_reach};
use std::hint::black_box;

fn state(terrain: &Terrain, agl_m: f64, heading: Option<Bearing>) -> AircraftState {
    let position = terrain.frame.centre(terrain.frame.rows / 2, terrain.frame.cols / 2);
    let ground = terrain.height_at(position).unwrap_or(0.0);
    AircraftState { position, height_amsl_m: ground + agl_m, heading }
}

fn benches(c: &mut Criterion) {
    let reference = reference();
    let mut group = c.benchmark_group("reach_1000x1000");
    group.sample_size(10);
    let winds = [("uniform", eight_ms(WindProfile::Uniform)), ("log", eight_ms(WindProfile::OPEN_GRASS))];
    for (name, relief, agl) in [("gentle", 900.0, 3_200.0), ("alpine", 2_800.0, 3_200.0)] {
        let terrain = fractal(7, 1000, 25.0, relief);
        for (wind_name, wind) in &winds {
            let options = ReachOptions { clearance_m: 100.0, ..ReachOptions::of(&reference) };
            let from = state(&terrain, agl, None);
            let reached = forward_reach(&terrain, &reference, wind, &from, &options, &|| false)
                .map(|r| (r.frame.len(), r.reachable_cells()));
            println!("{name} {wind_name}: window cells and reached cells {reached:?}");
            group.bench_function(format!("{name}_{wind_name}"), |b| {
                b.iter(|| forward_reach(black_box(&terrain), &reference, wind, &from, &options, &|| false));
            });
        }
    }
    group.finish();

    let mut group = c.benchmark_group("reach_1500ft");
    group.sample_size(20);
    let aircraft = Aircraft::example_flexwing();
    let terrain = fractal(11, 800, 25.0, 500.0);
    for (wind_name, wind) in &winds {
        for (name, heading) in [("any", None), ("heading", Some(Bearing::from_deg(240.0)))] {
            let from = state(&terrain, 1500.0 * 0.3048, heading);
            let options = ReachOptions::of(&aircraft);
            let reached = forward_reach(&terrain, &aircraft, wind, &from, &options, &|| false)
                .map(|r| (r.frame.len(), r.reachable_cells()));
            println!("{name} {wind_name}: window cells and reached cells {reached:?}");
            group.bench_function(format!("{name}_{wind_name}"), |b| {
                b.iter(|| forward_reach(black_box(&terrain), &aircraft, wind, &from, &options, &|| false));
            });
        }
        group.bench_function(format!("descent_{wind_name}"), |b| {
            b.iter(|| Descent::new(&aircraft, black_box(wind), 50.0, 700.0));
        });
    }
    let wind = &winds[1].1;
    let from = state(&terrain, 1500.0 * 0.3048, Some(Bearing::from_deg(240.0)));
    if let Ok(reach) = forward_reach(&terrain, &aircraft, wind, &from, &ReachOptions::of(&aircraft), &|| false) {
        let mut k = 0u32;
        group.bench_function("arrival_at_point", |b| {
            b.iter_batched(
                || {
                    k = (k * 37 + 11) % 1009;
                    from.position + Xy::new(f64::from(k % 31) * 60.0 - 900.0, f64::from(k % 29) * 60.0 - 840.0)
                },
                |p| reach.arrival_at(&terrain, p),
                BatchSize::SmallInput,
            );
        });
    }
    group.finish();
}

criterion_group!(reach, benches);
criterion_main!(reach);
