//! What the window does to follow a live position: listens, moves the aircraft, keeps the age of everything, records.

use super::App;
use crate::assess::HeightInput;
use crate::awake::Awake;
use crate::command::Command;
use crate::flight_log::FlightLog;
use crate::keep::Keep;
use crate::model::{Conditions, FollowCommand, Mode, NoticeLevel, Steady};
use crate::pick::{PickFor, Picking};
use crate::views::map::Camera;
use egui::Context;
use sparefield_data::area::{Change, Edit, Swap};
use sparefield_data::live::{FRESH, Live, LiveFix, State};
use sparefield_geometry::position::{Bearing, Xy};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Below this speed over the ground the track says nothing about where the nose points, m/s (common practice, no
/// source).
const MOVING_MS: f64 = 4.0;
/// Below the middle of the map when the track is up, as a share of its height: what lies ahead matters more.
const AHEAD_SHARE: f64 = 0.22;
/// How close the map looks when the first position comes in: two kilometres to either side, metres for a point.
const CLOSE_M_PER_PT: f64 = 5.0;
/// How often an age that is shown is brought up to date.
const TICK: Duration = Duration::from_secs(1);

/// What is listened to, and what belongs to it.
#[derive(Default)]
pub(super) struct Following {
    live: Option<Live>,
    /// When the fix of each assessment that is under way came in.
    asked: Vec<(u64, Instant)>,
    /// When the fix came in that the next assessment is of.
    newest: Option<Instant>,
    /// When the fix came in from which the fields were last ranked.
    answered: Option<Instant>,
    /// The wind as it was when the area was opened, and when it was typed.
    wind: Option<TypedWind>,
    /// The conditions of the other modes, while this one has its own.
    before: Option<Conditions>,
    /// The area that they belong to.
    area_revision: u64,
    recording: Option<FlightLog>,
    awake: Awake,
    /// Journals whose sorties wait to be written to the area's file.
    journals: Vec<PathBuf>,
}

/// The wind of an area, and when it was typed.
struct TypedWind {
    area_revision: u64,
    from: Bearing,
    speed_ms: f64,
    typed: Option<Instant>,
}

impl App {
    /// Does what was asked about following.
    pub(super) fn follow_command(&mut self, ctx: &Context, command: &FollowCommand) {
        match command {
            FollowCommand::Connect => self.connect(ctx),
            FollowCommand::Disconnect => {
                self.finish_recording();
                self.following.live = None;
                let follow = &mut self.model.follow;
                (follow.source, follow.status, follow.track, follow.speed_ms) = (None, None, None, None);
                self.following.answered = None;
            }
            FollowCommand::Record(true) => {
                let folder = self.journal_folder();
                let (log, trouble) = FlightLog::begin(jiff::Timestamp::now(), folder.as_deref());
                self.model.follow.recorded = Some(0);
                self.following.recording = Some(log);
                if let Some(trouble) = trouble {
                    self.model.notify(NoticeLevel::Problem, trouble);
                }
            }
            FollowCommand::Record(false) => self.finish_recording(),
            FollowCommand::ChooseFile => {
                let wake = ctx.clone();
                match Picking::start(PickFor::Flight, None, move || wake.request_repaint()) {
                    Ok(picking) => self.picking = Some(picking),
                    Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refused a thread: {e}")),
                }
            }
            FollowCommand::Speed(speed) => {
                if let Some(live) = &self.following.live {
                    live.set_speed(*speed);
                }
                self.model.apply(&Command::Follow(command.clone()));
            }
            FollowCommand::Form(_)
            | FollowCommand::TrackUp(_)
            | FollowCommand::Centre
            | FollowCommand::LookedAway
            | FollowCommand::Unpin => self.model.apply(&Command::Follow(command.clone())),
        }
    }

    /// Takes a recorded flight that was chosen.
    pub(super) fn take_flight(&mut self, path: &Path) {
        self.model.follow.form.file = path.display().to_string();
        self.model.follow.problem = None;
    }

    fn connect(&mut self, ctx: &Context) {
        let source = match self.model.follow.form.source(self.model.follow.replay_speed.0) {
            Ok(source) => source,
            Err(missing) => {
                self.model.follow.problem = Some(missing);
                return;
            }
        };
        let wake = ctx.clone();
        match Live::start(source.clone(), move || wake.request_repaint()) {
            Ok(live) => {
                self.following.live = Some(live);
                self.following.answered = None;
                let follow = &mut self.model.follow;
                (follow.source, follow.problem) = (Some(source), None);
                (follow.looked_away, follow.pinned, follow.placed) = (false, false, false);
            }
            Err(e) => self.model.follow.problem = Some(format!("The system refused a thread: {e}")),
        }
    }

    /// Takes what came in, moves the aircraft there, and asks to be called again when an age changes.
    pub(super) fn follow_live(&mut self, ctx: &Context) {
        let now = Instant::now();
        self.change_over();
        self.age_of_wind(now);
        self.clear_journals();
        let wake = ctx.clone();
        let wanted = self.following.live.is_some() && self.model.mode == Mode::Follow;
        self.following.awake.hold(wanted, move || wake.request_repaint());
        self.model.follow.may_sleep = self.following.awake.is_refused();
        let Some(live) = &self.following.live else {
            self.model.follow.answer_age = None;
            return;
        };
        let fixes = live.take();
        let status = live.status(now);
        if let Some(recording) = &mut self.following.recording {
            let clock = jiff::Timestamp::now();
            let troubles: Vec<String> = fixes.iter().filter_map(|fix| recording.add(fix, clock)).collect();
            self.model.follow.recorded = Some(recording.fixes());
            for trouble in troubles {
                self.model.notify(NoticeLevel::Problem, trouble);
            }
        }
        let following = self.model.mode == Mode::Follow;
        if let Some(fix) = fixes.last().filter(|_| following) {
            self.fly_to(fix);
        }
        let answered = self.following.answered.filter(|_| following);
        let age = answered.map(|at| now.saturating_duration_since(at));
        let follow = &mut self.model.follow;
        follow.answer_age = age;
        if following {
            // Nothing is drawn again unless something changes: a new fix wakes the window, and so does an age.
            match (status.state, status.age.max(age)) {
                (State::Live, Some(age)) if age <= FRESH => {
                    ctx.request_repaint_after(FRESH.saturating_sub(age) + Duration::from_millis(20));
                }
                (State::Live | State::Stale | State::Lost, _) => ctx.request_repaint_after(TICK),
                // Wound-down flights grow old, too, until their answer is gone.
                (State::Ended, _) if age.is_some_and(|a| a <= sparefield_data::live::LOST) => {
                    ctx.request_repaint_after(TICK);
                }
                _ => {}
            }
        }
        follow.status = Some(status);
        if following {
            self.model.hold_top_choice(now);
        }
        if following && !self.model.follow.pinned {
            let best = self.model.top_choice().map(|r| r.index);
            if self.model.selected != best {
                self.model.selected = best;
            }
        }
    }

    /// The other modes keep their own aircraft: what flew in is put back where it stood.
    fn change_over(&mut self) {
        if std::mem::replace(&mut self.following.area_revision, self.model.area_revision) != self.model.area_revision {
            // Another area has put the aircraft where it suggests.
            self.following.before = None;
            self.model.follow.steady = Steady::default();
        }
        match (self.model.mode, self.following.before.take()) {
            (Mode::Follow, None) => {
                self.following.before = Some(self.model.conditions.clone());
                self.following.answered = None;
                self.model.follow.steady = Steady::default();
                self.model.follow.pinned = false;
                self.tell_unfinished();
                if let Some(fix) = self.model.follow.status.as_ref().and_then(|s| s.fix) {
                    self.fly_to(&fix);
                }
            }
            (Mode::Follow, kept) => self.following.before = kept,
            (_, Some(before)) => {
                let conditions = &mut self.model.conditions;
                (conditions.position, conditions.height, conditions.heading) =
                    (before.position, before.height, before.heading);
                self.map.set_up(Bearing::NORTH);
            }
            (_, None) => {}
        }
    }

    fn age_of_wind(&mut self, now: Instant) {
        let (from, speed_ms) = (self.model.conditions.wind_from, self.model.conditions.wind_speed_ms);
        let area_revision = self.model.area_revision;
        let typed = match &self.following.wind {
            // Another area suggests another wind, and nobody typed it.
            Some(was) if was.area_revision != area_revision => None,
            Some(was) if was.from == from && was.speed_ms == speed_ms => was.typed,
            Some(_) => Some(now),
            None => None,
        };
        self.following.wind = Some(TypedWind { area_revision, from, speed_ms, typed });
        self.model.follow.wind_age = typed.map(|at| now.saturating_duration_since(at));
    }

    /// Puts the aircraft where a fix says it is.
    fn fly_to(&mut self, fix: &LiveFix) {
        let Some(area) = self.model.area.clone() else { return };
        let follow = &mut self.model.follow;
        follow.speed_ms = fix.speed_ms;
        let Ok(position) = area.frame.to_xy(fix.place) else {
            follow.problem =
                Some("The position is outside the part of the Earth that this area is made for".to_owned());
            return;
        };
        let moving = fix.speed_ms.is_none_or(|v| v >= MOVING_MS);
        let track = fix.track_deg.filter(|_| moving).map(Bearing::from_deg);
        follow.track = track.map(|t| area.frame.grid_bearing(t, position).unwrap_or(t));
        let Some(height) = fix.height_amsl_m else {
            follow.problem = Some("The receiver gives no height, so nothing can be ranked".to_owned());
            self.model.conditions.position = position;
            return;
        };
        follow.problem = None;
        if !std::mem::replace(&mut follow.placed, true) {
            let camera = self.map.camera();
            let metres_per_point = camera.metres_per_point.min(CLOSE_M_PER_PT);
            self.map.set_camera(Camera { centre: position, metres_per_point });
        }
        let heading = self.nose();
        let conditions = &mut self.model.conditions;
        conditions.position = position;
        conditions.height = HeightInput::AboveSea(height);
        conditions.heading = heading;
        self.following.newest = Some(fix.received);
    }

    /// Where the nose points: the track, less the drift of the wind as typed.
    fn nose(&self) -> Option<Bearing> {
        let (track, speed) = (self.model.follow.track?, self.model.follow.speed_ms);
        let wind = self.model.assessment.as_ref().map(|a| a.wind.at_amsl(a.state.height_amsl_m).xy());
        let (Some(speed), Some(wind)) = (speed, wind) else { return Some(track) };
        (track.unit() * speed - wind).bearing().or(Some(track))
    }

    /// Notes that the present conditions are being assessed under a serial number.
    pub(super) fn note_asked(&mut self, serial: u64) {
        if let Some(received) = self.following.newest.filter(|_| self.model.mode == Mode::Follow) {
            self.following.asked.push((serial, received));
            let surplus = self.following.asked.len().saturating_sub(32);
            self.following.asked.drain(..surplus);
        }
    }

    /// Notes that an assessment is there.
    pub(super) fn note_answered(&mut self, serial: u64) {
        if let Some((_, received)) = self.following.asked.iter().find(|(s, _)| *s == serial) {
            self.following.answered = Some(*received);
        }
        self.following.asked.retain(|(s, _)| *s > serial);
    }

    /// A fix that is the same as the one before needs no new assessment, but its answer is as young as it is.
    pub(super) fn note_unchanged(&mut self) {
        if self.model.mode == Mode::Follow && !self.model.assessing && self.model.assessment.is_some() {
            self.following.answered = self.following.newest.or(self.following.answered);
        }
    }

    /// Keeps what was recorded as a sortie of the area.
    pub(super) fn finish_recording(&mut self) {
        self.model.follow.recorded = None;
        let Some(recording) = self.following.recording.take() else { return };
        let Some(area) = &self.model.area else { return };
        if recording.fixes() == 0 {
            self.following.journals.extend(recording.end());
            self.model.notify(NoticeLevel::Info, "Nothing was recorded: no position came in");
            return;
        }
        match recording.sortie(area) {
            Some(sortie) => {
                let words = format!("record “{}”", sortie.name);
                let told = format!("“{}” is kept in the area with {} positions", sortie.name, recording.fixes());
                let edit = Edit::new(words, vec![Change::Sortie(Swap::add(sortie))]);
                self.model.apply(&Command::Edit(Box::new(edit)));
                self.model.notify(NoticeLevel::Info, told);
                self.following.journals.extend(recording.end());
            }
            None => {
                self.model.notify(NoticeLevel::Problem, "What was recorded has no usable position and was not kept");
            }
        }
    }

    /// Where journals lie: beside the area's file, or where areas without one get theirs.
    fn journal_folder(&self) -> Option<PathBuf> {
        let beside = self.model.keeping.path.as_ref().and_then(|path| path.parent().map(Path::to_owned));
        beside.or_else(|| self.start.keep_settings.then(Keep::own_folder).flatten())
    }

    /// Takes journals away once everything is in the area's file.
    fn clear_journals(&mut self) {
        if self.following.journals.is_empty() || !self.model.unsaved.is_empty() || self.model.keeping.waiting > 0 {
            return;
        }
        for journal in std::mem::take(&mut self.following.journals) {
            if let Err(e) = std::fs::remove_file(&journal) {
                log::warn!("{} was not taken away: {e}", journal.display());
            }
        }
    }

    /// Names flights whose recording never ended, because the program or the computer did.
    fn tell_unfinished(&mut self) {
        let left = self.journal_folder().map(|folder| crate::flight_log::unfinished(&folder)).unwrap_or_default();
        let recording = self.following.recording.is_some();
        for journal in left.into_iter().filter(|j| !recording && !self.following.journals.contains(j)) {
            let words = format!(
                "The recording of a flight was cut off and lies in {}: open it in Debrief to keep it, or delete it",
                journal.display()
            );
            self.model.notify(NoticeLevel::Info, words);
        }
    }

    /// Whether a flight is being recorded.
    pub(super) fn is_recording(&self) -> bool {
        self.following.recording.is_some()
    }

    /// Brings the map over the aircraft, unless the pilot looks elsewhere.
    pub(super) fn centre_map(&mut self) {
        if self.model.mode != Mode::Follow {
            return;
        }
        let follow = &self.model.follow;
        let up = follow.track.filter(|_| follow.track_up);
        if up.is_some() || !follow.track_up {
            self.map.set_up(up.unwrap_or(Bearing::NORTH));
        }
        let (true, Some(view)) = (follow.source.is_some() && !follow.looked_away, self.map.last_view()) else { return };
        let camera = self.map.camera();
        let ahead_m = f64::from(view.rect.height()) * AHEAD_SHARE * camera.metres_per_point;
        let ahead = up.map_or(Xy::default(), |up| up.unit() * ahead_m);
        self.map.set_camera(Camera { centre: self.model.conditions.position + ahead, ..camera });
    }
}
