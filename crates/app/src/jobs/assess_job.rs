//! Assessing the fields on a thread of its own.

use crate::assess::{self, Assessment, Ring};
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_geometry::fields::verdict::RankedField;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::Duration;

/// A running assessment that is older than this is stopped for a newer one.
const PATIENCE: Duration = Duration::from_millis(400);

/// What to assess.
#[derive(Clone)]
pub struct AssessRequest {
    /// Area revision the request belongs to.
    pub area_revision: u64,
    /// State of the land that the request belongs to.
    pub land_revision: u64,
    /// Serial number; a later one is newer.
    pub serial: u64,
    /// The area.
    pub area: Arc<Area>,
    /// The conditions.
    pub conditions: assess::Conditions,
}

/// What came of it.
pub struct AssessOutcome {
    /// Area revision of the request.
    pub area_revision: u64,
    /// State of the land of the request.
    pub land_revision: u64,
    /// Serial number of the request.
    pub serial: u64,
    /// The assessment, or one sentence that says why there is none.
    pub result: Result<Answer, String>,
}

/// An assessment, and what the map draws of it that takes longer than a frame should.
#[derive(Clone)]
pub struct Answer {
    /// The assessment.
    pub assessment: Arc<Assessment>,
    /// Rings of spare height at [`RING_LEVELS_M`].
    pub rings: Arc<Vec<Ring>>,
}

/// Spare heights at which rings are drawn, metres: 0, 150, 300 and 600 ft.
pub const RING_LEVELS_M: [f64; 4] = [0.0, 45.72, 91.44, 182.88];

#[derive(Default)]
struct Slot {
    next: Option<AssessRequest>,
    done: Vec<AssessOutcome>,
    closing: bool,
}

struct Shared {
    slot: Mutex<Slot>,
    wake: Condvar,
    stop_running: AtomicBool,
    /// Set when what is studied belongs to an area that is no longer open, or the window closes.
    stop_studying: AtomicBool,
    /// Area revision being studied, and the share done in thousandths; 0 when nothing is being studied.
    studying: AtomicU64,
    studied: AtomicU32,
}

/// The thread that assesses.
pub struct AssessJob {
    shared: Arc<Shared>,
    /// When the oldest request without an answer was made.
    started: Option<std::time::Instant>,
}

impl AssessJob {
    /// Starts the thread; `notify` is called whenever an outcome is ready.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(notify: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        let shared = Arc::new(Shared {
            slot: Mutex::default(),
            wake: Condvar::new(),
            stop_running: AtomicBool::new(false),
            stop_studying: AtomicBool::new(false),
            studying: AtomicU64::new(0),
            studied: AtomicU32::new(0),
        });
        let for_thread = Arc::clone(&shared);
        std::thread::Builder::new().name("assess".into()).spawn(move || work(&for_thread, &notify))?;
        Ok(Self { shared, started: None })
    }

    /// Asks for an assessment; an older request that has not started is forgotten.
    pub fn request(&mut self, request: AssessRequest) {
        let started = self.started.get_or_insert_with(std::time::Instant::now);
        if started.elapsed() > PATIENCE {
            self.shared.stop_running.store(true, Ordering::Relaxed);
            self.started = None;
        }
        // Studying goes on while the aircraft is dragged; only another area makes it useless.
        let studying = self.shared.studying.load(Ordering::Relaxed);
        if studying != 0 && studying != request.area_revision {
            self.shared.stop_studying.store(true, Ordering::Relaxed);
        }
        let mut slot = self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner);
        slot.next = Some(request);
        drop(slot);
        self.shared.wake.notify_one();
    }

    /// Share of the fields studied, while they are being studied for the first time.
    #[must_use]
    pub fn studied(&self) -> Option<f32> {
        let at_work = self.shared.studying.load(Ordering::Relaxed) != 0;
        at_work.then(|| self.shared.studied.load(Ordering::Relaxed) as f32 / 1000.0)
    }

    /// Takes the outcomes that are ready.
    pub fn take_done(&mut self) -> Vec<AssessOutcome> {
        let mut slot = self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner);
        let done = std::mem::take(&mut slot.done);
        drop(slot);
        if !done.is_empty() {
            self.started = None;
        }
        done
    }
}

impl Drop for AssessJob {
    /// Tells the thread to end and does not wait for it: studying a large area takes longer than closing should.
    fn drop(&mut self) {
        self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner).closing = true;
        self.shared.stop_running.store(true, Ordering::Relaxed);
        self.shared.stop_studying.store(true, Ordering::Relaxed);
        self.shared.wake.notify_one();
    }
}

fn work(shared: &Shared, notify: &dyn Fn()) {
    // Studies depend on area, aircraft and rules only; they are kept while those stay.
    let mut studies: Option<Studies> = None;
    // Rankings given away. The last hold on each is kept here: taking one of 20 000 fields apart would cost the window a
    // frame.
    let mut given: Vec<Arc<Vec<RankedField>>> = Vec::new();
    loop {
        let request = {
            let mut slot = shared.slot.lock().unwrap_or_else(PoisonError::into_inner);
            loop {
                if slot.closing {
                    return;
                }
                if let Some(request) = slot.next.take() {
                    break request;
                }
                slot = shared.wake.wait(slot).unwrap_or_else(PoisonError::into_inner);
            }
        };
        given.retain(|ranked| Arc::strong_count(ranked) > 1);
        shared.stop_running.store(false, Ordering::Relaxed);
        let cancelled = || shared.stop_running.load(Ordering::Relaxed);
        let run = std::panic::AssertUnwindSafe(|| {
            if !studies.as_ref().is_some_and(|s| s.fits(&request.area, &request.conditions)) {
                shared.stop_studying.store(false, Ordering::Relaxed);
                shared.studied.store(0, Ordering::Relaxed);
                shared.studying.store(request.area_revision, Ordering::Relaxed);
                let goes_on = |share: f32| {
                    shared.studied.store((share * 1000.0) as u32, Ordering::Relaxed);
                    notify();
                    !shared.stop_studying.load(Ordering::Relaxed)
                };
                let made = Studies::in_steps(studies.as_ref(), &request.area, &request.conditions, &goes_on);
                shared.studying.store(0, Ordering::Relaxed);
                studies = made;
            }
            let Some(studies) = &studies else {
                // A newer request is waiting, or the window is closing.
                shared.stop_running.store(true, Ordering::Relaxed);
                return Err("stopped".to_owned());
            };
            let assessment =
                assess::assess(&request.area, studies, &request.conditions, &cancelled).map_err(|e| e.to_string())?;
            let rings = Arc::new(assessment.rings(&RING_LEVELS_M));
            Ok(Answer { assessment: Arc::new(assessment), rings })
        });
        let result = std::panic::catch_unwind(run)
            .unwrap_or_else(|_| Err("assessing the fields failed inside the program; please report it".to_owned()));
        given.extend(result.as_ref().ok().map(|answer| Arc::clone(&answer.assessment.ranked)));
        if !cancelled() {
            let AssessRequest { area_revision, land_revision, serial, .. } = request;
            let outcome = AssessOutcome { area_revision, land_revision, serial, result };
            shared.slot.lock().unwrap_or_else(PoisonError::into_inner).done.push(outcome);
            notify();
        }
    }
}
