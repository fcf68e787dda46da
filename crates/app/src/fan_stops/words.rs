//! Every word about fan stops at the home strip.

use super::{FanState, FanStops, Practised};
use crate::circuits::words::hand;
use sparefield_data::area::Area;
use sparefield_data::quantity::{UnitPrefs, format_bearing};
use sparefield_geometry::circuit::{InTheWay, NoCircuit, TooLow};
use sparefield_geometry::drill::{DrillSet, FanCell, FanRecord, HEADINGS, HEIGHT_STEPS};

/// Height to spare from which a cell counts as having some, metres: 150 ft, the first ring above none on the map.
pub const SOME_SPARE_M: f64 = 45.72;

/// What the picture is, in one line.
#[must_use]
pub fn title(area: &Area) -> String {
    let home = area.home.as_ref().map_or("the home strip", |h| h.name.as_str());
    format!("Fan stops at {home}")
}

/// The heights of a row, as numbers with a unit.
#[must_use]
pub fn heights(set: &DrillSet, step: usize, units: UnitPrefs) -> String {
    let (low, high) = FanCell::new(step, 0).heights_agl_m(set);
    format!("{} to {}", units.format_height(low), units.format_height(high))
}

/// The heading of a column, from true north.
#[must_use]
pub fn heading(area: &Area, direction: usize) -> String {
    let cell = FanCell::new(0, direction);
    let place = area.home.as_ref().map_or_else(Default::default, |h| h.position);
    format_bearing(area.to_true(cell.heading(), place))
}

/// Which cell, in one clause.
#[must_use]
pub fn cell(area: &Area, set: &DrillSet, cell: FanCell, units: UnitPrefs) -> String {
    format!("Heading about {}, {} above the ground", heading(area, cell.direction()), heights(set, cell.step(), units))
}

/// How often and how, in one sentence.
#[must_use]
pub fn record(record: &FanRecord) -> String {
    let Some(last) = &record.last else { return "Not drilled yet.".to_owned() };
    let times = if record.drills == 1 { "once".to_owned() } else { format!("{} times", record.drills) };
    let share = format!("{} of {} stopped in the strip", record.stopped, record.drills);
    format!("Drilled {times}, {share}. The last time: {}", last.words())
}

/// How often and how, as short as a table has room for.
#[must_use]
pub fn record_short(record: &FanRecord) -> String {
    match &record.last {
        None => "not drilled".to_owned(),
        Some(last) => {
            let last = if last.stopped_in_strip() { "last one in" } else { "last one not" };
            format!("{} of {} in, {last}", record.stopped, record.drills)
        }
    }
}

/// What would come of it, in one sentence.
#[must_use]
pub fn state(stops: &FanStops, state: &FanState, units: UnitPrefs) -> String {
    let from = units.format_height(state.height_agl_m);
    match &state.way {
        Ok(way) => {
            let spare = units.format_height_at_least(way.spare_m);
            let runway = &stops.landings[way.landing].runway;
            let over = if way.too_high { ", and more height than any circuit here uses up" } else { "" };
            format!(
                "From {from} over the middle a circuit onto runway {runway} works with {spare} to spare: join {}, {} \
                 hand{over}.",
                way.join.words(),
                hand(way.hand)
            )
        }
        Err(why) => format!("From {from} over the middle none works: {}.", refusal(why, units)),
    }
}

/// What would come of it, as short as a table has room for.
#[must_use]
pub fn state_short(stops: &FanStops, state: &FanState, units: UnitPrefs) -> String {
    match &state.way {
        Ok(way) => format!(
            "{} over: runway {}, {}, {}",
            units.format_height_at_least(way.spare_m),
            stops.landings[way.landing].runway,
            way.join.words(),
            hand(way.hand)
        ),
        Err(NoCircuit::TooLow { short_by_m }) => format!("short by {}", units.format_height_at_most(*short_by_m)),
        Err(NoCircuit::InTheWay(_)) => "something in the way".to_owned(),
        Err(_) => "no circuit".to_owned(),
    }
}

fn refusal(why: &NoCircuit, units: UnitPrefs) -> String {
    match why {
        NoCircuit::TooLow { short_by_m } => {
            format!("{}, at least {} more", why.words(), units.format_height_at_most(*short_by_m))
        }
        NoCircuit::InTheWay(TooLow { over: InTheWay::Ground, by_m, .. }) => {
            format!("{}, by {}", why.words(), units.format_height_at_most(*by_m))
        }
        _ => why.words().to_owned(),
    }
}

/// From where the strip is in reach, height by height, in one or two sentences.
#[must_use]
pub fn headline(stops: &FanStops, units: UnitPrefs) -> String {
    let on = |step: usize| (0..HEADINGS).filter(|d| stops.state(FanCell::new(step, *d)).way.is_ok()).count();
    let at = |step: usize| units.format_height(stops.state(FanCell::new(step, 0)).height_agl_m);
    // From there upwards nothing more is to be told.
    let from_there = (0..HEIGHT_STEPS).find(|step| (*step..HEIGHT_STEPS).all(|above| on(above) == HEADINGS));
    let told = from_there.map_or(HEIGHT_STEPS, |step| step + 1);
    let rows: Vec<String> = (0..told)
        .map(|step| match on(step) {
            0 => format!("from {} on no heading", at(step)),
            HEADINGS if Some(step) == from_there => format!("from {} and higher on every heading", at(step)),
            HEADINGS => format!("from {} on every heading", at(step)),
            some => format!("from {} on {some} of {HEADINGS} headings", at(step)),
        })
        .collect();
    format!("In reach with a circuit: {}.", rows.join(", "))
}

/// What the answer rests on, in one sentence.
#[must_use]
pub fn flown_with(stops: &FanStops, units: UnitPrefs) -> String {
    let aircraft = &stops.conditions.aircraft;
    let runways: Vec<&str> = stops.landings.iter().map(|l| l.runway.as_str()).collect();
    format!(
        "{}, wind {}, {:.0}\u{a0}s of reaction; landings that pass every check but that of height: runway {}. The engine \
         stops over the middle of the strip, in the middle of each band of heights and headings.",
        aircraft.name,
        stops.assessment.wind_words(&stops.area, &units),
        aircraft.reaction_time_s,
        runways.join(" and "),
    )
}

/// What was practised, in one sentence.
#[must_use]
pub fn practice(practised: &Practised) -> String {
    let drilled = practised.records.iter().filter(|r| r.drills > 0);
    let flown: usize = practised.records.iter().map(|r| r.drills).sum();
    let stopped: usize = practised.records.iter().map(|r| r.stopped).sum();
    match drilled.count() {
        0 => "Nothing of it drilled yet.".to_owned(),
        cells => format!(
            "{cells} of {} combinations drilled; {stopped} of {flown} drills stopped in the strip that was chosen.",
            practised.records.len()
        ),
    }
}

/// Which comes next, in one sentence.
#[must_use]
pub fn next(area: &Area, set: &DrillSet, practised: &Practised, units: UnitPrefs) -> String {
    match practised.next {
        Some(next) => {
            let which = cell(area, set, next, units);
            let mut letters = which.chars();
            let first = letters.next().map_or_else(String::new, |c| c.to_lowercase().collect());
            format!("What to practise next: {first}{}.", letters.as_str())
        }
        None => "What to practise next is not over the home strip.".to_owned(),
    }
}
