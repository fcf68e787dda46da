use super::*;
use crate::air::{Wind, WindProfile, WindVector};
use crate::aircraft::Aircraft;
use crate::fields::hazards::HazardIndex;
use crate::grid::{GridFrame, Terrain, TerrainAccuracy};
use crate::position::{Bearing, Xy};
use crate::reach::AircraftState;

pub(super) fn flat(height_m: f32) -> Terrain {
    let frame = GridFrame { origin: Xy::new(-10_000.0, 10_000.0), cell_m: 100.0, cols: 201, rows: 201 };
    Terrain { frame, heights_m: vec![height_m; frame.len()], accuracy: TerrainAccuracy::default() }
}

pub(super) fn landing(heading_deg: f64) -> Landing {
    Landing {
        aim: Xy::default(),
        aim_amsl_m: 0.0,
        heading: Bearing::from_deg(heading_deg),
        slope: 0.0,
        aim_from_start_m: 40.0,
        displacement_m: 20.0,
        length_m: 400.0,
        width_m: 20.0,
        stop_from_50_ft_m: 180.0,
    }
}

pub(super) fn nothing_there() -> HazardIndex {
    HazardIndex::new(Vec::<crate::fields::model::Hazard>::new())
}

pub(super) fn at(x: f64, y: f64, height: f64, heading_deg: f64) -> AircraftState {
    AircraftState { position: Xy::new(x, y), height_amsl_m: height, heading: Some(Bearing::from_deg(heading_deg)) }
}

#[test]
fn explore() {
    let terrain = flat(0.0);
    let hazards = nothing_there();
    let aircraft = Aircraft::example_flexwing();
    for wind_ms in [0.0, 6.0] {
        let wind = Wind::new(WindVector::coming_from(Bearing::NORTH, wind_ms), WindProfile::OPEN_GRASS, vec![], 0.0);
        for state in [
            at(0.0, 0.0, 450.0, 90.0),
            at(0.0, -2_000.0, 500.0, 0.0),
            at(-400.0, 300.0, 300.0, 180.0),
            at(1_500.0, 800.0, 450.0, 200.0),
            at(0.0, -300.0, 60.0, 0.0),
            at(0.0, 500.0, 200.0, 0.0),
            at(0.0, 0.0, 900.0, 0.0),
        ] {
            let around = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 50.0 };
            let t0 = std::time::Instant::now();
            let task = CircuitTask::new(
                &aircraft,
                &wind,
                landing(0.0),
                around,
                CircuitOptions::default(),
                state.height_amsl_m,
            )
            .unwrap();
            let t1 = t0.elapsed();
            let start = task.start(&state, 4.0);
            let least = task.least(&start);
            let t2 = t0.elapsed();
            let circuit = task.circuit(&start);
            let t3 = t0.elapsed();
            println!("wind {wind_ms} {state:?} base {:?}", task.limits);
            println!("   new {t1:?} least {:?} {:?}", t2, t3);
            match least {
                Ok(l) => println!(
                    "   least {:?} {:?} w {:.0} spare {:.1}",
                    l.plan.join, l.plan.hand, l.plan.width_m, l.spare_m
                ),
                Err(e) => println!("   {e:?}"),
            }
            match circuit {
                Ok(c) => {
                    println!(
                        "   {:?} {:?} orbits {} w {:.0} base {:.0} spare {:.1} err {:.2} short {:.0} long {:.0} clear {:.0} T {:.0}",
                        c.join,
                        c.hand,
                        c.plan.orbits,
                        c.plan.width_m,
                        c.base_leg_distance_m,
                        c.spare_m,
                        c.aim_error_m,
                        c.short_margin_m,
                        c.long_margin_m,
                        c.least_clearance_m,
                        c.duration_s
                    );
                    for k in &c.keys {
                        println!(
                            "      {:?} {:.0},{:.0} h {:.1} t {:.1}",
                            k.name, k.position.x, k.position.y, k.height_m, k.time_s
                        );
                    }
                    for l in &c.legs {
                        println!(
                            "      {:?} turned {:?} {:.1}s lost {:.1} dist {:.0}",
                            l.leg,
                            l.turned_rad.map(|t| t.to_degrees().round()),
                            l.duration_s,
                            l.lost_m,
                            l.distance_m
                        );
                    }
                }
                Err(e) => println!("   {e:?}"),
            }
        }
    }
}
