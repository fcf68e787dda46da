//! Recorded flights as looked at in the window: which is open, what was found in it, and the moment shown.

use super::{Mode, Model};
use crate::debrief::basis::Basis;
use crate::debrief::corrections::{self, Correction};
use crate::debrief::given::{self, HeightsTold};
use crate::debrief::glide::GlideTold;
use crate::debrief::report::{Named, page};
use crate::debrief::trends::{Filter, Measure, Trends};
use crate::debrief::{Debriefed, Sortie as Analysed};
use crate::print::Document;
use sparefield_data::area::{Change, Edit, Swap};
use sparefield_data::quantity::UnitPrefs;
use sparefield_data::sortie::{KeptMeasures, Measured, Sortie};
use sparefield_data::track::{HeightChoice, HeightSource};
use sparefield_geometry::aircraft::Aircraft;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

/// One thing done in Debrief.
#[derive(Clone, Debug, PartialEq)]
pub enum DebriefCommand {
    /// Ask for recorded flights.
    ChooseFiles,
    /// Ask where the report of the open sortie goes.
    Report,
    /// Add recorded flights.
    Add(Vec<PathBuf>),
    /// Add the invented lesson.
    AddSample,
    /// Open a sortie, or none.
    Open(Option<String>),
    /// Take a sortie out of the area.
    Forget(String),
    /// Look at an exercise.
    Exercise(Option<usize>),
    /// Which page of the card.
    Page(DebriefPage),
    /// Play or pause.
    Play(bool),
    /// Show this moment, seconds since the first fix.
    At(f64),
    /// Show a moment so many seconds later.
    Step(f64),
    /// Play so many times as fast as it was flown.
    Speed(f64),
    /// Correct the exercise looked at, with the moment shown.
    Correct(DebriefCorrection),
    /// An exercise begins at the moment shown.
    AddExercise,
    /// Forget every correction of this sortie.
    AsFound,
    /// Give the open sortie a wind as typed: at the surface, and aloft. Nothing typed goes back to that of the turns.
    GiveWind {
        /// At the surface.
        surface: String,
        /// Aloft, with semicolons between.
        aloft: String,
    },
    /// Count the open sortie's heights from elsewhere; `None` leaves it to the program.
    Heights(Option<HeightChoice>),
    /// Take the open sortie's heights from its pressures with a QNH as typed.
    Qnh(String),
    /// Look through every sortie whose measures are missing.
    LookThrough,
    /// Which exercises the trends run over.
    Filter(Filter),
    /// Which measure is drawn along time.
    Measure(Measure),
    /// Who flew the open sortie.
    Pilot(String),
    /// In which aircraft the open sortie was flown.
    FlownIn(String),
    /// Tell the glide curve from every sortie in the open one's aircraft.
    GlideOfAll,
    /// Show the glide curve of them together, or of the open one alone.
    GlideTogether(bool),
    /// Use the shown glide curve from now on, in a new aircraft.
    AdoptGlide,
    /// Bring what is looked at onto the map.
    Frame,
    /// Stop analysing.
    Stop,
}

/// A correction that takes the moment shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DebriefCorrection {
    /// It begins at the moment shown.
    Begins,
    /// It ends at the moment shown.
    Ends,
    /// It is two, parted at the moment shown.
    Split,
    /// It is one with the next.
    JoinNext,
    /// There is none.
    Remove,
}

/// The pages of the card.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum DebriefPage {
    /// The exercise looked at.
    #[default]
    Exercise,
    /// Exercises over one another.
    Overlaid,
    /// The sortie as a whole: who, in what, wind and heights.
    Sortie,
    /// The glide curve that it tells.
    Glide,
    /// Over every sortie of the area.
    Trends,
}

impl DebriefPage {
    /// Every page in order.
    pub const ALL: [Self; 5] = [Self::Exercise, Self::Overlaid, Self::Sortie, Self::Glide, Self::Trends];
    /// The name for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Exercise => "Exercise",
            Self::Overlaid => "Overlaid",
            Self::Sortie => "Sortie",
            Self::Glide => "Glide",
            Self::Trends => "Trends",
        }
    }
}

/// What an analysis depends on.
#[derive(Clone, Debug, PartialEq)]
pub struct DebriefKey {
    /// The sortie as the area has it.
    pub sortie: Arc<Sortie>,
    /// The land.
    pub land_revision: u64,
    /// The aircraft.
    pub aircraft: Arc<Aircraft>,
    /// The rules.
    pub rules: crate::assess::Rules,
}

/// An analysed sortie of the area.
#[derive(Clone, Debug)]
pub struct DebriefMade {
    /// What it was made from.
    pub key: DebriefKey,
    /// The analysis.
    pub sortie: Analysed,
    /// From where its heights count, and what was noticed while reading.
    pub notes: Vec<String>,
    /// From where its heights could count.
    pub heights: HeightsTold,
    /// The glide curve it tells.
    pub glide: GlideTold,
    /// Names what it was held against.
    pub basis: Arc<Basis>,
}

/// What measures would be held against now.
#[derive(Clone, Debug, PartialEq)]
pub struct BasisKey {
    /// The area and its land.
    pub revisions: (u64, u64),
    /// The aircraft.
    pub aircraft: Arc<Aircraft>,
    /// The rules.
    pub rules: crate::assess::Rules,
}

/// What a glide curve from several sorties depends on.
#[derive(Clone, Debug, PartialEq)]
pub struct GlideKey {
    /// The sorties.
    pub sorties: Vec<Arc<Sortie>>,
    /// The land.
    pub land_revision: u64,
    /// The aircraft in use.
    pub aircraft: Arc<Aircraft>,
}

impl DebriefMade {
    /// The report, as a page.
    #[must_use]
    pub fn report(&self, units: UnitPrefs) -> Document {
        let sortie = &self.key.sortie;
        let named = Named {
            name: sortie.name.clone(),
            began: sortie.started.map(|t| t.strftime("%Y-%m-%d %H:%M UTC").to_string()),
            sortie: &self.sortie,
            heights: sortie.heights.words(),
        };
        page(&[named], units)
    }
}

/// What trends are of: sorties, filter, and what counts as stale.
type TrendsOf = (Arc<Vec<Arc<Sortie>>>, Filter, Option<Arc<Basis>>);

/// Debrief as looked at in the window.
#[derive(Clone, Debug)]
pub struct Debrief {
    /// Identifier of the open sortie.
    pub open: Option<String>,
    /// What was made of the open one.
    pub made: Option<Arc<DebriefMade>>,
    /// Analyses of this run by sortie, for what runs over several.
    pub library: BTreeMap<String, Arc<DebriefMade>>,
    /// Share done of the analysis under way.
    pub share: Option<f32>,
    /// Why there is no analysis.
    pub refusal: Option<String>,
    /// Whether recordings are being read.
    pub reading: bool,
    /// The exercise looked at.
    pub exercise: Option<usize>,
    /// The page of the card.
    pub page: DebriefPage,
    /// Whether the flight is being played.
    pub playing: bool,
    /// How many times as fast as it was flown.
    pub speed: f64,
    /// The moment shown, seconds since the first fix.
    pub at_s: f64,
    /// Which exercises the trends run over.
    pub filter: Filter,
    /// Which measure is drawn along time.
    pub measure: Measure,
    /// The trends, and the sorties and filter that they are of.
    pub trends: Arc<Trends>,
    trends_of: Option<TrendsOf>,
    /// Names of what measures would be held against now, once they are worked out, and what they are of.
    pub basis: Option<(BasisKey, Arc<Basis>)>,
    /// How many sorties were looked through, and of how many, while they are.
    pub looking_through: Option<(usize, usize)>,
    /// Whether the glide curve is shown of every sortie in the open one's aircraft.
    pub glide_together: bool,
    /// The glide curve of several sorties, and what it was told from.
    pub glide_of_all: Option<(GlideKey, Arc<GlideTold>)>,
    /// How many sorties were read for it, and of how many, while they are.
    pub glide_reading: Option<(usize, usize)>,
    /// Whether an aircraft with a fitted curve is being kept.
    pub adopting: bool,
}

impl Default for Debrief {
    fn default() -> Self {
        Self {
            open: None,
            made: None,
            library: BTreeMap::new(),
            share: None,
            refusal: None,
            reading: false,
            exercise: None,
            page: DebriefPage::default(),
            playing: false,
            speed: 5.0,
            at_s: 0.0,
            filter: Filter::default(),
            measure: Measure::default(),
            trends: Arc::default(),
            trends_of: None,
            basis: None,
            looking_through: None,
            glide_together: false,
            glide_of_all: None,
            glide_reading: None,
            adopting: false,
        }
    }
}

impl Debrief {
    /// Speeds that are offered.
    pub const SPEEDS: [f64; 4] = [1.0, 5.0, 20.0, 60.0];

    /// First and last second of what is shown: the exercise looked at with some time around it, else the whole flight.
    #[must_use]
    pub fn span_s(&self) -> (f64, f64) {
        let Some(made) = &self.made else { return (0.0, 0.0) };
        let all = &made.sortie.flight.samples.all;
        match all.first().zip(all.last()) {
            Some((first, last)) => (first.time_s, last.time_s),
            None => (0.0, 0.0),
        }
    }
    /// The exercise looked at.
    #[must_use]
    pub fn looked_at(&self) -> Option<(&Analysed, &Debriefed)> {
        let made = self.made.as_ref()?;
        Some((&made.sortie, made.sortie.exercises.get(self.exercise?)?))
    }
    /// The sample at the moment shown.
    #[must_use]
    pub fn sample(&self) -> Option<usize> {
        let made = self.made.as_ref()?;
        let samples = &made.sortie.flight.samples;
        (!samples.all.is_empty()).then(|| samples.index_at(self.at_s))
    }
    /// Goes on playing for so many seconds of the viewer's; stops at the end.
    pub fn play_on(&mut self, seconds: f64) {
        let (_, last) = self.span_s();
        self.at_s += seconds * self.speed;
        if self.at_s >= last {
            self.at_s = last;
            self.playing = false;
        }
    }
    fn show(&mut self, at_s: f64) {
        let (first, last) = self.span_s();
        self.at_s = at_s.clamp(first, last.max(first));
    }
}

/// How long an exercise is that is added by hand, until its end is moved, seconds.
const ADDED_S: f64 = 60.0;

impl Model {
    /// The open sortie as the area has it.
    #[must_use]
    pub fn open_sortie(&self) -> Option<&Arc<Sortie>> {
        let id = self.debrief.open.as_ref()?;
        self.area.as_ref()?.sorties.iter().find(|s| s.id == *id)
    }

    /// Brings the trends up to date, where they are looked at.
    pub(crate) fn keep_trends(&mut self) {
        let Some(area) = self.area.as_ref().filter(|_| self.mode == Mode::Debrief) else { return };
        let wanted = self.basis_wanted();
        let debrief = &mut self.debrief;
        if debrief.page != DebriefPage::Trends {
            return;
        }
        let basis = debrief.basis.as_ref().filter(|(of, _)| Some(of) == wanted.as_ref()).map(|(_, b)| Arc::clone(b));
        let current = debrief
            .trends_of
            .as_ref()
            .is_some_and(|(s, f, b)| Arc::ptr_eq(s, &area.sorties) && *f == debrief.filter && *b == basis);
        if !current {
            debrief.trends = Arc::new(Trends::over(&area.sorties, &debrief.filter, basis.as_deref()));
            debrief.trends_of = Some((Arc::clone(&area.sorties), debrief.filter.clone(), basis));
        }
    }

    /// What measures would be held against now; `None` while trends are not looked at.
    #[must_use]
    pub fn basis_wanted(&self) -> Option<BasisKey> {
        let looked_at = self.mode == Mode::Debrief && self.debrief.page == DebriefPage::Trends;
        (looked_at && self.area.is_some()).then(|| BasisKey {
            revisions: (self.area_revision, self.land_revision),
            aircraft: Arc::clone(&self.conditions.aircraft),
            rules: self.conditions.rules,
        })
    }

    /// Sorties that have no measures, or measures that were held against something else than what is there now.
    #[must_use]
    pub fn to_look_through(&self) -> Vec<Arc<Sortie>> {
        let wanted = self.basis_wanted();
        let basis = self.debrief.basis.as_ref().filter(|(of, _)| Some(of) == wanted.as_ref()).map(|(_, b)| b);
        let stale = |s: &Sortie| s.measures().is_none_or(|kept| basis.is_some_and(|now| now.stale(kept).is_any()));
        self.area.iter().flat_map(|a| a.sorties.iter()).filter(|s| stale(s)).cloned().collect()
    }

    /// Keeps what was measured with the sorties, unless they changed meanwhile. Nothing that the user did, so nothing to
    /// undo.
    pub(crate) fn keep_measures(&mut self, all: Vec<(String, KeptMeasures)>) {
        let Some(area) = &self.area else { return };
        let mut changes = Vec::new();
        for (id, kept) in all {
            let Some(sortie) = area.sorties.iter().find(|s| s.id == id) else { continue };
            let new = sortie.measures().is_none_or(|m| **m != kept) && sortie.measured_from() == kept.from;
            if new {
                let measured = Measured(Some(Arc::new(kept)));
                changes.push(Change::Sortie(Swap::replace(sortie, Sortie { measured, ..(**sortie).clone() })));
            }
        }
        if !changes.is_empty() {
            self.take_edit(Edit::new("keep what was measured", changes));
        }
    }

    /// The sorties flown in the open one's aircraft, itself among them, and what else a glide curve of them depends on;
    /// `None` where nobody said what it was flown in, or it is the only one.
    #[must_use]
    pub fn glide_key(&self) -> Option<GlideKey> {
        let open = self.open_sortie().filter(|s| !s.aircraft.is_empty())?;
        let all = self.area.as_ref()?.sorties.iter().filter(|s| s.aircraft == open.aircraft);
        let (sorties, aircraft) = (all.cloned().collect::<Vec<_>>(), Arc::clone(&self.conditions.aircraft));
        (sorties.len() > 1).then_some(GlideKey { sorties, land_revision: self.land_revision, aircraft })
    }

    /// The glide curve that is looked at: of the open sortie, or of all in its aircraft.
    #[must_use]
    pub fn glide_shown(&self) -> Option<&GlideTold> {
        let debrief = &self.debrief;
        let key = debrief.glide_together.then(|| self.glide_key()).flatten();
        let together = debrief.glide_of_all.as_ref().filter(|(of, _)| key.as_ref() == Some(of));
        together.map(|(_, told)| told.as_ref()).or(debrief.made.as_ref().map(|m| &m.glide))
    }

    /// What has to be analysed; `None` while no sortie is looked at.
    #[must_use]
    pub fn debrief_key(&self) -> Option<DebriefKey> {
        let sortie = self.open_sortie().filter(|_| self.mode == Mode::Debrief)?;
        Some(DebriefKey {
            sortie: Arc::clone(sortie),
            land_revision: self.land_revision,
            aircraft: Arc::clone(&self.conditions.aircraft),
            rules: self.conditions.rules,
        })
    }

    pub(super) fn apply_debrief(&mut self, command: &DebriefCommand) {
        let debrief = &mut self.debrief;
        match command {
            DebriefCommand::Open(id) => {
                let again = debrief.open == *id;
                debrief.open.clone_from(id);
                debrief.refusal = None;
                if !again {
                    debrief.made = None;
                    debrief.exercise = None;
                    debrief.playing = false;
                    debrief.at_s = 0.0;
                }
            }
            DebriefCommand::Exercise(which) => {
                debrief.exercise = *which;
                debrief.page = DebriefPage::Exercise;
                if let Some((_, one)) = debrief.looked_at() {
                    let start = one.exercise.start_s;
                    debrief.playing = false;
                    debrief.show(start);
                }
            }
            DebriefCommand::Page(page) => debrief.page = *page,
            DebriefCommand::Play(play) => {
                let (first, last) = debrief.span_s();
                debrief.playing = *play && debrief.made.is_some();
                if debrief.playing && debrief.at_s >= last {
                    debrief.at_s = first;
                }
            }
            DebriefCommand::At(at_s) => {
                debrief.playing = false;
                debrief.show(*at_s);
            }
            DebriefCommand::Step(by_s) => {
                debrief.playing = false;
                debrief.show(debrief.at_s + by_s);
            }
            DebriefCommand::Speed(speed) => debrief.speed = speed.clamp(0.1, 200.0),
            DebriefCommand::Forget(id) => self.forget_sortie(id),
            DebriefCommand::Correct(correction) => self.correct(*correction),
            DebriefCommand::AddExercise => {
                let (_, last) = self.debrief.span_s();
                let start = self.debrief.at_s;
                let end = (start + ADDED_S).min(last);
                if end - start >= corrections::SHORTEST_S {
                    self.mark("add an exercise", |marks| Some(corrections::added(marks, start, end)));
                }
            }
            DebriefCommand::GiveWind { surface, aloft } => match given::wind_typed(surface, aloft) {
                Ok(wind) => {
                    let words = if wind.is_some() { "give a wind" } else { "go back to the wind from the turns" };
                    self.change_sortie(words, |s| s.wind = wind);
                }
                Err(why) => self.notify(super::NoticeLevel::Problem, why),
            },
            DebriefCommand::Heights(choice) => {
                let decided = self.debrief.made.as_ref().map(|m| m.heights.decision.choice);
                if let Some(heights) = choice.or(decided) {
                    let by_user = choice.is_some();
                    self.change_sortie("choose from where heights count", |s| {
                        (s.heights, s.heights_by_user) = (heights, by_user);
                    });
                }
            }
            DebriefCommand::Qnh(text) => match given::qnh_typed(text) {
                Ok(qnh_hpa) => self.change_sortie("give a QNH", |s| {
                    s.heights = HeightChoice::of(HeightSource::Pressure { qnh_hpa });
                    s.heights_by_user = true;
                }),
                Err(why) => self.notify(super::NoticeLevel::Problem, why),
            },
            DebriefCommand::Filter(filter) => debrief.filter.clone_from(filter),
            DebriefCommand::Measure(measure) => debrief.measure = *measure,
            DebriefCommand::Pilot(name) => {
                self.change_sortie("say who flew", |s| name.trim().clone_into(&mut s.pilot));
            }
            DebriefCommand::FlownIn(name) => {
                self.change_sortie("say what was flown", |s| name.trim().clone_into(&mut s.aircraft));
            }
            DebriefCommand::GlideTogether(together) => debrief.glide_together = *together,
            DebriefCommand::AsFound => self.mark("take back the corrections", |_| Some(Vec::new())),
            DebriefCommand::ChooseFiles
            | DebriefCommand::LookThrough
            | DebriefCommand::GlideOfAll
            | DebriefCommand::AdoptGlide
            | DebriefCommand::Report
            | DebriefCommand::Add(_)
            | DebriefCommand::AddSample
            | DebriefCommand::Frame
            | DebriefCommand::Stop => {}
        }
    }

    fn correct(&mut self, correction: DebriefCorrection) {
        let debrief = &self.debrief;
        let Some((sortie, one)) = debrief.looked_at() else { return };
        let (start, end, at) = (one.exercise.start_s, one.exercise.end_s, debrief.at_s);
        let next = debrief.exercise.and_then(|i| sortie.exercises.get(i + 1)).map(|e| e.exercise.end_s);
        let (words, correction) = match correction {
            DebriefCorrection::Begins => ("move the beginning of an exercise", Correction::Begins(at)),
            DebriefCorrection::Ends => ("move the end of an exercise", Correction::Ends(at)),
            DebriefCorrection::Split => ("split an exercise", Correction::Split(at)),
            DebriefCorrection::JoinNext => match next {
                Some(end) => ("join two exercises", Correction::Join(end)),
                None => return,
            },
            DebriefCorrection::Remove => ("remove an exercise", Correction::Remove),
        };
        self.mark(words, |marks| corrections::correct(marks, start, end, correction));
    }

    /// Changes what the user said of the open sortie's exercises; undone like every edit.
    fn mark(
        &mut self,
        words: &str,
        change: impl FnOnce(&[sparefield_data::sortie::ExerciseMark]) -> Option<Vec<sparefield_data::sortie::ExerciseMark>>,
    ) {
        let Some(sortie) = self.open_sortie().cloned() else { return };
        let Some(marks) = change(&sortie.marks) else {
            let text = "That would leave an exercise of less than five seconds, so nothing was changed.";
            self.notify(super::NoticeLevel::Info, text);
            return;
        };
        self.change_sortie(words, |s| s.marks = marks);
    }

    /// Changes the open sortie; undone like every edit.
    fn change_sortie(&mut self, words: &str, change: impl FnOnce(&mut Sortie)) {
        let Some(sortie) = self.open_sortie().cloned() else { return };
        let mut new = (*sortie).clone();
        change(&mut new);
        if new == *sortie {
            return;
        }
        let edit = Edit::new(words, vec![Change::Sortie(Swap::replace(&sortie, new))]);
        if self.take_edit(edit.clone()) {
            self.history.edited(edit);
        }
    }

    fn forget_sortie(&mut self, id: &str) {
        let Some(sortie) = self.area.as_ref().and_then(|a| a.sorties.iter().find(|s| s.id == id)).cloned() else {
            return;
        };
        let edit = Edit::new(format!("take out {}", sortie.name), vec![Change::Sortie(Swap::remove(&sortie))]);
        if self.take_edit(edit.clone()) {
            self.history.edited(edit);
            self.debrief.library.remove(id);
            if self.debrief.open.as_deref() == Some(id) {
                self.apply_debrief(&DebriefCommand::Open(None));
            }
        }
    }
}
