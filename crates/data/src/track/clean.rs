//! What is wrong with the fixes of a recording: found and marked, never smoothed.

use super::clock::unix_s;
use super::heights::median;
use super::recording::{Fault, Gap, RecordedFix, Recording};
use sparefield_geometry::math;
use sparefield_geometry::position::LonLat;

/// Mean radius of the Earth, metres (IUGG: 6 371 008.8).
const EARTH_M: f64 = 6_371_008.8;
/// No light aircraft is faster over the ground unless the whole recording is, m/s (common practice, no source).
const FAST_MS: f64 = 60.0;
/// A fix this far from the line between its neighbours may be a spike, metres: twice the 8 m that 95 of 100 fixes keep
/// (GPS SPS Performance Standard, 5th edition, 2020; from memory).
const OFF_LINE_M: f64 = 15.0;
/// Flying through it would take this acceleration, m/s²: four times gravity, the limit load of light aircraft (the UK
/// CAA's BCAR Section S and EASA CS-VLA have 3.8 to 4; from memory).
const HARD_MS2: f64 = 4.0 * 9.806_65;
/// Neighbours further apart than this say nothing about it, seconds.
const NEIGHBOURS_S: f64 = 2.5;
/// At most this many fixes in a row are taken for spikes; more is a jump of the clock or of the receiver.
const LONGEST_SPIKE: usize = 8;
/// A height this far from the line between its neighbours may be a spike, metres …
const HEIGHT_OFF_M: f64 = 30.0;
/// … if it takes this vertical speed to get there and back, m/s.
const HEIGHT_RATE_MS: f64 = 20.0;
/// A place that stands still although the aircraft came and went at this speed is frozen, m/s …
const MOVING_MS: f64 = 8.0;
/// … for at least this long, seconds.
const FROZEN_S: f64 = 3.0;
/// A silence is a gap from this long, seconds …
const GAP_S: f64 = 10.0;
/// … and from this many usual intervals.
const GAP_INTERVALS: f64 = 5.0;

/// The distance between two places on the sphere, metres.
///
/// # Accuracy
/// Within 0.6 % of the ellipsoid (the flattening is a 298th).
pub(crate) fn metres(a: LonLat, b: LonLat) -> f64 {
    let (lat_a, lat_b) = (a.lat_deg.to_radians(), b.lat_deg.to_radians());
    let sin_lat = math::sin((lat_b - lat_a) / 2.0);
    let sin_lon = math::sin((b.lon_deg - a.lon_deg).to_radians() / 2.0);
    let h = sin_lat * sin_lat + math::cos(lat_a) * math::cos(lat_b) * sin_lon * sin_lon;
    2.0 * EARTH_M * math::atan2(h.max(0.0).sqrt(), (1.0 - h).max(0.0).sqrt())
}

/// Marks what is wrong with a recording's fixes and lists its gaps.
pub(crate) fn mark(recording: &mut Recording) {
    let fixes = &mut recording.fixes;
    for fix in fixes.iter_mut().filter(|f| f.fault.is_none()) {
        let LonLat { lon_deg, lat_deg } = fix.place;
        if (lon_deg == 0.0 && lat_deg == 0.0) || lat_deg.abs() == 90.0 {
            fix.fault = Some(Fault::NoPlace);
        }
    }
    order_in_time(fixes);
    let timed = fixes.iter().any(|f| f.fault.is_none() && f.time.is_some());
    if timed {
        mark_frozen(fixes);
        mark_jumps(fixes);
        mark_hard_turns(fixes);
        mark_heights(fixes);
    }
    recording.gaps = gaps(&recording.fixes);
}

/// Indices of good fixes with their times.
fn good(fixes: &[RecordedFix]) -> Vec<(usize, f64)> {
    let timed = |(i, f): (usize, &RecordedFix)| {
        let time = f.time.filter(|_| f.fault.is_none())?;
        Some((i, unix_s(time)))
    };
    fixes.iter().enumerate().filter_map(timed).collect()
}

/// Marks fixes without time among those with, and all that do not lie on the longest run of rising times: whether the
/// clock stood, jumped there and back, or started wrong, the longest story is kept.
fn order_in_time(fixes: &mut [RecordedFix]) {
    if fixes.iter().any(|f| f.fault.is_none() && f.time.is_some()) {
        for fix in fixes.iter_mut().filter(|f| f.fault.is_none() && f.time.is_none()) {
            fix.fault = Some(Fault::NoTime);
        }
    }
    let times = good(fixes);
    // Longest strictly rising subsequence by patience sorting: `ends[k]` is where the best run of k + 1 ends.
    let mut ends: Vec<usize> = Vec::new();
    let mut before: Vec<Option<usize>> = Vec::with_capacity(times.len());
    for (at, &(_, time)) in times.iter().enumerate() {
        let length = ends.partition_point(|&end| times[end].1 < time);
        before.push(length.checked_sub(1).map(|l| ends[l]));
        if length == ends.len() {
            ends.push(at);
        } else if times[ends[length]].1 > time {
            // Of fixes with one time the first is kept.
            ends[length] = at;
        }
    }
    let mut kept = vec![false; times.len()];
    let mut at = ends.last().copied();
    while let Some(i) = at {
        kept[i] = true;
        at = before[i];
    }
    let mut latest: Option<f64> = None;
    for (&(index, time), kept) in times.iter().zip(kept) {
        if kept {
            latest = Some(time);
        } else {
            fixes[index].fault = Some(if latest == Some(time) { Fault::SameTime } else { Fault::BackInTime });
        }
    }
}

/// A run of one and the same place into which the aircraft flew and out of which it jumped.
fn mark_frozen(fixes: &mut [RecordedFix]) {
    let times = good(fixes);
    let mut from = 1;
    while from < times.len() {
        let (first, began) = times[from];
        let same = |i: usize| fixes[i].place == fixes[first].place;
        let run = times[from..].iter().take_while(|(i, _)| same(*i)).count();
        let until = from + run;
        if run >= 3
            && let Some(&(next, leaves)) = times.get(until)
        {
            let (previous, arrived) = times[from - 1];
            let (_, ended) = times[until - 1];
            let speed = |a: usize, b: usize, seconds: f64| metres(fixes[a].place, fixes[b].place) / seconds.max(1e-3);
            let in_motion = speed(previous, first, began - arrived) >= MOVING_MS;
            // Over the whole standstill the aircraft covered ground.
            if ended - began >= FROZEN_S && in_motion && speed(first, next, leaves - began) >= MOVING_MS {
                for &(i, _) in &times[from + 1..until] {
                    fixes[i].fault = Some(Fault::Frozen);
                }
            }
        }
        from = until.max(from + 1);
    }
}

/// Fixes so far off that nobody flies there and back, up to [`LONGEST_SPIKE`] in a row.
fn mark_jumps(fixes: &mut [RecordedFix]) {
    let times = good(fixes);
    let speed = |a: (usize, f64), b: (usize, f64), fixes: &[RecordedFix]| {
        metres(fixes[a.0].place, fixes[b.0].place) / (b.1 - a.1).max(1e-3)
    };
    let mut speeds: Vec<f64> = times.windows(2).map(|w| speed(w[0], w[1], fixes)).collect();
    speeds.sort_by(f64::total_cmp);
    let Some(&usual) = speeds.get(speeds.len() * 9 / 10) else { return };
    let limit = f64::max(FAST_MS, 2.0 * usual);
    let mut at = 0;
    // A spike at the very front has nothing before it: it is off from what follows, and that agrees with itself.
    if times.len() >= 3 && speed(times[0], times[1], fixes) > limit && speed(times[1], times[2], fixes) <= limit {
        let far = metres(fixes[times[0].0].place, fixes[times[1].0].place) > OFF_LINE_M;
        if far {
            fixes[times[0].0].fault = Some(Fault::Spike);
            at = 1;
        }
    }
    while at + 1 < times.len() {
        let far = metres(fixes[times[at].0].place, fixes[times[at + 1].0].place) > OFF_LINE_M;
        if far && speed(times[at], times[at + 1], fixes) > limit {
            let after = at + 2..(at + 2 + LONGEST_SPIKE).min(times.len());
            if let Some(back) = after.into_iter().find(|&k| speed(times[at], times[k], fixes) <= limit) {
                for &(i, _) in &times[at + 1..back] {
                    fixes[i].fault = Some(Fault::Spike);
                }
                at = back;
                continue;
            }
            if at + 2 == times.len() {
                // The last fix alone, off from everything before it.
                fixes[times[at + 1].0].fault = Some(Fault::Spike);
            }
        }
        at += 1;
    }
}

/// A single fix beside an otherwise smooth line, too near to be a jump and too sharp to be flown.
fn mark_hard_turns(fixes: &mut [RecordedFix]) {
    let times = good(fixes);
    let flat = |i: usize, origin: LonLat, fixes: &[RecordedFix]| {
        let p = fixes[i].place;
        let east = (p.lon_deg - origin.lon_deg).to_radians() * math::cos(origin.lat_deg.to_radians()) * EARTH_M;
        (east, (p.lat_deg - origin.lat_deg).to_radians() * EARTH_M)
    };
    // Acceleration through the middle one of three fixes, and its distance from where its neighbours foretell it.
    let through = |a: (usize, f64), b: (usize, f64), c: (usize, f64), fixes: &[RecordedFix]| {
        let origin = fixes[b.0].place;
        let ((ax, ay), (cx, cy)) = (flat(a.0, origin, fixes), flat(c.0, origin, fixes));
        let (before, after) = (b.1 - a.1, c.1 - b.1);
        let share = before / (before + after);
        let off = math::hypot(ax + (cx - ax) * share, ay + (cy - ay) * share);
        (2.0 * off / (before * after), off)
    };
    let mut at = 2;
    while at + 2 < times.len() {
        let [z, a, b, c, d] = [times[at - 2], times[at - 1], times[at], times[at + 1], times[at + 2]];
        let near = b.1 - a.1 <= NEIGHBOURS_S && c.1 - b.1 <= NEIGHBOURS_S;
        let (hard, off) = through(a, b, c, fixes);
        if near && off > OFF_LINE_M && hard > HARD_MS2 {
            // Without it the line is flown; else something else is wrong, and nothing is marked.
            let smooth = through(z, a, c, fixes).0 <= HARD_MS2 && through(a, c, d, fixes).0 <= HARD_MS2;
            if smooth {
                fixes[b.0].fault = Some(Fault::Spike);
                at += 2;
                continue;
            }
        }
        at += 1;
    }
}

fn mark_heights(fixes: &mut [RecordedFix]) {
    let times = good(fixes);
    for height in [|f: &RecordedFix| f.satellite_height_m, |f: &RecordedFix| f.pressure_height_m] {
        let known: Vec<(usize, f64, f64)> =
            times.iter().filter_map(|&(i, t)| height(&fixes[i]).map(|h| (i, t, h))).collect();
        for three in known.windows(3) {
            let [(_, ta, a), (i, tb, b), (_, tc, c)] = *three else { continue };
            let line = a + (c - a) * (tb - ta) / (tc - ta);
            let (up, down) = ((b - a) / (tb - ta), (c - b) / (tc - tb));
            let there_and_back = up * down < 0.0 && up.abs().min(down.abs()) > HEIGHT_RATE_MS;
            if (b - line).abs() > HEIGHT_OFF_M && there_and_back {
                fixes[i].height_spike = true;
            }
        }
    }
}

fn gaps(fixes: &[RecordedFix]) -> Vec<Gap> {
    let times = good(fixes);
    let steps: Vec<f64> = times.windows(2).map(|w| w[1].1 - w[0].1).collect();
    let usual = median(steps.clone()).unwrap_or(0.0);
    let longer = |s: f64| s > GAP_S && s > GAP_INTERVALS * usual;
    let gap = |(k, seconds): (usize, f64)| longer(seconds).then(|| Gap { before_fix: times[k + 1].0, seconds });
    steps.into_iter().enumerate().filter_map(gap).collect()
}
