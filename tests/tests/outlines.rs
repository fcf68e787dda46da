//! Outlines checked, cut, joined and laid on each other, against shapely: `outline_reference/generate.py` wrote what that
//! library finds for seeded random outlines, and `expected.json` names its version.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use serde_json::Value;
use sparefield_geometry::fields::model::{BoundaryEdge, Field, Stock, Surface, ring_area};
use sparefield_geometry::outline::OutlineError;
use sparefield_geometry::outline::cut::cut;
use sparefield_geometry::outline::error::CutFault;
use sparefield_geometry::outline::finding::overlap;
use sparefield_geometry::outline::join::join;
use sparefield_geometry::outline::validity::{check, faults};
use sparefield_geometry::position::Xy;
use std::collections::BTreeMap;

/// Areas of up to 200 000 m² from coordinates in full precision: rounding alone; measured 8.7e-11 m².
const CUT_AREA_M2: f64 = 1e-6;
/// The overlay library puts corners on a grid of about a micrometre; a kilometre of outline times that, doubled; measured 1.3e-4 m².
const OVERLAP_AREA_M2: f64 = 2e-3;

/// How many cases say what; asserted so that none is lost unnoticed.
const INVALID: usize = 153;
const CUT_IN_TWO: usize = 219;
const JOINED: usize = 220;
const OVERLAPPING: usize = 218;

fn expected() -> Value {
    serde_json::from_str(include_str!("../outline_reference/expected.json")).unwrap()
}

fn ring(value: &Value, anticlockwise: bool) -> Vec<Xy> {
    let number = |v: &Value| v.as_f64().unwrap();
    let mut ring: Vec<Xy> = value.as_array().unwrap().iter().map(|p| Xy::new(number(&p[0]), number(&p[1]))).collect();
    if (ring_area(&ring) > 0.0) != anticlockwise {
        ring.reverse();
    }
    ring
}

fn field(outer: &Value, holes: &[Value]) -> Field {
    let outer = ring(outer, true);
    Field {
        id: "a".into(),
        name: String::new(),
        edges: vec![BoundaryEdge::UNKNOWN; outer.len()],
        outer,
        holes: holes.iter().map(|h| ring(h, false)).collect(),
        surface: Surface::Unknown,
        stock: Stock::Unknown,
        surveyed: None,
        notes: String::new(),
        other: vec![],
        ..Field::default()
    }
}

fn of_case(case: &Value) -> Field {
    field(&case["outer"], case["holes"].as_array().unwrap())
}

#[test]
fn what_is_sound_is_valid_and_what_is_valid_is_sound() {
    let mut counts = BTreeMap::new();
    for (i, case) in expected()["validity"].as_array().unwrap().iter().enumerate() {
        let valid = case["valid"].as_bool().unwrap();
        let field = of_case(case);
        assert_eq!(check(&field).is_ok(), valid, "case {i}: {:?}", faults(&field));
        *counts.entry(valid).or_insert(0) += 1;
    }
    assert_eq!(counts, BTreeMap::from([(false, INVALID), (true, 250 - INVALID)]));
}

#[test]
fn cuts_give_the_same_pieces() {
    let (mut two, mut refused, mut worst) = (0, 0, 0.0_f64);
    let line = |case: &Value| -> Vec<Xy> {
        let points = case["line"].as_array().unwrap().iter();
        points.map(|p| Xy::new(p[0].as_f64().unwrap(), p[1].as_f64().unwrap())).collect()
    };
    for (i, case) in expected()["cuts"].as_array().unwrap().iter().enumerate() {
        let areas: Vec<f64> = case["areas"].as_array().unwrap().iter().map(|a| a.as_f64().unwrap()).collect();
        let result = cut(&of_case(case), &line(case), BoundaryEdge::UNKNOWN, ["l".into(), "r".into()]);
        if case["ends_inside"].as_bool().unwrap() {
            // The reference overlooks an end that hangs in the field after the line has cut it; whoever drew it may not.
            assert_eq!(result, Err(OutlineError::Cut(CutFault::EndsInside)), "case {i}");
            refused += 1;
        } else if areas.len() == 2 {
            let parts = result.unwrap_or_else(|e| panic!("case {i}: {e}"));
            let mut ours = parts.each_ref().map(Field::area_m2);
            ours.sort_by(f64::total_cmp);
            for (our, their) in ours.iter().zip(&areas) {
                worst = worst.max((our - their).abs());
                assert!((our - their).abs() < CUT_AREA_M2, "case {i}: {our} {their}");
            }
            two += 1;
        } else {
            assert!(result.is_err(), "case {i}: the reference finds {} pieces", areas.len());
            refused += 1;
        }
    }
    println!("worst difference of a piece {worst:e} m²");
    assert_eq!((two, refused), (CUT_IN_TWO, 250 - CUT_IN_TWO));
}

#[test]
fn joins_give_the_same_union() {
    let (mut count, mut worst) = (0, 0.0_f64);
    for (i, case) in expected()["joins"].as_array().unwrap().iter().enumerate() {
        let part = |key: &str| {
            let rings = case[key].as_array().unwrap();
            field(&rings[0], &rings[1..])
        };
        let (first, second) = (part("first"), part("second"));
        for (a, b) in [(&first, &second), (&second, &first)] {
            let joined = join(a, b, 0.0).unwrap_or_else(|e| panic!("case {i}: {e}"));
            let outer = &joined.outer;
            let length: f64 = (0..outer.len()).map(|k| outer[k].distance(outer[(k + 1) % outer.len()])).sum();
            let number = |key: &str| case[key].as_f64().unwrap();
            let off = (joined.area_m2() - number("area")).abs().max((length - number("length")).abs());
            worst = worst.max(off);
            assert!(off < CUT_AREA_M2, "case {i}: {off}");
            assert_eq!(joined.holes.len() as u64, case["holes"].as_u64().unwrap(), "case {i}");
        }
        count += 1;
    }
    println!("worst difference of a union {worst:e}");
    assert_eq!(count, JOINED);
}

#[test]
fn overlaps_have_the_same_area() {
    let mut worst: f64 = 0.0;
    let mut count = 0;
    for (i, case) in expected()["overlaps"].as_array().unwrap().iter().enumerate() {
        let (a, b) = (of_case(&case["first"]), of_case(&case["second"]));
        let (ours, theirs) = (overlap(&a, &b).map_or(0.0, |o| o.0), case["area"].as_f64().unwrap());
        worst = worst.max((ours - theirs).abs());
        assert!((ours - theirs).abs() < OVERLAP_AREA_M2, "case {i}: {ours} {theirs}");
        count += usize::from(theirs > 0.0);
    }
    println!("worst difference of an overlap {worst:e} m²");
    assert_eq!(count, OVERLAPPING);
}
