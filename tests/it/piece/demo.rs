//! The demo pieces: what their cues say is true of their notes, and a lever harp can play them.
//!
//! A cue that sends a player to the wrong string is worse than none, so every kind of claim that
//! can be read off the notes is: roots, left-hand shapes, likeness, rolls, direction, lever setting.

use catchword::piece::{Cue, Piece, parse_bars};
use catchword::piece_folder::open_piece;
use catchword::score::{Note, Roll, unfold};
use catchword::theory::{Hand, Letter};
use catchword::time::ScoreTime;

fn demo(name: &str) -> Piece {
    let dir = format!("{}/pieces/{name}", env!("CARGO_MANIFEST_DIR"));
    let opened = open_piece(&dir, None, &[]).unwrap();
    assert!(opened.warnings.is_empty(), "{:?}", opened.warnings);
    assert_eq!(open_piece(name, None, &[]).unwrap().piece, opened.piece, "the one built in is the one on disk");
    opened.piece
}

fn both() -> [(&'static str, Piece); 2] {
    ["ferry", "all-through-the-night"].map(|name| (name, demo(name)))
}

/// The notes of printed bars: bar counted from the first, quarters into it, hand, string, roll.
fn notes(piece: &Piece, bars: &str) -> Vec<(usize, ScoreTime, Hand, i32, Option<Roll>)> {
    let range = parse_bars(bars, &piece.score).unwrap();
    let in_range = piece.part().notes.iter().filter(|n| range.contains(n.bar));
    let row = |n: &Note| (n.bar.0 - range.start.0, n.onset - piece.score.bar(n.bar).start, n.hand, n.pitch.string_steps(), n.roll);
    in_range.map(row).collect()
}

/// The strings of one hand in the bar of a place, from that place on, lowest first at each onset.
fn strings_from(piece: &Piece, place: &str, hand: Hand) -> Vec<i32> {
    let place = catchword::score::Place::parse(place, &piece.score).unwrap();
    let from = place.onset(&piece.score);
    let part = piece.part();
    let of_bar = part.notes.iter().filter(|n| n.bar == place.bar && n.hand == hand && n.onset >= from);
    of_bar.map(|n| n.pitch.string_steps()).collect()
}

fn at(piece: &Piece, onset: ScoreTime) -> Vec<&Note> {
    piece.part().notes.iter().filter(|n| n.onset == onset).collect()
}

fn words(text: &str) -> Vec<&str> {
    text.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect()
}

/// A string letter standing alone; "A" at the beginning of a sentence would be one too, so cues do not begin so.
fn string_letter(word: &str) -> Option<Letter> {
    let mut chars = word.chars();
    let letter = chars.next().filter(char::is_ascii_uppercase).and_then(Letter::from_char);
    letter.filter(|_| chars.next().is_none())
}

#[test]
fn every_root_that_a_cue_names_is_the_lowest_string_there() {
    let mut n_checked = 0;
    for (name, piece) in both() {
        for cue in &piece.cues {
            let bass_at = |onset| at(&piece, onset).iter().min_by_key(|n| n.key).map(|n| n.pitch.letter);
            let here = cue.place.onset(&piece.score);
            let half = piece.score.bar(cue.place.bar).length.scaled(1, 2);
            for said in [Some(&cue.text), cue.more.as_ref()].into_iter().flatten() {
                let said = words(said);
                for i in 0..said.len() {
                    let next = said.get(i + 1).copied().and_then(string_letter);
                    if let ("root" | "roots", Some(letter)) = (said[i], next) {
                        assert_eq!(bass_at(here), Some(letter), "{name}, {cue:?}");
                        n_checked += 1;
                    }
                    // "root F, then D" and "roots B and C": the second one comes with the second half of the bar.
                    if let ("then" | "and", Some(letter)) = (said[i], next)
                        && let Some(first) = i.checked_sub(1).and_then(|i| string_letter(said[i]))
                    {
                        assert_eq!((bass_at(here), bass_at(here + half)), (Some(first), Some(letter)), "{name}, {cue:?}");
                        n_checked += 1;
                    }
                }
            }
        }
    }
    assert!(n_checked >= 20, "only {n_checked} roots were found to check");
}

#[test]
fn every_left_hand_shape_that_a_cue_names_is_played() {
    let step = |number: &str| match number {
        "one" => Some(0),
        "five" => Some(4),
        "eight" => Some(7),
        "ten" => Some(9),
        _ => None,
    };
    let mut n_checked = 0;
    for (name, piece) in both() {
        for cue in &piece.cues {
            for said in [Some(&cue.text), cue.more.as_ref()].into_iter().flatten() {
                let said = words(said);
                // "one" is also a plain word: a shape has a number right after it.
                let start = (0..said.len().saturating_sub(1)).find(|&i| said[i] == "one" && step(said[i + 1]).is_some());
                let Some(start) = start else { continue };
                let mut shape = vec![0];
                shape.extend(said[start + 1..].iter().take_while(|w| **w != "one").map_while(|w| step(w)));
                let played = strings_from(&piece, &cue.place.text(&piece.score), Hand::Left);
                let steps: Vec<i32> = played.iter().take(shape.len()).map(|s| s - played[0]).collect();
                assert_eq!(steps, shape, "{name}, {cue:?}");
                n_checked += 1;
            }
        }
    }
    assert!(n_checked >= 12, "only {n_checked} shapes were found to check");
}

#[test]
fn passages_that_cues_call_the_same_are_the_same() {
    for (name, bars, like) in [
        ("ferry", "5-6", "1-2"),
        ("ferry", "18-20", "1-3"),
        ("ferry", "22", "8"),
        ("all-through-the-night", "9-11", "5-7"),
        ("all-through-the-night", "17-19", "5-7"),
    ] {
        let piece = demo(name);
        assert_eq!(notes(&piece, bars), notes(&piece, like), "{name}: bars {bars} as {like}");
    }
    // "As bar 3" of the bass, and "as in bar 8" of the roll.
    let night = demo("all-through-the-night");
    let of = |bars, hand| notes(&night, bars).into_iter().filter(|n| n.2 == hand).collect::<Vec<_>>();
    assert_eq!(of("7", Hand::Left), of("3", Hand::Left));
    assert_eq!(of("12", Hand::Right), of("8", Hand::Right));
    assert_eq!(of("8", Hand::Left), of("1", Hand::Left));
}

#[test]
fn look_alikes_part_where_the_cues_say_so() {
    for (name, bar, like) in [("ferry", "7", "3"), ("ferry", "9", "8"), ("ferry", "21", "4"), ("ferry", "23", "9")].into_iter().chain([
        ("all-through-the-night", "12", "8"),
        ("all-through-the-night", "20", "8"),
        ("all-through-the-night", "20", "12"),
    ]) {
        let piece = demo(name);
        assert_ne!(notes(&piece, bar), notes(&piece, like), "{name}: bar {bar} is not bar {like}");
    }
}

#[test]
fn the_waves_of_the_ferry_rise_one_string_at_a_time_and_spill_down_by_step() {
    let ferry = demo("ferry");
    let raised = |bars| notes(&ferry, bars).into_iter().map(|(b, t, h, s, r)| (b, t, h, s + 1, r)).collect::<Vec<_>>();
    assert_eq!(notes(&ferry, "15"), raised("14"));
    assert_eq!(notes(&ferry, "16"), raised("15"));
    let spill = strings_from(&ferry, "17.1", Hand::Right);
    assert!(spill.windows(2).all(|w| w[1] == w[0] - 1), "{spill:?}");
    let all = || ferry.part().notes.iter().map(|n| n.pitch.string_steps());
    assert_eq!(Some(spill[0]), all().max(), "the crest is the peak");
    for place in ["3.1", "14.1", "20.1"] {
        assert_eq!(strings_from(&ferry, place, Hand::Left).first().copied(), all().min(), "the deepest string at {place}");
    }
    // The climbs of bars 8 and 22 go up in thirds; one leads on up a step, the other steps back down.
    let climb = strings_from(&ferry, "8.1", Hand::Right);
    assert!(climb.windows(2).all(|w| w[1] == w[0] + 2), "{climb:?}");
    let top = |place| *strings_from(&ferry, place, Hand::Right).iter().take(2).max().unwrap();
    assert_eq!(top("1.1"), climb[2] + 1);
    assert_eq!(top("23.1"), climb[2] - 1);
    // The left hand's tune: up by step to a long top, down by step again.
    let tune: Vec<i32> = [strings_from(&ferry, "10.1", Hand::Left), strings_from(&ferry, "11.1", Hand::Left)].concat();
    assert_eq!(tune.iter().map(|s| s - tune[0]).collect::<Vec<_>>(), [0, 1, 2, 3, 2]);
    assert_eq!(strings_from(&ferry, "12.1", Hand::Left).iter().map(|s| s - tune[0]).collect::<Vec<_>>(), [1, 2, 0]);
}

#[test]
fn over_the_hill_is_in_sixths_that_come_down_from_the_top() {
    let night = demo("all-through-the-night");
    let right = notes(&night, "13-16").into_iter().filter(|n| n.2 == Hand::Right).map(|n| n.3).collect::<Vec<_>>();
    assert!(right.chunks(2).all(|pair| pair[1] == pair[0] + 5), "{right:?}");
    let tops: Vec<i32> = right.chunks(2).map(|pair| pair[1]).collect();
    assert_eq!(tops.iter().max(), Some(&tops[4]), "the top of the hill is the start of its second bar");
    for bar in tops[4..].chunks(4) {
        assert!(bar.windows(2).all(|w| w[1] == w[0] - 1), "{tops:?}");
    }
    assert_eq!((tops[8], tops[12]), (tops[4] - 2, tops[4] - 3), "a third lower, then a step lower still");
    // The walk down of bar 12 meets the bass of bar 13.
    let walk = [strings_from(&night, "12.1", Hand::Left), strings_from(&night, "13.1", Hand::Left)].concat();
    assert!(walk[..5].windows(2).all(|w| w[1] == w[0] - 1), "{walk:?}");
    let lowest = night.part().notes.iter().map(|n| n.pitch.string_steps()).min();
    assert_eq!(strings_from(&night, "2.1", Hand::Left).first().copied(), lowest);
}

#[test]
fn rolls_are_cued_where_they_stand_and_nowhere_else() {
    for (name, piece) in both() {
        let says_roll = |cue: &Cue| {
            let said = format!("{} {}", cue.text, cue.more.as_deref().unwrap_or_default());
            words(&said).iter().any(|w| w.starts_with("roll")) && !said.contains("no roll") && !said.contains("rolled;")
        };
        for cue in &piece.cues {
            let is_rolled = at(&piece, cue.place.onset(&piece.score)).iter().any(|n| n.roll == Some(Roll::Up));
            // Two waves of the ferry, and all that is called the same as before, do not repeat the word.
            assert!(is_rolled || !says_roll(cue), "{name}: no roll at {cue:?}");
        }
        let rolled = piece.part().notes.iter().filter(|n| n.roll.is_some());
        assert!(rolled.clone().count() > 6, "{name} has rolled chords");
        for note in rolled {
            assert_eq!(note.roll, Some(Roll::Up));
            assert!(piece.cues.iter().any(|c| c.place.onset(&piece.score) == note.onset), "{name}: an uncued roll at {note:?}");
        }
    }
}

#[test]
fn cues_are_short_stand_on_an_onset_and_never_list_notes() {
    for (name, piece) in both() {
        for cue in &piece.cues {
            let n_words = cue.text.split_whitespace().count();
            assert!((2..=5).contains(&n_words), "{name}: {n_words} words in {cue:?}");
            let here = at(&piece, cue.place.onset(&piece.score));
            assert!(here.iter().any(|n| cue.hand.is_none_or(|h| h == n.hand)), "{name}: nothing is played at {cue:?}");
            let n_letters = words(&cue.text).into_iter().filter_map(string_letter).count();
            assert!(n_letters <= 2, "{name}: {n_letters} string letters in {cue:?}");
            let pitch =
                |w: &&str| w.len() == 2 && w.starts_with(|c: char| c.is_ascii_uppercase()) && w.ends_with(|c: char| c.is_ascii_digit());
            assert!(!words(&cue.text).iter().any(pitch), "{name}: a pitch in {cue:?}");
        }
        let n_bars = piece.score.bars.len();
        assert!(piece.cues.len() <= n_bars + 1, "{name}: about one cue a bar or fewer");
    }
}

#[test]
fn sections_cover_every_bar_once_and_landmarks_name_the_levers_that_are_up() {
    for (name, piece) in both() {
        let ends: Vec<(usize, usize)> = piece.sections.iter().map(|s| (s.bars.start.0, s.bars.end.0)).collect();
        assert_eq!(ends.first().map(|e| e.0), Some(0), "{name}");
        assert_eq!(ends.last().map(|e| e.1), Some(piece.score.bars.len()), "{name}");
        assert!(ends.windows(2).all(|w| w[0].1 == w[1].0), "{name}: {ends:?}");
        // On a harp tuned in E flat the levers that are up are those of the natural letters among B, E, A
        // (common practice; a lever raises its string by a semitone).
        let is_natural = |letter| piece.part().notes.iter().any(|n| n.pitch.letter == letter && n.pitch.alter == 0);
        let up: Vec<Letter> = [Letter::E, Letter::A, Letter::B].into_iter().filter(|l| is_natural(*l)).collect();
        for landmark in &piece.landmarks {
            let setting = landmark.setting.as_deref().unwrap();
            let named: Vec<Letter> = words(setting).into_iter().filter_map(string_letter).collect();
            assert_eq!(named, up, "{name}: {setting}");
        }
    }
}

#[test]
fn a_lever_harp_can_play_them_without_moving_a_lever() {
    for (name, piece) in both() {
        let notes = &piece.part().notes;
        for letter in Letter::ALL {
            let alters: Vec<i8> = notes.iter().filter(|n| n.pitch.letter == letter).map(|n| n.pitch.alter).collect();
            assert!(alters.iter().all(|a| *a == alters[0]), "{name}: the {} strings change", letter.char());
        }
        assert!(notes.iter().all(|n| (36..=96).contains(&n.key.number())), "{name}: strings C2 to C7");
        for note in notes {
            let chord: Vec<i32> =
                notes.iter().filter(|n| n.onset == note.onset && n.hand == note.hand).map(|n| n.pitch.string_steps()).collect();
            let reach = chord.iter().max().unwrap() - chord.iter().min().unwrap();
            // Four fingers, and tenths at most (common practice).
            assert!(chord.len() <= 4 && reach <= 9, "{name}: beyond a hand at {note:?}");
        }
    }
}

#[test]
fn the_scores_are_read_as_another_library_reads_them() {
    // Note heads and sum of MIDI keys: music21 10.5.1, run once over these two files.
    for (name, n_heads, key_sum) in [("ferry", 160, 10_176), ("all-through-the-night", 160, 10_114)] {
        let piece = demo(name);
        let notes = &piece.part().notes;
        assert_eq!(notes.len(), n_heads, "{name}");
        assert_eq!(notes.iter().map(|n| u32::from(n.key.number())).sum::<u32>(), key_sum, "{name}");
    }
}

#[test]
fn the_ferry_goes_round_once_before_the_second_ending() {
    // As music21 10.5.1 unfolds it (`expandRepeats`).
    let piece = demo("ferry");
    let played = unfold(&piece.score, piece.part(), &piece.score.all_bars().unwrap());
    let order: Vec<usize> = (1..=8).chain(1..=7).chain(9..=24).collect();
    assert_eq!(played.bars.iter().map(|b| b.bar.0 + 1).collect::<Vec<_>>(), order);
}
