//! A gamepad in a glide by hand: what it does, how it stands, and what its sticks ask for.
//!
//! Nothing here reads a device: the app says what happened at the pad.

use sparefield_geometry::circuit::Hold;

/// Share of a stick's way from the middle within which it counts as let go. Common practice, no source: worn sticks rest
/// up to a tenth beside the middle.
const DEAD_ZONE: f64 = 0.15;
/// How fast the bank held changes at a full stick, rad/s: as fast as while an arrow key is down.
const BANK_RATE_RAD_S: f64 = 30.0 * std::f64::consts::PI / 180.0;
/// How fast the airspeed held changes at a full stick, m/s²: four miles an hour each second.
const SPEED_RATE_MS2: f64 = 4.0 * 0.447_04;
/// Longest that a stick counts as held in one frame, seconds.
const LONGEST_HELD_S: f64 = 0.1;
/// Letters of a pad's name that are shown.
const LONGEST_NAME: usize = 28;

/// Something that happened at a gamepad.
#[derive(Clone, Debug, PartialEq)]
pub enum PadEvent {
    /// It is there: its name.
    Plugged(String),
    /// There is none, or none any more.
    Unplugged,
    /// The left stick stands so far to the right, -1 to 1.
    Across(f32),
    /// The left stick stands so far up, -1 to 1.
    Along(f32),
    /// The right stick stands so far up, -1 to 1.
    AlongRight(f32),
    /// The button that levels was pressed.
    Level,
    /// The button that stops the clock, or lets it run, was pressed.
    Pause,
}

/// What happens at gamepads, from wherever it is read.
pub trait PadReader {
    /// Says whether a glide is being flown by hand, and gives what happened since it was asked last. Never waits. While
    /// nothing is flown nothing is read.
    fn read(&mut self, flying: bool) -> Vec<PadEvent>;
}

/// Where the sticks stand, each -1 to 1 to the right and up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sticks {
    /// The left stick to the right.
    pub across: f32,
    /// The left stick up.
    pub along: f32,
    /// The right stick up.
    pub along_right: f32,
}

/// How the gamepad stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
enum There {
    #[default]
    None,
    Named(String),
    Unplugged,
}

/// The gamepad of a glide by hand.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pad {
    there: There,
    sticks: Sticks,
}

/// What a press of a button asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PadPress {
    /// Hold wings level.
    Level,
    /// Stop the clock, or let it run.
    Pause,
}

impl Pad {
    /// Takes what happened; gives what a button asks for.
    pub fn take(&mut self, event: &PadEvent) -> Option<PadPress> {
        match event {
            PadEvent::Plugged(name) => (self.there, self.sticks) = (There::Named(shown(name)), Sticks::default()),
            PadEvent::Unplugged => {
                if self.is_there() {
                    self.there = There::Unplugged;
                }
                // The sticks ask for nothing any more, and what was held stays held.
                self.sticks = Sticks::default();
            }
            PadEvent::Across(to) => self.sticks.across = *to,
            PadEvent::Along(to) => self.sticks.along = *to,
            PadEvent::AlongRight(to) => self.sticks.along_right = *to,
            PadEvent::Level => return Some(PadPress::Level),
            PadEvent::Pause => return Some(PadPress::Pause),
        }
        None
    }

    /// Where its sticks stand.
    #[must_use]
    pub fn sticks(&self) -> Sticks {
        self.sticks
    }

    /// Whether there is one.
    #[must_use]
    pub fn is_there(&self) -> bool {
        matches!(self.there, There::Named(_))
    }

    /// How it stands, in plain words.
    #[must_use]
    pub fn words(&self) -> String {
        match &self.there {
            There::None => "Gamepad: none".to_owned(),
            There::Named(name) => format!("Gamepad: {name}"),
            There::Unplugged => "Gamepad unplugged: keys hold the glide".to_owned(),
        }
    }
}

/// A pad's name on one short line.
fn shown(name: &str) -> String {
    let clean: String = name.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let clean = clean.split_whitespace().collect::<Vec<_>>().join(" ");
    match clean.chars().count() {
        0 => "without a name".to_owned(),
        n if n > LONGEST_NAME => clean.chars().take(LONGEST_NAME - 1).chain(['…']).collect(),
        _ => clean,
    }
}

/// What a stick asks for, -1 to 1: nothing within the dead zone, and from there evenly to all at its end. A stick that
/// reads no number asks for nothing.
#[must_use]
pub fn asked(stick: f32) -> f64 {
    let stick = f64::from(stick);
    if stick.is_nan() {
        return 0.0;
    }
    let past = (stick.abs().min(1.0) - DEAD_ZONE).max(0.0) / (1.0 - DEAD_ZONE);
    past.copysign(stick)
}

/// What is held after sticks were kept as they are for some seconds: to the side changes the bank, up and down the
/// airspeed, by whichever stick is farther from the middle. `limits` are the steepest bank and the least and highest
/// airspeed that can be held, radians and m/s.
#[must_use]
pub fn steered(sticks: Sticks, held: Hold, limits: (f64, f64, f64), seconds: f64) -> Hold {
    let seconds = if seconds.is_nan() { 0.0 } else { seconds.clamp(0.0, LONGEST_HELD_S) };
    let (across, left, right) = (asked(sticks.across), asked(sticks.along), asked(sticks.along_right));
    let along = if right.abs() > left.abs() { right } else { left };
    let (steepest_rad, slowest_ms, fastest_ms) = limits;
    // A stick that is let go leaves what is held as it is, to the bit.
    let moved = |from: f64, by: f64, least: f64, most: f64| {
        if by == 0.0 { from } else { (from + by * seconds).min(most).max(least) }
    };
    Hold {
        bank_rad: moved(held.bank_rad, across * BANK_RATE_RAD_S, -steepest_rad, steepest_rad),
        level_speed_ms: moved(held.level_speed_ms, along * SPEED_RATE_MS2, slowest_ms, fastest_ms),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: (f64, f64, f64) = (0.5, 15.0, 30.0);
    const HELD: Hold = Hold { bank_rad: 0.1, level_speed_ms: 20.0 };

    #[test]
    fn within_the_dead_zone_a_stick_asks_for_nothing_and_at_its_end_for_all() {
        for stick in [0.0, 0.14, -0.14, 0.15, -0.15, f32::NAN] {
            assert!(asked(stick).abs() < 1e-6, "{stick}");
        }
        assert!((asked(1.0) - 1.0).abs() < 1e-12 && (asked(-1.0) + 1.0).abs() < 1e-12);
        // Devices that read beyond their end ask for no more than all.
        assert!((asked(f32::INFINITY) - 1.0).abs() < 1e-12 && (asked(-7.0) + 1.0).abs() < 1e-12);
        // No jump at the edge of the dead zone, and half way past it half of all: 0.15 + 0.85 / 2.
        assert!(asked(0.16) > 0.0 && asked(0.16) < 0.02);
        assert!((asked(0.575) - 0.5).abs() < 1e-6);
        let mut last = -1.0;
        for step in -100..=100_i16 {
            let now = asked(f32::from(step) / 100.0);
            assert!(now >= last);
            last = now;
        }
    }

    #[test]
    fn sticks_change_what_is_held_and_let_go_they_leave_it() {
        let still = steered(Sticks::default(), HELD, LIMITS, 0.1);
        assert_eq!(still, HELD);
        // A full stick for a tenth of a second: three degrees of bank, 0.4 mph.
        let right = steered(Sticks { across: 1.0, ..Sticks::default() }, HELD, LIMITS, 0.1);
        assert!((right.bank_rad - 0.1 - 3.0_f64.to_radians()).abs() < 1e-9 && right.level_speed_ms == 20.0);
        let faster = steered(Sticks { along: 1.0, ..Sticks::default() }, HELD, LIMITS, 0.1);
        assert!((faster.level_speed_ms - 20.0 - 0.4 * 0.447_04).abs() < 1e-9 && faster.bank_rad == 0.1);
        // The other stick does the same, and the one that is farther out counts.
        let other = steered(Sticks { along: 0.3, along_right: -1.0, ..Sticks::default() }, HELD, LIMITS, 0.1);
        assert!((other.level_speed_ms - 20.0 + 0.4 * 0.447_04).abs() < 1e-9);
    }

    #[test]
    fn nothing_is_held_beyond_what_the_aircraft_can_and_no_number_changes_nothing() {
        let all = Sticks { across: -1.0, along: 1.0, along_right: 0.0 };
        let mut held = HELD;
        for _ in 0..1_000 {
            held = steered(all, held, LIMITS, 0.1);
        }
        assert_eq!(held, Hold { bank_rad: -0.5, level_speed_ms: 30.0 });
        let lost = Sticks { across: f32::NAN, along: f32::NAN, along_right: f32::NAN };
        assert_eq!(steered(lost, HELD, LIMITS, 0.1), HELD);
        assert_eq!(steered(all, HELD, LIMITS, f64::NAN), HELD);
        // However long a frame took, a stick turns no farther than in a tenth of a second.
        assert_eq!(steered(all, HELD, LIMITS, 9.0), steered(all, HELD, LIMITS, 0.1));
        // Limits that make no sense stop nothing from being answered.
        let none = steered(all, HELD, (f64::NAN, f64::NAN, f64::NAN), 0.1);
        assert!(none.bank_rad.is_finite() && none.level_speed_ms.is_finite());
    }

    #[test]
    fn a_pad_that_comes_and_goes_is_told_in_plain_words() {
        let mut pad = Pad::default();
        pad.take(&PadEvent::Unplugged);
        assert_eq!(pad.words(), "Gamepad: none");
        assert_eq!(pad.take(&PadEvent::Plugged(" Club\u{7}  pad\n".into())), None);
        assert_eq!(pad.words(), "Gamepad: Club pad");
        assert_eq!(pad.take(&PadEvent::Across(1.0)), None);
        assert_eq!(pad.take(&PadEvent::Level), Some(PadPress::Level));
        assert_eq!(pad.take(&PadEvent::Pause), Some(PadPress::Pause));
        assert!(pad.is_there() && pad.sticks().across == 1.0);
        pad.take(&PadEvent::Unplugged);
        assert_eq!(pad.words(), "Gamepad unplugged: keys hold the glide");
        assert!(!pad.is_there() && pad.sticks() == Sticks::default());
        pad.take(&PadEvent::Plugged("x".repeat(200)));
        assert_eq!(pad.words().chars().count(), "Gamepad: ".len() + LONGEST_NAME);
        pad.take(&PadEvent::Plugged(String::new()));
        assert_eq!(pad.words(), "Gamepad: without a name");
    }
}
