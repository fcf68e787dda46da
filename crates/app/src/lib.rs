//! The Sparefield window and command line, as a library so that tests can build it.
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test"))]

pub mod cli;
pub mod theme;
pub mod views;

use std::path::PathBuf;

/// Opens the window on the sample area, or on the files named, and returns when it is closed.
///
/// # Errors
/// When no window can be opened on this machine.
pub fn run_window(files: Vec<PathBuf>) -> anyhow::Result<()> {
    struct Waiting(Vec<PathBuf>);
    impl eframe::App for Waiting {
        fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
            ui.label(format!("{} files", self.0.len()));
            let quit = egui::KeyboardShortcut::new(egui::Modifiers::COMMAND, egui::Key::Q);
            if ui.input_mut(|i| i.consume_shortcut(&quit)) {
                ui.ctx().send_viewport_cmd(egui::ViewportCommand::Close);
            }
            for i in 0..40_u8 {
                for j in 0..40_u8 {
                    let at = egui::pos2(f32::from(i) * 20.0, 60.0 + f32::from(j) * 15.0);
                    let cell = egui::Rect::from_min_size(at, egui::vec2(20.0, 15.0));
                    ui.painter().rect_filled(cell, 0.0, egui::Color32::from_rgb(i * 6, j * 6, 90));
                }
            }
        }
    }
    eframe::run_native("Sparefield", eframe::NativeOptions::default(), Box::new(|_| Ok(Box::new(Waiting(files)))))
        .map_err(|error| anyhow::anyhow!("no window could be opened: {error}"))
}
