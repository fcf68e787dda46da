//! Suggesting fields, and measuring the sides of known ones, on a thread of its own.

use crate::suggest::{Measured, SuggestFailure, SuggestRequest, Suggested, measure_sides, suggest_fields};
use sparefield_data::Progress;
use sparefield_data::area::Area;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::sync::{Arc, Mutex, PoisonError};

/// What came of it.
pub enum SearchOutcome<T> {
    /// Still searching; the share done.
    Running(f32),
    /// Done.
    Found(Arc<T>),
    /// Nothing came of it, and why, in one sentence.
    Failed(String),
    /// Stopped on request.
    Stopped,
}

struct Watch {
    share: AtomicU32,
    stop: AtomicBool,
    repaint: Mutex<Box<dyn Fn() + Send>>,
}

impl Watch {
    fn repaint(&self) {
        (self.repaint.lock().unwrap_or_else(PoisonError::into_inner))();
    }
}

impl Progress for Watch {
    fn report(&self, share: f64) {
        let steps = (share.clamp(0.0, 1.0) * 200.0) as u32;
        // Threads of the search report in any order; a bar never runs backwards.
        if self.share.fetch_max(steps, Ordering::Relaxed) < steps {
            self.repaint();
        }
    }
    fn cancelled(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

/// A search of the land. Dropping it stops the search.
pub struct SearchJob<T> {
    watch: Arc<Watch>,
    result: Receiver<Result<T, SuggestFailure>>,
}

/// Fields being suggested.
pub type SuggestJob = SearchJob<Suggested>;
/// What came of suggesting.
pub type SuggestOutcome = SearchOutcome<Suggested>;
/// Sides being measured.
pub type MeasureJob = SearchJob<Measured>;
/// What came of measuring.
pub type MeasureOutcome = SearchOutcome<Measured>;

impl SuggestJob {
    /// Starts suggesting fields; `repaint` is called on progress and at the end.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(area: Area, request: SuggestRequest, repaint: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        Self::run("suggest", repaint, move |watch| suggest_fields(&area, &request, watch))
    }
}

impl MeasureJob {
    /// Starts measuring the sides of the area's fields; `repaint` is called on progress and at the end.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(area: Area, request: SuggestRequest, repaint: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        Self::run("measure sides", repaint, move |watch| measure_sides(&area, &request, watch))
    }
}

impl<T: Send + 'static> SearchJob<T> {
    fn run(
        name: &str,
        repaint: impl Fn() + Send + 'static,
        search: impl FnOnce(&dyn Progress) -> Result<T, SuggestFailure> + Send + 'static,
    ) -> std::io::Result<Self> {
        let watch = Arc::new(Watch {
            share: AtomicU32::new(0),
            stop: AtomicBool::new(false),
            repaint: Mutex::new(Box::new(repaint)),
        });
        let (send, result) = channel();
        let inner = Arc::clone(&watch);
        std::thread::Builder::new().name(name.to_owned()).spawn(move || {
            let found = search(&*inner);
            // The window may be gone by now; then nobody needs the result.
            if send.send(found).is_ok() {
                inner.repaint();
            }
        })?;
        Ok(Self { watch, result })
    }

    /// Asks the search to stop.
    pub fn stop(&self) {
        self.watch.stop.store(true, Ordering::Relaxed);
    }

    /// How it stands. The outcome is given once; after it the job is of no more use.
    #[must_use]
    pub fn poll(&self) -> SearchOutcome<T> {
        match self.result.try_recv() {
            Ok(Ok(found)) => SearchOutcome::Found(Arc::new(found)),
            Ok(Err(e)) if e.is_stop() => SearchOutcome::Stopped,
            Ok(Err(e)) => SearchOutcome::Failed(e.to_string()),
            Err(TryRecvError::Empty) => SearchOutcome::Running(self.watch.share.load(Ordering::Relaxed) as f32 / 200.0),
            Err(TryRecvError::Disconnected) => {
                SearchOutcome::Failed("suggesting fields failed inside the program; please report it".to_owned())
            }
        }
    }
}

impl<T> Drop for SearchJob<T> {
    fn drop(&mut self) {
        self.watch.stop.store(true, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_data::NoProgress;
    use sparefield_geometry::suggest::Options;
    use std::time::{Duration, Instant};

    fn wait(job: &SuggestJob) -> SuggestOutcome {
        let began = Instant::now();
        loop {
            match job.poll() {
                SuggestOutcome::Running(share) => {
                    assert!((0.0..=1.0).contains(&share));
                    assert!(began.elapsed() < Duration::from_mins(2), "the search never ends");
                    std::thread::sleep(Duration::from_millis(5));
                }
                done => return done,
            }
        }
    }

    #[test]
    fn a_job_finds_fields_and_one_that_is_stopped_does_not() {
        let area = Area::sample(&NoProgress).unwrap();
        let request = SuggestRequest { ignore_fields: true, ..SuggestRequest::new(Options::default()) };
        let painted = Arc::new(AtomicU32::new(0));
        let count = Arc::clone(&painted);
        let job = SuggestJob::start(area.clone(), request.clone(), move || {
            count.fetch_add(1, Ordering::Relaxed);
        })
        .unwrap();
        assert!(matches!(wait(&job), SuggestOutcome::Found(found) if !found.suggestions.proposals.is_empty()));
        assert!(painted.load(Ordering::Relaxed) > 3);
        let job = SuggestJob::start(area, request, || {}).unwrap();
        job.stop();
        assert!(matches!(wait(&job), SuggestOutcome::Stopped));
    }
}
