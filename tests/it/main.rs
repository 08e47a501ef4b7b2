//! The one integration binary. A new test goes into the module named after what it proves; a module a subject.

mod analysis;
mod capture;
mod cli;
mod export;
mod faults;
mod flow;
mod follower;
mod hostile;
mod import_musicxml;
mod import_smf;
mod instrument;
mod journal;
mod journal_data;
mod layers;
mod made_journal;
mod memory;
mod piece;
mod players;
mod practice;
mod quiz;
mod reading;
mod report;
mod run_through;
mod setting;
mod source;
mod terminal;
