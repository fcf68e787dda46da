//! The drawer under the map in Debrief: playing, and heights along time, tied to the map by the moment shown.

use crate::command::Command;
use crate::debrief::{pictures, words};
use crate::model::{Debrief, DebriefCommand, DebriefCorrection, DebriefMade, Model};
use crate::theme::{Theme, space};
use crate::views::sheet::paint;
use crate::views::timeline::{self, Moved};
use egui::{Frame, Layout, RichText, Sense, Slider, Stroke, Ui, WidgetInfo, vec2};
use sparefield_geometry::track::phases::PhaseKind;
use std::sync::Arc;

/// Height of the profile, points, where the window is high and where it is not.
const PROFILE: f32 = 130.0;
const LOW_PROFILE: f32 = 88.0;
/// Windows lower than this have a low profile, points.
const LOW_WINDOW: f32 = 700.0;
/// Narrowest slider that can be held, points.
const LEAST_SLIDER: f32 = 90.0;
/// Room at the left and right of the profile, as its picture has it, points.
const LEFT: f32 = 56.0;
const RIGHT: f32 = 10.0;

/// The drawer, while a sortie is open.
pub fn drawer(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    if model.mode != crate::model::Mode::Debrief {
        return;
    }
    let Some(made) = &model.debrief.made else { return };
    let low = ui.ctx().content_rect().height() < LOW_WINDOW;
    // Where two areas are compared in a low window, the map between them needs the room.
    if low && model.merging.is_some() {
        return;
    }
    let frame = Frame::new().fill(theme.colours.panel).inner_margin(egui::Margin::symmetric(12, 8));
    egui::Panel::bottom("debrief").resizable(false).frame(frame).show(ui, |ui| {
        ui.spacing_mut().item_spacing.y = 4.0;
        controls(ui, model, theme, commands);
        ui.add(egui::Label::new(RichText::new(moment(model, made)).size(theme.sizes.small)).truncate());
        profile(ui, model, made, theme, if low { LOW_PROFILE } else { PROFILE }, commands);
    });
}

fn controls(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let debrief = &model.debrief;
    let mut push = |command| commands.push(Command::Debrief(command));
    ui.horizontal(|ui| {
        let (text, help) = if debrief.playing {
            ("Pause", "Hold the flight here (Space)")
        } else {
            ("Play", "Play the flight (Space)")
        };
        if ui.add(egui::Button::new(text).min_size(vec2(62.0, 26.0))).on_hover_text(help).clicked() {
            push(DebriefCommand::Play(!debrief.playing));
        }
        ui.spacing_mut().item_spacing.x = space::TIGHT;
        for speed in Debrief::SPEEDS {
            let label = ui.selectable_label(debrief.speed == speed, format!("{speed}×"));
            if label.on_hover_text(format!("Play {speed} times as fast as it was flown")).clicked() {
                push(DebriefCommand::Speed(speed));
            }
        }
        ui.separator();
        if ui.button("See it").on_hover_text("Bring the exercise onto the map").clicked() {
            push(DebriefCommand::Frame);
        }
        let help = "Correct what was found, with the moment shown; your word stands whatever a later look finds";
        ui.menu_button("Correct…", |ui| corrections(ui, model, &mut push)).response.on_hover_text(help);
        ui.with_layout(Layout::right_to_left(egui::Align::Center), |ui| {
            let (first, last) = debrief.span_s();
            let text = format!("{} of {}", words::clock(debrief.at_s), words::clock(last));
            let clock = ui.label(RichText::new(text).font(theme.bold_font(theme.sizes.text)));
            // Where there is no room the profile below is dragged instead.
            if ui.available_width() < LEAST_SLIDER {
                return;
            }
            ui.spacing_mut().slider_width = (ui.available_width() - 4.0).max(40.0);
            let mut at_s = debrief.at_s;
            let slider = Slider::new(&mut at_s, first..=last.max(first + 0.1)).show_value(false);
            if ui.add(slider).labelled_by(clock.id).on_hover_text("Time since the first fix").changed() {
                push(DebriefCommand::At(at_s));
            }
        });
    });
}

fn corrections(ui: &mut Ui, model: &Model, push: &mut impl FnMut(DebriefCommand)) {
    let debrief = &model.debrief;
    let looked_at = debrief.looked_at().is_some();
    let next = debrief.exercise.zip(debrief.made.as_ref()).is_some_and(|(i, m)| i + 1 < m.sortie.exercises.len());
    let corrected = model.open_sortie().is_some_and(|s| !s.marks.is_empty());
    let correct = DebriefCommand::Correct;
    for (text, command, enabled) in [
        ("Begins here", correct(DebriefCorrection::Begins), looked_at),
        ("Ends here", correct(DebriefCorrection::Ends), looked_at),
        ("Split here", correct(DebriefCorrection::Split), looked_at),
        ("Join with the next", correct(DebriefCorrection::JoinNext), looked_at && next),
        ("No exercise", correct(DebriefCorrection::Remove), looked_at),
        ("Add one here", DebriefCommand::AddExercise, true),
        ("All as found", DebriefCommand::AsFound, corrected),
    ] {
        if ui.add_enabled(enabled, egui::Button::new(text)).clicked() {
            push(command);
            ui.close();
        }
    }
}

/// What is known of the moment shown, on one line.
fn moment(model: &Model, made: &DebriefMade) -> String {
    let Some(i) = model.debrief.sample() else { return String::new() };
    let units = model.settings.units;
    let flight = &made.sortie.flight;
    let (sample, flying) = (&flight.samples.all[i], &flight.flying[i]);
    let mut parts = Vec::new();
    if let Some(phase) = flight.phase_at(i) {
        parts.push(phase.words().to_owned());
    }
    if let Some(h) = flying.height_agl_m {
        parts.push(format!("{} above the ground", units.format_height(h)));
    }
    if flight.phase_at(i) != Some(PhaseKind::OnGround) {
        if !flight.wind.bands.is_empty() {
            parts.push(format!("airspeed about {}", units.format_speed(flying.airspeed_ms)));
        }
        if let Some(climb) = sample.climb_ms {
            let way = if climb < 0.0 { "down" } else { "up" };
            parts.push(format!("{} {way}", units.format_sink(climb.abs())));
        }
        parts.push(match made.sortie.options[i].fields {
            0 => "no field in reach".to_owned(),
            1 => "one field in reach".to_owned(),
            n => format!("{n} fields in reach"),
        });
    }
    parts.join(" · ")
}

/// The profile picture is made again only when what it shows changes.
#[derive(Clone)]
struct Drawn {
    made: Arc<DebriefMade>,
    size: egui::Vec2,
    units: sparefield_data::quantity::UnitPrefs,
    picture: Arc<crate::sheet::picture::Picture>,
}

fn profile(
    ui: &mut Ui,
    model: &Model,
    made: &Arc<DebriefMade>,
    theme: &Theme,
    height: f32,
    commands: &mut Vec<Command>,
) {
    let debrief = &model.debrief;
    let size = vec2(ui.available_width(), height);
    let (rect, response) = ui.allocate_exact_size(size, Sense::click_and_drag());
    response.widget_info(|| {
        WidgetInfo::slider(true, debrief.at_s, "Heights along time; arrow keys step through the flight")
    });
    let id = response.id.with("picture");
    let units = model.settings.units;
    let kept: Option<Drawn> = ui.data(|d| d.get_temp(id));
    let drawn =
        kept.filter(|k| Arc::ptr_eq(&k.made, made) && k.size == size && k.units == units).unwrap_or_else(|| {
            let sortie = &made.sortie;
            let range = 0..sortie.flight.samples.all.len();
            let picture = pictures::profile(sortie, &range, &pictures::shades(sortie), size, units);
            let drawn = Drawn { made: Arc::clone(made), size, units, picture: Arc::new(picture) };
            ui.data_mut(|d| d.insert_temp(id, drawn.clone()));
            drawn
        });
    paint::paint(ui, rect, &drawn.picture, theme);
    let (first, last) = debrief.span_s();
    let inner = rect.left() + LEFT..rect.right() - RIGHT;
    let across = inner.end - inner.start;
    let x = inner.start + ((debrief.at_s - first) / (last - first).max(1.0)) as f32 * across;
    let painter = ui.painter().with_clip_rect(rect);
    painter.vline(x, rect.y_range(), Stroke::new(2.0, theme.colours.accent));
    timeline::focus_frame(&painter, rect, &response, theme);
    let mut push = |command| commands.push(Command::Debrief(command));
    for moved in timeline::moves(ui, &response) {
        push(match moved {
            Moved::ToX(x) => {
                let share = f64::from((x - inner.start) / across).clamp(0.0, 1.0);
                DebriefCommand::At(first + share * (last - first))
            }
            Moved::ByS(step) => DebriefCommand::Step(step),
            Moved::PlayOrPause => DebriefCommand::Play(!debrief.playing),
        });
    }
}
