//! Clocks that are set back, and summer time: the order of what was played, and that nothing falls out.

use std::path::Path;
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use catchword::journal::entry::{Entry, Mode, Rep, RepNumber, Verdict, Witness};
use catchword::journal::store::{NewSession, Store};
use catchword::midi::Take;
use catchword::time::Micros;

use super::player::{BREATH, Piece, Plain, play, said};

#[test]
fn sessions_in_other_time_zones_keep_their_own_time_of_day_and_are_all_read() {
    let piece = Piece::new(3);
    // POSIX time zones (IEEE 1003.1, "TZ"): the sign is that of UTC minus local. As on the night when summer time ends, and far away.
    for (zone, offset) in [("CEST-2", 7_200), ("CET-1", 3_600), ("FAR11", -39_600)] {
        let mut plain = Plain::run(piece.path(), piece.arguments(&piece.data()), &[("TZ", zone)]);
        plain.wait_for("section up", 1);
        play(&mut piece.wire(), 0..12, Duration::from_millis(10));
        sleep(BREATH);
        plain.wait_for("clean, ", 1);
        plain.say("quit");
        assert!(plain.wait_for_end().0.success());
        let store = Store::open(&piece.data()).unwrap();
        let (_, latest) = piece.reps(&store).pop().unwrap();
        assert_eq!(latest.at.offset().local_minus_utc(), offset, "{zone}");
    }
    let (code, out, _) = said(&["journal", "check"], &piece.data());
    assert_eq!((code, out.as_str()), (Some(0), "the journal is sound: 3 sessions, 3 reps\n"));
}

/// The machine's own clock, an hour back and a year ahead between two reps of one session.
#[test]
#[ignore = "sets the clock of the machine: tests/port_vm.sh"]
fn a_clock_that_is_set_while_somebody_plays_changes_no_rep() {
    assert!(Path::new("/modules/snd-virmidi.ko").exists(), "only in the virtual machine");
    let piece = Piece::new(3);
    let mut plain = Plain::start(&piece);
    plain.wait_for("section up", 1);
    for (nth, seconds) in [0, -3_600, 31_536_000, -31_536_000].into_iter().enumerate() {
        let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_secs() as i64;
        let set = Command::new("date").args(["-s", &format!("@{}", now + seconds)]).output().unwrap();
        assert!(set.status.success(), "{set:?}");
        play(&mut piece.wire(), 0..12, Duration::from_millis(30));
        plain.wait_for_verdicts(nth + 1);
        sleep(BREATH);
    }
    plain.say("quit");
    assert!(plain.wait_for_end().0.success());
    let store = Store::open(&piece.data()).unwrap();
    store.check().unwrap();
    let reps = piece.reps(&store);
    assert_eq!(reps.len(), 4);
    for (_, rep) in &reps {
        assert!((0.2..20.0).contains(&rep.length.secs_f64()), "{:?}", rep.length);
    }
    // The session's own clock goes on: reps follow one another by seconds, whatever the time of day was said to be.
    let gaps: Vec<i64> = reps.windows(2).map(|two| (two[1].1.at - two[0].1.at).num_seconds()).collect();
    assert!(gaps.iter().all(|gap| (0..60).contains(gap)), "{gaps:?}");
}

#[test]
fn a_clock_set_back_between_and_within_sessions_loses_and_breaks_nothing() {
    let piece = Piece::new(3);
    let mut store = Store::open(&piece.data()).unwrap();
    let key = piece.path().canonicalize().unwrap().file_name().unwrap().to_string_lossy().into_owned();
    // The second begins an hour before the first did, and ends before it began; the third a year before.
    for (number, (started, ended)) in [
        ("2026-10-25T02:40:00+02:00", "2026-10-25T02:10:00+01:00"),
        ("2026-10-25T01:30:00+02:00", "2026-10-25T01:00:00+02:00"),
        ("2025-10-25T02:30:00+01:00", "2026-10-25T03:00:00+01:00"),
    ]
    .into_iter()
    .enumerate()
    {
        let opened = NewSession {
            started: started.parse().unwrap(),
            piece_key: key.clone(),
            piece_title: "Steps".into(),
            program_version: "0.1.0".into(),
            seed: number as u64,
        };
        let session = store.begin_session(&opened).unwrap();
        for n in 0..2 {
            let started = Micros(i64::from(n) * 60_000_000);
            let rep = Rep {
                number: RepNumber(n),
                mode: Mode::Drill,
                span: "up".into(),
                bars: ("1".into(), "3".into()),
                started,
                ended: started + Micros(4_000_000),
                verdict: Verdict::Clean,
                witness: Witness::Heard,
                reason: None,
                happenings: Vec::new(),
                n_notes_due: 15,
                n_notes_right: 15,
                tempo: None,
                run: None,
                take: Take::default(),
            };
            store.append(session, &Entry::Rep(rep)).unwrap();
        }
        store.end_session(session, ended.parse().unwrap()).unwrap();
    }
    store.check().unwrap();
    let reps = store.reps(&key).unwrap();
    assert_eq!(reps.len(), 6);
    assert!(reps.windows(2).all(|two| two[0].1.at <= two[1].1.at), "oldest first, by the clock as it was");
    drop(store);
    let name = piece.path().to_string_lossy().into_owned();
    for words in [&["progress", &name][..], &["plan"], &["reps", &key], &["journal", "check"], &["journal", "export", "--json"]] {
        let (code, out, complaint) = said(words, &piece.data());
        assert_eq!(code, Some(0), "{words:?}: {out}{complaint}");
    }
}
