//! KML with `gx:Track`: every track a recording, the tracks of one `gx:MultiTrack` its segments.
//!
//! Source: OGC 12-007r2, *OGC KML 2.3*, 2015, Track: `when` and `coord` stand in equal number; heights of the mode
//! *absolute* are above the EGM96 geoid, those of other modes are above the ground and no heights of a flight.

use super::recording::{Datum, RecordedFix, Recording, TrackFormat};
use super::{MOST_FIXES, MOST_RECORDINGS, clock, too_many_fixes};
use crate::error::{LoadError, LoadErrorKind, Warning};
use crate::vector::record::Notes;
use crate::vector::xml::{self, Attributes, Visitor};
use jiff::Timestamp;
use sparefield_geometry::position::LonLat;
use std::path::Path;

pub(crate) fn read(
    path: &Path,
    bytes: &[u8],
    format: TrackFormat,
) -> Result<(Vec<Recording>, Vec<Warning>), LoadError> {
    let text = xml::decode(path, bytes)?;
    let mut document = Document { stem: super::stem(path), format: Some(format), ..Document::default() };
    xml::walk(path, &text, &mut document)?;
    if document.recordings.is_empty() {
        let problem = "it holds no track with times (gx:Track)";
        let remedy = "export it as GPX or IGC, or as KML with times";
        return Err(LoadError::new(path, LoadErrorKind::NothingHere, problem, remedy));
    }
    Ok((document.recordings, document.notes.into_warnings()))
}

#[derive(Default)]
struct Document {
    stem: String,
    format: Option<TrackFormat>,
    open: Vec<String>,
    text: String,
    placemark: Option<String>,
    track: Track,
    /// Tracks of the multi-track that is open.
    segments: Option<Vec<Vec<RecordedFix>>>,
    absolute: bool,
    recordings: Vec<Recording>,
    fixes: usize,
    notes: Notes,
}

#[derive(Default)]
struct Track {
    when: Vec<Option<Timestamp>>,
    places: Vec<Option<(LonLat, Option<f64>)>>,
}

impl Visitor for Document {
    fn open(&mut self, path: &Path, name: &str, _: &Attributes<'_>) -> Result<(), LoadError> {
        match name {
            "Placemark" => self.placemark = None,
            "MultiTrack" => (self.segments, self.absolute) = (Some(Vec::new()), false),
            "Track" => {
                self.track = Track::default();
                if self.segments.is_none() {
                    self.absolute = false;
                }
            }
            "coord" | "when" => {
                self.fixes += 1;
                if self.fixes > 2 * MOST_FIXES {
                    return Err(too_many_fixes(path));
                }
            }
            _ => {}
        }
        self.text.clear();
        self.open.push(name.to_owned());
        Ok(())
    }

    fn close(&mut self, name: &str) {
        self.open.pop();
        let parent = self.open.last().map_or("", String::as_str);
        let text = self.text.trim();
        match (name, parent) {
            ("name", "Placemark") if !text.is_empty() => self.placemark = Some(super::short(text)),
            ("altitudeMode", "Track" | "MultiTrack") => self.absolute |= text == "absolute",
            ("when", "Track") => self.track.when.push(clock::iso(text)),
            ("coord", "Track") => {
                let mut numbers = text.split([' ', '\t', '\n', ',']).filter(|t| !t.is_empty()).map(str::parse::<f64>);
                let place = match (numbers.next(), numbers.next()) {
                    (Some(Ok(lon)), Some(Ok(lat))) => LonLat::new(lon, lat),
                    _ => None,
                };
                let height = numbers.next().and_then(Result::ok).filter(|h| super::height_on_earth(*h));
                self.track.places.push(place.map(|place| (place, height)));
            }
            ("Track", _) => {
                let segment = self.finish_track();
                match &mut self.segments {
                    Some(segments) => segments.push(segment),
                    None => self.finish(vec![segment]),
                }
            }
            ("MultiTrack", _) => {
                if let Some(segments) = self.segments.take() {
                    self.finish(segments);
                }
            }
            _ => {}
        }
        self.text.clear();
    }

    fn text(&mut self) -> &mut String {
        &mut self.text
    }
}

impl Document {
    fn finish_track(&mut self) -> Vec<RecordedFix> {
        let track = std::mem::take(&mut self.track);
        let number = self.recordings.len() + 1;
        if track.when.len() != track.places.len() {
            let message = format!(
                "it has {} times and {} places; what has no partner was left out",
                track.when.len(),
                track.places.len()
            );
            self.notes.add("tracks of unequal lists", format!("track {number}"), message);
        }
        let mut fixes = Vec::new();
        for (at, (when, place)) in track.when.into_iter().zip(track.places).enumerate() {
            if let Some((place, height)) = place {
                fixes.push(RecordedFix { time: when, satellite_height_m: height, ..RecordedFix::at(place) });
            } else {
                let place = format!("track {number}, fix {}", at + 1);
                self.notes.add("fixes without a place", place, "it has no place on Earth; it was left out");
            }
        }
        fixes
    }

    fn finish(&mut self, mut segments: Vec<Vec<RecordedFix>>) {
        segments.retain(|s| !s.is_empty());
        if segments.is_empty() {
            self.notes.add("empty tracks", "", "a track has no fixes; it was left out");
            return;
        }
        if self.recordings.len() >= MOST_RECORDINGS {
            let message = format!("only the first {MOST_RECORDINGS} tracks were read");
            self.notes.add("too many tracks", "", message);
            return;
        }
        if !self.absolute {
            for fix in segments.iter_mut().flatten() {
                fix.satellite_height_m = None;
            }
            let place = format!("track {}", self.recordings.len() + 1);
            let message = "its heights are not above sea level (altitudeMode is not absolute); they were left out";
            self.notes.add("heights above ground", place, message);
        }
        super::sort_segments(&mut segments);
        let name = self.placemark.clone().unwrap_or_else(|| self.stem.clone());
        let format = self.format.unwrap_or(TrackFormat::Kml);
        let mut recording = Recording::new(name, format, Datum::MeanSeaLevel);
        recording.datum_stated = true;
        recording.fixes = super::join_segments(segments);
        self.recordings.push(recording);
    }
}
