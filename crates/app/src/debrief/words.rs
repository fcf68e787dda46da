//! What a debrief says, in sentences; shared by the window, the report and the terminal.

use super::{Debriefed, Sortie, WindFrom};
use sparefield_data::quantity::{UnitPrefs, WindWords};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::position::Bearing;
use sparefield_geometry::track::exercises::Ending;
use sparefield_geometry::track::measures::{Outcome, Over, PassedLow};
use sparefield_geometry::track::phases::PhaseKind;
use sparefield_geometry::track::wind_by_height::{LEAST_SURE_MS, WindEstimate};

/// A time from the beginning of the recording.
#[must_use]
pub fn clock(seconds: f64) -> String {
    let s = seconds.max(0.0).round() as u64;
    if s >= 3_600 {
        format!("{}:{:02}:{:02}", s / 3_600, s / 60 % 60, s % 60)
    } else {
        format!("{}:{:02}", s / 60, s % 60)
    }
}

fn seconds(s: f64) -> String {
    format!("{s:.0} s")
}

/// A share as people say it.
#[must_use]
pub fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// How sure, in a word.
#[must_use]
pub fn sure(confidence: f64) -> &'static str {
    match confidence {
        c if c >= 0.9 => "clear",
        c if c >= 0.7 => "likely",
        _ => "perhaps",
    }
}

/// The wind that the flight tells, or what was taken instead.
#[must_use]
pub fn wind(sortie: &Sortie, units: UnitPrefs) -> String {
    let place = sortie.ask.area.home.as_ref().map_or_else(|| sortie.ask.area.centre(), |h| h.position);
    let turned = |wind: WindVector| {
        wind.from_bearing().map_or(wind, |from| {
            let angle = sortie.ask.area.convergence_rad(place);
            WindVector::coming_from(Bearing::from_rad(from.rad() + angle), wind.speed_ms())
        })
    };
    let say = |wind: WindVector| units.format_wind(turned(wind), WindWords::Long);
    let by_turns = || {
        let bands = sortie.turns_wind.bands.iter().map(|b| {
            let off = units.format_speed(b.sd_ms);
            format!("{} ± {off} at {}", say(b.wind), units.format_height(b.height_amsl_m))
        });
        bands.collect::<Vec<_>>().join("; ")
    };
    match sortie.wind_from {
        WindFrom::User => {
            let turns = if sortie.turns_wind.bands.is_empty() {
                "the flight itself tells none".to_owned()
            } else {
                format!("the turns tell {} above sea level", by_turns())
            };
            format!("{} at the surface, as you gave it; {turns}", say(sortie.wind.surface))
        }
        WindFrom::Nobody => "not told by the flight (it needs turns), so calm was taken: give the wind".to_owned(),
        WindFrom::Track => format!("from the turns of the flight: {} above sea level", by_turns()),
    }
}

/// A given wind further than this from what the turns tell is remarked on, m/s: twice what the least sure estimate that
/// is told may be off.
const FAR_OFF_MS: f64 = 2.0 * LEAST_SURE_MS;

/// A remark where the given wind is far from what the turns tell.
#[must_use]
pub fn wind_differs(sortie: &Sortie, units: UnitPrefs) -> Option<String> {
    let off = |b: &WindEstimate| sortie.wind.at_amsl(b.height_amsl_m).xy().distance(b.wind.xy());
    let most = sortie.turns_wind.bands.iter().map(off).fold(0.0, f64::max);
    (sortie.wind_from == WindFrom::User && most > FAR_OFF_MS).then(|| {
        format!(
            "The wind you gave is up to {} off what the turns of the flight tell, and exercises and airspeeds follow yours: \
             compare the two.",
            units.format_speed(most)
        )
    })
}

/// How far apart the bounds of a failure's time are before they are told, seconds: less is no news.
const TELL_BOUNDS_S: f64 = 12.0;

/// Between which times the engine stopped, where the track does not tell it closely.
fn stopped_between(one: &Debriefed) -> Option<String> {
    let (from, to) = one.exercise.start_between_s.filter(|b| b.1 - b.0 > TELL_BOUNDS_S)?;
    Some(format!("between {} and {}; the track does not tell it more closely", clock(from), clock(to)))
}

/// A share of the time in the air with an airspeed that the aircraft does not fly, above which it is said. Numbers of
/// this block: common practice, no source.
const FOREIGN_SHARE: f64 = 0.3;
/// What counts as such: slower than this over the stalling speed, or faster than this over the gliding speed.
const FOREIGN_SPEEDS: (f64, f64) = (0.85, 1.5);
/// A wind that is not known may be so strong, m/s.
const UNKNOWN_WIND_MS: f64 = 10.0;

/// A remark where the flight was hardly flown in the aircraft that it is held against.
fn other_aircraft(sortie: &Sortie) -> Option<String> {
    let flight = &sortie.flight;
    let aircraft = &sortie.ask.aircraft;
    let in_air: Vec<f64> = (0..flight.flying.len())
        .filter(|&i| flight.phase_at(i).is_some_and(|p| p != PhaseKind::OnGround))
        .map(|i| flight.flying[i].airspeed_ms)
        .collect();
    // Where nothing is known of the wind, speeds over the ground may be that much off.
    let unknown = if flight.wind.bands.is_empty() { UNKNOWN_WIND_MS } else { 0.0 };
    let (slow, fast) = (
        FOREIGN_SPEEDS.0 * aircraft.stall_speed_ms - unknown,
        FOREIGN_SPEEDS.1 * aircraft.straight_speed_ms() + unknown,
    );
    let foreign = in_air.iter().filter(|v| **v < slow || **v > fast).count() as f64;
    let share = foreign / in_air.len().max(1) as f64;
    (share > FOREIGN_SHARE).then(|| {
        format!(
            "For {} of the time in the air the airspeed is none that {} flies at, so exercises and glides are doubtful: \
             choose the aircraft that was flown.",
            percent(share),
            aircraft.name
        )
    })
}

/// The first sentence about an exercise.
#[must_use]
pub fn headline(sortie: &Sortie, one: &Debriefed, units: UnitPrefs) -> String {
    let m = &one.measures;
    let from = m.height_agl_m.map_or_else(
        || format!("{} above sea level", units.format_height(m.height_amsl_m)),
        |h| format!("{} above the ground", units.format_height(h)),
    );
    let to = m.landing.map_or_else(|| "no field recognised".to_owned(), |c| sortie.field_name(c).to_owned());
    let ended = match one.exercise.ending {
        Ending::Landing => "landed".to_owned(),
        Ending::GoAround => m
            .lowest_agl_m
            .map_or_else(|| "went around".to_owned(), |h| format!("went around from {}", units.format_height(h))),
        Ending::RecordEnds => "the record ends".to_owned(),
    };
    format!("From {from}, {to}: {ended}.")
}

/// The outcome in a sentence.
#[must_use]
pub fn outcome(one: &Debriefed, units: UnitPrefs) -> String {
    let m = &one.measures;
    let landed = one.exercise.ending == Ending::Landing;
    match (m.outcome, m.arrival) {
        (Outcome::Short, Some(a)) => {
            format!("It would have come down about {} short of where it may.", units.format_length_at_most(a.short_m))
        }
        (Outcome::Long, Some(a)) => format!(
            "It {} about {} past the far end.",
            if landed { "would by the book have stopped" } else { "would have stopped" },
            units.format_length_at_most(a.long_m)
        ),
        (Outcome::InField, Some(a)) if landed => {
            format!("Touched down {} into the strip.", units.format_length(a.touchdown_m.max(0.0)))
        }
        (Outcome::InField, Some(a)) => format!(
            "Held as it was, the glide would have met the ground {} into the strip and stopped by {}.",
            units.format_length(a.touchdown_m.max(0.0)),
            units.format_length_at_most(a.stop_m)
        ),
        _ => {
            let mut text = m.outcome.words().to_owned();
            if let Some(first) = text.get_mut(..1) {
                first.make_ascii_uppercase();
            }
            format!("{text}.")
        }
    }
}

/// Name and value of every measure.
#[must_use]
pub fn figures(sortie: &Sortie, one: &Debriefed, units: UnitPrefs) -> Vec<(String, String)> {
    let m = &one.measures;
    let ask = &sortie.ask;
    let mut list: Vec<(String, String)> = Vec::new();
    let mut add = |name: &str, value: Option<String>| {
        list.push((name.to_owned(), value.unwrap_or_else(|| "not told".to_owned())));
    };
    let height = |h: Option<f64>| h.map(|h| units.format_height(h));
    if let Some(between) = stopped_between(one) {
        add("the engine stopped", Some(between));
    }
    add("height at the failure", height(m.height_agl_m).map(|h| format!("{h} above the ground")));
    add("until the gliding speed was held", m.to_glide_speed_s.map(seconds));
    add("until the first turn towards the field", m.to_first_turn_s.map(seconds));
    add("changes of mind", Some(m.aims.len().saturating_sub(1).to_string()));
    let intended = units.format_speed(ask.aircraft.straight_speed_ms());
    add(
        "airspeed in the glide (by the wind)",
        m.mean_speed_ms.zip(m.speed_range_ms).map(|(mean, (low, high))| {
            format!(
                "{} on average, {} to {}; intended {intended}",
                units.format_speed(mean),
                units.format_speed(low),
                units.format_speed(high)
            )
        }),
    );
    let steepest = m.turns.iter().map(|t| t.steepest_rad).fold(0.0, f64::max);
    add("steepest bank", (!m.turns.is_empty()).then(|| format!("{:.0}°", steepest.to_degrees())));
    let own = units.format_length(ask.aircraft.base_leg_distance_m);
    add(
        "base-leg distance",
        m.base_leg_distance_m.map(|d| format!("{} (yours by the aircraft file: {own})", units.format_length(d))),
    );
    add("height abeam", height(m.abeam_m));
    add("height at the turn to base", height(m.at_base_m));
    add("height with wings level on final", height(m.on_final_m));
    if m.s_turns > 0 {
        add("S-turns", Some(m.s_turns.to_string()));
    }
    if m.orbits > 0 {
        add("whole turns", Some(m.orbits.to_string()));
    }
    add(
        "lowest point",
        m.lowest_agl_m.map(|h| {
            let place = m.lowest_along_m.map_or_else(String::new, |along| {
                if along < 0.0 {
                    format!(", {} before the landing end", units.format_length(-along))
                } else {
                    format!(", {} into the strip", units.format_length(along))
                }
            });
            format!("{} above the ground{place}", units.format_height(h.max(0.0)))
        }),
    );
    let end = one.exercise.start_s;
    add(
        "last moment with an option, by estimate",
        Some(m.last_option_s.map_or_else(
            || "one was left to the end".to_owned(),
            |t| {
                if t <= end {
                    "none at the failure".to_owned()
                } else {
                    format!("{} after the failure", seconds(t - end))
                }
            },
        )),
    );
    list
}

/// Every change of mind: when, at which height, from which field to which.
#[must_use]
pub fn changes(sortie: &Sortie, one: &Debriefed, units: UnitPrefs) -> Vec<String> {
    let all = &sortie.flight.samples.all;
    let at = |i: usize| {
        let agl = sortie.flight.flying[i].height_agl_m;
        let after = seconds(all[i].time_s - one.exercise.start_s);
        agl.map_or_else(
            || format!("{after} after the failure"),
            |h| format!("{after} after the failure, at {}", units.format_height(h)),
        )
    };
    one.measures
        .aims
        .windows(2)
        .map(|w| {
            let (from, to) = (sortie.field_name(w[0].candidate), sortie.field_name(w[1].candidate));
            if from == to {
                format!("{}: the other way into {to}", at(w[1].from))
            } else {
                format!("{}: from {from} to {to}", at(w[1].from))
            }
        })
        .collect()
}

/// Every turn against what the glide curve says.
#[must_use]
pub fn turns(sortie: &Sortie, one: &Debriefed, units: UnitPrefs) -> Vec<[String; 5]> {
    let all = &sortie.flight.samples.all;
    one.measures
        .turns
        .iter()
        .map(|t| {
            let way = if t.turned_rad < 0.0 { "left" } else { "right" };
            [
                seconds(all[t.samples.start].time_s - one.exercise.start_s),
                format!("{:.0}° {way}", t.turned_rad.to_degrees().abs()),
                format!("{:.0}°", t.bank_rad.to_degrees().abs()),
                t.lost_m.map_or_else(|| "not told".to_owned(), |l| units.format_height(l)),
                units.format_height(t.predicted_m),
            ]
        })
        .collect()
}

/// The headings of [`turns`].
pub const TURN_HEADINGS: [&str; 5] = ["after", "turned", "mean bank", "lost", "by the curve"];

/// What was passed low, in a sentence.
#[must_use]
pub fn passed_low(sortie: &Sortie, low: &PassedLow, units: UnitPrefs) -> String {
    let area = &sortie.ask.area;
    let what = match low.over {
        Over::Hazard(i) => area.hazards.get(i).map_or("a hazard", |h| h.kind.words()).to_owned(),
        Over::QuietZone(i) => area.quiet_zones.get(i).map_or("", |z| z.name.as_str()).to_owned(),
        Over::Stock(i) => {
            let field = area.fields.get(i);
            format!("stock in {}", field.map_or("a field", |f| f.label()))
        }
    };
    let what = if what.is_empty() { "a quiet zone".to_owned() } else { what };
    let (over, wanted) = (units.format_height_at_least(low.height_m.max(0.0)), units.format_height(low.wanted_m));
    let how = match low.over {
        Over::Hazard(_) => "over its top",
        _ => "above the ground",
    };
    format!("{}: {over} {how} ({what}); {wanted} is asked for", clock(low.time_s))
}

/// The best field in hindsight.
#[must_use]
pub fn hindsight(sortie: &Sortie, one: &Debriefed) -> String {
    if sortie.candidates.is_empty() {
        return "This area has no field to look for.".to_owned();
    }
    let Some(best) = &one.hindsight else {
        return "From the failure the program found no circuit into any field that is not out.".to_owned();
    };
    let candidate = &sortie.candidates[best.candidate];
    let name = sortie.field_name(best.candidate);
    let same = one.measures.landing.is_some_and(|l| sortie.candidates[l].field == candidate.field);
    let plan = best.circuit.plan;
    let hand = match plan.hand {
        sparefield_geometry::fields::circuit_height::Hand::Left => "left hand",
        sparefield_geometry::fields::circuit_height::Hand::Right => "right hand",
    };
    let join = plan.join.words();
    let how = if join == "straight in" { "straight in".to_owned() } else { format!("joining {join}, {hand}") };
    if same {
        format!("The best field in hindsight is the one flown to, {name} ({}): {how}.", candidate.verdict.words())
    } else {
        format!("The best field in hindsight: {name} ({}), {how}.", candidate.verdict.words())
    }
}

/// How the whole sortie was covered.
#[must_use]
pub fn cover(sortie: &Sortie, units: UnitPrefs) -> String {
    let c = &sortie.cover;
    if sortie.candidates.is_empty() {
        return "No field of this area can be held against the flight, so nothing is told about what was in reach."
            .to_owned();
    }
    if c.seconds == 0 {
        return "There was no time in the air outside exercises over known ground.".to_owned();
    }
    let mut text = format!(
        "Of {} in the air outside exercises: several fields in reach {}, one {}, none {}.",
        clock(c.seconds as f64),
        percent(c.several),
        percent(c.one),
        percent(c.none)
    );
    let missing = c.bare.iter().filter_map(|b| b.missing_m).fold(0.0, f64::max);
    if missing > 0.0 {
        use std::fmt::Write as _;
        let _ = write!(text, " At worst {} more height would have kept one.", units.format_height_at_most(missing));
    }
    text
}

/// What is always to be said about a debrief.
pub const CAUTIONS: [&str; 5] = [
    "A training aid: nothing here says that a field would have taken the aircraft.",
    "Airspeed is worked out from the speed over the ground and the wind; no instrument was read.",
    "Options and the last moment are estimates: straight glides and plain circuits, no ways round hills, no gusts, no \
     sinking air.",
    "An engine at idle is not a stopped engine: some aircraft glide better, some worse.",
    "Wires, fences and animals that nobody entered were not looked at.",
];

/// Cautions of one sortie.
#[must_use]
pub fn cautions(sortie: &Sortie) -> Vec<String> {
    let mut list: Vec<String> = CAUTIONS.iter().map(|c| (*c).to_owned()).collect();
    if sortie.wind_from == WindFrom::Nobody {
        list.push(
            "The flight tells no wind and none was given: calm was taken, and airspeeds are not told.".to_owned(),
        );
    }
    list.extend(wind_differs(sortie, UnitPrefs::default()));
    list.extend(other_aircraft(sortie));
    if sortie.outside > 0 {
        list.push(format!(
            "{} of the flight lie outside the terrain: no heights above the ground and no options there.",
            percent(sortie.outside as f64 / sortie.flight.samples.all.len() as f64)
        ));
    }
    if sortie.flight.samples.parts.len() > 1 {
        list.push(format!(
            "The record has {} gaps; nothing is told about what happened in them.",
            sortie.flight.samples.parts.len() - 1
        ));
    }
    if sortie.ask.area.is_sample {
        list.push("The sample area is invented and shows no real place.".to_owned());
    }
    list
}
