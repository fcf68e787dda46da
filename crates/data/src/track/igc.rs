//! Flight recorder files of the International Gliding Commission.
//!
//! Source: FAI, *Technical Specification for IGC-approved GNSS Flight Recorders*, 2nd edition with amendment 4, 2015,
//! appendix A (records B, H, I, J, K; column numbers count from 1).

use super::clock::{self, time_of_day};
use super::recording::{Datum, EngineSensor, Fault, RecordedFix, Recording, TrackFormat};
use super::{MOST_FIXES, too_many_fixes};
use crate::error::{LoadError, LoadErrorKind, Warning};
use crate::vector::record::Notes;
use jiff::civil::Date;
use sparefield_geometry::position::LonLat;
use std::path::Path;

/// Characters of a B record before its extensions.
const B_LENGTH: usize = 35;
/// Full scale of the sensors ENL and MOP.
const FULL_SCALE: f64 = 999.0;
/// Records longer than this are no records, bytes.
const LONGEST_LINE: usize = 1_000;

/// One extension: columns from `first` to `last`, counted from 0, the last excluded.
struct Extension {
    code: String,
    first: usize,
    last: usize,
}

struct Row {
    time_s: f64,
    date: Option<Date>,
    fix: RecordedFix,
    noise: Option<f64>,
    propulsion: Option<f64>,
    revolutions: Option<f64>,
}

pub(crate) fn read(path: &Path, bytes: &[u8]) -> Result<(Vec<Recording>, Vec<Warning>), LoadError> {
    let mut notes = Notes::default();
    let mut recording = Recording::new(super::stem(path), TrackFormat::Igc, Datum::Ellipsoid);
    let (mut in_b, mut in_k): (Vec<Extension>, Vec<Extension>) = (Vec::new(), Vec::new());
    let mut date: Option<Date> = None;
    let mut rows: Vec<Row> = Vec::new();
    for (number, line) in bytes.split(|b| *b == b'\n' || *b == b'\r').enumerate() {
        if line.len() > LONGEST_LINE {
            let place = format!("line {}", number + 1);
            notes.add("lines that are no records", place, "it is too long for a record; it was passed over");
            continue;
        }
        // Names in headers may be in any encoding; nothing that counts is.
        let text: String = line.iter().map(|&b| char::from(b)).collect();
        let place = || format!("line {}", number + 1);
        match text.as_bytes().first() {
            Some(b'B') => match b_record(&text, &in_b) {
                Some(mut row) => {
                    if rows.len() >= MOST_FIXES {
                        return Err(too_many_fixes(path));
                    }
                    row.date = date.take();
                    rows.push(row);
                }
                None => notes.add("fixes that cannot be read", place(), "it is no whole B record; it was left out"),
            },
            Some(b'I') => in_b = extensions(&text),
            Some(b'J') => in_k = extensions(&text),
            Some(b'K') => k_record(&text, &in_k, &mut rows),
            Some(b'H') => header(&text, &mut recording, &mut date, &mut notes, place()),
            _ => {}
        }
    }
    if rows.is_empty() {
        let error = LoadError::new(path, LoadErrorKind::NothingHere, "it has no B records", "name a recorded flight");
        return Err(error);
    }
    without_empty_channels(&mut rows);
    set_engine(&mut recording, &mut rows, &mut notes);
    let entries: Vec<(f64, Option<Date>)> = rows.iter().map(|r| (r.time_s, r.date)).collect();
    let days = clock::days(&entries);
    recording.date_known = days.iter().all(Option::is_some);
    if !recording.date_known {
        notes.add("no date", "", "it has no date (HFDTE); times count from 1 January 1970");
    }
    let nameless = vec![(0.0, Some(jiff::civil::date(1970, 1, 1)))];
    let since_1970 = if recording.date_known {
        days
    } else {
        let shifted: Vec<_> = nameless.into_iter().chain(entries).collect();
        clock::days(&shifted).split_off(1)
    };
    recording.fixes = rows
        .into_iter()
        .zip(since_1970)
        .map(|(row, day)| RecordedFix { time: day.and_then(|day| clock::moment(day, row.time_s)), ..row.fix })
        .collect();
    Ok((vec![recording], notes.into_warnings()))
}

fn header(text: &str, recording: &mut Recording, date: &mut Option<Date>, notes: &mut Notes, place: String) {
    let text = text.trim();
    // HFDTE160722 and HFDTEDATE:160722,01.
    let code = text.get(2..5).unwrap_or_default().to_ascii_uppercase();
    let after_colon = || text.split_once(':').map(|(_, v)| v.trim()).filter(|v| !v.is_empty());
    match code.as_str() {
        "DTE" => {
            let digits: String =
                text.chars().skip(5).skip_while(|c| !c.is_ascii_digit()).take_while(char::is_ascii_digit).collect();
            match clock::short_date(digits.get(..6).unwrap_or_default()) {
                Some(day) => *date = Some(day),
                None => notes.add("dates that cannot be read", place, "its date cannot be read"),
            }
        }
        // ALG: what satellite heights are counted from; ALP: likewise for pressure, which is always 1013.25 hPa here.
        "ALG" => {
            let value = after_colon().unwrap_or_default().to_ascii_uppercase();
            if value.contains("ELL") {
                (recording.satellite_datum, recording.datum_stated) = (Datum::Ellipsoid, true);
            } else if value.contains("GEO") {
                (recording.satellite_datum, recording.datum_stated) = (Datum::MeanSeaLevel, true);
            }
        }
        "ALP" if after_colon().is_some_and(|v| !v.to_ascii_uppercase().contains("ISA")) => {
            let message = "its pressure heights are not counted from 1013.25 hPa, as the format demands; check them";
            notes.add("pressure heights of another kind", place, message);
        }
        "PLT" => recording.pilot = after_colon().map(super::short),
        "GTY" => recording.aircraft = after_colon().map(super::short),
        _ => {}
    }
}

/// The extensions that an I or J record declares: `I023638FXA3940SIU`.
fn extensions(text: &str) -> Vec<Extension> {
    let digits = |t: &str| t.parse::<usize>().ok();
    let Some(count) = text.get(1..3).and_then(digits) else { return Vec::new() };
    let one = |i: usize| {
        let part = text.get(3 + 7 * i..10 + 7 * i)?;
        let (first, last) = (part.get(..2).and_then(digits)?, part.get(2..4).and_then(digits)?);
        (first >= 1 && last >= first).then(|| Extension {
            code: part[4..].to_ascii_uppercase(),
            first: first - 1,
            last,
        })
    };
    (0..count).filter_map(one).collect()
}

fn value<'a>(text: &'a str, extensions: &[Extension], code: &str) -> Option<&'a str> {
    let extension = extensions.iter().find(|e| e.code == code)?;
    text.get(extension.first..extension.last)
}

fn sensor(text: &str, extensions: &[Extension], code: &str) -> Option<f64> {
    value(text, extensions, code)?.trim().parse().ok().filter(|v: &f64| v.is_finite() && *v >= 0.0)
}

/// `B HHMMSS DDMMmmmN DDDMMmmmE V PPPPP GGGGG` and the declared extensions.
fn b_record(text: &str, extensions: &[Extension]) -> Option<Row> {
    if !text.is_ascii() || text.len() < B_LENGTH {
        return None;
    }
    let mut time_s = time_of_day(&text[1..7])?;
    if let Some(decimals) = value(text, extensions, "TDS").filter(|d| d.bytes().all(|b| b.is_ascii_digit())) {
        time_s += format!("0.{decimals}").parse::<f64>().unwrap_or(0.0);
    }
    // LAD and LOD are further decimals of the minutes.
    let angle = |from: usize, degrees: usize, finer: &str, letters: [u8; 2]| {
        let whole = text.get(from..from + degrees)?.parse::<u16>().ok()?;
        let thousandths = &text[from + degrees..from + degrees + 5];
        let more = value(text, extensions, finer).filter(|d| d.bytes().all(|b| b.is_ascii_digit())).unwrap_or_default();
        if !thousandths.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        let minutes = format!("{}.{}{more}", &thousandths[..2], &thousandths[2..]).parse::<f64>().ok()?;
        let sign = match text.as_bytes()[from + degrees + 5] {
            l if l == letters[0] => 1.0,
            l if l == letters[1] => -1.0,
            _ => return None,
        };
        (minutes < 60.0).then(|| sign * (f64::from(whole) + minutes / 60.0))
    };
    let lat = angle(7, 2, "LAD", [b'N', b'S'])?;
    let lon = angle(15, 3, "LOD", [b'E', b'W'])?;
    let mut fix = RecordedFix::at(LonLat::new(lon, lat).filter(|p| p.lon_deg.abs() <= 180.0)?);
    let height = |from: usize| text[from..from + 5].trim().parse::<f64>().ok().filter(|h| super::height_on_earth(*h));
    fix.pressure_height_m = height(25);
    // V: a fix in two dimensions, or none: the height by satellites is nothing then.
    fix.satellite_height_m = match text.as_bytes()[24] {
        b'A' => height(30),
        b'V' => None,
        _ => return None,
    };
    if text.as_bytes()[24] == b'V' && lat == 0.0 && lon == 0.0 {
        fix.fault = Some(Fault::NotValid);
    }
    Some(Row {
        time_s,
        date: None,
        fix,
        noise: sensor(text, extensions, "ENL"),
        propulsion: sensor(text, extensions, "MOP"),
        revolutions: sensor(text, extensions, "RPM"),
    })
}

/// A K record gives values between fixes: they count for the last fix before it.
fn k_record(text: &str, extensions: &[Extension], rows: &mut [Row]) {
    let Some(row) = rows.last_mut().filter(|_| text.is_ascii()) else { return };
    row.noise = sensor(text, extensions, "ENL").or(row.noise);
    row.propulsion = sensor(text, extensions, "MOP").or(row.propulsion);
    row.revolutions = sensor(text, extensions, "RPM").or(row.revolutions);
}

/// A recorder without a pressure sensor, or without heights by satellites, writes zeros.
fn without_empty_channels(rows: &mut [Row]) {
    if rows.iter().all(|r| r.fix.pressure_height_m.unwrap_or(0.0) == 0.0) {
        for row in rows.iter_mut() {
            row.fix.pressure_height_m = None;
        }
    }
    if rows.iter().all(|r| r.fix.satellite_height_m.unwrap_or(0.0) == 0.0) {
        for row in rows.iter_mut() {
            row.fix.satellite_height_m = None;
        }
    }
}

/// The best engine sensor that the recorder has: at the engine, revolutions, noise.
fn set_engine(recording: &mut Recording, rows: &mut [Row], notes: &mut Notes) {
    let most = rows.iter().filter_map(|r| r.revolutions).fold(0.0, f64::max);
    let has = |of: fn(&Row) -> Option<f64>| rows.iter().filter_map(of).any(|v| v > 0.0);
    let (sensor, value, full): (_, fn(&Row) -> Option<f64>, f64) = if has(|r| r.propulsion) {
        (EngineSensor::MeansOfPropulsion, |r| r.propulsion, FULL_SCALE)
    } else if most > 0.0 {
        notes.add("revolutions", "", format!("its revolutions are shown as shares of the most in it, {most:.0}"));
        (EngineSensor::Revolutions, |r| r.revolutions, most)
    } else if has(|r| r.noise) {
        (EngineSensor::Noise, |r| r.noise, FULL_SCALE)
    } else {
        return;
    };
    recording.engine_sensor = Some(sensor);
    for row in rows.iter_mut() {
        row.fix.engine = value(row).map(|v| (v / full).clamp(0.0, 1.0));
    }
}
