use super::*;
use crate::area::{Change, Swap};
use crate::error::NoProgress;
use crate::imagery::{GroundLayer, LayerKind, LayerSpec};
use crate::sortie::{ExerciseMark, GivenVector, GivenWind, KeptExercise, KeptMeasures, Measured, Original};
use proptest::prelude::*;
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, HazardKind, HazardShape, QuietKind, Stock, Surface};
use sparefield_geometry::position::{LonLat, Xy};

pub(super) const TODAY: Day = Day { days_since_epoch: 20_782 };

fn sample() -> (AreaParts, Area) {
    let area = Area::sample(&NoProgress).unwrap();
    (AreaParts::of(&area, TerrainSource::Sample), area)
}

pub(super) fn bare(fields: Vec<Field>) -> AreaParts {
    AreaParts {
        title: "Test".into(),
        frame: Arc::new(Frame::utm_for(LonLat { lon_deg: -2.8, lat_deg: 52.3 }).unwrap()),
        fields: Arc::new(fields.into_iter().map(Arc::new).collect()),
        proposals: Arc::default(),
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        lanes: Arc::default(),
        layers: Arc::default(),
        home: None,
        start: None,
        drill_sets: Arc::default(),
        drill_results: Arc::default(),
        sorties: Arc::default(),
        terrain: TerrainSource::Nothing,
    }
}

/// A field `n` places along a row of equal fields, each sharing a side with the next.
pub(super) fn square(n: u32) -> Field {
    let at = |x: f64, y: f64| Xy::new(500_000.0 + 100.0 * f64::from(n) + x, 5_790_000.0 + y);
    let mut field =
        Field::new(format!("field-{n}"), vec![at(0.0, 0.0), at(100.0, 0.0), at(100.0, 200.0), at(0.0, 200.0)]);
    field.edges = vec![BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) }; 4];
    field
}

fn opened(path: &Path) -> Loaded<(AreaFile, AreaParts)> {
    AreaFile::open(path, TODAY, &NoProgress).unwrap()
}

/// Another program at the file.
fn sql(path: &Path, text: &str) {
    Connection::open(path).unwrap().execute_batch(text).unwrap();
}

fn count(path: &Path, what: &str) -> i64 {
    Connection::open(path).unwrap().query_row(&format!("SELECT count(*) FROM {what}"), [], |r| r.get(0)).unwrap()
}

#[test]
fn the_sample_area_comes_back_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sample.gpkg");
    let (parts, area) = sample();
    drop(AreaFile::create(&path, &parts).unwrap());
    let loaded = opened(&path);
    assert_eq!(loaded.warnings, []);
    assert_eq!(loaded.value.1, parts);
    drop(loaded);
    let again = Area::open_file(&path, &[], &NoProgress).unwrap();
    assert!(again.is_sample);
    assert_eq!(
        (again.terrain.height_at(area.centre()), &again.warnings),
        (area.terrain.height_at(area.centre()), &area.warnings)
    );
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["sample.gpkg"], "one file and nothing beside it");
}

#[test]
fn every_edit_is_in_the_file_when_it_returns() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sample.gpkg");
    let (parts, mut area) = sample();
    let mut file = AreaFile::create(&path, &parts).unwrap();
    let first = Arc::clone(&area.fields[3]);
    let mut changed = (*first).clone();
    changed.stock = Stock::Present;
    changed.outer[0] = changed.outer[0] + Xy::new(1.0, 0.5);
    changed.calendar.months[4] = Some(Surface::TallCrop);
    changed.remarks.photographs = vec!["a.jpg".into(), "b.jpg".into()];
    let edit = Edit::new(
        "several things",
        vec![
            Change::Field(Swap::replace(&first, changed)),
            Change::Field(Swap::add(square(7))),
            Change::Hazard(Swap::remove(&area.hazards[0].clone())),
            Change::QuietZone(Swap::remove(&area.quiet_zones[0].clone())),
            Change::Title(Swap::replace(&Arc::new(area.title.clone()), "Another".to_owned())),
            Change::Home(Swap { before: area.home.clone().map(Arc::new), after: None }),
        ],
    );
    for edit in [edit.clone(), edit.inverse(), edit] {
        area.apply(&edit).unwrap();
        file.write(&edit).unwrap();
        assert_eq!(read(&path, &NoProgress).unwrap().value, AreaParts::of(&area, TerrainSource::Sample));
    }
}

#[test]
fn layers_are_kept_by_their_place_beside_the_area_and_every_change_of_them_is_an_edit() {
    let folder = tempfile::tempdir().unwrap();
    let root = std::fs::canonicalize(folder.path()).unwrap();
    let (areas, images) = (root.join("areas"), root.join("images"));
    std::fs::create_dir_all(&areas).unwrap();
    std::fs::create_dir_all(&images).unwrap();
    std::fs::write(images.join("summer.tif"), "an image").unwrap();
    let path = areas.join("home.gpkg");
    let (parts, mut area) = sample();
    let mut file = AreaFile::create(&path, &parts).unwrap();
    let mut summer = LayerSpec::new(&images.join("summer.tif"), LayerKind::Imagery);
    summer.opacity = 0.35;
    let paths = LayerSpec { visible: false, ..LayerSpec::new(&root.join("paths.kml"), LayerKind::Background) };
    let drawn =
        AreaLayers { list: vec![paths, summer], ground: GroundLayer::Slope, ground_opacity: 0.5, contours: false };
    let edit = Edit::new("layers", vec![Change::Layers(Swap::replace(&area.layers, drawn.clone()))]);
    for edit in [edit.clone(), edit.inverse(), edit.clone()] {
        area.apply(&edit).unwrap();
        file.write(&edit).unwrap();
        assert_eq!(read(&path, &NoProgress).unwrap().value.layers, area.layers);
    }
    assert_eq!(*area.layers, drawn);
    assert!(area.apply(&edit).is_err(), "the layers are no longer what they were before");
    let written: String = Connection::open(&path)
        .unwrap()
        .query_row("SELECT value FROM sparefield_settings WHERE key = 'layers'", [], |row| row.get(0))
        .unwrap();
    assert!(written.contains("../images/summer.tif") && !written.contains(root.to_str().unwrap()), "{written}");
    // A copy elsewhere finds the same images.
    file.save_copy(&root.join("copy.gpkg"), false).unwrap();
    assert_eq!(*read(&root.join("copy.gpkg"), &NoProgress).unwrap().value.layers, drawn);
    drop(file);
    // The whole folder may be moved.
    let moved = root.join("moved");
    std::fs::create_dir(&moved).unwrap();
    std::fs::rename(&areas, moved.join("areas")).unwrap();
    std::fs::rename(&images, moved.join("images")).unwrap();
    let there = read(&moved.join("areas/home.gpkg"), &NoProgress).unwrap().value.layers;
    assert_eq!(there.list[1].path, moved.join("images/summer.tif"));
    sql(&moved.join("areas/home.gpkg"), "UPDATE sparefield_settings SET value = '[7' WHERE key = 'layers'");
    let damaged = read(&moved.join("areas/home.gpkg"), &NoProgress).unwrap();
    assert_eq!(*damaged.value.layers, AreaLayers::default());
    assert!(damaged.warnings.iter().any(|w| w.message.contains("list of images")), "{:?}", damaged.warnings);
}

#[test]
fn of_two_things_with_one_identifier_each_keeps_its_own_row() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let (first, second) = (square(1), Field { id: square(1).id, ..square(5) });
    let own = Field { id: "own".into(), ..second.clone() };
    let mut file = AreaFile::create(&path, &bare(vec![first.clone(), own.clone()])).unwrap();
    // Undo brings the common identifier back.
    let undone = Edit::new("undo", vec![Change::Field(Swap::replace(&Arc::new(own), second.clone()))]);
    file.write(&undone).unwrap();
    let (first, second) = (Arc::new(first), Arc::new(second));
    file.write(&note(&second, "the second")).unwrap();
    file.write(&note(&first, "the first")).unwrap();
    drop(file);
    let read = read(&path, &NoProgress).unwrap().value.fields;
    assert_eq!(read.iter().map(|f| f.notes.as_str()).collect::<Vec<_>>(), ["the first", "the second"]);
    assert_eq!((&read[0].outer, &read[1].outer), (&first.outer, &second.outer));
    assert_ne!(read[0].id, read[1].id, "on opening each gets one of its own");
}

fn note(field: &Arc<Field>, words: &str) -> Edit {
    let changed = Field { notes: words.into(), ..(**field).clone() };
    Edit::new("note", vec![Change::Field(Swap::replace(field, changed))])
}

#[test]
fn a_side_shared_by_two_fields_is_one_row() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let parts = bare(vec![square(0), square(1)]);
    let mut file = AreaFile::create(&path, &parts).unwrap();
    assert_eq!((count(&path, "boundary_edges"), count(&path, "field_sides")), (7, 8));
    sql(&path, "ALTER TABLE boundary_edges ADD species TEXT; UPDATE boundary_edges SET species = 'hawthorn'");
    // The shared hedge grows: both fields say so, and it stays the row that it was.
    let tall = BoundaryEdge { kind: EdgeKind::TreeLine, height_m: Some(9.0) };
    let (mut left, mut right) = ((*parts.fields[0]).clone(), (*parts.fields[1]).clone());
    (left.edges[1], right.edges[3]) = (tall, tall);
    let changes = vec![
        Change::Field(Swap::replace(&parts.fields[0], left)),
        Change::Field(Swap::replace(&parts.fields[1], right)),
    ];
    file.write(&Edit::new("grow", changes)).unwrap();
    assert_eq!(count(&path, "boundary_edges"), 7);
    assert_eq!(count(&path, "boundary_edges WHERE kind = 'tree line' AND height_m = 9 AND species = 'hawthorn'"), 1);
    // Without its fields nothing stands there.
    let now = read(&path, &NoProgress).unwrap().value;
    file.write(&Edit::new("away", now.fields.iter().map(|f| Change::Field(Swap::remove(f))).collect())).unwrap();
    assert_eq!((count(&path, "boundary_edges"), count(&path, "field_sides")), (0, 0));
}

#[test]
fn tables_columns_and_words_of_others_stay() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let parts = bare(vec![square(0), square(1)]);
    let mut file = AreaFile::create(&path, &parts).unwrap();
    sql(
        &path,
        "CREATE TABLE theirs (fid INTEGER PRIMARY KEY, x TEXT); INSERT INTO theirs VALUES (1, 'kept');
         ALTER TABLE fields ADD owner TEXT; UPDATE fields SET owner = 'a farmer', surface = 'lucerne' WHERE fid = 1",
    );
    file.write(&note(&parts.fields[0], "seen")).unwrap();
    assert_eq!(count(&path, "theirs WHERE x = 'kept'"), 1);
    assert_eq!(count(&path, "fields WHERE owner = 'a farmer' AND surface = 'lucerne' AND notes = 'seen'"), 1);
    drop(file);
    let loaded = opened(&path);
    assert_eq!(loaded.value.1.fields[0].surface, Surface::Unknown);
    assert!(loaded.warnings[0].to_string().contains("“lucerne” is not a word that is known"), "{:?}", loaded.warnings);
}

#[test]
fn what_another_program_takes_away_meanwhile_is_written_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let parts = bare(vec![square(0), square(1)]);
    let mut file = AreaFile::create(&path, &parts).unwrap();
    file.write(&note(&parts.fields[1], "first")).unwrap();
    sql(&path, "DELETE FROM fields WHERE fid = 1");
    file.write(&note(&parts.fields[0], "still there")).unwrap();
    let now = read(&path, &NoProgress).unwrap().value;
    let notes: Vec<_> = now.fields.iter().map(|f| (f.id.as_str(), f.notes.as_str())).collect();
    assert_eq!(notes, [("field-1", "first"), ("field-0", "still there")]);
    assert_eq!(now.fields[1].edges, parts.fields[0].edges);
}

#[test]
fn rows_of_others_get_identifiers_and_keep_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    drop(AreaFile::create(&path, &bare(vec![square(0)])).unwrap());
    sql(
        &path,
        "INSERT INTO fields (geom) SELECT geom FROM fields; INSERT INTO fields (id, geom) SELECT id, geom FROM fields
         WHERE fid = 1; INSERT INTO fields (id, geom) VALUES ('bad', x'47500001000000000103000000FFFFFFFF'), ('none', NULL)",
    );
    let loaded = opened(&path);
    let ids = |parts: &AreaParts| parts.fields.iter().map(|f| f.id.clone()).collect::<Vec<_>>();
    assert_eq!(ids(&loaded.value.1), ["field-0", "field-2", "field-0-3"]);
    let words: Vec<_> = loaded.warnings.iter().map(ToString::to_string).collect();
    assert!(
        words.iter().any(|w| w.contains("fields, row 4: its geometry counts more points or parts than it holds")),
        "{words:?}"
    );
    assert!(words.iter().any(|w| w.contains("fields, row 5: it has no outline")), "{words:?}");
    // A copied field stands where the first does, so the same stands on its sides.
    assert_eq!(loaded.value.1.fields[1].edges, square(0).edges);
    drop(loaded);
    assert_eq!(ids(&read(&path, &NoProgress).unwrap().value), ["field-0", "field-2", "field-0-3"]);
    assert_eq!(count(&path, "fields"), 5, "what cannot be shown stays");
}

#[test]
fn an_outline_changed_elsewhere_keeps_the_sides_that_are_still_there() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let mut field = square(0);
    field.edges[2] = BoundaryEdge { kind: EdgeKind::Wall, height_m: Some(1.5) };
    let parts = bare(vec![field.clone()]);
    drop(AreaFile::create(&path, &parts).unwrap());
    // The other program turns the ring round and pulls one corner far out.
    let mut ring = field.outer.clone();
    ring[0] = ring[0] + Xy::new(-80.0, -300.0);
    ring.reverse();
    let blob = blob::encode(&row::area(&ring, &[]), 32_630);
    Connection::open(&path).unwrap().execute("UPDATE fields SET geom = ?1", [blob]).unwrap();
    let loaded = opened(&path);
    let found = &loaded.value.1.fields[0];
    assert!(sparefield_geometry::fields::model::ring_area(&found.outer) > 0.0);
    let wall = found.edges.iter().filter(|e| e.kind == EdgeKind::Wall).count();
    assert_eq!((wall, found.edges.len()), (1, 4), "{found:?}");
    assert!(found.edges.contains(&BoundaryEdge::UNKNOWN), "{:?}", found.edges);
    assert!(loaded.warnings.iter().any(|w| w.message.contains("changed by another program")), "{:?}", loaded.warnings);
}

#[test]
fn a_layer_with_another_programs_spatial_index_is_still_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let parts = bare(vec![square(0)]);
    let mut file = AreaFile::create(&path, &parts).unwrap();
    // As OGC 12-128r19, F.3 has them, for insertion and change.
    sql(
        &path,
        "CREATE VIRTUAL TABLE rtree_fields_geom USING rtree(id, minx, maxx, miny, maxy);
         CREATE TRIGGER rtree_fields_geom_insert AFTER INSERT ON fields
           WHEN (new.geom NOT NULL AND NOT ST_IsEmpty(NEW.geom)) BEGIN
           INSERT OR REPLACE INTO rtree_fields_geom VALUES (NEW.fid, ST_MinX(NEW.geom), ST_MaxX(NEW.geom),
             ST_MinY(NEW.geom), ST_MaxY(NEW.geom)); END;",
    );
    file.write(&Edit::new("draw", vec![Change::Field(Swap::add(square(3)))])).unwrap();
    let found = "rtree_fields_geom WHERE minx BETWEEN 500299 AND 500301 AND maxy BETWEEN 5790199 AND 5790201";
    assert_eq!(count(&path, found), 1);
}

#[test]
fn a_full_disk_is_told_and_the_edit_is_kept_once_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let parts = bare(vec![square(0)]);
    let mut file = AreaFile::create(&path, &parts).unwrap();
    let pages: i64 = file.db.pragma_query_value(None, "page_count", |r| r.get(0)).unwrap();
    file.db.pragma_update(None, "max_page_count", pages).unwrap();
    let edit = Edit::new("draw", (1..200).map(|n| Change::Field(Swap::add(square(n)))).collect());
    for _ in 0..2 {
        let told = file.write(&edit).unwrap_err();
        assert_eq!(told.trouble, Trouble::Full);
        assert!(told.to_string().contains("the disk is full"), "{told}");
        assert_eq!(read(&path, &NoProgress).unwrap().value, parts);
    }
    file.db.pragma_update(None, "max_page_count", 1_000_000).unwrap();
    file.write(&edit).unwrap();
    assert_eq!(read(&path, &NoProgress).unwrap().value.fields.len(), 200);
}

#[test]
fn a_file_that_may_not_be_written_is_shown_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let parts = bare(vec![square(0)]);
    drop(AreaFile::create(&path, &parts).unwrap());
    let read_only = |yes: bool| {
        for place in [path.as_path(), folder.path()] {
            let mut permissions = std::fs::metadata(place).unwrap().permissions();
            permissions.set_readonly(yes);
            std::fs::set_permissions(place, permissions).unwrap();
        }
    };
    read_only(true);
    // The system's administrator may write everywhere; then SQLite's own refusal is looked at.
    let administrator = std::fs::OpenOptions::new().append(true).open(&path).is_ok();
    if administrator {
        let told = connect::open(&path, false).unwrap().execute_batch("DELETE FROM fields").unwrap_err();
        assert_eq!(AreaFileError::from_sqlite(&path, &told).trouble, Trouble::ReadOnly);
    } else {
        let mut loaded = opened(&path);
        assert_eq!(loaded.value.1, parts);
        assert!(loaded.warnings[0].message.contains("may not be written"), "{:?}", loaded.warnings);
        assert_eq!(loaded.value.0.write(&note(&parts.fields[0], "x")).unwrap_err().trouble, Trouble::ReadOnly);
    }
    read_only(false);
}

#[test]
fn a_file_that_was_moved_away_is_not_written_into_the_void() {
    let folder = tempfile::tempdir().unwrap();
    let (path, elsewhere) = (folder.path().join("a.gpkg"), folder.path().join("b.gpkg"));
    let parts = bare(vec![square(0)]);
    let mut file = AreaFile::create(&path, &parts).unwrap();
    std::fs::rename(&path, &elsewhere).unwrap();
    let told = file.write(&note(&parts.fields[0], "x")).unwrap_err();
    assert_eq!(told.trouble, Trouble::Gone, "{told}");
    std::fs::rename(&elsewhere, &path).unwrap();
    file.write(&note(&parts.fields[0], "x")).unwrap();
    assert_eq!(count(&path, "fields WHERE notes = 'x'"), 1);
}

#[test]
fn what_is_no_area_file_is_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    let told = |name: &str| AreaFile::open(&place(name), TODAY, &NoProgress).unwrap_err();
    std::fs::write(place("text.gpkg"), "not a database at all, but longer than a header").unwrap();
    std::fs::write(place("empty.gpkg"), "").unwrap();
    sql(&place("other.gpkg"), "PRAGMA application_id = 1196444487; CREATE TABLE roads (fid INTEGER PRIMARY KEY)");
    sql(&place("bare.gpkg"), "CREATE TABLE t (x)");
    for (name, trouble, words) in [
        ("text.gpkg", Trouble::NotAnArea, "it is not a GeoPackage"),
        ("empty.gpkg", Trouble::Damaged, "it is empty"),
        (
            "other.gpkg",
            Trouble::NotAnArea,
            "a GeoPackage of another program, not an area file; open an area and import",
        ),
        ("bare.gpkg", Trouble::NotAnArea, "it is a database, not an area file"),
        ("missing.gpkg", Trouble::Gone, "it is not there"),
        ("", Trouble::NotAnArea, "it is a folder"),
    ] {
        let told = told(name);
        assert_eq!(told.trouble, trouble, "{told}");
        assert!(told.to_string().contains(words), "{told}");
    }
}

#[test]
fn a_newer_schema_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    drop(AreaFile::create(&path, &bare(vec![square(0)])).unwrap());
    sql(&path, "UPDATE sparefield_meta SET value = '99' WHERE key = 'schema_version'");
    let before = std::fs::read(&path).unwrap();
    let told = AreaFile::open(&path, TODAY, &NoProgress).unwrap_err();
    assert_eq!(told.trouble, Trouble::Newer);
    assert!(
        told.to_string().contains("a newer version of Sparefield wrote it (schema 99; this one knows 5)"),
        "{told}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

/// A file as schema 1 had it, with one field that has photographs, and something of another program's.
fn of_schema_1(path: &Path) -> Field {
    let mut field = square(0);
    let db = connect::make(path).unwrap();
    schema::create_v1(&db, &bare(Vec::new()).frame).unwrap();
    let (mut known, graves) = (Known::default(), Graves::default());
    let mut writer = Writer::new(&db, &mut known, &graves, 32_630, Path::new("a.gpkg"));
    writer.insert_whole(&Arc::new(field.clone())).unwrap();
    field.remarks.photographs = vec!["gate.jpg".into(), "from the air, “low”.jpg".into()];
    let list = serde_json::to_string(&field.remarks.photographs).unwrap();
    db.execute("UPDATE fields SET photographs = ?1", [list]).unwrap();
    db.execute_batch(
        "INSERT INTO fields (id, photographs, name) VALUES ('odd', 'no list', 'odd');
         CREATE TABLE theirs (x); INSERT INTO theirs VALUES ('kept')",
    )
    .unwrap();
    field
}

#[test]
fn a_file_of_schema_1_is_brought_up_after_a_backup() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let field = of_schema_1(&path);
    let before = std::fs::read(&path).unwrap();
    // Looking changes nothing.
    assert_eq!(*read(&path, &NoProgress).unwrap().value.fields[0], field);
    assert_eq!(std::fs::read(&path).unwrap(), before);
    let loaded = opened(&path);
    assert_eq!(*loaded.value.1.fields[0], field);
    let backup = folder.path().join("a.backup-v1-20261125.gpkg");
    assert!(loaded.warnings[0].message.ends_with(&backup.display().to_string()), "{:?}", loaded.warnings);
    drop(loaded);
    assert_eq!(count(&path, "theirs WHERE x = 'kept'"), 1);
    assert_eq!(count(&path, "fields WHERE photographs = 'no list'"), 1, "what was not understood stays");
    assert_eq!(count(&backup, "sparefield_meta WHERE key = 'schema_version' AND value = '1'"), 1);
    assert_eq!(*opened(&path).value.1.fields[0], field);
    assert_eq!(backup::newest(&path), Some(backup.clone()));
    // A damaged file names the backup that lies beside it.
    std::fs::write(&path, "").unwrap();
    let told = AreaFile::open(&path, TODAY, &NoProgress).unwrap_err().to_string();
    assert!(told.contains("open the backup a.backup-v1-20261125.gpkg"), "{told}");
}

#[test]
fn a_file_of_schema_2_gets_tables_for_drills() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let db = connect::make(&path).unwrap();
    schema::create_v1(&db, &bare(Vec::new()).frame).unwrap();
    db.execute_batch(include_str!("schema_v2.sql")).unwrap();
    schema::put_meta(&db, "schema_version", "2").unwrap();
    let mut known = Known::default();
    let graves = Graves::default();
    let mut writer = Writer::new(&db, &mut known, &graves, 32_630, Path::new("a.gpkg"));
    writer.insert_whole(&Arc::new(square(0))).unwrap();
    db.execute_batch("CREATE TABLE theirs (x); INSERT INTO theirs VALUES ('kept')").unwrap();
    drop(db);
    let before = std::fs::read(&path).unwrap();
    assert_eq!(*read(&path, &NoProgress).unwrap().value.drill_sets, Vec::new());
    assert_eq!(std::fs::read(&path).unwrap(), before, "looking changes nothing");
    let (mut file, parts) = opened(&path).value;
    assert_eq!((*parts.fields[0]).clone(), square(0));
    assert!(folder.path().join("a.backup-v2-20261125.gpkg").exists());
    file.write(&Edit::new("drill", vec![flown("r1")])).unwrap();
    assert_eq!((count(&path, "theirs WHERE x = 'kept'"), count(&path, "drill_results")), (1, 1));
    assert_eq!(count(&path, "gpkg_contents WHERE table_name LIKE 'drill_%'"), 2);
}

prop_compose! {
    fn any_sortie()(
        texts in proptest::collection::vec(words(), 7), numbers in proptest::collection::vec(0.0..1e6_f64, 6),
        started in proptest::option::of(0_i64..4_000_000_000), source in 0..4_usize, by_user in any::<bool>(),
        bytes in proptest::collection::vec(any::<u8>(), 0..300), marks in 0..3_usize, columns in any::<bool>(),
        fixes in any::<u32>(), recording in 0..9_u32,
    ) -> Sortie {
        use crate::track::csv::{CsvHeight, CsvHeightKind, CsvMapping, CsvTime};
        use crate::track::{Datum, HeightChoice, HeightSource};
        let n = |i: usize| numbers[i];
        let source = [
            HeightSource::None,
            HeightSource::Satellite { datum: Datum::MeanSeaLevel },
            HeightSource::Satellite { datum: Datum::Ellipsoid },
            HeightSource::Pressure { qnh_hpa: 900.0 + n(0) / 1e4 },
        ][source];
        let mapping = CsvMapping {
            delimiter: ';', skip_rows: 3, time: CsvTime::DateAndTime { date: 1, time: 2, offset: None }, lon: 3, lat: 4,
            satellite_height: Some(CsvHeight { column: 5, unit_m: n(1), kind: CsvHeightKind::Ellipsoid }),
            pressure_height: None, engine: Some(6),
        };
        let mark = |i: usize| ExerciseMark {
            kind: texts[0].clone(), start_s: n(2), end_s: n(2) + i as f64, deleted: i == 1, note: texts[1].clone(),
        };
        Sortie {
            id: texts[2].clone(), name: texts[3].clone(), aircraft: texts[4].clone(), pilot: texts[5].clone(),
            note: texts[6].clone(), started: started.map(|s| jiff::Timestamp::from_second(s).unwrap()),
            duration_s: started.map(|_| n(3)), fixes, heights: HeightChoice { source, offset_m: n(4) - n(5) },
            heights_by_user: by_user, columns: columns.then_some(mapping),
            original: Original::new(Path::new("a flight.igc"), bytes), recording, marks: (0..marks).map(mark).collect(),
            wind: by_user.then(|| GivenWind {
                surface: columns.then(|| GivenVector { from_true_rad: n(1) / 1e6, speed_ms: n(2) / 1e6 }),
                aloft: vec![(n(3), GivenVector { from_true_rad: n(4) / 1e6, speed_ms: n(5) / 1e6 })],
            }),
            measured: Measured::default(),
        }
    }
}

/// An invented sortie, as the window makes it of a recorder's file.
fn flight(number: u32) -> Sortie {
    use crate::track::{HeightChoice, HeightSource, from_bytes};
    let text = format!(
        "AXXX\nHFDTE010125\nB1000005100{number:03}N00200000WA0010000100\nB1000015100{number:03}N00200000WA0010000100\n"
    );
    let path = Path::new("flight.igc");
    let recordings = from_bytes(path, text.as_bytes()).unwrap().value;
    let heights = HeightChoice::of(HeightSource::None);
    let original = Original::new(path, text.into_bytes());
    Sortie::new(format!("sortie-{number}"), &recordings[0], 0, original, heights)
}

#[test]
fn sorties_are_added_marked_renamed_taken_away_and_brought_back_with_their_recorders_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sample.gpkg");
    let (parts, mut area) = sample();
    let mut file = AreaFile::create(&path, &parts).unwrap();
    let mark = |start_s: f64, deleted| ExerciseMark {
        kind: "practice-failure".into(),
        start_s,
        end_s: start_s + 40.0,
        deleted,
        note: "too low".into(),
    };
    let take = |area: &mut Area, file: &mut AreaFile, changes: Vec<Change>| {
        let edit = Edit::new("sorties", changes);
        area.apply(&edit).unwrap();
        file.write(&edit).unwrap();
        assert_eq!(read(&path, &NoProgress).unwrap().value.sorties, area.sorties);
        edit
    };
    let add = |n| Change::Sortie(Swap::add(flight(n)));
    take(&mut area, &mut file, vec![add(1), add(2)]);
    sql(&path, "ALTER TABLE exercise_marks ADD theirs TEXT; ALTER TABLE sorties ADD theirs TEXT");
    let first = Arc::clone(&area.sorties[0]);
    let marked = Sortie { marks: vec![mark(10.0, false), mark(70.0, true)], ..(*first).clone() };
    take(&mut area, &mut file, vec![Change::Sortie(Swap::replace(&first, marked))]);
    sql(&path, "UPDATE exercise_marks SET theirs = 'kept'; UPDATE sorties SET theirs = 'kept'");
    let first = Arc::clone(&area.sorties[0]);
    let moved = Sortie {
        id: "evening".into(),
        name: "Evening".into(),
        marks: vec![mark(12.0, false), mark(70.0, true), mark(200.0, false)],
        ..(*first).clone()
    };
    let renamed = take(&mut area, &mut file, vec![Change::Sortie(Swap::replace(&first, moved))]);
    assert_eq!(count(&path, "exercise_marks WHERE sortie = 'evening' AND theirs = 'kept'"), 2);
    assert_eq!(count(&path, "sorties WHERE id = 'evening' AND theirs = 'kept'"), 1);
    let first = Arc::clone(&area.sorties[0]);
    let away = take(&mut area, &mut file, vec![Change::Sortie(Swap::remove(&first))]);
    assert_eq!((count(&path, "sorties"), count(&path, "exercise_marks")), (1, 0));
    for edit in [away, renamed] {
        area.take_back(&edit).unwrap();
        file.write(&edit.inverse()).unwrap();
    }
    let mut now = read(&path, &NoProgress).unwrap().value.sorties.to_vec();
    now.sort_by(|a, b| a.id.cmp(&b.id));
    assert_eq!(now, *area.sorties, "the order of the file is that of adding");
    // From the file, not from memory; and a file is packed once however many sorties it has.
    let kept = &now[0];
    assert!(kept.original.held.is_none());
    assert_eq!(kept.read(Some(&path)).unwrap().value, area.sorties[0].read(None).unwrap().value);
    assert_eq!(original(&path, &kept.original.key).unwrap(), **area.sorties[0].original.held.as_ref().unwrap());
    let twin = Sortie { id: "twin".into(), ..flight(2) };
    take_any(&mut area, &mut file, vec![Change::Sortie(Swap::add(twin))]);
    assert_eq!((count(&path, "sorties"), count(&path, "sortie_originals")), (3, 2));
    // What no sortie names is cleared away only when nothing can be undone any more.
    let gone = area.sorties.iter().find(|s| s.id == "sortie-1").map(Swap::remove).unwrap();
    take_any(&mut area, &mut file, vec![Change::Sortie(gone)]);
    assert_eq!(count(&path, "sortie_originals"), 2);
    drop(file);
    drop(opened(&path));
    assert_eq!(count(&path, "sortie_originals"), 1);
    let lost = original(&path, &kept.original.key).unwrap_err().to_string();
    assert!(lost.contains("add the recorder's file again"), "{lost}");
}

fn take_any(area: &mut Area, file: &mut AreaFile, changes: Vec<Change>) {
    let edit = Edit::new("sorties", changes);
    area.apply(&edit).unwrap();
    file.write(&edit).unwrap();
}

#[test]
fn a_sortie_that_another_program_spoiled_costs_itself() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let parts = AreaParts { sorties: Arc::new((1..4).map(|n| Arc::new(flight(n))).collect()), ..bare(Vec::new()) };
    drop(AreaFile::create(&path, &parts).unwrap());
    sql(
        &path,
        "UPDATE sorties SET heights = 'high', fixes = 'many', started = 'once' WHERE id = 'sortie-1';
         UPDATE sorties SET original = 'nowhere' WHERE id = 'sortie-2';
         UPDATE sortie_originals SET packed = x'00FF' WHERE key = (SELECT original FROM sorties WHERE id = 'sortie-3');
         INSERT INTO sorties (id, name) VALUES ('sortie-1', 'twin'), (NULL, NULL);
         INSERT INTO exercise_marks (sortie, number, start_s) VALUES ('sortie-1', 0, 5.0), (7, 'x', 'y')",
    );
    let loaded = opened(&path);
    let sorties = &loaded.value.1.sorties;
    assert_eq!(sorties.len(), 3);
    assert_eq!((sorties[0].fixes, sorties[0].started, sorties[0].marks.len()), (0, None, 0));
    let words: Vec<_> = loaded.warnings.iter().map(ToString::to_string).collect();
    for part in ["“twin” has no identifier", "choose it again", "is not in the file", "no beginning and end"] {
        assert!(words.iter().any(|w| w.contains(part)), "{part}: {words:?}");
    }
    assert!(sorties[2].read(Some(&path)).unwrap_err().to_string().contains("damaged"));
    assert_eq!(count(&path, "sorties"), 5, "what cannot be used stays");
}

#[test]
fn a_file_of_schema_3_gets_tables_for_sorties() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let db = connect::make(&path).unwrap();
    schema::create_v1(&db, &bare(Vec::new()).frame).unwrap();
    db.execute_batch(include_str!("schema_v2.sql")).unwrap();
    db.execute_batch(include_str!("schema_v3.sql")).unwrap();
    schema::put_meta(&db, "schema_version", "3").unwrap();
    db.execute_batch("CREATE TABLE theirs (x); INSERT INTO theirs VALUES ('kept')").unwrap();
    drop(db);
    let (mut file, parts) = opened(&path).value;
    assert_eq!(*parts.sorties, Vec::new());
    assert!(folder.path().join("a.backup-v3-20261125.gpkg").exists());
    file.write(&Edit::new("add a sortie", vec![Change::Sortie(Swap::add(flight(1)))])).unwrap();
    assert_eq!((count(&path, "theirs WHERE x = 'kept'"), count(&path, "sorties")), (1, 1));
    assert_eq!(count(&path, "gpkg_contents WHERE table_name IN ('sorties', 'exercise_marks', 'sortie_originals')"), 3);
}

#[test]
fn what_was_measured_and_the_wind_given_are_kept_and_older_files_get_room_for_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.gpkg");
    let db = connect::make(&path).unwrap();
    schema::create_v1(&db, &bare(Vec::new()).frame).unwrap();
    for step in [include_str!("schema_v2.sql"), include_str!("schema_v3.sql"), include_str!("schema_v4.sql")] {
        db.execute_batch(step).unwrap();
    }
    schema::put_meta(&db, "schema_version", "4").unwrap();
    db.execute_batch("INSERT INTO sorties (id, name) VALUES ('old', 'Old'); ALTER TABLE sorties ADD theirs TEXT")
        .unwrap();
    drop(db);
    let (mut file, parts) = opened(&path).value;
    assert_eq!(parts.sorties[0].wind, None);
    assert!(folder.path().join("a.backup-v4-20261125.gpkg").exists());
    let old = Arc::clone(&parts.sorties[0]);
    let surface = Some(GivenVector { from_true_rad: 4.0, speed_ms: 6.0 });
    let given = Sortie { wind: Some(GivenWind { surface, aloft: Vec::new() }), ..(*old).clone() };
    let exercise = KeptExercise { base_leg_m: Some(240.5), regret: Some(1.0), ..KeptExercise::default() };
    let kept = KeptMeasures { from: given.measured_from(), exercises: vec![exercise], ..KeptMeasures::default() };
    let given = Sortie { measured: Measured(Some(Arc::new(kept.clone()))), ..given };
    file.write(&Edit::new("give a wind", vec![Change::Sortie(Swap::replace(&old, given.clone()))])).unwrap();
    let read_back = read(&path, &NoProgress).unwrap().value.sorties;
    assert_eq!(read_back[0].wind, given.wind);
    assert_eq!(read_back[0].measures().map(|m| (**m).clone()), Some(kept));
    // What another program spoiled costs itself.
    drop(file);
    sql(
        &path,
        "UPDATE sorties SET wind_given = '{\"aloft\":[[0,{\"from_true_rad\":1,\"speed_ms\":9e9}]]}', measures = 'many'",
    );
    let spoiled = opened(&path);
    assert_eq!((&spoiled.value.1.sorties[0].wind, spoiled.value.1.sorties[0].measures()), (&None, None));
    assert!(spoiled.warnings.iter().any(|w| w.to_string().contains("give it again")));
}

fn flown(id: &str) -> Change {
    Change::DrillResult(Arc::new(crate::drills::tests::result(id)))
}

#[test]
fn drill_sets_are_edited_and_undone_and_results_only_ever_added() {
    use sparefield_geometry::drill::{DrillRobustness, ManyFlights};
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sample.gpkg");
    let (parts, mut area) = sample();
    let mut file = AreaFile::create(&path, &parts).unwrap();
    sql(
        &path,
        "ALTER TABLE drill_sets ADD theirs TEXT; UPDATE drill_sets SET theirs = 'kept';
         ALTER TABLE drill_results ADD theirs TEXT; INSERT INTO drill_results (id, document) VALUES ('odd', 'no document')",
    );
    let (first, second) = (Arc::clone(&area.drill_sets[0]), Arc::clone(&area.drill_sets[1]));
    let renamed = DrillSet { name: "Renamed".into(), id: "renamed".into(), seed: 4, ..(*first).clone() };
    let new = DrillSet { id: "new".into(), ..(*first).clone() };
    let edit = Edit::new(
        "drills",
        vec![
            Change::DrillSet(Swap::replace(&first, renamed)),
            Change::DrillSet(Swap::remove(&second)),
            Change::DrillSet(Swap::add(new)),
            flown("r1"),
            flown("r2"),
        ],
    );
    for (edit, words) in [(edit.clone(), "made"), (edit.inverse(), "undone"), (edit, "made again")] {
        area.apply(&edit).unwrap();
        file.write(&edit).unwrap();
        let now = read(&path, &NoProgress).unwrap();
        let sorted = |sets: &[Arc<DrillSet>]| {
            let mut sets = sets.to_vec();
            sets.sort_by(|a, b| a.id.cmp(&b.id));
            sets
        };
        assert_eq!(sorted(&now.value.drill_sets), sorted(&area.drill_sets), "{words}");
        assert_eq!(now.value.drill_results, area.drill_results, "{words}");
        assert_eq!(now.value.drill_results.len(), 2, "{words}");
        assert!(now.warnings.iter().any(|w| w.message.contains("it stays in the file")), "{:?}", now.warnings);
    }
    // What came of flying its circuits many times is added once, and changes nothing else.
    let known = |share| DrillResult {
        robustness: Some(DrillRobustness { chosen: Some(ManyFlights { flights: 10_000, share }), best: None }),
        pilot: "Somebody else".into(),
        ..crate::drills::tests::result("r1")
    };
    for share in [0.25, 0.75] {
        let edit = Edit::new("drill", vec![Change::DrillResult(Arc::new(known(share)))]);
        area.apply(&edit).unwrap();
        file.write(&edit).unwrap();
        let now = read(&path, &NoProgress).unwrap().value.drill_results;
        assert_eq!(now, area.drill_results);
        let expected = DrillResult { robustness: known(0.25).robustness, ..crate::drills::tests::result("r1") };
        assert_eq!((now.len(), &*now[0]), (2, &expected));
    }
    assert_eq!(count(&path, "drill_sets WHERE id = 'renamed' AND theirs = 'kept'"), 1);
    assert_eq!(count(&path, "drill_results WHERE document = 'no document'"), 1);
}

#[test]
fn a_drill_set_that_another_program_spoiled_costs_itself() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sample.gpkg");
    let (parts, _) = sample();
    drop(AreaFile::create(&path, &parts).unwrap());
    sql(
        &path,
        "UPDATE drill_sets SET name = 'Theirs', drills = 'many' WHERE fid = 1;
         INSERT INTO drill_sets (id, name, definition) SELECT id, 'twin', definition FROM drill_sets WHERE fid = 1;
         INSERT INTO drill_sets (id, name, definition) VALUES ('bad', 'Bad', '{}'), (NULL, NULL, NULL)",
    );
    let loaded = opened(&path);
    let names: Vec<_> = loaded.value.1.drill_sets.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["Theirs", "Anywhere around home"]);
    assert_eq!(loaded.value.1.drill_sets[0].drills, parts.drill_sets[0].drills, "no number: the definition's counts");
    let words: Vec<_> = loaded.warnings.iter().map(ToString::to_string).collect();
    assert!(words.iter().any(|w| w.contains("drill_sets, row 3") && w.contains("“twin”")), "{words:?}");
    assert!(words.iter().any(|w| w.contains("“Bad” is not understood")), "{words:?}");
    assert_eq!(count(&path, "drill_sets"), 5, "what cannot be used stays");
}

prop_compose! {
    fn any_drill_set()(
        n in proptest::array::uniform8(0.0..1.0_f64), texts in proptest::array::uniform3(words()), seed in any::<u64>(),
        joins in proptest::collection::vec(0..5_usize, 0..3), both_ways in any::<bool>(), drills in 1..1_000_u32,
    ) -> DrillSet {
        use sparefield_geometry::circuit::Join;
        use sparefield_geometry::drill::{DrillWind, Place, Told};
        let at = |i: usize| Xy::new(4.0e5 + 1e5 * n[i], 5.7e6 + 1e5 * n[(i + 1) % 8]);
        let wind = |from: Option<f64>, told| DrillWind {
            from_grid: from.map(sparefield_geometry::position::Bearing::from_rad), speed_ms: 20.0 * n[1], told,
            direction_error_rad: n[2], speed_error_ms: n[3],
        };
        DrillSet {
            id: "set".to_owned() + &texts[0], name: texts[1].clone(), seed, drills,
            places: vec![
                Place::Route { line: vec![at(0), at(2) + Xy::new(1e5, 0.0)], both_ways },
                Place::Circle { centre: at(4), radius_m: 1.0 + n[5] },
                Place::HomeStrip { within_m: n[6] },
                Place::Area { outer: square(4).outer },
            ],
            lowest_agl_m: 100.0 * n[4] + 1.0, highest_agl_m: 500.0 + n[5],
            winds: vec![wind(Some(n[7]), Told::Everything), wind(None, Told::Nothing)],
            aircraft: texts[2].clone(), joins: joins.into_iter().map(|j| Join::ALL[j]).collect(),
            shortest_run_s: n[0], longest_run_s: 1.0 + n[1],
        }
    }
}

#[test]
fn a_copy_holds_everything_and_finds_the_terrain() {
    let folder = tempfile::tempdir().unwrap();
    let (path, other) = (folder.path().join("a.gpkg"), folder.path().join("elsewhere"));
    std::fs::create_dir(&other).unwrap();
    let files = vec![folder.path().join("heights.tif")];
    let parts = AreaParts {
        terrain: TerrainSource::Files { files: files.clone(), crs: None, grid_m: None },
        ..bare(vec![square(0)])
    };
    let mut file = AreaFile::create(&path, &parts).unwrap();
    file.put_setting("shown", &["relief", "slope"]).unwrap();
    let copy = other.join("copy.gpkg");
    file.save_copy(&copy, false).unwrap();
    assert_eq!(file.save_copy(&copy, false).unwrap_err().trouble, Trouble::Exists);
    assert_eq!(file.save_copy(&path, true).unwrap_err().trouble, Trouble::Exists, "a file is no copy of itself");
    let loaded = opened(&copy);
    let TerrainSource::Files { files: found, .. } = &loaded.value.1.terrain else { panic!() };
    assert_eq!(found, &[other.join("../heights.tif")]);
    assert_eq!(loaded.value.0.setting::<Vec<String>>("shown").unwrap().unwrap(), ["relief", "slope"]);
    assert_eq!(loaded.value.1.fields, parts.fields);
    assert_eq!(loaded.value.0.setting::<String>("shown").unwrap(), None, "a setting of another kind is none");
}

prop_compose! {
    fn words()(text in "[ -~äß“\\n]{0,12}") -> String { text }
}

prop_compose! {
    fn any_edge()(kind in 0..7_usize, height in proptest::option::of(0.0..60.0_f64)) -> BoundaryEdge {
        BoundaryEdge { kind: EdgeKind::ALL[kind], height_m: height }
    }
}

prop_compose! {
    fn any_field(stem: &'static str)(
        middle in (4.0e5..6.0e5_f64, 5.7e6..5.8e6_f64),
        radii in proptest::collection::vec(50.0..300.0_f64, 3..10),
        edges in proptest::collection::vec(any_edge(), 10),
        number in any::<u32>(), texts in proptest::array::uniform7(words()),
        surface in 0..8_usize, stock in 0..3_usize,
        days in proptest::array::uniform2(proptest::option::of(-4_000..60_000_i32)),
        months in proptest::array::uniform12(proptest::option::of(0..8_usize)),
        year in proptest::option::of(1900..2100_i32),
        photographs in proptest::collection::vec(words(), 0..4),
        other in proptest::collection::vec((words(), words()), 0..3),
        hole in any::<bool>(),
    ) -> Field {
        let count = radii.len() as f64;
        let ring: Vec<Xy> = radii.iter().enumerate().map(|(i, r)| {
            let bearing = -(i as f64) / count * std::f64::consts::TAU;
            let (sin, cos) = sparefield_geometry::math::sin_cos(bearing);
            Xy::new(middle.0 + sin * r, middle.1 + cos * r)
        }).collect();
        let day = |d: Option<i32>| d.map(|days_since_epoch| Day { days_since_epoch });
        let mut field = Field::new(format!("{stem}{number}"), ring);
        if hole {
            let at = |x: f64, y: f64| Xy::new(middle.0 + x, middle.1 + y);
            field.holes = vec![vec![at(0.0, 0.0), at(0.0, 4.0), at(4.0, 0.0)]];
        }
        let sides = field.outer.len();
        field.edges.copy_from_slice(&edges[..sides]);
        field.surface = Surface::ALL[surface];
        field.stock = Stock::ALL[stock];
        [field.surveyed, field.stock_seen] = days.map(day);
        field.calendar.months = months.map(|m| m.map(|i| Surface::ALL[i]));
        field.calendar.year = year;
        field.remarks.photographs = photographs;
        field.other = other;
        let [name, notes, crop, hazards, access, permission, _] = texts;
        (field.name, field.notes, field.calendar.crop) = (name, notes, crop);
        (field.remarks.hazards, field.remarks.access, field.remarks.permission) = (hazards, access, permission);
        field
    }
}

prop_compose! {
    fn any_area()(
        fields in proptest::collection::vec(any_field("f"), 0..4),
        candidates in proptest::collection::vec(any_field("p"), 0..3),
        numbers in proptest::collection::vec(0.0..1e6_f64, 12),
        texts in proptest::collection::vec(words(), 8),
        poles in proptest::collection::vec(proptest::option::of(0.0..40.0_f64), 3),
        kinds in (0..7_usize, 0..4_usize), refused in any::<bool>(), start in any::<bool>(),
        set in any_drill_set(), sorties in proptest::collection::vec(any_sortie(), 0..4),
    ) -> AreaParts {
        let n = |i: usize| numbers[i];
        let at = |i: usize| Xy::new(n(i), n(i + 1));
        let text = |i: usize| texts[i].clone();
        let bearing = |i: usize| sparefield_geometry::position::Bearing::from_deg(n(i));
        let mut parts = bare(fields);
        // What two fields say of one side may differ, and each keeps what it said.
        if let Some(first) = parts.fields.first() {
            let mut twin = (**first).clone();
            twin.id.push_str(" twin");
            twin.edges[0] = BoundaryEdge { kind: EdgeKind::Wires, height_m: Some(n(0)) };
            twin.edges[1] = BoundaryEdge::UNKNOWN;
            Arc::make_mut(&mut parts.fields).push(Arc::new(twin));
        }
        parts.title = text(0);
        let proposal = |field: Field| Proposal {
            field, score: n(1) / 1e6, strip_length_m: n(2), checked: texts[1..3].to_vec(), not_checked: texts[3..4].to_vec(),
            refused,
        };
        parts.proposals = Arc::new(candidates.into_iter().map(|f| Arc::new(proposal(f))).collect());
        let kind = HazardKind::ALL[kinds.0];
        let wires = Hazard {
            pole_heights_m: poles, name: text(4), other: vec![(text(5), text(6))],
            ..Hazard::new("h1", kind, HazardShape::Line(vec![at(0), at(2), at(4)]))
        };
        let mast = Hazard { height_m: Some(n(3)), ..Hazard::new("h2", kind, HazardShape::Point(at(5))) };
        let wood = Hazard::new("h3", kind, HazardShape::Area { outer: square(0).outer, holes: Vec::new() });
        parts.hazards = Arc::new([wires, mast, wood].map(Arc::new).to_vec());
        let zone = QuietZone {
            id: text(7) + "q", kind: QuietKind::ALL[kinds.1], name: text(5), outer: square(3).outer, below_agl_m: n(7),
        };
        parts.quiet_zones = Arc::new(vec![Arc::new(zone)]);
        parts.lanes = Arc::new(vec![Lane { kind: crate::area::LaneKind::River, name: text(2), line: vec![at(1), at(7)] }]);
        let end = crate::area::RunwayEnd {
            name: text(3), heading_true: bearing(8), threshold: at(9), elevation_amsl_m: n(10),
        };
        parts.home = start.then(|| Home {
            name: text(6), field_id: text(7), position: at(2), elevation_amsl_m: -n(5), runway_length_m: n(6),
            runway_width_m: n(7), ends: vec![end],
        });
        let wind = crate::quantity::ReportedWind { from: start.then(|| bearing(3)), speed_ms: n(4), gust_ms: None };
        let mut flown = crate::drills::tests::result(&text(1));
        (flown.heading_grid_rad, flown.height_agl_m, flown.pilot) = (n(9) / 1e6, n(10), text(2));
        parts.drill_results = Arc::new(vec![Arc::new(flown)]);
        parts.drill_sets = Arc::new(vec![Arc::new(set)]);
        let numbered = sorties.into_iter().enumerate();
        let numbered = numbered.map(|(i, s)| Arc::new(Sortie { id: format!("sortie-{i}{}", s.id), ..s }));
        parts.sorties = Arc::new(numbered.collect());
        parts.start = Some(Start { position: at(6), height_agl_m: n(8), heading_true: bearing(9), wind });
        parts
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_area_comes_back_bit_for_bit(parts in any_area()) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.gpkg");
        drop(AreaFile::create(&path, &parts).unwrap());
        let loaded = opened(&path);
        prop_assert_eq!(&loaded.warnings, &Vec::new());
        prop_assert_eq!(&loaded.value.1, &parts);
    }
}
