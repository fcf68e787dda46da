//! Class maps from small files made here.

use super::*;
use sparefield_geometry::grid::{GridFrame, SurfaceKind, TerrainAccuracy};

/// An uncompressed class map of 8 or 16 bits in UTM zone 32 north: corner (500 000, 5 000 000), given cell and classes.
fn map(
    bits: u16,
    photometric: u16,
    cell_m: f64,
    cols: u32,
    rows: u32,
    no_data: &str,
    class: impl Fn(u32, u32) -> u16,
) -> Vec<u8> {
    let mut pixels = Vec::new();
    for r in 0..rows {
        for c in 0..cols {
            let bytes = class(r, c).to_le_bytes();
            pixels.extend_from_slice(&bytes[..usize::from(bits / 8)]);
        }
    }
    let keys: [u16; 20] = [1, 1, 0, 4, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32632, 3076, 0, 1, 9001];
    let le16 = |v: &[u16]| v.iter().flat_map(|x| x.to_le_bytes()).collect::<Vec<u8>>();
    let le64 = |v: &[f64]| v.iter().flat_map(|x| x.to_le_bytes()).collect::<Vec<u8>>();
    let le32 = |v: u32| v.to_le_bytes().to_vec();
    let mut entries: Vec<(u16, u16, u32, Vec<u8>)> = vec![
        (256, 4, 1, le32(cols)),
        (257, 4, 1, le32(rows)),
        (258, 3, 1, le16(&[bits])),
        (259, 3, 1, le16(&[1])),
        (262, 3, 1, le16(&[photometric])),
        (273, 4, 1, le32(8)),
        (277, 3, 1, le16(&[1])),
        (278, 4, 1, le32(rows)),
        (279, 4, 1, le32(pixels.len() as u32)),
        (339, 3, 1, le16(&[1])),
        (33550, 12, 3, le64(&[cell_m, cell_m, 0.0])),
        (33922, 12, 6, le64(&[0.0, 0.0, 0.0, 500_000.0, 5_000_000.0, 0.0])),
        (34735, 3, 20, le16(&keys)),
    ];
    if !no_data.is_empty() {
        let text = format!("{no_data}\0").into_bytes();
        entries.push((42113, 2, text.len() as u32, text));
    }
    pixels.resize(pixels.len().next_multiple_of(8), 0);
    let at = 8 + pixels.len() as u32;
    let mut out = [b"II\x2a\0".as_slice(), &at.to_le_bytes(), &pixels].concat();
    out.extend((entries.len() as u16).to_le_bytes());
    let mut extra_at = at + 2 + entries.len() as u32 * 12 + 4;
    let mut extra = Vec::new();
    for (tag, kind, count, mut bytes) in entries {
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        if bytes.len() <= 4 {
            bytes.resize(4, 0);
            out.extend(bytes);
        } else {
            out.extend(extra_at.to_le_bytes());
            extra_at += bytes.len() as u32;
            extra.extend(bytes);
        }
    }
    out.extend([0; 4]);
    out.extend(extra);
    out
}

fn frame() -> Frame {
    Frame::from_user("EPSG:32632").unwrap()
}
fn everywhere() -> (Xy, Xy) {
    (Xy::new(499_000.0, 4_990_000.0), Xy::new(510_000.0, 5_001_000.0))
}
fn request(frame: &Frame) -> CoverRequest<'_> {
    CoverRequest { frame, window: everywhere(), cell_m: None, crs_where_missing: None }
}
fn code(r: u32, c: u32) -> u16 {
    [10, 30, 40, 80][((r / 3 + c / 5) % 4) as usize]
}

#[test]
fn a_map_in_the_frame_keeps_its_cells() {
    let frame = frame();
    for (bits, photometric) in [(8, 1), (16, 1), (8, 3)] {
        let bytes = map(bits, photometric, 10.0, 40, 30, "", code);
        let loaded = load_bytes("map.tif", &bytes, worldcover(), &request(&frame), &NoProgress).unwrap();
        assert!(loaded.warnings.is_empty(), "{:?}", loaded.warnings);
        let cover = loaded.value;
        for r in 0..30 {
            for c in 0..40 {
                let at = Xy::new(500_005.0 + f64::from(c) * 10.0, 4_999_995.0 - f64::from(r) * 10.0);
                assert_eq!(cover.class_at(at), code(r, c), "{bits} bits, {r} {c}");
                // Right up to the corners of the cell.
                assert_eq!(cover.class_at(at + Xy::new(-4.9, 4.9)), code(r, c));
            }
        }
        assert_eq!(cover.class_at(Xy::new(499_990.0, 4_999_995.0)), NO_CLASS);
    }
}

#[test]
fn classes_are_taken_and_never_mixed() {
    // Finer and coarser cells, off the map's own: every class found is one that is there.
    let frame = frame();
    let bytes = map(8, 1, 10.0, 40, 30, "", |r, c| if (r + c) % 2 == 0 { 10 } else { 80 });
    for cell in [3.0, 7.0, 25.0] {
        let cover = load_bytes(
            "map.tif",
            &bytes,
            worldcover(),
            &CoverRequest { cell_m: Some(cell), ..request(&frame) },
            &NoProgress,
        )
        .unwrap()
        .value;
        assert_eq!(cover.frame.cell_m, cell);
        for row in 0..cover.frame.rows {
            for col in 0..cover.frame.cols {
                let at = cover.frame.centre(row, col);
                let (c, r) = ((at.x - 500_000.0) / 10.0, (5_000_000.0 - at.y) / 10.0);
                let near_a_border = [c, r].iter().any(|v| (v - v.round()).abs() < 0.01);
                let found = cover.classes[row * cover.frame.cols + col];
                let inside = c >= 0.0 && r >= 0.0 && c < 40.0 && r < 30.0;
                if !near_a_border {
                    let expected = match (inside, (c.floor() + r.floor()) as i64 % 2) {
                        (false, _) => NO_CLASS,
                        (true, 0) => 10,
                        (true, _) => 80,
                    };
                    assert_eq!(found, expected, "{cell} {at:?}");
                }
            }
        }
    }
}

#[test]
fn no_data_stays_unknown_and_strange_classes_are_told() {
    let frame = frame();
    let bytes = map(8, 1, 10.0, 20, 20, "0", |r, c| {
        if r < 5 {
            0
        } else if c < 4 {
            77
        } else {
            40
        }
    });
    let loaded = load_bytes("map.tif", &bytes, worldcover(), &request(&frame), &NoProgress).unwrap();
    let at = |x: f64, y: f64| loaded.value.class_at(Xy::new(500_000.0 + x, 5_000_000.0 - y));
    assert_eq!((at(105.0, 15.0), at(15.0, 105.0), at(105.0, 105.0)), (NO_CLASS, 77, 40));
    assert!(!loaded.value.table.used(at(15.0, 105.0)).is_open());
    assert_eq!(loaded.warnings.len(), 1);
    assert!(loaded.warnings[0].to_string().contains("classes 77") && loaded.warnings[0].to_string().contains("20.0 %"));
    // 65535 stands for "no class" whatever the file means by it.
    let bytes = map(16, 1, 10.0, 20, 20, "", |r, _| if r == 0 { u16::MAX } else { 40 });
    let loaded = load_bytes("map.tif", &bytes, worldcover(), &request(&frame), &NoProgress).unwrap();
    assert!(loaded.warnings[0].to_string().contains("20 cells"), "{:?}", loaded.warnings);
}

#[test]
fn a_map_elsewhere_or_of_another_kind_is_refused_in_one_sentence() {
    let frame = frame();
    let bytes = map(8, 1, 10.0, 20, 20, "", code);
    let far = CoverRequest { window: (Xy::new(6e5, 5e6), Xy::new(6.1e5, 5.01e6)), ..request(&frame) };
    let refused = |name: &str, bytes: &[u8], request: &CoverRequest<'_>| {
        load_bytes(name, bytes, worldcover(), request, &NoProgress).unwrap_err()
    };
    assert_eq!(refused("map.tif", &bytes, &far).kind, LoadErrorKind::NothingHere);
    assert_eq!(refused("map.png", b"\x89PNG....", &request(&frame)).kind, LoadErrorKind::Unsupported);
    assert_eq!(refused("map.tif", b"", &request(&frame)).kind, LoadErrorKind::Unsupported);
    for cut in [4, 9, 200, bytes.len() - 30] {
        let error = refused("map.tif", &bytes[..cut], &request(&frame));
        assert!(!error.to_string().contains('\n'), "{error}");
    }
}

#[test]
fn the_worldcover_table_has_the_codes_of_its_manual() {
    let table = worldcover();
    assert_eq!(table.classes.keys().copied().collect::<Vec<_>>(), [10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100]);
    let open: Vec<u16> = table.classes.iter().filter(|(_, c)| c.used.is_open()).map(|(code, _)| *code).collect();
    assert_eq!(open, [30, 40, 60]);
    assert_eq!((table.right(40), table.right(30), table.right(60)), (0.78, 0.34, 0.0));
}

#[test]
fn a_table_by_hand_is_read_and_a_wrong_one_says_where() {
    let read = |text: &str| parse_table(Path::new("mine.toml"), text);
    let table =
        read("name = \"mine\"\n[[class]]\ncode = 211\nname = \"Arable\"\nuse = \"Crop\"\nright = 0.9\n").unwrap();
    assert_eq!(table.value.used(211), CoverUse::Crop);
    assert!(table.provenance[0].contains("mine"));
    for (text, expected) in [
        ("", "it names no class"),
        ("[[class]]\ncode = 5\n", "mine.toml, line 1"),
        ("[[class]]\ncode = 5\nuse = \"crop\"\ncolour = 3\n", "colour"),
        ("[[class]]\ncode = 5\nuse = \"pasture\"\n", "“pasture” is not a use; write one of open grass"),
        ("[[class]]\ncode = 70000\nuse = \"crop\"\n", "its code is not between"),
        ("[[class]]\ncode = 5\nuse = \"crop\"\nright = 78\n", "write 78 % as 0.78"),
        ("[[class]]\ncode = 5\nuse = \"crop\"\n[[class]]\ncode = 5\nuse = \"bare\"\n", "class 5: it is there twice"),
    ] {
        let error = read(text).unwrap_err().to_string();
        assert!(error.contains(expected) && !error.contains('\n'), "{error}");
    }
}

#[test]
fn a_surface_that_is_not_of_this_ground_is_told() {
    let grid = GridFrame { origin: Xy::new(500_005.0, 4_999_995.0), cell_m: 10.0, cols: 30, rows: 30 };
    let flat = |height: f32| Terrain {
        frame: grid,
        heights_m: vec![height; grid.len()],
        accuracy: TerrainAccuracy { point_to_point_m: 0.5, kind: SurfaceKind::BareGround },
    };
    let told = |surface: f32| {
        let loaded = Loaded { value: flat(surface), warnings: vec![], provenance: vec![] };
        let standing = standing_on(&flat(50.0), loaded);
        standing.warnings.first().map(ToString::to_string)
    };
    assert_eq!(told(53.0), None);
    assert!(told(40.0).unwrap().contains("do not belong together"));
    assert!(told(50.0).unwrap().contains("same as the terrain"));
}
