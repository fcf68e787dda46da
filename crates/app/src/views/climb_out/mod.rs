//! Climb-outs in the window: the page with its height, the table under the map, and what is drawn on the map.

mod drawer;
mod on_map;
mod panel;

pub use drawer::drawer;
pub(super) use on_map::on_map;
pub(super) use panel::height_line;
pub use panel::panel;
