//! The whole window without a screen, for tests that drive it by label, pointer and key.

#![allow(dead_code, reason = "each file of tests uses its own part of this")]

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use sparefield::app::{App, StartWith};
use sparefield::command::Command;
use sparefield_data::area::Area;
use sparefield_geometry::fields::model::Day;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// 25 November 2026.
pub(crate) const TODAY: Day = Day { days_since_epoch: 20_782 };
/// How long a job may take before a test gives up on it: a guard against hanging, not a measure of speed.
const PATIENCE: Duration = Duration::from_mins(2);

/// The window; the program starts in its first frame.
pub(crate) type Window = Harness<'static, Option<App>>;

/// The program in a window of a size, opening these files, or the sample area where there are none.
pub(crate) fn started(width: f32, height: f32, files: Vec<PathBuf>) -> Window {
    let start = StartWith { files, today: TODAY, keep_settings: false };
    Harness::builder().with_size([width, height]).build_ui_state(
        move |ui, state: &mut Option<App>| {
            let app = state.get_or_insert_with(|| App::new(ui.ctx(), start.clone()).unwrap());
            app.logic(ui.ctx());
            app.draw(ui);
        },
        None,
    )
}

/// The same, once the area is open.
pub(crate) fn opened(width: f32, height: f32, files: Vec<PathBuf>) -> Window {
    let mut window = started(width, height, files);
    until(&mut window, "the area is open", |w| app(w).model.area.is_some());
    window
}

/// A window of a size with the sample area open in Annotate.
pub(crate) fn annotating(width: f32, height: f32) -> Window {
    let mut window = opened(width, height, Vec::new());
    window.get_by_label("Annotate").click();
    window.run_steps(3);
    window
}

/// The program.
pub(crate) fn app(window: &Window) -> &App {
    window.state().as_ref().unwrap()
}

/// The area that is open.
pub(crate) fn area(window: &Window) -> Arc<Area> {
    app(window).model.area.clone().unwrap()
}

/// Gives a command as if the pilot had, and draws the frame in which it is applied and one after it.
pub(crate) fn push(window: &mut Window, command: Command) {
    window.state_mut().as_mut().unwrap().push(command);
    window.run_steps(2);
}

/// Runs frames until something holds, and a few more in which what follows from it is drawn.
pub(crate) fn until(window: &mut Window, what: &str, holds: impl Fn(&Window) -> bool) {
    let start = Instant::now();
    loop {
        window.step();
        if holds(window) {
            window.run_steps(3);
            return;
        }
        assert!(start.elapsed() < PATIENCE, "waited in vain until {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}
