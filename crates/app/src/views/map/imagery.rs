//! Images under the map: tiles made by a few worker threads, newest view first, and kept as textures.

use super::camera::{Bounds, View};
use super::paint;
use super::relief::{TILE_PX, TileKey};
use super::tiles::{Loading, covering};
use crate::theme::{coverage, soften};
use crossbeam_channel::{Receiver, Sender, unbounded};
use egui::{Color32, ColorImage, Context, Mesh, Rect, Shape, TextureHandle, TextureOptions, pos2};
use sparefield_data::imagery::{ImageryLayer, RgbaTile};
use sparefield_data::{LoadErrorKind, Progress};
use sparefield_geometry::position::Xy;
use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};

/// Threads that make tiles.
const WORKERS: usize = 2;
/// Textures kept beyond the visible ones, 1 MB each.
const KEPT: usize = 60;
/// Textures handed to the graphics card in one frame; more would be felt.
const UPLOADS_PER_FRAME: usize = 2;
/// Coarsest level of tiles: pixels of 32 km. From farther away nothing of an image is seen.
const COARSEST: i32 = 30;

/// Which tile of which layer.
type Key = (u64, TileKey);

struct Request {
    key: Key,
    layer: Arc<ImageryLayer>,
}

struct Answer {
    key: Key,
    /// No colours where the image has nothing, and why where it could not be made.
    made: Result<Option<Vec<Color32>>, String>,
}

#[derive(Default)]
struct Queue {
    /// Most wanted first; replaced each frame, so that what scrolled away is never made.
    wanted: Vec<Request>,
    busy: Vec<(Key, Arc<AtomicBool>)>,
    closed: bool,
}

struct Workers {
    queue: Arc<(Mutex<Queue>, Condvar)>,
    answers: Receiver<Answer>,
}

struct Stop(Arc<AtomicBool>);

impl Progress for Stop {
    fn report(&self, _share: f64) {}
    fn cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

impl Workers {
    fn start(ctx: &Context) -> Option<Self> {
        let queue = Arc::new((Mutex::new(Queue::default()), Condvar::new()));
        let (send, answers) = unbounded();
        let mut started = 0;
        for _ in 0..WORKERS {
            let (shared, send, ctx) = (Arc::clone(&queue), send.clone(), ctx.clone());
            let thread = std::thread::Builder::new().name("map-imagery".into());
            match thread.spawn(move || work(&shared, &send, &ctx)) {
                Ok(_) => started += 1,
                Err(e) => log::warn!("no thread for imagery: {e}"),
            }
        }
        (started > 0).then_some(Self { queue, answers })
    }
}

impl Drop for Workers {
    fn drop(&mut self) {
        let mut queue = self.queue.0.lock().unwrap_or_else(PoisonError::into_inner);
        queue.closed = true;
        queue.busy.iter().for_each(|(_, stop)| stop.store(true, Ordering::Relaxed));
        drop(queue);
        self.queue.1.notify_all();
    }
}

fn work(shared: &(Mutex<Queue>, Condvar), send: &Sender<Answer>, ctx: &Context) {
    loop {
        let (request, stop) = {
            let mut queue = shared.0.lock().unwrap_or_else(PoisonError::into_inner);
            loop {
                if queue.closed {
                    return;
                }
                if !queue.wanted.is_empty() {
                    let request = queue.wanted.remove(0);
                    let stop = Arc::new(AtomicBool::new(false));
                    queue.busy.push((request.key, Arc::clone(&stop)));
                    break (request, stop);
                }
                queue = shared.1.wait(queue).unwrap_or_else(PoisonError::into_inner);
            }
        };
        let key = request.key;
        let run = std::panic::AssertUnwindSafe(|| make(&request, &Stop(Arc::clone(&stop))));
        let made = std::panic::catch_unwind(run)
            .unwrap_or_else(|_| Some(Err("a part of it failed inside the program; please report it".to_owned())));
        // A tile that was stopped may be asked for again.
        if let Some(made) = made
            && send.send(Answer { key, made }).is_err()
        {
            return;
        }
        let mut queue = shared.0.lock().unwrap_or_else(PoisonError::into_inner);
        queue.busy.retain(|(k, s)| *k != key || !Arc::ptr_eq(s, &stop));
        drop(queue);
        ctx.request_repaint();
    }
}

/// A tile's colours; `None` when it was stopped.
fn make(request: &Request, progress: &dyn Progress) -> Option<Result<Option<Vec<Color32>>, String>> {
    let (nw, se) = request.key.1.corners();
    match request.layer.render(Xy::new(nw.x, se.y), Xy::new(se.x, nw.y), TILE_PX, progress) {
        Ok(tile) if tile.is_clear() => Some(Ok(None)),
        Ok(RgbaTile { pixels, .. }) => Some(Ok(Some(pixels.into_iter().map(soften).collect()))),
        Err(e) if e.kind == LoadErrorKind::Cancelled => None,
        Err(e) => Some(Err(e.to_string())),
    }
}

struct Kept {
    texture: Option<TextureHandle>,
    used: u64,
}

/// The imagery of one map.
pub(super) struct Imagery {
    loading: Loading,
    workers: Option<Workers>,
    kept: HashMap<Key, Kept>,
    ready: Vec<Answer>,
    problems: Vec<(u64, String)>,
    frame: u64,
}

impl Imagery {
    pub(super) fn new(loading: Loading) -> Self {
        Self { loading, workers: None, kept: HashMap::new(), ready: Vec::new(), problems: Vec::new(), frame: 0 }
    }

    /// What went wrong with parts of layers since the last call.
    pub(super) fn take_problems(&mut self) -> Vec<(u64, String)> {
        std::mem::take(&mut self.problems)
    }

    /// Begins a frame: takes what the workers made, and asks for what the shown layers lack.
    pub(super) fn ask(&mut self, ctx: &Context, view: &View, layers: &[(u64, &Arc<ImageryLayer>)]) {
        self.frame += 1;
        // A layer opened anew has a new number, so nothing of it as it was before is shown.
        self.kept.retain(|(id, _), _| layers.iter().any(|(shown, _)| shown == id));
        self.take_answers(ctx);
        let level = level_of(ctx, view);
        // The uppermost layer first: it hides the others.
        let mut missing: Vec<Request> = Vec::new();
        let mut needed: Vec<Key> = Vec::new();
        for (id, layer) in layers.iter().rev() {
            for tile in visible(view, level, layer) {
                let key = (*id, tile);
                needed.push(key);
                if !self.kept.contains_key(&key) {
                    missing.push(Request { key, layer: Arc::clone(layer) });
                }
            }
        }
        if self.loading == Loading::Inline {
            for request in missing {
                if let Some(made) = make(&request, &sparefield_data::NoProgress) {
                    self.keep(ctx, Answer { key: request.key, made });
                }
            }
            return;
        }
        if self.workers.is_none() && !missing.is_empty() {
            self.workers = Workers::start(ctx);
        }
        let Some(workers) = &self.workers else { return };
        let mut queue = workers.queue.0.lock().unwrap_or_else(PoisonError::into_inner);
        for (key, stop) in &queue.busy {
            if !needed.contains(key) {
                stop.store(true, Ordering::Relaxed);
            }
        }
        let under_way = |k: &Key| {
            queue.busy.iter().any(|(busy, stop)| busy == k && !stop.load(Ordering::Relaxed))
                || self.ready.iter().any(|a| a.key == *k)
        };
        missing.retain(|r| !under_way(&r.key));
        queue.wanted = missing;
        drop(queue);
        workers.queue.1.notify_all();
        self.drop_oldest(needed.len());
    }

    /// The shapes of one layer: its tiles, and what is at hand of other levels where some are missing.
    pub(super) fn show(
        &mut self,
        ctx: &Context,
        view: &View,
        id: u64,
        layer: &ImageryLayer,
        opacity: f32,
    ) -> Vec<Shape> {
        let level = level_of(ctx, view);
        let wanted = visible(view, level, layer);
        let tint = coverage((opacity.clamp(0.0, 1.0) * 255.0).round() as u8);
        let mut shapes = Vec::new();
        if wanted.iter().any(|tile| !self.kept.contains_key(&(id, *tile))) {
            let bounds = view.bounds(0.0);
            // Coarse first; tiles of one level do not overlap, so one coarser and one finer level at most are mixed.
            let mut other: Vec<(i32, u64, TileKey)> = self
                .kept
                .iter()
                .filter(|((i, k), kept)| {
                    *i == id && k.level != level && kept.texture.is_some() && kept.used + 1 >= self.frame
                })
                .filter(|((_, k), _)| {
                    let (nw, se) = k.corners();
                    bounds.meets(&Bounds { min: Xy::new(nw.x, se.y), max: Xy::new(se.x, nw.y) })
                })
                .map(|((_, k), kept)| (k.level, kept.used, *k))
                .collect();
            other.sort_by_key(|(level, _, k)| (-level, k.east, k.north));
            // What shows through would be seen twice where a layer is translucent.
            let only = other.iter().map(|(other, ..)| *other).min_by_key(|other| (other - level).abs());
            for (_, _, key) in other.iter().filter(|(other, ..)| opacity >= 1.0 || Some(*other) == only) {
                self.place((id, *key), view, tint, &mut shapes);
            }
            if opacity < 1.0 && !shapes.is_empty() {
                return shapes;
            }
        }
        for key in wanted {
            self.place((id, key), view, tint, &mut shapes);
        }
        shapes
    }

    fn take_answers(&mut self, ctx: &Context) {
        if let Some(workers) = &self.workers {
            self.ready.extend(workers.answers.try_iter());
        }
        let now = self.ready.len().min(UPLOADS_PER_FRAME);
        for answer in self.ready.drain(..now).collect::<Vec<_>>() {
            self.keep(ctx, answer);
        }
        if !self.ready.is_empty() {
            ctx.request_repaint();
        }
    }

    fn keep(&mut self, ctx: &Context, answer: Answer) {
        let (id, tile) = answer.key;
        let colours = answer.made.unwrap_or_else(|why| {
            self.problems.push((id, why));
            None
        });
        let texture = colours.map(|pixels| {
            let name = format!("imagery {id} {} {} {}", tile.level, tile.east, tile.north);
            ctx.load_texture(name, ColorImage::new([TILE_PX, TILE_PX], pixels), TextureOptions::LINEAR)
        });
        self.kept.insert(answer.key, Kept { texture, used: self.frame });
    }

    fn place(&mut self, key: Key, view: &View, tint: Color32, shapes: &mut Vec<Shape>) {
        let Some(kept) = self.kept.get_mut(&key) else { return };
        kept.used = self.frame;
        let Some(texture) = &kept.texture else { return };
        let (nw, se) = key.1.corners();
        let mut mesh = Mesh::with_texture(texture.id());
        paint::add_quad(&mut mesh, view.corners(nw, se), Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0)), tint);
        shapes.push(Shape::mesh(mesh));
    }

    fn drop_oldest(&mut self, in_use: usize) {
        let limit = in_use + KEPT;
        if self.kept.len() <= limit {
            return;
        }
        let mut by_age: Vec<(u64, Key)> = self.kept.iter().map(|(k, v)| (v.used, *k)).collect();
        by_age.sort_by_key(|(used, (id, k))| (*used, *id, k.level, k.east, k.north));
        for (_, key) in by_age.into_iter().take(self.kept.len() - limit) {
            self.kept.remove(&key);
        }
    }
}

fn level_of(ctx: &Context, view: &View) -> i32 {
    TileKey::level_for(view.camera.metres_per_point / f64::from(ctx.pixels_per_point())).min(COARSEST)
}

/// Tiles of a level that show a layer in the view, nearest the middle first.
fn visible(view: &View, level: i32, layer: &ImageryLayer) -> Vec<TileKey> {
    let seen = view.bounds(8.0);
    let (low, high) = layer.extent().unwrap_or((seen.min, seen.max));
    let mut keys = covering(seen.min, seen.max, level, (low, high));
    let (side, centre) = (TileKey::side_m(level), view.camera.centre);
    let far = |k: &TileKey| {
        let (dx, dy) = ((k.east as f64 + 0.5) * side - centre.x, (k.north as f64 + 0.5) * side - centre.y);
        dx * dx + dy * dy
    };
    keys.sort_by(|a, b| far(a).total_cmp(&far(b)));
    keys
}
