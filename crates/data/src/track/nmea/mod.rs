//! Logs of NMEA 0183: sentences of one moment become one fix.

mod sentence;

pub use sentence::{NotASentence, Sentence, checksum, parse};

use super::recording::{Datum, Fault, RecordedFix, Recording, TrackFormat};
use super::{MOST_FIXES, clock, too_many_fixes};
use crate::error::{LoadError, LoadErrorKind, Warning};
use jiff::civil::Date;
use sparefield_geometry::position::LonLat;
use std::path::Path;

/// What the sentences of one moment say together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Epoch {
    /// Seconds since midnight, UTC.
    pub time_s: Option<f64>,
    /// The date, where a sentence has it.
    pub date: Option<Date>,
    /// Where.
    pub place: Option<LonLat>,
    /// Whether every sentence with a place calls it a fix.
    pub valid: bool,
    /// Height above mean sea level, metres.
    pub height_msl_m: Option<f64>,
    /// Speed over the ground, m/s.
    pub speed_ms: Option<f64>,
    /// Track over the ground, degrees from true north.
    pub track_deg: Option<f64>,
}

/// Puts sentences together into epochs.
#[derive(Clone, Debug, Default)]
pub struct Gatherer {
    epoch: Option<Epoch>,
}

impl Gatherer {
    /// Takes a sentence; gives back the epoch before, when the sentence begins another.
    pub fn take(&mut self, sentence: Sentence) -> Option<Epoch> {
        let time = match sentence {
            Sentence::Fix { time_s, .. } | Sentence::Minimum { time_s, .. } | Sentence::Clock { time_s, .. } => time_s,
            Sentence::Other => return None,
        };
        // What has no time is no part of a moment that has one: before its first fix a receiver writes empty fields.
        let ready = if self.epoch.is_some_and(|open| open.time_s != time) { self.epoch.take() } else { None };
        let epoch = self.epoch.get_or_insert(Epoch { valid: true, ..Epoch::default() });
        epoch.time_s = epoch.time_s.or(time);
        match sentence {
            Sentence::Fix { place, valid, height_msl_m, .. } => {
                epoch.valid &= valid;
                epoch.place = place.or(epoch.place);
                epoch.height_msl_m = height_msl_m.filter(|_| valid).or(epoch.height_msl_m);
            }
            Sentence::Minimum { date, place, valid, speed_ms, track_deg, .. } => {
                epoch.valid &= valid;
                epoch.place = epoch.place.or(place);
                epoch.date = date.or(epoch.date);
                epoch.speed_ms = speed_ms.or(epoch.speed_ms);
                epoch.track_deg = track_deg.or(epoch.track_deg);
            }
            Sentence::Clock { date, .. } => epoch.date = epoch.date.or(date),
            Sentence::Other => {}
        }
        ready
    }

    /// The epoch that is open, without closing it.
    pub fn open(&self) -> Option<&Epoch> {
        self.epoch.as_ref()
    }

    /// The last epoch.
    pub fn finish(&mut self) -> Option<Epoch> {
        self.epoch.take()
    }
}

pub(crate) fn read(path: &Path, bytes: &[u8]) -> Result<(Vec<Recording>, Vec<Warning>), LoadError> {
    let mut gatherer = Gatherer::default();
    let mut epochs: Vec<Epoch> = Vec::new();
    let (mut damaged, mut without_place, mut sentences) = (0_usize, 0_usize, 0_usize);
    for line in bytes.split(|b| *b == b'\n' || *b == b'\r') {
        // Loggers put comments, time stamps and other talk between the sentences; a sentence may follow on the line.
        let Some(begin) = line.iter().position(|b| *b == b'$') else { continue };
        match parse(&line[begin..]) {
            Ok(sentence) => {
                sentences += 1;
                epochs.extend(gatherer.take(sentence));
            }
            Err(NotASentence::Checksum) => damaged += 1,
            Err(NotASentence::Form) => {}
        }
        if epochs.len() > MOST_FIXES {
            return Err(too_many_fixes(path));
        }
    }
    epochs.extend(gatherer.finish());
    let mut warnings = Vec::new();
    let mut warn = |message: String| warnings.push(Warning { place: String::new(), message });
    if damaged > 0 {
        warn(format!("{damaged} sentences have a wrong checksum and were left out"));
    }
    // A moment without a time stands beside the one before it.
    let mut before = 0.0;
    let mut entries: Vec<(f64, Option<Date>)> = Vec::with_capacity(epochs.len());
    for epoch in &epochs {
        before = epoch.time_s.unwrap_or(before);
        entries.push((before, epoch.date));
    }
    let mut days = clock::days(&entries);
    let mut recording = Recording::new(super::stem(path), TrackFormat::Nmea, Datum::MeanSeaLevel);
    if days.iter().all(Option::is_none) {
        recording.date_known = false;
        let dated: Vec<_> = std::iter::once((0.0, Some(jiff::civil::date(1970, 1, 1)))).chain(entries).collect();
        days = clock::days(&dated).split_off(1);
        warn("no sentence has a date; times count from 1 January 1970".to_owned());
    }
    for (epoch, day) in epochs.iter().zip(days) {
        let Some(place) = epoch.place else {
            without_place += 1;
            continue;
        };
        recording.fixes.push(RecordedFix {
            time: epoch.time_s.zip(day).and_then(|(seconds, day)| clock::moment(day, seconds)),
            satellite_height_m: epoch.height_msl_m,
            fault: (!epoch.valid).then_some(Fault::NotValid),
            ..RecordedFix::at(place)
        });
    }
    if without_place > 0 {
        warn(format!("{without_place} moments have no place: the receiver had no fix"));
    }
    if recording.fixes.is_empty() {
        let (problem, remedy) = if sentences == 0 {
            ("it holds no whole NMEA sentence", "copy it from the receiver again")
        } else {
            ("its receiver never had a fix", "name a log with fixes (GGA or RMC)")
        };
        return Err(LoadError::new(path, LoadErrorKind::NothingHere, problem, remedy));
    }
    Ok((vec![recording], warnings))
}
