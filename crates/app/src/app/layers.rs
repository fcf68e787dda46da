//! Layers under the fields: adding files, opening them, and telling what cannot be shown.

use super::App;
use crate::command::Command;
use crate::model::NoticeLevel;
use crate::model::layers::LayersCommand;
use crate::open_dialog::Chosen;
use sparefield_data::imagery::{self, LayerSpec};

impl App {
    /// Opens layers that are not open yet, and takes those that are; a part that cannot be shown is told once.
    pub(super) fn keep_up_with_layers(&mut self, ctx: &egui::Context) {
        let Some(area) = &self.model.area else { return };
        let frame = area.frame.clone();
        let repaint = ctx.clone();
        self.layers.keep_up(&mut self.model.layers, &frame, move || repaint.request_repaint());
        for words in self.layers.take_done(&mut self.model.layers) {
            self.model.notify(NoticeLevel::Info, words);
        }
        for (id, why) in self.map.take_layer_problems() {
            if let Some(layer) = self.model.layers.get_mut(id) {
                layer.problem = Some(why);
            }
        }
    }

    /// Adds files as layers: images by their content, everything else as lines and areas to draw.
    pub(super) fn add_layers(&mut self, chosen: &Chosen) {
        for path in &chosen.files {
            let kind = match imagery::recognise(path) {
                Ok(kind) => kind.unwrap_or_else(|| imagery::kind_by_name(path)),
                Err(e) => {
                    self.model.notify(NoticeLevel::Problem, e.to_string());
                    continue;
                }
            };
            let mut spec = LayerSpec::new(&std::path::absolute(path).unwrap_or_else(|_| path.clone()), kind);
            spec.crs = (!chosen.crs.is_empty()).then(|| chosen.crs.clone());
            self.commands.push(Command::Layers(LayersCommand::Add(spec)));
        }
        if !chosen.files.is_empty() {
            self.commands.push(Command::Layers(LayersCommand::ShowPanel(true)));
        }
    }
}
