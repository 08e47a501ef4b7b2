//! The parts screens are made of.

pub mod letters;
pub mod ribbon;
pub mod wrap;
