//! What is drawn: views read the model and push commands; they never compute a domain answer.

pub mod map;
