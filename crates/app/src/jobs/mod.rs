//! Work that takes longer than a frame: opening an area, and assessing the fields from the present conditions.
//!
//! Each kind of work has one named thread. The newest request waits in a slot and replaces an older one that has not
//! started; a running assessment is finished while the aircraft is dragged, so that the picture follows the hand, and
//! stopped only when it has taken too long for that.

mod assess_job;
mod check_job;
mod once;
mod open_job;

pub use assess_job::{Answer, AssessJob, AssessOutcome, AssessRequest, RING_LEVELS_M};
pub use check_job::CheckJob;
pub use once::{Failed, Once};
pub use open_job::{OpenJob, OpenOutcome, OpenWhat};
