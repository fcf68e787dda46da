use super::super::paint::{paint, set_edge, sides_between};
use super::super::place::CornerRef;
use super::super::shared::{SHARED_M, SharedSides, match_corners, move_shared_corner};
use super::super::validity::check;
use super::*;
use crate::outline::OutlineError;
use std::sync::Arc;

const TREES: BoundaryEdge = BoundaryEdge { kind: EdgeKind::TreeLine, height_m: Some(15.0) };

fn neighbours_of(shared: &SharedSides, field: usize, side: usize) -> Vec<(usize, usize)> {
    shared.of(field, side).map(|n| (n.field, n.side)).collect()
}

#[test]
fn a_hedge_between_two_fields_is_one_hedge() {
    let fields = [square("a", 0.0, 0.0), square("b", 101.0, 0.0), square("c", 0.0, 103.0)].map(Arc::new);
    let shared = SharedSides::new(&fields, SHARED_M);
    assert_eq!(neighbours_of(&shared, 0, 1), [(1, 3)]);
    assert_eq!(neighbours_of(&shared, 1, 3), [(0, 1)]);
    assert!(neighbours_of(&shared, 0, 2).is_empty(), "three metres apart is two boundaries");
    assert_eq!(shared.all()[0].gap_m, 1.0);
    let changed = set_edge(&fields, 1, 3, TREES, SHARED_M).unwrap();
    assert_eq!(changed.iter().map(|c| c.0).collect::<Vec<_>>(), [0, 1]);
    assert_eq!(changed[0].1.edges, [hedge(1.0), TREES, hedge(3.0), hedge(4.0)]);
    assert_eq!(changed[1].1.edges, [hedge(1.0), hedge(2.0), hedge(3.0), TREES]);
    assert_eq!(set_edge(&fields, 1, 4, TREES, SHARED_M), Err(OutlineError::Missing { what: "side" }));
    assert_eq!(set_edge(&fields, 3, 0, TREES, SHARED_M), Err(OutlineError::Missing { what: "field" }));
    let again: Vec<Field> = changed.into_iter().map(|c| c.1).collect();
    assert!(set_edge(&again, 1, 3, TREES, SHARED_M).unwrap().is_empty(), "nothing changes twice");
}

#[test]
fn only_the_shared_stretch_of_a_longer_side_is_painted() {
    // The small field lies along the middle of the large one's east side.
    let small = field("s", &[(100.0, 30.0), (150.0, 30.0), (150.0, 60.0), (100.0, 60.0)]);
    let fields = [square("a", 0.0, 0.0), small];
    let changed = set_edge(&fields, 1, 3, TREES, SHARED_M).unwrap();
    let large = &changed[0].1;
    assert_eq!(large.outer.len(), 6);
    assert_eq!(large.outer[2..4], [xy(100.0, 30.0), xy(100.0, 60.0)]);
    assert_eq!(large.edges, [hedge(1.0), hedge(2.0), TREES, hedge(2.0), hedge(3.0), hedge(4.0)]);
    assert!(sound(large));
    // The other way round the small side takes what the whole large one has.
    let changed = set_edge(&fields, 0, 1, TREES, SHARED_M).unwrap();
    assert_eq!(changed[0].1.outer.len(), 4);
    assert_eq!(changed[1].1.edges[3], TREES);
}

#[test]
fn paint_runs_the_shorter_way_round() {
    let ring = square("a", 0.0, 0.0).outer;
    assert_eq!(sides_between(&ring, 3, 1), [3, 0, 1]);
    assert_eq!(sides_between(&ring, 0, 3), [0, 3]);
    assert_eq!(sides_between(&ring, 2, 2), [2]);
    assert!(sides_between(&ring, 2, 4).is_empty());
    let fields = [square("a", 0.0, 0.0), square("b", 100.0, 0.0)];
    let changed = paint(&fields, 0, &sides_between(&ring, 0, 1), TREES, SHARED_M).unwrap();
    assert_eq!(changed[0].1.edges, [TREES, TREES, hedge(3.0), hedge(4.0)]);
    assert_eq!(changed[1].1.edges, [hedge(1.0), hedge(2.0), hedge(3.0), TREES]);
}

#[test]
fn where_boundaries_meet_in_a_t_the_long_side_gets_the_corner() {
    let small = field("s", &[(100.2, 30.0), (150.0, 30.0), (150.0, 60.0), (100.0, 60.0)]);
    let fields = [square("a", 0.0, 0.0), small];
    let changed = match_corners(&fields, 1, 0.5);
    assert_eq!(changed.len(), 1, "the small field lacks nothing");
    let (index, large) = &changed[0];
    assert_eq!((*index, &large.outer[2..4]), (0, &[xy(100.2, 30.0), xy(100.0, 60.0)][..]));
    assert_eq!(heights(large), [1.0, 2.0, 2.0, 2.0, 3.0, 4.0]);
    assert_eq!(match_corners(&fields, 0, 0.5), changed, "the same from the other side");
    assert!(match_corners(&fields, 7, 0.5).is_empty());
}

#[test]
fn a_corner_of_several_fields_moves_in_all_of_them() {
    let mut fields =
        vec![square("a", 0.0, 0.0), square("b", 100.0, 0.0), square("c", 0.0, 100.0), square("d", 300.0, 0.0)];
    let changed = move_shared_corner(&fields, 0, CornerRef::outer(2), xy(110.0, 90.0), 0.01).unwrap();
    assert_eq!(changed.iter().map(|c| c.0).collect::<Vec<_>>(), [0, 1, 2]);
    assert!(changed.iter().all(|(_, f)| f.outer.contains(&xy(110.0, 90.0)) && check(f).is_ok()));
    // Far enough to turn one of them over: nothing moves, and the neighbour is named.
    fields[1].name = "The long one".into();
    let refused = move_shared_corner(&fields, 0, CornerRef::outer(2), xy(260.0, 90.0), 0.01).unwrap_err();
    assert!(matches!(refused, OutlineError::Neighbour { index: 1, .. }));
    assert!(refused.to_string().starts_with("the neighbour The long one cannot follow: the outline crosses itself"));
}

proptest! {
    #[test]
    fn sharing_is_mutual_and_the_same_for_one_field_as_for_all(
        rings in proptest::collection::vec((-3i32..3, -3i32..3, 1u32..4, 1u32..4), 2..6), tolerance in 0.0f64..3.0, jitter in 0.0f64..1.5,
    ) {
        let fields: Vec<Field> = rings
            .iter()
            .enumerate()
            .map(|(k, &(x, y, w, h))| {
                let (x, y) = (f64::from(x) * 50.0 + jitter * k as f64, f64::from(y) * 50.0);
                let (w, h) = (f64::from(w) * 50.0, f64::from(h) * 50.0 - jitter);
                field("f", &[(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
            })
            .collect();
        let shared = SharedSides::new(&fields, tolerance);
        for f in 0..fields.len() {
            for s in 0..4 {
                for n in shared.of(f, s) {
                    let back: Vec<_> = shared.of(n.field, n.side).filter(|m| (m.field, m.side) == (f, s)).collect();
                    prop_assert_eq!(back.len(), 1);
                    prop_assert_eq!((back[0].own, back[0].other), (n.other, n.own));
                    for (from, to) in [n.own, n.other] {
                        prop_assert!(from >= 0.0 && to <= 1.0 && from < to);
                    }
                }
            }
            let one = SharedSides::around(&fields, f, tolerance);
            let of_f: Vec<_> = shared.all().iter().filter(|s| s.first.0 == f || s.second.0 == f).copied().collect();
            let mut alone = one.all().to_vec();
            alone.sort_by_key(|s| (s.first, s.second));
            let mut of_all = of_f;
            of_all.sort_by_key(|s| (s.first, s.second));
            prop_assert_eq!(alone, of_all);
        }
    }

    #[test]
    fn what_is_painted_stays_sound_and_keeps_its_shape(ring in star(), shift in 0.2f64..0.8, side in 0usize..14) {
        // A neighbour whose west side is part of a side of the field and goes on beyond it.
        let own = of_ring("a", ring);
        let side = side % own.outer.len();
        let (a, b) = ring_side(&own.outer, side);
        let (along, out) = ((b - a) * shift, xy((b - a).y, -(b - a).x) * 0.3);
        let other = of_ring("b", vec![b + along, a + along, a + along + out, b + along + out]);
        let fields = [own, other];
        for (index, changed) in set_edge(&fields, 0, side, TREES, 0.5).unwrap() {
            prop_assert!(simple_by_brute_force(&changed.outer));
            prop_assert_eq!(changed.edges.len(), changed.outer.len());
            prop_assert!((changed.area_m2() - fields[index].area_m2()).abs() < 1e-3);
            let painted: f64 = (0..changed.outer.len())
                .filter(|i| changed.edges[*i] == TREES)
                .map(|i| ring_side(&changed.outer, i))
                .map(|(p, q)| p.distance(q))
                .sum();
            let expected = a.distance(b) * if index == 0 { 1.0 } else { 1.0 - shift };
            prop_assert!((painted - expected).abs() < 1.0, "{} {}", painted, expected);
        }
    }
}
