//! Opening an area on a thread of its own.

use sparefield_data::area::{Area, AreaRequest, Edit};
use sparefield_data::area_file::AreaFile;
use sparefield_data::{LoadError, Progress, Warning};
use sparefield_geometry::fields::model::Day;
use std::path::PathBuf;
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
    /// An area file, on other terrain than its own where some is named.
    AreaFile {
        /// The file.
        path: PathBuf,
        /// Terrain in place of its own; empty for its own.
        terrain: Vec<PathBuf>,
        /// The day for the name of a backup.
        today: Day,
    },
    /// Files to be added to an area that is open.
    Import(Arc<Area>, Box<AreaRequest>),
}

/// What was opened.
pub enum Opened {
    /// An area, with its file where it has one.
    Area(Arc<Area>, Option<Box<AreaFile>>),
    /// What files add to the area that is open, and what was repaired or left out.
    Addition(Edit, Vec<Warning>),
}

/// What came of it.
pub enum OpenOutcome {
    /// Still opening; the share done.
    Running(f32),
    /// Opened.
    Opened(Opened),
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
    result: Receiver<Result<Opened, LoadError>>,
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
                OpenWhat::Sample => Area::sample(&*inner).map(|area| Opened::Area(Arc::new(area), None)),
                OpenWhat::Files(request) => {
                    Area::open(&request, &*inner).map(|area| Opened::Area(Arc::new(area), None))
                }
                OpenWhat::AreaFile { path, terrain, today } => Area::open_file_to_edit(&path, &terrain, today, &*inner)
                    .map(|(area, file)| Opened::Area(Arc::new(area), Some(Box::new(file)))),
                OpenWhat::Import(area, request) => {
                    area.import(&request).map(|found| Opened::Addition(found.value, found.warnings))
                }
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
            Ok(Ok(opened)) => OpenOutcome::Opened(opened),
            Ok(Err(_)) if self.watch.cancelled() => OpenOutcome::Stopped,
            Ok(Err(e)) => OpenOutcome::Failed(e.to_string()),
            Err(TryRecvError::Empty) => OpenOutcome::Running(self.watch.share.load(Ordering::Relaxed) as f32 / 1000.0),
            Err(TryRecvError::Disconnected) => {
                OpenOutcome::Failed("opening failed inside the program; please report it".to_owned())
            }
        }
    }
}
