//! An area file as GDAL reads it: `area_file_reference/generate.py` wrote what that library finds in the committed
//! `sample.gpkg`, which Sparefield wrote from its sample area, and `expected.json` names its version.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use serde_json::Value;
use sparefield_data::NoProgress;
use sparefield_data::area::Area;
use sparefield_data::area_file::{self, AreaFile, AreaParts, TerrainSource};
use sparefield_geometry::fields::model::{Field, HazardShape, ring_area};
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};

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

#[test]
fn the_library_finds_every_field_with_its_outline_and_words() {
    let (answer, parts) = (expected(), sample());
    let found = features(&answer, "fields");
    assert_eq!(answer["layers"]["fields"]["crs"], "EPSG:32630");
    assert_eq!(answer["layers"]["fields"]["geometry_type"], "Polygon");
    assert!(parts.fields.len() > 150);
    assert_eq!(found.len(), parts.fields.len());
    for (there, field) in found.iter().zip(parts.fields.iter()) {
        assert_eq!(there["columns"]["id"], field.id.as_str());
        assert_eq!(there["columns"]["name"], field.name.as_str());
        assert_eq!(there["columns"]["surface"], field.surface.words());
        assert_eq!(there["columns"]["stock"], field.stock.words());
        assert_eq!(there["columns"]["notes"], field.notes.as_str());
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
    let area = Area::sample(&NoProgress).unwrap();
    assert_eq!(sample(), AreaParts::of(&area, TerrainSource::Sample));
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
    let area = Area::sample(&NoProgress).unwrap();
    drop(AreaFile::create(&path, &AreaParts::of(&area, TerrainSource::Sample)).unwrap());
}
