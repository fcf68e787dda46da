//! What is drawn: views read the model and push commands; they never compute a domain answer.

pub mod annotate;
pub mod area_menu;
pub mod card;
pub mod circuit;
pub mod climb_out;
pub mod conditions;
pub mod debrief;
pub(crate) mod dialog;
pub mod drill;
pub mod follow;
pub mod furniture;
pub mod layers;
pub mod list;
pub mod map;
pub mod map_panel;
pub mod marks;
pub mod merge;
pub mod options;
pub mod sheet;
mod timeline;
mod typed;
mod working;
