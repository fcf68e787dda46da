//! What the window does for fan stops: works out from where the home strip is in reach while they are shown, and drills
//! the one looked at.

use super::App;
use crate::command::Command;
use crate::fan_stops::fan_stops;
use crate::jobs::Reins;
use crate::model::{DrillCommand, FanAsk, FanCommand, FanMade};
use egui::Context;
use std::sync::Arc;

/// What came of it: the answer, or why there is none.
pub(super) type FanAnswer = Result<FanMade, String>;

impl App {
    /// Takes what was made, and asks for what is now needed.
    pub(super) fn follow_fan_stops(&mut self, ctx: &Context) {
        self.model.count_fan_practice();
        let wanted = self.model.fan_ask(self.start.today);
        let (job, fan) = (&mut self.fan_job, &mut self.model.fan);
        if let Some((ask, answer)) = job.take_done() {
            match answer.and_then(|answer| answer) {
                Ok(made) => (fan.made, fan.problem) = (Some(Arc::new(made)), None),
                Err(why) => {
                    (fan.made, fan.problem) = (None, Some(why));
                    self.fan_failed = Some(ask);
                }
            }
        }
        let (ask, area) = match wanted {
            Some(Ok(wanted)) => wanted,
            Some(Err(why)) => {
                (fan.problem, fan.working, fan.made) = (Some(why.to_string()), None, None);
                job.stop();
                return;
            }
            None => {
                job.stop();
                (fan.working, fan.stopped, self.fan_failed) = (None, false, None);
                return;
            }
        };
        let failed = self.fan_failed.as_ref() == Some(&ask);
        if fan.stopped || fan.made.as_ref().is_some_and(|made| made.ask == ask) {
            job.stop();
        } else if !failed {
            fan.problem = None;
            let (wake, asked) = (ctx.clone(), ask.clone());
            let work = move |reins: &Reins| worked_out(&area, &asked, reins);
            if let Err(e) = job.request("fan stops", ask.clone(), work, move || wake.request_repaint()) {
                fan.problem = Some(format!("the system refused a thread: {e}"));
                self.fan_failed = Some(ask);
            }
        }
        fan.working = job.share();
        if fan.working.is_some() {
            // The share done grows without a frame being asked for.
            ctx.request_repaint_after(std::time::Duration::from_millis(100));
        }
    }

    /// Does what reaches outside the model; the rest is the model's.
    pub(super) fn fan_command(&mut self, ctx: &Context, command: &FanCommand) {
        match command {
            FanCommand::Drill => self.drill_fan_cell(ctx),
            FanCommand::ChoosePage if self.model.fan.made.is_some() => {
                self.fan_page.show(&self.suggested_page("fan stops"));
            }
            other => self.model.apply(&Command::Fan(other.clone())),
        }
    }

    /// Begins a drill of the cell looked at that the pilot has not flown yet.
    fn drill_fan_cell(&mut self, ctx: &Context) {
        let cell = self.model.fan_cell();
        let Some((area, set)) = self.model.area.clone().zip(self.model.fan_set().cloned()) else { return };
        let home = area.home.as_ref().map(|h| h.position);
        let number = match set.next_in_cell(cell, home, &self.model.drill_results()) {
            Ok(Some(number)) => number,
            Ok(None) => {
                let why = "The set has so few fan stops that none of this kind is left to be flown.";
                self.model.drilling.problem = Some(why.to_owned());
                return;
            }
            Err(why) => {
                self.model.drilling.problem = Some(format!("{why}."));
                return;
            }
        };
        self.drill_command(ctx, &DrillCommand::Set(set.id.clone()));
        self.drill_command(ctx, &DrillCommand::Number(Some(number)));
        self.drill_command(ctx, &DrillCommand::Start);
    }
}

/// From where the strip is in reach; `None` when stopped.
fn worked_out(area: &Arc<sparefield_data::area::Area>, ask: &FanAsk, reins: &Reins) -> Option<FanAnswer> {
    let stops = fan_stops(area, &ask.set, &ask.conditions, &|| reins.stopped(), &|share| reins.report(share));
    if reins.stopped() {
        return None;
    }
    Some(stops.map(|stops| FanMade { ask: ask.clone(), stops }).map_err(|why| why.to_string()))
}
