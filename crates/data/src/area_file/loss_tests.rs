//! What must not get lost between opening, editing and opening again.

use super::tests::{TODAY, bare, square};
use super::*;
use crate::area::{Change, Swap};
use crate::error::NoProgress;
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, HazardKind, HazardShape, QuietKind};
use sparefield_geometry::position::Xy;
use std::path::Path;

fn sql(path: &Path, text: &str) {
    Connection::open(path).unwrap().execute_batch(text).unwrap();
}

fn opened(path: &Path) -> (AreaFile, AreaParts, Vec<String>) {
    let loaded = AreaFile::open(path, TODAY, &NoProgress).unwrap();
    let (file, parts) = loaded.value;
    (file, parts, loaded.warnings.iter().map(ToString::to_string).collect())
}

fn reread(path: &Path) -> AreaParts {
    read(path, &NoProgress).unwrap().value
}

/// A geometry of several areas, as other programs write it.
fn several(shapes: &[HazardShape]) -> Vec<u8> {
    let mut out = b"GP\0\x01".to_vec();
    out.extend(32_630_i32.to_le_bytes());
    out.push(1);
    // A GeometryCollection, which holds shapes of any kind.
    out.extend(7_u32.to_le_bytes());
    out.extend((shapes.len() as u32).to_le_bytes());
    for shape in shapes {
        let one = blob::encode(shape, 32_630);
        let header = if one[3] & 0b10 == 0 { 8 } else { 40 };
        out.extend(&one[header..]);
    }
    out
}

fn ring(n: u32) -> Vec<Xy> {
    square(n).outer
}

fn part(n: u32) -> HazardShape {
    HazardShape::Area { outer: ring(n), holes: Vec::new() }
}

/// An area whose first hazard, quiet zone and field were each given three parts by another program.
fn in_parts(path: &Path) {
    let mut parts = bare(vec![square(0)]);
    let wood = Hazard::new("wood", HazardKind::Wood, part(10));
    parts.hazards = Arc::new(vec![Arc::new(wood)]);
    let zone = QuietZone {
        id: "houses".into(),
        kind: QuietKind::Houses,
        name: String::new(),
        outer: ring(20),
        below_agl_m: 200.0,
    };
    parts.quiet_zones = Arc::new(vec![Arc::new(zone)]);
    drop(AreaFile::create(path, &parts).unwrap());
    let db = Connection::open(path).unwrap();
    db.execute_batch("ALTER TABLE hazards ADD owner TEXT; UPDATE hazards SET owner = 'a farmer'").unwrap();
    for (table, first) in [("hazards", 10), ("quiet_zones", 20), ("fields", 0)] {
        let blob = several(&[part(first), part(first + 2), part(first + 4)]);
        db.execute(&format!("UPDATE {table} SET geom = ?1"), [blob]).unwrap();
    }
}

#[test]
fn every_part_of_a_shape_of_several_is_there_and_can_be_edited() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    in_parts(&path);
    let (mut file, parts, warnings) = opened(&path);
    assert_eq!((parts.hazards.len(), parts.quiet_zones.len(), parts.fields.len()), (3, 3, 3), "{warnings:?}");
    assert!(parts.quiet_zones.iter().all(|z| z.below_agl_m == 200.0 && z.kind == QuietKind::Houses));
    // One part is measured, one taken away, one stays.
    let measured = Hazard { height_m: Some(21.0), ..(*parts.hazards[0]).clone() };
    let zone = QuietZone { below_agl_m: 300.0, ..(*parts.quiet_zones[0]).clone() };
    let field = Field { notes: "seen".into(), ..(*parts.fields[0]).clone() };
    file.write(&Edit::new(
        "parts",
        vec![
            Change::Hazard(Swap::replace(&parts.hazards[0], measured.clone())),
            Change::Hazard(Swap::remove(&parts.hazards[1])),
            Change::QuietZone(Swap::replace(&parts.quiet_zones[0], zone)),
            Change::Field(Swap::replace(&parts.fields[0], field)),
        ],
    ))
    .unwrap();
    drop(file);
    let now = reread(&path);
    let ids: Vec<&str> = now.hazards.iter().map(|h| h.id.as_str()).collect();
    assert_eq!(ids, [parts.hazards[0].id.as_str(), parts.hazards[2].id.as_str()]);
    assert_eq!((&*now.hazards[0], &now.hazards[1]), (&measured, &parts.hazards[2]));
    assert_eq!((now.quiet_zones.len(), now.fields.len()), (3, 3));
    assert_eq!(now.fields[0].notes, "seen");
    let owners: i64 = Connection::open(&path)
        .unwrap()
        .query_row("SELECT count(*) FROM hazards WHERE owner = 'a farmer'", [], |r| r.get(0))
        .unwrap();
    assert_eq!(owners, 2, "columns of others go with every part");
}

#[test]
fn an_undone_deletion_brings_back_what_others_wrote() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let parts = bare(vec![square(0), square(1)]);
    let mut file = AreaFile::create(&path, &parts).unwrap();
    sql(
        &path,
        "ALTER TABLE fields ADD owner TEXT; UPDATE fields SET owner = 'a farmer' WHERE id = 'field-0';
         ALTER TABLE boundary_edges ADD species TEXT; UPDATE boundary_edges SET species = 'hawthorn'",
    );
    let away = Edit::new("away", parts.fields.iter().map(|f| Change::Field(Swap::remove(f))).collect());
    file.write(&away).unwrap();
    file.write(&away.inverse()).unwrap();
    assert_eq!(reread(&path), parts, "in their order, too");
    let count = |what: &str| -> i64 {
        let db = Connection::open(&path).unwrap();
        db.query_row(&format!("SELECT count(*) FROM {what}"), [], |r| r.get(0)).unwrap()
    };
    assert_eq!(count("fields WHERE owner = 'a farmer' AND fid = 1"), 1);
    assert_eq!(count("boundary_edges WHERE species = 'hawthorn'"), 7);
    // Something else that gets the free name has nothing of what was said about the first.
    file.write(&away).unwrap();
    let other = Field { id: "field-0".into(), ..square(5) };
    file.write(&Edit::new("draw", vec![Change::Field(Swap::add(other))])).unwrap();
    assert_eq!(count("fields WHERE owner IS NULL"), 1);
}

#[test]
fn heights_that_cannot_be_count_as_unknown() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let mut parts = bare(vec![square(0)]);
    let wires = HazardShape::Line(vec![Xy::new(0.0, 0.0), Xy::new(9.0, 0.0)]);
    let wires = Hazard { pole_heights_m: vec![Some(9.0); 2], ..Hazard::new("w", HazardKind::Wires, wires) };
    parts.hazards = Arc::new(vec![Arc::new(wires)]);
    let zone =
        QuietZone { id: "z".into(), kind: QuietKind::Stock, name: String::new(), outer: ring(20), below_agl_m: 200.0 };
    parts.quiet_zones = Arc::new(vec![Arc::new(zone)]);
    drop(AreaFile::create(&path, &parts).unwrap());
    sql(
        &path,
        "UPDATE boundary_edges SET height_m = -3; UPDATE hazards SET height_m = -12, pole_heights_m = '-9; 9';
         UPDATE quiet_zones SET below_agl_m = -1",
    );
    let (_file, parts, warnings) = opened(&path);
    assert_eq!(parts.fields[0].edges[0], BoundaryEdge { kind: EdgeKind::Hedge, height_m: None });
    assert_eq!(parts.hazards[0].height_or_assumed(), (12.0, true));
    assert_eq!(parts.quiet_zones[0].below_agl_m, 152.4);
    for words in ["boundary_edges, row 1", "hazards, row 1", "quiet_zones, row 1"] {
        assert!(warnings.iter().any(|w| w.contains(words) && w.contains("height")), "{words}: {warnings:?}");
    }
}

#[test]
fn a_name_given_to_a_second_one_is_nobody_elses() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let mut parts = bare(vec![square(0), square(1), square(2)]);
    let at = |id: &str, n| Arc::new(Field { id: id.into(), ..square(n) });
    parts.fields = Arc::new(vec![at("x", 0), at("y", 1), at("x-2", 2)]);
    drop(AreaFile::create(&path, &parts).unwrap());
    sql(&path, "UPDATE fields SET id = 'x' WHERE fid = 2");
    let (_file, parts, _) = opened(&path);
    assert_eq!(parts.fields[2].id, "x-2", "the one that had the name keeps it");
    assert_ne!(parts.fields[1].id, "x-2");
}

#[cfg(unix)]
#[test]
fn a_copy_in_a_folder_whose_name_is_no_text_is_whole() {
    use std::os::unix::ffi::OsStrExt as _;
    let folder = tempfile::tempdir().unwrap();
    let odd = folder.path().join(std::ffi::OsStr::from_bytes(b"m\xfchle"));
    std::fs::create_dir(&odd).unwrap();
    let path = odd.join("a.gpkg");
    let parts = bare(vec![square(0)]);
    let file = AreaFile::create(&path, &parts).unwrap();
    let copy = odd.join("copy.gpkg");
    file.save_copy(&copy, false).unwrap();
    assert_eq!(reread(&copy), parts);
}

#[test]
fn photographs_that_are_no_list_do_not_keep_an_old_file_shut() {
    for odd in ["5", "\"gate.jpg\"", "{\"a\": 1}", "null", "true", "[]"] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.gpkg");
        let db = connect::make(&path).unwrap();
        schema::create_v1(&db, &bare(Vec::new()).frame).unwrap();
        let mut known = Known::default();
        let graves = Graves::default();
        let mut writer = Writer::new(&db, &mut known, &graves, 32_630, Path::new("a.gpkg"));
        writer.insert_whole(&Arc::new(square(0))).unwrap();
        db.execute("UPDATE fields SET photographs = ?1", [odd]).unwrap();
        drop(db);
        let (_file, parts, _) = opened(&path);
        assert_eq!(*parts.fields[0], square(0));
        let db = Connection::open(&path).unwrap();
        let kept: Option<String> = db.query_row("SELECT photographs FROM fields", [], |r| r.get(0)).unwrap();
        assert_eq!(kept.as_deref(), (odd != "[]").then_some(odd), "what was not understood stays");
    }
}

#[test]
fn a_lock_that_was_taken_away_meanwhile_locks_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    drop(AreaFile::create(&path, &bare(vec![square(0)])).unwrap());
    // A window that is closing has the lock's file open when this one looks, and takes it away a moment later. Many
    // threads open and close at once; two must never have it.
    let holders = std::sync::atomic::AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| {
                for _ in 0..2_000 {
                    if let Ok(lock) = connect::WindowLock::take(&path) {
                        let others = holders.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
                        std::thread::yield_now();
                        holders.fetch_sub(1, std::sync::atomic::Ordering::SeqCst);
                        drop(lock);
                        assert_eq!(others, 0, "two windows have the same area open");
                    }
                }
            });
        }
    });
}
