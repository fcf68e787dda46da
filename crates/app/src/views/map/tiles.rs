//! Keeps the relief tiles of the visible part: asks a worker for missing ones, shows coarser ones meanwhile.

use super::camera::{Bounds, View};
use super::paint;
use super::relief::{ContourLabel, ContourSteps, GroundLook, Pyramid, TILE_PX, Tile, TileKey, draw_tile};
use super::tint::Tint;
use crate::theme::{Scheme, Theme};
use crossbeam_channel::{Receiver, Sender, unbounded};
use egui::{Color32, ColorImage, Context, Mesh, Rect, Shape, TextureHandle, TextureOptions, pos2};
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::Xy;
use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Condvar, Mutex, PoisonError};

/// Textures kept beyond the visible ones, so that panning and zooming back is instant. 512 × 512 × 4 bytes each.
const KEPT: usize = 60;
/// Textures handed to the graphics card in one frame; more would be felt.
const UPLOADS_PER_FRAME: usize = 4;
/// Longest side of the picture of the whole terrain that stands in for missing tiles.
const OVERVIEW_PX: f64 = 480.0;

/// Where tiles are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Loading {
    /// On a worker thread; a frame shows what is there.
    #[default]
    Background,
    /// In the frame that needs them: for pictures and tests that must be complete.
    Inline,
}

/// What a tile depends on besides its place.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Look {
    scheme: Scheme,
    feet: bool,
    ground: GroundLook,
}

struct Request {
    terrain: Arc<Terrain>,
    key: TileKey,
    look: Look,
    theme: Arc<Theme>,
    generation: u64,
}

struct Answer {
    key: TileKey,
    generation: u64,
    tile: Option<Tile>,
}

struct Kept {
    texture: Option<TextureHandle>,
    labels: Vec<ContourLabel>,
    used: u64,
}

/// Wanted tiles, most wanted first; replaced each frame, so that what scrolled away is never drawn.
#[derive(Default)]
struct Queue {
    wanted: Vec<Request>,
    busy: Option<(TileKey, u64)>,
    closed: bool,
}

struct Worker {
    queue: Arc<(Mutex<Queue>, Condvar)>,
    answers: Receiver<Answer>,
}

impl Worker {
    fn start(ctx: &Context) -> Option<Self> {
        let queue = Arc::new((Mutex::new(Queue::default()), Condvar::new()));
        let (send, answers) = unbounded();
        let (shared, ctx) = (Arc::clone(&queue), ctx.clone());
        let spawned = std::thread::Builder::new().name("map-relief".into()).spawn(move || work(&shared, &send, &ctx));
        match spawned {
            Ok(_) => Some(Self { queue, answers }),
            Err(e) => {
                log::warn!("no thread for the relief, drawing it in the window's own: {e}");
                None
            }
        }
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        self.queue.0.lock().unwrap_or_else(PoisonError::into_inner).closed = true;
        self.queue.1.notify_all();
    }
}

fn work(shared: &(Mutex<Queue>, Condvar), send: &Sender<Answer>, ctx: &Context) {
    let mut drawer = Drawer::default();
    loop {
        let request = {
            let mut queue = shared.0.lock().unwrap_or_else(PoisonError::into_inner);
            loop {
                if queue.closed {
                    return;
                }
                if !queue.wanted.is_empty() {
                    let request = queue.wanted.remove(0);
                    queue.busy = Some((request.key, request.generation));
                    break request;
                }
                queue = shared.1.wait(queue).unwrap_or_else(PoisonError::into_inner);
            }
        };
        let tile = drawer.draw(&request);
        if send.send(Answer { key: request.key, generation: request.generation, tile }).is_err() {
            return;
        }
        shared.0.lock().unwrap_or_else(PoisonError::into_inner).busy = None;
        ctx.request_repaint();
    }
}

/// Draws tiles and remembers the pyramid of the terrain drawn last.
#[derive(Default)]
struct Drawer {
    pyramid: Option<(Arc<Terrain>, Pyramid)>,
    /// The classes drawn last, post by post.
    classes: Option<(Tint, Vec<u8>)>,
}

impl Drawer {
    fn draw(&mut self, request: &Request) -> Option<Tile> {
        let pyramid = match &mut self.pyramid {
            Some((terrain, pyramid)) if Arc::ptr_eq(terrain, &request.terrain) => pyramid,
            slot => {
                self.classes = None;
                let pyramid = Pyramid::new(Arc::clone(&request.terrain));
                &mut slot.insert((Arc::clone(&request.terrain), pyramid)).1
            }
        };
        let mpp = TileKey::metres_per_pixel(request.key.level);
        let steps = ContourSteps::for_zoom(mpp, pyramid.steepness(), request.look.feet);
        let classes: &[u8] = match (request.look.ground.tint, &mut self.classes) {
            (None, _) => &[],
            (Some(tint), Some((of, classes))) if *of == tint => classes,
            (Some(tint), slot) => &slot.insert((tint, tint.classes(pyramid.terrain()))).1,
        };
        draw_tile(pyramid, request.key, steps, &request.theme, request.look.ground, classes)
    }
}

/// The relief of one map.
pub(super) struct Tiles {
    loading: Loading,
    worker: Option<Worker>,
    inline: Drawer,
    terrain: Option<Arc<Terrain>>,
    look: Option<Look>,
    theme: Option<Arc<Theme>>,
    generation: u64,
    kept: HashMap<TileKey, Kept>,
    ready: VecDeque<Answer>,
    frame: u64,
    complete: bool,
}

impl Tiles {
    pub(super) fn new(loading: Loading) -> Self {
        Self {
            loading,
            worker: None,
            inline: Drawer::default(),
            terrain: None,
            look: None,
            theme: None,
            generation: 0,
            kept: HashMap::new(),
            ready: VecDeque::new(),
            frame: 0,
            complete: false,
        }
    }

    /// Whether the last frame had every tile it wanted.
    pub(super) fn complete(&self) -> bool {
        self.complete
    }

    /// Shapes of the visible relief, and the contour labels on it.
    pub(super) fn show(
        &mut self,
        ctx: &Context,
        view: &View,
        terrain: &Arc<Terrain>,
        theme: &Theme,
        feet: bool,
        ground: GroundLook,
    ) -> (Vec<Shape>, Vec<ContourLabel>) {
        self.frame += 1;
        let shared = self.forget_what_changed(terrain, theme, feet, ground);
        let Some(look) = self.look else { return (Vec::new(), Vec::new()) };
        self.take_answers(ctx);

        let level = TileKey::level_for(view.camera.metres_per_point / f64::from(ctx.pixels_per_point()));
        let wanted = visible(view, level, terrain);
        let overview = overview(terrain);
        let mut missing: Vec<TileKey> = overview.iter().filter(|k| !self.kept.contains_key(k)).copied().collect();
        missing.extend(wanted.iter().filter(|k| !self.kept.contains_key(k)));
        let request = |key: TileKey, generation: u64| Request {
            terrain: Arc::clone(terrain),
            key,
            look,
            theme: Arc::clone(&shared),
            generation,
        };
        if self.loading == Loading::Background && self.worker.is_none() && !missing.is_empty() {
            self.worker = Worker::start(ctx);
        }
        if let Some(worker) = &self.worker {
            let mut queue = worker.queue.0.lock().unwrap_or_else(PoisonError::into_inner);
            let under_way =
                |k: &TileKey| queue.busy == Some((*k, self.generation)) || self.ready.iter().any(|a| a.key == *k);
            let list = missing.iter().filter(|k| !under_way(k)).map(|&k| request(k, self.generation)).collect();
            queue.wanted = list;
            drop(queue);
            worker.queue.1.notify_one();
        } else {
            for &key in &missing {
                let tile = self.inline.draw(&request(key, self.generation));
                self.keep(ctx, key, tile);
            }
        }

        self.complete = wanted.iter().all(|k| self.kept.contains_key(k));
        let mut shapes = Vec::new();
        let mut labels = Vec::new();
        if !self.complete {
            for key in &overview {
                self.place(*key, view, &mut shapes);
            }
            // What was on the screen a moment ago at another zoom, coarse first.
            let bounds = view.bounds(0.0);
            let mut older: Vec<TileKey> = self
                .kept
                .iter()
                .filter(|(k, kept)| k.level != level && kept.used + 1 >= self.frame && kept.texture.is_some())
                .map(|(k, _)| *k)
                .filter(|k| {
                    let (nw, se) = k.corners();
                    bounds.meets(&Bounds { min: Xy::new(nw.x, se.y), max: Xy::new(se.x, nw.y) })
                })
                .collect();
            older.sort_by_key(|k| (-k.level, k.east, k.north));
            for key in older {
                self.place(key, view, &mut shapes);
            }
        }
        for key in &wanted {
            self.place(*key, view, &mut shapes);
            if let Some(kept) = self.kept.get(key) {
                labels.extend_from_slice(&kept.labels);
            }
        }
        self.drop_oldest(wanted.len() + overview.len());
        (shapes, labels)
    }

    fn forget_what_changed(
        &mut self,
        terrain: &Arc<Terrain>,
        theme: &Theme,
        feet: bool,
        ground: GroundLook,
    ) -> Arc<Theme> {
        let look = Look { scheme: theme.scheme, feet, ground };
        let same_terrain = self.terrain.as_ref().is_some_and(|t| Arc::ptr_eq(t, terrain));
        let same_theme = self.theme.as_ref().filter(|t| t.as_ref() == theme).cloned();
        let shared = same_theme.clone().unwrap_or_else(|| Arc::new(theme.clone()));
        if !same_terrain || self.look != Some(look) || same_theme.is_none() {
            self.kept.clear();
            self.generation += 1;
            self.terrain = Some(Arc::clone(terrain));
            self.look = Some(look);
            self.theme = Some(Arc::clone(&shared));
        }
        shared
    }

    fn take_answers(&mut self, ctx: &Context) {
        if let Some(worker) = &self.worker {
            let generation = self.generation;
            self.ready.retain(|a| a.generation == generation);
            self.ready.extend(worker.answers.try_iter().filter(|a| a.generation == generation));
        }
        for _ in 0..UPLOADS_PER_FRAME {
            let Some(answer) = self.ready.pop_front() else { return };
            self.keep(ctx, answer.key, answer.tile);
        }
        ctx.request_repaint();
    }

    fn keep(&mut self, ctx: &Context, key: TileKey, tile: Option<Tile>) {
        let (texture, labels) = match tile {
            None => (None, Vec::new()),
            Some(tile) => {
                let image = ColorImage::new([TILE_PX, TILE_PX], tile.pixels);
                let name = format!("relief {} {} {}", key.level, key.east, key.north);
                (Some(ctx.load_texture(name, image, TextureOptions::LINEAR)), tile.labels)
            }
        };
        self.kept.insert(key, Kept { texture, labels, used: self.frame });
    }

    fn place(&mut self, key: TileKey, view: &View, shapes: &mut Vec<Shape>) {
        let Some(kept) = self.kept.get_mut(&key) else { return };
        kept.used = self.frame;
        let Some(texture) = &kept.texture else { return };
        let (nw, se) = key.corners();
        let mut mesh = Mesh::with_texture(texture.id());
        paint::add_quad(
            &mut mesh,
            view.corners(nw, se),
            Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0)),
            Color32::WHITE,
        );
        shapes.push(Shape::mesh(mesh));
    }

    fn drop_oldest(&mut self, in_use: usize) {
        let limit = in_use + KEPT;
        if self.kept.len() <= limit {
            return;
        }
        let mut by_age: Vec<(u64, TileKey)> = self.kept.iter().map(|(k, v)| (v.used, *k)).collect();
        by_age.sort_by_key(|(used, k)| (*used, k.level, k.east, k.north));
        for (_, key) in by_age.into_iter().take(self.kept.len() - limit) {
            self.kept.remove(&key);
        }
    }
}

/// Tiles of a level that show terrain in the view, nearest the middle first.
fn visible(view: &View, level: i32, terrain: &Terrain) -> Vec<TileKey> {
    let bounds = view.bounds(8.0);
    let mut keys = covering(bounds.min, bounds.max, level, terrain.frame.bounds());
    let side = TileKey::side_m(level);
    let centre = view.camera.centre;
    keys.sort_by(|a, b| {
        let far = |k: &TileKey| {
            let (dx, dy) = ((k.east as f64 + 0.5) * side - centre.x, (k.north as f64 + 0.5) * side - centre.y);
            dx * dx + dy * dy
        };
        far(a).total_cmp(&far(b))
    });
    keys
}

/// The few coarse tiles that show the whole terrain.
fn overview(terrain: &Terrain) -> Vec<TileKey> {
    let (sw, ne) = terrain.frame.bounds();
    let size = (ne.x - sw.x).max(ne.y - sw.y);
    let level = TileKey::level_for((size / OVERVIEW_PX).max(1e-3));
    covering(sw, ne, level, (sw, ne))
}

/// Tiles of a level that meet both a box and an extent (south-west, north-east).
pub(super) fn covering(low: Xy, high: Xy, level: i32, (sw, ne): (Xy, Xy)) -> Vec<TileKey> {
    let side = TileKey::side_m(level);
    let range = |a: f64, b: f64| (a / side).floor() as i64..=(b / side).floor() as i64;
    let mut keys = Vec::new();
    for north in range(low.y.max(sw.y), high.y.min(ne.y)) {
        for east in range(low.x.max(sw.x), high.x.min(ne.x)) {
            keys.push(TileKey { level, east, north });
        }
    }
    keys
}
