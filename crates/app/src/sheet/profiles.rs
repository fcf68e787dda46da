//! The ground along a strip and the approach to it, seen from the side.

use super::One;
use super::picture::{Ink, Picture, text_width};
use super::words;
use crate::theme::Sizes;
use egui::{Align2, Pos2, Rect, Vec2, pos2, vec2};
use sparefield_data::quantity::{HeightUnit, LengthUnit, UnitPrefs, format_slope};
use sparefield_geometry::fields::criteria::{MAX_CROSS_SLOPE, MAX_DOWNHILL};
use sparefield_geometry::fields::sheet::{ApproachProfile, ApproachThing, Way};
use sparefield_geometry::fields::study::Under;

/// What the profiles of fields that are compared share, so that they are drawn alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scales {
    /// Longest strip, metres.
    pub strip_m: f64,
    /// Lowest and highest ground along a strip against its landing end, with the terrain's error, metres.
    pub ground_m: (f64, f64),
    /// Largest slope along or across, rise over run.
    pub slope: f64,
    /// How far before the landing end, metres.
    pub before_m: f64,
    /// How far behind it, metres.
    pub behind_m: f64,
    /// Lowest and highest of the approach against the landing end, metres.
    pub approach_m: (f64, f64),
}

/// How far before the landing end the lowest path is still in the picture, metres, whatever stands there.
const PATH_SHOWN_M: f64 = 180.0;

impl Scales {
    /// Scales that hold every way.
    #[must_use]
    pub fn of(ways: &[&Way]) -> Self {
        let mut s = Self {
            strip_m: 50.0,
            ground_m: (0.0, 0.0),
            slope: MAX_CROSS_SLOPE,
            before_m: 0.0,
            behind_m: 60.0,
            approach_m: (0.0, 5.0),
        };
        let widen = |range: &mut (f64, f64), v: f64| *range = (range.0.min(v), range.1.max(v));
        for way in ways {
            s.strip_m = s.strip_m.max(way.landing.strip.length_m);
            let error = way.slope.height_error_m.unwrap_or(0.0);
            for station in &way.slope.stations {
                if let Some(h) = station.height_m {
                    widen(&mut s.ground_m, h - error);
                    widen(&mut s.ground_m, h + error);
                }
                for slope in [station.slope, station.cross_slope].into_iter().flatten() {
                    s.slope = s.slope.max(slope.abs());
                }
            }
            let a = &way.approach;
            s.before_m = s.before_m.max(a.shown_m);
            s.behind_m = s.behind_m.max((a.aiming_m + 30.0).min(way.landing.strip.length_m));
            for g in a.ground.iter().filter_map(|g| g.height_m) {
                widen(&mut s.approach_m, g - error);
                widen(&mut s.approach_m, g + error);
            }
            for (_, top) in a.things.iter().flat_map(|t| t.tops.iter().copied()) {
                widen(&mut s.approach_m, top);
            }
            // Further out the path only leads away from everything, and would press what matters flat.
            widen(&mut s.approach_m, a.path_m(PATH_SHOWN_M).min(100.0));
        }
        s.slope = s.slope.min(0.25);
        // A picture of level ground would otherwise show the last bits of numbers as hills.
        if s.ground_m.1 - s.ground_m.0 < 6.0 {
            let middle = (s.ground_m.0 + s.ground_m.1) / 2.0;
            s.ground_m = (middle - 3.0, middle + 3.0);
        }
        s
    }
}

/// A rectangle on the page with what it shows along and upwards.
struct Axes {
    rect: Rect,
    x: (f64, f64),
    y: (f64, f64),
}

impl Axes {
    fn at(&self, x: f64, y: f64) -> Pos2 {
        let share = |v: f64, (low, high): (f64, f64)| ((v - low) / (high - low)) as f32;
        let y = self.rect.bottom() - share(y, self.y) * self.rect.height();
        pos2(
            self.rect.left() + share(x, self.x) * self.rect.width(),
            y.clamp(self.rect.top() - 1.0, self.rect.bottom() + 1.0),
        )
    }
    fn frame(&self, p: &mut Picture) {
        let r = self.rect;
        p.line([r.left_top(), r.left_bottom(), r.right_bottom()], Ink::Line, 1.0);
    }
    /// Level lines at round figures of a unit, with their figures on the left.
    fn levels(&self, p: &mut Picture, unit: f64, most: usize, words: &dyn Fn(f64) -> String) {
        let step = round_step((self.y.1 - self.y.0) / unit / most as f64) * unit;
        let mut level = (self.y.0 / step).ceil() * step;
        while level <= self.y.1 {
            let at = self.at(self.x.0, level);
            let ink = if level.abs() < step * 0.01 { Ink::Soft } else { Ink::Line };
            p.line([at, pos2(self.rect.right(), at.y)], ink, 1.0);
            p.text(
                at - vec2(6.0, 0.0),
                Align2::RIGHT_CENTER,
                words(if level.abs() < step * 0.01 { 0.0 } else { level }),
                Ink::Soft,
            );
            level += step;
        }
    }
    /// Figures along the foot.
    fn along(&self, p: &mut Picture, unit: f64, words: &dyn Fn(f64) -> String) {
        let most = (self.rect.width() / 90.0).max(2.0);
        let step = round_step((self.x.1 - self.x.0) / unit / f64::from(most)) * unit;
        let mut x = (self.x.0 / step).ceil() * step;
        while x <= self.x.1 + step * 1e-6 {
            let at = self.at(x, self.y.0);
            p.line([pos2(at.x, self.rect.bottom()), pos2(at.x, self.rect.bottom() + 4.0)], Ink::Soft, 1.0);
            p.text(
                pos2(at.x, self.rect.bottom() + 6.0),
                Align2::CENTER_TOP,
                words(if x.abs() < step * 0.01 { 0.0 } else { x }),
                Ink::Soft,
            );
            x += step;
        }
    }
}

/// The next of 1, 2, 5, 10, 20, 50… that is not less.
fn round_step(wanted: f64) -> f64 {
    let mut step = 0.001;
    for factor in [2.0, 2.5, 2.0].iter().cycle().take(30) {
        if step >= wanted {
            break;
        }
        step *= factor;
    }
    step
}

fn foot(units: UnitPrefs) -> f64 {
    match units.height {
        HeightUnit::Ft => 0.304_8,
        HeightUnit::M => 1.0,
    }
}

fn whole(value: f64, unit: f64) -> String {
    let shown = value / unit;
    if shown.abs() < 10.0 && (shown - shown.round()).abs() > 0.05 {
        format!("{shown:.1}")
    } else {
        format!("{shown:.0}")
    }
}

/// How profiles are drawn.
#[derive(Clone, Copy, Debug)]
pub struct ProfileLook<'a> {
    /// Size, points.
    pub size: Vec2,
    /// Scales.
    pub scales: &'a Scales,
    /// Units.
    pub units: UnitPrefs,
    /// Sizes of text.
    pub sizes: &'a Sizes,
}

const LEFT: f32 = 52.0;
const RIGHT: f32 = 14.0;

/// The ground along a way, with the terrain's error as a band, and its slopes along and across below.
#[must_use]
pub fn slope(one: &One, way: &Way, look: &ProfileLook<'_>) -> Picture {
    let words = format!("Ground along the strip, {}", words::way_name(one, way));
    let mut p = Picture::new(look.size, words);
    let size = look.size;
    if way.slope.stations.iter().all(|s| s.height_m.is_none()) {
        p.text(
            (size / 2.0).to_pos2(),
            Align2::CENTER_CENTER,
            "No terrain under the strip: its slope is not known",
            Ink::Caution,
        );
        return p;
    }
    let split = size.y * 0.58;
    let x = (0.0, look.scales.strip_m);
    let ground = Axes {
        rect: Rect::from_min_max(pos2(LEFT, 22.0), pos2(size.x - RIGHT, split - 16.0)),
        x,
        y: look.scales.ground_m,
    };
    let unit = foot(look.units);
    let symbol = look.units.height.symbol();
    p.text(pos2(2.0, 8.0), Align2::LEFT_CENTER, format!("Height against the landing end, {symbol}"), Ink::Soft);
    ground.levels(&mut p, unit, 4, &|v| whole(v, unit));
    heights(&mut p, way, &ground);
    strip_marks(&mut p, way, &ground);
    exaggeration(&mut p, &ground, size);

    let slopes = Axes {
        rect: Rect::from_min_max(pos2(LEFT, split + 16.0), pos2(size.x - RIGHT, size.y - 34.0)),
        x,
        y: (-look.scales.slope * 1.1, look.scales.slope * 1.1),
    };
    p.text(
        pos2(2.0, split + 4.0),
        Align2::LEFT_CENTER,
        "Slope, %: along (line, uphill positive), across (broken, rising to the right)",
        Ink::Soft,
    );
    slopes.levels(&mut p, 0.01, 4, &|v| whole(v, 0.01));
    // What is too steep downhill.
    p.dashed([slopes.at(x.0, -MAX_DOWNHILL), slopes.at(x.1, -MAX_DOWNHILL)], Ink::Caution, 1.0, (3.0, 3.0));
    let limit = format!("{} downhill: the limit", format_slope(MAX_DOWNHILL));
    p.text(slopes.at(x.1, -MAX_DOWNHILL) + vec2(0.0, 2.0), Align2::RIGHT_TOP, limit, Ink::Caution);
    let series = |f: &dyn Fn(&sparefield_geometry::fields::sheet::GroundStation) -> Option<f64>| {
        runs(way.slope.stations.iter().map(|s| f(s).map(|v| slopes.at(s.along_m, v))))
    };
    for run in series(&|s| s.slope) {
        p.line(run, Ink::Accent, 2.0);
    }
    for run in series(&|s| s.cross_slope) {
        p.dashed(run, Ink::Ink, 1.5, (6.0, 4.0));
    }
    slopes.frame(&mut p);
    let length = look.units.length.metres();
    slopes.along(&mut p, length, &|v| whole(v, length));
    p.text(
        pos2(size.x - RIGHT, size.y - 2.0),
        Align2::RIGHT_BOTTOM,
        format!("along the strip, {}", look.units.length.symbol()),
        Ink::Soft,
    );
    p
}

/// The unbroken runs of a series with gaps.
fn runs(points: impl Iterator<Item = Option<Pos2>>) -> Vec<Vec<Pos2>> {
    let mut out: Vec<Vec<Pos2>> = vec![Vec::new()];
    for point in points {
        match (point, out.last_mut()) {
            (Some(point), Some(run)) => run.push(point),
            _ => out.push(Vec::new()),
        }
    }
    out.retain(|run| run.len() > 1);
    out
}

fn heights(p: &mut Picture, way: &Way, axes: &Axes) {
    let error = way.slope.height_error_m.unwrap_or(0.0);
    let series = |more: f64| runs(way.slope.stations.iter().map(|s| s.height_m.map(|h| axes.at(s.along_m, h + more))));
    for (upper, lower) in series(error).into_iter().zip(series(-error)) {
        p.marks.push(super::picture::Mark::Band { upper, lower, ink: Ink::Ground, alpha: 0.22 });
    }
    for run in series(0.0) {
        p.line(run, Ink::Ground, 2.5);
    }
}

/// Where the landing end is moved to, the aiming point and the needed length, along the foot of the ground.
fn strip_marks(p: &mut Picture, way: &Way, axes: &Axes) {
    let strip = &way.landing.strip;
    let y = axes.rect.bottom() + 7.0;
    let x = |m: f64| axes.at(m.min(axes.x.1), axes.y.0).x;
    let taken = strip.displacement_m.min(strip.length_m);
    let box_of = |from: f64, to: f64| {
        [pos2(x(from), y - 4.0), pos2(x(to), y - 4.0), pos2(x(to), y + 4.0), pos2(x(from), y + 4.0)]
    };
    p.outline(&box_of(0.0, strip.length_m), Ink::Accent, 1.0);
    p.area(box_of(taken, strip.length_m), Ink::Accent, 0.3);
    let stop = way.placing.stop_m.min(strip.length_m);
    p.line([pos2(x(way.placing.aiming_m), y), pos2(x(stop), y)], Ink::Ink, 2.5);
    if way.placing.stop_m > strip.length_m {
        p.dashed([pos2(x(stop), y), pos2(x(way.placing.stop_m), y)], Ink::Caution, 2.5, (4.0, 3.0));
    }
}

fn exaggeration(p: &mut Picture, axes: &Axes, size: Vec2) {
    let along = axes.rect.width() / (axes.x.1 - axes.x.0) as f32;
    let up = axes.rect.height() / (axes.y.1 - axes.y.0) as f32;
    let times = up / along;
    let words = if times < 10.0 {
        format!("heights drawn {times:.1} times")
    } else {
        format!("heights drawn {times:.0} times")
    };
    p.text(pos2(size.x - RIGHT, 8.0), Align2::RIGHT_CENTER, words, Ink::Soft);
}

/// The approach to a way: ground, what stands on it, the lowest path and the one to the aiming point. The aircraft
/// comes from the left.
#[must_use]
pub fn approach(one: &One, way: &Way, look: &ProfileLook<'_>) -> Picture {
    let profile = &way.approach;
    let mut p = Picture::new(look.size, format!("Approach from the side, {}", words::way_name(one, way)));
    let size = look.size;
    let unit = foot(look.units);
    let top = 26.0 + LABEL_ROWS as f32 * (look.sizes.small + 3.0);
    let axes = Axes {
        rect: Rect::from_min_max(pos2(LEFT, top), pos2(size.x - RIGHT, size.y - foot_room(look))),
        x: (-look.scales.before_m, look.scales.behind_m),
        y: look.scales.approach_m,
    };
    p.text(
        pos2(2.0, 8.0),
        Align2::LEFT_CENTER,
        format!("Height against the landing end, {}", look.units.height.symbol()),
        Ink::Soft,
    );
    exaggeration(&mut p, &axes, size);
    axes.levels(&mut p, unit, 5, &|v| whole(v, unit));
    ground(&mut p, way, profile, &axes);
    for thing in profile.things.iter().filter(|t| t.what != Under::Ground) {
        standing(&mut p, thing, &axes);
    }
    paths(&mut p, profile, &axes);
    thing_labels(&mut p, profile, look, &axes);
    axes.frame(&mut p);
    let length = look.units.length.metres();
    axes.along(&mut p, length, &|v| {
        if v == 0.0 { "landing end".to_owned() } else { whole(v.abs(), length) }
    });
    let foot = format!(
        "before the landing end, and behind it, {}",
        if look.units.length == LengthUnit::M { "m" } else { look.units.length.symbol() }
    );
    legend(&mut p, look, &foot);
    p
}

/// Rows for labels above the approach.
const LABEL_ROWS: usize = 3;

fn ground(p: &mut Picture, way: &Way, profile: &ApproachProfile, axes: &Axes) {
    let error = profile.height_error_m.unwrap_or(0.0);
    let outside = profile.ground.iter().rev().map(|g| (-g.before_m, g.height_m));
    let inside = way.slope.stations.iter().skip(1).map(|s| (s.along_m, s.height_m));
    let all: Vec<(f64, Option<f64>)> = outside.chain(inside).filter(|g| g.0 <= axes.x.1).collect();
    let series = |more: f64| runs(all.iter().map(|&(x, h)| h.map(|h| axes.at(x, h + more))));
    for (upper, lower) in series(error).into_iter().zip(series(-error)) {
        p.marks.push(super::picture::Mark::Band { upper, lower, ink: Ink::Ground, alpha: 0.22 });
    }
    for run in series(0.0) {
        p.line(run, Ink::Ground, 2.5);
    }
    let threshold = axes.at(0.0, 0.0);
    p.line([threshold - vec2(0.0, 7.0), threshold + vec2(0.0, 7.0)], Ink::Ink, 1.5);
}

fn thing_ink(what: Under) -> Ink {
    use sparefield_geometry::fields::model::{EdgeKind, HazardKind};
    match what {
        Under::Edge(EdgeKind::Hedge | EdgeKind::TreeLine) | Under::Hazard(HazardKind::LoneTree | HazardKind::Wood) => {
            Ink::Wood
        }
        Under::Edge(EdgeKind::Wires) | Under::Hazard(HazardKind::Wires | HazardKind::Mast) => Ink::Wires,
        Under::Hazard(HazardKind::Water) => Ink::Water,
        Under::Ground => Ink::Ground,
        Under::Edge(_) | Under::Hazard(_) | Under::Hole => Ink::Building,
    }
}

/// A thing from the side: solid where its height was measured, an empty outline where it was assumed.
fn standing(p: &mut Picture, thing: &ApproachThing, axes: &Axes) {
    let ink = thing_ink(thing.what);
    let within = |d: f64| d <= -axes.x.0;
    let tops: Vec<(f64, f64)> = thing.tops.iter().copied().filter(|t| within(t.0)).collect();
    let (Some(&first), Some(&last)) = (tops.first(), tops.last()) else { return };
    let wide = (axes.at(-first.0, 0.0).x - axes.at(-last.0, 0.0).x).abs() > 6.0;
    if wide {
        let upper: Vec<Pos2> = tops.iter().map(|t| axes.at(-t.0, t.1)).collect();
        let lower: Vec<Pos2> = tops.iter().map(|t| axes.at(-t.0, t.1 - thing.stands_m)).collect();
        if !thing.assumed && ink != Ink::Wires {
            p.marks.push(super::picture::Mark::Band { upper: upper.clone(), lower: lower.clone(), ink, alpha: 0.5 });
        }
        if ink == Ink::Wires {
            // Wires that cross askew: the line itself, and a pole at each end of it.
            for (top, foot) in [upper.first().zip(lower.first()), upper.last().zip(lower.last())].into_iter().flatten()
            {
                p.line([*top, *foot], ink, 1.2);
                p.dot(*top, 3.0, ink);
            }
            p.line(upper, ink, 1.5);
            return;
        }
        let round: Vec<Pos2> = upper.into_iter().chain(lower.into_iter().rev()).collect();
        p.outline(&round, ink, 1.5);
        return;
    }
    let highest = tops.iter().copied().fold(first, |a, b| if b.1 > a.1 { b } else { a });
    let (top, foot) = (axes.at(-highest.0, highest.1), axes.at(-highest.0, highest.1 - thing.stands_m));
    let half = 3.0;
    let corners = [top - vec2(half, 0.0), top + vec2(half, 0.0), foot + vec2(half, 0.0), foot - vec2(half, 0.0)];
    if thing.assumed {
        p.outline(&corners, ink, 1.2);
    } else {
        p.area(corners, ink, 0.9);
    }
    if matches!(ink, Ink::Wires) {
        p.dot(top, 3.5, ink);
    }
}

fn paths(p: &mut Picture, profile: &ApproachProfile, axes: &Axes) {
    if !profile.run_per_height.is_finite() {
        return;
    }
    // A path enters at the left edge or at the top of the picture.
    let from = |touch_m: f64| {
        let at_edge = (touch_m - axes.x.0) / profile.run_per_height;
        let height = at_edge.min(axes.y.1);
        axes.at(touch_m - height * profile.run_per_height, height)
    };
    let to = |touch_m: f64| axes.at(touch_m.min(axes.x.1), 0.0);
    if profile.aiming_m > profile.displacement_m + 1.0 {
        p.dashed([from(profile.aiming_m), to(profile.aiming_m)], Ink::Accent, 1.5, (7.0, 4.0));
    }
    p.line([from(profile.displacement_m), to(profile.displacement_m)], Ink::Accent, 2.0);
    let touch = to(profile.displacement_m);
    p.line([touch - vec2(0.0, 6.0), touch + vec2(0.0, 6.0)], Ink::Accent, 2.0);
}

/// Names above, each over its thing, as many as have room; the table beside the picture has all.
fn thing_labels(p: &mut Picture, profile: &ApproachProfile, look: &ProfileLook<'_>, axes: &Axes) {
    let small = look.sizes.small;
    let mut ends = [f32::NEG_INFINITY; LABEL_ROWS];
    // From the far end inwards, as the pilot comes.
    for (i, thing) in profile.things.iter().enumerate().rev() {
        if thing.before_m > -axes.x.0 {
            continue;
        }
        let mut words = thing.what.words().to_owned();
        if thing.stands_m > 0.0 {
            words.push(' ');
            words.push_str(&look.units.format_height(thing.stands_m));
        }
        if thing.assumed {
            words.push('?');
        }
        let governs = profile.governing == Some(i);
        let top = axes.at(-thing.before_m, thing.top_m);
        let width = text_width(&words, small) * if governs { 1.08 } else { 1.0 };
        let left = (top.x - width / 2.0).clamp(axes.rect.left(), (axes.rect.right() - width).max(axes.rect.left()));
        let Some(row) = (0..LABEL_ROWS).find(|&r| ends[r] < left) else { continue };
        ends[row] = left + width + 8.0;
        let y = 24.0 + (LABEL_ROWS - 1 - row) as f32 * (small + 3.0) + small / 2.0;
        p.dashed([pos2(top.x, y + small / 2.0 + 1.0), top], Ink::Soft, 0.8, (2.0, 3.0));
        let at = pos2(left, y);
        if governs {
            p.bold(at, Align2::LEFT_CENTER, words, Ink::Ink);
        } else {
            p.text(at, Align2::LEFT_CENTER, words, Ink::Ink);
        }
    }
}

const LEGEND: [&str; 4] = ["lowest path", "path to the aiming point", "ground, with its error", "? height assumed"];

/// Where the entries of the legend stand: their left edges, and how many rows they fill from the top.
fn legend_places(look: &ProfileLook<'_>) -> ([(f32, usize); 4], usize) {
    let (mut x, mut row) = (4.0, 0);
    let places = LEGEND.map(|words| {
        let width = 24.0 + text_width(words, look.sizes.small) + 10.0;
        if x > 4.0 && x + width > look.size.x {
            (x, row) = (4.0, row + 1);
        }
        let place = (x, row);
        x += width;
        place
    });
    (places, row + 1)
}

const LEGEND_ROW: f32 = 17.0;

/// Room under the approach for its figures and legend.
fn foot_room(look: &ProfileLook<'_>) -> f32 {
    36.0 + LEGEND_ROW * legend_places(look).1 as f32
}

fn legend(p: &mut Picture, look: &ProfileLook<'_>, foot: &str) {
    let (places, rows) = legend_places(look);
    let below = look.size.y - LEGEND_ROW * rows as f32;
    p.text(pos2(look.size.x - RIGHT, below - 6.0), Align2::RIGHT_CENTER, foot, Ink::Soft);
    for (kind, (words, (x, row))) in LEGEND.into_iter().zip(places).enumerate() {
        let y = below + LEGEND_ROW * (row as f32 + 0.5);
        let (a, b) = (pos2(x, y), pos2(x + 18.0, y));
        let shade = [a - vec2(0.0, 5.0), b - vec2(0.0, 5.0), b + vec2(0.0, 5.0), a + vec2(0.0, 5.0)];
        match kind {
            0 => p.line([a, b], Ink::Accent, 2.0),
            1 => p.dashed([a, b], Ink::Accent, 1.5, (7.0, 4.0)),
            2 => {
                p.area(shade, Ink::Ground, 0.22);
                p.line([a, b], Ink::Ground, 2.5);
            }
            _ => p.outline(&shade.map(|q| pos2(x + 6.0 + (q.x - x) / 3.0, q.y)), Ink::Building, 1.2),
        }
        p.text(pos2(x + 24.0, y), Align2::LEFT_CENTER, words, Ink::Ink);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_never_less_than_wanted() {
        for (wanted, expected) in [(0.9, 1.0), (1.0, 1.0), (1.1, 2.0), (3.0, 5.0), (30.0, 50.0), (51.0, 100.0)] {
            let step = round_step(wanted);
            assert!((step - expected).abs() < 1e-9 * expected, "{wanted}: {step}");
        }
    }

    #[test]
    fn a_series_breaks_at_its_gaps() {
        let at = |x: f32| Some(pos2(x, 0.0));
        let series = [at(0.0), at(1.0), None, at(3.0), None, at(5.0), at(6.0), at(7.0)];
        let lengths: Vec<usize> = runs(series.into_iter()).iter().map(Vec::len).collect();
        assert_eq!(lengths, [2, 3]);
    }
}
