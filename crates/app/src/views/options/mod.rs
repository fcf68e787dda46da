//! The options map in the window: its controls, what is drawn of it, a route over it, and which survey helps most.

mod drawer;
mod on_map;
mod panel;
mod profile;
pub(super) mod words;

pub use drawer::drawer;
pub(super) use on_map::{Derived, on_map};
pub use panel::panel;
