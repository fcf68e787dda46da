//! Fan stops at the home strip as a page to print.

use super::picture::{FanLook, LEGEND, rose};
use super::{FanStops, Practised, words};
use crate::not_looked_at;
use crate::print::{Block, Cell, Document};
use sparefield_data::quantity::{UnitPrefs, format_day};
use sparefield_geometry::drill::{FanCell, HEADINGS, HEIGHT_STEPS};

/// Side of the rose, points.
const ROSE: f32 = 400.0;

/// The page; with what `pilot` practised, where anybody is named.
#[must_use]
pub fn page(stops: &FanStops, pilot: Option<(&str, &Practised)>, units: UnitPrefs) -> Document {
    let (area, set) = (&stops.area, &stops.set);
    let title = words::title(area);
    let mut out = Document::new(&title);
    out.push(Block::Title(title));
    out.push(Block::first(words::headline(stops, units)));
    out.push(Block::soft(words::flown_with(stops, units)));
    let practised = pilot.map(|(_, practised)| practised);
    if let Some((pilot, practised)) = pilot {
        let said = format!("{pilot}: {} {}", words::practice(practised), words::next(area, set, practised, units));
        out.push(Block::text(said));
    }
    let look = FanLook { area, side: ROSE, stops: Some(stops), practised, looked: None };
    let what = format!("Of the drill set “{}”", set.name);
    out.push(Block::Together(vec![Block::Figure(rose(&look), what), Block::list(LEGEND)]));
    out.push(Block::Heading("What would come of it, by heading and height above the ground".into()));
    out.push(table(stops, units, &|cell| words::state_short(stops, stops.state(cell), units)));
    if let Some((pilot, practised)) = pilot {
        out.push(Block::Heading(format!("What {pilot} drilled")));
        out.push(table(stops, units, &|cell| words::record_short(&practised.records[cell.index()])));
    }
    out.push(Block::Heading("Not looked at, and always to be said".into()));
    out.push(Block::list(not_looked_at::fan_stop_cautions(area)));
    let day = format_day(stops.conditions.today);
    out.push(Block::soft(format!("Sparefield {}, surveys judged for {day}.", env!("CARGO_PKG_VERSION"))));
    out
}

/// A row for each heading, a column for each height.
fn table(stops: &FanStops, units: UnitPrefs, say: &dyn Fn(FanCell) -> String) -> Block {
    let heights = (0..HEIGHT_STEPS).map(|step| words::heights(&stops.set, step, units));
    let rows = (0..HEADINGS).map(|direction| {
        let cells = (0..HEIGHT_STEPS).map(|step| Cell::from(say(FanCell::new(step, direction))));
        std::iter::once(Cell::from(words::heading(&stops.area, direction))).chain(cells).collect()
    });
    Block::Table { head: std::iter::once("Heading".to_owned()).chain(heights).collect(), rows: rows.collect() }
}
