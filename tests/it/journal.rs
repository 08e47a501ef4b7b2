//! The journal on disk: what is appended comes back, whatever happens in between.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread;

use catchword::journal::entry::{
    Answer, BarPace, Entry, Happening, Lapse, Mode, Outcome, QuestionKind, Reason, Recovery, Rep, RepNumber, Run, Spot, Verdict, Witness,
};
use catchword::journal::stats::{DatedAnswer, by_span};
use catchword::journal::store::{Error, FILE_NAME, NewSession, SessionId, Store};
use catchword::midi::{Channel, MidiEvent, MidiKey, Take, Velocity};
use catchword::time::{Micros, Stamped};
use proptest::prelude::*;

fn a_session(piece: &str) -> NewSession {
    NewSession {
        started: "2026-03-01T20:15:00.123456+01:00".parse().unwrap(),
        piece_key: piece.into(),
        piece_title: "The Ferry at Low Water".into(),
        program_version: "0.1.0".into(),
        seed: u64::MAX - 1,
    }
}

fn a_rep(number: u32) -> Rep {
    let event = |at, what| Stamped { at: Micros(at), what };
    let (channel, key) = (Channel(0), MidiKey::try_new(62).unwrap());
    let take = [
        event(5_000_001, MidiEvent::NoteOn { channel, key, velocity: Velocity(70) }),
        event(5_400_000, MidiEvent::Control { channel, controller: 67, value: 127 }),
        event(5_999_999, MidiEvent::NoteOff { channel, key }),
    ];
    Rep {
        number: RepNumber(number),
        mode: Mode::Drill,
        span: "casting off".into(),
        bars: ("1".into(), "4".into()),
        started: Micros(5_000_001),
        ended: Micros(13_000_000),
        verdict: Verdict::Broken,
        witness: Witness::Heard,
        reason: Some(Reason { place: "3.2".into(), kind: "wrong", words: "bar 3, beat 2, left hand".into() }),
        happenings: vec![
            Happening { at: Micros(7_000_000), kind: "hesitation", place: "2.3".into(), hand: None, setting: None },
            Happening { at: Micros(8_000_000), kind: "wrong", place: "3.2".into(), hand: Some("left"), setting: None },
        ],
        n_notes_due: 30,
        n_notes_right: 29,
        tempo: Some(93.5),
        run: None,
        take: take.into_iter().collect(),
    }
}

#[test]
fn a_rep_comes_back_with_its_date_its_happenings_and_its_take() {
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&a_session("ferry")).unwrap();
    let rep = a_rep(0);
    store.append(session, &Entry::Rep(rep.clone())).unwrap();
    store.end_session(session, "2026-03-01T20:40:00+01:00".parse().unwrap()).unwrap();

    let reps = store.reps("ferry").unwrap();
    let (id, dated) = &reps[0];
    assert_eq!(reps.len(), 1);
    assert_eq!(dated.at.to_rfc3339(), "2026-03-01T20:15:05.123457+01:00", "the session's start and the rep's own time, with the offset");
    assert_eq!((dated.mode, dated.span.as_str(), &dated.bars), (Mode::Drill, "casting off", &rep.bars));
    assert_eq!((dated.length, dated.tempo), (Micros(7_999_999), Some(93.5)));
    assert_eq!((dated.judged, dated.verdict), (Verdict::Broken, Verdict::Broken));
    assert_eq!(dated.failed, Some(("3.2".into(), "wrong".into())));
    assert_eq!((dated.n_notes_due, dated.n_notes_right), (30, 29));
    let happenings = store.happenings(*id).unwrap();
    let kinds: Vec<_> = happenings.iter().map(|h| (h.at, h.kind.as_str(), h.place.as_str(), h.hand.as_deref())).collect();
    assert_eq!(kinds, [(Micros(7_000_000), "hesitation", "2.3", None), (Micros(8_000_000), "wrong", "3.2", Some("left"))]);
    assert_eq!(store.take(*id).unwrap(), Some(rep.take));
    assert!(store.take_smf(*id).unwrap().unwrap().starts_with(b"MThd"));

    let sessions = store.sessions().unwrap();
    assert_eq!((&sessions[0].opened, sessions[0].n_reps), (&a_session("ferry"), 1));
    assert_eq!(sessions[0].ended.unwrap().to_rfc3339(), "2026-03-01T20:40:00+01:00");
    assert!(store.reps("another").unwrap().is_empty());
    store.check().unwrap();
}

#[test]
fn the_players_last_word_on_a_verdict_holds_and_the_judgement_stays_on_record() {
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&a_session("ferry")).unwrap();
    store.append(session, &Entry::Rep(a_rep(0))).unwrap();
    store.append(session, &Entry::Rep(a_rep(1))).unwrap();
    for (at, verdict) in [(14_000_000, Verdict::Prompted), (14_000_001, Verdict::Clean)] {
        store.append(session, &Entry::Overruled { rep: RepNumber(1), verdict, at: Micros(at) }).unwrap();
    }
    let reps: Vec<_> = store.reps("ferry").unwrap().into_iter().map(|(_, r)| r).collect();
    assert_eq!((reps[0].judged, reps[0].verdict), (Verdict::Broken, Verdict::Broken));
    assert_eq!((reps[1].judged, reps[1].verdict), (Verdict::Broken, Verdict::Clean));
    let counts = by_span(&reps);
    assert_eq!((counts[0].n_reps, counts[0].n_clean, counts[0].n_broken), (2, 1, 1));
    let message = store.append(session, &Entry::Overruled { rep: RepNumber(9), verdict: Verdict::Clean, at: Micros(0) }).unwrap_err();
    assert_eq!(message.to_string(), "cannot overrule rep 9 in the journal (in memory): the session has no such rep");
}

#[test]
fn an_entry_is_written_whole_or_not_at_all() {
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&a_session("ferry")).unwrap();
    store.append(session, &Entry::Rep(a_rep(0))).unwrap();
    assert!(matches!(store.append(session, &Entry::Rep(a_rep(0))), Err(Error::Sql { .. })), "a number serves once");
    let stray = SessionId(uuid::Uuid::now_v7());
    assert!(matches!(store.append(stray, &Entry::Rep(a_rep(1))), Err(Error::Sql { .. })), "no session, no rep");
    assert_eq!(store.reps("ferry").unwrap().len(), 1);
    store.check().unwrap();
    store.append(session, &Entry::Rep(a_rep(1))).unwrap();
}

fn an_answer(number: u32) -> Answer {
    Answer {
        number,
        kind: QuestionKind::Jump,
        place: "5.1".into(),
        asked: Micros(60_000_000),
        first_right: Some(Micros(62_500_000)),
        ended: Micros(66_000_000),
        outcome: Outcome::Held,
        witness: Witness::Heard,
        n_notes_between: Some(3),
        happenings: a_rep(0).happenings,
        take: a_rep(0).take,
    }
}

#[test]
fn an_answer_comes_back_with_its_recall_time() {
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&a_session("ferry")).unwrap();
    store.append(session, &Entry::Answer(an_answer(0))).unwrap();
    let unheard = Answer {
        kind: QuestionKind::ColdStart,
        first_right: None,
        outcome: Outcome::OutOfTime,
        witness: Witness::Told,
        n_notes_between: None,
        take: Take::default(),
        ..an_answer(1)
    };
    store.append(session, &Entry::Answer(unheard)).unwrap();
    let expected = DatedAnswer {
        at: "2026-03-01T20:16:00.123456+01:00".parse().unwrap(),
        kind: QuestionKind::Jump,
        place: "5.1".into(),
        recall: Some(Micros(2_500_000)),
        length: Micros(6_000_000),
        outcome: Outcome::Held,
        witness: Witness::Heard,
        n_notes_between: Some(3),
    };
    let answers = store.answers("ferry").unwrap();
    assert_eq!(answers[0], expected);
    assert_eq!((answers[1].recall, answers[1].outcome, answers[1].witness), (None, Outcome::OutOfTime, Witness::Told));
    assert_eq!(answers.len(), 2);
    assert!(store.answers("another").unwrap().is_empty());
    assert!(matches!(store.append(session, &Entry::Answer(an_answer(0))), Err(Error::Sql { .. })), "a number serves once");
    store.check().unwrap();
}

#[test]
fn a_run_through_comes_back_held_or_not() {
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&a_session("ferry")).unwrap();
    let lapse = Lapse {
        at: Micros(8_000_000),
        place: "3.2".into(),
        kind: "hesitation",
        recovery: Recovery::Landmark,
        going_at: Some("5.1".into()),
        lost: Micros(2_000_000),
    };
    let run = Run { n_bars: 24, n_bars_played: 22, is_held: true, lapses: vec![lapse], bars: vec![], by_reading: false };
    for (number, run) in [(0, Some(run)), (1, None)] {
        store.append(session, &Entry::Rep(Rep { mode: Mode::RunThrough, run, ..a_rep(number) })).unwrap();
    }
    let held: Vec<_> = store.reps("ferry").unwrap().into_iter().map(|(_, r)| (r.mode, r.is_held)).collect();
    assert_eq!(held, [(Mode::RunThrough, Some(true)), (Mode::RunThrough, None)]);
    assert_eq!(store.latest_pace("ferry").unwrap(), None, "too short to tell");
    let bars: Vec<BarPace> = [("1", 1000), ("2", 870), ("1", 1012)].map(|(bar, permille)| BarPace { bar: bar.into(), permille }).into();
    let steady = Run { n_bars: 3, n_bars_played: 3, is_held: true, lapses: vec![], bars: bars.clone(), by_reading: true };
    store.append(session, &Entry::Rep(Rep { mode: Mode::RunThrough, run: Some(steady), ..a_rep(2) })).unwrap();
    let pace = store.latest_pace("ferry").unwrap().unwrap();
    assert_eq!((pace.by_reading, pace.bars), (true, bars));
    assert_eq!(store.latest_pace("another").unwrap(), None);
    store.check().unwrap();
}

#[test]
fn the_players_last_word_on_an_answer_holds_as_told_and_what_was_heard_stays_on_record() {
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&a_session("ferry")).unwrap();
    for number in [0, 1] {
        let answer = Answer { outcome: Outcome::Failed, witness: Witness::Heard, ..an_answer(number) };
        store.append(session, &Entry::Answer(answer)).unwrap();
    }
    for (at, outcome) in [(20_000_000, Outcome::Held), (20_000_001, Outcome::Failed), (20_000_002, Outcome::Held)] {
        store.append(session, &Entry::AnswerOverruled { answer: 1, outcome, at: Micros(at) }).unwrap();
    }
    let told: Vec<_> = store.answers("ferry").unwrap().into_iter().map(|a| (a.outcome, a.witness)).collect();
    assert_eq!(told, [(Outcome::Failed, Witness::Heard), (Outcome::Held, Witness::Told)]);
    let wrong = Entry::AnswerOverruled { answer: 9, outcome: Outcome::Held, at: Micros(0) };
    let message = store.append(session, &wrong).unwrap_err().to_string();
    assert_eq!(message, "cannot overrule answer 9 in the journal (in memory): the session has no such answer");
    store.check().unwrap();
    let overruled = store.tables().unwrap().into_iter().find(|t| t.name == "answer_overrule").expect("it is exported and merged");
    assert_eq!(overruled.columns, ["id", "answer_id", "at_us", "outcome"]);
}

#[test]
fn a_place_put_off_waits_until_its_line_of_story_is_told() {
    let mut store = Store::open_in_memory().unwrap();
    let first = store.begin_session(&a_session("ferry")).unwrap();
    let spot = |at: i64, place: &str, text: Option<&str>| {
        Entry::Spot(Spot { at: Micros(at), place: place.into(), hand: Some("left"), text: text.map(str::to_owned), typed: None })
    };
    store.append(first, &spot(1, "3.2", None)).unwrap();
    store.append(first, &spot(2, "5.1", None)).unwrap();
    let later = NewSession { started: "2026-03-02T08:00:00+01:00".parse().unwrap(), ..a_session("ferry") };
    let second = store.begin_session(&later).unwrap();
    let left = |place: &str| (place.to_owned(), Some("left".to_owned()));
    assert_eq!(store.open_spots("ferry").unwrap(), [left("3.2"), left("5.1")]);
    store.append(second, &spot(1, "3.2", Some("thumb stays home"))).unwrap();
    assert_eq!(store.open_spots("ferry").unwrap(), [left("5.1")]);
    store.append(second, &spot(3, "3.2", None)).unwrap();
    assert_eq!(store.open_spots("ferry").unwrap(), [left("5.1"), left("3.2")], "put off anew");
    let begun = |at, typed: Option<&str>| {
        Entry::Spot(Spot { at: Micros(at), place: "5.1".into(), hand: Some("left"), text: None, typed: typed.map(str::to_owned) })
    };
    store.append(second, &begun(4, Some("thumb st"))).unwrap();
    let lines = [("5.1".to_owned(), Some("left".to_owned()), "thumb st".to_owned())];
    assert_eq!(store.unfinished_lines("ferry").unwrap(), lines);
    store.append(second, &begun(5, None)).unwrap();
    assert_eq!(store.unfinished_lines("ferry").unwrap(), [], "wiped");
    store.check().unwrap();
}

fn an_event() -> impl Strategy<Value = MidiEvent> {
    let channel = (0u8..16).prop_map(Channel);
    let key = (0i32..128).prop_map(|k| MidiKey::try_new(k).unwrap());
    prop_oneof![
        (channel.clone(), key.clone(), 1u8..128).prop_map(|(channel, key, v)| MidiEvent::NoteOn { channel, key, velocity: Velocity(v) }),
        (channel.clone(), key).prop_map(|(channel, key)| MidiEvent::NoteOff { channel, key }),
        (channel, 0u8..120, 0u8..128).prop_map(|(channel, controller, value)| MidiEvent::Control { channel, controller, value }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_take_at_any_time_of_a_session_comes_back_to_the_microsecond(
        first in 0i64..7_200_000_000,
        events in prop::collection::vec((0i64..3_000_000, an_event()), 0..40),
    ) {
        let mut at = first;
        let take: Take = events.into_iter().map(|(gap, what)| { at += gap; Stamped { at: Micros(at), what } }).collect();
        let mut store = Store::open_in_memory().unwrap();
        let session = store.begin_session(&a_session("x")).unwrap();
        store.append(session, &Entry::Rep(Rep { take: take.clone(), ..a_rep(0) })).unwrap();
        let (id, _) = store.reps("x").unwrap()[0];
        prop_assert_eq!(store.take(id).unwrap(), (!take.is_empty()).then_some(take));
    }
}

#[test]
fn two_programs_write_into_one_journal() {
    let dir = tempfile::tempdir().unwrap();
    let write = |piece: &'static str| {
        let dir = dir.path().to_owned();
        thread::spawn(move || {
            // Both open at once, so that both find a new file to set up.
            let mut store = Store::open(&dir).unwrap();
            let session = store.begin_session(&a_session(piece)).unwrap();
            (0..100).for_each(|n| store.append(session, &Entry::Rep(a_rep(n))).unwrap());
        })
    };
    let writers = [write("left"), write("right"), write("third")];
    writers.into_iter().for_each(|w| w.join().unwrap());
    let store = Store::open(dir.path()).unwrap();
    for piece in ["left", "right", "third"] {
        assert_eq!(store.reps(piece).unwrap().len(), 100, "{piece}");
    }
    store.check().unwrap();
}

#[test]
fn every_acknowledged_rep_survives_a_kill_in_mid_writing() {
    for n_before_kill in [1, 7, 40] {
        let dir = tempfile::tempdir().unwrap();
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--ignored", "--exact", "journal::writes_until_it_is_killed", "--nocapture"])
            .env(CHILD_DIR, dir.path())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines().map(Result::unwrap).filter(|l| l.starts_with("ack "));
        let mut acknowledged: Vec<String> = lines.by_ref().take(n_before_kill).collect();
        // SIGKILL on Unix, TerminateProcess on Windows: nothing of the child runs after it.
        child.kill().unwrap();
        child.wait().unwrap();
        acknowledged.extend(lines);
        assert!(acknowledged.len() >= n_before_kill, "the child wrote only {acknowledged:?}");

        let store = Store::open(dir.path()).unwrap();
        store.check().unwrap();
        let reps = store.reps("killed").unwrap();
        assert!(reps.len() >= acknowledged.len(), "{} reps for {} acknowledged", reps.len(), acknowledged.len());
        for (number, (id, rep)) in reps.iter().enumerate() {
            assert_eq!(rep.n_notes_due as usize, number, "in order, without a gap");
            assert_eq!(store.happenings(*id).unwrap().len(), 2);
            assert_eq!(store.take(*id).unwrap(), Some(a_rep(0).take));
        }
        assert_eq!(store.sessions().unwrap()[0].ended, None, "the session was cut short and says so");
    }
}

const CHILD_DIR: &str = "CATCHWORD_TEST_JOURNAL_DIR";

/// Not a test of its own: the process that the test above starts and kills.
#[test]
#[ignore = "the child process of every_acknowledged_rep_survives_a_kill_in_mid_writing"]
fn writes_until_it_is_killed() {
    let Some(dir) = std::env::var_os(CHILD_DIR) else { return };
    let mut store = Store::open(Path::new(&dir)).unwrap();
    let session = store.begin_session(&a_session("killed")).unwrap();
    // Bounded, so that a lost parent does not leave it writing for ever.
    for number in 0..20_000 {
        store.append(session, &Entry::Rep(Rep { n_notes_due: number, ..a_rep(number) })).unwrap();
        writeln!(std::io::stderr(), "ack {number}").unwrap();
    }
}

#[test]
fn a_journal_of_a_newer_program_is_refused_unharmed() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join(FILE_NAME);
    drop(Store::open(dir.path()).unwrap());
    rusqlite::Connection::open(&file).unwrap().execute_batch("PRAGMA user_version = 99; CREATE TABLE future (x);").unwrap();
    let before = fs::read(&file).unwrap();
    let error = Store::open(dir.path()).unwrap_err();
    assert!(matches!(error, Error::Newer { found: 99, .. }), "{error}");
    let message = error.to_string();
    assert!(message.contains("newer version") && message.contains("use the newer program") && message.contains("journal.db"), "{message}");
    assert_eq!(fs::read(&file).unwrap(), before);
}

#[test]
fn a_file_that_is_no_journal_is_refused_unharmed() {
    let other = tempfile::tempdir().unwrap();
    let database = other.path().join("other.db");
    rusqlite::Connection::open(&database).unwrap().execute_batch("CREATE TABLE recipe (name);").unwrap();
    let newer_foreign = other.path().join("newer.db");
    rusqlite::Connection::open(&newer_foreign).unwrap().execute_batch("CREATE TABLE x (y); PRAGMA user_version = 9;").unwrap();
    for content in [fs::read(&database).unwrap(), fs::read(&newer_foreign).unwrap(), b"Dear diary, today I practised. ".repeat(40)] {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join(FILE_NAME);
        fs::write(&file, &content).unwrap();
        let error = Store::open(dir.path()).unwrap_err();
        assert!(matches!(error, Error::Foreign { .. }), "{error}");
        assert_eq!(fs::read(&file).unwrap(), content);
    }
}

#[test]
fn a_directory_that_cannot_be_made_is_named_with_the_way_out() {
    let dir = tempfile::tempdir().unwrap();
    let in_the_way = dir.path().join("notes.txt");
    fs::write(&in_the_way, "x").unwrap();
    let message = Store::open(&in_the_way.join("data")).unwrap_err().to_string();
    assert!(message.contains("notes.txt") && message.contains("--data"), "{message}");
}

/// Every schema that was ever released is kept as SQL text in `tests/data/journal` and must open.
#[test]
fn journals_of_every_past_schema_open_with_all_that_is_in_them() {
    let kept = fs::read_dir(format!("{}/tests/data/journal", env!("CARGO_MANIFEST_DIR"))).unwrap();
    let kept: Vec<_> = kept.map(|e| e.unwrap().path()).filter(|p| p.extension().is_some_and(|e| e == "sql")).collect();
    assert!(!kept.is_empty());
    for schema in kept {
        let dir = tempfile::tempdir().unwrap();
        let sql = fs::read_to_string(&schema).unwrap();
        rusqlite::Connection::open(dir.path().join(FILE_NAME)).unwrap().execute_batch(&sql).unwrap();
        let whole = tempfile::tempdir().unwrap();
        let salvaged = Store::salvage(dir.path(), &whole.path().join(FILE_NAME)).unwrap();
        assert_eq!((salvaged.n_broken_tables, salvaged.n_orphans), (0, 0), "a table that it never had is not broken");
        assert_eq!(
            Store::open(whole.path()).unwrap().reps("ferry").unwrap().len(),
            2,
            "what can be read of it, before it is brought up to date"
        );
        let mut store = Store::open(dir.path()).unwrap();
        store.check().unwrap();
        let reps = store.reps("ferry").unwrap();
        let verdicts: Vec<_> = reps.iter().map(|(_, r)| (r.judged, r.verdict)).collect();
        assert_eq!(verdicts, [(Verdict::Broken, Verdict::Clean), (Verdict::Clean, Verdict::Clean)]);
        assert_eq!(store.take(reps[0].0).unwrap(), Some(a_rep(0).take));
        assert_eq!(store.happenings(reps[0].0).unwrap().len(), 2);
        let session = store.begin_session(&a_session("ferry")).unwrap();
        store.append(session, &Entry::Rep(a_rep(0))).unwrap();
        assert_eq!(store.reps("ferry").unwrap().len(), 3);
    }
}

#[test]
fn the_check_finds_a_word_it_does_not_know_a_lost_link_and_a_broken_take() {
    for damage in [
        "UPDATE rep SET verdict = 'splendid'",
        "UPDATE take SET smf = x'00'",
        "PRAGMA foreign_keys = OFF; UPDATE happening SET rep_id = 'nobody'",
        "UPDATE rep SET id = 'not-an-id' WHERE id NOT IN (SELECT rep_id FROM take)",
    ] {
        let dir = tempfile::tempdir().unwrap();
        let mut store = Store::open(dir.path()).unwrap();
        let session = store.begin_session(&a_session("ferry")).unwrap();
        store.append(session, &Entry::Rep(a_rep(0))).unwrap();
        let bare = Rep { take: Take::default(), happenings: vec![], ..a_rep(1) };
        store.append(session, &Entry::Rep(bare)).unwrap();
        store.check().unwrap();
        rusqlite::Connection::open(dir.path().join(FILE_NAME)).unwrap().execute_batch(damage).unwrap();
        assert!(store.check().is_err(), "{damage}");
    }
}
