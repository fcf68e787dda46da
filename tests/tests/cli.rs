//! The built program, run as a user would: what it prints, what it writes, and how it answers mistakes.
#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a failed unwrap is a failed test; this checks with other formulas"
)]

use checks::program::program;
use serde_json::Value;
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::area_file::{self, AreaFile, AreaParts, TerrainSource};
use sparefield_data::frame::Frame;
use sparefield_data::terrain::{self, TerrainRequest};
use sparefield_geometry::fields::model::{BoundaryEdge, Day, EdgeKind, Field};
use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;

fn run_in(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(program()).args(arguments).current_dir(folder).output().expect("the program runs")
}

/// Standard output of a run that must succeed, with nothing on standard error.
fn answer(arguments: &[&str]) -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a folder");
    let output = run_in(folder.path(), arguments);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{arguments:?}: {said}");
    assert_eq!(said, "", "{arguments:?}");
    output.stdout
}

fn json(arguments: &[&str]) -> Value {
    serde_json::from_slice(&answer(arguments)).expect("one JSON document")
}

/// One sentence of a run that must fail with this exit code and print nothing else.
fn complaint(folder: &Path, code: i32, arguments: &[&str]) -> String {
    let output = run_in(folder, arguments);
    let said = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
    assert!(output.stdout.is_empty(), "{arguments:?} printed a result as well");
    assert_eq!(said.lines().count(), 1, "{arguments:?}: {said}");
    assert!(said.starts_with("sparefield: ") && said.len() > 30, "{arguments:?}: {said}");
    assert!(!said.contains("panicked"), "{said}");
    said
}

const STATE: [&str; 8] = ["--height", "1500ft", "--heading", "200", "--wind", "240/12", "--date", "2026-11-25"];

fn rank_arguments(more: &[&'static str]) -> Vec<&'static str> {
    [&["rank"], &STATE[..], more].concat()
}

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().map(|o| o.keys().map(String::as_str).collect()).unwrap_or_default()
}

#[test]
fn rank_has_the_agreed_keys() {
    let document = json(&rank_arguments(&["--json"]));
    for key in ["position", "terrain_height_m", "height_amsl_m", "height_agl_m"] {
        assert!(keys(&document["state"]).contains(&key), "state has no {key}");
    }
    let state = &document["state"];
    assert!((state["height_agl_m"].as_f64().unwrap() - 457.2).abs() < 1e-9);
    let sum = state["terrain_height_m"].as_f64().unwrap() + 457.2;
    assert!((state["height_amsl_m"].as_f64().unwrap() - sum).abs() < 1e-9);
    let cautions = document["cautions"].as_array().unwrap();
    for said in
        ["not for navigation", "Wires cannot be seen", "wrong or old", "handbook", "Heights are from", "invented"]
    {
        assert!(cautions.iter().any(|c| c.as_str().unwrap().contains(said)), "no caution says {said:?}");
    }
    let fields = document["fields"].as_array().unwrap();
    assert!(fields.len() > 100);
    for (i, field) in fields.iter().enumerate() {
        for key in [
            "id",
            "name",
            "rank",
            "verdict",
            "score",
            "arrival_height_m",
            "circuit_height_m",
            "spare_height_m",
            "strip",
            "criteria",
            "reasons",
        ] {
            assert!(keys(field).contains(&key), "field {i} has no {key}");
        }
        assert_eq!(field["rank"].as_u64().unwrap() as usize, i + 1);
        assert!(["roomy", "workable", "last-resort", "out"].contains(&field["verdict"].as_str().unwrap()));
        assert!((0.0..=1.0).contains(&field["score"].as_f64().unwrap()));
        assert_eq!(field["criteria"].as_object().unwrap().len(), 9);
        assert!(!field["reasons"].as_array().unwrap().is_empty(), "field {i} has no reason");
        assert!(!field.to_string().contains('\u{a0}'), "a no-break space in JSON");
    }
    let first = &fields[0];
    assert_ne!(first["verdict"], "out");
    for key in [
        "heading_deg",
        "length_m",
        "usable_length_m",
        "needed_length_m",
        "width_m",
        "slope_percent",
        "cross_slope_percent",
        "headwind_ms",
        "crosswind_ms",
        "threshold",
        "end",
    ] {
        assert!(keys(&first["strip"]).contains(&key), "strip has no {key}");
    }
    let spare = first["spare_height_m"].as_f64().unwrap();
    let difference = first["arrival_height_m"].as_f64().unwrap() - first["circuit_height_m"].as_f64().unwrap();
    assert!((spare - difference).abs() < 1e-6);
}

#[test]
fn true_bearings_agree_with_positions_on_the_globe() {
    // The heading printed must be the bearing from threshold to end on the globe, not that of the grid: on a short
    // line, tan(bearing) = Δlon·cos(lat)·N / Δlat·M with the radii of curvature of WGS 84 (Snyder, USGS Professional
    // Paper 1395, eq. 4-18 to 4-20).
    let document = json(&rank_arguments(&["--json"]));
    let mut checked = 0;
    for field in document["fields"].as_array().unwrap() {
        let strip = &field["strip"];
        let Some(heading) = strip["heading_deg"].as_f64() else { continue };
        let at = |key: &str, i: usize| strip[key][i].as_f64().unwrap().to_radians();
        let lat = (at("threshold", 1) + at("end", 1)) / 2.0;
        let (a, e2) = (6_378_137.0, 0.006_694_379_990_14);
        let w2 = 1.0 - e2 * lat.sin().powi(2);
        let (m, n) = (a * (1.0 - e2) / w2.powf(1.5), a / w2.sqrt());
        let east = (at("end", 0) - at("threshold", 0)) * n * lat.cos();
        let north = (at("end", 1) - at("threshold", 1)) * m;
        let bearing = east.atan2(north).to_degrees().rem_euclid(360.0);
        let off = (bearing - heading + 540.0).rem_euclid(360.0) - 180.0;
        assert!(off.abs() < 0.01, "{}: {heading} and {bearing}", field["id"]);
        let (length, printed) = (east.hypot(north), strip["length_m"].as_f64().unwrap());
        // Lengths in a UTM frame differ from the ground by at most 1 in 1 000.
        assert!((length / printed - 1.0).abs() < 1.1e-3, "{length} and {printed}");
        checked += 1;
    }
    assert!(checked > 20, "only {checked} strips looked at");
}

#[test]
fn text_is_for_pilots() {
    let text = String::from_utf8(answer(&rank_arguments(&[]))).unwrap();
    for said in ["spare height", "Cautions", "not for navigation", "fields are out", "needed", "240° at 12"] {
        assert!(text.contains(said), "no {said:?} in\n{text}");
    }
    for never in ["safe", "NaN", "inf", "{0}", "None"] {
        assert!(!text.contains(never), "{never:?} in\n{text}");
    }
    assert!(text.lines().all(|l| l.chars().count() <= 110), "a line is too long");
    // The units are those that were typed.
    let metric = String::from_utf8(answer(&["rank", "--height", "450 m", "--wind", "240/20 km/h"])).unwrap();
    assert!(metric.contains("450\u{a0}m above the ground") && metric.contains("km/h") && !metric.contains("\u{a0}ft"));
}

#[test]
fn defaults_are_the_sample_area_and_its_home_strip() {
    let document = json(&["rank", "--json"]);
    let home: Value = serde_json::from_str(
        &std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-terrain/home.json")).unwrap(),
    )
    .unwrap();
    for i in 0..2 {
        let (got, wanted) = (&document["state"]["position"][i], &home["position"][i]);
        assert!((got.as_f64().unwrap() - wanted.as_f64().unwrap()).abs() < 1e-6);
    }
    let cautions = document["cautions"].to_string();
    assert!(cautions.contains("No wind was given") && cautions.contains("No heading was given"), "{cautions}");
}

#[test]
fn the_same_bytes_on_one_thread_and_on_several() {
    let folder = tempfile::tempdir().unwrap();
    let run = |threads: &str| {
        let arguments = ["reach", "--json", "--out", "reach.tif", "--rings", "rings.geojson"];
        let mut bytes = Vec::new();
        for list in [rank_arguments(&["--json"]), [&arguments[..], &STATE[..]].concat()] {
            let output = Command::new(program())
                .args(list)
                .env("RAYON_NUM_THREADS", threads)
                .current_dir(folder.path())
                .output()
                .unwrap();
            assert!(output.status.success());
            bytes.push(output.stdout);
        }
        bytes.push(std::fs::read(folder.path().join("reach.tif")).unwrap());
        bytes.push(std::fs::read(folder.path().join("rings.geojson")).unwrap());
        bytes
    };
    let one = run("1");
    assert!(one == run("2"), "two threads give another answer");
    assert!(one == run("3"), "three threads give another answer");
}

#[test]
fn a_copied_binary_works_alone() {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("copied");
    std::fs::copy(program(), &copy).unwrap();
    // No environment at all: no home, no PROJ settings, no path.
    let output = Command::new(&copy).args(["rank", "--json"]).current_dir(folder.path()).env_clear().output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document["crs"], "EPSG:32630");
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["copied"], "the program left something behind");
}

#[test]
fn reach_is_written_and_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = [&["reach", "--json", "--out", "reach.tif", "--rings", "rings.geojson"], &STATE[..]].concat();
    let output = run_in(folder.path(), &arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    let area = document["reachable_area_m2"].as_f64().unwrap();
    let cells = document["cells"].as_u64().unwrap();
    let cell = document["cell_m"].as_f64().unwrap();
    assert!(cells > 1_000);
    assert!((area - cells as f64 * cell * cell).abs() < 1e-6 * area);
    assert_eq!(document["crs"], "EPSG:32630");
    assert_eq!(document["bounds"].as_array().unwrap().len(), 4);

    let path = folder.path().join("reach.tif");
    let info = terrain::inspect(&path).unwrap();
    assert!(info.format.contains("float32"), "{}", info.format);
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let raster = terrain::load(&[path], &TerrainRequest::new(&frame), &NoProgress).unwrap().value;
    let finite = raster.heights_m.iter().filter(|h| h.is_finite()).count() as u64;
    assert_eq!(finite, cells, "no-data must be exactly where nothing is in reach");
    let (_, highest) = raster.range().unwrap();
    let start = document["state"]["height_amsl_m"].as_f64().unwrap();
    assert!(highest <= start, "arrives higher ({highest} m) than it started ({start} m)");
    let (low, high) = raster.frame.bounds();
    for (i, edge) in [low.x, low.y, high.x, high.y].into_iter().enumerate() {
        assert!((document["bounds"][i].as_f64().unwrap() - edge).abs() < cell, "bound {i}");
    }

    let rings: Value = serde_json::from_slice(&std::fs::read(folder.path().join("rings.geojson")).unwrap()).unwrap();
    let features = rings["features"].as_array().unwrap();
    assert!(!features.is_empty());
    let levels: Vec<f64> = features.iter().map(|f| f["properties"]["spare_height_m"].as_f64().unwrap()).collect();
    assert_eq!(levels[0], 0.0);
    assert!(levels.windows(2).all(|w| w[0] < w[1]));
    let first = &features[0]["geometry"]["coordinates"];
    let lon = first.pointer("/0/0/0").or_else(|| first.pointer("/0/0")).and_then(Value::as_f64).unwrap();
    assert!((-3.5..-2.0).contains(&lon), "rings are not in longitude and latitude: {lon}");
}

#[test]
fn more_height_reaches_more() {
    let area = |height: &str| {
        let document = json(&["reach", "--json", "--height", height, "--wind", "240/12"]);
        document["reachable_area_m2"].as_f64().unwrap()
    };
    let (low, middle, high) = (area("800ft"), area("1500ft"), area("2500ft"));
    assert!(low < middle && middle < high, "{low} {middle} {high}");
}

#[test]
fn mistakes_are_answered_with_one_sentence_and_two() {
    let folder = tempfile::tempdir().unwrap();
    let cases: [(&[&str], &str); 24] = [
        (&["rank", "--height", "1500"], "has no unit"),
        (&["rank", "--height", "12 parsecs"], "parsecs"),
        (&["rank", "--height", "-200ft"], "below the ground"),
        (&["rank", "--height", "90000 m"], "12 000 m"),
        (&["rank", "--height", "1500ft", "--height-amsl", "2000ft"], "cannot be used with"),
        (&["rank", "--height-amsl", "10ft"], "below the ground"),
        (&["rank", "--at", "10,10"], "outside the loaded terrain"),
        (&["rank", "--at", "north"], "--at"),
        (&["rank", "--at", "-95,200"], "latitude"),
        (&["rank", "--heading", "400"], "--heading"),
        (&["rank", "--wind", "250/120kt"], "as strong as the fastest glide"),
        (&["rank", "--wind", "VRB05KT"], "variable"),
        (&["rank", "--wind", "250"], "--wind"),
        (&["rank", "--wind-aloft", "2000:270/25"], "--wind-aloft"),
        (&["rank", "--wind-profile", "cubic"], "none of log, power and uniform"),
        (&["rank", "--aircraft", "Spruce Goose"], "--aircraft"),
        (&["rank", "--date", "03/04/2026"], "--date"),
        (&["rank", "--area", "home.gpkg"], "home.gpkg: it is not there"),
        (&["rank", "--terrain", "missing.tif", "--at", "51,0"], "there is no such file"),
        (&["rank", "--fields", "fields.geojson"], "--terrain"),
        (&["rank", "--safety-factor", "0.5"], "--safety-factor"),
        (&["rank", "--obstacle-rule", "9"], "none of glide, 8 and 10"),
        (&["rank", "--bogus"], "--bogus"),
        (&["fly"], "fly"),
    ];
    for (arguments, part) in cases {
        let said = complaint(folder.path(), 2, arguments);
        assert!(said.contains(part), "{arguments:?} said {said:?} and not {part:?}");
    }
    let left = std::fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(left, 0, "a refused command left a file");
}

#[test]
fn negative_positions_are_values_and_not_options() {
    let west = json(&["rank", "--json", "--at", "52.27,-2.83"]);
    assert!((west["state"]["position"][0].as_f64().unwrap() + 2.83).abs() < 1e-6);
    let folder = tempfile::tempdir().unwrap();
    let said = complaint(folder.path(), 2, &["rank", "--at", "-33.9,18.4"]);
    assert!(said.contains("outside"), "{said}");
}

#[test]
fn a_file_that_cannot_be_written_is_a_failure() {
    let folder = tempfile::tempdir().unwrap();
    let said = complaint(folder.path(), 1, &["reach", "--out", "no/such/folder/reach.tif"]);
    assert!(said.contains("reach.tif"), "{said}");
}

/// A square terrain in Esri ASCII form: 100 × 100 posts every 100 m of EPSG:32630, level at 50 m.
fn level_terrain(folder: &Path) {
    let mut text =
        String::from("ncols 100\nnrows 100\nxllcenter 500000\nyllcenter 5700000\ncellsize 100\nNODATA_value -9999\n");
    for _ in 0..100 {
        text.push_str(&"50 ".repeat(100));
        text.push('\n');
    }
    std::fs::write(folder.join("level.asc"), text).unwrap();
}

#[test]
fn own_terrain_and_fields() {
    let folder = tempfile::tempdir().unwrap();
    level_terrain(folder.path());
    // The middle of the terrain is 5 km east and north of its corner: easting 505 000, on 3° W within the zone.
    let at = "51.495,-2.928";
    let base = ["rank", "--terrain", "level.asc", "--at", at, "--json"];
    // A terrain without a reference system is refused until somebody names it.
    let said = complaint(folder.path(), 2, &base);
    assert!(said.contains("level.asc") && said.contains("--crs"), "{said}");
    let with = |more: &[&'static str]| [&base[..], &["--crs", "EPSG:32630"], more].concat();
    // No fields: a plain answer, not an error.
    let output = run_in(folder.path(), &with(&[]));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document["fields"].as_array().unwrap().len(), 0);
    assert!((document["state"]["terrain_height_m"].as_f64().unwrap() - 50.0).abs() < 1e-6);
    let text = run_in(folder.path(), &["rank", "--terrain", "level.asc", "--at", at, "--crs", "EPSG:32630"]);
    assert!(String::from_utf8_lossy(&text.stdout).contains("There are no fields"));
    // One field below the aircraft and one far outside the terrain.
    let square = |id: &str, lon: f64, lat: f64| {
        format!(
            r#"{{"type":"Feature","properties":{{"id":"{id}","surface":"stubble","stock":"none","surveyed":"2026-11-20"}},
            "geometry":{{"type":"Polygon","coordinates":[[[{},{}],[{},{}],[{},{}],[{},{}],[{},{}]]]}}}}"#,
            lon,
            lat,
            lon + 0.008,
            lat,
            lon + 0.008,
            lat + 0.005,
            lon,
            lat + 0.005,
            lon,
            lat
        )
    };
    let fields = format!(
        r#"{{"type":"FeatureCollection","features":[{},{}]}}"#,
        square("below", -2.93, 51.495),
        square("elsewhere", -2.0, 52.5)
    );
    std::fs::write(folder.path().join("fields.geojson"), fields).unwrap();
    let output = run_in(folder.path(), &with(&["--fields", "fields.geojson", "--wind", "270/10"]));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    let fields = document["fields"].as_array().unwrap();
    assert_eq!(fields[0]["id"], "below");
    assert_ne!(fields[0]["verdict"], "out", "{}", fields[0]["reasons"]);
    assert_eq!((&fields[1]["id"], &fields[1]["verdict"]), (&"elsewhere".into(), &"out".into()));
}

#[test]
fn broken_files_are_named() {
    let folder = tempfile::tempdir().unwrap();
    level_terrain(folder.path());
    let write = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).unwrap();
    write("empty.tif", b"");
    write("text.tif", b"this is not a picture");
    write("short.hgt", &[0; 1_000]);
    write("broken.geojson", b"{\"type\": \"FeatureCollection\", \"features\": [");
    write("wrong.toml", b"name = \"X\"\nstall_speed = \"38 parsecs\"\n");
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-terrain/terrain.tif");
    let whole = std::fs::read(sample).unwrap();
    write("cut.tif", &whole[..whole.len() / 2]);
    let at = ["--at", "51.495,-2.928"];
    for name in ["empty.tif", "text.tif", "short.hgt", "cut.tif"] {
        let place = if name == "cut.tif" { "52.27,-2.83" } else { at[1] };
        let said = complaint(folder.path(), 2, &["rank", "--terrain", name, "--at", place]);
        assert!(said.contains(name), "{said}");
    }
    let terrain = ["rank", "--terrain", "level.asc", "--crs", "EPSG:32630", at[0], at[1]];
    let said = complaint(folder.path(), 2, &[&terrain[..], &["--fields", "broken.geojson"]].concat());
    assert!(said.contains("broken.geojson"), "{said}");
    let said = complaint(folder.path(), 2, &["rank", "--aircraft", "wrong.toml"]);
    assert!(said.contains("wrong.toml") && said.contains("parsecs"), "{said}");
    let said = complaint(folder.path(), 2, &["rank", "--terrain", "level.asc", "--crs", "EPSG:4326;", at[0], at[1]]);
    assert!(said.contains("--crs"), "{said}");
}

#[test]
fn help_names_every_option() {
    for (subcommand, options) in [
        (
            "rank",
            &[
                "--terrain",
                "--fields",
                "--hazards",
                "--at",
                "--height",
                "--height-amsl",
                "--heading",
                "--wind",
                "--wind-aloft",
                "--wind-profile",
                "--crs",
                "--grid",
                "--seed",
                "--aircraft",
                "--json",
                "--area",
            ][..],
        ),
        ("reach", &["--out", "--rings", "--json"][..]),
        ("check-round", &["--since", "--text", "--date", "--out", "--json"][..]),
        ("sheet", &["--field", "--compare", "--wind", "--aircraft", "--out", "--json"][..]),
    ] {
        let text = String::from_utf8(answer(&[subcommand, "--help"])).unwrap();
        for option in options {
            assert!(text.contains(option), "{subcommand} --help does not name {option}");
        }
    }
}

#[test]
fn a_sheet_says_of_a_strip_what_the_ranking_says() {
    let rank = json(&rank_arguments(&["--json"]));
    let mut compared = 0;
    for ranked in rank["fields"].as_array().unwrap().iter().filter(|f| f["verdict"] != "out").take(6) {
        let arguments =
            ["sheet", "--field", ranked["id"].as_str().unwrap(), "--wind", "240/12", "--date", "2026-11-25", "--json"];
        let sheet = json(&arguments);
        let field = &sheet["fields"][0];
        assert_eq!(field["id"], ranked["id"]);
        assert_eq!(field["rose"].as_array().unwrap().len(), 72);
        let strip = &ranked["strip"];
        let near = |a: &Value, b: &Value| (a.as_f64().unwrap() - b.as_f64().unwrap()).abs() < 1e-6;
        let ways = field["strips"].as_array().unwrap().iter().flat_map(|s| s["ways"].as_array().unwrap());
        // Both judge the same strips; where the same one is shown, every number is the same. True north is taken at
        // different places of the field, which is some thousandths of a degree.
        for way in ways.filter(|w| {
            let off = (w["heading_deg"].as_f64().unwrap() - strip["heading_deg"].as_f64().unwrap()).abs();
            off < 1e-2 && near(&w["length_m"], &strip["length_m"])
        }) {
            for key in
                ["usable_length_m", "needed_length_m", "displacement_m", "headwind_ms", "crosswind_ms", "slope_percent"]
            {
                assert!(near(&way[key], &strip[key]), "{key}: {} and {}", way[key], strip[key]);
            }
            compared += 1;
        }
        for bar in field["rose"].as_array().unwrap() {
            let landing = &bar["landing"];
            let usable = landing["usable_length_m"].as_f64().unwrap();
            assert!(usable >= 0.0 && usable <= landing["length_m"].as_f64().unwrap());
            assert_eq!(landing["passes"].as_bool().unwrap(), landing["gates"].as_array().unwrap().is_empty());
        }
        assert!(!field["assumptions"].as_array().unwrap().is_empty());
        assert!(!sheet.to_string().contains('\u{a0}'), "a no-break space in JSON");
    }
    assert!(compared >= 3, "only {compared} strips are shown by both");
}

#[test]
fn a_sheet_becomes_a_page_that_needs_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = [
        "sheet",
        "--field",
        "F039",
        "--compare",
        "F024",
        "--wind",
        "240/12",
        "--date",
        "2026-11-25",
        "--out",
        "two.html",
    ];
    let output = run_in(folder.path(), &arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let page = std::fs::read_to_string(folder.path().join("two.html")).unwrap();
    assert!(page.starts_with("<!DOCTYPE html>") && page.trim_end().ends_with("</html>"));
    assert_eq!(page.matches("<svg").count(), page.matches("</svg>").count());
    assert_eq!(page.matches("<svg").count(), 8);
    // The only address in it is the name of the SVG language.
    assert_eq!(page.matches("http").count(), page.matches("http://www.w3.org/2000/svg").count());
    for said in ["not for navigation", "What this rests on", "Whether you can reach it is not counted", "Difference"] {
        assert!(page.contains(said), "{said}");
    }
    // What is printed for people stands on the page as well.
    let printed = String::from_utf8(output.stdout).unwrap();
    for line in printed.lines() {
        let said = line.split_once(": ").map_or(line, |(_, behind)| behind);
        assert!(page.contains(said), "{said}");
    }
}

#[test]
fn a_page_is_what_the_ending_of_its_name_says() {
    let folder = tempfile::tempdir().unwrap();
    let written = |name: &str| std::fs::read(folder.path().join(name)).unwrap();
    let sheet = |more: &[&str]| {
        let output = run_in(folder.path(), &[&["sheet", "--field", "F001", "--date", "2026-11-25"], more].concat());
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    };
    // A sheet of paper in points: 210 by 297 mm, or 148 by 210 mm (ISO 216).
    for (paper, width, height) in [("a4", 210.0, 297.0), ("a5", 148.0, 210.0)] {
        sheet(&["--out", "one.pdf", "--paper", paper]);
        let file = String::from_utf8_lossy(&written("one.pdf")).into_owned();
        assert!(file.starts_with("%PDF-") && file.contains("/Title (Field sheet: Harrowmead)"), "{paper}");
        let boxes: Vec<&str> = file.split("/MediaBox [").skip(1).filter_map(|rest| rest.split(']').next()).collect();
        assert!(boxes.len() >= 2, "{boxes:?}");
        for sides in boxes {
            let sides: Vec<f64> = sides.split_whitespace().map(|n| n.parse().unwrap()).collect();
            assert!((sides[2] * 25.4 / 72.0 - width).abs() < 0.01, "{sides:?}");
            assert!((sides[3] * 25.4 / 72.0 - height).abs() < 0.01, "{sides:?}");
        }
    }
    sheet(&["--out", "one.png"]);
    for name in ["one-1.png", "one-2.png"] {
        assert!(written(name).starts_with(b"\x89PNG"), "{name}");
    }
    let said = complaint(folder.path(), 2, &["sheet", "--field", "F001", "--out", "one.doc"]);
    assert!(said.contains(".pdf") && said.contains("one.doc"), "{said}");
}

#[test]
fn a_sheet_of_a_field_that_is_not_there_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let said = complaint(folder.path(), 2, &["sheet", "--field", "F9999", "--out", "a.html"]);
    assert!(said.contains("--field") && said.contains("F9999") && said.contains("F001"), "{said}");
    let said = complaint(folder.path(), 2, &["sheet", "--field", "F001", "--compare", "F001", "--out", "a.html"]);
    assert!(said.contains("--compare"), "{said}");
    let said = complaint(folder.path(), 2, &["sheet", "--field", "F001"]);
    assert!(said.contains("--out"), "{said}");
    let said = complaint(folder.path(), 1, &["sheet", "--field", "F001", "--out", "missing/a.html"]);
    assert!(said.contains("cannot be written"), "{said}");
    let said = complaint(folder.path(), 2, &["sheet", "--field", "F001", "--wind", "240/90", "--out", "a.html"]);
    assert!(said.contains("as strong as the fastest glide"), "{said}");
    assert!(std::fs::read_dir(folder.path()).unwrap().next().is_none(), "something was written");
}

#[test]
fn a_check_round_visits_every_field_that_nobody_looked_at_and_is_refused_nonsense() {
    let folder = tempfile::tempdir().unwrap();
    let run = ["check-round", "--since", "300d", "--date", "2026-11-25", "--out", "round.html", "--json"];
    let output = run_in(folder.path(), &run);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let round: Value = serde_json::from_slice(&output.stdout).unwrap();
    let fields = round["fields"].as_array().unwrap();
    let known: Value = serde_json::from_str(include_str!("../../sample-terrain/fields.geojson")).unwrap();
    // 2026-01-29 is 300 days before 2026-11-25; dates of one form sort as text.
    let old = |f: &&Value| f["properties"]["surveyed"].as_str().is_none_or(|day| day < "2026-01-29");
    assert_eq!(fields.len(), known["features"].as_array().unwrap().iter().filter(old).count());
    let legs: f64 = fields.iter().map(|f| f["leg_m"].as_f64().unwrap()).sum();
    assert!((legs + round["back_m"].as_f64().unwrap() - round["length_m"].as_f64().unwrap()).abs() < 1e-6);
    assert!(fields.iter().all(|f| !f["look_at"].as_array().unwrap().is_empty()));
    let page = std::fs::read_to_string(folder.path().join("round.html")).unwrap();
    assert_eq!(page.matches("<div class=\"together\">").count(), fields.len());
    let said = complaint(folder.path(), 2, &["check-round", "--since", "soon"]);
    assert!(said.contains("--since") && said.contains("90d"), "{said}");
    let said = complaint(folder.path(), 1, &["check-round", "--out", "missing/round.html"]);
    assert!(said.contains("cannot be written"), "{said}");
}

/// What README shows of the first command is what the command prints, line by line.
#[test]
fn the_readme_shows_what_the_program_prints() {
    let readme = include_str!("../../README.md");
    let start = readme.find("$ sparefield rank ").unwrap();
    let mut shown = readme[start..readme[start..].find("\n$ ").unwrap() + start].lines();
    let command = shown.next().unwrap();
    let arguments: Vec<&str> = command.trim_start_matches("$ sparefield ").split(' ').collect();
    let printed = String::from_utf8(answer(&arguments)).unwrap().replace('\u{a0}', " ");
    let printed: Vec<&str> = printed.lines().collect();
    let mut compared = 0;
    for line in shown.filter(|l| !l.trim().is_empty() && l.trim() != "…") {
        assert!(printed.contains(&line), "not printed: {line}");
        compared += 1;
    }
    assert!(compared > 25, "{compared} lines");
}

#[test]
fn suggestions_are_listed_written_and_read_back_as_fields() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = |arguments: &[&str]| {
        let output = run_in(folder.path(), arguments);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).expect("text")
    };
    let search = ["suggest", "--ignore-fields", "--within", "900m", "--most", "40", "--out", "found.geojson"];
    let text = run(&search);
    for expected in ["nobody has looked at these places", "Not checked", "animals", "found.geojson"] {
        assert!(text.contains(expected), "{expected} is missing in {text}");
    }
    assert!(!text.to_lowercase().contains("safe"));
    let told: Value = serde_json::from_str(&run(&[&search[..], &["--json"]].concat())).expect("one JSON document");
    let proposals = told["proposals"].as_array().expect("a list");
    assert!((5..=40).contains(&proposals.len()));
    let scores: Vec<f64> = proposals.iter().map(|p| p["score"].as_f64().expect("a score")).collect();
    assert!(scores.windows(2).all(|s| s[0] >= s[1]), "best first");
    for p in proposals {
        assert!(p["strip_length_m"].as_f64() >= p["needed_m"].as_f64());
        assert!(p["not_checked"].as_array().is_some_and(|n| n.len() >= 4));
        assert!(p["beyond_start_m"].is_number(), "the surface model covers the search");
    }
    // The file is a layer of fields, unverified, with what the surface model shows on their sides.
    let terrain = concat!(env!("CARGO_MANIFEST_DIR"), "/../sample-terrain/terrain.tif");
    let at = told["proposals"][0]["position"].as_array().expect("a position");
    let at = format!("{},{}", at[1], at[0]);
    let ranked: Value =
        serde_json::from_str(&run(&["rank", "--terrain", terrain, "--fields", "found.geojson", "--at", &at, "--json"]))
            .expect("one JSON document");
    assert!(ranked["fields"].as_array().is_some_and(|f| f.len() == proposals.len()), "{ranked}");
    // Where they are known by then, they are not suggested again.
    let again =
        ["suggest", "--terrain", terrain, "--fields", "found.geojson", "--at", &at, "--within", "400m", "--json"];
    let again: Value = serde_json::from_str(&run(&again)).expect("one JSON document");
    for p in again["proposals"].as_array().expect("a list") {
        assert_ne!(p["position"], told["proposals"][0]["position"]);
    }
}

#[test]
fn mistakes_in_suggest_are_answered_in_one_sentence() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("mine.toml"), "[[class]]\ncode = 1\nuse = \"pasture\"\n").expect("written");
    let cover = concat!(env!("CARGO_MANIFEST_DIR"), "/../sample-terrain/land-cover.tif");
    for (arguments, expected) in [
        (&["suggest", "--within", "far"][..], "--within"),
        (&["suggest", "--length", "3m"], "--length"),
        (&["suggest", "--classes", "mine.toml"], "--land-cover"),
        (&["suggest", "--land-cover", cover, "--classes", "mine.toml"], "“pasture” is not a use"),
        (&["suggest", "--land-cover", "missing.tif"], "missing.tif"),
        (&["suggest", "--surface-model", "missing.tif"], "missing.tif"),
        (&["suggest", "--at", "10,10", "--within", "2km"], "terrain"),
    ] {
        let said = complaint(folder.path(), 2, arguments);
        assert!(said.contains(expected), "{arguments:?}: {said}");
    }
}

#[test]
fn fields_go_out_and_come_in_by_every_format() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = |arguments: &[&str]| {
        let output = run_in(folder.path(), arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice::<Value>(&output.stdout).expect("one JSON document")
    };
    for ending in ["geojson", "kml", "kmz", "gpkg"] {
        let file = format!("sample.{ending}");
        let written = run(&["export", "--out", &file, "--json"]);
        let count = |name: &str| {
            let layers = written["layers"].as_array().unwrap();
            layers.iter().find(|l| l["name"] == name).unwrap()["records"].as_u64().unwrap()
        };
        let area = format!("area-{ending}.gpkg");
        let read = run(&["import", &file, "--into", &area, "--json"]);
        assert_eq!(read["fields"], count("fields"), "{ending}");
        assert_eq!(read["hazards"], count("hazards"), "{ending}");
        assert_eq!(read["quiet_zones"], count("quiet zones"), "{ending}");
        // What is there already is not taken twice.
        let again = run(&["import", &file, "--into", &area, "--json"]);
        assert_eq!((&again["fields"], &again["hazards"], &again["quiet_zones"]), (&0.into(), &0.into(), &0.into()));
        let out = run(&["export", &area, "--what", "fields", "--out", "back.geojson", "--json"]);
        assert_eq!(out["layers"][0]["records"], read["fields"]);
    }
    // An exchange never takes the place of an area.
    let refused = run_in(folder.path(), &["export", "--out", "area-kml.gpkg"]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("it is an area file"));
}

#[test]
fn columns_of_another_language_are_looked_at_and_mapped() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"Flur":"Anger","Art":"Grünland"},
        "geometry":{"type":"Polygon","coordinates":[[[-3,51.4],[-2.99,51.4],[-2.99,51.41],[-3,51.4]]]}}]}"#;
    std::fs::write(folder.path().join("flur.geojson"), text).unwrap();
    let preview = run_in(folder.path(), &["import", "flur.geojson", "--preview", "--json"]);
    let preview: Value = serde_json::from_slice(&preview.stdout).unwrap();
    assert_eq!(preview["layers"][0]["columns"][1]["meaning"], "kept as it is");
    let map = ["--map", "Flur=name", "--map", "Art=surface", "--surface", "Grünland=grazed grass"];
    let arguments = [["import", "flur.geojson", "--into", "out.geojson"].as_slice(), &map].concat();
    let output = run_in(folder.path(), &arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let out: Value = serde_json::from_slice(&std::fs::read(folder.path().join("out.geojson")).unwrap()).unwrap();
    let properties = &out["features"][0]["properties"];
    assert_eq!((&properties["name"], &properties["surface"]), (&"Anger".into(), &"grazed grass".into()));
    for (option, value, part) in [
        ("--map", "Flurr=name", "no layer has a column “Flurr”"),
        ("--map", "Flur=nonsense", "is no meaning"),
        ("--surface", "Grünland=lawn", "is no surface"),
        ("--layer", "other", "there is none of this name"),
    ] {
        let output = run_in(folder.path(), &["import", "flur.geojson", "--preview", option, value]);
        assert_eq!(output.status.code(), Some(2), "{option}");
        assert!(String::from_utf8_lossy(&output.stderr).contains(part), "{option}");
    }
}

#[test]
fn a_check_ends_with_one_when_something_is_wrong_and_with_two_when_it_cannot_look() {
    let found = json(&["check", "--json", "--date", "2026-11-25"]);
    assert_eq!(found["counts"]["wrong"], 0, "the sample area as shipped");
    let folder = tempfile::tempdir().unwrap();
    // Nobody can have looked at a field in the future. A hedge below the ground is no height to whoever reads the file:
    // it counts as unknown, and that is told.
    let mut area = Area::sample(&NoProgress).unwrap();
    let first = Arc::clone(&area.fields[0]);
    let mut odd = (*first).clone();
    odd.surveyed = Some(Day { days_since_epoch: 40_000 });
    odd.edges[0] = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(-3.0) };
    area.apply(&Edit::new("describe it", vec![Change::Field(Swap::replace(&first, odd))])).unwrap();
    let path = folder.path().join("odd.gpkg");
    drop(AreaFile::create(&path, &AreaParts::of(&area, TerrainSource::Sample)).unwrap());
    let path = path.display().to_string();
    let output = run_in(folder.path(), &["check", "--area", &path, "--json"]);
    let document: Value = serde_json::from_slice(&output.stdout).expect("findings are printed all the same");
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(document["counts"]["wrong"], 1);
    let warnings: Vec<&str> = document["warnings"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(warnings.iter().any(|w| w.contains("is not a height")), "{warnings:?}");
    complaint(folder.path(), 2, &["check", "--since", "soon"]);
    complaint(folder.path(), 2, &["check", "--area", "nowhere.gpkg"]);
}

#[test]
fn an_area_whose_terrain_is_away_is_checked_all_the_same_and_told_what_was_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let area = Area::sample(&NoProgress).unwrap();
    let path = folder.path().join("area.gpkg");
    let away = TerrainSource::Files { files: vec![folder.path().join("away.tif")], crs: None, grid_m: None };
    drop(AreaFile::create(&path, &AreaParts::of(&area, away)).unwrap());
    let path = path.display().to_string();
    let run = |more: &[&str]| {
        let output = run_in(folder.path(), &[&["check", "--area", &path, "--date", "2026-11-25"], more].concat());
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    let document: Value = serde_json::from_str(&run(&["--json"])).unwrap();
    let why = document["not_checked"][0]["why"].as_str().unwrap();
    assert!(why.contains("away.tif"), "{why}");
    // Nothing lies beside the sample's own terrain, so all else is as with it.
    let with = json(&["check", "--json", "--date", "2026-11-25"]);
    assert_eq!(with["not_checked"], Value::Array(Vec::new()));
    assert_eq!(document["findings"], with["findings"]);
    let words = run(&[]);
    assert!(words.contains("Not checked") && words.contains("away.tif"), "{words}");
    // Terrain that was named and cannot be used is a mistake of whoever named it.
    complaint(folder.path(), 2, &["check", "--area", &path, "--terrain", "nowhere.tif"]);
}

#[test]
fn a_merge_of_area_files_writes_a_new_one_and_leaves_both_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let mine = Area::sample(&NoProgress).unwrap();
    let mut theirs = mine.clone();
    let first = Arc::clone(&theirs.fields[0]);
    let renamed = Field { name: "Heron Ley".into(), ..(*first).clone() };
    let changes = vec![Change::Field(Swap::replace(&first, renamed)), Change::Field(Swap::remove(&mine.fields[1]))];
    theirs.apply(&Edit::new("their work", changes)).unwrap();
    for (name, area) in [("mine.gpkg", &mine), ("theirs.gpkg", &theirs)] {
        drop(AreaFile::create(Path::new(&at(name)), &AreaParts::of(area, TerrainSource::Sample)).unwrap());
    }
    let before = [std::fs::read(at("mine.gpkg")).unwrap(), std::fs::read(at("theirs.gpkg")).unwrap()];
    let (from, to, new) = (at("mine.gpkg"), at("theirs.gpkg"), at("both.gpkg"));
    let merged = json(&["merge", &from, &to, "--base", &from, "--out", &new, "--json"]);
    let took: Vec<(&str, &str)> = merged["differences"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| (d["attribute"].as_str().unwrap(), d["taken"].as_str().unwrap()))
        .collect();
    assert!(took.contains(&("name", "theirs")) && took.contains(&("the whole", "mine")), "{took:?}");
    let both = area_file::read(Path::new(&new), &NoProgress).unwrap().value;
    assert_eq!(both.fields.len(), mine.fields.len(), "nothing of mine is deleted unless chosen");
    assert!(both.fields.iter().any(|f| f.id == first.id && f.name == "Heron Ley"));
    assert_eq!(before, [std::fs::read(&from).unwrap(), std::fs::read(&to).unwrap()]);
    complaint(folder.path(), 2, &["merge", &from, &to, "--out", &new]);
    complaint(folder.path(), 2, &["merge", &from, &to, "--out", &from]);
    complaint(folder.path(), 2, &["merge", &from, &to, "--out", "both.geojson"]);
    complaint(folder.path(), 2, &["merge", &from, &to, "--take", "everything"]);
}
