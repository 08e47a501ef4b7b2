//! What is written for people and programs to read: outputs and records in, text out; one format a file.

mod ignored;
pub mod items_held;
pub mod plain_text;
mod plots;
pub mod progress;
pub mod progress_page;
pub mod progress_svg;
pub mod progress_text;
pub mod progress_words;
pub mod rows;
mod steadiness;
pub mod story_page;
pub mod story_sheet;
pub mod take_account;
pub mod take_lines;
