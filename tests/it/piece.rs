//! Piece files: what is read, what is refused and how, and that the demo pieces say what is true of their scores.

mod demo;
mod folder;
mod merging;
mod saving;

use std::sync::Arc;

use catchword::piece::file::{CueKeys, HarpKeys, JudgingKeys, LandmarkKeys, REFERENCE, SectionKeys};
use catchword::piece::text::At;
use catchword::piece::{Cue, Instrument, PieceFile, edit};
use catchword::score::{Bar, BarIdx, BarLabel, BarSigns, Note, Part, Place, Score};
use catchword::theory::harp::{Harp, LeverTuning, Mechanism};
use catchword::theory::{Hand, KeySignature, Meter, SpelledPitch};
use catchword::time::ScoreTime;
use proptest::prelude::*;

/// A score of `n_bars` bars of 3/4 with one C4 a bar, and the given parts.
fn score(n_bars: usize, parts: &[(&str, &str)]) -> Arc<Score> {
    let start = |bar: usize| ScoreTime::quarters(3 * bar as i64);
    let bars = (0..n_bars).map(|bar| Bar {
        label: BarLabel((bar + 1).to_string()),
        start: start(bar),
        length: ScoreTime::quarters(3),
        offset: ScoreTime::ZERO,
        meter: Meter { beats: 3, unit: 4 },
        key: KeySignature::NONE,
        signs: BarSigns::default(),
    });
    let pitch: SpelledPitch = "C4".parse().unwrap();
    let key = catchword::midi::MidiKey::try_new(60).unwrap();
    let notes = (0..n_bars).map(|bar| Note::plain(start(bar), ScoreTime::quarters(3), pitch, key, Hand::Right, BarIdx(bar)));
    let notes: Vec<Note> = notes.collect();
    let part = |&(id, name): &(&str, &str)| Part { id: id.into(), name: name.into(), n_staves: 1, notes: notes.clone(), ..Part::default() };
    Arc::new(Score { bars: bars.collect(), parts: parts.iter().map(part).collect(), ..Score::default() })
}

const HEAD: &str = "title = \"T\"\nscore = \"t.xml\"\n";

/// Returns the complaint about a text, against a score of eight bars.
fn complaint(text: &str) -> String {
    let read = PieceFile::parse(text, "piece.toml").and_then(|f| f.check(score(8, &[("P1", "Harp")]), None));
    match read {
        Ok(piece) => panic!("accepted {text:?} as {piece:?}"),
        Err(e) => e.to_string(),
    }
}

#[test]
fn every_complaint_names_line_and_column_what_was_expected_and_what_was_found() {
    for (text, message) in [
        ("titel = \"T\"\n", "piece.toml:1:1: expected a key of a piece file, found \"titel\"; did you mean \"title\"?"),
        ("title = \"T\"\n", "piece.toml:1:1: expected the key \"score\" in a piece file, found none; add a line such as score = \"…\""),
        ("title = 3\n", "piece.toml:1:9: expected a text in quotes, found 3"),
        ("title = \" \"\n", "piece.toml:1:9: expected some words for \"title\", found an empty text"),
        (&format!("{HEAD}reps = 10\n"), "piece.toml:3:8: expected a whole number from 1 to 9 for \"reps\", found 10"),
        (&format!("{HEAD}tempo = nan\n"), "piece.toml:3:9: expected a number from 1 to 2000 for \"tempo\", found nan"),
        (
            &format!("{HEAD}perform_on = \"14 March\"\n"),
            "piece.toml:3:14: expected a date such as 2027-03-14, without quotes, for \"perform_on\", found the text \"14 March\"",
        ),
        (
            &format!("{HEAD}instrument = \"lever harp\"\n"),
            "piece.toml:3:14: expected one of \"lever-harp\", \"pedal-harp\", \"keyboard\" for \"instrument\", found \"lever harp\"; did you mean \"lever-harp\"?",
        ),
        (
            &format!("{HEAD}part = \"Harb\"\n"),
            "piece.toml:3:8: expected a part of the score, found \"Harb\"; no part is called \"Harb\"; the score has: Harp (P1)",
        ),
        (
            &format!("{HEAD}\n[[section]]\nnaem = \"A\"\nbars = \"1-4\"\n"),
            "piece.toml:5:1: expected a key of [[section]], found \"naem\"; did you mean \"name\"?",
        ),
        (
            &format!("{HEAD}\n[[section]]\nname = \"A\"\nbars = \"1-9\"\n"),
            "piece.toml:6:8: expected printed bars such as \"5-8\" or \"5\", found \"1-9\"; there is no bar \"9\"; the score has bars 1 to 8",
        ),
        (
            &format!("{HEAD}\n[[section]]\nname = \"A\"\nbars = \"4-1\"\n"),
            "piece.toml:6:8: expected printed bars such as \"5-8\" or \"5\", found \"4-1\"; bar 1 stands before bar 4",
        ),
        (
            &format!("{HEAD}[[section]]\nname = \"A\"\nbars = \"1-4\"\n[[section]]\nname = \"B\"\nbars = \"3-8\"\n"),
            "piece.toml:8:8: expected at most one bar shared by neighbours, found \"3-8\", which shares 2 with \"A\" before it; start it later, or end the one before earlier",
        ),
        (
            &format!("{HEAD}[[section]]\nname = \"B\"\nbars = \"5-8\"\n[[section]]\nname = \"A\"\nbars = \"1-4\"\n"),
            "piece.toml:8:8: expected sections in page order, found \"1-4\", which does not go on past \"B\" before it; move the section up, or change its bars",
        ),
        (
            &format!("{HEAD}[[section]]\nname = \"A\"\nbars = \"1-4\"\n[[section]]\nname = \"A\"\nbars = \"5-8\"\n"),
            "piece.toml:7:8: expected a name that no other section has, found a second \"A\" (the first is on line 4)",
        ),
        (
            &format!("{HEAD}[[cue]]\nat = \"9.1\"\ntext = \"x\"\n"),
            "piece.toml:4:6: expected a place in the score, bar.beat, found \"9.1\"; there is no bar 9; the score has bars 1 to 8",
        ),
        (
            &format!("{HEAD}[[cue]]\nat = \"2.4\"\ntext = \"x\"\n"),
            "piece.toml:4:6: expected a place in the score, bar.beat, found \"2.4\"; bar 2 has no beat 4; its beats run from 1 to 3",
        ),
        (
            &format!("{HEAD}[[cue]]\nat = \"2.1\"\ntext = \"x\"\n[[cue]]\nat = \"2\"\ntext = \"y\"\n"),
            "piece.toml:7:6: expected one cue for a place and hand, found a second one at 2 (the first is on line 4)",
        ),
        (
            &format!("{HEAD}[[cue]]\nat = \"2.1\"\nhand = \"links\"\ntext = \"x\"\n"),
            "piece.toml:5:8: expected one of \"left\", \"right\" for \"hand\", found \"links\"",
        ),
        (
            &format!("{HEAD}[harp]\nlowest = \"C2\"\n"),
            "piece.toml:4:10: expected no [harp] for a keyboard, found one; add instrument = \"lever-harp\" or \"pedal-harp\" above",
        ),
        (
            &format!("{HEAD}instrument = \"lever-harp\"\n[harp]\nlowest = \"C8\"\n"),
            "piece.toml:5:10: expected the lowest string below the highest, found C8 to C7",
        ),
        (
            &format!("{HEAD}instrument = \"lever-harp\"\n[harp]\nfixed = \"C2 F#2\"\n"),
            "piece.toml:5:9: expected a string as letter and octave such as C4 (middle C), found \"F#2\"",
        ),
        (
            &format!("{HEAD}instrument = \"pedal-harp\"\n[harp]\ntuning = \"Eb\"\n"),
            "piece.toml:5:10: expected no tuning for a pedal harp, found one",
        ),
        (&format!("{HEAD}cue = \"x\"\n"), "piece.toml:3:7: expected tables, each under a line [[cue]], found the text \"x\""),
    ] {
        assert_eq!(complaint(text), message);
    }
}

#[test]
fn what_is_not_toml_is_refused_with_its_place() {
    let message = complaint("title = \"T\"\nscore = \n");
    assert!(message.starts_with("piece.toml:2:"), "{message}");
}

#[test]
fn a_score_with_several_parts_asks_for_the_part_and_takes_it_by_name_or_id() {
    let parts = [("P1", "Voice"), ("P2", "Harp")];
    let read = |text: &str, asked| PieceFile::parse(text, "piece.toml").unwrap().check(score(8, &parts), asked).map(|p| p.part);
    let message = read(HEAD, None).unwrap_err().to_string();
    assert_eq!(
        message,
        "piece.toml:2:9: expected a part of the score, found none named (part = \"…\"); \
         the score has 2 parts; say which is yours with --part NAME: Voice (P1), Harp (P2)"
    );
    assert_eq!(read(&format!("{HEAD}part = \"harp\"\n"), None), Ok(1));
    assert_eq!(read(&format!("{HEAD}part = \"P1\"\n"), None), Ok(0));
    assert_eq!(read(&format!("{HEAD}part = \"P1\"\n"), Some("P2")), Ok(1), "what is asked for goes before the file");
}

#[test]
fn what_a_file_leaves_out_has_its_stated_default() {
    let piece = PieceFile::parse(HEAD, "piece.toml").unwrap().check(score(10, &[("P1", "")]), None).unwrap();
    assert_eq!((piece.instrument, piece.target_reps, piece.tempo), (Instrument::Keyboard, 3, None));
    assert_eq!((piece.judging.inner_notes_min, piece.judging.in_a_row), (0.95, false));
    let names: Vec<&str> = piece.sections.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["bars 1-4", "bars 5-8", "bars 9-10"]);
}

#[test]
fn a_harp_is_the_usual_one_but_for_what_the_file_says() {
    let harp = |text: &str| {
        let text = format!("{HEAD}{text}");
        PieceFile::parse(&text, "piece.toml").unwrap().check(score(8, &[("P1", "")]), None).unwrap().harp
    };
    assert_eq!(harp(""), None);
    assert_eq!(harp("instrument = \"pedal-harp\"\n"), Some(Harp::concert()));
    assert_eq!(harp("instrument = \"lever-harp\"\n"), Some(Harp::lever()));
    let own = harp("instrument = \"lever-harp\"\n[harp]\nhighest = \"A6\"\ntuning = \"C\"\nfixed = \"D2 C2\"\n").unwrap();
    assert_eq!(own.strings.n_strings(), 34);
    let strings = ["C2", "D2"].map(|s| s.parse().unwrap());
    assert_eq!(own.mechanism, Mechanism::Levers(LeverTuning { open: KeySignature::new(0, None), without: strings.to_vec() }));
}

#[test]
fn neighbouring_sections_may_share_one_bar() {
    let text = format!("{HEAD}[[section]]\nname = \"A\"\nbars = \"1-5\"\n[[section]]\nname = \"B\"\nbars = \"5-8\"\n");
    let piece = PieceFile::parse(&text, "piece.toml").unwrap().check(score(8, &[("P1", "")]), None).unwrap();
    assert_eq!(piece.sections[1].bars.start, BarIdx(4));
}

/// Texts as people and other programs write them: quotes, backslashes, line ends, other scripts.
fn words() -> impl Strategy<Value = String> {
    prop::string::string_regex("[a-zé\"'\\\\#=\\[\\] \n\t☂]{0,12}[a-z][ .]{0,2}").unwrap()
}

fn a_piece_file() -> impl Strategy<Value = PieceFile> {
    let reps = || prop::option::of((1u8..=9).prop_map(At::from));
    let hand = || prop::option::of(prop_oneof![Just(Hand::Left), Just(Hand::Right)].prop_map(At::from));
    let instrument = prop_oneof![Just(Instrument::LeverHarp), Just(Instrument::PedalHarp), Just(Instrument::Keyboard)];
    let section = (words(), words(), reps()).prop_map(|(name, bars, reps)| SectionKeys { name: name.into(), bars: bars.into(), reps });
    let cue = (words(), hand(), words(), prop::option::of(words())).prop_map(|(at, hand, text, more)| CueKeys {
        at: at.into(),
        hand,
        text: text.into(),
        more: more.map(At::from),
    });
    let landmark = (words(), words(), prop::option::of(words())).prop_map(|(at, name, setting)| LandmarkKeys {
        at: at.into(),
        name: name.into(),
        setting: setting.map(At::from),
    });
    let judging = (prop::option::of(0.0..=100.0), prop::option::of(any::<bool>()))
        .prop_map(|(inner, row)| JudgingKeys { inner_notes: inner.map(At::from), in_a_row: row.map(At::from) });
    let text = || prop::option::of(words().prop_map(At::from));
    let roll = (prop::option::of((0i64..=400).prop_map(At::from)), prop::option::of(any::<bool>().prop_map(At::from)));
    let harp = (text(), text(), prop::option::of((-7i8..=7).prop_map(At::from)), text(), roll).prop_map(
        |(lowest, highest, tuning, fixed, (roll_ms, roll_anchor))| {
            let matching = roll_anchor.is_some().then(|| At::from(catchword::midi::MatchMode::Strings));
            HarpKeys { lowest, highest, tuning, fixed, matching, roll_ms, roll_anchor }
        },
    );
    let head = (words(), words(), text(), prop::option::of(instrument), prop::option::of(1.0..=2000.0), reps(), judging, harp);
    let lists = (prop::collection::vec(section, 0..4), prop::collection::vec(cue, 0..4), prop::collection::vec(landmark, 0..4));
    let date = (1i32..=9999, 1u32..=366).prop_map(|(year, nth)| chrono::NaiveDate::from_yo_opt(year, nth.min(365)).unwrap());
    let perform_on = prop::option::of(date.prop_map(At::from));
    (head, perform_on, lists).prop_map(
        |((title, score, part, instrument, tempo, reps, judging, harp), perform_on, (sections, cues, landmarks))| PieceFile {
            file_name: "piece.toml".into(),
            title: title.into(),
            score: score.into(),
            part,
            instrument: instrument.map(At::from),
            tempo: tempo.map(At::from),
            reps,
            perform_on,
            judging,
            harp,
            sections,
            cues,
            landmarks,
        },
    )
}

/// A piece file in a player's own style: comments, blank lines, odd spacing, cues out of order, landmarks first.
fn a_players_text() -> impl Strategy<Value = String> {
    let comment = || prop::string::string_regex("(\n|# [a-z ]{0,12}\n|){0,2}").unwrap();
    let cue = (comment(), 1usize..=8, 1usize..=3, "( |  |\t)", "(| # [a-z]{1,9})", any::<bool>()).prop_map(
        |(above, bar, beat, space, behind, more)| {
            let more = if more { "more = 'und so weiter'\n" } else { "" };
            ((bar, beat), format!("{above}[[cue]]\nat{space}= \"{bar}.{beat}\"{behind}\n  text = 'wie immer'{behind}\n{more}"))
        },
    );
    (comment(), prop::collection::vec(cue, 0..5), comment(), any::<bool>()).prop_map(|(top, mut cues, end, landmark_first)| {
        let mut seen = Vec::new();
        cues.retain(|(place, _)| !seen.contains(place) && (seen.push(*place), true).1);
        let cues: String = cues.into_iter().map(|(_, text)| text).collect();
        let landmark = "# cold starts\n[[landmark]]\nat = \"5\"   # the lift\nname = \"lift\"\n";
        let (first, last) = if landmark_first { (landmark, "") } else { ("", landmark) };
        format!("{top}title = \"T\" # mine\nscore='t.xml'\n\n{first}{cues}{last}{end}")
    })
}

proptest! {
    #[test]
    fn a_written_file_reads_back_as_itself(file in a_piece_file()) {
        prop_assert_eq!(PieceFile::parse(&file.write(), "piece.toml"), Ok(file));
    }

    #[test]
    fn a_new_cue_is_put_in_and_nothing_else_changes(text in a_players_text(), bar in 0usize..8, third in 0i64..3, words in words()) {
        let score = score(8, &[("P1", "Harp")]);
        // Half a beat in, where the text above has none.
        let place = Place { bar: BarIdx(bar), into_bar: ScoreTime::quarters(third) + ScoreTime::new(1, 2) };
        let cue = Cue { place, hand: Some(Hand::Left), text: words.clone(), more: None };
        let edited = edit::add_cue(&text, "piece.toml", &score, &cue).unwrap();
        let common = text.bytes().zip(edited.bytes()).take_while(|(a, b)| a == b).count();
        // A cut through bytes that the inserted text shares with what follows may lie further back.
        let is_insertion = (0..=common).any(|i| edited.as_bytes().ends_with(&text.as_bytes()[i..]));
        prop_assert!(is_insertion, "{text:?} became {edited:?}");
        let before = PieceFile::parse(&text, "piece.toml").unwrap();
        let mut after = PieceFile::parse(&edited, "piece.toml").unwrap();
        let idx = after.cues.iter().position(|c| c.hand.is_some()).unwrap();
        let added = after.cues.remove(idx);
        prop_assert_eq!((added.at.value, added.text.value), (place.text(&score), words));
        prop_assert_eq!(after, before);
        // Taking it away again gives the text back.
        let removed = edit::remove_cue(&edited, "piece.toml", &score, place, Some(Hand::Left)).unwrap();
        prop_assert_eq!(removed, text);
    }

    #[test]
    fn a_cue_said_anew_changes_its_words_alone(text in a_players_text(), words in "[a-z]{1,9}", pick in any::<prop::sample::Index>()) {
        let score = score(8, &[("P1", "Harp")]);
        let cues = PieceFile::parse(&text, "piece.toml").unwrap().cues;
        prop_assume!(!cues.is_empty());
        let old = pick.get(&cues);
        let place = Place::parse(&old.at.value, &score).unwrap();
        let cue = Cue { place, hand: None, text: words.clone(), more: None };
        let edited = edit::add_cue(&text, "piece.toml", &score, &cue).unwrap();
        let line = old.text.place.line as usize - 1;
        let expected: Vec<String> = text
            .lines()
            .enumerate()
            .map(|(i, l)| if i == line { l.replacen("'wie immer'", &format!("\"{words}\""), 1) } else { l.to_owned() })
            .collect();
        prop_assert_eq!(edited.lines().map(str::to_owned).collect::<Vec<_>>(), expected);
    }
}

#[test]
fn reps_are_set_where_they_stand() {
    let text = "title = \"T\"\nscore = \"t.xml\"\nreps = 3 # as always\n\n[[section]] # first\nname = \"A\"\nbars = \"1-4\"\n";
    let edited = edit::set_reps(text, "piece.toml", None, 5).unwrap();
    assert_eq!(edited, text.replace("reps = 3 #", "reps = 5 #"));
    let edited = edit::set_reps(text, "piece.toml", Some("A"), 2).unwrap();
    assert_eq!(edited, format!("{text}reps = 2\n"));
    assert!(edit::set_reps(text, "piece.toml", None, 0).is_err(), "an edit never leaves a file that is refused later");
}

#[test]
fn cues_kept_in_one_list_stay_in_it() {
    let text = "title = \"T\"\nscore = \"t.xml\"\ncue = [{ at = \"1.1\", text = \"x\" }] # short\n";
    let score = score(8, &[("P1", "")]);
    let cue = Cue { place: Place::start_of(BarIdx(1)), hand: None, text: "y".into(), more: None };
    let edited = edit::add_cue(text, "piece.toml", &score, &cue).unwrap();
    assert_eq!(
        edited,
        "title = \"T\"\nscore = \"t.xml\"\ncue = [{ at = \"1.1\", text = \"x\" }, { at = \"2.1\", text = \"y\" }] # short\n"
    );
}

#[test]
fn line_ends_of_other_systems_survive_an_edit() {
    let text = "title = \"T\"\r\nscore = \"t.xml\"\r\n# end\r\n";
    let edited = edit::set_reps(text, "piece.toml", None, 4).unwrap();
    assert_eq!(edited, "title = \"T\"\r\nscore = \"t.xml\"\r\nreps = 4\r\n# end\r\n");
}

#[test]
fn the_reference_has_every_key_and_is_accepted() {
    let read = PieceFile::parse(REFERENCE, "piece.toml").unwrap();
    let piece = read.check(score(9, &[("P1", "Harp")]), None).unwrap();
    assert_eq!((piece.instrument, piece.sections[0].target_reps, piece.cues[0].hand), (Instrument::LeverHarp, Some(5), Some(Hand::Left)));
    // Nothing is left out: a file with a key more would not be written back the same.
    let all = [read.part.is_some(), read.instrument.is_some(), read.tempo.is_some(), read.reps.is_some(), read.cues[0].more.is_some()];
    let judging = [read.judging.inner_notes.is_some(), read.judging.in_a_row.is_some(), read.landmarks[0].setting.is_some()];
    let harp = [read.harp.lowest.is_some(), read.harp.highest.is_some(), read.harp.tuning.is_some(), read.harp.fixed.is_some()];
    assert!(all.iter().chain(&judging).chain(&harp).all(|is_there| *is_there));
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in prop_oneof!["\\PC{0,60}", a_players_text()], cut in any::<prop::sample::Index>(), junk in "[\\[\\]={}\"'.\\-0-9a-z\n\0é]{0,6}") {
        let mut damaged: Vec<char> = text.chars().collect();
        let at = if damaged.is_empty() { 0 } else { cut.index(damaged.len()) };
        damaged.splice(at..at, junk.chars());
        let damaged: String = damaged.into_iter().collect();
        if let Ok(file) = PieceFile::parse(&damaged, "piece.toml") {
            let _ = file.check(score(8, &[("P1", "Harp")]), None);
        }
        let _ = catchword::config::Config::parse(&damaged, "config.toml");
    }
}
