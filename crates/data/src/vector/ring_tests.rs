use super::*;
use proptest::prelude::*;
use sparefield_geometry::fields::model::EdgeKind;

/// A ring whose sides carry their own number as a height, so that every side can be followed.
fn numbered(points: &[(f64, f64)]) -> Ring {
    Ring {
        points: points.iter().map(|&(x, y)| Xy::new(x, y)).collect(),
        edges: (0..points.len()).map(|i| BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(i as f64) }).collect(),
    }
}

fn heights(ring: &Ring) -> Vec<f64> {
    ring.edges.iter().map(|e| e.height_m.unwrap()).collect()
}

fn points(ring: &Ring) -> Vec<(f64, f64)> {
    ring.points.iter().map(|p| (p.x, p.y)).collect()
}

fn one(ring: Ring) -> (Part, Vec<String>) {
    let mut cleaned = clean_polygon(ring, Vec::new()).unwrap();
    assert_eq!(cleaned.parts.len(), 1);
    (cleaned.parts.remove(0), cleaned.repairs)
}

#[test]
fn a_good_ring_stays_as_it_is() {
    let ring = numbered(&[(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0)]);
    let (part, repairs) = one(ring.clone());
    assert_eq!(part.outer, ring);
    assert!(repairs.is_empty());
}

#[test]
fn turning_a_ring_round_keeps_every_side_with_its_edge() {
    // Clockwise: south-west, north-west, north-east, south-east. Sides: west 0, north 1, east 2, south 3.
    let (part, _) = one(numbered(&[(0.0, 0.0), (0.0, 50.0), (100.0, 50.0), (100.0, 0.0)]));
    assert!(ring_area(&part.outer.points) > 0.0);
    for (i, height) in heights(&part.outer).into_iter().enumerate() {
        let (a, b) = (part.outer.points[i], part.outer.points[(i + 1) % 4]);
        let middle = (a + b) * 0.5;
        let expected = if middle.x == 0.0 {
            0.0
        } else if middle.y == 50.0 {
            1.0
        } else if middle.x == 100.0 {
            2.0
        } else {
            3.0
        };
        assert_eq!(height, expected, "side at {middle:?}");
    }
}

#[test]
fn repeated_corners_go_and_sides_stay_aligned() {
    let ring =
        numbered(&[(0.0, 0.0), (100.0, 0.0), (100.0, 0.0), (100.0, 0.000_5), (100.0, 50.0), (0.0, 50.0), (0.0, 0.0)]);
    let (part, repairs) = one(ring);
    assert_eq!(points(&part.outer), [(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0)]);
    // South 0, east 3 (the last of three at that corner), north 4, west 5; side 6 had no length.
    assert_eq!(heights(&part.outer), [0.0, 3.0, 4.0, 5.0]);
    assert!(repairs[0].contains("3 repeated corners"), "{repairs:?}");
}

#[test]
fn spikes_without_width_go() {
    // Out of the north-east corner to (150, 50) and back, and on.
    let (part, repairs) =
        one(numbered(&[(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (150.0, 50.0), (100.0, 50.0), (0.0, 50.0)]));
    assert_eq!(points(&part.outer), [(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0)]);
    assert_eq!(heights(&part.outer), [0.0, 1.0, 4.0, 5.0]);
    assert!(repairs.iter().any(|r| r.contains("spike")), "{repairs:?}");
    // Back short of where it started, and back beyond.
    let (part, _) = one(numbered(&[(0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (100.0, 50.0), (0.0, 50.0)]));
    assert_eq!(heights(&part.outer), [0.0, 1.0, 3.0, 4.0]);
    let (part, _) = one(numbered(&[(0.0, 0.0), (100.0, 0.0), (120.0, 0.0), (60.0, 0.0), (60.0, 50.0), (0.0, 50.0)]));
    assert_eq!(points(&part.outer), [(0.0, 0.0), (60.0, 0.0), (60.0, 50.0), (0.0, 50.0)]);
}

#[test]
fn a_bow_tie_is_refused() {
    let crossing = clean_polygon(numbered(&[(0.0, 0.0), (100.0, 50.0), (100.0, 0.0), (0.0, 50.0)]), Vec::new());
    let Err(RingFault::Crossing(at)) = crossing else { panic!("{crossing:?}") };
    assert!(at.distance(Xy::new(50.0, 25.0)) < 1e-9);
    // The same with a corner at the crossing.
    let touching = clean_polygon(
        numbered(&[(0.0, 0.0), (50.0, 25.0), (100.0, 50.0), (100.0, 0.0), (50.0, 25.0), (0.0, 50.0)]),
        Vec::new(),
    );
    assert!(matches!(touching, Err(RingFault::Crossing(_))), "{touching:?}");
}

#[test]
fn a_tiny_loop_is_cut_off() {
    // The last two sides overshoot and cross in a triangle of 0.25 m².
    let (part, repairs) =
        one(numbered(&[(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0), (0.0, -0.5), (0.5, -0.5), (0.5, 0.5)]));
    assert!(repairs.iter().any(|r| r.contains("smaller than 1 m²")), "{repairs:?}");
    assert!((ring_area(&part.outer.points) - 5_000.0).abs() < 2.0, "{part:?}");
    assert_eq!(close_sides(&part.outer.points), Ok(vec![]));
}

#[test]
fn a_pinch_parts_the_field() {
    // Two squares that share one corner, both walked the same way round.
    let ring = numbered(&[
        (0.0, 0.0),
        (50.0, 0.0),
        (50.0, 50.0),
        (100.0, 50.0),
        (100.0, 100.0),
        (50.0, 100.0),
        (50.0, 50.0),
        (0.0, 50.0),
    ]);
    let cleaned = clean_polygon(ring, Vec::new()).unwrap();
    assert_eq!(cleaned.parts.len(), 2);
    for part in &cleaned.parts {
        assert!((ring_area(&part.outer.points) - 2_500.0).abs() < 1e-9);
        assert_eq!(part.outer.points.len(), part.outer.edges.len());
    }
    let mut all: Vec<f64> = cleaned.parts.iter().flat_map(|p| heights(&p.outer)).collect();
    all.sort_by(f64::total_cmp);
    assert_eq!(all, [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]);
}

#[test]
fn a_hole_tied_by_a_slit_becomes_a_hole() {
    let ring = numbered(&[
        (0.0, 0.0),
        (40.0, 0.0),
        (40.0, 20.0),
        (40.0, 40.0),
        (60.0, 40.0),
        (60.0, 20.0),
        (40.0, 20.0),
        (40.0, 0.0),
        (100.0, 0.0),
        (100.0, 100.0),
        (0.0, 100.0),
    ]);
    let (part, _) = one(ring);
    assert_eq!(part.holes.len(), 1);
    assert!((ring_area(&part.holes[0]) + 400.0).abs() < 1e-9);
    assert!((ring_area(&part.outer.points) - 10_000.0).abs() < 1e-9);
}

#[test]
fn round_twice_is_refused() {
    let ring = numbered(&[
        (0.0, 0.0),
        (100.0, 0.0),
        (100.0, 100.0),
        (0.0, 100.0),
        (0.0, 0.0),
        (60.0, 0.0),
        (60.0, 60.0),
        (0.0, 60.0),
    ]);
    assert!(clean_polygon(ring, Vec::new()).is_err());
}

#[test]
fn holes_are_turned_dropped_or_kept() {
    let outer = || numbered(&[(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]);
    let square =
        |x: f64, y: f64, s: f64| vec![Xy::new(x, y), Xy::new(x + s, y), Xy::new(x + s, y + s), Xy::new(x, y + s)];
    let cleaned = clean_polygon(outer(), vec![square(10.0, 10.0, 20.0)]).unwrap();
    assert!((ring_area(&cleaned.parts[0].holes[0]) + 400.0).abs() < 1e-9, "clockwise");
    assert!(cleaned.repairs.is_empty());
    let outside = clean_polygon(outer(), vec![square(200.0, 10.0, 20.0)]).unwrap();
    assert!(outside.parts[0].holes.is_empty());
    assert!(outside.repairs[0].contains("outside"));
    let across = clean_polygon(outer(), vec![square(90.0, 10.0, 20.0)]).unwrap();
    assert_eq!(across.parts[0].holes.len(), 1);
    assert!(across.repairs[0].contains("reaches over"));
    let covered = clean_polygon(outer(), vec![square(-10.0, -10.0, 200.0)]);
    assert!(covered.is_err());
    let crossed = vec![Xy::new(10.0, 10.0), Xy::new(30.0, 30.0), Xy::new(30.0, 10.0), Xy::new(10.0, 30.0)];
    assert!(clean_polygon(outer(), vec![crossed]).is_err(), "a field whose hole is unclear is not used");
    let nothing = clean_polygon(outer(), vec![vec![Xy::new(10.0, 10.0); 5]]).unwrap();
    assert!(nothing.parts[0].holes.is_empty());
}

#[test]
fn what_is_no_area_is_refused() {
    for (ring, fault) in [
        (vec![], RingFault::TooFew),
        (vec![(0.0, 0.0), (1.0, 1.0)], RingFault::TooFew),
        (vec![(0.0, 0.0), (50.0, 0.0), (100.0, 0.0)], RingFault::TooFew),
        (vec![(0.0, 0.0), (f64::NAN, 0.0), (100.0, 100.0)], RingFault::NotFinite),
    ] {
        assert_eq!(clean_polygon(numbered(&ring), Vec::new()), Err(fault));
    }
    let tiny = clean_polygon(numbered(&[(0.0, 0.0), (0.5, 0.0), (0.5, 0.5), (0.0, 0.5)]), Vec::new());
    assert!(matches!(tiny, Err(RingFault::Tiny(a)) if (a - 0.25).abs() < 1e-12), "{tiny:?}");
    let too_many = numbered(&vec![(0.0, 0.0); MOST_VERTICES + 1]);
    assert!(matches!(clean_polygon(too_many, Vec::new()), Err(RingFault::TooMany(_))));
}

#[test]
fn rings_nest_by_place_and_not_by_direction() {
    let square = |x: f64, s: f64, clockwise: bool| {
        let mut ring = vec![Xy::new(x, x), Xy::new(x + s, x), Xy::new(x + s, x + s), Xy::new(x, x + s)];
        if clockwise {
            ring.reverse();
        }
        ring
    };
    // An outer ring, its hole, an island in the hole, and another ring apart.
    let (groups, odd) = nest(vec![
        square(40.0, 20.0, true),
        square(0.0, 100.0, true),
        square(20.0, 60.0, false),
        square(200.0, 9.0, true),
    ]);
    assert_eq!(groups, [(0, vec![]), (1, vec![2]), (3, vec![])]);
    assert!(!odd);
    let (groups, odd) = nest(vec![square(0.0, 100.0, false), square(20.0, 60.0, false)]);
    assert_eq!(groups, [(0, vec![1])]);
    assert!(odd);
}

/// A ring around a star-shaped area: corners at rising angles, so that it never crosses itself.
fn star() -> impl Strategy<Value = Ring> {
    prop::collection::vec(20.0..200.0f64, 4..14).prop_map(|radii| {
        let n = radii.len() as f64;
        let corners: Vec<(f64, f64)> = radii
            .iter()
            .enumerate()
            .map(|(i, r)| {
                let (s, c) = sparefield_geometry::math::sin_cos(i as f64 / n * std::f64::consts::TAU);
                (500_000.0 + r * c, 5_700_000.0 + r * s)
            })
            .collect();
        numbered(&corners)
    })
}

proptest! {
    #[test]
    fn a_simple_ring_keeps_its_sides_whatever_is_done_to_it(ring in star(), shift in 0..14usize, flip: bool, double in 0..14usize) {
        let side = |r: &Ring, i: usize| {
            let (a, b) = (r.points[i], r.points[(i + 1) % r.points.len()]);
            (a + b) * 0.5
        };
        let expected: Vec<(Xy, f64)> = (0..ring.points.len()).map(|i| (side(&ring, i), i as f64)).collect();
        let n = ring.points.len();
        let mut changed = ring.clone();
        changed.points.rotate_left(shift % n);
        changed.edges.rotate_left(shift % n);
        if flip {
            changed = reversed(changed);
        }
        // A corner twice, whose second side is the true one.
        let at = double % n;
        let (p, e) = (changed.points[at], changed.edges[at]);
        changed.points.insert(at, p);
        changed.edges.insert(at, BoundaryEdge { height_m: Some(99.0), ..e });
        let (part, _) = one(changed);
        prop_assert_eq!(part.outer.points.len(), n);
        prop_assert!(ring_area(&part.outer.points) > 0.0);
        for (i, height) in heights(&part.outer).into_iter().enumerate() {
            let middle = side(&part.outer, i);
            let nearest = expected.iter().min_by(|a, b| a.0.distance(middle).total_cmp(&b.0.distance(middle))).unwrap();
            prop_assert_eq!(nearest.1, height);
        }
    }

    /// The judgement against the validity check of the `geo` crate, which was written without this one.
    #[test]
    fn what_passes_is_valid_for_another_check_too(corners in prop::collection::vec((0..12i32, 0..12i32), 3..10)) {
        use geo::Validation;
        let ring = numbered(&corners.iter().map(|&(x, y)| (f64::from(x) * 10.0, f64::from(y) * 10.0)).collect::<Vec<_>>());
        let line = |r: &[Xy]| geo::LineString::from(r.iter().map(|p| (p.x, p.y)).collect::<Vec<_>>());
        let before = geo::Polygon::new(line(&ring.points), vec![]);
        match clean_polygon(ring, Vec::new()) {
            Ok(cleaned) => {
                for part in cleaned.parts {
                    let after = geo::Polygon::new(line(&part.outer.points), part.holes.iter().map(|h| line(h)).collect());
                    prop_assert!(after.is_valid(), "{:?}", after);
                }
            }
            // The other check takes three corners in a row for valid; here they are no area.
            Err(fault) => prop_assert!(!before.is_valid() || matches!(fault, RingFault::Tiny(_) | RingFault::TooFew), "{:?} {:?}", before, fault),
        }
    }

    #[test]
    fn no_ring_makes_it_panic(corners in prop::collection::vec((-3.0..3.0f64, -3.0..3.0f64), 0..24), hole in prop::collection::vec((-3.0..3.0f64, -3.0..3.0f64), 0..8)) {
        let hole = hole.into_iter().map(|(x, y)| Xy::new(x, y)).collect();
        if let Ok(cleaned) = clean_polygon(numbered(&corners), vec![hole]) {
            for part in cleaned.parts {
                prop_assert_eq!(part.outer.points.len(), part.outer.edges.len());
                prop_assert_eq!(close_sides(&part.outer.points), Ok(vec![]));
            }
        }
    }
}
