//! A debrief as a page to print, for the logbook and the instructor.

use super::practise::{Remark, practise};
use super::{Debriefed, Sortie, pictures, words};
use crate::print::{Block, Cell, Document, Run};
use crate::sheet::relief::Relief;
use egui::vec2;
use sparefield_data::quantity::{UnitPrefs, format_day};

/// One sortie with what it is called.
#[derive(Clone, Debug)]
pub struct Named<'a> {
    /// Name for people.
    pub name: String,
    /// The day and time it began, where known.
    pub began: Option<String>,
    /// The sortie.
    pub sortie: &'a Sortie,
    /// From where heights count, and why.
    pub heights: String,
}

/// The page.
#[must_use]
pub fn page(sorties: &[Named<'_>], units: UnitPrefs) -> Document {
    let title = if let [one] = sorties { format!("Debrief: {}", one.name) } else { "Debrief".to_owned() };
    let mut out = Document::new(&title);
    out.push(Block::Title(title));
    // Sorties of one report were flown over one area.
    let ground = sorties.first().and_then(|named| Relief::new(&named.sortie.ask.area.terrain));
    for named in sorties {
        sortie(&mut out, named, sorties.len() > 1, units, ground.as_ref());
    }
    let all: Vec<&Sortie> = sorties.iter().map(|n| n.sortie).collect();
    let found = practise(&all, units);
    remarks(&mut out, "What went well", &found.well);
    remarks(&mut out, "What to practise next", &found.next);
    if all.iter().map(|s| s.exercises.len()).sum::<usize>() > 1 {
        out.push(Block::Heading("Exercises over one another".into()));
        let caption = "Aligned by their strips, landing upwards: is the base leg constant?";
        out.push(Block::Figure(pictures::aligned(&all, vec2(480.0, 420.0), units), caption.into()));
    }
    out.push(Block::Heading("What this rests on".into()));
    let mut said: Vec<String> = Vec::new();
    for caution in sorties.iter().flat_map(|named| words::cautions(named.sortie)) {
        if !said.contains(&caution) {
            said.push(caution);
        }
    }
    out.push(Block::list(said));
    let today = sorties.first().map_or_else(String::new, |n| format_day(n.sortie.ask.today));
    out.push(Block::soft(format!("Sparefield {}, surveys judged for {today}.", env!("CARGO_PKG_VERSION"))));
    out
}

fn remarks(out: &mut Document, heading: &str, list: &[Remark]) {
    if list.is_empty() {
        return;
    }
    out.push(Block::Heading(heading.to_owned()));
    let points = list.iter().map(|r| vec![Run::plain(&r.said), Run::soft(format!("(rule: {})", r.rule))]);
    out.push(Block::List(points.collect()));
}

fn sortie(out: &mut Document, named: &Named<'_>, several: bool, units: UnitPrefs, ground: Option<&Relief>) {
    let s = named.sortie;
    if several {
        out.push(Block::Heading(named.name.clone()));
    }
    let began = named.began.as_deref().map_or_else(String::new, |b| format!("{b}, "));
    let (aircraft, area, long) = (&s.ask.aircraft.name, &s.ask.area.title, words::clock(s.seconds()));
    out.push(Block::soft(format!("{began}{aircraft}, {area}; {} fixes over {long}.", s.fixes)));
    out.push(Block::text(format!("Wind {}.", words::wind(s, units))));
    out.push(Block::soft(&named.heights));
    out.push(Block::text(words::cover(s, units)));
    for low in &s.low {
        let all = &s.flight.samples.all;
        out.push(Block::caution(format!(
            "Low flying: down to {} above the ground from {} to {} (your rule: {}).",
            units.format_height(low.lowest_m),
            words::clock(all[low.first].time_s),
            words::clock(all[low.last].time_s),
            units.format_height(s.ask.low_flying_m)
        )));
    }
    let range = 0..s.flight.samples.all.len();
    let caption = "From above; heavy: no field in reach with height for a circuit";
    out.push(Block::Figure(pictures::overview(s, vec2(700.0, 430.0), units, ground), caption.into()));
    let profile = pictures::profile(s, &range, &pictures::shades(s), vec2(700.0, 190.0), units);
    out.push(Block::Figure(profile, "Height above sea level and the ground along time".into()));
    if s.exercises.is_empty() {
        out.push(Block::first("No practice failure was recognised."));
        return;
    }
    out.push(Block::Heading("Exercises".into()));
    let head = ["", "at", "height", "field", "base leg", "on final", "changes", "how it came out"];
    let none = || "–".to_owned();
    let rows = s.exercises.iter().enumerate().map(|(i, one)| {
        let m = &one.measures;
        let height = |h: Option<f64>| Cell::from(h.map_or_else(none, |h| units.format_height(h)));
        vec![
            (i + 1).to_string().into(),
            words::clock(one.exercise.start_s).into(),
            height(m.height_agl_m),
            m.landing.map_or("–", |c| s.field_name(c)).into(),
            m.base_leg_distance_m.map_or_else(none, |d| units.format_length(d)).into(),
            height(m.on_final_m),
            m.aims.len().saturating_sub(1).to_string().into(),
            words::outcome(one, units).into(),
        ]
    });
    out.push(Block::Table { head: head.map(str::to_owned).to_vec(), rows: rows.collect() });
    for (i, one) in s.exercises.iter().enumerate() {
        exercise(out, s, (i, one), units, ground);
    }
}

fn exercise(out: &mut Document, s: &Sortie, (i, one): (usize, &Debriefed), units: UnitPrefs, ground: Option<&Relief>) {
    let m = &one.measures;
    out.push(Block::Heading(format!("{}. {}", i + 1, words::headline(s, one, units))));
    out.push(Block::first(words::outcome(one, units)));
    out.push(Block::text(words::hindsight(s, one)));
    out.push(Block::soft(format!(
        "{} to {}, {} as a practice failure.",
        words::clock(one.exercise.start_s),
        words::clock(one.exercise.end_s),
        words::sure(one.exercise.confidence),
    )));
    let shown = m.samples.start.saturating_sub(10)..(m.samples.end + 10).min(s.flight.samples.all.len());
    let flown = pictures::exercise(s, one, vec2(360.0, 360.0), units, ground);
    let caption = "As flown; broken: a circuit the program would have flown";
    let figures = words::figures(s, one, units).into_iter().map(|(name, value)| vec![name.into(), value.into()]);
    let figures = Block::Table { head: Vec::new(), rows: figures.collect() };
    out.push(Block::Beside(vec![(95.0, vec![Block::Figure(flown, caption.into())]), (91.0, vec![figures])]));
    let profile = pictures::profile(s, &shown, &[(m.samples.clone(), String::new())], vec2(700.0, 150.0), units);
    out.push(Block::Figure(profile, String::new()));
    let mut list = |heading: &str, points: Vec<String>| {
        if !points.is_empty() {
            out.push(Block::Heading(heading.to_owned()));
            out.push(Block::list(points));
        }
    };
    list("Changes of mind", words::changes(s, one, units));
    list("Passed low", m.passed_low.iter().map(|low| words::passed_low(s, low, units)).collect());
    let turns = words::turns(s, one, units);
    if !turns.is_empty() {
        out.push(Block::Heading("Turns".into()));
        let rows = turns.into_iter().map(|turn| turn.into_iter().map(Cell::from).collect());
        out.push(Block::Table { head: words::TURN_HEADINGS.map(str::to_owned).to_vec(), rows: rows.collect() });
    }
}
