//! Debrief in the window: sorties and exercises in the column, the flight on the map, heights and playing in the drawer,
//! one exercise, all over one another, the sortie as a whole, its glide curve, or trends in the card.

mod card;
mod drawer;
mod glide;
pub(crate) mod on_map;
mod panel;
mod trends;
mod whole;

pub use card::card;
pub use drawer::drawer;
pub use panel::panel;
