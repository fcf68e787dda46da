//! Why an outline or an edit of one is refused.

use super::crossing::{Crossing, Meeting};
use super::place::{RingRef, SideRef};

/// Why an outline, or an edit, is refused.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OutlineError {
    /// A coordinate is not a number, or lies nowhere on Earth.
    #[error("a corner has a coordinate that is not a place; give another one")]
    NotAPlace,
    /// Fewer than three corners enclose nothing.
    #[error("{} has {corners} corners; it needs at least three", ring_words(*ring))]
    TooFewCorners {
        /// The ring.
        ring: RingRef,
        /// How many corners it would have.
        corners: usize,
    },
    /// Two corners that follow each other are at the same place.
    #[error("a side of {} would have no length; move the corner away from its neighbour or delete it", ring_words(side.ring))]
    ShortSide {
        /// The side.
        side: SideRef,
        /// Its length, metres.
        length_m: f64,
    },
    /// Two sides cross, or come within [`super::SAME_PLACE_M`] of each other.
    #[error("{}", crossing_words(.0))]
    Crosses(Crossing),
    /// A ring runs the wrong way round: it was turned inside out.
    #[error("{} would be turned inside out; move the corner less far", ring_words(*ring))]
    InsideOut {
        /// The ring.
        ring: RingRef,
    },
    /// Next to nothing is enclosed.
    #[error("the field would be smaller than 1 m²; draw it larger")]
    TooSmall {
        /// The area, m².
        area_m2: f64,
    },
    /// A hole does not lie inside the outer ring.
    #[error("hole {} does not lie inside the field; move it inside or delete it", hole + 1)]
    HoleOutside {
        /// Its index.
        hole: usize,
    },
    /// One hole lies inside another.
    #[error("hole {} lies inside hole {}; delete one of them", inner + 1, outer + 1)]
    HolesOverlap {
        /// The index of the hole around.
        outer: usize,
        /// The index of the hole inside.
        inner: usize,
    },
    /// What stands on the sides does not fit the number of sides.
    #[error("the field has {corners} sides but says what stands on {edges}")]
    EdgeCount {
        /// Number of corners, and of sides.
        corners: usize,
        /// Number of boundary edges.
        edges: usize,
    },
    /// There is no such ring, side, corner or field.
    #[error("there is no such {what} any more")]
    Missing {
        /// What was asked for.
        what: &'static str,
    },
    /// A line does not cut a field.
    #[error("{0}")]
    Cut(#[from] CutFault),
    /// Two fields cannot be joined.
    #[error("{0}")]
    Join(#[from] JoinFault),
    /// Another field that shares the boundary cannot take the change.
    #[error("the neighbour {field} cannot follow: {reason}")]
    Neighbour {
        /// Its index among the fields given.
        index: usize,
        /// Its name for people.
        field: String,
        /// Why not.
        reason: Box<OutlineError>,
    },
}

/// Why a line does not cut a field in two.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CutFault {
    /// The line does not run through the field.
    #[error("the line does not run through the field; draw it from one side to another")]
    Misses,
    /// One end of the line lies inside.
    #[error("the line ends inside the field; draw it from one side to another")]
    EndsInside,
    /// The line runs through the field more than once.
    #[error("the line runs through the field more than once; draw a line that crosses it once")]
    MoreThanOnce,
    /// The line enters and leaves a hole more than once, or only touches it.
    #[error("the line touches hole {} or runs through it more than once; draw it clear of the hole or once across", .hole + 1)]
    Hole {
        /// The index of the hole.
        hole: usize,
    },
}

/// Why two fields do not become one.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum JoinFault {
    /// They share no side.
    #[error(
        "the fields share no side (they are {gap_m:.1} m apart); only fields beside or over each other can be joined"
    )]
    Apart {
        /// The shortest distance between their outlines, metres.
        gap_m: f64,
    },
    /// They share a side, but what they make together is not one area.
    #[error("the fields do not make one area together; mend their outlines where they meet and try again")]
    NotOneArea,
    /// The distance within which gaps are closed is not a length.
    #[error("the distance within which gaps are closed is not a length")]
    NotALength,
}

fn ring_words(ring: RingRef) -> String {
    match ring {
        RingRef::Outer => "the outline".into(),
        RingRef::Hole(i) => format!("hole {}", i + 1),
    }
}

fn crossing_words(crossing: &Crossing) -> String {
    let verb = match crossing.meeting {
        Meeting::Cross => "crosses",
        Meeting::Touch => "touches",
    };
    if crossing.first.ring == crossing.second.ring {
        format!("{} {verb} itself; move or delete a corner there", ring_words(crossing.first.ring))
    } else {
        format!(
            "{} {verb} {}; move or delete a corner there",
            ring_words(crossing.first.ring),
            ring_words(crossing.second.ring)
        )
    }
}
