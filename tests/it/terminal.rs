//! The program in a real terminal: under a pseudo-terminal, driven by keys, MIDI bytes and signals, read back through an emulator.

#![cfg(unix)]

#[path = "../tools/pty.rs"]
#[allow(dead_code)]
pub mod pty;

#[path = "../tools/svg.rs"]
mod svg;

mod capture;
mod flow;
mod french;
mod hands_free;
mod pictures;
mod plain;
mod quiz;
mod run_through;
mod safety;
mod stand_in;
mod start;
mod stories;
mod study;
