//! Bars that are not followed by the same bar each time: every way on is asked, and another is told as a wrong turn.

use std::sync::Arc;

use catchword::analysis::analyse;
use catchword::journal::entry::{Outcome, QuestionKind};
use catchword::midi::MidiKey;
use catchword::piece_folder::open_piece;
use catchword::practice::quiz::{Exit, Question, Quiz, QuizConfig, Wanted, questions};
use catchword::practice::view::Stage;
use catchword::practice::{Command, Machine, PracticeConfig};

use super::{Only, Sitting, secs};

/// Writes a score of bars of four quarters, a bass note with the first of each; `bars` are what stands at the left and the right bar line and
/// words in it, and the step that its notes begin on.
fn score(bars: &[(&str, &str, &str)]) -> String {
    let note = |step: usize, octave: usize, quarters: usize, staff: u8, chord: bool| {
        let voice = if staff == 1 { 1 } else { 5 };
        let chord = if chord { "<chord/>" } else { "" };
        let step = ["C", "D", "E", "F", "G", "A", "B"][step % 7];
        format!(
            "<note>{chord}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{quarters}</duration>\
             <voice>{voice}</voice><staff>{staff}</staff></note>"
        )
    };
    let mut text = String::new();
    for (nth, (left, right, steps)) in bars.iter().enumerate() {
        text += &format!("<measure number=\"{}\">", nth + 1);
        if nth == 0 {
            text += "<attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time>\
                     <staves>2</staves><clef number=\"1\"><sign>G</sign><line>2</line></clef><clef number=\"2\"><sign>F</sign><line>4</line></clef>\
                     </attributes>";
        }
        text += left;
        let steps: Vec<usize> = steps.bytes().map(|b| usize::from(b - b'a')).collect();
        text += &steps.iter().map(|s| note(*s, 5, 1, 1, false)).collect::<String>();
        text += "<backup><duration>4</duration></backup>";
        text += &note(steps[0], 3, 4, 2, false);
        text += right;
        text += "</measure>";
    }
    format!(
        "<?xml version=\"1.0\"?><score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>Harp</part-name></score-part>\
         </part-list><part id=\"P1\">{text}</part></score-partwise>"
    )
}

const FORWARD: &str = "<barline location=\"left\"><repeat direction=\"forward\"/></barline>";
const BACKWARD: &str = "<barline location=\"right\"><repeat direction=\"backward\"/></barline>";

/// Two endings, the second of which begins as the first does.
fn with_endings() -> String {
    let first = ("<barline location=\"left\"><ending number=\"1\" type=\"start\"/></barline>", "defa");
    let close = "<barline location=\"right\"><ending number=\"1\" type=\"stop\"/><repeat direction=\"backward\"/></barline>";
    let second = "<barline location=\"left\"><ending number=\"2\" type=\"start\"/></barline>";
    score(&[
        (FORWARD, "", "abcd"),
        ("", "", "edcb"),
        ("", "", "cabc"),
        (first.0, close, first.1),
        (second, "<barline location=\"right\"><ending number=\"2\" type=\"discontinue\"/></barline>", "decb"),
        ("", "", "aaaa"),
    ])
}

fn words(mark: &str, sound: &str) -> String {
    format!("<direction placement=\"above\"><direction-type>{mark}</direction-type><sound {sound}/></direction>")
}

/// Back from bar 5 to the sign at bar 2, and the second time on: at once, or to the coda from bar 3.
fn with_a_sign(is_with_coda: bool) -> String {
    let segno = words("<segno/>", "segno=\"s\"");
    let (to_coda, back, coda) = match is_with_coda {
        true => (words("<words>To Coda</words>", "tocoda=\"c\""), "D.S. al Coda", words("<coda/>", "coda=\"c\"")),
        false => (String::new(), "D.S.", String::new()),
    };
    let dal_segno = words(&format!("<words>{back}</words>"), "dalsegno=\"s\"");
    score(&[
        ("", "", "abcd"),
        (&segno, "", "edcb"),
        ("", &to_coda, "cabc"),
        ("", "", "fgag"),
        ("", &dal_segno, "fedc"),
        (&coda, "", "bcde"),
        ("", "", "aaaa"),
    ])
}

/// To the coda from bar 3 after the da capo in bar 5.
fn with_a_coda() -> String {
    let to_coda = words("<words>To Coda</words>", "tocoda=\"c\"");
    let da_capo = words("<words>D.C. al Coda</words>", "dacapo=\"yes\"");
    let coda = words("<coda/>", "coda=\"c\"");
    score(&[
        ("", "", "abcd"),
        ("", "", "edcb"),
        ("", &to_coda, "cabc"),
        ("", "", "fgag"),
        ("", &da_capo, "fedc"),
        (&coda, "", "bcde"),
        ("", "", "aaaa"),
    ])
}

fn sitting(text: &str, config: QuizConfig) -> (Sitting, Vec<Question>) {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("ways.musicxml");
    std::fs::write(&file, text).unwrap();
    let piece = Arc::new(open_piece(&file.display().to_string(), None, &[]).unwrap().piece);
    let analysis = analyse(&piece.score, piece.part).unwrap();
    let mut asked = questions(&piece, &analysis, &[]);
    asked.retain(|q| q.kind == QuestionKind::Switch && q.large.ends_with(" time"));
    let seed = config.seed;
    let quiz = Quiz::try_new(Arc::clone(&piece), asked.clone(), &Only(None), PracticeConfig::standard(), config).expect("there is a fork");
    let mut sitting = Sitting { quiz, piece, outputs: Vec::new(), now: catchword::time::Micros(1_000_000), seed };
    sitting.command(Command::Pause);
    (sitting, asked)
}

fn told(asked: &[Question]) -> Vec<(&str, &str, &str)> {
    asked.iter().map(|q| (q.large.as_str(), q.small[0].as_str(), q.text.as_str())).collect()
}

#[test]
fn both_endings_and_both_ways_at_a_sign_are_asked_by_the_time_round() {
    let (_, asked) = sitting(&with_endings(), QuizConfig::standard(5, 1));
    let ways = [("bar 3, first time", "lead in from bar 2", "4.1"), ("bar 3, second time", "lead in from bar 2", "5.1")];
    assert_eq!(told(&asked), ways);
    assert_eq!(asked[1].small[1], "and on as the second time");
    // Two notes of the endings are alike: they part at the third.
    let parting = |q: &Question| {
        let Wanted::Exit { asked, .. } = &q.wanted else { panic!("it has exits") };
        let line = &asked.passage.span.line;
        line.notes[line.onset(asked.parting).notes.clone()].iter().map(|n| n.key).max()
    };
    assert_eq!(asked.iter().map(parting).collect::<Vec<_>>(), [81, 76].map(MidiKey::try_new));

    let (_, asked) = sitting(&with_a_coda(), QuizConfig::standard(5, 1));
    assert_eq!(told(&asked), [("bar 3, first time", "lead in from bar 2", "4.1"), ("bar 3, second time", "lead in from bar 2", "6.1")]);

    let repeated = score(&[("", "", "abcd"), (FORWARD, "", "edcb"), ("", BACKWARD, "cabc"), ("", "", "fgag"), ("", "", "fedc")]);
    let (_, asked) = sitting(&repeated, QuizConfig::standard(5, 1));
    assert_eq!(told(&asked), [("bar 3, first time", "lead in from bar 2", "2.1"), ("bar 3, second time", "lead in from bar 2", "4.1")]);
}

#[test]
fn a_sign_that_sends_back_is_asked_both_ways() {
    let (_, asked) = sitting(&with_a_sign(false), QuizConfig::standard(5, 1));
    assert_eq!(told(&asked), [("bar 5, first time", "lead in from bar 4", "2.1"), ("bar 5, second time", "lead in from bar 4", "6.1")]);
    let (_, asked) = sitting(&with_a_sign(true), QuizConfig::standard(5, 1));
    assert_eq!(told(&asked), [("bar 3, first time", "lead in from bar 2", "4.1"), ("bar 3, second time", "lead in from bar 2", "6.1")]);
}

#[test]
fn the_way_of_another_time_is_told_as_a_wrong_turn() {
    for text in [with_endings(), with_a_coda(), with_a_sign(false), with_a_sign(true)] {
        let (mut sitting, _) = sitting(&text, QuizConfig::standard(6, 3));
        let mut n = 0;
        while sitting.next_question() {
            let question = sitting.quiz.standing().unwrap().0.clone();
            let Wanted::Exit { asked, others } = &question.wanted else { panic!("a fork has exits") };
            n += 1;
            let took: &Exit = if n % 2 == 0 { asked } else { &others[0] };
            sitting.play(&took.passage, vec![], secs(0.9));
            if matches!(sitting.quiz.view().stage, Stage::Finished { .. }) {
                break;
            }
            let answer = sitting.last();
            if n % 2 == 0 {
                assert_eq!(answer.outcome, Outcome::Held, "{answer:?}");
            } else {
                let kinds: Vec<_> = answer.happenings.iter().map(|h| (h.kind, h.place.as_str())).collect();
                assert_eq!((answer.outcome, kinds), (Outcome::Failed, vec![("wrong-turn", question.text.as_str())]));
            }
        }
        assert!(n >= 10, "{n}");
    }
}
