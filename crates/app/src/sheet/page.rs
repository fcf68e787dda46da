//! A sheet as one HTML page with its drawings inside: opens in any browser, prints on A4, needs nothing else.

use super::picture::{Picture, escape};
use super::profiles::{self, ProfileLook, Scales};
use super::rose::{self, RoseLook};
use super::{Made, One, plan, words};
use crate::assess::{NOT_LOOKED_AT, STANDING_CAUTIONS};
use crate::theme::Palette;
use egui::vec2;
use sparefield_data::quantity::{UnitPrefs, format_day};
use sparefield_geometry::fields::sheet::{Way, Which};
use sparefield_geometry::position::Bearing;
use std::fmt::Write as _;

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

const STYLE: &str = "\
@page { size: A4; margin: 12mm; }
body { font-family: 'B612', 'DejaVu Sans', Arial, sans-serif; font-size: 10pt; line-height: 1.35; color: #1f1d1a; \
background: #ffffff; max-width: 190mm; margin: 8mm auto; }
@media print { body { margin: 0; } }
h1 { font-size: 17pt; margin: 0 0 1mm; } h2 { font-size: 11.5pt; margin: 6mm 0 1.5mm; break-after: avoid; }
p { margin: 0 0 2mm; } .soft { color: #5b554c; } .first { font-size: 12pt; font-weight: bold; }
.caution { color: #8a3b12; }
.beside { display: grid; grid-template-columns: 330fr 350fr; gap: 4mm; align-items: start; }
figure { margin: 0; break-inside: avoid; } figcaption { font-size: 9pt; color: #5b554c; }
svg { max-width: 100%; height: auto; background: #f6f1e7; }
h1 + p { margin-top: 0; } .group { margin-top: 2mm; margin-bottom: 0; } table + h1, section { margin-top: 6mm; } .beside h2 { margin-top: 3mm; }\
table { border-collapse: collapse; font-size: 9pt; width: 100%; } tr { break-inside: avoid; }
th, td { text-align: left; vertical-align: top; padding: 0.7mm 3mm 0.7mm 0; border-bottom: 0.2mm solid #cfc5b4; }
th { color: #5b554c; font-weight: normal; } ul { margin: 0; padding-left: 5mm; font-size: 9pt; }
.decides { font-weight: bold; } .field { break-before: page; } .field:first-of-type { break-before: auto; }
";

/// The page. Its figures are those of the window.
#[must_use]
pub fn page(made: &Made, look: &PageLook<'_>) -> String {
    let title = made.sheets.iter().map(|one| one.field.label()).collect::<Vec<_>>().join(" and ");
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>Field sheet: {}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n",
        escape(&title)
    );
    if let [first, second] = &made.sheets[..] {
        differences(&mut out, first, second, look.units);
    }
    let ways: Vec<Option<&Way>> =
        made.sheets.iter().enumerate().map(|(i, one)| one.way(if i == 0 { look.way } else { None })).collect();
    let shared = Shared::of(&made.sheets, &ways, look.units);
    for (one, way) in made.sheets.iter().zip(&ways) {
        field(&mut out, made, one, *way, &shared, look);
    }
    cautions(&mut out, made);
    out.push_str("</body>\n</html>\n");
    out
}

/// Scales that two fields share.
struct Shared {
    rim_m: f64,
    plan: f32,
    profiles: Scales,
}

impl Shared {
    fn of(sheets: &[One], ways: &[Option<&Way>], units: UnitPrefs) -> Self {
        let longest = sheets.iter().map(rose::longest_m).fold(0.0, f64::max);
        let plan = sheets.iter().map(|one| plan::scale(&one.field, vec2(PLAN, ROSE))).fold(f32::INFINITY, f32::min);
        let ways: Vec<&Way> = ways.iter().copied().flatten().collect();
        Self { rim_m: rose::rim_m(longest, units), plan, profiles: Scales::of(&ways) }
    }
}

fn field(out: &mut String, made: &Made, one: &One, way: Option<&Way>, shared: &Shared, look: &PageLook<'_>) {
    let units = look.units;
    let (colours, sizes) = (&look.palette.day, &look.palette.sizes);
    let svg = |picture: &Picture| picture.svg(colours, sizes);
    let _ = write!(
        out,
        "<section class=\"field\">\n<h1>{}</h1>\n<p class=\"soft\">{}</p>\n<p class=\"first\">{}</p>\n<p>{}</p>\n\
         <p>{}</p>\n<p class=\"caution\">{}</p>\n",
        escape(one.field.label()),
        escape(&words::about(one)),
        escape(&words::headline(one, units)),
        escape(&words::conditions(made, one, units)),
        escape(&words::directions(one, units)),
        words::REACH_NOT_COUNTED,
    );
    if !one.field.notes.is_empty() {
        let _ = writeln!(out, "<p>{}</p>", escape(&one.field.notes));
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
    let mut plan = plan::picture(one, &plan::PlanLook { size, scale: shared.plan, way, hazards, units, sizes });
    if let Some(from) = one.sheet.wind.from_bearing() {
        plan::wind(&mut plan, from, &words::wind(one, units));
    }
    let _ = write!(
        out,
        "<div class=\"beside\">\n<figure>{}<figcaption>Usable length by where the wind comes from</figcaption></figure>\n\
         <figure>{}<figcaption>Strips and what stands on each side; broken: height assumed</figcaption></figure>\n</div>\n",
        svg(&rose),
        svg(&plan)
    );
    let Some(way) = way else {
        assumptions(out, one, units);
        out.push_str("</section>\n");
        return;
    };
    let profile = |height: f32| ProfileLook { size: vec2(WIDE, height), scales: &shared.profiles, units, sizes };
    let _ = write!(
        out,
        "<h2>Approach, {}</h2>\n<p>{}</p>\n<figure>{}</figure>\n",
        escape(&words::way_name(one, way)),
        escape(&words::approach(way, units)),
        svg(&profiles::approach(one, way, &profile(260.0)))
    );
    things(out, way, units);
    let _ = write!(
        out,
        "<h2>Ground along the strip</h2>\n<figure>{}</figure>\n<div class=\"beside\">\n<div>\n<h2>In numbers</h2>\n<table>\n",
        svg(&profiles::slope(one, way, &profile(270.0)))
    );
    for (name, value) in words::figures(one, way, units) {
        let _ = writeln!(out, "<tr><th>{name}</th><td>{}</td></tr>", escape(&value));
    }
    out.push_str("</table>\n</div>\n<div>\n");
    strips(out, one, units);
    out.push_str("</div>\n</div>\n");
    out.push_str("<h2>Why</h2>\n<ul>\n");
    for (_, text) in words::reasons(one, way, units) {
        let _ = writeln!(out, "<li>{}</li>", escape(&text));
    }
    out.push_str("</ul>\n");
    assumptions(out, one, units);
    out.push_str("</section>\n");
}

fn things(out: &mut String, way: &Way, units: UnitPrefs) {
    if way.approach.things.is_empty() {
        return;
    }
    out.push_str("<table>\n<tr>");
    for heading in words::THING_HEADINGS {
        let _ = write!(out, "<th>{heading}</th>");
    }
    out.push_str("</tr>\n");
    for thing in &way.approach.things {
        out.push_str("<tr>");
        for cell in words::thing(thing, units) {
            let _ = write!(out, "<td>{}</td>", escape(&cell));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</table>\n");
}

fn strips(out: &mut String, one: &One, units: UnitPrefs) {
    out.push_str(
        "<h2>Strips in this wind</h2>\n<table>\n<tr><th>Way</th><th>Usable</th><th>Needed</th><th></th></tr>\n",
    );
    for way in one.sheet.strips.iter().flat_map(|s| &s.ways) {
        let strip = &way.landing.strip;
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            escape(&words::sentence_start(&words::way_name(one, way))),
            escape(&units.format_length_at_least(strip.usable_length_m)),
            escape(&units.format_length_at_most(strip.needed_length_m)),
            escape(&words::way_verdict(way, units))
        );
    }
    out.push_str("</table>\n");
}

fn assumptions(out: &mut String, one: &One, units: UnitPrefs) {
    out.push_str(
        "<h2>What this rests on</h2>\n<p class=\"soft\">In bold: the best landing in this wind changes with it.</p>\n",
    );
    for (group, list) in words::assumptions(one, units) {
        let _ = writeln!(out, "<p class=\"group\">{}</p>\n<ul>", escape(&group));
        for assumed in list {
            let class = if assumed.decides { " class=\"decides\"" } else { "" };
            let _ = writeln!(
                out,
                "<li><span{class}>{}</span> <span class=\"soft\">({})</span></li>",
                escape(&assumed.text),
                escape(assumed.source)
            );
        }
        out.push_str("</ul>\n");
    }
}

fn differences(out: &mut String, first: &One, second: &One, units: UnitPrefs) {
    let (a, b) = (escape(first.field.label()), escape(second.field.label()));
    let _ =
        write!(out, "<h1>{a} and {b}</h1>\n<table>\n<tr><th></th><th>{a}</th><th>{b}</th><th>Difference</th></tr>\n");
    for row in words::differences(first, second, units) {
        let bold = |which: Which| if row.ahead == Some(which) { " class=\"decides\"" } else { "" };
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td{}>{}</td><td{}>{}</td><td>{}</td></tr>",
            escape(&row.what),
            bold(Which::First),
            escape(&row.first),
            bold(Which::Second),
            escape(&row.second),
            escape(&row.said)
        );
    }
    out.push_str("</table>\n");
}

fn cautions(out: &mut String, made: &Made) {
    out.push_str("<h2>Not looked at, and always to be said</h2>\n<ul>\n");
    for text in NOT_LOOKED_AT.iter().chain(&STANDING_CAUTIONS) {
        let _ = writeln!(out, "<li>{}</li>", escape(text));
    }
    if made.ask.area.is_sample {
        out.push_str("<li>The sample area is invented and shows no real place.</li>\n");
    }
    let _ = write!(
        out,
        "</ul>\n<p class=\"soft\">Sparefield {}, surveys judged for {}.</p>\n",
        env!("CARGO_PKG_VERSION"),
        format_day(made.ask.today)
    );
}
