//! Edits of sections and landmarks, and two edits of one file brought together.

use catchword::piece::merge::{Clash, merge};
use catchword::piece::{Cue, Landmark, Lists, PieceFile, Section, edit};
use catchword::score::{BarIdx, BarRange, Place, Score};
use catchword::time::ScoreTime;
use proptest::prelude::*;

use super::{a_players_text, score};

const FILE: &str = "piece.toml";

fn lists(text: &str, score: &Score) -> Lists {
    PieceFile::parse(text, FILE).unwrap().lists(score).unwrap()
}

fn section(name: &str, bars: std::ops::Range<usize>) -> Section {
    Section { name: name.to_owned(), bars: BarRange::try_new(bars).unwrap(), target_reps: None }
}

fn landmark(bar: usize, name: &str) -> Landmark {
    Landmark { place: Place::start_of(BarIdx(bar)), name: name.to_owned(), setting: None }
}

fn cue(bar: usize, text: &str) -> Cue {
    Cue { place: Place::start_of(BarIdx(bar)), hand: None, text: text.to_owned(), more: None }
}

const TWO_SECTIONS: &str = "\
title = \"T\"
score = \"t.xml\"

# The form: A B.

[[section]] # proposed: the beginning
name = \"the gate\" # mine
bars = \"1-4\"
reps = 5

# Slower here.
[[section]]
name = \"the field\"
bars = \"5-8\"   # to the end
";

#[test]
fn sections_change_where_they_stand_and_keep_their_comments() {
    let score = score(8, &[("P1", "")]);
    let gate = Section { target_reps: Some(5), ..section("the gate", 0..4) };
    let rest = TWO_SECTIONS;
    for (what, wanted, expected) in [
        ("nothing", vec![gate.clone(), section("the field", 4..8)], rest.to_owned()),
        (
            "split",
            vec![Section { bars: BarRange::try_new(0..2).unwrap(), ..gate.clone() }, section("bars 3-4", 2..4), section("the field", 4..8)],
            rest.replace("\"1-4\"", "\"1-2\"").replace("reps = 5\n", "reps = 5\n\n[[section]]\nname = \"bars 3-4\"\nbars = \"3-4\"\n"),
        ),
        (
            "merged",
            vec![Section { bars: BarRange::try_new(0..8).unwrap(), ..gate.clone() }],
            rest.replace("\"1-4\"", "\"1-8\"").split("\n# Slower").next().unwrap().to_owned(),
        ),
        ("renamed", vec![gate.clone(), section("the wood", 4..8)], rest.replace("the field", "the wood")),
        (
            "boundary moved",
            vec![Section { bars: BarRange::try_new(0..5).unwrap(), ..gate.clone() }, section("the field", 5..8)],
            rest.replace("\"1-4\"", "\"1-5\"").replace("\"5-8\"", "\"6-8\""),
        ),
        ("reps taken away", vec![section("the gate", 0..4), section("the field", 4..8)], rest.replace("reps = 5\n", "")),
    ] {
        assert_eq!(edit::set_sections(rest, FILE, &score, &wanted).unwrap(), expected, "{what}");
    }
    let names_swapped = [Section { name: "the field".into(), ..gate }, section("the gate", 4..8)];
    let edited = edit::set_sections(rest, FILE, &score, &names_swapped).unwrap();
    assert_eq!(lists(&edited, &score).sections, names_swapped);
    let refused = edit::set_sections(rest, FILE, &score, &[section("A", 0..5), section("B", 3..8)]).unwrap_err();
    assert!(refused.to_string().contains("at most one bar shared by neighbours"), "{refused}");
}

#[test]
fn a_row_taken_away_takes_its_own_comment_and_leaves_the_heading_above() {
    let score = score(8, &[("P1", "")]);
    let text = "title = \"T\"\nscore = \"t.xml\"\n\n# --- The story ---\n\n# a doubtful one\n[[cue]]\nat = \"1.1\"\ntext = \"x\"\n\n[[cue]]\nat = \"2.1\"\ntext = \"y\"\n\n# --- Cold starts ---\n\n[[landmark]]\nat = \"1\"\nname = \"top\"\n";
    let one = edit::remove_cue(text, FILE, &score, Place::start_of(BarIdx(0)), None).unwrap();
    assert_eq!(one, text.replace("# a doubtful one\n[[cue]]\nat = \"1.1\"\ntext = \"x\"\n\n", ""));
    let none = edit::set_cues(&one, FILE, &score, &[]).unwrap();
    assert_eq!(
        none,
        "title = \"T\"\nscore = \"t.xml\"\n\n# --- The story ---\n\n# --- Cold starts ---\n\n[[landmark]]\nat = \"1\"\nname = \"top\"\n"
    );
    let bare = edit::set_landmarks(&none, FILE, &score, &[]).unwrap();
    assert_eq!(bare, "title = \"T\"\nscore = \"t.xml\"\n\n# --- The story ---\n\n# --- Cold starts ---\n");
}

#[test]
fn a_landmark_that_moves_stays_the_same_row() {
    let score = score(8, &[("P1", "")]);
    let text = "title = \"T\"\nscore = \"t.xml\"\n[[landmark]]\nat = \"1\" # the top\nname = \"top\"\n[[landmark]]\nat = \"5\" # lift\nname = \"lift\"\nsetting = \"F up\"\n";
    let moved = [landmark(0, "top"), Landmark { setting: Some("F up".into()), ..landmark(5, "lift") }];
    let edited = edit::set_landmarks(text, FILE, &score, &moved).unwrap();
    assert_eq!(edited, text.replace("\"5\" # lift", "\"6.1\" # lift"));
}

#[test]
fn edits_of_two_hands_at_different_places_are_both_kept() {
    let score = score(8, &[("P1", "")]);
    let base = format!("{TWO_SECTIONS}\n[[cue]]\nat = \"1.1\"\ntext = \"x\"\n\n[[cue]]\nat = \"5.1\"\ntext = \"y\"\n");
    // Mine: the first section split, a cue said anew, one added.
    let split = [Section { target_reps: Some(5), ..section("the gate", 0..2) }, section("bars 3-4", 2..4), section("the field", 4..8)];
    let mine = edit::set_sections(&base, FILE, &score, &split).unwrap();
    let mine = edit::set_cues(&mine, FILE, &score, &[cue(0, "mine"), cue(2, "new"), cue(4, "y")]).unwrap();
    // Theirs: the second section renamed, another cue dropped, comments written.
    let theirs = base.replace("the field", "the wood").replace("# Slower here.", "# Slower here, and softer.");
    let theirs = edit::remove_cue(&theirs, FILE, &score, Place::start_of(BarIdx(4)), None).unwrap();
    let merged = merge(&base, &mine, &theirs, FILE, &score).unwrap();
    assert!(merged.contains("# Slower here, and softer.\n") && merged.contains("name = \"the gate\" # mine"), "{merged}");
    let both = lists(&merged, &score);
    assert_eq!(both.sections.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(), ["the gate", "bars 3-4", "the wood"]);
    assert_eq!(both.cues, [cue(0, "mine"), cue(2, "new")]);
    // The same from both sides is no clash.
    assert_eq!(merge(&base, &mine, &mine, FILE, &score).unwrap(), mine);
}

#[test]
fn what_both_changed_is_named() {
    let score = score(8, &[("P1", "")]);
    let base = format!("{TWO_SECTIONS}\n[[cue]]\nat = \"1.1\"\ntext = \"x\"\n\n[[landmark]]\nat = \"5\"\nname = \"lift\"\n");
    let with = |old: &str, new: &str| base.replace(old, new);
    let cues = |text: &str| base.clone() + text;
    for (what, mine, theirs, message) in [
        ("a cue", with("\"x\"", "\"a\""), with("\"x\"", "\"b\""), "both changed the cue at 1.1"),
        ("a cue dropped", with("\"x\"", "\"a\""), with("\n[[cue]]\nat = \"1.1\"\ntext = \"x\"\n", ""), "both changed the cue at 1.1"),
        ("a name", with("the field", "a"), with("the field", "b"), "both changed the section \"the field\""),
        (
            "a cue added twice",
            cues("[[cue]]\nat = \"3\"\nhand = \"left\"\ntext = \"a\"\n"),
            cues("[[cue]]\nat = \"3.1\"\nhand = \"left\"\ntext = \"b\"\n"),
            "both changed the cue at 3.1 for the left hand",
        ),
        ("a name given twice", with("the gate", "z"), with("\"the field\"", "\"z\""), "expected a name that no other section has"),
        ("the head", with("title = \"T\"", "title = \"A\""), with("title = \"T\"", "title = \"B\""), "both changed the head of the file"),
        ("sections that overlap", with("\"1-4\"", "\"1-5\""), with("\"5-8\"", "\"4-8\""), "expected at most one bar shared by neighbours"),
        ("a broken text", with("\"x\"", "\"a\""), with("title", "titel"), "did you mean \"title\"?"),
    ] {
        let message_now = merge(&base, &mine, &theirs, FILE, &score).unwrap_err().to_string();
        assert!(message_now.contains(message), "{what}: {message_now}");
    }
    let refused = merge(&base, &with("\"x\"", "\"a\""), &with("\"5-8\"", "\"5-9\""), FILE, &score).unwrap_err();
    assert!(matches!(refused, Clash::Refused(_)));
}

proptest! {
    #[test]
    fn an_edit_made_meanwhile_at_another_place_survives_with_every_comment(
        base in a_players_text(),
        mine in prop::collection::vec((0usize..8, "[a-z]{1,9}"), 1..4),
        their_bar in 0usize..8,
        notes in prop::collection::vec((any::<prop::sample::Index>(), "[a-z]{1,9}"), 1..4),
        drops in any::<bool>(),
    ) {
        let score = score(8, &[("P1", "Harp")]);
        // Mine stand half a beat in, where neither the text nor they have any; or take all standing cues of a bar away.
        let place = |bar: usize, halves: i64| Place { bar: BarIdx(bar), into_bar: ScoreTime::new(halves, 2) };
        let mut my_text = base.clone();
        for (bar, words) in &mine {
            let cue = Cue { place: place(*bar, 1), hand: None, text: words.clone(), more: None };
            my_text = edit::add_cue(&my_text, FILE, &score, &cue).unwrap();
        }
        let standing = lists(&base, &score).cues;
        if drops {
            for cue in standing.iter().filter(|c| c.place.bar.0 != their_bar) {
                my_text = edit::remove_cue(&my_text, FILE, &score, cue.place, cue.hand).unwrap();
            }
        }
        // Theirs: a cue at the same bar elsewhere, a standing one said anew, and comments wherever a line begins.
        let theirs = Cue { place: place(their_bar, 3), hand: None, text: "theirs".into(), more: None };
        let mut their_text = edit::add_cue(&base, FILE, &score, &theirs).unwrap();
        if let Some(old) = standing.iter().find(|c| c.place.bar.0 == their_bar) {
            their_text = edit::add_cue(&their_text, FILE, &score, &Cue { text: "said anew".into(), ..old.clone() }).unwrap();
        }
        for (at, note) in &notes {
            let lines: Vec<&str> = their_text.lines().collect();
            let at = at.index(lines.len() + 1);
            their_text = [&lines[..at], &[format!("# theirs {note}").as_str()], &lines[at..]].concat().join("\n") + "\n";
        }
        let merged = merge(&base, &my_text, &their_text, FILE, &score).unwrap();
        let (mine, theirs, both) = (lists(&my_text, &score).cues, lists(&their_text, &score).cues, lists(&merged, &score).cues);
        for cue in &mine {
            prop_assert!(both.contains(cue) || theirs.iter().any(|t| t.place == cue.place), "{cue:?} is gone from {merged}");
        }
        for cue in theirs.iter().filter(|c| c.text != "wie immer" || !drops) {
            prop_assert!(both.contains(cue), "{cue:?} is gone from {merged}");
        }
        prop_assert!(!drops || both.iter().all(|c| c.text != "wie immer" || c.place.bar.0 == their_bar), "dropped cues came back in {merged}");
        // Comments survive, save those right above a cue that was dropped.
        for line in their_text.lines().filter(|line| line.starts_with('#') && !drops) {
            prop_assert!(merged.lines().any(|l| l == line), "{line:?} is gone from {merged}");
        }
    }
}
