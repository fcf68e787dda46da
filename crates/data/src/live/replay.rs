//! A recorded flight as if it were flown now.

use super::{Hub, LiveFix, News};
use crate::track::clock::unix_s;
use crate::track::{self, Recording, decide_heights};
use sparefield_geometry::math;
use sparefield_geometry::position::LonLat;
use std::path::Path;
use std::time::{Duration, Instant};

/// How often it is looked whether a fix is due.
const TICK: Duration = Duration::from_millis(50);
/// Longer silences of the recording are cut to this, seconds of flight: nobody wants to wait for hours.
const LONGEST_SILENCE_S: f64 = 120.0;

/// Plays the first recording of a file until its end or until stopped.
pub(super) fn run(hub: &Hub, path: &Path) {
    let recording = match track::read(path) {
        Ok(loaded) => loaded.value.into_iter().next(),
        Err(error) => {
            hub.trouble(error.to_string());
            hub.ended();
            return;
        }
    };
    let fixes = recording.as_ref().map(timed).unwrap_or_default();
    if fixes.is_empty() {
        hub.trouble(format!("{}: it has no fixes with times, so it cannot be played", path.display()));
        hub.ended();
        return;
    }
    hub.connected();
    let mut flown_s = 0.0;
    let mut before = Instant::now();
    let mut next = 0;
    while next < fixes.len() {
        let now = Instant::now();
        flown_s += now.duration_since(before).as_secs_f64() * hub.shared.speed();
        before = now;
        let due = fixes[next..].iter().take_while(|(at, _)| *at <= flown_s).count();
        for (_, fix) in &fixes[next..next + due] {
            hub.put(News::Fix(LiveFix { received: now, ..*fix }), false);
        }
        if due > 0 {
            (hub.notify)();
        }
        next += due;
        if next < fixes.len() && !hub.wait(TICK) {
            return;
        }
    }
    hub.ended();
}

/// The usable fixes with the second at which each is due, and how it moved there.
fn timed(recording: &Recording) -> Vec<(f64, LiveFix)> {
    let choice = decide_heights(recording, &|_| None).choice;
    let received = Instant::now();
    let mut due_s = 0.0;
    let mut before: Option<(f64, LonLat)> = None;
    let mut all = Vec::with_capacity(recording.fixes.len());
    for fix in recording.good() {
        let Some(time) = fix.time else { continue };
        let now_s = unix_s(time);
        let mut motion = None;
        if let Some((then_s, place)) = before {
            let seconds = now_s - then_s;
            due_s += seconds.min(LONGEST_SILENCE_S);
            motion = (seconds > 0.0 && seconds <= 10.0).then(|| motion_between(place, fix.place, seconds));
        }
        before = Some((now_s, fix.place));
        let (speed_ms, track_deg) = motion.unwrap_or((None, None));
        let height_amsl_m = recording.height_amsl_m(fix, &choice);
        all.push((due_s, LiveFix { time: Some(time), place: fix.place, height_amsl_m, speed_ms, track_deg, received }));
    }
    all
}

/// Speed over the ground and track from one place to another nearby.
fn motion_between(from: LonLat, to: LonLat, seconds: f64) -> (Option<f64>, Option<f64>) {
    let speed = track::metres(from, to) / seconds;
    let east = (to.lon_deg - from.lon_deg) * math::cos(to.lat_deg.to_radians());
    let north = to.lat_deg - from.lat_deg;
    // Standing still there is no direction, only noise.
    let track = (speed > 1.0).then(|| math::atan2(east, north).to_degrees().rem_euclid(360.0));
    (Some(speed), track)
}
