//! All rows of the journal as one CSV table or one JSON object, for spreadsheets and other programs.
//!
//! Both have every column of every table and are read back without loss, but that CSV cannot tell an empty text from none.
//! `at` is the date of a row (RFC 3339, the player's own offset); recordings are Standard MIDI Files in hexadecimal.

use std::io::{self, Write};

use serde::{Serialize, Serializer};

use crate::journal::row::{Cell, Row, Table};

/// Writes one CSV table (RFC 4180): a row a record, first the name of its table, then its date, then the columns of all tables, empty where
/// its own table lacks them.
pub struct CsvRows<W: Write> {
    out: csv::Writer<W>,
    columns: Vec<String>,
}

impl<W: Write> CsvRows<W> {
    /// Begins with the names of the columns.
    ///
    /// # Errors
    /// When they cannot be written.
    pub fn begin(out: W, tables: &[Table]) -> io::Result<Self> {
        let mut columns: Vec<String> = Vec::new();
        for column in tables.iter().flat_map(|t| &t.columns) {
            if !columns.contains(column) {
                columns.push(column.clone());
            }
        }
        let mut out = csv::Writer::from_writer(out);
        out.write_record(["table", "at"].into_iter().chain(columns.iter().map(String::as_str)))?;
        Ok(CsvRows { out, columns })
    }

    /// # Errors
    /// When it cannot be written.
    pub fn row(&mut self, table: &Table, row: &Row) -> io::Result<()> {
        self.out.write_field(table.name)?;
        self.out.write_field(row.at.to_rfc3339())?;
        for column in &self.columns {
            let own = table.columns.iter().position(|c| c == column);
            self.out.write_field(own.map_or_else(String::new, |nth| text(&row.cells[nth])))?;
        }
        // Ends the record.
        self.out.write_record(None::<&[u8]>)?;
        Ok(())
    }

    /// # Errors
    /// When it cannot be written.
    pub fn end(mut self) -> io::Result<()> {
        self.out.flush()
    }
}

fn text(cell: &Cell) -> String {
    match cell {
        Cell::None => String::new(),
        Cell::Whole(n) => n.to_string(),
        Cell::Decimal(x) => x.to_string(),
        Cell::Text(text) => text.clone(),
        Cell::Bytes(bytes) => hexadecimal(bytes),
    }
}

/// Writes one JSON object: a key a table, each an array of objects, a row a line.
pub struct JsonRows<W: Write> {
    out: W,
    /// Tables whose array is not begun yet, the next one last.
    to_come: Vec<&'static str>,
    open: Option<(&'static str, usize)>,
}

impl<W: Write> JsonRows<W> {
    /// # Errors
    /// When it cannot be written.
    pub fn begin(mut out: W, tables: &[Table]) -> io::Result<Self> {
        write!(out, "{{")?;
        Ok(JsonRows { out, to_come: tables.iter().rev().map(|t| t.name).collect(), open: None })
    }

    /// Rows come table by table, in the order of the tables.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn row(&mut self, table: &Table, row: &Row) -> io::Result<()> {
        while self.open.is_none_or(|(name, _)| name != table.name) {
            self.next_table()?;
        }
        if let Some((_, n_rows)) = &mut self.open {
            writeln!(self.out, "{}", if *n_rows == 0 { "" } else { "," })?;
            *n_rows += 1;
        }
        serde_json::to_writer(&mut self.out, &Object { table, row })?;
        Ok(())
    }

    fn next_table(&mut self) -> io::Result<()> {
        let name = self.to_come.pop().expect("rows come in the order of the tables");
        if self.open.is_some() {
            write!(self.out, "],")?;
        }
        self.open = Some((name, 0));
        write!(self.out, "\n\"{name}\":[")
    }

    /// # Errors
    /// When it cannot be written.
    pub fn end(mut self) -> io::Result<()> {
        while !self.to_come.is_empty() {
            self.next_table()?;
        }
        writeln!(self.out, "]}}")?;
        self.out.flush()
    }
}

struct Object<'a> {
    table: &'a Table,
    row: &'a Row,
}

impl Serialize for Object<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let at = Cell::Text(self.row.at.to_rfc3339());
        let cells = self.table.columns.iter().map(String::as_str).zip(&self.row.cells);
        serializer.collect_map([("at", &at)].into_iter().chain(cells).map(|(column, cell)| (column, Shown(cell))))
    }
}

struct Shown<'a>(&'a Cell);

impl Serialize for Shown<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.0 {
            Cell::None => serializer.serialize_none(),
            Cell::Whole(n) => serializer.serialize_i64(*n),
            Cell::Decimal(x) => serializer.serialize_f64(*x),
            Cell::Text(text) => serializer.serialize_str(text),
            Cell::Bytes(bytes) => serializer.serialize_str(&hexadecimal(bytes)),
        }
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
