use super::super::finding::*;
use super::*;
use crate::outline::OutlineError;

fn found(fields: &[Field]) -> Vec<(Vec<usize>, String)> {
    findings(fields, &FindingOptions::default()).into_iter().map(|f| (f.fields, f.kind.words())).collect()
}

#[test]
fn sound_neighbours_give_no_findings() {
    let fields = [square("a", 0.0, 0.0), square("b", 100.0, 0.0), square("c", 0.0, 105.0)];
    assert!(found(&fields).is_empty());
    assert!(found(&[]).is_empty());
}

#[test]
fn overlaps_duplicates_and_gaps_name_both_fields() {
    let fields = [square("a", 0.0, 0.0), square("b", 90.0, 0.0)];
    let list = findings(&fields, &FindingOptions::default());
    assert_eq!(list.len(), 1);
    assert_eq!(
        (list[0].ids.as_slice(), list[0].fields.as_slice()),
        (&["a".to_owned(), "b".to_owned()][..], &[0, 1][..])
    );
    let FindingKind::Overlap { area_m2, share } = list[0].kind else { panic!("{list:?}") };
    assert!((area_m2 - 1_000.0).abs() < 1e-3 && (share - 0.1).abs() < 1e-6);
    assert!(list[0].at.x > 90.0 && list[0].at.x < 100.0);

    let copies = found(&[square("a", 0.0, 0.0), square("b", 1.0, 0.0)]);
    assert_eq!(copies[0].1, "drawn twice: the two have 99 % in common");
    let inner = field("i", &[(10.0, 10.0), (60.0, 10.0), (60.0, 60.0), (10.0, 60.0)]);
    assert_eq!(
        found(&[square("a", 0.0, 0.0), inner])[0].1,
        "the two lie on each other over 2500 m², 100 % of the smaller"
    );
    assert_eq!(
        found(&[square("a", 0.0, 0.0), square("b", 101.5, 20.0)]),
        [(vec![0, 1], "a gap of up to 1.50 m is left between the two over 80 m".into())]
    );
    assert!(found(&[square("a", 0.0, 0.0), square("b", 100.04, 0.0)]).is_empty(), "drawing accuracy");
}

#[test]
fn a_field_in_a_hole_does_not_overlap() {
    let around = Field { holes: vec![hole(40.0, 40.0)], ..square("a", 0.0, 0.0) };
    let inside = field("b", &[(40.0, 40.0), (60.0, 40.0), (60.0, 60.0), (40.0, 60.0)]);
    assert!(found(&[around, inside]).is_empty());
}

#[test]
fn slivers_spikes_and_faults() {
    let strip = field("s", &[(0.0, 0.0), (400.0, 0.0), (400.0, 15.0), (0.0, 15.0)]);
    assert_eq!(found(&[strip])[0].1, "no landing strip fits in; it is about 15 m wide");
    // Just wide enough.
    assert!(found(&[field("s", &[(0.0, 0.0), (400.0, 0.0), (400.0, 20.1), (0.0, 20.1)])]).is_empty());
    // 1 m in 100 m on each side of the axis: 2·atan(0.01) = 1.1459°, by hand.
    let spike = field(
        "s",
        &[(0.0, 0.0), (100.0, 0.0), (100.0, 49.0), (200.0, 50.0), (100.0, 51.0), (100.0, 100.0), (0.0, 100.0)],
    );
    let list = findings(&[spike], &FindingOptions::default());
    let [Finding { kind: FindingKind::Spike { corner, angle_rad }, at, .. }] = list.as_slice() else {
        panic!("{list:?}")
    };
    assert_eq!((corner.corner, *at), (3, xy(200.0, 50.0)));
    assert!((angle_rad.to_degrees() - 1.1459).abs() < 1e-4);
    let bow = field("b", &[(0.0, 0.0), (100.0, 100.0), (100.0, 0.0), (0.0, 100.0)]);
    let list = findings(&[bow], &FindingOptions::default());
    assert!(matches!(&list[0].kind, FindingKind::Fault(OutlineError::Crosses(c)) if c.at == xy(50.0, 50.0)));
    let out = Field { holes: vec![hole(200.0, 0.0)], ..square("a", 0.0, 0.0) };
    assert_eq!(found(&[out])[0].1, "hole 1 does not lie inside the field; move it inside or delete it");
    let few = Field { edges: vec![], ..square("a", 0.0, 0.0) };
    assert_eq!(found(&[few])[0].1, "the field has 4 sides but says what stands on 0");
    let twice = field("z", &[(0.0, 0.0), (100.0, 0.0), (100.0, 0.0), (0.0, 100.0)]);
    assert!(matches!(
        findings(&[twice], &FindingOptions::default())[0].kind,
        FindingKind::Fault(OutlineError::ShortSide { side, length_m: 0.0 }) if side.side == 1
    ));
}

#[test]
fn nonsense_is_reported_once_and_compared_with_nothing() {
    let nowhere = field("n", &[(f64::NAN, 0.0), (100.0, 0.0), (100.0, 100.0)]);
    let few = field("f", &[(0.0, 0.0), (1.0, 1.0)]);
    let list = found(&[nowhere, few, square("a", 0.0, 0.0)]);
    assert_eq!(list.len(), 2);
    assert_eq!((list[0].0.as_slice(), list[1].0.as_slice()), (&[0][..], &[1][..]));
}

/// Shared area by counting the cells of a fine grid.
fn counted_overlap(a: &Field, b: &Field, cell: f64) -> f64 {
    let centre = xy(500_000.0, 4_200_000.0);
    let steps = (800.0 / cell) as i32;
    let mut cells = 0u32;
    for i in 0..steps {
        for j in 0..steps {
            let p = centre + xy(f64::from(i) * cell - 400.0, f64::from(j) * cell - 400.0);
            cells += u32::from(super::super::pick::holds(a, p) && super::super::pick::holds(b, p));
        }
    }
    f64::from(cells) * cell * cell
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]
    #[test]
    fn overlaps_are_as_large_as_counted(a in star(), b in star(), dx in -200.0f64..200.0, dy in -200.0f64..200.0) {
        let (a, b) = (of_ring("a", a), of_ring("b", b.into_iter().map(|p| p + xy(dx, dy)).collect()));
        let area = overlap(&a, &b).map_or(0.0, |o| o.0);
        // Cells on the boundary fall either way: 4 m times at most 4 km of outline, halved by chance many times over.
        let counted = counted_overlap(&a, &b, 4.0);
        prop_assert!((area - counted).abs() < 2_000.0, "{} {}", area, counted);
    }
}
