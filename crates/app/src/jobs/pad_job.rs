//! Gamepads read on a thread of their own: asked for while a glide is flown by hand, and still otherwise.
//!
//! Opening the devices can take long, so that it happens on the thread, too. No pad, a folder of devices that cannot be
//! read and a system without gamepads are all the same: there is none.

use crate::model::{PadEvent, PadReader};
use crossbeam_channel::{Receiver, Sender, TryRecvError, bounded, unbounded};
use gilrs::{Axis, Button, EventType, GamepadId, Gilrs, GilrsBuilder};
use std::time::Duration;

/// How long the thread rests between two looks at the pads.
const REST: Duration = Duration::from_millis(10);
/// Farthest from the middle that a stick which nobody holds stands; beyond it a second pad takes over.
const MEANT: f32 = 0.5;

/// The pads that are plugged into this machine.
#[derive(Default)]
pub struct PadJob {
    reading: Option<Reading>,
    flying: bool,
    /// The thread ended; it is not started again.
    failed: bool,
}

struct Reading {
    /// Whether to read; the thread ends when this is gone.
    wanted: Sender<bool>,
    happened: Receiver<PadEvent>,
}

impl PadReader for PadJob {
    fn read(&mut self, flying: bool) -> Vec<PadEvent> {
        if flying != self.flying {
            self.flying = flying;
            if flying && self.reading.is_none() && !self.failed {
                self.reading = start();
                self.failed = self.reading.is_none();
            }
            if let Some(reading) = &self.reading {
                // What is left over from an earlier flight is of no account.
                while reading.happened.try_recv().is_ok() {}
                // A thread that has ended is found below.
                reading.wanted.send(flying).ok();
            }
        }
        let Some(reading) = self.reading.as_ref().filter(|_| flying) else { return Vec::new() };
        let mut events = Vec::new();
        loop {
            match reading.happened.try_recv() {
                Ok(event) => events.push(event),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    events.push(PadEvent::Unplugged);
                    (self.reading, self.failed) = (None, true);
                    break;
                }
            }
        }
        events
    }
}

fn start() -> Option<Reading> {
    let (wanted, asked) = unbounded();
    // More than anybody does between two frames; when the window does not listen, the rest waits in the pad.
    let (tell, happened) = bounded(256);
    let started = std::thread::Builder::new().name("gamepads".to_owned()).spawn(move || watch(&asked, &tell));
    if let Err(e) = &started {
        log::info!("no gamepads: the system refused a thread ({e})");
    }
    started.is_ok().then_some(Reading { wanted, happened })
}

/// Without shaking pads, whose thread would wake the machine twenty times a second for as long as the program runs.
fn open() -> Result<Gilrs, Box<gilrs::Error>> {
    GilrsBuilder::new().with_force_feedback(false).build().map_err(Box::new)
}

/// Reads while it is wanted, until nobody asks any more.
fn watch(asked: &Receiver<bool>, tell: &Sender<PadEvent>) {
    let mut pads: Option<Gilrs> = None;
    while let Ok(wanted) = asked.recv() {
        if !wanted {
            continue;
        }
        // A folder that could not be read before may be there by now.
        pads = pads.or_else(|| open().inspect_err(|e| log::info!("no gamepads: {e}")).ok());
        if let Some(pads) = &mut pads {
            read_while_wanted(pads, asked, tell);
        }
    }
}

fn read_while_wanted(pads: &mut Gilrs, asked: &Receiver<bool>, tell: &Sender<PadEvent>) {
    // What was done between two flights counts for nothing; only where everything stands now.
    while pads.next_event().is_some() {}
    let mut used = pads.gamepads().next().map(|(id, _)| id);
    if !used.map_or_else(|| tell.send(PadEvent::Unplugged).is_ok(), |id| present(pads, id, tell)) {
        return;
    }
    // Anything asked ends this flight's reading; so does a window that is gone.
    while asked.is_empty() {
        while let Some(event) = pads.next_event() {
            let told = match event.event {
                EventType::Connected if used.is_none() => {
                    used = Some(event.id);
                    present(pads, event.id, tell)
                }
                EventType::Disconnected if used == Some(event.id) => {
                    used = pads.gamepads().next().map(|(id, _)| id);
                    used.map_or_else(|| tell.send(PadEvent::Unplugged).is_ok(), |id| present(pads, id, tell))
                }
                other => {
                    // Whoever takes up another pad flies with that.
                    let taken_up = used == Some(event.id) || !is_meant(&other) || {
                        used = Some(event.id);
                        present(pads, event.id, tell)
                    };
                    let its = used == Some(event.id);
                    taken_up && told_of(&other).filter(|_| its).is_none_or(|said| tell.send(said).is_ok())
                }
            };
            if !told || !asked.is_empty() {
                return;
            }
        }
        std::thread::sleep(REST);
    }
}

/// Says which pad it is and where its sticks stand.
fn present(pads: &Gilrs, id: GamepadId, tell: &Sender<PadEvent>) -> bool {
    let pad = pads.gamepad(id);
    let events = [
        PadEvent::Plugged(pad.name().to_owned()),
        PadEvent::Across(pad.value(Axis::LeftStickX)),
        PadEvent::Along(pad.value(Axis::LeftStickY)),
        PadEvent::AlongRight(pad.value(Axis::RightStickY)),
    ];
    events.into_iter().all(|event| tell.send(event).is_ok())
}

/// Whether somebody's hand did it, not a stick that does not rest.
fn is_meant(event: &EventType) -> bool {
    match event {
        EventType::ButtonPressed(..) => true,
        EventType::AxisChanged(_, value, _) => value.abs() > MEANT,
        _ => false,
    }
}

/// What an event of a device is to a glide by hand.
fn told_of(event: &EventType) -> Option<PadEvent> {
    match *event {
        EventType::AxisChanged(Axis::LeftStickX, to, _) => Some(PadEvent::Across(to)),
        EventType::AxisChanged(Axis::LeftStickY, to, _) => Some(PadEvent::Along(to)),
        EventType::AxisChanged(Axis::RightStickY, to, _) => Some(PadEvent::AlongRight(to)),
        EventType::ButtonPressed(Button::South, _) => Some(PadEvent::Level),
        EventType::ButtonPressed(Button::Start, _) => Some(PadEvent::Pause),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever this machine has: nothing is read before a flight, and no device at all is no error.
    #[test]
    fn nothing_is_read_while_nothing_is_flown_and_no_pad_is_no_error() {
        let mut job = PadJob::default();
        assert!(job.read(false).is_empty() && job.reading.is_none());
        job.read(true);
        assert!(job.reading.is_some(), "the thread is started by the first flight");
        for flying in [true, true, false, true, false] {
            std::thread::sleep(3 * REST);
            job.read(flying);
        }
        assert!(!job.failed, "the thread goes on");
        assert!(job.read(false).is_empty());
    }
}
