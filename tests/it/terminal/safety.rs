//! Whatever happens, the terminal is left as it was.

use std::time::Duration;

use super::pty::Pty;
use super::stand_in;

const CTRL_C: &str = "\u{3}";
const CTRL_Z: &str = "\u{1a}";

/// Starts the stand-in and waits for its first screen; returns it with the modes the terminal had before.
fn started() -> (Pty, String) {
    let mut quiet = portable_pty::CommandBuilder::new("true");
    quiet.env("TERM", "xterm-256color");
    let before = Pty::start(quiet, 80, 24).modes();
    let mut pty = stand_in::start(80, 24);
    pty.wait_until("a screen of its own without a cursor", |screen| screen.alternate_screen() && screen.hide_cursor());
    pty.wait_for("play, or press a key");
    pty.press("\r");
    pty.wait_for("play when you are ready");
    assert_ne!(pty.modes(), before, "keys are read one by one");
    (pty, before)
}

fn check_restored(pty: &Pty, before: &str) {
    assert!(pty.look(|screen| !screen.alternate_screen() && !screen.hide_cursor()), "{}", pty.text());
    assert_eq!(pty.modes(), before);
}

#[test]
fn keys_that_close_the_session_give_the_terminal_back() {
    for keys in ["q", "Q", CTRL_C] {
        let (mut pty, before) = started();
        pty.press(keys);
        pty.wait_for("exit: Quit");
        pty.wait_for_end();
        check_restored(&pty, &before);
    }
}

#[test]
fn signals_that_close_the_session_give_the_terminal_back() {
    for (name, exit) in [("TERM", "exit: Signal(15)"), ("INT", "exit: Signal(2)")] {
        let (mut pty, before) = started();
        pty.signal(name);
        pty.wait_for(exit);
        pty.wait_for_end();
        check_restored(&pty, &before);
    }
}

#[test]
fn a_panic_in_practice_gives_the_terminal_back_before_it_speaks() {
    let (mut pty, before) = started();
    pty.press("b");
    pty.wait_for("the stand-in was told to panic");
    pty.wait_for_end();
    check_restored(&pty, &before);
}

#[test]
fn a_panic_on_another_thread_ends_the_session_and_gives_the_terminal_back() {
    let (mut pty, before) = started();
    pty.press("r");
    pty.wait_for("another thread was told to panic");
    pty.wait_for("error: a part of the program stopped unexpectedly");
    pty.wait_for_end();
    check_restored(&pty, &before);
}

#[test]
fn a_journal_that_cannot_be_written_ends_the_session_and_gives_the_terminal_back() {
    let (mut pty, before) = started();
    pty.press("+");
    pty.wait_for("error: keeping what was practised");
    pty.wait_for_end();
    check_restored(&pty, &before);
}

#[test]
fn a_closed_terminal_ends_the_session_quietly() {
    let (mut pty, _) = started();
    pty.close();
    let status = pty.wait_for_end();
    assert_eq!(status.exit_code(), stand_in::CLOSED as u32);
}

#[test]
fn the_end_of_a_session_is_shown_until_a_key_is_pressed() {
    for keys in ["q", "\r", " "] {
        let (mut pty, before) = started();
        pty.press(&"n".repeat(stand_in::STAGES.len()));
        pty.wait_for("1 of 3 clean");
        pty.press(keys);
        pty.wait_for("exit: Quit");
        pty.wait_for_end();
        check_restored(&pty, &before);
    }
}

#[test]
fn any_size_can_be_taken_while_running() {
    let (mut pty, before) = started();
    for stage in 1..=stand_in::STAGES.len() {
        for (columns, rows) in [(20, 6), (200, 60), (1, 1), (7, 3), (120, 40), (80, 24)] {
            resized(&pty, columns, rows);
        }
        pty.press("?");
        pty.wait_for("next section");
        resized(&pty, 20, 6);
        resized(&pty, 80, 24);
        pty.press("?");
        pty.wait_until("the keys to go", |screen| !screen.contents().contains("next section"));
        if stage < stand_in::STAGES.len() {
            pty.press("n");
        }
    }
    pty.wait_for("space: go on");
    pty.press("q");
    pty.wait_for("exit: Quit");
    pty.wait_for_end();
    check_restored(&pty, &before);
}

/// Changes the size and waits until the program has drawn for it.
fn resized(pty: &Pty, columns: u16, rows: u16) {
    let before = pty.n_bytes();
    pty.resize(columns, rows);
    pty.wait_until("a screen of the new size", |_| pty.n_bytes() > before);
    pty.settle(Duration::from_millis(30));
}

/// Returns whether any cell has a colour.
fn coloured(pty: &Pty) -> bool {
    pty.look(|screen| {
        let (rows, columns) = screen.size();
        let coloured = |cell: &vt100::Cell| cell.fgcolor() != vt100::Color::Default || cell.bgcolor() != vt100::Color::Default;
        (0..rows).any(|row| (0..columns).any(|column| screen.cell(row, column).is_some_and(coloured)))
    })
}

#[test]
fn no_color_is_kept() {
    for no_color in [None, Some("1"), Some("")] {
        let mut command = stand_in::command();
        if let Some(value) = no_color {
            command.env("NO_COLOR", value);
        }
        let mut pty = Pty::start(command, 80, 24);
        pty.wait_for("play, or press a key");
        pty.press("\rnnl");
        pty.wait_for("as bar 3, a third lower");
        assert_eq!(coloured(&pty), no_color != Some("1"), "NO_COLOR {no_color:?}");
    }
}

#[test]
fn large_letters_are_blocks_and_plain_ones_are_text() {
    let (mut pty, _) = started();
    pty.press("nn");
    pty.wait_until("blocks", |screen| screen.contents().contains("█"));
    assert!(!pty.text().contains("third"));
    pty.press("l");
    pty.wait_for("as bar 3, a third lower");
}

#[test]
fn going_to_the_shell_and_back_keeps_the_screen() {
    let mut shell = portable_pty::CommandBuilder::new("sh");
    shell.args(["-i"]);
    let program = stand_in::command();
    for (name, value) in program.iter_extra_env_as_str() {
        shell.env(name, value);
    }
    shell.env("PS1", "prompt> ");
    let line: Vec<String> = program.get_argv().iter().map(|part| format!("'{}'", part.to_string_lossy())).collect();
    let mut pty = Pty::start(shell, 80, 24);
    pty.wait_for("prompt> ");
    pty.press(&format!("{}\r", line.join(" ")));
    pty.wait_for("play, or press a key");
    pty.press(&format!("\r{CTRL_Z}"));
    pty.wait_until("the shell", |screen| !screen.alternate_screen() && !screen.hide_cursor() && screen.contents().contains("Stopped"));
    pty.press("echo back in the $((40 + 2))nd shell; fg\r");
    pty.wait_until("the screen again", |screen| screen.alternate_screen() && screen.contents().contains("1 of 3"));
    pty.press("q");
    pty.wait_for("exit: Quit");
    assert!(pty.text().contains("back in the 42nd shell"), "{}", pty.text());
}

#[test]
fn where_there_is_no_shell_going_to_it_changes_nothing() {
    let (mut pty, before) = started();
    pty.press(CTRL_Z);
    pty.press("nn");
    pty.wait_until("the cue", |screen| screen.alternate_screen() && screen.contents().contains("█"));
    pty.press("q");
    pty.wait_for_end();
    check_restored(&pty, &before);
}

/// Processor time a process has used, in clock ticks of a hundredth of a second (proc_pid_stat(5), fields 14 and 15).
#[cfg(target_os = "linux")]
fn ticks(process: u32) -> u64 {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).unwrap();
    let after_name: Vec<&str> = stat.rsplit(") ").next().unwrap().split(' ').collect();
    after_name[11].parse::<u64>().unwrap() + after_name[12].parse::<u64>().unwrap()
}

#[test]
#[cfg(target_os = "linux")]
fn waiting_costs_no_processor_and_writes_nothing() {
    let (pty, _) = started();
    pty.settle(Duration::from_millis(300));
    let (ticks_before, bytes_before) = (ticks(pty.process_id()), pty.n_bytes());
    std::thread::sleep(Duration::from_secs(3));
    assert!(ticks(pty.process_id()) - ticks_before <= 2, "more than 1 % of a processor");
    assert_eq!(pty.n_bytes(), bytes_before);
}
