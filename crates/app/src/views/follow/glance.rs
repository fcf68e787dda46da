//! The best field at one glance: which, where, how much height is to spare; and the one after it.

use super::age_words;
use crate::command::Command;
use crate::model::{FollowCommand, Freshness, Model};
use crate::theme::{Theme, space, with_alpha};
use crate::views::list::signed_height;
use crate::views::marks;
use egui::{Color32, Pos2, Rect, RichText, Sense, Shape, Stroke, Ui, Vec2, vec2};
use sparefield_data::quantity::format_bearing;
use sparefield_geometry::fields::verdict::RankedField;
use sparefield_geometry::position::Bearing;
use std::fmt::Write as _;

/// The largest words, points.
const BIG: f32 = 30.0;
/// The second choice and what belongs to the aircraft, points.
const NEXT: f32 = 20.0;

/// A field whose middle is nearer than this has no direction to speak of, metres (common practice, no source).
const BELOW_M: f64 = 100.0;

/// What is to be known within a second.
pub(super) fn glance(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let c = &theme.colours;
    let freshness = model.follow.freshness();
    let faded = match freshness {
        Freshness::Current => c.ink,
        Freshness::Old(age) => {
            let words = format!("{} old: not where you are now", age_words(age));
            ui.label(RichText::new(words).font(theme.bold_font(NEXT)).color(c.caution));
            c.out
        }
        Freshness::Gone => {
            let words = if model.follow.answer_age.is_some() {
                "Nothing is shown: the last position is too old"
            } else if model.cannot_assess.is_some() || model.follow.problem.is_some() {
                ""
            } else {
                "Waiting for a position"
            };
            if !words.is_empty() {
                ui.add(egui::Label::new(RichText::new(words).font(theme.bold_font(NEXT)).color(c.ink_soft)).wrap());
            }
            if let Some(why) = &model.cannot_assess {
                ui.add(egui::Label::new(RichText::new(why).size(theme.sizes.heading).color(c.caution)).wrap());
            }
            return;
        }
    };
    if let Some(why) = &model.cannot_assess {
        ui.add(egui::Label::new(RichText::new(why).size(theme.sizes.heading).color(c.caution)).wrap());
        return;
    }
    let choices = model.choices();
    let Some(best) = model.top_choice() else {
        let text = "No field passes the checks from here";
        ui.add(egui::Label::new(RichText::new(text).font(theme.bold_font(BIG)).color(faded)).wrap());
        let text = "Land ahead as you were taught.";
        ui.label(RichText::new(text).size(NEXT).color(faded));
        aircraft(ui, model, theme, faded);
        return;
    };
    let shown = if model.follow.pinned {
        choices.iter().find(|r| Some(r.index) == model.selected).copied().unwrap_or(best)
    } else {
        best
    };
    choice(ui, model, theme, shown, faded, BIG);
    if shown.index != best.index {
        let button = egui::Button::new("Show the best field").min_size(vec2(ui.available_width(), 30.0));
        if ui.add(button).clicked() {
            commands.push(Command::Follow(FollowCommand::Unpin));
        }
    }
    ui.add_space(space::LINE);
    if let Some(next) = choices.iter().find(|r| r.index != shown.index) {
        choice(ui, model, theme, next, faded, NEXT);
    } else {
        ui.label(RichText::new("There is no second choice").size(NEXT).color(faded));
    }
    ui.separator();
    aircraft(ui, model, theme, faded);
}

/// One field: name, way there, spare height.
fn choice(ui: &mut Ui, model: &Model, theme: &Theme, ranked: &RankedField, ink: Color32, size: f32) {
    let Some(field) = model.area.as_ref().and_then(|a| a.fields.get(ranked.index)) else { return };
    let units = model.settings.units;
    let way = field.centroid() - model.conditions.position;
    let convergence = model.convergence_rad(model.conditions.position);
    let bearing = way.bearing();
    let below = way.norm() < BELOW_M;
    let mut words = if below { "below you".to_owned() } else { units.format_length(way.norm()) };
    if let Some(bearing) = bearing.filter(|_| !below) {
        let _ = write!(words, " · {}", format_bearing(Bearing::from_rad(bearing.rad() + convergence)));
        if let Some(track) = model.follow.track {
            let _ = write!(words, " · {}", clock(track.turn_to(bearing)));
        }
    }
    let spare = ranked
        .spare_height_m
        .map_or_else(|| "spare height not known".to_owned(), |s| format!("{} spare", signed_height(units, s)));
    let side = (size * 1.5).max(44.0);
    ui.horizontal(|ui| {
        let (rect, response) = ui.allocate_exact_size(vec2(side, side * 1.2), Sense::hover());
        let spoken = format!("{}. {}, {words}, {spare}", ranked.rank, field.label());
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::ListItem, true, &spoken));
        let badge = pos_of_badge(rect);
        marks::rank_badge(ui, theme, badge, ranked.verdict, ranked.rank);
        if let (Some(track), Some(bearing), false) = (model.follow.track, bearing, below) {
            arrow(ui, Rect::from_center_size(badge, Vec2::splat(side)), track.turn_to(bearing), ink);
        }
        ui.vertical(|ui| {
            ui.spacing_mut().item_spacing.y = 1.0;
            let line = |ui: &mut Ui, text: &str, font| {
                ui.add(egui::Label::new(RichText::new(text).font(font).color(ink)).truncate());
            };
            line(ui, field.label(), theme.bold_font(size));
            line(ui, &spare, theme.bold_font(size.max(22.0)));
            line(ui, &words, theme.bold_font(NEXT.min(size)));
            let landing = ranked.strip.as_ref().map_or_else(String::new, |s| {
                format!(" · land {}", format_bearing(Bearing::from_rad(s.heading.rad() + convergence)))
            });
            line(ui, &format!("{}{landing}", ranked.verdict.words()), egui::FontId::proportional(theme.sizes.heading));
        });
    });
}

fn pos_of_badge(rect: Rect) -> Pos2 {
    Pos2::new(rect.center().x, rect.top() + rect.width() / 2.0)
}

/// An arrow round the badge: straight up is straight ahead.
fn arrow(ui: &Ui, rect: Rect, turn: f64, ink: Color32) {
    let rot = egui::emath::Rot2::from_angle(turn as f32);
    let (middle, radius) = (rect.center(), rect.width() / 2.0);
    let at = |x: f32, y: f32| middle + rot * vec2(x, y);
    let tip = vec![at(0.0, -radius - 3.0), at(7.0, -radius + 6.0), at(-7.0, -radius + 6.0)];
    ui.painter().circle_stroke(middle, radius - 4.0, Stroke::new(1.0, with_alpha(ink, 0.35)));
    ui.painter().add(Shape::convex_polygon(tip, ink, Stroke::NONE));
}

/// A direction from the nose as the hour on a clock, the trade's way of saying where to look.
fn clock(turn_rad: f64) -> String {
    let hour = (turn_rad.to_degrees() / 30.0).round().rem_euclid(12.0);
    let hour = if hour == 0.0 { 12.0 } else { hour };
    format!("{hour:.0} o'clock")
}

/// Height above ground and speed over it.
fn aircraft(ui: &mut Ui, model: &Model, theme: &Theme, ink: Color32) {
    let units = model.settings.units;
    if let Some(assessment) = &model.assessment {
        let height = units.format_height_at_least(assessment.height_agl_m());
        ui.label(RichText::new(format!("{height} above ground")).font(theme.bold_font(NEXT)).color(ink));
    }
    if let Some(speed) = model.follow.speed_ms {
        let words = format!("{} over the ground", units.format_speed(speed));
        ui.label(RichText::new(words).size(theme.sizes.heading).color(ink));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directions_are_hours_on_the_clock() {
        for (deg, words) in [
            (0.0, "12 o'clock"),
            (14.0, "12 o'clock"),
            (44.0, "1 o'clock"),
            (90.0, "3 o'clock"),
            (180.0, "6 o'clock"),
            (-90.0, "9 o'clock"),
            (-20.0, "11 o'clock"),
        ] {
            assert_eq!(clock(f64::to_radians(deg)), words, "{deg}");
        }
    }
}
