use super::super::corner::*;
use super::super::edge::merged;
use super::super::hole::*;
use super::super::place::{CornerRef, RingRef, SideRef};
use super::super::validity::{check, faults};
use super::*;
use crate::outline::OutlineError;

#[test]
fn both_halves_of_a_side_keep_what_stands_on_it() {
    let before = square("a", 0.0, 0.0);
    let after = insert_corner(&before, SideRef::outer(1), xy(120.0, 50.0)).unwrap();
    assert_eq!(after.outer[2], xy(120.0, 50.0));
    assert_eq!(heights(&after), [1.0, 2.0, 2.0, 3.0, 4.0]);
    // On the last side the new corner comes last.
    let after = insert_corner(&before, SideRef::outer(3), xy(-5.0, 50.0)).unwrap();
    assert_eq!(after.outer[4], xy(-5.0, 50.0));
    assert_eq!(heights(&after), [1.0, 2.0, 3.0, 4.0, 4.0]);
    assert_eq!(insert_corner(&before, SideRef::outer(4), xy(0.0, 50.0)), Err(OutlineError::Missing { what: "side" }));
}

#[test]
fn deleting_a_corner_keeps_what_stands_higher() {
    let pentagon = field("a", &[(0.0, 0.0), (100.0, 0.0), (120.0, 50.0), (100.0, 100.0), (0.0, 100.0)]);
    let after = delete_corner(&pentagon, CornerRef::outer(2)).unwrap();
    assert_eq!(heights(&after), [1.0, 3.0, 4.0, 5.0]);
    // The first corner joins the last side with the first.
    let after = delete_corner(&pentagon, CornerRef::outer(0)).unwrap();
    assert_eq!(after.outer[0], xy(100.0, 0.0));
    assert_eq!(heights(&after), [2.0, 3.0, 4.0, 5.0]);
    assert_eq!(edges_merged_at(&pentagon, 0).unwrap().lost, Some(hedge(1.0)));
    let triangle = field("t", &[(0.0, 0.0), (100.0, 0.0), (0.0, 100.0)]);
    let refused = delete_corner(&triangle, CornerRef::outer(1)).unwrap_err();
    assert_eq!(refused.to_string(), "the outline has 2 corners; it needs at least three");
}

#[test]
fn of_two_things_on_one_side_the_higher_stays_and_unknown_is_not_low() {
    let edge = |kind, height_m| BoundaryEdge { kind, height_m };
    let nothing = edge(EdgeKind::Nothing, None);
    let trees = edge(EdgeKind::TreeLine, None);
    assert_eq!(merged(nothing, hedge(2.0)).edge, hedge(2.0));
    assert_eq!(merged(hedge(2.0), nothing).lost, Some(nothing));
    // An unknown side counts as 8 m: more than a hedge, less than trees.
    assert_eq!(merged(hedge(2.0), BoundaryEdge::UNKNOWN).edge, BoundaryEdge::UNKNOWN);
    assert_eq!(merged(BoundaryEdge::UNKNOWN, trees).edge, trees);
    // Equally high: what is less certain.
    assert_eq!(merged(hedge(8.0), BoundaryEdge::UNKNOWN).edge, BoundaryEdge::UNKNOWN);
    assert_eq!(merged(edge(EdgeKind::Hedge, None), hedge(3.0)).edge, edge(EdgeKind::Hedge, None));
    assert_eq!(merged(hedge(2.0), hedge(2.0)).lost, None);
}

#[test]
fn a_corner_does_not_pass_through_the_opposite_side() {
    let a = square("a", 0.0, 0.0);
    assert!(matches!(move_corner(&a, CornerRef::outer(0), xy(150.0, 50.0)), Err(OutlineError::Crosses(_))));
    let triangle = field("t", &[(0.0, 0.0), (100.0, 0.0), (50.0, 50.0)]);
    // No two sides of a triangle can cross; it turns over instead.
    let refused = move_corner(&triangle, CornerRef::outer(2), xy(50.0, -50.0));
    assert_eq!(refused, Err(OutlineError::InsideOut { ring: RingRef::Outer }));
    let tiny = move_corner(&triangle, CornerRef::outer(2), xy(50.0, 0.01));
    assert!(matches!(tiny, Err(OutlineError::TooSmall { area_m2 }) if (area_m2 - 0.5).abs() < 1e-9));
    assert_eq!(move_corner(&a, CornerRef::outer(0), xy(f64::NAN, 0.0)), Err(OutlineError::NotAPlace));
    assert!(matches!(move_corner(&a, CornerRef::outer(1), xy(0.0, 0.0)), Err(OutlineError::ShortSide { .. })));
}

#[test]
fn holes_stay_inside_and_clear_of_each_other() {
    let a = square("a", 0.0, 0.0);
    let with = add_hole(&a, &[xy(40.0, 40.0), xy(60.0, 40.0), xy(60.0, 60.0), xy(40.0, 60.0)]).unwrap();
    assert_eq!(with.area_m2(), 9_600.0);
    assert!(ring_area(&with.holes[0]) < 0.0, "drawn anticlockwise, kept clockwise");
    assert!(matches!(add_hole(&a, &hole(200.0, 0.0)), Err(OutlineError::HoleOutside { hole: 0 })));
    assert!(matches!(add_hole(&with, &hole(50.0, 50.0)), Err(OutlineError::Crosses(_))));
    let small: Vec<Xy> = hole(0.0, 0.0).iter().map(|p| *p * 0.2 + xy(48.0, 48.0)).collect();
    assert_eq!(add_hole(&with, &small), Err(OutlineError::HolesOverlap { outer: 0, inner: 1 }));
    assert!(matches!(move_hole(&with, 0, xy(50.0, 0.0)), Err(OutlineError::Crosses(_))));
    assert_eq!(move_hole(&with, 0, xy(10.0, 0.0)).unwrap().holes[0][0].x, with.holes[0][0].x + 10.0);
    assert_eq!(delete_hole(&with, 0).unwrap(), a);
    assert_eq!(delete_hole(&a, 0), Err(OutlineError::Missing { what: "hole" }));
    let corner = CornerRef { ring: RingRef::Hole(0), corner: 0 };
    assert!(matches!(move_corner(&with, corner, xy(-5.0, 50.0)), Err(OutlineError::Crosses(_))));
}

#[test]
fn an_outline_drawn_clockwise_is_turned_with_its_edges() {
    let drawn = [xy(0.0, 0.0), xy(0.0, 100.0), xy(100.0, 100.0), xy(100.0, 0.0)];
    // West 1, north 2, east 3, south 4 metres high.
    let (outer, edges) = closed(&drawn, &[hedge(1.0), hedge(2.0), hedge(3.0), hedge(4.0)]).unwrap();
    assert_eq!(outer[0], xy(100.0, 0.0));
    assert_eq!(edges, [hedge(3.0), hedge(2.0), hedge(1.0), hedge(4.0)]);
    let (_, edges) = closed(&drawn, &[]).unwrap();
    assert_eq!(edges, [BoundaryEdge::UNKNOWN; 4]);
    assert!(matches!(closed(&drawn[..2], &[]), Err(OutlineError::TooFewCorners { .. })));
}

#[test]
fn a_crossed_outline_can_be_mended_but_not_made_worse() {
    let bow = field("a", &[(0.0, 0.0), (100.0, 100.0), (100.0, 0.0), (0.0, 100.0)]);
    assert!(check(&bow).is_err());
    let mended = move_corner(&bow, CornerRef::outer(1), xy(60.0, -30.0)).unwrap();
    assert!(check(&mended).is_ok(), "{:?}", faults(&mended));
    let pulled = move_outline(&bow, xy(5.0, 5.0)).unwrap();
    assert_eq!(faults(&pulled).len(), faults(&bow).len());
    assert!(insert_corner(&bow, SideRef::outer(1), xy(-50.0, 20.0)).is_err());
}

#[test]
fn an_edge_list_of_the_wrong_length_is_a_fault_and_mended_by_the_next_edit() {
    let short = Field { edges: vec![hedge(1.0)], ..square("a", 0.0, 0.0) };
    assert_eq!(check(&short), Err(OutlineError::EdgeCount { corners: 4, edges: 1 }));
    let moved = move_corner(&short, CornerRef::outer(0), xy(-10.0, 0.0)).unwrap();
    assert_eq!(heights(&moved), [1.0, -1.0, -1.0, -1.0]);
}

#[derive(Clone, Debug)]
enum Edit {
    Insert(usize, f64, f64),
    Move(usize, f64, f64),
    Delete(usize),
    Start(usize),
    Hole(f64, f64, f64),
    MoveHole(f64, f64),
}

fn edit() -> impl Strategy<Value = Edit> {
    let step = -80.0f64..80.0;
    prop_oneof![
        (0usize..14, step.clone(), step.clone()).prop_map(|(i, x, y)| Edit::Insert(i, x, y)),
        (0usize..14, step.clone(), step.clone()).prop_map(|(i, x, y)| Edit::Move(i, x, y)),
        (0usize..14).prop_map(Edit::Delete),
        (0usize..14).prop_map(Edit::Start),
        (step.clone(), step.clone(), 5.0f64..40.0).prop_map(|(x, y, size)| Edit::Hole(x, y, size)),
        (step.clone(), step).prop_map(|(x, y)| Edit::MoveHole(x, y)),
    ]
}

fn apply(field: &Field, edit: &Edit) -> Result<Field, OutlineError> {
    let n = field.outer.len();
    match *edit {
        Edit::Insert(i, x, y) => {
            let (a, b) = ring_side(&field.outer, i);
            insert_corner(field, SideRef::outer(i % n), (a + b) * 0.5 + xy(x, y))
        }
        Edit::Move(i, x, y) => move_corner(field, CornerRef::outer(i % n), field.outer[i % n] + xy(x, y)),
        Edit::Delete(i) => delete_corner(field, CornerRef::outer(i % n)),
        Edit::Start(i) => start_at(field, i % n),
        Edit::Hole(x, y, size) => {
            let at = field.centroid() + xy(x, y);
            add_hole(field, &[at, at + xy(size, 0.0), at + xy(0.0, size)])
        }
        Edit::MoveHole(x, y) => move_hole(field, 0, xy(x, y)),
    }
}

proptest! {
    #[test]
    fn every_accepted_edit_leaves_a_sound_field(ring in star(), edits in proptest::collection::vec(edit(), 1..8)) {
        let mut field = of_ring("a", ring);
        for edit in &edits {
            if let Ok(after) = apply(&field, edit) {
                prop_assert!(sound(&after), "{:?}", edit);
                field = after;
            }
        }
    }

    #[test]
    fn there_and_back_is_where_it_was(ring in star(), k in 0usize..14, dx in -60.0f64..60.0, dy in -60.0f64..60.0) {
        let before = of_ring("a", ring);
        let k = k % before.outer.len();
        if let Ok(moved) = move_corner(&before, CornerRef::outer(k), before.outer[k] + xy(dx, dy)) {
            prop_assert_eq!(move_corner(&moved, CornerRef::outer(k), before.outer[k]).unwrap(), before);
        }
    }

    #[test]
    fn a_corner_put_in_and_taken_out_leaves_the_field_as_it_was(ring in star(), k in 0usize..14, along in 0.1f64..0.9) {
        let before = of_ring("a", ring);
        let k = k % before.outer.len();
        let (a, b) = ring_side(&before.outer, k);
        let with = insert_corner(&before, SideRef::outer(k), a + (b - a) * along).unwrap();
        prop_assert_eq!(delete_corner(&with, CornerRef::outer(k + 1)).unwrap(), before);
    }

    #[test]
    fn where_a_ring_starts_changes_nothing_else(ring in star(), k in 0usize..14) {
        let before = of_ring("a", ring);
        let n = before.outer.len();
        let turned = start_at(&before, k % n).unwrap();
        prop_assert_eq!(turned.outer[0], before.outer[k % n]);
        prop_assert_eq!(turned.edges[0], before.edges[k % n]);
        prop_assert_eq!(start_at(&turned, (n - k % n) % n).unwrap(), before);
    }
}
