//! Axes with round figures, and what both profiles share.

use super::super::picture::{Ink, Picture};
use egui::{Align2, Pos2, Rect, Vec2, pos2, vec2};
use sparefield_data::quantity::{HeightUnit, UnitPrefs, format_quantity};
use sparefield_geometry::fields::verdict::Quantity;

/// A rectangle on the page with what it shows along and upwards.
pub(super) struct Axes {
    pub(super) rect: Rect,
    pub(super) x: (f64, f64),
    pub(super) y: (f64, f64),
}

impl Axes {
    pub(super) fn at(&self, x: f64, y: f64) -> Pos2 {
        let share = |v: f64, (low, high): (f64, f64)| ((v - low) / (high - low)) as f32;
        let y = self.rect.bottom() - share(y, self.y) * self.rect.height();
        pos2(
            self.rect.left() + share(x, self.x) * self.rect.width(),
            y.clamp(self.rect.top() - 1.0, self.rect.bottom() + 1.0),
        )
    }
    pub(super) fn frame(&self, p: &mut Picture) {
        let r = self.rect;
        p.line([r.left_top(), r.left_bottom(), r.right_bottom()], Ink::Line, 1.0);
    }
    /// Level lines at round figures of a unit, with their figures on the left.
    pub(super) fn levels(&self, p: &mut Picture, unit: f64, most: usize, words: &dyn Fn(f64) -> String) {
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
    pub(super) fn along(&self, p: &mut Picture, unit: f64, words: &dyn Fn(f64) -> String) {
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
pub(super) fn round_step(wanted: f64) -> f64 {
    let mut step = 0.001;
    for factor in [2.0, 2.5, 2.0].iter().cycle().take(30) {
        if step >= wanted {
            break;
        }
        step *= factor;
    }
    step
}

pub(super) fn foot(units: UnitPrefs) -> f64 {
    match units.height {
        HeightUnit::Ft => 0.304_8,
        HeightUnit::M => 1.0,
    }
}

pub(super) fn whole(value: f64, unit: f64) -> String {
    let shown = value / unit;
    let decimals = u8::from(shown.abs() < 10.0 && (shown - shown.round()).abs() > 0.05);
    format_quantity(Quantity::Number(shown, decimals), &UnitPrefs::default())
}

/// Room on the left for figures, points.
pub(super) const LEFT: f32 = 52.0;
/// Room on the right, points.
pub(super) const RIGHT: f32 = 14.0;

/// The unbroken runs of a series with gaps.
pub(super) fn runs(points: impl Iterator<Item = Option<Pos2>>) -> Vec<Vec<Pos2>> {
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

/// Says how much taller heights are drawn than distances.
pub(super) fn exaggeration(p: &mut Picture, axes: &Axes, size: Vec2) {
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
