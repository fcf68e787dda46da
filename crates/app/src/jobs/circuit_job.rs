//! Flying circuits on a thread of its own.

use crate::circuits::Around;
use crate::circuits::flights::{Ask, Flights, fly, fly_many};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};

/// What came of a question.
pub struct CircuitOutcome {
    /// What was asked.
    pub ask: Ask,
    /// The circuits, or one sentence that says that they could not be worked out.
    pub result: Result<Arc<Flights>, String>,
}

#[derive(Default)]
struct Slot {
    next: Option<Ask>,
    done: Option<CircuitOutcome>,
    closing: bool,
}

#[derive(Default)]
struct Shared {
    slot: Mutex<Slot>,
    wake: Condvar,
    /// Somebody asks something newer, or nobody asks any more.
    stop: AtomicBool,
}

/// The thread that flies circuits.
///
/// A question is answered in three steps: the circuits first, so that they follow the hand that drags the aircraft, then
/// the last change of mind, then the chosen circuit flown many times; later steps are given up for a newer question.
pub struct CircuitJob {
    shared: Arc<Shared>,
}

impl CircuitJob {
    /// Starts the thread; `notify` is called whenever an outcome is ready.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(notify: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        let shared = Arc::new(Shared::default());
        let for_thread = Arc::clone(&shared);
        std::thread::Builder::new().name("circuit".into()).spawn(move || work(&for_thread, &notify))?;
        Ok(Self { shared })
    }

    /// Asks; an older question that has not been answered is given up.
    pub fn request(&self, ask: Ask) {
        self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner).next = Some(ask);
        self.shared.stop.store(true, Ordering::Relaxed);
        self.shared.wake.notify_one();
    }

    /// Nobody looks at circuits any more.
    pub fn stop(&self) {
        self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner).next = None;
        self.shared.stop.store(true, Ordering::Relaxed);
    }

    /// Takes the newest outcome, if there is one.
    #[must_use]
    pub fn take_done(&self) -> Option<CircuitOutcome> {
        self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner).done.take()
    }
}

impl Drop for CircuitJob {
    fn drop(&mut self) {
        self.shared.slot.lock().unwrap_or_else(PoisonError::into_inner).closing = true;
        self.shared.stop.store(true, Ordering::Relaxed);
        self.shared.wake.notify_one();
    }
}

/// What is worked out one after the other.
#[derive(Clone, Copy, PartialEq)]
enum Step {
    Circuits,
    LastChange,
    Many,
}

fn work(shared: &Shared, notify: &dyn Fn()) {
    // What circuits are held against belongs to the area and is kept with it.
    let mut around: Option<Around> = None;
    loop {
        let ask = {
            let mut slot = shared.slot.lock().unwrap_or_else(PoisonError::into_inner);
            loop {
                if slot.closing {
                    return;
                }
                if let Some(ask) = slot.next.take() {
                    shared.stop.store(false, Ordering::Relaxed);
                    break ask;
                }
                slot = shared.wake.wait(slot).unwrap_or_else(PoisonError::into_inner);
            }
        };
        let kept = around.take().filter(|a| Arc::ptr_eq(a.area(), &ask.area));
        let held = kept.unwrap_or_else(|| Around::new(Arc::clone(&ask.area)));
        let mut made: Option<Arc<Flights>> = None;
        for step in [Step::Circuits, Step::LastChange, Step::Many] {
            let stopped = || shared.stop.load(Ordering::Relaxed);
            if step != Step::Circuits && stopped() {
                break;
            }
            let run = std::panic::AssertUnwindSafe(|| match step {
                Step::Circuits => Some(fly(&ask, &held, true, &stopped)),
                Step::LastChange => Some(fly(&ask, &held, false, &stopped)),
                Step::Many => made.as_ref().and_then(|made| fly_many(made, &held, &stopped)),
            });
            let result = match std::panic::catch_unwind(run) {
                Ok(None) => break,
                Ok(Some(flights)) => Ok(Arc::new(flights)),
                Err(_) => Err("Flying the circuit failed inside the program; please report it.".to_owned()),
            };
            if step != Step::Circuits && stopped() {
                break;
            }
            made = result.as_ref().ok().cloned();
            let outcome = CircuitOutcome { ask: ask.clone(), result };
            shared.slot.lock().unwrap_or_else(PoisonError::into_inner).done = Some(outcome);
            notify();
            if made.is_none() {
                break;
            }
        }
        around = Some(held);
    }
}
