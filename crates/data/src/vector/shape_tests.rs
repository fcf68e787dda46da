use super::super::record::Notes;
use super::super::{VectorOptions, fields, hazards, load_edges, load_fields, load_hazards};
use crate::frame::{Crs, Frame};
use proptest::prelude::*;
use shapefile::dbase::{FieldValue, Record as Row, TableWriterBuilder};
use shapefile::{Multipatch, Patch, Point, PointZ, Polygon, PolygonRing, PolygonZ, Polyline, Shape, ShapeWriter};
use sparefield_geometry::fields::model::{EdgeKind, HazardKind, HazardShape, Surface};
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};

/// EPSG:32630 as Esri writes it.
const UTM_30: &str = "PROJCS[\"WGS_1984_UTM_Zone_30N\",GEOGCS[\"GCS_WGS_1984\",DATUM[\"D_WGS_1984\",SPHEROID[\"WGS_1984\",6378137.0,298.257223563]],PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]],PROJECTION[\"Transverse_Mercator\"],PARAMETER[\"False_Easting\",500000.0],PARAMETER[\"False_Northing\",0.0],PARAMETER[\"Central_Meridian\",-3.0],PARAMETER[\"Scale_Factor\",0.9996],PARAMETER[\"Latitude_Of_Origin\",0.0],UNIT[\"Meter\",1.0]]";

fn frame() -> Frame {
    Frame::from_user("EPSG:32630").unwrap()
}

struct Folder {
    folder: tempfile::TempDir,
}

impl Folder {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }
    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
    fn shapes(&self, shapes: Vec<Shape>) -> PathBuf {
        let path = self.path("layer.shp");
        let mut writer = ShapeWriter::from_path(&path).unwrap();
        for shape in shapes {
            match shape {
                Shape::Polygon(s) => writer.write_shape(&s).unwrap(),
                Shape::PolygonZ(s) => writer.write_shape(&s).unwrap(),
                Shape::Polyline(s) => writer.write_shape(&s).unwrap(),
                Shape::Multipatch(s) => writer.write_shape(&s).unwrap(),
                Shape::Point(s) => writer.write_shape(&s).unwrap(),
                _ => panic!("not written here"),
            }
        }
        drop(writer);
        std::fs::write(self.path("layer.prj"), UTM_30).unwrap();
        path
    }
    /// A table of text columns.
    fn table(&self, columns: &[&str], rows: &[&[&str]]) {
        let mut builder = TableWriterBuilder::new();
        for name in columns {
            builder = builder.add_character_field((*name).try_into().unwrap(), 40);
        }
        let mut writer = builder.build_with_file_dest(self.path("layer.dbf")).unwrap();
        for row in rows {
            let mut record = Row::default();
            for (name, value) in columns.iter().zip(*row) {
                record.insert((*name).to_owned(), FieldValue::Character(Some((*value).to_owned())));
            }
            writer.write_record(&record).unwrap();
        }
    }
}

fn ring(x: f64, size: f64, clockwise: bool) -> Vec<Point> {
    let mut points: Vec<Point> = [(0.0, 0.0), (0.0, size), (size, size), (size, 0.0), (0.0, 0.0)]
        .iter()
        .map(|(dx, dy)| Point::new(500_000.0 + x + dx, 5_700_000.0 + x + dy))
        .collect();
    if !clockwise {
        points.reverse();
    }
    points
}

fn square(x: f64, size: f64) -> Shape {
    Shape::Polygon(Polygon::new(PolygonRing::Outer(ring(x, size, true))))
}

fn load(path: &Path) -> crate::Loaded<Vec<sparefield_geometry::fields::model::Field>> {
    load_fields(path, &frame(), &VectorOptions::default()).unwrap()
}

fn said(loaded: &crate::Loaded<impl Sized>) -> String {
    loaded.warnings.iter().flat_map(|w| [w.to_string(), "\n".to_owned()]).collect()
}

#[test]
fn fields_with_a_table() {
    let folder = Folder::new();
    let path = folder.shapes(vec![square(0.0, 100.0), square(200.0, 50.0)]);
    folder.table(
        &["ID", "Name", "SURFACE", "Owner"],
        &[&["f1", "Long Acre", "Stubble", "A"], &["f2", "", "moon dust", "B"]],
    );
    let loaded = load(&path);
    assert_eq!(loaded.value.len(), 2);
    let [first, second] = loaded.value.as_slice() else { panic!() };
    assert_eq!((first.id.as_str(), first.name.as_str(), first.surface), ("f1", "Long Acre", Surface::Stubble));
    assert!((first.area_m2() - 10_000.0).abs() < 1e-6);
    assert_eq!(first.other, [("Owner".to_owned(), "A".to_owned())]);
    assert_eq!(second.surface, Surface::Unknown);
    assert!(second.other.contains(&("SURFACE".to_owned(), "moon dust".to_owned())));
    assert!(said(&loaded).contains("record 2 (f2): “moon dust” is no surface"));
    assert!(
        loaded.provenance[0].contains("Shapefile") && loaded.provenance[0].contains("2 areas"),
        "{:?}",
        loaded.provenance
    );
}

#[test]
fn holes_parts_and_directions() {
    let folder = Folder::new();
    let two = Polygon::with_rings(vec![
        PolygonRing::Outer(ring(0.0, 100.0, true)),
        PolygonRing::Inner(ring(10.0, 20.0, false)),
        PolygonRing::Outer(ring(300.0, 50.0, true)),
    ]);
    let loaded = load(&folder.shapes(vec![Shape::Polygon(two)]));
    let areas: Vec<f64> = loaded.value.iter().map(|f| f.area_m2().round()).collect();
    assert_eq!(areas, [9_600.0, 2_500.0]);
    assert_eq!(loaded.value[0].id, "field-1-1");
    assert_eq!(loaded.value[1].id, "field-1-2");
    assert!(said(&loaded).contains("2 separate parts"));
    assert!(said(&loaded).contains("no .dbf file"));
    // A hole that runs the same way round as its outline, written past the writer's own sorting.
    let path = folder.shapes(vec![Shape::Polygon(Polygon::with_rings(vec![
        PolygonRing::Outer(ring(0.0, 100.0, true)),
        PolygonRing::Outer(ring(10.0, 20.0, true)),
    ]))]);
    let loaded = load(&path);
    assert_eq!(loaded.value.len(), 1);
    assert_eq!(loaded.value[0].holes.len(), 1);
    assert!(said(&loaded).contains("wrong way round"));
}

#[test]
fn heights_in_shapes_and_bodies() {
    let folder = Folder::new();
    let z = PolygonZ::new(PolygonRing::Outer(
        ring(0.0, 100.0, true).iter().map(|p| PointZ::new(p.x, p.y, 123.0, shapefile::NO_DATA)).collect(),
    ));
    assert_eq!(load(&folder.shapes(vec![Shape::PolygonZ(z)])).value.len(), 1);
    let body = Multipatch::new(Patch::OuterRing(
        ring(0.0, 10.0, true).iter().map(|p| PointZ::new(p.x, p.y, 1.0, shapefile::NO_DATA)).collect(),
    ));
    let loaded = load(&folder.shapes(vec![Shape::Multipatch(body)]));
    assert!(loaded.value.is_empty());
    assert!(said(&loaded).contains("record 1: it is a multipatch"), "{}", said(&loaded));
}

#[test]
fn companions_may_be_missing_or_in_capitals() {
    let folder = Folder::new();
    let path = folder.shapes(vec![square(0.0, 100.0)]);
    std::fs::remove_file(folder.path("layer.shx")).unwrap();
    assert_eq!(load(&path).value.len(), 1);
    std::fs::rename(folder.path("layer.prj"), folder.path("layer.PRJ")).unwrap();
    assert_eq!(load(&path).value.len(), 1);
    std::fs::remove_file(folder.path("layer.PRJ")).unwrap();
    let error = load_fields(&path, &frame(), &VectorOptions::default()).unwrap_err();
    assert_eq!(error.kind, crate::LoadErrorKind::Crs);
    assert!(error.to_string().contains("no .prj file") && error.to_string().contains("--crs EPSG:code"), "{error}");
    let options = VectorOptions { crs_override: Some(Crs::from_epsg(32_630).unwrap()), ..VectorOptions::default() };
    assert_eq!(load_fields(&path, &frame(), &options).unwrap().value.len(), 1);
    std::fs::write(folder.path("layer.prj"), "  \n").unwrap();
    assert!(load_fields(&path, &frame(), &VectorOptions::default()).unwrap_err().to_string().contains("empty"));
    std::fs::write(folder.path("layer.prj"), "nonsense").unwrap();
    assert!(
        load_fields(&path, &frame(), &VectorOptions::default()).unwrap_err().to_string().contains("not understood")
    );
    for ending in ["shx", "dbf"] {
        let error =
            load_fields(&folder.path(&format!("layer.{ending}")), &frame(), &VectorOptions::default()).unwrap_err();
        assert!(error.to_string().contains(".shp"), "{error}");
    }
}

#[test]
fn an_index_of_another_file_is_passed_over() {
    let folder = Folder::new();
    let path = folder.shapes(vec![square(0.0, 100.0), square(200.0, 50.0)]);
    let mut index = std::fs::read(folder.path("layer.shx")).unwrap();
    index[103] = 7;
    std::fs::write(folder.path("layer.shx"), index).unwrap();
    let loaded = load(&path);
    assert_eq!(loaded.value.len(), 2);
    assert!(said(&loaded).contains(".shx file does not match"));
}

#[test]
fn deleted_rows_take_their_shape_with_them_and_no_other() {
    let folder = Folder::new();
    let path = folder.shapes(vec![square(0.0, 100.0), square(200.0, 50.0), square(400.0, 30.0)]);
    folder.table(&["id"], &[&["a"], &["b"], &["c"]]);
    let table = folder.path("layer.dbf");
    let mut bytes = std::fs::read(&table).unwrap();
    let (header, width) = (usize::from(bytes[8]), usize::from(bytes[10]));
    bytes[header + width] = b'*';
    std::fs::write(&table, bytes).unwrap();
    let loaded = load(&path);
    let got: Vec<(&str, f64)> = loaded.value.iter().map(|f| (f.id.as_str(), f.area_m2().round())).collect();
    assert_eq!(got, [("a", 10_000.0), ("c", 900.0)]);
    assert!(said(&loaded).contains("record 2: its row is marked as deleted"));
}

#[test]
fn code_pages_of_tables() {
    let folder = Folder::new();
    let path = folder.shapes(vec![square(0.0, 100.0)]);
    folder.table(&["name"], &[&["MxhleXXX"]]);
    let table = folder.path("layer.dbf");
    let plain = std::fs::read(&table).unwrap();
    let with = |driver: u8, word: &[u8], cpg: Option<&str>| {
        let mut bytes = plain.clone();
        let at = bytes.windows(8).position(|w| w == b"MxhleXXX").unwrap();
        bytes[at..at + 8].fill(b' ');
        bytes[at..at + word.len()].copy_from_slice(word);
        bytes[29] = driver;
        std::fs::write(&table, bytes).unwrap();
        let cpg_path = folder.path("layer.cpg");
        match cpg {
            Some(label) => std::fs::write(&cpg_path, label).unwrap(),
            None => drop(std::fs::remove_file(&cpg_path)),
        }
        let loaded = load(&path);
        (loaded.value[0].name.clone(), said(&loaded))
    };
    assert_eq!(with(0x03, b"M\xfchle", None).0, "Mühle");
    assert_eq!(with(0x02, b"M\x81hle", None).0, "Mühle");
    assert_eq!(with(0x00, b"M\xc3\xbchle", None).0, "Mühle");
    assert_eq!(with(0x00, b"M\xfchle", None).0, "Mühle");
    assert_eq!(with(0x03, b"M\xc3\xbchle", Some("UTF-8")).0, "Mühle");
    let (name, said) = with(0x67, b"Muhle", None);
    assert_eq!(name, "Muhle");
    assert!(said.contains("code page 861 is not one that is read"), "{said}");
    assert!(with(0x03, b"M\xfchle", Some("klingon")).1.contains("“klingon” is no code page"));
}

#[test]
fn hazards_and_edges_from_shapefiles() {
    let folder = Folder::new();
    let wires = Polyline::new(vec![Point::new(500_000.0, 5_700_000.0), Point::new(500_100.0, 5_700_000.0)]);
    let path = folder.shapes(vec![Shape::Polyline(wires)]);
    folder.table(&["kind", "HEIGHT_M"], &[&["wires", "11.5"]]);
    let loaded = load_hazards(&path, &frame(), &VectorOptions::default()).unwrap();
    let [hazard] = loaded.value.hazards.as_slice() else { panic!("{loaded:?}") };
    assert_eq!((hazard.kind, hazard.height_m), (HazardKind::Wires, Some(11.5)));
    assert!(matches!(&hazard.shape, HazardShape::Line(line) if line.len() == 2));
    folder.table(&["kind", "height_ft"], &[&["hedge", "10"]]);
    let fields = Folder::new();
    let mut list = load(&fields.shapes(vec![square(0.0, 100.0)])).value;
    let edges = load_edges(&path, &mut list, &frame(), &VectorOptions::default()).unwrap();
    assert_eq!(edges.value, 1);
    let south = list[0].edges.iter().find(|e| e.kind == EdgeKind::Hedge).unwrap();
    assert!((south.height_m.unwrap() - 3.048).abs() < 1e-12);
}

#[test]
fn broken_files_name_file_place_and_remedy() {
    let folder = Folder::new();
    let path = folder.shapes(vec![square(0.0, 100.0), square(200.0, 50.0)]);
    folder.table(&["id"], &[&["a"], &["b"]]);
    let shapes = std::fs::read(&path).unwrap();
    let table = std::fs::read(folder.path("layer.dbf")).unwrap();
    let check = |name: &str, bytes: &[u8], part: &str| {
        std::fs::write(folder.path(name), bytes).unwrap();
        let error = load_fields(&path, &frame(), &VectorOptions::default()).unwrap_err().to_string();
        assert!(error.contains(part) && error.contains(name) && error.contains("; "), "{error}");
    };
    check("layer.shp", b"", "empty");
    check("layer.shp", b"GIF89a, and so on", "not a shapefile");
    check("layer.shp", &shapes[..50], "inside its header");
    check("layer.shp", &shapes[..shapes.len() - 9], "states");
    std::fs::remove_file(folder.path("layer.shx")).unwrap();
    let mut long = shapes.clone();
    long[104..108].copy_from_slice(&1_000_000_i32.to_be_bytes());
    check("layer.shp", &long, "record 1");
    long[104..108].copy_from_slice(&(-5_i32).to_be_bytes());
    check("layer.shp", &long, "record 1");
    std::fs::write(&path, &shapes).unwrap();
    check("layer.dbf", b"", "empty");
    check("layer.dbf", &table[..20], "inside its header");
    check("layer.dbf", &table[..table.len() - 30], "after 1 of 2 rows");
    let mut rows = table.clone();
    rows[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
    check("layer.dbf", &rows, "of 4294967295 rows");
    let mut wide = table.clone();
    wide[32 + 16] = 255;
    check("layer.dbf", &wide, "wider than its rows");
    std::fs::remove_file(&path).unwrap();
    assert!(load_fields(&path, &frame(), &VectorOptions::default()).unwrap_err().to_string().contains("no such file"));
}

/// Counts of two thousand million points in a file of 200 bytes: refused before anything is allocated by them.
#[test]
fn huge_counts_cost_nothing() {
    let folder = Folder::new();
    let path = folder.shapes(vec![square(0.0, 100.0)]);
    let shapes = std::fs::read(&path).unwrap();
    for at in [144, 148] {
        let mut bytes = shapes.clone();
        bytes[at..at + 4].copy_from_slice(&i32::MAX.to_le_bytes());
        std::fs::write(&path, bytes).unwrap();
        let loaded = load(&path);
        assert!(loaded.value.is_empty());
        assert!(said(&loaded).contains("record 1: its counts of parts and points contradict its length"));
    }
    let mut bytes = shapes;
    bytes[152..156].copy_from_slice(&3_i32.to_le_bytes());
    std::fs::write(&path, bytes).unwrap();
    assert!(said(&load(&path)).contains("do not follow one another"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]
    #[test]
    fn no_damage_makes_it_panic(which in 0..3usize, flips in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..4), cut in prop::option::of(any::<prop::sample::Index>())) {
        let folder = Folder::new();
        let path = folder.shapes(vec![square(0.0, 100.0), Shape::Polygon(Polygon::with_rings(vec![
            PolygonRing::Outer(ring(0.0, 100.0, true)),
            PolygonRing::Inner(ring(10.0, 20.0, false)),
        ]))]);
        folder.table(&["id", "edges"], &[&["a", "[{\"kind\":\"hedge\"}]"], &["b", ""]]);
        let victim = folder.path(["layer.shp", "layer.dbf", "layer.shx"][which]);
        let mut bytes = std::fs::read(&victim).unwrap();
        for (at, value) in flips {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        std::fs::write(&victim, bytes).unwrap();
        // Without a conversion of coordinates, which has nothing to do with damage and takes long.
        match super::read(&path) {
            Ok(layer) => {
                let placer = |[x, y]: super::Pair| Some(Xy::new(x, y)).filter(|p| p.x.is_finite() && p.y.is_finite());
                let (fields, _) = fields::fields(layer.clone(), &placer, &mut Notes::default());
                for field in fields {
                    prop_assert_eq!(field.outer.len(), field.edges.len());
                }
                let _some = hazards::hazards(layer, &placer, &mut Notes::default());
            }
            Err(error) => prop_assert!(!error.remedy.is_empty()),
        }
    }
}
