//! Checking the area on a thread of its own, as often as it changes while somebody looks at the findings.

use super::once::Once;
use crate::model::{Findings, Model, NoticeLevel};
use sparefield_data::check::{self, CheckOptions, Finding};
use std::sync::Arc;

/// The check under way, if any.
#[derive(Default)]
pub struct CheckJob {
    running: Option<(u64, Once<Vec<Finding>>)>,
}

impl CheckJob {
    /// Takes findings that are ready, and starts a check when those shown are not of the land as it is.
    pub fn tend(&mut self, model: &mut Model, notify: impl Fn() + Send + 'static) {
        if let Some((of, job)) = &self.running
            && let Some(answer) = job.poll()
        {
            let of = *of;
            self.running = None;
            match answer {
                Ok(list) => model.findings = Findings { of: Some(of), list: Arc::new(list), ..model.findings.clone() },
                Err(why) => {
                    model.findings.of = Some(of);
                    model.notify(NoticeLevel::Problem, format!("Checking the area: {why}."));
                }
            }
        }
        let current = model.findings.of == Some(model.land_revision);
        let Some(area) = model.area.clone().filter(|_| model.findings.shown && !current && self.running.is_none())
        else {
            return;
        };
        let options = CheckOptions { units: model.settings.units, ..CheckOptions::on(model.today) };
        match Once::start("check", move || check::check(&area, &options), notify) {
            Ok(job) => self.running = Some((model.land_revision, job)),
            Err(why) => {
                model.findings.of = Some(model.land_revision);
                model.notify(NoticeLevel::Problem, format!("The system refused a thread: {why}"));
            }
        }
    }
}
