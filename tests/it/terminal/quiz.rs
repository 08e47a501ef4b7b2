//! The quiz on a real terminal: answered over a raw stream, and by keys alone.

use std::time::{Duration, Instant};

use portable_pty::CommandBuilder;

use super::flow::{Drill, piece};
use super::pty::{Pty, program};

const BEATS_A_BAR: usize = 4;
const N_BEATS: usize = 24;

/// What the screen asks to be played: the bar to begin at, from 1. Other kinds of question give none.
fn asked_bar(screen: &str) -> Option<usize> {
    let number_after = |word: &str| screen.split(word).nth(1)?.split(|c: char| !c.is_ascii_digit()).next()?.parse::<usize>().ok();
    if screen.starts_with("  cold start") || screen.trim_start().starts_with("cold start") {
        number_after("bar ")
    } else if screen.trim_start().starts_with("go on") {
        number_after("that was bar ").map(|bar| bar + 1)
    } else {
        None
    }
}

fn is_question(screen: &str) -> bool {
    ["cold start", "go on", "what comes next", "switch", "play until you are called away"]
        .iter()
        .any(|kind| screen.trim_start().starts_with(kind) && screen.lines().filter(|l| !l.trim().is_empty()).count() > 2)
}

#[test]
fn a_quiz_is_answered_over_a_raw_stream() {
    let mut quiz = Drill::start_as(&["quiz", "--minutes", "3", "--seed", "2"], 80, 24);
    quiz.pty.press("\rl");
    quiz.pty.wait_for("3 minutes: any note, or space, to begin");
    quiz.pty.press(" ");
    let (mut n_held, mut n_silent, begun) = (0, 0, Instant::now());
    while n_held < 2 || n_silent < 1 {
        assert!(begun.elapsed() < Duration::from_secs(120), "{}", quiz.pty.text());
        quiz.pty.wait_until("a question", |screen| is_question(&screen.contents()));
        let screen = quiz.pty.text();
        match asked_bar(&screen) {
            Some(_) if n_silent < 1 => {
                n_silent += 1;
                quiz.pty.wait_for("not begun in time");
            }
            Some(bar) => {
                let (first, held) = ((bar - 1) * BEATS_A_BAR, n_held);
                std::thread::sleep(Duration::from_millis(400));
                // As many bars as pass in five seconds: four at this tempo, or to the end.
                quiz.play(first..(first + 4 * BEATS_A_BAR).min(N_BEATS), |pty, beat| {
                    if beat == first + 2 {
                        let said = pty.text().lines().filter(|line| !line.trim().is_empty()).count();
                        assert_eq!(said, 1, "while it is played there is nothing to say: {}", pty.text());
                    }
                });
                quiz.pty.wait_for("held, ");
                n_held = held + 1;
                quiz.pty.wait_for(&format!("{n_held} of"));
            }
            None => quiz.pty.press("n"),
        }
        quiz.pty.wait_until("the question to go", |now| now.contents() != screen);
        quiz.pty.wait_until("the outcome to go", |now| !now.contents().contains("look: ") && !now.contents().contains("held, "));
    }
    quiz.pty.press("q");
    let status = quiz.pty.wait_for_end();
    assert!(status.success(), "{status:?}");
    let account = quiz.pty.text();
    assert!(account.contains(" answers held") && account.contains("to come back to: "), "{account}");
}

fn by_keys(words: &[&str]) -> (Pty, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    piece(folder.path());
    let mut command = CommandBuilder::new(program());
    command.args(words);
    command.args([&*folder.path().to_string_lossy(), "--input", "keys", "--data", &folder.path().join("data").to_string_lossy()]);
    command.env("TERM", "xterm-256color");
    let mut pty = Pty::start(command, 80, 24);
    pty.wait_for("play, or press a key");
    pty.press("\rl");
    (pty, folder)
}

#[test]
fn a_quiz_is_answered_by_keys_alone() {
    let (mut pty, _folder) = by_keys(&["quiz", "--minutes", "2", "--seed", "4"]);
    pty.wait_for("2 minutes: space to begin");
    pty.press(" ");
    for (mark, told) in [("y", "held, "), ("x", "it did not hold")] {
        loop {
            pty.wait_for("space when you have it");
            // A landmark is called after a while; there is nothing to have before.
            if !pty.text().trim_start().starts_with("play until") {
                break;
            }
            pty.press("n");
            pty.wait_for("passed over");
        }
        pty.press(" ");
        pty.wait_for("y: held, x: did not");
        pty.press(mark);
        pty.wait_for(told);
    }
    pty.press("q");
    assert!(pty.wait_for_end().success());
    assert!(pty.text().contains(" answers held"), "{}", pty.text());
}

#[test]
fn a_session_of_minutes_goes_by_keys_alone() {
    let (mut pty, _folder) = by_keys(&["drill", "--minutes", "5"]);
    pty.wait_for("space when it is played");
    for n in 1..=3 {
        pty.press(" ");
        pty.wait_for("how did it go?");
        pty.press("y");
        pty.wait_for(&format!("{n} of 3"));
    }
    pty.wait_for("bars 4 to 6");
    pty.press(" ");
    pty.wait_for("how did it go?");
    pty.press("y");
    // Two sections joined are the whole piece already.
    pty.wait_for("whole piece");
    pty.press(" ");
    pty.wait_for("how did it go?");
    pty.press("x");
    pty.wait_for("whole piece: not clean");
    assert!(pty.text().contains("up: 3 of 3 reps clean"), "{}", pty.text());
    pty.press("q");
    assert!(pty.wait_for_end().success());
}

#[test]
fn a_section_is_drilled_by_keys_alone() {
    let (mut pty, _folder) = by_keys(&["drill"]);
    for (keys, expected) in [
        ("", "space when it is played"),
        (" ", "y: clean, c: with a cue, x: not clean"),
        ("y", "clean, 1 of 3"),
        ("c", "top, then home"),
        (" ", "how did it go?"),
        ("y", "with a cue"),
        (" ", "how did it go?"),
        ("x", "not clean"),
    ] {
        pty.press(keys);
        pty.wait_for(expected);
    }
    pty.press("q");
    assert!(pty.wait_for_end().success());
    assert!(pty.text().contains("up: 1 of 3 reps clean, 1 with a cue"), "{}", pty.text());
}
