//! A progress bar where somebody sees it: only on a terminal, and only when the work takes a while.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use sparefield_data::Progress;
use std::io::IsTerminal as _;

/// Steps of the bar.
const STEPS: u64 = 1_000;

/// A bar on standard error that disappears when dropped.
pub(super) struct Bar(Option<ProgressBar>);

impl Bar {
    /// A bar for a task; none where standard error is not a terminal.
    pub(super) fn new(what: &'static str) -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(None);
        }
        let bar = ProgressBar::with_draw_target(Some(STEPS), ProgressDrawTarget::stderr());
        if let Ok(style) = ProgressStyle::with_template("{msg} {bar:30} {percent} %") {
            bar.set_style(style);
        }
        bar.set_message(what);
        Self(Some(bar))
    }
}

impl Progress for Bar {
    fn report(&self, share: f64) {
        if let Some(bar) = &self.0 {
            bar.set_position((share.clamp(0.0, 1.0) * STEPS as f64) as u64);
        }
    }
    fn cancelled(&self) -> bool {
        false
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
