//! Keeps the screen awake while somebody needs it.
//!
//! Systems are asked on a thread of their own: some answer slowly, and some not at all.

use std::any::Any;
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};

/// Something that keeps the screen awake for as long as it exists.
type Held = Box<dyn Any>;

/// Keeps the screen awake, or lets it sleep.
pub(crate) struct Awake {
    take: fn() -> Result<Held, String>,
    holding: Option<Holding>,
    refused: bool,
}

struct Holding {
    /// Dropping it ends the thread that holds the screen awake.
    _let_go: Sender<()>,
    refused: Receiver<String>,
}

impl Default for Awake {
    fn default() -> Self {
        Self { take: take_hold, holding: None, refused: false }
    }
}

impl Awake {
    /// Holds the screen awake, or lets go. Costs nothing where nothing changes.
    pub(crate) fn hold(&mut self, wanted: bool, wake: impl FnOnce() + Send + 'static) {
        if !wanted {
            (self.holding, self.refused) = (None, false);
            return;
        }
        if let Some(holding) = &self.holding {
            match holding.refused.try_recv() {
                Ok(why) => {
                    log::warn!("the screen may go to sleep: {why}");
                    self.refused = true;
                }
                Err(TryRecvError::Empty | TryRecvError::Disconnected) => {}
            }
            return;
        }
        let (let_go, until) = channel::<()>();
        let (refuse, refused) = channel();
        let take = self.take;
        let started = std::thread::Builder::new().name("awake".into()).spawn(move || match take() {
            Ok(held) => {
                // Nothing is ever sent: waiting ends when the other end is dropped.
                let ended = until.recv();
                drop((held, ended));
            }
            Err(why) => {
                if refuse.send(why).is_ok() {
                    wake();
                }
            }
        });
        self.refused = started.is_err();
        self.holding = Some(Holding { _let_go: let_go, refused });
    }

    /// Whether the system would not keep its screen awake.
    pub(crate) fn is_refused(&self) -> bool {
        self.refused
    }
}

/// Asks the system. Desktops differ in which of the two requests they heed, so either will do.
fn take_hold() -> Result<Held, String> {
    let ask = |display: bool| {
        keepawake::Builder::default()
            .display(display)
            .idle(!display)
            .reason("Following a flight")
            .app_name("Sparefield")
            .app_reverse_domain("sparefield")
            .create()
    };
    match (ask(true), ask(false)) {
        (Err(display), Err(idle)) => Err(format!("{display}; {idle}")),
        held => Ok(Box::new((held.0.ok(), held.1.ok()))),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::{Duration, Instant};

    static HELD: AtomicUsize = AtomicUsize::new(0);

    struct Counted;

    impl Drop for Counted {
        fn drop(&mut self) {
            HELD.fetch_sub(1, Ordering::SeqCst);
        }
    }

    #[expect(clippy::unnecessary_wraps, reason = "as what asks the system")]
    fn counted() -> Result<Held, String> {
        HELD.fetch_add(1, Ordering::SeqCst);
        Ok(Box::new(Counted))
    }

    fn until(what: impl Fn() -> bool) {
        let begun = Instant::now();
        while !what() {
            assert!(begun.elapsed() < Duration::from_secs(20), "it never came");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    #[test]
    fn it_is_taken_once_and_let_go_when_nobody_needs_it() {
        let mut awake = Awake { take: counted, ..Awake::default() };
        awake.hold(false, || {});
        for _ in 0..3 {
            awake.hold(true, || {});
        }
        until(|| HELD.load(Ordering::SeqCst) == 1);
        assert!(!awake.is_refused());
        awake.hold(false, || {});
        until(|| HELD.load(Ordering::SeqCst) == 0);
        awake.hold(true, || {});
        until(|| HELD.load(Ordering::SeqCst) == 1);
        drop(awake);
        until(|| HELD.load(Ordering::SeqCst) == 0);
    }

    #[test]
    fn a_refusal_is_told_and_the_window_woken_for_it() {
        let mut awake = Awake { take: || Err("no such service".into()), ..Awake::default() };
        let (tell, told) = channel();
        awake.hold(true, move || tell.send(()).unwrap());
        told.recv_timeout(Duration::from_secs(20)).unwrap();
        awake.hold(true, || {});
        assert!(awake.is_refused());
        awake.hold(false, || {});
        assert!(!awake.is_refused());
    }
}
