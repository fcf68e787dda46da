//! A suggested field: what was measured of it, what it counts for, what was checked and what was not.

use super::cover::CoverUse;
use super::edges::EdgeHeight;
use crate::fields::model::{BoundaryEdge, Field, Stock, Surface};
use crate::fields::strip::Strip;
use crate::fields::study::StripGround;
use crate::position::Xy;
use serde::{Deserialize, Serialize};

/// What a suggestion is scored by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PartKind {
    /// Length beyond what is needed, after what stands before the better end.
    Length,
    /// Share of the headings along which the needed length fits: a choice of wind.
    Headings,
    /// Slope along and across, and roughness, of the strip.
    Slope,
    /// How likely the land cover is what the map says.
    Cover,
    /// Share of the ground over which nothing was seen to stand.
    Standing,
    /// How well the terrain model can know the slope.
    Terrain,
}

impl PartKind {
    /// Every part, in the order in which they are shown.
    pub const ALL: [Self; 6] = [Self::Length, Self::Headings, Self::Slope, Self::Cover, Self::Standing, Self::Terrain];
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Length => "length in hand",
            Self::Headings => "choice of headings",
            Self::Slope => "slope and roughness",
            Self::Cover => "land cover",
            Self::Standing => "nothing seen to stand there",
            Self::Terrain => "how well slope is known",
        }
    }
    /// Share of the score. Common practice, no source: what cannot be mended in the air first.
    #[must_use]
    pub fn weight(self) -> f64 {
        match self {
            Self::Length => 0.30,
            Self::Slope => 0.20,
            Self::Cover | Self::Standing => 0.15,
            Self::Headings | Self::Terrain => 0.10,
        }
    }
}

/// One part of a score.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Which.
    pub kind: PartKind,
    /// From 0 to 1; 0 where nothing is known.
    pub value: f64,
}

/// What was looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Checked {
    /// Slope along and across.
    Slope,
    /// Roughness over a window.
    Roughness,
    /// Steps and ditches between close posts.
    Steps,
    /// Land cover.
    LandCover,
    /// What stands on the ground.
    Standing,
    /// Hazards on file, and roads and rivers.
    Hazards,
    /// Fields that are known already.
    KnownFields,
}

impl Checked {
    /// As a phrase.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Slope => "slope along and across, from the terrain",
            Self::Roughness => "roughness over some tens of metres, from the terrain",
            Self::Steps => "steps and ditches between posts of the terrain",
            Self::LandCover => "land cover, from the map given",
            Self::Standing => "what stands there, from the surface model",
            Self::Hazards => "distance from the hazards, roads and rivers on file",
            Self::KnownFields => "that no known field lies there",
        }
    }
}

/// What nobody looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotChecked {
    /// What grows there today.
    Surface,
    /// Wires and fences.
    WiresAndFences,
    /// Animals.
    Animals,
    /// Soft ground, furrows, ruts.
    Firmness,
    /// No land-cover map reaches here.
    LandCover,
    /// Whether it is water: the terrain is in whole metres, and no land-cover map reaches here.
    Water,
    /// The land-cover map says trees or shrubs on much of it.
    CoverDisagrees,
    /// No surface model reaches here.
    Standing,
    /// The surface model reaches only part of it.
    StandingPartly,
    /// The terrain may hold the tops of trees.
    TreesInTerrain,
    /// Posts too far apart for steps and ditches.
    Steps,
    /// The terrain's error is too large for a slope of 2 %.
    FineSlope,
    /// One side is a cut through open ground.
    CutSide,
    /// Ground and obstacles farther out.
    Approach,
}

impl NotChecked {
    /// As a phrase.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Surface => "what grows there today, and how high",
            Self::WiresAndFences => "wires and fences: expect them along every side, every road and to every building",
            Self::Animals => "animals",
            Self::Firmness => "soft ground, furrows and ruts",
            Self::LandCover => "land use: no land-cover map reaches here, so it may be wood, water or a village",
            Self::Water => "whether it is water: heights in whole metres show a lake as they show level ground",
            Self::CoverDisagrees => {
                "which is right: the land-cover map says trees or shrubs on part of it, the surface model shows none"
            }
            Self::Standing => "trees, hedges and buildings: no surface model reaches here",
            Self::StandingPartly => "trees, hedges and buildings on part of it: the surface model has gaps",
            Self::TreesInTerrain => {
                "whether the terrain shows bare ground: it may hold the tops of trees and buildings"
            }
            Self::Steps => "steps, ditches and banks: the terrain's posts are too far apart",
            Self::FineSlope => "whether the slope is within 2 %: the terrain's error is too large to tell",
            Self::CutSide => "where the field really ends: at least one side is a cut through larger open ground",
            Self::Approach => "the ground and obstacles before its ends",
        }
    }
}

/// The land cover found on a proposal.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CoverFound {
    /// The use of most of it.
    pub used: CoverUse,
    /// Share of the ground with that use.
    pub share: f64,
    /// Share of the ground that the map calls open; the rest it calls trees or shrubs, and the surface model shows none.
    pub open: f64,
    /// Mean probability over the ground that the map is right; counts 0 where no source gives one.
    pub right: f64,
}

/// A field suggested by the computer: unverified, not surveyed, to be looked at by a person.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// Outer ring, anticlockwise, open.
    pub outline: Vec<Xy>,
    /// Holes, clockwise, open.
    pub holes: Vec<Vec<Xy>>,
    /// The longest strip found, to be landed on from its start or its end.
    pub strip: Strip,
    /// Length left of the strip after the rounding of the outline to cells, metres.
    pub usable_m: f64,
    /// Length that a landing needs on it with the margins at its ends, metres.
    pub needed_m: f64,
    /// Slope and roughness under the strip; `None` where terrain is missing.
    pub ground: Option<StripGround>,
    /// Height of what stands beyond the strip's start and end, metres; `None` where no surface model says.
    pub beyond_ends_m: [Option<f64>; 2],
    /// Weighted mean of the parts, from 0 to 1. Ranks proposals among each other and means nothing else.
    pub score: f64,
    /// The parts, in the order of [`PartKind::ALL`].
    pub parts: Vec<Part>,
    /// The land cover; `None` without a map.
    pub cover: Option<CoverFound>,
    /// What probably grows there; unknown unless a map that can be believed says so.
    pub surface: Surface,
    /// What stands on each side of the outline, where a surface model was given.
    pub edges: Vec<EdgeHeight>,
    /// Whether a side is a straight cut through larger open ground.
    pub cut: bool,
    /// What was checked.
    pub checked: Vec<Checked>,
    /// What was not.
    pub not_checked: Vec<NotChecked>,
}

impl Proposal {
    /// The proposal as a field: never surveyed, its animals not known, its sides as far as they were measured.
    #[must_use]
    pub fn field(&self, id: impl Into<String>) -> Field {
        let mut edges: Vec<BoundaryEdge> = self.edges.iter().map(EdgeHeight::edge).collect();
        edges.resize(self.outline.len(), BoundaryEdge::UNKNOWN);
        Field {
            id: id.into(),
            name: String::new(),
            outer: self.outline.clone(),
            holes: self.holes.clone(),
            edges,
            surface: self.surface,
            stock: Stock::Unknown,
            surveyed: None,
            notes: "Suggested by the computer, not verified".to_owned(),
            other: Vec::new(),
            ..Field::default()
        }
    }
}
