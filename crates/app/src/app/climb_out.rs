//! What the window does for climb-outs: asks for them while they are shown, for the height that is asked about, and takes
//! each.

use super::App;
use crate::command::Command;
use crate::jobs::{HeightAsk, climb_outs, climb_outs_at};
use crate::model::{ClimbOutAsk, ClimbOutCommand};
use egui::Context;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// What could not be made is not asked for again.
#[derive(Default)]
pub(super) struct Failed {
    made: Option<ClimbOutAsk>,
    at: Option<HeightAsk>,
}

impl App {
    /// Takes what was made, and asks for what is now needed.
    pub(super) fn follow_climb_outs(&mut self, ctx: &Context) {
        self.follow_climb_outs_made(ctx);
        self.follow_climb_outs_at(ctx);
        if std::mem::take(&mut self.frame_climb_out) && self.model.climbs_out() {
            self.show_climb_out();
        }
        if self.model.climb_outs.working.is_some() {
            // The share done grows without a frame being asked for.
            ctx.request_repaint_after(std::time::Duration::from_millis(100));
        }
    }

    fn follow_climb_outs_made(&mut self, ctx: &Context) {
        let wanted = self.model.climb_out_ask(self.start.today);
        let job = &mut self.climb_out_job.made;
        let climb_outs_now = &mut self.model.climb_outs;
        match job.take_done() {
            Some((_, Ok(made))) if wanted.is_some() => {
                self.frame_climb_out |= climb_outs_now.made.is_none();
                (climb_outs_now.made, climb_outs_now.problem) = (Some(Arc::new(made)), None);
            }
            Some((ask, Err(why))) => {
                (climb_outs_now.made, climb_outs_now.problem) = (None, Some(why));
                self.climb_out_failed.made = Some(ask);
            }
            _ => {}
        }
        let Some((ask, area)) = wanted else {
            job.stop();
            self.climb_out_failed.made = None;
            climb_outs_now.working = None;
            return;
        };
        if climb_outs_now.made.as_ref().is_some_and(|made| made.ask == ask) {
            job.stop();
        } else if self.climb_out_failed.made.as_ref() != Some(&ask) {
            let (wake, asked) = (ctx.clone(), ask.clone());
            let work = move |reins: &_| climb_outs(&area, &asked, reins);
            if let Err(e) = job.request("climb-outs", ask.clone(), work, move || wake.request_repaint()) {
                climb_outs_now.problem = Some(format!("The system refused a thread: {e}"));
                self.climb_out_failed.made = Some(ask);
            }
        }
        climb_outs_now.working = job.share();
    }

    fn follow_climb_outs_at(&mut self, ctx: &Context) {
        let shown = self.model.shows_climb_outs();
        let job = &mut self.climb_out_job.at;
        let climb_outs_now = &mut self.model.climb_outs;
        match job.take_done() {
            Some((_, Ok(at))) => climb_outs_now.at = Some(Arc::new(at)),
            Some((ask, Err(why))) => {
                climb_outs_now.problem = Some(why);
                self.climb_out_failed.at = Some(ask);
            }
            None => {}
        }
        let Some(made) = climb_outs_now.made.clone().filter(|_| shown) else {
            job.stop();
            return;
        };
        let ask = HeightAsk(made, climb_outs_now.height_m);
        let known = climb_outs_now.at.as_ref().is_some_and(|at| HeightAsk(Arc::clone(&at.of), at.height_m) == ask);
        // A height under way is finished while the next is dragged to, so that the picture follows the hand.
        if known || job.share().is_some() || self.climb_out_failed.at.as_ref() == Some(&ask) {
            return;
        }
        let (wake, asked) = (ctx.clone(), ask.clone());
        let work = move |reins: &_| climb_outs_at(&asked, reins);
        if let Err(e) = job.request("climb-out height", ask.clone(), work, move || wake.request_repaint()) {
            climb_outs_now.problem = Some(format!("The system refused a thread: {e}"));
            self.climb_out_failed.at = Some(ask);
        }
    }

    /// Does what reaches outside the model; the rest is the model's.
    pub(super) fn climb_out_command(&mut self, command: &ClimbOutCommand) {
        if *command == ClimbOutCommand::ChoosePage {
            if let Some(Ok(answer)) = self.model.climb_out() {
                let what = format!("climb-out {}", answer.name);
                self.climb_out_page.show(&self.suggested_page(&what));
            }
            return;
        }
        self.model.apply(&Command::ClimbOut(command.clone()));
        self.frame_climb_out |= matches!(command, ClimbOutCommand::End(_));
    }

    /// Shows the whole way out off the end looked at, with some land to its sides.
    fn show_climb_out(&mut self) {
        const AROUND: Xy = Xy::new(700.0, 700.0);
        let Some(Ok(answer)) = self.model.climb_out() else { return };
        let runway = &answer.runway;
        let begins = runway.departure_end - runway.heading.unit() * runway.length_m;
        let ahead = answer.flown.steps.iter().filter_map(|s| s.ahead.map(|a| a.ends));
        let (low, high) =
            ahead.chain(answer.flown.steps.iter().map(|s| s.position)).fold((begins, begins), |(low, high), p| {
                (Xy::new(low.x.min(p.x), low.y.min(p.y)), Xy::new(high.x.max(p.x), high.y.max(p.y)))
            });
        self.map.show_box(low - AROUND, high + AROUND);
    }
}
