//! What is written for people and programs to read: outputs and records in, text out; one format a file.

pub mod rows;
pub mod take_account;
pub mod take_lines;
