//! The layers under the fields: images and backgrounds of the area, and how the ground itself is shown.

use super::Model;
use sparefield_data::area::{Change, Edit, Swap};
use sparefield_data::imagery::{AreaLayers, BackgroundLayer, GroundLayer, ImageryLayer, LayerSpec};
use std::sync::Arc;

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
    /// How much of what lies below them the colours of the ground hide, 0 to 1.
    SetGroundOpacity(f32),
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
    /// How much of what lies below them the colours of the ground hide, 0 to 1.
    pub ground_opacity: f32,
    /// Whether contours are drawn.
    pub contours: bool,
    /// Whether the list of layers is shown.
    pub panel: bool,
    last_id: u64,
}

impl Default for MapLayers {
    fn default() -> Self {
        let AreaLayers { ground, ground_opacity, contours, .. } = AreaLayers::default();
        Self { list: Vec::new(), ground, ground_opacity, contours, panel: false, last_id: 0 }
    }
}

impl MapLayers {
    /// What the area keeps of them.
    #[must_use]
    pub fn kept(&self) -> AreaLayers {
        let list = self.list.iter().map(|l| l.spec.clone()).collect();
        AreaLayers { list, ground: self.ground, ground_opacity: self.ground_opacity, contours: self.contours }
    }

    /// Shows what an area keeps. A file that is open already stays open.
    pub fn follow(&mut self, kept: &AreaLayers) {
        (self.ground, self.ground_opacity, self.contours) = (kept.ground, kept.ground_opacity, kept.contours);
        let mut before = std::mem::take(&mut self.list);
        for spec in &kept.list {
            let same = |l: &MapLayer| (&l.spec.path, l.spec.kind, &l.spec.crs) == (&spec.path, spec.kind, &spec.crs);
            match before.iter().position(same) {
                Some(at) => {
                    let open = before.remove(at);
                    self.list.push(MapLayer { spec: spec.clone(), ..open });
                }
                None => self.add(spec.clone()),
            }
        }
    }

    /// Shows the layers of another area; all are opened anew.
    pub fn replace(&mut self, kept: &AreaLayers) {
        self.list.clear();
        self.follow(kept);
    }

    fn add(&mut self, spec: LayerSpec) {
        self.last_id += 1;
        self.list.push(MapLayer { id: self.last_id, spec, state: LayerState::Opening, problem: None });
    }

    /// Has every layer opened anew, under a new number: what was drawn of it before belongs to another frame.
    pub fn reopen(&mut self) {
        let kept = self.kept();
        self.replace(&kept);
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
            LayersCommand::SetGroundOpacity(opacity) => self.ground_opacity = opacity.clamp(0.0, 1.0),
            LayersCommand::ShowContours(shown) => self.contours = *shown,
            LayersCommand::ShowPanel(shown) => self.panel = *shown,
            LayersCommand::ChooseFiles => {}
        }
    }
}

/// What a change of the layers is called, in words that read after "Undo".
fn words(before: &AreaLayers, after: &AreaLayers) -> String {
    let only_in = |a: &AreaLayers, b: &AreaLayers| {
        a.list.iter().find(|l| !b.list.iter().any(|other| other.path == l.path)).map(|l| l.name.clone())
    };
    if let Some(name) = only_in(after, before) {
        return format!("add the layer {name}");
    }
    if let Some(name) = only_in(before, after) {
        return format!("remove the layer {name}");
    }
    let changed = after.list.iter().zip(&before.list).find(|(a, b)| a != b);
    match changed {
        Some((a, b)) if a.path != b.path => "change the order of layers".to_owned(),
        Some((a, b)) if a.visible != b.visible && a.visible => format!("show the layer {}", a.name),
        Some((a, b)) if a.visible != b.visible => format!("hide the layer {}", a.name),
        Some((a, _)) => format!("change the opacity of {}", a.name),
        None if after.contours != before.contours => "change of the contours".to_owned(),
        None => "change of the ground's colours".to_owned(),
    }
}

impl Model {
    /// Applies a command to the layers. What the area keeps of them becomes an edit at once, except of an opacity: that
    /// is moved in many small steps, and kept when the hand is lifted.
    pub(super) fn apply_layers(&mut self, command: &LayersCommand) {
        self.layers.apply(command);
        if !matches!(command, LayersCommand::SetOpacity { .. } | LayersCommand::SetGroundOpacity(_)) {
            self.keep_layers();
        }
    }

    /// Makes an edit of how the layers differ from what the area keeps.
    pub(super) fn keep_layers(&mut self) {
        let Some(area) = &self.area else { return };
        let kept = self.layers.kept();
        if *area.layers == kept {
            return;
        }
        let words = words(&area.layers, &kept);
        let edit = Edit::new(words, vec![Change::Layers(Swap::replace(&area.layers, kept))]);
        if self.take_edit(edit.clone()) {
            self.history.edited(edit);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::Command;
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
        let (kept, before) = (layers.kept(), layers.list[0].id);
        layers.reopen();
        assert_eq!(layers.kept(), kept);
        assert!(layers.list.iter().all(|l| l.id > before));
        assert!(layers.list.iter().all(|l| matches!(l.state, LayerState::Opening)));
    }

    #[test]
    fn every_change_of_the_layers_is_one_edit_of_the_area_and_can_be_undone() {
        let mut model = Model::new(Vec::new(), crate::model::Settings::default());
        let area = sparefield_data::area::Area::sample(&sparefield_data::NoProgress).unwrap();
        model.take_area(Arc::new(area));
        let land = model.land_revision;
        let kept = |model: &Model| (*model.area.as_ref().unwrap().layers).clone();
        let give = |model: &mut Model, command| model.apply(&Command::Layers(command));
        give(&mut model, LayersCommand::Add(LayerSpec::new(Path::new("/land/summer.tif"), LayerKind::Imagery)));
        give(&mut model, LayersCommand::Add(LayerSpec::new(Path::new("/land/paths.kml"), LayerKind::Background)));
        let summer = model.layers.list[0].id;
        for percent in [90.0, 60.0, 30.0] {
            give(&mut model, LayersCommand::SetOpacity { id: summer, opacity: percent / 100.0 });
        }
        assert_eq!(kept(&model).list[0].opacity, 1.0, "the hand is not lifted yet");
        model.apply(&Command::EndGesture);
        assert_eq!(kept(&model).list[0].opacity, 0.3);
        assert_eq!(model.history.undo_words(), Some("change the opacity of summer"));
        give(&mut model, LayersCommand::SetGround(GroundLayer::Slope));
        give(&mut model, LayersCommand::ShowPanel(true));
        assert_eq!(model.history.undo_words(), Some("change of the ground's colours"));
        for _ in 0..2 {
            model.apply(&Command::Undo);
        }
        assert_eq!((model.layers.ground, model.layers.list[0].spec.opacity), (GroundLayer::Relief, 1.0));
        assert_eq!(model.layers.list[0].id, summer, "what is open stays open");
        model.apply(&Command::Undo);
        model.apply(&Command::Undo);
        assert!(model.layers.list.is_empty() && kept(&model).list.is_empty());
        model.apply(&Command::Redo);
        assert_eq!(kept(&model).list.len(), 1);
        assert_eq!(model.unsaved.len(), 9, "each is written to the file, and so is its undo");
        assert_eq!(model.land_revision, land, "the land is the same");
        let other = sparefield_data::area::Area::sample(&sparefield_data::NoProgress).unwrap();
        model.take_area(Arc::new(other));
        assert!(model.layers.list.is_empty(), "layers belong to their area");
    }
}
