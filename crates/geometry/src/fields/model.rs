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
    /// Every kind, the unknown last.
    pub const ALL: [Self; 7] =
        [Self::Nothing, Self::Hedge, Self::TreeLine, Self::Fence, Self::Wall, Self::Wires, Self::Unknown];
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
        Self::ALL.into_iter().find(|k| k.words() == plain)
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

impl Stock {
    /// Everything that can be said about animals.
    pub const ALL: [Self; 3] = [Self::None, Self::Present, Self::Unknown];
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Present => "present",
            Self::Unknown => "unknown",
        }
    }
    /// What these words mean; case does not matter.
    #[must_use]
    pub fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase();
        Self::ALL.into_iter().find(|s| s.words() == plain)
    }
}

/// A calendar day, enough to tell how old a survey is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Day {
    /// Days since 1970-01-01.
    pub days_since_epoch: i32,
}

impl Day {
    /// Year, month 1–12 and day of the month in the Gregorian calendar.
    ///
    /// # Source
    /// Counting whole 400-, 100-, 4- and 1-year cycles from 1 March of year 0, as the calendar is defined.
    #[must_use]
    pub fn civil(self) -> (i32, u8, u8) {
        // Days from 0000-03-01 to 1970-01-01.
        const TO_MARCH_0: i64 = 719_468;
        let days = i64::from(self.days_since_epoch) + TO_MARCH_0;
        let (era, in_era) = (days.div_euclid(146_097), days.rem_euclid(146_097));
        let year_of_era = (in_era - in_era / 1_460 + in_era / 36_524 - in_era / 146_096) / 365;
        let in_year = in_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let from_march = (5 * in_year + 2) / 153;
        let day = in_year - (153 * from_march + 2) / 5 + 1;
        let month = if from_march < 10 { from_march + 3 } else { from_march - 9 };
        let year = year_of_era + era * 400 + i64::from(month <= 2);
        (year as i32, month as u8, day as u8)
    }
    /// How many days a month has; 0 for January.
    #[must_use]
    pub fn days_in_month(year: i32, month_index: usize) -> i32 {
        let leap = year.rem_euclid(4) == 0 && (year.rem_euclid(100) != 0 || year.rem_euclid(400) == 0);
        match month_index {
            1 => 28 + i32::from(leap),
            3 | 5 | 8 | 10 => 30,
            _ => 31,
        }
    }
    /// Month of the year, 0 for January to 11 for December.
    #[must_use]
    pub fn month_index(self) -> usize {
        usize::from(self.civil().1) - 1
    }
}

/// The months by name, January first.
pub const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// What a field is expected to look like through one year, as the farmer or the last years tell.
///
/// An expectation, not a survey: it says what to look for, and what a survey made earlier in the year has become.
#[derive(Clone, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Calendar {
    /// The year it was written for; `None` for any year.
    pub year: Option<i32>,
    /// What is grown, in words; may be empty.
    pub crop: String,
    /// What it means for each month, January first; `None` where nobody knows.
    pub months: [Option<Surface>; 12],
}

impl Calendar {
    /// Whether it says nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.crop.is_empty() && self.months.iter().all(Option::is_none)
    }
    /// The surface expected on a day; `None` where nobody knows or the calendar is another year's.
    #[must_use]
    pub fn expected_on(&self, day: Day) -> Option<Surface> {
        if self.year.is_some_and(|year| year != day.civil().0) {
            return None;
        }
        self.months[day.month_index()]
    }
}

/// What people wrote about a field, for people. Nothing is computed from it.
#[derive(Clone, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Remarks {
    /// What is in the way and cannot be drawn.
    pub hazards: String,
    /// How to get out again after landing.
    pub access: String,
    /// What the owner said about landing there.
    pub permission: String,
    /// Photographs, by path relative to the area's file or by address.
    pub photographs: Vec<String>,
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
    /// The day animals were last looked for, where that was another day than the survey.
    pub stock_seen: Option<Day>,
    /// What is expected to grow there through the year.
    pub calendar: Calendar,
    /// What people wrote about it.
    pub remarks: Remarks,
    /// Remarks.
    pub notes: String,
    /// Columns of the source that the program does not use, as text, kept for export.
    pub other: Vec<(String, String)>,
}

impl Default for Field {
    /// A field without an outline, of which nothing is known.
    fn default() -> Self {
        Self::new("", Vec::new())
    }
}

impl Field {
    /// A field of which only the outline is known: every side, the surface and stock are unknown.
    #[must_use]
    pub fn new(id: impl Into<String>, outer: Vec<Xy>) -> Self {
        Self {
            id: id.into(),
            name: String::new(),
            edges: vec![BoundaryEdge::UNKNOWN; outer.len()],
            outer,
            holes: Vec::new(),
            surface: Surface::Unknown,
            stock: Stock::Unknown,
            surveyed: None,
            stock_seen: None,
            calendar: Calendar::default(),
            remarks: Remarks::default(),
            notes: String::new(),
            other: Vec::new(),
        }
    }
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
    /// Every kind.
    pub const ALL: [Self; 7] =
        [Self::Wires, Self::Mast, Self::LoneTree, Self::Building, Self::Wood, Self::Water, Self::Other];
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
        Self::ALL.into_iter().find(|k| k.words() == plain)
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
    /// Of a line: the height at each vertex (each pole), metres; `None` where nobody measured that one. Empty where
    /// [`Hazard::height_m`] serves for all.
    pub pole_heights_m: Vec<Option<f64>>,
    /// Name or remark.
    pub name: String,
    /// Columns of the source that the program does not use.
    pub other: Vec<(String, String)>,
}

impl Hazard {
    /// A hazard of which only kind and place are known.
    #[must_use]
    pub fn new(id: impl Into<String>, kind: HazardKind, shape: HazardShape) -> Self {
        Self {
            id: id.into(),
            kind,
            shape,
            height_m: None,
            pole_heights_m: Vec::new(),
            name: String::new(),
            other: Vec::new(),
        }
    }
    /// The measured height, or the assumed one and `true`. Of a line with poles of different heights, the tallest.
    #[must_use]
    pub fn height_or_assumed(&self) -> (f64, bool) {
        let (common, assumed) = self.height_m.map_or((self.kind.assumed_height_m(), true), |h| (h, false));
        let poles = self.pole_heights_m.iter().map(|pole| pole.map_or((common, assumed), |h| (h, false)));
        poles.reduce(|a, b| (a.0.max(b.0), a.1 || b.1)).unwrap_or((common, assumed))
    }
}

/// Whom a quiet zone protects.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum QuietKind {
    /// Animals.
    Stock,
    /// Houses.
    Houses,
    /// People in the open.
    People,
    /// Something else, or nobody said.
    #[default]
    Other,
}

impl QuietKind {
    /// Every kind.
    pub const ALL: [Self; 4] = [Self::Stock, Self::Houses, Self::People, Self::Other];
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Stock => "stock",
            Self::Houses => "houses",
            Self::People => "people",
            Self::Other => "other",
        }
    }
    /// The kind whose name this is; case does not matter.
    #[must_use]
    pub fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase();
        Self::ALL.into_iter().find(|k| k.words() == plain)
    }
}

/// A place not to be overflown low.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct QuietZone {
    /// Identifier; may be empty.
    pub id: String,
    /// Whom it protects.
    pub kind: QuietKind,
    /// Name or remark.
    pub name: String,
    /// Outline, open ring.
    pub outer: Vec<Xy>,
    /// Not to be overflown below this height above ground, metres.
    pub below_agl_m: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_have_the_dates_of_the_calendar() {
        // 1970-01-01 by definition; the others counted from it by leap years (2000 is one, 1900 is not).
        for (days, date) in [
            (0, (1970, 1, 1)),
            (58, (1970, 2, 28)),
            (59, (1970, 3, 1)),
            (11_016, (2000, 2, 29)),
            (11_017, (2000, 3, 1)),
            (20_782, (2026, 11, 25)),
            (-1, (1969, 12, 31)),
            (-25_567, (1900, 1, 1)),
            (-25_508, (1900, 3, 1)),
        ] {
            assert_eq!(Day { days_since_epoch: days }.civil(), date);
        }
    }

    #[test]
    fn months_have_as_many_days_as_lie_between_their_firsts() {
        let mut at = Day { days_since_epoch: -80_000 };
        while at.days_since_epoch < 80_000 {
            let (year, _, day) = at.civil();
            let last = i32::from(day) == Day::days_in_month(year, at.month_index());
            at.days_since_epoch += 1;
            assert_eq!(last, at.civil().2 == 1, "{:?}", at.civil());
        }
    }

    #[test]
    fn a_calendar_speaks_for_its_own_year() {
        let mut calendar = Calendar { year: Some(2026), ..Calendar::default() };
        calendar.months[10] = Some(Surface::Stubble);
        assert_eq!(calendar.expected_on(Day { days_since_epoch: 20_782 }), Some(Surface::Stubble));
        assert_eq!(calendar.expected_on(Day { days_since_epoch: 20_782 + 365 }), None);
        calendar.year = None;
        assert_eq!(calendar.expected_on(Day { days_since_epoch: 20_782 + 365 }), Some(Surface::Stubble));
        assert_eq!(calendar.expected_on(Day { days_since_epoch: 20_782 + 30 }), None);
    }

    #[test]
    fn the_tallest_pole_counts_and_one_guess_makes_it_a_guess() {
        let line = HazardShape::Line(vec![Xy::new(0.0, 0.0), Xy::new(80.0, 0.0), Xy::new(160.0, 0.0)]);
        let mut wires = Hazard::new("w", HazardKind::Wires, line);
        assert_eq!(wires.height_or_assumed(), (12.0, true));
        wires.pole_heights_m = vec![Some(9.0), Some(14.0), Some(8.0)];
        assert_eq!(wires.height_or_assumed(), (14.0, false));
        wires.pole_heights_m[1] = None;
        assert_eq!(wires.height_or_assumed(), (12.0, true));
        wires.height_m = Some(10.0);
        assert_eq!(wires.height_or_assumed(), (10.0, false));
    }
}
