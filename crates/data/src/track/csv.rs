//! Tables of comma-separated values: which column is what is guessed, shown and open to be overridden.
//!
//! Source: RFC 4180, with semicolons and tabs as well, and lines of any length as files in use have them.

use super::clock;
use super::csv_guess::guess;
use super::recording::{Datum, EngineSensor, RecordedFix, Recording, TrackFormat};
use super::{MOST_FIXES, too_many_fixes};
use crate::error::{LoadError, LoadErrorKind, Warning};
use crate::vector::record::Notes;
use jiff::Timestamp;
use jiff::civil::{Date, Time};
use serde::{Deserialize, Serialize};
use sparefield_geometry::position::LonLat;
use std::path::Path;

/// Columns of one table.
pub(crate) const MOST_COLUMNS: usize = 1_000;
/// Rows shown before reading.
const SAMPLES: usize = 5;
/// Rows among which the names of the columns are looked for.
pub(crate) const HEAD_ROWS: usize = 20;

/// Where the times of a table are; numbers count its columns from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum CsvTime {
    /// Nowhere.
    None,
    /// One column with date and time, as ISO 8601 writes them; UTC unless it says otherwise.
    Timestamp(usize),
    /// A column with the date and one with the time of day, and perhaps one with the hours that both are ahead of UTC.
    DateAndTime {
        /// Column of the date.
        date: usize,
        /// Column of the time of day.
        time: usize,
        /// Column of the offset, such as `+01:00`.
        offset: Option<usize>,
    },
    /// Seconds since 1970.
    UnixSeconds(usize),
    /// Milliseconds since 1970.
    UnixMilliseconds(usize),
    /// Seconds from a beginning that nobody knows.
    Elapsed(usize),
}

/// What a column of heights is counted from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum CsvHeightKind {
    /// Mean sea level.
    MeanSeaLevel,
    /// The WGS 84 ellipsoid.
    Ellipsoid,
    /// 1013.25 hPa.
    Pressure,
}

/// A column of heights.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CsvHeight {
    /// The column.
    pub column: usize,
    /// Metres in its unit.
    pub unit_m: f64,
    /// What it is counted from.
    pub kind: CsvHeightKind,
}

/// What the columns of a table mean.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CsvMapping {
    /// What stands between the columns.
    pub delimiter: char,
    /// Rows before the first fix.
    pub skip_rows: usize,
    /// The times.
    pub time: CsvTime,
    /// Column of the longitude, degrees.
    pub lon: usize,
    /// Column of the latitude, degrees.
    pub lat: usize,
    /// Heights by satellites.
    pub satellite_height: Option<CsvHeight>,
    /// Pressure heights.
    pub pressure_height: Option<CsvHeight>,
    /// Engine revolutions or noise.
    pub engine: Option<usize>,
}

/// A table before it is read.
#[derive(Clone, Debug, PartialEq)]
pub struct CsvPreview {
    /// Names of the columns.
    pub columns: Vec<String>,
    /// The first rows.
    pub samples: Vec<Vec<String>>,
    /// What the columns were guessed to mean; `None` where no column looks like a longitude or latitude.
    pub mapping: Option<CsvMapping>,
    /// What was guessed, in words.
    pub told: Vec<String>,
}

/// The rows of a table, at most `most`; rows that are no text are empty.
pub(crate) fn rows(text: &str, delimiter: char, most: usize) -> Vec<Vec<String>> {
    reader(text, delimiter)
        .into_records()
        .take(most)
        .map(|row| row.map(|r| r.iter().take(MOST_COLUMNS).map(str::to_owned).collect()).unwrap_or_default())
        .collect()
}

fn reader(text: &str, delimiter: char) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(u8::try_from(delimiter).unwrap_or(b','))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes())
}

/// The text of a table; what is not UTF-8 is taken for Windows-1252, in which every byte is something.
pub(crate) fn text_of(bytes: &[u8]) -> String {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(bytes)
        .map_or_else(|_| encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0.into_owned(), str::to_owned)
}

/// Looks at a table and guesses what its columns are.
#[must_use]
pub fn preview(bytes: &[u8]) -> CsvPreview {
    let head = text_of(bytes.get(..1 << 16).unwrap_or(bytes));
    let guessed = guess(&head);
    let Some((mapping, columns)) = guessed else {
        let samples = rows(&head, ',', SAMPLES + 1);
        let columns = samples.first().cloned().unwrap_or_default();
        let samples = samples.into_iter().skip(1).collect();
        return CsvPreview { columns, samples, mapping: None, told: Vec::new() };
    };
    let samples = rows(&head, mapping.delimiter, mapping.skip_rows + SAMPLES).split_off(mapping.skip_rows);
    let told = told(&mapping, &columns);
    CsvPreview { columns, samples, mapping: Some(mapping), told }
}

/// A mapping in words, one line for each column that is used.
fn told(mapping: &CsvMapping, columns: &[String]) -> Vec<String> {
    let name = |i: usize| columns.get(i).map_or_else(|| format!("column {}", i + 1), |c| format!("“{c}”"));
    let mut lines = vec![format!("{} is the latitude, {} the longitude", name(mapping.lat), name(mapping.lon))];
    lines.push(match mapping.time {
        CsvTime::None => "no column looks like a time".to_owned(),
        CsvTime::Timestamp(c) => format!("{} is the date and time", name(c)),
        CsvTime::DateAndTime { date, time, offset } => {
            let utc = offset.map_or_else(|| "UTC".to_owned(), |o| format!("ahead of UTC by {}", name(o)));
            format!("{} is the date, {} the time ({utc})", name(date), name(time))
        }
        CsvTime::UnixSeconds(c) => format!("{} is the time in seconds since 1970", name(c)),
        CsvTime::UnixMilliseconds(c) => format!("{} is the time in milliseconds since 1970", name(c)),
        CsvTime::Elapsed(c) => format!("{} is the time in seconds from the beginning", name(c)),
    });
    for height in [mapping.satellite_height, mapping.pressure_height].into_iter().flatten() {
        let unit = if height.unit_m == 1.0 { "metres" } else { "feet" };
        let from = match height.kind {
            CsvHeightKind::MeanSeaLevel => "above mean sea level",
            CsvHeightKind::Ellipsoid => "above the ellipsoid",
            CsvHeightKind::Pressure => "above 1013.25 hPa",
        };
        lines.push(format!("{} is the height {from} in {unit}", name(height.column)));
    }
    if let Some(engine) = mapping.engine {
        lines.push(format!("{} is the engine", name(engine)));
    }
    lines
}

/// Reads a table with the columns as named, or as guessed.
pub(crate) fn read(
    path: &Path,
    bytes: &[u8],
    mapping: Option<&CsvMapping>,
) -> Result<(Vec<Recording>, Vec<Warning>), LoadError> {
    let mut notes = Notes::default();
    let guessed;
    let mapping = if let Some(mapping) = mapping {
        mapping
    } else {
        let seen = preview(bytes);
        let Some(mapping) = seen.mapping else {
            let problem = "no column of it looks like a latitude and longitude";
            let remedy = "say which columns they are, or name them “latitude” and “longitude”";
            return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, remedy));
        };
        notes.add("columns", "", format!("guessed: {}", seen.told.join("; ")));
        guessed = mapping;
        &guessed
    };
    let datum = match mapping.satellite_height.map(|h| h.kind) {
        Some(CsvHeightKind::Ellipsoid) => Datum::Ellipsoid,
        _ => Datum::MeanSeaLevel,
    };
    let mut recording = Recording::new(super::stem(path), TrackFormat::Csv, datum);
    recording.date_known = !matches!(mapping.time, CsvTime::Elapsed(_));
    let text = text_of(bytes);
    let mut engine = Vec::new();
    for (number, row) in reader(&text, mapping.delimiter).into_records().enumerate().skip(mapping.skip_rows) {
        let place = || format!("row {}", number + 1);
        let Ok(row) = row else {
            notes.add("rows that cannot be read", place(), "it cannot be read; it was left out");
            continue;
        };
        let cell = |column: usize| row.get(column).unwrap_or_default().trim();
        let number = |column: usize| figure(cell(column));
        let at = number(mapping.lon).zip(number(mapping.lat)).and_then(|(lon, lat)| LonLat::new(lon, lat));
        let Some(at) = at else {
            notes.add("rows without a place", place(), "it has no longitude and latitude on Earth; it was left out");
            continue;
        };
        if recording.fixes.len() >= MOST_FIXES {
            return Err(too_many_fixes(path));
        }
        let height = |h: Option<CsvHeight>| {
            let h = h?;
            number(h.column).map(|v| v * h.unit_m).filter(|v| super::height_on_earth(*v))
        };
        engine.push(mapping.engine.and_then(number).filter(|v| *v >= 0.0));
        recording.fixes.push(RecordedFix {
            time: moment(mapping.time, &cell),
            satellite_height_m: height(mapping.satellite_height),
            pressure_height_m: height(mapping.pressure_height),
            ..RecordedFix::at(at)
        });
    }
    if recording.fixes.is_empty() {
        let problem = "none of its rows has a place";
        return Err(LoadError::new(path, LoadErrorKind::NothingHere, problem, "check which columns are which"));
    }
    let most = engine.iter().flatten().copied().fold(0.0, f64::max);
    if most > 0.0 {
        recording.engine_sensor = Some(EngineSensor::Revolutions);
        recording.fixes.iter_mut().zip(engine).for_each(|(fix, value)| fix.engine = value.map(|v| v / most));
        notes.add("revolutions", "", format!("its engine column is shown as shares of the most in it, {most:.0}"));
    }
    Ok((vec![recording], notes.into_warnings()))
}

/// A number with a point or a comma before its decimals.
pub(crate) fn figure(text: &str) -> Option<f64> {
    let value = match text.parse::<f64>() {
        Ok(value) => value,
        Err(_) => text.replace(',', ".").parse().ok()?,
    };
    value.is_finite().then_some(value)
}

fn moment<'a>(time: CsvTime, cell: &impl Fn(usize) -> &'a str) -> Option<Timestamp> {
    match time {
        CsvTime::None => None,
        CsvTime::Timestamp(c) => clock::iso(cell(c)).or_else(|| {
            let (day, time) = cell(c).split_once([' ', 'T'])?;
            clock::moment(date(day)?, seconds(time)?)
        }),
        CsvTime::DateAndTime { date: day, time, offset } => {
            let ahead = offset.map_or(Some(0.0), |c| offset_s(cell(c)))?;
            clock::moment(date(cell(day))?, seconds(cell(time))? - ahead)
        }
        CsvTime::UnixSeconds(c) | CsvTime::Elapsed(c) => figure(cell(c)).and_then(clock::from_unix_s),
        CsvTime::UnixMilliseconds(c) => figure(cell(c)).and_then(|ms| clock::from_unix_s(ms / 1_000.0)),
    }
}

/// A date as tables write it: year first, or day first with points or strokes.
pub(crate) fn date(text: &str) -> Option<Date> {
    let parts: Vec<i16> = text.split(['-', '.', '/']).map(|p| p.trim().parse().ok()).collect::<Option<_>>()?;
    let [a, b, c] = parts[..] else { return None };
    let day = |y: i16, m: i16, d: i16| Date::new(y, i8::try_from(m).ok()?, i8::try_from(d).ok()?).ok();
    if a >= 1_000 { day(a, b, c) } else { day(c, b, a).or_else(|| day(c, a, b)).filter(|_| c >= 1_000) }
}

/// Seconds since midnight of `22:50:22.5`.
pub(crate) fn seconds(text: &str) -> Option<f64> {
    let time: Time = text.trim_end_matches(['Z', 'z']).trim().parse().ok()?;
    let whole = i32::from(time.hour()) * 3_600 + i32::from(time.minute()) * 60 + i32::from(time.second());
    Some(f64::from(whole) + f64::from(time.subsec_nanosecond()) / 1e9)
}

/// Seconds ahead of UTC of `+01:00`; nothing is none.
fn offset_s(text: &str) -> Option<f64> {
    let text = text.trim();
    if text.is_empty() {
        return Some(0.0);
    }
    let (sign, rest) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    let (hours, minutes) = rest.split_once(':').unwrap_or((rest, "0"));
    Some(
        sign * (hours.parse::<u8>().ok().map(f64::from)? * 3_600.0 + minutes.parse::<u8>().ok().map(f64::from)? * 60.0),
    )
}
