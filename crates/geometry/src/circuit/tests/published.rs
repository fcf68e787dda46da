//! Patterns and figures of handbooks, flown.

use super::super::record::describe;
use super::*;
use crate::aircraft::GlideCurve;
use crate::fields::circuit_height::Hand;

const FT: f64 = 0.304_8;

/// The 5 : 1 aircraft of FAA-H-8083-5 (Weight-Shift Control Aircraft Flying Handbook), chapter 13, at 45 kt.
fn five_to_one() -> Aircraft {
    let knots = 0.514_444;
    Aircraft {
        glide: GlideCurve::from_best_glide(45.0 * knots, 5.0).unwrap(),
        approach_speed_ms: 45.0 * knots,
        reaction_time_s: 0.0,
        base_leg_distance_m: 150.0,
        final_height_m: 40.0,
        ..Aircraft::example_flexwing()
    }
}

/// FAA-S-ACS-7A, power-off accuracy approach: touchdown within 200 ft beyond the spot and never short of it.
fn assert_on_the_spot(circuit: &Circuit) {
    assert!((-0.5..200.0 * FT).contains(&circuit.aim_error_m), "{}", circuit.aim_error_m);
}

/// FAA-H-8083-5, 90° power-off approach: from the base leg, below circuit height but above 500 ft, the landing spot 45°
/// off the nose.
#[test]
fn the_90_degree_power_off_approach_lands_on_the_spot() {
    let scene = Scene { aircraft: five_to_one(), ..Scene::level(wind(0.0, 0.0, WindProfile::Uniform)) };
    // On base, flying east, the spot at 45°: as far ahead as aside.
    let circuit = scene.circuit(landing(0.0), &at(-400.0, -400.0, 600.0 * FT, 90.0)).unwrap();
    assert_on_the_spot(&circuit);
}

/// FAA-H-8083-5, 180° power-off approach: abeam the spot on downwind, at circuit height, at most 1 000 ft.
#[test]
fn the_180_degree_power_off_approach_lands_on_the_spot() {
    let scene = Scene { aircraft: five_to_one(), ..Scene::level(wind(0.0, 0.0, WindProfile::Uniform)) };
    for height_ft in [700.0, 850.0, 1_000.0] {
        let circuit = scene.circuit(landing(0.0), &at(-300.0, 0.0, height_ft * FT, 180.0)).unwrap();
        assert_on_the_spot(&circuit);
    }
}

/// FAA-H-8083-5, 360° power-off approach: over the approach end in landing direction at 2 000 ft or more; the turn to
/// final is complete at 300 ft or higher.
#[test]
fn the_360_degree_power_off_approach_lands_on_the_spot() {
    let aircraft = Aircraft { final_height_m: 300.0 * FT, ..five_to_one() };
    let scene = Scene { aircraft, ..Scene::level(wind(0.0, 0.0, WindProfile::Uniform)) };
    let circuit = scene.circuit(landing(0.0), &at(0.0, -40.0, 2_000.0 * FT, 0.0)).unwrap();
    assert_on_the_spot(&circuit);
    let level = circuit.keys.iter().find(|k| k.name == KeyName::WingsLevel).unwrap();
    assert!(level.height_m >= 300.0 * FT - 1.0, "{}", level.height_m);
    // Trade figure: about 1 000 ft abeam; the pattern is ours, so only the order is held against it.
    if let Some(abeam) = circuit.keys.iter().find(|k| k.name == KeyName::Abeam) {
        assert!((500.0 * FT..1_600.0 * FT).contains(&abeam.height_m), "{}", abeam.height_m);
    }
}

/// A straight-in approach that begins with one whole turn to the left.
fn one_orbit(task: &CircuitTask<'_>, start: &Start) -> Circuit {
    let corner = Corner { at: Xy::new(0.0, -1_000.0), leg: Some(Leg::Joining) };
    let mut plan = Plan::new(Join::StraightIn, Hand::Left, 1_000.0, 0.0, &[corner]);
    plan.orbits = 1;
    describe(task, &plan, start, 0.0).unwrap()
}

/// Welch, Welch & Irving, *The Complete Soaring Pilot's Handbook*: circling at 46 mph, 26 : 1; height lost in a full
/// turn at 30°, 45° and 60° is 79, 68 and 79 ft, times 25, 16 and 11 s. Flown through one orbit without its rolls, which
/// the table leaves out, by rolling almost at once.
#[test]
fn orbits_lose_what_the_circling_table_says() {
    for (bank_deg, lost_ft, time_s) in [(30.0, 79.0, 25.0), (45.0, 68.0, 16.0), (60.0, 79.0, 11.0f64)] {
        let mph = 0.447_04;
        let aircraft = Aircraft {
            glide: GlideCurve::from_best_glide(46.0 * mph, 26.0).unwrap(),
            turn_bank_rad: f64::to_radians(bank_deg),
            max_bank_rad: f64::to_radians(bank_deg),
            roll_rate_rad_s: f64::to_radians(2_000.0),
            approach_speed_ms: 46.0 * mph,
            stall_speed_ms: 12.0,
            min_glide_speed_ms: 13.0,
            ..Aircraft::example_flexwing()
        };
        // Everything about sea level: the table knows no thinner air.
        let scene = Scene { aircraft, terrain: flat(-300.0), ..Scene::level(wind(0.0, 0.0, WindProfile::Uniform)) };
        let low = Landing { aim_amsl_m: -300.0, ..landing(0.0) };
        let task = scene.task(low, 10.0).unwrap();
        let start = task.start(&at(0.0, -3_000.0, 10.0, 0.0), 0.0);
        let told = one_orbit(&task, &start);
        let orbit = told.legs.iter().find(|l| l.leg == Leg::Orbit).unwrap();
        assert!((orbit.lost_m / FT - lost_ft).abs() < 1.0, "{bank_deg}°: {} ft", orbit.lost_m / FT);
        assert!((orbit.duration_s - time_s).abs() < 0.6, "{bank_deg}°: {} s", orbit.duration_s);
    }
}

/// In a steady wind an orbit is a trochoid: after a whole turn the aircraft has drifted by wind × time, in closed form.
#[test]
fn an_orbit_drifts_with_the_wind() {
    let orbit = |speed_ms: f64| {
        let scene = Scene::level(wind(270.0, speed_ms, WindProfile::Uniform));
        let task = scene.task(landing(0.0), 900.0).unwrap();
        let start = task.start(&at(0.0, -3_000.0, 900.0, 0.0), 0.0);
        let told = one_orbit(&task, &start);
        let index = told.legs.iter().position(|l| l.leg == Leg::Orbit).unwrap();
        let (orbit, next) = (told.legs[index], told.legs[index + 1]);
        assert!((orbit.turned_rad.unwrap().abs() - crate::math::TAU).abs() < 2e-3);
        let (a, b) = (told.track[orbit.first_point].motion, told.track[next.first_point].motion);
        (b.position - a.position, orbit.duration_s)
    };
    // Rolling in and out leaves the spiral open even in still air: the wind adds its drift to that and nothing else.
    let ((still, _), (blown, duration_s)) = (orbit(0.0), orbit(6.0));
    let drift = blown - still;
    assert!((drift.x - 6.0 * duration_s).abs() < 0.1 && drift.y.abs() < 0.1, "{drift:?} {duration_s}");
}
