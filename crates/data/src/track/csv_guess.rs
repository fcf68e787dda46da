//! What the columns of a table are, guessed from their names, their units and their first values.

use super::clock;
use super::csv::{CsvHeight, CsvHeightKind, CsvMapping, CsvTime, HEAD_ROWS, date, figure, rows, seconds};

/// Metres in a foot (exact, 1959).
const FOOT_M: f64 = 0.304_8;
/// Rows that are tried.
const TRIED: usize = 60;

/// The mapping and the names of the columns; `None` where no row names a longitude and latitude above rows that have
/// them.
pub(crate) fn guess(head: &str) -> Option<(CsvMapping, Vec<String>)> {
    [',', ';', '\t'].into_iter().find_map(|delimiter| guess_with(head, delimiter))
}

fn guess_with(head: &str, delimiter: char) -> Option<(CsvMapping, Vec<String>)> {
    let rows = rows(head, delimiter, TRIED);
    let (at, names) = rows.iter().take(HEAD_ROWS).enumerate().find_map(|(i, row)| {
        let names: Vec<String> = row.iter().map(|n| plain(n)).collect();
        (find(&names, &LAT).is_some() && find(&names, &LON).is_some()).then_some((i, names))
    })?;
    let (lat, lon) = (find(&names, &LAT)?, find(&names, &LON)?);
    let is_fix = |row: &Vec<String>| {
        let value = |c: usize| row.get(c).and_then(|t| figure(t));
        value(lat).is_some_and(|v| v.abs() <= 90.0) && value(lon).is_some_and(|v| v.abs() <= 360.0)
    };
    // A row of units may stand below the names, or above.
    let first = (at + 1..rows.len()).find(|&i| is_fix(&rows[i]))?;
    let sample = &rows[first];
    let units_of = |c: usize| -> String {
        let beside = [at.checked_sub(1), Some(at + 1).filter(|i| *i < first)];
        let units = beside.into_iter().flatten().filter_map(|i| rows[i].get(c)).map(|u| u.to_lowercase());
        units.chain([rows[at][c].to_lowercase()]).collect::<Vec<_>>().join(" ")
    };
    let height = |c: usize, kind: CsvHeightKind| {
        let units = units_of(c);
        let feet = units.split(|ch: char| !ch.is_ascii_alphabetic()).any(|w| matches!(w, "ft" | "feet" | "foot"));
        let feet = feet || names[c].ends_with("feet") || names[c].ends_with("ft");
        let kind = if units.contains("wgs") || units.contains("ellips") { CsvHeightKind::Ellipsoid } else { kind };
        CsvHeight { column: c, unit_m: if feet { FOOT_M } else { 1.0 }, kind }
    };
    // A receiver may have a place before it has a height.
    let filled = |c: &usize| rows[first..].iter().any(|row| row.get(*c).is_some_and(|t| figure(t).is_some()));
    let satellite_height = find_if(&names, &HEIGHTS, &filled).map(|c| height(c, CsvHeightKind::MeanSeaLevel));
    let pressure_height = find_if(&names, &PRESSURES, &filled)
        .map(|c| CsvHeight { kind: CsvHeightKind::Pressure, ..height(c, CsvHeightKind::Pressure) });
    let mapping = CsvMapping {
        delimiter,
        skip_rows: first,
        time: guess_time(&names, sample),
        lon,
        lat,
        satellite_height,
        pressure_height,
        engine: names.iter().position(|n| n.ends_with("rpm") || n == "enl").filter(filled),
    };
    Some((mapping, rows[at].clone()))
}

const LAT: [&str; 6] = ["latitude", "lat", "latdeg", "latitudedeg", "gpslat", "gpslatitude"];
const LON: [&str; 8] = ["longitude", "lon", "lng", "long", "londeg", "longitudedeg", "gpslon", "gpslongitude"];
/// The likelier first.
const HEIGHTS: [&str; 22] = [
    "altmsl",
    "altitudemsl",
    "heightmsl",
    "altmslm",
    "altmslft",
    "gpsaltitude",
    "gpsalt",
    "altitude",
    "altitudem",
    "altitudeft",
    "altitudefeet",
    "alt",
    "altm",
    "altft",
    "elevation",
    "elevationm",
    "ele",
    "height",
    "heightm",
    "heightft",
    "altgps",
    "altitudegps",
];
const PRESSURES: [&str; 8] = [
    "pressurealtitude",
    "pressurealt",
    "pressurealtitudem",
    "pressurealtitudeft",
    "pressureheight",
    "pressureheightm",
    "altpressure",
    "altstandard",
];
const MOMENTS: [&str; 8] = ["timestamp", "datetime", "time", "utc", "timeutc", "utctime", "gpstime", "isotime"];
const DATES: [&str; 5] = ["date", "lcldate", "localdate", "utcdate", "dateutc"];
const TIMES: [&str; 6] = ["time", "lcltime", "localtime", "utctime", "timeutc", "utc"];
const OFFSETS: [&str; 3] = ["utcofst", "utcoffset", "tzoffset"];
const ELAPSED: [&str; 6] = ["elapsed", "elapsedtime", "seconds", "times", "elapseds", "t"];

/// Small letters and digits only.
fn plain(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn find(names: &[String], known: &[&str]) -> Option<usize> {
    find_if(names, known, &|_| true)
}

fn find_if(names: &[String], known: &[&str], fits: &dyn Fn(&usize) -> bool) -> Option<usize> {
    known.iter().find_map(|k| names.iter().position(|n| n == k).filter(fits))
}

/// Times by name, if the first row has one there.
fn guess_time(names: &[String], sample: &[String]) -> CsvTime {
    let cell = |c: usize| sample.get(c).map_or("", String::as_str);
    if let Some((day, time)) = find(names, &DATES).zip(find(names, &TIMES))
        && date(cell(day)).is_some()
        && seconds(cell(time)).is_some()
    {
        return CsvTime::DateAndTime { date: day, time, offset: find(names, &OFFSETS) };
    }
    if let Some(c) = find(names, &MOMENTS).or(find(names, &DATES)) {
        let text = cell(c);
        let with_day =
            text.split_once([' ', 'T']).is_some_and(|(day, time)| date(day).is_some() && seconds(time).is_some());
        if clock::iso(text).is_some() || with_day {
            return CsvTime::Timestamp(c);
        }
        // 2001 in seconds is 1e9, and in milliseconds 1e12.
        match figure(text) {
            Some(v) if v > 1e11 => return CsvTime::UnixMilliseconds(c),
            Some(v) if v > 1e8 => return CsvTime::UnixSeconds(c),
            Some(_) => return CsvTime::Elapsed(c),
            None => {}
        }
    }
    find(names, &ELAPSED).filter(|&c| figure(cell(c)).is_some()).map_or(CsvTime::None, CsvTime::Elapsed)
}
