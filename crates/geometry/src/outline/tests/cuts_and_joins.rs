use super::super::cut::cut;
use super::super::error::{CutFault, JoinFault};
use super::super::join::join;
use super::*;
use crate::fields::model::Day;
use crate::outline::OutlineError;

const NEW: BoundaryEdge = BoundaryEdge { kind: EdgeKind::Fence, height_m: Some(1.0) };

fn ids() -> [String; 2] {
    ["left".into(), "right".into()]
}

fn refusal(result: Result<[Field; 2], OutlineError>) -> CutFault {
    match result.unwrap_err() {
        OutlineError::Cut(fault) => fault,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_square_cut_from_south_to_north() {
    let [left, right] = cut(&square("a", 0.0, 0.0), &[xy(30.0, -10.0), xy(30.0, 110.0)], NEW, ids()).unwrap();
    assert_eq!((left.id.as_str(), left.area_m2()), ("left", 3_000.0));
    assert_eq!((right.id.as_str(), right.area_m2()), ("right", 7_000.0));
    assert_eq!(left.outer, [xy(30.0, 0.0), xy(30.0, 100.0), xy(0.0, 100.0), xy(0.0, 0.0)]);
    assert_eq!(heights(&left), [1.0, 3.0, 4.0, 1.0]);
    assert_eq!(left.edges[0], NEW);
    assert_eq!(right.outer, [xy(30.0, 100.0), xy(30.0, 0.0), xy(100.0, 0.0), xy(100.0, 100.0)]);
    assert_eq!(right.edges[0], NEW);
    assert_eq!(heights(&right)[1..], [1.0, 2.0, 3.0]);
}

#[test]
fn a_cut_may_turn_go_through_corners_and_return_to_its_side() {
    let a = square("a", 0.0, 0.0);
    // From corner to corner, ends exactly there.
    let [left, right] = cut(&a, &[xy(0.0, 0.0), xy(100.0, 100.0)], NEW, ids()).unwrap();
    assert_eq!((left.outer.len(), right.outer.len()), (3, 3));
    assert_eq!((left.area_m2(), right.area_m2()), (5_000.0, 5_000.0));
    assert_eq!(heights(&left), [1.0, 3.0, 4.0]);
    assert_eq!(heights(&right), [1.0, 1.0, 2.0]);
    // In and out through the south side: a bay is cut out, to the right of the line drawn from west to east.
    let bay = [xy(20.0, -5.0), xy(20.0, 40.0), xy(60.0, 40.0), xy(60.0, -5.0)];
    let [left, right] = cut(&a, &bay, NEW, ids()).unwrap();
    assert_eq!((left.area_m2(), right.area_m2()), (8_400.0, 1_600.0));
    assert_eq!(heights(&right), [1.0, 1.0, 1.0, 1.0]);
    assert_eq!(left.outer.len(), 8);
    assert_eq!(left.edges.iter().filter(|e| **e == NEW).count(), 3);
    // Drawn the other way round, left and right change places.
    let back: Vec<Xy> = bay.iter().rev().copied().collect();
    assert_eq!(cut(&a, &back, NEW, ids()).unwrap()[0].area_m2(), 1_600.0);
}

#[test]
fn holes_go_with_their_part_and_a_hole_that_is_cut_becomes_boundary() {
    let with = Field { holes: vec![hole(10.0, 10.0), hole(40.0, 40.0), hole(70.0, 70.0)], ..square("a", 0.0, 0.0) };
    let [left, right] = cut(&with, &[xy(50.0, -1.0), xy(50.0, 101.0)], NEW, ids()).unwrap();
    assert_eq!((left.holes.clone(), right.holes.clone()), (vec![hole(10.0, 10.0)], vec![hole(70.0, 70.0)]));
    // Half of the middle hole is missing from each.
    assert_eq!((left.area_m2(), right.area_m2()), (5_000.0 - 400.0 - 200.0, 5_000.0 - 400.0 - 200.0));
    assert_eq!(left.outer.len(), 8);
    assert_eq!(left.edges.iter().filter(|e| **e == NEW).count(), 2);
    assert_eq!(left.edges.iter().filter(|e| **e == BoundaryEdge::UNKNOWN).count(), 3);
    assert!(sound(&left) && sound(&right));
    // A line that bends inside the hole does not show the bend.
    let bent = cut(&with, &[xy(50.0, -1.0), xy(50.0, 50.0), xy(101.0, 50.0)], NEW, ids()).unwrap();
    assert!(bent.iter().all(|f| sound(f) && !f.outer.contains(&xy(50.0, 50.0))));
    // To the right of the line: the south-east quarter less a quarter of the hole in the middle.
    assert_eq!(bent[1].area_m2(), 2_500.0 - 100.0);
    // Along a side of a hole it is not said which part the hole belongs to.
    let along = cut(&with, &[xy(40.0, -1.0), xy(40.0, 101.0)], NEW, ids());
    assert_eq!(refusal(along), CutFault::Hole { hole: 1 });
}

#[test]
fn lines_that_do_not_cut_in_two_are_refused() {
    let a = square("a", 0.0, 0.0);
    let cut = |line: &[Xy]| cut(&a, line, NEW, ids());
    assert_eq!(refusal(cut(&[])), CutFault::Misses);
    assert_eq!(refusal(cut(&[xy(200.0, 0.0), xy(200.0, 100.0)])), CutFault::Misses);
    assert_eq!(refusal(cut(&[xy(-10.0, 0.0), xy(110.0, 0.0)])), CutFault::Misses);
    assert_eq!(refusal(cut(&[xy(-10.0, 10.0), xy(10.0, -10.0), xy(-20.0, -30.0)])), CutFault::Misses);
    assert_eq!(refusal(cut(&[xy(50.0, -10.0), xy(50.0, 50.0)])), CutFault::EndsInside);
    let twice = [xy(20.0, -10.0), xy(20.0, 110.0), xy(60.0, 110.0), xy(60.0, -10.0)];
    assert_eq!(refusal(cut(&twice)), CutFault::MoreThanOnce);
    let loops = [xy(20.0, -10.0), xy(20.0, 60.0), xy(60.0, 60.0), xy(60.0, 30.0), xy(10.0, 30.0), xy(10.0, 110.0)];
    assert!(matches!(cut(&loops), Err(OutlineError::Crosses(_))));
    assert_eq!(cut(&[xy(f64::NAN, 0.0), xy(0.0, 1.0)]), Err(OutlineError::NotAPlace));
}

#[test]
fn neighbours_become_one_without_what_stood_between_them() {
    let (a, b) = (square("a", 0.0, 0.0), square("b", 100.0, 0.0));
    let joined = join(&a, &b, 0.0).unwrap();
    assert_eq!((joined.id.as_str(), joined.area_m2()), ("a", 20_000.0));
    // Along the south the hedges are equally high on both halves, and along the north as well: no corner is left there.
    assert_eq!(joined.outer, [xy(0.0, 0.0), xy(200.0, 0.0), xy(200.0, 100.0), xy(0.0, 100.0)]);
    assert_eq!(heights(&joined), [1.0, 2.0, 3.0, 4.0]);
    // Where they differ the corner stays.
    let low = Field { edges: vec![hedge(0.5); 4], surface: Surface::Ploughed, ..b };
    let joined = join(&a, &low, 0.0).unwrap();
    assert_eq!(joined.outer.len(), 6);
    assert_eq!(heights(&joined), [1.0, 0.5, 0.5, 0.5, 3.0, 4.0]);
    assert_eq!(joined.surface, Surface::Unknown, "half stubble, half ploughed is not known to be either");
}

#[test]
fn a_gap_up_to_the_distance_is_closed() {
    let (a, b) = (square("a", 0.0, 0.0), square("b", 101.0, 0.0));
    let joined = join(&a, &b, 2.0).unwrap();
    assert_eq!(joined.area_m2(), 20_100.0);
    assert!(sound(&joined));
    match join(&a, &b, 0.5).unwrap_err() {
        OutlineError::Join(fault) => {
            assert_eq!(fault, JoinFault::Apart { gap_m: 1.0 });
            assert!(fault.to_string().starts_with("the fields share no side (they are 1.0 m apart)"));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(join(&a, &b, f64::NAN), Err(JoinFault::NotALength.into()));
    // At one corner only.
    assert!(matches!(join(&a, &square("c", 100.0, 100.0), 0.5), Err(OutlineError::Join(JoinFault::Apart { .. }))));
}

#[test]
fn a_boundary_that_ends_in_the_middle_of_a_side_is_joined_there() {
    let a = square("a", 0.0, 0.0);
    let b = field("b", &[(100.3, 30.0), (150.0, 30.0), (150.0, 60.0), (100.2, 60.0)]);
    let joined = join(&a, &b, 0.5).unwrap();
    assert!(sound(&joined));
    // The gap is closed by moving the smaller field's corners: 30 m × 50 m of it.
    assert!((joined.area_m2() - 11_500.0).abs() < 1e-9, "{}", joined.area_m2());
    assert_eq!(heights(&joined), [1.0, 2.0, 1.0, 2.0, 3.0, 2.0, 3.0, 4.0]);
}

#[test]
fn fields_around_a_pond_keep_it_as_a_hole_and_one_in_a_hole_fills_it() {
    let u = field(
        "u",
        &[(0.0, 0.0), (90.0, 0.0), (90.0, 30.0), (30.0, 30.0), (30.0, 60.0), (90.0, 60.0), (90.0, 90.0), (0.0, 90.0)],
    );
    let lid = field("l", &[(90.0, 0.0), (120.0, 0.0), (120.0, 90.0), (90.0, 90.0)]);
    let joined = join(&u, &lid, 0.0).unwrap();
    assert_eq!(joined.holes.len(), 1);
    assert_eq!(joined.area_m2(), 120.0 * 90.0 - 60.0 * 30.0);
    assert!(sound(&joined));
    let pond = field("p", &[(30.0, 30.0), (90.0, 30.0), (90.0, 60.0), (30.0, 60.0)]);
    let filled = join(&joined, &pond, 0.0).unwrap();
    assert!(filled.holes.is_empty());
    assert_eq!(filled.area_m2(), 120.0 * 90.0);
    // A small building beside the boundary is no gap.
    let built = Field { holes: vec![hole(95.0, 40.0)], ..lid };
    assert_eq!(join(&u, &built, 5.0).unwrap().holes.len(), 2);
}

#[test]
fn fields_over_each_other_become_the_ground_of_both() {
    let (a, b) = (square("a", 0.0, 0.0), square("b", 50.0, 30.0));
    let joined = join(&a, &b, 1.0).unwrap();
    assert!(sound(&joined));
    assert_eq!((joined.area_m2(), joined.holes.len()), (20_000.0 - 50.0 * 70.0, 0));
    // Sides keep what stood on them, also the pieces that are left of them; heights 1 to 4 from the south round.
    let south = joined.outer.iter().position(|p| *p == xy(0.0, 0.0)).unwrap();
    let joined = super::super::corner::start_at(&joined, south).unwrap();
    assert_eq!(
        joined.outer,
        [
            xy(0.0, 0.0),
            xy(100.0, 0.0),
            xy(100.0, 30.0),
            xy(150.0, 30.0),
            xy(150.0, 130.0),
            xy(50.0, 130.0),
            xy(50.0, 100.0),
            xy(0.0, 100.0)
        ]
    );
    assert_eq!(heights(&joined), [1.0, 2.0, 1.0, 2.0, 3.0, 4.0, 3.0, 4.0]);
    // One within the other, and one drawn twice.
    let inner = field("i", &[(20.0, 20.0), (40.0, 20.0), (40.0, 40.0), (20.0, 40.0)]);
    assert_eq!(join(&a, &inner, 1.0).unwrap().outer, a.outer);
    assert_eq!(join(&inner, &a, 1.0).unwrap().area_m2(), 10_000.0);
    assert_eq!(join(&a, &a, 1.0).unwrap().outer, a.outer);
    // A plus sign; and a field over half of another's hole leaves the other half.
    let (bar, beam) = (
        field("bar", &[(0.0, 40.0), (100.0, 40.0), (100.0, 60.0), (0.0, 60.0)]),
        field("beam", &[(40.0, 0.0), (60.0, 0.0), (60.0, 100.0), (40.0, 100.0)]),
    );
    let plus = join(&bar, &beam, 1.0).unwrap();
    assert_eq!((plus.outer.len(), plus.area_m2()), (12, 3_600.0));
    let holed = Field { holes: vec![hole(40.0, 40.0)], ..a };
    let over = field("o", &[(30.0, 50.0), (70.0, 50.0), (70.0, 90.0), (30.0, 90.0)]);
    let half = join(&holed, &over, 1.0).unwrap();
    assert_eq!((half.holes.len(), half.area_m2()), (1, 10_000.0 - 200.0));
    assert!(sound(&half));
}

#[test]
fn what_is_said_of_the_whole_holds_for_both_parts() {
    let day = |days_since_epoch| Some(Day { days_since_epoch });
    let (mut a, mut b) = (square("a", 0.0, 0.0), square("b", 100.0, 0.0));
    (a.surveyed, a.stock_seen, a.stock) = (day(20_000), day(20_100), Stock::None);
    (b.surveyed, b.stock) = (day(20_050), Stock::None);
    a.calendar.months = [Some(Surface::Stubble); 12];
    b.calendar.months = [Some(Surface::Stubble); 12];
    b.calendar.months[4] = Some(Surface::TallCrop);
    (a.calendar.crop, b.calendar.crop) = ("wheat".into(), "maize".into());
    a.remarks.permission = "granted".into();
    b.remarks.hazards = "a ditch along the north".into();
    (a.remarks.photographs, b.remarks.photographs) = (vec!["gate.jpg".into()], vec!["ditch.jpg".into()]);
    b.name = "Far Ley".into();
    let joined = join(&a, &b, 0.0).unwrap();
    assert_eq!((joined.surveyed, joined.stock, joined.stock_seen), (day(20_000), Stock::None, day(20_050)));
    assert_eq!(joined.calendar.months[4], None);
    assert_eq!((joined.calendar.months[3], joined.calendar.crop.as_str()), (Some(Surface::Stubble), ""));
    assert_eq!(joined.remarks.permission, "a: granted", "nobody asked the other owner");
    assert_eq!(joined.remarks.hazards, "Far Ley: a ditch along the north");
    assert_eq!(joined.remarks.photographs, ["gate.jpg", "ditch.jpg"]);
    b.stock = Stock::Present;
    assert_eq!(join(&a, &b, 0.0).unwrap().stock, Stock::Present);
    b.calendar.year = Some(2026);
    assert!(join(&a, &b, 0.0).unwrap().calendar.is_empty(), "two years are not one");
    b.surveyed = None;
    let joined = join(&a, &b, 0.0).unwrap();
    assert_eq!((joined.surveyed, joined.stock_seen), (None, None), "one half was never looked at");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]
    #[test]
    fn fields_over_each_other_cover_what_an_overlay_says(
        one in star(), two in star(), by in (-150.0f64..150.0, -150.0f64..150.0),
    ) {
        use geo::{Area as _, BooleanOps as _};
        let first = of_ring("a", one);
        let moved: Vec<Xy> = two.into_iter().map(|p| p + xy(by.0, by.1)).collect();
        let second = of_ring("b", moved);
        let centre = xy(500_000.0, 4_200_000.0);
        let shape = |f: &Field| {
            let line: geo::LineString = f.outer.iter().map(|p| geo::Coord { x: p.x - centre.x, y: p.y - centre.y }).collect();
            let holes = f.holes.iter().map(|h| h.iter().map(|p| geo::Coord { x: p.x - centre.x, y: p.y - centre.y }).collect());
            geo::Polygon::new(line, holes.collect())
        };
        let union = shape(&first).union(&shape(&second));
        // Corners within the reach of the other outline are moved there on purpose: here it is the least there is.
        match join(&first, &second, 0.0) {
            Ok(joined) => {
                prop_assert!(sound(&joined));
                prop_assert!((joined.area_m2() - union.unsigned_area()).abs() < 0.5, "{} {}", joined.area_m2(), union.unsigned_area());
                prop_assert_eq!(union.0.len(), 1);
            }
            // Only what does not overlap, or touches itself where the outlines meet, is refused.
            Err(OutlineError::Join(JoinFault::Apart { .. })) => prop_assert_eq!(union.0.len(), 2),
            Err(OutlineError::Crosses(_) | OutlineError::ShortSide { .. }) => {}
            Err(other) => prop_assert!(union.0.len() != 1, "{}", other),
        }
    }
}

/// Every side with its length and what stands on it, apart from those of a kind.
fn kept_sides(fields: &[Field]) -> f64 {
    let mut sum = 0.0;
    for f in fields {
        for (i, e) in f.edges.iter().enumerate().filter(|(_, e)| **e != NEW) {
            let (a, b) = ring_side(&f.outer, i);
            sum += a.distance(b) * e.height_m.unwrap();
        }
    }
    sum
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]
    #[test]
    fn what_is_cut_and_joined_is_whole_again(
        ring in star(), turn in 0.0f64..6.3, beside in -50.0f64..50.0, bend in -30.0f64..30.0,
    ) {
        let whole = of_ring("a", ring);
        let (along, centre) = (Bearing::from_rad(turn).unit(), xy(500_000.0, 4_200_000.0));
        let across = xy(-along.y, along.x);
        let line = [
            centre - along * 400.0 + across * beside,
            centre + across * (beside + bend),
            centre + along * 400.0 + across * beside,
        ];
        // Indented outlines are often crossed more than once.
        if let Ok(parts) = cut(&whole, &line, NEW, ids()) {
            let [left, right] = &parts;
            prop_assert!(sound(left) && sound(right));
            prop_assert!((left.area_m2() + right.area_m2() - whole.area_m2()).abs() < 1e-3);
            prop_assert!((kept_sides(&parts) - kept_sides(core::slice::from_ref(&whole))).abs() < 1e-3);
            // To the left of the line lies the left part.
            let joined = join(left, right, 0.0).unwrap();
            prop_assert!(sound(&joined));
            prop_assert!((joined.area_m2() - whole.area_m2()).abs() < 1e-3);
            prop_assert_eq!(joined.outer.len(), whole.outer.len());
            let first = joined.outer.iter().position(|p| *p == whole.outer[0]).unwrap();
            let same = super::super::corner::start_at(&joined, first).unwrap();
            prop_assert_eq!(same.outer, whole.outer);
            prop_assert_eq!(same.edges, whole.edges);
        }
    }
}

/// Dice rolled from a seed, so that how many cases are taken can be counted (SplitMix64, Steele, Lea & Flood 2014).
struct Dice(u64);

impl Dice {
    fn within(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        low + (high - low) * ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Two fields drawn along the same crooked boundary by two hands: each places its corners up to `off_m` from it.
fn drawn_apart(dice: &mut Dice, off_m: f64) -> (Field, Field) {
    let mut boundary = |count: usize| -> Vec<Xy> {
        (0..=count)
            .map(|k| {
                let y = 200.0 * k as f64 / count as f64;
                // A gentle bend, so that few corners and many lie near each other.
                xy(20.0 * math::sin(y / 80.0) + dice.within(-off_m, off_m), y + dice.within(-off_m, off_m))
            })
            .collect()
    };
    let (up, mut down) = (boundary(8), boundary(11));
    let west = up.into_iter().chain([xy(-150.0, 200.0), xy(-150.0, 0.0)]).collect();
    down.reverse();
    let east = down.into_iter().chain([xy(150.0, 0.0), xy(150.0, 200.0)]).collect();
    (of_ring("west", west), of_ring("east", east))
}

#[test]
fn neighbours_drawn_by_two_hands_become_one_sound_field() {
    let mut dice = Dice(3);
    let mut joined = 0;
    for case in 0..400 {
        let (west, east) = drawn_apart(&mut dice, 0.6);
        assert!(sound(&west) && sound(&east));
        match join(&west, &east, 2.5) {
            Ok(field) => {
                assert!(sound(&field), "case {case}");
                // Everything between the outer sides, give or take what the hands left open along 200 m of boundary.
                let off = (field.area_m2() - 300.0 * 200.0).abs();
                assert!(off < 2.0 * 200.0 * 0.6, "case {case}: {off}");
                assert!(field.holes.is_empty());
                joined += 1;
            }
            Err(refused) => assert!(matches!(refused, OutlineError::Join(_) | OutlineError::Crosses(_)), "{refused}"),
        }
    }
    // Some boundaries cross each other in a way that cannot be read; those are refused and never joined wrongly.
    assert!(joined > 300, "{joined}");
}
