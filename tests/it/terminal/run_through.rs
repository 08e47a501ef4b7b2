//! The piece as a whole on a real terminal: from memory as on stage, and from the page.

use std::thread::sleep;
use std::time::Duration;

use super::super::run_through::piece_with_a_switch;
use super::flow::{Drill, QUARTER, said};

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
fn one_who_rushes_is_told_so_and_one_who_goes_ahead_to_a_landmark_where_they_landed() {
    let mut drill = Drill::start_as(&["drill"], 100, 30);
    drill.pty.press("\rl");
    drill.pty.wait_for("bars 1 to 3");
    // Half as fast again as the tempo set.
    drill.play_in(QUARTER * 2 / 3, 0..12, |_, _| {});
    drill.pty.wait_for("not clean");
    drill.pty.wait_for("faster than the tempo set");
    drill.pty.press("nn");
    drill.pty.wait_for("run-through");
    drill.rest();
    drill.play(0..8, |_, _| {});
    sleep(QUARTER);
    drill.play(12..24, |_, _| {});
    drill.pty.wait_for("bar 3: left out what follows; you went ahead to bar 4");
    drill.pty.press("q");
    assert!(drill.pty.wait_for_end().success());
}

#[test]
fn the_way_of_a_look_alike_is_told_when_the_run_is_over() {
    let folder = tempfile::tempdir().unwrap();
    piece_with_a_switch(folder.path());
    assert!(std::process::Command::new("mkfifo").arg(folder.path().join("keys.fifo")).status().unwrap().success());
    let text = std::fs::read_to_string(folder.path().join("fork.csv")).unwrap();
    let notes: Vec<(usize, u8)> = text
        .lines()
        .skip(1)
        .map(|line| line.split(',').collect::<Vec<_>>())
        .map(|cells| (cells[0].parse().unwrap(), cells[2].parse().unwrap()))
        .collect();
    let mut drill = Drill::start_in(folder, &["drill"], 100, 30);
    drill.pty.press("\rl");
    drill.pty.wait_for("bars 1 to 4");
    drill.pty.press("nnnn");
    drill.pty.wait_for("run-through");
    // Bars 1 to 3, then on as after bar 11, which is the same.
    for beat in (0..12).chain(44..64) {
        let bytes = notes.iter().filter(|(at, _)| *at == beat).flat_map(|(_, key)| [0x90, *key, 70]).collect::<Vec<u8>>();
        drill.bytes(&bytes);
        sleep(QUARTER);
    }
    // The line before it is broken where the screen ends.
    drill.pty.wait_for("40 of 80 notes");
    drill.pty.wait_for("bar 4: the way of the look-alike; you went ahead to bar 12");
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
