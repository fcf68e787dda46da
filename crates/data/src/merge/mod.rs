//! Two people's areas made one: every difference shown, a choice for each, and one edit that does what was chosen.
//!
//! [`Merge::between`] compares mine with theirs, and with a common ancestor where there is one: a backup, or the copy
//! that was handed out. What came of it is a list of [`Difference`]s, each with a default by stated rules, and
//! [`Merge::edit`] turns the choices into one [`Edit`](crate::area::Edit) of my area.
//!
//! The rules of the defaults:
//! - Nothing of mine is deleted unless that is chosen, and no outline of mine is replaced unless it is known from the
//!   ancestor that only they changed it.
//! - With an ancestor, what one side alone changed is taken from that side.
//! - A sortie is the same where the bytes and the recording in them are. None of mine is ever taken away; what only they
//!   said of it is taken.
//! - What grows, stock and what stands on sides is taken from the newer survey; what nobody of us knew is taken from
//!   whoever knows it; anything else stays mine.
//!
//! | module | holds |
//! |---|---|
//! | `land` | what is compared, brought into one frame |
//! | `pairing` | which of my things is which of theirs |
//! | `field`, `side`, `hazard`, `zone`, `sortie` | what two of a kind can differ in, in words, and how a choice is taken |
//! | `plan` | differences, defaults, and the edit |

mod field;
mod hazard;
mod land;
mod pairing;
mod plan;
mod side;
mod sortie;
mod zone;

pub use land::Land;
pub use plan::{Merge, Pair, Trio};

use crate::quantity::UnitPrefs;
use sparefield_geometry::position::Xy;

/// Whose version is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Take {
    /// Mine.
    Mine,
    /// Theirs.
    Theirs,
}

/// What kind of thing differs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A field.
    Field,
    /// A hazard.
    Hazard,
    /// A quiet zone.
    QuietZone,
    /// The home strip.
    Home,
    /// A recorded flight.
    Sortie,
}

impl Kind {
    /// The name in plain words, and the key in JSON.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Field => "field",
            Self::Hazard => "hazard",
            Self::QuietZone => "quiet zone",
            Self::Home => "home strip",
            Self::Sortie => "sortie",
        }
    }
}

/// In what two versions of a thing differ.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Attribute {
    /// One of the two does not have the thing at all.
    Whole,
    /// The outline, holes included; sides that the other outline does not have come with it.
    Outline,
    /// What stands on one side of the outer ring, by its index in my outline.
    Side(usize),
    /// The name.
    Name,
    /// What grows there, and the day it was looked at.
    Survey,
    /// Animals, and the day they were looked for.
    Stock,
    /// What is expected through the year.
    Calendar,
    /// Remarks on hazards.
    HazardRemarks,
    /// Access after landing.
    Access,
    /// What the owner said.
    Permission,
    /// Photographs.
    Photographs,
    /// Other remarks.
    Notes,
    /// A column that the program does not use.
    Column(String),
    /// What kind of hazard it is, or whom a quiet zone protects.
    Kind,
    /// Where a hazard or quiet zone is.
    Shape,
    /// The height of a hazard, or the height below which not to overfly.
    Height,
    /// Heights of the poles.
    Poles,
    /// Who flew.
    Pilot,
    /// What was flown.
    Aircraft,
    /// From where the heights of a recording count.
    Heights,
    /// The wind given for a recording.
    Wind,
    /// The user's word on exercises.
    Corrections,
    /// What the columns of a recorded table are.
    Columns,
}

impl Attribute {
    /// The name in plain words.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Whole => "the whole".to_owned(),
            Self::Outline => "outline".to_owned(),
            Self::Side(side) => format!("side {}", side + 1),
            Self::Name => "name".to_owned(),
            Self::Survey => "what grows".to_owned(),
            Self::Stock => "stock".to_owned(),
            Self::Calendar => "calendar".to_owned(),
            Self::HazardRemarks => "remarks on hazards".to_owned(),
            Self::Access => "access".to_owned(),
            Self::Permission => "permission".to_owned(),
            Self::Photographs => "photographs".to_owned(),
            Self::Notes => "remarks".to_owned(),
            Self::Column(name) => format!("column “{name}”"),
            Self::Kind => "kind".to_owned(),
            Self::Shape => "place and shape".to_owned(),
            Self::Height => "height".to_owned(),
            Self::Poles => "heights of poles".to_owned(),
            Self::Pilot => "pilot".to_owned(),
            Self::Aircraft => "aircraft".to_owned(),
            Self::Heights => "heights".to_owned(),
            Self::Wind => "wind".to_owned(),
            Self::Corrections => "corrections".to_owned(),
            Self::Columns => "columns of its table".to_owned(),
        }
    }
}

/// How a difference came about, as far as can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Status {
    /// Only I have it; without an ancestor nobody can say whether they deleted it.
    OnlyMine,
    /// Only they have it; without an ancestor nobody can say whether I deleted it.
    OnlyTheirs,
    /// I added it.
    AddedByMe,
    /// They added it.
    AddedByThem,
    /// I deleted it, and they left it as it was.
    DeletedByMe,
    /// They deleted it, and I left it as it was.
    DeletedByThem,
    /// Only I changed it.
    ChangedByMe,
    /// Only they changed it.
    ChangedByThem,
    /// Both changed it, or one changed and the other deleted it.
    ChangedByBoth,
    /// The two differ; there is no ancestor to tell who changed it.
    Differs,
}

impl Status {
    /// In plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::OnlyMine => "only mine",
            Self::OnlyTheirs => "only theirs",
            Self::AddedByMe => "added by me",
            Self::AddedByThem => "added by them",
            Self::DeletedByMe => "deleted by me",
            Self::DeletedByThem => "deleted by them",
            Self::ChangedByMe => "changed by me",
            Self::ChangedByThem => "changed by them",
            Self::ChangedByBoth => "changed by both",
            Self::Differs => "differs",
        }
    }
    /// What it is called when the two areas change places.
    #[must_use]
    pub fn mirrored(self) -> Self {
        match self {
            Self::OnlyMine => Self::OnlyTheirs,
            Self::OnlyTheirs => Self::OnlyMine,
            Self::AddedByMe => Self::AddedByThem,
            Self::AddedByThem => Self::AddedByMe,
            Self::DeletedByMe => Self::DeletedByThem,
            Self::DeletedByThem => Self::DeletedByMe,
            Self::ChangedByMe => Self::ChangedByThem,
            Self::ChangedByThem => Self::ChangedByMe,
            both @ (Self::ChangedByBoth | Self::Differs) => both,
        }
    }
}

/// One difference between two areas.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// Index of the pair of things it belongs to, in [`Merge::pairs`].
    pub pair: usize,
    /// What kind of thing differs.
    pub kind: Kind,
    /// Its identifier: mine, or theirs where only they have it.
    pub id: String,
    /// Its name for people.
    pub label: String,
    /// In what it differs.
    pub attribute: Attribute,
    /// How that came about.
    pub status: Status,
    /// My version in words; `None` where I do not have the thing.
    pub mine: Option<String>,
    /// Their version in words; `None` where they do not have the thing.
    pub theirs: Option<String>,
    /// The ancestor's version in words, where there is one.
    pub before: Option<String>,
    /// Whose version is taken unless another is chosen.
    pub default: Take,
    /// Why, in words.
    pub because: &'static str,
    /// Where it is; a recorded flight is nowhere in particular.
    pub at: Option<Xy>,
}

/// By what two areas are compared.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct MergeOptions {
    /// Units for people.
    pub units: UnitPrefs,
}
