//! What is drawn: views read, they never work out a domain answer.

pub mod map;
