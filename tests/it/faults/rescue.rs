//! What the journal refused, written more than once and in any order: the same rows, once.

use catchword::journal::entry::{Answer, Entry, Mode, Outcome, QuestionKind, Rep, RepNumber, Spot, Verdict, Witness};
use catchword::journal::store::{EntryId, Merged, NewSession, SessionId, Store, rescue_path};
use catchword::midi::{Channel, MidiEvent, MidiKey, Take, Velocity};
use catchword::time::{Micros, Stamped};

fn a_session() -> NewSession {
    NewSession {
        started: "2026-03-01T20:15:00+01:00".parse().unwrap(),
        piece_key: "ferry".into(),
        piece_title: "The Ferry at Low Water".into(),
        program_version: "0.1.0".into(),
        seed: 1,
    }
}

fn a_rep(number: u32) -> (EntryId, Entry) {
    let started = Micros(i64::from(number) * 10_000_000);
    let note = MidiEvent::NoteOn { channel: Channel(0), key: MidiKey::try_new(62).unwrap(), velocity: Velocity(70) };
    let rep = Rep {
        number: RepNumber(number),
        mode: Mode::Drill,
        span: "casting off".into(),
        bars: ("1".into(), "4".into()),
        started,
        ended: started + Micros(5_000_000),
        verdict: Verdict::Clean,
        witness: Witness::Heard,
        reason: None,
        happenings: Vec::new(),
        n_notes_due: 1,
        n_notes_right: 1,
        tempo: None,
        run: None,
        take: [Stamped { at: started, what: note }].into_iter().collect(),
    };
    (EntryId::new(), Entry::Rep(rep))
}

fn an_answer() -> (EntryId, Entry) {
    let answer = Answer {
        number: 0,
        kind: QuestionKind::ColdStart,
        place: "5.1".into(),
        asked: Micros(20_000_000),
        first_right: None,
        ended: Micros(25_000_000),
        outcome: Outcome::OutOfTime,
        witness: Witness::Told,
        n_notes_between: None,
        happenings: Vec::new(),
        take: Take::default(),
    };
    (EntryId::new(), Entry::Answer(answer))
}

/// What is refused: a later word on a rep that is in the journal, a rep, a word on that one and on an answer, and a place put off.
fn refused() -> [(EntryId, Entry); 5] {
    let overruled = |rep, verdict| (EntryId::new(), Entry::Overruled { rep: RepNumber(rep), verdict, at: Micros(30_000_000) });
    let spot = Spot { at: Micros(31_000_000), place: "2.1".into(), hand: None, text: None, typed: None };
    let of_answer = Entry::AnswerOverruled { answer: 0, outcome: Outcome::Failed, at: Micros(30_000_000) };
    [
        overruled(0, Verdict::Broken),
        a_rep(1),
        overruled(1, Verdict::Prompted),
        (EntryId::new(), of_answer),
        (EntryId::new(), Entry::Spot(spot)),
    ]
}

fn rows(store: &Store) -> Vec<String> {
    let mut rows = Vec::new();
    let mut each = |table: &catchword::journal::row::Table, row| {
        rows.push(format!("{} {row:?}", table.name));
        Ok::<(), catchword::journal::store::Error>(())
    };
    store.each_row(None, &mut each).unwrap();
    rows
}

#[test]
fn what_was_rescued_is_the_same_rows_whichever_way_it_comes_in() {
    let dir = tempfile::tempdir().unwrap();
    let opened = a_session();
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&opened).unwrap();
    let first = [a_rep(0), an_answer()];
    first.iter().for_each(|(id, entry)| store.append_as(*id, session, entry).unwrap());
    let refused = refused();
    let file = rescue_path(dir.path(), session);
    // Rescued as it grows: the later file takes the place of the earlier one.
    for n in 1..=refused.len() {
        store.rescue(session, &opened, &refused[..n], &file).unwrap();
    }
    let mut by_hand = Store::open_in_memory().unwrap();
    by_hand.begin_session_as(session, &opened).unwrap();
    for (id, entry) in first.iter().chain(&refused) {
        by_hand.append_as(*id, session, entry).unwrap();
    }
    let expected = rows(&by_hand);
    assert_eq!(expected.len(), 1 + 2 * 2 + 1 + 3 + 1, "a session, two reps with their takes, an answer, three words and a place");

    // On disk, with the rescued file left beside the journal by a program that was killed.
    let elsewhere = dir.path().join("elsewhere.db");
    std::fs::rename(&file, &elsewhere).unwrap();
    let mut on_disk = Store::open(dir.path()).unwrap();
    on_disk.begin_session_as(session, &opened).unwrap();
    first.iter().for_each(|(id, entry)| on_disk.append_as(*id, session, entry).unwrap());
    drop(on_disk);
    std::fs::rename(&elsewhere, &file).unwrap();
    let mut on_disk = Store::open(dir.path()).unwrap();
    assert_eq!(on_disk.recovered().lines(), ["what the journal refused last time is in it now"]);
    assert!(!file.exists());
    on_disk.begin_session_as(session, &opened).unwrap();
    for (id, entry) in first.iter().chain(&refused).chain(&refused) {
        on_disk.append_as(*id, session, entry).unwrap();
    }
    assert_eq!(rows(&on_disk), expected, "first merged, then written, and written again");

    store.rescue(session, &opened, &refused, &file).unwrap();
    drop(on_disk);
    let on_disk = Store::open(dir.path()).unwrap();
    assert_eq!(on_disk.recovered().lines(), [""; 0], "nothing new");
    assert_eq!(rows(&on_disk), expected, "and merged once more");
    assert_eq!(Store::open(dir.path()).unwrap().merge(&dir.path().join("journal.db")).unwrap(), Merged::default());
    on_disk.check().unwrap();
}

#[test]
fn a_rescue_that_cannot_be_written_leaves_the_one_before_it() {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open_in_memory().unwrap();
    let session = SessionId(uuid::Uuid::now_v7());
    let message = store.rescue(session, &a_session(), &[], &dir.path().join("nowhere/rescue.db")).unwrap_err().to_string();
    assert!(message.contains("nothing is left there"), "{message}");
    // A file that is no journal is told of at every start, and stays.
    let file = rescue_path(dir.path(), session);
    std::fs::write(&file, "not a journal").unwrap();
    for _ in 0..2 {
        let lines = Store::open(dir.path()).unwrap().recovered().lines();
        assert!(lines.len() == 1 && lines[0].contains("it is not a journal of this program"), "{lines:?}");
    }
    assert!(file.exists());
}
