//! What the options map says, in words.

use crate::model::{CoverShade, Model, RouteMade};
use crate::options_map::{RoutePoint, Stretch};
use sparefield_data::quantity::{UnitPrefs, format_day};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Xy;

/// Square metres of a square kilometre.
const KM2: f64 = 1_000_000.0;

/// So many fields.
pub(super) fn fields(count: usize) -> &'static str {
    match count {
        1 => "a field",
        2 => "two fields",
        _ => "three fields",
    }
}

/// What keeps fields in reach at a place, and which comes first; `None` while there is no options map.
pub(in crate::views) fn at_place(model: &Model, p: Xy) -> Option<(String, Option<String>)> {
    let made = model.cover.made.as_ref().filter(|_| model.shows_cover())?;
    let keep = if made.many.is_some() { "keeps, in nine winds of ten," } else { "keeps" };
    let count = fields(made.ask.fields_needed);
    let (enough, first) = made.enough_at(p);
    let words = match enough {
        Some(height) => format!(
            "{} above the ground {keep} {count} in reach here",
            model.settings.units.format_height_at_most(height)
        ),
        None => format!("no height looked at {keep} {count} in reach here"),
    };
    let first = first.filter(|_| enough.is_some()).and_then(|i| made.map.area.fields.get(i));
    Some((words, first.map(|field| format!("first: {}", field.label()))))
}

/// How much is covered from the height that the picture is of.
pub(super) fn share(model: &Model, shade: &CoverShade) -> String {
    let made = &shade.of;
    // Rounded down: cover is not to be flattered.
    let percent = (shade.share * 100.0).floor();
    let winds = if made.many.is_some() { " in nine winds of ten" } else { "" };
    format!(
        "From {} above the ground, {percent:.0}\u{a0}% of the area has {} in reach{winds}.",
        model.settings.units.format_height(shade.height_agl_m),
        fields(made.ask.fields_needed),
    )
}

/// An area of ground, rounded down.
pub(super) fn ground(m2: f64) -> String {
    if m2 < KM2 {
        format!("{:.0}\u{a0}ha", (m2 / 10_000.0).floor())
    } else {
        format!("{:.1}\u{a0}km²", (m2 / KM2 * 10.0).floor() / 10.0)
    }
}

/// When a field was last looked at.
pub(super) fn looked_at(day: Option<Day>) -> String {
    day.map_or_else(|| "never looked at".to_owned(), |day| format!("last looked at {}", format_day(day)))
}

/// The whole route in one or two sentences.
pub(super) fn route(made: &RouteMade, units: UnitPrefs, fields_needed: usize) -> String {
    let count = fields(fields_needed);
    let route = &made.route;
    let uncovered = route.uncovered_m();
    let length = units.format_length(route.length_m);
    let mut out = if uncovered > 0.0 {
        let seconds: f64 = route.stretches.iter().filter(|s| !s.covered).map(|s| s.seconds).sum();
        format!(
            "Route of {length}: {}{} without {count} in reach.",
            units.format_length_at_most(uncovered),
            clock(seconds).map_or_else(String::new, |c| format!(", {c},")),
        )
    } else {
        let least = route.worst().and_then(RoutePoint::spare_m);
        let spare =
            least.map_or_else(String::new, |s| format!(", at least {} in hand", units.format_height_at_least(s)));
        format!("Route of {length}: {count} in reach all along{spare}.")
    };
    if let Some(found) = &made.found {
        let longer = units.format_length_at_most(found.detour_m());
        out.extend([" Found round ground without cover, ", &longer, " longer than straight lines."]);
    }
    out
}

/// One stretch without cover.
pub(super) fn stretch(made: &RouteMade, stretch: &Stretch, units: UnitPrefs) -> String {
    let long = units.format_length_at_most(stretch.to_m - stretch.from_m);
    let seconds = clock(stretch.seconds).map_or_else(String::new, |c| format!(", {c}"));
    let worst = made.route.points.get(stretch.worst);
    let at = worst.map_or_else(String::new, |p| {
        let low = p.spare_m().map(|s| format!("{} too low", units.format_height_at_most(-s)));
        format!("; worst at {}{}", units.format_length(p.along_m), low.map_or_else(String::new, |l| format!(", {l}")))
    });
    let fix = match stretch.covering_amsl_m {
        Some(height) => format!("{} above sea level covers it", units.format_height_at_most(height)),
        None => "no height looked at covers it: fly round it".to_owned(),
    };
    let from = if stretch.from_m < 1.0 { "the start".to_owned() } else { units.format_length(stretch.from_m) };
    format!("{long}{seconds} from {from} on{at}; {fix}")
}

/// What is known of a place of the route.
pub(super) fn moment(model: &Model, point: &RoutePoint) -> String {
    let units = model.settings.units;
    let mut parts = vec![format!("{} from the start", units.format_length(point.along_m))];
    if let (Some(height), Some(ground)) = (point.height_amsl_m, point.ground_amsl_m) {
        parts.push(format!(
            "{} above sea, {} above the ground",
            units.format_height(height),
            units.format_height(height - ground)
        ));
    }
    parts.push(match point.spare_m() {
        Some(spare) if spare >= 0.0 => format!("{} in hand", units.format_height_at_least(spare)),
        Some(spare) => format!("{} too low", units.format_height_at_most(-spare)),
        None => "not covered from any height looked at".to_owned(),
    });
    let field = point.field.and_then(|i| model.area.as_ref()?.fields.get(i).cloned());
    if let Some(field) = field {
        parts.push(format!("first: {}", field.label()));
    }
    parts.join(" · ")
}

/// Seconds for people; `None` where it takes for ever against the wind.
fn clock(seconds: f64) -> Option<String> {
    seconds.is_finite().then(|| format!("about {:.0}\u{a0}s", seconds.ceil()))
}
