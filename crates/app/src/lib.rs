//! The Sparefield window and command line, as a library so that tests can build it.
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test"))]

pub mod app;
pub mod area_card;
pub mod assess;
mod awake;
pub mod card_dialog;
pub mod circuits;
pub mod cli;
pub mod climb_out;
pub mod command;
pub mod copy_dialog;
pub mod debrief;
pub mod drill;
pub mod edits;
pub mod export_dialog;
pub mod fan_stops;
pub mod flight_log;
pub mod hangar;
pub mod import_dialog;
pub mod jobs;
pub mod keep;
pub mod layer_export;
pub mod layer_export_dialog;
pub mod model;
pub mod not_looked_at;
pub mod open_dialog;
pub mod options_map;
mod page_dialog;
mod page_place;
pub mod pick;
pub mod print;
pub mod settings;
pub mod sheet;
pub mod studies;
pub mod suggest;
pub mod survey;
pub mod theme;
pub mod views;

use sparefield_geometry::fields::model::Day;
use std::path::PathBuf;

/// Opens the window on the sample area, or on the files named, and returns when it is closed.
///
/// # Errors
/// When no window can be opened on this machine.
pub fn run_window(files: Vec<PathBuf>, today: Day) -> anyhow::Result<()> {
    // What goes wrong beside the window (settings that cannot be kept) is said on standard error; RUST_LOG asks for more.
    // That a machine has no gamepads is nothing that goes wrong.
    let mut logger = env_logger::Builder::new();
    logger.filter_level(log::LevelFilter::Warn);
    for quiet in ["gilrs", "gilrs_core"] {
        logger.filter_module(quiet, log::LevelFilter::Off);
    }
    logger.parse_default_env().try_init()?;
    let viewport = egui::ViewportBuilder::default()
        .with_title("Sparefield")
        .with_app_id("sparefield")
        .with_inner_size([1280.0, 800.0])
        .with_min_inner_size([900.0, 600.0]);
    // OpenGL: on a machine without a graphics card its software renderer takes a third of the time of the other one.
    let renderer = eframe::Renderer::Glow;
    let options = eframe::NativeOptions { viewport, renderer, ..eframe::NativeOptions::default() };
    let start = app::StartWith { files, today, keep_settings: true };
    let create: eframe::AppCreator<'_> = Box::new(|context| match app::App::new(&context.egui_ctx, start) {
        Ok(app) => Ok(Box::new(app)),
        Err(e) => Err(e.into()),
    });
    eframe::run_native("Sparefield", options, create)
        .map_err(|error| anyhow::anyhow!("no window could be opened: {error}; the subcommands work without one"))
}
