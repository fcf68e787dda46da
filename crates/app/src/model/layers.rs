//! The layers under the fields: images and backgrounds of the area, and how the ground itself is shown.

use sparefield_data::imagery::{BackgroundLayer, ImageryLayer, LayerSpec};
use std::sync::Arc;

/// How the ground is coloured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
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

/// What the pilot can do to the layers.
#[derive(Clone, Debug, PartialEq)]
pub enum LayersCommand {
    /// Put a layer on top of the others.
    Add(LayerSpec),
    /// Take a layer away; its file stays.
    Remove(u64),
    /// Move a layer one place up or down.
    Move {
        /// Which layer.
        id: u64,
        /// Towards the top.
        up: bool,
    },
    /// How much of what lies below a layer hides, 0 to 1.
    SetOpacity {
        /// Which layer.
        id: u64,
        /// The opacity.
        opacity: f32,
    },
    /// Show or hide a layer.
    Show {
        /// Which layer.
        id: u64,
        /// Whether it is shown.
        shown: bool,
    },
    /// How the ground is coloured.
    SetGround(GroundLayer),
    /// Show or hide contours.
    ShowContours(bool),
    /// Show or hide the list of layers.
    ShowPanel(bool),
    /// Ask for files.
    ChooseFiles,
}

/// How far a layer is.
#[derive(Clone, Debug)]
pub enum LayerState {
    /// Being opened.
    Opening,
    /// An image.
    Imagery(Arc<ImageryLayer>),
    /// Lines, areas and points.
    Background(Arc<BackgroundLayer>),
    /// Cannot be shown, and why.
    Failed(String),
}

/// One layer.
#[derive(Clone, Debug)]
pub struct MapLayer {
    /// Its number, unlike that of any other layer of this window.
    pub id: u64,
    /// What the area keeps of it.
    pub spec: LayerSpec,
    /// How far it is.
    pub state: LayerState,
    /// What is wrong with a part of it, so that holes in it are explained.
    pub problem: Option<String>,
}

/// All layers.
#[derive(Clone, Debug)]
pub struct MapLayers {
    /// From the lowest to the highest.
    pub list: Vec<MapLayer>,
    /// How the ground is coloured.
    pub ground: GroundLayer,
    /// Whether contours are drawn.
    pub contours: bool,
    /// Whether the list of layers is shown.
    pub panel: bool,
    last_id: u64,
}

impl Default for MapLayers {
    fn default() -> Self {
        Self { list: Vec::new(), ground: GroundLayer::default(), contours: true, panel: false, last_id: 0 }
    }
}

impl MapLayers {
    /// What the area keeps, from the lowest to the highest.
    #[must_use]
    pub fn specs(&self) -> Vec<LayerSpec> {
        self.list.iter().map(|l| l.spec.clone()).collect()
    }

    /// Takes over the layers of an area; all are opened anew.
    pub fn replace(&mut self, specs: Vec<LayerSpec>) {
        self.list.clear();
        for spec in specs {
            self.add(spec);
        }
    }

    fn add(&mut self, spec: LayerSpec) {
        self.last_id += 1;
        self.list.push(MapLayer { id: self.last_id, spec, state: LayerState::Opening, problem: None });
    }

    /// Has every layer opened anew, under a new number: what was drawn of it before belongs to another frame.
    pub fn reopen(&mut self) {
        let specs = self.specs();
        self.replace(specs);
    }

    /// A layer by its number.
    pub fn get_mut(&mut self, id: u64) -> Option<&mut MapLayer> {
        self.list.iter_mut().find(|l| l.id == id)
    }

    /// Whether an image is shown over the ground.
    #[must_use]
    pub fn covered(&self) -> bool {
        self.list.iter().any(|l| l.spec.visible && matches!(l.state, LayerState::Imagery(_)))
    }

    /// Applies one command. Opening files is the app's.
    pub fn apply(&mut self, command: &LayersCommand) {
        match command {
            LayersCommand::Add(spec) => {
                // The same file again is read anew, not shown twice.
                self.list.retain(|l| l.spec.path != spec.path);
                self.add(spec.clone());
            }
            LayersCommand::Remove(id) => self.list.retain(|l| l.id != *id),
            LayersCommand::Move { id, up } => {
                if let Some(at) = self.list.iter().position(|l| l.id == *id) {
                    let to = if *up { at + 1 } else { at.wrapping_sub(1) };
                    if to < self.list.len() {
                        self.list.swap(at, to);
                    }
                }
            }
            LayersCommand::SetOpacity { id, opacity } => {
                if let Some(layer) = self.get_mut(*id) {
                    layer.spec.opacity = opacity.clamp(0.0, 1.0);
                }
            }
            LayersCommand::Show { id, shown } => {
                if let Some(layer) = self.get_mut(*id) {
                    layer.spec.visible = *shown;
                }
            }
            LayersCommand::SetGround(ground) => self.ground = *ground,
            LayersCommand::ShowContours(shown) => self.contours = *shown,
            LayersCommand::ShowPanel(shown) => self.panel = *shown,
            LayersCommand::ChooseFiles => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_data::imagery::LayerKind;
    use std::path::Path;

    #[test]
    fn layers_keep_their_order_and_their_numbers() {
        let mut layers = MapLayers::default();
        for name in ["a.tif", "b.tif", "c.tif"] {
            layers.apply(&LayersCommand::Add(LayerSpec::new(Path::new(name), LayerKind::Imagery)));
        }
        let names = |l: &MapLayers| l.list.iter().map(|l| l.spec.name.clone()).collect::<String>();
        let lowest = layers.list[0].id;
        layers.apply(&LayersCommand::Move { id: lowest, up: false });
        assert_eq!(names(&layers), "abc");
        layers.apply(&LayersCommand::Move { id: lowest, up: true });
        assert_eq!(names(&layers), "bac");
        layers.apply(&LayersCommand::SetOpacity { id: lowest, opacity: 7.0 });
        assert_eq!(layers.get_mut(lowest).unwrap().spec.opacity, 1.0);
        layers.apply(&LayersCommand::Show { id: lowest, shown: false });
        layers.apply(&LayersCommand::Add(LayerSpec::new(Path::new("b.tif"), LayerKind::Imagery)));
        assert_eq!(names(&layers), "acb");
        layers.apply(&LayersCommand::Remove(lowest));
        assert_eq!(names(&layers), "cb");
        let (specs, before) = (layers.specs(), layers.list[0].id);
        layers.reopen();
        assert_eq!(layers.specs(), specs);
        assert!(layers.list.iter().all(|l| l.id > before));
        assert!(layers.list.iter().all(|l| matches!(l.state, LayerState::Opening)));
    }
}
