//! Scores from Standard MIDI Files: the specification's own example, the rules around it, and damage of every kind.

use catchword::import::smf::{read, read_take, write_take};
use catchword::import::{Error, Warning};
use catchword::midi::{Channel, MidiEvent, MidiKey, Take, Velocity};
use catchword::score::Score;
use catchword::theory::{Hand, Meter, Mode};
use catchword::time::{Micros, ScoreTime, Stamped};
use proptest::prelude::*;

const EXAMPLE_0: &[u8] = include_bytes!("../data/smf/spec_example_format_0.mid");
const EXAMPLE_1: &[u8] = include_bytes!("../data/smf/spec_example_format_1.mid");

/// Lays a file out: header and tracks, each track's end added.
fn smf(format: u16, division: u16, tracks: &[&[u8]]) -> Vec<u8> {
    let mut bytes = b"MThd\0\0\0\x06".to_vec();
    for word in [format, tracks.len() as u16, division] {
        bytes.extend(word.to_be_bytes());
    }
    for track in tracks {
        bytes.extend(b"MTrk");
        bytes.extend((track.len() as u32 + 4).to_be_bytes());
        bytes.extend(*track);
        bytes.extend([0x00, 0xFF, 0x2F, 0x00]);
    }
    bytes
}

fn score(bytes: &[u8]) -> (Score, Vec<Warning>) {
    read(bytes, "t.mid").unwrap()
}

/// The score in short: for each part its name and notes as `onset+duration pitch hand`.
fn notes(score: &Score) -> Vec<String> {
    let note = |n: &catchword::score::Note| format!("{}+{} {} {}", n.onset, n.duration, n.pitch, n.hand.letter());
    score.parts.iter().flat_map(|p| p.notes.iter().map(note)).collect()
}

fn has_warning(warnings: &[Warning], words: &str) -> bool {
    warnings.iter().any(|w| w.to_string().contains(words))
}

/// Track events `delta name text`.
fn name(text: &str) -> Vec<u8> {
    let mut bytes = vec![0x00, 0xFF, 0x03, text.len() as u8];
    bytes.extend(text.bytes());
    bytes
}

/// A note of one quarter at 96 ticks, then the next event.
fn quarter(channel: u8, key: u8) -> [u8; 8] {
    [0x00, 0x90 | channel, key, 64, 0x60, 0x80 | channel, key, 64]
}

fn track(name_text: &str, events: &[[u8; 8]]) -> Vec<u8> {
    [name(name_text), events.concat()].concat()
}

#[test]
fn specification_example_reads_alike_in_format_0_and_1() {
    // Standard MIDI Files 1.0 (RP-001), "Program fragments and example MIDI files": four-four, 120 a minute, 96 ticks; E5 on channel 1 and G4 on
    // channel 2 enter a quarter apart over C3 and C4 on channel 3, and all end after four quarters.
    for bytes in [EXAMPLE_0, EXAMPLE_1] {
        let (score, warnings) = score(bytes);
        assert_eq!(score.bars.len(), 1);
        assert_eq!(score.bars[0].meter, Meter::COMMON);
        assert_eq!(score.total(), ScoreTime::quarters(4));
        assert_eq!(score.tempos.len(), 1);
        assert_eq!((score.tempos[0].0, score.tempos[0].1.quarters_per_minute()), (ScoreTime::ZERO, 120.0));
        // Three programs, so three players: electric piano, harp, bassoon.
        let of_part = |i: usize| score.parts[i].notes.iter().map(|n| (n.key.number(), n.onset, n.duration)).collect::<Vec<_>>();
        let q = ScoreTime::quarters;
        assert_eq!(score.parts.iter().map(|p| p.name.as_str()).collect::<Vec<_>>(), ["Piano", "Harp", "Reed"]);
        assert_eq!(of_part(0), [(76, q(2), q(2))]);
        assert_eq!(of_part(1), [(67, q(1), q(3))]);
        assert_eq!(of_part(2), [(48, q(0), q(4)), (60, q(0), q(4))]);
        assert!(!warnings.iter().any(|w| w.what.contains("track")), "{warnings:?}");
    }
}

#[test]
fn specification_example_keeps_its_times_as_a_take() {
    // The example's own table: at 120 a minute 96 ticks are half a second.
    for bytes in [EXAMPLE_0, EXAMPLE_1] {
        let take = read_take(bytes, "t.mid").unwrap();
        let mut on: Vec<(i64, u8, u8)> = take
            .events()
            .iter()
            .filter_map(|e| match e.what {
                MidiEvent::NoteOn { key, velocity, .. } => Some((e.at.0, key.number(), velocity.0)),
                _ => None,
            })
            .collect();
        on.sort();
        assert_eq!(on, [(0, 48, 96), (0, 60, 96), (500_000, 67, 64), (1_000_000, 76, 32)]);
        assert_eq!(take.length(), Micros(2_000_000));
    }
}

#[test]
fn times_and_lengths_agree_with_another_reader() {
    // Made and read by mido 1.3.3 (PyPI): tests/data/smf/reference.py.
    #[derive(serde::Deserialize)]
    struct Reference {
        ticks_per_quarter: i64,
        note_ons_seconds: Vec<(f64, u8, u8, u8)>,
        notes_ticks: Vec<(i64, i64, u8, u8)>,
    }
    let bytes = include_bytes!("../data/smf/tempo_map.mid");
    let reference: Reference = serde_json::from_str(include_str!("../data/smf/tempo_map.json")).unwrap();

    let take = read_take(bytes, "t.mid").unwrap();
    let mut on: Vec<(i64, u8, u8, u8)> = Vec::new();
    for event in take.events() {
        if let MidiEvent::NoteOn { channel, key, velocity } = event.what {
            on.push((event.at.0, channel.0, key.number(), velocity.0));
        }
    }
    assert_eq!(on.len(), reference.note_ons_seconds.len());
    for (ours, theirs) in on.iter().zip(&reference.note_ons_seconds) {
        assert_eq!((ours.1, ours.2, ours.3), (theirs.1, theirs.2, theirs.3));
        // mido adds floats, event after event; a microsecond is the last digit it is stored with.
        assert!((ours.0 as f64 - theirs.0 * 1e6).abs() <= 1.5, "{ours:?} {theirs:?}");
    }

    let (score, _) = score(bytes);
    let ticks = |t: i64| ScoreTime::new(t, reference.ticks_per_quarter);
    let expected: Vec<(ScoreTime, ScoreTime, u8, Hand)> = reference
        .notes_ticks
        .iter()
        .map(|&(on, length, key, channel)| (ticks(on), ticks(length), key, if channel == 0 { Hand::Right } else { Hand::Left }))
        .collect();
    let mut found: Vec<_> = score.parts[0].notes.iter().map(|n| (n.onset, n.duration, n.key.number(), n.hand)).collect();
    let order = |n: &(ScoreTime, ScoreTime, u8, Hand)| (n.0, n.1, n.2);
    let mut expected = expected;
    expected.sort_by_key(order);
    found.sort_by_key(order);
    assert_eq!(found, expected);
    // Nine quarters in 3/4, then 6/8 to the end of the last note at quarter 61.
    assert_eq!(score.bars.len(), 3 + 18);
}

#[test]
fn two_tracks_are_the_hands_by_name_or_by_pitch() {
    let high = [quarter(0, 72), quarter(0, 74)];
    let low = [quarter(0, 48), quarter(0, 50)];
    // By name, even against the pitch; by pitch where names say nothing, in either order.
    for (first, second, expected) in [
        (track("Harp, right hand", &low), track("Harp, left hand", &high), "RRLL"),
        (track("LH", &low), track("RH", &high), "LLRR"),
        (track("", &high), track("", &low), "RRLL"),
        (track("", &low), track("", &high), "LLRR"),
        (track("Melody", &low), track("L.H.", &high), "RRLL"),
        (track("up:", &low), track("down:", &high), "RRLL"),
    ] {
        let (score, _) = score(&smf(1, 96, &[&first, &second]));
        assert_eq!(score.parts.len(), 1);
        assert_eq!(score.parts[0].n_staves, 2);
        let hand_of = |keys: [u8; 2]| -> String {
            keys.iter().map(|&k| score.parts[0].notes.iter().find(|n| n.key.number() == k).unwrap().hand.letter()).collect()
        };
        let first_is_low = first.windows(2).any(|w| w == [48, 64]);
        let found = if first_is_low { hand_of([48, 50]) + &hand_of([72, 74]) } else { hand_of([72, 74]) + &hand_of([48, 50]) };
        assert_eq!(found, expected);
    }
    let (score, warnings) = score(&smf(1, 96, &[&track("", &high), &track("", &low)]));
    assert!(has_warning(&warnings, "the file does not name them; by pitch track 1, channel 1 to the right hand"), "{warnings:?}");
    assert_eq!(score.parts[0].name, "Part 1");
}

#[test]
fn word_for_a_hand_in_a_title_moves_no_note() {
    let (score, warnings) = score(&smf(0, 96, &[&track("Down the Left Bank", &[quarter(0, 72), quarter(0, 40)])]));
    assert_eq!(score.title.as_deref(), Some("Down the Left Bank"));
    assert!(has_warning(&warnings, "the notes are split by pitch"));
    assert_eq!(score.parts[0].notes.iter().map(|n| n.hand).collect::<Vec<_>>(), [Hand::Right, Hand::Left]);
}

#[test]
fn tracks_of_different_players_are_parts() {
    let voice = track("Voice", &[quarter(0, 72)]);
    let upper = track("Harp", &[quarter(1, 64)]);
    let lower = track("Harp", &[quarter(1, 48)]);
    let (score, _) = score(&smf(1, 96, &[&name("A song"), &voice, &upper, &lower]));
    assert_eq!(score.title.as_deref(), Some("A song"));
    let parts: Vec<(&str, &str, usize)> = score.parts.iter().map(|p| (p.id.as_str(), p.name.as_str(), p.notes.len())).collect();
    assert_eq!(parts, [("P1", "Voice", 1), ("P2", "Harp", 2)]);
    assert_eq!(score.parts[1].notes.iter().map(|n| n.hand).collect::<Vec<_>>(), [Hand::Left, Hand::Right]);
}

#[test]
fn lone_track_is_split_by_pitch_where_the_hands_part() {
    // A tune over a broken chord, one track: C3 G3 C4 below E5 D5 C5.
    let mut events: Vec<u8> = Vec::new();
    for (low, high) in [(48, 76), (55, 74), (60, 72), (55, 74), (48, 76)] {
        events.extend([0x00, 0x90, low, 64, 0x00, high, 64, 0x60, low, 0, 0x00, high, 0]);
    }
    let (score, warnings) = score(&smf(0, 96, &[&events]));
    assert!(has_warning(&warnings, "the notes are split by pitch"));
    for n in &score.parts[0].notes {
        assert_eq!(n.hand, if n.key.number() >= 70 { Hand::Right } else { Hand::Left }, "{}", n.pitch);
    }
}

#[test]
fn meters_keys_and_tempos_change_at_their_bars() {
    // 3/4 in E flat major for two bars, then 6/8 in D minor at 90 a minute; a marker at the change.
    let conductor = [
        vec![0x00, 0xFF, 0x58, 4, 3, 2, 24, 8, 0x00, 0xFF, 0x59, 2, 0xFD, 0, 0x00, 0xFF, 0x51, 3, 0x07, 0xA1, 0x20],
        vec![
            0x84, 0x40, 0xFF, 0x58, 4, 6, 3, 24, 8, 0x00, 0xFF, 0x59, 2, 0xFF, 1, 0x00, 0xFF, 0x51, 3, 0x0A, 0x2C, 0x2B, 0x00, 0xFF, 0x06,
            1, b'B',
        ],
    ]
    .concat();
    let mut events: Vec<[u8; 8]> = vec![quarter(0, 63); 6];
    events.extend([quarter(0, 61), quarter(0, 70), quarter(0, 70)]);
    let (score, _) = score(&smf(1, 96, &[&conductor, &events.concat()]));
    let bars: Vec<(String, String, i8, Option<Mode>, ScoreTime)> =
        score.bars.iter().map(|b| (b.label.to_string(), b.meter.to_string(), b.key.fifths, b.key.mode, b.start)).collect();
    let q = ScoreTime::quarters;
    assert_eq!(
        bars,
        [
            ("1".into(), "3/4".into(), -3, Some(Mode::Major), q(0)),
            ("2".into(), "3/4".into(), -3, Some(Mode::Major), q(3)),
            ("3".into(), "6/8".into(), -1, Some(Mode::Minor), q(6)),
        ]
    );
    assert_eq!(score.bars[2].signs.rehearsal.as_deref(), Some("B"));
    let tempos: Vec<(ScoreTime, i64)> = score.tempos.iter().map(|(at, t)| (*at, t.quarters_per_minute().round() as i64)).collect();
    assert_eq!(tempos, [(q(0), 120), (q(6), 90)]);
    // Spelled for the signature in force: E flat in three flats, C sharp (leading note) and B flat in D minor.
    let spelled: Vec<String> = score.parts[0].notes.iter().map(|n| n.pitch.to_string()).collect();
    assert_eq!(spelled, ["Eb4", "Eb4", "Eb4", "Eb4", "Eb4", "Eb4", "C#4", "Bb4", "Bb4"]);
}

#[test]
fn short_first_bar_before_the_lasting_meter_is_a_pickup() {
    let conductor = [0x00, 0xFF, 0x58, 4, 1, 2, 24, 8, 0x60, 0xFF, 0x58, 4, 3, 2, 24, 8];
    let events = [quarter(0, 60); 7].concat();
    let (score, warnings) = score(&smf(1, 96, &[&conductor, &events]));
    let labels: Vec<String> = score.bars.iter().map(|b| b.label.to_string()).collect();
    assert_eq!(labels, ["0", "1", "2"]);
    let pickup = &score.bars[0];
    assert_eq!((pickup.meter.to_string().as_str(), pickup.length, pickup.offset), ("3/4", ScoreTime::QUARTER, ScoreTime::quarters(2)));
    assert!(has_warning(&warnings, "taken as a pickup"));
}

#[test]
fn meter_change_inside_a_bar_cuts_it_and_says_so() {
    let conductor = [0x81, 0x40, 0xFF, 0x58, 4, 3, 2, 24, 8];
    let events = [quarter(0, 60); 5].concat();
    let (score, warnings) = score(&smf(1, 96, &[&conductor, &events]));
    assert_eq!(score.bars.iter().map(|b| b.length).collect::<Vec<_>>(), [ScoreTime::quarters(2), ScoreTime::quarters(3)]);
    assert!(has_warning(&warnings, "bar 1: time signature: it changes inside the bar"), "{warnings:?}");
}

#[test]
fn triplets_stay_exact_fractions() {
    // 480 ticks: a triplet eighth is 160.
    let mut events = Vec::new();
    for _ in 0..3 {
        events.extend([0x00, 0x90, 60, 64, 0x81, 0x20, 0x90, 60, 0]);
    }
    let (score, _) = score(&smf(0, 480, &[&events]));
    assert_eq!(notes(&score).iter().map(|n| n.split(' ').next().unwrap()).collect::<Vec<_>>(), ["0+1/3", "1/3+1/3", "2/3+1/3"]);
}

#[test]
fn smpte_time_becomes_beats_by_the_tempo() {
    // 25 frames of 40 ticks (0xE728): milliseconds. At 120 a minute a quarter is 500 of them, at 60 a thousand.
    let events: Vec<u8> = [
        vec![0x00, 0x90, 60, 64, 0x83, 0x74, 60, 0],
        vec![0x00, 0xFF, 0x51, 3, 0x0F, 0x42, 0x40],
        vec![0x00, 0x90, 62, 64, 0x87, 0x68, 62, 0],
    ]
    .concat();
    let (score, warnings) = score(&smf(0, 0xE728, &[&events]));
    assert_eq!(notes(&score).iter().map(|n| n.split(' ').next().unwrap()).collect::<Vec<_>>(), ["0+1", "1+1"]);
    assert!(has_warning(&warnings, "SMPTE frames"));
    // 29 stands for 30000/1001 frames a second: 100 ticks to the frame, half a second is no whole number of ticks, yet exact.
    let events = [0x00, 0x90, 60, 64, 0x83, 0x74, 60, 0];
    let (score, _) = self::score(&smf(0, 0xE364, &[&events]));
    assert_eq!(score.parts[0].notes[0].duration, ScoreTime::new(500 * 1001 * 2, 30_000 * 100));
}

#[test]
fn odd_notes_are_used_and_told() {
    let rows: [(&str, &[u8], &str, &str); 6] = [
        ("never ended", &[0x00, 0x90, 60, 64, 0x60, 62, 64, 0x60, 62, 0], "0+2 C4", "1 note is never ended"),
        ("no length", &[0x00, 0x90, 60, 64, 0x00, 60, 0, 0x60, 62, 64, 0x60, 62, 0], "0+1/8 C4", "1 note has no length"),
        (
            "overlap",
            &[0x00, 0x90, 60, 64, 0x60, 60, 64, 0x60, 60, 0, 0x60, 60, 0],
            "0+2 C4",
            "1 note begins while the same key still sounds",
        ),
        ("stray end", &[0x00, 0x80, 61, 64, 0x00, 0x90, 60, 64, 0x60, 60, 0], "0+1 C4", "1 note-off ends no note"),
        ("percussion", &[0x00, 0x99, 35, 64, 0x00, 0x90, 60, 64, 0x60, 60, 0, 0x00, 0x99, 35, 0], "0+1 C4", "1 notes are percussion"),
        ("system exclusive", &[0x00, 0xF0, 3, 0x7D, 60, 0xF7, 0x00, 0x90, 60, 64, 0x60, 60, 0], "0+1 C4", "split by pitch"),
    ];
    for (what, events, first, words) in rows {
        let (score, warnings) = score(&smf(0, 96, &[events]));
        assert!(notes(&score)[0].starts_with(first), "{what}: {:?}", notes(&score));
        assert!(has_warning(&warnings, words), "{what}: {warnings:?}");
    }
}

#[test]
fn performance_is_told_from_a_score() {
    let recorded: Take = (0..60i64)
        .map(|i| Stamped {
            at: Micros(i * 487_123 + (i * i * 7919) % 31_000),
            what: MidiEvent::NoteOn { channel: Channel(0), key: MidiKey::try_new(60).unwrap(), velocity: Velocity(64) },
        })
        .collect();
    assert!(has_warning(&score(&write_take(&recorded)).1, "looks like a recorded performance"));
    let mut written = Vec::new();
    for i in 0..40u8 {
        // Sixteenths and triplets at 480 ticks.
        let length: [u8; 2] = if i % 2 == 0 { [0x78, 0x00] } else { [0x81, 0x20] };
        let delta = if i % 2 == 0 { &length[..1] } else { &length[..] };
        written.extend([&[0x00, 0x90, 60, 64][..], delta, &[60, 0]].concat());
    }
    assert!(!has_warning(&score(&smf(0, 480, &[&written])).1, "looks like"));
}

#[test]
fn format_2_gives_its_first_sequence() {
    let (score, warnings) = score(&smf(2, 96, &[&name("empty"), &quarter(0, 60), &quarter(0, 72)]));
    assert_eq!(notes(&score).len(), 1);
    assert!(has_warning(&warnings, "3 independent sequences (format 2); track 2 is used"), "{warnings:?}");
}

#[test]
fn extended_header_and_other_chunks_are_passed_over() {
    // RP-001: honour the header's length, and expect chunks of other kinds.
    let mut bytes = b"MThd\0\0\0\x08\0\0\0\x01\0\x60??XFIH\0\0\0\x02ab".to_vec();
    bytes.extend(&smf(0, 96, &[&quarter(0, 60)])[14..]);
    let (score, warnings) = score(&bytes);
    assert_eq!(notes(&score).len(), 1);
    assert!(!has_warning(&warnings, "header"), "{warnings:?}");
}

#[test]
fn broken_files_say_where_and_what_was_expected() {
    let rows: [(Vec<u8>, &str); 9] = [
        (Vec::new(), "t.mid: byte 0: expected MThd, the mark of a MIDI file, found the end of the file"),
        (b"RIFFxxxx".to_vec(), "t.mid: byte 0: expected MThd, the mark of a MIDI file, found bytes 52 49 46 46 78 78 .."),
        (EXAMPLE_0[..12].to_vec(), "t.mid: byte 8: expected format, number of tracks and division, found the end of the file"),
        (smf(3, 96, &[]), "t.mid: byte 8: expected format 0 or 1, found format 3"),
        (smf(0, 0, &[]), "t.mid: byte 12: expected ticks to the quarter, or SMPTE time"),
        (smf(0, 0x8028, &[]), "found 0x8028"),
        (smf(0, 96, &[]), "t.mid: byte 14: expected a track (MTrk), found the end of the file"),
        (smf(0, 96, &[&[]]), "t.mid: byte 26: expected at least one note, found the end of the file"),
        (smf(0, 96, &[&[0x00, 0xF9, 0x00, 0x90, 60, 64]]), "t.mid: byte 22: expected a MIDI event, found bytes 00 f9 00 90 3c 40 .."),
    ];
    for (bytes, words) in rows {
        let error = read(&bytes, "t.mid").unwrap_err().to_string();
        assert!(error.contains(words), "{error}");
    }
}

#[test]
fn what_a_damaged_file_still_holds_is_used_with_a_warning() {
    // Cut in the third track of the example: the notes before are there.
    let (score, warnings) = score(&EXAMPLE_1[..EXAMPLE_1.len() - 30]);
    assert!(!score.parts.is_empty());
    assert!(
        has_warning(&warnings, "the file ends before the track does") && has_warning(&warnings, "4 tracks are announced, 3 are there"),
        "{warnings:?}"
    );
    // A meta event whose contents make no sense (a SMPTE offset at minute 99): it alone is left out.
    let events = [&[0x00, 0xFF, 0x54, 5, 0, 99, 0, 0, 0][..], &quarter(0, 60)].concat();
    let (score, warnings) = self::score(&smf(0, 96, &[&events]));
    assert_eq!(notes(&score).len(), 1);
    assert!(has_warning(&warnings, "an event that makes no sense is left out (byte 22)"), "{warnings:?}");
}

#[test]
fn delta_times_of_a_damaged_file_do_not_fill_the_memory() {
    let far = [0x00, 0x90, 60, 64, 0xFF, 0xFF, 0xFF, 0x7F, 60, 0];
    assert!(matches!(read(&smf(0, 1, &[&far]), "t.mid"), Err(Error::TooLarge { .. })));
    // Bars of a 64th each.
    let tiny = [&[0x00, 0xFF, 0x58, 4, 1, 6, 24, 8][..], &[0x00, 0x90, 60, 64, 0x84, 0x80, 0x00, 60, 0]].concat();
    let error = read(&smf(0, 4, &[&tiny]), "t.mid").unwrap_err().to_string();
    assert_eq!(error, "t.mid: the notes fill more than 20000 bars, above the limit of 20000 bars");
}

#[test]
fn file_cut_at_any_byte_never_panics() {
    for whole in [EXAMPLE_0, EXAMPLE_1] {
        for end in 0..whole.len() {
            let _ = read(&whole[..end], "t.mid");
            // Without a byte of its tracks a take has a hole; only the end mark may be missing.
            assert!(read_take(&whole[..end], "t.mid").is_err() || end + 4 > whole.len(), "cut at {end}");
        }
    }
}

#[test]
fn file_with_any_byte_changed_never_panics() {
    for whole in [EXAMPLE_0, EXAMPLE_1] {
        for at in 0..whole.len() {
            let flips = (0..8).map(|bit| whole[at] ^ 1 << bit);
            for value in flips.chain([0x00, 0x7F, 0x80, 0xFF]) {
                let mut bytes = whole.to_vec();
                bytes[at] = value;
                if let Ok((score, _)) = read(&bytes, "t.mid") {
                    assert!(score.parts.iter().all(|p| !p.notes.is_empty()));
                }
                let _ = read_take(&bytes, "t.mid");
            }
        }
    }
}

proptest! {
    #[test]
    fn no_bytes_make_the_reader_panic(division in any::<u16>(), format in 0..3u16, tracks in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..120), 0..4)) {
        let tracks: Vec<&[u8]> = tracks.iter().map(Vec::as_slice).collect();
        let bytes = smf(format, division, &tracks);
        let _ = read(&bytes, "t.mid");
        let _ = read_take(&bytes, "t.mid");
    }

    #[test]
    fn score_of_any_notes_keeps_its_promises(rows in prop::collection::vec((0..96u8, 0..128u8, 0..4u8, 1..96u8), 1..60)) {
        let mut events = Vec::new();
        for (wait, key, channel, length) in rows {
            events.extend([wait, 0x90 | channel, key, 64, length, 0x80 | channel, key, 64]);
        }
        let (score, _) = read(&smf(0, 96, &[&events]), "t.mid").unwrap();
        for pair in score.bars.windows(2) {
            prop_assert_eq!(pair[0].start + pair[0].length, pair[1].start);
        }
        for part in &score.parts {
            prop_assert!(part.notes.windows(2).all(|w| (w[0].onset, w[0].key, w[0].hand) <= (w[1].onset, w[1].key, w[1].hand)));
            for n in &part.notes {
                let bar = score.bar(n.bar);
                prop_assert!(bar.start <= n.onset && n.onset < bar.start + bar.length);
                prop_assert!(n.duration > ScoreTime::ZERO && n.onset + n.duration <= score.total());
                prop_assert_eq!(n.pitch.midi(), i32::from(n.key.number()));
            }
        }
    }
}
