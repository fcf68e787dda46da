use super::super::crossing::*;
use super::super::place::{CornerRef, RingRef, SideRef};
use super::*;
use crate::outline::OutlineError;

fn crossing(result: Result<(), OutlineError>) -> Crossing {
    match result.unwrap_err() {
        OutlineError::Crosses(crossing) => crossing,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_bow_tie_crosses_in_its_middle() {
    let bow = [xy(0.0, 0.0), xy(10.0, 10.0), xy(10.0, 0.0), xy(0.0, 10.0)];
    let found = crossing(check_rings(&bow, &[]));
    assert_eq!(found.at, xy(5.0, 5.0));
    assert_eq!((found.first, found.second), (SideRef::outer(0), SideRef::outer(2)));
    assert_eq!(found.meeting, Meeting::Cross);
    assert_eq!(
        check_rings(&bow, &[]).unwrap_err().to_string(),
        "the outline crosses itself; move or delete a corner there"
    );
}

#[test]
fn the_next_corner_is_refused_where_its_side_would_cross() {
    let chain = [xy(0.0, 0.0), xy(10.0, 0.0), xy(10.0, 10.0), xy(5.0, 10.0)];
    assert_eq!(check_next(&chain, xy(5.0, 1.0)), Ok(()));
    let found = crossing(check_next(&chain, xy(5.0, -5.0)));
    assert_eq!((found.at, found.first, found.second), (xy(5.0, 0.0), SideRef::outer(0), SideRef::outer(3)));
    // Half a millimetre short of the first side is a touch; back over the last side as well.
    assert_eq!(crossing(check_next(&chain, xy(5.0, 0.0005))).meeting, Meeting::Touch);
    assert_eq!(crossing(check_next(&chain, xy(8.0, 10.0))).second, SideRef::outer(3));
    assert!(matches!(check_next(&chain, xy(5.0, 10.0)), Err(OutlineError::ShortSide { .. })));
    assert_eq!(check_next(&chain, xy(f64::NAN, 0.0)), Err(OutlineError::NotAPlace));
    assert_eq!(check_next(&chain, xy(f64::INFINITY, 0.0)), Err(OutlineError::NotAPlace));
    assert_eq!(check_next(&[], xy(1.0, 2.0)), Ok(()));
}

#[test]
fn the_closing_side_may_cross_as_well() {
    let hook = [xy(0.0, 0.0), xy(10.0, 0.0), xy(10.0, 10.0), xy(5.0, 10.0), xy(5.0, 2.0), xy(20.0, 2.0)];
    assert_eq!(crossing(check_chain(&hook)).at, xy(10.0, 2.0));
    let open = [xy(0.0, 0.0), xy(10.0, 0.0), xy(10.0, 10.0), xy(5.0, 2.0), xy(4.0, 20.0)];
    assert_eq!(check_closing(&open), Ok(()));
    let shut_in =
        [xy(0.0, 0.0), xy(10.0, 0.0), xy(10.0, 10.0), xy(-5.0, 10.0), xy(-5.0, -5.0), xy(5.0, -5.0), xy(5.0, 20.0)];
    assert!(check_chain(&shut_in).is_err());
    assert!(matches!(check_closing(&open[..2]), Err(OutlineError::TooFewCorners { corners: 2, .. })));
}

#[test]
fn a_hole_through_the_outline_is_a_crossing_between_the_two() {
    let ring = square("a", 0.0, 0.0).outer;
    assert_eq!(check_rings(&ring, &[hole(40.0, 40.0)]), Ok(()));
    let found = crossing(check_rings(&ring, &[hole(90.0, 40.0)]));
    assert_eq!((found.first.ring, found.second.ring), (RingRef::Outer, RingRef::Hole(0)));
    assert_eq!(
        check_rings(&ring, &[hole(90.0, 40.0)]).unwrap_err().to_string(),
        "the outline crosses hole 1; move or delete a corner there"
    );
    assert!(check_moved_corner(&ring, &[hole(40.0, 40.0)], CornerRef::outer(2), xy(50.0, 50.0)).is_err());
    assert_eq!(check_moved_corner(&ring, &[hole(40.0, 40.0)], CornerRef::outer(2), xy(70.0, 70.0)), Ok(()));
}

/// Closed rings of random corners: most cross themselves somewhere.
fn tangle() -> impl Strategy<Value = Vec<Xy>> {
    // A coarse grid makes corners on sides, equal corners and sides on sides common.
    proptest::collection::vec((-6i32..6, -6i32..6), 4..9)
        .prop_map(|list| list.into_iter().map(|(x, y)| xy(f64::from(x), f64::from(y))).collect())
}

proptest! {
    #[test]
    fn agrees_with_comparing_every_side_with_every_other(ring in tangle()) {
        prop_assert_eq!(check_rings(&ring, &[]).is_ok(), simple_by_brute_force(&ring));
    }

    #[test]
    fn corner_by_corner_is_as_strict_as_the_whole(ring in tangle()) {
        let mut verdict = Ok(());
        for k in 1..ring.len() {
            verdict = verdict.and_then(|()| check_next(&ring[..k], ring[k]));
        }
        verdict = verdict.and_then(|()| check_closing(&ring));
        prop_assert_eq!(verdict.is_ok(), check_rings(&ring, &[]).is_ok());
    }

    #[test]
    fn a_moved_corner_is_judged_as_the_whole_ring(ring in star(), k in 0usize..14, dx in -400.0f64..400.0, dy in -400.0f64..400.0) {
        let k = k % ring.len();
        let to = ring[k] + xy(dx, dy);
        let mut moved = ring.clone();
        moved[k] = to;
        let quick = check_moved_corner(&ring, &[], CornerRef::outer(k), to);
        prop_assert_eq!(quick.is_ok(), check_rings(&moved, &[]).is_ok());
        prop_assert_eq!(quick.is_ok(), simple_by_brute_force(&moved));
    }
}
