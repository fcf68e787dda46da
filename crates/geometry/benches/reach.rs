//! How long a reach takes: over a whole square of a million cells, and for a state as a pilot has it.

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::{Aircraft, GlideCurve};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::{AircraftState, Descent, ReachOptions, forward_reach};
use std::hint::black_box;

/// Seeded value noise over octaves (hash: SplitMix64 finaliser).
fn fractal(seed: u64, size: usize, cell_m: f64, relief_m: f64) -> Terrain {
    let hash = |octave: u64, x: i64, y: i64| {
        let mut z = seed ^ octave.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        z = z.wrapping_add((x as u64).wrapping_mul(0xbf58_476d_1ce4_e5b9))
            ^ (y as u64).wrapping_mul(0x94d0_49bb_1331_11eb);
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    };
    let frame = GridFrame { origin: Xy::new(0.0, 0.0), cell_m, cols: size, rows: size };
    let mut heights_m = vec![0.0f32; size * size];
    let (mut wave, mut amplitude) = (size as f64 / 2.0, relief_m / 2.0);
    for octave in 0..10 {
        for (i, h) in heights_m.iter_mut().enumerate() {
            let (x, y) = ((i % size) as f64 / wave, (i / size) as f64 / wave);
            let (u, v) =
                (x.fract() * x.fract() * (3.0 - 2.0 * x.fract()), y.fract() * y.fract() * (3.0 - 2.0 * y.fract()));
            let at = |dx, dy| hash(octave, x as i64 + dx, y as i64 + dy);
            let (a, b) = (at(0, 0) + u * (at(1, 0) - at(0, 0)), at(0, 1) + u * (at(1, 1) - at(0, 1)));
            *h += (amplitude * (a + v * (b - a))) as f32;
        }
        wave *= 0.5;
        amplitude *= 0.5;
    }
    Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
}

fn eight_ms(profile: WindProfile) -> Wind {
    let wind = WindVector::coming_from(Bearing::from_deg(240.0), 8.0);
    Wind::new(wind, profile, Vec::new(), 0.0)
}

fn state(terrain: &Terrain, agl_m: f64, heading: Option<Bearing>) -> AircraftState {
    let position = terrain.frame.centre(terrain.frame.rows / 2, terrain.frame.cols / 2);
    let ground = terrain.height_at(position).unwrap_or(0.0);
    AircraftState { position, height_amsl_m: ground + agl_m, heading }
}

fn benches(c: &mut Criterion) {
    // The reference aircraft of the published comparisons: 8 : 1 at 18 m/s.
    let reference = Aircraft {
        glide: GlideCurve::from_best_glide(18.0, 8.0).unwrap_or(Aircraft::example_flexwing().glide),
        min_glide_speed_ms: 13.5,
        max_speed_ms: 28.0,
        ..Aircraft::example_flexwing()
    };
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
