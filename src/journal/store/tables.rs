//! The tables one by one: how a row is told from others, when it happened and which session it is of.

use rusqlite::types::Value;

use super::convert::timestamp;
use super::{Error, Store};
use crate::journal::row::{Cell, Row, Table};

/// A table as SQL needs it.
pub(super) struct Known {
    pub name: &'static str,
    /// What tells its rows apart.
    pub keys: &'static [&'static str],
    /// Microseconds since 1970 UTC, where `of_session` is joined.
    at: &'static str,
    /// The joins that lead from the table to its session.
    of_session: &'static str,
}

const OF_REP: &str = "JOIN rep ON rep.id = rep_id JOIN session ON session.id = rep.session_id";
const OF_ANSWER: &str = "JOIN answer ON answer.id = answer_id JOIN session ON session.id = answer.session_id";

/// All tables, each after those that it refers to.
pub(super) const TABLES: &[Known] = &[
    Known { name: "session", keys: &["id"], at: "started_utc_us", of_session: "" },
    Known { name: "rep", keys: &["id"], at: "started_utc_us + started_us", of_session: "JOIN session ON session.id = rep.session_id" },
    Known { name: "happening", keys: &["rep_id", "nth"], at: "started_utc_us + at_us", of_session: OF_REP },
    Known { name: "take", keys: &["id"], at: "started_utc_us + first_us", of_session: OF_REP },
    Known { name: "overrule", keys: &["id"], at: "started_utc_us + at_us", of_session: OF_REP },
    Known { name: "run", keys: &["rep_id"], at: "started_utc_us + started_us", of_session: OF_REP },
    Known { name: "run_bar", keys: &["rep_id", "nth"], at: "started_utc_us + started_us", of_session: OF_REP },
    Known { name: "lapse", keys: &["rep_id", "nth"], at: "started_utc_us + at_us", of_session: OF_REP },
    Known { name: "answer", keys: &["id"], at: "started_utc_us + asked_us", of_session: "JOIN session ON session.id = answer.session_id" },
    Known { name: "answer_happening", keys: &["answer_id", "nth"], at: "started_utc_us + at_us", of_session: OF_ANSWER },
    Known { name: "answer_overrule", keys: &["id"], at: "started_utc_us + at_us", of_session: OF_ANSWER },
    Known { name: "answer_take", keys: &["id"], at: "started_utc_us + first_us", of_session: OF_ANSWER },
    Known {
        name: "session_settings",
        keys: &["id"],
        at: "started_utc_us + at_us",
        of_session: "JOIN session ON session.id = session_settings.session_id",
    },
    Known { name: "spot", keys: &["id"], at: "started_utc_us + at_us", of_session: "JOIN session ON session.id = spot.session_id" },
];

impl Store {
    /// Returns all tables with their columns, each table after those that it refers to.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn tables(&self) -> Result<Vec<Table>, Error> {
        let columns = |name: &'static str| {
            let sql = "SELECT name FROM pragma_table_info(?) ORDER BY cid";
            Ok(Table { name, columns: self.rows(sql, [name], |row| row.get(0), msgid!("read the tables"))? })
        };
        TABLES.iter().map(|table| columns(table.name)).collect()
    }

    /// Hands out all rows, or those of one piece, table by table in the order of [`Store::tables`] and by date within each;
    /// all as they stand at one moment. Stops with the first error of `each`.
    ///
    /// # Errors
    /// When they cannot be read, or `each` fails.
    pub fn each_row<E: From<Error>>(&self, piece_key: Option<&str>, mut each: impl FnMut(&Table, Row) -> Result<(), E>) -> Result<(), E> {
        let failed = self.failed(msgid!("read a table"));
        // Held until dropped: what another program writes meanwhile is not seen.
        let _moment = self.connection.unchecked_transaction().map_err(&failed)?;
        for (known, table) in TABLES.iter().zip(self.tables()?) {
            let Known { name, at, of_session, keys } = known;
            let key = keys.iter().map(|key| format!("{name}.{key}")).collect::<Vec<_>>().join(", ");
            let sql =
                format!("SELECT {at}, offset_s, {name}.* FROM {name} {of_session} WHERE ?1 IS NULL OR piece_key = ?1 ORDER BY 1, {key}");
            let mut statement = self.connection.prepare(&sql).map_err(&failed)?;
            let mut rows = statement.query([piece_key]).map_err(&failed)?;
            while let Some(row) = rows.next().map_err(&failed)? {
                let cell = |column: usize| row.get::<_, Value>(column + 2).map(Cell::from);
                let cells: Result<Vec<Cell>, _> = (0..table.columns.len()).map(cell).collect();
                let at = row.get(0).and_then(|us| timestamp(us, row.get(1)?)).map_err(&failed)?;
                each(&table, Row { at, cells: cells.map_err(&failed)? })?;
            }
        }
        Ok(())
    }
}

impl From<Value> for Cell {
    fn from(value: Value) -> Self {
        match value {
            Value::Null => Cell::None,
            Value::Integer(n) => Cell::Whole(n),
            Value::Real(x) => Cell::Decimal(x),
            Value::Text(text) => Cell::Text(text),
            Value::Blob(bytes) => Cell::Bytes(bytes),
        }
    }
}
