//! Whatever is put in, nothing panics, and what is no number is never called sound.

use super::super::corner::{closed, delete_corner, insert_corner, move_corner, move_outline, start_at};
use super::super::crossing::{check_chain, check_moved_corner, check_rings};
use super::super::cut::cut;
use super::super::finding::{FindingOptions, findings, overlap};
use super::super::guide::guided;
use super::super::hole::{add_hole, delete_hole, move_hole};
use super::super::index::OutlineIndex;
use super::super::join::join;
use super::super::measure::measure;
use super::super::paint::{set_edge, sides_between};
use super::super::pick::Hold;
use super::super::place::{CornerRef, RingRef, SideRef};
use super::super::shared::{SharedSides, match_corners, move_shared_corner};
use super::super::validity::check;
use super::*;

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => (-5i32..5).prop_map(f64::from),
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(-f64::INFINITY),
        1 => Just(f64::MAX),
        1 => Just(f64::MIN_POSITIVE),
        1 => Just(1e8),
    ]
}

fn points(most: usize) -> impl Strategy<Value = Vec<Xy>> {
    let place = prop_oneof![
        3 => (-5i32..5, -5i32..5).prop_map(|(x, y)| xy(f64::from(x), f64::from(y))),
        1 => (number(), number()).prop_map(|(x, y)| xy(x, y)),
    ];
    proptest::collection::vec(place, 0..most)
}

fn any_field() -> impl Strategy<Value = Field> {
    (points(7), proptest::collection::vec(points(5), 0..3), 0usize..7).prop_map(|(outer, holes, edges)| Field {
        holes,
        edges: vec![hedge(1.0); edges],
        ..of_ring("x", outer)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1024))]
    #[test]
    fn nothing_panics(
        fields in proptest::collection::vec(any_field(), 1..4), line in points(6), k in 0usize..8, r in number(),
    ) {
        let (a, b) = (&fields[0], &fields[fields.len() - 1]);
        let p = line.first().copied().unwrap_or_default();
        let by = xy(r, 1.0);
        let results = [
            insert_corner(a, SideRef::outer(k), p),
            insert_corner(a, SideRef { ring: RingRef::Hole(0), side: k }, p),
            move_corner(a, CornerRef::outer(k), p),
            move_corner(a, CornerRef { ring: RingRef::Hole(k), corner: 0 }, p),
            delete_corner(a, CornerRef::outer(k)),
            move_outline(a, by),
            start_at(a, k),
            add_hole(a, &line),
            move_hole(a, k, by),
            delete_hole(a, k),
            join(a, b, r),
        ];
        let bad = |f: &Field| f.outer.iter().chain(f.holes.iter().flatten()).any(|p| !(p.x.is_finite() && p.y.is_finite()));
        if !bad(a) && check(a).is_ok() {
            for after in results.into_iter().flatten() {
                prop_assert!(!bad(&after) && check(&after).is_ok());
            }
        }
        prop_assert!(!(bad(a) && check(a).is_ok()));
        if let Ok(parts) = cut(a, &line, hedge(1.0), ["l".into(), "r".into()]) {
            prop_assert!(parts.iter().all(|p| check(p).is_ok()));
        }
        let nan = line.iter().any(|p| !(p.x.is_finite() && p.y.is_finite()));
        prop_assert!(!nan || (check_chain(&line).is_err() && check_rings(&line, &[]).is_err()));
        let _ = (check_moved_corner(&a.outer, &a.holes, CornerRef::outer(k), p), closed(&line, &a.edges), overlap(a, b));
        let _ = (measure(&line, true), measure(&line, false), guided(&line, p, r), sides_between(&line, k, 1));
        let _ = findings(&fields, &FindingOptions { strip_width_m: r, gap_m: r, ..FindingOptions::default() });
        let _ = (set_edge(&fields, 0, k, hedge(1.0), r), SharedSides::new(&fields, r), match_corners(&fields, 0, r));
        let _ = move_shared_corner(&fields, 0, CornerRef::outer(k), p, r);
        let index = OutlineIndex::new(fields.clone(), vec![line.clone()]);
        let snap = index.snap(p, r, |_| false);
        let other = index.snap(by, 3.0, |_| false);
        if let (Some(s), Some(t)) = (snap, other) {
            let _ = index.follow(&s.target, &t.target);
        }
        let _ = (index.hit(p, r, None), index.in_lasso(&line, Hold::Part), index.in_box(p, by, Hold::Whole));
    }
}
