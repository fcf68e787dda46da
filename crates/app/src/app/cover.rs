//! What the window does for the options map: asks for it while it is shown, for what surveys would add, and for the cover of
//! a route, and takes each.

use super::App;
use crate::command::Command;
use crate::jobs::{MadeKey, RouteAsk, ShadeAsk, fly, make, read_route, shade, survey};
use crate::model::layers::LayersCommand;
use crate::model::{CoverAsk, CoverCommand, Mode, RouteCommand};
use crate::pick::PickFor;
use crate::views::map::veil_colour;
use egui::{Context, Key, Modifiers};
use std::sync::Arc;

/// What could not be made is not asked for again.
#[derive(Default)]
pub(super) struct Failed {
    map: Option<CoverAsk>,
    shade: Option<ShadeAsk>,
    surveys: Option<(MadeKey, f64)>,
    route: Option<RouteAsk>,
    /// The route that the one shown answers.
    flown: Option<RouteAsk>,
}

impl App {
    /// Takes what was made, and asks for what is now needed.
    pub(super) fn follow_cover(&mut self, ctx: &Context) {
        self.follow_cover_map(ctx);
        self.follow_shade(ctx);
        self.follow_surveys(ctx);
        self.follow_route_file();
        self.follow_route(ctx);
        if self.model.cover.working.is_some() || self.model.cover.surveying {
            // The share done grows without a frame being asked for.
            ctx.request_repaint_after(std::time::Duration::from_millis(100));
        }
    }

    fn follow_cover_map(&mut self, ctx: &Context) {
        let wanted = self.model.cover_ask(self.start.today);
        match self.cover_job.map.take_done() {
            Some((_, Ok(Ok(made)))) if wanted.is_some() => self.model.take_cover(Arc::new(made)),
            Some(((ask, _), Ok(Err(why)) | Err(why))) => {
                (self.model.cover.made, self.model.cover.shade) = (None, None);
                self.model.cover.problem = Some(why);
                self.cover_failed.map = Some(ask);
            }
            _ => {}
        }
        let Some((ask, area)) = wanted else {
            self.cover_job.map.stop();
            self.cover_failed.map = None;
            self.model.cover.working = None;
            return;
        };
        let unit = self.model.settings.units.height;
        let made = self.model.cover.made.as_ref().is_some_and(|made| made.ask == ask) && self.cover_unit == unit;
        if made {
            self.cover_job.map.stop();
        } else if self.cover_failed.map.as_ref() != Some(&ask) {
            let wake = ctx.clone();
            self.cover_unit = unit;
            let earlier = self.model.cover.made.as_ref().map(|made| made.studies.clone());
            let asked = ask.clone();
            let work = move |reins: &_| make(&area, &asked, unit, earlier.as_ref(), reins);
            let started = self.cover_job.map.request("options map", (ask.clone(), unit), work, move || {
                wake.request_repaint();
            });
            if let Err(e) = started {
                self.model.cover.problem = Some(format!("The system refused a thread: {e}"));
                self.cover_failed.map = Some(ask);
            }
        }
        self.model.cover.working = self.cover_job.map.share();
    }

    /// The last picture stays until the next is there; one under way is finished while the height is dragged, so that the
    /// picture follows the hand.
    fn follow_shade(&mut self, ctx: &Context) {
        let cover = &mut self.model.cover;
        match self.cover_job.shade.take_done() {
            Some((_, Ok((made, picture)))) if cover.shown => {
                let made = Arc::new(made);
                self.derived.take_dusk(&made, picture);
                cover.shade = Some(made);
            }
            Some((ask, Err(why))) => {
                cover.problem = Some(why);
                self.cover_failed.shade = Some(ask);
            }
            _ => {}
        }
        let Some((of, look, height_agl_m)) = cover.shade_wanted() else {
            self.cover_job.shade.stop();
            return;
        };
        let ask = ShadeAsk { of, look, height_agl_m, veil: veil_colour(&self.theme) };
        let under_way = self.cover_job.shade.share().is_some();
        if cover.shade_is_current() || under_way || self.cover_failed.shade.as_ref() == Some(&ask) {
            return;
        }
        let (wake, asked) = (ctx.clone(), ask.clone());
        let work = move |reins: &_| shade(&asked, reins);
        if let Err(e) = self.cover_job.shade.request("dusk", ask.clone(), work, move || wake.request_repaint()) {
            cover.problem = Some(format!("The system refused a thread: {e}"));
            self.cover_failed.shade = Some(ask);
        }
    }

    fn follow_surveys(&mut self, ctx: &Context) {
        let cover = &mut self.model.cover;
        if let Some(((MadeKey(made), height), answer)) = self.cover_job.surveys.take_done() {
            match answer.and_then(|answer| answer) {
                Ok(found) => cover.surveys = Some((made, height, Arc::new(found))),
                Err(why) => {
                    cover.problem = Some(why);
                    self.cover_failed.surveys = Some((MadeKey(made), height));
                }
            }
        }
        let wanted = cover.made.clone().filter(|_| cover.wants_surveys && cover.working.is_none());
        let Some(made) = wanted else {
            if !cover.wants_surveys {
                self.cover_job.surveys.stop();
                cover.surveys = None;
            }
            cover.surveying = cover.wants_surveys && cover.made.is_some() && cover.surveys.is_none();
            return;
        };
        let key = (MadeKey(Arc::clone(&made)), cover.height_agl_m);
        let known = cover.surveys.as_ref().is_some_and(|(of, height, _)| (MadeKey(Arc::clone(of)), *height) == key);
        if !known && self.cover_failed.surveys.as_ref() != Some(&key) {
            let (wake, height) = (ctx.clone(), cover.height_agl_m);
            let work = move |reins: &_| survey(&made, height, reins);
            let started = self.cover_job.surveys.request("surveys", key, work, move || wake.request_repaint());
            if let Err(e) = started {
                cover.problem = Some(format!("The system refused a thread: {e}"));
                cover.wants_surveys = false;
            }
        }
        cover.surveying = self.cover_job.surveys.share().is_some();
    }

    fn follow_route_file(&mut self) {
        let Some((path, answer)) = self.cover_job.file.take_done() else { return };
        let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        let command = match answer.and_then(|answer| answer) {
            Ok(line) => RouteCommand::Take(line, name),
            Err(why) => RouteCommand::Refuse(why),
        };
        self.model.apply(&Command::Cover(CoverCommand::Route(command)));
    }

    fn follow_route(&mut self, ctx: &Context) {
        let cover = &mut self.model.cover;
        if let Some((ask, answer)) = self.cover_job.route.take_done() {
            match answer.and_then(|answer| answer) {
                Ok(made) => {
                    cover.route.made = Some(Arc::new(made));
                    cover.route.problem = None;
                    self.cover_failed.flown = Some(ask);
                }
                Err(why) => {
                    cover.route.made = None;
                    cover.route.problem = Some(why);
                    self.cover_failed.route = Some(ask);
                }
            }
        }
        let wanted = cover.made.clone().filter(|_| cover.route.places.len() >= 2);
        let Some(made) = wanted else {
            self.cover_job.route.stop();
            cover.route.made = None;
            cover.route.working = false;
            self.cover_failed.flown = None;
            return;
        };
        let ask = RouteAsk {
            over: MadeKey(made),
            places: cover.route.places.clone(),
            find: cover.route.find,
            level: cover.route.level,
            height_m: cover.height_agl_m,
        };
        let known = self.cover_failed.flown.as_ref() == Some(&ask) && cover.route.made.is_some();
        if !known && self.cover_failed.route.as_ref() != Some(&ask) {
            let (wake, asked) = (ctx.clone(), ask.clone());
            let work = move |reins: &_| fly(&asked, reins);
            if let Err(e) = self.cover_job.route.request("route", ask, work, move || wake.request_repaint()) {
                cover.route.problem = Some(format!("The system refused a thread: {e}"));
            }
        }
        cover.route.working = self.cover_job.route.share().is_some();
    }

    /// Does what reaches outside the model; the rest is the model's.
    pub(super) fn cover_command(&mut self, ctx: &Context, command: &CoverCommand) {
        match command {
            CoverCommand::Route(RouteCommand::PickFile) => self.pick(ctx, PickFor::Route),
            CoverCommand::Route(RouteCommand::Read(path)) => {
                let Some(area) = self.model.area.clone() else { return };
                let (wake, from) = (ctx.clone(), path.clone());
                let work = move |_: &_| Some(read_route(&from, &area));
                let started = self.cover_job.file.request("route file", path.clone(), work, move || {
                    wake.request_repaint();
                });
                if let Err(e) = started {
                    self.model.cover.route.problem = Some(format!("The system refused a thread: {e}"));
                }
            }
            other => self.model.apply(&Command::Cover(other.clone())),
        }
        if matches!(command, CoverCommand::ShowPanel(true)) && self.model.layers.panel {
            // Both lie over the same corner of the map.
            self.model.apply(&Command::Layers(LayersCommand::ShowPanel(false)));
        }
    }

    /// Keys of the options map, and of drawing a route.
    pub(super) fn cover_keys(&mut self, ctx: &Context, typing: bool) {
        if typing || self.model.area.is_none() {
            return;
        }
        let mut push = |command| self.commands.push(Command::Cover(command));
        // While drawing, the letter takes a tool; while drilling, nothing tells the answer.
        let has_key = self.model.mode != Mode::Annotate && !self.model.drills();
        if has_key && ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::O)) {
            push(CoverCommand::ShowPanel(!self.model.cover.panel));
        }
        if !(self.model.cover.route.drawing && self.model.shows_cover()) {
            return;
        }
        ctx.input_mut(|i| {
            if i.consume_key(Modifiers::NONE, Key::Enter) || i.consume_key(Modifiers::NONE, Key::Escape) {
                push(CoverCommand::Route(RouteCommand::Draw(false)));
            }
            if i.consume_key(Modifiers::NONE, Key::Backspace) {
                push(CoverCommand::Route(RouteCommand::TakeBack));
            }
        });
    }
}
