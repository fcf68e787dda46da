use super::*;
use proptest::prelude::*;

fn wkb(little: bool, code: u32, body: &[u8]) -> Vec<u8> {
    let mut out = vec![u8::from(little)];
    out.extend(if little { code.to_le_bytes() } else { code.to_be_bytes() });
    out.extend(body);
    out
}

fn blob(flags: u8, envelope: usize, wkb: &[u8]) -> Vec<u8> {
    let mut out = vec![b'G', b'P', 0, flags];
    out.extend(if flags & 1 == 1 { 4_326_i32.to_le_bytes() } else { 4_326_i32.to_be_bytes() });
    out.extend(vec![0; envelope]);
    out.extend(wkb);
    out
}

fn numbers(little: bool, values: &[f64]) -> Vec<u8> {
    values.iter().flat_map(|v| if little { v.to_le_bytes() } else { v.to_be_bytes() }).collect()
}

#[test]
fn every_envelope_byte_order_and_dimension_is_read() {
    for (kind, length) in ENVELOPE.into_iter().enumerate() {
        for little in [false, true] {
            let flags = (kind as u8) << 1 | u8::from(little);
            for (code, extra) in
                [(1, 0), (1_001, 1), (2_001, 1), (3_001, 2), (0x8000_0001, 1), (0x4000_0001, 1), (0xc000_0001, 2)]
            {
                let body = numbers(little, &[[2.5, -7.0].as_slice(), &vec![9.0; extra]].concat());
                let (shape, srs) = decode(&blob(flags, length, &wkb(little, code, &body))).unwrap();
                assert_eq!((shape, srs), (Shape::Points(vec![[2.5, -7.0]]), 4_326));
            }
        }
    }
}

#[test]
fn empty_shapes_are_no_shapes() {
    let empty_point = numbers(true, &[f64::NAN, f64::NAN]);
    for body in [
        blob(0b1_0001, 0, &[]),
        blob(1, 0, &wkb(true, 1, &empty_point)),
        blob(1, 0, &wkb(true, 2, &[0; 4])),
        blob(1, 0, &wkb(true, 3, &[0; 4])),
        blob(1, 0, &wkb(true, 7, &[0; 4])),
    ] {
        assert_eq!(decode(&body).unwrap().0, Shape::Nothing);
    }
}

#[test]
fn counts_that_lie_ask_for_nothing() {
    for code in [2_u32, 3, 4, 5, 6, 7] {
        let problem = decode(&blob(1, 0, &wkb(true, code, &u32::MAX.to_le_bytes()))).unwrap_err();
        assert_eq!(problem, "its geometry counts more points or parts than it holds", "{code}");
    }
}

#[test]
fn deep_collections_and_curves_are_refused() {
    let mut deep = wkb(true, 7, &0_u32.to_le_bytes());
    for _ in 0..100_000 {
        let body = [1_u32.to_le_bytes().as_slice(), &[]].concat();
        deep = if deep.len() > 1_000_000 { deep } else { [wkb(true, 7, &body), deep].concat() };
        if deep.len() > 5_000 {
            break;
        }
    }
    assert_eq!(decode(&blob(1, 0, &deep)).unwrap_err(), "its geometry is nested deeper than 16 levels");
    let curve = wkb(true, 8, &0_u32.to_le_bytes());
    assert_eq!(decode(&blob(1, 0, &curve)).unwrap_err(), "its geometry has curves, which are not read");
}

fn some_shape() -> impl Strategy<Value = Shape> {
    let pair = || (-180.0..180.0, -90.0..90.0).prop_map(|(x, y)| [x, y]);
    let line = move || prop::collection::vec(pair(), 2..6);
    let ring = move || {
        prop::collection::vec(pair(), 3..6).prop_map(|mut ring| {
            ring.push(ring[0]);
            ring
        })
    };
    let rings = move || prop::collection::vec(ring(), 1..3);
    prop_oneof![
        prop::collection::vec(pair(), 1..4).prop_map(Shape::Points),
        prop::collection::vec(line(), 1..4).prop_map(Shape::Lines),
        prop::collection::vec(rings(), 1..4).prop_map(Shape::Polygons),
    ]
}

proptest! {
    #[test]
    fn what_is_written_is_read_back(shape in some_shape(), srs in any::<i32>()) {
        prop_assert_eq!(decode(&encode(&shape, srs)).unwrap(), (shape, srs));
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200), flags in 0_u8..16) {
        let _ = decode(&bytes);
        let _ = decode(&blob(flags, 0, &bytes));
    }

    #[test]
    fn a_cut_blob_is_refused(shape in some_shape(), share in 0.0..1.0) {
        let whole = encode(&shape, 4_326);
        let cut = (whole.len() as f64 * share) as usize;
        prop_assert!(decode(&whole[..cut.min(whole.len() - 1)]).is_err());
    }
}
