//! Files made to hurt: each is refused in one sentence, soon and without much memory.

use super::*;
use std::io::Write as _;

fn refused(name: &str, bytes: &[u8], part: &str) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    let words = inspect(&path).unwrap_err().to_string();
    assert!(words.contains(part), "{words}");
    assert!(!words.contains('\n') && words.len() < 500, "{words}");
}

#[test]
fn entities_of_a_document_are_refused() {
    let mut bomb = String::from("<?xml version=\"1.0\"?><!DOCTYPE kml [<!ENTITY a \"aaaaaaaaaa\">");
    for (new, old) in ["b", "c", "d", "e", "f", "g", "h", "i"].iter().zip(["a", "b", "c", "d", "e", "f", "g", "h"]) {
        let tenfold = format!("&{old};").repeat(10);
        bomb.extend(["<!ENTITY ", new, " \"", &tenfold, "\">"]);
    }
    bomb.push_str("]><kml><Document><name>&i;</name></Document></kml>");
    refused("bomb.kml", bomb.as_bytes(), "it declares entities of its own");
    refused("bomb.gpx", bomb.replace("kml", "gpx").as_bytes(), "it declares entities of its own");
    let outside = "<?xml version=\"1.0\"?><!DOCTYPE kml [<!ENTITY x SYSTEM \"file:///etc/passwd\">]><kml>&x;</kml>";
    refused("outside.kml", outside.as_bytes(), "it declares entities of its own");
    let subset = "<!DOCTYPE kml SYSTEM \"http://localhost/x.dtd\"><kml><Document><name>&x;</name></Document></kml>";
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("subset.kml");
    std::fs::write(&path, subset).unwrap();
    // Nothing is fetched; the name stays as it is written.
    assert_eq!(inspect(&path).unwrap().layers[0].records, 0);
}

#[test]
fn deep_nesting_is_refused() {
    for name in ["Folder", "MultiGeometry"] {
        let text = format!("<kml><Document><Placemark>{}", format!("<{name}>").repeat(100_000));
        refused("deep.kml", text.as_bytes(), "nested deeper than 256 levels");
    }
    refused("deep.gpx", format!("<gpx>{}", "<wpt>".repeat(100_000)).as_bytes(), "nested deeper than 256 levels");
    let json = format!("{{\"type\": \"FeatureCollection\", \"features\": {}", "[".repeat(100_000));
    refused("deep.geojson", json.as_bytes(), "nested deeper than 128 levels");
}

fn archive(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        archive.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

#[test]
fn archives_that_unpack_without_end_or_lead_out_are_refused() {
    let mut text = b"<kml><Document><!--".to_vec();
    text.resize(64 << 20, b' ');
    refused("bomb.kmz", &archive(&[("doc.kml", &text)]), "far more than its size explains");
    for name in ["../../doc.kml", "/etc/doc.kml", "C:\\doc.kml", "a\\..\\..\\doc.kml"] {
        refused("out.kmz", &archive(&[(name, b"<kml/>")]), "leads out of the archive");
    }
    refused("none.kmz", &archive(&[("picture.png", b"x")]), "no .kml file in its archive");
    let whole = archive(&[("doc.kml", b"<kml><Document></Document></kml>")]);
    refused("cut.kmz", &whole[..whole.len() / 2], "its archive cannot be read");
    // An archive in the archive is not opened.
    refused("nested.kmz", &archive(&[("inner.kmz", &whole)]), "no .kml file in its archive");
}

#[test]
fn broken_texts_are_refused_with_their_line() {
    refused("latin.kml", b"<kml>\n<Document><name>M\xfchle</name></Document></kml>", "line 2: it is not UTF-8 text");
    refused("cut.kml", b"<kml><Document><Placemark><name>A</na", "ends before the XML does");
    refused("cut.gpx", b"<gpx><wpt lat=\"1\" lon=\"2\"><name>A", "ends inside <name>");
    refused(
        "odd.kml",
        b"<?xml version=\"1.0\" encoding=\"x-unheard\"?><kml/>",
        "its encoding “x-unheard” is not known",
    );
    refused("wrong.kml", b"<html><body>404</body></html>", "its root is <html>");
    refused("empty.gpx", b"", "the file is empty");
}

fn database(name: &str, sql: &str) -> (tempfile::TempDir, std::path::PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    let layers = vec![ExportLayer::new("outlines", Vec::new())];
    write_vector(&path, Format::GeoPackage, &layers, &Frame::from_user("EPSG:32630").unwrap()).unwrap();
    let database = rusqlite::Connection::open(&path).unwrap();
    database.pragma_update(None, "foreign_keys", false).unwrap();
    database.execute_batch(sql).unwrap();
    database.close().unwrap();
    (folder, path)
}

#[test]
fn views_triggers_and_virtual_tables_are_never_run() {
    // A view that would never end.
    let (_folder, path) = database(
        "view.gpkg",
        "DROP TABLE outlines; CREATE VIEW outlines AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) \
         SELECT i AS fid, NULL AS geom FROM n;",
    );
    let words = inspect(&path).unwrap_err().to_string();
    assert!(words.contains("no feature table that can be read"), "{words}");
    // The list of contents as a view.
    let (_folder, path) = database(
        "contents.gpkg",
        "DROP TABLE gpkg_contents; CREATE VIEW gpkg_contents AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL \
         SELECT i + 1 FROM n) SELECT i AS table_name, 'features' AS data_type FROM n;",
    );
    assert!(inspect(&path).unwrap_err().to_string().contains("no GeoPackage"));
    // A generated column, which could make a huge value for each row.
    let (_folder, path) = database(
        "generated.gpkg",
        "CREATE TABLE big (fid INTEGER PRIMARY KEY, geom BLOB, x AS (hex(zeroblob(1000))));\
         INSERT INTO big (fid) VALUES (1); UPDATE gpkg_contents SET table_name = 'big', identifier = 'big';\
         UPDATE gpkg_geometry_columns SET table_name = 'big';",
    );
    assert!(inspect(&path).unwrap_err().to_string().contains("no feature table that can be read"));
    let before = std::fs::read(&path).unwrap();
    let _ = inspect(&path);
    assert_eq!(std::fs::read(&path).unwrap(), before, "nothing is written");
    // A trigger does not run, for nothing is written.
    let (_folder, path) =
        database("trigger.gpkg", "CREATE TRIGGER t AFTER INSERT ON outlines BEGIN DELETE FROM outlines; END;");
    assert_eq!(inspect(&path).unwrap().layers[0].records, 0);
}

#[test]
fn damaged_databases_are_refused() {
    let (_folder, path) = database("good.gpkg", "INSERT INTO outlines (geom) VALUES (zeroblob(40));");
    let preview = inspect(&path).unwrap();
    assert!(preview.layers[0].warnings[0].message.contains("no GeoPackage geometry"));
    let whole = std::fs::read(&path).unwrap();
    refused("cut.gpkg", &whole[..5_000], "it is damaged");
    refused("head.gpkg", &whole[..60], "");
    let mut mangled = whole;
    mangled[100..3_000].fill(0xff);
    refused("mangled.gpkg", &mangled, "damaged");
    refused("other.gpkg", b"no database at all, but text", "not a GeoPackage");
}

/// A table of many rows and columns in few bytes: every column but the first has no width.
fn wide_table(rows: u32, columns: u16) -> Vec<u8> {
    let header = 32 + 32 * columns + 1;
    let mut out = vec![3, 126, 11, 25];
    out.extend(rows.to_le_bytes());
    out.extend(header.to_le_bytes());
    out.extend(2_u16.to_le_bytes());
    out.resize(32, 0);
    for n in 0..columns {
        let mut descriptor = [0_u8; 32];
        descriptor[..10].copy_from_slice(format!("c{n:09}").as_bytes());
        descriptor[11] = b'C';
        descriptor[16] = u8::from(n == 0);
        out.extend(descriptor);
    }
    out.push(b'\r');
    out.resize(usize::from(header) + 2 * rows as usize, b' ');
    out
}

#[test]
fn tables_that_would_fill_the_memory_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.shp");
    let layers = vec![ExportLayer::new(
        "points",
        vec![ExportFeature { id: "a".into(), shape: ExportShape::Point(Xy::new(5e5, 5e6)), properties: Vec::new() }],
    )];
    write_vector(&path, Format::Shapefile, &layers, &Frame::from_user("EPSG:32630").unwrap()).unwrap();
    std::fs::write(path.with_extension("dbf"), wide_table(1_000_000, 2_000)).unwrap();
    // What has no width holds nothing and costs nothing.
    let layer = &inspect(&path).unwrap().layers[0];
    assert_eq!(layer.columns.len(), 1);
    std::fs::write(path.with_extension("dbf"), wide_table(30_000_000, 1)).unwrap();
    let words = inspect(&path).unwrap_err().to_string();
    assert!(words.contains("more than 2000000 records"), "{words}");

    // Columns that were added later cost a row nothing on the disk.
    let columns: Vec<String> = (0..200).map(|n| format!("ALTER TABLE outlines ADD c{n} TEXT DEFAULT 'x';")).collect();
    let columns = columns.concat();
    let rows = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 45000)
                INSERT INTO outlines (geom) SELECT NULL FROM n;";
    let (_folder, path) = database("wide.gpkg", &format!("{rows}{columns}"));
    assert!(std::fs::metadata(&path).unwrap().len() < 2 << 20);
    let words = inspect(&path).unwrap_err().to_string();
    assert!(words.contains("more than 8 million values in its columns"), "{words}");
}

/// GeoJSON of one area with this outline, in degrees.
fn outlined(ring: &[(f64, f64)]) -> Vec<u8> {
    let ring: Vec<_> = ring.iter().chain(ring.first()).map(|(x, y)| serde_json::json!([x, y])).collect();
    serde_json::json!({"type": "Polygon", "coordinates": [ring]}).to_string().into_bytes()
}

#[test]
fn outlines_of_which_every_side_crosses_every_other_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let n = 99_999_u32;
    let round = |k: u64| f64::from((k % u64::from(n)) as u32) / f64::from(n) * std::f64::consts::TAU;
    let on_circle = |a: f64| {
        let (sin, cos) = sparefield_geometry::math::sin_cos(a);
        (-3.0 + 0.01 * cos, 52.0 + 0.01 * sin)
    };
    // From each place to the one nearly opposite: a star with some five thousand million crossings.
    let star: Vec<_> = (0..u64::from(n)).map(|k| on_circle(round(k * u64::from(n / 2)))).collect();
    // To and fro aslant, so that every side lies beside every other: no crossing, but as many pairs to look at.
    let comb: Vec<_> = (0..n / 2)
        .flat_map(|k| {
            let off = 1e-6 * f64::from(k);
            let (near, far) = ((-3.0 + off, 52.0 - off), (-2.0 + off, 53.0 - off));
            if k % 2 == 0 { [near, far] } else { [far, near] }
        })
        .collect();
    for (ring, part) in [(star, "crosses itself"), (comb, "lie so close together")] {
        let path = folder.path().join("a.geojson");
        std::fs::write(&path, outlined(&ring)).unwrap();
        let loaded = load_fields(&path, &frame, &VectorOptions::default()).unwrap();
        let words: Vec<_> = loaded.warnings.iter().map(ToString::to_string).collect();
        assert!(loaded.value.is_empty() && words.iter().any(|w| w.contains(part)), "{words:?}");
    }
}

#[test]
fn lines_far_from_every_field_cost_nothing() {
    // Ten thousand lines of 199 km each, far off.
    let far = |k: i32| EdgeLine {
        place: String::new(),
        field_id: String::new(),
        line: vec![Xy::new(0.0, 1e6 + 60.0 * f64::from(k)), Xy::new(199_000.0, 1e6 + 60.0 * f64::from(k))],
        edge: sparefield_geometry::fields::model::BoundaryEdge::UNKNOWN,
    };
    let lines: Vec<EdgeLine> = (0..10_000).map(far).collect();
    let square = [(0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)].map(|(x, y)| Xy::new(x, y));
    let mut fields = [Field::new("a", square.to_vec())];
    let (sides, warnings) = match_edges(&mut fields, &lines);
    assert_eq!(sides, 0);
    assert!(warnings.last().unwrap().message.contains("and 9980 more"), "{warnings:?}");
}
