//! Working out a field's sheet on a thread of its own.

use crate::sheet::{self, Ask, Made};
use sparefield_data::area::Area;
use sparefield_geometry::fields::hazards::HazardIndex;
use std::sync::{Arc, Condvar, Mutex, PoisonError};

/// What came of a request.
pub struct SheetOutcome {
    /// What was asked for.
    pub ask: Ask,
    /// The sheets, or one sentence that says why there are none.
    pub result: Result<Arc<Made>, String>,
}

#[derive(Default)]
struct Slot {
    next: Option<Ask>,
    done: Option<SheetOutcome>,
    closing: bool,
}

#[derive(Default)]
struct Shared {
    slot: Mutex<Slot>,
    wake: Condvar,
}

/// The thread that works out sheets. A sheet takes some milliseconds, so that a running one is never stopped: the newest
/// request waits in a slot and replaces an older one that has not started.
pub struct SheetJob {
    shared: Arc<Shared>,
}

impl SheetJob {
    /// Starts the thread; `notify` is called whenever an outcome is ready.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(notify: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        let shared = Arc::new(Shared::default());
        let for_thread = Arc::clone(&shared);
        std::thread::Builder::new().name("sheet".into()).spawn(move || work(&for_thread, &notify))?;
        Ok(Self { shared })
    }

    /// Asks for sheets.
    pub fn request(&self, ask: Ask) {
        self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner).next = Some(ask);
        self.shared.wake.notify_one();
    }

    /// Takes the newest outcome, if there is one.
    #[must_use]
    pub fn take_done(&self) -> Option<SheetOutcome> {
        self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner).done.take()
    }
}

impl Drop for SheetJob {
    fn drop(&mut self) {
        self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner).closing = true;
        self.shared.wake.notify_one();
    }
}

fn work(shared: &Shared, notify: &dyn Fn()) {
    // The index belongs to the area's hazards and is kept with them.
    let mut hazards: Option<(Arc<Area>, HazardIndex)> = None;
    loop {
        let ask = {
            let mut slot = shared.slot.lock().unwrap_or_else(PoisonError::into_inner);
            loop {
                if slot.closing {
                    return;
                }
                if let Some(ask) = slot.next.take() {
                    break ask;
                }
                slot = shared.wake.wait(slot).unwrap_or_else(PoisonError::into_inner);
            }
        };
        let kept = hazards.take().filter(|(area, _)| Arc::ptr_eq(area, &ask.area));
        let (area, index) = kept.unwrap_or_else(|| {
            let index = HazardIndex::new(ask.area.hazards.as_ref().clone());
            (Arc::clone(&ask.area), index)
        });
        let run = std::panic::AssertUnwindSafe(|| sheet::make(&ask, &index).map(Arc::new).map_err(|e| e.to_string()));
        let result = std::panic::catch_unwind(run)
            .unwrap_or_else(|_| Err("the field sheet failed inside the program; please report it".to_owned()));
        hazards = Some((area, index));
        shared.slot.lock().unwrap_or_else(PoisonError::into_inner).done = Some(SheetOutcome { ask, result });
        notify();
    }
}
