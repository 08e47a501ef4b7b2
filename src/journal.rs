//! The record of practice.
//!
//! [`entry`] is what is recorded, in session time; the store adds dates and ids and keeps it on disk.

pub mod entry;
