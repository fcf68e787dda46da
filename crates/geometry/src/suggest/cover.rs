//! Land cover: a class for each cell, and what each class means for a landing.

use crate::grid::GridFrame;
use crate::position::Xy;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What a class of a land-cover map is used for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CoverUse {
    /// Grass, meadow, pasture.
    OpenGrass,
    /// Fields under the plough, whatever grows there now.
    Crop,
    /// Bare or sparsely grown ground.
    Bare,
    /// Trees.
    Trees,
    /// Shrubs, heath, orchards.
    Shrub,
    /// Houses, roads, yards.
    Built,
    /// Open water.
    Water,
    /// Ground that is wet for much of the year.
    Wetland,
    /// Snow and ice.
    Snow,
    /// Not known, or not mapped.
    Unknown,
}

impl CoverUse {
    /// Every use.
    pub const ALL: [Self; 10] = [
        Self::OpenGrass,
        Self::Crop,
        Self::Bare,
        Self::Trees,
        Self::Shrub,
        Self::Built,
        Self::Water,
        Self::Wetland,
        Self::Snow,
        Self::Unknown,
    ];
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::OpenGrass => "open grass",
            Self::Crop => "crop",
            Self::Bare => "bare",
            Self::Trees => "trees",
            Self::Shrub => "shrub",
            Self::Built => "built",
            Self::Water => "water",
            Self::Wetland => "wetland",
            Self::Snow => "snow",
            Self::Unknown => "unknown",
        }
    }
    /// The use whose name this is; case, hyphens and underscores do not matter.
    #[must_use]
    pub fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase().replace(['-', '_'], " ");
        Self::ALL.into_iter().find(|u| u.words() == plain)
    }
    /// Whether a field may lie there. What is not known is not open.
    #[must_use]
    pub fn is_open(self) -> bool {
        matches!(self, Self::OpenGrass | Self::Crop | Self::Bare)
    }
}

/// One class of a land-cover map.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CoverClass {
    /// Its name in the source.
    pub name: String,
    /// What it is used for.
    pub used: CoverUse,
    /// Probability that a place mapped as this class is one; `None` where no source gives it.
    pub right: Option<f64>,
}

/// What the numbers of a land-cover map mean.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ClassTable {
    /// The classes by their number.
    pub classes: BTreeMap<u16, CoverClass>,
}

impl ClassTable {
    /// What a number is used for; a number that is not in the table is not known.
    #[must_use]
    pub fn used(&self, code: u16) -> CoverUse {
        self.classes.get(&code).map_or(CoverUse::Unknown, |c| c.used)
    }
    /// Probability that a place with this number is what its class says; zero where nobody has measured it.
    #[must_use]
    pub fn right(&self, code: u16) -> f64 {
        self.classes.get(&code).and_then(|c| c.right).filter(|p| (0.0..=1.0).contains(p)).unwrap_or(0.0)
    }
}

/// Stands for a cell that the map says nothing about.
pub const NO_CLASS: u16 = u16::MAX;

/// A land-cover map on a grid of its own in the area's frame.
#[derive(Clone, Debug)]
pub struct LandCover {
    /// Where the grid lies; a class holds for the whole square of its cell.
    pub frame: GridFrame,
    /// Class numbers, row-major from the north-west; [`NO_CLASS`] is no data.
    pub classes: Vec<u16>,
    /// What the numbers mean.
    pub table: ClassTable,
}

impl LandCover {
    /// The class of the cell that holds a point; [`NO_CLASS`] outside.
    #[must_use]
    pub fn class_at(&self, p: Xy) -> u16 {
        let cell = self.frame.cell_of(p).map(|(row, col)| row * self.frame.cols + col);
        cell.and_then(|i| self.classes.get(i).copied()).unwrap_or(NO_CLASS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_find_their_use() {
        for used in CoverUse::ALL {
            assert_eq!(CoverUse::from_words(&used.words().replace(' ', "_").to_uppercase()), Some(used));
        }
        assert_eq!(CoverUse::from_words("meadowland"), None);
    }

    #[test]
    fn what_is_not_in_the_table_is_unknown_and_not_open() {
        let right = Some(f64::NAN);
        let grass = CoverClass { name: "Grassland".into(), used: CoverUse::OpenGrass, right };
        let table = ClassTable { classes: [(30, grass)].into() };
        let frame = GridFrame { origin: Xy::new(5.0, 5.0), cell_m: 10.0, cols: 2, rows: 1 };
        let cover = LandCover { frame, classes: vec![30, 31], table };
        assert!(cover.table.used(cover.class_at(Xy::new(9.9, 0.1))).is_open());
        assert!(!cover.table.used(cover.class_at(Xy::new(10.1, 0.1))).is_open());
        assert_eq!(cover.class_at(Xy::new(25.0, 5.0)), NO_CLASS);
        assert_eq!(cover.table.used(NO_CLASS), CoverUse::Unknown);
        assert_eq!((cover.table.right(30), cover.table.right(31)), (0.0, 0.0));
    }
}
