//! Recorded flights: GPX, IGC, NMEA 0183, KML and tables, told apart by their content.
//!
//! A recording holds every fix that its file has. What is wrong with a fix is marked on it and said in a warning;
//! nothing is smoothed, and nothing is filled in. From where its heights are counted is decided by
//! [`decide_heights`], with the reason, and can be overridden.

mod clean;
pub(crate) mod clock;
pub mod csv;
mod csv_guess;
mod geoid;
mod gpx;
mod heights;
mod igc;
mod kml;
pub mod nmea;
mod recording;
#[cfg(test)]
mod tests;

pub use geoid::undulation_m;
pub use heights::{
    GroundContact, HeightChoice, HeightDecision, HeightSource, decide_heights, isa_height_m, isa_pressure_hpa,
};
pub use recording::{Datum, EngineSensor, Fault, Gap, PlacingError, RecordedFix, Recording, TrackFormat};

pub(crate) use clean::metres;

use crate::error::{LoadError, LoadErrorKind, Loaded, Warning};
use crate::vector::{kml as vector_kml, xml};
use std::path::{Path, PathBuf};

/// The largest file read, bytes: two days at ten fixes a second with every sentence of NMEA.
const LARGEST_FILE: u64 = 256 << 20;
/// The most fixes of one file: two days at ten a second.
const MOST_FIXES: usize = 2_000_000;
/// The most recordings of one file.
const MOST_RECORDINGS: usize = 2_000;
/// A silence this long lies between two flights, seconds (common practice, no source).
const BETWEEN_FLIGHTS_S: f64 = 3.0 * 3_600.0;
/// Recordings longer than this are said to be so, seconds.
const LONG_S: f64 = 24.0 * 3_600.0;
/// How much of a file is looked at to tell its format, bytes.
const HEAD: usize = 1 << 16;

/// How recordings are read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TrackOptions {
    /// What the columns of a table are, by the user's word; `None` to guess.
    pub csv: Option<csv::CsvMapping>,
}

/// Reads every recorded flight of a file.
///
/// # Errors
/// When the file cannot be read, is none of the formats, or holds no flight. What is wrong within it is a warning.
pub fn read(path: &Path) -> Result<Loaded<Vec<Recording>>, LoadError> {
    read_with(path, &TrackOptions::default())
}

/// As [`read`], with the user's word on how.
///
/// # Errors
/// As [`read`].
pub fn read_with(path: &Path, options: &TrackOptions) -> Result<Loaded<Vec<Recording>>, LoadError> {
    from_bytes_with(path, &read_bytes(path)?, options)
}

/// The bytes of a file that may be a recorded flight, as the area file keeps them.
///
/// # Errors
/// When the file cannot be read or is larger than any recorded flight.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, LoadError> {
    let size = std::fs::metadata(path).map_err(|e| LoadError::from_io(path, &e))?.len();
    if size > LARGEST_FILE {
        let problem = format!("it has {} MB, more than the {} that are read", size >> 20, LARGEST_FILE >> 20);
        return Err(LoadError::new(path, LoadErrorKind::TooLarge, problem, "cut the flight out of it"));
    }
    std::fs::read(path).map_err(|e| LoadError::from_io(path, &e))
}

/// Reads every recorded flight from a file's bytes; `path` stands for the file in messages and names.
///
/// # Errors
/// As [`read`].
pub fn from_bytes(path: &Path, bytes: &[u8]) -> Result<Loaded<Vec<Recording>>, LoadError> {
    from_bytes_with(path, bytes, &TrackOptions::default())
}

/// As [`from_bytes`], with the user's word on how.
///
/// # Errors
/// As [`read`].
pub fn from_bytes_with(path: &Path, bytes: &[u8], options: &TrackOptions) -> Result<Loaded<Vec<Recording>>, LoadError> {
    if bytes.iter().all(|b| b.is_ascii_whitespace() || *b == 0) {
        let problem = "the file is empty";
        return Err(LoadError::new(path, LoadErrorKind::Empty, problem, "copy it from the recorder again"));
    }
    let format = if options.csv.is_some() { Some(TrackFormat::Csv) } else { recognise(bytes) };
    let Some(format) = format else {
        let problem = "it is no recorded flight of a kind that is read";
        let remedy = "name a GPX, IGC, NMEA, KML or CSV file";
        return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, remedy));
    };
    let (recordings, mut warnings) = match format {
        TrackFormat::Gpx => gpx::read(path, bytes)?,
        TrackFormat::Igc => igc::read(path, bytes)?,
        TrackFormat::Nmea => nmea::read(path, bytes)?,
        TrackFormat::Kml => kml::read(path, bytes, format)?,
        TrackFormat::Kmz => kml::read(path, &vector_kml::unpack(path, bytes)?.text, format)?,
        TrackFormat::Csv => csv::read(path, bytes, options.csv.as_ref())?,
    };
    let mut value = Vec::new();
    for mut recording in recordings {
        clean::mark(&mut recording);
        value.extend(split(recording, &mut warnings));
    }
    let several = value.len() > 1;
    for recording in &value {
        describe(recording, several, &mut warnings);
    }
    let fixes: usize = value.iter().map(|r| r.fixes.len()).sum();
    let flights = if several { format!("{} recordings, ", value.len()) } else { String::new() };
    let provenance = vec![format!("{}: {}, {flights}{fixes} fixes", path.display(), format.words())];
    Ok(Loaded { value, warnings, provenance })
}

/// Which format some bytes are; `None` where they are none.
#[must_use]
pub fn recognise(bytes: &[u8]) -> Option<TrackFormat> {
    if bytes.starts_with(b"PK\x03\x04") {
        return Some(TrackFormat::Kmz);
    }
    let head = bytes.get(..HEAD).unwrap_or(bytes);
    match xml::root(head).as_deref() {
        Some("gpx") => return Some(TrackFormat::Gpx),
        Some("kml") => return Some(TrackFormat::Kml),
        _ => {}
    }
    let mut sentences = 0;
    let mut first = true;
    for line in head.split(|b| *b == b'\n' || *b == b'\r') {
        let begin = line.iter().position(|b| *b == b'$');
        if begin.is_some_and(|b| matches!(nmea::parse(&line[b..]), Ok(s) if s != nmea::Sentence::Other)) {
            sentences += 1;
            if sentences >= 2 {
                return Some(TrackFormat::Nmea);
            }
        }
        if igc_fix(line) || (first && igc_first(line)) {
            return Some(TrackFormat::Igc);
        }
        first &= line.trim_ascii().is_empty();
    }
    if sentences > 0 {
        return Some(TrackFormat::Nmea);
    }
    csv_guess::guess(&csv::text_of(head)).map(|_| TrackFormat::Csv)
}

/// Whether a line is the first of an IGC file: A, the maker and the serial number.
fn igc_first(line: &[u8]) -> bool {
    let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
    line.len() >= 4
        && line.len() < 80
        && line[0] == b'A'
        && line[1..4].iter().all(u8::is_ascii_alphanumeric)
        && !line.contains(&b',')
        && !line.contains(&b';')
        && !line.contains(&b'\t')
}

/// Whether a line has the form of a B record.
fn igc_fix(line: &[u8]) -> bool {
    line.len() >= 35
        && line[0] == b'B'
        && line[1..14].iter().all(u8::is_ascii_digit)
        && matches!(line[14], b'N' | b'S')
        && matches!(line[23], b'E' | b'W')
}

/// The files of a folder that may be recorded flights, by name; folders in it are not looked into.
///
/// # Errors
/// When the folder cannot be read.
pub fn files_in(folder: &Path) -> Result<Vec<PathBuf>, LoadError> {
    let io = |e: std::io::Error| LoadError::from_io(folder, &e);
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(io)? {
        let entry = entry.map_err(io)?;
        if !entry.path().is_file() {
            continue;
        }
        let mut head = Vec::new();
        let read = std::fs::File::open(entry.path())
            .and_then(|file| std::io::Read::read_to_end(&mut std::io::Read::take(file, HEAD as u64), &mut head));
        if read.is_ok() && recognise(&head).is_some() {
            files.push(entry.path());
        }
    }
    files.sort();
    Ok(files)
}

/// Divides a recording where it is silent for so long that two flights lie beside one another.
fn split(recording: Recording, warnings: &mut Vec<Warning>) -> Vec<Recording> {
    let cuts: Vec<usize> =
        recording.gaps.iter().filter(|g| g.seconds >= BETWEEN_FLIGHTS_S).map(|g| g.before_fix).collect();
    if cuts.is_empty() || cuts.len() >= MOST_RECORDINGS {
        return vec![recording];
    }
    let hours = BETWEEN_FLIGHTS_S / 3_600.0;
    let message = format!(
        "it is silent for more than {hours:.0} hours {}; it was divided there into {} recordings",
        if cuts.len() == 1 { "once".to_owned() } else { format!("{} times", cuts.len()) },
        cuts.len() + 1
    );
    warnings.push(Warning { place: recording.name.clone(), message });
    let mut fixes = recording.fixes.clone();
    let mut parts = Vec::new();
    for cut in cuts.iter().rev() {
        parts.push(fixes.split_off(*cut));
    }
    parts.push(fixes);
    let parts = parts.into_iter().rev().enumerate().map(|(i, fixes)| {
        let name = format!("{} ({})", recording.name, i + 1);
        let mut part = Recording { name, fixes, gaps: Vec::new(), ..recording.clone() };
        clean::mark(&mut part);
        part
    });
    parts.collect()
}

/// Says what is wrong with a recording, one warning for each kind.
fn describe(recording: &Recording, several: bool, warnings: &mut Vec<Warning>) {
    let place = if several { recording.name.clone() } else { String::new() };
    let mut warn = |message: String| warnings.push(Warning { place: place.clone(), message });
    for fault in Fault::ALL {
        match recording.faults(fault) {
            0 => {}
            1 => warn(format!("1 fix {} and is not used", fault.of_one())),
            n => warn(format!("{n} fixes {} and are not used", fault.of_many())),
        }
    }
    match recording.fixes.iter().filter(|f| f.height_spike && f.fault.is_none()).count() {
        0 => {}
        1 => warn("the height of 1 fix jumps out of the track and back and is not used".to_owned()),
        n => warn(format!("the heights of {n} fixes jump out of the track and back and are not used")),
    }
    if let Some(longest) = recording.gaps.iter().map(|g| g.seconds).reduce(f64::max) {
        let n = recording.gaps.len();
        let gaps = if n == 1 { "1 gap".to_owned() } else { format!("{n} gaps, the longest") };
        warn(format!("it has {gaps} of {longest:.0} seconds"));
    }
    let good = recording.good().count();
    if good > 0 && recording.good().all(|f| f.time.is_none()) {
        warn("it has no times: its way can be shown, but no speed, sink or exercise be found".to_owned());
    } else if good < 10 {
        warn(format!("it has only {good} usable fixes"));
    }
    if good > 0 && recording.good().all(|f| f.satellite_height_m.is_none() && f.pressure_height_m.is_none()) {
        warn("it has no heights".to_owned());
    }
    if let Some(seconds) = recording.duration_s().filter(|s| *s > LONG_S) {
        warn(format!("it is {:.0} hours long: more than one flight", seconds / 3_600.0));
    }
}

/// Whether a height in metres can be one of a flight.
pub(crate) fn height_on_earth(height_m: f64) -> bool {
    (-1_000.0..=100_000.0).contains(&height_m)
}

fn too_many_fixes(path: &Path) -> LoadError {
    let problem = format!("it has more than {MOST_FIXES} fixes");
    LoadError::new(path, LoadErrorKind::TooLarge, problem, "cut the flight out of it")
}

/// A file's name without folder and ending.
fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| "track".to_owned(), |s| short(&s.to_string_lossy()))
}

/// A name of a length that people read, on one line.
fn short(text: &str) -> String {
    let line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(120).collect();
    line.trim().to_owned()
}

/// Puts segments in the order of their first times; gives back whether it had to.
fn sort_segments(segments: &mut [Vec<RecordedFix>]) -> bool {
    let starts: Vec<_> = segments.iter().map(|s| s.iter().find_map(|f| f.time)).collect();
    if starts.iter().any(Option::is_none) || starts.is_sorted() {
        return false;
    }
    segments.sort_by_key(|s| s.iter().find_map(|f| f.time));
    true
}

fn join_segments(segments: Vec<Vec<RecordedFix>>) -> Vec<RecordedFix> {
    let mut all = Vec::new();
    for (i, mut segment) in segments.into_iter().enumerate() {
        if let Some(first) = segment.first_mut() {
            first.starts_segment = i > 0;
        }
        all.append(&mut segment);
    }
    all
}
