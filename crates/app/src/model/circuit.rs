//! What is looked at of flown circuits: which are wanted, which field beside, and the moment of the flight shown.

use super::{Mode, Model};
use crate::circuits::Wanted;
use crate::circuits::flights::{Ask, Flight, Flights, FlownMany};
use sparefield_geometry::circuit::Join;
use sparefield_geometry::fields::circuit_height::Hand;
use std::sync::Arc;

/// One thing done with circuits.
#[derive(Clone, Debug, PartialEq)]
pub enum CircuitCommand {
    /// Show circuits on the map, and the drawer under it.
    Show(bool),
    /// Show the circuit in the card instead of the field.
    InCard(bool),
    /// Only this join.
    Join(Option<Join>),
    /// Only this hand.
    Hand(Option<Hand>),
    /// Let circuits pass low over quiet zones.
    OverQuietZones(bool),
    /// Compare with another field, by its index.
    Beside(Option<usize>),
    /// Play or pause.
    Play(bool),
    /// Show this moment, seconds since the engine stopped.
    At(f64),
    /// Show a moment so many seconds later.
    Step(f64),
    /// Play so many times as fast as it would be flown.
    Speed(f64),
    /// Draw heights against distance instead of time.
    ByDistance(bool),
    /// Show on the map where the flights of a pilot who is not exact come down.
    Cloud(bool),
    /// Bring the whole circuit onto the screen.
    Frame,
}

/// Circuits as looked at in the window.
#[derive(Clone, Debug)]
pub struct Circuits {
    /// Whether circuits are shown.
    pub shown: bool,
    /// Whether the card shows the circuit instead of the field.
    pub in_card: bool,
    /// Which circuits are wanted.
    pub wanted: Wanted,
    /// Identifier of the field compared with; identifiers stay when fields are added or taken away.
    pub beside: Option<String>,
    /// What was last worked out.
    pub made: Option<Arc<Flights>>,
    /// Whether that answers the present question.
    pub current: bool,
    /// Whether the flight is being played.
    pub playing: bool,
    /// How many times as fast as it would be flown.
    pub speed: f64,
    /// The moment shown, seconds since the engine stopped.
    pub at_s: f64,
    /// Heights against distance instead of time.
    pub by_distance: bool,
    /// Whether the map shows where the flights of a pilot who is not exact come down.
    pub cloud: bool,
}

impl Circuits {
    /// Speeds that are offered.
    pub const SPEEDS: [f64; 4] = [1.0, 2.0, 5.0, 10.0];

    /// The flight into the chosen field.
    #[must_use]
    pub fn chosen(&self) -> Option<&Flight> {
        self.made.as_ref().and_then(|m| m.chosen.as_ref().ok())
    }
    /// The flight into the field beside it.
    #[must_use]
    pub fn other(&self) -> Option<&Flight> {
        self.made.as_ref().and_then(|m| m.beside.as_ref()?.as_ref().ok())
    }
    /// The flight into the chosen field flown many times, once it was.
    #[must_use]
    pub fn many(&self) -> Option<&FlownMany> {
        self.made.as_ref().and_then(|m| m.many.as_ref())
    }
    /// Why there is no circuit into the chosen field.
    #[must_use]
    pub fn refusal(&self) -> Option<&str> {
        self.made.as_ref().and_then(|m| m.chosen.as_ref().err()).map(String::as_str)
    }
    /// Seconds that the longer of the flights shown takes.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.chosen().into_iter().chain(self.other()).map(Flight::duration_s).fold(0.0, f64::max)
    }
    /// Goes on playing for so many seconds of the pilot's; stops at the end.
    pub fn play_on(&mut self, seconds: f64) {
        self.at_s += seconds * self.speed;
        if self.at_s >= self.duration_s() {
            self.at_s = self.duration_s();
            self.playing = false;
        }
    }
    fn back_to_the_start(&mut self) {
        self.playing = false;
        self.at_s = 0.0;
    }
}

impl Default for Circuits {
    fn default() -> Self {
        Self {
            shown: true,
            in_card: false,
            wanted: Wanted::default(),
            beside: None,
            made: None,
            current: false,
            playing: false,
            speed: 2.0,
            at_s: 0.0,
            by_distance: false,
            cloud: true,
        }
    }
}

impl Model {
    /// What has to be worked out; `None` while no circuit is looked at.
    #[must_use]
    pub fn circuit_ask(&self) -> Option<Ask> {
        let looking = match self.mode {
            Mode::Rehearse => self.looks() && self.circuits.shown && self.sheet.is_none(),
            Mode::Follow => true,
            Mode::Annotate | Mode::Debrief => false,
        };
        let (area, assessment, field) = (self.area.as_ref()?, self.assessment.as_ref()?, self.selected?);
        let id = self.circuits.beside.as_ref();
        let beside = id.and_then(|id| area.fields.iter().position(|f| f.id == *id)).filter(|b| *b != field);
        looking.then(|| Ask {
            area: Arc::clone(area),
            assessment: Arc::clone(assessment),
            field,
            beside,
            wanted: self.circuits.wanted,
            units: self.settings.units,
            many: self.mode == Mode::Rehearse,
        })
    }

    /// Whether a circuit is being looked at, be it there or refused.
    #[must_use]
    pub fn looks_at_circuit(&self) -> bool {
        self.circuit_ask().is_some()
    }

    /// Another field was chosen: its flight begins at its beginning.
    pub(super) fn circuits_follow_choice(&mut self) {
        self.circuits.back_to_the_start();
    }

    pub(super) fn apply_circuit(&mut self, command: &CircuitCommand) {
        let circuits = &mut self.circuits;
        match command {
            CircuitCommand::Show(shown) => {
                circuits.shown = *shown;
                circuits.back_to_the_start();
            }
            CircuitCommand::InCard(b) => circuits.in_card = *b,
            CircuitCommand::Join(join) => circuits.wanted.join = *join,
            CircuitCommand::Hand(hand) => circuits.wanted.hand = *hand,
            CircuitCommand::OverQuietZones(b) => circuits.wanted.over_quiet_zones = *b,
            CircuitCommand::Beside(index) => {
                let field = index.and_then(|i| self.area.as_ref()?.fields.get(i));
                circuits.beside = field.map(|f| f.id.clone());
            }
            CircuitCommand::Play(play) => {
                circuits.playing = *play && circuits.chosen().is_some();
                if circuits.playing && circuits.at_s >= circuits.duration_s() {
                    circuits.at_s = 0.0;
                }
            }
            CircuitCommand::At(at_s) => {
                circuits.playing = false;
                circuits.at_s = at_s.clamp(0.0, circuits.duration_s());
            }
            CircuitCommand::Step(by_s) => {
                circuits.playing = false;
                circuits.at_s = (circuits.at_s + by_s).clamp(0.0, circuits.duration_s());
            }
            CircuitCommand::Speed(speed) => circuits.speed = speed.clamp(0.1, 100.0),
            CircuitCommand::ByDistance(b) => circuits.by_distance = *b,
            CircuitCommand::Cloud(b) => circuits.cloud = *b,
            CircuitCommand::Frame => {}
        }
    }
}
