//! The record of practice.
//!
//! [`entry`] is what is recorded, in session time; [`store`] adds dates and ids and keeps it on
//! disk; [`stats`] says what dated reps come to.

pub mod entry;
pub mod stats;
pub mod store;
