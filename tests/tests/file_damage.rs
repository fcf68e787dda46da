//! Damaged files of every kind: never a panic, never a page of words, and an area file is never made worse.
//!
//! Terrain has a check of its own (`terrain_damage.rs`).
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed check")]

use proptest::prelude::*;
use sparefield_data::area_file::{self, AreaFile};
use sparefield_data::frame::{Crs, Frame};
use sparefield_data::imagery::{BlockStore, ImageryLayer, ImageryRequest};
use sparefield_data::vector::{VectorOptions, inspect, load_edges, load_fields, load_hazards, read_with};
use sparefield_data::{LoadError, NoProgress, aircraft_file, land_cover, track};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Xy;
use std::cell::Cell;
use std::path::{Path, PathBuf};
use std::sync::Arc;

const TODAY: Day = Day { days_since_epoch: 20_782 };
/// Files are damaged this often each; set higher to look for more.
const ROUNDS: u32 = 48;

fn rounds() -> u32 {
    std::env::var("SPAREFIELD_DAMAGE_ROUNDS").ok().and_then(|n| n.parse().ok()).unwrap_or(ROUNDS)
}

fn reference(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// What is done to a file.
#[derive(Clone, Debug)]
enum Damage {
    /// Bytes at shares of the file become others.
    Bytes(Vec<(f64, u8)>),
    /// Bytes near the front, where headers and directories are, become others.
    Front(Vec<(u16, u8)>),
    /// It ends early.
    Cut(f64),
    /// A piece is left out.
    Gap(f64, u8),
    /// A piece is there twice.
    Twice(f64, u8),
    /// Digits become other digits, or something that is no number.
    Digits(f64, &'static str),
}

fn damage() -> impl Strategy<Value = Damage> {
    let share = || 0.0..1.0f64;
    let byte = || prop_oneof![Just(0u8), Just(0xFF), Just(0x7F), Just(0x80), any::<u8>()];
    let words =
        ["nan", "inf", "-inf", "1e308", "1e999", "-0", "", "9".repeat(40).leak(), "\u{0}", "é", "<", "\"", "180.5"];
    prop_oneof![
        prop::collection::vec((share(), byte()), 1..6).prop_map(Damage::Bytes),
        prop::collection::vec((0u16..600, byte()), 1..6).prop_map(Damage::Front),
        share().prop_map(Damage::Cut),
        (share(), any::<u8>()).prop_map(|(at, n)| Damage::Gap(at, n)),
        (share(), any::<u8>()).prop_map(|(at, n)| Damage::Twice(at, n)),
        (share(), prop::sample::select(words.to_vec())).prop_map(|(at, word)| Damage::Digits(at, word)),
    ]
}

impl Damage {
    fn of(&self, whole: &[u8]) -> Vec<u8> {
        let mut bytes = whole.to_vec();
        let at = |share: f64| ((share * whole.len() as f64) as usize).min(whole.len().saturating_sub(1));
        match self {
            Self::Bytes(all) => all.iter().for_each(|(share, byte)| bytes[at(*share)] = *byte),
            Self::Front(all) => {
                for (place, byte) in all {
                    let place = usize::from(*place).min(whole.len() - 1);
                    bytes[place] = *byte;
                }
            }
            Self::Cut(share) => bytes.truncate(at(*share)),
            Self::Gap(share, n) => {
                bytes.drain(at(*share)..(at(*share) + usize::from(*n)).min(whole.len()));
            }
            Self::Twice(share, n) => {
                let piece = whole[at(*share)..(at(*share) + usize::from(*n)).min(whole.len())].to_vec();
                bytes.splice(at(*share)..at(*share), piece);
            }
            Self::Digits(share, word) => {
                let is_digit = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b'-');
                if let Some(from) = whole.iter().skip(at(*share)).position(u8::is_ascii_digit) {
                    let from = from + at(*share);
                    let to = from + whole[from..].iter().take_while(|b| is_digit(b)).count();
                    bytes.splice(from..to, word.bytes());
                }
            }
        }
        bytes
    }
}

/// One sentence, not too long, that names the file.
fn sentence(error: &LoadError) {
    let text = error.to_string();
    assert!(!error.problem.is_empty() && text.len() < 1_200 && !text.contains('\n'), "{text}");
}

fn sound(points: &[Xy]) -> bool {
    points.iter().all(|p| p.x.is_finite() && p.y.is_finite())
}

fn read_every_way(path: &Path, frame: &Frame) {
    let options = VectorOptions { crs_override: Some(Crs::wgs84().unwrap()), ..VectorOptions::default() };
    for options in [VectorOptions::default(), options] {
        match load_fields(path, frame, &options) {
            Ok(loaded) => {
                for field in &loaded.value {
                    assert!(sound(&field.outer) && field.holes.iter().all(|h| sound(h)), "{field:?}");
                    assert!(field.edges.len() == field.outer.len() && field.outer.len() >= 3);
                    assert!(field.edges.iter().all(|e| e.height_m.is_none_or(|h| (0.0..=1_000.0).contains(&h))));
                }
                let mut fields = loaded.value;
                if let Err(e) = load_edges(path, &mut fields, frame, &options) {
                    sentence(&e);
                }
            }
            Err(e) => sentence(&e),
        }
        match load_hazards(path, frame, &options) {
            Ok(loaded) => {
                assert!(loaded.value.quiet_zones.iter().all(|q| sound(&q.outer) && q.below_agl_m >= 0.0));
                assert!(loaded.value.hazards.iter().all(|h| h.height_m.is_none_or(|m| m >= 0.0)));
            }
            Err(e) => sentence(&e),
        }
    }
    inspect(path).map_or_else(|e| sentence(&e), |_| ());
    read_with(path, frame, &[]).map_or_else(|e| sentence(&e), |_| ());
}

#[test]
fn damaged_vector_files_are_read_or_refused() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let written = reference("formats_reference/written");
    let names = ["area.geojson", "area.gpkg", "area.gpx", "area.kml", "area.kmz", "area-fields.shp", "area-edges.shp"];
    for name in names {
        let source = written.join(name);
        // Every file of a shapefile is damaged in turn.
        let parts: &[&str] = if name.ends_with("shp") { &["shp", "shx", "dbf", "prj", "cpg"] } else { &[""] };
        for part in parts {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join(name);
            for other in parts {
                let (from, to) = match *other {
                    "" => (source.clone(), path.clone()),
                    ending => (source.with_extension(ending), path.with_extension(ending)),
                };
                std::fs::copy(from, to).unwrap();
            }
            let damaged = if part.is_empty() { path.clone() } else { path.with_extension(part) };
            let whole = std::fs::read(&damaged).unwrap();
            proptest!(ProptestConfig { cases: rounds(), failure_persistence: None, ..ProptestConfig::default() }, |(how in damage())| {
                std::fs::write(&damaged, how.of(&whole)).unwrap();
                read_every_way(&path, &frame);
            });
        }
    }
}

#[test]
fn damaged_recordings_are_read_or_refused() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(reference("track_reference/written")).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    assert_eq!(files.len(), 6);
    for source in files {
        let whole = std::fs::read(&source).unwrap();
        proptest!(ProptestConfig { cases: rounds(), failure_persistence: None, ..ProptestConfig::default() }, |(how in damage())| {
            match track::from_bytes(&source, &how.of(&whole)) {
                Ok(loaded) => {
                    for recording in &loaded.value {
                        let choice = track::decide_heights(recording, &|_| Some(100.0)).choice;
                        match recording.in_frame(&frame, &choice) {
                            Ok(placed) => {
                                assert!(placed.fixes.windows(2).all(|w| w[0].time_s < w[1].time_s));
                                let known = |h: Option<f64>| h.is_none_or(f64::is_finite);
                                assert!(placed.fixes.iter().all(|f| sound(&[f.position]) && known(f.height_amsl_m)));
                            }
                            Err(error) => assert!(error.to_string().len() < 400, "{error}"),
                        }
                    }
                }
                Err(e) => sentence(&e),
            }
        });
    }
}

fn look(path: &Path, frame: &Frame) {
    let request = ImageryRequest {
        frame,
        crs_where_missing: Some(Crs::from_epsg(32630).unwrap()),
        store: Arc::new(BlockStore::new(8 << 20)),
    };
    match ImageryLayer::open(path, &request, &NoProgress) {
        Ok(opened) => {
            let layer = opened.value;
            let middle = layer.extent().map_or(Xy::new(5e5, 5.8e6), |(low, high)| (low + high) * 0.5);
            for half_m in [20.0, 3_000.0] {
                let half = Xy::new(half_m, half_m);
                match layer.render(middle - half, middle + half, 48, &NoProgress) {
                    Ok(tile) => assert_eq!(tile.pixels.len(), 48 * 48),
                    Err(e) => sentence(&e),
                }
            }
        }
        Err(e) => sentence(&e),
    }
}

#[test]
fn damaged_images_are_shown_or_refused() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(reference("imagery_reference/inputs")).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    assert!(files.len() > 20);
    for source in files {
        let name = source.file_name().unwrap().to_str().unwrap().to_owned();
        let path = folder.path().join(&name);
        let whole = std::fs::read(&source).unwrap();
        proptest!(ProptestConfig { cases: rounds() / 2, failure_persistence: None, ..ProptestConfig::default() }, |(how in damage())| {
            std::fs::write(&path, how.of(&whole)).unwrap();
            look(&path, &frame);
        });
        std::fs::copy(&source, &path).unwrap();
    }
}

#[test]
fn a_damaged_area_file_is_opened_or_refused_and_never_made_worse() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("area.gpkg");
    let whole = std::fs::read(reference("area_file_reference/sample.gpkg")).unwrap();
    let (opened, refused) = (Cell::new(0), Cell::new(0));
    proptest!(ProptestConfig { cases: rounds(), failure_persistence: None, ..ProptestConfig::default() }, |(how in damage())| {
        let damaged = how.of(&whole);
        std::fs::write(&path, &damaged).unwrap();
        match AreaFile::open(&path, TODAY, &NoProgress) {
            Ok(loaded) => {
                opened.set(opened.get() + 1);
                let (file, parts) = loaded.value;
                for field in parts.fields.iter() {
                    assert!(sound(&field.outer) && field.edges.len() == field.outer.len());
                }
                drop(file);
                // What was shown is still there.
                assert_eq!(area_file::read(&path, &NoProgress).unwrap().value, parts);
            }
            Err(error) => {
                refused.set(refused.get() + 1);
                let text = error.to_string();
                assert!(text.len() < 1_200 && !text.contains('\n') && !error.remedy.is_empty(), "{text}");
                assert_eq!(std::fs::read(&path).unwrap(), damaged, "a file that cannot be read is left as it is");
            }
        }
    });
    assert!(opened.get() > 0 && refused.get() > 0, "{opened:?} opened, {refused:?} refused");
}

#[test]
fn damaged_texts_of_aircraft_and_classes_are_read_or_refused() {
    let assets = reference("../assets");
    for folder in ["aircraft", "land-cover"] {
        for entry in std::fs::read_dir(assets.join(folder)).unwrap() {
            let source = entry.unwrap().path();
            if source.extension().is_none_or(|e| e != "toml") {
                continue;
            }
            let place = tempfile::tempdir().unwrap();
            let path = place.path().join("damaged.toml");
            let whole = std::fs::read(&source).unwrap();
            proptest!(ProptestConfig { cases: rounds(), failure_persistence: None, ..ProptestConfig::default() }, |(how in damage())| {
                std::fs::write(&path, how.of(&whole)).unwrap();
                aircraft_file::load(&path).map_or_else(|e| sentence(&e), |_| ());
                land_cover::load_table(&path).map_or_else(|e| sentence(&e), |_| ());
            });
        }
    }
}
