//! Work that takes longer than a frame: opening an area, assessing the fields from the present conditions, working out
//! the sheet of one field, flying circuits, writing edits to the area's file, drawing layers, and suggesting new fields.
//!
//! Each kind of work has one named thread. The newest request waits in a slot and replaces an older one that has not
//! started; a running assessment is finished while the aircraft is dragged, so that the picture follows the hand, and
//! stopped only when it has taken too long for that.

mod asked;
mod assess_job;
mod check_job;
mod circuit_job;
mod climb_out_job;
mod cover_job;
mod drill_job;
mod layer_job;
mod once;
mod open_job;
mod pad_job;
mod save_job;
mod sheet_job;
mod suggest_job;

pub use asked::{Asked, Reins};
pub use assess_job::{Answer, AssessJob, AssessOutcome, AssessRequest, RING_LEVELS_M};
pub use check_job::CheckJob;
pub use circuit_job::{CircuitJob, CircuitOutcome};
pub use climb_out_job::{ClimbOutJob, HeightAsk, climb_outs, climb_outs_at};
pub use cover_job::{CoverJob, MadeKey, RouteAsk, ShadeAsk, WINDS, fly, make, read_route, shade, survey};
pub use drill_job::{DrillDone, DrillJob};
pub use layer_job::{LayerJob, LayerOutcome};
pub use once::{Failed, Once};
pub use open_job::{OpenJob, OpenOutcome, OpenWhat, Opened};
pub use pad_job::PadJob;
pub use save_job::{SaveJob, SaveTo, Saved};
pub use sheet_job::{SheetJob, SheetOutcome};
pub use suggest_job::{MeasureJob, MeasureOutcome, SearchJob, SearchOutcome, SuggestJob, SuggestOutcome};
