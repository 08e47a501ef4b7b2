//! The record of practice.
//!
//! [`entry`] is what is recorded, in session time; [`store`] adds dates and ids and keeps it on
//! disk; [`row`] is what all of it is taken out as; [`stats`] says what dated reps come to.

pub mod attempts;
pub mod entry;
pub mod row;
pub mod stats;
pub mod store;
