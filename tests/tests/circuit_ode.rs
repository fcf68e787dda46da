//! Flown circuits against an independent integration of the equations of motion (`circuit_reference/generate.py`).
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use serde_json::{Value, json};
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{Circuit, CircuitOptions, CircuitTask, Landing, Leg, Surroundings};
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::Hazard;
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::AircraftState;
use std::path::PathBuf;

/// Touchdowns agree to this, metres.
const TOUCHDOWN_M: f64 = 0.5;

/// Place, height, heading, and the surface wind: from, and m/s.
const CASES: [(f64, f64, f64, f64, f64, f64); 12] = [
    (0.0, 0.0, 450.0, 90.0, 0.0, 0.0),
    (900.0, 500.0, 450.0, 200.0, 0.0, 6.0),
    (-600.0, 300.0, 420.0, 170.0, 20.0, 5.0),
    (0.0, -1_500.0, 520.0, 10.0, 340.0, 3.0),
    (300.0, 200.0, 500.0, 120.0, 40.0, 8.0),
    (-200.0, 800.0, 600.0, 300.0, 350.0, 7.0),
    (1_200.0, -400.0, 520.0, 280.0, 60.0, 4.0),
    (0.0, 0.0, 800.0, 0.0, 10.0, 6.0),
    (-900.0, -300.0, 450.0, 45.0, 0.0, 2.0),
    (500.0, 900.0, 550.0, 180.0, 330.0, 9.0),
    (100.0, -900.0, 420.0, 340.0, 0.0, 4.0),
    (-400.0, 0.0, 700.0, 90.0, 180.0, 1.5),
];

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("circuit_reference")
}

fn flown(case: (f64, f64, f64, f64, f64, f64)) -> Circuit {
    let (x, y, height_amsl_m, heading_deg, from_deg, speed_ms) = case;
    let frame = GridFrame { origin: Xy::new(-10_000.0, 10_000.0), cell_m: 100.0, cols: 201, rows: 201 };
    let terrain = Terrain { frame, heights_m: vec![0.0; frame.len()], accuracy: TerrainAccuracy::default() };
    let hazards = HazardIndex::new(Vec::<Hazard>::new());
    let around = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 50.0 };
    let aircraft = Aircraft::example_flexwing();
    let surface = WindVector::coming_from(Bearing::from_deg(from_deg), speed_ms);
    let wind = Wind::new(surface, WindProfile::OPEN_GRASS, Vec::new(), 0.0);
    let landing = Landing {
        aim: Xy::default(),
        aim_amsl_m: 0.0,
        heading: Bearing::NORTH,
        slope: 0.0,
        aim_from_start_m: 60.0,
        displacement_m: 20.0,
        length_m: 450.0,
        width_m: 20.0,
        stop_from_50_ft_m: 180.0,
    };
    let task = CircuitTask::new(&aircraft, &wind, landing, around, CircuitOptions::default(), height_amsl_m).unwrap();
    let heading = Some(Bearing::from_deg(heading_deg));
    let state = AircraftState { position: Xy::new(x, y), height_amsl_m, heading };
    let circuit = task.circuit(&task.start(&state, aircraft.reaction_time_s));
    circuit.unwrap_or_else(|why| panic!("{case:?}: {why:?}"))
}

/// What the pilot does, piece by piece, read off the flown track.
fn pieces(case: (f64, f64, f64, f64, f64, f64)) -> Value {
    let aircraft = Aircraft::example_flexwing();
    let circuit = flown(case);
    let first = circuit.track[0].motion;
    let mut list = Vec::new();
    for (i, leg) in circuit.legs.iter().enumerate() {
        let end = circuit.legs.get(i + 1).map_or(circuit.track.len(), |next| next.first_point);
        let points = &circuit.track[leg.first_point..end];
        let (a, b) = (points[0].motion, points[points.len() - 1].motion);
        let speed_ms = if leg.leg == Leg::Final { aircraft.approach_speed_ms } else { aircraft.straight_speed_ms() };
        let kind = match (leg.turned_rad, leg.leg) {
            (Some(_), _) => "turn",
            (None, Leg::Reaction) => "heading",
            (None, _) => "track",
        };
        let bank = points
            .iter()
            .map(|p| p.motion.bank_rad)
            .fold(0.0f64, |most, b| if b.abs() > most.abs() { b } else { most });
        list.push(json!({
            "kind": kind,
            "duration_s": leg.duration_s,
            "track_rad": (b.position - a.position).bearing().map_or(0.0, Bearing::rad),
            "bank_rad": bank,
            "roll_s": bank.abs() / aircraft.roll_rate_rad_s,
            "speed_ms": speed_ms,
        }));
    }
    json!({
        "wind_from_deg": case.4,
        "wind_ms": case.5,
        "start": [first.position.x, first.position.y, first.height_amsl_m, first.heading_rad, first.level_speed_ms],
        "pieces": list,
    })
}

#[test]
#[ignore = "writes the committed pieces.json anew; checks nothing"]
fn write_the_pieces() {
    if std::env::var_os("SPAREFIELD_WRITE_REFERENCE").is_none() {
        return;
    }
    let all: Vec<Value> = CASES.into_iter().map(pieces).collect();
    std::fs::write(folder().join("pieces.json"), format!("{:#}\n", Value::from(all))).unwrap();
}

#[test]
fn touchdowns_are_where_an_independent_integration_puts_them() {
    let read =
        |name: &str| -> Vec<Value> { serde_json::from_slice(&std::fs::read(folder().join(name)).unwrap()).unwrap() };
    let (kept, expected) = (read("pieces.json"), read("expected.json"));
    assert_eq!((kept.len(), expected.len()), (CASES.len(), CASES.len()));
    for ((case, kept), expected) in CASES.into_iter().zip(&kept).zip(&expected) {
        let number = |value: &Value, key: &str| value[key].as_f64().unwrap();
        // The reference belongs to these very flights: when the search chooses others, both files are made anew.
        let now = pieces(case);
        let (was, is) = (kept["pieces"].as_array().unwrap(), now["pieces"].as_array().unwrap());
        assert_eq!(was.len(), is.len(), "{case:?}: the circuit has changed; write the reference anew");
        for (was, is) in was.iter().zip(is) {
            let gap = (number(was, "duration_s") - number(is, "duration_s")).abs();
            assert!(gap < 1e-3, "{case:?}: the circuit has changed; write the reference anew");
        }
        let circuit = flown(case);
        let place = Xy::new(number(expected, "x_m"), number(expected, "y_m"));
        let off = circuit.touchdown.distance(place);
        assert!(off < TOUCHDOWN_M, "{case:?}: {off} m");
        assert!(number(expected, "height_m").abs() < 1e-3);
        assert!((circuit.duration_s - number(expected, "time_s")).abs() < 0.05, "{case:?}");
    }
}
