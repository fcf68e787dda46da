//! A climb-out as a page to print.

use super::{Answer, words};
use crate::not_looked_at;
use crate::print::{Block, Cell, Document, Run};
use crate::sheet::above::Placing;
use crate::sheet::picture::{Ink, Picture};
use crate::sheet::plan::{north, scale_bar};
use crate::sheet::relief::Relief;
use egui::{Align2, Pos2, Vec2, vec2};
use sparefield_data::quantity::{UnitPrefs, format_day};
use sparefield_geometry::climb_out::ADVICE;
use sparefield_geometry::position::Xy;

/// Size of the plan, points.
const PLAN: Vec2 = vec2(700.0, 400.0);
/// Room round what it shows, points.
const ROOM: f32 = 36.0;

/// The page.
#[must_use]
pub fn page(answer: &Answer, units: UnitPrefs) -> Document {
    let title = words::title(answer);
    let mut out = Document::new(&title);
    out.push(Block::Title(title));
    let wind = answer.assessment.wind_words(&answer.area, &units);
    out.push(Block::soft(format!("{}, wind {wind}.", answer.conditions.aircraft.name)));
    out.push(Block::first(words::headline(answer, units)));
    out.push(Block::soft(words::flown_with(answer)));
    out.push(Block::Figure(
        plan(answer, units),
        "Each field with the height above the runway from which it stays in reach".into(),
    ));
    out.push(Block::Heading("Before every take-off".into()));
    let advice = ADVICE.iter().map(|a| vec![Run::plain(a.words), Run::soft(format!("({})", a.source))]);
    out.push(Block::List(advice.collect()));
    out.push(Block::Heading("Height by height".into()));
    let rows = answer.flown.steps.iter().map(|step| words::row(answer, step, units).map(Cell::from).into());
    out.push(Block::Table { head: words::HEADINGS.map(str::to_owned).to_vec(), rows: rows.collect() });
    out.push(Block::Heading("Not looked at, and always to be said".into()));
    out.push(Block::list(not_looked_at::climb_out_cautions(answer)));
    let day = format_day(answer.conditions.today);
    out.push(Block::soft(format!("Sparefield {}, surveys judged for {day}.", env!("CARGO_PKG_VERSION"))));
    out
}

/// The runway, the climb-out and the fields from above, north upwards.
fn plan(answer: &Answer, units: UnitPrefs) -> Picture {
    let mut p = Picture::new(PLAN, "The climb-out and the fields it reaches from above, north upwards");
    let runway = &answer.runway;
    let along = runway.heading.unit();
    let begins = runway.departure_end - along * runway.length_m;
    let reached = answer.reached_from();
    let outline = |index: usize| &answer.area.fields[answer.fields[index].index].outer;
    let steps = answer.flown.steps.iter().map(|s| s.position);
    let shown = reached.iter().flat_map(|(i, _)| outline(*i).iter().copied());
    let Some(placing) = Placing::around(shown.chain(steps).chain([begins, runway.departure_end]), PLAN, ROOM) else {
        return p;
    };
    if let Some(ground) = Relief::new(&answer.area.terrain) {
        ground.under(&mut p, &placing);
    }
    let place = |q: Xy| placing.at(q);
    let mut taken: Vec<Pos2> = Vec::new();
    let mut free = |at: Pos2| {
        let clear = taken.iter().all(|t| (t.x - at.x).abs() > 52.0 || (t.y - at.y).abs() > 15.0);
        if clear {
            taken.push(at);
        }
        clear
    };
    for (index, _) in &reached {
        let points: Vec<Pos2> = outline(*index).iter().map(|q| place(*q)).collect();
        p.outline(&points, Ink::Accent, 1.4);
    }
    let last = answer.flown.steps.last().map_or(runway.departure_end, |s| s.position);
    p.dashed([place(runway.departure_end), place(last)], Ink::Ink, 1.2, (6.0, 4.0));
    p.line([place(begins), place(runway.departure_end)], Ink::Ink, 5.0);
    for step in &answer.flown.steps {
        let at = place(step.position);
        p.dot(at, 2.5, Ink::Ink);
        let words = at + vec2(0.0, -14.0);
        if free(words) {
            p.text(words, Align2::CENTER_CENTER, units.format_height(step.height_m), Ink::Soft);
        }
    }
    for (index, height_m) in &reached {
        let at = place(answer.area.fields[answer.fields[*index].index].centroid());
        if free(at) {
            p.bold(at, Align2::CENTER_CENTER, format!("from {}", units.format_height_at_most(*height_m)), Ink::Accent);
        }
    }
    north(&mut p, PLAN);
    scale_bar(&mut p, PLAN, placing.scale, units);
    p
}
