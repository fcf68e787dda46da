//! A debrief as one HTML page with its pictures inside: for the logbook and the instructor, prints on A4, needs nothing
//! else.

use super::practise::{Remark, practise};
use super::{Debriefed, Sortie, pictures, words};
use crate::sheet::picture::{Picture, escape};
use crate::theme::Palette;
use egui::vec2;
use sparefield_data::quantity::{UnitPrefs, format_day};
use std::fmt::Write as _;

const STYLE: &str = "\
@page { size: A4; margin: 12mm; }
body { font-family: 'B612', 'DejaVu Sans', Arial, sans-serif; font-size: 10pt; line-height: 1.35; color: #1f1d1a; \
background: #ffffff; max-width: 190mm; margin: 8mm auto; }
@media print { body { margin: 0; } }
h1 { font-size: 17pt; margin: 0 0 1mm; } h2 { font-size: 12.5pt; margin: 6mm 0 1.5mm; break-after: avoid; }
h3 { font-size: 10.5pt; margin: 3mm 0 1mm; break-after: avoid; }
p { margin: 0 0 2mm; } .soft { color: #5b554c; } .first { font-size: 11.5pt; font-weight: bold; }
.caution { color: #8a3b12; } figure { margin: 0 0 2mm; break-inside: avoid; }
figcaption { font-size: 9pt; color: #5b554c; } svg { max-width: 100%; height: auto; background: #f6f1e7; }
.beside { display: grid; grid-template-columns: 95mm 1fr; gap: 4mm; align-items: start; }
table { border-collapse: collapse; font-size: 9pt; width: 100%; } tr { break-inside: avoid; }
th, td { text-align: left; vertical-align: top; padding: 0.7mm 3mm 0.7mm 0; border-bottom: 0.2mm solid #cfc5b4; }
th { color: #5b554c; font-weight: normal; } ul { margin: 0; padding-left: 5mm; font-size: 9.5pt; }
.exercise { break-inside: avoid-page; margin-top: 5mm; } .rule { color: #5b554c; font-size: 8.5pt; }
";

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
pub fn page(sorties: &[Named<'_>], units: UnitPrefs, palette: &Palette) -> String {
    let svg = |picture: &Picture| picture.svg(&palette.day, &palette.sizes);
    let title = if let [one] = sorties { format!("Debrief: {}", one.name) } else { "Debrief".to_owned() };
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{0}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<h1>{0}</h1>\n",
        escape(&title)
    );
    for named in sorties {
        sortie(&mut out, named, sorties.len() > 1, units, &svg);
    }
    let all: Vec<&Sortie> = sorties.iter().map(|n| n.sortie).collect();
    let found = practise(&all, units);
    remarks(&mut out, "What went well", &found.well);
    remarks(&mut out, "What to practise next", &found.next);
    if all.iter().map(|s| s.exercises.len()).sum::<usize>() > 1 {
        let _ = write!(
            out,
            "<h2>Exercises over one another</h2>\n<figure>{}<figcaption>Aligned by their strips, landing upwards: is the \
             base leg constant?</figcaption></figure>\n",
            svg(&pictures::aligned(&all, vec2(480.0, 420.0), units))
        );
    }
    out.push_str("<h2>What this rests on</h2>\n<ul>\n");
    let mut said: Vec<String> = Vec::new();
    for named in sorties {
        for caution in words::cautions(named.sortie) {
            if !said.contains(&caution) {
                let _ = writeln!(out, "<li>{}</li>", escape(&caution));
                said.push(caution);
            }
        }
    }
    let today = sorties.first().map_or_else(String::new, |n| format_day(n.sortie.ask.today));
    let _ = write!(
        out,
        "</ul>\n<p class=\"soft\">Sparefield {}, surveys judged for {today}.</p>\n</body>\n</html>\n",
        env!("CARGO_PKG_VERSION")
    );
    out
}

fn remarks(out: &mut String, heading: &str, list: &[Remark]) {
    if list.is_empty() {
        return;
    }
    let _ = writeln!(out, "<h2>{heading}</h2>\n<ul>");
    for remark in list {
        let _ = writeln!(
            out,
            "<li>{} <span class=\"rule\">(rule: {})</span></li>",
            escape(&remark.said),
            escape(remark.rule)
        );
    }
    out.push_str("</ul>\n");
}

fn sortie(out: &mut String, named: &Named<'_>, several: bool, units: UnitPrefs, svg: &impl Fn(&Picture) -> String) {
    let s = named.sortie;
    if several {
        let _ = writeln!(out, "<h2>{}</h2>", escape(&named.name));
    }
    let began = named.began.as_deref().map_or_else(String::new, |b| format!("{b}, "));
    let _ = write!(
        out,
        "<p class=\"soft\">{}{}, {}; {} fixes over {}.</p>\n<p>Wind {}.</p>\n<p class=\"soft\">{}</p>\n<p>{}</p>\n",
        escape(&began),
        escape(&s.ask.aircraft.name),
        escape(&s.ask.area.title),
        s.fixes,
        words::clock(s.seconds()),
        escape(&words::wind(s, units)),
        escape(&named.heights),
        escape(&words::cover(s, units)),
    );
    for low in &s.low {
        let all = &s.flight.samples.all;
        let _ = writeln!(
            out,
            "<p class=\"caution\">Low flying: down to {} above the ground from {} to {} (your rule: {}).</p>",
            escape(&units.format_height(low.lowest_m)),
            words::clock(all[low.first].time_s),
            words::clock(all[low.last].time_s),
            escape(&units.format_height(s.ask.low_flying_m))
        );
    }
    let range = 0..s.flight.samples.all.len();
    let _ = write!(
        out,
        "<figure>{}<figcaption>From above; heavy: no field in reach with height for a circuit</figcaption></figure>\n\
         <figure>{}<figcaption>Height above sea level and the ground along time</figcaption></figure>\n",
        svg(&pictures::overview(s, vec2(700.0, 430.0), units)),
        svg(&pictures::profile(s, &range, &pictures::shades(s), vec2(700.0, 190.0), units))
    );
    if s.exercises.is_empty() {
        out.push_str("<p class=\"first\">No practice failure was recognised.</p>\n");
        return;
    }
    out.push_str(
        "<h2>Exercises</h2>\n<table>\n<tr><th></th><th>at</th><th>height</th><th>field</th><th>base leg</th>\
         <th>on final</th><th>changes</th><th>how it came out</th></tr>\n",
    );
    for (i, one) in s.exercises.iter().enumerate() {
        let m = &one.measures;
        let height = |h: Option<f64>| h.map_or_else(|| "–".to_owned(), |h| units.format_height(h));
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            i + 1,
            words::clock(one.exercise.start_s),
            escape(&height(m.height_agl_m)),
            escape(m.landing.map_or("–", |c| s.field_name(c))),
            escape(&m.base_leg_distance_m.map_or_else(|| "–".to_owned(), |d| units.format_length(d))),
            escape(&height(m.on_final_m)),
            m.aims.len().saturating_sub(1),
            escape(&words::outcome(one, units)),
        );
    }
    out.push_str("</table>\n");
    for (i, one) in s.exercises.iter().enumerate() {
        exercise(out, s, i, one, units, svg);
    }
}

fn exercise(
    out: &mut String,
    s: &Sortie,
    i: usize,
    one: &Debriefed,
    units: UnitPrefs,
    svg: &impl Fn(&Picture) -> String,
) {
    let m = &one.measures;
    let _ = write!(
        out,
        "<section class=\"exercise\">\n<h2>{}. {}</h2>\n<p class=\"first\">{}</p>\n<p>{}</p>\n\
         <p class=\"soft\">{} to {}, {} as a practice failure.</p>\n",
        i + 1,
        escape(&words::headline(s, one, units)),
        escape(&words::outcome(one, units)),
        escape(&words::hindsight(s, one)),
        words::clock(one.exercise.start_s),
        words::clock(one.exercise.end_s),
        words::sure(one.exercise.confidence),
    );
    let shown = m.samples.start.saturating_sub(10)..(m.samples.end + 10).min(s.flight.samples.all.len());
    let _ = write!(
        out,
        "<div class=\"beside\">\n<figure>{}<figcaption>As flown; broken: a circuit the program would have flown\
         </figcaption></figure>\n<table>\n",
        svg(&pictures::exercise(s, one, vec2(360.0, 360.0), units))
    );
    for (name, value) in words::figures(s, one, units) {
        let _ = writeln!(out, "<tr><th>{}</th><td>{}</td></tr>", escape(&name), escape(&value));
    }
    let _ = write!(
        out,
        "</table>\n</div>\n<figure>{}</figure>\n",
        svg(&pictures::profile(s, &shown, &[(m.samples.clone(), String::new())], vec2(700.0, 150.0), units))
    );
    let changes = words::changes(s, one, units);
    if !changes.is_empty() {
        out.push_str("<h3>Changes of mind</h3>\n<ul>\n");
        for change in changes {
            let _ = writeln!(out, "<li>{}</li>", escape(&change));
        }
        out.push_str("</ul>\n");
    }
    if !m.passed_low.is_empty() {
        out.push_str("<h3>Passed low</h3>\n<ul>\n");
        for low in &m.passed_low {
            let _ = writeln!(out, "<li>{}</li>", escape(&words::passed_low(s, low, units)));
        }
        out.push_str("</ul>\n");
    }
    let turns = words::turns(s, one, units);
    if !turns.is_empty() {
        out.push_str("<h3>Turns</h3>\n<table>\n<tr>");
        for heading in words::TURN_HEADINGS {
            let _ = write!(out, "<th>{heading}</th>");
        }
        out.push_str("</tr>\n");
        for turn in turns {
            out.push_str("<tr>");
            for cell in turn {
                let _ = write!(out, "<td>{}</td>", escape(&cell));
            }
            out.push_str("</tr>\n");
        }
        out.push_str("</table>\n");
    }
    out.push_str("</section>\n");
}
