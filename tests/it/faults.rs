//! Nothing lost, nothing let in: the real program killed, starved, flooded and shut out, and what its journal has afterwards.
//!
//! Long runs are ignored by default; DEVELOPERS.md has their commands.

#![cfg(unix)]

mod capture;
mod disk;
mod ends;
mod input;
mod load;
mod player;
mod port;
mod replacing;
mod rescue;
mod screen;
mod times;
mod tones;
