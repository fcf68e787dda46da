//! Live positions: NMEA 0183 over TCP, UDP or a serial line, gpsd's JSON, or a recorded flight played again.
//!
//! Each source runs on a thread of its own and connects again by itself, with a pause that grows. What it sends is
//! bounded in every way: lines, bytes in a second, fixes that wait. How old the newest fix is can always be told, and
//! nothing here calls an old fix a new one.

mod assemble;
mod gpsd;
mod lines;
mod link;
mod replay;
#[cfg(test)]
mod tests;

use jiff::Timestamp;
use sparefield_geometry::position::LonLat;
use std::collections::VecDeque;
use std::fmt;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// A fix up to this age is shown as it is.
pub const FRESH: Duration = Duration::from_secs(3);
/// A fix older than this is lost: nothing can be said from it.
pub const LOST: Duration = Duration::from_secs(30);
/// Fixes that wait to be taken; when there are more, the oldest go.
pub const MOST_WAITING: usize = 4_096;
/// gpsd's port (IANA).
pub const GPSD_PORT: u16 = 2_947;
/// The port on which NMEA 0183 is sent over a network (IANA: nmea-0183).
pub const NMEA_PORT: u16 = 10_110;
/// The bit rate of NMEA 0183.
pub const NMEA_BAUD: u32 = 4_800;

/// Where positions come from.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// NMEA from a server.
    Tcp {
        /// Its name or address.
        host: String,
        /// Its port.
        port: u16,
    },
    /// NMEA that somebody sends to this computer.
    Udp {
        /// The port to listen on.
        port: u16,
    },
    /// NMEA from a serial line.
    Serial {
        /// The line: `/dev/ttyUSB0`, `COM3`.
        name: String,
        /// Bits in a second.
        baud: u32,
    },
    /// gpsd.
    Gpsd {
        /// Its name or address.
        host: String,
        /// Its port.
        port: u16,
    },
    /// A recorded flight, played again.
    Replay {
        /// The file.
        path: PathBuf,
        /// How many times as fast as it was flown.
        speed: f64,
    },
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tcp { host, port } => write!(f, "NMEA from {host}, port {port}"),
            Self::Udp { port } => write!(f, "NMEA on port {port} of this computer"),
            Self::Serial { name, baud } => write!(f, "NMEA from {name} at {baud} bits a second"),
            Self::Gpsd { host, port } => write!(f, "gpsd on {host}, port {port}"),
            Self::Replay { path, .. } => {
                let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
                write!(f, "replay of {name}")
            }
        }
    }
}

/// One fix as it came in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiveFix {
    /// When the receiver says it was; `None` where it gives no date.
    pub time: Option<Timestamp>,
    /// Where, WGS 84.
    pub place: LonLat,
    /// Height above mean sea level, metres.
    pub height_amsl_m: Option<f64>,
    /// Speed over the ground, m/s.
    pub speed_ms: Option<f64>,
    /// Track over the ground, degrees from true north.
    pub track_deg: Option<f64>,
    /// When it came in, by this computer's clock.
    pub received: Instant,
}

/// How the source stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Nothing has come in yet.
    Connecting,
    /// There is a connection, and the receiver has no fix.
    NoFix,
    /// The newest fix is at most [`FRESH`] old.
    Live,
    /// The newest fix is older.
    Stale,
    /// The newest fix is older than [`LOST`].
    Lost,
    /// The recorded flight is at its end.
    Ended,
}

/// How a source stands, with what is known.
#[derive(Clone, Debug, PartialEq)]
pub struct Status {
    /// In one word.
    pub state: State,
    /// The newest fix.
    pub fix: Option<LiveFix>,
    /// How old it is.
    pub age: Option<Duration>,
    /// Why there is no connection, and what is being done about it.
    pub trouble: Option<String>,
    /// Lines that were damaged or no sentences.
    pub rejected: u64,
    /// Fixes that nobody took in time.
    pub dropped: u64,
    /// Satellites used, where the receiver says so.
    pub satellites: Option<u32>,
}

/// A source that is being listened to. Dropping it ends that.
pub struct Live {
    shared: Arc<Shared>,
    source: Source,
}

impl fmt::Debug for Live {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Live({})", self.source)
    }
}

impl Live {
    /// Begins to listen; `notify` is called, from the source's own thread and some ten times a second at most, when
    /// there is something new.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(source: Source, notify: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        let shared = Arc::new(Shared::default());
        if let Source::Replay { speed, .. } = &source {
            shared.set_speed(*speed);
        }
        let (own, what) = (Arc::clone(&shared), source.clone());
        std::thread::Builder::new().name("live positions".into()).spawn(move || {
            let hub = Hub { shared: own, notify: Box::new(notify) };
            match &what {
                Source::Replay { path, .. } => replay::run(&hub, path),
                other => link::run(&hub, other),
            }
        })?;
        Ok(Self { shared, source })
    }

    /// What is listened to.
    #[must_use]
    pub fn source(&self) -> &Source {
        &self.source
    }

    /// The fixes that came in since the last call, oldest first, at most [`MOST_WAITING`].
    #[must_use]
    pub fn take(&self) -> Vec<LiveFix> {
        self.shared.lock().waiting.drain(..).collect()
    }

    /// How it stands at a moment.
    #[must_use]
    pub fn status(&self, now: Instant) -> Status {
        let inner = self.shared.lock();
        let age = inner.newest.map(|fix| now.saturating_duration_since(fix.received));
        let state = match age {
            _ if inner.ended => State::Ended,
            None if inner.connected => State::NoFix,
            None => State::Connecting,
            Some(age) if age <= FRESH && inner.has_fix => State::Live,
            Some(age) if age <= LOST => State::Stale,
            Some(_) => State::Lost,
        };
        Status {
            state,
            fix: inner.newest,
            age,
            trouble: inner.trouble.clone(),
            rejected: inner.rejected,
            dropped: inner.dropped,
            satellites: inner.satellites,
        }
    }

    /// Plays a recorded flight at another speed; 0 stops it where it is. Other sources have the speed they have.
    pub fn set_speed(&self, speed: f64) {
        self.shared.set_speed(speed);
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        self.shared.stopped.store(true, Ordering::Relaxed);
        let _guard = self.shared.lock();
        self.shared.wake.notify_all();
    }
}

#[derive(Debug, Default)]
struct Shared {
    inner: Mutex<Inner>,
    stopped: AtomicBool,
    wake: Condvar,
    /// Bits of the speed of replaying.
    speed: AtomicU64,
}

#[derive(Debug, Default)]
struct Inner {
    waiting: VecDeque<LiveFix>,
    newest: Option<LiveFix>,
    /// Whether the last thing that the receiver said of its fix was that it has one.
    has_fix: bool,
    connected: bool,
    ended: bool,
    trouble: Option<String>,
    rejected: u64,
    dropped: u64,
    satellites: Option<u32>,
}

impl Shared {
    fn lock(&self) -> std::sync::MutexGuard<'_, Inner> {
        // A panic of the other side leaves nothing half-done in there.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
    fn set_speed(&self, speed: f64) {
        let speed = if speed.is_finite() { speed.clamp(0.0, 100_000.0) } else { 1.0 };
        self.speed.store(speed.to_bits(), Ordering::Relaxed);
        let _guard = self.lock();
        self.wake.notify_all();
    }
    fn speed(&self) -> f64 {
        f64::from_bits(self.speed.load(Ordering::Relaxed))
    }
}

/// What a source's thread writes to.
struct Hub {
    shared: Arc<Shared>,
    notify: Box<dyn Fn() + Send>,
}

impl Hub {
    fn stopped(&self) -> bool {
        self.shared.stopped.load(Ordering::Relaxed)
    }
    /// Waits, unless stopped meanwhile or woken by a new speed; says whether to go on.
    fn wait(&self, time: Duration) -> bool {
        let guard = self.shared.lock();
        if !self.stopped() {
            drop(self.shared.wake.wait_timeout(guard, time));
        }
        !self.stopped()
    }
    fn connected(&self) {
        let mut inner = self.shared.lock();
        (inner.connected, inner.trouble) = (true, None);
        drop(inner);
        (self.notify)();
    }
    fn trouble(&self, words: String) {
        let mut inner = self.shared.lock();
        (inner.connected, inner.trouble) = (false, Some(words));
        drop(inner);
        (self.notify)();
    }
    fn ended(&self) {
        self.shared.lock().ended = true;
        (self.notify)();
    }
    /// Hands on fixes; the receiver's own word that it has none counts at once.
    fn put(&self, news: News, notify: bool) {
        let mut inner = self.shared.lock();
        match news {
            News::Fix(fix) => {
                inner.has_fix = true;
                inner.newest = Some(fix);
                if inner.waiting.len() >= MOST_WAITING {
                    inner.waiting.pop_front();
                    inner.dropped += 1;
                }
                inner.waiting.push_back(fix);
            }
            News::NoFix => inner.has_fix = false,
            News::Satellites(n) => inner.satellites = Some(n),
            News::Rejected => inner.rejected += 1,
        }
        drop(inner);
        if notify {
            (self.notify)();
        }
    }
}

/// What a line says.
#[derive(Clone, Copy, Debug, PartialEq)]
enum News {
    Fix(LiveFix),
    NoFix,
    Satellites(u32),
    Rejected,
}

/// The serial lines of this computer, by name.
#[must_use]
pub fn serial_ports() -> Vec<String> {
    let mut names: Vec<String> =
        serialport::available_ports().unwrap_or_default().into_iter().map(|port| port.port_name).collect();
    names.sort();
    names
}
