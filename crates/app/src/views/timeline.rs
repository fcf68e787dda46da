//! What every drawing that runs along time shares: pointer and keys move the moment that is shown.

use crate::theme::Theme;
use egui::{EventFilter, Key, Modifiers, Painter, Rect, Response, Stroke, StrokeKind, Ui};

/// How far the arrow keys move with Shift held, seconds; without it they move by one.
const LONG_STEP_S: f64 = 10.0;

/// What the pilot did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Moved {
    /// To the moment at this place across the screen.
    ToX(f32),
    /// Later by so many seconds, or earlier where negative.
    ByS(f64),
    /// Play, or stop playing.
    PlayOrPause,
}

/// What was done to the drawing in this frame; a click gives it the keys.
pub(super) fn moves(ui: &Ui, response: &Response) -> Vec<Moved> {
    let mut all = Vec::new();
    if (response.dragged() || response.clicked())
        && let Some(pointer) = response.interact_pointer_pos()
    {
        all.push(Moved::ToX(pointer.x));
        response.request_focus();
    }
    if response.has_focus() {
        let filter = EventFilter { horizontal_arrows: true, ..EventFilter::default() };
        ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
        let step = ui.input_mut(|i| {
            let mut net = |modifiers| {
                i.count_and_consume_key(modifiers, Key::ArrowRight) as f64
                    - i.count_and_consume_key(modifiers, Key::ArrowLeft) as f64
            };
            LONG_STEP_S * net(Modifiers::SHIFT) + net(Modifiers::NONE)
        });
        if step != 0.0 {
            all.push(Moved::ByS(step));
        }
        if ui.input_mut(|i| i.consume_key(Modifiers::NONE, Key::Space)) {
            all.push(Moved::PlayOrPause);
        }
    }
    all
}

/// Shows that the drawing has the keys.
pub(super) fn focus_frame(painter: &Painter, rect: Rect, response: &Response, theme: &Theme) {
    if response.has_focus() {
        painter.rect_stroke(rect.shrink(1.0), 2.0, Stroke::new(2.0, theme.colours.accent), StrokeKind::Inside);
    }
}
