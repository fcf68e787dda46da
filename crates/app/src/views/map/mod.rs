//! The map: one widget that draws what it is given and says what the hand did.
//!
//! It knows nothing of the program's model and works out no domain answer. Layers are drawn from the ground up, one
//! module each: relief ([`relief`], `tiles`), what stands on the ground (`ground`), fields and strips (`fields`),
//! reach (`reach`), hazards (`hazards`), the aircraft (`aircraft`), and the furniture along the edges (`furniture`).
//! `hands` turns pointer and keys into [`MapEvent`]s.

mod aircraft;
mod background;
pub mod camera;
mod circuit;
mod cloud;
mod fields;
mod furniture;
mod ground;
mod hands;
mod hazards;
mod imagery;
mod paint;
mod reach;
pub mod relief;
mod room;
mod tiles;
pub mod tint;

pub use camera::{Bounds, Camera, View};
pub use circuit::{CircuitMark, FlownMark, GateMark, KeyMark, RibbonPoint, ShownCircuits, TurnMark};
pub use cloud::CloudMark;
pub use furniture::STRIP_HEIGHT;
pub use hands::{AIRCRAFT_LABEL, MAP_LABEL, NOSE_LABEL};
pub(crate) use paint::{Pen, cut_to, dash};
pub use reach::{VeilPicture, veil_colour};
pub use tiles::Loading;

use crate::theme::Theme;
use egui::emath::Rot2;
use egui::{Context, Id, Pos2, Rect, Response, Role, Sense, Shape, Ui, Vec2, WidgetInfo};
use paint::Patterns;
use relief::GroundLook;
use sparefield_data::imagery::{BackgroundLayer, ImageryLayer};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use sparefield_geometry::fields::verdict::RankedField;
use sparefield_geometry::grid::{GridFrame, Terrain};
use sparefield_geometry::position::{Bearing, LonLat, Xy};
use std::sync::Arc;

/// One contour of spare height.
#[derive(Clone, Debug, PartialEq)]
pub struct Ring {
    /// Spare height on it, metres. The ring at 0 bounds the land in reach.
    pub level_m: f64,
    /// What stands on the line, in the user's unit ("+300 ft").
    pub label: String,
    /// Its pieces; a closed piece ends where it starts.
    pub lines: Vec<Vec<Xy>>,
}

/// Where the land is in reach, on a grid.
#[derive(Clone, Debug, PartialEq)]
pub struct LitMask {
    /// Where the grid lies. Land outside it is out of reach.
    pub frame: GridFrame,
    /// How much of the veil lies on each cell, row by row from the north-west: 0 lit, 255 out of reach.
    pub veil: Arc<Vec<u8>>,
}

impl LitMask {
    /// Height over which the veil fades out, metres above zero spare height: nothing below that is lit at all.
    const FADE_M: f32 = 8.0;

    /// The mask of a grid of spare heights in metres; `NaN` (not reachable) is out of reach.
    #[must_use]
    pub fn from_spare_heights(frame: GridFrame, spare_m: &[f32]) -> Self {
        let veil: Vec<u8> = spare_m
            .iter()
            .map(|s| if s.is_finite() { ((1.0 - s / Self::FADE_M).clamp(0.0, 1.0) * 255.0).ceil() as u8 } else { 255 })
            .collect();
        Self { frame, veil: Arc::new(veil) }
    }
}

/// Everything drawn about reach. A new answer is a new `Arc`; the map keeps what it derived from the old one until then.
#[derive(Clone, Debug, PartialEq)]
pub struct ReachOverlay {
    /// Rings, the zero ring first.
    pub rings: Vec<Ring>,
    /// Land in reach.
    pub lit: LitMask,
    /// The veil as a picture, where it was made beside the window; made in the frame otherwise.
    pub picture: Option<Arc<VeilPicture>>,
}

/// The aircraft's mark.
#[derive(Clone, Debug, PartialEq)]
pub struct AircraftMark {
    /// Where it is.
    pub position: Xy,
    /// Where the nose points; `None` when any heading is allowed.
    pub heading: Option<Bearing>,
    /// Motion over the ground, m/s.
    pub ground_velocity_ms: Xy,
    /// Short lines beside it, such as its height.
    pub label: Vec<String>,
}

/// The wind as shown beside the aircraft.
#[derive(Clone, Debug, PartialEq)]
pub struct WindMark {
    /// Where the air goes; calm draws no arrow.
    pub wind: WindVector,
    /// In words, such as "250/12 kt".
    pub label: String,
    /// Draw faint streaks in the direction of flow over the whole map.
    pub streaks: bool,
}

/// The home strip.
#[derive(Clone, Debug, PartialEq)]
pub struct HomeMark {
    /// One end of the runway, or where home is.
    pub from: Xy,
    /// The other end; the same point when only a place is known.
    pub to: Xy,
    /// Name.
    pub name: String,
}

/// A layer to draw over the ground.
#[derive(Clone, Debug)]
pub struct ShownLayer {
    /// Its number, unlike that of any other layer.
    pub id: u64,
    /// How much of what lies below it hides, 0 to 1.
    pub opacity: f32,
    /// What it shows.
    pub content: LayerContent,
}

/// What a layer shows.
#[derive(Clone, Debug)]
pub enum LayerContent {
    /// An image.
    Imagery(Arc<ImageryLayer>),
    /// Lines, areas and points.
    Background(Arc<BackgroundLayer>),
}

/// What is known about the ground under the pointer, already in words.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Readout {
    /// Short statements from left to right, such as "ground 420 ft", "arrive 1,150 ft above it", "spare +300 ft".
    pub parts: Vec<String>,
}

/// The user's unit for distances.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum DistanceUnit {
    /// Metres and kilometres.
    #[default]
    Kilometres,
    /// Feet and statute miles.
    Miles,
    /// Metres and nautical miles.
    NauticalMiles,
}

/// Everything the map draws. Slices are the caller's; indices in ranking and events are into `fields`.
pub struct MapInput<'a> {
    /// Colours and sizes.
    pub theme: &'a Theme,
    /// The ground; `None` shows how to get some.
    pub terrain: Option<&'a Arc<Terrain>>,
    /// What of the ground is shown.
    pub ground: GroundLook,
    /// Layers over the ground, from the lowest to the highest.
    pub layers: &'a [ShownLayer],
    /// Changes whenever fields, hazards, quiet zones, lanes or home do: the key of what the map derives from them.
    pub revision: u64,
    /// Fields.
    pub fields: &'a [Arc<Field>],
    /// Whether a field was never looked at or too long ago.
    pub doubtful: &'a dyn Fn(usize) -> bool,
    /// Whether a field is drawn faintly: something else is looked for.
    pub dimmed: &'a dyn Fn(usize) -> bool,
    /// Things in the way.
    pub hazards: &'a [Arc<Hazard>],
    /// Places not to be overflown low.
    pub quiet_zones: &'a [Arc<QuietZone>],
    /// Lanes and tracks.
    pub lanes: &'a [Vec<Xy>],
    /// Home.
    pub home: Option<&'a HomeMark>,
    /// The ranking, best first; `None` before there is one.
    pub ranked: Option<&'a [RankedField]>,
    /// Reach; `None` before there is an answer.
    pub reach: Option<&'a Arc<ReachOverlay>>,
    /// Lines of the options map, the lowest height first.
    pub cover: &'a [Ring],
    /// The aircraft.
    pub aircraft: Option<&'a AircraftMark>,
    /// The wind.
    pub wind: Option<&'a WindMark>,
    /// What pointer and keys do besides zooming.
    pub hands: Hands,
    /// Whether what stands on the sides is drawn for every field, and not only for the one chosen.
    pub every_side: bool,
    /// The field chosen.
    pub selected: Option<usize>,
    /// The field pointed at, here or in a list.
    pub hovered: Option<usize>,
    /// The glide to the chosen field.
    pub path: Option<&'a [Xy]>,
    /// Flown circuits; they take the place of the glide.
    pub circuits: ShownCircuits<'a>,
    /// Heights are shown in feet: decides the steps of contours.
    pub height_in_feet: bool,
    /// How distances are shown.
    pub distance_unit: DistanceUnit,
    /// A height in metres in the user's words.
    pub format_height: &'a dyn Fn(f64) -> String,
    /// Geographic position of a place.
    pub to_lonlat: &'a dyn Fn(Xy) -> Option<LonLat>,
    /// What is known about a place under the pointer.
    pub readout: &'a dyn Fn(Xy) -> Readout,
    /// One sentence about a field under the pointer.
    pub hover_text: &'a dyn Fn(usize) -> String,
}

/// What pointer and keys do on the map besides zooming.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hands {
    /// Clicks choose fields, and the pointer over one tells about it.
    pub choose: bool,
    /// Dragging moves the map.
    pub pan_by_drag: bool,
    /// Arrow keys move the map.
    pub pan_by_arrows: bool,
}

impl Default for Hands {
    fn default() -> Self {
        Self { choose: true, pan_by_drag: true, pan_by_arrows: true }
    }
}

/// The map as it was shown, for what lies over it.
pub struct Shown {
    /// What the hand did.
    pub events: Vec<MapEvent>,
    /// The map's own response to the pointer.
    pub response: Response,
    /// How places and points of the screen correspond.
    pub view: View,
}

/// What the hand did on the map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MapEvent {
    /// Put the aircraft here; comes in every frame of a drag.
    MoveAircraft(Xy),
    /// Turn the aircraft's nose; comes in every frame of a drag.
    TurnAircraft(Bearing),
    /// The drag of the aircraft or its nose ended: one gesture, one entry to undo.
    DropAircraftEnd,
    /// Choose a field, or none.
    SelectField(Option<usize>),
    /// The pointer is over a field, or over none.
    HoverField(Option<usize>),
}

enum Wish {
    Show(Xy, Xy),
    Reveal(Xy),
}

/// What the map remembers between frames: where it looks, and what it derived from its input.
pub struct MapState {
    camera: Camera,
    up: Bearing,
    fitted: bool,
    wish: Option<Wish>,
    shown: Option<View>,
    id: Option<Id>,
    tiles: tiles::Tiles,
    /// Classes and contours over imagery.
    over: tiles::Tiles,
    imagery: imagery::Imagery,
    backgrounds: background::BackgroundCache,
    patterns: Option<Patterns>,
    ground: ground::GroundCache,
    fields: fields::FieldCache,
    veil: reach::VeilCache,
    hover: Option<usize>,
    nose_grip: Option<f64>,
    drag_offset: Vec2,
}

impl Default for MapState {
    fn default() -> Self {
        Self::new(Loading::Background)
    }
}

impl MapState {
    /// A map that has not looked anywhere yet: the first frame shows all of its terrain.
    #[must_use]
    pub fn new(loading: Loading) -> Self {
        Self {
            camera: Camera::default(),
            up: Bearing::NORTH,
            fitted: false,
            wish: None,
            shown: None,
            id: None,
            tiles: tiles::Tiles::new(loading),
            over: tiles::Tiles::new(loading),
            imagery: imagery::Imagery::new(loading),
            backgrounds: background::BackgroundCache::default(),
            patterns: None,
            ground: ground::GroundCache::default(),
            fields: fields::FieldCache::default(),
            veil: reach::VeilCache::default(),
            hover: None,
            nose_grip: None,
            drag_offset: Vec2::ZERO,
        }
    }
    /// Where the map looks.
    #[must_use]
    pub fn camera(&self) -> Camera {
        self.camera
    }
    /// How places and points of the screen corresponded in the last frame; `None` before the first.
    #[must_use]
    pub fn last_view(&self) -> Option<View> {
        self.shown
    }
    /// The map as a widget; `None` before the first frame.
    #[must_use]
    pub fn id(&self) -> Option<Id> {
        self.id
    }
    /// Turns the map: this bearing is up.
    pub fn set_up(&mut self, up: Bearing) {
        self.up = up;
    }
    /// The map's camera behind a rectangle of the window.
    fn view(&self, rect: Rect) -> View {
        View::new(self.camera, rect).turned(self.up)
    }
    /// Moves the map with the hand.
    fn pan(&mut self, delta: Vec2) {
        let turn = Rot2::from_angle(self.up.rad() as f32);
        self.camera.pan(turn * delta);
    }
    /// Zooms so that the place under a point stays there.
    fn zoom(&mut self, rect: Rect, fixed: Pos2, factor: f64) {
        let view = self.view(rect);
        self.camera.zoom_in(&view, fixed, factor);
    }
    /// Looks somewhere else at once.
    pub fn set_camera(&mut self, camera: Camera) {
        self.camera = camera;
        self.fitted = true;
    }
    /// Shows a box (south-west, north-east) whole from the next frame on.
    pub fn show_box(&mut self, south_west: Xy, north_east: Xy) {
        self.wish = Some(Wish::Show(south_west, north_east));
    }
    /// Shows all of the terrain from the next frame on.
    pub fn fit(&mut self) {
        self.fitted = false;
    }
    /// Makes sure that a place is on the screen, moving no more than needed.
    pub fn reveal(&mut self, place: Xy) {
        self.wish = Some(Wish::Reveal(place));
    }

    /// Whether the relief of the last frame was drawn at full sharpness, nothing being under way.
    #[must_use]
    pub fn relief_ready(&self) -> bool {
        self.tiles.complete()
    }

    /// What went wrong with parts of layers since the last call: the layer's number and one sentence.
    pub fn take_layer_problems(&mut self) -> Vec<(u64, String)> {
        self.imagery.take_problems()
    }

    fn settle_camera(&mut self, rect: Rect, input: &MapInput<'_>) {
        if !self.fitted
            && let Some(terrain) = input.terrain
        {
            let (sw, ne) = terrain.frame.bounds();
            if let Some(camera) = Camera::showing(sw, ne, rect.size()) {
                self.camera = camera;
                self.fitted = true;
            }
        }
        match self.wish.take() {
            Some(Wish::Show(sw, ne)) => self.camera = Camera::showing(sw, ne, rect.size()).unwrap_or(self.camera),
            Some(Wish::Reveal(place)) => {
                let inner = rect.shrink2(rect.size() * 0.12);
                let p = self.view(rect).to_screen(place);
                self.pan(inner.clamp(p) - p);
            }
            None => {}
        }
    }
}

/// Draws the map into all the room there is, and returns what the hand did.
pub fn map_view(ui: &mut Ui, state: &mut MapState, input: &MapInput<'_>) -> Shown {
    let rect = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(rect, Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, hands::MAP_LABEL));
    if !(rect.width() > 1.0 && rect.height() > 1.0) {
        let view = state.view(rect);
        return Shown { events: Vec::new(), response, view };
    }
    state.id = Some(response.id);
    state.settle_camera(rect, input);
    state.fields.refresh(input);
    let events = hands::handle(ui, &response, state, input);
    let view = state.view(rect);
    state.shown = Some(view);
    draw(ui, &response, &view, state, input);
    Shown { events, response, view }
}

/// The layers from the lowest to the highest.
fn draw_layers(ctx: &Context, brush: &mut paint::Brush<'_>, view: &View, state: &mut MapState, input: &MapInput<'_>) {
    let images: Vec<(u64, &Arc<ImageryLayer>)> = input
        .layers
        .iter()
        .filter_map(|l| match &l.content {
            LayerContent::Imagery(image) => Some((l.id, image)),
            LayerContent::Background(_) => None,
        })
        .collect();
    state.imagery.ask(ctx, view, &images);
    for layer in input.layers {
        match &layer.content {
            LayerContent::Imagery(image) => {
                brush.extend(state.imagery.show(ctx, view, layer.id, image, layer.opacity));
            }
            LayerContent::Background(background) => state.backgrounds.draw(brush, background, layer.opacity),
        }
    }
}

fn draw(ui: &Ui, response: &Response, view: &View, state: &mut MapState, input: &MapInput<'_>) {
    let ctx = ui.ctx().clone();
    let painter = ui.painter().with_clip_rect(view.rect);
    let ppp = ctx.pixels_per_point();
    let patterns = match &state.patterns {
        Some(p) if p.pixels_per_point() == ppp => p.clone(),
        _ => state.patterns.insert(Patterns::new(&ctx, ppp)).clone(),
    };
    let mut brush = paint::Brush::new(&painter, *view, input.theme, &patterns);

    // The aircraft is drawn last, but takes its room first: no number or label may stand under it.
    aircraft::draw(&mut brush, ui, response, state.nose_grip, input);
    let on_top = brush.take_shapes();
    circuit::labels(&mut brush, input);
    let circuit_labels = brush.take_shapes();

    // On a software renderer every layer as large as the map is felt, so nothing is painted under opaque tiles.
    let outside = input.theme.colours.outside;
    if let Some(terrain) = input.terrain {
        let covered_by_image = input.layers.iter().any(|l| matches!(l.content, LayerContent::Imagery(_)));
        // Under an image the ground is plain relief; classes and contours go on top of the image.
        let plain = GroundLook { tint: None, contours: false, ..input.ground };
        let base = if covered_by_image { plain } else { input.ground };
        let (shapes, labels) = state.tiles.show(&ctx, view, terrain, input.theme, input.height_in_feet, base);
        let (sw, ne) = terrain.frame.bounds();
        let covered = Rect::from_two_pos(view.to_screen(sw), view.to_screen(ne)).shrink(1.0);
        let hole = if state.tiles.complete() && view.is_north_up() { covered } else { Rect::NOTHING };
        brush.extend(paint::around(view.rect, hole).into_iter().map(|r| Shape::rect_filled(r, 0.0, outside)));
        brush.extend(shapes);
        draw_layers(&ctx, &mut brush, view, state, input);
        let mut labels = labels;
        if covered_by_image && (input.ground.tint.is_some() || input.ground.contours) {
            let over = GroundLook { shading: false, ..input.ground };
            let (shapes, more) = state.over.show(&ctx, view, terrain, input.theme, input.height_in_feet, over);
            brush.extend(shapes);
            labels = more;
        }
        furniture::edge_of_terrain(&mut brush, terrain);
        furniture::contour_heights(&mut brush, labels, input);
    } else {
        brush.add(Shape::rect_filled(view.rect, 0.0, outside));
        furniture::no_terrain(&mut brush);
    }
    state.ground.draw(&mut brush, input);
    if let Some(wind) = input.wind {
        furniture::streaks(&mut brush, wind);
    }
    fields::draw_areas(&mut brush, &state.fields, input, state.hover);
    state.veil.draw(&ctx, &mut brush, input);
    let names = ground::home_and_names(&mut brush, input);
    let cover_labels = reach::cover(&mut brush, input);
    let ring_labels = reach::rings(&mut brush, input);
    hazards::draw(&mut brush, input);
    if let (Some(path), Some(_), None) = (input.path, input.selected, input.circuits.chosen) {
        aircraft::glide_path(&mut brush, path);
    }
    fields::draw_marks(&mut brush, &state.fields, input, state.hover);
    circuit::ribbons(&mut brush, input);
    brush.extend(names);
    brush.extend(cover_labels);
    brush.extend(ring_labels);
    brush.extend(circuit_labels);
    brush.extend(on_top);
    circuit::flown(&mut brush, ui, response, input);
    furniture::strip(&mut brush, response, input);
    if response.has_focus() {
        let ring = egui::Stroke::new(2.0, input.theme.colours.accent);
        brush.add(Shape::rect_stroke(view.rect.shrink(1.0), 0.0, ring, egui::StrokeKind::Inside));
    }
    brush.finish();
}
