use super::super::model::{HazardShape, Stock, Surface};
use super::under_approach::governing;
use super::*;
use crate::grid::GridFrame;
use approx::assert_relative_eq;

fn xy(points: &[(f64, f64)]) -> Vec<Xy> {
    points.iter().map(|&(x, y)| Xy::new(x, y)).collect()
}
fn field(outer: Vec<Xy>, edge: BoundaryEdge) -> Field {
    Field {
        id: "a".into(),
        name: String::new(),
        edges: vec![edge; outer.len()],
        outer,
        holes: vec![],
        surface: Surface::GrazedGrass,
        stock: Stock::None,
        surveyed: None,
        notes: String::new(),
        other: vec![],
        ..Field::default()
    }
}
fn rectangle() -> Vec<Xy> {
    xy(&[(0.0, 0.0), (400.0, 0.0), (400.0, 100.0), (0.0, 100.0)])
}
fn terrain(height: impl Fn(Xy) -> f64) -> Terrain {
    let frame = GridFrame { origin: Xy::new(-2_000.0, 2_000.0), cell_m: 25.0, cols: 161, rows: 161 };
    let heights_m = (0..frame.rows)
        .flat_map(|r| (0..frame.cols).map(move |c| (r, c)))
        .map(|(r, c)| height(frame.centre(r, c)) as f32);
    Terrain { frame, heights_m: heights_m.collect(), accuracy: TerrainAccuracy::default() }
}
const KNOWN_HEDGE: BoundaryEdge = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) };
const OPEN: BoundaryEdge = BoundaryEdge { kind: EdgeKind::Nothing, height_m: None };

fn study(field: &Field, hazards: Vec<Hazard>, terrain: Option<&Terrain>) -> FieldStudy {
    let aircraft = Aircraft::example_flexwing();
    FieldStudy::new(field, &HazardIndex::new(hazards), terrain, &aircraft, &StudyOptions::default())
}
/// The strip nearest to a heading, and which end is landed on.
fn along(study: &FieldStudy, deg: f64) -> (&StripStudy, usize) {
    let wanted = Bearing::from_deg(deg);
    let off = |s: &StripStudy, i: usize| {
        let h = if i == 0 { s.strip.heading } else { s.strip.heading.reversed() };
        wanted.turn_to(h).abs()
    };
    let all = study.strips.iter().flat_map(|s| [(s, 0), (s, 1)]);
    all.min_by(|a, b| off(a.0, a.1).total_cmp(&off(b.0, b.1))).unwrap()
}
fn hazard(kind: HazardKind, shape: HazardShape, height_m: Option<f64>) -> Hazard {
    Hazard { id: String::new(), kind, shape, height_m, pole_heights_m: Vec::new(), name: String::new(), other: vec![] }
}

#[test]
fn plane_is_measured_exactly_along_and_across() {
    // Rises 2 % to the east and 1 % to the south.
    let slope = terrain(|p| 100.0 + 0.02 * p.x - 0.01 * p.y);
    let s = study(&field(rectangle(), OPEN), vec![], Some(&slope));
    let (strip, end) = along(&s, 90.0);
    let g = strip.ground.unwrap();
    let g = if end == 0 { g } else { g.reversed() };
    assert_relative_eq!(g.slope, 0.02, epsilon = 1e-5);
    assert_relative_eq!(g.cross_slope, 0.01, epsilon = 1e-5);
    assert!(g.roughness_m < 1e-3);
    // 2 m over the strip's 390 m.
    assert_relative_eq!(g.slope_error, 2.0 / 390.0, epsilon = 1e-6);
    assert_eq!(s.ground, GroundKnown::Yes);
    let west = along(&s, 270.0);
    assert_relative_eq!(west.0.ends[west.1].threshold_amsl_m.unwrap(), 100.0 + 0.02 * 395.0 - 0.5, epsilon = 1e-3);
}

#[test]
fn missing_terrain_is_said() {
    let f = field(rectangle(), OPEN);
    assert_eq!(study(&f, vec![], None).ground, GroundKnown::NotLoaded);
    let hole = terrain(|p| if p.x > 100.0 && p.x < 350.0 { f64::NAN } else { 50.0 });
    let s = study(&f, vec![], Some(&hole));
    assert_eq!(along(&s, 90.0).0.ground, None);
    let far = field(rectangle().iter().map(|p| *p + Xy::new(9e4, 0.0)).collect(), OPEN);
    let flat = terrain(|_| 50.0);
    let s = study(&far, vec![], Some(&flat));
    assert_eq!(s.ground, GroundKnown::Outside);
    assert_eq!((s.strips.len(), s.no_strip), (0, Some(NoStrip::OffTerrain)));
}

#[test]
fn a_county_is_no_field() {
    let big = rectangle().iter().map(|p| *p * 20.0).collect();
    let s = study(&field(big, OPEN), vec![], None);
    assert_eq!((s.strips.len(), s.no_strip), (0, Some(NoStrip::TooLarge)));
}

#[test]
fn hedge_at_the_end_counts_and_hedges_beside_do_not() {
    let flat = terrain(|_| 50.0);
    let s = study(&field(rectangle(), KNOWN_HEDGE), vec![], Some(&flat));
    let (strip, end) = along(&s, 90.0);
    let obstacles = &strip.ends[end].obstacles;
    assert_eq!(obstacles.len(), 1);
    assert_eq!((obstacles[0].what, obstacles[0].assumed), (Under::Edge(EdgeKind::Hedge), false));
    assert_relative_eq!(obstacles[0].height_m, 2.0, epsilon = 1e-4);
    assert_relative_eq!(obstacles[0].before_threshold_m, 5.0, epsilon = 1e-4);
}

#[test]
fn unknown_sides_are_assumed_and_flagged() {
    let flat = terrain(|_| 50.0);
    let s = study(&field(rectangle(), BoundaryEdge::UNKNOWN), vec![], Some(&flat));
    let end = &along(&s, 90.0).0.ends[0];
    assert!(end.unknown_edge && end.obstacles[0].assumed);
    assert_relative_eq!(end.obstacles[0].height_m, 8.0, epsilon = 1e-4);
    let mut short = field(rectangle(), OPEN);
    short.edges.clear();
    assert!(along(&study(&short, vec![], Some(&flat)), 90.0).0.ends[0].unknown_edge);
    let known = study(&field(rectangle(), OPEN), vec![], Some(&flat));
    assert!(known.strips.iter().all(|s| s.ends.iter().all(|e| !e.unknown_edge && e.obstacles.is_empty())));
}

#[test]
fn wires_before_the_end_are_found_on_the_side_they_stand() {
    let flat = terrain(|_| 50.0);
    let wires = hazard(HazardKind::Wires, HazardShape::Line(xy(&[(-150.0, -500.0), (-150.0, 600.0)])), Some(10.0));
    let s = study(&field(rectangle(), OPEN), vec![wires], Some(&flat));
    let (strip, east) = along(&s, 90.0);
    assert_relative_eq!(strip.ends[east].wires[0].before_threshold_m, 155.0, epsilon = 1e-3);
    assert_relative_eq!(strip.ends[east].wires[0].height_m, 10.0, epsilon = 1e-3);
    assert!(strip.ends[1 - east].wires.is_empty());
    assert_eq!(s.nearby.wires, 1);
}

#[test]
fn wires_on_a_ridge_stand_higher() {
    let ridge = terrain(|p| if p.x < -100.0 { 70.0 } else { 50.0 });
    let wires = hazard(HazardKind::Wires, HazardShape::Line(xy(&[(-300.0, -500.0), (-300.0, 600.0)])), None);
    let s = study(&field(rectangle(), OPEN), vec![wires], Some(&ridge));
    let (strip, east) = along(&s, 90.0);
    let w = strip.ends[east].wires[0];
    assert_relative_eq!(w.height_m, 32.0, epsilon = 1e-3);
    assert!(w.assumed);
    // The ridge itself is rising ground.
    assert!(strip.ends[east].obstacles.iter().any(|o| o.what == Under::Ground));
}

#[test]
fn a_wood_and_a_mast_stand_where_they_are() {
    let flat = terrain(|_| 50.0);
    let wood = HazardShape::Area {
        outer: xy(&[(-300.0, 0.0), (-200.0, 0.0), (-200.0, 100.0), (-300.0, 100.0)]),
        holes: vec![],
    };
    let s = study(
        &field(rectangle(), OPEN),
        vec![
            hazard(HazardKind::Wood, wood, None),
            hazard(HazardKind::Mast, HazardShape::Point(Xy::new(-100.0, 50.0)), Some(5.0)),
        ],
        Some(&flat),
    );
    let (strip, east) = along(&s, 90.0);
    let found: Vec<_> = strip.ends[east].obstacles.iter().map(|o| (o.what, o.before_threshold_m)).collect();
    assert_eq!(found.len(), 2);
    assert_eq!(found[0].0, Under::Hazard(HazardKind::Mast));
    assert_relative_eq!(found[0].1, 105.0 - 3.0, epsilon = 1e-3);
    assert_eq!(found[1].0, Under::Hazard(HazardKind::Wood));
    assert_relative_eq!(found[1].1, 205.0, epsilon = 1e-3);
}

#[test]
fn a_strip_is_never_laid_through_a_hazard() {
    let wires = hazard(HazardKind::Wires, HazardShape::Line(xy(&[(250.0, -50.0), (250.0, 150.0)])), None);
    let s = study(&field(rectangle(), OPEN), vec![wires], None);
    for strip in &s.strips {
        let (a, b) = (strip.strip.start.x - 250.0, strip.strip.end.x - 250.0);
        assert!(a * b > 0.0, "{:?}", strip.strip);
    }
}

#[test]
fn governing_keeps_what_can_govern_at_some_gradient() {
    let p = |d: f64, h: f64| ApproachPoint { what: Under::Ground, height_m: h, before_threshold_m: d, assumed: false };
    let all =
        vec![p(0.0, 2.0), p(10.0, 2.0), p(50.0, 5.0), p(100.0, 30.0), p(300.0, 31.0), p(400.0, -3.0), p(900.0, 90.0)];
    let kept = governing(all.clone(), 0.0);
    for i in 0..200 {
        let run = 4.0 + f64::from(i) * 0.2;
        let most = |list: &[ApproachPoint]| {
            list.iter().map(|p| p.height_m * run - p.before_threshold_m).fold(0.0f64, f64::max)
        };
        assert_eq!(most(&all), most(&kept), "{run}");
    }
    assert_eq!(kept.len(), 3);
}

#[test]
fn bad_fields_have_no_strip_and_a_reason() {
    let narrow = xy(&[(0.0, 0.0), (500.0, 0.0), (500.0, 12.0), (0.0, 12.0)]);
    assert_eq!(study(&field(narrow, OPEN), vec![], None).no_strip, Some(NoStrip::TooNarrow));
    assert_eq!(study(&field(vec![], OPEN), vec![], None).no_strip, Some(NoStrip::BadOutline));
    let nan = xy(&[(0.0, 0.0), (500.0, f64::NAN), (500.0, 300.0)]);
    assert_eq!(study(&field(nan, OPEN), vec![], None).no_strip, Some(NoStrip::BadOutline));
    let aircraft = Aircraft { strip_width_m: f64::NAN, ..Aircraft::example_flexwing() };
    let s =
        FieldStudy::new(&field(rectangle(), OPEN), &HazardIndex::default(), None, &aircraft, &StudyOptions::default());
    assert_eq!(s.no_strip, Some(NoStrip::BadAircraft));
}

#[test]
fn many_threads_give_the_same_studies() {
    let fields: Vec<Field> = (0..24)
        .map(|i| {
            let at = Xy::new(f64::from(i % 6) * 300.0 - 900.0, f64::from(i / 6) * 250.0 - 500.0);
            field(rectangle().iter().map(|p| *p * (0.5 + 0.02 * f64::from(i)) + at).collect(), KNOWN_HEDGE)
        })
        .collect();
    let hills = terrain(|p| 100.0 + 0.02 * p.x + 3.0 * math::sin(p.y / 150.0));
    let run = |threads| {
        rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| {
            let aircraft = Aircraft::example_flexwing();
            study_all(&fields, &HazardIndex::default(), Some(&hills), &aircraft, &StudyOptions::default())
        })
    };
    assert_eq!(run(1), run(3));
}
