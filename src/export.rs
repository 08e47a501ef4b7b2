//! Scores out: what other programs open. One format a file; where the text goes is not known here.

pub mod musicxml;
