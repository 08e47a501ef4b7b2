//! Lines of story on a real terminal: typed at a slip, kept in the piece's file, put off over a restart.

use std::fs;
use std::thread::sleep;

use super::flow::{BASS, Drill, QUARTER, TUNE};

impl Drill {
    /// Plays the first section with a wrong bass note in its last bar.
    fn slip(&mut self) {
        self.play(0..8, |_, _| {});
        sleep(QUARTER);
        self.bytes(&[0x90, BASS[2] + 1, 60, TUNE[8], 72]);
        sleep(QUARTER);
        self.play(9..12, |_, _| {});
        self.pty.wait_for("look: bar 3, beat 1, left hand");
        self.rest();
    }

    fn piece_text(&self) -> String {
        fs::read_to_string(self.folder.path().join("piece.toml")).unwrap()
    }
}

#[test]
fn a_line_typed_at_a_slip_is_kept_and_used_and_an_edit_made_meanwhile_survives() {
    let mut drill = Drill::start(80, 24);
    drill.pty.press("\rl");
    drill.pty.wait_for("play when you are ready");
    drill.slip();
    drill.pty.wait_for("a line of story for bar 3, beat 1, left hand");
    assert!(drill.pty.text().contains("Enter write a line"));

    // Someone edits the file in the meantime: another cue, and a comment.
    let file = drill.folder.path().join("piece.toml");
    let edited = format!("# my own note\n{}", drill.piece_text().replace("lean back", "lean far back # really"));
    fs::write(&file, &edited).unwrap();

    drill.pty.press("\r");
    drill.pty.wait_for("Enter keep");
    // While typing, letters are letters: n, q and space ask for nothing.
    drill.pty.press("quick thumb, n");
    drill.pty.wait_for("> quick thumb, n");
    // Playing closes the line, and what was typed comes back.
    drill.bytes(&[0x90, 50, 60]);
    drill.pty.wait_until("the line to close", |screen| !screen.contents().contains("> quick"));
    drill.pty.press("\r");
    drill.pty.wait_for("> quick thumb, n");
    drill.pty.press("ot A\r");
    drill.pty.wait_for("bars 2 to 3");
    drill.pty.wait_for("kept in piece.toml");
    let text = drill.piece_text();
    assert!(text.starts_with("# my own note\n") && text.contains("lean far back # really"), "{text}");
    assert!(text.contains("at = \"3.1\"\nhand = \"left\"\ntext = \"quick thumb, not A\""), "{text}");
    assert!(text.find("quick thumb").unwrap() < text.find("lean far back").unwrap(), "in page order: {text}");

    // One bar before, then from the top; and the line is what is shown when memory falters there.
    drill.rest();
    drill.play(4..12, |_, _| {});
    drill.pty.wait_for("now from the top");
    drill.rest();
    drill.play(0..8, |_, _| {});
    drill.pty.wait_for("quick thumb, not A");
    drill.pty.press("q");
    assert!(drill.pty.wait_for_end().success());
}

#[test]
fn a_place_put_off_waits_at_the_end_of_the_span_also_after_a_restart() {
    let mut drill = Drill::start(80, 24);
    drill.pty.press("\rl");
    drill.pty.wait_for("play when you are ready");
    drill.slip();
    drill.pty.press("k");
    drill.pty.wait_until("the question to go", |screen| !screen.contents().contains("a line of story"));
    drill.pty.press("q");
    drill.pty.wait_for("without a line of story yet: bar 3, beat 1, left hand");
    drill.pty.press("q");
    assert!(drill.pty.wait_for_end().success());

    let mut drill = Drill::start_in(drill.folder, &["drill"], 80, 24);
    drill.pty.press("\rl");
    drill.pty.wait_for("play when you are ready");
    for _ in 0..3 {
        drill.pty.press("-");
    }
    drill.play(0..12, |_, _| {});
    drill.pty.wait_for("1 place to tell");
    drill.pty.wait_for("a line of story for bar 3, beat 1, left hand");
    assert!(drill.pty.text().contains("or play on: down"));
    drill.pty.press("1");
    drill.pty.wait_for("bars 4 to 6");
    assert!(drill.piece_text().contains("hand = \"left\""), "{}", drill.piece_text());
    drill.pty.press("q");
    drill.pty.wait_for("up: 1 of 1 rep clean");
    assert!(!drill.pty.text().contains("without a line"), "{}", drill.pty.text());
}
