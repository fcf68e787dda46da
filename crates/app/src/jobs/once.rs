//! A piece of work that is done once on a thread of its own and gives one answer.

use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// Work under way.
pub struct Once<T> {
    answer: Receiver<T>,
}

impl<T: Send + 'static> Once<T> {
    /// Starts it; `notify` is called when the answer is ready.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(
        name: &str,
        work: impl FnOnce() -> T + Send + 'static,
        notify: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<Self> {
        let (send, answer) = channel();
        std::thread::Builder::new().name(name.to_owned()).spawn(move || {
            let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work));
            // Without an answer the receiver learns that there will be none; the window may be gone by now.
            if let Ok(done) = outcome {
                drop(send.send(done));
            } else {
                drop(send);
            }
            notify();
        })?;
        Ok(Self { answer })
    }

    /// The answer, once; `None` while it is being worked out.
    ///
    /// # Errors
    /// When the work failed inside the program.
    pub fn poll(&self) -> Option<Result<T, Failed>> {
        match self.answer.try_recv() {
            Ok(answer) => Some(Ok(answer)),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Err(Failed)),
        }
    }
}

/// The work failed inside the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("it failed inside the program; please report it")]
pub struct Failed;

#[cfg(test)]
mod tests {
    use super::*;

    fn answer<T: Send + 'static>(job: &Once<T>) -> Result<T, Failed> {
        loop {
            if let Some(answer) = job.poll() {
                return answer;
            }
            std::thread::yield_now();
        }
    }

    #[test]
    fn work_gives_its_answer_and_a_failure_is_told() {
        let job = Once::start("one", || 6 * 7, || {}).expect("a thread");
        assert_eq!(answer(&job), Ok(42));
        let job: Once<u32> = Once::start("none", || panic!("as a test"), || {}).expect("a thread");
        assert_eq!(answer(&job), Err(Failed));
    }
}
