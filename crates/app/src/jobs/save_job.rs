//! Writing edits to the area's file, on a thread of its own that owns the file.
//!
//! Edits are written one by one, in order, each in one transaction. One that cannot be written stays at the head of the
//! line and is tried again with the next edit, every few seconds, and whenever the pilot asks for it.

use sparefield_data::area::Edit;
use sparefield_data::area_file::{AreaFile, AreaFileError, AreaParts};
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// How long after a failure it is tried again without being asked.
const PATIENCE: Duration = Duration::from_secs(5);

/// Where edits go.
pub enum SaveTo {
    /// A file that is open.
    File(Box<AreaFile>),
    /// A new file, made of these parts first.
    New(PathBuf, Box<AreaParts>),
}

enum Order {
    Keep(Box<Edit>),
    TryAgain,
    Copy { to: PathBuf, replace: bool },
    Close,
}

/// What came of it.
#[derive(Debug)]
pub enum Saved {
    /// A new file was made.
    Made(PathBuf),
    /// The next edit was written.
    Written,
    /// The next one could not be written.
    Problem(AreaFileError),
    /// A copy was saved.
    Copied(PathBuf),
    /// A copy could not be saved.
    NotCopied(AreaFileError),
}

/// The file being written.
pub struct SaveJob {
    orders: Sender<Order>,
    reports: Receiver<Saved>,
    thread: Option<JoinHandle<()>>,
}

impl SaveJob {
    /// Starts the thread; `notify` is called with every report.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(to: SaveTo, notify: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        let (orders, inbox) = channel();
        let (outbox, reports) = channel();
        let thread = std::thread::Builder::new().name("save".into()).spawn(move || {
            let report = |saved| {
                // Nobody listens any more when the window is gone.
                drop(outbox.send(saved));
                notify();
            };
            Clerk { to, line: VecDeque::new() }.work(&inbox, &report);
        })?;
        Ok(Self { orders, reports, thread: Some(thread) })
    }

    /// Has an edit written.
    pub fn keep(&self, edit: Edit) {
        self.order(Order::Keep(Box::new(edit)));
    }
    /// Tries again what could not be written.
    pub fn try_again(&self) {
        self.order(Order::TryAgain);
    }
    /// Saves a copy.
    pub fn copy(&self, to: PathBuf, replace: bool) {
        self.order(Order::Copy { to, replace });
    }
    /// What came of it since the last call.
    pub fn take(&self) -> Vec<Saved> {
        self.reports.try_iter().collect()
    }
    fn order(&self, order: Order) {
        if self.orders.send(order).is_err() {
            log::error!("the thread that keeps the area has ended");
        }
    }
}

impl Drop for SaveJob {
    /// Waits until everything in the line was tried once more.
    fn drop(&mut self) {
        self.order(Order::Close);
        if self.thread.take().is_some_and(|thread| thread.join().is_err()) {
            log::error!("keeping the area failed inside the program");
        }
    }
}

struct Clerk {
    to: SaveTo,
    line: VecDeque<Edit>,
}

impl Clerk {
    fn work(&mut self, inbox: &Receiver<Order>, report: &dyn Fn(Saved)) {
        let mut stuck = !self.go_on(report);
        loop {
            let order = if stuck { inbox.recv_timeout(PATIENCE) } else { inbox.recv().map_err(Into::into) };
            match order {
                Ok(Order::Keep(edit)) => self.line.push_back(*edit),
                Ok(Order::Copy { to, replace }) => {
                    report(self.copy(to, replace));
                    continue;
                }
                Ok(Order::TryAgain) | Err(RecvTimeoutError::Timeout) => {}
                Ok(Order::Close) | Err(RecvTimeoutError::Disconnected) => {
                    self.go_on(report);
                    return;
                }
            }
            stuck = !self.go_on(report);
        }
    }

    /// Writes what waits; says whether all of it was written.
    fn go_on(&mut self, report: &dyn Fn(Saved)) -> bool {
        if let SaveTo::New(path, parts) = &self.to {
            match AreaFile::create(path, parts) {
                Ok(file) => {
                    report(Saved::Made(path.clone()));
                    self.to = SaveTo::File(Box::new(file));
                }
                Err(problem) => {
                    report(Saved::Problem(problem));
                    return false;
                }
            }
        }
        let SaveTo::File(file) = &mut self.to else { return false };
        while let Some(edit) = self.line.front() {
            match file.write(edit) {
                Ok(()) => {
                    self.line.pop_front();
                    report(Saved::Written);
                }
                Err(problem) => {
                    report(Saved::Problem(problem));
                    return false;
                }
            }
        }
        true
    }

    fn copy(&self, to: PathBuf, replace: bool) -> Saved {
        let done = match &self.to {
            SaveTo::File(file) => file.save_copy(&to, replace),
            SaveTo::New(_, parts) => AreaFile::create(&to, parts).map(drop),
        };
        match done {
            Ok(()) => Saved::Copied(to),
            Err(problem) => Saved::NotCopied(problem),
        }
    }
}
