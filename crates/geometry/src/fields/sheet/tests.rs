use super::super::model::{BoundaryEdge, EdgeKind, HazardKind, HazardShape, Stock, Surface};
use super::super::rank::RankOptions;
use super::super::study::Under;
use super::super::verdict::Quantity;
use super::*;
use crate::air::{Wind, isa_density_ratio};
use crate::aircraft::Aircraft;
use crate::grid::{GridFrame, TerrainAccuracy};
use approx::assert_relative_eq;
use proptest::prelude::*;

const OPEN: BoundaryEdge = BoundaryEdge { kind: EdgeKind::Nothing, height_m: None };

/// 300 m from west to east, 60 m from south to north.
fn rectangle(edges: [BoundaryEdge; 4]) -> Field {
    field(&[(0.0, 0.0), (300.0, 0.0), (300.0, 60.0), (0.0, 60.0)], edges.to_vec())
}

fn field(ring: &[(f64, f64)], edges: Vec<BoundaryEdge>) -> Field {
    Field {
        id: "a".into(),
        name: "Test field".into(),
        outer: ring.iter().map(|&(x, y)| Xy::new(x, y)).collect(),
        holes: vec![],
        edges,
        surface: Surface::GrazedGrass,
        stock: Stock::None,
        surveyed: None,
        notes: String::new(),
        other: vec![],
        ..Field::default()
    }
}

fn terrain(height: impl Fn(Xy) -> f64) -> Terrain {
    let frame = GridFrame { origin: Xy::new(-2_000.0, 2_000.0), cell_m: 25.0, cols: 161, rows: 161 };
    let heights_m = (0..frame.len()).map(|i| height(frame.centre(i / frame.cols, i % frame.cols)) as f32).collect();
    Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
}

fn wind(from_deg: f64, speed_ms: f64) -> Wind {
    Wind::uniform(WindVector::coming_from(Bearing::from_deg(from_deg), speed_ms))
}

fn sheet_of(field: &Field, hazards: Vec<Hazard>, terrain: Option<&Terrain>, wind: &Wind, north: Bearing) -> FieldSheet {
    let (aircraft, options) = (Aircraft::example_flexwing(), StudyOptions::default());
    let hazards = HazardIndex::new(hazards);
    let study = FieldStudy::new(field, &hazards, terrain, &aircraft, &options);
    let rank_options = RankOptions::default();
    let rank = RankInput { aircraft: &aircraft, wind, options: &rank_options, quiet_zones: &[] };
    FieldSheet::new(&SheetInput { field, study: &study, hazards: &hazards, terrain, options: &options, rank, north })
}

fn sheet(field: &Field, terrain: &Terrain, wind: &Wind) -> FieldSheet {
    sheet_of(field, vec![], Some(terrain), wind, Bearing::NORTH)
}

/// Needed length by hand on grazed grass at sea level: the slope's step of 1.1 for 2 % downhill as a line, half the
/// headwind or one and a half times the tailwind, 1.43 on top.
fn needed_m(slope_to_the_bad_side: f64, headwind_ms: f64) -> f64 {
    let v = Aircraft::example_flexwing().approach_speed_ms;
    let counted = if headwind_ms > 0.0 { 0.5 * headwind_ms } else { 1.5 * headwind_ms };
    let slope = 1.0 + 5.0 * (-slope_to_the_bad_side).max(0.0);
    180.0 * slope * (1.0 - counted / v).powi(2) * 1.43
}

/// Ground covered for each metre of height at approach speed, by hand: A·V³ + B/V with A and B of 50 mph at 6 : 1.
fn run_per_height(headwind_ms: f64) -> f64 {
    let mph = 0.447_04;
    let (v, best, ratio): (f64, f64, f64) = (55.0 * mph, 50.0 * mph, 6.0);
    let sink = v.powi(3) / (2.0 * ratio * best * best) + best * best / (2.0 * ratio) / v;
    ((v - headwind_ms) / sink).max(4.0)
}

fn way(sheet: &FieldSheet, deg: f64) -> &Way {
    let wanted = Bearing::from_deg(deg);
    let ways = sheet.strips.iter().flat_map(|s| &s.ways);
    ways.min_by(|a, b| {
        let off = |w: &Way| wanted.turn_to(w.landing.strip.heading).abs();
        off(a).total_cmp(&off(b))
    })
    .unwrap()
}

/// What 2 m between posts may hide over 290 m.
const ERROR: f64 = 2.0 / 290.0;

#[test]
fn in_a_calm_every_bar_of_a_flat_rectangle_is_its_length() {
    let sheet = sheet(&rectangle([OPEN; 4]), &terrain(|_| 0.0), &wind(0.0, 0.0));
    assert_eq!(sheet.rose.len(), DIRECTIONS);
    for bar in &sheet.rose {
        let landing = bar.landing.as_ref().unwrap();
        // Two margins of 5 m off the length.
        assert_relative_eq!(landing.strip.usable_length_m, 290.0, epsilon = 1e-6);
        assert_relative_eq!(landing.strip.needed_length_m, needed_m(-ERROR, 0.0), epsilon = 1e-6);
        assert_relative_eq!(landing.in_hand_m(), 290.0 - needed_m(-ERROR, 0.0), epsilon = 1e-6);
        assert!(landing.passes(), "{:?}", landing.reasons);
    }
    assert_eq!(sheet.directions_served(), DIRECTIONS);
}

#[test]
fn wind_along_a_rectangle_shortens_what_is_needed_and_wind_across_bars_it() {
    let speed = 8.0;
    let sheet = sheet(&rectangle([OPEN; 4]), &terrain(|_| 0.0), &wind(90.0, speed));
    // Bars are 5° apart from north: 18 is east, 54 west.
    for (bar, heading) in [(18, 90.0), (54, 270.0)] {
        let bar = &sheet.rose[bar];
        assert_relative_eq!(bar.wind_from.deg(), heading, epsilon = 1e-9);
        let landing = bar.landing.as_ref().unwrap();
        assert_relative_eq!(landing.strip.heading.deg(), heading, epsilon = 1e-6);
        assert_relative_eq!(landing.strip.headwind_ms, speed, epsilon = 1e-9);
        assert_relative_eq!(landing.strip.usable_length_m, 290.0, epsilon = 1e-6);
        assert_relative_eq!(landing.strip.needed_length_m, needed_m(-ERROR, speed), epsilon = 1e-6);
        assert!(landing.passes());
    }
    // 8 m/s across is more than the aircraft's 15 mph; along 60 m nothing stops.
    for bar in [0, 36] {
        let landing = sheet.rose[bar].landing.as_ref().unwrap();
        let gates: Vec<&str> = landing.gates().map(|r| r.template.as_str()).collect();
        assert!(gates.iter().any(|g| g.starts_with("crosswind") || g.starts_with("too short")), "{gates:?}");
        assert!(landing.headline().template.starts_with("out in this wind: "));
    }
    assert!((1..DIRECTIONS).contains(&sheet.directions_served()));
    let best = sheet.best().unwrap();
    assert_eq!(Some(&best.landing), sheet.rose[18].landing.as_ref());
}

#[test]
fn a_ramp_is_landed_on_uphill_and_its_profile_is_the_ramp() {
    // Rises 3 % to the east.
    let sheet = sheet(&rectangle([OPEN; 4]), &terrain(|p| 40.0 + 0.03 * p.x), &wind(0.0, 0.0));
    let best = sheet.best().unwrap();
    assert_relative_eq!(best.landing.strip.heading.deg(), 90.0, epsilon = 1e-6);
    assert!(best.landing.passes());
    let density = isa_density_ratio(40.0 + 0.03 * 150.0);
    // Uphill earns nothing.
    assert_relative_eq!(best.landing.strip.needed_length_m, needed_m(0.0, 0.0) / density, epsilon = 1e-3);
    let stations = &best.slope.stations;
    // 290 m at cells of 25 m: 12 steps.
    assert_eq!(stations.len(), 13);
    for station in stations {
        assert_relative_eq!(station.height_m.unwrap(), 0.03 * station.along_m, epsilon = 1e-4);
        assert_relative_eq!(station.slope.unwrap(), 0.03, epsilon = 1e-6);
        assert_relative_eq!(station.cross_slope.unwrap(), 0.0, epsilon = 1e-6);
    }
    assert_relative_eq!(stations[12].along_m, 290.0, epsilon = 1e-6);
    assert_eq!(best.slope.height_error_m, Some(2.0));
    assert_relative_eq!(best.slope.slope_error.unwrap(), 2.0 / (2.0 * 290.0 / 12.0), epsilon = 1e-9);
    let (low, high) = best.slope.range().unwrap();
    assert_relative_eq!(low, high, epsilon = 1e-6);
    // The other way is downhill by 3 %: barred, and longer than level.
    let down = way(&sheet, 270.0);
    assert!(down.landing.gates().any(|r| r.template.starts_with("downhill")));
    assert_relative_eq!(down.slope.stations[12].height_m.unwrap(), -0.03 * 290.0, epsilon = 1e-3);
    assert_relative_eq!(down.landing.strip.needed_length_m, needed_m(-0.03 - ERROR, 0.0) / density, epsilon = 1e-2);
}

#[test]
fn a_hedge_of_ten_metres_moves_the_landing_end_by_the_glide_over_it() {
    let hedge = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(10.0) };
    // Sides: south, east, north, west.
    let sheet = sheet(&rectangle([OPEN, OPEN, OPEN, hedge]), &terrain(|_| 0.0), &wind(90.0, 3.0));
    let east = way(&sheet, 90.0);
    let taken = 10.0 * run_per_height(3.0) - 5.0;
    assert_relative_eq!(east.approach.run_per_height, run_per_height(3.0), epsilon = 1e-9);
    assert_relative_eq!(east.approach.displacement_m, taken, epsilon = 1e-6);
    assert_relative_eq!(east.landing.strip.usable_length_m, 290.0 - taken, epsilon = 1e-6);
    assert_eq!((east.approach.things.len(), east.approach.governing), (1, Some(0)));
    let thing = &east.approach.things[0];
    assert_eq!((thing.what, thing.assumed), (Under::Edge(EdgeKind::Hedge), false));
    assert_relative_eq!(thing.stands_m, 10.0, epsilon = 1e-9);
    assert_relative_eq!(thing.before_m, 5.0, epsilon = 1e-6);
    assert_relative_eq!(thing.displacement_m, taken, epsilon = 1e-6);
    // The lowest path just passes over it; the one to the aiming point by what it lies further in.
    assert_relative_eq!(thing.clearance_m, 0.0, epsilon = 1e-6);
    let further = east.placing.aiming_m - taken;
    assert_relative_eq!(thing.aimed_clearance_m, further / run_per_height(3.0), epsilon = 1e-6);
    assert_relative_eq!(east.placing.displaced.x, 5.0 + taken, epsilon = 1e-6);
    assert_relative_eq!(east.approach.path_m(0.0), taken / run_per_height(3.0), epsilon = 1e-9);
    // The ground is level out to 600 m.
    assert_relative_eq!(east.approach.ground.last().unwrap().before_m, SHOWN_M);
    assert!(east.approach.ground.iter().all(|g| g.height_m == Some(0.0)));
    // Nothing stands before the other end.
    let west = way(&sheet, 270.0);
    assert!(west.approach.things.is_empty() && west.approach.governing.is_none());
    assert_relative_eq!(west.landing.strip.usable_length_m, 290.0, epsilon = 1e-6);
}

#[test]
fn the_strip_lies_where_its_corners_say() {
    let sheet = sheet(&rectangle([OPEN; 4]), &terrain(|_| 0.0), &wind(90.0, 3.0));
    let east = way(&sheet, 90.0);
    let corners = east.placing.corners;
    for (corner, expected) in corners.iter().zip([(5.0, 20.0), (295.0, 20.0), (295.0, 40.0), (5.0, 40.0)]) {
        assert_relative_eq!(corner.x, expected.0, epsilon = 1e-3);
        assert_relative_eq!(corner.y, expected.1, epsilon = 1e-3);
    }
    // The needed length lies about the middle of the field.
    let needed = east.landing.strip.needed_length_m;
    assert_relative_eq!(east.placing.aiming.x, 150.0 - needed / 2.0, epsilon = 1e-6);
    assert_relative_eq!(east.placing.stop_m - east.placing.aiming_m, needed, epsilon = 1e-9);
}

#[test]
fn what_nobody_measured_is_listed_with_its_source_and_what_decides_first() {
    let unmeasured = BoundaryEdge { kind: EdgeKind::Hedge, height_m: None };
    let mut f = rectangle([unmeasured, BoundaryEdge::UNKNOWN, unmeasured, unmeasured]);
    f.surface = Surface::Unknown;
    f.stock = Stock::Unknown;
    let mast = Hazard {
        id: String::new(),
        kind: HazardKind::Mast,
        shape: HazardShape::Point(Xy::new(-200.0, 30.0)),
        height_m: None,
        name: "Radio mast".into(),
        other: vec![],
        pole_heights_m: Vec::new(),
    };
    let flat = terrain(|_| 0.0);
    let sheet = sheet_of(&f, vec![mast], Some(&flat), &wind(90.0, 3.0), Bearing::NORTH);
    let said = |text: &str| {
        let found = sheet.assumptions.iter().filter(|a| a.said.template.contains(text)).collect::<Vec<_>>();
        assert_eq!(found.len(), 1, "{text}: {:?}", sheet.assumptions);
        found[0]
    };
    assert_eq!(said("hedge on 3 sides").said.quantities, [Quantity::Height(3.0)]);
    assert_eq!(said("what stands on 1 side").said.quantities, [Quantity::Height(8.0)]);
    assert_eq!(said("mast under an approach").said.quantities, [Quantity::Height(30.0)]);
    for text in ["what grows there", "whether animals", "when it was last looked at", "heights are {0} apart"] {
        assert!(!said(text).source.is_empty());
    }
    // Five factors, and they are those of the best landing.
    let factors = sheet.assumptions.iter().filter(|a| a.group == AssumptionGroup::LandingDistance).count();
    assert_eq!(factors, sheet.best().unwrap().landing.strip.factors.len());
    assert!(sheet.assumptions.iter().all(|a| !a.source.is_empty()));
    let order: Vec<_> = sheet.assumptions.iter().map(|a| (a.group, !a.decides)).collect();
    assert!(order.is_sorted());
    let governing = sheet.best().map(|w| w.approach.things[w.approach.governing.unwrap()].clone()).unwrap();
    assert!(governing.assumed);
    // A measured field assumes less.
    let measured = sheet_of(&rectangle([OPEN; 4]), vec![], Some(&flat), &wind(90.0, 3.0), Bearing::NORTH);
    let not_looked = |s: &FieldSheet| s.assumptions.iter().filter(|a| a.group == AssumptionGroup::NotLooked).count();
    assert!(not_looked(&measured) < not_looked(&sheet));
}

#[test]
fn wires_are_named_and_not_cleared_where_they_bar_the_approach() {
    let line = vec![Xy::new(-60.0, -500.0), Xy::new(-60.0, 500.0)];
    let wires = Hazard {
        id: String::new(),
        kind: HazardKind::Wires,
        shape: HazardShape::Line(line),
        height_m: Some(9.0),
        name: "Line along the lane".into(),
        other: vec![],
        pole_heights_m: Vec::new(),
    };
    let sheet = sheet_of(&rectangle([OPEN; 4]), vec![wires], Some(&terrain(|_| 0.0)), &wind(90.0, 3.0), Bearing::NORTH);
    let thing = &way(&sheet, 90.0).approach.things[0];
    assert_eq!((thing.what, thing.name.as_str()), (Under::Hazard(HazardKind::Wires), "Line along the lane"));
    assert!(thing.wires_not_cleared);
    assert_relative_eq!(thing.before_m, 65.0, epsilon = 1e-6);
    let path = (65.0 + way(&sheet, 90.0).approach.displacement_m) / run_per_height(3.0);
    assert_relative_eq!(thing.clearance_m, path - 9.0, epsilon = 1e-6);
}

#[test]
fn missing_terrain_leaves_gaps_and_no_numbers() {
    let none = sheet_of(&rectangle([OPEN; 4]), vec![], None, &wind(90.0, 3.0), Bearing::NORTH);
    let best = none.best().unwrap();
    assert!(best.slope.stations.is_empty() && best.slope.height_error_m.is_none());
    assert!(best.approach.ground.is_empty() && best.approach.threshold_amsl_m.is_none());
    assert!(none.assumptions.iter().any(|a| a.said.template.contains("no terrain is loaded")));
    let hole = terrain(|p| if p.x > 100.0 && p.x < 200.0 { f64::NAN } else { 0.0 });
    let gap = sheet(&rectangle([OPEN; 4]), &hole, &wind(90.0, 3.0));
    let stations = &way(&gap, 90.0).slope.stations;
    assert!(stations.iter().any(|s| s.height_m.is_none()) && stations.iter().any(|s| s.height_m.is_some()));
}

#[test]
fn a_field_without_a_strip_says_why() {
    let narrow = field(&[(0.0, 0.0), (300.0, 0.0), (300.0, 8.0), (0.0, 8.0)], vec![OPEN; 4]);
    let sheet = sheet(&narrow, &terrain(|_| 0.0), &wind(90.0, 3.0));
    assert!(sheet.strips.is_empty() && sheet.best().is_none());
    assert!(sheet.rose.len() == DIRECTIONS && sheet.rose.iter().all(|b| b.landing.is_none()));
    assert!(sheet.headline().unwrap().template.starts_with("no strip {0} wide fits"));
    assert_eq!(sheet.directions_served(), 0);
}

#[test]
fn strips_are_few_apart_and_start_with_the_best() {
    let square = field(&[(0.0, 0.0), (400.0, 0.0), (400.0, 380.0), (0.0, 380.0)], vec![OPEN; 4]);
    let sheet = sheet(&square, &terrain(|_| 0.0), &wind(20.0, 6.0));
    assert!(sheet.strips.len() > 1 && sheet.strips.len() <= MOST_STRIPS);
    for (i, a) in sheet.strips.iter().enumerate() {
        for b in &sheet.strips[..i] {
            let turn = a.ways[0].landing.strip.heading.turn_to(b.ways[0].landing.strip.heading).abs().to_degrees();
            assert!(turn.min(180.0 - turn) >= APART_DEG, "{turn}");
        }
        assert_relative_eq!(a.ways[0].landing.strip.heading.reversed().deg(), a.ways[1].landing.strip.heading.deg());
    }
    let best = sheet.best().unwrap();
    assert_eq!(best.landing.strip_index, sheet.strips[0].strip_index);
    assert!(sheet.strips.iter().map(|s| s.best_in).sum::<usize>() <= DIRECTIONS);
}

#[test]
fn two_fields_differ_by_what_they_differ_in() {
    let flat = terrain(|_| 0.0);
    let long = sheet(&rectangle([OPEN; 4]), &flat, &wind(90.0, 4.0));
    let short = field(&[(0.0, 0.0), (250.0, 0.0), (250.0, 60.0), (0.0, 60.0)], vec![OPEN; 4]);
    let short = sheet(&short, &flat, &wind(90.0, 4.0));
    let differences = compare(&long, &short);
    assert_eq!(differences.len(), Measure::ALL.len());
    let usable = differences[0];
    assert_eq!((usable.measure, usable.ahead), (Measure::Usable, Some(Which::First)));
    let Some(Quantity::Length(by)) = usable.by else { panic!("{usable:?}") };
    assert_relative_eq!(by, 50.0, epsilon = 1e-6);
    assert_eq!(usable.said("Long {0}", "Short").template, "usable length: {0} more in Long 0");
    // Turned about, the other one is ahead by as much.
    for (a, b) in differences.iter().zip(compare(&short, &long)) {
        assert_eq!((a.first, a.second, a.by), (b.second, b.first, b.by));
        assert_eq!(a.ahead.map(|w| w == Which::First), b.ahead.map(|w| w == Which::Second));
    }
    let same = compare(&long, &long);
    assert!(same.iter().all(|d| d.by.is_none() && d.ahead.is_none()));
    assert_eq!(same[0].said("a", "b").template, "usable length: no difference");
}

/// A convex field with a random shape: corners on an ellipse.
fn some_field() -> impl Strategy<Value = Vec<(f64, f64)>> {
    (proptest::collection::vec(0.05..0.95f64, 5), 150.0..400.0f64, 0.3..1.0f64).prop_map(|(shares, size, flat)| {
        let mut at = 0.0;
        let total: f64 = shares.iter().sum::<f64>() + 0.4;
        let angles = shares.iter().map(|s| {
            at += s / total * core::f64::consts::TAU;
            at
        });
        angles.map(|a| (size * crate::math::cos(a), size * flat * crate::math::sin(a))).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn usable_is_never_longer_than_the_field_and_never_negative(ring in some_field(), from in 0.0..360.0f64, speed in 0.0..12.0f64) {
        let f = field(&ring, vec![BoundaryEdge::UNKNOWN; ring.len()]);
        let sheet = sheet(&f, &terrain(|p| 0.01 * p.x), &wind(from, speed));
        let chord = f.outer.iter().flat_map(|a| f.outer.iter().map(|b| a.distance(*b))).fold(0.0, f64::max);
        for landing in sheet.rose.iter().filter_map(|b| b.landing.as_ref()) {
            let strip = &landing.strip;
            prop_assert!(strip.usable_length_m >= 0.0 && strip.usable_length_m <= strip.length_m);
            prop_assert!(strip.length_m <= chord);
            prop_assert!(landing.passes() == (landing.verdict != super::super::verdict::Verdict::Out));
        }
        for way in sheet.strips.iter().flat_map(|s| &s.ways) {
            // No thing that takes length is left with room under the lowest path, and the one that governs has none.
            for thing in &way.approach.things {
                prop_assert!(way.approach.displacement_m >= way.landing.strip.length_m || thing.clearance_m >= -1e-6);
                prop_assert!(thing.aimed_clearance_m >= thing.clearance_m - 1e-9);
            }
        }
    }

    #[test]
    fn turning_everything_turns_the_rose(ring in some_field(), from in 0.0..360.0f64, speed in 0.5..9.0f64, by in 0.0..360.0f64) {
        let flat = terrain(|_| 0.0);
        let turned = |by_deg: f64| {
            let (sin, cos) = crate::math::sin_cos(by_deg.to_radians());
            // Clockwise, as bearings grow.
            let ring: Vec<_> = ring.iter().map(|&(x, y)| (x * cos + y * sin, y * cos - x * sin)).collect();
            let f = field(&ring, vec![BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) }; ring.len()]);
            sheet_of(&f, vec![], Some(&flat), &wind(from + by_deg, speed), Bearing::from_deg(by_deg))
        };
        let (a, b) = (turned(0.0), turned(by));
        for (x, y) in a.rose.iter().zip(&b.rose) {
            let expected = Bearing::from_deg(x.wind_from.deg() + by);
            prop_assert!(expected.turn_to(y.wind_from).abs() < 1e-9);
            prop_assert_eq!(x.landing.is_some(), y.landing.is_some());
            let (Some(x), Some(y)) = (&x.landing, &y.landing) else { continue };
            prop_assert_eq!(x.verdict, y.verdict);
            // The longest heading is searched to half a thousandth.
            prop_assert!((x.strip.usable_length_m - y.strip.usable_length_m).abs() < 1e-3 * x.strip.length_m, "{:?} {:?}", x.strip, y.strip);
            prop_assert!((x.strip.needed_length_m - y.strip.needed_length_m).abs() < 1e-3 * x.strip.length_m);
        }
    }

    #[test]
    fn the_same_question_has_the_same_answer(ring in some_field(), from in 0.0..360.0f64) {
        let f = field(&ring, vec![BoundaryEdge::UNKNOWN; ring.len()]);
        let make = || sheet(&f, &terrain(|p| 30.0 + 0.02 * p.y), &wind(from, 5.0));
        prop_assert_eq!(make(), make());
    }
}
