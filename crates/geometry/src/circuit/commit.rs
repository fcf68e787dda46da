//! Until when the choice can still change while a circuit is flown.
//!
//! A change is only open from where the other landing could be made by a whole circuit of its own; below the last such
//! place the first choice is kept. Transport Canada TP 12475, exercise 22: a change of field is acceptable only from
//! where it can still be made. Whatever could be made from there, nothing is changed once the turn to final has begun:
//! a gliding club's notes on field landings have the turn to base as the last chance, and accidents are told of later
//! changes (AAIB Bulletin, November 2017).

use super::flight::Start;
use super::motion::Motion;
use super::plan::Leg;
use super::record::{Circuit, TrackPoint};
use super::search::{CircuitTask, Least};

/// Seconds between two places that are looked at.
const LOOK_S: f64 = 3.0;

/// The last place on a circuit from which another landing can be made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Commit {
    /// State there.
    pub at: Motion,
    /// Height above the first choice's landing place, metres: the commit height.
    pub height_m: f64,
    /// Which of the other landings, by its place in the caller's list.
    pub other: usize,
    /// How it would be made from there.
    pub least: Least,
}

/// The last place on a flown circuit before the turn to final from which one of `others` can still be made, or `None`
/// where the first choice is the only one from the beginning.
///
/// Looks every three seconds, from the end backwards; `keep_m` is the height that must be left over for the other to
/// count. `stopped` ends the search early with what was found so far.
#[must_use]
pub fn last_change(
    circuit: &Circuit,
    task: &CircuitTask<'_>,
    others: &[CircuitTask<'_>],
    keep_m: f64,
    stopped: &dyn Fn() -> bool,
) -> Option<Commit> {
    for point in looks(&circuit.track).into_iter().rev() {
        if stopped() {
            return None;
        }
        let from = Motion { bank_rad: 0.0, ..point.motion };
        let mut best: Option<Commit> = None;
        for (other, alternative) in others.iter().enumerate() {
            // The pilot has the glide in hand: no reaction time is charged for a second choice.
            let Ok(least) = alternative.least(&Start { motion: from, reaction_s: 0.0 }) else { continue };
            if least.spare_m >= keep_m && best.is_none_or(|b| least.spare_m > b.least.spare_m) {
                let height_m = from.height_amsl_m - task.landing().aim_amsl_m;
                best = Some(Commit { at: from, height_m, other, least });
            }
        }
        if best.is_some() {
            return best;
        }
    }
    None
}

/// Points of a track about [`LOOK_S`] apart, after the reaction and before the turn to final.
fn looks(track: &[TrackPoint]) -> Vec<TrackPoint> {
    let mut next_s = 0.0;
    let mut out = Vec::new();
    for point in track.iter().filter(|p| !matches!(p.leg, Leg::Reaction | Leg::Final)) {
        if point.motion.time_s >= next_s {
            out.push(*point);
            next_s = point.motion.time_s + LOOK_S;
        }
    }
    out
}
