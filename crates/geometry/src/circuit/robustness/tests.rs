use super::random::{Sobol, normal_score};
use super::*;
use crate::air::{Wind, WindProfile, WindVector};
use crate::aircraft::Aircraft;
use crate::circuit::tests::{at, flat, landing, nothing_there, quiet_zone};
use crate::circuit::{Circuit, CircuitOptions, KeyName, Surroundings};
use crate::fields::hazards::HazardIndex;
use crate::fields::model::{Hazard, HazardKind, HazardShape, QuietZone};
use crate::position::{Bearing, Xy};
use crate::reach::AircraftState;
use std::sync::Arc;

/// Something to fly, in a wind from the north with a profile.
fn with_case<T>(
    wind: &Wind,
    state: &AircraftState,
    then: impl FnOnce(&CircuitTask<'_>, &Circuit, &Start) -> T,
) -> Option<T> {
    let (terrain, hazards) = (flat(0.0), nothing_there());
    let aircraft = Aircraft::example_flexwing();
    let around = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 50.0 };
    let options = CircuitOptions::default();
    let task = CircuitTask::new(&aircraft, wind, landing(0.0), around, options, state.height_amsl_m).unwrap();
    let start = task.start(state, 4.0);
    let circuit = task.circuit(&start).ok()?;
    Some(then(&task, &circuit, &start))
}

fn northerly(speed_ms: f64) -> Wind {
    Wind::new(WindVector::coming_from(Bearing::NORTH, speed_ms), WindProfile::OPEN_GRASS, vec![], 0.0)
}

fn states() -> [AircraftState; 4] {
    [
        at(0.0, 0.0, 450.0, 90.0),
        at(-400.0, 300.0, 300.0, 180.0),
        at(900.0, 500.0, 450.0, 200.0),
        at(0.0, 0.0, 900.0, 0.0),
    ]
}

#[test]
fn without_doubt_every_flight_is_the_circuit_as_described() {
    let mut count = 0;
    for wind_ms in [0.0, 6.0] {
        for state in states() {
            let flown = with_case(&northerly(wind_ms), &state, |task, circuit, start| {
                let budget = Budget { samples: 32, ..Budget::default() };
                let r = robustness(task, &circuit.plan, start, &Uncertainty::NONE, &budget, &|| false).unwrap();
                let coarse_m = Brief::new(task, &circuit.plan, start, &Uncertainty::NONE).unwrap().costs().2;
                assert!(coarse_m.abs() < 6.0, "{coarse_m}");
                assert!((r.along.p5_m - r.along.p95_m).abs() < 1e-9);
                assert!((r.along.p50_m - circuit.aim_error_m).abs() < 0.5, "{} {}", r.along.p50_m, circuit.aim_error_m);
                assert_eq!((r.share, r.short, r.long), (1.0, 0.0, 0.0));
            });
            count += u32::from(flown.is_some());
        }
    }
    assert!(count >= 5, "{count}");
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
        assert!((one.share + one.short + one.long + one.aside + one.hit + one.disturbs - 1.0).abs() < 1e-12);
    })
    .unwrap();
}

#[test]
fn normal_scores_and_sobol_points_are_the_published_ones() {
    // scipy 1.17.1, scipy.stats.norm.ppf and scipy.stats.qmc.Sobol(12, scramble=False): tests/robustness_reference/generate.py.
    for (p, z) in NORMAL_SCORES {
        assert!((normal_score(p) - z).abs() < 2e-6, "{p}: {} {z}", normal_score(p));
    }
    let sobol = Sobol::new();
    for (number, expected) in SOBOL_POINTS {
        let point = sobol.point(number).map(|v| f64::from(v) / 4_294_967_296.0);
        assert_eq!(point, expected, "point {number}");
    }
}

#[expect(clippy::unreadable_literal, reason = "as another program printed them")]
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
#[expect(clippy::unreadable_literal, reason = "as another program printed them")]
const SOBOL_POINTS: [(u32, [f64; 12]); 8] = [
    (1, [0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5]),
    (2, [0.25, 0.75, 0.75, 0.75, 0.25, 0.25, 0.75, 0.25, 0.25, 0.25, 0.25, 0.25]),
    (3, [0.75, 0.25, 0.25, 0.25, 0.75, 0.75, 0.25, 0.75, 0.75, 0.75, 0.75, 0.75]),
    (5, [0.625, 0.125, 0.875, 0.625, 0.625, 0.875, 0.125, 0.125, 0.125, 0.375, 0.125, 0.625]),
    (8, [0.0625, 0.9375, 0.5625, 0.3125, 0.6875, 0.1875, 0.8125, 0.3125, 0.3125, 0.6875, 0.0625, 0.1875]),
    (
        100,
        [
            0.1484375, 0.7734375, 0.6953125, 0.9609375, 0.5234375, 0.0703125, 0.0390625, 0.5859375, 0.1171875,
            0.9921875, 0.3203125, 0.1015625,
        ],
    ),
    (
        777,
        [
            0.5654296875,
            0.1884765625,
            0.8916015625,
            0.1787109375,
            0.2705078125,
            0.1279296875,
            0.8017578125,
            0.2216796875,
            0.6904296875,
            0.8525390625,
            0.4150390625,
            0.4287109375,
        ],
    ),
    (
        1023,
        [
            0.9990234375,
            0.2548828125,
            0.7314453125,
            0.4404296875,
            0.8994140625,
            0.2568359375,
            0.7353515625,
            0.2958984375,
            0.7177734375,
            0.6533203125,
            0.3251953125,
            0.2685546875,
        ],
    ),
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
    })
    .unwrap();
}

/// Shares that stop and that met anything by the plain reference, each with its standard error.
fn reference(
    task: &CircuitTask<'_>,
    wind: &Wind,
    circuit: &Circuit,
    start: &Start,
    doubt: Uncertainty,
    n: u32,
) -> [(f64, f64); 2] {
    let brief = Brief::new(task, &circuit.plan, start, &doubt).unwrap();
    let (cost, slope, _) = brief.costs();
    let plain = super::reference::Reference { task, wind, circuit, start, doubt };
    let mut random = super::reference::Plain::new(99);
    let flights: Vec<(bool, bool)> = (0..n).map(|_| plain.fly(&mut random, cost, slope)).collect();
    let share = |count: usize| {
        let share = count as f64 / f64::from(n);
        (share, (share * (1.0 - share) / f64::from(n)).sqrt())
    };
    [share(flights.iter().filter(|f| f.0).count()), share(flights.iter().filter(|f| f.1).count())]
}

#[test]
fn the_share_agrees_with_a_plain_monte_carlo_in_short_steps() {
    for (wind_ms, state) in [(4.0, &states()[0]), (6.0, &states()[1]), (5.0, &states()[2])] {
        let wind = northerly(wind_ms);
        with_case(&wind, state, |task, circuit, start| {
            let doubt = Uncertainty::default();
            let r = robustness(task, &circuit.plan, start, &doubt, &Budget::default(), &|| false).unwrap();
            let [(share, error), _] = reference(task, &wind, circuit, start, doubt, 4_000);
            let both = (error * error + r.standard_error * r.standard_error).sqrt();
            assert!((r.share - share).abs() < 2.0 * both, "{} {share} {both}", r.share);
        })
        .unwrap();
    }
}

/// Flights side by side against each alone: how many there were, and how many came out otherwise or more than a centimetre aside.
fn side_by_side_and_alone(task: &CircuitTask<'_>, circuit: &Circuit, start: &Start, doubt: &Uncertainty) -> [usize; 2] {
    let brief = Brief::new(task, &circuit.plan, start, doubt).unwrap();
    let scales = Scales::new(brief.wind_20_ft_ms() * doubt.gust_factor);
    let sobol = Sobol::new();
    let (n, mut differ) = (2_000, 0);
    for first in (0..n).step_by(LANES) {
        let draws = std::array::from_fn(|l| Draw::at(&point(&sobol, first + l, 3), doubt));
        let stream = |l: usize| Stream::new(3, (first + l) as u64);
        let mut formation = Formation::new(&brief, &draws, &scales, std::array::from_fn(stream));
        for (l, run) in formation.fly().iter().enumerate() {
            let alone = brief.run(&draws[l], Some(super::gusts::Gusts::new(&scales, stream(l))));
            let off = [
                run.along_m - alone.along_m,
                run.aside_m - alone.aside_m,
                run.stop_along_m - alone.stop_along_m,
                run.gusts_m - alone.gusts_m,
            ];
            let is_same = run.end == alone.end && run.quiet == alone.quiet && off.iter().all(|d| d.abs() < 0.01);
            differ += usize::from(!is_same);
        }
    }
    [n, differ]
}

#[test]
fn a_flight_side_by_side_with_others_is_the_one_it_is_alone() {
    for (wind_ms, state) in [(0.0, 0), (4.0, 0), (6.0, 1), (5.0, 2), (9.0, 2), (5.0, 3)] {
        let flown = with_case(&northerly(wind_ms), &states()[state], |task, circuit, start| {
            let mut hilly = flat(0.0);
            for (i, h) in hilly.heights_m.iter_mut().enumerate() {
                *h = (i % 201 * 7 + i / 201 * 3) as f32 % 31.0;
            }
            let mut tasks = vec![task.clone()];
            let met = in_the_way(circuit).map(|(hazards, zones)| (HazardIndex::new(hazards), zones));
            for (hazards, quiet_zones) in &met {
                let mut blocked = task.clone();
                blocked.surroundings = Surroundings { hazards, quiet_zones, terrain: &hilly, ..task.surroundings };
                tasks.push(blocked);
            }
            for task in &tasks {
                for doubt in
                    [Uncertainty::default(), Uncertainty { gust_factor: 6.0, sink: 0.3, ..Uncertainty::default() }]
                {
                    let [all, differ] = side_by_side_and_alone(task, circuit, start, &doubt);
                    // The last digit decides now and then whether there is one more step.
                    assert!(differ * 500 <= all, "{wind_ms} {state}: {differ} of {all}");
                }
            }
        });
        assert!(flown.is_some() || wind_ms == 9.0, "{wind_ms} {state}");
    }
}

fn square(at: Xy, half_m: f64) -> Vec<Xy> {
    [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)].map(|(x, y)| at + Xy::new(x, y) * half_m).to_vec()
}

fn standing(kind: HazardKind, shape: HazardShape, height_m: f64) -> Hazard {
    Hazard { height_m: Some(height_m), ..Hazard::new("", kind, shape) }
}

/// Wires under the final, a wood where the turn to base begins, a quiet zone before that: each nearly as high as the circuit there.
fn in_the_way(circuit: &Circuit) -> [(Vec<Hazard>, Vec<Arc<QuietZone>>); 3] {
    let key = |name: KeyName| circuit.keys.iter().find(|k| k.name == name).unwrap();
    let level = key(KeyName::WingsLevel);
    let half_way = circuit.touchdown + (level.position - circuit.touchdown) * 0.6;
    let wires = HazardShape::Line(vec![half_way - Xy::new(300.0, 40.0), half_way + Xy::new(300.0, 40.0)]);
    let base = key(KeyName::TurnToBase);
    let wood = HazardShape::Area { outer: square(base.position, 60.0), holes: vec![] };
    let before = circuit.track.iter().find(|p| p.motion.time_s >= 0.6 * base.time_s).unwrap().motion;
    let zone = quiet_zone(square(before.position, 150.0), before.height_amsl_m);
    [
        (vec![standing(HazardKind::Wires, wires, 0.5 * level.height_m)], vec![]),
        (vec![standing(HazardKind::Wood, wood, 0.93 * base.height_m)], vec![]),
        (vec![], vec![zone]),
    ]
}

#[test]
fn what_is_met_agrees_with_a_plain_monte_carlo_that_looks_at_every_short_step() {
    let wind = northerly(5.0);
    with_case(&wind, &states()[2], |task, circuit, start| {
        let doubt = Uncertainty::default();
        let budget = Budget::default();
        let free = robustness(task, &circuit.plan, start, &doubt, &budget, &|| false).unwrap();
        assert_eq!((free.met.len(), free.hit, free.disturbs), (0, 0.0, 0.0));
        for (hazards, quiet_zones) in in_the_way(circuit) {
            let hazards = HazardIndex::new(hazards);
            let mut blocked = task.clone();
            blocked.surroundings = Surroundings { hazards: &hazards, quiet_zones: &quiet_zones, ..task.surroundings };
            let r = robustness(&blocked, &circuit.plan, start, &doubt, &budget, &|| false).unwrap();
            let [(share, error), (met, met_error)] = reference(&blocked, &wind, circuit, start, doubt, 4_000);
            let both = (error * error + r.standard_error * r.standard_error).sqrt();
            assert!((r.share - share).abs() < 2.0 * both, "{} {share} {both}", r.share);
            let our_met = r.met[0].flights as f64 / r.samples as f64;
            assert!((our_met - met).abs() < 2.0 * 1.5 * met_error, "{our_met} {met} {met_error}");
            assert!(our_met > 0.02 && r.share < free.share - 0.01, "{our_met} {}", r.share);
            assert!((r.share + r.short + r.long + r.aside + r.hit + r.disturbs - 1.0).abs() < 1e-12);
            // Only quiet zones let a flight go on.
            assert_eq!(r.disturbs > 0.0, hazards.all().is_empty());
        }
        // Who has to may fly over a quiet zone.
        let (_, quiet_zones) = &in_the_way(circuit)[2];
        let mut blocked = task.clone();
        blocked.surroundings = Surroundings { quiet_zones, ..task.surroundings };
        blocked.options.heed_quiet_zones = false;
        let r = robustness(&blocked, &circuit.plan, start, &doubt, &budget, &|| false).unwrap();
        assert_eq!(r, free);
    })
    .unwrap();
}

#[test]
fn more_doubt_about_the_wind_never_helps() {
    with_case(&northerly(5.0), &states()[2], |task, circuit, start| {
        let share = |wind_speed_ms: f64| {
            let doubt = Uncertainty { wind_speed_ms, ..Uncertainty::default() };
            let r = robustness(task, &circuit.plan, start, &doubt, &Budget::default(), &|| false).unwrap();
            (r.share, r.standard_error)
        };
        let shares = [0.5, 1.5, 3.0, 5.0].map(share);
        for pair in shares.windows(2) {
            let noise = (pair[0].1 * pair[0].1 + pair[1].1 * pair[1].1).sqrt();
            assert!(pair[1].0 <= pair[0].0 + 2.0 * noise, "{shares:?}");
        }
        assert!(shares[3].0 < shares[0].0, "{shares:?}");
    })
    .unwrap();
}

#[test]
fn it_stops_early_when_the_answer_is_clear_and_not_when_it_is_not() {
    with_case(&northerly(5.0), &states()[2], |task, circuit, start| {
        let fly = |threshold: f64| {
            let budget = Budget { stop: Some(StopRule { threshold, errors: 3.0 }), ..Budget::default() };
            robustness(task, &circuit.plan, start, &Uncertainty::default(), &budget, &|| false).unwrap()
        };
        let clear = fly(0.01);
        assert!(clear.stopped_early && clear.samples < 5_000);
        let close = fly(clear.share);
        assert!(!close.stopped_early || close.samples > clear.samples);
    })
    .unwrap();
}

#[test]
fn scrambled_points_tell_more_than_as_many_plain_ones() {
    // Without gusts, the standard error of the share by sixteen scramblings against that of plain draws.
    with_case(&northerly(5.0), &states()[2], |task, circuit, start| {
        let doubt = Uncertainty { gust_factor: 0.0, ..Uncertainty::default() };
        let r = robustness(task, &circuit.plan, start, &doubt, &Budget::default(), &|| false).unwrap();
        let plain = (r.share * (1.0 - r.share) / r.samples as f64).sqrt();
        assert!(r.standard_error < plain);
    })
    .unwrap();
}

#[test]
fn a_gust_step_has_the_same_moments_however_long_it_is() {
    // Twenty short steps against one long one: variance of the mean and its product with the end.
    let mut stream = Stream::new(5, 5);
    let (mut long, mut short) = ([0.0; 3], [0.0; 3]);
    let n = 40_000;
    for _ in 0..n {
        let (from, _) = stream.normals();
        let (a, b) = stream.normals();
        let (end, mean) = super::gusts::Steps::over(1.4).drawn(from, a, b);
        let (mut x, mut sum) = (from, 0.0);
        for _ in 0..20 {
            let (a, b) = stream.normals();
            let (next, part) = super::gusts::Steps::over(0.07).drawn(x, a, b);
            sum += part / 20.0;
            x = next;
        }
        for (sums, end, mean) in [(&mut long, end, mean), (&mut short, x, sum)] {
            sums[0] += end * end / f64::from(n);
            sums[1] += mean * mean / f64::from(n);
            sums[2] += end * mean / f64::from(n);
        }
    }
    // In closed form: 1, 2(k − 1 + e^−k)/k², (1 − e^−k)/k.
    let kept = crate::math::exp(-1.4);
    let exact = [1.0, 2.0 * (1.4 - 1.0 + kept) / (1.4 * 1.4), (1.0 - kept) / 1.4];
    for (sums, name) in [(long, "long"), (short, "short")] {
        for (sum, exact) in sums.iter().zip(exact) {
            assert!((sum - exact).abs() < 0.02, "{name}: {sums:?} {exact}");
        }
    }
}
