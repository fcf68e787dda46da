use super::random::{Sobol, normal_score};
use super::*;
use crate::air::{Wind, WindProfile, WindVector};
use crate::aircraft::Aircraft;
use crate::circuit::tests::{at, flat, landing, nothing_there};
use crate::circuit::{Circuit, CircuitOptions, Surroundings};
use crate::position::{Bearing, Xy};
use crate::reach::AircraftState;

/// Something to fly, in a wind from the north with a profile.
fn with_case<T>(
    wind: &Wind,
    state: &AircraftState,
    then: impl FnOnce(&CircuitTask<'_>, &Circuit, &Start) -> T,
) -> T {
    let (terrain, hazards) = (flat(0.0), nothing_there());
    let aircraft = Aircraft::example_flexwing();
    let around = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 50.0 };
    let options = CircuitOptions::default();
    let task = CircuitTask::new(&aircraft, wind, landing(0.0), around, options, state.height_amsl_m).unwrap();
    let start = task.start(state, 4.0);
    let circuit = task.circuit(&start).unwrap();
    then(&task, &circuit, &start)
}

fn northerly(speed_ms: f64) -> Wind {
    Wind::new(WindVector::coming_from(Bearing::NORTH, speed_ms), WindProfile::OPEN_GRASS, vec![], 0.0)
}

fn states() -> [AircraftState; 4] {
    [at(0.0, 0.0, 450.0, 90.0), at(-400.0, 300.0, 300.0, 180.0), at(900.0, 500.0, 450.0, 200.0), at(0.0, 0.0, 900.0, 0.0)]
}

#[test]
fn without_doubt_every_flight_is_the_circuit_as_described() {
    for wind_ms in [0.0, 6.0] {
        for state in states() {
            with_case(&northerly(wind_ms), &state, |task, circuit, start| {
                let budget = Budget { samples: 40, ..Budget::default() };
                let r = robustness(task, &circuit.plan, start, &Uncertainty::NONE, &budget, &|| false).unwrap();
                println!("{wind_ms} {:?} described {:.2} flown {:.2}", circuit.join, circuit.aim_error_m, r.along.p50_m);
                assert!((r.along.p5_m - r.along.p95_m).abs() < 1e-9);
                assert!((r.along.p50_m - circuit.aim_error_m).abs() < 4.0, "{} {}", r.along.p50_m, circuit.aim_error_m);
                assert_eq!((r.share, r.short, r.long), (1.0, 0.0, 0.0));
            });
        }
    }
}

#[test]
fn the_same_seed_gives_the_same_bits_on_one_thread_and_two() {
    with_case(&northerly(5.0), &states()[2], |task, circuit, start| {
        let on = |threads: usize, seed: u64| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let budget = Budget { samples: 3_000, seed, stop: None };
            pool.install(|| {
                robustness(task, &circuit.plan, start, &Uncertainty::default(), &budget, &|| false).unwrap()
            })
        };
        let one = on(1, 7);
        assert_eq!(one, on(2, 7));
        assert_ne!(one, on(2, 8));
        assert!((one.share + one.short + one.long + one.aside + one.hit - 1.0).abs() < 1e-12);
        println!("{one:?}");
    });
}

#[test]
fn normal_scores_and_sobol_points_are_the_published_ones() {
    // scipy 1.17.1, scipy.stats.norm.ppf and scipy.stats.qmc.Sobol(12, scramble=False): tests/circuit_reference/sobol.py.
    for (p, z) in NORMAL_SCORES {
        assert!((normal_score(p) - z).abs() < 2e-6, "{p}: {} {z}", normal_score(p));
    }
    let sobol = Sobol::new();
    for (number, expected) in SOBOL_POINTS {
        let point = sobol.point(number).map(|v| f64::from(v) / 4_294_967_296.0);
        assert_eq!(point, expected, "point {number}");
    }
}

const NORMAL_SCORES: [(f64, f64); 11] = [
    (1e-09, -5.9978070150076865),
    (0.0001, -3.7190164854556804),
    (0.02, -2.053748910631823),
    (0.07, -1.4757910281791706),
    (0.2, -0.8416212335729142),
    (0.5, 0.0),
    (0.6, 0.2533471031357997),
    (0.924, 1.432502720825812),
    (0.926, 1.446632067158979),
    (0.99, 2.3263478740408408),
    (0.9999, 3.719016485455709),
];
const SOBOL_POINTS: [(u32, [f64; 12]); 8] = [
    (1, [0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5]),
    (2, [0.25, 0.75, 0.75, 0.75, 0.25, 0.25, 0.75, 0.25, 0.25, 0.25, 0.25, 0.25]),
    (3, [0.75, 0.25, 0.25, 0.25, 0.75, 0.75, 0.25, 0.75, 0.75, 0.75, 0.75, 0.75]),
    (5, [0.625, 0.125, 0.875, 0.625, 0.625, 0.875, 0.125, 0.125, 0.125, 0.375, 0.125, 0.625]),
    (8, [0.0625, 0.9375, 0.5625, 0.3125, 0.6875, 0.1875, 0.8125, 0.3125, 0.3125, 0.6875, 0.0625, 0.1875]),
    (100, [0.1484375, 0.7734375, 0.6953125, 0.9609375, 0.5234375, 0.0703125, 0.0390625, 0.5859375, 0.1171875, 0.9921875, 0.3203125, 0.1015625]),
    (777, [0.5654296875, 0.1884765625, 0.8916015625, 0.1787109375, 0.2705078125, 0.1279296875, 0.8017578125, 0.2216796875, 0.6904296875, 0.8525390625, 0.4150390625, 0.4287109375]),
    (1023, [0.9990234375, 0.2548828125, 0.7314453125, 0.4404296875, 0.8994140625, 0.2568359375, 0.7353515625, 0.2958984375, 0.7177734375, 0.6533203125, 0.3251953125, 0.2685546875]),
];

#[test]
fn nothing_out_of_range_or_not_a_number_is_flown() {
    with_case(&northerly(5.0), &states()[0], |task, circuit, start| {
        let budget = Budget { samples: 64, ..Budget::default() };
        let fly = |u: Uncertainty, start: &Start| robustness(task, &circuit.plan, start, &u, &budget, &|| false);
        let good = Uncertainty::default();
        for bad in [
            Uncertainty { wind_speed_ms: f64::NAN, ..good },
            Uncertainty { sink: -0.1, ..good },
            Uncertainty { sink_factor: f64::NAN, ..good },
            Uncertainty { bank_rad: f64::INFINITY, ..good },
        ] {
            assert!(matches!(fly(bad, start), Err(RobustnessError::OutOfRange { .. })));
        }
        let mut lost = *start;
        lost.motion.height_amsl_m = f64::NAN;
        assert!(fly(good, &lost).is_err() || fly(good, &lost).unwrap().share == 0.0);
        let mut lost = *start;
        lost.motion.position = Xy::new(f64::NAN, 0.0);
        assert_eq!(fly(good, &lost), Err(RobustnessError::CannotFly));
        let stopped = robustness(task, &circuit.plan, start, &good, &budget, &|| true);
        assert_eq!(stopped, Err(RobustnessError::Stopped));
    });
}
