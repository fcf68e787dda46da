use super::super::guide::{Guide, guided};
use super::super::index::{OutlineIndex, Owner};
use super::super::measure::{measure, provisional_strip};
use super::super::pick::{Hit, Hold};
use super::super::place::{CornerRef, RingRef, SideRef};
use super::super::snap::Target;
use super::*;
use crate::fields::strip::Scratch;
use std::sync::Arc;

fn index() -> OutlineIndex<Arc<Field>> {
    let fields = [square("a", 0.0, 0.0), square("b", 200.0, 0.0)];
    let with_hole = Field { holes: vec![hole(40.0, 40.0)], ..fields[0].clone() };
    let wires = vec![xy(0.0, 300.0), xy(100.0, 300.0), xy(200.0, 350.0)];
    OutlineIndex::new(vec![Arc::new(with_hole), Arc::new(fields[1].clone())], vec![wires])
}

fn corner_of(field: usize, corner: usize) -> Target {
    Target::Corner { owner: Owner::Field(field), corner: CornerRef::outer(corner) }
}

#[test]
fn a_corner_within_reach_comes_before_a_nearer_side() {
    let index = index();
    let all = |_: &Target| false;
    let snap = index.snap(xy(97.0, 1.0), 5.0, all).unwrap();
    assert_eq!((snap.at, snap.target), (xy(100.0, 0.0), corner_of(0, 1)));
    let snap = index.snap(xy(90.0, 1.0), 5.0, all).unwrap();
    assert_eq!((snap.at, snap.distance_m), (xy(90.0, 0.0), 1.0));
    assert_eq!(snap.target, Target::Side { owner: Owner::Field(0), side: SideRef::outer(0), along: 0.9 });
    assert_eq!(index.snap(xy(150.0, 50.0), 5.0, all), None);
    assert_eq!(index.snap(xy(f64::NAN, 0.0), 5.0, all), None);
    assert_eq!(index.snap(xy(0.0, 0.0), f64::INFINITY, all), None);
    // The corner in hand does not hold itself.
    let snap = index.snap(xy(97.0, 1.0), 5.0, |t| t.owner() == Owner::Field(0));
    assert_eq!(snap, None);
    // Holes and hazard lines attract as well; a line has no side from its end to its start.
    let snap = index.snap(xy(41.0, 41.0), 5.0, all).unwrap();
    assert_eq!(
        snap.target,
        Target::Corner { owner: Owner::Field(0), corner: CornerRef { ring: RingRef::Hole(0), corner: 0 } }
    );
    assert_eq!(index.snap(xy(50.0, 303.0), 5.0, all).unwrap().at, xy(50.0, 300.0));
    assert_eq!(index.snap(xy(100.0, 325.0), 5.0, all), None);
}

#[test]
fn a_shared_boundary_is_followed_the_shorter_way() {
    let index = index();
    let side = |side, along| Target::Side { owner: Owner::Field(0), side: SideRef::outer(side), along };
    assert_eq!(index.follow(&side(0, 0.5), &side(1, 0.5)).unwrap(), [xy(100.0, 0.0)]);
    assert_eq!(index.follow(&side(1, 0.5), &side(0, 0.5)).unwrap(), [xy(100.0, 0.0)]);
    assert_eq!(index.follow(&side(0, 0.1), &side(2, 0.9)).unwrap(), [xy(0.0, 0.0), xy(0.0, 100.0)]);
    assert!(index.follow(&side(0, 0.2), &side(0, 0.7)).unwrap().is_empty());
    assert_eq!(index.follow(&corner_of(0, 0), &corner_of(0, 2)).unwrap(), [xy(100.0, 0.0)]);
    assert_eq!(index.follow(&corner_of(0, 3), &side(0, 0.5)).unwrap(), [xy(0.0, 0.0)]);
    assert!(index.follow(&corner_of(0, 3), &corner_of(0, 0)).unwrap().is_empty());
    assert_eq!(index.follow(&corner_of(0, 0), &corner_of(1, 0)), None);
    assert_eq!(index.follow(&corner_of(0, 9), &corner_of(0, 0)), None);
    let wire = |side, along| Target::Side { owner: Owner::Line(0), side: SideRef::outer(side), along };
    assert_eq!(index.follow(&wire(1, 0.5), &wire(0, 0.5)).unwrap(), [xy(100.0, 300.0)]);
}

#[test]
fn what_lies_under_the_pointer() {
    let index = index();
    assert_eq!(index.hit(xy(99.0, 99.0), 3.0, None), Some(Hit::Corner { field: 0, corner: CornerRef::outer(2) }));
    assert_eq!(index.hit(xy(50.0, -2.0), 3.0, None), Some(Hit::Side { field: 0, side: SideRef::outer(0), along: 0.5 }));
    assert_eq!(index.hit(xy(20.0, 20.0), 3.0, None), Some(Hit::Field { field: 0 }));
    assert_eq!(index.hit(xy(50.0, 50.0), 3.0, None), Some(Hit::Hole { field: 0, hole: 0 }));
    assert_eq!(index.hit(xy(50.0, 303.0), 5.0, None), None, "lines are picked elsewhere");
    assert_eq!(index.hit(xy(20.0, 20.0), 3.0, Some(1)), None);
    assert_eq!(index.fields_at(xy(250.0, 50.0)), [1]);
    assert!(index.fields_at(xy(50.0, 50.0)).is_empty());
}

#[test]
fn a_lasso_takes_whole_fields_or_parts() {
    let index = index();
    let lasso = [xy(-10.0, -10.0), xy(250.0, -10.0), xy(250.0, 110.0), xy(-10.0, 110.0)];
    assert_eq!(index.in_lasso(&lasso, Hold::Whole), [0]);
    assert_eq!(index.in_lasso(&lasso, Hold::Part), [0, 1]);
    assert_eq!(index.in_box(xy(10.0, 10.0), xy(5.0, 5.0), Hold::Part), [0], "a box inside a field");
    assert!(index.in_box(xy(45.0, 45.0), xy(55.0, 55.0), Hold::Part).is_empty(), "a box inside a hole");
    assert!(index.in_lasso(&[xy(f64::NAN, 0.0); 3], Hold::Part).is_empty());
}

#[test]
fn the_index_follows_edits() {
    let mut index = index();
    index.replace(0, Arc::new(square("a", 1_000.0, 0.0)));
    assert!(index.fields_at(xy(20.0, 20.0)).is_empty());
    assert_eq!(index.fields_at(xy(1_020.0, 20.0)), [0]);
    index.push(Arc::new(square("c", 0.0, 0.0)));
    assert_eq!(index.fields_at(xy(20.0, 20.0)), [2]);
    index.replace(0, Arc::new(square("a", f64::NAN, 0.0)));
    assert!(index.fields_at(xy(1_020.0, 20.0)).is_empty());
}

#[test]
fn guides_lead_straight_on_and_round_the_square() {
    let chain = [xy(0.0, 0.0), xy(100.0, 0.0)];
    let found = guided(&chain, xy(150.0, 2.0), 5.0).unwrap();
    assert_eq!((found.at, found.guide, found.distance_m), (xy(150.0, 0.0), Guide::Straight, 2.0));
    assert_eq!(guided(&chain, xy(101.0, 60.0), 5.0).unwrap().at, xy(100.0, 60.0));
    assert_eq!(guided(&chain, xy(150.0, 60.0), 5.0), None);
    assert_eq!(guided(&chain, xy(50.0, 1.0), 5.0), None, "not back over the last side");
    let chain = [xy(0.0, 0.0), xy(100.0, 0.0), xy(100.0, 60.0)];
    let found = guided(&chain, xy(2.0, 61.0), 5.0).unwrap();
    assert_eq!(found.guide, Guide::ClosesSquare);
    assert!(found.at.distance(xy(0.0, 60.0)) < 1e-9);
    assert_eq!(guided(&chain[..1], xy(2.0, 61.0), 5.0), None);
    assert_eq!(guided(&chain, xy(f64::NAN, 61.0), 5.0), None);
}

#[test]
fn measures_of_a_rectangle_and_of_an_open_chain() {
    // Drawn clockwise: 40 m north, 30 m east.
    let ring = [xy(0.0, 0.0), xy(0.0, 40.0), xy(30.0, 40.0), xy(30.0, 0.0)];
    let all = measure(&ring, true).unwrap();
    assert_eq!((all.area_m2, all.perimeter_m), (1_200.0, 140.0));
    assert_eq!(
        all.sides.iter().map(|s| s.bearing.unwrap().deg().round()).collect::<Vec<_>>(),
        [0.0, 90.0, 180.0, 270.0]
    );
    assert!(all.interior_rad.iter().all(|a| (a.unwrap() - math::FRAC_PI_2).abs() < 1e-12));
    let open = measure(&ring, false).unwrap();
    assert_eq!((open.area_m2, open.perimeter_m, open.sides.len()), (1_200.0, 110.0, 3));
    assert_eq!((open.interior_rad[0], open.interior_rad[3]), (None, None));
    // A notch has an angle of more than half a turn on the inside.
    let notch = [xy(0.0, 0.0), xy(10.0, 0.0), xy(10.0, 10.0), xy(5.0, 5.0), xy(0.0, 10.0)];
    assert!((measure(&notch, true).unwrap().interior_rad[3].unwrap() - 1.5 * math::PI).abs() < 1e-12);
    assert_eq!(measure(&[xy(f64::NAN, 0.0)], true), None);
    assert_eq!(measure(&[], true).unwrap().sides.len(), 0);
    let same = measure(&[xy(1.0, 1.0), xy(1.0, 1.0)], false).unwrap();
    assert_eq!((same.sides[0].bearing, same.sides[0].length_m), (None, 0.0));
}

#[test]
fn an_unfinished_outline_already_has_a_longest_strip() {
    let mut scratch = Scratch::default();
    let chain = [xy(0.0, 0.0), xy(300.0, 0.0), xy(300.0, 50.0), xy(0.0, 50.0)];
    let strip = provisional_strip(&chain, &[], &[], 50.0, &mut scratch).unwrap();
    assert!((strip.length_m - 300.0).abs() < 1e-6);
    assert_eq!(provisional_strip(&chain[..2], &[], &[], 20.0, &mut scratch), None);
    let bow = [xy(0.0, 0.0), xy(300.0, 300.0), xy(300.0, 0.0), xy(0.0, 300.0)];
    assert_eq!(provisional_strip(&bow, &[], &[], 20.0, &mut scratch), None);
}

proptest! {
    #[test]
    fn snapping_agrees_with_looking_at_everything(
        rings in proptest::collection::vec((star(), -500.0f64..500.0, -500.0f64..500.0), 1..6),
        at in (-700.0f64..700.0, -700.0f64..700.0), radius in 1.0f64..120.0,
    ) {
        let point = xy(500_000.0 + at.0, 4_200_000.0 + at.1);
        let fields: Vec<Field> = rings
            .into_iter()
            .map(|(ring, x, y)| of_ring("a", ring.into_iter().map(|p| p + xy(x, y)).collect()))
            .collect();
        let corner = fields.iter().flat_map(|f| &f.outer).map(|p| p.distance(point)).fold(f64::INFINITY, f64::min);
        let side = fields
            .iter()
            .flat_map(|f| (0..f.outer.len()).map(|i| ring_side(&f.outer, i)))
            .map(|(a, b)| to_side(point, a, b))
            .fold(f64::INFINITY, f64::min);
        let found = OutlineIndex::new(fields, vec![]).snap(point, radius, |_| false);
        match found {
            Some(snap) => {
                let is_corner = matches!(snap.target, Target::Corner { .. });
                prop_assert_eq!(is_corner, corner <= radius);
                let expected = if is_corner { corner } else { side };
                prop_assert!((snap.distance_m - expected).abs() < 1e-6);
                prop_assert!((snap.at.distance(point) - snap.distance_m).abs() < 1e-9);
            }
            None => prop_assert!(side > radius - 1e-6),
        }
    }
}
