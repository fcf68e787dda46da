//! The reach, proved from outside: paths flown again over the ground, and footprints known in closed form.
//!
//! Every formula here is written down again from its source ([`checks::triangle`]), and the ground's surface is worked
//! out again ([`checks::scenery::worst_excess_m`]). The companion tests make the mistakes that are easiest to make and
//! show that every bound notices them. All scenes come from seeds.

use checks::mistake::{FOOT_M, Mistake};
use checks::scenery::{Dice, fractal, terrain, worst_excess_m};
use checks::triangle::{Glider, density_ratio};
use rayon::prelude::*;
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::{Aircraft, GlideCurve, GlideSpeed};
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::{AircraftState, Reach, ReachOptions, forward_reach};

/// The glider of all scenes: 6 : 1 at 22 m/s, the middle of what two-seat flexwings are said to do.
const BEST_MS: f64 = 22.0;
const RATIO: f64 = 6.0;
const SLOWEST_MS: f64 = 19.0;
const FASTEST_MS: f64 = 40.0;

fn aircraft(held_ms: Option<f64>) -> Aircraft {
    Aircraft {
        glide: GlideCurve::from_best_glide(BEST_MS, RATIO).expect("a glider"),
        min_glide_speed_ms: SLOWEST_MS,
        max_speed_ms: FASTEST_MS,
        glide_speed: held_ms.map_or(GlideSpeed::BestForWind, GlideSpeed::Held),
        ..Aircraft::example_flexwing()
    }
}

/// The same glider for the formulas.
fn glider(held_ms: Option<f64>) -> Glider {
    Glider { best_ms: BEST_MS, ratio: RATIO, speeds_ms: held_ms.map_or((SLOWEST_MS, FASTEST_MS), |v| (v, v)) }
}

fn reach(terrain: &Terrain, aircraft: &Aircraft, wind: &Wind, state: &AircraftState, options: ReachOptions) -> Reach {
    forward_reach(terrain, aircraft, wind, state, &options, &|| false).expect("a state that can be computed")
}

// ---------------------------------------------------------------------------------------------------------------------
// Paths flown again.
// ---------------------------------------------------------------------------------------------------------------------

/// No flown path may be lower than terrain + clearance by more than this: 1 mm, the rounding of coordinates of millions
/// of metres and of heights in `f32`, far below anything a terrain model knows.
const BELOW_FLOOR_M: f64 = 1e-3;

/// Along a leg no more height may be kept than the wind triangle allows, but for this share of the height lost: the
/// accuracy asked for in the issue.
const LOSS_RELATIVE: f64 = 1e-6;

/// In a wind that changes with height, the steps of the second computation are this many metres high; their error is
/// that of the midpoint rule, well below a millimetre over a leg.
const STEP_M: f64 = 0.25;

/// What that second computation may be higher by, in metres: ten times the above.
const LAYERED_ABOVE_M: f64 = 1e-2;

/// A reach in uniform wind takes one density, that of the middle of its heights. A leg flown at other heights is then
/// told too high or too low by a little: true airspeed changes by 5 % for each 1 000 m, the heights here span some
/// 1 500 m, and with 8 m/s against 24 m/s a third of that is lost in the loss. 1 % of a glide of 400 m is the bound; it
/// is an approximation that the code states, and is watched here so that it does not grow.
const ONE_DENSITY_M: f64 = 4.0;

const CLEARANCE_M: f64 = 50.0;
const SEEDS: u64 = 5;
const PATHS_PER_SCENE: usize = 2_500;
const SCENES: usize = SEEDS as usize * 8;
const PATHS: usize = SCENES * PATHS_PER_SCENE;

/// How many of the paths must come within 1 m of the floor somewhere on the way before their end, and how many must
/// bend on the way round ground. Fewer, and the scenes would not put the floor test to the test.
const GRAZING_AT_LEAST: usize = PATHS / 40;
const BENT_AT_LEAST: usize = PATHS / 10;

#[derive(Clone, Copy, Debug)]
struct FlownScene {
    seed: u64,
    alpine: bool,
    log_profile: bool,
    heading: bool,
}

impl FlownScene {
    fn all() -> Vec<Self> {
        let kinds = (0..8).map(|k| (k & 1 == 1, k & 2 == 2, k & 4 == 4));
        kinds
            .flat_map(|(alpine, log_profile, heading)| {
                (1..=SEEDS).map(move |seed| Self { seed, alpine, log_profile, heading })
            })
            .collect()
    }
    fn terrain(self) -> Terrain {
        // 6.4 km of ground: 150 m high and rolling, or 1 500 m high and rough.
        let (relief, roughness) = if self.alpine { (1_500.0, 0.6) } else { (150.0, 0.55) };
        fractal(self.seed * 97 + u64::from(self.alpine), 8, 25.0, relief, roughness)
    }
    fn held(self) -> Option<f64> {
        (self.seed % 2 == 1).then_some(24.0)
    }
    fn wind_towards(self) -> Xy {
        let mut dice = Dice::new(self.seed + 1_000);
        Bearing::from_deg(dice.within(0.0, 360.0)).unit() * dice.within(2.0, 8.0)
    }
    fn wind(self, mistake: Mistake, ground_m: f64) -> Wind {
        let profile = if self.log_profile { WindProfile::OPEN_GRASS } else { WindProfile::Uniform };
        Wind::new(mistake.wind(self.wind_towards()), profile, Vec::new(), ground_m)
    }
}

#[derive(Debug, Clone, Copy)]
struct Flown {
    paths: usize,
    grazing: usize,
    bent: usize,
    /// Legs whose height was worked out again.
    legs: usize,
    below_floor_m: f64,
    /// Height kept beyond what the second computation allows, as a share of the height lost (uniform air) and in metres
    /// (air that changes with height).
    too_high_relative: f64,
    too_high_m: f64,
    /// In uniform wind: height kept beyond what density at the heights flown allows, metres.
    too_high_in_local_air_m: f64,
}

impl Flown {
    const NOTHING: Self = Self {
        paths: 0,
        grazing: 0,
        bent: 0,
        legs: 0,
        below_floor_m: f64::NEG_INFINITY,
        too_high_relative: f64::NEG_INFINITY,
        too_high_m: f64::NEG_INFINITY,
        too_high_in_local_air_m: f64::NEG_INFINITY,
    };
    fn and(self, o: Self) -> Self {
        Self {
            paths: self.paths + o.paths,
            grazing: self.grazing + o.grazing,
            bent: self.bent + o.bent,
            legs: self.legs + o.legs,
            below_floor_m: self.below_floor_m.max(o.below_floor_m),
            too_high_relative: self.too_high_relative.max(o.too_high_relative),
            too_high_m: self.too_high_m.max(o.too_high_m),
            too_high_in_local_air_m: self.too_high_in_local_air_m.max(o.too_high_in_local_air_m),
        }
    }
}

/// Computes a reach with the mistake, and flies paths to random places of it again without.
fn fly(scene: FlownScene, paths: usize, mistake: Mistake) -> Flown {
    let ground = scene.terrain();
    let frame = ground.frame;
    let mut dice = Dice::new(scene.seed * 31 + 7);
    let middle = frame.centre(frame.rows / 2, frame.cols / 2);
    let start = middle + Xy::new(dice.within(-800.0, 800.0), dice.within(-800.0, 800.0));
    let under = ground.height_at(start).expect("ground under the start");
    // High enough to clear neighbouring ridges, low enough for the ground to stop most glides.
    let height = under + if scene.alpine { 420.0 } else { 220.0 };
    let heading = scene.heading.then(|| Bearing::from_deg(dice.within(0.0, 360.0)));
    let state = AircraftState { position: start, height_amsl_m: height, heading };
    let options = ReachOptions {
        clearance_m: mistake.metres(CLEARANCE_M),
        reaction_time_s: 4.0,
        bend_turns: !scene.seed.is_multiple_of(3),
    };
    let known = if mistake == Mistake::SwappedAxes {
        let turned = |r: usize, c: usize| f64::from(ground.heights_m[c * frame.cols + r]);
        terrain(frame.origin, frame.cols, frame.rows, frame.cell_m, turned)
    } else {
        ground.clone()
    };
    let mut flown = Flown::NOTHING;
    let wind = scene.wind(mistake, under);
    let result = forward_reach(&known, &aircraft(scene.held()), &wind, &state, &options, &|| false);
    let Ok(reach) = result else { return flown };
    let right_wind = scene.wind(Mistake::None, under);
    let lowest = reach.frame.rows * reach.frame.cols;
    // The density a reach in uniform wind takes is that of the middle between the start and the lowest floor around.
    let low = (0..lowest)
        .filter_map(|i| known.post(i / reach.frame.cols + reach.offset.0, i % reach.frame.cols + reach.offset.1))
        .fold(f64::INFINITY, f64::min);
    // Which ground counts as around is the code's own business: the window at least, the whole terrain at most, and the
    // loss changes one way between the two densities.
    let lowest_of_all = known.range().map_or(low, |r| r.0);
    let densities = [low, lowest_of_all].map(|low| density_ratio(0.5 * (height + low + options.clearance_m)));
    let cells: Vec<usize> = (0..lowest).filter(|&i| reach.arrival_amsl_m[i].is_finite()).collect();
    if cells.is_empty() {
        return flown;
    }
    let mut tries = 0;
    while flown.paths < paths && tries < 100 * paths {
        tries += 1;
        let cell = cells[dice.below(cells.len())];
        let half = 0.5 * frame.cell_m;
        let off = Xy::new(dice.within(-half, half), dice.within(-half, half));
        let p = reach.frame.centre(cell / reach.frame.cols, cell % reach.frame.cols) + off;
        // Most of what is in reach is in plain view and proves little: nine of ten such places are passed over.
        let there = f64::from(reach.arrival_amsl_m[cell]);
        let in_view = worst_excess_m(&known, (start, height), (p, there)) + options.clearance_m < 0.0;
        if in_view && dice.unit() < 0.9 {
            continue;
        }
        let Some(path) = reach.path_to(&known, p) else { continue };
        flown.paths += 1;
        let (first, last) = (path[0], path[path.len() - 1]);
        assert!(first.position == start && first.height_amsl_m <= height, "{scene:?}: a path starts at {first:?}");
        assert!(last.position.distance(p) < 1e-6, "{scene:?}: a path to {p:?} ends at {last:?}");
        let told = reach.arrival_at(&known, p).expect("a place with a path has an arrival").height_amsl_m;
        assert!((told - last.height_amsl_m).abs() < 1e-6, "{scene:?}: {told} told, {} flown", last.height_amsl_m);
        let (mut nearest, mut tracks, mut course) = (f64::NEG_INFINITY, 0, None);
        for leg in path.windows(2) {
            let (a, b) = (leg[0], leg[1]);
            assert!(b.height_amsl_m <= a.height_amsl_m + 1e-9, "{scene:?}: a glide climbs from {a:?} to {b:?}");
            let d = b.position - a.position;
            let excess = worst_excess_m(&ground, (a.position, a.height_amsl_m), (b.position, b.height_amsl_m));
            flown.below_floor_m = flown.below_floor_m.max(excess + CLEARANCE_M);
            // The end itself is low wherever the glide is at its end; what matters here is the way.
            let ahead = b.position + (a.position - b.position) * (30.0 / d.norm()).min(1.0);
            let at_ahead = b.height_amsl_m + (a.height_amsl_m - b.height_amsl_m) * (30.0 / d.norm()).min(1.0);
            if d.norm() > 30.0 {
                nearest = nearest.max(worst_excess_m(&ground, (a.position, a.height_amsl_m), (ahead, at_ahead)));
            }
            if d.norm() > 1e-6 {
                let u = d * (1.0 / d.norm());
                tracks += usize::from(course.is_none_or(|c: Xy| c.cross(u).abs() > 1e-6));
                course = Some(u);
            }
            // Reaction and first turn are flown otherwise than by the best straight glide; legs are checked without.
            if heading.is_none() && d.norm() > 1e-6 {
                if scene.log_profile {
                    if scene.held().is_some() {
                        flown.legs += 1;
                        let end = fly_down(&glider(scene.held()), &right_wind, a.height_amsl_m, d);
                        flown.too_high_m = flown.too_high_m.max(b.height_amsl_m - end);
                    }
                } else {
                    let glider = glider(scene.held());
                    let losses =
                        densities.map(|o| glider.loss_m(d, right_wind.surface.xy(), o).unwrap_or(f64::INFINITY));
                    let loss = losses[0].min(losses[1]);
                    flown.legs += 1;
                    // A leg may be millimetres long; heights of some 1 000 m are known to 1e-9 m at best.
                    let kept = loss - (a.height_amsl_m - b.height_amsl_m) - 1e-9;
                    flown.too_high_relative = flown.too_high_relative.max(kept / loss);
                    if scene.held().is_some() {
                        let end = fly_down(&glider, &right_wind, a.height_amsl_m, d);
                        flown.too_high_in_local_air_m = flown.too_high_in_local_air_m.max(b.height_amsl_m - end);
                    }
                }
            }
        }
        flown.grazing += usize::from(nearest > -(CLEARANCE_M + 1.0));
        flown.bent += usize::from(tracks > 1 && heading.is_none());
    }
    flown
}

/// Height after a displacement in air that changes with height, flown down in small steps in the air of their middle.
fn fly_down(glider: &Glider, wind: &Wind, from_m: f64, d: Xy) -> f64 {
    let distance = d.norm();
    let (mut z, mut left) = (from_m, distance);
    loop {
        let middle = z - 0.5 * STEP_M;
        let towards = wind.at_amsl(middle).xy();
        let Some(loss) = glider.loss_m(d, towards, density_ratio(middle)) else { return f64::NEG_INFINITY };
        let run = STEP_M * distance / loss;
        if run >= left {
            return z - STEP_M * left / run;
        }
        left -= run;
        z -= STEP_M;
    }
}

fn fly_all(scenes: &[FlownScene], paths: usize, mistake: Mistake) -> Flown {
    let each: Vec<Flown> = scenes.par_iter().map(|s| fly(*s, paths, mistake)).collect();
    each.into_iter().fold(Flown::NOTHING, Flown::and)
}

#[test]
fn a_hundred_thousand_paths_keep_above_the_floor() {
    let flown = fly_all(&FlownScene::all(), PATHS_PER_SCENE, Mistake::None);
    println!("{flown:?}");
    assert_eq!(flown.paths, PATHS, "{flown:?}");
    assert_eq!(PATHS, 100_000);
    assert!(flown.below_floor_m <= BELOW_FLOOR_M, "{flown:?}");
    assert!(flown.too_high_relative <= LOSS_RELATIVE, "{flown:?}");
    assert!(flown.too_high_m <= LAYERED_ABOVE_M, "{flown:?}");
    assert!(flown.too_high_in_local_air_m <= ONE_DENSITY_M, "{flown:?}");
    assert!(flown.grazing >= GRAZING_AT_LEAST && flown.bent >= BENT_AT_LEAST, "{flown:?}");
    assert!(flown.legs > PATHS / 4, "{flown:?}");
}

#[test]
fn mistakes_put_paths_below_the_floor_or_above_the_wind_triangle() {
    let scenes: Vec<FlownScene> = FlownScene::all().into_iter().filter(|s| s.seed == 1 && !s.heading).collect();
    let flown = |mistake| fly_all(&scenes, 400, mistake);
    assert!(flown(Mistake::FeetForMetres).below_floor_m > 100.0 * BELOW_FLOOR_M);
    assert!(flown(Mistake::SwappedAxes).below_floor_m > 100.0 * BELOW_FLOOR_M);
    let reversed = flown(Mistake::WindReversed);
    assert!(reversed.too_high_relative > 1_000.0 * LOSS_RELATIVE, "{reversed:?}");
    assert!(reversed.too_high_m > 100.0 * LAYERED_ABOVE_M, "{reversed:?}");
}

// ---------------------------------------------------------------------------------------------------------------------
// Footprint on level ground.
// ---------------------------------------------------------------------------------------------------------------------

/// The bound: height is right to this share of the height lost.
const FOOTPRINT_RELATIVE: f64 = 1e-6;

/// Heights of cells are stored as `f32` rounded down: below 1 024 m that is 2⁻¹⁴ m.
const STORED_M: f64 = 6.2e-5;

#[derive(Clone, Copy, Debug)]
struct Footprint {
    held_ms: Option<f64>,
    towards: Xy,
}

/// Still air and wind, held and best speed. The wind lies in no symmetry of the axes.
fn footprints() -> Vec<Footprint> {
    let winds = [Xy::new(0.0, 0.0), Xy::new(6.5, -2.0), Xy::new(-9.0, 7.0), Xy::new(1.0, 12.0)];
    winds
        .into_iter()
        .flat_map(|towards| [Some(BEST_MS), Some(28.0), None].map(|held_ms| Footprint { held_ms, towards }))
        .collect()
}

#[derive(Debug)]
struct FootprintResult {
    cells: usize,
    places: usize,
    worst_relative: f64,
    /// Cells whose stored height is off by more than bound and storage, or that are reached and should not be, or not
    /// and should.
    wrong_cells: usize,
}

fn footprint(case: Footprint, mistake: Mistake) -> FootprintResult {
    let (ground_m, above_m, clearance_m) = (130.0, 450.0, 50.0);
    let level = terrain(Xy::new(600_000.0, 5_100_000.0), 361, 361, 30.0, |_, _| ground_m);
    let start = level.frame.centre(180, 180) + Xy::new(11.0, -4.0);
    let height = ground_m + above_m;
    // The height above ground is what is read off an altimeter in the wrong unit.
    let told = AircraftState { position: start, height_amsl_m: ground_m + mistake.metres(above_m), heading: None };
    let wind = Wind::uniform(mistake.wind(mistake.place(case.towards)));
    let options = ReachOptions { clearance_m, reaction_time_s: 4.0, bend_turns: true };
    let reach = reach(&level, &aircraft(case.held_ms), &wind, &told, options);
    let floor = ground_m + clearance_m;
    let density = density_ratio(0.5 * (height + floor));
    let glider = glider(case.held_ms);
    let expect = |p: Xy| glider.loss_m(p - start, case.towards, density).map_or(f64::NEG_INFINITY, |l| height - l);
    let mut out = FootprintResult { cells: 0, places: 0, worst_relative: 0.0, wrong_cells: 0 };
    for row in 0..level.frame.rows {
        for col in 0..level.frame.cols {
            let want = expect(level.frame.centre(row, col));
            let got = row
                .checked_sub(reach.offset.0)
                .zip(col.checked_sub(reach.offset.1))
                .and_then(|(r, c)| reach.arrival_at_cell(r, c));
            let slack = FOOTPRINT_RELATIVE * (height - want).min(height);
            let right = match got {
                Some(got) => {
                    out.cells += 1;
                    got <= want + slack && got >= want - slack - STORED_M
                }
                None => want < floor + slack,
            };
            out.wrong_cells += usize::from(!right);
        }
    }
    // Places off the posts, at full precision.
    let mut dice = Dice::new(77);
    let (low, high) = reach.frame.bounds();
    for _ in 0..4_000 {
        let p = Xy::new(dice.within(low.x, high.x), dice.within(low.y, high.y));
        let want = expect(p);
        if let Some(got) = reach.arrival_at(&level, p) {
            out.places += 1;
            out.worst_relative = out.worst_relative.max((got.height_amsl_m - want).abs() / (height - want));
        }
    }
    out
}

#[test]
fn footprint_on_level_ground_is_that_of_the_wind_triangle() {
    for case in footprints() {
        let r = footprint(case, Mistake::None);
        println!("{case:?} {r:?}");
        assert!(r.worst_relative <= FOOTPRINT_RELATIVE, "{case:?}: {r:?}");
        assert_eq!(r.wrong_cells, 0, "{case:?}: {r:?}");
        // π·(400 m · 6)² is some 20 000 cells.
        assert!(r.cells > 10_000 && r.places > 1_000, "{case:?}: {r:?}");
    }
}

#[test]
fn mistakes_break_the_footprint() {
    for case in footprints() {
        for mistake in Mistake::ALL {
            if case.towards == Xy::default() && mistake != Mistake::FeetForMetres {
                continue;
            }
            let r = footprint(case, mistake);
            assert!(r.worst_relative > 100.0 * FOOTPRINT_RELATIVE, "{mistake:?} goes unnoticed in {case:?}: {r:?}");
            assert!(r.wrong_cells > 1_000, "{mistake:?} goes unnoticed in {case:?}: {r:?}");
        }
    }
}

// ---------------------------------------------------------------------------------------------------------------------
// A thin wall.
// ---------------------------------------------------------------------------------------------------------------------

/// Height of the wall: 50 000 m on one row of posts, so that its foot is as steep as a wall.
const WALL_M: f64 = 50_000.0;

/// An infinitely thin wall runs from its free end E to the edge of the terrain. On a grid it is one column of posts, and
/// the bilinear surface between those and their neighbours is part of it: a tent two cells wide that begins at E.
///
/// The height left behind it lies between two closed forms:
/// - never more than by the way round the bare wall, start → E′ → place, with E′ beyond E by as much as the tent is lower
///   than the aircraft (z/[`WALL_M`] of a cell): whatever is flown must pass the wall's line beyond E′;
/// - never less than by the way over the two posts beside E, start → E − cell → E + cell → place: it is free, and both
///   its bends are posts.
///
/// Their difference is what the tent's width costs: by the triangle inequality at most four cells of way.
#[derive(Debug, Default)]
struct WallResult {
    places: usize,
    /// Above the first form and below the second, metres.
    above_m: f64,
    below_m: f64,
    /// Greatest difference from the wall without any width.
    from_thin_m: f64,
}

/// What either form may be missed by: 1e-6 of the height lost, and storage in `f32`.
fn wall_slack_m(lost_m: f64) -> f64 {
    FOOTPRINT_RELATIVE * lost_m + STORED_M
}

fn thin_wall(cell_m: f64, towards: Xy, mistake: Mistake) -> WallResult {
    let half = (3_000.0 / cell_m) as usize;
    let n = 2 * half + 1;
    let (wall_col, end_row) = (half + half / 6, half / 2);
    let ground = terrain(Xy::new(300_000.0, 4_900_000.0), n, n, cell_m, |r, c| {
        let (r, c) = if mistake == Mistake::SwappedAxes { (c, r) } else { (r, c) };
        if c == wall_col && r > end_row { WALL_M } else { 0.0 }
    });
    let start = ground.frame.centre(half, half - half / 8);
    let height = 600.0;
    let held = Some(BEST_MS);
    let options = ReachOptions { clearance_m: 0.0, reaction_time_s: 0.0, bend_turns: false };
    let state = AircraftState { position: start, height_amsl_m: mistake.metres(height), heading: None };
    let reach = reach(&ground, &aircraft(held), &Wind::uniform(mistake.wind(towards)), &state, options);
    let density = density_ratio(0.5 * height);
    let glider = glider(held);
    let loss = |from: Xy, to: Xy| glider.loss_m(to - from, towards, density).expect("a wind that can be flown in");
    let end = ground.frame.centre(end_row, wall_col);
    let (before, after) = (end - Xy::new(cell_m, 0.0), end + Xy::new(cell_m, 0.0));
    let beyond = end - Xy::new(0.0, height / WALL_M * cell_m);
    let mut out = WallResult::default();
    for row in (end_row + 2)..n {
        for col in (wall_col + 2)..n {
            let p = ground.frame.centre(row, col);
            let at_least = height - loss(start, before) - loss(before, after) - loss(after, p);
            if at_least < 0.5 {
                continue;
            }
            let at_most = height - loss(start, beyond) - loss(beyond, p);
            let got = row
                .checked_sub(reach.offset.0)
                .zip(col.checked_sub(reach.offset.1))
                .and_then(|(r, c)| reach.arrival_at_cell(r, c))
                .unwrap_or(f64::NEG_INFINITY);
            out.places += 1;
            let slack = wall_slack_m(height - at_least);
            out.above_m = out.above_m.max(got - at_most - slack);
            out.below_m = out.below_m.max(at_least - got - slack);
            out.from_thin_m = out.from_thin_m.max((height - loss(start, end) - loss(end, p) - got).abs());
        }
    }
    out
}

/// Winds for the wall: none, along it against the way out and with it, and across.
fn wall_winds() -> [Xy; 4] {
    [Xy::new(0.0, 0.0), Xy::new(1.0, -5.0), Xy::new(-2.0, 4.0), Xy::new(6.0, 1.0)]
}

#[test]
fn a_thin_wall_is_rounded_at_its_end_by_the_shortest_way() {
    for towards in wall_winds() {
        let mut last = f64::INFINITY;
        for cell_m in [50.0, 25.0, 12.5] {
            let r = thin_wall(cell_m, towards, Mistake::None);
            println!("cell {cell_m} m, wind {towards:?}: {r:?}");
            assert!(r.places > 300, "{r:?}");
            assert!(r.above_m <= 0.0, "cell {cell_m} m, wind {towards:?}: higher than round the bare wall: {r:?}");
            assert!(r.below_m <= 0.0, "cell {cell_m} m, wind {towards:?}: lower than round its two posts: {r:?}");
            // Four cells of way, each at the loss of the worst direction.
            let dearest = (0..72)
                .filter_map(|k| {
                    let d = Bearing::from_deg(f64::from(k) * 5.0).unit();
                    glider(Some(BEST_MS)).loss_m(d, towards, 1.0)
                })
                .fold(0.0, f64::max);
            assert!(r.from_thin_m <= 4.0 * cell_m * dearest, "cell {cell_m} m: {r:?}");
            assert!(r.from_thin_m < last, "a finer grid comes nearer to the wall without width: {r:?}");
            last = r.from_thin_m;
        }
    }
}

#[test]
fn mistakes_break_the_wall() {
    for towards in wall_winds() {
        for mistake in Mistake::ALL {
            if towards == Xy::default() && mistake == Mistake::WindReversed {
                continue;
            }
            let r = thin_wall(25.0, towards, mistake);
            assert!(r.above_m > 1.0 || r.below_m > 1.0, "{mistake:?} goes unnoticed in {towards:?}: {r:?}");
        }
    }
}

// ---------------------------------------------------------------------------------------------------------------------
// A published reach.
// ---------------------------------------------------------------------------------------------------------------------

/// Radius and area in reach at 5 : 1 in still air from a height in feet.
fn five_to_one(height_ft: f64, mistake: Mistake) -> (f64, f64) {
    let five =
        Aircraft { glide: GlideCurve::from_best_glide(BEST_MS, 5.0).expect("a glider"), ..aircraft(Some(BEST_MS)) };
    let level = terrain(Xy::new(0.0, 0.0), 401, 401, 10.0, |_, _| 0.0);
    let height_m = if mistake == Mistake::FeetForMetres { height_ft } else { height_ft * FOOT_M };
    let state = AircraftState { position: level.frame.centre(200, 200), height_amsl_m: height_m, heading: None };
    let options = ReachOptions { clearance_m: 0.0, reaction_time_s: 0.0, bend_turns: false };
    let reach = reach(&level, &five, &Wind::uniform(WindVector::CALM), &state, options);
    (reach.max_range_m() / FOOT_M, reach.reachable_area_m2() / (FOOT_M * FOOT_M))
}

/// One cell of 10 m, by which the farthest cell centre may fall short of the circle.
const CELL_FT: f64 = 10.0 / FOOT_M;

/// Area of cells against area of a circle: Gauss's circle problem leaves well below 1 % at 76 cells of radius.
const AREA_RELATIVE: f64 = 0.01;

/// FAA-H-8083-5, *Weight-Shift Control Aircraft Flying Handbook*, ch. 13, figure 13-4: at 5 : 1, 500 ft give a radius of
/// 2 500 ft, and twice the height gives four times the area.
#[test]
fn five_to_one_from_500_feet_reaches_2500_feet() {
    let holds = |mistake| {
        let (radius, area) = five_to_one(500.0, mistake);
        let (double, double_area) = five_to_one(1_000.0, mistake);
        let within = |got: f64, want: f64| got <= want * (1.0 + 1e-9) && got >= want - CELL_FT;
        let circle = math::PI * 2_500.0 * 2_500.0;
        within(radius, 2_500.0)
            && within(double, 5_000.0)
            && (area / circle - 1.0).abs() < AREA_RELATIVE
            && (double_area / area / 4.0 - 1.0).abs() < AREA_RELATIVE
    };
    assert!(holds(Mistake::None));
    assert!(!holds(Mistake::FeetForMetres));
}
