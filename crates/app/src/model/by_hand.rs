//! A drill whose glide the pilot flies: what is held, and the flight that comes of it.

use super::pad::{Pad, PadEvent, PadPress, steered};
use crate::drill::Rehearsal;
use sparefield_geometry::circuit::{HandFlight, Hold, Motion, TICK_S};
use sparefield_geometry::drill::HandFlown;

/// One thing the pilot does with the bar or the stick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Steer {
    /// Hold so much more bank, radians, right positive.
    Bank(f64),
    /// Hold this bank, radians.
    BankTo(f64),
    /// Hold so much more airspeed, m/s.
    Speed(f64),
    /// Hold this airspeed, as with wings level, m/s.
    SpeedTo(f64),
    /// Stop the clock, or let it run.
    Pause(bool),
}

/// The glide under way.
#[derive(Clone, Debug)]
pub struct ByHand {
    flight: HandFlight,
    /// What is held.
    pub hold: Hold,
    /// Whether the clock stands still.
    pub paused: bool,
    /// The gamepad, if there is one.
    pub pad: Pad,
    /// Time that is not a whole tick yet, seconds.
    left_s: f64,
}

impl ByHand {
    /// Begins where the engine stops, with wings level at the speed of a glide straight on.
    #[must_use]
    pub fn new(rehearsal: &Rehearsal) -> Self {
        let flight = rehearsal.trial().by_hand();
        let now = flight.now();
        let hold = Hold { bank_rad: now.bank_rad, level_speed_ms: now.level_speed_ms };
        Self { flight, hold, paused: false, pad: Pad::default(), left_s: 0.0 }
    }

    /// Takes what the pilot does, as far as the aircraft can be held so.
    pub fn steer(&mut self, steer: Steer) {
        let held = self.hold;
        let asked = match steer {
            Steer::Bank(by) => Hold { bank_rad: held.bank_rad + by, ..held },
            Steer::BankTo(bank_rad) => Hold { bank_rad, ..held },
            Steer::Speed(by) => Hold { level_speed_ms: held.level_speed_ms + by, ..held },
            Steer::SpeedTo(level_speed_ms) => Hold { level_speed_ms, ..held },
            Steer::Pause(paused) => {
                self.paused = paused;
                held
            }
        };
        self.hold = self.flight.within(asked);
    }

    /// Takes what happened at the gamepad, and holds what its sticks ask for, as they stood for so many seconds; nothing
    /// while the clock stands still.
    pub fn take_pad(&mut self, events: &[PadEvent], seconds: f64) {
        for event in events {
            match self.pad.take(event) {
                Some(PadPress::Level) => self.steer(Steer::BankTo(0.0)),
                Some(PadPress::Pause) => self.steer(Steer::Pause(!self.paused)),
                None => {}
            }
        }
        let held = steered(self.pad.sticks(), self.hold, self.limits(), seconds);
        if !self.paused && held != self.hold {
            self.hold = self.flight.within(held);
        }
    }

    /// The steepest bank and the least and highest airspeed that can be held, radians and m/s.
    #[must_use]
    pub fn limits(&self) -> (f64, f64, f64) {
        let most = self.flight.within(Hold { bank_rad: f64::INFINITY, level_speed_ms: f64::INFINITY });
        let least = self.flight.within(Hold { bank_rad: 0.0, level_speed_ms: f64::NEG_INFINITY });
        (most.bank_rad, least.level_speed_ms, most.level_speed_ms)
    }

    /// Lets time pass. Says whether the flight has ended.
    pub fn pass(&mut self, rehearsal: &Rehearsal, seconds: f64) -> bool {
        if !self.paused && seconds.is_finite() {
            self.left_s += seconds.max(0.0);
        }
        let trial = rehearsal.trial();
        while self.left_s >= TICK_S && self.flight.end().is_none() {
            self.flight.tick(&trial.surroundings, self.hold);
            self.left_s -= TICK_S;
        }
        self.flight.end().is_some()
    }

    /// The aircraft now.
    #[must_use]
    pub fn now(&self) -> Motion {
        self.flight.now()
    }
    /// Whether it is on the ground and runs on.
    #[must_use]
    pub fn is_down(&self) -> bool {
        self.flight.touchdown().is_some()
    }
    /// Everything flown so far.
    #[must_use]
    pub fn track(&self) -> Vec<Motion> {
        self.flight.track()
    }
    /// What it came to, once it has ended.
    #[must_use]
    pub fn flown(&self) -> Option<HandFlown> {
        HandFlown::of(&self.flight)
    }
}
