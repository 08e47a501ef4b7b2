//! The record of practice outside the program: taken out, copied, checked, joined with another machine's.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use catchword::journal::entry::{Entry, Mode, Rep, RepNumber, Verdict, Witness};
use catchword::journal::row::{Row, Table};
use catchword::journal::store::{Error, FILE_NAME, Merged, NewSession, Store};
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::report::rows::{CsvRows, JsonRows};
use catchword::time::Micros;
use chrono::NaiveDate;
use proptest::prelude::*;
use rusqlite::Connection;
use rusqlite::types::Value;
use tempfile::TempDir;

use crate::made_journal::Life;

fn ferry() -> Piece {
    open_piece("ferry", None, &[]).unwrap().piece
}

fn life(piece: &Piece, seed: u64) -> Life<'_> {
    Life { piece, key: "ferry", first_day: NaiveDate::from_ymd_opt(2027, 1, 4).unwrap(), n_days: 4, n_reps: 1, seed }
}

/// A journal on disk with a few days of practice for each seed.
fn journal(seeds: &[u64]) -> (TempDir, Store) {
    let dir = tempfile::tempdir().unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let piece = ferry();
    seeds.iter().for_each(|seed| life(&piece, *seed).live(&mut store));
    (dir, store)
}

fn file_of(dir: &TempDir) -> PathBuf {
    dir.path().join(FILE_NAME)
}

fn rows_of(store: &Store) -> Vec<(&'static str, Row)> {
    let mut out = Vec::new();
    store
        .each_row(None, |table, row| {
            out.push((table.name, row));
            Ok::<(), Error>(())
        })
        .unwrap();
    out
}

/// A table as SQLite itself gives it: rows as texts, none as "(none)", in the order of their first columns.
fn told_by_sqlite(file: &Path, table: &Table, text: impl Fn(Value) -> String) -> Vec<Vec<String>> {
    let connection = Connection::open(file).unwrap();
    let mut statement = connection.prepare(&format!("SELECT * FROM {}", table.name)).unwrap();
    let n_columns = statement.column_count();
    assert_eq!(statement.column_names(), table.columns, "all columns");
    let read = |row: &rusqlite::Row<'_>| (0..n_columns).map(|c| Ok(text(row.get(c)?))).collect();
    let mut rows: Vec<Vec<String>> = statement.query_map([], read).unwrap().map(Result::unwrap).collect();
    rows.sort();
    rows
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// Adds texts that are awkward in files.
fn add_awkward(store: &mut Store, text: &str) {
    let opened = NewSession {
        started: "2027-02-01T23:59:59.999999-05:00".parse().unwrap(),
        piece_key: text.to_owned(),
        piece_title: text.to_owned(),
        program_version: "0.1.0".into(),
        seed: u64::MAX,
    };
    let session = store.begin_session(&opened).unwrap();
    store.append(session, &Entry::Rep(a_rep(0, text))).unwrap();
}

fn a_rep(number: u32, span: &str) -> Rep {
    Rep {
        number: RepNumber(number),
        mode: Mode::Drill,
        span: span.into(),
        bars: ("1".into(), "4".into()),
        started: Micros(5_000_001),
        ended: Micros(13_000_000),
        verdict: Verdict::Clean,
        witness: Witness::Heard,
        reason: None,
        happenings: vec![],
        n_notes_due: 30,
        n_notes_right: 30,
        tempo: Some(1.0 / 3.0),
        run: None,
        take: Default::default(),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_exported_reads_back_as_what_the_journal_has(seed in any::<u64>(), awkward in "\\PC{1,12}|[\",\\r\\n;=<\\\\\u{0}\u{1b}]{1,6}") {
        let (dir, mut store) = journal(&[seed]);
        add_awkward(&mut store, &awkward);
        let tables = store.tables().unwrap();
        let (mut csv, mut json) = (Vec::new(), Vec::new());
        let mut as_csv = CsvRows::begin(&mut csv, &tables).unwrap();
        let mut as_json = JsonRows::begin(&mut json, &tables).unwrap();
        store.each_row(None, |table, row| {
            as_csv.row(table, &row).unwrap();
            as_json.row(table, &row).unwrap();
            Ok::<(), Error>(())
        }).unwrap();
        as_csv.end().unwrap();
        as_json.end().unwrap();

        let mut reader = csv::Reader::from_reader(&csv[..]);
        let header: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        let json: serde_json::Value = serde_json::from_slice(&json).unwrap();
        let mut n_rows = 0;
        for table in &tables {
            let place = |column: &String| header.iter().position(|h| h == column).unwrap();
            let mut parsed: Vec<Vec<String>> = records.iter().filter(|r| &r[0] == table.name)
                .map(|r| table.columns.iter().map(|c| r[place(c)].to_owned()).collect()).collect();
            parsed.sort();
            let plain = |value| match value {
                Value::Null => String::new(),
                Value::Integer(n) => n.to_string(),
                Value::Real(x) => x.to_string(),
                Value::Text(text) => text,
                Value::Blob(bytes) => hexadecimal(&bytes),
            };
            prop_assert_eq!(&parsed, &told_by_sqlite(&file_of(&dir), table, plain), "{} as CSV", table.name);

            let rows = json[table.name].as_array().unwrap();
            let mut parsed: Vec<Vec<String>> = rows.iter().map(|r| table.columns.iter().map(|c| r[c].to_string()).collect()).collect();
            parsed.sort();
            let value = |value| match value {
                Value::Null => "null".to_owned(),
                Value::Integer(n) => n.to_string(),
                Value::Real(x) => serde_json::json!(x).to_string(),
                Value::Text(text) => serde_json::json!(text).to_string(),
                Value::Blob(bytes) => format!("\"{}\"", hexadecimal(&bytes)),
            };
            prop_assert_eq!(&parsed, &told_by_sqlite(&file_of(&dir), table, value), "{} as JSON", table.name);
            n_rows += rows.len();
        }
        prop_assert_eq!(n_rows, records.len());
        prop_assert!(n_rows > 0, "there was something to export");
    }

    #[test]
    fn a_merge_is_a_union_in_any_order_and_once_is_enough(seed in 0..u64::MAX - 9) {
        // Three machines that began with the same practice and went on apart.
        let (start, store) = journal(&[seed]);
        let n_shared = rows_of(&store).len();
        drop(store);
        let machines: Vec<(TempDir, Store)> = (1..=3).map(|nth| {
            let dir = tempfile::tempdir().unwrap();
            fs::copy(file_of(&start), file_of(&dir)).unwrap();
            let mut store = Store::open(dir.path()).unwrap();
            life(&ferry(), seed + nth).live(&mut store);
            (dir, store)
        }).collect();
        let merged = |order: &[usize]| {
            let dir = tempfile::tempdir().unwrap();
            let mut store = Store::open(dir.path()).unwrap();
            for nth in order {
                store.merge(&file_of(&machines[*nth].0)).unwrap();
            }
            store.check().unwrap();
            (dir, rows_of(&store))
        };
        let (all_dir, all) = merged(&[0, 1, 2]);
        for order in [&[2, 1, 0][..], &[1, 0, 2], &[0, 0, 1, 2, 1, 0]] {
            prop_assert_eq!(&merged(order).1, &all, "{:?}", order);
        }
        // (0 + 1) + 2 against 0 + (1 + 2).
        let (right, _) = merged(&[1, 2]);
        let (grouped, _) = merged(&[0]);
        let mut grouped = Store::open(grouped.path()).unwrap();
        grouped.merge(&file_of(&right)).unwrap();
        prop_assert_eq!(&rows_of(&grouped), &all);
        prop_assert_eq!(grouped.merge(&file_of(&all_dir)).unwrap(), Merged::default(), "nothing new");

        let apart: usize = machines.iter().map(|(_, store)| rows_of(store).len() - n_shared).sum();
        prop_assert_eq!(all.len(), n_shared + apart, "all of each, the shared once");
    }
}

#[test]
fn a_session_that_was_open_in_one_journal_is_closed_by_the_other() {
    let (one, mut store) = journal(&[]);
    add_awkward(&mut store, "x");
    let other = tempfile::tempdir().unwrap();
    store.backup(&file_of(&other)).unwrap();
    let id = store.sessions().unwrap()[0].id;
    store.end_session(id, "2027-02-02T00:30:00-05:00".parse().unwrap()).unwrap();
    let mut open = Store::open(other.path()).unwrap();
    open.merge(&file_of(&one)).unwrap();
    assert!(open.sessions().unwrap()[0].ended.is_some());
    store.merge(&file_of(&other)).unwrap();
    assert_eq!(rows_of(&store), rows_of(&open), "and an open one opens none");
}

/// A directory with a journal of the first schema in it.
fn old_journal() -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    let sql = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/journal/schema-1.sql")).unwrap();
    Connection::open(file_of(&dir)).unwrap().execute_batch(&sql).unwrap();
    dir
}

fn names_in(dir: &TempDir) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.retain(|name| !name.ends_with("-wal") && !name.ends_with("-shm"));
    names.sort();
    names
}

#[test]
fn an_older_journal_is_brought_up_to_date_in_a_copy_before_it_is_merged() {
    let old = old_journal();
    let before = fs::read(file_of(&old)).unwrap();
    let (dir, mut store) = journal(&[3]);
    let n_reps = store.reps("ferry").unwrap().len();
    let merged = store.merge(&file_of(&old)).unwrap();
    assert_eq!(merged, Merged { n_sessions: 1, n_reps: 2, n_answers: 0 });
    assert_eq!(store.reps("ferry").unwrap().len(), n_reps + 2);
    assert_eq!(fs::read(file_of(&old)).unwrap(), before, "the file itself stays as it was");
    assert_eq!(names_in(&dir), [FILE_NAME], "nothing is left lying about");
    assert_eq!(names_in(&old), [FILE_NAME]);
    store.check().unwrap();
}

#[test]
fn an_older_journal_is_kept_beside_the_one_brought_up_to_date() {
    let dir = old_journal();
    let store = Store::open(dir.path()).unwrap();
    let kept = store.kept_old().unwrap().to_owned();
    drop(store);
    let version: i64 = Connection::open(&kept).unwrap().query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap();
    assert_eq!(version, 1);
    assert_eq!(Store::open(dir.path()).unwrap().kept_old(), None, "once");
    assert_eq!(names_in(&dir), ["journal-schema-1.db", FILE_NAME]);
    // What was kept is a journal that opens, or comes in again.
    let again = tempfile::tempdir().unwrap();
    fs::copy(&kept, file_of(&again)).unwrap();
    assert_eq!(Store::open(again.path()).unwrap().reps("ferry").unwrap().len(), 2);
    assert_eq!(Store::open(dir.path()).unwrap().merge(&kept).unwrap(), Merged::default());
}

#[test]
fn what_cannot_be_merged_is_refused_and_nothing_taken_in() {
    let (other, store) = journal(&[8]);
    drop(store);
    let refuse = |change: &str, words: &str| {
        let dir = tempfile::tempdir().unwrap();
        fs::copy(file_of(&other), file_of(&dir)).unwrap();
        let (own, mut store) = journal(&[5]);
        if words.contains("other contents") {
            store.merge(&file_of(&other)).unwrap();
        }
        let before = rows_of(&store);
        Connection::open(file_of(&dir)).unwrap().execute_batch(change).unwrap();
        let error = store.merge(&file_of(&dir)).unwrap_err();
        let message = format!("{:#}", anyhow_like(&error));
        assert!(message.contains(words) && message.contains("nothing was taken in"), "{change}: {message}");
        assert_eq!(rows_of(&store), before, "{change}");
        assert_eq!(names_in(&own), [FILE_NAME], "{change}");
        store.check().unwrap();
    };
    refuse("PRAGMA user_version = 99", "use the newer program on both machines");
    refuse("PRAGMA application_id = 7", "is not a journal of this program");
    refuse("PRAGMA foreign_keys = OFF; UPDATE rep SET session_id = 'nobody' WHERE rowid = 2", "belongs to nothing");
    refuse("UPDATE take SET smf = x'00'", "a take of the table take");
    refuse("UPDATE rep SET verdict = 'splendid' WHERE rowid = 1", "unknown word");
    refuse("UPDATE rep SET n_notes_due = n_notes_due + 1 WHERE rowid = 1", "of its rows of the table rep are here with other contents");
    let (_own, mut store) = journal(&[]);
    let missing = other.path().join("nowhere.db");
    assert!(store.merge(&missing).unwrap_err().to_string().contains("nowhere.db"));
    assert!(!missing.exists());
}

/// An error with its causes, as the program prints it.
fn anyhow_like(error: &dyn std::error::Error) -> String {
    std::iter::successors(Some(error), |e| e.source()).map(ToString::to_string).collect::<Vec<_>>().join(": ")
}

#[test]
fn a_backup_made_while_another_program_writes_is_whole() {
    let dir = tempfile::tempdir().unwrap();
    let (is_over, n_written) = (AtomicBool::new(false), AtomicUsize::new(0));
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut store = Store::open(dir.path()).unwrap();
            let piece = ferry();
            for seed in 0..400 {
                if is_over.load(Ordering::SeqCst) {
                    break;
                }
                Life { n_days: 1, ..life(&piece, seed) }.live(&mut store);
                n_written.fetch_add(1, Ordering::SeqCst);
            }
        });
        let backups = tempfile::tempdir().unwrap();
        let mut sizes = Vec::new();
        for nth in 0..12 {
            let store = Store::open(dir.path()).unwrap();
            let n_before = n_written.load(Ordering::SeqCst);
            let copied = tempfile::tempdir_in(backups.path()).unwrap();
            store.backup(&file_of(&copied)).unwrap();
            let copy = Store::open(copied.path()).unwrap();
            copy.check().unwrap();
            let sessions = copy.sessions().unwrap();
            assert!(sessions.len() >= n_before, "backup {nth} lacks what was there before it");
            assert!(sessions.iter().filter(|s| s.ended.is_none()).count() <= 1, "only the last session may be open");
            sizes.push(sessions.len());
        }
        is_over.store(true, Ordering::SeqCst);
        assert!(sizes.first() < sizes.last(), "the other program was writing: {sizes:?}");
    });
}

#[test]
fn a_backup_takes_no_other_files_place() {
    let (dir, store) = journal(&[1]);
    let taken = dir.path().join("piece.toml");
    fs::write(&taken, "title = \"mine\"").unwrap();
    let message = store.backup(&taken).unwrap_err().to_string();
    assert!(message.contains("piece.toml") && message.contains("another name"), "{message}");
    assert_eq!(fs::read_to_string(&taken).unwrap(), "title = \"mine\"");
    let message = anyhow_like(&store.backup(&dir.path().join("nowhere/backup.db")).unwrap_err());
    assert!(message.contains("nowhere"), "{message}");
    assert_eq!(names_in(&dir), [FILE_NAME, "piece.toml"]);
}

fn run(dir: &TempDir, args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_catchword"));
    command.arg("journal").args(args).arg("--data").arg(dir.path()).output().unwrap()
}

#[test]
fn the_commands_say_what_they_did() {
    let (one, store) = journal(&[1]);
    let (two, other) = journal(&[2]);
    let (n_one, n_two) = (store.reps("ferry").unwrap().len(), other.reps("ferry").unwrap().len());
    let said = |dir: &TempDir, args: &[&str]| {
        let output = run(dir, args);
        assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    let n_sessions = store.sessions().unwrap().len();
    assert_eq!(said(&one, &["check"]), format!("the journal is sound: {n_sessions} sessions, {n_one} reps\n"));
    let backup = two.path().join("safe.db").display().to_string();
    assert_eq!(said(&one, &["backup", &backup]), format!("all of the journal is in {backup}: {n_sessions} sessions, {n_one} reps\n"));
    let taken_in = said(&two, &["import", &backup]);
    assert!(taken_in.starts_with(&format!("taken in from {backup}: {n_sessions} sessions, {n_one} reps, ")), "{taken_in}");
    assert_eq!(said(&two, &["import", &backup]), format!("nothing in {backup} that is not here already\n"));
    assert_eq!(other.reps("ferry").unwrap().len(), n_one + n_two);

    let json = said(&two, &["export", "--json", "--piece", "ferry"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["rep"].as_array().unwrap().len(), n_one + n_two);
    assert!(
        json["rep"][0]["at"].as_str().unwrap().starts_with("2027-01-04T1")
            || json["rep"][0]["at"].as_str().unwrap().starts_with("2027-01-04T2")
    );
    let file = two.path().join("all.csv").display().to_string();
    assert_eq!(said(&two, &["export", "--csv", &file]), "");
    let n_records = csv::Reader::from_path(&file).unwrap().records().count();
    assert_eq!(n_records, rows_of(&other).len());
    for (args, code, words) in [
        (&["export", "--csv", &file][..], 1, "a name that no file has yet"),
        (&["export", "--json", "--piece", "fery"], 1, "nothing of \"fery\""),
        (&["export"], 2, "--csv"),
        (&["backup", &backup], 1, "another name"),
        (&["import", &file], 1, "is not a journal"),
    ] {
        let output = run(&two, args);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{args:?}: {said}");
        assert!(said.contains(words), "{args:?}: {said}");
    }
    let old = old_journal();
    let output = run(&old, &["check"]);
    assert!(String::from_utf8_lossy(&output.stderr).contains("as it was before, it is kept in"), "said");
    assert!(run(&old, &["check"]).stderr.is_empty(), "said once");
}
