//! What a field is, what stands on its boundary, and what else is in the way.

use crate::position::Xy;
use serde::{Deserialize, Serialize};

/// What grows on a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Surface {
    /// Cut stalks after harvest.
    Stubble,
    /// Short grass kept down by stock or mowing.
    GrazedGrass,
    /// Grass above the wheels.
    LongGrass,
    /// A young crop, soil visible between the rows.
    ShortCrop,
    /// A crop too tall to see soil through.
    TallCrop,
    /// Bare, broken soil.
    Ploughed,
    /// Wet or soft ground.
    SoftOrWet,
    /// Not known.
    Unknown,
}

impl Surface {
    /// Every surface, in the order in which pilots prefer them.
    pub const ALL: [Self; 8] = [
        Self::Stubble,
        Self::GrazedGrass,
        Self::ShortCrop,
        Self::LongGrass,
        Self::Ploughed,
        Self::TallCrop,
        Self::SoftOrWet,
        Self::Unknown,
    ];
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Stubble => "stubble",
            Self::GrazedGrass => "grazed grass",
            Self::LongGrass => "long grass",
            Self::ShortCrop => "short crop",
            Self::TallCrop => "tall crop",
            Self::Ploughed => "ploughed",
            Self::SoftOrWet => "soft or wet",
            Self::Unknown => "unknown",
        }
    }
    /// The surface whose name this is; case, hyphens and underscores do not matter.
    #[must_use]
    pub fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase().replace(['-', '_'], " ");
        Self::ALL.into_iter().find(|s| s.words() == plain)
    }
}

/// What stands on one side of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EdgeKind {
    /// Nothing.
    Nothing,
    /// A hedge.
    Hedge,
    /// A row of trees.
    TreeLine,
    /// A fence.
    Fence,
    /// A wall.
    Wall,
    /// Wires along the side.
    Wires,
    /// Not known.
    Unknown,
}

impl EdgeKind {
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Nothing => "nothing",
            Self::Hedge => "hedge",
            Self::TreeLine => "tree line",
            Self::Fence => "fence",
            Self::Wall => "wall",
            Self::Wires => "wires",
            Self::Unknown => "unknown",
        }
    }
    /// The kind whose name this is; case, hyphens and underscores do not matter.
    #[must_use]
    pub fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase().replace(['-', '_'], " ");
        [Self::Nothing, Self::Hedge, Self::TreeLine, Self::Fence, Self::Wall, Self::Wires, Self::Unknown]
            .into_iter()
            .find(|k| k.words() == plain)
    }
}

/// What stands on one boundary segment, and how high.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BoundaryEdge {
    /// What stands there.
    pub kind: EdgeKind,
    /// Height above the ground in metres; `None` when nobody measured it.
    pub height_m: Option<f64>,
}

impl BoundaryEdge {
    /// Nothing is known about this side.
    pub const UNKNOWN: Self = Self { kind: EdgeKind::Unknown, height_m: None };
}

/// Animals on a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stock {
    /// Looked, and none there.
    None,
    /// Animals seen there.
    Present,
    /// Not known.
    Unknown,
}

/// A calendar day, enough to tell how old a survey is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Day {
    /// Days since 1970-01-01.
    pub days_since_epoch: i32,
}

/// A polygon that may take a landing. Rings are open (the last vertex is not the first again), in frame metres.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Field {
    /// Identifier, unique in its area.
    pub id: String,
    /// Name for people; may be empty.
    pub name: String,
    /// Outer ring, anticlockwise, at least three vertices, not crossing itself.
    pub outer: Vec<Xy>,
    /// Holes, clockwise.
    pub holes: Vec<Vec<Xy>>,
    /// One entry for each side of the outer ring: side `i` runs from vertex `i` to the next.
    pub edges: Vec<BoundaryEdge>,
    /// What grows there.
    pub surface: Surface,
    /// Animals.
    pub stock: Stock,
    /// The day it was last looked at.
    pub surveyed: Option<Day>,
    /// Remarks.
    pub notes: String,
    /// Columns of the source that the program does not use, as text, kept for export.
    pub other: Vec<(String, String)>,
}

impl Field {
    /// Enclosed area less holes, m².
    #[must_use]
    pub fn area_m2(&self) -> f64 {
        ring_area(&self.outer).abs() - self.holes.iter().map(|h| ring_area(h).abs()).sum::<f64>()
    }
    /// Area-weighted centre of the outer ring.
    #[must_use]
    pub fn centroid(&self) -> Xy {
        ring_centroid(&self.outer)
    }
    /// The name, or the identifier where there is no name.
    #[must_use]
    pub fn label(&self) -> &str {
        if self.name.is_empty() { &self.id } else { &self.name }
    }
}

/// Signed area of an open ring, positive when anticlockwise, m².
#[must_use]
pub fn ring_area(ring: &[Xy]) -> f64 {
    let Some(&base) = ring.first() else { return 0.0 };
    let mut twice = 0.0;
    for (i, &p) in ring.iter().enumerate() {
        let q = ring[(i + 1) % ring.len()];
        twice += (p - base).cross(q - base);
    }
    twice / 2.0
}

fn ring_centroid(ring: &[Xy]) -> Xy {
    let Some(&base) = ring.first() else { return Xy::default() };
    let (mut sum, mut twice) = (Xy::default(), 0.0);
    for (i, &p) in ring.iter().enumerate() {
        let (p, q) = (p - base, ring[(i + 1) % ring.len()] - base);
        let c = p.cross(q);
        sum = sum + (p + q) * c;
        twice += c;
    }
    if twice.abs() > 0.0 {
        base + sum * (1.0 / (3.0 * twice))
    } else {
        ring.iter().fold(Xy::default(), |a, &p| a + p) * (1.0 / ring.len() as f64)
    }
}

/// What kind of thing is in the way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HazardKind {
    /// Overhead wires (a line).
    Wires,
    /// A mast (a point).
    Mast,
    /// A lone tree (a point).
    LoneTree,
    /// A building (an area or a point).
    Building,
    /// A wood (an area).
    Wood,
    /// Water (an area).
    Water,
    /// Something else.
    Other,
}

impl HazardKind {
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Wires => "wires",
            Self::Mast => "mast",
            Self::LoneTree => "lone tree",
            Self::Building => "building",
            Self::Wood => "wood",
            Self::Water => "water",
            Self::Other => "other hazard",
        }
    }
    /// The kind whose name this is; case, hyphens and underscores do not matter.
    #[must_use]
    pub fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase().replace(['-', '_'], " ");
        [Self::Wires, Self::Mast, Self::LoneTree, Self::Building, Self::Wood, Self::Water, Self::Other]
            .into_iter()
            .find(|k| k.words() == plain)
    }
    /// Height above ground taken when nobody measured it, metres. From memory; typical, user-editable values.
    #[must_use]
    pub fn assumed_height_m(self) -> f64 {
        match self {
            Self::Wires => 12.0,
            Self::Mast => 30.0,
            Self::LoneTree | Self::Wood => 18.0,
            Self::Building => 9.0,
            Self::Water => 0.0,
            Self::Other => 15.0,
        }
    }
}

/// Where a hazard is, in frame metres.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum HazardShape {
    /// A point.
    Point(Xy),
    /// An open line of two or more vertices.
    Line(Vec<Xy>),
    /// An area: outer ring and holes, open rings.
    Area {
        /// Outer ring.
        outer: Vec<Xy>,
        /// Holes.
        holes: Vec<Vec<Xy>>,
    },
}

/// Something in the way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hazard {
    /// Identifier; may be empty.
    pub id: String,
    /// What it is.
    pub kind: HazardKind,
    /// Where.
    pub shape: HazardShape,
    /// Height above the ground in metres; `None` when nobody measured it.
    pub height_m: Option<f64>,
    /// Name or remark.
    pub name: String,
    /// Columns of the source that the program does not use.
    pub other: Vec<(String, String)>,
}

impl Hazard {
    /// The measured height, or the assumed one and `true`.
    #[must_use]
    pub fn height_or_assumed(&self) -> (f64, bool) {
        self.height_m.map_or((self.kind.assumed_height_m(), true), |h| (h, false))
    }
}

/// A place not to be overflown low.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct QuietZone {
    /// Name or remark.
    pub name: String,
    /// Outline, open ring.
    pub outer: Vec<Xy>,
    /// Not to be overflown below this height above ground, metres.
    pub below_agl_m: f64,
}
