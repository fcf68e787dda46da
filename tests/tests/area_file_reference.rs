//! An area file as GDAL reads it: `area_file_reference/generate.py` wrote what that library finds in the committed
//! `sample.gpkg`, which Sparefield wrote from its sample area and an invented survey of it, and `expected.json` names
//! that library's version.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use serde_json::Value;
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Proposal};
use sparefield_data::area_file::{self, AreaFile, AreaParts, TerrainSource};
use sparefield_data::quantity::format_day;
use sparefield_geometry::fields::model::{Day, Field, HazardShape, Surface, ring_area};
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Coordinates are the same bits in both programs; sums of some hundred numbers of up to 6e6 m differ by rounding alone,
/// measured 0.
const SUM_M: f64 = 1e-6;
/// Areas from shifted and unshifted coordinates, relative to a base of 6e6 m squared times the rounding of a double.
const AREA_M2: f64 = 1e-2;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("area_file_reference")
}

fn expected() -> Value {
    serde_json::from_str(include_str!("../area_file_reference/expected.json")).unwrap()
}

/// A copy, since looking at a file in place could lock it for another test.
fn sample() -> AreaParts {
    area_file::read(&folder().join("sample.gpkg"), &NoProgress).unwrap().value
}

fn features<'a>(answer: &'a Value, layer: &str) -> &'a Vec<Value> {
    answer["layers"][layer]["features"].as_array().unwrap()
}

fn sum(points: &[Xy]) -> Xy {
    points.iter().fold(Xy::default(), |a, &b| a + b)
}

fn near(found: &Value, sum: Xy, what: &str) {
    let value = |i: usize| found["geometry"]["sum"][i].as_f64().unwrap();
    assert!((value(0) - sum.x).abs() < SUM_M && (value(1) - sum.y).abs() < SUM_M, "{what}: {found} and {sum:?}");
}

/// The sample area after an invented survey, so that every column of a field holds something somewhere.
fn surveyed() -> AreaParts {
    let area = Area::sample(&NoProgress).unwrap();
    let mut parts = AreaParts::of(&area, TerrainSource::Sample);
    let mut fields = parts.fields.to_vec();
    for (i, field) in fields.iter_mut().enumerate().step_by(7) {
        let new = Arc::make_mut(field);
        new.surveyed = Some(Day { days_since_epoch: 20_000 + 13 * i as i32 });
        new.stock_seen = Some(Day { days_since_epoch: 20_003 + 13 * i as i32 });
        new.notes = format!("gate at the lane; “soft” corner, № {i}\nsecond line, é ж 草");
        new.calendar.crop = "winter wheat, then stubble".into();
        new.calendar.year = Some(2_026);
        new.calendar.months[i % 12] = Some(Surface::TallCrop);
        new.calendar.months[(i + 5) % 12] = Some(Surface::Stubble);
        new.remarks.hazards = "single wire along the east hedge".into();
        new.remarks.access = "track to the farm".into();
        new.remarks.permission = "asked, yes for practice".into();
        new.remarks.photographs = vec!["photographs/gate, from the air.jpg".into(), format!("photographs/{i} é.jpg")];
        new.other = vec![("parcel".into(), format!("{i}/7")), ("owner's \"mark\"".into(), "Δ".into())];
    }
    let suggested = fields.iter().step_by(50).enumerate().map(|(i, field)| {
        Arc::new(Proposal {
            field: Field { id: format!("suggested-{i}"), ..(**field).clone() },
            score: 0.125 * i as f64,
            strip_length_m: 250.5 + i as f64,
            checked: vec!["slope".into()],
            not_checked: vec!["wires".into(), "“crop”".into()],
            refused: i == 1,
        })
    });
    parts.proposals = Arc::new(suggested.collect());
    parts.fields = Arc::new(fields);
    parts
}

/// A day as the library prints it, or nothing.
fn day(day: Option<Day>) -> Value {
    day.map(format_day).into()
}

/// What the library finds of the words and days of a field.
fn same_columns(there: &Value, field: &Field) {
    let columns = &there["columns"];
    let texts = [
        ("id", field.id.as_str()),
        ("name", &field.name),
        ("surface", field.surface.words()),
        ("stock", field.stock.words()),
        ("notes", &field.notes),
        ("crop", &field.calendar.crop),
        ("hazard_remarks", &field.remarks.hazards),
        ("access", &field.remarks.access),
        ("permission", &field.remarks.permission),
    ];
    for (column, text) in texts {
        assert_eq!(columns[column], text, "{column} of {}", field.id);
    }
    for (column, own) in [("surveyed", field.surveyed), ("stock_seen", field.stock_seen)] {
        assert_eq!(columns[column], day(own), "{column} of {}", field.id);
    }
    // A column of whole numbers with empty cells comes as real numbers.
    assert_eq!(columns["crop_year"].as_f64(), field.calendar.year.map(f64::from), "{}", field.id);
    let other = columns["other"].as_str().map_or(Value::Array(Vec::new()), |text| serde_json::from_str(text).unwrap());
    assert_eq!(other, serde_json::to_value(&field.other).unwrap(), "{}", field.id);
    // Photographs are rows of a table of their own since the second schema.
    assert_eq!(columns["photographs"], Value::Null, "{}", field.id);
}

/// Rows of a table of what belongs to fields, for one owner.
fn owned<'a>(rows: &'a [Value], owner: &str, fid: &Value) -> Vec<&'a Value> {
    let rows = rows.iter().map(|row| &row["columns"]);
    rows.filter(|c| c["owner"] == owner && c["owner_fid"] == *fid).collect()
}

fn same_belongings(answer: &Value, owner: &str, there: &Value, field: &Field) -> (usize, usize) {
    let months = owned(features(answer, "calendar_months"), owner, &there["fid"]);
    let mut found = [None; 12];
    for row in &months {
        found[row["month"].as_u64().unwrap() as usize - 1] = row["surface"].as_str();
    }
    assert_eq!(found, field.calendar.months.map(|m| m.map(Surface::words)), "months of {}", field.id);
    let mut photographs = owned(features(answer, "photographs"), owner, &there["fid"]);
    photographs.sort_by_key(|row| row["number"].as_u64());
    let paths: Vec<&str> = photographs.iter().map(|row| row["path"].as_str().unwrap()).collect();
    assert_eq!(paths, field.remarks.photographs, "photographs of {}", field.id);
    (months.len(), photographs.len())
}

#[test]
fn the_library_finds_every_day_month_remark_and_photograph() {
    let (answer, parts) = (expected(), sample());
    let own = |(a, b): (usize, usize), (c, d): (usize, usize)| (a + c, b + d);
    let fields = features(&answer, "fields").iter().zip(parts.fields.iter());
    let of_fields = fields.map(|(there, field)| {
        same_columns(there, field);
        same_belongings(&answer, "fields", there, field)
    });
    let of_fields = of_fields.fold((0, 0), own);
    let suggested = features(&answer, "proposals");
    assert_eq!(suggested.len(), parts.proposals.len());
    let of_proposals = suggested.iter().zip(parts.proposals.iter()).map(|(there, proposal)| {
        same_columns(there, &proposal.field);
        let columns = &there["columns"];
        assert_eq!(columns["score"].as_f64(), Some(proposal.score));
        assert_eq!(columns["strip_length_m"].as_f64(), Some(proposal.strip_length_m));
        assert_eq!(columns["refused"], proposal.refused);
        for (column, list) in [("checked", &proposal.checked), ("not_checked", &proposal.not_checked)] {
            let there: Vec<String> = serde_json::from_str(columns[column].as_str().unwrap()).unwrap();
            assert_eq!(&there, list, "{column} of {}", proposal.field.id);
        }
        same_belongings(&answer, "proposals", there, &proposal.field)
    });
    let (months, photographs) = own(of_fields, of_proposals.fold((0, 0), own));
    // Nothing is left over, and there was something to compare.
    assert_eq!(months, features(&answer, "calendar_months").len());
    assert_eq!(photographs, features(&answer, "photographs").len());
    assert!(months > 500 && photographs > 40 && !suggested.is_empty(), "{months} months, {photographs} photographs");
    assert!(parts.fields.iter().filter(|f| f.surveyed.is_some() && f.stock_seen.is_some()).count() > 20);
}

#[test]
fn the_library_finds_every_field_with_its_outline() {
    let (answer, parts) = (expected(), sample());
    let found = features(&answer, "fields");
    assert_eq!(answer["layers"]["fields"]["crs"], "EPSG:32630");
    assert_eq!(answer["layers"]["fields"]["geometry_type"], "Polygon");
    assert!(parts.fields.len() > 150);
    assert_eq!(found.len(), parts.fields.len());
    for (there, field) in found.iter().zip(parts.fields.iter()) {
        assert_eq!(there["geometry"]["valid"], true, "{}", field.id);
        // The library counts the closing vertex of each ring again.
        let closed = |ring: &Vec<Xy>| sum(ring) + ring[0];
        let all = field.holes.iter().fold(closed(&field.outer), |a, hole| a + closed(hole));
        near(there, all, &field.id);
        let area = ring_area(&field.outer) - field.holes.iter().map(|h| ring_area(h).abs()).sum::<f64>();
        assert!((there["geometry"]["area"].as_f64().unwrap() - area).abs() < AREA_M2, "{}", field.id);
    }
}

#[test]
fn the_library_finds_every_distinct_side_once() {
    let (answer, parts) = (expected(), sample());
    let ends = |a: Xy, b: Xy| {
        let (a, b) = ([a.x.to_bits(), a.y.to_bits()], [b.x.to_bits(), b.y.to_bits()]);
        if a < b { (a, b) } else { (b, a) }
    };
    let sides = |f: &Field| {
        let (ring, edges) = (f.outer.clone(), f.edges.clone());
        edges.into_iter().enumerate().map(move |(i, e)| (ring[i], ring[(i + 1) % ring.len()], e)).collect::<Vec<_>>()
    };
    let known = |e: &(Xy, Xy, sparefield_geometry::fields::model::BoundaryEdge)| {
        e.2 != sparefield_geometry::fields::model::BoundaryEdge::UNKNOWN
    };
    let mut all: Vec<_> = parts.fields.iter().flat_map(|f| sides(f)).filter(known).collect();
    let linked = all.len();
    let key = |e: &(Xy, Xy, sparefield_geometry::fields::model::BoundaryEdge)| {
        (ends(e.0, e.1), e.2.kind.words(), e.2.height_m.map(f64::to_bits))
    };
    all.sort_by_key(key);
    all.dedup_by_key(|e| key(e));
    let found = features(&answer, "boundary_edges");
    assert_eq!(found.len(), all.len());
    assert_eq!(features(&answer, "field_sides").len(), linked);
    let length: f64 = all.iter().map(|e| e.0.distance(e.1)).sum();
    let theirs: f64 = found.iter().map(|f| f["geometry"]["length"].as_f64().unwrap()).sum();
    assert!((length - theirs).abs() < 1e-3, "{length} m and {theirs} m");
    assert!(found.iter().all(|f| f["geometry"]["vertices"] == 2));
}

#[test]
fn the_library_finds_hazards_quiet_zones_and_the_home_strip() {
    let (answer, parts) = (expected(), sample());
    let found = features(&answer, "hazards");
    assert_eq!(found.len(), parts.hazards.len());
    for (there, hazard) in found.iter().zip(parts.hazards.iter()) {
        assert_eq!(there["columns"]["kind"], hazard.kind.words());
        assert_eq!(there["columns"]["height_m"].as_f64(), hazard.height_m);
        let (kind, all) = match &hazard.shape {
            HazardShape::Point(p) => ("Point", *p),
            HazardShape::Line(line) => ("LineString", sum(line)),
            HazardShape::Area { outer, holes } => {
                ("Polygon", std::iter::once(outer).chain(holes).fold(Xy::default(), |a, r| a + sum(r) + r[0]))
            }
        };
        assert_eq!(there["geometry"]["type"], kind);
        near(there, all, &hazard.id);
    }
    let zones = features(&answer, "quiet_zones");
    assert_eq!(zones.len(), parts.quiet_zones.len());
    for (there, zone) in zones.iter().zip(parts.quiet_zones.iter()) {
        assert_eq!(there["columns"]["below_agl_m"].as_f64(), Some(zone.below_agl_m));
    }
    let home = parts.home.as_ref().unwrap();
    assert_eq!(features(&answer, "home")[0]["columns"]["runway_length_m"].as_f64(), Some(home.runway_length_m));
    near(&features(&answer, "home")[0], home.position, "home");
    assert_eq!(features(&answer, "runway_ends").len(), home.ends.len());
    assert_eq!(features(&answer, "lanes").len(), parts.lanes.len());
}

#[test]
fn the_committed_file_holds_the_sample_area_of_today() {
    assert_eq!(sample(), surveyed());
}

/// Writes the file that the script reads; only when asked for, since it changes the repository.
#[test]
#[ignore = "writes the committed sample.gpkg anew"]
fn write_the_reference() {
    assert!(std::env::var_os("SPAREFIELD_WRITE_REFERENCE").is_some(), "set SPAREFIELD_WRITE_REFERENCE=1 to write it");
    let path = folder().join("sample.gpkg");
    if path.exists() {
        std::fs::remove_file(&path).unwrap();
    }
    drop(AreaFile::create(&path, &surveyed()).unwrap());
}
