//! How long least heights take over a whole square of a million cells, with five and with forty fields, over one of nine
//! million, and over a million in a hundred winds. Always with the height of every cell.

mod scene;

use criterion::{Criterion, criterion_group, criterion_main};
use scene::{eight_ms, fractal, reference};
use sparefield_geometry::air::{Wind, WindProfile};
use sparefield_geometry::fields::demand::{ARRIVAL_TRACKS, Demand};
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::reach::ReachOptions;
use sparefield_geometry::reach::least::{LeastOptions, WindDoubt, least_heights, many_winds, winds_about};
use std::hint::black_box;

/// The same ground, from zero to so much relief.
fn scaled(mut terrain: Terrain, relief_m: f32) -> Terrain {
    let low = terrain.heights_m.iter().copied().fold(f32::INFINITY, f32::min);
    let high = terrain.heights_m.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    for h in &mut terrain.heights_m {
        *h = (*h - low) / (high - low) * relief_m;
    }
    terrain
}

/// Fields spread evenly, each asking 150 m over its ground.
fn fields(terrain: &Terrain, count: usize) -> Vec<Demand> {
    let frame = terrain.frame;
    (0..count)
        .map(|field| {
            let along = (field as f64 + 0.5) / count as f64;
            let across = (along * 89.0).fract();
            let (row, col) = ((along * frame.rows as f64) as usize, (across * frame.cols as f64) as usize);
            let ground = terrain.post(row, col).unwrap_or(0.0);
            Demand {
                field,
                overhead: frame.centre(row, col),
                verdict: Verdict::Workable,
                needed_amsl_m: [ground + 150.0; ARRIVAL_TRACKS],
            }
        })
        .collect()
}

fn benches(c: &mut Criterion) {
    let reference = reference();
    let options = LeastOptions {
        fields_needed: 1,
        ceiling_amsl_m: 6_000.0,
        glide: ReachOptions { clearance_m: 100.0, reaction_time_s: 0.0, bend_turns: true },
    };
    let mut group = c.benchmark_group("least_1000x1000");
    group.sample_size(10);
    for (ground, relief) in [("gentle", 300.0), ("alpine", 930.0)] {
        let terrain = scaled(fractal(7, 1_000, 25.0, 1.0), relief);
        for (profile, wind) in [("uniform", eight_ms(WindProfile::Uniform)), ("log", eight_ms(WindProfile::OPEN_GRASS))]
        {
            for count in [5, 40] {
                let fields = fields(&terrain, count);
                group.bench_function(format!("{ground}/{profile}/{count}"), |b| {
                    let run = || least_heights(&terrain, &reference, &wind, &fields, &options, &|_| {}, &|| false);
                    b.iter(|| black_box(run().map(|map| map.raster(1))));
                });
            }
        }
    }
    group.finish();
    let mut group = c.benchmark_group("least_3000x3000");
    group.sample_size(10);
    for (ground, relief) in [("gentle", 900.0), ("alpine", 2_800.0)] {
        let terrain = scaled(fractal(7, 3_000, 25.0, 1.0), relief);
        let wind = eight_ms(WindProfile::Uniform);
        let fields = fields(&terrain, 40);
        group.bench_function(format!("{ground}/uniform/40"), |b| {
            let run = || least_heights(&terrain, &reference, &wind, &fields, &options, &|_| {}, &|| false);
            // Heights are worked out when they are asked for: here for every cell.
            b.iter(|| black_box(run().map(|map| map.raster(1))));
        });
    }
    group.finish();
    let mut group = c.benchmark_group("least_100_winds_1000x1000");
    group.sample_size(10);
    let wind = eight_ms(WindProfile::Uniform);
    let winds = winds_about(&wind, &WindDoubt::default(), 100);
    for (ground, relief) in [("gentle", 300.0), ("alpine", 930.0)] {
        let terrain = scaled(fractal(7, 1_000, 25.0, 1.0), relief);
        let fields = fields(&terrain, 40);
        let asks = |_: &Wind| Some(fields.clone());
        group.bench_function(format!("{ground}/40"), |b| {
            let run = || {
                many_winds(&terrain, &reference, &winds, &asks, &options, 300.0, &|_| {}, &|| false).map(|m| m.winds)
            };
            b.iter(|| black_box(run()));
        });
    }
    group.finish();
}

criterion_group!(least, benches);
criterion_main!(least);
