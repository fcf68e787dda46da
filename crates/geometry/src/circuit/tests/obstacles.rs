//! Ground, wires, woods and quiet zones in the way of circuits.

use super::*;
use crate::fields::model::{HazardKind, HazardShape, QuietKind, QuietZone};
use std::sync::Arc;

fn square(x: f64, y: f64, half: f64) -> Vec<Xy> {
    vec![
        Xy::new(x - half, y - half),
        Xy::new(x + half, y - half),
        Xy::new(x + half, y + half),
        Xy::new(x - half, y + half),
    ]
}

#[test]
fn wires_on_one_side_send_the_circuit_to_the_other() {
    let mut scene = Scene::level(wind(0.0, 3.0, WindProfile::OPEN_GRASS));
    let state = at(0.0, 400.0, 330.0, 180.0);
    // Masts as tall as the circuit is high, all along the east side.
    for side in [1.0, -1.0] {
        let masts = (0..40).map(|i| {
            let at = Xy::new(side * (150.0 + 30.0 * f64::from(i % 10)), -700.0 + 220.0 * f64::from(i / 10));
            let mut mast = Hazard::new("m", HazardKind::Mast, HazardShape::Point(at));
            mast.height_m = Some(250.0);
            mast
        });
        scene.hazards = HazardIndex::new(masts.collect::<Vec<_>>());
        let circuit = scene.circuit(landing(0.0), &state).unwrap();
        let widest = circuit.track.iter().map(|p| side * p.motion.position.x).fold(f64::NEG_INFINITY, f64::max);
        let other = circuit.track.iter().map(|p| -side * p.motion.position.x).fold(f64::NEG_INFINITY, f64::max);
        assert!(widest < 150.0 && other > 150.0, "side {side}: {widest} {other}");
    }
}

#[test]
fn a_wall_before_every_approach_is_named() {
    let mut scene = Scene::level(wind(0.0, 0.0, WindProfile::Uniform));
    let ring = |r: f64| (0..36).map(|i| Bearing::from_deg(f64::from(i) * 10.0).unit() * r).collect::<Vec<_>>();
    let mut wall =
        Hazard::new("w", HazardKind::Other, HazardShape::Area { outer: ring(1_500.0), holes: vec![ring(320.0)] });
    wall.height_m = Some(400.0);
    scene.hazards = HazardIndex::new(vec![wall]);
    match scene.circuit(landing(0.0), &at(0.0, -2_500.0, 700.0, 0.0)) {
        Err(NoCircuit::InTheWay(TooLow { over: InTheWay::Hazard(0), by_m, .. })) => assert!(by_m > 0.0),
        other => panic!("{other:?}"),
    }
}

#[test]
fn rising_ground_under_the_base_leg_is_in_the_way() {
    let mut scene = Scene::level(wind(0.0, 0.0, WindProfile::Uniform));
    // A ridge of 300 m south of the strip, where every base leg and final lies.
    let frame = scene.terrain.frame;
    for row in 0..frame.rows {
        for col in 0..frame.cols {
            if frame.centre(row, col).y < -250.0 {
                scene.terrain.heights_m[row * frame.cols + col] = 300.0;
            }
        }
    }
    let refused = scene.circuit(landing(0.0), &at(0.0, 600.0, 600.0, 180.0));
    assert!(matches!(refused, Err(NoCircuit::InTheWay(TooLow { over: InTheWay::Ground, .. }))), "{refused:?}");
}

#[test]
fn unknown_ground_is_never_flown_over() {
    let mut scene = Scene::level(wind(0.0, 0.0, WindProfile::Uniform));
    for height in &mut scene.terrain.heights_m {
        *height = f32::NAN;
    }
    let refused = scene.circuit(landing(0.0), &at(0.0, 0.0, 600.0, 180.0));
    assert!(matches!(refused, Err(NoCircuit::InTheWay(TooLow { over: InTheWay::UnknownGround, .. }))), "{refused:?}");
}

#[test]
fn quiet_zones_are_kept_clear_of_unless_told_otherwise() {
    let scene = Scene::level(wind(0.0, 3.0, WindProfile::OPEN_GRASS));
    let zone = |x: f64| {
        Arc::new(QuietZone {
            id: String::new(),
            kind: QuietKind::Houses,
            name: String::new(),
            outer: square(x, -500.0, 450.0),
            below_agl_m: 400.0,
        })
    };
    let west = [zone(-480.0)];
    let state = at(0.0, 400.0, 330.0, 180.0);
    let with = |zones: &[Arc<QuietZone>], heed: bool| {
        let around = Surroundings {
            terrain: &scene.terrain,
            hazards: &scene.hazards,
            quiet_zones: zones,
            clearance_m: scene.aircraft.terrain_clearance_m,
        };
        let options = CircuitOptions { heed_quiet_zones: heed, ..CircuitOptions::default() };
        let task = CircuitTask::new(&scene.aircraft, &scene.wind, landing(0.0), around, options, 330.0).unwrap();
        task.circuit(&task.start(&state, 4.0))
    };
    let circuit = with(&west, true).unwrap();
    let inside = |p: &TrackPoint| {
        p.leg != Leg::Final
            && (p.motion.position.x + 480.0).abs() < 450.0
            && (p.motion.position.y + 500.0).abs() < 450.0
    };
    assert!(!circuit.track.iter().any(|p| inside(p) && p.motion.height_amsl_m < 400.0));
    let both = [zone(-480.0), zone(480.0)];
    let refused = with(&both, true);
    assert!(matches!(refused, Err(NoCircuit::InTheWay(TooLow { over: InTheWay::QuietZone(_), .. }))), "{refused:?}");
    assert!(with(&both, false).is_ok());
}
