//! Recorded flights: one flight in every format, and open data, against gpxpy, pynmea2 and plain Python
//! (`track_reference`).
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed check")]

use serde_json::Value;
use sparefield_data::frame::Frame;
use sparefield_data::track::{self, Datum, HeightChoice, HeightSource, Recording, TrackFormat, decide_heights};
use std::collections::HashMap;
use std::path::{Path, PathBuf};

fn reference(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("track_reference").join(name)
}

fn json(name: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(reference(name)).unwrap()).unwrap()
}

fn one(path: &Path) -> Recording {
    let mut loaded = track::read(path).unwrap();
    assert_eq!(loaded.value.len(), 1, "{}: {:?}", path.display(), loaded.warnings);
    loaded.value.remove(0)
}

/// Half of the last figure that a format writes of an angle, degrees, and of a height, metres.
fn steps(format: TrackFormat) -> (f64, f64) {
    match format {
        // Thousandths of a minute; whole metres, and the geoid as the writer had it (49.6 m) against EGM96 there.
        TrackFormat::Igc => (0.5e-3 / 60.0, 0.5 + GEOID_DOUBT_M),
        TrackFormat::Nmea => (0.5e-5 / 60.0, 0.05),
        // Hundredths of a foot.
        TrackFormat::Csv => (0.5e-7, 0.005 * 0.304_8 + 0.05),
        _ => (0.5e-7, 0.05),
    }
}

/// The writer took one height of the geoid for the whole flight.
const GEOID_DOUBT_M: f64 = 1.0;

#[test]
fn one_flight_is_the_same_in_every_format() {
    let expected = json("expected.json");
    let fixes = expected["gpx"].as_array().unwrap();
    let formats = [
        ("flight.gpx", TrackFormat::Gpx),
        ("flight.nmea", TrackFormat::Nmea),
        ("flight.igc", TrackFormat::Igc),
        ("flight.kml", TrackFormat::Kml),
        ("flight.kmz", TrackFormat::Kmz),
        ("flight.csv", TrackFormat::Csv),
    ];
    let frame = Frame::from_user("EPSG:32630").unwrap();
    for (name, format) in formats {
        // A name says nothing: the content is looked at.
        let bytes = std::fs::read(reference("written").join(name)).unwrap();
        let loaded = track::from_bytes(Path::new("flight.dat"), &bytes).unwrap();
        let flight = &loaded.value[0];
        assert_eq!((flight.format, flight.fixes.len()), (format, fixes.len()), "{name}");
        assert!(flight.fixes.iter().all(|f| f.fault.is_none() && !f.height_spike), "{name}: {:?}", loaded.warnings);
        assert!(flight.gaps.is_empty());
        let decided = decide_heights(flight, &|_| Some(120.0));
        let (angle, height) = steps(format);
        for (fix, expected) in flight.fixes.iter().zip(fixes) {
            let [time, lon, lat, amsl] = [0, 1, 2, 3].map(|i| expected[i].as_f64().unwrap());
            assert_eq!(fix.time.unwrap().as_microsecond() as f64 / 1e6, time, "{name}");
            assert!((fix.place.lon_deg - lon).abs() <= angle + 1e-7, "{name}: {} {lon}", fix.place.lon_deg);
            assert!((fix.place.lat_deg - lat).abs() <= angle + 1e-7, "{name}: {} {lat}", fix.place.lat_deg);
            let found = flight.height_amsl_m(fix, &decided.choice).unwrap();
            assert!((found - amsl).abs() <= height + 0.05, "{name}: {found} {amsl}; {}", decided.reason);
        }
        let placed = flight.in_frame(&frame, &decided.choice).unwrap();
        assert_eq!(placed.fixes.len(), fixes.len());
        assert_eq!(placed.fixes[299].time_s, 299.0, "across midnight");
        let engine = placed.fixes.iter().any(|f| f.engine.is_some());
        assert_eq!(engine, matches!(format, TrackFormat::Igc | TrackFormat::Csv), "{name}");
    }
    let igc = one(&reference("written/flight.igc"));
    let range = |of: &Value| Some((of[0].as_f64().unwrap(), of[1].as_f64().unwrap()));
    assert_eq!(igc.height_range(|f| f.pressure_height_m), range(&expected["igc"]["pressure"]));
    assert_eq!(igc.height_range(|f| f.satellite_height_m), range(&expected["igc"]["satellite"]));
    assert!(igc.datum_stated && igc.satellite_datum == Datum::Ellipsoid);
    let nmea = one(&reference("written/flight.nmea"));
    assert_eq!(nmea.height_range(|f| f.satellite_height_m), range(&expected["nmea"]["heights"]));
    // A wrong choice of datum is off by the geoid, so the comparison above can fail.
    let wrong = HeightChoice::of(HeightSource::Satellite { datum: Datum::MeanSeaLevel });
    let off = igc.height_amsl_m(&igc.fixes[0], &wrong).unwrap() - 120.0;
    assert!(off > 45.0, "{off}");
}

/// Every file in a folder and the folders in it.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(files(&path));
        } else {
            all.push(path);
        }
    }
    all.sort();
    all
}

/// The name of a file by its content, as the script has it (FNV-1a, 64 bits).
fn key(path: &Path) -> String {
    let bytes = std::fs::read(path).unwrap();
    let hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(*b)).wrapping_mul(0x100_0000_01b3));
    format!("{hash:016x}")
}

fn open_data() -> Option<PathBuf> {
    let folder = std::env::var_os("SPAREFIELD_OPEN_DATA").map(PathBuf::from);
    if folder.is_none() {
        println!("not run: SPAREFIELD_OPEN_DATA names no folder");
    }
    folder
}

#[test]
fn open_recordings_have_the_fixes_and_heights_that_others_find() {
    let Some(folder) = open_data() else { return };
    let expected = json("open_data.json");
    let folders = ["09_gpx", "10_flights", "11_nmea"];
    let paths: HashMap<String, PathBuf> =
        folders.iter().flat_map(|f| files(&folder.join(f))).map(|path| (key(&path), path)).collect();
    let all = |path: &Path| track::read(path).map(|l| l.value);
    let range = |of: &Value| of.as_array().map(|r| (r[0].as_f64().unwrap(), r[1].as_f64().unwrap()));
    let heights = |of: &[Recording], height: fn(&track::RecordedFix) -> Option<f64>| {
        let values: Vec<f64> = of.iter().flat_map(|r| &r.fixes).filter_map(height).collect();
        values.iter().copied().reduce(f64::min).zip(values.iter().copied().reduce(f64::max))
    };
    let mut compared = 0;
    for (name, tracks) in expected["gpx"].as_object().unwrap() {
        let tracks = tracks.as_array().unwrap();
        let Some(path) = paths.get(name) else { continue };
        compared += 1;
        if tracks.is_empty() {
            assert!(all(path).is_err(), "{name} has no tracks");
            continue;
        }
        let found = all(path).unwrap();
        let counted = |key: &str| tracks.iter().map(|t| t[key].as_u64().unwrap() as usize).sum::<usize>();
        assert_eq!(found.iter().map(|r| r.fixes.len()).sum::<usize>(), counted("fixes"), "{name}");
        let timed = found.iter().flat_map(|r| &r.fixes).filter(|f| f.time.is_some()).count();
        assert_eq!(timed, counted("with_time"), "{name}");
        let ranges: Vec<_> = tracks.iter().filter_map(|t| range(&t["heights"])).collect();
        let low = ranges.iter().map(|r| r.0).reduce(f64::min);
        let high = ranges.iter().map(|r| r.1).reduce(f64::max);
        assert_eq!(heights(&found, |f| f.satellite_height_m), low.zip(high), "{name}");
    }
    for (name, said) in expected["nmea"].as_object().unwrap() {
        let count = said["fixes"].as_u64().unwrap() as usize;
        let Some(path) = paths.get(name) else { continue };
        compared += 1;
        match all(path) {
            Ok(found) => {
                let valid = found.iter().flat_map(|r| &r.fixes);
                let valid = valid.filter(|f| f.fault != Some(track::Fault::NotValid) && f.satellite_height_m.is_some());
                assert_eq!(valid.count(), count, "{name}");
                assert_eq!(heights(&found, |f| f.satellite_height_m), range(&said["heights"]), "{name}");
            }
            Err(error) => assert_eq!(count, 0, "{name}: {error}"),
        }
    }
    for (name, said) in expected["igc"].as_object().unwrap() {
        let Some(path) = paths.get(name) else { continue };
        compared += 1;
        let found = all(path).unwrap();
        assert_eq!(
            found.iter().map(|r| r.fixes.len()).sum::<usize>() as u64,
            said["fixes"].as_u64().unwrap(),
            "{name}"
        );
        assert_eq!(heights(&found, |f| f.pressure_height_m), range(&said["pressure"]), "{name}");
        assert_eq!(heights(&found, |f| f.satellite_height_m), range(&said["satellite"]), "{name}");
    }
    assert!(compared > 50, "{compared}");
}

#[test]
fn open_logs_and_their_twins_agree() {
    let Some(folder) = open_data() else { return };
    let mut twins = vec![(
        folder.join("10_flights/powered_departure_1hz.csv"),
        folder.join("10_flights/powered_departure_1hz.gpx"),
    )];
    for log in files(&folder.join("11_nmea")).into_iter().filter(|p| p.extension().is_some_and(|e| e == "nmea")) {
        let beside = files(log.parent().unwrap()).into_iter().find(|p| p.extension().is_some_and(|e| e == "gpx"));
        twins.push((log, beside.unwrap()));
    }
    assert_eq!(twins.len(), 4);
    for (log, gpx) in twins {
        let (a, b) = (one(&log), one(&gpx));
        let log = log.display().to_string();
        assert_eq!(a.fixes.len(), b.fixes.len(), "{log}");
        for (x, y) in a.fixes.iter().zip(&b.fixes) {
            assert!((x.place.lon_deg - y.place.lon_deg).abs() < 1e-6, "{log}: {:?} {:?}", x.place, y.place);
            assert!((x.place.lat_deg - y.place.lat_deg).abs() < 1e-6, "{log}: {:?} {:?}", x.place, y.place);
            if !log.ends_with("csv") {
                // The table's twin took another of its columns of heights.
                assert_eq!(x.satellite_height_m, y.satellite_height_m, "{log}");
            }
            // One log has days that are no days; its times of day are those of its twin without the fractions.
            if a.date_known {
                assert_eq!(x.time.unwrap().as_second(), y.time.unwrap().as_second(), "{log}");
            } else {
                let of_day = |t: jiff::Timestamp| t.as_second().rem_euclid(86_400);
                assert_eq!(of_day(x.time.unwrap()), of_day(y.time.unwrap()), "{log}");
            }
        }
    }
}
