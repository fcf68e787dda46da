//! The tools: their names, keys, and what each does in one sentence.

use crate::command::Command;
use crate::edits::draft::Drawing;
use crate::model::{AnnotateCommand, Model, Tool};
use crate::theme::{Theme, chooser, space};
use egui::{Key, Modifiers, RichText, Ui};
use sparefield_geometry::fields::model::{HazardKind, QuietKind};

/// A tool as offered.
struct Offer {
    tool: Tool,
    name: &'static str,
    key: Key,
    help: &'static str,
}

const OFFERS: [Offer; 12] = [
    Offer {
        tool: Tool::Choose,
        name: "Choose",
        key: Key::V,
        help: "Click a field, hazard or quiet zone. Hold Shift to choose several, or Shift and drag round them. Drag a \
               corner to move it; drag the small ring in the middle of a side to insert one.",
    },
    Offer {
        tool: Tool::Draw(Drawing::Field),
        name: "Field",
        key: Key::D,
        help: "Click corner after corner along the boundary; click the first corner, or press Enter, to finish. \
               Backspace takes a corner back.",
    },
    Offer {
        tool: Tool::Sides,
        name: "Sides",
        key: Key::S,
        help: "Say below what stands there and how high, then click a side of a field, or drag along several.",
    },
    Offer {
        tool: Tool::Draw(Drawing::Cut),
        name: "Cut",
        key: Key::C,
        help: "Draw a line across a field from outside to outside; Enter cuts. Where it crosses several, choose the field first.",
    },
    Offer {
        tool: Tool::Draw(Drawing::Hole),
        name: "Hole",
        key: Key::H,
        help: "Draw round what is not field, inside one: a pond, a copse, a barn.",
    },
    Offer {
        tool: Tool::Draw(Drawing::QuietZone(QuietKind::Other)),
        name: "Quiet zone",
        key: Key::Q,
        help: "Draw round stock, houses or people that are not to be overflown low.",
    },
    Offer {
        tool: Tool::Draw(Drawing::Hazard(HazardKind::Wires)),
        name: "Wires",
        key: Key::W,
        help: "Click pole after pole; Enter finishes the line.",
    },
    Offer {
        tool: Tool::Draw(Drawing::Hazard(HazardKind::Mast)),
        name: "Mast",
        key: Key::M,
        help: "Click where it stands.",
    },
    Offer {
        tool: Tool::Draw(Drawing::Hazard(HazardKind::LoneTree)),
        name: "Tree",
        key: Key::T,
        help: "Click where it stands.",
    },
    Offer {
        tool: Tool::Draw(Drawing::Hazard(HazardKind::Building)),
        name: "Building",
        key: Key::B,
        help: "Draw its outline.",
    },
    Offer { tool: Tool::Draw(Drawing::Hazard(HazardKind::Wood)), name: "Wood", key: Key::O, help: "Draw its outline." },
    Offer {
        tool: Tool::Draw(Drawing::Hazard(HazardKind::Water)),
        name: "Water",
        key: Key::P,
        help: "Draw the outline of a pond or lake.",
    },
];

/// The tools in rows, and what the one in hand does.
pub(super) fn tools(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    const COLUMNS: usize = 3;
    let spacing = ui.spacing().item_spacing;
    let gap = space::TIGHT;
    ui.spacing_mut().item_spacing = egui::vec2(gap, gap);
    let width = (ui.available_width() - gap * (COLUMNS - 1) as f32) / COLUMNS as f32;
    for row in OFFERS.chunks(COLUMNS) {
        ui.horizontal(|ui| {
            for offer in row {
                let held = model.annotating.tool == offer.tool;
                let button = chooser(held, offer.name, theme).min_size(egui::vec2(width, 26.0));
                let button = ui.add_enabled(model.area.is_some(), button);
                if button.on_hover_text(format!("{} ({})", offer.help, offer.key.name())).clicked() {
                    commands.push(Command::Annotate(AnnotateCommand::Take(offer.tool)));
                }
            }
        });
    }
    ui.add_space(space::TIGHT);
    let help = OFFERS.iter().find(|o| o.tool == model.annotating.tool).map_or("", |o| o.help);
    ui.label(RichText::new(help).size(theme.sizes.small).color(theme.colours.ink_soft));
    ui.spacing_mut().item_spacing = spacing;
}

/// Takes tools by their keys while nothing is being typed.
pub(super) fn keys(ui: &Ui, commands: &mut Vec<Command>) {
    ui.input_mut(|i| {
        for offer in &OFFERS {
            if i.consume_key(Modifiers::NONE, offer.key) {
                commands.push(Command::Annotate(AnnotateCommand::Take(offer.tool)));
            }
        }
        if i.consume_key(Modifiers::NONE, Key::J) {
            commands.push(Command::Annotate(AnnotateCommand::Join));
        }
    });
}
