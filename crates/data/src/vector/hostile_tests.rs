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
