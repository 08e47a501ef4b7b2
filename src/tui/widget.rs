//! The parts screens are made of.

mod font;
pub mod letters;
pub mod line_editor;
pub mod ribbon;
pub mod wrap;
