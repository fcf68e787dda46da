//! A flight as its recorder wrote it, and what was found wrong with it.

use super::geoid;
use super::heights::{HeightChoice, HeightSource, isa_height_m};
use crate::frame::Frame;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use sparefield_geometry::position::LonLat;
use sparefield_geometry::track::{Fix, Track};
use thiserror::Error;

/// A format of recorded flights.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum TrackFormat {
    /// GPX 1.0 or 1.1.
    Gpx,
    /// A flight recorder file of the International Gliding Commission.
    Igc,
    /// A log of NMEA 0183 sentences.
    Nmea,
    /// KML with `gx:Track`.
    Kml,
    /// The same in an archive.
    Kmz,
    /// Comma-separated values.
    Csv,
}

impl TrackFormat {
    /// The name for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Gpx => "GPX",
            Self::Igc => "IGC",
            Self::Nmea => "NMEA 0183",
            Self::Kml => "KML",
            Self::Kmz => "KMZ",
            Self::Csv => "CSV",
        }
    }
}

/// From where a satellite receiver's heights are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Datum {
    /// Mean sea level.
    MeanSeaLevel,
    /// The WGS 84 ellipsoid.
    Ellipsoid,
}

/// What a recorder's engine sensor listens to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum EngineSensor {
    /// Noise in the cockpit (IGC: ENL).
    Noise,
    /// A sensor at the engine (IGC: MOP).
    MeansOfPropulsion,
    /// Revolutions, as a share of the most in this recording.
    Revolutions,
}

/// Why a fix is not used. It stays in the recording, marked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Fault {
    /// The receiver said itself that it had no fix.
    NotValid,
    /// A place that receivers without a fix write: 0° N 0° E, or a pole.
    NoPlace,
    /// It has no time, and others have.
    NoTime,
    /// The same moment as the fix before it.
    SameTime,
    /// Its time lies before that of its neighbours.
    BackInTime,
    /// It jumps out of the track and back.
    Spike,
    /// The place stood still while the aircraft flew on.
    Frozen,
}

impl Fault {
    /// Every fault.
    pub const ALL: [Self; 7] =
        [Self::NotValid, Self::NoPlace, Self::NoTime, Self::SameTime, Self::BackInTime, Self::Spike, Self::Frozen];
    /// What is said of one fix, completing "1 fix …".
    pub(crate) fn of_one(self) -> &'static str {
        match self {
            Self::NotValid => "was marked by the receiver itself as no fix",
            Self::NoPlace => "is at a place that receivers write without a fix (0, 0 or a pole)",
            Self::NoTime => "has no time",
            Self::SameTime => "has the time of the fix before it",
            Self::BackInTime => "has a time that goes backwards",
            Self::Spike => "jumps out of the track and back",
            Self::Frozen => "repeats an old place while the aircraft flew on",
        }
    }
    /// What is said of many fixes, completing "7 fixes …".
    pub(crate) fn of_many(self) -> &'static str {
        match self {
            Self::NotValid => "were marked by the receiver itself as no fix",
            Self::NoPlace => "are at places that receivers write without a fix (0, 0 or a pole)",
            Self::NoTime => "have no time",
            Self::SameTime => "have the time of the fix before them",
            Self::BackInTime => "have times that go backwards",
            Self::Spike => "jump out of the track and back",
            Self::Frozen => "repeat an old place while the aircraft flew on",
        }
    }
}

/// One fix as it was recorded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecordedFix {
    /// When, where the record says so.
    pub time: Option<Timestamp>,
    /// Where, WGS 84.
    pub place: LonLat,
    /// Height by satellites, metres above [`Recording::satellite_datum`].
    pub satellite_height_m: Option<f64>,
    /// Pressure altitude, metres above 1013.25 hPa.
    pub pressure_height_m: Option<f64>,
    /// Engine sensor, from 0 to 1.
    pub engine: Option<f64>,
    /// Whether the recorder began a new segment here.
    pub starts_segment: bool,
    /// Why the fix is not used; `None` for a good one.
    pub fault: Option<Fault>,
    /// Whether its heights jump out of the track and back; the place is used, the heights are not.
    pub height_spike: bool,
}

impl RecordedFix {
    /// A fix of which only the place is known.
    #[must_use]
    pub fn at(place: LonLat) -> Self {
        Self {
            time: None,
            place,
            satellite_height_m: None,
            pressure_height_m: None,
            engine: None,
            starts_segment: false,
            fault: None,
            height_spike: false,
        }
    }
}

/// A silence within a recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Index of the first fix after it.
    pub before_fix: usize,
    /// How long, seconds.
    pub seconds: f64,
}

/// One recorded flight.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Its name in the file, or the file's.
    pub name: String,
    /// The format it came in.
    pub format: TrackFormat,
    /// The fixes in the order of time, faulty ones marked.
    pub fixes: Vec<RecordedFix>,
    /// From where the satellite heights are counted, by the format or by the file's own word.
    pub satellite_datum: Datum,
    /// Whether the file itself states that datum; else the format or common practice does.
    pub datum_stated: bool,
    /// Whether the days are known; without, times count from 1 January 1970.
    pub date_known: bool,
    /// What the engine sensor is.
    pub engine_sensor: Option<EngineSensor>,
    /// Silences longer than ten seconds and five times the usual interval.
    pub gaps: Vec<Gap>,
    /// The aircraft, as the file names it.
    pub aircraft: Option<String>,
    /// The pilot, as the file names him.
    pub pilot: Option<String>,
}

/// Why a recording cannot be laid over an area.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
#[non_exhaustive]
pub enum PlacingError {
    /// There is no usable fix.
    #[error("the recording “{0}” has no usable fix")]
    NoFixes(String),
    /// No fix has a time.
    #[error(
        "the recording “{0}” has no times, so neither speed nor sink can be known; record with times, or export it with them"
    )]
    NoTimes(String),
    /// Some place has no image in the frame.
    #[error(
        "the recording “{name}” leaves the part of the Earth for which {frame} is made; open an area where it was flown"
    )]
    OutsideFrame {
        /// The recording.
        name: String,
        /// The frame.
        frame: String,
    },
}

impl Recording {
    /// An empty recording.
    pub(crate) fn new(name: String, format: TrackFormat, satellite_datum: Datum) -> Self {
        Self {
            name,
            format,
            fixes: Vec::new(),
            satellite_datum,
            datum_stated: false,
            date_known: true,
            engine_sensor: None,
            gaps: Vec::new(),
            aircraft: None,
            pilot: None,
        }
    }

    /// The fixes that are used, in the order of time.
    pub fn good(&self) -> impl Iterator<Item = &RecordedFix> {
        self.fixes.iter().filter(|f| f.fault.is_none())
    }

    /// When the first used fix was recorded: second zero of [`Recording::in_frame`].
    #[must_use]
    pub fn started(&self) -> Option<Timestamp> {
        self.good().find_map(|f| f.time)
    }

    /// From the first used fix to the last, seconds.
    #[must_use]
    pub fn duration_s(&self) -> Option<f64> {
        let last = self.good().filter_map(|f| f.time).last()?;
        Some((last.as_microsecond() - self.started()?.as_microsecond()) as f64 / 1e6)
    }

    /// How many fixes carry a fault.
    #[must_use]
    pub fn faults(&self, fault: Fault) -> usize {
        self.fixes.iter().filter(|f| f.fault == Some(fault)).count()
    }

    /// Lowest and highest of some height over the used fixes, metres.
    #[must_use]
    pub fn height_range(&self, height: impl Fn(&RecordedFix) -> Option<f64>) -> Option<(f64, f64)> {
        self.good().filter(|f| !f.height_spike).filter_map(height).fold(None, |range, h| match range {
            None => Some((h, h)),
            Some((low, high)) => Some((f64::min(low, h), f64::max(high, h))),
        })
    }

    /// The height above mean sea level of one fix, as chosen; `None` where the record has none of that kind.
    #[must_use]
    pub fn height_amsl_m(&self, fix: &RecordedFix, choice: &HeightChoice) -> Option<f64> {
        if fix.height_spike {
            return None;
        }
        let height = match choice.source {
            HeightSource::None => None,
            HeightSource::Satellite { datum: Datum::MeanSeaLevel } => fix.satellite_height_m,
            HeightSource::Satellite { datum: Datum::Ellipsoid } => {
                fix.satellite_height_m.map(|h| h - geoid::undulation_m(fix.place))
            }
            HeightSource::Pressure { qnh_hpa } => fix.pressure_height_m.map(|h| h - isa_height_m(qnh_hpa)),
        }?;
        Some(height + choice.offset_m).filter(|h| h.is_finite())
    }

    /// The recording in an area's frame, without its faulty fixes.
    ///
    /// Second zero is [`Recording::started`]. Nothing is smoothed and nothing filled in.
    ///
    /// # Errors
    /// When there is no usable fix, no time, or a place without image in the frame.
    pub fn in_frame(&self, frame: &Frame, choice: &HeightChoice) -> Result<Track, PlacingError> {
        if self.good().next().is_none() {
            return Err(PlacingError::NoFixes(self.name.clone()));
        }
        let start = self.started().ok_or_else(|| PlacingError::NoTimes(self.name.clone()))?;
        let mut fixes = Vec::with_capacity(self.fixes.len());
        for fix in self.good() {
            let Some(time) = fix.time else { continue };
            let outside = || PlacingError::OutsideFrame { name: self.name.clone(), frame: frame.name().to_owned() };
            let position =
                frame.to_xy(fix.place).ok().filter(|p| p.x.is_finite() && p.y.is_finite()).ok_or_else(outside)?;
            fixes.push(Fix {
                time_s: (time.as_microsecond() - start.as_microsecond()) as f64 / 1e6,
                position,
                height_amsl_m: self.height_amsl_m(fix, choice),
                engine: fix.engine,
            });
        }
        Ok(Track { fixes })
    }
}
