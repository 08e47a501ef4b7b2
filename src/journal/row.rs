//! Rows of the journal as they stand in its tables, for taking all of it elsewhere.
//!
//! A table is its name and its columns; a row its cells in the same order, with the date they belong to.

use crate::time::Timestamp;

/// One table of the journal.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Table {
    pub name: &'static str,
    pub columns: Vec<String>,
}

/// One row, as [`Table::columns`] has it.
#[derive(Clone, PartialEq, Debug)]
pub struct Row {
    /// When it happened, with the offset of the player's clock at the start of the session.
    pub at: Timestamp,
    pub cells: Vec<Cell>,
}

/// What stands in one column of a row.
#[derive(Clone, PartialEq, Debug)]
pub enum Cell {
    None,
    Whole(i64),
    Decimal(f64),
    Text(String),
    /// A Standard MIDI File.
    Bytes(Vec<u8>),
}
