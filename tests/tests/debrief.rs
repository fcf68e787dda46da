//! Debriefs at the command line, on the invented lesson whose truth is known, and plain answers to tracks that are none.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::program::program;
use sample_terrain::sortie::{SORTIE_SEED, lesson};
use serde_json::Value;
use sparefield_data::area::Area;
use sparefield_data::error::NoProgress;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

fn sortie() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-terrain/sortie.gpx")
}

fn run(arguments: &[&str]) -> Output {
    Command::new(program()).args(arguments).stdin(Stdio::null()).output().unwrap()
}

fn refused(arguments: &[&str]) -> String {
    let output = run(arguments);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
    assert_eq!(said.trim().lines().count(), 1, "{said}");
    said
}

#[test]
fn the_sample_lesson_is_told_as_it_was_flown() {
    let track = sortie();
    let output = run(&["debrief", track.to_str().unwrap(), "--date=2026-11-25", "--json"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    let sortie = &told["sorties"][0];
    let area = Area::sample(&NoProgress).unwrap();
    let truth = lesson(&area, SORTIE_SEED).unwrap();
    assert_eq!(sortie["fixes"].as_u64().unwrap() as usize, truth.track.fixes.len());
    let exercises = sortie["exercises"].as_array().unwrap();
    assert_eq!(exercises.len(), truth.exercises.len());
    for (told, flown) in exercises.iter().zip(&truth.exercises) {
        assert!((told["start"].as_f64().unwrap() - flown.start_s).abs() <= 3.0, "{told}");
        assert!((told["height_agl_at_start_m"].as_f64().unwrap() - flown.height_agl_m).abs() <= 15.0, "{told}");
        assert!(told["confidence"].as_f64().unwrap() > 0.5);
        let options = told["options"].as_array().unwrap().len() as f64;
        assert!((options - (flown.end_s - flown.start_s)).abs() < 15.0);
        assert!(!told["outcome_words"].as_str().unwrap().is_empty());
        assert!(told["turns"].as_array().unwrap().iter().all(|t| t["predicted_m"].as_f64().unwrap() > 0.0));
    }
    let bands = sortie["wind"]["bands"].as_array().unwrap();
    assert!(!bands.is_empty());
    for band in bands {
        // 240° and 4.6 m/s at the surface, half as much again aloft.
        assert!((band["from_deg"].as_f64().unwrap() - 240.0).abs() < 25.0, "{band}");
        assert!((band["speed_ms"].as_f64().unwrap() - 6.8).abs() < 2.0, "{band}");
    }
    let shares: f64 =
        ["none_share", "one_share", "several_share"].iter().map(|k| sortie["cover"][k].as_f64().unwrap()).sum();
    assert!((shares - 1.0).abs() < 1e-9);
}

#[test]
fn a_given_wind_is_told_by_height_beside_what_the_turns_tell() {
    let track = sortie();
    let wind = ["--wind", "090/10kt", "--wind-aloft", "3000ft:120/20kt"];
    let mut arguments = vec!["debrief", track.to_str().unwrap(), "--date=2026-11-25", "--json"];
    let told = |arguments: &[&str]| -> Value {
        let output = run(arguments);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let told: Value = serde_json::from_slice(&output.stdout).unwrap();
        told["sorties"][0]["wind"].clone()
    };
    let turns = told(&arguments);
    let heights = |list: &Value| -> Vec<f64> {
        list.as_array().unwrap().iter().map(|b| b["height_amsl_m"].as_f64().unwrap()).collect()
    };
    assert_eq!(heights(&turns["used"]), heights(&turns["bands"]), "without a given wind the turns' is used");
    arguments.extend(wind);
    let given = told(&arguments);
    assert_eq!(given["from"], "given");
    assert_eq!(given["bands"], turns["bands"], "what the turns tell is still told");
    let used = given["used"].as_array().unwrap();
    assert!(used.len() > 1 && heights(&given["used"]).is_sorted(), "{given}");
    for band in used {
        let (from, speed) = (band["from_deg"].as_f64().unwrap(), band["speed_ms"].as_f64().unwrap());
        assert!((85.0..=125.0).contains(&from) && (4.0..=10.4).contains(&speed), "{band}");
    }
    let speed = |i: usize| used[i]["speed_ms"].as_f64().unwrap();
    assert!(speed(used.len() - 1) > speed(0) + 1.0, "it grows with height: {given}");
}

#[test]
fn the_page_stands_alone_and_tells_every_exercise() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("debrief.html");
    let output = run(&["debrief", sortie().to_str().unwrap(), "--date=2026-11-25", "--report", page.to_str().unwrap()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let said = String::from_utf8(output.stdout).unwrap();
    let text = std::fs::read_to_string(&page).unwrap();
    let exercises = said.matches(" as a practice failure)").count();
    assert!(exercises >= 3, "{said}");
    assert_eq!(text.matches(" as a practice failure.</p>").count(), exercises);
    assert!(text.matches("<svg").count() >= 2 + 2 * exercises);
    // The ground under each map comes with the page: one picture for the flight and one for each exercise.
    let inside = " href=\"data:image/png;base64,";
    assert_eq!(text.matches(inside).count(), 1 + exercises);
    // Letters that encode a picture are no words.
    let after = |part: &'_ str| part.split_once('"').map_or_else(String::new, |(_, rest)| rest.to_owned());
    let mut parts = text.split(inside);
    let words: String = parts.next().map(str::to_owned).into_iter().chain(parts.map(after)).collect();
    for outside in ["http://", "https://", "src=", "href="] {
        assert!(!words.replace("http://www.w3.org/2000/svg", "").contains(outside), "{outside}");
    }
    assert!(!words.contains("NaN") && !words.contains("inf "));
    for caution in ["A training aid", "no instrument was read", "invented"] {
        assert!(words.contains(caution) && said.replace("\n             ", " ").contains(caution), "{caution}");
    }
    assert!(!words.to_lowercase().contains(" safe"));
}

fn gpx(points: impl Iterator<Item = (f64, f64, Option<f64>, u64)>) -> String {
    let mut out = String::from("<gpx version=\"1.1\" xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><trkseg>\n");
    for (lat, lon, height, second) in points {
        let ele = height.map_or_else(String::new, |h| format!("<ele>{h:.1}</ele>"));
        let _ = writeln!(
            out,
            "<trkpt lat=\"{lat:.6}\" lon=\"{lon:.6}\">{ele}<time>2026-11-{:02}T{:02}:{:02}:{:02}Z</time></trkpt>",
            20 + second / 86_400,
            second / 3_600 % 24,
            second / 60 % 60,
            second % 60
        );
    }
    out.push_str("</trkseg></trk></gpx>\n");
    out
}

#[test]
fn tracks_that_are_no_flights_get_a_plain_answer() {
    let folder = tempfile::tempdir().unwrap();
    let kept = |name: &str, text: String| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let east = |i: u64| -2.83 + 0.000_2 * i as f64;
    let few = kept("few.gpx", gpx((0..3).map(|i| (52.27, east(i), Some(300.0), i))));
    assert!(refused(&["debrief", &few]).contains("too few"));
    let bare = kept("bare.gpx", gpx((0..300).map(|i| (52.27, east(i), None, i))));
    assert!(refused(&["debrief", &bare]).contains("no heights"));
    let elsewhere = kept("elsewhere.gpx", gpx((0..300).map(|i| (51.0, east(i), Some(500.0), i))));
    assert!(refused(&["debrief", &elsewhere]).contains("outside the terrain"));
    // A car on the ground: the heights of the terrain itself.
    let area = Area::sample(&NoProgress).unwrap();
    let on_ground = (0..400).filter_map(|i| {
        let place = sparefield_geometry::position::LonLat::new(east(i) - 0.01, 52.272)?;
        let ground = area.terrain.height_at(area.frame.to_xy(place).ok()?)?;
        Some((place.lat_deg, place.lon_deg, Some(ground), i))
    });
    let car = kept("car.gpx", gpx(on_ground));
    assert!(refused(&["debrief", &car]).contains("nothing in the recording is a flight"));
    // Two days, and a clock that jumps: analysed, without an exercise.
    let circling = |i: u64| {
        let angle = i as f64 / 30.0;
        let (sin, cos) = sparefield_geometry::math::sin_cos(angle);
        (52.272 + 0.004 * sin, -2.82 + 0.006 * cos, Some(600.0))
    };
    let long = (0..2 * 86_400).step_by(5).map(|i| {
        let (lat, lon, h) = circling(i);
        (lat, lon, h, i)
    });
    let long = kept("long.gpx", gpx(long));
    let output = run(&["debrief", &long, "--json"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let jumping = (0..900_u64).map(|i| {
        let (lat, lon, h) = circling(i);
        (lat, lon, h, if i < 450 { i } else { i + 4_000 })
    });
    let jumping = kept("jumping.gpx", gpx(jumping));
    let output = run(&["debrief", &jumping]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(String::from_utf8_lossy(&output.stdout).contains("gap"));
}

#[test]
fn a_glide_curve_is_told_or_it_is_said_what_is_missing() {
    let track = sortie();
    let output = run(&["fit", track.to_str().unwrap(), "--json"]);
    if output.status.success() {
        let told: Value = serde_json::from_slice(&output.stdout).unwrap();
        let ratio = &told["best_glide_ratio"];
        // The lesson was flown at 6 : 1 give or take 7 %.
        let (value, sd) = (ratio["value"].as_f64().unwrap(), ratio["standard_deviation"].as_f64().unwrap());
        assert!((value - 6.0).abs() < 0.42 + 3.0 * sd, "{told}");
    } else {
        assert_eq!(output.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&output.stderr).contains("several speeds"));
    }
    let missing = refused(&["fit", "nowhere.igc"]);
    assert!(missing.contains("nowhere.igc"));
}

/// Level terrain about a place, as an Esri ASCII grid in degrees.
fn level_terrain(folder: &Path, lon: f64, lat: f64, height_m: f64) -> PathBuf {
    const CELLS: usize = 240;
    let path = folder.join("level.asc");
    let row = format!("{height_m} ").repeat(CELLS);
    let corner = |at: f64| at - 0.6;
    let mut text = format!(
        "ncols {CELLS}\nnrows {CELLS}\nxllcorner {}\nyllcorner {}\ncellsize 0.005\nNODATA_value -9999\n",
        corner(lon),
        corner(lat)
    );
    for _ in 0..CELLS {
        text.push_str(&row);
        text.push('\n');
    }
    std::fs::write(&path, text).unwrap();
    let datum = "DATUM[\"D_WGS_1984\",SPHEROID[\"WGS_1984\",6378137.0,298.257223563]]";
    let system =
        format!("GEOGCS[\"GCS_WGS_1984\",{datum},PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]]");
    std::fs::write(folder.join("level.prj"), system).unwrap();
    path
}

/// A flight some way from the middle of terrain that covers far more than one area, as a table.
fn table_flight(lon: f64, lat: f64, height_m: impl Fn(u32) -> f64, speed_ms: impl Fn(u32) -> f64) -> String {
    let mut text = "time,latitude,longitude,altitude_m\n".to_owned();
    let mut north = 0.0;
    for t in 0..900_u32 {
        north += speed_ms(t);
        let _ = writeln!(
            text,
            "2026-05-01T10:{:02}:{:02}Z,{:.7},{lon:.7},{:.1}",
            t / 60,
            t % 60,
            lat + north / 111_200.0,
            height_m(t)
        );
    }
    text
}

#[test]
fn terrain_far_larger_than_an_area_is_opened_where_the_flight_was_and_without_fields_nothing_is_said_of_them() {
    let folder = tempfile::tempdir().unwrap();
    let terrain = level_terrain(folder.path(), 8.0, 48.0, 200.0);
    // 40 km north-east of the middle of the terrain: up for two minutes, level, then a glide of a minute and up again.
    let height = |t: u32| {
        let t = f64::from(t);
        let glide = 3.7 * (t - 400.0).clamp(0.0, 60.0);
        200.0 + (3.0 * (t - 60.0)).clamp(0.0, 450.0) - glide + 3.0 * (t - 460.0).clamp(0.0, 100.0)
    };
    let speed = |t: u32| (f64::from(t) - 40.0).clamp(0.0, 22.0);
    let track = folder.path().join("flight.csv");
    std::fs::write(&track, table_flight(8.4, 48.2, height, speed)).unwrap();
    let output = run(&["debrief", track.to_str().unwrap(), "--terrain", terrain.to_str().unwrap()]);
    let said = String::from_utf8(output.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(said.contains("1. At 6:") && !said.contains("2. At"), "{said}");
    assert!(said.contains("No field of this area can be held against the flight"), "{said}");
    assert!(said.contains("This area has no field to look for.") && !said.contains("Keeping a way out"), "{said}");
    assert!(!said.contains("choose the aircraft that was flown"), "{said}");

    // Twice as fast as the aircraft flies: said, not explained away as wind.
    std::fs::write(&track, table_flight(8.4, 48.2, height, |t| 2.2 * speed(t))).unwrap();
    let output = run(&["debrief", track.to_str().unwrap(), "--terrain", terrain.to_str().unwrap()]);
    let said = String::from_utf8(output.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("choose the aircraft that was flown"), "{said}");
}

/// What a debrief of an open recording says, over level terrain at its first fix.
fn told_over_level(track: &Path, lon: f64, lat: f64, height_m: f64) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let terrain = level_terrain(folder.path(), lon, lat, height_m);
    let output = run(&["debrief", track.to_str().unwrap(), "--terrain", terrain.to_str().unwrap(), "--json"]);
    assert!(output.status.success(), "{}: {}", track.display(), String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice::<Value>(&output.stdout).unwrap()["sorties"][0].clone()
}

fn kinds(sortie: &Value) -> Vec<(String, f64)> {
    let events = sortie["events"].as_array().unwrap().iter();
    events.map(|e| (e["kind"].as_str().unwrap().to_owned(), e["start_s"].as_f64().unwrap())).collect()
}

/// What is expected stands in the recordings themselves: instruments' winds and speeds, and what they were made with.
#[test]
fn open_recordings_are_judged_as_what_they_are() {
    let Some(data) = std::env::var_os("SPAREFIELD_OPEN_DATA").map(PathBuf::from) else {
        println!("not run: SPAREFIELD_OPEN_DATA names no folder");
        return;
    };
    let flights = data.join("10_flights");

    // A sailplane whose recorder wrote the wind (three figures of degrees, then hundredths of km/h) and the speed over the
    // ground (columns 47 to 51, hundredths of km/h).
    let path = flights.join("sailplane_34min_mixed_rate.igc");
    let text = std::fs::read_to_string(&path).unwrap();
    let number = |line: &str, range: std::ops::Range<usize>| line[range].parse::<f64>().unwrap();
    let of_day = |line: &str| number(line, 1..3) * 3_600.0 + number(line, 3..5) * 60.0 + number(line, 5..7);
    let fixes: Vec<&str> = text.lines().filter(|l| l.starts_with('B')).collect();
    let start = of_day(fixes[0]);
    // The first was written on the ground.
    let winds: Vec<(f64, f64)> = text
        .lines()
        .filter(|l| l.starts_with('K'))
        .skip(1)
        .map(|l| (number(l, 7..10), number(l, 10..15) / 360.0))
        .collect();
    assert!(winds.len() > 8);
    let mean = |of: fn(&(f64, f64)) -> f64| winds.iter().map(of).sum::<f64>() / winds.len() as f64;
    let (from, speed) = (mean(|w| w.0), mean(|w| w.1));
    let sortie = told_over_level(&path, -81.837, 28.41, 36.0);
    let bands = sortie["wind"]["bands"].as_array().unwrap();
    assert!(!bands.is_empty());
    for band in bands {
        assert!((band["from_deg"].as_f64().unwrap() - from).abs() < 35.0, "{band}, {from} told by the instrument");
        assert!((band["speed_ms"].as_f64().unwrap() - speed).abs() < 3.5, "{band}, {speed} told by the instrument");
    }
    let fast = |l: &&&str| number(l, 46..51) > 6_000.0;
    let took_off = of_day(fixes.iter().find(fast).unwrap()) - start;
    let landed = of_day(fixes.iter().rfind(fast).unwrap()) - start;
    let events = kinds(&sortie);
    let near = |kind: &str, at: f64| events.iter().any(|e| e.0 == kind && (e.1 - at).abs() < 40.0);
    assert!(near("take-off", took_off) && near("landing", landed), "{took_off} {landed} {events:?}");
    // Half an hour without an engine is soaring, and no exercise.
    assert_eq!(sortie["exercises"].as_array().unwrap().len(), 0);

    // The other never came down between its start and its end, by its own pressure heights.
    let path = flights.join("sailplane_90min_5s.igc");
    let text = std::fs::read_to_string(&path).unwrap();
    let pressure: Vec<f64> = text.lines().filter(|l| l.starts_with('B')).map(|l| number(l, 25..30)).collect();
    let low = pressure.iter().filter(|h| **h < pressure[0] + 30.0).count();
    assert!(low < pressure.len() / 4 && pressure[pressure.len() / 2] > pressure[0] + 100.0);
    let sortie = told_over_level(&path, -80.443, 43.84, 470.0);
    assert!(!kinds(&sortie).iter().any(|e| e.0 == "touch-and-go"), "{}", sortie["events"]);
    assert_eq!(sortie["exercises"].as_array().unwrap().len(), 0);

    // Foot-launched: it never had an engine that could fail.
    let sortie = told_over_level(&flights.join("foot_launched_1hz_no_pressure.igc"), 8.515, 48.266, 720.0);
    assert_eq!(sortie["exercises"].as_array().unwrap().len(), 0);
    assert!(sortie["cautions"].to_string().contains("choose the aircraft that was flown"), "{}", sortie["cautions"]);

    // A powered departure, recorded to the climb: one take-off, where its own height above the sea leaves that of the run.
    let path = flights.join("powered_departure_1hz.csv");
    let table = std::fs::read_to_string(&path).unwrap();
    let mut rows =
        table.lines().filter(|l| !l.starts_with('#')).map(|l| l.split(',').map(str::trim).collect::<Vec<_>>());
    let head = rows.next().unwrap();
    let column = |name: &str| head.iter().position(|c| *c == name).unwrap();
    let (time, ias, msl) = (column("Lcl Time"), column("IAS"), column("AltMSL"));
    let of_day = |t: &str| t.split(':').fold(0.0, |sum, part| 60.0 * sum + part.parse::<f64>().unwrap());
    let rows: Vec<Vec<&str>> = rows.collect();
    let run = rows.iter().position(|r| r[ias].parse::<f64>().is_ok_and(|v| v > 50.0)).unwrap();
    let height = |r: &[&str]| r[msl].parse::<f64>().unwrap_or(f64::NAN);
    let on_the_run_ft = height(&rows[run]);
    let lifted = rows[run..].iter().find(|r| height(r) > on_the_run_ft + 16.0).unwrap();
    let lifted = of_day(lifted[time]) - of_day(rows[0][time]);
    let sortie = told_over_level(&path, -111.7177, 40.2171, 1_372.0);
    let events = kinds(&sortie);
    let take_offs: Vec<f64> = events.iter().filter(|e| e.0 == "take-off").map(|e| e.1).collect();
    assert!(take_offs.len() == 1 && (take_offs[0] - lifted).abs() < 12.0, "{events:?}, {lifted}");
    assert!(!events.iter().any(|e| e.0 == "landing") && sortie["exercises"].as_array().unwrap().is_empty());

    // Rides and hikes on relief of their own place, and everything else that somebody carried along: no exercise in any.
    let tile = data.join("01_dem_la/N34W119.hgt.zip");
    for name in ["sample.gpx", "sample-ride.gpx"] {
        let track = data.join("09_gpx").join(name);
        let said = refused(&["debrief", track.to_str().unwrap(), "--terrain", tile.to_str().unwrap()]);
        assert!(said.contains("nothing in the recording is a flight"), "{name}: {said}");
    }
    let mut looked_at = 0;
    let mut folders = vec![data.join("09_gpx"), data.join("11_nmea")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let said = refused(&["debrief", path.to_str().unwrap()]);
            assert!(!said.contains("panicked"), "{said}");
            looked_at += 1;
        }
    }
    assert!(looked_at > 40, "{looked_at}");
}
