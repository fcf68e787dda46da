//! One answer to the newest of several questions: a newer question stops the older.

use super::once::Once;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// Whether to stop, and how far the work is.
#[derive(Clone, Default)]
pub struct Reins {
    stop: Arc<AtomicBool>,
    thousandths: Arc<AtomicU32>,
}

impl Reins {
    /// Whether the answer is not wanted any more.
    #[must_use]
    pub fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
    /// Tells the share done, 0 to 1.
    pub fn report(&self, share: f32) {
        self.thousandths.store((share.clamp(0.0, 1.0) * 1_000.0) as u32, Ordering::Relaxed);
    }
    fn share(&self) -> f32 {
        self.thousandths.load(Ordering::Relaxed) as f32 / 1_000.0
    }
}

/// The work on the newest question.
pub struct Asked<K, T> {
    running: Option<(K, Reins, Once<Option<T>>)>,
}

impl<K, T> Default for Asked<K, T> {
    fn default() -> Self {
        Self { running: None }
    }
}

impl<K: PartialEq, T: Send + 'static> Asked<K, T> {
    /// Starts work on a question, unless that is under way; `work` gives nothing when it was stopped.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn request(
        &mut self,
        name: &str,
        key: K,
        work: impl FnOnce(&Reins) -> Option<T> + Send + 'static,
        notify: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<()> {
        if self.running.as_ref().is_some_and(|(running, ..)| *running == key) {
            return Ok(());
        }
        self.stop();
        let reins = Reins::default();
        let own = reins.clone();
        let once = Once::start(name, move || work(&own), notify)?;
        self.running = Some((key, reins, once));
        Ok(())
    }

    /// Stops it.
    pub fn stop(&mut self) {
        if let Some((_, reins, _)) = self.running.take() {
            reins.stop.store(true, Ordering::Relaxed);
        }
    }

    /// The share done, while something is under way.
    #[must_use]
    pub fn share(&self) -> Option<f32> {
        self.running.as_ref().map(|(_, reins, _)| reins.share())
    }

    /// The answer with its question, or that the work failed inside the program, once.
    pub fn take_done(&mut self) -> Option<(K, Result<T, String>)> {
        let answer = self.running.as_ref().and_then(|(.., once)| once.poll())?;
        let (key, ..) = self.running.take()?;
        match answer {
            Ok(Some(answer)) => Some((key, Ok(answer))),
            Ok(None) => None,
            Err(failed) => Some((key, Err(failed.to_string()))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_newer_question_stops_the_older_and_only_it_is_answered() {
        let mut asked: Asked<u32, u32> = Asked::default();
        let older = |reins: &Reins| {
            while !reins.stopped() {
                std::thread::yield_now();
            }
            Some(1)
        };
        asked.request("older", 1, older, || {}).expect("a thread");
        assert!(asked.take_done().is_none() && asked.share() == Some(0.0));
        asked.request("newer", 2, |_| Some(4), || {}).expect("a thread");
        let answer = loop {
            if let Some(answer) = asked.take_done() {
                break answer;
            }
            std::thread::yield_now();
        };
        assert_eq!(answer, (2, Ok(4)));
        assert!(asked.share().is_none() && asked.take_done().is_none());
    }
}
