//! A check round as a page to print: an overview, then one block for each field with boxes to tick and room to write.

use super::round::{CheckRound, Stop};
use crate::print::{Block, Document, Run};
use crate::sheet::above::Placing;
use crate::sheet::picture::{Ink, Picture};
use crate::sheet::plan::{north, scale_bar};
use egui::{Align2, Pos2, Vec2, vec2};
use sparefield_data::area::Area;
use sparefield_data::quantity::format_day;
use sparefield_geometry::fields::model::{HazardKind, HazardShape, Surface};
use sparefield_geometry::position::Xy;

/// Size of the overview on the page, points.
const OVERVIEW: Vec2 = Vec2::new(700.0, 430.0);
/// Size of a field's sketch on the page, points, and the room round it.
const SKETCH: Vec2 = Vec2::new(180.0, 150.0);
const SKETCH_ROOM: f32 = 22.0;
/// Room round what the overview shows, points.
const ROOM: f32 = 40.0;

/// The page. `area` gives the overview's background: wires and water.
#[must_use]
pub fn page(round: &CheckRound, area: &Area) -> Document {
    let title = format!("Check round, {}", format_day(round.day));
    let mut out = Document { large: true, ..Document::new(&title) };
    out.push(Block::Title(title));
    out.push(Block::text(&round.area));
    out.push(Block::text(round.summary()));
    if round.is_sample {
        out.push(Block::soft("The sample area is invented and shows no real place."));
    }
    out.push(Block::soft(
        "Ask the owner before you walk on a field. From the air: keep clear of people, houses and animals, and let \
         somebody else write.",
    ));
    if !round.stops.is_empty() {
        let caption = "Where fields lie close together some numbers are left away.";
        out.push(Block::Figure(overview(round, area), caption.into()));
    }
    for (i, stop) in round.stops.iter().enumerate() {
        out.push(Block::Together(field(i + 1, stop, round)));
    }
    let back = round.units.format_length(round.back_m);
    out.push(Block::soft(format!("Back to the start: {back}. Sparefield {}.", env!("CARGO_PKG_VERSION"))));
    out
}

fn field(number: usize, stop: &Stop, round: &CheckRound) -> Vec<Block> {
    let looked =
        stop.surveyed.map_or_else(|| "never looked at".to_owned(), |d| format!("last looked at {}", format_day(d)));
    let mut out = vec![
        Block::Heading(format!("{number}. {}", stop.label)),
        Block::soft(format!("{} · {:.1} ha · {looked} · {}", stop.id, stop.area_m2 / 1e4, round.leg_words(number - 1))),
    ];
    for (what, text) in [("In the way", &stop.hazards), ("Getting out", &stop.access), ("The owner", &stop.permission)]
    {
        if !text.is_empty() {
            out.push(Block::text(format!("{what}: {text}")));
        }
    }
    let mut ticks: Vec<Vec<Run>> =
        stop.look_at.iter().map(|look| vec![Run::bold(look.what), Run::plain(&look.why)]).collect();
    ticks.push(vec![Run::bold("Anything else"), Run::plain("that has changed: new wires, ditches, fences, bales")]);
    let sketch = Block::Figure(sketch(stop), String::new());
    out.push(Block::Beside(vec![(46.0, vec![sketch]), (136.0, vec![Block::Ticks(ticks)])]));
    let known = Surface::ALL.into_iter().filter(|s| *s != Surface::Unknown);
    out.push(Block::Choices(known.map(|surface| surface.words().to_owned()).collect()));
    out.push(Block::Lines(2));
    out
}

/// One field from above, north upwards, with the numbers of its sides.
fn sketch(stop: &Stop) -> Picture {
    let words = format!("{} from above with the numbers of its sides, north upwards", stop.label);
    let mut p = Picture::new(SKETCH, words);
    let Some(place) = Placing::around(stop.outer.iter().copied(), SKETCH, SKETCH_ROOM) else { return p };
    let points: Vec<Pos2> = stop.outer.iter().map(|q| place.at(*q)).collect();
    p.outline(&points, Ink::Ink, 1.5);
    let middle = place.at(stop.at);
    let mut taken: Vec<Pos2> = Vec::new();
    for (i, &a) in points.iter().enumerate() {
        let along = points[(i + 1) % points.len()] - a;
        let half = a + along / 2.0;
        let out = if along.length() > 0.0 { along.rot90() / along.length() } else { Vec2::ZERO };
        let out = if (half + out - middle).length() < (half - middle).length() { -out } else { out };
        let at = half + out * 9.0;
        if taken.iter().all(|t| (at - *t).length() > 12.0) {
            p.text(at, Align2::CENTER_CENTER, (i + 1).to_string(), Ink::Ink);
            taken.push(at);
        }
    }
    p
}

/// The round from above, north upwards.
fn overview(round: &CheckRound, area: &Area) -> Picture {
    let mut p = Picture::new(OVERVIEW, "The round from above with its fields in order, north upwards");
    let shown = round.stops.iter().flat_map(|s| s.outer.iter().copied()).chain([round.start]);
    let Some(placing) = Placing::around(shown, OVERVIEW, ROOM) else { return p };
    let place = |q: Xy| placing.at(q);
    background(&mut p, area, &place);
    for stop in &round.stops {
        let points: Vec<Pos2> = stop.outer.iter().map(|q| place(*q)).collect();
        p.outline(&points, Ink::Soft, 1.5);
    }
    let home = place(round.start);
    let mut way = vec![home];
    way.extend(round.stops.iter().map(|s| place(s.at)));
    way.push(home);
    p.dashed(way, Ink::Ink, 1.5, (6.0, 4.0));
    p.dot(home, 6.0, Ink::Ink);
    p.bold(home + vec2(9.0, 0.0), Align2::LEFT_CENTER, "start", Ink::Ink);
    // A number that would cover another is left away; the legs show where it goes on.
    let mut taken = vec![home];
    for (i, stop) in round.stops.iter().enumerate() {
        let at = place(stop.at);
        if taken.iter().all(|t| (at.x - t.x).abs() > 20.0 || (at.y - t.y).abs() > 13.0) {
            p.bold(at, Align2::CENTER_CENTER, (i + 1).to_string(), Ink::Ink);
            taken.push(at);
        } else {
            p.dot(at, 2.5, Ink::Ink);
        }
    }
    north(&mut p, OVERVIEW);
    scale_bar(&mut p, OVERVIEW, placing.scale, round.units);
    p
}

/// Wires and water, to find one's way by.
fn background(p: &mut Picture, area: &Area, place: &dyn Fn(Xy) -> Pos2) {
    let inside = |q: Pos2| (0.0..=OVERVIEW.x).contains(&q.x) && (0.0..=OVERVIEW.y).contains(&q.y);
    for hazard in area.hazards.iter() {
        let (line, ink) = match (&hazard.shape, hazard.kind) {
            (HazardShape::Line(line), HazardKind::Wires) => (line.clone(), Ink::Wires),
            (HazardShape::Area { outer, .. }, HazardKind::Water) => {
                (outer.iter().chain(outer.first()).copied().collect(), Ink::Water)
            }
            _ => continue,
        };
        // Legs with both ends outside are left away: this is an overview, not a map.
        let points: Vec<Pos2> = line.iter().map(|q| place(*q)).collect();
        for leg in points.windows(2).filter(|leg| inside(leg[0]) && inside(leg[1])) {
            p.line(leg, ink, 1.0);
        }
    }
}
