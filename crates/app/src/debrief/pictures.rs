//! Drawings of a debrief: the sortie and each exercise from above, and heights along time; the same marks in the window
//! and on the printed page.

use super::trends::{Along, Spread};
use super::{Debriefed, Sortie, words};
use crate::sheet::above::Placing;
use crate::sheet::picture::{Ink, Picture};
use crate::sheet::plan::{north, scale_bar};
use crate::sheet::relief::Relief;
use crate::views::map::cut_to;
use egui::{Align2, Pos2, Rect, Vec2, pos2, vec2};
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::position::Xy;
use std::ops::Range;

/// Longest list of points of a line: what is drawn is no finer than the picture.
const MOST_POINTS: usize = 1_500;

/// Words beside a place, on the side where there is room.
fn beside(p: &mut Picture, at: Pos2, text: &str, bold: bool) {
    let right = at.x < p.size.x - 100.0;
    let (anchor, place) =
        if right { (Align2::LEFT_CENTER, at + vec2(8.0, 0.0)) } else { (Align2::RIGHT_CENTER, at - vec2(8.0, 0.0)) };
    if bold {
        p.bold(place, anchor, text, Ink::Ink);
    } else {
        p.text(place, anchor, text, Ink::Ink);
    }
}

fn thinned(range: &Range<usize>) -> impl Iterator<Item = usize> + use<> {
    let step = range.len().div_ceil(MOST_POINTS).max(1);
    let last = range.end.saturating_sub(1);
    range.clone().step_by(step).chain(std::iter::once(last))
}

/// Fields in sight: outlines; those in `marked` (index and label) heavier.
fn fields(p: &mut Picture, sortie: &Sortie, placing: &Placing, marked: &[(usize, String)]) {
    for (i, field) in sortie.ask.area.fields.iter().enumerate() {
        if !field.outer.iter().any(|q| placing.shows(*q)) {
            continue;
        }
        let points: Vec<Pos2> = field.outer.iter().map(|q| placing.at(*q)).collect();
        if let Some((_, label)) = marked.iter().find(|m| m.0 == i) {
            p.outline(&points, Ink::Accent, 2.0);
            p.bold(placing.at(field.centroid()), Align2::CENTER_CENTER, label.clone(), Ink::Accent);
        } else {
            let closed: Vec<Pos2> = points.iter().chain(points.first()).copied().collect();
            within(p, &closed, Ink::Line, 1.0);
        }
    }
}

/// A line as far as it lies in the picture: on paper nothing else cuts it.
fn within(p: &mut Picture, points: &[Pos2], ink: Ink, width: f32) {
    let frame = Rect::from_min_size(Pos2::ZERO, p.size);
    if points.iter().all(|q| frame.contains(*q)) {
        return p.line(points, ink, width);
    }
    for pair in points.windows(2) {
        if let Some((a, b)) = cut_to(pair[0], pair[1], frame) {
            p.line([a, b], ink, width);
        }
    }
}

fn track(p: &mut Picture, sortie: &Sortie, placing: &Placing, range: &Range<usize>, ink: Ink, width: f32) {
    for part in &sortie.flight.samples.parts {
        let (from, to) = (part.start.max(range.start), part.end.min(range.end));
        if to > from + 1 {
            let points: Vec<Pos2> =
                thinned(&(from..to)).map(|i| placing.at(sortie.flight.samples.all[i].position)).collect();
            within(p, &points, ink, width);
        }
    }
}

/// The whole sortie from above, over the ground where it is given: the way, exercises by number, stretches without a
/// field in reach heavy.
#[must_use]
pub fn overview(sortie: &Sortie, size: Vec2, units: UnitPrefs, ground: Option<&Relief>) -> Picture {
    let mut p = Picture::new(size, "The sortie from above, exercises by number, north upwards");
    let all = &sortie.flight.samples.all;
    let Some(placing) = Placing::around(all.iter().map(|s| s.position), size, 36.0) else { return p };
    if let Some(ground) = ground {
        ground.under(&mut p, &placing);
    }
    fields(&mut p, sortie, &placing, &[]);
    track(&mut p, sortie, &placing, &(0..all.len()), Ink::Soft, 1.0);
    for bare in &sortie.cover.bare {
        track(&mut p, sortie, &placing, &(bare.first..bare.last + 1), Ink::Caution, 4.0);
    }
    for (i, one) in sortie.exercises.iter().enumerate() {
        let range = &one.measures.samples;
        track(&mut p, sortie, &placing, range, Ink::Accent, 2.5);
        let at = placing.at(all[range.start].position);
        p.dot(at, 9.0, Ink::Accent);
        p.bold(at, Align2::CENTER_CENTER, (i + 1).to_string(), Ink::Paper);
    }
    north(&mut p, size);
    scale_bar(&mut p, size, placing.scale, units);
    p
}

/// One exercise from above, over the ground where it is given: as flown, and broken the circuit that the program would
/// have flown.
#[must_use]
pub fn exercise(sortie: &Sortie, one: &Debriefed, size: Vec2, units: UnitPrefs, ground: Option<&Relief>) -> Picture {
    let mut p = Picture::new(size, "The exercise from above, as flown and, broken, as the program would have flown it");
    let all = &sortie.flight.samples.all;
    let range = &one.measures.samples;
    let planned = planned(one);
    let shown = all[range.clone()].iter().map(|s| s.position).chain(planned.iter().copied());
    let landing = one.measures.landing.map(|c| &sortie.candidates[c]);
    let outline = landing.iter().flat_map(|c| c.outer.iter().copied()).collect::<Vec<_>>();
    let Some(placing) = Placing::around(shown.chain(outline), size, 34.0) else { return p };
    if let Some(ground) = ground {
        ground.under(&mut p, &placing);
    }
    let mut marked: Vec<(usize, String)> = Vec::new();
    let mut mark = |candidate: usize| {
        let field = sortie.candidates[candidate].field;
        if marked.iter().all(|m| m.0 != field) {
            marked.push((field, sortie.field_name(candidate).to_owned()));
        }
    };
    one.measures.landing.into_iter().for_each(&mut mark);
    one.hindsight.iter().for_each(|h| mark(h.candidate));
    fields(&mut p, sortie, &placing, &marked);
    if let Some(c) = landing {
        let (from, to) = (c.landing.start(), c.landing.start() + c.landing.along() * c.landing.length_m);
        p.line([placing.at(from), placing.at(to)], Ink::Ink, 3.0);
        let tip = placing.at(to);
        p.arrowhead(tip, tip - placing.at(from), 9.0, Ink::Ink);
    }
    if planned.len() > 1 {
        p.dashed(planned.iter().map(|q| placing.at(*q)).collect::<Vec<_>>(), Ink::Soft, 1.5, (5.0, 4.0));
    }
    // What came before and after, thin, so that the way in is seen.
    let before = range.start.saturating_sub(20)..range.start + 1;
    let after = range.end.saturating_sub(1)..(range.end + 20).min(all.len());
    track(&mut p, sortie, &placing, &before, Ink::Soft, 1.0);
    track(&mut p, sortie, &placing, &after, Ink::Soft, 1.0);
    track(&mut p, sortie, &placing, range, Ink::Accent, 2.5);
    let start = placing.at(all[range.start].position);
    p.dot(start, 5.0, Ink::Accent);
    beside(&mut p, start, "engine stops", true);
    for (aim, before) in one.measures.aims.iter().skip(1).zip(&one.measures.aims) {
        if sortie.candidates[aim.candidate].field != sortie.candidates[before.candidate].field {
            let at = placing.at(all[aim.from].position);
            p.dot(at, 4.0, Ink::Ink);
            beside(&mut p, at, "changes field", false);
        }
    }
    let lowest = placing.at(all[one.measures.lowest].position);
    p.dot(lowest, 3.5, Ink::Caution);
    beside(&mut p, lowest + vec2(0.0, 9.0), "lowest", false);
    north(&mut p, size);
    scale_bar(&mut p, size, placing.scale, units);
    p
}

/// The way of the circuit that the program would have flown: to the same field, else to the best.
#[must_use]
pub fn planned(one: &Debriefed) -> Vec<Xy> {
    let circuit = one.same_field.as_ref().or(one.hindsight.as_ref().map(|h| &h.circuit));
    circuit.map_or_else(Vec::new, |c| c.track.iter().map(|p| p.motion.position).collect())
}

/// Height above sea level along time with the ground below; exercises in `shaded` (first and last sample, label).
#[must_use]
pub fn profile(
    sortie: &Sortie,
    range: &Range<usize>,
    shaded: &[(Range<usize>, String)],
    size: Vec2,
    units: UnitPrefs,
) -> Picture {
    let mut p = Picture::new(size, "Heights along time, above the ground");
    let all = &sortie.flight.samples.all;
    let Some(part) = all.get(range.clone()).filter(|s| s.len() > 1) else { return p };
    let (left, right, top, bottom) = (56.0, 10.0, 12.0, 22.0);
    let heights = || part.iter().filter_map(|s| s.height_amsl_m);
    let ground = |i: usize| all[i].height_amsl_m.zip(sortie.flight.flying[i].height_agl_m).map(|(h, agl)| h - agl);
    let high = heights().fold(f64::MIN, f64::max);
    let low = range.clone().filter_map(ground).chain(heights()).fold(f64::MAX, f64::min);
    if high.is_nan() || high <= low {
        return p;
    }
    let (first, last) = (part[0].time_s, part[part.len() - 1].time_s);
    let x = |t: f64| left + ((t - first) / (last - first).max(1.0)) as f32 * (size.x - left - right);
    let span = (high - low).max(30.0) * 1.08;
    let y = |h: f64| size.y - bottom - ((h - low) / span) as f32 * (size.y - top - bottom);
    for (shade, label) in shaded {
        let (a, b) = (x(all[shade.start].time_s), x(all[shade.end - 1].time_s));
        let corners = vec![pos2(a, top), pos2(b, top), pos2(b, size.y - bottom), pos2(a, size.y - bottom)];
        p.area(corners, Ink::Accent, 0.16);
        p.bold(pos2((a + b) * 0.5, top + 2.0), Align2::CENTER_TOP, label.clone(), Ink::Ink);
    }
    // Height lines at round values of the user's unit.
    let unit = units.height.metres();
    let step = [50.0, 100.0, 200.0, 250.0, 500.0, 1_000.0, 2_000.0, 5_000.0]
        .into_iter()
        .find(|s| span / unit / s <= 5.0)
        .unwrap_or(10_000.0);
    let mut level = (low / unit / step).ceil() * step;
    while level * unit < low + span {
        let at = y(level * unit);
        p.line([pos2(left, at), pos2(size.x - right, at)], Ink::Line, 1.0);
        p.text(pos2(left - 5.0, at), Align2::RIGHT_CENTER, units.format_height(level * unit), Ink::Soft);
        level += step;
    }
    let spots: Vec<usize> = thinned(range).collect();
    let below: Vec<(f32, f32)> = spots.iter().filter_map(|&i| Some((x(all[i].time_s), y(ground(i)?)))).collect();
    if below.len() > 1 {
        let upper: Vec<Pos2> = below.iter().map(|q| pos2(q.0, q.1)).collect();
        let lower: Vec<Pos2> = below.iter().map(|q| pos2(q.0, size.y - bottom)).collect();
        p.line(upper.clone(), Ink::Ground, 1.5);
        p.marks.push(crate::sheet::picture::Mark::Band { upper, lower, ink: Ink::Ground, alpha: 0.35 });
    }
    for piece in &sortie.flight.samples.parts {
        let line: Vec<Pos2> = spots
            .iter()
            .filter(|i| piece.contains(i))
            .filter_map(|&i| Some(pos2(x(all[i].time_s), y(all[i].height_amsl_m?))))
            .collect();
        if line.len() > 1 {
            p.line(line, Ink::Ink, 1.5);
        }
    }
    let seconds = last - first;
    let tick = [10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1_200.0, 3_600.0, 7_200.0]
        .into_iter()
        .find(|t| seconds / t <= 9.0)
        .unwrap_or(14_400.0);
    let mut t = (first / tick).ceil() * tick;
    while t <= last {
        p.line([pos2(x(t), size.y - bottom), pos2(x(t), size.y - bottom + 4.0)], Ink::Soft, 1.0);
        p.text(pos2(x(t), size.y - bottom + 5.0), Align2::CENTER_TOP, words::clock(t), Ink::Soft);
        t += tick;
    }
    p
}

/// Shades of every exercise by number.
#[must_use]
pub fn shades(sortie: &Sortie) -> Vec<(Range<usize>, String)> {
    sortie.exercises.iter().enumerate().map(|(i, e)| (e.measures.samples.clone(), (i + 1).to_string())).collect()
}

/// Every exercise over one another, the landing direction upwards and the landing end in the middle: is the base leg
/// constant?
#[must_use]
pub fn aligned(sorties: &[&Sortie], size: Vec2, units: UnitPrefs) -> Picture {
    let mut p = Picture::new(size, "Exercises over one another, aligned by their strips, landing upwards");
    let ways: Vec<Vec<Xy>> = sorties
        .iter()
        .flat_map(|s| s.exercises.iter().map(move |e| (*s, e)))
        .filter_map(|(s, e)| {
            let landing = &s.candidates[e.measures.landing?].landing;
            let (along, start) = (landing.along(), landing.start());
            let right = Xy::new(along.y, -along.x);
            let way = s.flight.samples.all[e.measures.samples.clone()].iter();
            Some(way.map(|q| q.position - start).map(|d| Xy::new(d.dot(right), d.dot(along))).collect())
        })
        .collect();
    let near = ways.iter().flatten().copied().filter(|q| q.norm() < 1_500.0);
    let Some(placing) = Placing::around(near.chain([Xy::new(0.0, 300.0), Xy::new(0.0, -400.0)]), size, 26.0) else {
        return p;
    };
    p.line([placing.at(Xy::new(0.0, 0.0)), placing.at(Xy::new(0.0, 300.0))], Ink::Ink, 4.0);
    let tip = placing.at(Xy::new(0.0, 300.0));
    p.arrowhead(tip, vec2(0.0, -1.0), 10.0, Ink::Ink);
    for metres in [250.0, 500.0] {
        let (a, b) = (placing.at(Xy::new(-600.0, -metres)), placing.at(Xy::new(600.0, -metres)));
        p.dashed([a, b], Ink::Line, 1.0, (4.0, 4.0));
        p.text(a + vec2(2.0, -2.0), Align2::LEFT_BOTTOM, units.format_length(metres), Ink::Soft);
    }
    for way in &ways {
        let inside: Vec<Pos2> = way.iter().filter(|q| placing.shows(**q)).map(|q| placing.at(*q)).collect();
        if inside.len() > 1 {
            p.line(inside, Ink::Accent, 1.5);
        }
    }
    scale_bar(&mut p, size, placing.scale, units);
    p
}

/// One measure of every exercise in the order flown: dots, and over the last ten of each their middle and spread; with a
/// line where the pilot has a number of his own.
#[must_use]
pub fn along(trend: &Along, own: Option<f64>, size: Vec2, say: &dyn Fn(f64) -> String, what: &str) -> Picture {
    let mut p = Picture::new(size, format!("{what}, in the order flown"));
    let (left, right, top, bottom) = (58.0, 12.0, 12.0, 14.0);
    let most = trend.values.iter().copied().fold(own.unwrap_or(0.0), f64::max).max(1.0) * 1.15;
    let y = |d: f64| size.y - bottom - (d / most) as f32 * (size.y - top - bottom);
    let step = (size.x - left - right) / trend.values.len().max(1) as f32;
    let x = |i: usize| left + (i as f32 + 0.5) * step;
    let middle = trend.spread.map(|s| s.middle);
    for value in [Some(0.0), own.or(middle)].into_iter().flatten() {
        let (ink, width) = if value > 0.0 { (Ink::Ink, 1.5) } else { (Ink::Line, 1.0) };
        p.line([pos2(left, y(value)), pos2(size.x - right, y(value))], ink, width);
        p.text(pos2(left - 5.0, y(value)), Align2::RIGHT_CENTER, say(value), Ink::Soft);
    }
    let way = |of: &dyn Fn(&Spread) -> f64| -> Vec<Pos2> {
        trend.running.iter().enumerate().map(|(i, s)| pos2(x(i), y(of(s)))).collect()
    };
    if trend.running.len() > 1 {
        p.line(way(&|s| s.low), Ink::Line, 1.0);
        p.line(way(&|s| s.high), Ink::Line, 1.0);
        p.line(way(&|s| s.middle), Ink::Accent, 2.0);
    }
    for (i, d) in trend.values.iter().enumerate() {
        p.dot(pos2(x(i), y(*d)), if trend.values.len() > 200 { 1.5 } else { 3.0 }, Ink::Accent);
    }
    p
}
