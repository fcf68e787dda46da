//! What must hold of a glide flown by hand, whatever the hands do.

use super::*;
use crate::air::isa_density_ratio;
use crate::aircraft::GlidingTurn;
use crate::circuit::{HandEnd, HandFlight, Hold, TICK_S};
use crate::math::{self, GRAVITY_MS2};
use proptest::prelude::*;

fn over<'a>(terrain: &'a Terrain, hazards: &'a HazardIndex) -> Surroundings<'a> {
    Surroundings { terrain, hazards, quiet_zones: &[], clearance_m: 50.0 }
}

fn begun(height_m: f64, aircraft: &Aircraft) -> Motion {
    Motion {
        position: Xy::default(),
        height_amsl_m: height_m,
        heading_rad: 0.3,
        bank_rad: 0.0,
        level_speed_ms: aircraft.straight_speed_ms(),
        time_s: 0.0,
    }
}

fn is_finite(m: &Motion) -> bool {
    [m.position.x, m.position.y, m.height_amsl_m, m.heading_rad, m.bank_rad, m.level_speed_ms, m.time_s]
        .iter()
        .all(|v| v.is_finite())
}

#[test]
fn a_constant_bank_turns_and_sinks_as_the_published_turn() {
    let (terrain, hazards, aircraft) = (flat(0.0), nothing_there(), Aircraft::example_flexwing());
    let around = over(&terrain, &hazards);
    let calm = Wind::uniform(WindVector::coming_from(Bearing::NORTH, 0.0));
    let speed = aircraft.straight_speed_ms();
    for bank_deg in [-30.0_f64, 15.0, 40.0] {
        let bank = bank_deg.to_radians();
        let mut flight = HandFlight::new(&aircraft, &calm, &around, &begun(1_000.0, &aircraft), 1.0);
        let hold = Hold { bank_rad: bank, level_speed_ms: speed };
        for _ in 0..100 {
            flight.tick(&around, hold);
        }
        let from = flight.now();
        assert!((from.bank_rad - bank).abs() < 1e-9, "it has rolled: {from:?}");
        for _ in 0..400 {
            flight.tick(&around, hold);
        }
        let to = flight.now();
        let middle = isa_density_ratio(0.5 * (from.height_amsl_m + to.height_amsl_m));
        let turn = GlidingTurn::at_constant_incidence(&aircraft.glide, speed, bank.abs(), middle);
        let turned = to.heading_rad - from.heading_rad;
        let lost = from.height_amsl_m - to.height_amsl_m;
        assert!(turned * bank > 0.0);
        assert!((turned.abs() / (turn.rate_rad_s * 20.0) - 1.0).abs() < 2e-3, "{bank_deg}: {turned} {turn:?}");
        // Denser air lower down takes speed away, and that gives a little height.
        assert!((lost / (turn.sink_ms * 20.0) - 1.0).abs() < 1e-2, "{bank_deg}: {lost} {turn:?}");
    }
}

#[test]
fn hands_off_over_level_ground_it_glides_touches_runs_and_stops() {
    let (terrain, hazards, aircraft) = (flat(0.0), nothing_there(), Aircraft::example_flexwing());
    let around = over(&terrain, &hazards);
    let calm = Wind::uniform(WindVector::coming_from(Bearing::NORTH, 0.0));
    let run = |factor: f64| {
        let mut flight = HandFlight::new(&aircraft, &calm, &around, &begun(100.0, &aircraft), factor);
        let hold = Hold { bank_rad: 0.0, level_speed_ms: aircraft.approach_speed_ms };
        for _ in 0..10_000 {
            flight.tick(&around, hold);
        }
        assert_eq!(flight.end(), Some(HandEnd::Stopped));
        let touched = *flight.touchdown().unwrap();
        assert!(touched.at.height_amsl_m.abs() < 0.01 && touched.sink_ms > 0.0);
        touched.at.position.distance(flight.now().position)
    };
    // From 50 ft to the stop the landing distance of the aircraft, at its approach speed in still air.
    let aloft = 15.24 * aircraft.approach_speed_ms / aircraft.glide.sink_ms(aircraft.approach_speed_ms, 1.0);
    let kept = (aircraft.landing_distance_m - aloft).max(0.3 * aircraft.landing_distance_m);
    assert!((run(1.0) / kept - 1.0).abs() < 0.01, "{} {kept}", run(1.0));
    assert!((run(1.5) / run(1.0) - 1.5).abs() < 0.02);
}

#[test]
fn a_wood_in_the_way_is_struck_and_the_edge_of_the_map_ends_it() {
    use crate::fields::model::{HazardKind, HazardShape};
    let (terrain, aircraft) = (flat(0.0), Aircraft::example_flexwing());
    let wood = Hazard {
        id: "wood".into(),
        kind: HazardKind::Wood,
        shape: HazardShape::Area {
            outer: vec![Xy::new(-300.0, 200.0), Xy::new(600.0, 200.0), Xy::new(600.0, 900.0), Xy::new(-300.0, 900.0)],
            holes: Vec::new(),
        },
        height_m: Some(20.0),
        pole_heights_m: Vec::new(),
        name: String::new(),
        other: Vec::new(),
    };
    let hazards = HazardIndex::new(vec![wood]);
    let around = over(&terrain, &hazards);
    let calm = Wind::uniform(WindVector::coming_from(Bearing::NORTH, 0.0));
    let fly = |from: &Motion| {
        let mut flight = HandFlight::new(&aircraft, &calm, &around, from, 1.0);
        let hold = Hold { bank_rad: f64::NAN, level_speed_ms: f64::NAN };
        while flight.end().is_none() {
            flight.tick(&around, hold);
        }
        flight
    };
    let struck = fly(&begun(70.0, &aircraft));
    assert_eq!(struck.end(), Some(HandEnd::Struck(0)));
    assert!(struck.touchdown().is_none() && struck.now().height_amsl_m <= 20.0);
    let out = Motion { position: Xy::new(9_950.0, 0.0), heading_rad: math::PI / 2.0, ..begun(500.0, &aircraft) };
    assert_eq!(fly(&out).end(), Some(HandEnd::UnknownGround));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// In still air height and speed together are lost by the sink of the glide curve and by nothing else.
    #[test]
    fn energy_is_lost_by_sinking_alone(holds in prop::collection::vec((-0.7..0.7_f64, 15.0..40.0_f64), 1..12)) {
        let (terrain, hazards, aircraft) = (flat(0.0), nothing_there(), Aircraft::example_flexwing());
        let around = over(&terrain, &hazards);
        let calm = Wind::uniform(WindVector::coming_from(Bearing::NORTH, 0.0));
        let mut flight = HandFlight::new(&aircraft, &calm, &around, &begun(1_500.0, &aircraft), 1.0);
        let to_true = |m: &Motion| 1.0 / isa_density_ratio(m.height_amsl_m).sqrt();
        let energy = |m: &Motion| {
            let speed = m.airspeed_ms() * to_true(m);
            m.height_amsl_m + speed * speed / (2.0 * GRAVITY_MS2)
        };
        let sink = |m: &Motion| aircraft.glide.sink_ms(m.airspeed_ms(), 1.0 / math::cos(m.bank_rad)) * to_true(m);
        let (first, mut sunk) = (flight.now(), 0.0);
        for (bank_rad, level_speed_ms) in holds {
            for _ in 0..40 {
                let before = flight.now();
                flight.tick(&around, Hold { bank_rad, level_speed_ms });
                sunk += 0.5 * (sink(&before) + sink(&flight.now())) * TICK_S;
            }
        }
        let lost = energy(&first) - energy(&flight.now());
        prop_assert!((lost - sunk).abs() < 0.02 + 2e-3 * sunk, "{lost} {sunk}");
    }

    /// Nothing that can be held makes a state that is no number, and the same holds give the same bits.
    #[test]
    fn any_holds_give_numbers_and_the_same_ones_again(
        holds in prop::collection::vec((prop::num::f64::ANY, prop::num::f64::ANY), 1..40),
        height_m in 5.0..400.0_f64,
        wind_ms in 0.0..25.0_f64,
    ) {
        let (terrain, hazards, aircraft) = (flat(0.0), nothing_there(), Aircraft::example_flexwing());
        let around = over(&terrain, &hazards);
        let blows = wind(240.0, wind_ms, WindProfile::OPEN_GRASS);
        let fly = || {
            let mut flight = HandFlight::new(&aircraft, &blows, &around, &begun(height_m, &aircraft), 1.0);
            for (bank_rad, level_speed_ms) in &holds {
                for _ in 0..60 {
                    flight.tick(&around, Hold { bank_rad: *bank_rad, level_speed_ms: *level_speed_ms });
                }
            }
            flight
        };
        let (once, again) = (fly(), fly());
        prop_assert!(once.track().iter().all(is_finite));
        prop_assert_eq!(once.track(), again.track());
        prop_assert!(once.track().windows(2).all(|w| w[0].time_s <= w[1].time_s));
        prop_assert!(once.now().bank_rad.abs() <= aircraft.max_bank_rad + 1e-12);
    }
}
