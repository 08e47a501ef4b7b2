//! The study screen on a real terminal: lines are kept and reworded, a section is split, undone, and what was saved is in the piece file.

use std::fs;
use std::path::{Path, PathBuf};

use portable_pty::CommandBuilder;
use tempfile::TempDir;

use super::pty::{Pty, program};

/// Copies a demo piece, without its story, into a folder of its own.
fn piece(keep_story: bool) -> (TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("pieces/ferry");
    let folder = dir.path().join("ferry");
    fs::create_dir(&folder).unwrap();
    fs::copy(demo.join("ferry.musicxml"), folder.join("ferry.musicxml")).unwrap();
    let text = fs::read_to_string(demo.join("piece.toml")).unwrap();
    let head = text.split("# --- The story").next().unwrap();
    fs::write(folder.join("piece.toml"), if keep_story { &text } else { head }).unwrap();
    (dir, folder.join("piece.toml"))
}

fn start(typed: &str, data: &Path, columns: u16, rows: u16) -> Pty {
    let mut command = CommandBuilder::new(program());
    command.args(["study", typed, "--data", &data.to_string_lossy()]);
    command.env("TERM", "xterm-256color");
    let pty = Pty::start(command, columns, rows);
    pty.wait_for("[story]");
    pty
}

/// Waits for a line of the list, however wide its columns are.
fn wait_for_line(pty: &Pty, line: &str) {
    let plain = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    pty.wait_until(line, |screen| plain(&screen.contents()).contains(line));
}

#[test]
fn what_is_kept_reworded_and_split_is_in_the_piece_file_and_what_was_undone_is_not() {
    let (dir, file) = piece(false);
    let before = fs::read_to_string(&file).unwrap();
    let mut pty = start(&file.parent().unwrap().to_string_lossy(), dir.path(), 80, 24);
    wait_for_line(&pty, "\u{25cb} draft 1.1");
    pty.press("a");
    wait_for_line(&pty, "\u{25cf} kept 1.1");
    // The next line in words of one's own: the drafted ones are taken away first.
    pty.press("e");
    pty.wait_for("in your words:");
    pty.press("\x15sink a third\r");
    wait_for_line(&pty, "\u{25c6} yours 2.1 sink a third");
    // Dropped, and undone.
    pty.press("x");
    wait_for_line(&pty, "\u{00d7} dropped 2.1");
    pty.press("u");
    wait_for_line(&pty, "\u{25c6} yours 2.1 sink a third");
    // A section split at its third bar, another merged and undone.
    pty.press("3");
    pty.wait_for("[sections]");
    pty.press("\x1b[H\x1b[C\x1b[Cs");
    pty.wait_for("bars 3-4 begins at bar 3");
    pty.press("m");
    pty.wait_for("bars 3-9");
    pty.press("u");
    pty.wait_for("undone");
    pty.wait_for("not saved");
    pty.press("q");
    pty.wait_for("not saved: w save and close");
    pty.press("w");
    assert!(pty.wait_for_end().success());
    let after = fs::read_to_string(&file).unwrap();
    assert_eq!(after.lines().next(), before.lines().next(), "comments stay");
    assert!(after.contains("name = \"casting off\"\nbars = \"1-2\"\n\n[[section]]\nname = \"bars 3-4\"\nbars = \"3-4\"\n"), "{after}");
    assert!(after.contains("name = \"to the far bank\" # both endings: the passage goes round twice\nbars = \"5-9\"\n"), "{after}");
    assert!(after.contains("[[cue]]\nat = \"1.1\"\ntext = \"root B, one-five-ten\"\nmore = "), "{after}");
    assert!(after.contains("at = \"2.1\"\ntext = \"sink a third\"\nmore = "), "{after}");
    assert_eq!(after.matches("[[cue]]").count(), 2);
}

#[test]
fn an_edit_made_meanwhile_in_another_program_is_not_overwritten() {
    let (dir, file) = piece(true);
    let mut pty = start(&file.parent().unwrap().to_string_lossy(), dir.path(), 120, 40);
    pty.press("e");
    pty.wait_for("in your words:");
    pty.press("\x15rock on\r");
    pty.wait_for("not saved");
    // At another place: both are kept.
    let theirs = fs::read_to_string(&file).unwrap().replace("a third down: root G", "sink: root G");
    fs::write(&file, &theirs).unwrap();
    pty.press("w");
    pty.wait_for("both edits are in it");
    pty.wait_for("sink: root G");
    assert_eq!(fs::read_to_string(&file).unwrap(), theirs.replace("rock on home: root B", "rock on"));
    // At the same place: neither is lost.
    pty.press("e");
    pty.wait_for("in your words:");
    pty.press(" home\r");
    pty.wait_for("rock on home");
    let theirs = fs::read_to_string(&file).unwrap().replace("rock on", "swing");
    fs::write(&file, &theirs).unwrap();
    pty.press("w");
    pty.wait_for("is left as it is");
    assert_eq!(fs::read_to_string(&file).unwrap(), theirs);
    assert!(fs::read_to_string(file.with_file_name("piece.mine.toml")).unwrap().contains("text = \"rock on home\""));
    pty.press("qx");
    assert!(pty.wait_for_end().success());
}

#[test]
fn a_bare_score_becomes_a_piece_with_the_first_saving_even_when_the_terminal_is_closed() {
    let (dir, file) = piece(true);
    let score = file.with_file_name("ferry.musicxml");
    let data = dir.path().join("data");
    let mut pty = start(&score.to_string_lossy(), &data, 80, 24);
    pty.press("a");
    wait_for_line(&pty, "\u{25cf} kept 1.1");
    pty.close();
    pty.wait_for_end();
    let made = fs::read_to_string(data.join("pieces/ferry/piece.toml")).unwrap();
    assert_eq!(made.matches("[[cue]]").count(), 1, "{made}");
    assert!(made.contains("[[section]]") && made.contains("[[landmark]]"));
    assert!(data.join("pieces/ferry/ferry.musicxml").is_file());
    // Studied from the score once more, it becomes another piece.
    let mut pty = start(&score.to_string_lossy(), &data, 80, 24);
    pty.press("Aw");
    pty.wait_for("saved as a piece of your own");
    pty.press("q");
    assert!(pty.wait_for_end().success());
    assert!(data.join("pieces/ferry-2/piece.toml").is_file());
    assert_eq!(fs::read_to_string(data.join("pieces/ferry/piece.toml")).unwrap(), made);
}
