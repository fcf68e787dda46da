use super::*;
use crate::area::{Change, Swap};
use crate::error::NoProgress;
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
        home: None,
        start: None,
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
