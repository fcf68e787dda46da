use super::nmea::{Sentence, parse};
use super::*;
use crate::frame::Frame;
use proptest::prelude::*;
use sparefield_geometry::math;
use sparefield_geometry::position::LonLat;
use std::fmt::Write as _;

fn load(name: &str, text: &str) -> Loaded<Vec<Recording>> {
    from_bytes(Path::new(name), text.as_bytes()).unwrap_or_else(|e| panic!("{e}"))
}

fn one(name: &str, text: &str) -> (Recording, Vec<String>) {
    let mut loaded = load(name, text);
    assert_eq!(loaded.value.len(), 1, "{:?}", loaded.warnings);
    (loaded.value.remove(0), loaded.warnings.iter().map(ToString::to_string).collect())
}

fn said(warnings: &[String], part: &str) {
    assert!(warnings.iter().any(|w| w.contains(part)), "“{part}” is not in {warnings:?}");
}

fn gpx(points: &str) -> String {
    format!(
        "<gpx version=\"1.1\" xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><name>Evening</name><trkseg>{points}\
         </trkseg></trk></gpx>"
    )
}

/// Fixes due north at 20 m/s, one a second, from 51° N 2° W at 300 m.
fn northward(seconds: usize) -> Vec<(f64, f64, f64, String)> {
    let place = |s: usize| 51.0 + s as f64 * 20.0 / 111_195.0;
    (0..seconds).map(|s| (-2.0, place(s), 300.0, format!("2025-06-01T09:{:02}:{:02}Z", s / 60, s % 60))).collect()
}

fn gpx_of(fixes: &[(f64, f64, f64, String)]) -> String {
    let mut text = String::new();
    for (lon, lat, height, time) in fixes {
        let _ = write!(text, "<trkpt lon=\"{lon}\" lat=\"{lat}\"><ele>{height}</ele><time>{time}</time></trkpt>");
    }
    gpx(&text)
}

#[test]
fn sentences_of_receivers_are_read() {
    // Published examples of receivers' manuals and of other programs' tests.
    let Ok(Sentence::Fix { time_s, place: Some(place), valid: true, height_msl_m, geoid_m }) =
        parse(b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47")
    else {
        panic!("no fix")
    };
    assert_eq!((time_s, height_msl_m, geoid_m), (Some(45_319.0), Some(545.4), Some(46.9)));
    assert!((place.lat_deg - 48.1173).abs() < 1e-9 && (place.lon_deg - 11.516_666_667).abs() < 1e-9);
    let Ok(Sentence::Minimum { date, valid: true, speed_ms: Some(speed), track_deg, place: Some(place), .. }) =
        parse(b"$GPRMC,030000,A,4740.36415,N,12225.35953,W,000.02,059.5,160612,016.6,E*52")
    else {
        panic!("no minimum")
    };
    assert_eq!((date, track_deg), (Some(jiff::civil::date(2012, 6, 16)), Some(59.5)));
    assert!((speed - 0.02 * 1_852.0 / 3_600.0).abs() < 1e-12);
    assert!((place.lat_deg - 47.672_735_833).abs() < 1e-9 && (place.lon_deg + 122.422_658_833).abs() < 1e-9);
    for line in [
        "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
        "$GPGGA,111309.00,5400.6000,N,00247.1000,W,1,16,00.7,042.2,M,49.1,M,,*4A",
        "$GPGGA,015808.00,2726.53758,S,15126.05255,E,1,08,1.0,365.1,M,39.5,M,,*79",
        "$GPGGA,092204.999,4250.5589,S,14718.5084,E,1,04,24.4,19.7,M,,,,0000*1F",
    ] {
        assert!(!matches!(parse(line.as_bytes()), Err(_) | Ok(Sentence::Other)), "{line}");
        let damaged = line.replacen('0', "7", 1);
        assert_eq!(parse(damaged.as_bytes()), Err(nmea::NotASentence::Checksum), "{damaged}");
    }
    assert_eq!(parse(b"$GNGSA,A,1,,,,,,,,,,,,,99.99,99.99,99.99*2E"), Ok(Sentence::Other));
    for line in ["", "GPGGA", "$", "$GP", "$GPGGA,é", "$gp gga,1"] {
        assert!(parse(line.as_bytes()).is_err(), "{line}");
    }
}

#[test]
fn a_log_of_any_talker_makes_one_fix_of_each_moment() {
    let log = "# a logger's remark\r\n$GNGGA,,,,,,0,,,,M,,M,,\r\n$GNRMC,,V,,,,,,,,,\r\n\
               $GNGGA,235958.00,5100.0000,N,00200.0000,W,1,08,0.9,100.0,M,48.0,M,,\r\n\
               $GNRMC,235958.00,A,5100.0000,N,00200.0000,W,40.0,000.0,311224,,\r\n\
               $GLGGA,235959.00,5100.0100,N,00200.0000,W,1,08,0.9,101.0,M,48.0,M,,\r\n\
               1735689600 $GAGGA,000000.00,5100.0200,N,00200.0000,W,1,08,0.9,102.0,M,48.0,M,,\r\n\
               $GNRMC,000001.00,A,5100.0300,N,00200.0000,W,40.0,000.0,010125,,\r\n\
               $GPGGA,000002.00,,,,,0,00,99.9,,M,,M,,\r\n\
               $GPGGA,000003.00,0000.0000,N,00000.0000,E,1,00,99.9,0.0,M,,M,,\r\n\
               $GPGGA,000003.50,9000.0000,N,00000.0000,E,1,00,99.9,0.0,M,,M,,\r\n\
               $GPGGA,000004.00,5100.0600,N,00200.0000,W,0,00,99.9,,M,,M,,\r\n\
               $GPRMC,000005.00,V,5100.0600,N,00200.0000,W,,,010125,,\r\n\
               $GPGGA,000006.00,5100.0800,N,00200.0000,W,1,08,0.9,105.0,M,48.0,M,,*00\r\n";
    let (flight, warnings) = one("evening.log", log);
    let times: Vec<String> = flight.good().map(|f| f.time.unwrap().to_string()).collect();
    assert_eq!(times, ["2024-12-31T23:59:58Z", "2024-12-31T23:59:59Z", "2025-01-01T00:00:00Z", "2025-01-01T00:00:01Z"]);
    let heights: Vec<_> = flight.good().map(|f| f.satellite_height_m).collect();
    assert_eq!(heights, [Some(100.0), Some(101.0), Some(102.0), None]);
    assert_eq!((flight.faults(Fault::NoPlace), flight.faults(Fault::NotValid)), (2, 2));
    said(&warnings, "1 sentences have a wrong checksum");
    said(&warnings, "2 moments have no place");
    said(&warnings, "0, 0 or a pole");
}

#[test]
fn igc_records_are_read_to_the_last_column() {
    // The first two B records are published examples (the format's description; a reader's documentation).
    let text = "AXXX001\r\nHFDTE160701\r\nHFPLTPILOTINCHARGE: A. Example\r\nHFGTYGLIDERTYPE: Flexwing\r\n\
                B0941145152265N00032642WA0011500115\r\n\
                B1101355206343N00006198WA0058700558\r\n\
                I053638FXA3941ENL4242LAD4343LOD4445TDS\r\n\
                B1101365206343N00006198WA-0012005580354995725\r\n\
                B1101375206343N00006198WV0058700000035000..00\r\n\
                B11013752063\r\n\
                LXXX anything at all\r\n";
    let (flight, warnings) = one("a.igc", text);
    let [first, second, third, fourth] = flight.fixes[..] else { panic!("{:?}", flight.fixes) };
    assert_eq!(first.time.unwrap().to_string(), "2001-07-16T09:41:14Z");
    assert!((first.place.lat_deg - (51.0 + 52.265 / 60.0)).abs() < 1e-12, "{:?}", first.place);
    assert_eq!(second.time.unwrap().to_string(), "2001-07-16T11:01:35Z");
    assert!((second.place.lat_deg - 52.105_717).abs() < 5e-7 && (second.place.lon_deg + 0.1033).abs() < 5e-7);
    assert_eq!((second.pressure_height_m, second.satellite_height_m), (Some(587.0), Some(558.0)));
    assert_eq!((third.pressure_height_m, third.satellite_height_m), (Some(-12.0), Some(558.0)));
    assert!((third.place.lat_deg - (52.0 + 6.3435 / 60.0)).abs() < 1e-12, "a further decimal");
    assert!((third.place.lon_deg + 6.1987 / 60.0).abs() < 1e-12, "{}", third.place.lon_deg);
    assert_eq!(third.time.unwrap().to_string(), "2001-07-16T11:01:36.25Z");
    assert_eq!(third.engine, Some(499.0 / 999.0));
    assert_eq!((fourth.satellite_height_m, fourth.engine), (None, Some(0.0)));
    assert_eq!(flight.engine_sensor, Some(EngineSensor::Noise));
    assert_eq!((flight.pilot.as_deref(), flight.aircraft.as_deref()), (Some("A. Example"), Some("Flexwing")));
    assert_eq!(flight.satellite_datum, Datum::Ellipsoid);
    said(&warnings, "no whole B record");
}

#[test]
fn igc_goes_over_midnight_and_says_when_it_has_no_date() {
    let b = |time: &str, lat: &str| format!("B{time}{lat}N00200000WA0010000100\n");
    let flights = [b("235959", "5100000"), b("000000", "5100010"), b("000001", "5100020")].concat();
    let (flight, warnings) = one("m.igc", &format!("AXXX\nHFDTEDATE:311224,01\n{flights}"));
    assert_eq!(flight.fixes[2].time.unwrap().to_string(), "2025-01-01T00:00:01Z");
    assert!(flight.date_known && !warnings.iter().any(|w| w.contains("1970")), "{warnings:?}");
    let (flight, warnings) = one("m.igc", &format!("AXXX\n{flights}"));
    assert!(!flight.date_known);
    assert_eq!(flight.duration_s(), Some(2.0));
    said(&warnings, "no date");
}

#[test]
fn values_between_fixes_count_for_the_fix_before() {
    let text = "AXXX\nHFDTE010125\nJ010810MOP\nB1000005100000N00200000WA0010000100\nK100000500\n\
                B1000015100010N00200000WA0010000100\nK100001999\n";
    let (flight, _) = one("k.igc", text);
    assert_eq!(flight.engine_sensor, Some(EngineSensor::MeansOfPropulsion));
    assert_eq!(flight.fixes.iter().map(|f| f.engine).collect::<Vec<_>>(), [Some(500.0 / 999.0), Some(1.0)]);
}

#[test]
fn every_track_of_a_gpx_file_is_a_recording_in_the_order_of_time() {
    let later = "<trkseg><trkpt lat=\"51.2\" lon=\"-2\"><time>2025-06-01T10:00:00Z</time></trkpt></trkseg>";
    let sooner =
        "<trkseg><trkpt lat=\"51.1\" lon=\"-2\"><time>2025-06-01T09:59:00</time><ele>12</ele></trkpt></trkseg>";
    let text = format!(
        "\u{feff}<?xml version=\"1.0\"?><gpx version=\"1.0\"><trk>{later}{sooner}<name>Back to front</name></trk>\
         <trk><trkseg/></trk><trk><trkseg><trkpt lat=\"x\" lon=\"1\"/><trkpt lat=\"5\" lon=\"6\"/></trkseg></trk></gpx>"
    );
    let loaded = load("two.gpx", &text);
    let [first, second] = &loaded.value[..] else { panic!("{:?}", loaded.value) };
    assert_eq!(first.name, "Back to front");
    assert_eq!(first.fixes.iter().map(|f| f.place.lat_deg).collect::<Vec<_>>(), [51.1, 51.2]);
    assert!(!first.fixes[0].starts_segment && first.fixes[1].starts_segment);
    assert_eq!((second.name.as_str(), second.fixes.len(), second.started()), ("two", 1, None));
    let warnings: Vec<String> = loaded.warnings.iter().map(ToString::to_string).collect();
    for part in ["put in order", "no longitude and latitude", "has no times", "no heights"] {
        said(&warnings, part);
    }
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let none = HeightChoice::of(HeightSource::None);
    assert!(matches!(second.in_frame(&frame, &none), Err(PlacingError::NoTimes(_))));
}

#[test]
fn kml_tracks_are_read_and_heights_above_ground_are_none_of_a_flight() {
    let track = |mode: &str| {
        format!(
            "<kml xmlns:gx=\"http://www.google.com/kml/ext/2.2\"><Placemark><name>Circuit</name><gx:Track>{mode}\
             <when>2025-06-01T09:00:00Z</when><when>2025-06-01T09:00:01Z</when><gx:coord>-2 51 120.5</gx:coord>\
             <gx:coord>-2 51.0001 121</gx:coord></gx:Track></Placemark></kml>"
        )
    };
    let (flight, _) = one("a.kml", &track("<altitudeMode>absolute</altitudeMode>"));
    assert_eq!((flight.name.as_str(), flight.fixes.len()), ("Circuit", 2));
    assert_eq!(flight.fixes[0].satellite_height_m, Some(120.5));
    let (flight, warnings) = one("a.kml", &track(""));
    assert_eq!(flight.fixes[0].satellite_height_m, None);
    said(&warnings, "not above sea level");
}

#[test]
fn tables_are_guessed_shown_and_overridden() {
    let text = "#device one\n date ; time ; Latitude ; Longitude ; alt (ft) ; rpm\n\
                2025-06-01;09:00:00;51,0;-2,0;1000;2000\n2025-06-01;09:00:01;51,0001;-2,0;1010;5000\nrubbish\n";
    let seen = csv::preview(text.as_bytes());
    let mapping = seen.mapping.clone().unwrap();
    assert_eq!((mapping.delimiter, mapping.skip_rows, mapping.lat, mapping.lon), (';', 2, 2, 3));
    assert_eq!(seen.columns[2], "Latitude");
    assert!(seen.told.iter().any(|t| t.contains("feet")), "{:?}", seen.told);
    let (flight, warnings) = one("a.csv", text);
    assert_eq!(flight.fixes.len(), 2);
    assert_eq!(flight.started().unwrap().to_string(), "2025-06-01T09:00:00Z");
    assert!((flight.fixes[0].satellite_height_m.unwrap() - 304.8).abs() < 1e-9);
    assert_eq!(flight.fixes[0].engine, Some(0.4));
    said(&warnings, "guessed:");
    said(&warnings, "left out");
    // The user says that the height is of pressure and in metres after all.
    let pressure = csv::CsvHeight { column: 4, unit_m: 1.0, kind: csv::CsvHeightKind::Pressure };
    let own = csv::CsvMapping { satellite_height: None, pressure_height: Some(pressure), ..mapping };
    let options = TrackOptions { csv: Some(own) };
    let loaded = from_bytes_with(Path::new("a.csv"), text.as_bytes(), &options).unwrap();
    assert_eq!(loaded.value[0].fixes[0].pressure_height_m, Some(1_000.0));
    assert!(loaded.warnings.iter().all(|w| !w.message.contains("guessed")));
    let (flight, _) = one("unix.csv", "lon,lat,time\n1,2,1700000000\n1,2.001,1700000001.5\n");
    assert_eq!(flight.duration_s(), Some(1.5));
    let (flight, _) = one("late.csv", "time,lat,lon,altitude\n1700000000,51,-2,\n1700000001,51.0001,-2,300\n");
    assert_eq!(flight.fixes.iter().map(|f| f.satellite_height_m).collect::<Vec<_>>(), [None, Some(300.0)]);
    assert!(csv::preview(b"a,b\n1,2\n").mapping.is_none());
}

#[test]
fn spikes_gaps_duplicates_and_frozen_fixes_are_marked_and_stay() {
    let mut fixes = northward(400);
    fixes[50].1 += 0.01; // 1 100 m off for one fix
    for fix in &mut fixes[100..103] {
        fix.0 += 0.02; // three fixes off together
    }
    fixes[150].0 += 25.0 / 111_195.0 / 0.629; // 25 m to the side: no speed to speak of, but 5 g
    fixes[200].3 = fixes[199].3.clone();
    fixes[250].3 = "2025-06-01T08:00:00Z".to_owned();
    fixes[260].2 = 900.0;
    let stuck = fixes[300].1;
    for fix in &mut fixes[301..310] {
        fix.1 = stuck;
    }
    fixes.drain(330..360);
    let (flight, warnings) = one("bad.gpx", &gpx_of(&fixes));
    assert_eq!(flight.fixes.len(), fixes.len(), "nothing is thrown away");
    let marked = |fault: Fault| -> Vec<usize> {
        (0..flight.fixes.len()).filter(|&i| flight.fixes[i].fault == Some(fault)).collect()
    };
    assert_eq!(marked(Fault::Spike), [50, 100, 101, 102, 150]);
    assert_eq!(marked(Fault::SameTime), [200]);
    assert_eq!(marked(Fault::BackInTime), [250]);
    assert_eq!(marked(Fault::Frozen), (301..310).collect::<Vec<_>>());
    assert_eq!((0..370).filter(|&i| flight.fixes[i].height_spike).collect::<Vec<_>>(), [260]);
    assert_eq!(flight.gaps, [Gap { before_fix: 330, seconds: 31.0 }]);
    for part in
        ["5 fixes jump", "1 fix has the time", "backwards", "repeat an old place", "the height of 1 fix", "1 gap of 31"]
    {
        said(&warnings, part);
    }
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let track =
        flight.in_frame(&frame, &HeightChoice::of(HeightSource::Satellite { datum: Datum::MeanSeaLevel })).unwrap();
    assert_eq!(track.fixes.len(), fixes.len() - 16);
    assert!(track.fixes.windows(2).all(|w| w[1].time_s > w[0].time_s));
    assert_eq!(track.fixes.iter().filter(|f| f.height_amsl_m.is_none()).count(), 1);
}

#[test]
fn a_tight_circle_a_dive_and_an_aircraft_on_the_ground_are_left_alone() {
    // 20 m/s in a circle of 30 m radius is 1.7 g of turn: as tight as anybody flies a flexwing.
    let mut fixes = northward(600);
    for (s, fix) in fixes.iter_mut().enumerate() {
        let phase = s as f64 * 20.0 / 30.0;
        let (east, north) = (math::sin(phase) * 30.0, math::cos(phase) * 30.0);
        (fix.0, fix.1) = (-2.0 + east / 70_000.0, 51.0 + north / 111_195.0);
        fix.2 = if s < 300 { 2_000.0 - 15.0 * (s as f64) / 3.0 } else { 500.0 };
        if s >= 500 {
            (fix.0, fix.1) = (-2.0, 51.0);
        }
    }
    for fix in &mut fixes[500..] {
        fix.2 = 0.0;
    }
    let (flight, _) = one("circle.gpx", &gpx_of(&fixes[..500]));
    assert!(flight.fixes.iter().all(|f| f.fault.is_none() && !f.height_spike));
    let (flight, _) = one("parked.gpx", &gpx_of(&fixes[500..]));
    assert!(flight.fixes.iter().all(|f| f.fault.is_none()), "standing is not frozen");
}

#[test]
fn a_clock_that_jumps_keeps_the_longest_story() {
    let mut fixes = northward(100);
    for fix in &mut fixes[..10] {
        fix.3 = fix.3.replace("2025-06-01T09", "2036-02-07T06"); // the clock was wrong until the first fix
    }
    let (flight, warnings) = one("clock.gpx", &gpx_of(&fixes));
    assert_eq!(flight.duration_s(), Some(89.0));
    assert_eq!(flight.faults(Fault::BackInTime), 10);
    said(&warnings, "backwards");
}

#[test]
fn two_flights_in_one_log_are_two_recordings_and_two_days_are_said() {
    let mut fixes = northward(40);
    for fix in &mut fixes[20..] {
        fix.3 = fix.3.replace("T09", "T17");
    }
    let loaded = load("day.gpx", &gpx_of(&fixes));
    let names: Vec<_> = loaded.value.iter().map(|r| (r.name.as_str(), r.fixes.len())).collect();
    assert_eq!(names, [("Evening (1)", 20), ("Evening (2)", 20)]);
    said(&loaded.warnings.iter().map(ToString::to_string).collect::<Vec<_>>(), "divided");
    let mut long = Vec::new();
    for hour in 0..50 {
        let (day, hour_of_day) = (1 + hour / 24, hour % 24);
        long.push((-2.0, 51.0 + f64::from(hour) * 0.01, 100.0, format!("2025-06-0{day}T{hour_of_day:02}:00:00Z")));
    }
    let (flight, warnings) = one("days.gpx", &gpx_of(&long));
    assert_eq!(flight.duration_s(), Some(49.0 * 3_600.0));
    said(&warnings, "49 hours long");
}

#[test]
fn heights_are_decided_with_their_reason_and_checked_on_the_ground() {
    // Half a minute at rest at 100 m, then away. The geoid at this place is 48 to 50 m above the ellipsoid.
    let mut fixes = northward(200);
    for (s, fix) in fixes.iter_mut().enumerate() {
        let moving = s.saturating_sub(30) as f64;
        (fix.1, fix.2) = (51.0 + moving * 20.0 / 111_195.0, 100.0 + moving.min(100.0) * 2.0);
    }
    let ground = |_: LonLat| Some(100.0);
    let geoid = undulation_m(LonLat { lon_deg: -2.0, lat_deg: 51.0 });
    assert!((45.0..52.0).contains(&geoid), "{geoid}");
    let (flight, _) = one("sea.gpx", &gpx_of(&fixes));
    let decided = decide_heights(&flight, &ground);
    assert_eq!(decided.choice, HeightChoice::of(HeightSource::Satellite { datum: Datum::MeanSeaLevel }));
    assert!(decided.reason.contains("GPX defines") && decided.reason.contains("0 m above"), "{}", decided.reason);
    assert_eq!((decided.contacts.len(), decided.contacts[0].at_start), (1, true));
    // The same by a recorder that writes heights above the ellipsoid into GPX.
    for fix in &mut fixes {
        fix.2 += geoid;
    }
    let (flight, _) = one("ellipsoid.gpx", &gpx_of(&fixes));
    let decided = decide_heights(&flight, &ground);
    assert_eq!(decided.choice.source, HeightSource::Satellite { datum: Datum::Ellipsoid });
    assert!(decided.reason.contains("off the terrain"), "{}", decided.reason);
    let first = flight.height_amsl_m(&flight.fixes[0], &decided.choice).unwrap();
    assert!((first - 100.0).abs() < 0.01, "{first}");
    // Where nothing is known of the ground, the format's word stands.
    let decided = decide_heights(&flight, &|_| None);
    assert_eq!(decided.choice.source, HeightSource::Satellite { datum: Datum::MeanSeaLevel });
    assert!(decided.contacts.is_empty());
    assert!(decided.alternatives.len() >= 2 && decided.alternatives[0] == decided.choice);
}

#[test]
fn a_qnh_is_found_where_the_aircraft_stood() {
    let mut text = "AXXX\nHFDTE010125\n".to_owned();
    for second in 0..40 {
        let _ = writeln!(text, "B1000{second:02}5100000N00200000WA0005000000");
    }
    let (flight, _) = one("p.igc", &text);
    assert!(flight.good().all(|f| f.satellite_height_m.is_none()), "zeros are no heights");
    let decided = decide_heights(&flight, &|_| Some(150.0));
    let HeightSource::Pressure { qnh_hpa } = decided.choice.source else { panic!("{decided:?}") };
    // The altimeter stands 100 m too low on 1013.25: 27.3 ft for each hPa at sea level is 12.0 hPa more.
    assert!((qnh_hpa - 1_025.3).abs() < 0.1, "{qnh_hpa}");
    let height = flight.height_amsl_m(&flight.fixes[0], &decided.choice).unwrap();
    assert!((height - 150.0).abs() < 0.1, "{height}");
    let unknown = decide_heights(&flight, &|_| None);
    assert_eq!(unknown.choice.source, HeightSource::Pressure { qnh_hpa: 1_013.25 });
    assert!(unknown.reason.contains("Nothing tells the QNH"), "{}", unknown.reason);
}

#[test]
fn pressures_and_heights_are_those_of_the_published_table() {
    // ICAO standard atmosphere table, in metres to the nearest metre.
    let table = [
        (1_050.0, -302.0),
        (1_000.0, 111.0),
        (950.0, 540.0),
        (900.0, 988.0),
        (850.0, 1_457.0),
        (800.0, 1_949.0),
        (700.0, 3_012.0),
        (600.0, 4_206.0),
        (500.0, 5_574.0),
    ];
    for (pressure, height) in table {
        assert!((isa_height_m(pressure) - height).abs() < 1.0, "{pressure}: {}", isa_height_m(pressure));
        assert!((isa_height_m(isa_pressure_hpa(height)) - height).abs() < 1e-6);
    }
}

#[test]
fn what_is_no_flight_is_refused_in_one_sentence() {
    let refuse = |name: &str, bytes: &[u8]| {
        let error = from_bytes(Path::new(name), bytes).unwrap_err();
        assert!(!error.remedy.is_empty(), "{error}");
        error.to_string()
    };
    assert!(refuse("a.gpx", b"  \n").contains("empty"));
    assert!(refuse("a.txt", b"Dear sir, the flight was pleasant.").contains("no recorded flight"));
    assert!(refuse("a.gpx", b"<gpx><rte><rtept lat='1' lon='2'/></rte></gpx>").contains("no track"));
    assert!(refuse("a.kml", b"<kml><Placemark/></kml>").contains("gx:Track"));
    assert!(refuse("a.igc", b"AXXX001\nHFDTE010125\n").contains("no B records"));
    assert!(
        refuse("a.log", b"$GPGGA,000002.00,,,,,0,00,99.9,,M,,M,,\n$GPRMC,,V,,,,,,,,,\n").contains("never had a fix")
    );
    assert!(refuse("a.csv", b"lat,lon\n91,2\n1,x\n").contains("no recorded flight"));
    let error = read(Path::new("/nowhere/a.gpx")).unwrap_err();
    assert!(error.to_string().contains("no such file"));
}

proptest! {
    #[test]
    fn no_bytes_make_a_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..600), kind in 0_usize..6) {
        let heads: [&[u8]; 6] = [b"", b"AXXX001\nI013638ENL\nB1101355206343N00006198WA0058700558", b"$GPGGA,123519,4807.038,N,",
            b"<gpx><trk><trkseg>", b"<kml><Placemark><Track>", b"lat,lon,time\n"];
        let mut all = heads[kind].to_vec();
        all.extend_from_slice(&bytes);
        if let Ok(loaded) = from_bytes(Path::new("any"), &all) {
            for recording in &loaded.value {
                let decided = decide_heights(recording, &|_| Some(0.0));
                prop_assert!(!decided.reason.is_empty());
                prop_assert!(recording.fixes.iter().all(|f| f.place.lat_deg.abs() <= 90.0));
            }
        }
    }

    #[test]
    fn the_order_of_a_recording_is_kept_whatever_its_clock_did(seconds in prop::collection::vec(0_i64..300, 1..80)) {
        let fixes: Vec<_> = seconds.iter().enumerate().map(|(i, s)| {
            let at = jiff::Timestamp::from_second(1_750_000_000 + s).unwrap();
            (-2.0, 51.0 + i as f64 * 1e-5, 10.0, at.to_string())
        }).collect();
        for recording in load("p.gpx", &gpx_of(&fixes)).value {
            let times: Vec<_> = recording.good().map(|f| f.time.unwrap()).collect();
            prop_assert!(times.windows(2).all(|w| w[0] < w[1]));
            // The longest rising run cannot be shorter than any run in a row.
            let longest = seconds.chunk_by(|a, b| a < b).map(<[i64]>::len).max().unwrap();
            prop_assert!(times.len() + recording.faults(Fault::Spike) + recording.faults(Fault::Frozen) >= longest);
        }
    }
}
