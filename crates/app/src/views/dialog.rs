//! The frame of every dialogue: a title and a cross, in the middle of the window. Escape closes it, but closes an open
//! list in it first.

use egui::{Align2, Context, Key, Modifiers, Ui, Window};

/// Width of most dialogues, points.
pub(crate) const WIDTH: f32 = 470.0;
/// What a dialogue leaves free of the window's width, points.
const MARGIN: f32 = 80.0;

/// A dialogue, to be shown in every frame while it is open.
pub(crate) struct Dialog<'a> {
    title: &'a str,
    width: f32,
    lift: f32,
}

impl<'a> Dialog<'a> {
    /// A dialogue of the usual width, a little above the middle, where it is looked for.
    pub(crate) fn new(title: &'a str) -> Self {
        Self { title, width: WIDTH, lift: 40.0 }
    }

    /// As wide as this where the window allows it, and in the middle.
    pub(crate) fn wide(self, width: f32) -> Self {
        Self { width, lift: 0.0, ..self }
    }

    /// Draws it; says whether it stays open.
    pub(crate) fn show(self, ctx: &Context, contents: impl FnOnce(&mut Ui)) -> bool {
        let mut open = true;
        // A list that Escape closes is gone once the contents are drawn.
        let list_open = egui::Popup::is_any_open(ctx);
        let room = (ctx.content_rect().width() - MARGIN).max(240.0);
        Window::new(self.title)
            .open(&mut open)
            .collapsible(false)
            .resizable(false)
            .anchor(Align2::CENTER_CENTER, [0.0, -self.lift])
            .show(ctx, |ui| {
                ui.set_width(self.width.min(room));
                contents(ui);
            });
        open && (list_open || !ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::Escape)))
    }
}
