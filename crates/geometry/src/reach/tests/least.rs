//! Least heights against closed forms, brute force, forward reach, and flown again.

use super::*;
use crate::fields::demand::{ARRIVAL_TRACKS, Demand};
use crate::fields::verdict::Verdict;
use crate::math;
use crate::reach::Descent;
use crate::reach::least::{LeastError, LeastHeights, LeastOptions, least_heights};
use proptest::prelude::*;

pub(super) const CEILING_M: f64 = 4_000.0;

pub(super) fn field(index: usize, overhead: Xy, needed_amsl_m: f64) -> Demand {
    let needed_amsl_m = [needed_amsl_m; ARRIVAL_TRACKS];
    Demand { field: index, overhead, verdict: Verdict::Workable, needed_amsl_m }
}

pub(super) fn map(
    terrain: &Terrain,
    aircraft: &Aircraft,
    wind: &Wind,
    fields: &[Demand],
    count: usize,
) -> LeastHeights {
    map_with(terrain, aircraft, wind, fields, count, true)
}

fn map_with(
    terrain: &Terrain,
    aircraft: &Aircraft,
    wind: &Wind,
    fields: &[Demand],
    count: usize,
    bend_turns: bool,
) -> LeastHeights {
    let glide = ReachOptions { bend_turns, ..options(50.0) };
    let options = LeastOptions { fields_needed: count, ceiling_amsl_m: CEILING_M, glide };
    least_heights(terrain, aircraft, wind, fields, &options, &|_| {}, &|| false).unwrap()
}

/// Height needed over flat ground: the drifted circle that just reaches the field (see `analytic`), at one airspeed.
fn by_drifted_circle(aircraft: &Aircraft, v: f64, wind: Xy, density: f64, to: Demand, from: Xy) -> f64 {
    let scale = 1.0 / density.sqrt();
    let (speed, sink) = (v * scale, aircraft.glide.sink_ms(v, 1.0) * scale);
    let d = to.overhead - from;
    let (a, b, c) = (speed * speed - wind.dot(wind), d.dot(wind), -d.dot(d));
    to.needed_amsl_m[0] + sink * (-c / (b + (b * b - a * c).sqrt()))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    #[test]
    fn on_flat_ground_it_is_what_the_drifted_circles_say(
        v in 18.0..30.0f64, w in 0.0..10.0f64, from in 0.0..math::TAU, seed in 0u64..1_000,
    ) {
        let terrain = flat(81, 50.0, 100.0);
        let mut dice = Dice(seed, 0);
        let (low, high) = terrain.frame.bounds();
        let fields: Vec<Demand> = (0..5)
            .map(|i| {
                let p = Xy::new(dice.within(low.x + 60.0, high.x - 60.0), dice.within(low.y + 60.0, high.y - 60.0));
                field(i, p, dice.within(230.0, 320.0))
            })
            .collect();
        let blowing = Bearing::from_rad(from).unit() * w;
        let (aircraft, wind) = (held(v), wind(blowing.x, blowing.y));
        let found = map(&terrain, &aircraft, &wind, &fields, 3);
        let density = crate::air::isa_density_ratio(0.5 * (100.0 + CEILING_M));
        let mut other = 0;
        for row in 0..81 {
            for col in 0..81 {
                let here = terrain.frame.centre(row, col);
                let mut expected: Vec<(f64, usize)> = fields
                    .iter()
                    .map(|f| (by_drifted_circle(&aircraft, v, blowing, density, f.clone(), here), f.field))
                    .collect();
                expected.sort_by(|a, b| a.0.total_cmp(&b.0));
                let covers = found.covers_at_cell(row, col);
                prop_assert_eq!(covers.len(), 3);
                for (cover, (height, _)) in covers.iter().zip(&expected) {
                    let more = cover.least_amsl_m - height;
                    prop_assert!(more > -1e-6, "{} {height}", cover.least_amsl_m);
                    // Where two fields are as good as each other, a cell may be given the one that its neighbours have.
                    // It then pays the way over two cells at most, at a poor glide of 4 : 1.
                    prop_assert!(more < 2.0 * 71.0 / 4.0, "{} {height}", cover.least_amsl_m);
                    other += usize::from(more > 1e-6);
                }
                let fields: Vec<usize> = covers.iter().map(|c| c.field).collect();
                prop_assert!(fields[0] != fields[1] && fields[1] != fields[2] && fields[0] != fields[2]);
            }
        }
        prop_assert!(other * 1_000 <= 81 * 81 * 3, "{other} labels are not the best");
    }
}

/// Behind an endless wall the way leads straight up to one place of its crest and from there straight on; the best place
/// is found by trying all.
#[test]
fn behind_a_wall_it_is_the_best_way_over_the_crest() {
    const WALL: usize = 40;
    let (rows, cols, cell) = (61, 81, 50.0);
    let terrain = terrain_of(rows, cols, cell, |_, c| if c == WALL { 400.0 } else { 100.0 });
    let home = field(0, terrain.frame.centre(30, 12), 250.0);
    for (east, north) in [(0.0, 0.0), (4.0, 3.0), (-6.0, 0.0)] {
        let (aircraft, wind) = (held(22.0), wind(east, north));
        let found = map(&terrain, &aircraft, &wind, std::slice::from_ref(&home), 1);
        let descent = Descent::new(&aircraft, &wind, 100.0, CEILING_M);
        for row in (0..rows).step_by(7) {
            // Not beside the wall, where its own slope between the posts is in the way.
            for col in (WALL + 3..cols).step_by(5) {
                let here = terrain.frame.centre(row, col);
                let crest = (0..(rows - 1) * 50).map(|metre| {
                    let at = terrain.frame.centre(0, WALL) - Xy::new(0.0, f64::from(metre as u32));
                    let onwards = descent.height_needed(250.0, home.overhead - at).unwrap().max(450.0);
                    // No turn is charged: a bound from below, and by less than a turn.
                    descent.height_needed(onwards, at - here).unwrap()
                });
                let bound = crest.fold(f64::INFINITY, f64::min);
                let got = found.covers_at_cell(row, col)[0].least_amsl_m;
                // No turn is charged in the bound: one of up to 20° costs some 4 m, and a bend half a cell aside as much at 6 : 1.
                assert!(got >= bound - 1e-3 && got <= bound + 9.0, "wind {east} ({row}, {col}): {got} {bound}");
            }
        }
        // In front of it nothing is in the way.
        let here = terrain.frame.centre(44, 30);
        let straight = descent.height_needed(250.0, home.overhead - here).unwrap();
        assert!((found.covers_at_cell(44, 30)[0].least_amsl_m - straight).abs() < 1e-6);
    }
}

pub(super) fn scattered(terrain: &Terrain, count: usize, seed: u64) -> Vec<Demand> {
    let mut dice = Dice(seed, 0);
    let (low, high) = terrain.frame.bounds();
    let margin = 3.0 * terrain.frame.cell_m;
    (0..count)
        .map(|i| {
            let p = Xy::new(dice.within(low.x + margin, high.x - margin), dice.within(low.y + margin, high.y - margin));
            let ground = terrain.height_at(p).unwrap();
            field(i, p, ground + dice.within(90.0, 140.0))
        })
        .collect()
}

/// A state above the least height reaches the field as high as it asks; one well below reaches none so high.
#[test]
fn forward_reach_agrees() {
    let aircraft = Aircraft::example_flexwing();
    let (mut reached, mut refused) = (0, 0);
    for (seed, relief, wind) in
        [(3, 300.0, wind(0.0, 0.0)), (5, 700.0, wind(4.0, -5.0)), (8, 900.0, log_wind(-3.0, 4.0, 200.0))]
    {
        let terrain = fractal(seed, 161, 50.0, relief, 60.0);
        let fields = scattered(&terrain, 6, seed);
        let found = map(&terrain, &aircraft, &wind, &fields, 1);
        let mut dice = Dice(seed + 100, 0);
        let (low, high) = terrain.frame.bounds();
        for _ in 0..60 {
            let p = Xy::new(dice.within(low.x, high.x), dice.within(low.y, high.y));
            let Some(cover) = found.covers_at(&terrain, p).first().copied() else { continue };
            let ground_map = &terrain;
            let asks = |height: f64| {
                let state = AircraftState { position: p, height_amsl_m: height, heading: None };
                let reach = reach(ground_map, &aircraft, &wind, &state, 50.0);
                move |field: &Demand| {
                    let arrival = reach.arrival_at(ground_map, field.overhead)?;
                    let track = arrival.track.map(Bearing::unit);
                    Some(arrival.height_amsl_m - field.needed_along(track))
                }
            };
            // Twelve metres for two bends on cell centres, which the two computations place differently: half the diagonal
            // of a cell is 35 m, and a glide of 6 : 1 loses six on it.
            let above = asks(cover.least_amsl_m + 12.0);
            let field = fields.iter().find(|f| f.field == cover.field).unwrap();
            let spare = above(field);
            assert!(spare.is_some_and(|s| s >= 0.0), "{p:?} {cover:?}: {spare:?}");
            reached += 1;
            let ground = terrain.height_at(p).unwrap();
            if cover.least_amsl_m - 15.0 > ground + 50.0 {
                let below = asks(cover.least_amsl_m - 15.0);
                assert!(fields.iter().all(|f| below(f).is_none_or(|s| s < 0.0)), "{p:?} {cover:?}");
                refused += 1;
            }
        }
    }
    assert!(reached > 120 && refused > 80, "{reached} {refused}");
}

/// Greatest depth below the floor along ways flown again, and how many there were.
fn reflown(paths_each: usize) -> (f64, usize) {
    let aircraft = Aircraft::example_flexwing();
    let (mut worst, mut flown) = (0.0f64, 0);
    for (i, wind) in [wind(0.0, 0.0), wind(5.0, -6.2), log_wind(-4.0, 5.0, 200.0)].iter().enumerate() {
        for relief in [500.0, 1_600.0] {
            let seed = 41 + i as u64;
            let terrain = fractal(seed, 241, 25.0, relief, 80.0);
            let fields = scattered(&terrain, 5, seed);
            let found = map(&terrain, &aircraft, wind, &fields, 2);
            let mut dice = Dice(seed, 9);
            let (low, high) = terrain.frame.bounds();
            for _ in 0..paths_each {
                let p = Xy::new(dice.within(low.x, high.x), dice.within(low.y, high.y));
                let Some(path) = found.path_from(&terrain, p) else { continue };
                let cover = found.covers_at(&terrain, p)[0];
                assert_eq!((path[0].position, path[0].height_amsl_m), (p, cover.least_amsl_m));
                let (last, field) = (path.last().unwrap(), fields.iter().find(|f| f.field == cover.field).unwrap());
                assert!(last.position.distance(field.overhead) < 1e-6);
                let lowest = field.needed_amsl_m.iter().copied().fold(f64::INFINITY, f64::min);
                assert!(last.height_amsl_m >= lowest - 1e-6);
                flown += 1;
                for leg in path.windows(2) {
                    assert!(leg[1].height_amsl_m <= leg[0].height_amsl_m + 1e-9, "a glide does not climb");
                    let d = leg[1].position - leg[0].position;
                    let steps = (d.norm() / 3.0).ceil().max(1.0);
                    for k in 0..=steps as usize {
                        let t = k as f64 / steps;
                        let h = leg[0].height_amsl_m + t * (leg[1].height_amsl_m - leg[0].height_amsl_m);
                        let ground = terrain.height_at(leg[0].position + d * t).expect("known ground");
                        worst = worst.max(ground + 50.0 - h);
                    }
                }
            }
        }
    }
    (worst, flown)
}

#[test]
fn no_way_dips_below_the_floor_or_arrives_too_low() {
    let (worst, flown) = reflown(1_500);
    assert!(worst < 1e-3 && flown > 8_000, "{worst} m below the floor, {flown} flown");
}

/// The same for 100 000 ways; a minute and a half.
#[test]
fn no_way_of_a_hundred_thousand_dips_below_the_floor() {
    let (worst, flown) = reflown(17_000);
    assert!(worst < 1e-3 && flown > 100_000, "{worst} m below the floor, {flown} flown");
}

/// On a grid four times finer over the same bilinear surface the heights are the same, but for ways that only the finer
/// one finds.
#[test]
fn a_finer_grid_says_the_same() {
    let (cell, cells_across) = (25.0, 121);
    let aircraft = Aircraft::example_flexwing();
    let mut with_bends = 0;
    for seed in [12, 13, 14] {
        let coarse = fractal(seed, cells_across, cell, 350.0, 30.0);
        let finer = 4 * (cells_across - 1) + 1;
        let fine = terrain_of(finer, finer, cell / 4.0, |r, c| {
            let p = coarse.frame.centre(0, 0) + Xy::new(c as f64, -(r as f64)) * (cell / 4.0);
            coarse.height_at(p).unwrap()
        });
        let fields = scattered(&coarse, 5, seed);
        for wind in [wind(0.0, 0.0), wind(6.0, 5.0)] {
            let solved = |terrain: &Terrain| map_with(terrain, &aircraft, &wind, &fields, 1, false);
            let (one, other) = (solved(&coarse), solved(&fine));
            let (mut sum, mut worst, mut cells) = (0.0, 0.0f64, 0);
            // At the edge of the terrain a cell has neighbours on one side only.
            for row in 2..cells_across - 2 {
                for col in 2..cells_across - 2 {
                    let (a, b) = (one.covers_at_cell(row, col), other.covers_at_cell(row * 4, col * 4));
                    let (Some(a), Some(b)) = (a.first(), b.first()) else { continue };
                    let off = (a.least_amsl_m - b.least_amsl_m).abs();
                    (sum, worst, cells) = (sum + off, worst.max(off), cells + 1);
                    let path = one.path_from(&coarse, coarse.frame.centre(row, col));
                    with_bends += usize::from(path.is_some_and(|path| path.len() > 2));
                }
            }
            // Slopes as steep as in the Alps.
            let mean = sum / f64::from(cells);
            assert!(cells > 13_000 && mean <= 0.05 && worst <= 1.0, "seed {seed}: mean {mean} m, worst {worst} m");
        }
    }
    assert!(with_bends > 1_000, "{with_bends} ways with a bend");
}

#[test]
fn unknown_ground_is_not_crossed_and_nonsense_is_refused() {
    // A belt without data from north to south, and one field west of it.
    let terrain = terrain_of(41, 81, 50.0, |_, c| if (38..=42).contains(&c) { f64::NAN } else { 100.0 });
    let fields = [field(7, terrain.frame.centre(20, 10), 250.0)];
    let aircraft = Aircraft::example_flexwing();
    let found = map(&terrain, &aircraft, &wind(0.0, 0.0), &fields, 1);
    for row in 0..41 {
        assert_eq!(found.covers_at_cell(row, 30)[0].field, 7);
        assert!((38..81).all(|col| found.covers_at_cell(row, col).is_empty()));
    }
    assert_eq!(found.raster(1).iter().filter(|h| h.is_nan()).count(), 41 * 43);
    let (cells, covered) = found.covered(&terrain, 1, 4_000.0);
    assert_eq!((cells, covered), (41 * 76, 41 * 38));
    let none = map(&terrain, &aircraft, &wind(0.0, 0.0), &[], 1);
    assert!(none.raster(1).iter().all(|h| h.is_nan()) && none.covers_at(&terrain, fields[0].overhead).is_empty());
    // A field beyond the terrain or over unknown ground covers nothing.
    let away = [field(0, Xy::new(0.0, 0.0), 250.0), field(1, terrain.frame.centre(20, 40), 250.0)];
    assert!(map(&terrain, &aircraft, &wind(0.0, 0.0), &away, 1).raster(1).iter().all(|h| h.is_nan()));
    let ask = |count, stopped: bool| {
        let options = LeastOptions { fields_needed: count, ceiling_amsl_m: CEILING_M, glide: options(50.0) };
        let big = flat(200, 50.0, 0.0);
        let at = [field(0, centre(&big), 200.0)];
        least_heights(&big, &aircraft, &wind(0.0, 0.0), &at, &options, &|_| {}, &|| stopped).err()
    };
    assert_eq!(ask(0, false), Some(LeastError::Count));
    assert_eq!(ask(4, false), Some(LeastError::Count));
    assert_eq!(ask(1, true), Some(LeastError::Stopped));
    assert_eq!(ask(1, false), None);
}
