//! What the window does for debriefs: reads recorded flights, has them analysed, plays them, and listens to their keys.

use super::{App, glide};
use crate::command::Command;
use crate::debrief::basis::Basis;
use crate::debrief::corrections::corrected;
use crate::debrief::given::{HeightsTold, wind_input};
use crate::debrief::glide::GlideTold;
use crate::debrief::trends::measures;
use crate::debrief::{Ask, LOW_FLYING_M, NoSortie, analyse};
use crate::jobs::Once;
use crate::model::{BasisKey, DebriefCommand, DebriefKey, DebriefMade, Mode, NoticeLevel};
use egui::{Context, Key, Modifiers};
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::sortie::{KeptMeasures, Original, Sortie};
use sparefield_data::track::{self, decide_heights};
use sparefield_geometry::position::{LonLat, Xy};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// The invented lesson, so that there is something to look at.
const SAMPLE: &[u8] = include_bytes!("../../../../sample-terrain/sortie.gpx");
const SAMPLE_NAME: &str = "sortie.gpx";
/// Seconds that an arrow key steps, and with Shift.
const STEP_S: f64 = 1.0;
const LONG_STEP_S: f64 = 10.0;
/// Longest time that one frame plays, seconds.
const LONGEST_FRAME_S: f64 = 0.25;
/// Room left around what is brought onto the map, metres.
const AROUND_M: f64 = 200.0;

type Made = Result<DebriefMade, String>;

/// An analysis under way.
struct Analysis {
    key: DebriefKey,
    job: Once<Made>,
    stop: Arc<AtomicBool>,
    /// Thousandths done.
    done: Arc<AtomicU32>,
}

/// Sorties being looked through one after the other.
struct LookingThrough {
    job: Once<Vec<(String, KeptMeasures)>>,
    stop: Arc<AtomicBool>,
    /// How many are done.
    done: Arc<AtomicU32>,
    all: usize,
}

/// Work for debriefs.
#[derive(Default)]
pub(super) struct Debriefing {
    analysis: Option<Analysis>,
    reading: Option<Once<Result<Vec<Sortie>, String>>>,
    looking_through: Option<LookingThrough>,
    pub(super) glide: glide::Telling,
    /// Names of what measures are held against, being worked out.
    basis: Option<(BasisKey, Once<Basis>)>,
    /// The question that was answered or given up last.
    answered: Option<DebriefKey>,
}

impl App {
    /// Does what a command asks beyond the model.
    pub(super) fn debrief_command(&mut self, ctx: &Context, command: &DebriefCommand) {
        match command {
            DebriefCommand::ChooseFiles => self.track_dialog.show(),
            DebriefCommand::Add(files) => self.read_tracks(ctx, files.clone(), None),
            DebriefCommand::AddSample => self.read_tracks(ctx, vec![PathBuf::from(SAMPLE_NAME)], Some(SAMPLE)),
            DebriefCommand::Frame => self.frame_debrief(),
            DebriefCommand::Stop => {
                if let Some(analysis) = &self.debriefing.analysis {
                    analysis.stop.store(true, Ordering::Relaxed);
                }
                if let Some(looking) = &self.debriefing.looking_through {
                    looking.stop.store(true, Ordering::Relaxed);
                }
                self.debriefing.glide.stop();
            }
            DebriefCommand::GlideOfAll => self.tell_glide_of_all(ctx),
            DebriefCommand::AdoptGlide => self.adopt_glide(ctx),
            DebriefCommand::LookThrough => self.look_through(ctx),
            other => {
                self.model.apply(&Command::Debrief(other.clone()));
                if matches!(other, DebriefCommand::Exercise(Some(_))) {
                    self.frame_debrief();
                }
            }
        }
    }

    fn read_tracks(&mut self, ctx: &Context, files: Vec<PathBuf>, bytes: Option<&'static [u8]>) {
        let Some(area) = self.model.area.clone() else { return };
        let repaint = ctx.clone();
        let work = move || sorties(&area, &files, bytes);
        match Once::start("tracks", work, move || repaint.request_repaint()) {
            Ok(job) => {
                self.debriefing.reading = Some(job);
                self.model.debrief.reading = true;
                self.model.mode = Mode::Debrief;
            }
            Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refuses a thread ({e}).")),
        }
    }

    /// Looks through every sortie whose measures are missing, on a thread of its own.
    fn look_through(&mut self, ctx: &Context) {
        let Some(area) = self.model.area.clone().filter(|_| self.debriefing.looking_through.is_none()) else { return };
        let sorties = self.model.to_look_through();
        let all = sorties.len();
        let (stop, done) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
        let (aircraft, rules) = (Arc::clone(&self.model.conditions.aircraft), self.model.conditions.rules);
        let (today, land_revision) = (self.model.today, self.model.land_revision);
        let file = self.model.keeping.path.clone();
        let (stopped, told, repaint) = (Arc::clone(&stop), Arc::clone(&done), ctx.clone());
        let work = move || {
            let basis = Arc::new(Basis::of(&area, &aircraft, rules));
            let mut measured = Vec::new();
            for sortie in sorties {
                let goes_on = |_: f32| !stopped.load(Ordering::Relaxed);
                if !goes_on(0.0) {
                    break;
                }
                let ask = Ask {
                    area: Arc::clone(&area),
                    aircraft: Arc::clone(&aircraft),
                    wind: sortie.wind.as_ref().map(wind_input),
                    rules,
                    today,
                    low_flying_m: LOW_FLYING_M,
                };
                let key =
                    DebriefKey { sortie: Arc::clone(&sortie), land_revision, aircraft: Arc::clone(&aircraft), rules };
                // What cannot be analysed has no exercises; why is said when it is opened.
                let kept = match made(&ask, key, Arc::clone(&basis), file.as_deref(), &goes_on) {
                    Ok(made) => measures(&sortie, &made.sortie, &basis),
                    Err(_) if !goes_on(0.0) => break,
                    Err(_) => KeptMeasures {
                        from: sortie.measured_from(),
                        land: basis.land.clone(),
                        held: basis.held.clone(),
                        ..KeptMeasures::default()
                    },
                };
                measured.push((sortie.id.clone(), kept));
                told.fetch_add(1, Ordering::Relaxed);
                repaint.request_repaint();
            }
            measured
        };
        let repaint = ctx.clone();
        match Once::start("look through", work, move || repaint.request_repaint()) {
            Ok(job) => self.debriefing.looking_through = Some(LookingThrough { job, stop, done, all }),
            Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refuses a thread ({e}).")),
        }
    }

    fn take_looked_through(&mut self) {
        let looking = self.debriefing.looking_through.as_ref();
        self.model.debrief.looking_through = looking.map(|l| (l.done.load(Ordering::Relaxed) as usize, l.all));
        let Some(answer) = looking.and_then(|l| l.job.poll()) else { return };
        self.debriefing.looking_through = None;
        self.model.debrief.looking_through = None;
        match answer {
            Ok(measured) => self.model.keep_measures(measured),
            Err(why) => self.model.notify(NoticeLevel::Problem, format!("Looking through the sorties: {why}")),
        }
    }

    /// Takes what was read and analysed, asks for what is now needed, and plays on.
    pub(super) fn follow_debrief(&mut self, ctx: &Context) {
        self.take_tracks();
        self.take_analysis();
        self.take_looked_through();
        self.take_glide();
        self.follow_basis(ctx);
        self.model.keep_trends();
        let wanted = self.model.debrief_key();
        let debrief = &mut self.model.debrief;
        if wanted.is_none() {
            debrief.playing = false;
        }
        if let Some(analysis) = &self.debriefing.analysis {
            debrief.share = Some(analysis.done.load(Ordering::Relaxed) as f32 / 1_000.0);
            if wanted.as_ref() != Some(&analysis.key) {
                analysis.stop.store(true, Ordering::Relaxed);
            }
        } else {
            debrief.share = None;
            if let Some(key) = wanted {
                self.keep_up_with(ctx, key);
            }
        }
        let debrief = &mut self.model.debrief;
        if debrief.playing {
            let frame_s = f64::from(ctx.input(|i| i.stable_dt)).min(LONGEST_FRAME_S);
            debrief.play_on(frame_s);
            ctx.request_repaint();
            // The map moves with the aircraft.
            if let Some(sample) = debrief.sample()
                && let Some(made) = &debrief.made
            {
                self.map.reveal(made.sortie.flight.samples.all[sample].position);
            }
        }
    }

    /// Has it worked out what measures would be held against now, while trends are looked at.
    fn follow_basis(&mut self, ctx: &Context) {
        if let Some((_, job)) = &self.debriefing.basis
            && let Some(answer) = job.poll()
            && let Some((key, _)) = self.debriefing.basis.take()
        {
            // Without an answer nothing counts as stale; it is not asked for again.
            self.model.debrief.basis = Some((key, Arc::new(answer.unwrap_or_default())));
        }
        let (Some(wanted), None) = (self.model.basis_wanted(), &self.debriefing.basis) else { return };
        if self.model.debrief.basis.as_ref().is_some_and(|(of, _)| *of == wanted) {
            return;
        }
        let Some(area) = self.model.area.clone() else { return };
        let (aircraft, rules, repaint) = (Arc::clone(&wanted.aircraft), wanted.rules, ctx.clone());
        let work = move || Basis::of(&area, &aircraft, rules);
        match Once::start("basis of measures", work, move || repaint.request_repaint()) {
            Ok(job) => self.debriefing.basis = Some((wanted, job)),
            Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refuses a thread ({e}).")),
        }
    }

    /// Shows what was made of a sortie before, or has it analysed.
    fn keep_up_with(&mut self, ctx: &Context, key: DebriefKey) {
        let debrief = &self.model.debrief;
        let have = debrief.made.as_ref().is_some_and(|m| m.key == key);
        let refused = debrief.refusal.is_some() && self.debriefing.answered.as_ref() == Some(&key);
        if have || refused {
            return;
        }
        match debrief.library.get(&key.sortie.id).filter(|m| m.key == key).cloned() {
            Some(kept) => self.show_made(kept),
            None => self.ask_for_analysis(ctx, key),
        }
    }

    fn take_tracks(&mut self) {
        let Some(answer) = self.debriefing.reading.as_ref().and_then(Once::poll) else { return };
        self.debriefing.reading = None;
        self.model.debrief.reading = false;
        let read = match answer {
            Ok(Ok(read)) => read,
            Ok(Err(why)) => return self.model.notify(NoticeLevel::Problem, why),
            Err(why) => return self.model.notify(NoticeLevel::Problem, format!("Reading the recording: {why}")),
        };
        let Some(area) = &self.model.area else { return };
        let known = |s: &Sortie| {
            area.sorties.iter().find(|k| k.original == s.original && k.recording == s.recording).map(|k| k.id.clone())
        };
        let mut last = None;
        let mut changes = Vec::new();
        let stem = area.free_id("sortie");
        let first = stem.strip_prefix("sortie-").and_then(|n| n.parse::<u64>().ok()).unwrap_or(1);
        for sortie in read {
            if let Some(id) = known(&sortie) {
                last = Some(id);
                continue;
            }
            let id = format!("sortie-{}", first + changes.len() as u64);
            last = Some(id.clone());
            changes.push(Change::Sortie(Swap::add(Sortie { id, ..sortie })));
        }
        if !changes.is_empty() {
            let words =
                if changes.len() == 1 { "add a sortie".to_owned() } else { format!("add {} sorties", changes.len()) };
            self.commands.push(Command::Edit(Box::new(Edit::new(words, changes))));
        }
        self.commands.push(Command::Debrief(DebriefCommand::Open(last)));
    }

    fn take_analysis(&mut self) {
        let Some(answer) = self.debriefing.analysis.as_ref().and_then(|a| a.job.poll()) else { return };
        let Some(Analysis { key, .. }) = self.debriefing.analysis.take() else { return };
        let current = self.model.debrief_key();
        let debrief = &mut self.model.debrief;
        debrief.share = None;
        // What nobody asks for any more is asked anew when it is looked at again.
        if current.as_ref() != Some(&key) {
            return;
        }
        self.debriefing.answered = Some(key.clone());
        let made = match answer {
            Ok(Ok(made)) => Arc::new(made),
            Ok(Err(why)) => {
                debrief.refusal = Some(why);
                debrief.made = None;
                return;
            }
            Err(why) => {
                debrief.refusal = Some(format!("The analysis: {why}"));
                debrief.made = None;
                return;
            }
        };
        debrief.library.insert(key.sortie.id.clone(), Arc::clone(&made));
        let kept = measures(&key.sortie, &made.sortie, &made.basis);
        self.show_made(made);
        self.model.keep_measures(vec![(key.sortie.id.clone(), kept)]);
    }

    fn show_made(&mut self, made: Arc<DebriefMade>) {
        let debrief = &mut self.model.debrief;
        debrief.refusal = None;
        let first = debrief.made.is_none();
        let count = made.sortie.exercises.len();
        // After a correction the exercise at the moment shown is looked at.
        let at = debrief.at_s;
        let around = made
            .sortie
            .exercises
            .iter()
            .position(|e| (e.exercise.start_s - 1.0..=e.exercise.end_s + 1.0).contains(&at));
        debrief.made = Some(made);
        if !first {
            debrief.exercise = around.or(debrief.exercise.filter(|i| *i < count));
            return;
        }
        debrief.exercise = (count > 0).then_some(0);
        if let Some((_, one)) = debrief.looked_at() {
            debrief.at_s = one.exercise.start_s;
        }
        self.frame_sortie();
    }

    fn ask_for_analysis(&mut self, ctx: &Context, key: DebriefKey) {
        let Some(area) = self.model.area.clone() else { return };
        let (stop, done) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
        let ask = Ask {
            area,
            aircraft: Arc::clone(&key.aircraft),
            wind: key.sortie.wind.as_ref().map(wind_input),
            rules: key.rules,
            today: self.model.today,
            low_flying_m: LOW_FLYING_M,
        };
        let file = self.model.keeping.path.clone();
        let (wanted, stopped, told, repaint) = (key.clone(), Arc::clone(&stop), Arc::clone(&done), ctx.clone());
        let work = move || {
            let goes_on = |share: f32| {
                told.store((share * 1_000.0) as u32, Ordering::Relaxed);
                repaint.request_repaint();
                !stopped.load(Ordering::Relaxed)
            };
            let basis = Arc::new(Basis::of(&ask.area, &ask.aircraft, ask.rules));
            made(&ask, wanted, basis, file.as_deref(), &goes_on)
        };
        let repaint = ctx.clone();
        match Once::start("debrief", work, move || repaint.request_repaint()) {
            Ok(job) => {
                self.model.debrief.share = Some(0.0);
                self.debriefing.analysis = Some(Analysis { key, job, stop, done });
            }
            Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refuses a thread ({e}).")),
        }
    }

    /// Brings the exercise looked at, or the whole sortie, onto the map.
    fn frame_debrief(&mut self) {
        let debrief = &self.model.debrief;
        let Some((sortie, one)) = debrief.looked_at() else { return self.frame_sortie() };
        let samples = &sortie.flight.samples.all;
        let around = one.measures.samples.clone();
        let places: Vec<Xy> = samples[around].iter().map(|s| s.position).collect();
        self.show_places(&places);
    }

    fn frame_sortie(&mut self) {
        let Some(made) = &self.model.debrief.made else { return };
        let places: Vec<Xy> = made.sortie.flight.samples.all.iter().map(|s| s.position).collect();
        self.show_places(&places);
    }

    fn show_places(&mut self, places: &[Xy]) {
        let mut low = Xy::new(f64::MAX, f64::MAX);
        let mut high = Xy::new(f64::MIN, f64::MIN);
        for p in places {
            low = Xy::new(low.x.min(p.x), low.y.min(p.y));
            high = Xy::new(high.x.max(p.x), high.y.max(p.y));
        }
        if low.x <= high.x {
            let around = Xy::new(AROUND_M, AROUND_M);
            self.map.show_box(low - around, high + around);
        }
    }

    /// Space plays and pauses, arrows step, while nothing else has the keyboard.
    pub(super) fn debrief_keys(&mut self, ctx: &Context, typing: bool) {
        if typing || self.model.mode != Mode::Debrief || self.model.debrief.made.is_none() {
            return;
        }
        let focused = ctx.memory(egui::Memory::focused);
        let on_map = focused.is_some() && focused == self.map.id();
        if !(focused.is_none() || on_map) {
            return;
        }
        let mut push = |command| self.commands.push(Command::Debrief(command));
        if ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::Space)) {
            push(DebriefCommand::Play(!self.model.debrief.playing));
        }
        if on_map {
            return;
        }
        for (key, sign) in [(Key::ArrowLeft, -1.0), (Key::ArrowRight, 1.0)] {
            if ctx.input_mut(|i| i.consume_key(Modifiers::SHIFT, key)) {
                push(DebriefCommand::Step(sign * LONG_STEP_S));
            }
            if ctx.input_mut(|i| i.consume_key(Modifiers::NONE, key)) {
                push(DebriefCommand::Step(sign * STEP_S));
            }
        }
    }
}

/// Recorded flights as sorties of the area, not yet with identifiers of their own.
fn sorties(area: &Area, files: &[PathBuf], bytes: Option<&[u8]>) -> Result<Vec<Sortie>, String> {
    let ground = |at: LonLat| area.frame.to_xy(at).ok().and_then(|p| area.terrain.height_at(p));
    let mut list = Vec::new();
    for path in files {
        let bytes = match bytes {
            Some(bytes) => bytes.to_vec(),
            None => track::read_bytes(path).map_err(|e| e.to_string())?,
        };
        let loaded = track::from_bytes(path, &bytes).map_err(|e| e.to_string())?;
        let original = Original::new(path, bytes);
        for (i, recording) in loaded.value.iter().enumerate() {
            let heights = decide_heights(recording, &ground).choice;
            let mut sortie = Sortie::new(String::new(), recording, i as u32, original.clone(), heights);
            if sortie.name.is_empty() {
                sortie.name.clone_from(&original.file_name);
            }
            list.push(sortie);
        }
    }
    Ok(list)
}

fn made(
    ask: &Ask,
    key: DebriefKey,
    basis: Arc<Basis>,
    file: Option<&Path>,
    goes_on: &(dyn Fn(f32) -> bool + Sync),
) -> Made {
    let loaded = key.sortie.read(file).map_err(|e| e.to_string())?;
    let recording = &loaded.value;
    let track = recording.in_frame(&ask.area.frame, &key.sortie.heights).map_err(|e| e.to_string())?;
    let correct = |flight: &_, found: &[_]| corrected(flight, found, &key.sortie.marks);
    let sortie = analyse(ask, &track, Some(&correct), goes_on).map_err(|e| match e {
        NoSortie::Cancelled => "Stopped; open it again to go on.".to_owned(),
        other => {
            let text = other.to_string();
            let mut letters = text.chars();
            letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
        }
    })?;
    let ground = |at: LonLat| ask.area.frame.to_xy(at).ok().and_then(|p| ask.area.terrain.height_at(p));
    let heights = HeightsTold::of(recording, decide_heights(recording, &ground), &key.sortie.heights);
    let by = if key.sortie.heights_by_user { ", by your choice" } else { "" };
    let mut notes = vec![format!("Heights: {}{by}.", key.sortie.heights.words())];
    notes.extend(loaded.warnings.iter().map(ToString::to_string));
    let glide = GlideTold::of(&sortie.flight);
    Ok(DebriefMade { key, sortie, notes, heights, glide, basis })
}
