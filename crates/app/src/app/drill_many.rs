//! The circuits of a drill that is over, flown many times in the background: the result is shown and kept before.

use super::App;
use crate::jobs::Reins;
use crate::model::{Ended, Session, Stage};
use egui::Context;
use sparefield_geometry::drill::DrillResult;
use std::sync::Arc;

impl App {
    /// Flies the circuits of the result that is shown many times.
    pub(super) fn fly_many(&mut self, ctx: &Context) {
        let Some(session) = &self.model.drilling.session else { return };
        let Some(ended) = session.ended().cloned() else { return };
        let (prepared, choices) = (Arc::clone(&session.prepared), session.choices.clone());
        let (wake, id) = (ctx.clone(), ended.result.id.clone());
        let work = move |reins: &Reins| {
            let Ended { result, flown } = &*ended;
            let known = prepared.rehearsal.flown_many(&choices, flown, result, &|| reins.stopped())?;
            Some(DrillResult { robustness: Some(known), ..result.clone() })
        };
        if let Err(e) = self.drill_many.request("drill flown many times", id, work, move || wake.request_repaint()) {
            // The result stands without it.
            log::error!("the system refused a thread: {e}");
        }
        self.model.drilling.flies_many = self.drill_many.share().is_some();
    }

    /// Takes what came of it, into the result shown and into the area.
    pub(super) fn take_flown_many(&mut self) {
        let Some((id, answer)) = self.drill_many.take_done() else { return };
        self.model.drilling.flies_many = false;
        let Ok(known) = answer else { return };
        self.model.keep_drill_result(&known);
        let shown = self.model.drilling.session.as_mut();
        let shown = shown.filter(|s: &&mut Session| s.ended().is_some_and(|ended| ended.result.id == id));
        if let Some(session) = shown
            && let Some(ended) = session.ended()
        {
            session.stage = Stage::Ended(Arc::new(Ended { result: known, flown: ended.flown.clone() }));
        }
    }
}
