//! Everything that is drawn under the fields of an area, as its file keeps it.

use super::LayerSpec;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// How the ground is coloured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GroundLayer {
    /// By light and shade only.
    #[default]
    Relief,
    /// By slope, in classes that matter for landing.
    Slope,
    /// By height above the home strip.
    HeightAboveHome,
}

/// What is drawn under the fields.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct AreaLayers {
    /// Images and backgrounds, from the lowest to the highest.
    pub list: Vec<LayerSpec>,
    /// How the ground is coloured.
    pub ground: GroundLayer,
    /// How much of what lies below them the colours of the ground hide, from 0 to 1.
    pub ground_opacity: f32,
    /// Whether contours are drawn.
    pub contours: bool,
}

impl Default for AreaLayers {
    fn default() -> Self {
        Self { list: Vec::new(), ground: GroundLayer::default(), ground_opacity: 1.0, contours: true }
    }
}

impl AreaLayers {
    /// The same layers with their files named otherwise.
    pub(crate) fn with_files(&self, name: impl Fn(&Path) -> PathBuf) -> Self {
        let list = self.list.iter().map(|layer| LayerSpec { path: name(&layer.path), ..layer.clone() });
        Self { list: list.collect(), ..self.clone() }
    }

    /// What was read from a file, with every number where it may be.
    pub(crate) fn within_bounds(mut self) -> Self {
        let bound = |share: f32| if share.is_finite() { share.clamp(0.0, 1.0) } else { 1.0 };
        self.ground_opacity = bound(self.ground_opacity);
        self.list.iter_mut().for_each(|layer| layer.opacity = bound(layer.opacity));
        self
    }
}
