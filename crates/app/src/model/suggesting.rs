//! Fields suggested by the computer: what the search is made from, and how it stands.

use std::path::PathBuf;

/// One thing done about suggestions.
#[derive(Clone, Debug, PartialEq)]
pub enum SuggestCommand {
    /// Show or leave the suggestions.
    Show(bool),
    /// What the search is made from.
    Set(Sources),
    /// Search.
    Search,
    /// Measure what stands on sides that nobody described.
    Measure,
    /// Stop what is under way.
    Stop,
    /// Make fields of these.
    Accept(Vec<String>),
    /// Refuse these.
    Refuse(Vec<String>),
    /// Take back what was refused.
    Reconsider,
    /// Choose a file in the system's dialogue.
    ChooseFile(Source),
}

/// One of the files that a search can be made from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Classes of the ground.
    LandCover,
    /// What its classes mean.
    Classes,
    /// Heights with trees and roofs.
    SurfaceModel,
}

impl Source {
    /// Every one, in the order in which they are asked for.
    pub const ALL: [Self; 3] = [Self::LandCover, Self::Classes, Self::SurfaceModel];
    /// What it is, for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::LandCover => "Land-cover map (GeoTIFF of classes)",
            Self::Classes => "Its classes (TOML)",
            Self::SurfaceModel => "Surface model (heights with trees and roofs)",
        }
    }
}

/// What a search is made from, as typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sources {
    /// Land-cover map; empty for none.
    pub land_cover: String,
    /// Table of its classes; empty for the usual one.
    pub classes: String,
    /// Surface model; empty for none.
    pub surface_model: String,
    /// Search only what the map shows.
    pub only_shown: bool,
}

impl Default for Sources {
    /// From nothing but the area, and no farther than the map shows: more at once is more than anybody looks at.
    fn default() -> Self {
        Self { land_cover: String::new(), classes: String::new(), surface_model: String::new(), only_shown: true }
    }
}

impl Sources {
    /// What is typed for one of the files.
    pub fn of(&mut self, source: Source) -> &mut String {
        match source {
            Source::LandCover => &mut self.land_cover,
            Source::Classes => &mut self.classes,
            Source::SurfaceModel => &mut self.surface_model,
        }
    }
    /// A path typed, if one was.
    #[must_use]
    pub fn path(text: &str) -> Option<PathBuf> {
        let text = text.trim().trim_matches('"');
        (!text.is_empty()).then(|| PathBuf::from(text))
    }
}

/// The state of suggesting.
#[derive(Clone, Debug, Default)]
pub struct Suggesting {
    /// Whether suggestions are shown in the column.
    pub shown: bool,
    /// What the search is made from.
    pub sources: Sources,
    /// Share done of what is under way.
    pub running: Option<f32>,
    /// What came of the last search, in words: sources, what was left out.
    pub said: Vec<String>,
}
