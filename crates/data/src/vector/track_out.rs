//! A flown track out: as a GPX track with heights and times, or as one GeoJSON line with a height at every vertex.
//!
//! Sources: Topografix, *GPX 1.1 Schema Documentation*, 2004; RFC 7946, 3.1.1 (a third number is the height).

use super::export::whole_or_not;
use super::xml::escaped;
use crate::error::{LoadError, LoadErrorKind};
use crate::frame::Frame;
use serde_json::json;
use sparefield_geometry::position::Xy;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;

/// A place on a flown track.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrackFix {
    /// Place in the frame.
    pub position: Xy,
    /// Height above mean sea level, metres.
    pub height_amsl_m: f64,
    /// Seconds since its beginning.
    pub time_s: f64,
    /// What is being flown.
    pub what: &'static str,
}

/// Writes a track, in the format that the file's name asks for: `.gpx`, or GeoJSON for every other ending.
///
/// The times of a rehearsed flight belong to no day: GPX counts them from 1970-01-01.
///
/// # Errors
/// When a place has no image on the globe or the file cannot be written.
pub fn write_track(path: &Path, name: &str, fixes: &[TrackFix], frame: &Frame) -> Result<(), LoadError> {
    let cannot = |problem: String, remedy: &str| LoadError::new(path, LoadErrorKind::BadValue, problem, remedy);
    let mut places = Vec::with_capacity(fixes.len());
    for fix in fixes {
        let at = frame
            .to_lonlat(fix.position)
            .map_err(|e| cannot(format!("it was not written: {e}"), "choose a frame that holds the area"))?;
        places.push((at, fix));
    }
    let is_gpx = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("gpx"));
    let text = if is_gpx {
        let mut out = String::from(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"Sparefield\" \
             xmlns=\"http://www.topografix.com/GPX/1/1\">\n",
        );
        let _ = writeln!(out, "<trk><name>{}</name><trkseg>", escaped(name));
        for (at, fix) in &places {
            let seconds = fix.time_s.max(0.0);
            let (hour, minute) = ((seconds / 3_600.0).floor(), (seconds / 60.0).floor() % 60.0);
            let _ = writeln!(
                out,
                "<trkpt lat=\"{:.8}\" lon=\"{:.8}\"><ele>{:.2}</ele><time>1970-01-01T{hour:02}:{minute:02}:{:06.3}Z</time></trkpt>",
                at.lat_deg,
                at.lon_deg,
                fix.height_amsl_m,
                seconds % 60.0,
            );
        }
        out.push_str("</trkseg></trk>\n</gpx>\n");
        out
    } else {
        let vertices: Vec<_> =
            places.iter().map(|(at, fix)| json!([at.lon_deg, at.lat_deg, fix.height_amsl_m])).collect();
        let times: Vec<f64> = fixes.iter().map(|f| f.time_s).collect();
        let what: Vec<&str> = fixes.iter().map(|f| f.what).collect();
        let document = json!({
            "type": "FeatureCollection",
            "features": [{
                "type": "Feature",
                "geometry": { "type": "LineString", "coordinates": vertices },
                "properties": { "name": name, "time_s": times, "leg": what },
            }],
        });
        format!("{document:#}\n")
    };
    whole_or_not(path, |file| file.write_all(text.as_bytes()))
}
