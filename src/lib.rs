//! Catchword: practise a piece from memory, with one cue when it is needed.
//!
//! A pure core decides (everything up to [`practice`]), a thin shell touches the world ([`source`],
//! `journal::store`, [`tui`], [`cli`]). DEVELOPERS.md has the map of the layers.
#![forbid(unsafe_code)]

// Its macros are for all that follow.
#[macro_use]
pub mod language;

pub mod analysis;
pub mod capture;
pub mod cli;
pub mod clock;
pub mod config;
pub mod export;
pub mod follower;
pub mod import;
pub mod instruments;
pub mod journal;
pub mod log;
pub mod memory;
pub mod midi;
pub mod paths;
pub mod piece;
pub mod piece_folder;
pub mod practice;
pub mod report;
pub mod score;
pub mod setting;
pub mod source;
pub mod study;
pub mod theory;
pub mod time;
pub mod tone;
pub mod tui;
