//! A sheet as a page to print.

use super::profiles::{self, ProfileLook, Scales};
use super::relief::Relief;
use super::rose::{self, RoseLook};
use super::{Made, One, plan, words};
use crate::assess::STANDING_CAUTIONS;
use crate::not_looked_at;
use crate::print::{Block, Cell, Document, Run, Tone};
use crate::theme::Palette;
use egui::vec2;
use sparefield_data::quantity::{UnitPrefs, format_day};
use sparefield_geometry::fields::sheet::{Way, Which};
use sparefield_geometry::position::Bearing;

/// Side of the rose on the page, points.
const ROSE: f32 = 330.0;
/// Width of the plan on the page, points.
const PLAN: f32 = 350.0;
/// Width of the profiles on the page, points.
const WIDE: f32 = 700.0;

/// How a page is made.
#[derive(Clone, Copy, Debug)]
pub struct PageLook<'a> {
    /// Units.
    pub units: UnitPrefs,
    /// Which way of the first field's strips is shown; the best where `None`.
    pub way: Option<(usize, usize)>,
    /// Colours and sizes; the day's are used, for paper.
    pub palette: &'a Palette,
    /// Where the present wind comes from, true, where it is another than the sheet's.
    pub present: Option<Bearing>,
}

/// The page. Its figures are those of the window.
#[must_use]
pub fn page(made: &Made, look: &PageLook<'_>) -> Document {
    let title = made.sheets.iter().map(|one| one.field.label()).collect::<Vec<_>>().join(" and ");
    let mut out = Document::new(format!("Field sheet: {title}"));
    if let [first, second] = &made.sheets[..] {
        differences(&mut out, first, second, look.units);
    }
    let ways: Vec<Option<&Way>> =
        made.sheets.iter().enumerate().map(|(i, one)| one.way(if i == 0 { look.way } else { None })).collect();
    let shared = Shared::of(made, &ways, look.units);
    for (one, way) in made.sheets.iter().zip(&ways) {
        if !out.blocks.is_empty() {
            out.push(Block::NewSheet);
        }
        field(&mut out, made, one, *way, &shared, look);
    }
    cautions(&mut out, made);
    out
}

/// What two fields share: scales, and the ground.
struct Shared {
    ground: Option<Relief>,
    rim_m: f64,
    plan: f32,
    profiles: Scales,
}

impl Shared {
    fn of(made: &Made, ways: &[Option<&Way>], units: UnitPrefs) -> Self {
        let sheets = &made.sheets;
        let longest = sheets.iter().map(rose::longest_m).fold(0.0, f64::max);
        let plan = sheets.iter().map(|one| plan::scale(&one.field, vec2(PLAN, ROSE))).fold(f32::INFINITY, f32::min);
        let ways: Vec<&Way> = ways.iter().copied().flatten().collect();
        let ground = Relief::new(&made.ask.area.terrain);
        Self { ground, rim_m: rose::rim_m(longest, units), plan, profiles: Scales::of(&ways) }
    }
}

fn field(out: &mut Document, made: &Made, one: &One, way: Option<&Way>, shared: &Shared, look: &PageLook<'_>) {
    let units = look.units;
    let sizes = &look.palette.sizes;
    out.push(Block::Title(one.field.label().to_owned()));
    out.push(Block::soft(words::about(one)));
    out.push(Block::first(words::headline(one, units)));
    out.push(Block::text(words::conditions(made, one, units)));
    out.push(Block::text(words::directions(one, units)));
    out.push(Block::caution(words::REACH_NOT_COUNTED));
    if !one.field.notes.is_empty() {
        out.push(Block::text(&one.field.notes));
    }
    let rose = rose::picture(
        one,
        &RoseLook {
            side: ROSE,
            rim_m: shared.rim_m,
            looked: one.wind_from().map(rose::nearest),
            present: look.present.or_else(|| one.wind_from()),
            units,
            sizes,
        },
    );
    let size = vec2(PLAN, ROSE + 58.0);
    let hazards = &made.ask.area.hazards;
    let ground = shared.ground.as_ref();
    let plan_look = plan::PlanLook { size, scale: shared.plan, way, hazards, ground, units, sizes };
    let mut plan = plan::picture(one, &plan_look);
    if let Some(from) = one.sheet.wind.from_bearing() {
        plan::wind(&mut plan, from, &words::wind(one, units));
    }
    let rose = Block::Figure(rose, "Usable length by where the wind comes from".into());
    let plan = Block::Figure(plan, "Strips and what stands on each side; broken: height assumed".into());
    out.push(Block::Beside(vec![(ROSE, vec![rose]), (PLAN, vec![plan])]));
    let Some(way) = way else {
        assumptions(out, one, units);
        return;
    };
    let profile = |height: f32| ProfileLook { size: vec2(WIDE, height), scales: &shared.profiles, units, sizes };
    out.push(Block::Heading(format!("Approach, {}", words::way_name(one, way))));
    out.push(Block::text(words::approach(way, units)));
    out.push(Block::Figure(profiles::approach(one, way, &profile(260.0)), String::new()));
    if !way.approach.things.is_empty() {
        let rows = way.approach.things.iter().map(|thing| words::thing(thing, units).map(Cell::from).into());
        let head = words::THING_HEADINGS.map(str::to_owned).to_vec();
        out.push(Block::Table { head, rows: rows.collect() });
    }
    out.push(Block::Heading("Ground along the strip".into()));
    out.push(Block::Figure(profiles::slope(one, way, &profile(270.0)), String::new()));
    let figures = words::figures(one, way, units).into_iter();
    let figures = figures.map(|(name, value)| vec![Cell::from(name), Cell::from(value)]).collect();
    let figures = vec![Block::Heading("In numbers".into()), Block::Table { head: Vec::new(), rows: figures }];
    out.push(Block::Beside(vec![(ROSE, figures), (PLAN, strips(one, units))]));
    out.push(Block::Heading("Why".into()));
    out.push(Block::list(words::reasons(one, way, units).into_iter().map(|(_, text)| text)));
    assumptions(out, one, units);
}

fn strips(one: &One, units: UnitPrefs) -> Vec<Block> {
    let rows = one.sheet.strips.iter().flat_map(|s| &s.ways).map(|way| {
        let strip = &way.landing.strip;
        vec![
            words::sentence_start(&words::way_name(one, way)).into(),
            units.format_length_at_least(strip.usable_length_m).into(),
            units.format_length_at_most(strip.needed_length_m).into(),
            words::way_verdict(way, units).into(),
        ]
    });
    let head = ["Way", "Usable", "Needed", ""].map(str::to_owned).to_vec();
    vec![Block::Heading("Strips in this wind".into()), Block::Table { head, rows: rows.collect() }]
}

fn assumptions(out: &mut Document, one: &One, units: UnitPrefs) {
    out.push(Block::Heading("What this rests on".into()));
    out.push(Block::soft("In bold: the best landing in this wind changes with it."));
    for (group, list) in words::assumptions(one, units) {
        out.push(Block::Text(Tone::Plain, vec![Run::plain(group)]));
        let points = list.into_iter().map(|assumed| {
            let text = if assumed.decides { Run::bold(assumed.text) } else { Run::plain(assumed.text) };
            vec![text, Run::soft(format!("({})", assumed.source))]
        });
        out.push(Block::List(points.collect()));
    }
}

fn differences(out: &mut Document, first: &One, second: &One, units: UnitPrefs) {
    let (a, b) = (first.field.label(), second.field.label());
    out.push(Block::Title(format!("{a} and {b}")));
    let rows = words::differences(first, second, units).into_iter().map(|row| {
        let cell = |text: String, which: Which| Cell { text, bold: row.ahead == Some(which) };
        vec![row.what.into(), cell(row.first, Which::First), cell(row.second, Which::Second), row.said.into()]
    });
    let head = ["", a, b, "Difference"].map(str::to_owned).to_vec();
    out.push(Block::Table { head, rows: rows.collect() });
}

fn cautions(out: &mut Document, made: &Made) {
    out.push(Block::Heading("Not looked at, and always to be said".into()));
    let invented = made.ask.area.is_sample.then_some("The sample area is invented and shows no real place.");
    out.push(Block::list(not_looked_at::BY_RANKING.iter().chain(&STANDING_CAUTIONS).copied().chain(invented)));
    let made_by =
        format!("Sparefield {}, surveys judged for {}.", env!("CARGO_PKG_VERSION"), format_day(made.ask.today));
    out.push(Block::soft(made_by));
}
