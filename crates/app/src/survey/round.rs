//! A check round: a walk or flight from home past fields and back, with what to look at on each.

use super::look_at::{LookAt, hazards_of, look_at};
use sparefield_data::area::Area;
use sparefield_data::quantity::{UnitPrefs, format_bearing};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::survey::SurveyStanding;
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::round::round_through;

/// Most fields in one round: more is no round, and would be slow to put in order.
pub const MOST_STOPS: usize = 300;

/// One field of a round.
#[derive(Clone, Debug, PartialEq)]
pub struct Stop {
    /// The field's identifier.
    pub id: String,
    /// Its name for people.
    pub label: String,
    /// Its middle.
    pub at: Xy,
    /// Its outline, for the overview.
    pub outer: Vec<Xy>,
    /// Its size, m².
    pub area_m2: f64,
    /// Distance from the stop before, or from the start, metres.
    pub leg_m: f64,
    /// Direction from there, from true north; `None` where both are one place.
    pub bearing: Option<Bearing>,
    /// The day it was last looked at.
    pub surveyed: Option<Day>,
    /// What is known of it today.
    pub standing: SurveyStanding,
    /// What to look at.
    pub look_at: Vec<LookAt>,
    /// What people wrote about what is in the way.
    pub hazards: String,
    /// What people wrote about getting there and out again.
    pub access: String,
    /// What the owner said.
    pub permission: String,
}

/// A round.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckRound {
    /// The area's title.
    pub area: String,
    /// Whether the area is the invented sample.
    pub is_sample: bool,
    /// The day it was made for.
    pub day: Day,
    /// Where it starts and ends.
    pub start: Xy,
    /// What that is, in words.
    pub start_words: String,
    /// The fields in the order of visits.
    pub stops: Vec<Stop>,
    /// The whole round in straight lines, metres.
    pub length_m: f64,
    /// From the last field back to the start, metres.
    pub back_m: f64,
    /// Fields left out because the round would have more than [`MOST_STOPS`]; those farthest from the start.
    pub left_out: usize,
    /// Units for people.
    pub units: UnitPrefs,
}

/// A round from the home strip, or else from the middle of the area, past fields given by index.
#[must_use]
pub fn check_round(area: &Area, fields: &[usize], today: Day, units: UnitPrefs) -> CheckRound {
    let (start, start_words) = match &area.home {
        Some(home) => (home.position, format!("the home strip ({})", home.name)),
        None => (area.centre(), "the middle of the area".to_owned()),
    };
    let mut near: Vec<(f64, usize)> =
        fields.iter().filter_map(|&i| Some((area.fields.get(i)?.centroid().distance(start), i))).collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let left_out = near.len().saturating_sub(MOST_STOPS);
    near.truncate(MOST_STOPS);
    let places: Vec<Xy> = near.iter().map(|&(_, i)| area.fields[i].centroid()).collect();
    let round = round_through(start, &places);
    let hazards = hazards_of(area);
    let mut at = start;
    let stops: Vec<Stop> = round
        .order
        .iter()
        .map(|&k| {
            let field = &area.fields[near[k].1];
            let standing = SurveyStanding::of(field, Some(today));
            let leg = places[k] - at;
            let bearing = leg.bearing().map(|b| area.to_true(b, at));
            at = places[k];
            Stop {
                id: field.id.clone(),
                label: field.label().to_owned(),
                at,
                outer: field.outer.clone(),
                area_m2: field.area_m2(),
                leg_m: leg.norm(),
                bearing,
                surveyed: field.surveyed,
                look_at: look_at(field, &standing, &hazards, units),
                standing,
                hazards: field.remarks.hazards.clone(),
                access: field.remarks.access.clone(),
                permission: field.remarks.permission.clone(),
            }
        })
        .collect();
    CheckRound {
        area: area.title.clone(),
        is_sample: area.is_sample,
        day: today,
        start,
        start_words,
        stops,
        length_m: round.length_m,
        back_m: at.distance(start),
        left_out,
        units,
    }
}

impl CheckRound {
    /// The way to a stop, by its place in the order.
    #[must_use]
    pub fn leg_words(&self, stop: usize) -> String {
        let Some(to) = self.stops.get(stop) else { return String::new() };
        let way = to.bearing.map_or_else(String::new, |b| format!(" on {}", format_bearing(b)));
        let from = if stop == 0 { "the start" } else { "the one before" };
        format!("{}{way} from {from}", self.units.format_length(to.leg_m))
    }
    /// How long the round is, and past how many fields, in one sentence.
    #[must_use]
    pub fn summary(&self) -> String {
        let fields = if self.stops.len() == 1 { "1 field".to_owned() } else { format!("{} fields", self.stops.len()) };
        let left_out = match self.left_out {
            0 => String::new(),
            n => format!(" The {n} farthest are left out: a round has {MOST_STOPS} at most."),
        };
        format!(
            "{fields}, {} in straight lines from {} and back.{left_out}",
            self.units.format_length(self.length_m),
            self.start_words
        )
    }
}
