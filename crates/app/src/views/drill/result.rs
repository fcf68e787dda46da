//! What came of a drill: a sentence, what was measured, and the flight to be played.

use crate::assess::STANDING_CAUTIONS;
use crate::drill::{pictures, words};
use crate::model::{DrillCommand, Ended, Model, Session};
use crate::sheet::picture::Picture;
use crate::theme::{Theme, space};
use crate::views::sheet::paint;
use crate::views::timeline::{self, Moved};
use egui::{Button, Label, RichText, ScrollArea, Sense, Stroke, Ui, WidgetInfo, vec2};
use sparefield_data::quantity::UnitPrefs;
use std::sync::Arc;

/// Height of the profile, points, where the window is high and where it is not.
const PROFILE: f32 = 118.0;
const LOW_PROFILE: f32 = 84.0;
/// Windows lower than this have a low profile, points.
const LOW_WINDOW: f32 = 700.0;

/// The column once a drill is over.
pub(super) fn result(ui: &mut Ui, model: &Model, ended: &Ended, theme: &Theme, push: &mut impl FnMut(DrillCommand)) {
    let Some(area) = &model.area else { return };
    let result = &ended.result;
    let units = model.settings.units;
    let colour = if result.stopped_in_strip() { theme.colours.ink } else { theme.colours.caution };
    let words = RichText::new(result.words()).font(theme.bold_font(theme.sizes.heading)).color(colour);
    ui.add(Label::new(words).wrap());
    let which = format!("{}, drill {}", result.set_name, result.number);
    ui.add(Label::new(RichText::new(which).color(theme.colours.ink_soft)).wrap());
    ui.add_space(space::TIGHT);
    ui.horizontal(|ui| {
        if ui.add(Button::new("Next drill")).clicked() {
            push(DrillCommand::Number(None));
            push(DrillCommand::Start);
        }
        if ui.button("This one again").clicked() {
            push(DrillCommand::Number(Some(result.number)));
            push(DrillCommand::Start);
        }
        if ui.add(Button::new("Done").shortcut_text("Esc")).clicked() {
            push(DrillCommand::Leave);
        }
    });
    let help =
        "Go to Look with the aircraft where the engine stopped and the wind that blew: every field, ring and circuit";
    if ui.button("Look at it with everything shown").on_hover_text(help).clicked() {
        push(DrillCommand::LookAtIt);
    }
    ui.separator();
    ScrollArea::vertical().id_salt("drill result").auto_shrink(false).show(ui, |ui| {
        for (label, words) in words::lines(result, area, units) {
            ui.label(RichText::new(label).size(theme.sizes.small).color(theme.colours.ink_soft));
            ui.add(Label::new(words).wrap());
            ui.add_space(space::TIGHT);
        }
        if model.drilling.flies_many {
            ui.horizontal(|ui| {
                ui.spinner();
                ui.label("The circuits are being flown many times…");
            });
        }
        let kept = if result.pilot.is_empty() {
            "Not kept: nobody’s name stands under Pilot.".to_owned()
        } else {
            format!("Kept for {} in this area.", result.pilot)
        };
        ui.add(Label::new(RichText::new(kept).color(theme.colours.ink_soft)).wrap());
        ui.add_space(space::TIGHT);
        for caution in STANDING_CAUTIONS {
            let text = RichText::new(caution).size(theme.sizes.small).color(theme.colours.ink_soft);
            ui.add(Label::new(text).wrap());
        }
    });
}

/// The profile is made again only when what it shows changes.
#[derive(Clone)]
struct Drawn {
    of: Arc<Ended>,
    size: egui::Vec2,
    units: UnitPrefs,
    picture: Arc<Picture>,
}

/// Play and scrub, and the heights.
pub(super) fn drawer(
    ui: &mut Ui,
    model: &Model,
    session: &Session,
    theme: &Theme,
    push: &mut impl FnMut(DrillCommand),
) {
    let Some(ended) = session.ended() else { return };
    let units = model.settings.units;
    let here = session.shown();
    ui.horizontal(|ui| {
        let (text, help) = if session.playing { ("Pause", "Stop playing") } else { ("Play", "Play the flight") };
        if ui.add(Button::new(text).shortcut_text("Space")).on_hover_text(help).clicked() {
            push(DrillCommand::Play(!session.playing));
        }
        let ground = session.prepared.rehearsal.area().terrain.height_at(here.position);
        let above = ground.map_or_else(String::new, |g| {
            format!(" · {} above the ground", units.format_height((here.height_amsl_m - g).max(0.0)))
        });
        ui.label(format!("{:.0} s after the engine stopped{above}", here.time_s.max(0.0)));
    });
    let low = ui.ctx().content_rect().height() < LOW_WINDOW;
    let size = vec2(ui.available_width(), if low { LOW_PROFILE } else { PROFILE });
    let (rect, response) = ui.allocate_exact_size(size, Sense::click_and_drag());
    response.widget_info(|| {
        WidgetInfo::slider(true, session.at_s, "Heights along time; arrow keys step through the flight")
    });
    let id = response.id.with("picture");
    let kept: Option<Drawn> = ui.data(|d| d.get_temp(id));
    let drawn = kept.filter(|k| Arc::ptr_eq(&k.of, ended) && k.size == size && k.units == units).unwrap_or_else(|| {
        let terrain = &session.prepared.rehearsal.area().terrain;
        let chosen: Vec<f64> = ended.result.choices.iter().map(|c| c.at_s).collect();
        let picture = Arc::new(pictures::heights(&session.way, &chosen, terrain, size, units));
        let drawn = Drawn { of: Arc::clone(ended), size, units, picture };
        ui.data_mut(|d| d.insert_temp(id, drawn.clone()));
        drawn
    });
    paint::paint(ui, rect, &drawn.picture, theme);
    let across = size.x - pictures::LEFT - pictures::RIGHT;
    let left = rect.left() + pictures::LEFT;
    let lasts = session.lasts_s().max(1.0);
    let x = left + (session.at_s / lasts) as f32 * across;
    let painter = ui.painter().with_clip_rect(rect);
    painter.vline(x, rect.y_range(), Stroke::new(2.0, theme.colours.accent));
    timeline::focus_frame(&painter, rect, &response, theme);
    for moved in timeline::moves(ui, &response) {
        push(match moved {
            Moved::ToX(x) => DrillCommand::At(f64::from((x - left) / across).clamp(0.0, 1.0) * lasts),
            Moved::ByS(step) => DrillCommand::Step(step),
            Moved::PlayOrPause => DrillCommand::Play(!session.playing),
        });
    }
}
