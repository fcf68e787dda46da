//! What the window does for circuits: asks for them, takes them, plays them, and listens to their keys.

use super::App;
use crate::circuits::flights::Ask;
use crate::command::Command;
use crate::jobs::CircuitJob;
use crate::model::{CircuitCommand, Mode, NoticeLevel};
use egui::{Context, Key, Modifiers};
use sparefield_geometry::position::Xy;

/// Seconds of flight that an arrow key steps, and with Shift.
const STEP_S: f64 = 1.0;
const LONG_STEP_S: f64 = 10.0;

/// Longest time that one frame plays, seconds: a window that was covered does not leap ahead.
const LONGEST_FRAME_S: f64 = 0.25;

/// Room left around a circuit that is brought onto the screen, metres.
const AROUND_M: f64 = 150.0;

/// The job and what it was last asked.
pub(super) struct Flying {
    job: CircuitJob,
    asked: Option<Ask>,
}

impl Flying {
    pub(super) fn start(ctx: &Context) -> std::io::Result<Self> {
        let repaint = ctx.clone();
        Ok(Self { job: CircuitJob::start(move || repaint.request_repaint())?, asked: None })
    }
}

impl App {
    /// Takes what was flown, asks for what is now needed, and plays on.
    pub(super) fn follow_circuit(&mut self, ctx: &Context) {
        let wanted = self.model.circuit_ask();
        let circuits = &mut self.model.circuits;
        if let (Some(outcome), Some(wanted)) = (self.flying.job.take_done(), &wanted)
            && outcome.ask.is_about_the_same(wanted)
        {
            match outcome.result {
                Ok(made) => circuits.made = Some(made),
                Err(why) => {
                    circuits.made = None;
                    self.model.notify(NoticeLevel::Problem, why);
                }
            }
        }
        let circuits = &mut self.model.circuits;
        let Some(wanted) = wanted else {
            if self.flying.asked.take().is_some() {
                self.flying.job.stop();
            }
            circuits.made = None;
            circuits.playing = false;
            return;
        };
        // What was flown from another place is shown until the new is there; into another field it is nothing.
        circuits.made = circuits.made.take().filter(|m| m.ask.is_about_the_same(&wanted));
        circuits.current = circuits.made.as_ref().is_some_and(|m| m.ask == wanted);
        if circuits.playing {
            let frame_s = f64::from(ctx.input(|i| i.stable_dt)).min(LONGEST_FRAME_S);
            circuits.play_on(frame_s);
            ctx.request_repaint();
        }
        if circuits.made.is_some() {
            circuits.at_s = circuits.at_s.min(circuits.duration_s());
        }
        if self.flying.asked.as_ref() != Some(&wanted) {
            self.flying.job.request(wanted.clone());
            self.flying.asked = Some(wanted);
        }
    }

    /// Brings the circuits shown onto the screen.
    pub(super) fn frame_circuit(&mut self) {
        let circuits = &self.model.circuits;
        let places = circuits.chosen().into_iter().chain(circuits.other()).flat_map(|f| &f.circuit.track);
        let mut low = Xy::new(f64::MAX, f64::MAX);
        let mut high = Xy::new(f64::MIN, f64::MIN);
        for point in places {
            let p = point.motion.position;
            low = Xy::new(low.x.min(p.x), low.y.min(p.y));
            high = Xy::new(high.x.max(p.x), high.y.max(p.y));
        }
        if low.x <= high.x {
            let around = Xy::new(AROUND_M, AROUND_M);
            self.map.show_box(low - around, high + around);
        }
    }

    /// Space plays and pauses, arrows step, C turns the card: while nothing else has the keyboard.
    pub(super) fn circuit_keys(&mut self, ctx: &Context, typing: bool) {
        if typing || self.model.mode != Mode::Rehearse || !self.model.looks_at_circuit() {
            return;
        }
        let focused = ctx.memory(egui::Memory::focused);
        let mut push = |command| self.commands.push(Command::Circuit(command));
        if ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::C)) {
            push(CircuitCommand::InCard(!self.model.circuits.in_card));
        }
        // On the map Space does nothing else, but a focused button is pressed by it.
        let on_map = focused.is_some() && focused == self.map.id();
        if self.model.circuits.chosen().is_none() || !(focused.is_none() || on_map) {
            return;
        }
        if ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::Space)) {
            push(CircuitCommand::Play(!self.model.circuits.playing));
        }
        if on_map {
            return;
        }
        for (key, sign) in [(Key::ArrowLeft, -1.0), (Key::ArrowRight, 1.0)] {
            if ctx.input_mut(|i| i.consume_key(Modifiers::SHIFT, key)) {
                push(CircuitCommand::Step(sign * LONG_STEP_S));
            }
            if ctx.input_mut(|i| i.consume_key(Modifiers::NONE, key)) {
                push(CircuitCommand::Step(sign * STEP_S));
            }
        }
    }
}
