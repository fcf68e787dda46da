//! Least heights in many winds, and what one more field would cover, against making every map anew.

use super::least::{CEILING_M, map, scattered};
use super::*;
use crate::fields::demand::Demand;
use crate::reach::least::{
    LeastError, LeastOptions, ManyWinds, WindDoubt, gains, least_heights, many_winds, winds_about,
};

fn least_options(count: usize) -> LeastOptions {
    LeastOptions { fields_needed: count, ceiling_amsl_m: CEILING_M, glide: options(50.0) }
}

fn many(terrain: &Terrain, fields: &[Demand], winds: &[Wind], threads: usize) -> ManyWinds {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
    // The last wind is one in which nobody flies.
    let last = winds.last().unwrap().clone();
    let asks = move |wind: &Wind| (*wind != last).then(|| fields.to_vec());
    let aircraft = Aircraft::example_flexwing();
    pool.install(|| many_winds(terrain, &aircraft, winds, &asks, &least_options(1), 300.0, &|_| {}, &|| false).unwrap())
}

#[test]
fn nine_in_ten_is_what_sorting_every_map_says_on_any_number_of_threads() {
    let terrain = fractal(11, 61, 60.0, 400.0, 60.0);
    let fields = scattered(&terrain, 4, 11);
    let aircraft = Aircraft::example_flexwing();
    let winds = winds_about(&wind(3.0, 4.0), &WindDoubt::default(), 21);
    let found = many(&terrain, &fields, &winds, 1);
    assert_eq!(found, many(&terrain, &fields, &winds, 3));
    let mut maps: Vec<Vec<f32>> = winds[..20]
        .iter()
        .map(|w| {
            let made = least_heights(&terrain, &aircraft, w, &fields, &least_options(1), &|_| {}, &|| false);
            made.unwrap().raster(1)
        })
        .collect();
    maps.push(vec![f32::NAN; terrain.frame.len()]);
    let mut covered = 0;
    for cell in 0..terrain.frame.len() {
        let mut own: Vec<f32> = maps.iter().map(|m| if m[cell].is_nan() { f32::INFINITY } else { m[cell] }).collect();
        own.sort_by(f32::total_cmp);
        // Nine in ten of 21 are 18.9, so 19 winds.
        let expected = own[18];
        let got = found.nine_in_ten[cell];
        assert!(if expected.is_finite() { got == expected } else { got.is_nan() }, "{got} {expected}");
        let below = own.iter().filter(|h| **h <= terrain.heights_m[cell] + 300.0).count();
        let share = found.share_at_cell(cell / 61, cell % 61).unwrap();
        assert!((share - below as f64 / 21.0).abs() < 1e-9);
        covered += usize::from(below >= 19);
    }
    assert!(covered > 0);
    assert_eq!(found.covered(&terrain, 300.0), (terrain.frame.len(), covered));
}

/// Height above the ground asked about, metres.
const HEIGHT_M: f64 = 350.0;

#[test]
fn a_field_more_covers_what_a_map_made_anew_says() {
    let aircraft = Aircraft::example_flexwing();
    for (seed, relief, blowing, needed) in
        [(4, 20.0, wind(0.0, 0.0), 1), (6, 500.0, wind(4.0, -3.0), 1), (9, 300.0, log_wind(-3.0, 2.0, 100.0), 2)]
    {
        let terrain = fractal(seed, 101, 50.0, relief, 60.0);
        let all = scattered(&terrain, 9, seed);
        let (counted, open) = all.split_at(4);
        let base = map(&terrain, &aircraft, &blowing, counted, needed);
        let glide = options(50.0);
        let made = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let run = || gains(&base, &terrain, &aircraft, &blowing, &glide, open, HEIGHT_M, &|_| {}, &|| false);
            pool.install(run).unwrap()
        };
        let found = made(1);
        assert_eq!(found, made(3));
        let cell_m2 = 2_500.0;
        let (known, before) = base.covered(&terrain, needed, HEIGHT_M);
        assert!((found.uncovered_m2() - (known - before) as f64 * cell_m2).abs() < 1.0);
        let covered_with = |more: &[usize]| {
            let fields: Vec<Demand> = counted.iter().cloned().chain(more.iter().map(|i| open[*i].clone())).collect();
            map(&terrain, &aircraft, &blowing, &fields, needed).covered(&terrain, needed, HEIGHT_M).1
        };
        // Two computations may place a bend on different cells: a hundredth of the cells is allowed for.
        let near = |m2: f64, cells: usize| {
            let less = (m2 / cell_m2 - (cells - before) as f64).abs();
            assert!(less <= 0.01 * (cells - before) as f64 + 3.0, "{needed}: {} {}", m2 / cell_m2, cells - before);
        };
        for candidate in 0..open.len() {
            near(found.alone_m2(candidate), covered_with(&[candidate]));
        }
        let steps = found.best(3);
        assert!(!steps.is_empty());
        let mut taken = Vec::new();
        let mut sum = 0.0;
        for step in &steps {
            taken.push(step.candidate);
            sum += step.gain_m2;
            near(sum, covered_with(&taken));
            assert!((step.left_m2 - (found.uncovered_m2() - sum)).abs() < 1.0);
        }
        // The first is the best of all alone.
        let best = (0..open.len()).map(|c| found.alone_m2(c)).fold(0.0, f64::max);
        assert!((steps[0].gain_m2 - best).abs() < 1.0);
    }
}

#[test]
fn both_can_be_stopped() {
    let terrain = fractal(4, 101, 50.0, 100.0, 60.0);
    let fields = scattered(&terrain, 3, 4);
    let aircraft = Aircraft::example_flexwing();
    let calm = wind(0.0, 0.0);
    let asks = |_: &Wind| Some(fields.clone());
    let winds = [calm.clone()];
    let made = many_winds(&terrain, &aircraft, &winds, &asks, &least_options(1), 300.0, &|_| {}, &|| true);
    assert_eq!(made.unwrap_err(), LeastError::Stopped);
    let base = map(&terrain, &aircraft, &calm, &fields[..1], 2);
    let made = gains(&base, &terrain, &aircraft, &calm, &options(50.0), &fields[1..], 900.0, &|_| {}, &|| true);
    assert_eq!(made.unwrap_err(), LeastError::Stopped);
}
