//! gpsd's JSON: one object a line, told apart by its class.
//!
//! Source: the gpsd project, *gpsd_json(5)*: TPV has `mode` (0 and 1 no fix, 2 two dimensions, 3 three), `lat`, `lon`,
//! `altMSL`, `altHAE` and the older `alt` in metres, `speed` in m/s, `track` in degrees from true north, `time`; SKY has
//! `uSat`, the satellites used.

use super::{LiveFix, News};
use crate::track::{clock, height_on_earth, undulation_m};
use serde::Deserialize;
use sparefield_geometry::position::LonLat;
use std::time::Instant;

/// What is sent to begin: every report as JSON.
pub(super) const WATCH: &[u8] = b"?WATCH={\"enable\":true,\"json\":true};\n";
/// Reports of the sky with every satellite are long, bytes.
pub(super) const LONGEST: usize = 64 << 10;

#[derive(Deserialize)]
struct Report {
    class: String,
    mode: Option<u8>,
    time: Option<String>,
    lat: Option<f64>,
    lon: Option<f64>,
    #[serde(rename = "altMSL")]
    alt_msl: Option<f64>,
    #[serde(rename = "altHAE")]
    alt_hae: Option<f64>,
    alt: Option<f64>,
    speed: Option<f64>,
    track: Option<f64>,
    #[serde(rename = "uSat")]
    used: Option<u32>,
}

/// What a line says; nothing for reports of other classes.
pub(super) fn line(line: &[u8], received: Instant) -> Option<News> {
    let Ok(report) = serde_json::from_slice::<Report>(line) else { return Some(News::Rejected) };
    match report.class.as_str() {
        "TPV" => {
            let place = report.lon.zip(report.lat).and_then(|(lon, lat)| LonLat::new(lon, lat));
            let place = place.filter(|p| p.lon_deg.is_finite() && p.lat_deg.abs() < 90.0);
            let Some(place) = place.filter(|_| report.mode.is_some_and(|m| m >= 2)) else { return Some(News::NoFix) };
            let above_ellipsoid = report.alt_hae.map(|h| h - undulation_m(place));
            let height = report.alt_msl.or(above_ellipsoid).or(report.alt);
            Some(News::Fix(LiveFix {
                time: report.time.as_deref().and_then(clock::iso),
                place,
                height_amsl_m: height.filter(|h| report.mode == Some(3) && height_on_earth(*h)),
                speed_ms: report.speed.filter(|s| s.is_finite() && *s >= 0.0),
                track_deg: report.track.filter(|t| t.is_finite()),
                received,
            }))
        }
        "SKY" => report.used.map(News::Satellites),
        _ => None,
    }
}
