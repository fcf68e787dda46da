//! What is wrong, doubtful or incomplete in a whole area, each with a remedy, and with a ready edit where one mends it.
//!
//! | module | looks at |
//! |---|---|
//! | `outlines` | outlines of fields: crossings, duplicates, overlaps, slivers, gaps |
//! | `ground` | whether things lie on the terrain, and have a shape |
//! | `heights` | heights that nothing of that kind has |
//! | `known` | surveys, sides, calendars, photographs |
//! | `names` | identifiers and names |
//! | `home` | the home strip in its field |

mod ground;
mod heights;
mod home;
mod known;
mod mend;
mod names;
mod outlines;

use crate::area::{Area, Edit};
use crate::quantity::UnitPrefs;
use sparefield_geometry::fields::model::{Day, Field, Hazard, QuietZone};
use sparefield_geometry::outline::finding::FindingOptions;
use sparefield_geometry::position::Xy;
use std::path::PathBuf;

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// It cannot be so, and results that use it are false.
    Wrong,
    /// It may be so, but somebody should look.
    Doubtful,
    /// Something is not known yet.
    Incomplete,
}

impl Severity {
    /// Every severity, the gravest first.
    pub const ALL: [Self; 3] = [Self::Wrong, Self::Doubtful, Self::Incomplete];
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Wrong => "wrong",
            Self::Doubtful => "doubtful",
            Self::Incomplete => "incomplete",
        }
    }
}

/// What kind of finding it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum FindingKind {
    /// The outline of a field is not sound.
    Outline,
    /// A field is drawn twice.
    Duplicate,
    /// Two fields lie on each other in part.
    Overlap,
    /// Two neighbours leave a narrow gap.
    Gap,
    /// A corner as sharp as a needle.
    Spike,
    /// A field into which no strip fits.
    Sliver,
    /// A hazard or quiet zone whose shape is not sound.
    Shape,
    /// Something lies outside the terrain.
    OutsideTerrain,
    /// The terrain has no heights there.
    NoHeights,
    /// A height that nothing of that kind has.
    Height,
    /// Two things have one identifier.
    IdentifierTwice,
    /// A thing has no identifier.
    NoIdentifier,
    /// Two fields have one name.
    NameTwice,
    /// The home strip does not lie in its field.
    HomeOutside,
    /// The home strip is longer than its field has room for.
    HomeLength,
    /// A day in the future.
    FutureDay,
    /// A survey is out of date.
    OldSurvey,
    /// Nobody looked at a field yet.
    NoSurvey,
    /// Nobody looked at sides of a field.
    UnknownSides,
    /// A calendar is that of a past year.
    PastCalendar,
    /// A photograph does not exist.
    NoPhotograph,
}

impl FindingKind {
    /// The key in JSON.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Outline => "outline",
            Self::Duplicate => "duplicate",
            Self::Overlap => "overlap",
            Self::Gap => "gap",
            Self::Spike => "spike",
            Self::Sliver => "sliver",
            Self::Shape => "shape",
            Self::OutsideTerrain => "outside-terrain",
            Self::NoHeights => "no-heights",
            Self::Height => "height",
            Self::IdentifierTwice => "identifier-twice",
            Self::NoIdentifier => "no-identifier",
            Self::NameTwice => "name-twice",
            Self::HomeOutside => "home-outside",
            Self::HomeLength => "home-length",
            Self::FutureDay => "future-day",
            Self::OldSurvey => "old-survey",
            Self::NoSurvey => "no-survey",
            Self::UnknownSides => "unknown-sides",
            Self::PastCalendar => "past-calendar",
            Self::NoPhotograph => "no-photograph",
        }
    }
}

/// What a finding is about, by identifier.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// A field.
    Field(String),
    /// A hazard.
    Hazard(String),
    /// A quiet zone.
    QuietZone(String),
    /// The home strip.
    Home,
}

/// Something wrong, doubtful or incomplete.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What kind it is.
    pub kind: FindingKind,
    /// How much it matters.
    pub severity: Severity,
    /// What it is about; two things where they are at odds.
    pub subjects: Vec<Subject>,
    /// Where to look; `None` where it is at no place.
    pub at: Option<Xy>,
    /// What was found, one sentence.
    pub sentence: String,
    /// What to do about it, one sentence.
    pub remedy: String,
    /// An edit that mends it, where there is one that cannot make it worse.
    pub mend: Option<Edit>,
}

/// By what an area is checked.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckOptions {
    /// The day for which surveys are judged.
    pub today: Day,
    /// A survey older than this is out of date, days.
    pub old_after_days: i32,
    /// From where on outlines are doubtful.
    pub outlines: FindingOptions,
    /// The folder to which paths of photographs are relative; `None` when they cannot be looked for.
    pub photographs: Option<PathBuf>,
    /// Units for people.
    pub units: UnitPrefs,
}

impl CheckOptions {
    /// A year for surveys, a strip of 20 m. Common practice, no source: a field changes with the season.
    #[must_use]
    pub fn on(today: Day) -> Self {
        Self {
            today,
            old_after_days: 365,
            outlines: FindingOptions::default(),
            photographs: None,
            units: UnitPrefs::default(),
        }
    }
}

/// Everything wrong, doubtful or incomplete in an area: the gravest first, then by kind, then in the area's order.
///
/// Deterministic. Reads no file, but asks whether photographs are there when given their folder.
#[must_use]
pub fn check(area: &Area, options: &CheckOptions) -> Vec<Finding> {
    let mut found = Vec::new();
    outlines::look(area, options, &mut found);
    ground::look(area, &mut found);
    heights::look(area, options, &mut found);
    names::look(area, &mut found);
    home::look(area, options, &mut found);
    known::look(area, options, &mut found);
    found.sort_by_key(|f| (f.severity, f.kind));
    found
}

/// How many findings of each severity there are, the gravest first.
#[must_use]
pub fn counts(findings: &[Finding]) -> [usize; 3] {
    Severity::ALL.map(|severity| findings.iter().filter(|f| f.severity == severity).count())
}

impl Finding {
    /// A finding about one thing, without a ready edit.
    fn about(kind: FindingKind, severity: Severity, subject: Subject, at: Xy, sentence: String, remedy: &str) -> Self {
        let at = sparefield_geometry::outline::place::is_place(at).then_some(at);
        Self { kind, severity, subjects: vec![subject], at, sentence, remedy: remedy.to_owned(), mend: None }
    }
    fn with(mut self, mend: Option<Edit>) -> Self {
        self.mend = mend;
        self
    }
}

/// What a field is called in a sentence.
fn field_words(field: &Field) -> String {
    if field.label().is_empty() { "a field without a name".to_owned() } else { field.label().to_owned() }
}

/// What a hazard is called in a sentence.
fn hazard_words(hazard: &Hazard) -> String {
    let kind = hazard.kind.words();
    if hazard.name.is_empty() { format!("{kind} {}", hazard.id) } else { format!("{kind} “{}”", hazard.name) }
}

/// What a quiet zone is called in a sentence.
fn zone_words(zone: &QuietZone) -> String {
    if zone.name.is_empty() { format!("quiet zone {}", zone.id) } else { format!("quiet zone “{}”", zone.name) }
}
