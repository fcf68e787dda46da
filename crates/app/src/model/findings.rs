//! What was found in the area, and which of it is looked at.

use super::{AnnotateCommand, Model, Thing};
use crate::command::Command;
use sparefield_data::check::{Finding, Severity, Subject};
use std::sync::Arc;

/// Findings of the last check.
#[derive(Clone, Debug, Default)]
pub struct Findings {
    /// Whether they are shown, and so kept up to date.
    pub shown: bool,
    /// The only severity listed; `None` for all.
    pub only: Option<Severity>,
    /// The findings, the gravest first.
    pub list: Arc<Vec<Finding>>,
    /// The state of the land that they belong to; `None` before the first check.
    pub of: Option<u64>,
    /// The finding looked at, by its index.
    pub chosen: Option<usize>,
}

/// One thing the pilot did with findings.
#[derive(Clone, Debug, PartialEq)]
pub enum FindingsCommand {
    /// Show or hide them.
    Show(bool),
    /// List only one severity, or all.
    Only(Option<Severity>),
    /// Look at one: choose the things it is about.
    Choose(usize),
    /// Do what mends one.
    Mend(usize),
}

impl Model {
    /// Applies a command about findings.
    pub fn apply_findings(&mut self, command: &FindingsCommand) {
        match command {
            FindingsCommand::Show(shown) => self.findings.shown = *shown,
            FindingsCommand::Only(only) => self.findings.only = *only,
            FindingsCommand::Choose(index) => {
                let list = Arc::clone(&self.findings.list);
                let Some(finding) = list.get(*index) else { return };
                self.findings.chosen = Some(*index);
                let things = finding.subjects.iter().filter_map(|s| self.thing(s)).collect();
                self.annotate(&AnnotateCommand::Choose(things));
            }
            FindingsCommand::Mend(index) => {
                let list = Arc::clone(&self.findings.list);
                // Those shown may be older than the last edit; an edit that no longer fits is refused in words.
                if let Some(edit) = list.get(*index).and_then(|f| f.mend.clone()) {
                    self.findings.chosen = None;
                    self.apply(&Command::Edit(Box::new(edit)));
                }
            }
        }
    }

    fn thing(&self, subject: &Subject) -> Option<Thing> {
        match subject {
            Subject::Field(id) => Some(Thing::Field(id.clone())),
            Subject::Hazard(id) => Some(Thing::Hazard(id.clone())),
            Subject::QuietZone(id) => Some(Thing::QuietZone(id.clone())),
            Subject::Home => {
                let home = self.area.as_ref()?.home.as_ref()?;
                Some(Thing::Field(home.field_id.clone()))
            }
        }
    }
}
