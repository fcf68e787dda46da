//! Merging another area into this one: which, what differs, and whose version is taken.
//!
//! | module | draws |
//! |---|---|
//! | `desk` | the question with which area to merge, and the reading and comparing behind it |
//! | `table` | the drawer under the map: differences with both versions side by side |
//! | [`on_map`] | both outlines on the map, theirs dashed |

mod desk;
pub mod on_map;
mod table;

pub use desk::MergeDesk;
pub use table::drawer;

use crate::command::Command;
use crate::model::{MergeCommand, Model};
use egui::Ui;

/// The entry of a menu that asks with which area to merge.
pub fn opener(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let help = "Compare this area with somebody else's, and choose what to take over";
    let button = ui.add_enabled(model.area.is_some(), egui::Button::new("Merge with…"));
    if button.on_hover_text(help).clicked() {
        commands.push(Command::Merge(MergeCommand::Ask));
        ui.close();
    }
}
