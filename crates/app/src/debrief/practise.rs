//! What went well and what to practise next: stated rules over the measures, never a feeling.

use super::{Debriefed, Sortie};
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::track::measures::{Outcome, SPEED_HELD_MS};

/// A remark, and the rule that made it.
#[derive(Clone, Debug, PartialEq)]
pub struct Remark {
    /// What is said.
    pub said: String,
    /// By which rule, with its source.
    pub rule: &'static str,
    /// How many exercises it rests on.
    pub exercises: usize,
}

/// What went well, and what to practise next, most often first.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Practise {
    /// What went well.
    pub well: Vec<Remark>,
    /// What to practise.
    pub next: Vec<Remark>,
}

/// Below this a choice should stand, metres: 1 000 ft (height ladder of gliding briefings: choose by 1 000 ft).
const CHOSEN_BY_M: f64 = 304.8;
/// A spread of base-leg distances that counts as constant, metres. Common practice, no source.
const CONSTANT_M: f64 = 60.0;

/// Applies the rules to the exercises of one or several sorties.
#[must_use]
pub fn practise(sorties: &[&Sortie], units: UnitPrefs) -> Practise {
    let all: Vec<(&Sortie, &Debriefed)> =
        sorties.iter().flat_map(|s| s.exercises.iter().map(move |e| (*s, e))).collect();
    let mut out = Practise::default();
    if all.is_empty() {
        return out;
    }
    let count = |holds: &dyn Fn(&Sortie, &Debriefed) -> bool| all.iter().filter(|(s, e)| holds(s, e)).count();
    let of = |n: usize| format!("{n} of {}", all.len());
    let both = |out: &mut Practise, bad: usize, known: usize, next: String, well: String, rule: &'static str| {
        if bad > 0 {
            out.next.push(Remark { said: next, rule, exercises: bad });
        } else if known > 0 {
            out.well.push(Remark { said: well, rule, exercises: known });
        }
    };
    let known_outcome = count(&|_, e| e.measures.arrival.is_some());
    let short = count(&|_, e| e.measures.outcome == Outcome::Short);
    both(
        &mut out,
        short,
        known_outcome,
        format!(
            "Height on final: {} would have come down short. Keep the base leg nearer, and turn in sooner.",
            of(short)
        ),
        "None would have come down short of the strip.".to_owned(),
        "the glide on final, held as it was, must meet the ground beyond the landing end (FAA-S-ACS-7A: never short)",
    );
    let long = count(&|_, e| e.measures.outcome == Outcome::Long);
    both(
        &mut out,
        long,
        known_outcome,
        format!(
            "Losing height: {} would have run past the far end. Widen the base leg or S-turn before final.",
            of(long)
        ),
        "All that reached final would have stopped in the strip.".to_owned(),
        "the stop by the aircraft's landing distance must lie before the far end",
    );
    let reaction = |s: &Sortie| s.ask.aircraft.reaction_time_s;
    let glide_known = count(&|_, e| e.measures.to_glide_speed_s.is_some());
    let slow = count(&|s, e| e.measures.to_glide_speed_s.is_some_and(|t| t > 2.0 * reaction(s)));
    both(
        &mut out,
        slow,
        glide_known,
        format!("First action: in {} the gliding speed came later than twice the reaction time.", of(slow)),
        "The gliding speed was held promptly every time.".to_owned(),
        "gliding speed within 5 kt by twice the reaction time of the aircraft file (reaction time: 4 s, Lowry)",
    );
    let late = count(&|s, e| {
        e.measures.aims.iter().skip(1).any(|a| s.flight.flying[a.from].height_agl_m.is_some_and(|h| h < CHOSEN_BY_M))
            && e.measures.height_agl_m.is_some_and(|h| h > CHOSEN_BY_M)
    });
    let high_enough = count(&|_, e| e.measures.height_agl_m.is_some_and(|h| h > CHOSEN_BY_M));
    both(
        &mut out,
        late,
        high_enough,
        format!("Choosing sooner: {} changed field below {}.", of(late), units.format_height(CHOSEN_BY_M)),
        format!("No field was changed below {}.", units.format_height(CHOSEN_BY_M)),
        "the choice stands by 1 000 ft (gliding field-landing briefings); late changes are what fatal reports tell of",
    );
    let many = count(&|_, e| e.measures.aims.len() > 2);
    if many > 0 {
        out.next.push(Remark {
            said: format!("One plan: {} changed their mind more than once.", of(many)),
            rule: "change the field not more than once (FAA-H-8083-5, chapter 13)",
            exercises: many,
        });
    }
    let speed_known = count(&|_, e| e.measures.mean_speed_ms.is_some());
    let off_speed = count(&|s, e| {
        e.measures.mean_speed_ms.is_some_and(|v| (v - s.ask.aircraft.straight_speed_ms()).abs() > SPEED_HELD_MS)
    });
    both(
        &mut out,
        off_speed,
        speed_known,
        format!("Holding the speed: in {} it was more than 5 kt off on average.", of(off_speed)),
        "The gliding speed was held within 5 kt on average.".to_owned(),
        "gliding speed within 5 kt (CAA NZ flight test standard)",
    );
    let level_late = count(&|s, e| e.measures.on_final_m.is_some_and(|h| h < s.ask.aircraft.final_height_m - 15.0));
    let final_known = count(&|_, e| e.measures.on_final_m.is_some());
    both(
        &mut out,
        level_late,
        final_known,
        format!(
            "Turning in higher: in {} wings came level on final lower than the aircraft file asks for.",
            of(level_late)
        ),
        "Wings were level on final by the height the aircraft file asks for.".to_owned(),
        "wings level on final by the height of the aircraft file (300 ft: FAA-H-8083-5, 360° power-off approach)",
    );
    let low = count(&|_, e| !e.measures.passed_low.is_empty());
    if low > 0 {
        out.next.push(Remark {
            said: format!("Where you fly low: {} passed low over something that was entered.", of(low)),
            rule: "50 ft over hazards; the heights of quiet zones; 500 ft over stock",
            exercises: low,
        });
    }
    // Without any field nothing can be left over.
    let gone = count(&|s, e| !s.candidates.is_empty() && e.measures.last_option_s.is_some());
    if gone > 0 {
        out.next.push(Remark {
            said: format!(
                "Keeping a way out: in {} there was a moment after which no field was left, by estimate.",
                of(gone)
            ),
            rule: "at every second some field must be in reach with height for a circuit (by estimate)",
            exercises: gone,
        });
    }
    let mut base: Vec<f64> = all.iter().filter_map(|(_, e)| e.measures.base_leg_distance_m).collect();
    base.sort_by(f64::total_cmp);
    if let (Some(first), Some(last)) = (base.first(), base.last())
        && base.len() >= 3
    {
        let spread = last - first;
        let text = format!(
            "base legs lay {} to {} before the landing end",
            units.format_length(*first),
            units.format_length(*last)
        );
        let rule = "base-leg distances within 60 m of one another count as constant (common practice, no source)";
        if spread > CONSTANT_M {
            out.next.push(Remark { said: format!("A constant base leg: {text}."), rule, exercises: base.len() });
        } else {
            out.well.push(Remark { said: format!("A constant base leg: {text}."), rule, exercises: base.len() });
        }
    }
    let better = count(&|s, e| {
        e.hindsight.as_ref().zip(e.measures.landing).is_some_and(|(h, l)| {
            s.candidates[h.candidate].field != s.candidates[l].field
                && s.candidates[h.candidate].verdict < s.candidates[l].verdict
        })
    });
    if better > 0 {
        out.next.push(Remark {
            said: format!("The better field: in {} a field with a better verdict was in reach.", of(better)),
            rule: "verdict of the field flown to against the best in hindsight",
            exercises: better,
        });
    }
    out.next.sort_by_key(|remark| std::cmp::Reverse(remark.exercises));
    out
}
