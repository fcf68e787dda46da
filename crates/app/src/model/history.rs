//! Undo and redo of everything: changes of the conditions, one step for each gesture, and edits of the area.

use super::Conditions;
use sparefield_data::area::Edit;

/// Longest history kept.
const STEPS: usize = 500;

/// One step that can be taken back.
#[derive(Clone, Debug)]
pub enum Step {
    /// The conditions before (for undo) or after (for redo).
    Conditions(Box<Conditions>),
    /// An edit of the area, as it was made.
    Edit(Edit),
}

/// Earlier and later steps.
#[derive(Debug, Default)]
pub struct History {
    earlier: Vec<Step>,
    later: Vec<Step>,
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
        self.push(Step::Conditions(Box::new(before)));
    }

    /// Notes an edit that was made.
    pub fn edited(&mut self, edit: Edit) {
        self.later.clear();
        self.gesture = None;
        self.push(Step::Edit(edit));
    }

    fn push(&mut self, step: Step) {
        self.earlier.push(step);
        if self.earlier.len() > STEPS {
            self.earlier.remove(0);
        }
    }

    /// The hand was lifted: the next change is a new step.
    pub fn end_gesture(&mut self) {
        self.gesture = None;
    }

    /// The step to take back; `now` becomes what redo of a change of conditions returns to.
    pub fn undo(&mut self, now: &Conditions) -> Option<Step> {
        self.gesture = None;
        let step = self.earlier.pop()?;
        self.later.push(reverse(&step, now));
        Some(step)
    }

    /// The step to take again.
    pub fn redo(&mut self, now: &Conditions) -> Option<Step> {
        self.gesture = None;
        let step = self.later.pop()?;
        self.earlier.push(reverse(&step, now));
        Some(step)
    }

    /// What undo would take back, in words that read after "Undo"; `None` when there is nothing.
    #[must_use]
    pub fn undo_words(&self) -> Option<&str> {
        self.earlier.last().map(Step::words)
    }

    /// What redo would do again, in words that read after "Redo"; `None` when there is nothing.
    #[must_use]
    pub fn redo_words(&self) -> Option<&str> {
        self.later.last().map(Step::words)
    }
}

impl Step {
    fn words(&self) -> &str {
        match self {
            Self::Conditions(_) => "change of the conditions",
            Self::Edit(edit) => &edit.words,
        }
    }
}

fn reverse(step: &Step, now: &Conditions) -> Step {
    match step {
        Step::Conditions(_) => Step::Conditions(Box::new(now.clone())),
        Step::Edit(edit) => Step::Edit(edit.clone()),
    }
}
