//! One piece of work on a thread of its own, whose answer is looked for in each frame.

use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// Work that is being done.
pub struct Once<T>(Receiver<T>);

impl<T: Send + 'static> Once<T> {
    /// Starts it; `notify` is called when it is done.
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
            // Nobody waits any more when another question was asked meanwhile.
            if send.send(work()).is_ok() {
                notify();
            }
        })?;
        Ok(Self(answer))
    }

    /// The answer once it is there; an error when the work broke off.
    pub fn poll(&self) -> Option<Result<T, &'static str>> {
        match self.0.try_recv() {
            Ok(answer) => Some(Ok(answer)),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Err("The work broke off; try again.")),
        }
    }
}
