//! The parts screens are made of.

mod font;
pub mod letters;
pub mod ribbon;
pub mod wrap;
