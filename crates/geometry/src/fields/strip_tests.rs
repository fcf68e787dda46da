use super::*;
use crate::fields::model::{Field, Hazard, HazardKind, HazardShape};
use approx::assert_relative_eq;
use proptest::prelude::*;

fn ring(points: &[(f64, f64)]) -> Vec<Xy> {
    points.iter().map(|&(x, y)| Xy::new(x, y)).collect()
}
fn turned(points: &[Xy], by: f64) -> Vec<Xy> {
    let (s, c) = math::sin_cos(by);
    points.iter().map(|p| Xy::new(p.x * c - p.y * s, p.x * s + p.y * c)).collect()
}
fn longest(outer: &[Xy], deg: f64, width: f64) -> f64 {
    let space = StripSpace::new(outer, &[], &[]).unwrap();
    space.longest(Bearing::from_deg(deg), width, &mut Scratch::default()).map_or(0.0, |s| s.length_m)
}
fn best(outer: &[Xy], width: f64) -> Strip {
    StripSpace::new(outer, &[], &[]).unwrap().best(width, &mut Scratch::default()).unwrap()
}

/// Whether a rectangle lies inside the outline and off every ring, found without the search's own tools.
fn is_free(strip: &Strip, outer: &[Xy], inner: &[Vec<Xy>], slack: f64) -> bool {
    let u = strip.heading.unit();
    let left = Xy::new(-u.y, u.x);
    let (l, w) = (strip.length_m / 2.0 - slack, strip.width_m / 2.0 - slack);
    let middle = (strip.start + strip.end) * 0.5;
    let crosses = |a: Xy, b: Xy| {
        let (a, b) = (a - middle, b - middle);
        let (mut t0, mut t1) = (0.0f64, 1.0f64);
        for (axis, reach) in [(u, l), (left, w)] {
            let (p, d) = (a.dot(axis), (b - a).dot(axis));
            if d == 0.0 {
                if p.abs() >= reach {
                    return false;
                }
                continue;
            }
            let (s, e) = ((-reach - p) / d, (reach - p) / d);
            t0 = t0.max(s.min(e));
            t1 = t1.min(s.max(e));
        }
        t1 > t0
    };
    let meets = |r: &[Xy]| (0..r.len()).any(|i| crosses(r[i], r[(i + 1) % r.len()]));
    inside_ring(outer, middle)
        && !meets(outer)
        && inner.iter().all(|r| !meets(r) && !inside_ring(r, middle))
        && (strip.start.distance(strip.end) - strip.length_m).abs() < 1e-6
}

/// Longest gap over slabs every `step` metres, by clipping each side; never longer than the truth.
fn scan(outer: &[Xy], inner: &[Vec<Xy>], heading: Bearing, width: f64, step: f64) -> f64 {
    let u = heading.unit();
    let to = |p: &Xy| Xy::new(p.dot(u), u.cross(*p));
    let rings: Vec<Vec<Xy>> =
        core::iter::once(outer).chain(inner.iter().map(Vec::as_slice)).map(|r| r.iter().map(to).collect()).collect();
    let (low, high) = bounds(&rings[0]).unwrap();
    let mut longest = 0.0f64;
    let mut y = low.y;
    while y + width <= high.y {
        let mut cuts: Vec<(f64, f64)> = Vec::new();
        for r in &rings {
            for (i, &a) in r.iter().enumerate() {
                let b = r[(i + 1) % r.len()];
                let (a, b) = if a.y <= b.y { (a, b) } else { (b, a) };
                if b.y <= y || a.y >= y + width {
                    continue;
                }
                let at = |h: f64| if b.y > a.y { a.x + (b.x - a.x) * ((h - a.y) / (b.y - a.y)) } else { a.x };
                let (p, q) = if b.y > a.y { (at(a.y.max(y)), at(b.y.min(y + width))) } else { (a.x, b.x) };
                cuts.push((p.min(q), p.max(q)));
            }
        }
        cuts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut reach = f64::NEG_INFINITY;
        for (from, upto) in cuts {
            let m = Xy::new((reach + from) / 2.0, y + width / 2.0);
            if from - reach > longest && inside_ring(&rings[0], m) && rings[1..].iter().all(|r| !inside_ring(r, m)) {
                longest = from - reach;
            }
            reach = reach.max(upto);
        }
        y += step;
    }
    longest
}

/// A star-shaped ring: distances from the middle at even angles.
fn star(radii: &[f64]) -> Vec<Xy> {
    let n = radii.len() as f64;
    radii.iter().enumerate().map(|(i, r)| Bearing::from_rad(-(i as f64) * math::TAU / n).unit() * *r).collect()
}

#[test]
fn rectangle_takes_its_length_along_and_the_clipped_length_askew() {
    let field = ring(&[(0.0, 0.0), (400.0, 0.0), (400.0, 120.0), (0.0, 120.0)]);
    assert_relative_eq!(longest(&field, 90.0, 30.0), 400.0, epsilon = 1e-6);
    assert_relative_eq!(longest(&field, 270.0, 120.0), 400.0, epsilon = 1e-6);
    assert_relative_eq!(longest(&field, 0.0, 30.0), 120.0, epsilon = 1e-6);
    assert_eq!(longest(&field, 90.0, 120.1), 0.0);
    // A rectangle (L, W) turned by t needs L·sin t + W·cos t of the 120 m.
    let t = 20f64.to_radians();
    let expected = (120.0 - 30.0 * math::cos(t)) / math::sin(t);
    assert_relative_eq!(longest(&field, 70.0, 30.0), expected, epsilon = 1e-6);
}

#[test]
fn triangle_has_a_strip_on_its_base_shortened_by_similarity() {
    // Base 600, height 300: at height W the chord is 600·(1 − W/300).
    let field = ring(&[(0.0, 0.0), (600.0, 0.0), (200.0, 300.0)]);
    assert_relative_eq!(longest(&field, 90.0, 30.0), 540.0, epsilon = 1e-6);
}

#[test]
fn parallelogram_strip_is_attained_between_events_or_at_them() {
    let field = ring(&[(0.0, 0.0), (500.0, 0.0), (600.0, 200.0), (100.0, 200.0)]);
    // Every chord is 500 long; the slab's lower end is cut on the left and its upper end on the right by W/2 in total.
    assert_relative_eq!(longest(&field, 90.0, 40.0), 500.0 - 20.0, epsilon = 1e-6);
}

#[test]
fn two_slanting_sides_meet_between_events() {
    // A hexagon whose longest slab is centred on its waist corners, away from any vertex touching the slab.
    let field = ring(&[(0.0, 0.0), (300.0, 0.0), (400.0, 150.0), (300.0, 300.0), (0.0, 300.0), (-100.0, 150.0)]);
    let w = 30.0;
    let expected = 500.0 - 2.0 * (w / 2.0) * (100.0 / 150.0);
    assert_relative_eq!(longest(&field, 90.0, w), expected, epsilon = 1e-6);
}

#[test]
fn l_shape_uses_the_longer_arm_and_not_the_corner_outside() {
    let field = ring(&[(0.0, 0.0), (500.0, 0.0), (500.0, 60.0), (60.0, 60.0), (60.0, 350.0), (0.0, 350.0)]);
    assert_relative_eq!(longest(&field, 90.0, 50.0), 500.0, epsilon = 1e-6);
    assert_relative_eq!(longest(&field, 0.0, 50.0), 350.0, epsilon = 1e-6);
    assert_relative_eq!(longest(&field, 90.0, 70.0), 60.0, epsilon = 1e-6);
}

#[test]
fn circle_of_64_sides_holds_the_strip_of_its_chord() {
    let r = 250.0;
    let field = star(&[r; 64]);
    let w = 40.0;
    let inscribed = 2.0 * (r * r - w * w / 4.0).sqrt();
    for deg in [0.0, 3.0, 17.0, 45.0] {
        let got = longest(&field, deg, w);
        // The polygon lies between the circles of radius r and r·cos(π/64).
        let inner = r * math::cos(math::PI / 64.0);
        assert!(got <= inscribed + 1e-6 && got >= 2.0 * (inner * inner - w * w / 4.0).sqrt(), "{deg}: {got}");
    }
}

#[test]
fn holes_and_overlapping_obstacles_block() {
    let field = ring(&[(0.0, 0.0), (400.0, 0.0), (400.0, 100.0), (0.0, 100.0)]);
    let pond = ring(&[(150.0, 30.0), (150.0, 70.0), (170.0, 70.0), (170.0, 30.0)]);
    let mut other = ring(&[(160.0, 40.0), (160.0, 80.0), (260.0, 80.0), (260.0, 40.0)]);
    let east = Bearing::from_deg(90.0);
    let mut scratch = Scratch::default();
    let one = StripSpace::new(&field, std::slice::from_ref(&pond), &[]).unwrap();
    assert_relative_eq!(one.longest(east, 40.0, &mut scratch).unwrap().length_m, 230.0, epsilon = 1e-6);
    assert_relative_eq!(one.longest(east, 30.0, &mut scratch).unwrap().length_m, 400.0, epsilon = 1e-6);
    for _ in 0..2 {
        // Their overlap must not come out as free, however the rings run.
        let two = StripSpace::new(&field, std::slice::from_ref(&pond), std::slice::from_ref(&other)).unwrap();
        assert_relative_eq!(two.longest(east, 45.0, &mut scratch).unwrap().length_m, 150.0, epsilon = 1e-6);
        other.reverse();
    }
}

#[test]
fn a_clearing_in_a_wood_is_free_and_the_wood_is_not() {
    let square = |r: f64| ring(&[(-r, -r), (r, -r), (r, r), (-r, r)]);
    let hazard = |holes: Vec<Vec<Xy>>| Hazard {
        id: String::new(),
        kind: HazardKind::Wood,
        shape: HazardShape::Area { outer: square(1_000.0), holes },
        height_m: None,
        pole_heights_m: Vec::new(),
        name: String::new(),
        other: Vec::new(),
    };
    let field = test_field(square(100.0));
    let strip = |wood: &Hazard| {
        let obstacles = field_obstacles(&field, &[wood]);
        let space = StripSpace::new(&field.outer, &field.holes, &obstacles).unwrap();
        space.longest(Bearing::NORTH, 20.0, &mut Scratch::default()).map(|s| s.length_m)
    };
    assert_eq!(strip(&hazard(vec![])), None);
    assert_relative_eq!(strip(&hazard(vec![square(120.0)])).unwrap(), 200.0, epsilon = 1e-6);
    // The clearing ends 10 m inside the field; 3 m are kept from the trees.
    assert_relative_eq!(strip(&hazard(vec![square(90.0)])).unwrap(), 174.0, epsilon = 1e-6);
}

fn test_field(outer: Vec<Xy>) -> Field {
    Field {
        id: "f".into(),
        name: String::new(),
        edges: vec![super::super::model::BoundaryEdge::UNKNOWN; outer.len()],
        outer,
        holes: vec![],
        surface: super::super::model::Surface::GrazedGrass,
        stock: super::super::model::Stock::None,
        surveyed: None,
        notes: String::new(),
        other: vec![],
        ..Field::default()
    }
}

#[test]
fn wires_across_a_field_cut_it_and_a_lone_tree_is_passed() {
    let field = test_field(ring(&[(0.0, 0.0), (400.0, 0.0), (400.0, 60.0), (0.0, 60.0)]));
    let hazard = |kind, shape| Hazard {
        id: String::new(),
        kind,
        shape,
        height_m: None,
        pole_heights_m: Vec::new(),
        name: String::new(),
        other: vec![],
    };
    let wires = hazard(HazardKind::Wires, HazardShape::Line(ring(&[(300.0, -50.0), (300.0, 110.0)])));
    let tree = hazard(HazardKind::LoneTree, HazardShape::Point(Xy::new(200.0, 5.0)));
    let length = |list: &[&Hazard]| {
        let obstacles = field_obstacles(&field, list);
        let space = StripSpace::new(&field.outer, &[], &obstacles).unwrap();
        space.longest(Bearing::from_deg(90.0), 30.0, &mut Scratch::default()).unwrap().length_m
    };
    assert_relative_eq!(length(&[&wires]), 297.0, epsilon = 1e-6);
    assert_relative_eq!(length(&[&tree]), 400.0, epsilon = 1e-6);
}

#[test]
fn what_stands_beside_a_field_is_not_carried_along() {
    // An L-shaped field with a wood in the notch: inside the bounds, outside the field.
    let l = [(0.0, 0.0), (400.0, 0.0), (400.0, 100.0), (100.0, 100.0), (100.0, 400.0), (0.0, 400.0)];
    let field = test_field(ring(&l));
    let wood = |low: f64| Hazard {
        id: String::new(),
        kind: HazardKind::Wood,
        shape: HazardShape::Area {
            outer: ring(&[(low, low), (300.0, low), (300.0, 300.0), (low, 300.0)]),
            holes: vec![],
        },
        height_m: None,
        pole_heights_m: Vec::new(),
        name: String::new(),
        other: vec![],
    };
    assert!(field_obstacles(&field, &[&wood(110.0)]).is_empty());
    // Two metres from the field, the three metres kept from the trees reach into it.
    assert!(!field_obstacles(&field, &[&wood(102.0)]).is_empty());
    assert!(!field_obstacles(&field, &[&wood(50.0)]).is_empty());
    // Nobody knows where a ring that is not finite lies.
    let mut lost = wood(110.0);
    if let HazardShape::Area { outer, .. } = &mut lost.shape {
        outer[0].x = f64::NAN;
    }
    assert!(!field_obstacles(&field, &[&lost]).is_empty());
}

#[test]
fn margin_shortens_and_narrows() {
    let field = ring(&[(0.0, 0.0), (400.0, 0.0), (400.0, 120.0), (0.0, 120.0)]);
    let space = StripSpace::new(&field, &[], &[]).unwrap();
    let outer = space.longest(Bearing::from_deg(90.0), 30.0, &mut Scratch::default()).unwrap();
    let strip = without_margin(outer, 5.0).unwrap();
    assert_relative_eq!(strip.length_m, 390.0, epsilon = 1e-6);
    assert_relative_eq!(strip.width_m, 20.0);
    assert_relative_eq!(strip.start.x, 5.0, epsilon = 1e-6);
    // Centred in the free band.
    assert_relative_eq!(strip.start.y, 60.0, epsilon = 1e-6);
    assert_eq!(without_margin(Strip { length_m: 9.0, ..outer }, 5.0), None);
}

#[test]
fn best_heading_of_a_turned_rectangle_is_its_diagonal_band() {
    // The longest W-wide rectangle in a 400 × 120 rectangle, over the angle t by ternary search on the closed form.
    let at = |t: f64| {
        let (s, c) = math::sin_cos(t);
        ((400.0 - 20.0 * s) / c).min(if s > 1e-12 { (120.0 - 20.0 * c) / s } else { f64::INFINITY })
    };
    let truth = (0..200_000).map(|i| at(f64::from(i) * 1e-6 * 7.0)).fold(0.0f64, f64::max);
    let field = ring(&[(0.0, 0.0), (400.0, 0.0), (400.0, 120.0), (0.0, 120.0)]);
    for by in [0.0, 0.3, 1.234] {
        let got = best(&turned(&field, by), 20.0).length_m;
        assert!(got <= truth + 1e-3 && got * (1.0 + BEST_TOLERANCE) >= truth, "{by}: {got} of {truth}");
    }
}

#[test]
fn degenerate_outlines_give_nothing() {
    let e = Vec::new();
    assert!(StripSpace::new(&e, &[], &[]).is_none());
    assert!(StripSpace::new(&ring(&[(0.0, 0.0), (1.0, 0.0)]), &[], &[]).is_none());
    assert!(StripSpace::new(&ring(&[(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)]), &[], &[]).is_none());
    assert!(StripSpace::new(&ring(&[(0.0, 0.0), (f64::NAN, 0.0), (2.0, 3.0)]), &[], &[]).is_none());
    let tiny = StripSpace::new(&ring(&[(0.0, 0.0), (1e-7, 0.0), (0.0, 1e-7)]), &[], &[]).unwrap();
    assert!(tiny.best(20.0, &mut Scratch::default()).is_none());
    let square = StripSpace::new(&ring(&[(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0)]), &[], &[]).unwrap();
    for width in [f64::NAN, 0.0, -3.0, f64::INFINITY] {
        assert!(square.longest(Bearing::NORTH, width, &mut Scratch::default()).is_none());
        assert!(square.best(width, &mut Scratch::default()).is_none());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn one_heading_agrees_with_a_scan(
        radii in proptest::collection::vec(60.0..300.0f64, 3..24),
        deg in 0.0..360.0f64,
        width in 5.0..80.0f64,
        hole in proptest::collection::vec((-120.0..120.0f64, -120.0..120.0f64, 5.0..40.0f64), 0..3),
    ) {
        let outer = star(&radii);
        let inner: Vec<Vec<Xy>> = hole
            .iter()
            .map(|&(x, y, r)| star(&[r; 5]).iter().map(|p| *p + Xy::new(x, y)).collect())
            .collect();
        let heading = Bearing::from_deg(deg);
        let space = StripSpace::new(&outer, &inner, &[]).unwrap();
        let found = space.longest(heading, width, &mut Scratch::default());
        let scanned = scan(&outer, &inner, heading, width, 0.5);
        let length = found.map_or(0.0, |s| s.length_m);
        prop_assert!(length >= scanned - 1e-6, "{length} < {scanned}");
        if let Some(s) = found {
            prop_assert!(is_free(&s, &outer, &inner, 1e-6), "{s:?}");
        }
    }

    #[test]
    fn turning_the_field_turns_the_strip(
        radii in proptest::collection::vec(60.0..300.0f64, 3..20), by in -3.0..3.0f64, width in 5.0..60.0f64,
    ) {
        let outer = star(&radii);
        let moved: Vec<Xy> = turned(&outer, by).iter().map(|p| *p + Xy::new(5e5, 4e6)).collect();
        let heading = Bearing::from_rad(0.7);
        let a = StripSpace::new(&outer, &[], &[]).unwrap().longest(heading, width, &mut Scratch::default());
        let b = StripSpace::new(&moved, &[], &[]).unwrap()
            .longest(Bearing::from_rad(0.7 - by), width, &mut Scratch::default());
        let (a, b) = (a.map_or(0.0, |s| s.length_m), b.map_or(0.0, |s| s.length_m));
        // Where a strip only just fits, a rounding may decide whether it does.
        prop_assert!((a - b).abs() < 1e-4, "{a} {b}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn best_heading_agrees_with_a_fine_scan(
        radii in proptest::collection::vec(80.0..300.0f64, 3..24), width in 10.0..40.0f64,
    ) {
        let outer = star(&radii);
        let space = StripSpace::new(&outer, &[], &[]).unwrap();
        let mut scratch = Scratch::default();
        let found = space.best(width, &mut scratch);
        let length = found.map_or(0.0, |s| s.length_m);
        let mut truth = 0.0f64;
        for i in 0..3_600 {
            let heading = Bearing::from_deg(f64::from(i) * 0.05);
            truth = truth.max(space.longest(heading, width, &mut scratch).map_or(0.0, |s| s.length_m));
        }
        prop_assert!(truth < width || length * (1.0 + BEST_TOLERANCE) >= truth - 1e-6, "{length} of {truth}");
        if let Some(s) = found {
            prop_assert!(is_free(&s, &outer, &[], 1e-6));
        }
    }
}
