//! The user's word on exercises: it stands whatever a later analysis finds.
//!
//! A correction is a mark on the sortie: "there is one from here to there", or "there is none here". An exercise that is
//! found and touches a mark gives way to it.

use sparefield_data::sortie::ExerciseMark;
use sparefield_geometry::track::exercises::{Ending, Exercise};
use sparefield_geometry::track::phases::{Flight, PhaseKind};

/// The kind of mark that this module makes and heeds.
pub const KIND: &str = "practice-failure";
/// Shortest exercise a correction makes, seconds.
pub const SHORTEST_S: f64 = 5.0;

fn touches(mark: &ExerciseMark, start_s: f64, end_s: f64) -> bool {
    mark.kind == KIND && mark.start_s < end_s && mark.end_s > start_s
}

/// The exercises found with the user's word over them, in order; `None` where the user said nothing.
#[must_use]
pub fn corrected(flight: &Flight, found: &[Exercise], marks: &[ExerciseMark]) -> Option<Vec<Exercise>> {
    if !marks.iter().any(|m| m.kind == KIND) {
        return None;
    }
    let untouched = found.iter().filter(|e| !marks.iter().any(|m| touches(m, e.start_s, e.end_s))).cloned();
    let told = marks.iter().filter(|m| m.kind == KIND && !m.deleted).map(|m| Exercise {
        start_s: m.start_s,
        start_between_s: None,
        end_s: m.end_s,
        ending: ending(flight, m.end_s),
        confidence: 1.0,
    });
    let mut all: Vec<Exercise> = untouched.chain(told).collect();
    all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    Some(all)
}

/// How an exercise ends at a time, by what the aircraft did around it.
fn ending(flight: &Flight, end_s: f64) -> Ending {
    let at = flight.samples.index_at(end_s);
    let part = flight.samples.part_of(at);
    let around = at.saturating_sub(5).max(part.start)..(at + 8).min(part.end);
    if around.clone().any(|i| flight.phase_at(i) == Some(PhaseKind::OnGround)) {
        Ending::Landing
    } else if at + 3 >= part.end {
        Ending::RecordEnds
    } else {
        Ending::GoAround
    }
}

/// A correction of one exercise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Correction {
    /// It begins here.
    Begins(f64),
    /// It ends here.
    Ends(f64),
    /// It is two, one until here and one from here.
    Split(f64),
    /// It and the one after it, which ends here, are one.
    Join(f64),
    /// There is none.
    Remove,
}

/// The marks after a correction of the exercise from `start_s` to `end_s`; `None` where the correction makes no sense.
#[must_use]
pub fn correct(marks: &[ExerciseMark], start_s: f64, end_s: f64, correction: Correction) -> Option<Vec<ExerciseMark>> {
    let (low, high) = match correction {
        Correction::Begins(t) => (t, end_s),
        Correction::Ends(t) | Correction::Join(t) => (start_s, t),
        Correction::Split(_) | Correction::Remove => (start_s, end_s),
    };
    if high - low < SHORTEST_S {
        return None;
    }
    let deleted = |from: f64, to: f64| mark(from, to, true);
    let mut new: Vec<ExerciseMark> = match correction {
        // What is cut off is no exercise: it must not be found again.
        Correction::Begins(t) if t > start_s => vec![deleted(start_s, t), mark(t, end_s, false)],
        Correction::Ends(t) if t < end_s => vec![mark(start_s, t, false), deleted(t, end_s)],
        Correction::Begins(_) | Correction::Ends(_) | Correction::Join(_) => vec![mark(low, high, false)],
        Correction::Split(t) => {
            if t - start_s < SHORTEST_S || end_s - t < SHORTEST_S {
                return None;
            }
            vec![mark(start_s, t, false), mark(t, end_s, false)]
        }
        Correction::Remove => vec![deleted(start_s, end_s)],
    };
    let (from, to) = (start_s.min(low), end_s.max(high));
    let mut all: Vec<ExerciseMark> = marks
        .iter()
        .filter(|m| !(touches(m, from, to) && m.start_s >= from - 0.5 && m.end_s <= to + 0.5))
        .cloned()
        .collect();
    all.append(&mut new);
    all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    Some(all)
}

/// The marks with an exercise added.
#[must_use]
pub fn added(marks: &[ExerciseMark], start_s: f64, end_s: f64) -> Vec<ExerciseMark> {
    let inside = |m: &ExerciseMark| touches(m, start_s, end_s) && m.deleted;
    let mut all: Vec<ExerciseMark> = marks.iter().filter(|m| !inside(m)).cloned().collect();
    all.push(mark(start_s, end_s, false));
    all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    all
}

fn mark(start_s: f64, end_s: f64, deleted: bool) -> ExerciseMark {
    ExerciseMark { kind: KIND.to_owned(), start_s, end_s, deleted, note: String::new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found() -> Vec<Exercise> {
        [(100.0, 160.0), (300.0, 380.0)]
            .map(|(start_s, end_s)| Exercise {
                start_s,
                start_between_s: None,
                end_s,
                ending: Ending::GoAround,
                confidence: 0.9,
            })
            .to_vec()
    }

    fn spans(marks: &[ExerciseMark]) -> Vec<(f64, f64)> {
        let all = corrected(&Flight::default(), &found(), marks).unwrap_or_else(found);
        all.iter().map(|e| (e.start_s, e.end_s)).collect()
    }

    #[test]
    fn every_correction_does_what_it_says_and_outlives_the_analysis() {
        let after = |c| correct(&[], 100.0, 160.0, c).unwrap();
        assert_eq!(spans(&[]), [(100.0, 160.0), (300.0, 380.0)]);
        assert_eq!(spans(&after(Correction::Begins(110.0))), [(110.0, 160.0), (300.0, 380.0)]);
        assert_eq!(spans(&after(Correction::Begins(90.0))), [(90.0, 160.0), (300.0, 380.0)]);
        assert_eq!(spans(&after(Correction::Ends(140.0))), [(100.0, 140.0), (300.0, 380.0)]);
        assert_eq!(spans(&after(Correction::Split(130.0))), [(100.0, 130.0), (130.0, 160.0), (300.0, 380.0)]);
        assert_eq!(spans(&after(Correction::Join(380.0))), [(100.0, 380.0)]);
        assert_eq!(spans(&after(Correction::Remove)), [(300.0, 380.0)]);
        let more = added(&after(Correction::Remove), 500.0, 560.0);
        assert_eq!(spans(&more), [(300.0, 380.0), (500.0, 560.0)]);
        // One correction after the other.
        let twice = correct(&after(Correction::Split(130.0)), 130.0, 160.0, Correction::Remove).unwrap();
        assert_eq!(spans(&twice), [(100.0, 130.0), (300.0, 380.0)]);
        let back = correct(&twice, 100.0, 130.0, Correction::Ends(150.0)).unwrap();
        assert_eq!(spans(&back)[0], (100.0, 150.0));
    }

    #[test]
    fn what_makes_no_sense_changes_nothing() {
        assert!(correct(&[], 100.0, 160.0, Correction::Begins(158.0)).is_none());
        assert!(correct(&[], 100.0, 160.0, Correction::Ends(90.0)).is_none());
        assert!(correct(&[], 100.0, 160.0, Correction::Split(159.0)).is_none());
    }
}
