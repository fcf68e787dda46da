//! Following a live position: the source, how it stands, and how old the answer is.

use super::{Mode, Model, Steady};
use sparefield_data::live::{FRESH, GPSD_PORT, LOST, NMEA_BAUD, NMEA_PORT, Source, State, Status};
use sparefield_geometry::fields::verdict::{RankedField, Verdict};
use sparefield_geometry::position::Bearing;
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// What is asked for where no server is named.
const HOST: &str = "Type the name or address of the server";

/// What kind of source the pilot names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum SourceKind {
    /// NMEA from a server.
    Tcp,
    /// NMEA sent to this computer.
    Udp,
    /// A serial line.
    Serial,
    /// gpsd.
    #[default]
    Gpsd,
    /// A recorded flight.
    Replay,
}

impl SourceKind {
    /// Every kind, in the order offered.
    pub const ALL: [Self; 5] = [Self::Gpsd, Self::Serial, Self::Tcp, Self::Udp, Self::Replay];
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Tcp => "NMEA over the network (TCP)",
            Self::Udp => "NMEA sent to this computer (UDP)",
            Self::Serial => "NMEA from a serial line",
            Self::Gpsd => "gpsd",
            Self::Replay => "a recorded flight, played again",
        }
    }
}

/// What the pilot typed about the source.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceForm {
    /// The kind.
    pub kind: SourceKind,
    /// Name or address of a server.
    pub host: String,
    /// Port of gpsd.
    pub gpsd_port: String,
    /// Port of NMEA.
    pub nmea_port: String,
    /// Serial line.
    pub line: String,
    /// Bits in a second.
    pub baud: u32,
    /// File to play.
    pub file: String,
}

impl Default for SourceForm {
    fn default() -> Self {
        Self {
            kind: SourceKind::default(),
            host: "localhost".to_owned(),
            gpsd_port: GPSD_PORT.to_string(),
            nmea_port: NMEA_PORT.to_string(),
            line: String::new(),
            baud: NMEA_BAUD,
            file: String::new(),
        }
    }
}

impl SourceForm {
    /// The source, or one sentence that says what is missing.
    ///
    /// # Errors
    /// When something is missing or is no number.
    pub fn source(&self, speed: f64) -> Result<Source, String> {
        let port = |text: &str| match text.trim().parse::<u16>() {
            Ok(port) if port > 0 => Ok(port),
            _ => Err(format!("“{}” is no port: type a number from 1 to 65535", text.trim())),
        };
        let named = |text: &str, what: &str| {
            let text = text.trim();
            if text.is_empty() { Err(what.to_owned()) } else { Ok(text.to_owned()) }
        };
        Ok(match self.kind {
            SourceKind::Tcp => Source::Tcp { host: named(&self.host, HOST)?, port: port(&self.nmea_port)? },
            SourceKind::Udp => Source::Udp { port: port(&self.nmea_port)? },
            SourceKind::Gpsd => Source::Gpsd { host: named(&self.host, HOST)?, port: port(&self.gpsd_port)? },
            SourceKind::Serial => {
                Source::Serial { name: named(&self.line, "Choose or type a serial line")?, baud: self.baud }
            }
            SourceKind::Replay => {
                Source::Replay { path: PathBuf::from(named(&self.file, "Choose a recorded flight")?), speed }
            }
        })
    }
}

/// How old an answer is for the pilot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Freshness {
    /// It is of where the aircraft is now.
    Current,
    /// It is older, and says so.
    Old(Duration),
    /// There is nothing that may be shown.
    Gone,
}

/// Everything about following.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Follow {
    /// What is typed about the source.
    pub form: SourceForm,
    /// What is listened to.
    pub source: Option<Source>,
    /// How it stands, as of this frame.
    pub status: Option<Status>,
    /// Why what comes in is of no use.
    pub problem: Option<String>,
    /// Whether the track is up, and not north.
    pub track_up: bool,
    /// Whether the pilot moved the map away from the aircraft.
    pub looked_away: bool,
    /// Track over the ground, grid bearing, while it moves.
    pub track: Option<Bearing>,
    /// Speed over the ground, m/s.
    pub speed_ms: Option<f64>,
    /// How old the position is from which the fields were last ranked.
    pub answer_age: Option<Duration>,
    /// How long ago the wind was last typed; `None` where it was not since the start.
    pub wind_age: Option<Duration>,
    /// Fixes recorded so far, while recording.
    pub recorded: Option<usize>,
    /// How fast a recorded flight is played.
    pub replay_speed: ReplaySpeed,
    /// The field that the pilot chose himself; else the best is shown.
    pub pinned: bool,
    /// The field on top, held for a moment against noise.
    pub steady: Steady,
    /// Whether a position of this source came in.
    pub placed: bool,
    /// Whether the system would not keep its screen awake.
    pub may_sleep: bool,
}

/// How fast a recorded flight is played, times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReplaySpeed(pub f64);

impl Default for ReplaySpeed {
    fn default() -> Self {
        Self(1.0)
    }
}

impl ReplaySpeed {
    /// The speeds offered; 0 stands still.
    pub const OFFERED: [f64; 6] = [0.0, 1.0, 2.0, 5.0, 20.0, 60.0];
}

/// What the pilot does while following.
#[derive(Clone, Debug, PartialEq)]
pub enum FollowCommand {
    /// Type something about the source.
    Form(SourceForm),
    /// Choose a recorded flight with the system's dialogue.
    ChooseFile,
    /// Listen to what the form says.
    Connect,
    /// Listen no more.
    Disconnect,
    /// Begin or end recording.
    Record(bool),
    /// Play a recorded flight at another speed.
    Speed(f64),
    /// Put the track up, or north.
    TrackUp(bool),
    /// Look at the aircraft again.
    Centre,
    /// The pilot moved the map.
    LookedAway,
    /// Show the best field again, and not the one chosen.
    Unpin,
}

impl Follow {
    /// How old the ranking is.
    #[must_use]
    pub fn freshness(&self) -> Freshness {
        let old = |age| Freshness::Old(age);
        match (self.answer_age, self.status.as_ref().map(|s| s.state)) {
            (None, _) | (_, None | Some(State::Connecting)) => Freshness::Gone,
            (Some(age), _) if age > LOST => Freshness::Gone,
            (Some(age), Some(State::Live)) if age <= FRESH => Freshness::Current,
            (Some(age), _) => old(age),
        }
    }
}

impl Model {
    /// The fields that may be chosen from here, best first; none while nothing may be shown.
    #[must_use]
    pub fn choices(&self) -> Vec<&RankedField> {
        let Some(assessment) = &self.assessment else { return Vec::new() };
        assessment.ranked.iter().filter(|r| r.verdict != Verdict::Out).collect()
    }

    /// The field on top while following: the best, held for a moment against noise.
    #[must_use]
    pub fn top_choice(&self) -> Option<&RankedField> {
        let choices = self.choices();
        let fields = &self.area.as_ref()?.fields;
        let held = self.follow.steady.top();
        let is_held = |r: &&&RankedField| fields.get(r.index).is_some_and(|f| Some(f.id.as_str()) == held);
        choices.iter().find(is_held).or(choices.first()).copied()
    }

    /// Brings the field on top up to date with the ranking.
    pub(crate) fn hold_top_choice(&mut self, now: Instant) {
        let Some(area) = self.area.clone() else { return };
        let choices = self.choices();
        let ranked: Vec<&str> =
            choices.iter().filter_map(|r| area.fields.get(r.index)).map(|f| f.id.as_str()).collect();
        let mut steady = self.follow.steady.clone();
        steady.take(now, &ranked);
        self.follow.steady = steady;
    }

    /// Whether the map follows the aircraft.
    #[must_use]
    pub fn follows(&self) -> bool {
        self.mode == Mode::Follow
    }

    /// Applies what only changes the model; connecting and recording are the app's.
    pub(super) fn apply_follow(&mut self, command: &FollowCommand) {
        match command {
            FollowCommand::Form(form) => {
                self.follow.form = form.clone();
                self.follow.problem = None;
            }
            FollowCommand::Speed(speed) => self.follow.replay_speed = ReplaySpeed(*speed),
            FollowCommand::TrackUp(track_up) => {
                self.follow.track_up = *track_up;
                self.follow.looked_away = false;
            }
            FollowCommand::Centre => self.follow.looked_away = false,
            FollowCommand::LookedAway => self.follow.looked_away = true,
            FollowCommand::Unpin => self.follow.pinned = false,
            FollowCommand::ChooseFile
            | FollowCommand::Connect
            | FollowCommand::Disconnect
            | FollowCommand::Record(_) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_source_is_asked_for_what_it_lacks() {
        let form = |kind| SourceForm { kind, ..SourceForm::default() };
        assert_eq!(form(SourceKind::Gpsd).source(1.0), Ok(Source::Gpsd { host: "localhost".into(), port: GPSD_PORT }));
        assert!(form(SourceKind::Serial).source(1.0).unwrap_err().contains("serial line"));
        assert!(form(SourceKind::Replay).source(1.0).unwrap_err().contains("recorded flight"));
        let odd = SourceForm { nmea_port: "70000".into(), ..form(SourceKind::Udp) };
        assert!(odd.source(1.0).unwrap_err().contains("no port"));
        assert!(SourceForm { host: " ".into(), ..form(SourceKind::Tcp) }.source(1.0).is_err());
    }

    #[test]
    fn nothing_old_is_current() {
        let status = |state| Status {
            state,
            fix: None,
            age: Some(Duration::ZERO),
            trouble: None,
            rejected: 0,
            dropped: 0,
            satellites: None,
        };
        let with = |state, seconds: Option<u64>| Follow {
            status: Some(status(state)),
            answer_age: seconds.map(Duration::from_secs),
            ..Follow::default()
        };
        assert_eq!(Follow::default().freshness(), Freshness::Gone);
        assert_eq!(with(State::Live, Some(1)).freshness(), Freshness::Current);
        assert_eq!(with(State::Live, None).freshness(), Freshness::Gone);
        // A receiver that lost its fix, an answer that is late, and a flight that is over.
        for (state, seconds) in [(State::Stale, 1), (State::Live, 4), (State::Ended, 1), (State::NoFix, 2)] {
            assert_eq!(with(state, Some(seconds)).freshness(), Freshness::Old(Duration::from_secs(seconds)));
        }
        assert_eq!(with(State::Stale, Some(31)).freshness(), Freshness::Gone);
    }
}
