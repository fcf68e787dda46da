//! What the window does for the options map: asks for it while it is shown, and takes it.

use super::App;
use std::sync::Arc;

impl App {
    /// Takes what was made, and asks for what is now needed.
    pub(super) fn follow_cover(&mut self, ctx: &egui::Context) {
        let wanted = self.model.cover_ask(self.start.today);
        match self.cover_job.take_done() {
            Some(Ok(made)) if wanted.is_some() => {
                self.model.cover.made = Some(Arc::new(made));
                self.model.cover.problem = None;
            }
            Some(Err(why)) => {
                self.model.cover.made = None;
                self.model.cover.problem = Some(why);
                self.cover_failed = wanted.as_ref().map(|(ask, _)| ask.clone());
            }
            _ => {}
        }
        let Some((ask, area)) = wanted else {
            self.cover_job.stop();
            self.cover_failed = None;
            self.model.cover.working = false;
            return;
        };
        let unit = self.model.settings.units.height;
        let made = self.model.cover.made.as_ref().is_some_and(|made| made.ask == ask) && self.cover_unit == unit;
        if !made && self.cover_failed.as_ref() != Some(&ask) {
            let wake = ctx.clone();
            self.cover_unit = unit;
            if let Err(e) = self.cover_job.request(&ask, &area, unit, move || wake.request_repaint()) {
                self.model.cover.problem = Some(format!("The system refused a thread: {e}"));
                self.cover_failed = Some(ask);
            }
        }
        self.model.cover.working = self.cover_job.is_working();
    }
}
