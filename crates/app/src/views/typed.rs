//! Text that is taken when it is left, so that nothing half typed is ever an edit.

use egui::{Id, Key, Role, TextEdit, Ui, WidgetInfo};

/// A line of text that is taken when it is left or Enter is pressed, and forgotten with Escape.
pub(super) fn typed_text(ui: &mut Ui, id: Id, label: &str, now: &str, hint: &str, width: f32) -> Option<String> {
    typed(ui, id, label, now, |text| TextEdit::singleline(text).hint_text(hint).desired_width(width))
}

/// Lines of text that are taken when they are left, and forgotten with Escape.
pub(super) fn typed_lines(ui: &mut Ui, id: Id, label: &str, now: &str, hint: &str) -> Option<String> {
    typed(ui, id, label, now, |text| {
        TextEdit::multiline(text).hint_text(hint).desired_rows(2).desired_width(f32::INFINITY)
    })
}

fn typed(
    ui: &mut Ui,
    id: Id,
    label: &str,
    now: &str,
    edit: impl for<'t> FnOnce(&'t mut String) -> TextEdit<'t>,
) -> Option<String> {
    let mut text: String = ui.data(|d| d.get_temp(id)).unwrap_or_else(|| now.to_owned());
    let response = ui.add(edit(&mut text).id(id.with("edit")));
    response.widget_info(|| WidgetInfo::labeled(Role::TextInput, true, label));
    let mut entered = None;
    if response.lost_focus() {
        ui.data_mut(|d| d.remove::<String>(id));
        let forgotten = ui.input(|i| i.key_pressed(Key::Escape));
        if !forgotten && text != now {
            entered = Some(text);
        }
    } else if response.has_focus() {
        ui.data_mut(|d| d.insert_temp(id, text));
    }
    entered
}
