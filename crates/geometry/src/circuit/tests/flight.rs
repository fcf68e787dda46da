//! What must hold of every flown circuit.

use super::super::flight::{Unwatched, fly};
use super::*;
use crate::math::{self, GRAVITY_MS2};
use proptest::prelude::*;

/// Height lost is the sink integrated, plus what speed costs, plus what a dying headwind costs. Integrated here from the
/// track alone, by Simpson's rule over each step with the glide curve.
fn energy_gap(circuit: &Circuit, scene: &Scene, task: &CircuitTask<'_>) -> f64 {
    let to_true = |h: f64| 1.0 / crate::air::isa_density_ratio(h).sqrt();
    let speed = |m: &Motion| m.airspeed_ms() * to_true(m.height_amsl_m);
    let sink = |m: &Motion| {
        let load = 1.0 / math::cos(m.bank_rad);
        scene.aircraft.glide.sink_ms(m.airspeed_ms(), load) * to_true(m.height_amsl_m)
    };
    let mut gap = 0.0;
    let mut last: Option<Motion> = None;
    for point in &circuit.track {
        let m = point.motion;
        if let Some(a) = last
            && m.time_s > a.time_s
        {
            let dt = m.time_s - a.time_s;
            let mid = Motion {
                bank_rad: 0.5 * (a.bank_rad + m.bank_rad),
                level_speed_ms: 0.5 * (a.level_speed_ms + m.level_speed_ms),
                height_amsl_m: 0.5 * (a.height_amsl_m + m.height_amsl_m),
                ..m
            };
            let sunk = dt / 6.0 * (sink(&a) + 4.0 * sink(&mid) + sink(&m));
            let kinetic = (speed(&m) * speed(&m) - speed(&a) * speed(&a)) / (2.0 * GRAVITY_MS2);
            let along = Bearing::from_rad(0.5 * (a.heading_rad + m.heading_rad)).unit();
            let shear = task.air().wind_at(m.height_amsl_m).xy() - task.air().wind_at(a.height_amsl_m).xy();
            let shear = speed(&mid) / GRAVITY_MS2 * shear.dot(along);
            gap += (a.height_amsl_m - m.height_amsl_m) - (sunk + kinetic + shear);
        }
        last = Some(m);
    }
    gap
}

#[test]
fn height_lost_is_the_integrated_sink_to_a_centimetre() {
    for (speed, profile) in [(0.0, WindProfile::Uniform), (7.0, WindProfile::Uniform)] {
        let scene = Scene::level(wind(30.0, speed, profile));
        for state in [at(0.0, 0.0, 450.0, 90.0), at(-900.0, 700.0, 420.0, 200.0), at(0.0, 0.0, 800.0, 0.0)] {
            let circuit = scene.circuit(landing(0.0), &state).unwrap();
            let task = scene.task(landing(0.0), state.height_amsl_m).unwrap();
            let gap = energy_gap(&circuit, &scene, &task);
            assert!(gap.abs() < 0.01, "{speed} m/s, {state:?}: {gap} m");
        }
    }
}

/// In a wind gradient the heading of straight legs is the crab, which the track does not hold between its points: the
/// books balance to the accuracy with which a heading stands for a step.
#[test]
fn a_dying_headwind_costs_speed_times_the_change_over_g() {
    let scene = Scene::level(wind(0.0, 7.0, WindProfile::OPEN_GRASS));
    let state = at(0.0, 0.0, 450.0, 90.0);
    let circuit = scene.circuit(landing(0.0), &state).unwrap();
    let task = scene.task(landing(0.0), state.height_amsl_m).unwrap();
    let last = circuit.legs.last().unwrap();
    let leg = &circuit.track[last.first_point..];
    // Along the final the heading is the landing direction: the whole change of wind counts.
    let (a, b) = (leg[0].motion, leg[leg.len() - 1].motion);
    let dying = task.air().wind_at(a.height_amsl_m).headwind_ms(Bearing::NORTH)
        - task.air().wind_at(b.height_amsl_m).headwind_ms(Bearing::NORTH);
    let speed = scene.aircraft.approach_speed_ms;
    let sunk = scene.aircraft.glide.sink_ms(speed, 1.0) * (b.time_s - a.time_s);
    let gradient = (a.height_amsl_m - b.height_amsl_m) - sunk;
    let published = speed * dying / GRAVITY_MS2;
    assert!(dying > 2.0, "{dying}");
    assert!((gradient - published).abs() < 0.03 * published + 0.3, "{gradient} {published}");
}

#[test]
fn finer_steps_change_nothing_that_matters() {
    for (from, speed) in [(0.0, 0.0), (40.0, 8.0), (300.0, 5.0)] {
        let scene = Scene::level(wind(from, speed, WindProfile::OPEN_GRASS));
        let state = at(300.0, 200.0, 500.0, 120.0);
        let task = scene.task(landing(0.0), 500.0).unwrap();
        let start = task.start(&state, 4.0);
        let circuit = task.circuit(&start).unwrap();
        let over_aim = |grain: Grain| {
            let flown = fly(task.glider(), task.landing(), &circuit.plan, &start, grain, &mut Unwatched).unwrap();
            flown.at_aim
        };
        let finest = Grain { leg_m: 0.5, turn_rad: 0.005, rolls: 48, passes: 6 };
        let exact = over_aim(finest);
        let fine = over_aim(Grain::FINE);
        // 5 cm of height are 30 cm of ground at this glide: within the half metre that touchdowns are told to.
        assert!((fine.height_amsl_m - exact.height_amsl_m).abs() < 0.05, "{fine:?} {exact:?}");
        assert!(fine.position.distance(exact.position) < 0.02);
        let coarse = over_aim(Grain::COARSE);
        assert!((coarse.height_amsl_m - exact.height_amsl_m).abs() < 2.0, "{coarse:?} {exact:?}");
    }
}

#[test]
fn a_wind_above_the_airspeed_is_said() {
    let scene = Scene::level(wind(90.0, 30.0, WindProfile::Uniform));
    assert_eq!(scene.circuit(landing(90.0), &at(0.0, 0.0, 500.0, 0.0)).unwrap_err(), NoCircuit::Wind);
}

#[test]
fn what_is_not_a_number_is_refused() {
    let scene = Scene::level(wind(0.0, 0.0, WindProfile::Uniform));
    for state in [at(f64::NAN, 0.0, 400.0, 0.0), at(0.0, f64::INFINITY, 400.0, 0.0), at(0.0, 0.0, f64::NAN, 0.0)] {
        let refused = scene
            .task(landing(0.0), 400.0)
            .unwrap()
            .circuit(&scene.task(landing(0.0), 400.0).unwrap().start(&state, 4.0));
        assert_eq!(refused.unwrap_err(), NoCircuit::NotFinite);
    }
    let mut broken = landing(0.0);
    broken.aim_amsl_m = f64::NAN;
    assert_eq!(scene.task(broken, 400.0).unwrap_err(), NoCircuit::NotFinite);
}

#[test]
fn nothing_is_changed_once_the_turn_to_final_has_begun() {
    let scene = Scene::level(wind(0.0, 4.0, WindProfile::OPEN_GRASS));
    let beside = Landing { aim: Xy::new(70.0, 60.0), ..landing(0.0) };
    let far = Landing { aim: Xy::new(4_000.0, 4_000.0), ..landing(0.0) };
    for state in [at(400.0, 200.0, 450.0, 200.0), at(-700.0, -200.0, 420.0, 60.0)] {
        let (own, other, out) = (
            scene.task(landing(0.0), 450.0).unwrap(),
            scene.task(beside, 450.0).unwrap(),
            scene.task(far, 450.0).unwrap(),
        );
        let circuit = own.circuit(&own.start(&state, 4.0)).unwrap();
        // The field beside could still be made on final: the last change lies before it all the same.
        let commit = last_change(&circuit, &own, &[out.clone(), other], 0.0, &|| false).unwrap();
        let turn = circuit.keys.iter().find(|k| k.name == KeyName::TurnToFinal).unwrap();
        assert_eq!(commit.other, 1);
        assert!(commit.at.time_s <= turn.time_s + 1e-6 && commit.height_m >= turn.height_m, "{commit:?} {turn:?}");
        assert_eq!(last_change(&circuit, &own, &[out], 0.0, &|| false), None);
    }
}

#[test]
fn from_50_ft_there_is_only_ahead() {
    let scene = Scene::level(wind(0.0, 3.0, WindProfile::OPEN_GRASS));
    // Lined up and low: straight in, within the 30° that need no wings level by a height.
    let ahead = scene.circuit(landing(0.0), &at(0.0, -220.0, 60.0, 0.0));
    assert_eq!(ahead.map(|c| c.plan.join), Ok(Join::StraightIn));
    // Abeam at 50 ft: nothing.
    assert!(matches!(scene.circuit(landing(0.0), &at(-300.0, 0.0, 15.24, 180.0)), Err(NoCircuit::TooLow { .. })));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_circuit_keeps_its_promises(
        x in -2_000.0..2_000.0f64, y in -2_000.0..2_000.0f64, height in 150.0..900.0f64, heading in 0.0..360.0f64,
        from in 0.0..360.0f64, speed in 0.0..9.0f64, landing_deg in 0.0..360.0f64,
    ) {
        let scene = Scene::level(wind(from, speed, WindProfile::OPEN_GRASS));
        let place = landing(landing_deg);
        let state = at(x, y, height, heading);
        let spare = scene.spare(place, &state);
        match scene.circuit(place, &state) {
            Ok(c) => {
                prop_assert!(spare.is_ok());
                // It lands on the aiming point, or, low and ahead, within the strip.
                prop_assert!(c.aim_error_m.abs() < 1.0 || (c.aim_error_m > 0.0 && c.long_margin_m >= 0.0), "{}", c.aim_error_m);
                // The books: heights and times follow one another, legs add up.
                for w in c.track.windows(2) {
                    prop_assert!(w[1].motion.time_s >= w[0].motion.time_s - 1e-3);
                }
                let lost: f64 = c.legs.iter().map(|l| l.lost_m).sum();
                let whole = height - c.track[c.track.len() - 1].motion.height_amsl_m;
                prop_assert!((lost - whole).abs() < 0.01, "{lost} {whole}");
                // No bank beyond the aircraft's ordinary bank, and no speed below its slowest.
                let bank = scene.aircraft.turn_bank_rad + 1e-9;
                prop_assert!(c.track.iter().all(|p| p.motion.bank_rad.abs() <= bank));
                // Wings level by the final height, unless the landing lies ahead.
                let level = c.keys.iter().find(|k| k.name == KeyName::WingsLevel).unwrap();
                let turned: f64 = c.legs.iter().filter_map(|l| l.turned_rad).map(f64::abs).sum();
                if turned > 2.0 {
                    prop_assert!(level.height_m >= scene.aircraft.final_height_m - 4.0, "{}", level.height_m);
                }
                // Spare height is never more than what gliding straight would leave.
                prop_assert!(c.spare_m < height);
            }
            Err(NoCircuit::TooLow { short_by_m }) => prop_assert!(short_by_m > 0.0),
            Err(NoCircuit::TooHigh { spare_m }) => prop_assert!(spare_m > 0.0),
            Err(other) => prop_assert!(spare.is_err() || speed > 6.0, "{other:?}"),
        }
    }

    #[test]
    fn turning_everything_changes_nothing(
        x in -1_500.0..1_500.0f64, y in -1_500.0..1_500.0f64, heading in 0.0..360.0f64,
        from in 0.0..360.0f64, speed in 0.0..8.0f64, by in 0.0..360.0f64,
    ) {
        let spare = |by: f64| {
            let scene = Scene::level(wind(from + by, speed, WindProfile::OPEN_GRASS));
            let turned = Bearing::from_deg(Xy::new(x, y).bearing().map_or(0.0, Bearing::deg) + by).unit() * math::hypot(x, y);
            scene.spare(landing(by), &at(turned.x, turned.y, 500.0, heading + by))
        };
        match (spare(0.0), spare(by)) {
            (Ok(a), Ok(b)) => prop_assert!((a - b).abs() < 0.5, "{a} {b}"),
            (Err(NoCircuit::TooLow { short_by_m: a }), Err(NoCircuit::TooLow { short_by_m: b })) => {
                prop_assert!((a - b).abs() < 0.5, "{a} {b}");
            }
            (Ok(a), Err(NoCircuit::TooLow { short_by_m: b })) | (Err(NoCircuit::TooLow { short_by_m: b }), Ok(a)) => {
                prop_assert!(a < 0.5 && b < 0.5);
            }
            (a, b) => prop_assert_eq!(a.is_ok(), b.is_ok()),
        }
    }

    #[test]
    fn more_height_is_more_spare(
        x in -1_500.0..1_500.0f64, y in -1_500.0..1_500.0f64, heading in 0.0..360.0f64, height in 350.0..700.0f64,
    ) {
        let scene = Scene::level(wind(20.0, 4.0, WindProfile::OPEN_GRASS));
        let (low, high) = (scene.spare(landing(0.0), &at(x, y, height, heading)), scene.spare(landing(0.0), &at(x, y, height + 50.0, heading)));
        if let (Ok(low), Ok(high)) = (low, high) {
            // Thinner air sinks a little faster, and the search may find a better way round.
            prop_assert!(high > low + 45.0, "{low} {high}");
        } else {
            prop_assert!(low.is_err());
        }
    }
}
