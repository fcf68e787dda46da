//! The search against every circuit of a fine grid.

use super::super::flight::{Unwatched, fly};
use super::super::pattern::{BaseJoin, Shape};
use super::*;
use crate::fields::circuit_height::Hand;
use rayon::prelude::*;

/// How many random states.
const CASES: usize = 1_000;

/// Numbers from 0 to 1, the same every time: the fractional parts of multiples of roots (Weyl's sequence).
fn spread(i: usize, dimension: usize) -> f64 {
    let root = [2.0f64, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0][dimension].sqrt();
    (i as f64 * root).fract()
}

/// The most height that any circuit of the grid leaves, `None` where none can be flown.
fn best_of_all(task: &CircuitTask<'_>, start: &Start, final_height_m: f64) -> Option<f64> {
    let mut best: Option<f64> = None;
    let limits = &task.limits;
    for hand in [Hand::Left, Hand::Right] {
        for (join, direct) in Join::ALL.into_iter().map(|j| (j, false)).chain([(Join::Base, true)]) {
            let alongs: Vec<f64> = match join {
                Join::StraightIn | Join::Base => vec![0.0],
                _ => (-3..=6).map(|i| f64::from(i) * 90.0).collect(),
            };
            for from_along_m in alongs {
                let shape = Shape {
                    join,
                    hand,
                    from_along_m,
                    orbits: 0,
                    base: if direct { BaseJoin::Direct } else { BaseJoin::Usual },
                    s_turns: 0,
                };
                let (least, most) = shape.sizes(limits);
                let mut size_m = least;
                while size_m <= most.min(1_400.0) {
                    let plan = shape.plan(task.landing(), limits, size_m);
                    size_m += 40.0;
                    if shape.has_one_corner() {
                        let way = plan.corners()[0].at - start.motion.position;
                        let straightness = way.dot(task.landing().along()) / way.norm();
                        if (straightness < 0.5) != direct || straightness < -0.7 {
                            continue;
                        }
                    }
                    let Ok(flown) = fly(task.glider(), task.landing(), &plan, start, Grain::COARSE, &mut Unwatched)
                    else {
                        continue;
                    };
                    let spare = flown.at_aim.height_amsl_m - task.landing().aim_amsl_m;
                    let level = flown.wings_level.height_amsl_m - task.landing().aim_amsl_m;
                    if spare >= 0.0 && level - spare < final_height_m - 2.0 {
                        continue;
                    }
                    best = Some(best.map_or(spare, |b: f64| b.max(spare)));
                }
            }
        }
    }
    best
}

/// Feasible wherever the grid is (at least 99 of 100), and height left within 2 % of the height at hand.
#[test]
fn the_search_finds_what_a_fine_grid_of_circuits_finds() {
    let cases: Vec<(Option<f64>, Result<f64, NoCircuit>, f64)> = (0..CASES)
        .into_par_iter()
        .map(|i| {
            let scene = Scene::level(wind(360.0 * spread(i, 0), 9.0 * spread(i, 1), WindProfile::OPEN_GRASS));
            let away = Bearing::from_deg(360.0 * spread(i, 2)).unit() * (1_800.0 * spread(i, 3));
            let height = 250.0 + 450.0 * spread(i, 4);
            let state = at(away.x, away.y, height, 360.0 * spread(i, 5));
            let options = CircuitOptions { turn_towards_below_m: 0.0, ..CircuitOptions::default() };
            let task = scene.task_with(landing(0.0), height, options).unwrap();
            let start = task.start(&state, 4.0);
            let brute = best_of_all(&task, &start, scene.aircraft.final_height_m);
            (brute.filter(|b| *b >= 0.0), task.least(&start).map(|l| l.spare_m), height)
        })
        .collect();
    let feasible = cases.iter().filter(|c| c.0.is_some()).count();
    let both: Vec<_> = cases.iter().filter_map(|c| Some((c.0?, c.1.ok()?, c.2))).collect();
    let worst = both.iter().map(|(brute, found, height)| (brute - found) / height).fold(0.0, f64::max);
    let beyond = both.iter().filter(|(brute, found, height)| brute - found > 0.02 * height).count();
    assert!(feasible > 400, "{feasible}");
    assert!(both.len() * 100 >= feasible * 99, "{} of {feasible}", both.len());
    assert!(beyond * 100 <= both.len(), "{beyond} of {} beyond 2 %, worst {worst}", both.len());
    // The grid is no better by much anywhere, and the search is not better than is possible: both fly the same equations.
    assert!(worst < 0.05, "{worst}");
}
