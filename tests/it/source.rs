//! Sources end to end: raw streams through real FIFOs and ptys, takes played again, the words of refusals.

use std::time::{Duration, Instant};

use catchword::clock::SessionClock;
use catchword::midi::{Channel, MidiEvent, MidiKey, Take, Velocity};
use catchword::source::replay::{Pace, Replay, read_take};
use catchword::source::{Running, Signal, Source};
use catchword::time::{Micros, Stamped};
use crossbeam_channel::{Receiver, bounded};

fn key(k: u8) -> MidiKey {
    MidiKey::try_new(k.into()).unwrap()
}

fn on(k: u8) -> MidiEvent {
    MidiEvent::NoteOn { channel: Channel(0), key: key(k), velocity: Velocity(64) }
}

fn start(source: impl Source + 'static, room: usize) -> (SessionClock, Receiver<Signal>, Running) {
    let clock = SessionClock::start();
    let (out, received) = bounded(room);
    let running = Box::new(source).start(clock, out).unwrap();
    (clock, received, running)
}

/// Waits for a signal; a quarter of a minute stands for never.
fn next(received: &Receiver<Signal>) -> Signal {
    received.recv_timeout(Duration::from_secs(15)).expect("a signal comes")
}

fn next_event(received: &Receiver<Signal>) -> Stamped<MidiEvent> {
    match next(received) {
        Signal::Midi(event) => event,
        other => panic!("expected an event, got {other:?}"),
    }
}

/// A take of `n` notes, `gap` apart, from `from` on.
fn take_of(n: u8, from: i64, gap: i64) -> Take {
    (0..n).map(|i| Stamped { at: Micros(from + gap * i64::from(i)), what: on(40 + i) }).collect()
}

#[test]
fn fast_replay_gives_the_take_and_ends() {
    let take = take_of(50, 7_000_000, 400_000);
    // Less room than events: a fast replay waits for its receiver and drops nothing.
    let (_, received, _running) = start(Replay::new("take", take.clone(), Pace::Fast), 3);
    let signals: Vec<Signal> = received.iter().collect();
    let (last, events) = signals.split_last().unwrap();
    assert_eq!(*last, Signal::Ended);
    assert_eq!(events, take.events().iter().map(|&e| Signal::Midi(e)).collect::<Vec<_>>());
}

#[test]
fn real_time_replay_keeps_the_take_s_own_distances() {
    let take = take_of(5, 7_000_000, 60_000);
    let (clock, received, _running) = start(Replay::new("take", take, Pace::RealTime), 8);
    let mut stamps = Vec::new();
    for _ in 0..5 {
        let event = next_event(&received);
        let late = clock.now() - event.at;
        assert!((Micros::ZERO..Micros::from_millis(500)).contains(&late), "arrives when it happens: {late:?}");
        stamps.push(event.at);
    }
    assert!(stamps.windows(2).all(|w| w[1] - w[0] == Micros(60_000)), "{stamps:?}");
    assert_eq!(next(&received), Signal::Ended);
}

#[test]
fn dropping_a_replay_stops_it_at_once() {
    // An hour between two notes; and a fast one whose receiver takes nothing.
    for (take, pace) in [(take_of(2, 0, 3_600_000_000), Pace::RealTime), (take_of(9, 0, 1), Pace::Fast)] {
        let (_, received, running) = start(Replay::new("take", take, pace), 1);
        next(&received);
        let from = Instant::now();
        drop(running);
        assert!(from.elapsed() < Duration::from_secs(2));
    }
}

#[test]
fn take_kept_as_midi_file_replays_as_recorded() {
    let take = take_of(20, 1_234_567, 333_333);
    let kept = catchword::import::smf::write_take(&take);
    assert_eq!(read_take(&kept, "take.mid").unwrap(), take);
    let lines = catchword::source::replay::write_take_lines(&take);
    assert_eq!(read_take(lines.as_bytes(), "take.jsonl").unwrap(), take);
}

#[cfg(unix)]
mod stream {
    use std::fs::{self, File, OpenOptions};
    use std::io::Write;
    use std::os::unix::fs::symlink;
    use std::path::{Path, PathBuf};
    use std::process::Command;

    use catchword::source::stream::Stream;
    use portable_pty::{MasterPty, PtySize, native_pty_system};
    use tempfile::TempDir;

    use super::*;

    fn fifo() -> (TempDir, PathBuf) {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("harp");
        assert!(Command::new("mkfifo").arg(&path).status().unwrap().success());
        (dir, path)
    }

    fn writer(path: &Path) -> File {
        OpenOptions::new().write(true).open(path).unwrap()
    }

    #[test]
    fn fifo_brings_notes_stamped_as_they_arrive() {
        let (_dir, path) = fifo();
        let (clock, received, _running) = start(Stream::new(&path), 64);
        let mut wire = writer(&path);
        let mut delays = Vec::new();
        for i in 0..100u8 {
            let written = clock.now();
            // Running status after the first, active sensing inside every message.
            let message: &[u8] = if i == 0 { &[0x90, 0xFE, i, 64] } else { &[i, 0xFE, 64] };
            wire.write_all(message).unwrap();
            let event = next_event(&received);
            assert_eq!(event.what, on(i));
            assert!(event.at >= written);
            delays.push(event.at - written);
        }
        delays.sort();
        println!("from the write to the stamp: median {:?}, 99th of 100 {:?}", delays[50], delays[98]);
        // A few tens of microseconds on an idle machine; the bound leaves room for one busy with other tests.
        assert!(delays[50] < Micros::from_millis(5), "median {:?}", delays[50]);
    }

    #[test]
    fn writer_of_a_fifo_gone_and_back_is_told_and_the_session_goes_on() {
        let (_dir, path) = fifo();
        let name = path.display().to_string();
        let (_, received, _running) = start(Stream::new(&path), 64);
        for round in 0..3 {
            let mut wire = writer(&path);
            wire.write_all(&[0x90, 60, 64, 62]).unwrap();
            if round > 0 {
                assert_eq!(next(&received), Signal::Back { what: name.clone() });
            }
            assert_eq!(next_event(&received).what, on(60));
            // Half a message is left hanging: it must not join what the next writer sends.
            let from = Instant::now();
            drop(wire);
            assert_eq!(next(&received), Signal::Gone { what: name.clone() });
            assert!(from.elapsed() < Duration::from_secs(2), "noticed within 2 s");
        }
    }

    #[test]
    fn silent_writer_is_noticed_within_two_seconds() {
        let (_dir, path) = fifo();
        let (_, received, _running) = start(Stream::new(&path), 64);
        let mut wire = writer(&path);
        wire.write_all(&[0x90, 60, 64]).unwrap();
        next_event(&received);
        drop(wire);
        assert!(matches!(next(&received), Signal::Gone { .. }));
        let _silent = writer(&path);
        assert!(matches!(received.recv_timeout(Duration::from_secs(2)), Ok(Signal::Back { .. })));
    }

    #[test]
    fn burst_beyond_the_receiver_is_counted_not_lost_in_silence() {
        let (_dir, path) = fifo();
        let (_, received, _running) = start(Stream::new(&path), 16);
        let mut wire = writer(&path);
        const N: usize = 5000;
        wire.write_all(&[0x90, 60, 64].repeat(N)).unwrap();
        // The receiver looks only after the burst.
        std::thread::sleep(Duration::from_millis(200));
        drop(wire);
        let (mut heard, mut dropped) = (0, 0);
        loop {
            match next(&received) {
                Signal::Midi(_) => heard += 1,
                Signal::Dropped { n_events } => dropped += n_events as usize,
                Signal::Gone { .. } => break,
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(heard + dropped, N);
        assert!(dropped > 0);
    }

    #[test]
    fn stopping_never_hangs_with_or_without_a_writer() {
        let (_dir, path) = fifo();
        let stops = |running: Running| {
            let from = Instant::now();
            drop(running);
            assert!(from.elapsed() < Duration::from_secs(2), "{:?}", from.elapsed());
        };
        // Nobody ever wrote.
        let (_, _received, running) = start(Stream::new(&path), 4);
        stops(running);
        // A writer is there and silent; the receiver is full.
        let (_, _received, running) = start(Stream::new(&path), 1);
        let mut wire = writer(&path);
        wire.write_all(&[0x90, 60, 64, 61, 64, 62, 64]).unwrap();
        std::thread::sleep(Duration::from_millis(50));
        stops(running);
        // The device is gone and looked for.
        drop(wire);
        let (_, received, running) = start(Stream::new(&path), 4);
        let mut wire = writer(&path);
        wire.write_all(&[0x90, 60, 64]).unwrap();
        next(&received);
        fs::remove_file(&path).unwrap();
        drop(wire);
        assert!(matches!(next(&received), Signal::Gone { .. }));
        stops(running);
    }

    fn pty() -> (Box<dyn MasterPty + Send>, Box<dyn portable_pty::SlavePty + Send>, PathBuf) {
        let pair = native_pty_system().openpty(PtySize::default()).unwrap();
        let path = pair.master.tty_name().unwrap();
        (pair.master, pair.slave, path)
    }

    #[test]
    fn pty_takes_no_byte_for_a_line_end_or_an_interrupt() {
        let (master, _slave, path) = pty();
        let (_, received, _running) = start(Stream::new(&path), 256);
        let mut wire = master.take_writer().unwrap();
        // All keys: among their numbers are interrupt (3), end of file (4), line feed, carriage return, stop and go (17, 19), quit, suspend, erase.
        for k in 0..128u8 {
            wire.write_all(&[0x90, k, 64]).unwrap();
        }
        for k in 0..128u8 {
            assert_eq!(next_event(&received).what, on(k));
        }
    }

    #[test]
    fn unplugged_device_is_found_again_under_its_path() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("device");
        let (master, slave, tty) = pty();
        symlink(&tty, &path).unwrap();
        let (_, received, _running) = start(Stream::new(&path), 64);
        let mut wire = master.take_writer().unwrap();
        wire.write_all(&[0x90, 60, 64]).unwrap();
        assert_eq!(next_event(&received).what, on(60));

        let from = Instant::now();
        fs::remove_file(&path).unwrap();
        // A pty's writer sends a line end and an end of file as it is dropped: after a program change they are no note.
        wire.write_all(&[0xC0, 0]).unwrap();
        drop((wire, slave, master));
        assert!(matches!(next(&received), Signal::Gone { .. }));
        assert!(from.elapsed() < Duration::from_secs(2));

        let (master, _slave, tty) = pty();
        let from = Instant::now();
        symlink(&tty, &path).unwrap();
        assert!(matches!(next(&received), Signal::Back { .. }));
        assert!(from.elapsed() < Duration::from_secs(2));
        let mut wire = master.take_writer().unwrap();
        wire.write_all(&[0x90, 61, 64]).unwrap();
        assert_eq!(next_event(&received).what, on(61));
    }

    #[test]
    fn plain_file_is_read_to_its_end() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bytes.raw");
        fs::write(&path, [0x90, 60, 64].repeat(100)).unwrap();
        let (_, received, _running) = start(Stream::new(&path), 4);
        let signals: Vec<Signal> = received.iter().collect();
        assert_eq!(signals.len(), 101);
        assert_eq!(signals.last(), Some(&Signal::Ended));
    }

    #[test]
    fn path_that_cannot_be_read_is_refused_with_what_to_do() {
        let dir = tempfile::tempdir().unwrap();
        let (out, _received) = bounded(1);
        for (path, words) in
            [(dir.path().join("none"), ["No such file", "mkfifo"]), (dir.path().to_owned(), ["directory", "give the path of a FIFO"])]
        {
            let error = Box::new(Stream::new(&path)).start(SessionClock::start(), out.clone()).err().expect("refused").to_string();
            assert!(words.iter().all(|w| error.contains(w)) && error.contains(&path.display().to_string()), "{error}");
        }
    }
}

/// A true ALSA port, with the virtual card snd-virmidi in the place of an instrument: what is written to its raw device comes out of
/// its port, and unbinding its driver is pulling the plug. Needs that card and root: `tests/port_vm.sh` runs these in a virtual machine.
#[cfg(all(target_os = "linux", feature = "midi-port"))]
mod port {
    use std::fs::{self, OpenOptions};
    use std::io::Write;
    use std::path::Path;

    use catchword::source::open;
    use catchword::source::port::names;

    use super::*;

    const DEVICE: &str = "/dev/snd/midiC0D0";
    const DRIVER: &str = "/sys/bus/platform/drivers/snd_virmidi";

    fn plug(is_in: bool) {
        fs::write(format!("{DRIVER}/{}", if is_in { "bind" } else { "unbind" }), "snd_virmidi.0").unwrap();
    }

    fn play(bytes: &[u8]) {
        // The device file appears a moment after its driver.
        for _ in 0..100 {
            if Path::new(DEVICE).exists() {
                break;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        OpenOptions::new().write(true).open(DEVICE).unwrap().write_all(bytes).unwrap();
    }

    #[test]
    #[ignore = "needs the virtual card snd-virmidi: tests/port_vm.sh"]
    fn true_port_is_heard_and_outlives_the_plug() {
        let listed = names().unwrap();
        assert!(listed.iter().any(|n| n.contains("VirMIDI 0-0")), "{listed:?}");
        assert!(open("port:virmidi").err().expect("four ports fit").to_string().contains("4 ports fit"));
        let clock = SessionClock::start();
        let (out, received) = bounded(256);
        let running = open("port:VirMIDI 0-0").unwrap().start(clock, out).unwrap();

        let mut delays = Vec::new();
        for k in 0..100 {
            let written = clock.now();
            play(&[0x90, 0xFE, k, 64]);
            let event = next_event(&received);
            assert_eq!(event.what, on(k));
            delays.push((event.at - written).0);
        }
        delays.sort();
        println!("from the raw device to the stamp: median {} us, 99th of 100 {} us", delays[50], delays[98]);

        // Out for a while, out and in at once (the port gets its old number back), and again.
        for away in [700, 0, 0, 2500] {
            let from = Instant::now();
            plug(false);
            std::thread::sleep(Duration::from_millis(away));
            if away > 600 {
                assert!(matches!(received.try_recv(), Ok(Signal::Gone { .. })), "noticed while it is away");
            }
            plug(true);
            if away < 600 {
                assert!(matches!(next(&received), Signal::Gone { .. }));
            }
            assert!(matches!(next(&received), Signal::Back { .. }));
            assert!(from.elapsed() < Duration::from_millis(away + 2000), "{:?}", from.elapsed());
            play(&[0x90, 60, 64]);
            assert_eq!(next_event(&received).what, on(60), "the session goes on");
        }
        let from = Instant::now();
        drop(running);
        assert!(from.elapsed() < Duration::from_secs(2));
    }
}
