//! The height to spare as the nose turns: no way round is lost between one heading and the next.

use super::super::flight::Grain;
use super::super::plan::{Corner, FirstTurn, Leg};
use super::*;
use crate::fields::circuit_height::Hand;
use rayon::prelude::*;

const STEP_DEG: f64 = 5.0;

/// Where ways round with corners come to an end, the nose 60 to 75° off the downwind leg: from there one turn of more than half a
/// circle from a leg straight onto the final would do, and that is not among the shapes. What is told is careful: a way is
/// missing, none is invented.
const KNOWN_GAP_DEG: [(f64, f64); 2] = [(120.0, 135.0), (345.0, 360.0)];

/// No jump is larger than this even there, metres.
const KNOWN_GAP_M: f64 = 75.0;

/// Height left by the search, less than nothing where it falls short.
fn spare(task: &CircuitTask<'_>, start: &Start) -> f64 {
    match task.least(start) {
        Ok(least) => least.spare_m,
        Err(NoCircuit::TooLow { short_by_m }) => -short_by_m,
        Err(why) => panic!("{why:?}"),
    }
}

/// The most height that is left by any way round with two or three corners of a wide grid, the first turn either way.
fn by_brute_force(task: &CircuitTask<'_>, start: &Start, final_height_m: f64) -> f64 {
    let (place, base) = (*task.landing(), task.limits.base_m);
    let mut best = f64::NEG_INFINITY;
    for hand in [Hand::Left, Hand::Right] {
        for first_turn in [FirstTurn::Left, FirstTurn::Right] {
            for width in (0..18).map(|i| 80.0 + 50.0 * f64::from(i)) {
                let corner = |along, aside, leg| Corner { at: place.place(hand, along, aside), leg: Some(leg) };
                let ends = [corner(-base, width, Leg::Downwind), corner(-base, 0.0, Leg::Base)];
                let mut ways = vec![vec![Corner { leg: Some(Leg::Joining), ..ends[0] }, ends[1]]];
                for along in (-5..=2).map(|i| f64::from(i) * 80.0) {
                    for aside in (1..=8).map(|i| f64::from(i) * 70.0) {
                        ways.push(vec![corner(along, aside, Leg::Joining), ends[0], ends[1]]);
                    }
                }
                for corners in ways {
                    let mut plan = Plan::new(Join::Downwind, hand, base, width, &corners);
                    plan.first_turn = first_turn;
                    plan.turns_as_legs = true;
                    let Ok(flown) = task.flown(start, &plan, Grain::COARSE) else { continue };
                    let spare = flown.at_aim.height_amsl_m - place.aim_amsl_m;
                    let level = flown.wings_level.height_amsl_m - place.aim_amsl_m;
                    if spare < 0.0 || level - spare >= final_height_m - 2.0 {
                        best = best.max(spare);
                    }
                }
            }
        }
    }
    best
}

#[test]
fn over_the_strip_the_height_to_spare_follows_the_nose() {
    let scene = Scene::level(wind(240.0, 12.0 * 0.514_444, WindProfile::OPEN_GRASS));
    let height = 950.0 * 0.304_8;
    let task = scene.task(landing(240.0), height).unwrap();
    let reaction_s = scene.aircraft.reaction_time_s;
    let found: Vec<(f64, f64, f64)> = (0..72)
        .into_par_iter()
        .map(|i| {
            let heading = f64::from(i) * STEP_DEG;
            let start = task.start(&at(0.0, 0.0, height, heading), reaction_s);
            (heading, spare(&task, &start), by_brute_force(&task, &start, scene.aircraft.final_height_m))
        })
        .collect();
    for &(heading, spare, brute) in &found {
        // As against the other grids: five hundredths of the height.
        assert!(brute - spare < 0.05 * height, "{heading}: {spare} {brute}");
        let mirrored = found[(72 - i_of(heading) + 2 * 48) % 72].1;
        assert!((spare - mirrored).abs() < 1.0, "{heading}: {spare} {mirrored}");
        // From 90° off the downwind leg to 65° off, the base join whose turn goes through more than half a circle of heading.
        if (330.0..=345.0).contains(&heading) {
            assert!(spare > 50.0, "{heading}: {spare}");
        }
    }
    // With the nose elsewhere a pilot turns it and flies the other way round: a turn there and one back, rolling in and out of
    // both, and as far aside as the reaction led there, in and out at the glide ratio that is flown into the wind. The
    // search is as good as two hundredths of the height.
    let turn = task.flying().turn_loss_m_per_rad() * STEP_DEG.to_radians();
    let glide = task.flying().glide_ms;
    let aside = glide * reaction_s * STEP_DEG.to_radians();
    let slope = task.flying().level_sink_ms(glide) / (glide - 12.0 * 0.514_444);
    let roll_s = 4.0 * task.flying().bank_for(STEP_DEG.to_radians(), glide) / task.flying().roll_rad_s;
    let rolling = roll_s * task.flying().level_sink_ms(glide);
    let bound = 2.0 * turn + rolling + 2.0 * aside * slope + 0.02 * height;
    assert!(bound < 25.0, "{bound}");
    for i in 0..72 {
        let (a, b) = (found[i], found[(i + 1) % 72]);
        let is_known = KNOWN_GAP_DEG.iter().any(|gap| gap.0 <= a.0 && a.0 + STEP_DEG <= gap.1);
        let bound = if is_known { KNOWN_GAP_M } else { bound };
        assert!((a.1 - b.1).abs() < bound, "{a:?} {b:?} {bound}\n{found:?}");
    }
}

fn i_of(heading: f64) -> usize {
    (heading / STEP_DEG).round() as usize
}
