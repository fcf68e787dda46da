//! Values that somebody else published, against what this project computes.
//!
//! Every check names its source and takes its expected value and its tolerance from there, never from the code.
//! "Recomputed" marks a value that follows from a published formula by arithmetic alone. The companion tests make the
//! two mistakes that are easiest to make (feet for metres, east for north) and show that the bounds notice.

use sparefield_data::NoProgress;
use sparefield_data::frame::Frame;
use sparefield_data::terrain::{self, TerrainRequest};
use sparefield_geometry::air::{Wind, WindProfile, WindVector, isa_density_ratio};
use sparefield_geometry::aircraft::{Aircraft, GlideCurve, GlideSpeed, GlidingTurn};
use sparefield_geometry::fields::approach::{ObstacleRule, displacement_m, ground_speed_ms};
use sparefield_geometry::fields::model::Surface;
use sparefield_geometry::fields::needed::{LandingCase, SS09_DRY_GRASS, SafetyFactor, wind_factor};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, LonLat, Xy};
use sparefield_geometry::reach::{AircraftState, ReachOptions, forward_reach};
use sparefield_geometry::slope::horn;

const FOOT_M: f64 = 0.304_8;
const KNOT_MS: f64 = 1_852.0 / 3_600.0;
const MPH_MS: f64 = 0.447_04;

/// Mistakes to make on purpose.
#[derive(Clone, Copy, PartialEq)]
enum Mistake {
    None,
    FeetForMetres,
    SwappedAxes,
}

impl Mistake {
    /// A length in metres as feet.
    fn feet(self, metres: f64) -> f64 {
        if self == Self::FeetForMetres { metres } else { metres / FOOT_M }
    }
    /// A length given in feet, in metres.
    fn metres(self, feet: f64) -> f64 {
        if self == Self::FeetForMetres { feet } else { feet * FOOT_M }
    }
    /// A compass direction.
    fn bearing(self, deg: f64) -> Bearing {
        Bearing::from_deg(if self == Self::SwappedAxes { 90.0 - deg } else { deg })
    }
}

/// Which mistake must break the check.
#[derive(Clone, Copy, PartialEq)]
enum Sensitive {
    /// Neither lengths in feet nor directions are in it.
    Neither,
    Feet,
    Axes,
}
use Sensitive::{Axes, Feet, Neither};

struct Check {
    what: String,
    source: &'static str,
    expected: f64,
    tolerance: f64,
    got: f64,
    sensitive: Sensitive,
}

impl Check {
    fn passes(&self) -> bool {
        (self.got - self.expected).abs() <= self.tolerance
    }
}

struct Checks {
    list: Vec<Check>,
    mistake: Mistake,
}

impl Checks {
    fn add(&mut self, sensitive: Sensitive, what: impl Into<String>, source: &'static str, want: (f64, f64), got: f64) {
        let (expected, tolerance) = want;
        self.list.push(Check { what: what.into(), source, expected, tolerance, got, sensitive });
    }
}

fn curve(speed_ms: f64, ratio: f64) -> GlideCurve {
    GlideCurve::from_best_glide(speed_ms, ratio).expect("the speeds and ratios here are those of aircraft")
}

fn turn_of(curve: &GlideCurve, straight_ms: f64, bank_deg: f64) -> GlidingTurn {
    GlidingTurn::at_constant_incidence(curve, straight_ms, bank_deg.to_radians(), 1.0)
}

/// A gliding turn whose speed in the turn is the one given, at sea level.
fn turn_at(speed_in_turn_ms: f64, bank_deg: f64) -> GlidingTurn {
    let straight = speed_in_turn_ms * math::cos(bank_deg.to_radians()).sqrt();
    turn_of(&curve(20.0, 8.0), straight, bank_deg)
}

/// The tenth of a degree between 10° and 80° with the least of something.
fn best_bank_deg(of: impl Fn(f64) -> f64) -> f64 {
    let banks = (100..800).map(|tenths| f64::from(tenths) / 10.0);
    banks.min_by(|x, y| of(*x).total_cmp(&of(*y))).expect("there are banks")
}

const WELCH_IRVING: &str = "Welch, Welch & Irving, The Complete Soaring Pilot's Handbook, circling table";
const FORMULARY: &str = "E. Williams, Aviation Formulary";

fn load_factors(c: &mut Checks) {
    let rows = [
        (30.0, 1.155, 1.075, 0.005),
        (45.0, 1.414, 1.189, 0.005),
        (60.0, 2.000, 1.414, 0.005),
        (75.0, 3.86, 1.97, 0.01),
    ];
    for (bank, load, stall, tolerance) in rows {
        let n = turn_at(30.0, bank).load_factor;
        c.add(Neither, format!("load factor at {bank}°"), WELCH_IRVING, (load, tolerance), n);
        c.add(Neither, format!("stall speed ratio at {bank}°"), WELCH_IRVING, (stall, tolerance), n.sqrt());
    }
    // The printed 5.747 at 80° is 0.012 below 1/cos 80°.
    let rows = [
        (10.0, 1.015, 0.002),
        (30.0, 1.154, 0.002),
        (45.0, 1.414, 0.002),
        (60.0, 2.0, 0.002),
        (70.0, 2.923, 0.002),
        (80.0, 5.747, 0.02),
    ];
    for (bank, load, tolerance) in rows {
        let source = "FAA training table of load factors";
        c.add(Neither, format!("load factor at {bank}°"), source, (load, tolerance), turn_at(30.0, bank).load_factor);
    }
}

fn circling(c: &mut Checks) {
    let straight = 46.0 * MPH_MS;
    let sailplane = curve(straight, 26.0);
    let rows = [
        (15.0, 547.0, 50.0, 137.0),
        (20.0, 414.0, 37.0, 106.0),
        (30.0, 283.0, 25.0, 79.0),
        (45.0, 200.0, 16.0, 68.0),
        (60.0, 163.0, 11.0, 79.0),
    ];
    for (bank, radius_ft, seconds, lost_ft) in rows {
        let turn = turn_of(&sailplane, straight, bank);
        let (radius, lost) = (c.mistake.feet(turn.radius_m), c.mistake.feet(turn.loss_m_per_rad * math::TAU));
        c.add(Feet, format!("circling radius at {bank}°, ft"), WELCH_IRVING, (radius_ft, 1.0), radius);
        // Printed in whole seconds.
        let time = math::TAU / turn.rate_rad_s;
        c.add(Neither, format!("time for 360° at {bank}°, s"), WELCH_IRVING, (seconds, 0.6), time);
        c.add(Feet, format!("height lost in 360° at {bank}°, ft"), WELCH_IRVING, (lost_ft, 1.0), lost);
    }
    for (bank, factor) in [(15.0, 1.053), (30.0, 1.241), (45.0, 1.682), (60.0, 2.828)] {
        let got = turn_of(&sailplane, straight, bank).sink_ms / sailplane.sink_ms(straight, 1.0);
        let source = "the same handbook: sink grows with load factor to the power 1.5";
        c.add(Neither, format!("sink factor at {bank}°"), source, (factor, 0.001), got);
    }
    let best = best_bank_deg(|bank| turn_of(&sailplane, straight, bank).loss_m_per_rad);
    c.add(Neither, "bank of least height loss at fixed angle of attack, °", WELCH_IRVING, (45.0, 0.1), best);
    // What turns cost a light, draggy aircraft.
    let straight = 45.0 * KNOT_MS;
    let rows = [(5.0, [351.0, 260.0, 225.0]), (7.0, [250.0, 186.0, 161.0]), (9.0, [195.0, 145.0, 125.0])];
    for (ratio, losses_ft) in rows {
        for (bank, lost_ft) in [20.0, 30.0, 45.0].into_iter().zip(losses_ft) {
            let got = c.mistake.feet(turn_of(&curve(straight, ratio), straight, bank).loss_m_per_rad * math::PI);
            let source = "recomputed from Δh = 2ψV²/(g·E·sin 2φ), the closed form of that table";
            c.add(Feet, format!("180° at {bank}°, 45 kt, {ratio} : 1, ft"), source, (lost_ft, 0.6), got);
        }
    }
}

fn turning(c: &mut Checks) {
    let hundred = turn_at(100.0 * KNOT_MS, 45.0);
    let source = "Aviation Formulary, R = V²/(g tan φ) with its rounded constant 11.23";
    c.add(Feet, "turn radius 100 kt 45°, ft", source, (891.0, 8.91), c.mistake.feet(hundred.radius_m));
    let radius = c.mistake.feet(turn_at(120.0 * KNOT_MS, 30.0).radius_m);
    c.add(Feet, "turn radius 120 kt 30°, ft", "wannamaker.org, turns", (2_208.0, 22.1), radius);
    c.add(Neither, "turn rate 100 kt 45°, °/s", FORMULARY, (10.9, 0.1), hundred.rate_rad_s.to_degrees());
    let bank = best_bank_deg(|bank| (turn_at(100.0 * KNOT_MS, bank).rate_rad_s.to_degrees() - 3.0).abs());
    c.add(Neither, "bank of a 3°/s turn at 100 kt, °", FORMULARY, (15.4, 0.1), bank);
    let radius_m = turn_at(120.0 * KNOT_MS, 60.0).radius_m * math::GRAVITY_MS2 / 10.0;
    let source = "ATPL principles of flight item with g = 10 m/s²";
    c.add(Neither, "turn radius 120 kt 60°, m", source, (220.0, 1.0), radius_m);
}

fn glide(c: &mut Checks) {
    let angle_deg = math::atan(1.0 / curve(20.0, 5.67).best_glide_ratio()).to_degrees();
    let source = "J. Brandon, flight theory for light aviation: 10° is 5.7 : 1 (tan 0.176)";
    c.add(Neither, "glide angle at 5.67 : 1, °", source, (10.0, 0.1), angle_deg);
    let rows = [
        (45.0, 5.0, -15.0, 3.33),
        (45.0, 5.0, 15.0, 6.67),
        (65.0, 9.0, -20.0, 6.23),
        (65.0, 9.0, 20.0, 11.77),
        (50.0, 9.0, -20.0, 5.40),
    ];
    for (knots, ratio, wind_kt, over_ground) in rows {
        let speed = knots * KNOT_MS;
        // On heading 360 a headwind comes from 360 and a tailwind from 180.
        let from = c.mistake.bearing(if wind_kt < 0.0 { 360.0 } else { 180.0 });
        let wind = WindVector::coming_from(from, f64::abs(wind_kt) * KNOT_MS);
        let got = (speed - wind.headwind_ms(Bearing::NORTH)) / curve(speed, ratio).sink_ms(speed, 1.0);
        let what = format!("{ratio} : 1 at {knots} kt with {wind_kt:+} kt over the ground");
        c.add(Axes, what, "recomputed from E·(V ± w)/V, the wind triangle", (over_ground, 0.005), got);
    }
    let sink_fpm = c.mistake.feet(curve(45.0 * KNOT_MS, 5.0).sink_ms(45.0 * KNOT_MS, 1.0)) * 60.0;
    c.add(Feet, "sink at 45 kt and 5 : 1, ft/min", "recomputed from V/E", (911.0, 1.0), sink_fpm);
    for (knots, ratio, seconds) in [(45.0, 5.0, 66.0), (45.0, 7.0, 92.0), (55.0, 9.0, 97.0)] {
        let speed = knots * KNOT_MS;
        let got = c.mistake.metres(1_000.0) / curve(speed, ratio).sink_ms(speed, 1.0);
        let what = format!("time from 1 000 ft at {knots} kt, {ratio} : 1, s");
        c.add(Feet, what, "recomputed from V and E", (seconds, 0.6), got);
    }
}

fn winds(c: &mut Checks) {
    for (heading, knots) in [(360.0, 102.0), (300.0, 83.3), (120.0, 117.7), (305.0, 84.4)] {
        let wind = WindVector::coming_from(c.mistake.bearing(270.0), 20.0);
        let got = (Bearing::from_deg(heading).unit() * 100.0 + wind.xy()).norm();
        // 117.745 is printed as 117.7.
        let source = "K. Horton, ground speeds at 100 kt true airspeed in a wind of 270/20";
        c.add(Axes, format!("ground speed on heading {heading}°, kt"), source, (knots, 0.06), got);
    }
    let source = "published table of crosswind components, in whole knots";
    let rows = [
        (20.0, 10.0, 3.0),
        (20.0, 20.0, 7.0),
        (20.0, 30.0, 10.0),
        (20.0, 40.0, 13.0),
        (20.0, 50.0, 15.0),
        (20.0, 60.0, 17.0),
        (30.0, 40.0, 19.0),
        (25.0, 50.0, 19.0),
    ];
    for (speed, angle, component) in rows {
        // On runway 36, from the left.
        let wind = WindVector::coming_from(c.mistake.bearing(360.0 - angle), speed);
        let got = wind.crosswind_ms(Bearing::NORTH);
        c.add(Axes, format!("crosswind of {speed} kt at {angle}°, kt"), source, (component, 0.5), got);
    }
    let wind = WindVector::coming_from(c.mistake.bearing(270.0), 20.0);
    let got = wind.crosswind_ms(Bearing::from_deg(240.0)).abs();
    c.add(Axes, "runway 24 in 270/20, kt across", "the same page, worked example", (10.0, 0.5), got);
    for (speed, angle, component) in [(20.0, 30.0, 17.32), (15.0, 60.0, 7.5)] {
        let got = WindVector::coming_from(c.mistake.bearing(angle), speed).headwind_ms(Bearing::NORTH);
        let what = format!("headwind of {speed} kt at {angle}°, kt");
        c.add(Axes, what, "recomputed from W·cos θ", (component, 0.005), got);
    }
}

fn wind_profiles(c: &mut Checks) {
    let got = 5.0 * WindProfile::Power { alpha: 0.25 }.ratio_at(40.0);
    let source = "The Engineering ToolBox, wind shear, worked example";
    c.add(Neither, "power law: 5 m/s at 10 m, exponent 0.25, at 40 m", source, (7.1, 0.05), got);
    let rows = [
        (0.03, [0.723, 0.881, 1.189, 1.396, 1.466]),
        (0.1, [0.651, 0.849, 1.239, 1.500, 1.588]),
        (0.25, [0.564, 0.812, 1.298, 1.624, 1.734]),
    ];
    for (z0_m, ratios) in rows {
        for (height, ratio) in [2.0, 5.0, 30.0, 100.0, 150.0].into_iter().zip(ratios) {
            let got = WindProfile::Log { z0_m }.ratio_at(height);
            let source = "recomputed from the log law with Davenport–Wieringa roughness lengths (Stull)";
            c.add(Neither, format!("log law over {z0_m} m at {height} m"), source, (ratio, 0.001), got);
        }
    }
    let ratio = WindProfile::OPEN_GRASS.ratio_at(c.mistake.metres(2_000.0));
    // A rule of thumb in thirds: half a tenth is as near as it can be meant.
    let source = "New Zealand PPL meteorology: by day the surface wind is 2/3 of the 2 000 ft wind";
    c.add(Neither, "surface wind over 2 000 ft wind", source, (2.0 / 3.0, 0.05), 1.0 / ratio);
}

fn air(c: &mut Checks) {
    let rows = [(2_000.0, 1.029_9), (3_000.0, 1.045_3), (5_000.0, 1.077_3), (8_000.0, 1.127_9), (10_000.0, 1.163_7)];
    for (height_ft, ratio) in rows {
        let got = 1.0 / isa_density_ratio(c.mistake.metres(height_ft)).sqrt();
        c.add(Feet, format!("true over calibrated airspeed at {height_ft} ft"), FORMULARY, (ratio, 0.000_5), got);
    }
    // Pressure follows from density and temperature of the same atmosphere: p = σ·θ·p₀.
    let rows = [
        (111.0, 1_000.0),
        (540.0, 950.0),
        (988.0, 900.0),
        (1_457.0, 850.0),
        (1_949.0, 800.0),
        (3_012.0, 700.0),
        (4_206.0, 600.0),
        (5_574.0, 500.0),
    ];
    for (height_m, pressure_hpa) in rows {
        let theta = 1.0 - 0.006_5 * height_m / 288.15;
        let got = isa_density_ratio(height_m) * theta * 1_013.25;
        // The table is in whole metres, and one metre is 0.12 hPa.
        let source = "ICAO standard atmosphere, table of 1964";
        c.add(Neither, format!("pressure at {height_m} m, hPa"), source, (pressure_hpa, 0.12), got);
    }
}

fn slopes(c: &mut Checks) {
    let window = match c.mistake {
        Mistake::SwappedAxes => [[50.0, 30.0, 8.0], [45.0, 30.0, 10.0], [50.0, 30.0, 10.0]],
        _ => [[50.0, 45.0, 50.0], [30.0, 30.0, 30.0], [8.0, 10.0, 10.0]],
    };
    let gradient = horn(&window, 5.0);
    let source = "Esri, How Slope works (Burrough & McDonnell, p. 190), after Horn 1981";
    c.add(Axes, "Horn: rise towards east", source, (0.05, 1e-9), gradient.east);
    // The source's second axis runs down the rows, to the south.
    c.add(Axes, "Horn: rise towards south", source, (-3.8, 1e-9), -gradient.north);
    c.add(Neither, "Horn: rise over run", source, (3.800_32, 1e-5), gradient.steepness());
    c.add(Neither, "Horn: slope, °", source, (75.257_62, 0.001), gradient.angle_rad().to_degrees());
    for (percent, degrees) in [(1.0, 0.57), (2.0, 1.15), (5.0, 2.86), (10.0, 5.71), (12.5, 7.13)] {
        let rise: f64 = percent / 100.0;
        let got = horn(&[[0.0, rise, 2.0 * rise]; 3], 1.0).angle_rad().to_degrees();
        c.add(Neither, format!("{percent} % in degrees"), "recomputed from the arc tangent", (degrees, 0.005), got);
    }
}

/// Where a glide ends over level ground at sea level without clearance: the farthest cell and the area.
fn level_reach(aircraft: &Aircraft, wind: &Wind, height_m: f64) -> (f64, f64) {
    let half = 200_usize;
    let cell_m = (height_m * 8.0 / half as f64).max(1.0);
    let frame = GridFrame {
        origin: Xy::new(-(half as f64) * cell_m, half as f64 * cell_m),
        cell_m,
        cols: 2 * half + 1,
        rows: 2 * half + 1,
    };
    let terrain = Terrain { frame, heights_m: vec![0.0; frame.len()], accuracy: TerrainAccuracy::default() };
    let state = AircraftState { position: Xy::default(), height_amsl_m: height_m, heading: None };
    let options = ReachOptions { clearance_m: 0.0, reaction_time_s: 0.0, ..ReachOptions::of(aircraft) };
    let reach = forward_reach(&terrain, aircraft, wind, &state, &options, &|| false).expect("over level ground");
    (reach.max_range_m(), reach.reachable_area_m2())
}

/// An aircraft that glides at one speed and ratio.
fn glider(speed_ms: f64, ratio: f64) -> Aircraft {
    Aircraft { glide: curve(speed_ms, ratio), glide_speed: GlideSpeed::Held(speed_ms), ..Aircraft::example_flexwing() }
}

fn reach(c: &mut Checks) {
    let source = "FAA-H-8083-5, fig. 13-4: 5 : 1 reaches 2 500 ft from 500 ft";
    let aircraft = glider(45.0 * KNOT_MS, 5.0);
    let (range, area) = level_reach(&aircraft, &Wind::uniform(WindVector::CALM), 500.0 * FOOT_M);
    // The farthest cell centre lies less than a cell (6 m, 20 ft) inside the circle.
    c.add(Feet, "reach of 5 : 1 from 500 ft, ft", source, (2_490.0, 10.5), c.mistake.feet(range));
    let rows = [(500.0, 0.8), (1_000.0, 3.1), (2_000.0, 12.5), (5_000.0, 80.0)];
    for (height_ft, square_miles) in rows {
        let (_, area) = level_reach(&aircraft, &Wind::uniform(WindVector::CALM), height_ft * FOOT_M);
        let mile_m = c.mistake.metres(5_280.0);
        // The handbook takes half a mile for each 500 ft instead of 2 500 ft: its areas are up to 15 % greater.
        let what = format!("area in reach of 5 : 1 from {height_ft} ft, square miles");
        let tolerance = 0.15 * square_miles;
        c.add(Feet, what, "FAA-H-8083-5, fig. 13-4", (square_miles, tolerance), area / (mile_m * mile_m));
    }
    let (_, twice) = level_reach(&aircraft, &Wind::uniform(WindVector::CALM), 1_000.0 * FOOT_M);
    c.add(
        Neither,
        "area in reach, twice the height",
        "the same: area grows with height squared",
        (4.0, 0.01),
        twice / area,
    );
    // Into wind and with it: the ratios of the wind triangle, along the axis of the wind.
    for (knots, ratio, wind_kt, into, with) in [(45.0, 5.0, 15.0, 3.33, 6.67), (65.0, 9.0, 20.0, 6.23, 11.77)] {
        let aircraft = glider(knots * KNOT_MS, ratio);
        let height = 300.0;
        let wind = Wind::uniform(WindVector::coming_from(c.mistake.bearing(360.0), wind_kt * KNOT_MS));
        let (far, step) = (height * with, 1.0);
        let half = (far * 1.2 / step) as usize;
        let frame = GridFrame { origin: Xy::new(-2.0, half as f64), cell_m: step, cols: 5, rows: 2 * half + 1 };
        let terrain = Terrain { frame, heights_m: vec![0.0; frame.len()], accuracy: TerrainAccuracy::default() };
        let state = AircraftState { position: Xy::default(), height_amsl_m: height, heading: None };
        let options = ReachOptions { clearance_m: 0.0, reaction_time_s: 0.0, ..ReachOptions::of(&aircraft) };
        let reach = forward_reach(&terrain, &aircraft, &wind, &state, &options, &|| false).expect("over level ground");
        // Density changes airspeed over 300 m by 1.5 %, while ratios are those of sea level.
        for (sign, expected, words) in [(1.0, into, "into"), (-1.0, with, "with")] {
            let distance = (1..half)
                .map(|m| m as f64)
                .take_while(|&m| reach.arrival_at(&terrain, Xy::new(0.0, sign * m)).is_some())
                .last()
                .unwrap_or(0.0);
            let what = format!("glide over the ground {words} {wind_kt} kt at {knots} kt, {ratio} : 1");
            let source = "recomputed from E·(V ± w)/V, the wind triangle";
            c.add(Axes, what, source, (expected, 0.04), distance / height);
        }
    }
}

fn ground_speeds(c: &mut Checks) {
    // Held tracks instead of held headings: a crosswind costs √(V² − w²), head- and tailwind count in full.
    let source = "recomputed from √(V² − w²), the wind triangle";
    for (track, knots) in [(360.0, 97.98), (270.0, 80.0), (90.0, 120.0)] {
        let wind = WindVector::coming_from(c.mistake.bearing(270.0), 20.0);
        let got = ground_speed_ms(100.0, wind, Bearing::from_deg(track)).unwrap_or(f64::NAN);
        c.add(Axes, format!("ground speed on track {track}°, kt"), source, (knots, 0.005), got);
    }
}

fn landing(c: &mut Checks) {
    let calm = LandingCase {
        surface: Surface::GrazedGrass,
        slope: Some(0.0),
        headwind_ms: 0.0,
        density_ratio: 1.0,
        safety: SafetyFactor::Recommended,
    };
    // The tables start from a paved runway, this project from dry short grass: 1.15 of the former.
    let needed = |paved_m: f64, case: LandingCase| {
        let aircraft = Aircraft { landing_distance_m: paved_m * SS09_DRY_GRASS, ..Aircraft::example_flexwing() };
        case.needed_m(&aircraft)
    };
    let source = "GM1 CAT.POL.A.430: 1.15 × 1.43 = 1.64";
    c.add(Neither, "dry grass with the safety factor", source, (1.644_5, 0.005), needed(1.0, calm));
    let source = "UK CAA Safety Sense 09, landing factors, multiplied";
    c.add(Neither, "250 m on dry grass, m", source, (411.1, 0.1), needed(250.0, calm));
    let wet_downhill = LandingCase { surface: Surface::LongGrass, slope: Some(-0.02), ..calm };
    c.add(Neither, "wet grass, 2 % down, safety factor", source, (2.124, 0.005), needed(1.0, wet_downhill));
    c.add(Neither, "200 m on wet grass 2 % downhill, m", source, (424.7, 0.1), needed(200.0, wet_downhill));
    let source = "CAT.POL.A.330(a): a stop within 70 % of the length";
    c.add(Neither, "general safety factor", source, (1.428_6, 0.002), SafetyFactor::Recommended.value());
    let source = "CAP 698 (class B): 1.05 for each 1 % downhill";
    let downhill = LandingCase { slope: Some(-0.01), ..calm };
    c.add(Neither, "1 % downhill", source, (1.05, 0.001), needed(1.0, downhill) / needed(1.0, calm));
    let source = "UK CAA Safety Sense 09: no credit for a favourable slope";
    let uphill = LandingCase { slope: Some(0.03), ..calm };
    c.add(Neither, "3 % uphill", source, (1.0, 1e-9), needed(1.0, uphill) / needed(1.0, calm));
    let source = "older CAA table: 20 % more for a tailwind of 10 % of the landing speed";
    // We take one and a half tailwinds (CAT.POL.A.330(c)(2)), hence more than the older table, never less.
    let tail = wind_factor(-2.0, 20.0);
    c.add(Neither, "tailwind of 10 %", source, (1.3, 0.1), tail);
}

fn obstacles(c: &mut Checks) {
    let fifty = 50.0 * FOOT_M;
    let rows = [
        (ObstacleRule::Times8, 0.2, 400.0, "gliding school notes on field landings: 8 × the height"),
        (ObstacleRule::Times10, 0.2, 500.0, "gliding briefing on field landings: 10 × the height"),
        (ObstacleRule::Gradient, 0.2, 250.0, "recomputed: 50 ft on a 5 : 1 approach"),
        (ObstacleRule::Gradient, 0.05, 1_000.0, "CASA: approach surface of 1 : 20"),
    ];
    for (rule, gradient, taken_ft, source) in rows {
        let got = c.mistake.feet(displacement_m(rule, gradient, fifty, 0.0));
        c.add(Feet, format!("50 ft obstacle, {}, ft", rule.words()), source, (taken_ft, 0.5), got);
    }
}

/// An SRTM tile of 3601 × 3601 posts, level but for one post at column 24, row 752.
fn srtm_index(c: &mut Checks) {
    const POSTS: usize = 3_601;
    let (col, row) = if c.mistake == Mistake::SwappedAxes { (752, 24) } else { (24, 752) };
    let mut bytes = vec![0; POSTS * POSTS * 2];
    let index = row * POSTS + col;
    bytes[2 * index..2 * index + 2].copy_from_slice(&3_772_i16.to_be_bytes());
    // The example gives the south-west corner of the square around the post, half a second from the post itself.
    let half_second = 0.5 / 3_600.0;
    let place = LonLat { lon_deg: -104.993_47 + half_second, lat_deg: 38.790_97 + half_second };
    let frame = Frame::utm_for(place).expect("a zone");
    let at = frame.to_xy(place).expect("in the zone");
    let reach = Xy::new(100.0, 100.0);
    let request =
        TerrainRequest { window: Some((at - reach, at + reach)), cell_m: Some(2.0), ..TerrainRequest::new(&frame) };
    let loaded = terrain::load_bytes("N38W105.hgt", &bytes, &request, &NoProgress);
    let source = "NASADEM index example: N38W105, column 24, row 752 is 3 772 m at 38.79097, −104.99347";
    // The position is printed to 1 m, and the lone post falls to nothing within the 24 m to its neighbours.
    let height = loaded.ok().and_then(|l| l.value.height_at(at)).unwrap_or(0.0);
    c.add(Axes, "SRTM post by index, m", source, (3_772.0, 300.0), height);
    let source = "USGS SRTM quick start: 3 601 × 3 601 posts of two bytes";
    c.add(Neither, "bytes of a 1″ tile", source, (25_934_402.0, 0.0), bytes.len() as f64);
    let linear = 752 * POSTS + 24;
    c.add(Neither, "linear index", "NASADEM index example", (2_707_976.0, 0.0), linear as f64);
}

fn all(mistake: Mistake) -> Vec<Check> {
    let mut checks = Checks { list: Vec::new(), mistake };
    let groups = [
        load_factors,
        circling,
        turning,
        glide,
        winds,
        wind_profiles,
        air,
        slopes,
        reach,
        ground_speeds,
        landing,
        obstacles,
        srtm_index,
    ];
    for group in groups {
        group(&mut checks);
    }
    checks.list
}

/// How many values are compared; asserted so that none is lost unnoticed.
const NUMBER_OF_CHECKS: usize = 140;

#[test]
fn published_values_hold() {
    let checks = all(Mistake::None);
    let failed: Vec<String> = checks
        .iter()
        .filter(|c| !c.passes())
        .map(|c| format!("{}: {} and not {} ± {} ({})", c.what, c.got, c.expected, c.tolerance, c.source))
        .collect();
    assert!(failed.is_empty(), "{}", failed.join("\n"));
    assert!(checks.iter().all(|c| !c.source.is_empty()));
    assert_eq!(checks.len(), NUMBER_OF_CHECKS, "a check was added or lost: say so here");
}

#[test]
fn feet_for_metres_break_the_bounds() {
    for check in all(Mistake::FeetForMetres).iter().filter(|c| c.sensitive == Feet) {
        assert!(!check.passes(), "{} does not notice feet taken for metres: {}", check.what, check.got);
    }
}

#[test]
fn swapped_axes_break_the_bounds() {
    for check in all(Mistake::SwappedAxes).iter().filter(|c| c.sensitive == Axes) {
        assert!(!check.passes(), "{} does not notice east taken for north: {}", check.what, check.got);
    }
}
