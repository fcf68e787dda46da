//! Opening layers, each on a thread of its own: a background of a hundred megabytes takes seconds to read.

use crate::model::layers::{LayerState, MapLayers};
use crossbeam_channel::{Receiver, Sender, unbounded};
use sparefield_data::frame::{Crs, Frame};
use sparefield_data::imagery::{BackgroundLayer, BlockStore, ImageryLayer, ImageryRequest, LayerKind, LayerSpec};
use sparefield_data::vector::VectorOptions;
use sparefield_data::{LoadError, Loaded, Progress, Warning};
use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// A layer opened, or why not.
pub struct LayerOutcome {
    /// Which layer.
    pub id: u64,
    /// What came of it, with what was assumed or passed over.
    pub result: Result<(LayerState, Vec<Warning>), String>,
}

struct Stop(Arc<AtomicBool>);

impl Progress for Stop {
    fn report(&self, _share: f64) {}
    fn cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// Opens the layers of the model that are not open yet.
pub struct LayerJob {
    store: Arc<BlockStore>,
    frame: Option<Frame>,
    running: HashMap<u64, Arc<AtomicBool>>,
    send: Sender<LayerOutcome>,
    done: Receiver<LayerOutcome>,
}

impl Default for LayerJob {
    fn default() -> Self {
        let (send, done) = unbounded();
        Self { store: Arc::default(), frame: None, running: HashMap::new(), send, done }
    }
}

impl LayerJob {
    /// Starts what is to be opened in a frame and stops what nobody wants any more.
    ///
    /// In another frame than before, every layer is opened anew.
    pub fn keep_up(&mut self, layers: &mut MapLayers, frame: &Frame, notify: impl Fn() + Clone + Send + 'static) {
        if self.frame.as_ref() != Some(frame) {
            self.frame = Some(frame.clone());
            self.stop_all();
            layers.reopen();
        }
        self.running.retain(|id, stop| {
            let wanted = layers.list.iter().any(|l| l.id == *id);
            stop.store(!wanted, Ordering::Relaxed);
            wanted
        });
        for layer in &mut layers.list {
            if !matches!(layer.state, LayerState::Opening) || self.running.contains_key(&layer.id) {
                continue;
            }
            let stop = Arc::new(AtomicBool::new(false));
            let (id, spec, frame) = (layer.id, layer.spec.clone(), frame.clone());
            let (store, send) = (Arc::clone(&self.store), self.send.clone());
            let (watch, notify) = (Stop(Arc::clone(&stop)), notify.clone());
            let thread = std::thread::Builder::new().name("open layer".into()).spawn(move || {
                let run = std::panic::AssertUnwindSafe(|| open(&spec, &frame, store, &watch));
                let result = std::panic::catch_unwind(run)
                    .unwrap_or_else(|_| Err("opening failed inside the program; please report it".to_owned()));
                // The window may be gone by now; then nobody needs the result.
                if !watch.cancelled() && send.send(LayerOutcome { id, result }).is_ok() {
                    notify();
                }
            });
            match thread {
                Ok(_) => {
                    self.running.insert(id, stop);
                }
                Err(e) => layer.state = LayerState::Failed(format!("the system refused a thread: {e}")),
            }
        }
    }

    fn stop_all(&mut self) {
        self.running.drain().for_each(|(_, stop)| stop.store(true, Ordering::Relaxed));
        // What is on its way was opened for the frame before.
        (self.send, self.done) = unbounded();
    }

    /// Puts what is ready into the model; gives the warnings, each with the name of its layer.
    pub fn take_done(&mut self, layers: &mut MapLayers) -> Vec<String> {
        let mut words = Vec::new();
        for outcome in self.done.try_iter() {
            self.running.remove(&outcome.id);
            let Some(layer) = layers.get_mut(outcome.id) else { continue };
            layer.state = match outcome.result {
                Ok((state, warnings)) => {
                    words.extend(warnings.iter().map(|w| format!("{}: {w}", layer.spec.name)));
                    state
                }
                Err(why) => LayerState::Failed(why),
            };
        }
        words
    }
}

impl Drop for LayerJob {
    fn drop(&mut self) {
        self.stop_all();
    }
}

fn open(
    spec: &LayerSpec,
    frame: &Frame,
    store: Arc<BlockStore>,
    progress: &dyn Progress,
) -> Result<(LayerState, Vec<Warning>), String> {
    let crs = spec.crs.as_deref().map(Crs::from_user).transpose().map_err(|e| e.to_string())?;
    let words = |e: LoadError| e.to_string();
    Ok(match spec.kind {
        LayerKind::Imagery => {
            let request = ImageryRequest { frame, crs_where_missing: crs, store };
            let Loaded { value, warnings, .. } = ImageryLayer::open(&spec.path, &request, progress).map_err(words)?;
            (LayerState::Imagery(Arc::new(value)), warnings)
        }
        LayerKind::Background => {
            let options = VectorOptions { crs_override: crs, ..VectorOptions::default() };
            let Loaded { value, warnings, .. } = BackgroundLayer::open(&spec.path, frame, &options).map_err(words)?;
            (LayerState::Background(Arc::new(value)), warnings)
        }
    })
}
