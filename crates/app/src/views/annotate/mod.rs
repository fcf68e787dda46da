//! Annotate: drawing and describing the home area.
//!
//! | module | draws |
//! |---|---|
//! | [`panel`] | the left column: tools, and the form or list that goes with them |
//! | `tools` | the tools, their keys and what each does |
//! | `drawing` | measures and typed entry while something is drawn |
//! | `field_form`, `side_form`, `thing_form` | what is known about what is chosen |
//! | `growth_form`, `remarks_form` | the field's calendar; its remarks and photographs |
//! | `fields_list`, `fields_filter` | the fields, to choose from, and which of them are shown |
//! | [`findings`] | what a check of the area found, at the right of the map |
//! | [`check_round`] | the round through fields that need a look |
//! | [`on_map`] | pointer and keys on the map |
//! | `overlay` | handles, drafts and drags on the map |

mod drawing;
mod field_form;
mod fields_filter;
mod fields_list;
mod growth_form;
mod overlay;
mod remarks_form;
mod side_form;
mod suggestions;
mod thing_form;
mod tools;

pub mod check_round;
pub mod findings;
pub mod on_map;
pub mod panel;
