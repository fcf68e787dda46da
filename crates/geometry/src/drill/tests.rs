use super::*;
use crate::air::{Wind, WindProfile, WindVector};
use crate::aircraft::Aircraft;
use crate::circuit::{Budget, HandEnd, Hold, Join, Landing, Motion, Surroundings, Touchdown};
use crate::fields::hazards::HazardIndex;
use crate::fields::model::{Day, Hazard};
use crate::fields::strip::inside_ring;
use crate::fields::verdict::Verdict;
use crate::grid::{GridFrame, Terrain, TerrainAccuracy};
use crate::position::{Bearing, Xy};
use crate::reach::AircraftState;
use proptest::prelude::*;
use std::collections::{BTreeSet, HashMap};

const DAY: Day = Day { days_since_epoch: 20_782 };

fn wind(from_deg: f64, speed_ms: f64) -> DrillWind {
    DrillWind {
        from_grid: Some(Bearing::from_deg(from_deg)),
        speed_ms,
        told: Told::Everything,
        direction_error_rad: 20f64.to_radians(),
        speed_error_ms: 1.5,
    }
}

fn set(places: Vec<Place>) -> DrillSet {
    DrillSet {
        id: "set-1".into(),
        name: "First".into(),
        seed: 7,
        drills: 20,
        places,
        lowest_agl_m: 150.0,
        highest_agl_m: 600.0,
        winds: vec![wind(240.0, 6.0), wind(30.0, 2.0)],
        aircraft: "Two-seat flexwing (example)".into(),
        joins: Vec::new(),
        shortest_run_s: 10.0,
        longest_run_s: 60.0,
    }
}

/// An L: two thirds of its rectangle are inside.
fn bent() -> Vec<Xy> {
    [(0.0, 0.0), (3_000.0, 0.0), (3_000.0, 1_000.0), (1_000.0, 1_000.0), (1_000.0, 3_000.0), (0.0, 3_000.0)]
        .map(|(x, y)| Xy::new(x, y))
        .to_vec()
}

fn everywhere() -> Vec<Place> {
    vec![
        Place::Route {
            line: vec![Xy::new(0.0, 0.0), Xy::new(0.0, 4_000.0), Xy::new(2_000.0, 4_000.0)],
            both_ways: true,
        },
        Place::Area { outer: bent() },
        Place::Circle { centre: Xy::new(500.0, 500.0), radius_m: 800.0 },
        Place::HomeStrip { within_m: 100.0 },
    ]
}

#[test]
fn a_set_gives_the_same_failures_on_every_platform() {
    // Should a platform or a change of the program draw others, pilots could no longer be compared.
    let failures: Vec<String> = (1..=8)
        .map(|n| {
            let f = set(everywhere()).failure(n, Some(Xy::new(100.0, 200.0))).unwrap();
            format!(
                "{} {:.6} {:.6} {:.6} {:.9} {:.9} {:.6} {:.6}",
                f.place,
                f.position.x,
                f.position.y,
                f.height_agl_m,
                f.heading.rad(),
                f.true_wind.east_ms,
                f.true_wind.north_ms,
                f.stops_after_s
            )
        })
        .collect();
    assert_eq!(failures, WRITTEN_DOWN);
}

/// As `tests/drill_reference/generate.py` draws them a second time, written after the documentation alone.
const WRITTEN_DOWN: [&str; 8] = [
    "2 753.617584 -73.461627 387.383022 2.262750768 -1.276784014 -1.917915 46.914399",
    "3 173.092729 225.707805 257.345241 0.933641811 -1.193323178 -2.173936 19.528260",
    "2 982.149882 -48.994385 252.697989 1.647411813 -0.597613742 -0.805312 32.673896",
    "1 611.149747 701.767571 321.262076 6.035653465 -0.849083262 -1.104137 54.617306",
    "2 701.680042 475.721822 225.659045 2.609595079 -0.324071992 -0.724409 48.156844",
    "3 5.672419 216.638848 242.947679 0.499650740 5.592555788 2.146058 33.292299",
    "2 913.730831 -183.741227 574.953344 5.132554426 5.659170215 1.851361 15.835283",
    "1 552.207737 1040.152410 352.598617 0.649017200 3.576389677 3.604255 35.410554",
];

#[test]
fn neither_name_nor_number_of_drills_changes_a_failure() {
    let first = set(everywhere());
    let renamed = DrillSet { id: "other".into(), name: "Other".into(), drills: 500, ..first.clone() };
    let home = Some(Xy::default());
    for n in [1, 19, 20, 21, 4_000] {
        assert_eq!(first.failure(n, home), renamed.failure(n, home));
    }
    let seeded = DrillSet { seed: 8, ..first.clone() };
    assert_ne!(first.failure(1, home), seeded.failure(1, home));
}

#[test]
fn fan_stops_come_from_every_height_and_direction() {
    let set = set(vec![Place::HomeStrip { within_m: 0.0 }]);
    let home = Xy::new(50.0, 60.0);
    for round in 0..3 {
        let mut seen = BTreeSet::new();
        for n in 1..=48 {
            let f = set.failure(round * 48 + n, Some(home)).unwrap();
            assert_eq!(f.position, home);
            let step = ((f.height_agl_m - 150.0) / 450.0 * 4.0) as usize;
            let direction = (f.heading.rad() / std::f64::consts::TAU * 12.0).round() as usize % 12;
            seen.insert((step, direction));
        }
        assert_eq!(seen.len(), 48, "every height on every heading");
    }
    assert_eq!(set.failure(1, None), Err(DrillSetError::NoHome { set: "First".into() }));
}

/// A result as kept of a failure of a set, with nothing in it but what a grid of fan stops counts.
fn kept(set: &DrillSet, number: u32, home: Xy, day: Day, outcome: Outcome) -> DrillResult {
    let failure = set.failure(number, Some(home)).unwrap();
    DrillResult {
        day,
        set_id: set.id.clone(),
        set_seed: set.seed,
        number,
        position: failure.position,
        height_agl_m: failure.height_agl_m,
        heading_grid_rad: failure.heading.rad(),
        outcome,
        ..scored(&Scene::new(WindVector::CALM).trial(450.0), &[], &[])
    }
}

#[test]
fn a_grid_of_fan_stops_counts_what_was_flown_over_the_strip() {
    let home = Xy::new(50.0, 60.0);
    let set =
        set(vec![Place::HomeStrip { within_m: 80.0 }, Place::Circle { centre: Xy::new(9_000.0, 0.0), radius_m: 5.0 }]);
    let fan = |n: u32| set.fan_cell(n, Some(home)).unwrap();
    let first = (1..=96).find(|n| fan(*n).is_some()).unwrap();
    let cell = fan(first).unwrap();
    let again =
        set.next_in_cell(cell, Some(home), &[&kept(&set, first, home, DAY, Outcome::TooLate)]).unwrap().unwrap();
    assert!(again > first && fan(again) == Some(cell));
    let elsewhere = (1..=96).find(|n| fan(*n).is_none()).unwrap();
    let later = Day { days_since_epoch: DAY.days_since_epoch + 1 };
    // The later day's is the last one, in whatever order they come.
    let results = [
        kept(&set, again, home, later, Outcome::TooLate),
        kept(&set, first, home, DAY, Outcome::StoppedInStrip),
        kept(&set, elsewhere, home, later, Outcome::StoppedInStrip),
        DrillResult { set_id: "other".into(), ..kept(&set, first, home, later, Outcome::StoppedInStrip) },
    ];
    let records = set.fan_records(home, &results.iter().collect::<Vec<_>>());
    assert_eq!(records.iter().map(|r| r.drills).sum::<usize>(), 2);
    let record = &records[cell.index()];
    assert_eq!((record.drills, record.stopped, record.share()), (2, 1, Some(0.5)));
    assert_eq!(record.last.as_ref().unwrap().number, again);
    // The same seed and results give the same number, whoever asks.
    assert_eq!(set.next_in_cell(cell, Some(home), &[]).unwrap(), Some(first));
    // A set without the home strip has none.
    let none = DrillSet { places: vec![set.places[1].clone()], ..set.clone() };
    assert_eq!(none.fan_within_m(), None);
    assert!(none.fan_records(home, &[&results[1]]).iter().all(|r| r.drills == 0));
}

#[test]
fn cells_of_fan_stops_are_each_at_their_place() {
    assert_eq!(FanCell::all().map(FanCell::index).collect::<Vec<_>>(), (0..FAN_CELLS).collect::<Vec<_>>());
    let north = FanCell::new(0, 0);
    assert_eq!(north.moved(-1, -1), FanCell::new(0, 11));
    assert_eq!(FanCell::new(3, 11).moved(1, 1), FanCell::new(3, 0));
}

#[test]
fn a_route_is_flown_along_its_legs() {
    let line = vec![Xy::new(0.0, 0.0), Xy::new(0.0, 3_000.0), Xy::new(1_000.0, 3_000.0)];
    let one_way = set(vec![Place::Route { line: line.clone(), both_ways: false }]);
    let mut on_first = 0;
    for n in 1..=400 {
        let f = one_way.failure(n, None).unwrap();
        let on_first_leg = f.position.x == 0.0;
        on_first += u32::from(on_first_leg);
        assert_eq!(f.heading.deg().round(), if on_first_leg { 0.0 } else { 90.0 });
    }
    // Three quarters of the way; 400 draws have a standard deviation of 9.
    assert!((270..330).contains(&on_first), "{on_first}");
    let both = set(vec![Place::Route { line, both_ways: true }]);
    let back = (1..=400).filter(|n| both.failure(*n, None).unwrap().heading.deg().round() >= 180.0).count();
    assert!((160..240).contains(&back), "{back}");
}

#[test]
fn sets_that_make_no_sense_are_refused_with_a_sentence() {
    let home = Some(Xy::default());
    let good = set(everywhere());
    assert_eq!(good.validate(), Ok(()));
    for (bad, words) in [
        (DrillSet { drills: 0, ..good.clone() }, "0 drills"),
        (DrillSet { places: vec![], ..good.clone() }, "0 places"),
        (DrillSet { winds: vec![], ..good.clone() }, "0 winds"),
        (DrillSet { lowest_agl_m: 700.0, ..good.clone() }, "the heights"),
        (DrillSet { highest_agl_m: f64::NAN, ..good.clone() }, "the heights"),
        (DrillSet { shortest_run_s: -1.0, ..good.clone() }, "the engine still runs"),
        (DrillSet { winds: vec![wind(0.0, 50.0)], ..good.clone() }, "stronger than 40 m/s"),
        (DrillSet { places: vec![Place::Area { outer: vec![Xy::default(); 3] }], ..good.clone() }, "hardly any width"),
        (DrillSet { places: vec![Place::Route { line: vec![], both_ways: false }], ..good.clone() }, "no length"),
        (
            DrillSet { places: vec![Place::Circle { centre: Xy::default(), radius_m: f64::INFINITY }], ..good.clone() },
            "without a middle",
        ),
    ] {
        let told = bad.failure(1, home).unwrap_err().to_string();
        assert!(told.contains(words) && told.contains("First"), "{told}");
    }
    assert_eq!(good.failure(0, home), Err(DrillSetError::NumberZero));
}

proptest! {
    #[test]
    fn failures_stay_within_what_was_set(seed in any::<u64>(), number in 1..u32::MAX) {
        let set = DrillSet { seed, ..set(everywhere()) };
        let home = Xy::new(100.0, 200.0);
        let f = set.failure(number, Some(home)).unwrap();
        prop_assert_eq!(&f, &set.failure(number, Some(home)).unwrap());
        prop_assert!((150.0..=600.0).contains(&f.height_agl_m));
        if let Some(cell) = set.fan_cell(number, Some(home)).unwrap() {
            let (low, high) = cell.heights_agl_m(&set);
            prop_assert!(low - 1e-9 <= f.height_agl_m && f.height_agl_m <= high + 1e-9);
            prop_assert!(cell.heading().turn_to(f.heading).abs() <= 15f64.to_radians() + 1e-9);
        }
        prop_assert!((10.0..=60.0).contains(&f.stops_after_s));
        match &set.places[f.place] {
            Place::Area { outer } => prop_assert!(inside_ring(outer, f.position)),
            Place::Circle { centre, radius_m } => prop_assert!(f.position.distance(*centre) <= radius_m + 1e-9),
            Place::HomeStrip { within_m } => prop_assert!(f.position.distance(home) <= within_m + 1e-9),
            Place::Route { .. } => prop_assert!(f.position.x == 0.0 || f.position.y == 4_000.0),
        }
        prop_assert!((f.true_wind.speed_ms() - f.told_wind.speed_ms()).abs() <= 1.5 + 1e-9);
        if let (Some(told), Some(blows)) = (f.told_wind.from_bearing(), f.true_wind.from_bearing()) {
            prop_assert!(told.turn_to(blows).abs() <= 20f64.to_radians() + 1e-9);
        }
    }
}

struct Scene {
    terrain: Terrain,
    hazards: HazardIndex,
    aircraft: Aircraft,
    wind: Wind,
}

impl Scene {
    fn new(wind: WindVector) -> Self {
        let frame = GridFrame { origin: Xy::new(-10_000.0, 10_000.0), cell_m: 100.0, cols: 201, rows: 201 };
        Self {
            terrain: Terrain { frame, heights_m: vec![0.0; frame.len()], accuracy: TerrainAccuracy::default() },
            hazards: HazardIndex::new(Vec::<Hazard>::new()),
            aircraft: Aircraft::example_flexwing(),
            wind: Wind::new(wind, WindProfile::Uniform, vec![], 0.0),
        }
    }
    fn trial(&self, height_m: f64) -> Trial<'_> {
        Trial {
            aircraft: &self.aircraft,
            wind: &self.wind,
            surroundings: Surroundings {
                terrain: &self.terrain,
                hazards: &self.hazards,
                quiet_zones: &[],
                clearance_m: 50.0,
            },
            state: AircraftState {
                position: Xy::default(),
                height_amsl_m: height_m,
                heading: Some(Bearing::from_deg(90.0)),
            },
            joins: [true; 5],
        }
    }
}

fn offer(id: &str, score: f64, at: (f64, f64), heading_deg: f64) -> Offer {
    let landing = Landing {
        aim: Xy::new(at.0, at.1),
        aim_amsl_m: 0.0,
        heading: Bearing::from_deg(heading_deg),
        slope: 0.0,
        aim_from_start_m: 40.0,
        displacement_m: 20.0,
        length_m: 400.0,
        width_m: 20.0,
        stop_from_50_ft_m: 180.0,
    };
    Offer { field_id: id.into(), name: format!("Field {id}"), verdict: Verdict::Workable, score, landing }
}

fn choose(at_s: f64, offer: &Offer) -> Choice {
    Choice { at_s, offer: offer.clone(), join: None, hand: None }
}

/// The failure of a trial, and the set that it is of.
fn failed(trial: &Trial<'_>) -> (DrillSet, Failure) {
    let set = set(everywhere());
    let failure = Failure {
        heading: trial.state.heading.unwrap(),
        position: trial.state.position,
        height_agl_m: trial.state.height_amsl_m,
        ..set.failure(1, Some(Xy::default())).unwrap()
    };
    (set, failure)
}

fn scored(trial: &Trial<'_>, choices: &[Choice], offers: &[Offer]) -> DrillResult {
    let (set, failure) = failed(trial);
    let flown = trial.fly(choices);
    let occasion = Occasion { id: "r1", pilot: "Pat", day: DAY, set: &set, failure: &failure };
    trial.score(&occasion, choices, &flown, &Offered { at_failure: offers, at_choice: offers })
}

#[test]
fn thinking_costs_the_height_that_the_glide_ratio_says() {
    let scene = Scene::new(WindVector::CALM);
    let glide = scene.trial(450.0).straight_on(20.0);
    let end = glide.end();
    // 50 mph at 6 : 1 for 20 s: 447 m on and 74.5 m down; thinner air at 450 m makes both 2 % more.
    assert!((end.position.x - 447.0 * 1.02).abs() < 3.0 && end.position.y.abs() < 1e-6, "{end:?}");
    assert!((450.0 - end.height_amsl_m - 74.5 * 1.02).abs() < 1.0, "{end:?}");
    assert!((end.time_s - 20.0).abs() < 1e-9 && !glide.on_ground);
    // And to the ground: 450 m at a sink of about 3.78 m/s.
    let down = scene.trial(450.0).straight_on(1_000.0);
    assert!(down.on_ground && (down.end().time_s - 119.5).abs() < 1.5, "{:?}", down.end());
    assert!(down.end().height_amsl_m.abs() < 0.01);
}

#[test]
fn the_second_best_chosen_late_is_scored_as_by_hand() {
    let scene = Scene::new(WindVector::CALM);
    let trial = scene.trial(500.0);
    let (best, second) = (offer("a", 0.8, (600.0, 600.0), 90.0), offer("b", 0.55, (-200.0, -900.0), 90.0));
    let offers = [second.clone(), best.clone()];
    let result = scored(&trial, &[choose(6.0, &second)], &offers);
    assert_eq!(result.outcome, Outcome::StoppedInStrip, "{result:?}");
    assert_eq!(result.time_to_choose_s, Some(6.0));
    assert_eq!(result.best_at_failure.as_ref().unwrap().field_id, "a");
    // 0.8 − 0.55.
    let regret = result.regret_at_failure.unwrap();
    assert!((regret.score - 0.25).abs() < 1e-12, "{regret:?}");
    // By the definition of loss: 0.6 · 0.25/0.25 + 0.4 · 6/20 = 0.72.
    assert!((loss(&result) - 0.72).abs() < 1e-12);
    // 6 s at 3.78 m/s.
    assert!((result.choices[0].height_m - (500.0 - 22.7)).abs() < 0.5, "{:?}", result.choices);
    assert_eq!(result.best_turn_rad.map(|t| t.to_degrees().round()), Some(0.0));
    // 400 m of strip, aimed at 40 m, 20 m displaced: 20 m before the touchdown, and 360 m less the run beyond it.
    assert!((result.short_margin_m.unwrap() - 20.0).abs() < 1.0, "{result:?}");
    assert!(result.long_margin_m.unwrap() > 150.0);
    let error = result.base_leg_error_m();
    let expected = result.base_leg_distance_m.map(|d| d - scene.aircraft.base_leg_distance_m);
    assert_eq!(error, expected);
    assert_eq!(result.changes, []);
}

#[test]
fn an_end_within_a_metre_of_the_strips_end_is_in_the_strip() {
    let scene = Scene::new(WindVector::CALM);
    let trial = scene.trial(500.0);
    let mut flown = trial.fly(&[choose(2.0, &offer("a", 0.8, (600.0, 600.0), 90.0))]);
    let mut ends = |short_m: f64, long_m: f64| {
        let Some(Ok(circuit)) = flown.moments[0].circuit.as_mut() else { panic!("a circuit works") };
        (circuit.short_margin_m, circuit.long_margin_m) = (short_m, long_m);
        super::score::outcome(&flown)
    };
    assert_eq!(ends(-0.9, 50.0), Outcome::StoppedInStrip);
    assert_eq!(ends(50.0, -0.9), Outcome::StoppedInStrip);
    assert_eq!(ends(-1.5, 50.0), Outcome::Undershot { by_m: 1.5 });
    assert_eq!(ends(50.0, -1.5), Outcome::Overran { by_m: 1.5 });
    assert!(matches!(ends(f64::NAN, 50.0), Outcome::Undershot { .. }));
}

#[test]
fn the_best_chosen_at_once_has_no_regret() {
    let scene = Scene::new(WindVector::coming_from(Bearing::from_deg(90.0), 5.0));
    let trial = scene.trial(450.0);
    let best = offer("a", 0.8, (600.0, 600.0), 90.0);
    let result = scored(&trial, &[choose(4.0, &best)], &[best.clone(), offer("b", 0.4, (300.0, -600.0), 90.0)]);
    assert!(result.stopped_in_strip(), "{result:?}");
    assert_eq!((result.regret_at_failure, result.regret_at_choice), (Some(Regret::default()), Some(Regret::default())));
    assert!(result.words().contains("best landing that was in reach"), "{}", result.words());
}

#[test]
fn a_change_of_mind_says_from_which_height_and_whether_it_was_still_open() {
    let scene = Scene::new(WindVector::CALM);
    let trial = scene.trial(500.0);
    let (a, b) = (offer("a", 0.8, (600.0, 600.0), 90.0), offer("b", 0.5, (300.0, -900.0), 90.0));
    let offers = [a.clone(), b.clone()];
    let early = scored(&trial, &[choose(4.0, &a), choose(12.0, &b)], &offers);
    let [change] = &early.changes[..] else { panic!("{early:?}") };
    assert!(change.still_open && change.first_still_open, "{change:?}");
    assert_eq!((change.from_field_id.as_str(), change.to_field_id.as_str()), ("a", "b"));
    // 12 s of 3.78 m/s, part of it in a turn.
    assert!((440.0..455.0).contains(&change.height_m), "{change:?}");
    assert!(early.stopped_in_strip());
    // Half a minute before the touchdown nothing else is open.
    let late_s = trial.fly(&[choose(4.0, &a)]).circuit().unwrap().duration_s - 25.0;
    let late = scored(&trial, &[choose(4.0, &a), choose(late_s, &b)], &offers);
    assert!(!late.changes[0].still_open, "{late:?}");
    assert!(!late.stopped_in_strip() && late.regret_at_failure.unwrap().score >= 0.0);
    assert!(late.changes[0].height_m < 120.0);
    // And after it, it is too late.
    let after = scored(&trial, &[choose(4.0, &a), choose(late_s + 60.0, &b)], &offers);
    assert_eq!(after.outcome, Outcome::TooLate);
}

#[test]
fn the_height_below_which_nothing_else_is_left_is_told() {
    let scene = Scene::new(WindVector::CALM);
    let trial = scene.trial(500.0);
    let (a, b) = (offer("a", 0.8, (600.0, 600.0), 90.0), offer("b", 0.5, (700.0, 100.0), 90.0));
    let result = scored(&trial, &[choose(4.0, &a)], &[a.clone(), b]);
    let commit = result.commit_height_m.unwrap();
    assert!((60.0..480.0).contains(&commit), "{commit}");
    let alone = scored(&trial, &[choose(4.0, &a)], std::slice::from_ref(&a));
    assert_eq!(alone.commit_height_m, None);
}

#[test]
fn with_nothing_in_reach_the_answer_is_to_land_ahead() {
    let scene = Scene::new(WindVector::CALM);
    let trial = scene.trial(60.0);
    let far = offer("a", 0.8, (4_000.0, 3_000.0), 90.0);
    for choices in [vec![], vec![choose(2.0, &far)]] {
        let result = scored(&trial, &choices, std::slice::from_ref(&far));
        assert_eq!((&result.best_at_failure, result.regret_at_failure), (&None, None));
        assert!(result.words().contains("Land ahead"), "{}", result.words());
        assert_eq!(loss(&result), 0.0);
    }
}

#[test]
fn nothing_chosen_with_a_field_in_reach_is_the_whole_regret() {
    let scene = Scene::new(WindVector::CALM);
    let best = offer("a", 0.8, (600.0, 600.0), 90.0);
    let result = scored(&scene.trial(450.0), &[], std::slice::from_ref(&best));
    assert_eq!(result.outcome, Outcome::NothingChosen);
    let regret = result.regret_at_failure.unwrap();
    assert_eq!(regret.score, 0.8);
    assert!(regret.spare_height_m > 0.0);
    assert_eq!(loss(&result), 1.0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn regret_is_never_below_zero_and_zero_for_the_best(
        scores in proptest::collection::vec(0.0..1.0_f64, 1..5), places in proptest::collection::vec((-900.0..900.0_f64, -900.0..900.0_f64), 5),
        headings in proptest::collection::vec(0.0..360.0_f64, 5), chosen in 0..5_usize, height in 60.0..700.0_f64, at_s in 0.0..40.0_f64,
    ) {
        let scene = Scene::new(WindVector::coming_from(Bearing::from_deg(200.0), 4.0));
        let trial = scene.trial(height);
        let offers: Vec<Offer> = scores.iter().enumerate()
            .map(|(i, s)| offer(&format!("f{i}"), *s, places[i], headings[i])).collect();
        let choice = &offers[chosen % offers.len()];
        let result = scored(&trial, &[choose(at_s, choice)], &offers);
        for regret in [result.regret_at_failure, result.regret_at_choice].into_iter().flatten() {
            prop_assert!(regret.score >= 0.0 && regret.spare_height_m >= 0.0, "{:?}", regret);
        }
        prop_assert_eq!(result.regret_at_failure.is_none(), result.best_at_failure.is_none());
        if let Some(best) = result.best_at_failure.clone() {
            let best = offers.iter().find(|o| o.field_id == best.field_id).unwrap();
            let ideal = scored(&trial, &[choose(0.0, best)], &offers);
            prop_assert_eq!(ideal.regret_at_failure, Some(Regret::default()));
            prop_assert!((0.0..=1.0).contains(&loss(&result)));
        }
        prop_assert_eq!(&result, &scored(&trial, &[choose(at_s, choice)], &offers));
    }
}

/// A result as the numbers say, of a failure of a set.
fn result_of(set: &DrillSet, number: u32, good: bool, time_s: f64, base_m: f64, day: i32) -> DrillResult {
    let scene = Scene::new(WindVector::CALM);
    let failure = set.failure(number, None).unwrap();
    let trial = scene.trial(450.0);
    let best = offer("a", 0.8, (600.0, 600.0), 90.0);
    let occasion = Occasion { id: "x", pilot: "Pat", day: Day { days_since_epoch: day }, set, failure: &failure };
    let flown = trial.fly(&[]);
    let offered = Offered { at_failure: std::slice::from_ref(&best), at_choice: &[] };
    let mut result = trial.score(&occasion, &[], &flown, &offered);
    result.time_to_choose_s = Some(time_s);
    result.base_leg_constant_m = 250.0;
    result.base_leg_distance_m = Some(base_m);
    if good {
        result.outcome = Outcome::StoppedInStrip;
        result.regret_at_failure = Some(Regret::default());
        result.chosen_at_failure.clone_from(&result.best_at_failure);
    }
    result
}

fn circle() -> DrillSet {
    set(vec![Place::Circle { centre: Xy::default(), radius_m: 2_000.0 }])
}

#[test]
fn progress_counts_as_by_hand() {
    let set = circle();
    let results = [
        result_of(&set, 1, false, 30.0, 300.0, 10),
        result_of(&set, 2, true, 10.0, 200.0, 10),
        result_of(&set, 3, true, 8.0, 255.0, 20),
        result_of(&set, 4, true, 4.0, 245.0, 20),
    ];
    let progress = Progress::of(&results.iter().collect::<Vec<_>>());
    let [first, second] = &progress.series[..] else { panic!("{progress:?}") };
    assert_eq!((first.drills, first.stopped, first.possible), (2, 1, 2));
    assert_eq!(first.time_to_choose_s, Some(Median { value: 20.0, count: 2 }));
    assert_eq!(second.time_to_choose_s, Some(Median { value: 6.0, count: 2 }));
    assert_eq!(progress.time_trend_s, Some(-14.0));
    // 0.8 for the one not chosen, 0 for the other: half of it; then none.
    assert_eq!(progress.regret_trend, Some(-0.4));
    // Standard deviations of (50, −50) and (5, −5).
    let spread = |m: f64| (2.0 * m * m).sqrt();
    assert!((first.base_leg_spread_m.unwrap() - spread(50.0)).abs() < 1e-12);
    assert!((progress.base_leg_trend_m.unwrap() - (spread(5.0) - spread(50.0))).abs() < 1e-12);
    assert_eq!(progress.missed_fields, [("Field a".to_owned(), 1)]);
    assert!(progress.weak.windows(2).all(|w| w[0].loss >= w[1].loss));
    assert_eq!(Progress::of(&[]).series, []);
}

#[test]
fn what_is_weak_is_drawn_more_often_and_nothing_is_left_out() {
    let set = circle();
    // Bad at the fresh wind of the set, good at the light one: eight drills of every kind among the first 400.
    let mut results = Vec::new();
    let mut each: HashMap<Cell, u32> = HashMap::new();
    for n in 1..=400 {
        let cell = set.failure(n, None).unwrap().cell();
        let count = each.entry(cell).or_default();
        if *count < 8 {
            *count += 1;
            results.push(result_of(&set, n, cell.wind == WindBand::Light, 0.0, 250.0, 1));
        }
    }
    let results: Vec<&DrillResult> = results.iter().collect();
    let mut drawn: HashMap<Cell, u32> = HashMap::new();
    for seed in 0..2_000 {
        let number = next_number(&set, None, &results, seed).unwrap();
        assert!(!results.iter().any(|r| r.number == number), "{number} was flown already");
        *drawn.entry(set.failure(number, None).unwrap().cell()).or_default() += 1;
        assert_eq!(next_number(&set, None, &results, seed), Ok(number));
    }
    let of = |band: WindBand| drawn.iter().filter(|d| d.0.wind == band).map(|d| *d.1).collect::<Vec<_>>();
    // Weights by the rule: (1 + 8) / 10 against the least weight of 0.15, since (1 + 0) / 10 is below it.
    let (weak, strong) = (of(WindBand::Moderate).into_iter().chain(of(WindBand::Fresh)), of(WindBand::Light));
    let (weak_n, weak_sum) = weak.fold((0, 0), |(n, s), d| (n + 1, s + d));
    let (strong_n, strong_sum) = (strong.len() as u32, strong.iter().sum::<u32>());
    assert!(weak_n >= 3 && strong_n >= 3, "{drawn:?}");
    let ratio = (f64::from(weak_sum) / f64::from(weak_n)) / (f64::from(strong_sum) / f64::from(strong_n));
    assert!((4.5..7.5).contains(&ratio), "0.9 to 0.15 is 6: {ratio}");
}

#[test]
fn a_new_pilot_gets_every_kind_alike() {
    let set = circle();
    let cells: BTreeSet<Cell> = (1..=96).map(|n| set.failure(n, None).unwrap().cell()).collect();
    let weights = weights(&cells, &[]);
    assert!(weights.values().all(|w| *w == 0.5) && weights.len() == cells.len());
}

#[test]
fn joins_that_may_not_be_used_are_not_flown() {
    let scene = Scene::new(WindVector::CALM);
    let trial = Trial { joins: Join::ALL.map(|j| j == Join::Overhead), ..scene.trial(600.0) };
    let a = offer("a", 0.8, (600.0, 600.0), 90.0);
    let flown = trial.fly(&[choose(4.0, &a)]);
    assert_eq!(flown.circuit().map(|c| c.plan.join), Some(Join::Overhead));
}

#[test]
fn circuits_of_a_drill_are_flown_many_times_the_same_for_everyone() {
    let scene = Scene::new(WindVector::coming_from(Bearing::from_deg(90.0), 4.0));
    let trial = scene.trial(450.0);
    let near = offer("near", 0.6, (600.0, -300.0), 90.0);
    let choices = [choose(6.0, &near)];
    let result = scored(&trial, &choices, std::slice::from_ref(&near));
    let flown = trial.fly(&choices);
    let budget = Budget { samples: 600, ..Budget::default() };
    let many = |choices: &[Choice], flown: &Flown, stopped: bool| {
        trial.flown_many(choices, flown, std::slice::from_ref(&near), &result, &budget, &|| stopped)
    };
    let known = many(&choices, &flown, false);
    let (chosen, best) = (known.chosen.unwrap(), known.best.unwrap());
    assert_eq!((chosen.flights, best.flights), (600, 600));
    assert!(chosen.share > 0.0 && chosen.share <= 1.0 && best.share > 0.0, "{known:?}");
    assert_eq!(known, many(&choices, &flown, false));
    // Nothing chosen leaves the best alone; stopped it says nothing.
    let nothing = many(&[], &trial.fly(&[]), false);
    assert_eq!((nothing.chosen, nothing.best), (None, Some(best)));
    assert_eq!(many(&choices, &flown, true), DrillRobustness::default());
}

fn flown_by_hand(trial: &Trial<'_>, hold: impl Fn(&Motion) -> Hold) -> HandFlown {
    let mut flight = trial.by_hand();
    while flight.end().is_none() {
        let now = flight.now();
        flight.tick(&trial.surroundings, hold(&now));
    }
    HandFlown::of(&flight).unwrap()
}

fn scored_by_hand(trial: &Trial<'_>, choices: &[Choice], hand: &HandFlown) -> DrillResult {
    let (set, failure) = failed(trial);
    let occasion = Occasion { id: "r1", pilot: "Pat", day: DAY, set: &set, failure: &failure };
    let offers: Vec<Offer> = choices.iter().map(|c| c.offer.clone()).collect();
    trial.score_by_hand(&occasion, choices, hand, &Offered { at_failure: &offers, at_choice: &offers }).0
}

#[test]
fn a_glide_by_hand_ends_where_the_glide_ratio_says() {
    let scene = Scene::new(WindVector::CALM);
    let trial = scene.trial(300.0);
    let speed = scene.aircraft.straight_speed_ms();
    let hand = flown_by_hand(&trial, |_| Hold { bank_rad: 0.0, level_speed_ms: speed });
    // 6 : 1 from 300 m: 1 800 m on. The strips begin so far before or after that, and 40 m before their aiming point.
    let ends = |begins_m: f64, north_m: f64| {
        let choice = choose(2.0, &offer("A", 0.8, (begins_m + 40.0, north_m), 90.0));
        scored_by_hand(&trial, &[choice], &hand)
    };
    let good = ends(1_700.0, 0.0);
    assert_eq!(good.outcome, Outcome::StoppedInStrip, "{:?} {:?}", good.short_margin_m, good.long_margin_m);
    // The usable part begins 20 m in.
    assert!((good.short_margin_m.unwrap() - 80.0).abs() < 20.0, "{:?}", good.short_margin_m);
    assert!(good.base_leg_distance_m.is_none() && good.join.is_none());
    let measured = good.by_hand.unwrap();
    // 50 mph at 6 : 1 sinks 3.7 m/s.
    assert!((measured.touchdown_sink_ms.unwrap() - 3.7).abs() < 0.1, "{measured:?}");
    assert!(measured.steepest_bank_rad.abs() < 1e-12 && (measured.slowest_ms - speed).abs() < 1e-9);
    match ends(1_950.0, 0.0).outcome {
        Outcome::Undershot { by_m } => assert!((by_m - 170.0).abs() < 20.0, "{by_m}"),
        other => panic!("{other:?}"),
    }
    match ends(1_350.0, 0.0).outcome {
        Outcome::Overran { by_m } => assert!(by_m > 50.0, "{by_m}"),
        other => panic!("{other:?}"),
    }
    match ends(1_700.0, 60.0).outcome {
        // Half of the 20 m of its width are the strip's.
        Outcome::Beside { by_m } => assert!((by_m - 50.0).abs() < 0.5, "{by_m}"),
        other => panic!("{other:?}"),
    }
    // From the other end: the strip named to land on towards the west begins at its east end.
    let west = choose(2.0, &offer("A", 0.8, (2_060.0, 0.0), 270.0));
    assert_eq!(scored_by_hand(&trial, &[west], &hand).outcome, Outcome::StoppedInStrip);
    assert_eq!(scored_by_hand(&trial, &[], &hand).outcome, Outcome::NothingChosen);
    // Named when the wheels were on it already, a field was not chosen.
    let down_s = hand.touchdown.unwrap().at.time_s;
    let late = choose(down_s + 1.0, &offer("A", 0.8, (1_740.0, 0.0), 90.0));
    assert_eq!(scored_by_hand(&trial, &[late], &hand).outcome, Outcome::TooLate);
}

#[test]
fn the_base_leg_flown_by_hand_is_the_last_that_lasted() {
    let scene = Scene::new(WindVector::CALM);
    let trial = scene.trial(300.0);
    let choice = choose(1.0, &offer("A", 0.8, (1_040.0, 0.0), 90.0));
    // Across the approach 400 m out, back along it, across 250 m out, and in; a jink of two seconds is none.
    let corners = [
        (600.0, 500.0, 0.0),
        (600.0, 200.0, 20.0),
        (750.0, 200.0, 30.0),
        (750.0, 0.0, 44.0),
        (900.0, 0.0, 54.0),
        (900.0, 20.0, 56.0),
        (1_100.0, 5.0, 70.0),
    ];
    let track: Vec<Motion> = corners
        .iter()
        .map(|&(x, y, time_s)| Motion { position: Xy::new(x, y), time_s, height_amsl_m: 0.0, ..trial.beginning() })
        .collect();
    let at = *track.last().unwrap();
    let touchdown = Touchdown { at, over_ground_ms: Xy::new(20.0, 0.0), sink_ms: 2.0 };
    let stop = Motion { position: Xy::new(1_200.0, 5.0), time_s: 80.0, ..at };
    let track = track.into_iter().chain([stop]).collect();
    let hand = HandFlown { touchdown: Some(touchdown), end: HandEnd::Stopped, track };
    let result = scored_by_hand(&trial, &[choice], &hand);
    assert!((result.base_leg_distance_m.unwrap() - 250.0).abs() < 1e-6, "{:?}", result.base_leg_distance_m);
    assert!(
        (result.short_margin_m.unwrap() - 80.0).abs() < 1e-6 && (result.long_margin_m.unwrap() - 200.0).abs() < 1e-6
    );
    assert_eq!(result.choices[0].at_s, 1.0);
}
