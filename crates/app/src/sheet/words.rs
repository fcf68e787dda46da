//! A sheet in the reader's words and units.

use super::{Made, One};
use crate::views::list::words as said;
use sparefield_data::quantity::{UnitPrefs, format_bearing, format_day, format_quantity, format_slope};
use sparefield_geometry::fields::sheet::{
    ApproachThing, AssumptionGroup, Difference, Landing, Measure, RoseBar, Way, Which, compare,
};
use sparefield_geometry::fields::verdict::{Quantity, ReasonKind, Verdict};

/// Said with every sheet, since a sheet looks complete.
pub const REACH_NOT_COUNTED: &str =
    "Whether you can reach it is not counted here: a circuit's height is taken as being in hand.";

/// A text that starts with a capital letter.
#[must_use]
pub fn sentence_start(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// The sentence that comes first.
#[must_use]
pub fn headline(one: &One, units: UnitPrefs) -> String {
    one.sheet
        .headline()
        .map_or_else(String::new, |reason| sentence_start(&said(&reason, units, one.convergence_rad)) + ".")
}

/// The aircraft and the wind.
#[must_use]
pub fn conditions(made: &Made, one: &One, units: UnitPrefs) -> String {
    format!("{}, {}", made.ask.aircraft.name, wind(one, units))
}

/// The wind of a sheet.
#[must_use]
pub fn wind(one: &One, units: UnitPrefs) -> String {
    let speed = one.sheet.wind.speed_ms();
    match one.wind_from() {
        Some(from) => format!("wind from {} at {}", format_bearing(from), units.format_speed(speed)),
        None => "no wind".to_owned(),
    }
}

/// What the field is, in one line.
#[must_use]
pub fn about(one: &One) -> String {
    let field = &one.field;
    let looked = match field.surveyed {
        Some(day) => format!("last looked at {}", format_day(day)),
        None => "not known when it was last looked at".to_owned(),
    };
    let hectares = one.sheet.area_m2 / 10_000.0;
    format!("{} · {hectares:.1}\u{a0}ha · surface {} · {looked}", field.id, field.surface.words())
}

/// In how many wind directions the field serves.
#[must_use]
pub fn directions(one: &One, units: UnitPrefs) -> String {
    let (served, all) = (one.sheet.directions_served(), one.sheet.rose.len());
    let speed = units.format_speed(one.sheet.wind.speed_ms());
    match served {
        0 => format!("In none of {all} wind directions at {speed} does a strip here pass every check of the field."),
        n if n == all => {
            format!("Some strip here passes every check of the field whichever way {speed} of wind blows.")
        }
        n => format!("A strip here passes every check of the field in {n} of {all} wind directions at {speed}."),
    }
}

/// A direction of the rose.
#[must_use]
pub fn bar(one: &One, bar: &RoseBar, units: UnitPrefs) -> String {
    let from = format_bearing(one.true_bearing(bar.wind_from));
    let Some(landing) = &bar.landing else { return format!("Wind from {from}: no strip fits") };
    let strip = &landing.strip;
    let numbers = format!(
        "Wind from {from}: landing {}, {} usable, {} needed, {}",
        format_bearing(one.true_bearing(strip.heading)),
        units.format_length_at_least(strip.usable_length_m),
        units.format_length_at_most(strip.needed_length_m),
        in_hand(landing, units),
    );
    let air =
        format!("{}, crosswind {}", headwind(strip.headwind_ms, units), units.format_speed(strip.crosswind_ms.abs()));
    let gates: Vec<String> = landing
        .gates()
        .filter(|g| !g.template.starts_with("too short"))
        .map(|g| said(g, units, one.convergence_rad))
        .collect();
    if gates.is_empty() { format!("{numbers}; {air}") } else { format!("{numbers}; {air}; {}", gates.join("; ")) }
}

fn headwind(headwind_ms: f64, units: UnitPrefs) -> String {
    if headwind_ms < -0.05 {
        format!("tailwind {}", units.format_speed(-headwind_ms))
    } else {
        format!("headwind {}", units.format_speed(headwind_ms.max(0.0)))
    }
}

fn in_hand(landing: &Landing, units: UnitPrefs) -> String {
    let metres = landing.in_hand_m();
    if metres < 0.0 {
        format!("short by {}", units.format_length_at_most(-metres))
    } else {
        format!("{} in hand", units.format_length_at_least(metres))
    }
}

/// A way's name: its landing direction.
#[must_use]
pub fn way_name(one: &One, way: &Way) -> String {
    format!("landing {}", format_bearing(one.true_bearing(way.landing.strip.heading)))
}

/// How a way is judged, in a few words.
#[must_use]
pub fn way_verdict(way: &Way, units: UnitPrefs) -> String {
    let hand = in_hand(&way.landing, units);
    match way.landing.gates().count() {
        0 => hand,
        _ if way.landing.in_hand_m() < 0.0 => hand,
        _ => format!("{hand}, but out"),
    }
}

/// The numbers of a way, by name.
#[must_use]
pub fn figures(one: &One, way: &Way, units: UnitPrefs) -> Vec<(&'static str, String)> {
    let strip = &way.landing.strip;
    let slope = |slope: Option<f64>, error: Option<f64>| match (slope, error) {
        (Some(slope), Some(error)) => format!("{} ± {}", format_slope(slope), format_slope(error)),
        (Some(slope), None) => format_slope(slope),
        (None, _) => "not known".to_owned(),
    };
    let gradient = way.approach.run_per_height;
    vec![
        ("Landing direction", format_bearing(one.true_bearing(strip.heading))),
        ("Strip length", units.format_length(strip.length_m)),
        ("Taken by what stands before it", taken(strip.displacement_m.min(strip.length_m), units)),
        ("Usable length", units.format_length_at_least(strip.usable_length_m)),
        ("Needed length", units.format_length_at_most(strip.needed_length_m)),
        ("Usable less needed", in_hand(&way.landing, units)),
        ("Wind along", headwind(strip.headwind_ms, units)),
        ("Wind across", units.format_speed(strip.crosswind_ms.abs())),
        ("Slope along, uphill positive", slope(strip.slope, strip.slope_error)),
        ("Slope across", slope(strip.cross_slope, None)),
        (
            "Approach path",
            if gradient.is_finite() { format!("1 in {gradient:.1}") } else { "cannot be flown".to_owned() },
        ),
    ]
}

fn taken(metres: f64, units: UnitPrefs) -> String {
    if metres > 0.0 { units.format_length_at_most(metres) } else { "nothing".to_owned() }
}

/// The reasons about a way that somebody choosing needs: what bars it, holds it down, or is not known.
#[must_use]
pub fn reasons(one: &One, way: &Way, units: UnitPrefs) -> Vec<(ReasonKind, String)> {
    let list = way.landing.reasons.iter();
    list.map(|r| (r.kind, sentence_start(&said(r, units, one.convergence_rad)))).collect()
}

/// A verdict of the field by itself.
#[must_use]
pub fn verdict(way: &Way) -> &'static str {
    match way.landing.verdict {
        Verdict::Roomy => "roomy, with height in hand",
        Verdict::Workable => "workable, with height in hand",
        Verdict::LastResort => "last resort, with height in hand",
        Verdict::Out => "out",
    }
}

/// Headings of [`thing`].
pub const THING_HEADINGS: [&str; 6] =
    ["Under the approach", "Height", "Before the landing end", "Lowest path clears it by", "Aiming path by", "Takes"];

/// A thing under the approach as a row under [`THING_HEADINGS`].
#[must_use]
pub fn thing(thing: &ApproachThing, units: UnitPrefs) -> [String; 6] {
    let height = if thing.stands_m > 0.0 {
        let height = units.format_height(thing.stands_m);
        if thing.assumed { format!("{height} (assumed)") } else { height }
    } else {
        "–".to_owned()
    };
    let clears = |metres: f64| {
        if metres < -0.05 {
            format!("{} too low", units.format_height_at_most(-metres))
        } else {
            units.format_height_at_least(metres.max(0.0))
        }
    };
    let mut takes = taken(thing.displacement_m, units);
    if thing.wires_not_cleared {
        takes.push_str("; bars the approach");
    }
    [
        thing_name(thing),
        height,
        units.format_length(thing.before_m),
        clears(thing.clearance_m),
        clears(thing.aimed_clearance_m),
        takes,
    ]
}

/// What a thing is called.
#[must_use]
pub fn thing_name(thing: &ApproachThing) -> String {
    let what = sentence_start(thing.what.words());
    if thing.name.is_empty() { what } else { format!("{what}: {}", thing.name) }
}

/// What one way's approach comes to, in a sentence.
#[must_use]
pub fn approach(way: &Way, units: UnitPrefs) -> String {
    let profile = &way.approach;
    let mut text = match profile.governing.and_then(|i| profile.things.get(i)) {
        Some(governing) => format!(
            "{} moves the landing end in by {}.",
            thing_name(governing),
            units.format_length_at_most(profile.displacement_m)
        ),
        None if profile.things.is_empty() => "Nothing entered stands under the approach.".to_owned(),
        None => "Nothing entered under the approach takes length.".to_owned(),
    };
    if profile.unknown_edge {
        text.push_str(" Nobody looked at the boundary it crosses; a height was assumed.");
    }
    if profile.ground_gap {
        text.push_str(" The terrain under it has a gap.");
    }
    text
}

/// One thing taken for granted, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Assumed {
    /// What.
    pub text: String,
    /// Where it comes from.
    pub source: &'static str,
    /// Whether the best landing in this wind rests on it.
    pub decides: bool,
}

/// Everything taken for granted, group by group.
#[must_use]
pub fn assumptions(one: &One, units: UnitPrefs) -> Vec<(String, Vec<Assumed>)> {
    AssumptionGroup::ALL
        .into_iter()
        .filter_map(|group| {
            let of_group: Vec<Assumed> = one
                .sheet
                .assumptions
                .iter()
                .filter(|a| a.group == group)
                .map(|a| Assumed {
                    text: sentence_start(&said(&a.said, units, one.convergence_rad)),
                    source: a.source,
                    decides: a.decides,
                })
                .collect();
            (!of_group.is_empty()).then(|| (sentence_start(group.words()), of_group))
        })
        .collect()
}

/// How one measure of two fields differs, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Differs {
    /// What is compared.
    pub what: String,
    /// The first field's value.
    pub first: String,
    /// The second field's value.
    pub second: String,
    /// The difference in a sentence.
    pub said: String,
    /// Which is ahead.
    pub ahead: Option<Which>,
}

/// How two fields differ.
#[must_use]
pub fn differences(first: &One, second: &One, units: UnitPrefs) -> Vec<Differs> {
    let value = |measure: Measure, q: Option<Quantity>| match (measure, q) {
        (_, None) => "not known".to_owned(),
        (Measure::Taken, Some(Quantity::LengthAtMost(metres))) => taken(metres, units),
        (_, Some(q)) => format_quantity(q, &units),
    };
    compare(&first.sheet, &second.sheet)
        .iter()
        .map(|d: &Difference| Differs {
            what: sentence_start(d.measure.words()),
            first: value(d.measure, d.first),
            second: value(d.measure, d.second),
            said: sentence_start(&said(&d.said(first.field.label(), second.field.label()), units, 0.0)),
            ahead: d.ahead,
        })
        .collect()
}
