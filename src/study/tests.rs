//! The study on small scores: what edits do to the text, and that undo gives every text back.

use proptest::prelude::*;

use super::*;
use crate::import::read_score;

/// Eight bars of 3/4: bars 5 to 6 are bars 1 to 2 again, then another way; bar 8 is bar 4, a fourth higher.
fn score() -> Arc<Score> {
    let mut notes = "onset_beats,duration_beats,pitch,hand,bar,meter\n".to_owned();
    let left = [48, 45, 41, 43, 48, 45, 50, 48];
    let right = [[72, 74, 76], [72, 71, 69], [69, 72, 77], [74, 71, 67], [72, 74, 76], [72, 71, 69], [74, 77, 81], [79, 76, 72]];
    for bar in 0..8 {
        for (beat, key) in right[bar].iter().enumerate() {
            let at = 3 * bar + beat;
            notes += &format!("{at},1,{key},R,{},3/4\n{at},1,{},L,{},3/4\n", bar + 1, left[bar] + [0, 7, 12][beat], bar + 1);
        }
    }
    Arc::new(read_score(notes.as_bytes(), "t.csv").unwrap().0)
}

const TEXT: &str = "\
title = \"T\" # mine
score = \"t.csv\"
instrument = \"lever-harp\"

[[section]]
name = \"the gate\" # at dusk
bars = \"1-4\"

[[section]]
name = \"bars 5-8\"
bars = \"5-8\"

# first words
[[cue]]
at = \"1.1\"
text = \"home\"

[[landmark]]
at = \"1.1\"
name = \"the gate\"

[[landmark]]
at = \"5.1\"
name = \"bars 5-8\"
";

fn study(text: &str) -> Study {
    Study::try_new(text, "piece.toml", score(), None, None).unwrap()
}

fn act(study: &mut Study, action: Action) {
    study.act(action.clone()).unwrap_or_else(|why| panic!("{action:?}: {why}"));
}

fn lines(study: &Study) -> Vec<(String, Standing, String)> {
    study.view().lines.iter().map(|l| (l.place.clone(), l.standing, l.text.to_owned())).collect()
}

#[test]
fn lines_of_the_file_and_drafted_ones_are_told_apart() {
    let study = study(TEXT);
    let view = study.view();
    let first = &view.lines[0];
    assert_eq!((first.place.as_str(), first.standing, first.text), ("1.1", Standing::Own, "home"));
    assert!(first.draft.is_some_and(|d| d.starts_with("root C")) && first.reason.is_some(), "{first:?}");
    assert!(view.lines[1..].iter().all(|l| l.standing == Standing::Draft && l.reason.is_some()));
    assert!(view.lines.iter().any(|l| l.place == "5.1" && l.text.starts_with("as bars 1-2")), "{:?}", lines(&study));
    assert_eq!(view.n_lines[2], 1);
}

#[test]
fn a_drafted_line_is_kept_reworded_dropped_and_comes_back() {
    let mut study = study(TEXT);
    act(&mut study, Action::Down);
    let drafted = lines(&study)[1].clone();
    act(&mut study, Action::Accept);
    assert_eq!(lines(&study)[1], (drafted.0.clone(), Standing::Kept, drafted.2.clone()));
    assert!(study.text().contains(&format!("at = \"{}\"\ntext = \"{}\"\n", drafted.0, drafted.2)), "{}", study.text());
    assert_eq!(study.view().line, 2, "on to the next line");
    act(&mut study, Action::Up);
    act(&mut study, Action::Reword("  sink a third ".to_owned()));
    assert_eq!(lines(&study)[1], (drafted.0.clone(), Standing::Own, "sink a third".to_owned()));
    assert_eq!(study.view().lines[1].draft, Some(drafted.2.as_str()));
    act(&mut study, Action::Drop);
    assert_eq!(lines(&study)[1], (drafted.0.clone(), Standing::Dropped, drafted.2.clone()));
    assert!(!study.text().contains("sink a third"));
    assert!(study.act(Action::Drop).is_err());
    act(&mut study, Action::Accept);
    assert_eq!(lines(&study)[1].1, Standing::Kept);
    for _ in 0..4 {
        act(&mut study, Action::Undo);
    }
    assert_eq!(study.text(), TEXT);
    assert_eq!(lines(&study)[1].1, Standing::Draft);
    assert_eq!(study.act(Action::Undo), Err("nothing to undo".to_owned()));
    for _ in 0..4 {
        act(&mut study, Action::Redo);
    }
    assert_eq!(lines(&study)[1].1, Standing::Kept);
}

#[test]
fn a_line_of_ones_own_goes_to_its_place_or_is_refused_with_the_reason() {
    let mut study = study(TEXT);
    act(&mut study, Action::Add { at: "3.2 left".into(), text: "lean".into() });
    assert!(study.text().contains("[[cue]]\nat = \"3.2\"\nhand = \"left\"\ntext = \"lean\"\n"));
    let chosen = study.view().line;
    assert_eq!(lines(&study)[chosen].2, "lean");
    for (at, text, why) in [
        ("9.1", "x", "there is no bar 9; the score has bars 1 to 8"),
        ("3.2 left", "x", "a line stands at 3.2 already"),
        ("4.1", " ", "a line needs some words"),
        ("4.7", "x", "bar 4 has no beat 7"),
    ] {
        let refused = study.act(Action::Add { at: at.into(), text: text.into() }).unwrap_err();
        assert!(refused.contains(why), "{refused}");
    }
}

#[test]
fn the_dialect_changes_drafts_and_not_what_was_kept() {
    let flats = TEXT.replace("\"lever-harp\"", "\"keyboard\"");
    let mut study = study(&flats);
    act(&mut study, Action::AcceptSection);
    let kept = study.text().to_owned();
    act(&mut study, Action::Dialect);
    assert_eq!(study.text(), kept);
    assert_eq!(study.view().dialect, Dialect::Solfege);
    act(&mut study, Action::Dialect);
    assert_eq!(study.view().dialect, Dialect::Letters);
    assert!(lines(&study).iter().filter(|l| l.1 == Standing::Kept).count() >= 2);
}

#[test]
fn sections_are_split_merged_moved_and_renamed_and_landmarks_follow() {
    let mut study = study(TEXT);
    act(&mut study, Action::Room(Room::Sections));
    let cuts = |study: &Study| study.view().sections.iter().map(|s| (s.name.to_owned(), s.bars.clone())).collect::<Vec<_>>();
    let landmarks = |study: &Study| study.landmarks.iter().map(|l| (l.place.bar.0 + 1, l.name.clone())).collect::<Vec<_>>();
    let own = |pairs: &[(&str, &str)]| pairs.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect::<Vec<_>>();
    assert!(study.act(Action::Split).is_err(), "bar 1 begins the section already");
    act(&mut study, Action::Right);
    act(&mut study, Action::Right);
    act(&mut study, Action::Split);
    assert_eq!(cuts(&study), own(&[("the gate", "bars 1-2"), ("bars 3-4", "bars 3-4"), ("bars 5-8", "bars 5-8")]));
    assert_eq!(landmarks(&study), [(1, "the gate".to_owned()), (3, "bars 3-4".to_owned()), (5, "bars 5-8".to_owned())]);
    assert!(study.text().contains("name = \"the gate\" # at dusk"));
    let with_setting = study.landmarks.iter().find(|l| l.place.bar.0 == 2).unwrap().setting.clone();
    assert!(with_setting.is_some_and(|s| s.contains("levers up")));
    act(&mut study, Action::StartEarlier);
    assert_eq!(cuts(&study), own(&[("the gate", "bar 1"), ("bars 2-4", "bars 2-4"), ("bars 5-8", "bars 5-8")]));
    assert_eq!(landmarks(&study)[1], (2, "bars 2-4".to_owned()));
    assert!(study.act(Action::StartEarlier).is_err(), "the gate has one bar only");
    act(&mut study, Action::Rename("the lane".to_owned()));
    assert_eq!(landmarks(&study)[1], (2, "the lane".to_owned()));
    assert!(study.act(Action::Rename("The Gate".to_owned())).is_err());
    act(&mut study, Action::MergeNext);
    assert_eq!(cuts(&study), own(&[("the gate", "bar 1"), ("the lane", "bars 2-8")]));
    assert_eq!(landmarks(&study), [(1, "the gate".to_owned()), (2, "the lane".to_owned())]);
    for _ in 0..4 {
        act(&mut study, Action::Undo);
    }
    assert_eq!(study.text(), TEXT);
    act(&mut study, Action::TakeProposed);
    let ranges: Vec<(usize, usize)> = study.view().sections.iter().map(|s| (s.from, s.end)).collect();
    let proposed: Vec<(usize, usize)> = study.analysis.sections.iter().map(|p| (p.from, p.end)).collect();
    assert_eq!(ranges, proposed);
}

#[test]
fn a_piece_cut_by_default_gets_its_sections_written_with_the_first_change() {
    let mut study = study("title = \"T\"\nscore = \"t.csv\"\n");
    assert_eq!(study.view().sections.len(), 2);
    act(&mut study, Action::Room(Room::Sections));
    act(&mut study, Action::Rename("the gate".to_owned()));
    assert_eq!(
        study.text(),
        "title = \"T\"\nscore = \"t.csv\"\n\n[[section]]\nname = \"the gate\"\nbars = \"1-4\"\n\n[[section]]\nname = \"bars 5-8\"\nbars = \"5-8\"\n"
    );
}

#[test]
fn the_map_letters_what_comes_back_and_says_both_ways_of_a_switch() {
    let mut study = study(TEXT);
    act(&mut study, Action::Room(Room::Map));
    let letters: Vec<Option<String>> = study.view().bars.iter().map(|b| b.letter.clone()).collect();
    let expected = ["A", "A", "", "B", "A", "A", "", "B\u{2191}"];
    assert_eq!(letters, expected.map(|l| (!l.is_empty()).then(|| l.to_owned())));
    assert!(study.view().bars[4].begins && !study.view().bars[5].begins);
    // Bars 3 and 7: the same for six beats, then another way.
    assert_eq!((&study.view().bars[2].switches[..], &study.view().bars[6].switches[..]), (&[1][..], &[1][..]));
    while study.view().bar != 6 {
        act(&mut study, Action::Right);
    }
    let words = study.view().bar_words.join(" ");
    assert!(words.starts_with("switch 1: here (beat 1) D minor; there (bar 3, beat 1) root F."), "{words}");
    act(&mut study, Action::First);
    let words = study.view().bar_words.join(" ");
    assert!(words.contains("Bars 5-6 are bars 1-2 again."), "{words}");
}

#[test]
fn an_edit_made_elsewhere_stays_when_earlier_steps_are_undone() {
    let mut study = study(TEXT);
    act(&mut study, Action::Reword("my home".to_owned()));
    act(&mut study, Action::Add { at: "2.1".into(), text: "down".into() });
    let merged = study.text().replace("the gate\" # at dusk", "the door\" # at dusk");
    study.saved(&merged);
    assert!(study.is_saved());
    assert_eq!(study.view().sections[0].name, "the door");
    act(&mut study, Action::Undo);
    act(&mut study, Action::Undo);
    assert_eq!(study.text(), TEXT.replace("the gate\" # at dusk", "the door\" # at dusk"));
    assert!(!study.is_saved());
    act(&mut study, Action::Redo);
    act(&mut study, Action::Redo);
    assert_eq!(study.text(), merged);
}

#[test]
fn an_edit_made_elsewhere_at_the_same_place_ends_the_way_back() {
    let mut study = study(TEXT);
    act(&mut study, Action::Reword("my home".to_owned()));
    study.saved(&study.text().replace("my home", "their home"));
    assert_eq!(lines(&study)[0].2, "their home");
    assert_eq!(study.act(Action::Undo), Err("nothing to undo".to_owned()), "undoing would take their words away");
}

fn an_action() -> impl Strategy<Value = Action> {
    let words = || "[a-z]{0,6}( [a-z]{1,6})?";
    prop_oneof![
        8 => prop::sample::select(vec![Action::Up, Action::Down, Action::Left, Action::Right, Action::First, Action::Last, Action::NextRoom]),
        6 => prop::sample::select(vec![Action::Accept, Action::AcceptSection, Action::Drop, Action::Dialect]),
        6 => prop::sample::select(vec![Action::Split, Action::MergeNext, Action::StartEarlier, Action::StartLater, Action::TakeProposed]),
        2 => prop::sample::select(vec![Action::Undo, Action::Redo]),
        2 => words().prop_map(Action::Reword),
        1 => words().prop_map(Action::RewordMore),
        2 => words().prop_map(Action::Rename),
        2 => (1usize..10, 1usize..4, words()).prop_map(|(bar, beat, text)| Action::Add { at: format!("{bar}.{beat}"), text }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn undoing_everything_gives_the_first_text_back(actions in prop::collection::vec(an_action(), 0..25), bare in any::<bool>()) {
        let text = if bare { "# bare\ntitle = 'T'\r\nscore = 't.csv'\r\n" } else { TEXT };
        let mut study = study(text);
        for action in actions {
            let before = study.text().to_owned();
            let done = study.act(action.clone());
            prop_assert!(done.is_ok() || study.text() == before, "{action:?} failed and changed the text");
            // Whatever came of it is a piece file of this score, and is what the view shows.
            let read = PieceFile::parse(study.text(), "piece.toml").unwrap().lists(&score()).unwrap();
            prop_assert_eq!(read.cues.len(), study.view().n_lines[1] + study.view().n_lines[2]);
            prop_assert!(study.view().lines.is_empty() || study.view().line < study.view().lines.len());
            prop_assert!(study.view().bar < 8);
        }
        let last = study.text().to_owned();
        let mut n_steps = 0;
        while study.act(Action::Undo).is_ok() {
            n_steps += 1;
        }
        prop_assert_eq!(study.text(), text);
        // And forth again.
        (0..n_steps).for_each(|_| drop(study.act(Action::Redo)));
        prop_assert_eq!(study.text(), last);
    }
}
