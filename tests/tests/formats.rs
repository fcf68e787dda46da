//! Vector files of every format against pyogrio (GDAL) and shapely, record by record, and what Sparefield writes, too:
//! `formats_reference/generate.py` wrote what those libraries find.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use serde_json::Value;
use sparefield_data::frame::Frame;
use sparefield_data::vector::{
    Exported, Format, RawRecord, VectorFile, VectorOptions, inspect, layers_of, load_fields, read_with, recognise,
    write_vector,
};
use sparefield_geometry::fields::model::{
    BoundaryEdge, Day, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietKind, QuietZone, Stock, Surface,
};
use sparefield_geometry::position::Xy;
use std::collections::HashSet;
use std::path::{Path, PathBuf};

/// Sums of coordinates of one record, relative; both sides add the same numbers in another order.
const SUM: f64 = 1e-9;

fn is_gpx(name: &str) -> bool {
    Path::new(name).extension().is_some_and(|e| e.eq_ignore_ascii_case("gpx"))
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("formats_reference")
}

fn ring(x: f64, y: f64, side: f64) -> Vec<Xy> {
    vec![Xy::new(x, y), Xy::new(x + side, y), Xy::new(x + side, y + side), Xy::new(x, y + side)]
}

/// Invented fields with every kind of letter and shape.
fn fields() -> Vec<Field> {
    let mut first = Field::new("f-1", ring(500_000.0, 5_700_000.0, 300.0));
    first.name = "Long Ley & <Pond>".into();
    first.surface = Surface::GrazedGrass;
    first.stock = Stock::Present;
    first.surveyed = Some(Day { days_since_epoch: 20_400 });
    first.notes = "Tor im Süden, „nass“ im März; перед рекой".into();
    first.edges[2] = BoundaryEdge { kind: EdgeKind::TreeLine, height_m: Some(14.5) };
    first.calendar.crop = "winter wheat".into();
    first.calendar.months[6] = Some(Surface::TallCrop);
    let mut second = Field::new("поле-2", ring(500_400.0, 5_700_000.0, 200.0));
    second.name = "Łąka".into();
    let mut hole = ring(500_450.0, 5_700_050.0, 50.0);
    hole.reverse();
    second.holes = vec![hole];
    second.other = vec![("owner's parcel number".into(), "12/7".into())];
    vec![first, second]
}

fn hazards() -> Vec<Hazard> {
    let line = HazardShape::Line(vec![Xy::new(500_000.0, 5_700_400.0), Xy::new(501_000.0, 5_700_500.0)]);
    let mut wires = Hazard::new("w", HazardKind::Wires, line);
    wires.pole_heights_m = vec![Some(12.0), None];
    let mut mast = Hazard::new("m", HazardKind::Mast, HazardShape::Point(Xy::new(500_100.0, 5_699_900.0)));
    mast.height_m = Some(42.5);
    mast.name = "Funkmast".into();
    let shape = HazardShape::Area { outer: ring(499_000.0, 5_700_000.0, 80.0), holes: Vec::new() };
    vec![wires, mast, Hazard::new("wood", HazardKind::Wood, shape)]
}

fn quiet_zones() -> Vec<QuietZone> {
    let outer = ring(502_000.0, 5_700_000.0, 100.0);
    vec![QuietZone { id: "q".into(), kind: QuietKind::Houses, name: "Dörfchen".into(), outer, below_agl_m: 152.4 }]
}

fn write_all(to: &Path) {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    for format in Format::ALL {
        let path = to.join(format!("area.{}", format.extension()));
        let layers = layers_of(format, Exported::ALL, &fields(), &hazards(), &quiet_zones());
        write_vector(&path, format, &layers, &frame).unwrap();
    }
}

#[test]
fn files_are_written_as_they_were_when_the_reference_read_them() {
    let committed = folder().join("written");
    if std::env::var_os("SPAREFIELD_WRITE_SAMPLES").is_some() {
        std::fs::create_dir_all(&committed).unwrap();
        write_all(&committed);
    }
    let fresh = tempfile::tempdir().unwrap();
    write_all(fresh.path());
    let mut names: Vec<_> = std::fs::read_dir(fresh.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names.len(), 5 + 6 * 5, "five files, and six Shapefiles of five parts");
    for name in names {
        let (old, new) = (committed.join(&name), fresh.path().join(&name));
        // Databases and archives hold versions and days of the libraries that made them.
        if matches!(old.extension().and_then(|e| e.to_str()), Some("gpkg" | "kmz")) {
            let raw = |path: &Path| VectorFile::open(path).unwrap().raw();
            assert_eq!(raw(&old), raw(&new), "{name:?}");
        } else {
            assert!(std::fs::read(&old).unwrap() == std::fs::read(&new).unwrap(), "{name:?} is written otherwise now");
        }
    }
}

/// A number in another notation is the same value.
fn same_text(a: &str, b: &str) -> bool {
    let number = |t: &str| t.parse::<f64>().ok();
    a == b
        || if let (Some(x), Some(y)) = (number(a), number(b)) {
            x == y || (x - y).abs() <= 1e-12 * x.abs().max(y.abs())
        } else {
            // Lists and objects are the same with and without blanks.
            let json = |t: &str| serde_json::from_str::<Value>(t).ok().filter(|v| v.is_array() || v.is_object());
            json(a).is_some_and(|value| Some(value) == json(b))
        }
}

/// Whether two texts are one day, with and without marks between year, month and day.
fn same_day(a: &str, b: &str) -> bool {
    let day =
        |t: &str| Some(t.replace(['-', '/'], "")).filter(|d| d.len() == 8 && d.bytes().all(|b| b.is_ascii_digit()));
    day(a).is_some_and(|day_a| Some(day_a) == day(b))
}

/// What the reference says of every placemark, where the file says nothing of the kind.
const SAID_OF_ITSELF: [(&str, &str); 3] = [("tessellate", "-1"), ("extrude", "0"), ("visibility", "-1")];

/// The text that stands under the reference's name for a column: it writes other letters for some, a type of GPX that
/// is a kind of thing is that kind here, and an identifier may stand outside the columns.
fn text_under<'a>(name: &str, got: &'a RawRecord, column: &str) -> Option<&'a str> {
    let plain = |name: &str| name.replace(|c: char| !c.is_alphanumeric(), "_").to_lowercase();
    let find =
        |wanted: &str| got.columns.iter().find(|(c, _)| plain(c) == plain(wanted)).map(|(_, text)| text.as_str());
    find(column).or_else(|| match column {
        "id" => got.id.as_deref(),
        "type" if is_gpx(name) => find("kind"),
        _ => None,
    })
}

/// Pictures laid on the ground are records to the reference and none here.
const PICTURES: (&str, &str) = ("sample.kml", "Ground Overlays");
/// Bodies in space are not read, and told: nobody lands on them.
const NOT_READ: &str = "multipatch.shp";

#[derive(Default, Debug)]
struct Counts {
    files: usize,
    layers: usize,
    records: usize,
    values: usize,
    worst: f64,
    problems: Vec<String>,
}

fn compare_record(name: &str, got: &RawRecord, wanted: &Value, counts: &mut Counts) {
    let number = |key: &str| wanted[key].as_f64().unwrap();
    let (n, x, y) = (wanted["n"].as_u64().unwrap() as usize, number("x"), number("y"));
    let sum = |axis: usize| got.vertices.iter().map(|v| v[axis]).sum::<f64>();
    let extent = got.vertices.iter().flatten().fold(1.0_f64, |m, v| m.max(v.abs())) * got.vertices.len().max(1) as f64;
    let off = (sum(0) - x).abs().max((sum(1) - y).abs()) / extent;
    // A track that comes back to its start is an outline here.
    let kind = wanted["kind"].as_str().unwrap();
    let kinds = got.kind == kind || (got.kind == "areas" && kind == "lines" && is_gpx(name));
    if !kinds || got.vertices.len() != n || off > SUM {
        let (kind_here, count) = (got.kind, got.vertices.len());
        counts.problems.push(format!("{name} {}: {kind_here} {count} is {kind} {n}, off by {off:.1e}", got.number));
        return;
    }
    counts.worst = counts.worst.max(off);
    counts.records += 1;
    for (column, value) in wanted["columns"].as_object().unwrap() {
        let value = value.as_str().unwrap();
        match text_under(name, got, column) {
            Some(text) if same_text(text, value) || same_day(text, value) => counts.values += 1,
            Some(text) => {
                counts.problems.push(format!("{name} {}: {column} “{text}” is “{value}”", got.number));
            }
            // The reference gives every record all columns of its layer.
            None if value.is_empty() || SAID_OF_ITSELF.contains(&(column.as_str(), value)) => {}
            None => counts.problems.push(format!("{name} {}: {column} “{value}” is missing", got.number)),
        }
    }
}

/// Waypoints that name an outline are no things of their own here: how many the reader must leave out of a layer of the
/// reference, and say so.
fn names_of_outlines(
    name: &str,
    layer: &Value,
    layers: &[Value],
    file: &VectorFile,
) -> impl Fn(&Value) -> bool + use<> {
    let named = |record: &Value| record["columns"]["name"].as_str().filter(|n| !n.is_empty()).map(str::to_owned);
    let mut outlines = HashSet::new();
    if is_gpx(name) && layer["layer"] == "waypoints" {
        let others = layers.iter().filter(|l| l["layer"] == "tracks").flat_map(|l| l["records"].as_array().unwrap());
        outlines.extend(others.filter(|r| r["n"].as_u64() > Some(3)).filter_map(named));
        let dropped =
            layer["records"].as_array().unwrap().iter().filter(|r| named(r).is_some_and(|n| outlines.contains(&n)));
        let dropped = dropped.count();
        let told = format!("{dropped} of its waypoints name an outline");
        let warnings: Vec<String> =
            file.preview().layers.iter().flat_map(|l| &l.warnings).map(ToString::to_string).collect();
        assert!(dropped == 0 || warnings.iter().any(|w| w.contains(&told)), "{name}: {told}: {warnings:?}");
    }
    move |record| named(record).is_some_and(|n| outlines.contains(&n))
}

fn compare(root: &Path, document: &Value) -> Counts {
    let mut counts = Counts::default();
    for case in document["files"].as_array().unwrap() {
        let name = case["file"].as_str().unwrap();
        let wanted = case["layers"].as_array().unwrap();
        let file = match VectorFile::open(&root.join(name)) {
            Ok(file) => file,
            Err(error) if wanted.is_empty() => {
                println!("nothing in {name}: {error}");
                continue;
            }
            Err(error) => {
                counts.problems.push(error.to_string());
                continue;
            }
        };
        counts.files += 1;
        if name.ends_with(NOT_READ) {
            let told = file.preview().layers[0].warnings.iter().any(|w| w.to_string().contains("multipatch"));
            assert!(told, "{name}");
            continue;
        }
        let raw = file.raw();
        let raw: Vec<_> = raw.iter().filter(|(_, records)| !records.is_empty()).collect();
        for (i, layer) in wanted.iter().enumerate() {
            let is_name = names_of_outlines(name, layer, wanted, &file);
            let wanted: Vec<&Value> = layer["records"].as_array().unwrap().iter().filter(|r| !is_name(r)).collect();
            let named = raw.iter().find(|(have, _)| have == layer["layer"].as_str().unwrap());
            if name.ends_with(PICTURES.0) && layer["layer"] == PICTURES.1 {
                continue;
            }
            let Some((_, records)) = named.or(raw.get(i)) else {
                counts.problems.push(format!("{name}: no layer {}", layer["layer"]));
                continue;
            };
            if records.len() != wanted.len() {
                counts.problems.push(format!("{name}: {} records are {}", records.len(), wanted.len()));
                continue;
            }
            counts.layers += 1;
            for (got, wanted) in records.iter().zip(wanted.iter().copied()) {
                compare_record(name, got, wanted, &mut counts);
            }
        }
    }
    counts
}

#[test]
fn every_record_is_read_as_the_reference_reads_it() {
    let text = std::fs::read_to_string(folder().join("expected.json")).unwrap();
    let counts = compare(&folder(), &serde_json::from_str(&text).unwrap());
    println!("{counts:#?}");
    assert!(counts.problems.is_empty(), "{:#?}", counts.problems);
    assert!(counts.files >= 45 && counts.records >= 400 && counts.values >= 1_800, "{counts:?}");
}

#[test]
fn open_data_are_read_as_the_reference_reads_them() {
    let (Some(data), Some(expected)) =
        (std::env::var_os("SPAREFIELD_OPEN_DATA"), std::env::var_os("SPAREFIELD_OPEN_EXPECTED"))
    else {
        return;
    };
    let text = std::fs::read_to_string(expected).unwrap();
    let counts = compare(Path::new(&data), &serde_json::from_str(&text).unwrap());
    println!("{counts:#?}");
    assert!(counts.problems.is_empty(), "{} differences", counts.problems.len());
}

#[test]
fn names_in_every_encoding_are_those_that_were_written() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    for (file, names) in [
        ("latin1.shp", ["Mühlwiese", "Forêt", "Campo ñ"].as_slice()),
        ("cp1252.shp", &["Weide – groß", "prix €", "Œuvre"]),
        ("utf8.shp", &["Grünland", "Поле у реки", "Łąka"]),
        ("cyrillic.shp", &["Поле", "Лес у дороги", "Ячмень"]),
        ("cp866.shp", &["Стерня", "Пашня", "Луг"]),
        ("latin1.kml", &["Mühlwiese"]),
        ("cyrillic.kml", &["Поле у реки"]),
        ("utf16.kml", &["Łąka „nass“"]),
    ] {
        let read =
            load_fields(&folder().join("encodings").join(file), &frame, &VectorOptions::default()).unwrap().value;
        let got: Vec<&str> = read.iter().map(|f| f.name.as_str()).collect();
        assert_eq!(got, names, "{file}");
    }
}

/// Reads any bytes in every way there is; whatever comes, it must come back.
fn read_anything(bytes: &[u8], folder: &Path) {
    let path = folder.join("anything");
    std::fs::write(&path, bytes).unwrap();
    let _ = recognise(&path);
    let frame = Frame::from_user("EPSG:32630").unwrap();
    if let Ok(preview) = inspect(&path) {
        assert!(!preview.layers.is_empty());
        if let Err(error) = read_with(&path, &frame, &[]) {
            assert!(!error.to_string().contains('\n'));
        }
    }
}

#[test]
fn the_corpus_and_its_damaged_copies_are_read_or_refused() {
    let scratch = tempfile::tempdir().unwrap();
    let mut replayed = 0;
    for name in ["written", "encodings"] {
        for entry in std::fs::read_dir(folder().join(name)).unwrap() {
            let bytes = std::fs::read(entry.unwrap().path()).unwrap();
            read_anything(&bytes, scratch.path());
            // Cut anywhere, and with single bytes changed, by a rule that is the same each time.
            let mut state = bytes.len() as u64 + 1;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let at = (state >> 33) as usize % bytes.len().max(1);
                read_anything(&bytes[..at], scratch.path());
                let mut changed = bytes.clone();
                if let Some(byte) = changed.get_mut(at) {
                    *byte = byte.wrapping_add((state >> 20) as u8 | 1);
                }
                read_anything(&changed, scratch.path());
                replayed += 2;
            }
        }
    }
    assert!(replayed > 800, "{replayed}");
}
