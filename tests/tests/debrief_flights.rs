//! The analysis of flights against invented ones whose truth is known.
//!
//! The flights are made by a pilot model and a circuit simulation that share nothing with the analysis; the numbers of the
//! analysis were set on other seeds. `tests/debrief_reference/README.md` keeps the table that these runs print.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use sample_terrain::flights::{Difficulty, Flight as Truth, Land, TrueEnding, fly, invented_wind, level_landing};
use sample_terrain::noise::{Dice, Noise};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{Landing, Surroundings};
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::Hazard;
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::track::exercises::{Ending, EventKind};
use sparefield_geometry::track::glide_fit;
use sparefield_geometry::track::measures::{Against, measure};
use sparefield_geometry::track::options::{Candidate, Needs};
use sparefield_geometry::track::phases::Flight;
use sparefield_geometry::track::samples::{Sample, Samples};
use sparefield_geometry::track::wind_by_height::{AirspeedPrior, WindByHeight};
use sparefield_geometry::track::{Fix, Track};
use std::fmt::Write as _;

/// Seeds of the flights; those below 1 000 were used for setting the analysis's numbers.
const FIRST_SEED: u64 = 1_000;
const FLIGHTS: u64 = 120;

fn rolling_ground() -> Terrain {
    const SIDE: usize = 401;
    let frame = GridFrame { origin: Xy::new(0.0, 20_000.0), cell_m: 50.0, cols: SIDE, rows: SIDE };
    let noise = Noise::new(5, 1);
    let height = |i: usize| 100.0 + 25.0 * noise.octaves(frame.centre(i / SIDE, i % SIDE), 4_000.0, 2);
    let heights_m = (0..frame.len()).map(|i| height(i) as f32).collect();
    Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
}

fn landings(dice: &mut Dice, terrain: &Terrain, into: Bearing) -> Vec<Landing> {
    (0..8)
        .map(|i| {
            let at = Xy::new(dice.within(7_000.0, 13_000.0), dice.within(7_000.0, 13_000.0));
            let off = if i == 0 { 0.0 } else { dice.within(-0.7, 0.7) };
            level_landing(at, terrain.height_at(at).unwrap(), Bearing::from_rad(into.rad() + off), 350.0)
        })
        .collect()
}

fn candidates(landings: &[Landing]) -> Vec<Candidate> {
    landings
        .iter()
        .enumerate()
        .map(|(field, landing)| {
            let along = landing.along();
            let side = Xy::new(-along.y, along.x) * 60.0;
            let (near, far) = (landing.start() - along * 10.0, landing.start() + along * 360.0);
            let outer = vec![near + side, far + side, far - side, near - side];
            Candidate { field, landing: *landing, verdict: Verdict::Roomy, score: 0.8, outer }
        })
        .collect()
}

/// Errors of one kind, without sign when asked for quantiles.
#[derive(Default)]
struct Errors(Vec<f64>);

impl Errors {
    fn quantile(&self, p: f64) -> f64 {
        let mut sizes: Vec<f64> = self.0.iter().map(|e| e.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        sizes[((sizes.len() - 1) as f64 * p).round() as usize]
    }
    fn within(&self, most: f64) -> f64 {
        self.0.iter().filter(|e| e.abs() <= most).count() as f64 / self.0.len() as f64
    }
    fn row(&self, table: &mut String, what: &str, unit: &str) {
        let _ = writeln!(
            table,
            "| {what} | {} | {:.1} | {:.1} | {:.1} {unit} |",
            self.0.len(),
            self.quantile(0.5),
            self.quantile(0.9),
            self.quantile(0.97)
        );
    }
}

#[derive(Default)]
struct Tally {
    right: usize,
    wrong: usize,
    missed: usize,
    /// How often the bounds told with the onset hold it, and how far apart they are.
    bounds_hold: usize,
    bounds_s: Errors,
    onset_s: Errors,
    end_s: Errors,
    height_m: Errors,
    base_leg_m: Errors,
    base_legs: usize,
    touchdown_m: Errors,
    turn_loss_m: Errors,
    fields_right: usize,
    changes: usize,
    wind_ms: Errors,
    wind_in_sd: Errors,
    landings_right: usize,
    landings: usize,
}

impl Tally {
    fn f1(&self) -> f64 {
        2.0 * self.right as f64 / (2 * self.right + self.wrong + self.missed) as f64
    }
    fn table(&self, name: &str) -> String {
        let mut table = format!("\n{name}: {FLIGHTS} flights\n\n");
        let _ = writeln!(
            table,
            "Exercises found {}, missed {}, false {}: precision {:.3}, recall {:.3}, F1 {:.3}.",
            self.right,
            self.missed,
            self.wrong,
            self.right as f64 / (self.right + self.wrong) as f64,
            self.right as f64 / (self.right + self.missed) as f64,
            self.f1()
        );
        let _ = writeln!(
            table,
            "Field recognised in {} of {}; changes of mind seen where there was none: {:.2} an exercise; landings found {} of {}.\n",
            self.fields_right,
            self.right,
            self.changes as f64 / self.right as f64,
            self.landings_right,
            self.landings
        );
        let _ = writeln!(
            table,
            "The bounds told with an onset hold it in {:.3}; half are {:.0} s apart or less, 97 % {:.0} s.\n",
            self.bounds_hold as f64 / self.right as f64,
            self.bounds_s.quantile(0.5),
            self.bounds_s.quantile(0.97)
        );
        let _ = writeln!(table, "| error of | n | half within | 90 % within | 97 % within |\n|---|---|---|---|---|");
        self.onset_s.row(&mut table, "onset", "s");
        self.end_s.row(&mut table, "end", "s");
        self.height_m.row(&mut table, "height above ground at the failure", "m");
        self.base_leg_m.row(&mut table, "base-leg distance", "m");
        self.touchdown_m.row(&mut table, "touchdown of landings, along the strip", "m");
        self.turn_loss_m.row(&mut table, "height lost in a turn against the glide curve", "m");
        self.wind_ms.row(&mut table, "wind of a band", "m/s");
        self.wind_in_sd.row(&mut table, "the same in its own standard deviations", "");
        table
    }
}

fn tally(how: Difficulty) -> Tally {
    let terrain = rolling_ground();
    let hazards = HazardIndex::new(Vec::<Hazard>::new());
    let aircraft = Aircraft::example_flexwing();
    let mut sum = Tally::default();
    for seed in FIRST_SEED..FIRST_SEED + FLIGHTS {
        let mut dice = Dice::new(seed, 1);
        let wind = invented_wind(&mut dice, 100.0);
        let landings = landings(&mut dice, &terrain, wind.surface.from_bearing().unwrap());
        let surroundings = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 30.0 };
        let truth = fly(&Land { landings: &landings, surroundings }, &aircraft, &wind, 4, how, seed);
        add(&mut sum, &truth, &landings, &aircraft, surroundings);
    }
    sum
}

fn add(sum: &mut Tally, truth: &Truth, landings: &[Landing], aircraft: &Aircraft, surroundings: Surroundings<'_>) {
    let terrain = surroundings.terrain;
    let flight = Flight::of(Samples::of(&truth.track), aircraft, Some(terrain), None);
    let found = flight.exercises();
    let candidates = candidates(landings);
    let needs = Needs::new(&candidates, aircraft, &truth.wind, terrain, 900.0);
    let options = needs.over(&flight, &|| false);
    let against = Against { aircraft, needs: &needs, surroundings, stock: &[], over_stock_m: 60.0 };
    let mut used = vec![false; found.len()];
    for t in &truth.exercises {
        // The same exercise when they share more than half of the time that both cover.
        let share = |start: f64, end: f64| {
            (end.min(t.end_s) - start.max(t.start_s)) / (end.max(t.end_s) - start.min(t.start_s))
        };
        let hit = found.iter().position(|e| share(e.start_s, e.end_s) > 0.5);
        let Some(hit) = hit.filter(|&i| !used[i]) else {
            sum.missed += 1;
            continue;
        };
        used[hit] = true;
        sum.right += 1;
        let exercise = &found[hit];
        let told = measure(&flight, &options, exercise, &against).unwrap();
        sum.onset_s.0.push(exercise.start_s - t.start_s);
        let (earliest, latest) = exercise.start_between_s.unwrap();
        assert!(earliest <= exercise.start_s && exercise.start_s <= latest, "{exercise:?}");
        // The engine takes some half a second to run down.
        sum.bounds_hold += usize::from((earliest - 0.5..=latest + 0.5).contains(&t.start_s));
        sum.bounds_s.0.push(latest - earliest);
        sum.end_s.0.push(exercise.end_s - t.end_s);
        sum.height_m.0.push(told.height_agl_m.unwrap() - t.height_agl_m);
        sum.fields_right += usize::from(told.landing == Some(t.landing));
        sum.changes += told.aims.len().saturating_sub(1);
        if let Some(true_m) = t.base_leg_distance_m {
            sum.base_legs += 1;
            if let Some(told_m) = told.base_leg_distance_m {
                sum.base_leg_m.0.push(told_m - true_m);
            }
        }
        if t.ending != TrueEnding::GoAround && exercise.ending == Ending::Landing {
            let aim = landings[t.landing].aim_from_start_m;
            if let Some(arrival) = told.arrival {
                sum.touchdown_m.0.push(arrival.touchdown_m - aim);
            }
        }
        sum.turn_loss_m.0.extend(told.turns.iter().filter_map(|t| Some(t.lost_m? - t.predicted_m)));
    }
    sum.wrong += used.iter().filter(|u| !**u).count();
    for band in &flight.wind.bands {
        let off = (band.wind.xy() - truth.wind.at_amsl(band.height_amsl_m).xy()).norm();
        sum.wind_ms.0.push(off);
        sum.wind_in_sd.0.push(off / band.sd_ms);
    }
    let touched = |kind| matches!(kind, EventKind::Landing | EventKind::TouchAndGo);
    let events = flight.events();
    sum.landings += truth.touchdowns_s.len();
    let near = |at: f64| events.iter().any(|e| touched(e.kind) && (e.start_s - at).abs() < 20.0);
    sum.landings_right += truth.touchdowns_s.iter().filter(|&&t| near(t)).count();
}

#[test]
fn practice_failures_of_plain_flights_are_found_and_measured() {
    let sum = tally(Difficulty::PLAIN);
    let table = sum.table("Plain");
    println!("{table}");
    assert!(sum.right + sum.missed > 150, "{table}");
    assert!(sum.f1() >= 0.97, "{table}");
    assert!(sum.onset_s.within(3.0) >= 0.95, "{table}");
    assert!(sum.height_m.within(15.0) >= 0.95, "{table}");
    assert!(sum.base_leg_m.0.len() as f64 >= 0.85 * sum.base_legs as f64, "{table}");
    assert!(sum.base_leg_m.within(20.0) >= 0.95, "{table}");
    assert!(sum.fields_right as f64 >= 0.9 * sum.right as f64, "{table}");
    assert!(sum.wind_ms.quantile(0.5) <= 0.8, "{table}");
    // Honest: two standard deviations in the worst direction hold nearly all.
    assert!(sum.wind_in_sd.within(2.5) >= 0.9, "{table}");
    assert!(sum.landings_right as f64 >= 0.9 * sum.landings as f64, "{table}");
}

/// What is left over is in the air, not in the analysis: on these flights one that is told the true wind and the true
/// glide curve is no better (onset within 3 s in 96.6 % either way, 97 % within 3.2 s, the worst 52 s off). A failure into
/// air that rises by half the sink rate and a descent at half power into air that sinks by the other half are the same
/// track. What can be asked is that the bounds told with an onset hold.
#[test]
fn practice_failures_of_hard_flights_are_found_and_measured() {
    let sum = tally(Difficulty::HARD);
    let table = sum.table("Hard");
    println!("{table}");
    assert!(sum.f1() >= 0.85, "{table}");
    // No change of speed, one metre a second of vertical air: the onset is told to 3 s in most, not in all.
    assert!(sum.onset_s.within(3.0) >= 0.8, "{table}");
    // Nine times in ten is what the bounds promise.
    assert!(sum.bounds_hold as f64 >= 0.9 * sum.right as f64, "{table}");
    assert!(sum.bounds_s.quantile(0.5) <= 12.0, "{table}");
    assert!(sum.height_m.within(15.0) >= 0.85, "{table}");
    assert!(sum.base_leg_m.within(20.0) >= 0.9, "{table}");
    assert!(sum.wind_in_sd.within(2.5) >= 0.9, "{table}");
}

/// Speeds over the ground along an arc of heading, with independent errors.
fn arc(dice: &mut Dice, arc_rad: f64, n: usize, wind: Xy, airspeed: f64, sd: f64) -> Samples {
    use sparefield_geometry::math;
    let mut normal = || {
        let radius = (-2.0 * math::ln(1.0 - dice.unit())).sqrt();
        radius * math::cos(math::TAU * dice.unit())
    };
    let all = (0..n)
        .map(|i| Sample {
            time_s: i as f64,
            position: Xy::default(),
            ground: Bearing::from_rad(arc_rad * i as f64 / n as f64).unit() * airspeed
                + wind
                + Xy::new(sd * normal(), sd * normal()),
            height_amsl_m: Some(60.0),
            climb_ms: Some(0.0),
            engine: None,
        })
        .collect();
    Samples { all, parts: core::iter::once(0..n).collect(), ..Samples::default() }
}

/// Smallest possible root-mean-square error of the wind vector for speeds with independent errors on an arc, the airspeed
/// unknown: the Cramér–Rao bound. With u the unit vectors of the air velocity, the information about (wind, airspeed) is
/// Σ (u, 1)(u, 1)ᵀ/σ², since only the component along u tells anything when the heading is not known.
fn bound_ms(arc_rad: f64, n: usize, sd: f64) -> f64 {
    let mut m = [[0.0_f64; 3]; 3];
    for i in 0..n {
        let u = Bearing::from_rad(arc_rad * i as f64 / n as f64).unit();
        let row = [u.x, u.y, 1.0];
        for (a, ra) in row.iter().enumerate() {
            for (b, rb) in row.iter().enumerate() {
                m[a][b] += ra * rb / (sd * sd);
            }
        }
    }
    let minor = |r: usize, c: usize| {
        let rows: Vec<usize> = (0..3).filter(|&i| i != r).collect();
        let cols: Vec<usize> = (0..3).filter(|&i| i != c).collect();
        m[rows[0]][cols[0]] * m[rows[1]][cols[1]] - m[rows[0]][cols[1]] * m[rows[1]][cols[0]]
    };
    let det = m[0][0] * minor(0, 0) - m[0][1] * minor(0, 1) + m[0][2] * minor(0, 2);
    ((minor(0, 0) + minor(1, 1)) / det).sqrt()
}

#[test]
fn wind_fits_come_near_the_least_error_that_is_possible() {
    const RUNS: usize = 400;
    let wind = Xy::new(5.0, -3.0);
    // One airspeed, about which hardly anything is known: what the bound is for.
    let prior = AirspeedPrior { mean_ms: 18.0, sd_ms: 0.05, shared_sd_ms: 6.0 };
    let mut dice = Dice::new(77, 3);
    println!("| arc | n | bound | RMS error | told |\n|---|---|---|---|---|");
    // Half a turn is too little to be always told: the fit holds back where its stretches disagree.
    for (degrees, n, most, least_told) in
        [(360.0_f64, 60, 1.15, RUNS), (720.0, 120, 1.15, RUNS), (180.0, 60, 1.4, 3 * RUNS / 4)]
    {
        let arc_rad = degrees.to_radians();
        let (mut squares, mut told) = (0.0, 0);
        for _ in 0..RUNS {
            let samples = arc(&mut dice, arc_rad, n, wind, 18.0, 0.6);
            if let Some(band) = WindByHeight::estimate(&samples, |_| Some(prior)).bands.first() {
                let off = (band.wind.xy() - wind).norm();
                squares += off * off;
                told += 1;
            }
        }
        let rms = (squares / f64::from(told)).sqrt();
        let bound = bound_ms(arc_rad, n, 0.6);
        println!("| {degrees}° | {n} | {bound:.3} | {rms:.3} | {told} of {RUNS} |");
        assert!(told as usize >= least_told, "{degrees}°: told {told}");
        // Smaller than the bound is possible with a prior, but not by much with one as wide as this.
        assert!(rms > 0.75 * bound && rms < most * bound, "{degrees}°: {rms:.3} m/s, bound {bound:.3}");
    }
    // The bound itself against a published kind of table: a full circle of 60 speeds with 0.6 m/s gives 0.6·√(4/60).
    assert!((bound_ms(std::f64::consts::TAU, 60, 0.6) - 0.6 * (4.0_f64 / 60.0).sqrt()).abs() < 1e-9);
}

#[test]
fn the_glide_curve_comes_back_from_glides_at_several_speeds() {
    let aircraft = Aircraft::example_flexwing();
    let real = aircraft.glide.degraded(1.12);
    let wind = WindVector { east_ms: 4.0, north_ms: 2.0 };
    let mut fixes = Vec::new();
    let (mut at, mut height, mut t) = (Xy::new(10_000.0, 10_000.0), 900.0_f64, 0.0);
    // Power for a minute, then glides at five speeds, each with a turn.
    let mut fly = |speed: f64, climb: Option<f64>, bank: f64, seconds: usize, heading: &mut f64| {
        for _ in 0..seconds * 4 {
            let n = 1.0 / sparefield_geometry::math::cos(bank);
            let to_true = 1.0 / sparefield_geometry::air::isa_density_ratio(height).sqrt();
            let v = speed * to_true;
            *heading += 9.806_65 * sparefield_geometry::math::tan(bank) / v * 0.25;
            at = at + (Bearing::from_rad(*heading).unit() * v + wind.xy()) * 0.25;
            height += climb.unwrap_or(-real.sink_ms(speed, n) * to_true) * 0.25;
            t += 0.25;
            if ((t * 4.0_f64).round() as usize).is_multiple_of(4) {
                fixes.push(Fix { time_s: t, position: at, height_amsl_m: Some(height), engine: None });
            }
        }
    };
    let mut heading = 0.0;
    for speed in [19.5, 21.0, 23.0, 25.5, 28.0] {
        fly(24.0, Some(3.0), 0.2, 120, &mut heading);
        fly(speed, None, 0.0, 50, &mut heading);
        fly(speed, None, 0.45, 40, &mut heading);
    }
    let flight = Flight::of(Samples::of(&Track { fixes }), &aircraft, None, None);
    let points = glide_fit::glide_points(&flight);
    let told = glide_fit::fit(&points).unwrap();
    println!("{told:?}");
    let (speed, ratio) = (real.best_glide_speed_ms(), real.best_glide_ratio());
    assert!((told.best_ratio.0 - ratio).abs() < 0.25, "{told:?}, true {ratio}");
    assert!((told.best_speed_ms.0 - speed).abs() < 1.0, "{told:?}, true {speed}");
}

#[test]
fn tracks_that_are_no_flights_are_answered_with_nothing_and_without_panic() {
    let aircraft = Aircraft::example_flexwing();
    let terrain = rolling_ground();
    let look = |fixes: Vec<Fix>| {
        let flight = Flight::of(Samples::of(&Track { fixes }), &aircraft, Some(&terrain), None);
        (flight.exercises().len(), flight.events().len(), flight.samples.all.len())
    };
    let ground = |p: Xy| terrain.height_at(p);
    let car = |i: u32| {
        let t = f64::from(i);
        let position = Xy::new(8_000.0 + 9.0 * t, 9_000.0 + 300.0 * sparefield_geometry::math::sin(t / 40.0));
        Fix { time_s: t, position, height_amsl_m: ground(position), engine: None }
    };
    assert_eq!(look((0..1_000).map(car).collect()).0, 0);
    assert_eq!(look((0..3).map(car).collect()), (0, 0, 0));
    assert_eq!(look(Vec::new()), (0, 0, 0));
    let bare = |i: u32| Fix { height_amsl_m: None, ..car(i) };
    assert_eq!(look((0..1_000).map(bare).collect()).0, 0);
    let outside = |i: u32| Fix { position: Xy::new(9e6 + 20.0 * f64::from(i), 9e6), ..car(i) };
    assert_eq!(look((0..1_000).map(outside).collect()).0, 0);
    let jumping = |i: u32| Fix { time_s: f64::from(i) + if i > 500 { 1e7 } else { 0.0 }, ..car(i) };
    assert!(look((0..1_000).map(jumping).collect()).2 <= 1_000);
    let days = (0..172_800).step_by(4).map(|i| Fix { time_s: f64::from(i), ..car(i % 2_000) }).collect();
    assert!(look(days).2 <= 172_801);
}
