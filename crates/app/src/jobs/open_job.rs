//! Opening an area on a thread of its own.

use sparefield_data::area::{Area, AreaRequest};
use sparefield_data::{LoadError, Progress};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::sync::{Arc, PoisonError};

/// What to open.
#[derive(Clone)]
pub enum OpenWhat {
    /// The sample area inside the program.
    Sample,
    /// Files.
    Files(Box<AreaRequest>),
}

/// What came of it.
pub enum OpenOutcome {
    /// Still opening; the share done.
    Running(f32),
    /// Opened.
    Opened(Arc<Area>),
    /// Not opened, and why.
    Failed(String),
    /// Stopped on request.
    Stopped,
}

struct Watch {
    share: AtomicU32,
    stop: AtomicBool,
    notify: std::sync::Mutex<Box<dyn Fn() + Send>>,
}

impl Progress for Watch {
    fn report(&self, share: f64) {
        let steps = (share.clamp(0.0, 1.0) * 1000.0) as u32;
        if self.share.swap(steps, Ordering::Relaxed) != steps {
            (self.notify.lock().unwrap_or_else(PoisonError::into_inner))();
        }
    }
    fn cancelled(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

/// An area being opened.
pub struct OpenJob {
    watch: Arc<Watch>,
    result: Receiver<Result<Area, LoadError>>,
}

impl OpenJob {
    /// Starts opening; `notify` is called on progress and at the end.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(what: OpenWhat, notify: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        let watch = Arc::new(Watch {
            share: AtomicU32::new(0),
            stop: AtomicBool::new(false),
            notify: std::sync::Mutex::new(Box::new(notify)),
        });
        let (send, result) = channel();
        let inner = Arc::clone(&watch);
        std::thread::Builder::new().name("open".into()).spawn(move || {
            let opened = match what {
                OpenWhat::Sample => Area::sample(&*inner),
                OpenWhat::Files(request) => Area::open(&request, &*inner),
            };
            // The window may be gone by now; then nobody needs the result.
            if send.send(opened).is_ok() {
                (inner.notify.lock().unwrap_or_else(PoisonError::into_inner))();
            }
        })?;
        Ok(Self { watch, result })
    }

    /// Asks the thread to stop.
    pub fn stop(&self) {
        self.watch.stop.store(true, Ordering::Relaxed);
    }

    /// How it stands.
    #[must_use]
    pub fn poll(&self) -> OpenOutcome {
        match self.result.try_recv() {
            Ok(Ok(area)) => OpenOutcome::Opened(Arc::new(area)),
            Ok(Err(_)) if self.watch.cancelled() => OpenOutcome::Stopped,
            Ok(Err(e)) => OpenOutcome::Failed(e.to_string()),
            Err(TryRecvError::Empty) => OpenOutcome::Running(self.watch.share.load(Ordering::Relaxed) as f32 / 1000.0),
            Err(TryRecvError::Disconnected) => {
                OpenOutcome::Failed("opening failed inside the program; please report it".to_owned())
            }
        }
    }
}
