//! What drills have computed on threads of their own: the failure before the engine stops, the way after each choice, and
//! the judgement at the end.

use super::once::Once;
use crate::drill::ahead::Scenery;
use crate::drill::{DrillError, Rehearsal};
use crate::model::{Ended, Prepared};
use sparefield_data::area::Area;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::Motion;
use sparefield_geometry::drill::{Choice, DrillSet, HandFlown};
use sparefield_geometry::fields::model::Day;
use std::sync::Arc;

/// Longest glide that is followed, seconds.
const LONGEST_S: f64 = 3_600.0;

/// What one answer is.
pub enum DrillDone {
    /// A failure is ready to be flown, or cannot be.
    Prepared(Result<Box<Prepared>, DrillError>),
    /// The way after so many choices.
    Way(usize, Vec<Motion>),
    /// What came of it.
    Ended(Box<Ended>),
}

/// The work under way; newer work makes older useless.
#[derive(Default)]
pub struct DrillJob {
    once: Option<Once<DrillDone>>,
}

impl DrillJob {
    /// Works out a failure of a set on a day, with the aircraft that the window knows.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn prepare(
        &mut self,
        area: Arc<Area>,
        set: Arc<DrillSet>,
        number: u32,
        (today, hangar): (Day, Vec<Aircraft>),
        notify: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<()> {
        self.start(
            move || {
                DrillDone::Prepared(Rehearsal::new(&area, &set, number, today, &hangar).map(|rehearsal| {
                    let listed = rehearsal.listed();
                    let velocity_ms = rehearsal.velocity_before_ms();
                    let straight = rehearsal.trial().straight_on(LONGEST_S).track;
                    let scenery = Scenery::of(&rehearsal);
                    Box::new(Prepared { rehearsal, listed, velocity_ms, straight, scenery })
                }))
            },
            notify,
        )
    }

    /// Flies what was chosen so far.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn fly(
        &mut self,
        prepared: Arc<Prepared>,
        choices: Vec<Choice>,
        notify: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<()> {
        self.start(move || DrillDone::Way(choices.len(), prepared.rehearsal.trial().fly(&choices).track), notify)
    }

    /// Judges what was chosen and flown by hand, or flies all that was chosen and judges it.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn judge(
        &mut self,
        prepared: Arc<Prepared>,
        choices: Vec<Choice>,
        by_hand: Option<HandFlown>,
        (id, pilot): (String, String),
        notify: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<()> {
        self.start(
            move || {
                let rehearsal = &prepared.rehearsal;
                let (result, flown) = match &by_hand {
                    Some(hand) => rehearsal.finish_by_hand(&choices, hand, &id, &pilot),
                    None => rehearsal.finish(&choices, &id, &pilot),
                };
                DrillDone::Ended(Box::new(Ended { result, flown }))
            },
            notify,
        )
    }

    fn start(
        &mut self,
        work: impl FnOnce() -> DrillDone + Send + 'static,
        notify: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<()> {
        self.once = Some(Once::start("drill", work, notify)?);
        Ok(())
    }

    /// Forgets what is under way.
    pub fn forget(&mut self) {
        self.once = None;
    }

    /// An answer, once.
    ///
    /// # Errors
    /// When the work failed inside the program.
    pub fn take_done(&mut self) -> Option<Result<DrillDone, super::once::Failed>> {
        let answer = self.once.as_ref()?.poll()?;
        self.once = None;
        Some(answer)
    }
}
