//! The rose drawn: for every direction the wind may come from, how much length can be used, and how much is needed.

use super::One;
use super::picture::{Ink, Picture, text_width};
use crate::theme::Sizes;
use egui::{Align2, Pos2, Vec2, pos2, vec2};
use sparefield_data::quantity::{LengthUnit, UnitPrefs, format_bearing};
use sparefield_geometry::fields::sheet::{DIRECTIONS, Landing};
use sparefield_geometry::math;
use sparefield_geometry::position::Bearing;

/// Room for the compass round the rose, points.
const RIM: f32 = 42.0;
/// Room for the legend below it, points.
const LEGEND: f32 = 58.0;

/// How the rose is drawn.
#[derive(Clone, Copy, Debug)]
pub struct RoseLook<'a> {
    /// Side of the square it stands in, points; the legend comes below.
    pub side: f32,
    /// Length at the rim, metres.
    pub rim_m: f64,
    /// The direction looked at, as a place in the rose.
    pub looked: Option<usize>,
    /// Where the present wind comes from, true.
    pub present: Option<Bearing>,
    /// Units.
    pub units: UnitPrefs,
    /// Sizes of text.
    pub sizes: &'a Sizes,
}

/// The longest length that has to fit into a rose, metres.
#[must_use]
pub fn longest_m(one: &One) -> f64 {
    let landings = || one.sheet.rose.iter().filter_map(|b| b.landing.as_ref()).map(|l| &l.strip);
    let usable = landings().map(|s| s.usable_length_m).fold(0.0, f64::max);
    let needed = landings().map(|s| s.needed_length_m).filter(|n| n.is_finite()).fold(0.0, f64::max);
    // A needed length far beyond what is there would squeeze the bars; it is drawn at the rim then.
    usable.max(needed.min(usable.max(100.0) * 1.6))
}

/// Length at the rim of roses that are to be compared, metres: a round figure in the reader's unit.
#[must_use]
pub fn rim_m(longest_m: f64, units: UnitPrefs) -> f64 {
    let step = step_m(longest_m, units);
    (longest_m / step).ceil().max(1.0) * step
}

fn step_m(longest_m: f64, units: UnitPrefs) -> f64 {
    let unit = units.length.metres();
    let wanted = longest_m / unit / 4.0;
    let steps: &[f64] = match units.length {
        LengthUnit::M => &[10.0, 25.0, 50.0, 100.0, 200.0, 500.0],
        LengthUnit::Ft | LengthUnit::Yd => &[50.0, 100.0, 200.0, 250.0, 500.0, 1_000.0],
    };
    unit * steps.iter().copied().find(|s| *s >= wanted).unwrap_or(2_000.0)
}

/// The middle of the rose in its picture, and the radius of its rim.
#[must_use]
pub fn middle(side: f32) -> (Pos2, f32) {
    (pos2(side / 2.0, side / 2.0), (side / 2.0 - RIM).max(20.0))
}

/// The direction of the rose that a place in its picture points to; `None` in the very middle and outside the rim.
#[must_use]
pub fn direction_at(side: f32, at: Pos2) -> Option<usize> {
    let (centre, radius) = middle(side);
    let off = at - centre;
    if off.length() < 6.0 || off.length() > radius + RIM {
        return None;
    }
    let bearing = math::atan2(f64::from(off.x), f64::from(-off.y));
    Some(nearest(Bearing::from_rad(bearing)))
}

/// The direction of the rose nearest to a true bearing.
#[must_use]
pub fn nearest(from_true: Bearing) -> usize {
    (from_true.rad() / math::TAU * DIRECTIONS as f64).round() as usize % DIRECTIONS
}

/// The true bearing of a direction of the rose.
#[must_use]
pub fn bearing(direction: usize) -> Bearing {
    Bearing::from_rad(direction as f64 / DIRECTIONS as f64 * math::TAU)
}

fn out(bearing: Bearing, radius: f32) -> Vec2 {
    let unit = bearing.unit();
    vec2(unit.x as f32, -unit.y as f32) * radius
}

/// How a bar is drawn.
#[derive(Clone, Copy, PartialEq)]
enum Bar {
    Serves,
    Short,
    Barred,
}

fn kind(landing: &Landing) -> Bar {
    if landing.in_hand_m() < 0.0 {
        Bar::Short
    } else if landing.passes() {
        Bar::Serves
    } else {
        Bar::Barred
    }
}

/// The rose.
#[must_use]
pub fn picture(one: &One, look: &RoseLook<'_>) -> Picture {
    let (centre, radius) = middle(look.side);
    let words = match one.sheet.best() {
        Some(_) => "Rose of usable length by where the wind comes from",
        None => "An empty rose: no strip fits",
    };
    let mut p = Picture::new(vec2(look.side, look.side + LEGEND), words);
    let scale = radius / look.rim_m as f32;
    scale_rings(&mut p, centre, radius, look);
    let half = math::TAU / DIRECTIONS as f64 / 2.0 * 0.86;
    for (i, bar) in one.sheet.rose.iter().enumerate() {
        let Some(landing) = &bar.landing else { continue };
        let length = (landing.strip.usable_length_m as f32 * scale).min(radius);
        let at = bearing(i).rad();
        let corner = |turn: f64| centre + out(Bearing::from_rad(at + turn), length);
        let wedge = [centre, corner(-half), corner(half)];
        wedge_marks(&mut p, &wedge, kind(landing), look.looked == Some(i));
    }
    let needed: Vec<Pos2> = one
        .sheet
        .rose
        .iter()
        .enumerate()
        .filter_map(|(i, b)| b.landing.as_ref().map(|l| (i, l.strip.needed_length_m)))
        .map(|(i, needed)| centre + out(bearing(i), (needed as f32 * scale).min(radius)))
        .collect();
    if needed.len() == DIRECTIONS {
        p.outline(&needed, Ink::Paper, 4.5);
        p.outline(&needed, Ink::Ink, 2.0);
    }
    compass(&mut p, centre, radius, look);
    if let Some(i) = look.looked {
        let towards = out(bearing(i), radius);
        p.dashed([centre, centre + towards], Ink::Ink, 1.0, (2.0, 3.0));
    }
    legend(&mut p, look);
    p
}

fn wedge_marks(p: &mut Picture, wedge: &[Pos2; 3], kind: Bar, looked: bool) {
    match kind {
        Bar::Serves => p.area(*wedge, Ink::Accent, if looked { 0.9 } else { 0.5 }),
        Bar::Short => {
            p.hatch(wedge, Ink::Caution, 1.0, 4.0);
            p.outline(wedge, Ink::Caution, if looked { 2.0 } else { 0.8 });
        }
        Bar::Barred => p.outline(wedge, Ink::Soft, if looked { 2.0 } else { 0.8 }),
    }
    if looked && kind == Bar::Serves {
        p.outline(wedge, Ink::Ink, 1.5);
    }
}

fn scale_rings(p: &mut Picture, centre: Pos2, radius: f32, look: &RoseLook<'_>) {
    let step = step_m(look.rim_m * 0.999, look.units);
    let circle = |r: f32| (0..=90).map(|k| centre + out(Bearing::from_deg(f64::from(k) * 4.0), r)).collect::<Vec<_>>();
    let mut at = step;
    while at < look.rim_m * 1.001 {
        p.line(circle(radius * (at / look.rim_m) as f32), Ink::Line, 1.0);
        at += step;
    }
    for k in 0..4 {
        let towards = out(Bearing::from_deg(f64::from(k) * 90.0), radius);
        p.line([centre, centre + towards], Ink::Line, 1.0);
    }
}

fn compass(p: &mut Picture, centre: Pos2, radius: f32, look: &RoseLook<'_>) {
    let step = step_m(look.rim_m * 0.999, look.units);
    for k in 0..12 {
        let from = Bearing::from_deg(f64::from(k) * 30.0);
        let tick = centre + out(from, radius);
        p.line([tick, centre + out(from, radius + 5.0)], Ink::Soft, 1.0);
        let text = match k {
            0 => "N".to_owned(),
            3 => "E".to_owned(),
            6 => "S".to_owned(),
            9 => "W".to_owned(),
            _ => format_bearing(from),
        };
        // The wind's arrow comes in over the rim; a figure under it could not be read.
        if look.present.is_some_and(|present| present.turn_to(from).abs() < 12f64.to_radians()) {
            continue;
        }
        let at = centre + out(from, radius + 17.0);
        if k % 3 == 0 {
            p.bold(at, Align2::CENTER_CENTER, text, Ink::Ink);
        } else {
            p.text(at, Align2::CENTER_CENTER, text, Ink::Soft);
        }
    }
    // Scale figures run out between the north and the 30° marks, where bars are as likely as anywhere else.
    let mut at = step;
    while at < look.rim_m * 1.001 {
        let place = centre + out(Bearing::from_deg(15.0), radius * (at / look.rim_m) as f32);
        p.text(place, Align2::CENTER_CENTER, look.units.format_length(at), Ink::Soft);
        at += step;
    }
    if let Some(present) = look.present {
        // The arrow flies with the wind: from the rim inwards.
        let tip = centre + out(present, radius + 1.0);
        let tail = centre + out(present, radius + 40.0);
        p.line([tail, tip], Ink::Ink, 2.5);
        p.arrowhead(tip, tip - tail, 11.0, Ink::Ink);
    }
}

fn legend(p: &mut Picture, look: &RoseLook<'_>) {
    let small = look.sizes.small;
    let (mut x, mut y) = (4.0f32, look.side + 10.0);
    let mut entry = |p: &mut Picture, words: &str, draw: &dyn Fn(&mut Picture, Pos2)| {
        let width = 24.0 + text_width(words, small) + 12.0;
        if x > 4.0 && x + width > look.side {
            (x, y) = (4.0, y + 18.0);
        }
        draw(p, pos2(x, y));
        p.text(pos2(x + 24.0, y), Align2::LEFT_CENTER, words, Ink::Ink);
        x += width;
    };
    let swatch = |at: Pos2| [at + vec2(0.0, -5.0), at + vec2(18.0, -5.0), at + vec2(18.0, 5.0), at + vec2(0.0, 5.0)];
    entry(p, "usable", &|p, at| p.area(swatch(at), Ink::Accent, 0.5));
    entry(p, "usable, too short", &|p, at| {
        p.hatch(&swatch(at), Ink::Caution, 1.0, 4.0);
        p.outline(&swatch(at), Ink::Caution, 0.8);
    });
    entry(p, "usable, barred by another check", &|p, at| p.outline(&swatch(at), Ink::Soft, 0.8));
    entry(p, "needed", &|p, at| p.line([at, at + vec2(18.0, 0.0)], Ink::Ink, 2.0));
    if look.present.is_some() {
        entry(p, "present wind", &|p, at| {
            p.line([at, at + vec2(16.0, 0.0)], Ink::Ink, 2.5);
            p.arrowhead(at + vec2(18.0, 0.0), vec2(1.0, 0.0), 9.0, Ink::Ink);
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_on_the_rose_is_the_direction_it_lies_in() {
        let (centre, radius) = middle(300.0);
        for direction in 0..DIRECTIONS {
            let at = centre + out(bearing(direction), radius * 0.6);
            assert_eq!(direction_at(300.0, at), Some(direction));
            assert_eq!(nearest(bearing(direction)), direction);
        }
        assert_eq!(direction_at(300.0, centre), None);
        assert_eq!(direction_at(300.0, pos2(-500.0, 0.0)), None);
        assert_eq!(nearest(Bearing::from_deg(359.0)), 0);
    }

    #[test]
    fn the_rim_is_round_and_holds_the_longest() {
        let units = UnitPrefs::default();
        for longest in [12.0, 99.0, 290.0, 640.0, 1_900.0] {
            let rim = rim_m(longest, units);
            assert!(rim >= longest && rim <= 2.0 * longest.max(10.0), "{longest}: {rim}");
        }
    }
}
