//! The card as pages to print.

use super::map::Maps;
use super::{AreaCard, Row};
use crate::assess::{STANDING_CAUTIONS, heights_caution, wind_words};
use crate::climb_out::words as climb_words;
use crate::not_looked_at;
use crate::print::{Block, Cell, Document, Format, Run};
use crate::sheet::words::REACH_NOT_COUNTED;
use crate::theme::Palette;
use crate::views::list::words as reason_words;
use sparefield_data::area::Area;
use sparefield_data::quantity::{UnitPrefs, format_bearing, format_day};
use sparefield_geometry::climb_out::ADVICE;
use sparefield_geometry::fields::model::Stock;
use sparefield_geometry::fields::verdict::{ReasonKind, Verdict};
use sparefield_geometry::position::Bearing;

/// Columns of the table of fields.
const HEADINGS: [&str; 8] = ["", "Field", "Today", "Land", "Usable", "Needed", "Surface, looked at", "In the way"];

/// Width of the map of a format, points: letters stay as large on a small sheet, and the map has fewer of its own points.
fn width(format: Format) -> f32 {
    match format {
        Format::A4 => 700.0,
        Format::A5 => 560.0,
    }
}

/// The pages, with maps for sheets of a format.
#[must_use]
pub fn page(card: &AreaCard, units: UnitPrefs, palette: &Palette, format: Format) -> Document {
    let (area, conditions) = (card.area(), &card.options.conditions);
    let title = format!("Area card: {}", area.title);
    let mut out = Document::new(&title);
    out.push(Block::Title(title));
    let wind = wind_words(area, &card.options.wind, area.centre(), units);
    let day = format_day(conditions.today);
    out.push(Block::text(format!("{}, wind {wind}, {day}.", conditions.aircraft.name)));
    let maps = Maps::new(card, units, palette);
    let wide = width(format);
    out.push(Block::Figure(maps.whole(wide), legend(card)));
    let close = maps.close_ups(wide * 0.49);
    if !close.is_empty() {
        out.push(Block::NewSheet);
        out.push(Block::Heading("From nearer".into()));
    }
    for pair in close.chunks(2) {
        let columns = pair.iter().map(|picture| (1.0, vec![Block::Figure(picture.clone(), String::new())]));
        // An odd one stays as wide as the others.
        let rest = (pair.len()..2).map(|_| (1.0, Vec::new()));
        out.push(Block::Beside(columns.chain(rest).collect()));
    }
    out.push(Block::Heading("Options".into()));
    for pair in card.heights_agl_m.chunks(2) {
        let columns = pair.iter().map(|height| {
            let (picture, share) = maps.covered(wide * 0.49, *height);
            (1.0, vec![Block::Figure(picture, covered_words(*height, share, units))])
        });
        out.push(Block::Beside(columns.collect()));
    }
    out.push(Block::soft("Striped: no field is in reach with height for its circuit, gliding already, in this wind."));
    out.push(Block::Heading("Fields".into()));
    out.push(Block::soft(
        "Land: the direction of today, then the other way along the strip. Usable length is rounded down, needed length \
         up. A date is the day the field was last looked at.",
    ));
    let rows = card.rows.iter().map(|row| line(card, row, units));
    out.push(Block::Table { head: HEADINGS.map(str::to_owned).to_vec(), rows: rows.collect() });
    climb_outs(&mut out, card, units);
    cautions(&mut out, card);
    basis(&mut out, card, units);
    out
}

fn legend(card: &AreaCard) -> String {
    let count = |verdict: Verdict| card.rows.iter().filter(|r| r.judged.verdict == verdict).count();
    format!(
        "Numbers as in the table. In this wind {} fields are roomy (heavy outline), {} workable (middle), {} last resort \
         (broken), {} out (thin outline, thin number). Arrows: landing direction of today. Black lines with dots: wires; \
         dotted outlines: quiet zones; heavy bar: home strip. Contours in heights above sea level.",
        count(Verdict::Roomy),
        count(Verdict::Workable),
        count(Verdict::LastResort),
        count(Verdict::Out)
    )
}

fn covered_words(height_agl_m: f64, share: Option<f64>, units: UnitPrefs) -> String {
    let height = units.format_height(height_agl_m);
    match share {
        // Rounded down: cover is not to be flattered.
        Some(share) => {
            let percent = (share * 100.0).floor();
            format!("From {height} above the ground: a field in reach over {percent:.0} % of this map")
        }
        None => format!("From {height} above the ground: the ground is not known here"),
    }
}

/// A line of the table of fields.
fn line(card: &AreaCard, row: &Row, units: UnitPrefs) -> Vec<Cell> {
    let field = card.field(row);
    let usable = row.judged.verdict != Verdict::Out;
    let bold = |text: String| Cell { text, bold: usable };
    let convergence = card.area().convergence_rad(field.centroid());
    let (land, length, needed) = match &row.judged.strip {
        Some(strip) => {
            let heading = Bearing::from_rad(strip.heading.rad() + convergence);
            (
                format!("{}/{}", format_bearing(heading), format_bearing(heading.reversed())),
                units.format_length_at_least(strip.usable_length_m),
                units.format_length_at_most(strip.needed_length_m),
            )
        }
        None => ("–".into(), "–".into(), "–".into()),
    };
    vec![
        bold(row.number.to_string()),
        bold(field.label().to_owned()),
        bold(row.judged.verdict.words().to_owned()),
        land.into(),
        length.into(),
        needed.into(),
        surface(card, row).into(),
        in_the_way(card, row, units, convergence).into(),
    ]
}

fn surface(card: &AreaCard, row: &Row) -> String {
    let field = card.field(row);
    let looked = field.surveyed.map_or_else(|| "never looked at".to_owned(), format_day);
    let mut words = format!("{}, {looked}", field.surface.words());
    if let Some(expected) = row.judged.survey.expected.filter(|e| *e != field.surface) {
        words.extend(["; expected now: ", expected.words()]);
    }
    words
}

/// Reasons that one line of the table has room for.
const MOST_REASONS: usize = 2;

/// What decides against the field, animals, what stands there, and what people wrote.
fn in_the_way(card: &AreaCard, row: &Row, units: UnitPrefs, convergence_rad: f64) -> String {
    let field = card.field(row);
    let mut parts: Vec<String> = Vec::new();
    let against = if row.judged.verdict == Verdict::Out { ReasonKind::Gate } else { ReasonKind::Limit };
    let first = row.judged.reasons.iter().filter(|r| r.kind == against).take(MOST_REASONS);
    // What follows a colon is the working: the columns beside it say as much.
    let gist = |words: String| words.split(':').next().unwrap_or_default().to_owned();
    parts.extend(first.map(|reason| gist(reason_words(reason, units, convergence_rad))));
    match field.stock {
        Stock::Present => parts.push("animals".to_owned()),
        // What nobody knows is never counted as good.
        Stock::Unknown => parts.push("animals not known".to_owned()),
        Stock::None => {}
    }
    for (place, things) in [("sides", &row.on_sides), ("near", &row.near)] {
        if !things.is_empty() {
            parts.push(format!("{place}: {}", things.join(", ")));
        }
    }
    if !field.remarks.hazards.is_empty() {
        parts.push(field.remarks.hazards.clone());
    }
    if parts.is_empty() { "nothing entered".to_owned() } else { parts.join("; ") }
}

/// Why a field is out, in a few words.
pub(crate) fn why_out(area: &Area, row: &Row, units: UnitPrefs) -> Option<String> {
    let convergence_rad = area.convergence_rad(area.fields[row.judged.index].centroid());
    let reason = row.judged.reasons.iter().find(|r| r.kind == ReasonKind::Gate)?;
    Some(reason_words(reason, units, convergence_rad))
}

fn climb_outs(out: &mut Document, card: &AreaCard, units: UnitPrefs) {
    for answer in &card.climb_outs {
        out.push(Block::Heading(climb_words::title(answer)));
        out.push(Block::text(climb_words::headline(answer, units)));
        let rows = answer.flown.steps.iter().map(|s| climb_words::row(answer, s, units).map(Cell::from).into());
        out.push(Block::Table { head: climb_words::HEADINGS.map(str::to_owned).to_vec(), rows: rows.collect() });
    }
    if card.climb_outs.is_empty() {
        out.push(Block::Heading("Climb-out".into()));
    } else {
        out.push(Block::soft(not_looked_at::BY_CLIMB_OUT));
        let advice = ADVICE.iter().map(|a| vec![Run::plain(a.words), Run::soft(format!("({})", a.source))]);
        out.push(Block::List(advice.collect()));
    }
    for why in &card.no_climb_out {
        out.push(Block::caution(why));
    }
}

fn cautions(out: &mut Document, card: &AreaCard) {
    out.push(Block::Heading("Cautions".into()));
    let invented = card.area().is_sample.then(|| "The sample area is invented and shows no real place.".to_owned());
    let standing =
        STANDING_CAUTIONS.into_iter().chain([REACH_NOT_COUNTED, not_looked_at::BY_OPTIONS_MAP]).map(str::to_owned);
    let not_looked_at = not_looked_at::BY_RANKING.iter().map(|what| format!("Not looked at: {what}"));
    let data = card.area().warnings.iter().map(|w| format!("Data: {w}."));
    out.push(Block::list(invented.into_iter().chain(standing).chain(not_looked_at).chain(data)));
}

fn basis(out: &mut Document, card: &AreaCard, units: UnitPrefs) {
    let (area, conditions) = (card.area(), &card.options.conditions);
    out.push(Block::Heading("Computed from".into()));
    let mut points = vec![
        format!("Aircraft: {}.", conditions.aircraft.name),
        format!("Wind: {}.", wind_words(area, &card.options.wind, area.centre(), units)),
        format!("Surveys judged for {}.", format_day(conditions.today)),
        heights_caution(area, units),
    ];
    points.extend(area.provenance.iter().cloned());
    out.push(Block::list(points));
    out.push(Block::soft(format!("Sparefield {}.", env!("CARGO_PKG_VERSION"))));
}
