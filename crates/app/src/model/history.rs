//! Undo and redo of the conditions: one step for each gesture, however many changes it made.

use super::Conditions;

/// Longest history kept.
const STEPS: usize = 200;

/// Earlier and later conditions.
#[derive(Debug, Default)]
pub struct History {
    earlier: Vec<Conditions>,
    later: Vec<Conditions>,
    gesture: Option<&'static str>,
}

impl History {
    /// Forgets everything, as when another area is opened.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// Notes that the conditions changed from `before`. Changes of one named gesture make one step until it ends.
    pub fn changed(&mut self, before: Conditions, gesture: Option<&'static str>) {
        self.later.clear();
        if gesture.is_some() && gesture == self.gesture {
            return;
        }
        self.gesture = gesture;
        self.earlier.push(before);
        if self.earlier.len() > STEPS {
            self.earlier.remove(0);
        }
    }

    /// The hand was lifted: the next change is a new step.
    pub fn end_gesture(&mut self) {
        self.gesture = None;
    }

    /// The conditions one step back.
    pub fn undo(&mut self, now: &Conditions) -> Option<Conditions> {
        self.gesture = None;
        let before = self.earlier.pop()?;
        self.later.push(now.clone());
        Some(before)
    }

    /// The conditions one step forward.
    pub fn redo(&mut self, now: &Conditions) -> Option<Conditions> {
        self.gesture = None;
        let after = self.later.pop()?;
        self.earlier.push(now.clone());
        Some(after)
    }

    /// Whether there is a step back.
    #[must_use]
    pub fn can_undo(&self) -> bool {
        !self.earlier.is_empty()
    }

    /// Whether there is a step forward.
    #[must_use]
    pub fn can_redo(&self) -> bool {
        !self.later.is_empty()
    }
}
