//! The piece as a whole on a real terminal: from memory as on stage, and from the page.

use std::thread::sleep;
use std::time::Duration;

use super::flow::{Drill, said};

#[test]
fn a_run_through_with_a_freeze_is_left_alone_and_told_when_it_is_over() {
    let mut drill = Drill::start_as(&["drill"], 100, 30);
    drill.pty.press("\rl");
    drill.pty.wait_for("bars 1 to 3");
    drill.pty.press("nn");
    drill.pty.wait_for("run-through");
    drill.play(0..12, |_, _| {});
    // Four seconds of silence before bar 4: nothing is said.
    sleep(Duration::from_millis(4_300));
    let seen = said(&drill.pty);
    assert!(seen.len() == 1 && seen[0].ends_with("run-through"), "{seen:?}");
    drill.play(12..24, |_, _| {});
    drill.pty.wait_for("to the end");
    drill.pty.wait_for("held, from the first bar to the last; one lapse, and you found the way back");
    drill.pty.wait_for("bar 4: a stop; you went on, 4 seconds lost");
    drill.pty.press("q");
    assert!(drill.pty.wait_for_end().success());
}

#[test]
fn a_reading_take_is_heard_to_its_end_and_told_to_be_ready() {
    let mut drill = Drill::start_as(&["read"], 100, 30);
    drill.pty.press("\rl");
    drill.pty.wait_for("from the page");
    drill.play(0..24, |pty, beat| {
        if beat > 1 && beat < 23 {
            let seen = said(pty);
            assert!(seen.len() == 1 && seen[0].ends_with("from the page"), "beat {beat}: {seen:?}");
        }
    });
    drill.pty.wait_for("ready to learn from memory");
    drill.pty.press("q");
    assert!(drill.pty.wait_for_end().success());
}
