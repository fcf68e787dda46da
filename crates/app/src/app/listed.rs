//! The circuits into the best fields of the list, flown many times once the aircraft rests: never while anything is
//! dragged, for flying takes every core there is.

use super::App;
use crate::assess::Assessment;
use crate::circuits::Around;
use crate::circuits::many::ListedShares;
use crate::jobs::{Asked, Reins};
use egui::Context;
use std::sync::Arc;

/// How long nothing must have changed, seconds.
const REST_S: f64 = 0.4;

/// A list, the same only as itself.
#[derive(Clone)]
pub(super) struct ListAsk(Arc<Assessment>);

impl PartialEq for ListAsk {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

/// The work, and since when the list is as it is.
#[derive(Default)]
pub(super) struct Listed {
    job: Asked<ListAsk, ListedShares>,
    since: Option<(ListAsk, f64)>,
}

impl App {
    /// Takes what was flown, and asks for what is now needed.
    pub(super) fn follow_listed(&mut self, ctx: &Context) {
        if let Some((ask, answer)) = self.listed.job.take_done() {
            // What failed is not asked for again, and the list stands without it.
            let nothing = |_| ListedShares { of: ask.0, each: Vec::new() };
            self.model.listed_shares = Some(Arc::new(answer.unwrap_or_else(nothing)));
        }
        let (model, listed) = (&mut self.model, &mut self.listed);
        let wanted = model.assessment.clone().filter(|_| model.looks() && !model.assessing).map(ListAsk);
        let is_of = |shares: &Arc<ListedShares>, ask: &ListAsk| Arc::ptr_eq(&shares.of, &ask.0);
        let Some((area, ask)) = model.area.clone().zip(wanted) else {
            listed.job.stop();
            (listed.since, model.listed_shares) = (None, None);
            return;
        };
        if model.listed_shares.as_ref().is_some_and(|shares| is_of(shares, &ask)) {
            return;
        }
        model.listed_shares = None;
        let (now, held) = ctx.input(|i| (i.time, i.pointer.any_down()));
        let since = listed.since.take().filter(|(of, _)| *of == ask && !held).unwrap_or((ask.clone(), now));
        let left = REST_S - (now - since.1);
        listed.since = Some(since);
        if left > 0.0 {
            listed.job.stop();
            ctx.request_repaint_after(std::time::Duration::from_secs_f64(left));
            return;
        }
        let (wake, of) = (ctx.clone(), Arc::clone(&ask.0));
        let work = move |reins: &Reins| Around::new(area).listed_shares(&of, &|| reins.stopped());
        if let Err(e) = listed.job.request("listed fields", ask, work, move || wake.request_repaint()) {
            // The list stands without it.
            log::error!("the system refused a thread: {e}");
        }
    }
}
