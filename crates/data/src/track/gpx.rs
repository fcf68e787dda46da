//! GPX 1.0 and 1.1: every track a recording, its segments in the order of time.
//!
//! Source: Topografix, *GPX 1.1 Schema Documentation*, 2004 (`ele` is in metres, and `geoidheight` is the geoid above
//! the ellipsoid at the place, so that `ele` is above mean sea level), and *GPX 1.0 Developer's Manual*, 2002.

use super::recording::{Datum, Fault, RecordedFix, Recording, TrackFormat};
use super::{MOST_FIXES, MOST_RECORDINGS, clock, too_many_fixes};
use crate::error::{LoadError, LoadErrorKind, Warning};
use crate::vector::record::Notes;
use crate::vector::xml::{self, Attributes, Visitor};
use sparefield_geometry::position::LonLat;
use std::path::Path;

pub(crate) fn read(path: &Path, bytes: &[u8]) -> Result<(Vec<Recording>, Vec<Warning>), LoadError> {
    let text = xml::decode(path, bytes)?;
    let mut document = Document { stem: super::stem(path), ..Document::default() };
    xml::walk(path, &text, &mut document)?;
    if document.recordings.is_empty() {
        let (problem, remedy) = if document.routes {
            ("it holds a route or waypoints, but no track", "name the file that the recorder wrote")
        } else {
            ("it holds no track", "name a file with a track in it")
        };
        return Err(LoadError::new(path, LoadErrorKind::NothingHere, problem, remedy));
    }
    Ok((document.recordings, document.notes.into_warnings()))
}

#[derive(Default)]
struct Document {
    stem: String,
    open: Vec<String>,
    text: String,
    recordings: Vec<Recording>,
    /// Segments of the track that is open.
    segments: Vec<Vec<RecordedFix>>,
    name: Option<String>,
    fix: Option<RecordedFix>,
    fixes: usize,
    tracks: usize,
    routes: bool,
    notes: Notes,
}

impl Visitor for Document {
    fn open(&mut self, path: &Path, name: &str, attributes: &Attributes<'_>) -> Result<(), LoadError> {
        if self.open.is_empty() && name != "gpx" {
            let problem = "its root is not <gpx>";
            return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, "name a GPX file"));
        }
        match (name, self.open.last().map_or("", String::as_str)) {
            ("trk", "gpx") => {
                self.tracks += 1;
                if self.tracks > MOST_RECORDINGS {
                    let problem = format!("it has more than {MOST_RECORDINGS} tracks");
                    return Err(LoadError::new(path, LoadErrorKind::TooLarge, problem, "cut it into several files"));
                }
                (self.name, self.segments) = (None, Vec::new());
            }
            ("trkseg", "trk") => self.segments.push(Vec::new()),
            ("trkpt", "trkseg") => {
                self.fixes += 1;
                if self.fixes > MOST_FIXES {
                    return Err(too_many_fixes(path));
                }
                let number = |key: &str| attributes.get(key).and_then(|text| text.trim().parse::<f64>().ok());
                self.fix = match (number("lon"), number("lat")) {
                    (Some(lon), Some(lat)) => LonLat::new(lon, lat).map(RecordedFix::at),
                    _ => None,
                };
                if self.fix.is_none() {
                    let (track, fix) = (self.tracks, self.fixes);
                    let message = "it has no longitude and latitude on Earth; it was left out";
                    self.notes.add("fixes without a place", format!("track {track}, fix {fix}"), message);
                }
            }
            ("rte" | "wpt", "gpx") => self.routes = true,
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
            ("ele", "trkpt") => {
                if let Some(fix) = &mut self.fix {
                    fix.satellite_height_m = text.parse().ok().filter(|h: &f64| super::height_on_earth(*h));
                }
            }
            ("time", "trkpt") => {
                if let Some(fix) = &mut self.fix {
                    fix.time = clock::iso(text);
                    if fix.time.is_none() && !text.is_empty() {
                        let message = "its time cannot be read; it counts as without a time";
                        let place = format!("track {}, fix {}", self.tracks, self.fixes);
                        self.notes.add("times that cannot be read", place, message);
                    }
                }
            }
            ("fix", "trkpt") if text.eq_ignore_ascii_case("none") => {
                if let Some(fix) = &mut self.fix {
                    fix.fault = Some(Fault::NotValid);
                }
            }
            ("trkpt", _) => {
                if let (Some(fix), Some(segment)) = (self.fix.take(), self.segments.last_mut()) {
                    segment.push(fix);
                }
            }
            ("name", "trk") if !text.is_empty() => self.name = Some(super::short(text)),
            ("trk", "gpx") => self.finish(),
            _ => {}
        }
        self.text.clear();
    }

    fn text(&mut self) -> &mut String {
        &mut self.text
    }
}

impl Document {
    fn finish(&mut self) {
        let mut segments = std::mem::take(&mut self.segments);
        segments.retain(|s| !s.is_empty());
        if segments.is_empty() {
            self.notes.add("empty tracks", format!("track {}", self.tracks), "it has no fixes; it was left out");
            return;
        }
        if super::sort_segments(&mut segments) {
            let message = "its segments are not in the order of time; they were put in order";
            self.notes.add("tracks out of order", format!("track {}", self.tracks), message);
        }
        let name = self.name.take().unwrap_or_else(|| self.stem.clone());
        let mut recording = Recording::new(name, TrackFormat::Gpx, Datum::MeanSeaLevel);
        recording.fixes = super::join_segments(segments);
        self.recordings.push(recording);
    }
}
