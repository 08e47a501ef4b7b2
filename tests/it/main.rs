//! The one integration binary. A new test goes into the module named after what it proves; a module a subject.

mod analysis;
mod cli;
mod follower;
mod import_musicxml;
mod import_smf;
mod journal;
mod layers;
mod piece;
mod practice;
mod setting;
mod run_through;
mod source;
mod terminal;
