//! What the window does for drills: has failures prepared, lets the time pass, flies and judges what was chosen.

use super::App;
use crate::assess::HeightInput;
use crate::command::Command;
use crate::drill::identifier;
use crate::edits::drills;
use crate::jobs::{DrillDone, Reins};
use crate::model::{DrillCommand, DrillPage, NoticeLevel, RehearsePage, Session, Stage, Steer};
use crate::pick::PickFor;
use egui::{Context, Key, Modifiers};
use sparefield_data::Loaded;
use sparefield_data::area::{Area, Change};
use sparefield_data::drills::Drills;
use sparefield_geometry::circuit::Motion;
use sparefield_geometry::drill::next_number;
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// Longest time that one frame lets pass, seconds: a window that was hidden does not fly on unseen.
const LONGEST_FRAME_S: f64 = 1.0;
/// Of what the aircraft could reach at most, so much is shown round it: the map has room for all that can be chosen.
const SHOWN_SHARE: f64 = 0.8;
/// Seconds that an arrow key moves the result, and with Shift.
const STEP_S: f64 = 1.0;
const LONG_STEP_S: f64 = 10.0;
/// How often in a second the picture moves while the clock runs.
const FRAMES_EACH_S: f64 = 30.0;
/// How fast the bank held changes while an arrow key is down, rad/s.
const BANK_RATE_RAD_S: f64 = 30.0 * std::f64::consts::PI / 180.0;
/// What one press changes the airspeed held by, m/s: two miles an hour.
const SPEED_STEP_MS: f64 = 2.0 * 0.447_04;
/// Longest that a key counts as held in one frame, seconds.
const LONGEST_HELD_S: f64 = 0.1;

impl App {
    /// Does what a command asks beyond the model.
    pub(super) fn drill_command(&mut self, ctx: &Context, command: &DrillCommand) {
        match command {
            DrillCommand::Start => self.start_drill(ctx),
            DrillCommand::Settle => self.judge_drill(ctx),
            DrillCommand::LookAtIt => self.look_at_drill(),
            DrillCommand::PickSets => self.pick(ctx, PickFor::DrillSets),
            DrillCommand::PickHandOut(id) => {
                let name = self.model.drill_set().filter(|s| s.id == *id).map(|s| s.name.clone());
                self.pick(ctx, PickFor::HandOut(id.clone(), name.unwrap_or_else(|| "drills".to_owned())));
            }
            DrillCommand::TakeIn(_) | DrillCommand::HandOut(..) => self.ask_for_document(ctx, command),
            DrillCommand::Do(made) => match &**made {
                Ok(edit) => {
                    self.model.drilling.problem = None;
                    self.model.apply(&Command::Edit(Box::new(edit.clone())));
                }
                Err(why) => self.model.drilling.problem = Some(why.sentence.clone()),
            },
            other => {
                let chosen = self.model.drilling.session.as_ref().map_or(0, |s| s.choices.len());
                self.model.apply(&Command::Drill(other.clone()));
                if matches!(other, DrillCommand::Leave | DrillCommand::Page(_)) {
                    self.drill_job.forget();
                    self.model.drilling.preparing = false;
                }
                if self.model.drilling.session.as_ref().is_some_and(|s| s.choices.len() > chosen) {
                    self.fly_drill(ctx);
                }
            }
        }
    }

    /// Reads or writes a document of drill sets on a thread of its own.
    fn ask_for_document(&mut self, ctx: &Context, command: &DrillCommand) {
        let Some(area) = self.model.area.clone() else { return };
        let (wake, asked) = (ctx.clone(), command.clone());
        let work = move |_: &Reins| Some(document(&asked, &area));
        let key = command.clone();
        if let Err(e) = self.drill_document.request("drill sets", key, work, move || wake.request_repaint()) {
            self.model.drilling.problem = Some(format!("The system refuses a thread ({e})."));
        }
    }

    fn take_document(&mut self) {
        let Some((_, answer)) = self.drill_document.take_done() else { return };
        match answer.and_then(|answer| answer) {
            Ok(Document::Read(read)) => {
                // Against the sets as they are by now.
                let Some(area) = self.model.area.clone() else { return };
                match drills::take_in(&area, &read.value) {
                    Ok(edit) => {
                        let words = drills::taken_in(&read, &edit);
                        let first = edit.changes.first().and_then(|change| match change {
                            Change::DrillSet(swap) => swap.after.as_ref().map(|set| set.id.clone()),
                            _ => None,
                        });
                        self.model.drilling.problem = None;
                        self.model.apply(&Command::Edit(Box::new(edit)));
                        if let Some(id) = first {
                            self.model.apply(&Command::Drill(DrillCommand::Set(id)));
                        }
                        self.model.notify(NoticeLevel::Info, words);
                    }
                    Err(why) => {
                        let told = std::iter::once(why.sentence).chain(read.warnings.iter().map(|w| format!("{w}.")));
                        self.model.drilling.problem = Some(told.collect::<Vec<String>>().join(" "));
                    }
                }
            }
            Ok(Document::Written(words)) => self.model.notify(NoticeLevel::Info, words),
            Err(why) => self.model.drilling.problem = Some(sentence(&why)),
        }
    }

    fn start_drill(&mut self, ctx: &Context) {
        let model = &mut self.model;
        let (Some(area), Some(set)) = (model.area.clone(), model.drill_set().cloned()) else { return };
        let home = area.home.as_ref().map(|h| h.position);
        let seed = area.drill_results.len() as u64;
        let number = match model.drilling.number {
            Some(number) => Ok(number),
            None => next_number(&set, home, &model.drill_results(), seed),
        };
        let number = match number {
            Ok(number) => number,
            Err(why) => {
                model.drilling.problem = Some(sentence(&why.to_string()));
                return;
            }
        };
        let (wake, with) = (ctx.clone(), (self.start.today, model.hangar.clone()));
        let started = self.drill_job.prepare(area, set, number, with, move || wake.request_repaint());
        let drilling = &mut self.model.drilling;
        (drilling.session, drilling.problem, drilling.shows) = (None, None, DrillPage::Fly);
        match started {
            Ok(()) => drilling.preparing = true,
            Err(e) => drilling.problem = Some(format!("The system refuses a thread ({e}).")),
        }
    }

    fn fly_drill(&mut self, ctx: &Context) {
        let Some(session) = self.model.drilling.session.as_ref().filter(|s| !s.is_by_hand) else { return };
        let wake = ctx.clone();
        let started =
            self.drill_job.fly(Arc::clone(&session.prepared), session.choices.clone(), move || wake.request_repaint());
        self.told_of_thread(started);
    }

    fn judge_drill(&mut self, ctx: &Context) {
        let pilot = self.model.settings.pilot.trim().to_owned();
        let Some(session) = self.model.drilling.session.as_mut().filter(|s| s.is_choosing()) else { return };
        // A glide by hand is flown to its end.
        let by_hand = session.by_hand.as_ref().map(|hand| hand.flown());
        if matches!(by_hand, Some(None)) {
            return;
        }
        session.stage = Stage::Judging;
        let rehearsal = &session.prepared.rehearsal;
        let id = identifier(&pilot, rehearsal.set(), rehearsal.failure().number);
        let wake = ctx.clone();
        let started = self.drill_job.judge(
            Arc::clone(&session.prepared),
            session.choices.clone(),
            by_hand.flatten(),
            (id, pilot),
            move || wake.request_repaint(),
        );
        self.told_of_thread(started);
    }

    fn told_of_thread(&mut self, started: std::io::Result<()>) {
        if let Err(e) = started {
            self.model.drilling.session = None;
            self.model.drilling.problem = Some(format!("The system refuses a thread ({e})."));
        }
    }

    /// Takes what was worked out, and lets the time pass.
    pub(super) fn follow_drill(&mut self, ctx: &Context) {
        self.take_drill_done(ctx);
        self.take_flown_many();
        self.take_document();
        let flies = self.model.drills() && self.model.drilling.flies_by_hand();
        let at_the_pad = self.pads.as_mut().map_or_else(Vec::new, |pads| pads.read(flies));
        if !self.model.drills() {
            return;
        }
        let Some(session) = &mut self.model.drilling.session else { return };
        let moves = session.playing || matches!(session.stage, Stage::Running | Stage::Gliding);
        if !moves {
            session.clock_s = None;
            return;
        }
        let clock_s = ctx.input(|i| i.time);
        let before = session.clock_s.replace(clock_s).unwrap_or(clock_s);
        let seconds = (clock_s - before).clamp(0.0, LONGEST_FRAME_S);
        session.take_pad(&at_the_pad, seconds);
        let landed = session.pass(seconds);
        let position = session.shown().position;
        let quick = session.playing;
        if landed {
            self.judge_drill(ctx);
        }
        self.map.reveal(position);
        if quick {
            ctx.request_repaint();
        } else {
            ctx.request_repaint_after(std::time::Duration::from_secs_f64(1.0 / FRAMES_EACH_S));
        }
    }

    fn take_drill_done(&mut self, ctx: &Context) {
        let Some(done) = self.drill_job.take_done() else { return };
        let wanted = std::mem::take(&mut self.model.drilling.preparing);
        match done {
            // The pilot left it, or the land is another by now.
            Ok(DrillDone::Prepared(_)) if !wanted => {}
            Ok(DrillDone::Prepared(Ok(prepared))) => {
                let failure = prepared.rehearsal.failure();
                let far = SHOWN_SHARE * prepared.rehearsal.farthest_m(failure.height_agl_m);
                let half = Xy::new(far, far);
                self.map.show_box(failure.position - half, failure.position + half);
                self.model.drilling.session = Some(Session::new(Arc::new(*prepared), self.model.drilling.by_hand));
            }
            Ok(DrillDone::Prepared(Err(why))) => self.model.drilling.problem = Some(sentence(&why.to_string())),
            Ok(DrillDone::Way(choices, way)) => {
                if let Some(session) = self.model.drilling.session.as_mut().filter(|s| s.choices.len() == choices) {
                    session.way = Arc::new(way);
                }
            }
            Ok(DrillDone::Ended(ended)) => {
                if let Some(session) = &mut self.model.drilling.session {
                    session.way = Arc::new(ended.flown.track.clone());
                    session.at_s = 0.0;
                    session.stage = Stage::Ended(Arc::new(*ended));
                    self.frame_drill();
                    self.keep_drill();
                    self.fly_many(ctx);
                }
            }
            Err(failed) => {
                self.model.drilling.session = None;
                self.model.drilling.problem = Some(format!("The drill: {failed}"));
            }
        }
    }

    fn keep_drill(&mut self) {
        let ended = self.model.drilling.session.as_ref().and_then(Session::ended).cloned();
        if let Some(ended) = ended {
            self.model.keep_drill_result(&ended.result);
        }
    }

    /// Shows all that was flown.
    fn frame_drill(&mut self) {
        const AROUND: Xy = Xy::new(300.0, 300.0);
        let Some(session) = &self.model.drilling.session else { return };
        let mut places = session.way.iter().map(|m: &Motion| m.position);
        let Some(first) = places.next() else { return };
        let (low, high) = places.fold((first, first), |(low, high), p| {
            (Xy::new(low.x.min(p.x), low.y.min(p.y)), Xy::new(high.x.max(p.x), high.y.max(p.y)))
        });
        self.map.show_box(low - AROUND, high + AROUND);
    }

    /// The Look page with the aircraft and the wind of the failure.
    fn look_at_drill(&mut self) {
        let Some(session) = self.model.drilling.session.take() else { return };
        let rehearsal = &session.prepared.rehearsal;
        let failure = rehearsal.failure();
        let wind = failure.true_wind;
        let home = rehearsal.area().home.as_ref().map_or(failure.position, |h| h.position);
        let from = wind.from_bearing().map_or(Bearing::NORTH, |from| rehearsal.area().to_true(from, home));
        let chosen = session.ended().and_then(|e| e.result.best_at_failure.as_ref()).and_then(|best| {
            let area = self.model.area.as_ref()?;
            area.fields.iter().position(|f| f.id == best.field_id)
        });
        let commands = [
            Command::Drill(DrillCommand::Page(RehearsePage::Look)),
            Command::MoveAircraft(failure.position),
            Command::TurnAircraft(failure.heading),
            Command::SetHeight(HeightInput::AboveGround(failure.height_agl_m)),
            Command::SetWind { from, speed_ms: wind.speed_ms(), gust_ms: None },
        ];
        for command in &commands {
            self.model.apply(command);
        }
        self.model.apply(&Command::EndGesture);
        if let Some(index) = self.model.hangar.iter().position(|a| a.name == failure.aircraft) {
            self.model.apply(&Command::SetAircraft(index));
        }
        self.model.apply(&Command::Select(chosen));
        self.map.reveal(failure.position);
        self.model.notify(
            NoticeLevel::Info,
            format!("This is drill {} as the engine stopped, in the wind that blew.", failure.number),
        );
    }

    /// Keys of a drill: Space begins, settles and plays, digits choose, Escape leaves.
    pub(super) fn drill_keys(&mut self, ctx: &Context, typing: bool) {
        if typing || !self.model.drills() {
            return;
        }
        let focused = ctx.memory(egui::Memory::focused);
        let on_map = focused.is_some() && focused == self.map.id();
        let free = focused.is_none() || on_map;
        let mut push = |command| self.commands.push(Command::Drill(command));
        let pressed = |key| ctx.input_mut(|i| i.consume_key(Modifiers::NONE, key));
        let Some(session) = &self.model.drilling.session else {
            if free && self.model.drilling.shows == DrillPage::Fly && pressed(Key::Space) {
                push(DrillCommand::Start);
            }
            return;
        };
        if pressed(Key::Escape) {
            push(DrillCommand::Leave);
            return;
        }
        match &session.stage {
            Stage::Gliding => {
                const DIGITS: [Key; 9] =
                    [Key::Num1, Key::Num2, Key::Num3, Key::Num4, Key::Num5, Key::Num6, Key::Num7, Key::Num8, Key::Num9];
                for (key, field) in DIGITS.into_iter().zip(&session.prepared.listed) {
                    if pressed(key) {
                        push(DrillCommand::Choose(*field));
                    }
                }
                if free && let Some(hand) = &session.by_hand {
                    steering(ctx, hand.paused, &mut push);
                }
                if free && session.by_hand.is_none() && pressed(Key::Space) {
                    push(DrillCommand::Settle);
                }
            }
            Stage::Ended(_) if free => {
                if pressed(Key::Space) {
                    push(DrillCommand::Play(!session.playing));
                }
                if on_map {
                    return;
                }
                for (key, sign) in [(Key::ArrowLeft, -1.0), (Key::ArrowRight, 1.0)] {
                    if ctx.input_mut(|i| i.consume_key(Modifiers::SHIFT, key)) {
                        push(DrillCommand::Step(sign * LONG_STEP_S));
                    }
                    if pressed(key) {
                        push(DrillCommand::Step(sign * STEP_S));
                    }
                }
            }
            _ => {}
        }
    }
}

/// Keys of a glide by hand: the arrows change what is held, L levels the wings, Space stops the clock.
fn steering(ctx: &Context, paused: bool, push: &mut impl FnMut(DrillCommand)) {
    let pressed = |key| ctx.input_mut(|i| i.consume_key(Modifiers::NONE, key));
    let (dt_s, held) = ctx.input(|i| {
        let held = [Key::ArrowLeft, Key::ArrowRight].map(|key| i.key_down(key));
        (f64::from(i.stable_dt).min(LONGEST_HELD_S), held)
    });
    for (down, way) in held.into_iter().zip([-1.0, 1.0]) {
        if down && !paused {
            push(DrillCommand::Steer(Steer::Bank(way * BANK_RATE_RAD_S * dt_s)));
        }
    }
    // The map does not move by what steers.
    for key in [Key::ArrowLeft, Key::ArrowRight] {
        pressed(key);
    }
    for (key, way) in [(Key::ArrowUp, 1.0), (Key::ArrowDown, -1.0)] {
        if pressed(key) {
            push(DrillCommand::Steer(Steer::Speed(way * SPEED_STEP_MS)));
        }
    }
    if pressed(Key::L) {
        push(DrillCommand::Steer(Steer::BankTo(0.0)));
    }
    if pressed(Key::Space) {
        push(DrillCommand::Steer(Steer::Pause(!paused)));
    }
}

/// What came of a document of drill sets.
pub(super) enum Document {
    /// It was read.
    Read(Loaded<Drills>),
    /// It was written; what to tell.
    Written(String),
}

fn document(asked: &DrillCommand, area: &Area) -> Result<Document, String> {
    match asked {
        DrillCommand::HandOut(id, path) => {
            let path = if path.extension().is_some() { path.clone() } else { path.with_extension("json") };
            let set = area.drill_sets.iter().find(|s| s.id == *id);
            let set = set.ok_or_else(|| "the drill set is no longer there".to_owned())?;
            let drills = Drills { sets: vec![Arc::clone(set)], results: Vec::new() };
            drills.write(&path, &area.frame).map_err(|e| e.to_string())?;
            Ok(Document::Written(format!(
                "The drill set “{}” was written to {}. Everyone who takes it in gets the same failures; results are not in it.",
                set.name,
                path.display()
            )))
        }
        DrillCommand::TakeIn(path) => Drills::read(path, &area.frame).map(Document::Read).map_err(|e| e.to_string()),
        _ => Err("nothing was asked for".to_owned()),
    }
}

/// A message as a sentence: a capital letter and a full stop.
fn sentence(message: &str) -> String {
    let mut letters = message.chars();
    let first = letters.next().map_or_else(String::new, |c| c.to_uppercase().collect());
    format!("{first}{}.", letters.as_str())
}
