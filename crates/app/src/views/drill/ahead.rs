//! The view ahead and the controls of a glide that the pilot flies.

use crate::drill::ahead::{Seen, ahead};
use crate::model::{ByHand, DrillCommand, Model, Session, Steer};
use crate::theme::Theme;
use egui::epaint::{Mesh, Vertex, WHITE_UV};
use egui::{Button, Color32, Frame, Label, Rect, RichText, Sense, Slider, Stroke, Ui, WidgetInfo, pos2, vec2};

/// Share of the window's height that the view takes, and its least and greatest height, points.
const SHARE: f32 = 0.34;
const LOWEST: f32 = 150.0;
const HIGHEST: f32 = 340.0;

/// Length of the sliders, points.
const SLIDER: f32 = 150.0;

/// Width of their names, points.
const NAME: f32 = 42.0;

/// What is told under the view.
const NOT_SEEN: &str = "No trees, hedges or wires stand in this view";

/// What the gamepad does, beside the keys and in full.
const PAD_KEYS: &str = "Stick: bank and speed; lower button: level; start: pause.";
const PAD_HELP: &str = "With a gamepad, the left stick to the side changes the bank that is held, and either stick up and \
                        down the speed: up is faster. Let go, it stays as it is. The lower of the four buttons holds wings \
                        level, the start button stops the clock. It may be plugged in and out at any time; keys and \
                        sliders go on working.";

/// The view, in a drawer under the map.
pub(super) fn drawer(ui: &mut Ui, session: &Session, theme: &Theme) {
    let height = (ui.ctx().content_rect().height() * SHARE).clamp(LOWEST, HIGHEST);
    let frame = Frame::new().fill(theme.colours.panel);
    egui::Panel::bottom("view ahead").resizable(false).exact_size(height).frame(frame).show(ui, |ui| {
        view(ui, session, theme);
    });
}

fn view(ui: &mut Ui, session: &Session, theme: &Theme) {
    let (rect, response) = ui.allocate_exact_size(ui.available_size(), Sense::hover());
    let here = session.shown();
    let bank = here.bank_rad.to_degrees();
    let lean = if bank.abs() < 1.0 { "wings level".to_owned() } else { format!("bank {:.0}°", bank.abs()) };
    let way = if bank < -1.0 {
        " to the left"
    } else if bank > 1.0 {
        " to the right"
    } else {
        ""
    };
    response
        .widget_info(|| WidgetInfo::labeled(egui::Role::Image, true, format!("View ahead: {lean}{way}. {NOT_SEEN}.")));
    let c = &theme.colours;
    let sky = c.water.lerp_to_gamma(c.paper, 0.7);
    let haze = c.water.lerp_to_gamma(c.relief_flat, 0.55);
    let painter = ui.painter().with_clip_rect(rect);
    painter.rect_filled(rect, 0.0, sky);
    let terrain = &session.prepared.rehearsal.area().terrain;
    let picture = ahead(terrain, &session.prepared.scenery, &here, rect.size());
    let moved = |p: egui::Pos2| p + rect.min.to_vec2();
    let mut mesh = Mesh::default();
    // Below the horizon it is hazy ground as far as the eye reaches.
    let [left, right] = picture.horizon.map(moved);
    let down = (right - left).rot90().normalized() * (rect.width() + rect.height());
    quad(&mut mesh, [left, right, right + down, left + down], [haze; 4]);
    for patch in &picture.patches {
        let ground = covered(patch.seen, session.field, theme);
        let colours = patch.light.map(|light| lit(ground, light, theme).lerp_to_gamma(haze, patch.haze));
        quad(&mut mesh, patch.corners.map(moved), colours);
    }
    painter.add(mesh);
    painter.line_segment([left, right], Stroke::new(1.0, c.ink_soft.gamma_multiply(0.5)));
    nose(&painter, rect, theme);
    let words = painter.layout_no_wrap(NOT_SEEN.to_owned(), theme.small_font(), c.ink);
    let at = pos2(rect.left() + 10.0, rect.bottom() - words.size().y - 8.0);
    painter.rect_filled(Rect::from_min_size(at, words.size()).expand(3.0), 3.0, c.paper.gamma_multiply(0.85));
    painter.galley(at, words, c.ink);
}

/// Where the nose points: two short bars with a gap.
fn nose(painter: &egui::Painter, rect: Rect, theme: &Theme) {
    let centre = pos2(rect.center().x, rect.top() + rect.height() * 0.36);
    for (width, colour) in [(5.0, theme.colours.paper), (2.5, theme.colours.accent)] {
        for way in [-1.0, 1.0] {
            let bar = [centre + vec2(way * 10.0, 0.0), centre + vec2(way * 26.0, 0.0)];
            painter.line_segment(bar, Stroke::new(width, colour));
        }
    }
}

fn quad(mesh: &mut Mesh, corners: [egui::Pos2; 4], colours: [Color32; 4]) {
    let first = mesh.vertices.len() as u32;
    mesh.vertices.extend(corners.into_iter().zip(colours).map(|(pos, color)| Vertex { pos, uv: WHITE_UV, color }));
    mesh.indices.extend([0, 1, 2, 0, 2, 3].map(|i| first + i));
}

/// Neighbouring fields differ a little, so that each is seen; the chosen one stands out.
fn covered(seen: Seen, chosen: Option<usize>, theme: &Theme) -> Color32 {
    let c = &theme.colours;
    match seen {
        Seen::Open => c.relief_flat.lerp_to_gamma(c.wood, 0.75),
        Seen::Wood => c.wood.lerp_to_gamma(c.relief_shadow, 0.5),
        Seen::Water => c.water,
        Seen::Building => c.building,
        Seen::Field(index) if Some(index) == chosen => c.accent,
        Seen::Field(index) => c.relief_light.lerp_to_gamma(c.relief_shadow, (index * 5 % 7) as f32 / 6.0 * 0.35),
    }
}

/// A colour in light or shadow.
fn lit(ground: Color32, light: f32, theme: &Theme) -> Color32 {
    let to = if light < 0.0 { theme.colours.relief_shadow } else { theme.colours.relief_light };
    ground.lerp_to_gamma(to, light.abs() * 0.6)
}

/// The name of a slider, so wide that the sliders begin under one another.
fn named(ui: &mut Ui, name: &str) -> egui::Id {
    let left = egui::Layout::left_to_right(egui::Align::Center);
    let named = ui.allocate_ui_with_layout(vec2(NAME, ui.spacing().interact_size.y), left, |ui| {
        ui.set_min_width(NAME);
        ui.label(name).id
    });
    named.inner
}

/// Bank and airspeed, and the keys for them.
pub(super) fn controls(ui: &mut Ui, model: &Model, hand: &ByHand, theme: &Theme, push: &mut impl FnMut(DrillCommand)) {
    let (steepest_rad, slowest_ms, fastest_ms) = hand.limits();
    let units = model.settings.units;
    ui.spacing_mut().slider_width = SLIDER;
    ui.horizontal(|ui| {
        let words = named(ui, "Bank");
        let mut bank = hand.hold.bank_rad.to_degrees();
        let most = steepest_rad.to_degrees();
        let say = |value: f64, _: core::ops::RangeInclusive<usize>| match value.round() {
            0.0 => "level".to_owned(),
            left if left < 0.0 => format!("{:.0}° left", -left),
            right => format!("{right:.0}° right"),
        };
        let slider =
            Slider::new(&mut bank, -most..=most).custom_formatter(say).handle_shape(egui::style::HandleShape::Circle);
        if ui.add(slider).labelled_by(words).changed() {
            push(DrillCommand::Steer(Steer::BankTo(bank.to_radians())));
        }
    });
    ui.horizontal(|ui| {
        let words = named(ui, "Speed");
        let mut speed = hand.hold.level_speed_ms;
        let slider = Slider::new(&mut speed, slowest_ms..=fastest_ms).custom_formatter(|ms, _| units.format_speed(ms));
        if ui.add(slider).labelled_by(words).changed() {
            push(DrillCommand::Steer(Steer::SpeedTo(speed)));
        }
    });
    let text = if hand.paused { "Go on" } else { "Pause" };
    ui.horizontal(|ui| {
        if ui.add(Button::new(text).shortcut_text("Space")).clicked() {
            push(DrillCommand::Steer(Steer::Pause(!hand.paused)));
        }
        if ui.add(Button::new("Level").shortcut_text("L")).on_hover_text("Hold wings level").clicked() {
            push(DrillCommand::Steer(Steer::BankTo(0.0)));
        }
        if ui.add(Button::new("Leave").shortcut_text("Esc")).clicked() {
            push(DrillCommand::Leave);
        }
    });
    let soft = |text: &str| Label::new(RichText::new(text).color(theme.colours.ink_soft)).wrap();
    let help = "← → bank, ↑ ↓ speed. What you hold stays held. Nothing is flared: the touchdown is where the glide meets the ground.";
    ui.add(soft(help));
    let pad = &hand.pad;
    let words = if pad.is_there() { format!("{}. {PAD_KEYS}", pad.words()) } else { pad.words() };
    ui.add(soft(&words)).on_hover_text(PAD_HELP);
}
