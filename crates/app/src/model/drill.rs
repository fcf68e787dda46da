//! Drilling in the window: a failure at a moment that the pilot does not choose, the clock, the choice, and what came of
//! it.
//!
//! Nothing here reads a clock or computes a way: the app says what time it is and what was flown.

use super::Model;
use super::by_hand::{ByHand, Steer};
use super::pad::PadEvent;
use crate::drill::Rehearsal;
use crate::drill::ahead::Scenery;
use crate::edits::Made;
use sparefield_data::area::{Change, Edit};
use sparefield_geometry::circuit::{Join, Motion};
use sparefield_geometry::drill::{Choice, DrillResult, DrillSet, Flown, Offer};
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::position::{Bearing, Xy};
use std::path::PathBuf;
use std::sync::Arc;

/// What Rehearse shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum RehearsePage {
    /// The aircraft stands where the pilot puts it, and everything is shown.
    #[default]
    Look,
    /// The engine stops, and the pilot chooses.
    Drill,
    /// What is in reach off the ends of the home strip.
    ClimbOut,
}

impl RehearsePage {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Look, Self::ClimbOut, Self::Drill];
    /// The name for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Look => "Look",
            Self::Drill => "Drill",
            Self::ClimbOut => "Climb-out",
        }
    }
    /// What it is for, in one sentence.
    #[must_use]
    pub fn help(self) -> &'static str {
        match self {
            Self::Look => "Put the aircraft anywhere and see every field, ring and circuit",
            Self::ClimbOut => {
                "What is in reach off each end of the home strip, height by height, and when to turn back"
            }
            Self::Drill => "The engine stops when you do not expect it: choose a field before the height is gone",
        }
    }
}

/// What the Drill page shows while no drill is under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum DrillPage {
    /// What is drilled next.
    #[default]
    Fly,
    /// How the pilot does over time.
    Progress,
    /// Fan stops at the home strip, by height and heading.
    FanStops,
    /// The sets themselves.
    Sets,
}

impl DrillPage {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Fly, Self::Progress, Self::FanStops, Self::Sets];
    /// The name for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Fly => "Fly",
            Self::Progress => "Progress",
            Self::FanStops => "Fan stops",
            Self::Sets => "Sets",
        }
    }
}

/// One thing the pilot did about drills.
#[derive(Clone, Debug, PartialEq)]
pub enum DrillCommand {
    /// Turn to looking or to drilling.
    Page(RehearsePage),
    /// Turn to another page of drills.
    Show(DrillPage),
    /// Say who flies.
    Pilot(String),
    /// Take a set, by identifier.
    Set(String),
    /// Take a number of it, or let the program choose what to practise.
    Number(Option<u32>),
    /// Begin.
    Start,
    /// Choose a field, by index.
    Choose(usize),
    /// Choose the direction of landing, from grid north; nothing for the better one.
    Towards(Option<Bearing>),
    /// Name the join, or leave it open.
    Join(Option<Join>),
    /// Name the hand, or leave it open.
    Hand(Option<Hand>),
    /// Fly the glide by hand, or have what is chosen flown.
    ByHand(bool),
    /// Do something with the bar or the stick.
    Steer(Steer),
    /// Leave it at what was chosen, and see what comes of it.
    Settle,
    /// Leave the drill, or its result.
    Leave,
    /// Show the flight at a moment, seconds since the engine stopped.
    At(f64),
    /// Show it so many seconds later.
    Step(f64),
    /// Play it, or stop playing.
    Play(bool),
    /// Change the area's sets; a refusal is shown.
    Do(Box<Made>),
    /// Ask for a document of drill sets.
    PickSets,
    /// Take in the sets of a document.
    TakeIn(PathBuf),
    /// Ask where a set, by identifier, is written to be handed out.
    PickHandOut(String),
    /// Write a set, by identifier, as a document to hand out.
    HandOut(String, PathBuf),
    /// Go to the Look page with the aircraft and the wind of this failure.
    LookAtIt,
}

/// What is known before the engine stops, so that nothing has to be worked out while the clock runs.
#[derive(Debug)]
pub struct Prepared {
    /// The failure in its area.
    pub rehearsal: Rehearsal,
    /// Fields offered, by index.
    pub listed: Vec<usize>,
    /// Motion over the ground while the engine runs, m/s.
    pub velocity_ms: Xy,
    /// The glide straight on, to the ground.
    pub straight: Vec<Motion>,
    /// The land as it is seen from the air.
    pub scenery: Scenery,
}

/// What came of a drill.
#[derive(Clone, Debug)]
pub struct Ended {
    /// The result.
    pub result: DrillResult,
    /// What was flown.
    pub flown: Flown,
}

/// Where a drill stands.
#[derive(Clone, Debug)]
pub enum Stage {
    /// The engine runs.
    Running,
    /// The engine has stopped, and the clock runs.
    Gliding,
    /// What was chosen is being flown and judged.
    Judging,
    /// The result is known.
    Ended(Arc<Ended>),
}

/// One drill under way.
#[derive(Clone, Debug)]
pub struct Session {
    /// What was prepared.
    pub prepared: Arc<Prepared>,
    /// Where it stands.
    pub stage: Stage,
    /// Seconds since the engine stopped; below zero while it runs.
    pub now_s: f64,
    /// Everything that was chosen, in order.
    pub choices: Vec<Choice>,
    /// The field chosen last, by index.
    pub field: Option<usize>,
    /// Its directions of landing, from grid north.
    pub directions: Vec<Bearing>,
    /// The direction named.
    pub towards: Option<Bearing>,
    /// The join named.
    pub join: Option<Join>,
    /// The hand named.
    pub hand: Option<Hand>,
    /// The way being flown, from the engine's stop to the ground.
    pub way: Arc<Vec<Motion>>,
    /// Why the last choice could not be taken.
    pub refused: Option<String>,
    /// The moment of the result that is shown, seconds since the engine stopped.
    pub at_s: f64,
    /// Whether the result is being played.
    pub playing: bool,
    /// What the window's clock said last, seconds.
    pub clock_s: Option<f64>,
    /// Whether the pilot flies the glide.
    pub is_by_hand: bool,
    /// The glide that the pilot flies, from the engine's stop on.
    pub by_hand: Option<Box<ByHand>>,
}

impl Session {
    /// A drill whose engine still runs.
    #[must_use]
    pub fn new(prepared: Arc<Prepared>, is_by_hand: bool) -> Self {
        let way = Arc::new(prepared.straight.clone());
        let now_s = -prepared.rehearsal.failure().stops_after_s;
        Self {
            prepared,
            stage: Stage::Running,
            now_s,
            choices: Vec::new(),
            field: None,
            directions: Vec::new(),
            towards: None,
            join: None,
            hand: None,
            way,
            refused: None,
            at_s: 0.0,
            playing: false,
            clock_s: None,
            is_by_hand,
            by_hand: None,
        }
    }

    /// Lets time pass. Says whether the aircraft has just come to the ground.
    pub fn pass(&mut self, seconds: f64) -> bool {
        match &self.stage {
            Stage::Running => {
                self.now_s += seconds;
                if self.now_s >= 0.0 {
                    self.stage = Stage::Gliding;
                    self.by_hand = self.is_by_hand.then(|| Box::new(ByHand::new(&self.prepared.rehearsal)));
                }
                false
            }
            Stage::Gliding if self.by_hand.is_some() => self.glide_by_hand(seconds),
            Stage::Gliding => {
                self.now_s += seconds;
                self.now_s >= self.lasts_s()
            }
            Stage::Judging => false,
            Stage::Ended(_) => {
                if self.playing {
                    self.at_s = (self.at_s + seconds).min(self.lasts_s());
                    self.playing = self.at_s < self.lasts_s();
                }
                false
            }
        }
    }

    /// Takes what happened at the gamepad, and holds what its sticks ask for over a time, seconds.
    pub fn take_pad(&mut self, events: &[PadEvent], seconds: f64) {
        if let Some(hand) = self.by_hand.as_mut().filter(|_| matches!(self.stage, Stage::Gliding)) {
            hand.take_pad(events, seconds);
        }
    }

    fn glide_by_hand(&mut self, seconds: f64) -> bool {
        let Some(hand) = &mut self.by_hand else { return false };
        let ended = hand.pass(&self.prepared.rehearsal, seconds);
        self.now_s = hand.now().time_s;
        self.way = Arc::new(hand.track());
        ended
    }

    /// How long the way flown lasts, seconds since the engine stopped.
    #[must_use]
    pub fn lasts_s(&self) -> f64 {
        self.way.last().map_or(0.0, |m| m.time_s)
    }

    /// The aircraft at the moment shown.
    #[must_use]
    pub fn shown(&self) -> Motion {
        let time_s = if matches!(self.stage, Stage::Ended(_)) { self.at_s } else { self.now_s };
        self.at(time_s)
    }

    /// The aircraft at a moment, seconds since the engine stopped.
    #[must_use]
    pub fn at(&self, time_s: f64) -> Motion {
        let first = self.way.first().copied().unwrap_or_else(|| self.beginning());
        if time_s <= first.time_s {
            let failure = self.prepared.rehearsal.failure();
            let position = failure.before(self.prepared.velocity_ms, -time_s.min(0.0));
            return Motion { position, time_s, ..first };
        }
        Motion::on_track(&self.way, time_s).unwrap_or(first)
    }

    fn beginning(&self) -> Motion {
        self.prepared.rehearsal.trial().beginning()
    }

    /// Motion over the ground at the moment shown, m/s.
    #[must_use]
    pub fn velocity_ms(&self) -> Xy {
        if matches!(self.stage, Stage::Running) {
            return self.prepared.velocity_ms;
        }
        let here = self.shown();
        // Of a glide by hand only what was flown is known.
        let (from, to) = if self.by_hand.is_some() && self.is_choosing() {
            (self.at(here.time_s - 0.5), here)
        } else {
            (here, self.at(here.time_s + 1.0))
        };
        let passed = to.time_s - from.time_s;
        if passed > 0.0 { (to.position - from.position) * (1.0 / passed) } else { Xy::default() }
    }

    /// Whether the engine has stopped and the pilot can still choose.
    #[must_use]
    pub fn is_choosing(&self) -> bool {
        matches!(self.stage, Stage::Gliding)
    }

    /// The result, once it is known.
    #[must_use]
    pub fn ended(&self) -> Option<&Arc<Ended>> {
        match &self.stage {
            Stage::Ended(ended) => Some(ended),
            _ => None,
        }
    }

    /// Whether anything of the answer may be seen.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.ended().is_some()
    }

    /// The field whose choice is meant now, as an offer; `None` where there is no strip that way.
    #[must_use]
    pub fn offer(&self) -> Option<Offer> {
        self.prepared.rehearsal.offer(self.field?, self.towards)
    }

    /// Takes the choice that is meant now, made at this moment.
    pub fn choose(&mut self) {
        let Some(offer) = self.offer() else {
            self.refused = Some("There is no strip to land on that way; take another field or direction".to_owned());
            return;
        };
        self.refused = None;
        let choice = Choice { at_s: self.now_s.max(0.0), offer, join: self.join, hand: self.hand };
        let same = |last: &Choice| {
            last.offer.is_same_landing(&choice.offer) && last.join == choice.join && last.hand == choice.hand
        };
        if !self.choices.last().is_some_and(same) {
            self.choices.push(choice);
        }
    }
}

/// Everything about drills.
#[derive(Clone, Debug, Default)]
pub struct Drilling {
    /// What Rehearse shows.
    pub page: RehearsePage,
    /// What the Drill page shows.
    pub shows: DrillPage,
    /// The set, by identifier; nothing for the area's first.
    pub set: Option<String>,
    /// The number; nothing lets the program choose.
    pub number: Option<u32>,
    /// Whether the pilot flies the next one by hand.
    pub by_hand: bool,
    /// Whether a drill is being prepared.
    pub preparing: bool,
    /// Whether the circuits of the last one are being flown many times.
    pub flies_many: bool,
    /// Why the last one could not be.
    pub problem: Option<String>,
    /// The drill under way.
    pub session: Option<Session>,
}

impl Drilling {
    /// Whether a glide is being flown by hand now.
    #[must_use]
    pub fn flies_by_hand(&self) -> bool {
        self.session.as_ref().is_some_and(|s| s.is_choosing() && s.by_hand.is_some())
    }

    /// A drill is flown over the land as it was when it began: once that is edited, it is over.
    pub(super) fn land_changed(&mut self) {
        if self.session.take().is_some() || self.preparing {
            self.preparing = false;
            self.problem = Some("The land was changed, so the drill under way was left.".to_owned());
        }
    }
}

impl Model {
    /// Whether the Drill page is shown.
    #[must_use]
    pub fn drills(&self) -> bool {
        self.mode == super::Mode::Rehearse && self.drilling.page == RehearsePage::Drill
    }

    /// The set that is drilled.
    #[must_use]
    pub fn drill_set(&self) -> Option<&Arc<DrillSet>> {
        let sets = &self.area.as_ref()?.drill_sets;
        let wanted = self.drilling.set.as_deref();
        sets.iter().find(|s| Some(s.id.as_str()) == wanted).or_else(|| sets.first())
    }

    /// This pilot's results, in the order flown.
    #[must_use]
    pub fn drill_results(&self) -> Vec<&DrillResult> {
        let pilot = self.settings.pilot.trim();
        self.area
            .iter()
            .flat_map(|area| area.drill_results.iter().map(AsRef::as_ref))
            .filter(|r: &&DrillResult| r.pilot == pilot)
            .collect()
    }

    /// Applies what only changes the model.
    pub(super) fn apply_drill(&mut self, command: &DrillCommand) {
        let drilling = &mut self.drilling;
        match command {
            DrillCommand::Page(page) => {
                drilling.page = *page;
                self.sheet = None;
                drilling.session = None;
                drilling.problem = None;
            }
            DrillCommand::Show(page) => drilling.shows = *page,
            DrillCommand::Pilot(name) => self.settings.pilot.clone_from(name),
            DrillCommand::Set(id) => {
                drilling.set = Some(id.clone());
                (drilling.number, drilling.problem) = (None, None);
            }
            DrillCommand::Number(number) => drilling.number = *number,
            DrillCommand::ByHand(by_hand) => drilling.by_hand = *by_hand,
            DrillCommand::Steer(steer) => {
                let session = drilling.session.as_mut().filter(|s| s.is_choosing());
                if let Some(hand) = session.and_then(|s| s.by_hand.as_mut()) {
                    hand.steer(*steer);
                }
            }
            DrillCommand::Leave => {
                drilling.session = None;
                drilling.problem = None;
            }
            // These reach beyond the model.
            DrillCommand::Start
            | DrillCommand::Settle
            | DrillCommand::LookAtIt
            | DrillCommand::Do(_)
            | DrillCommand::PickSets
            | DrillCommand::TakeIn(_)
            | DrillCommand::PickHandOut(_)
            | DrillCommand::HandOut(..) => {}
            DrillCommand::At(_) | DrillCommand::Step(_) | DrillCommand::Play(_) => self.show_drill(command),
            DrillCommand::Choose(_) | DrillCommand::Towards(_) | DrillCommand::Join(_) | DrillCommand::Hand(_) => {
                self.choose_in_drill(command);
            }
        }
    }

    fn show_drill(&mut self, command: &DrillCommand) {
        let Some(session) = self.drilling.session.as_mut().filter(|s| s.is_over()) else { return };
        let within = |at: f64| at.max(0.0).min(session.lasts_s());
        match command {
            DrillCommand::At(at) => session.at_s = within(*at),
            DrillCommand::Step(by) => session.at_s = within(session.at_s + by),
            DrillCommand::Play(play) => {
                if *play && session.at_s >= session.lasts_s() {
                    session.at_s = 0.0;
                }
                session.playing = *play;
            }
            _ => {}
        }
    }

    fn choose_in_drill(&mut self, command: &DrillCommand) {
        // Once it is down, a glide by hand is past choosing.
        let down = |s: &Session| s.by_hand.as_ref().is_some_and(|hand| hand.is_down());
        let session = self.drilling.session.as_mut().filter(|s| s.is_choosing() && !down(s));
        let Some(session) = session else { return };
        match command {
            DrillCommand::Choose(field) if session.field != Some(*field) => {
                session.field = Some(*field);
                session.towards = None;
                session.directions = session.prepared.rehearsal.directions(*field);
            }
            DrillCommand::Towards(towards) => session.towards = *towards,
            DrillCommand::Join(join) => session.join = *join,
            DrillCommand::Hand(hand) => session.hand = *hand,
            _ => {}
        }
        if session.field.is_some() {
            session.choose();
        }
    }

    /// Keeps a result in the area, where its pilot has a name. It is not undone: what was flown was flown.
    pub(crate) fn keep_drill_result(&mut self, result: &DrillResult) {
        if !result.pilot.is_empty() {
            self.take_edit(Edit::new("drill", vec![Change::DrillResult(Arc::new(result.clone()))]));
        }
    }
}
