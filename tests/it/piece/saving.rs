//! A piece file saved to disk: whole, and never over an edit made meanwhile.

use std::fs;
use std::path::{Path, PathBuf};

use catchword::piece::{Cue, edit};
use catchword::piece_folder::{PieceText, SaveError, Saved};
use catchword::score::{BarIdx, Place};

use super::score;

const TEXT: &str = "title = \"T\" # mine\nscore = \"t.xml\"\n\n[[cue]] # first\nat = \"1.1\"\ntext = \"x\"\n";

fn piece_in(dir: &Path) -> (PathBuf, PieceText) {
    let path = dir.join("piece.toml");
    fs::write(&path, TEXT).unwrap();
    let text = PieceText::open(&path, score(8, &[("P1", "")])).unwrap();
    (path, text)
}

fn say(text: &mut PieceText, bar: usize, words: &str) {
    let cue = Cue { place: Place::start_of(BarIdx(bar)), hand: None, text: words.to_owned(), more: None };
    text.apply(|text, file_name, score| edit::add_cue(text, file_name, score, &cue)).unwrap();
}

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn an_edit_is_written_whole_and_leaves_nothing_beside() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut text) = piece_in(dir.path());
    assert_eq!(text.save().unwrap(), Saved::Unchanged);
    say(&mut text, 2, "third down");
    assert!(!text.is_saved());
    assert_eq!(text.save().unwrap(), Saved::Written);
    assert!(text.is_saved());
    assert_eq!(fs::read_to_string(&path).unwrap(), format!("{TEXT}\n[[cue]]\nat = \"3.1\"\ntext = \"third down\"\n"));
    assert_eq!(names(dir.path()), ["piece.toml"]);
    say(&mut text, 2, "down");
    assert_eq!(text.save().unwrap(), Saved::Written);
    assert!(fs::read_to_string(&path).unwrap().contains("text = \"down\""));
}

#[test]
fn an_edit_made_meanwhile_elsewhere_is_kept_with_its_comments() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut text) = piece_in(dir.path());
    say(&mut text, 2, "third down");
    fs::write(&path, TEXT.replace("\"x\"", "\"theirs\" # better")).unwrap();
    assert_eq!(text.save().unwrap(), Saved::Merged);
    let on_disk = fs::read_to_string(&path).unwrap();
    assert_eq!(on_disk, format!("{}\n[[cue]]\nat = \"3.1\"\ntext = \"third down\"\n", TEXT.replace("\"x\"", "\"theirs\" # better")));
    assert_eq!(text.text(), on_disk);
    // Nothing of one's own to write: the file is left alone.
    fs::write(&path, TEXT).unwrap();
    assert_eq!(text.save().unwrap(), Saved::Unchanged);
    assert_eq!(fs::read_to_string(&path).unwrap(), TEXT);
}

#[test]
fn edits_of_the_same_cue_are_both_kept_and_neither_is_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut text) = piece_in(dir.path());
    // A file of that name which is none of ours stays.
    fs::write(dir.path().join("piece.mine.toml"), "old").unwrap();
    say(&mut text, 0, "mine");
    let theirs = TEXT.replace("\"x\"", "\"theirs\"");
    fs::write(&path, &theirs).unwrap();
    for _ in 0..2 {
        let refused = text.save().unwrap_err();
        assert!(matches!(refused, SaveError::Conflict { .. }));
        let message = format!("{:#}", anyhow::Error::from(refused));
        assert!(message.contains("piece.mine-2.toml") && message.contains("both changed the cue at 1.1"), "{message}");
    }
    assert_eq!(fs::read_to_string(&path).unwrap(), theirs);
    assert_eq!(fs::read_to_string(dir.path().join("piece.mine-2.toml")).unwrap(), TEXT.replace("\"x\"", "\"mine\""));
    assert_eq!(names(dir.path()), ["piece.mine-2.toml", "piece.mine.toml", "piece.toml"]);
    assert_eq!(fs::read_to_string(dir.path().join("piece.mine.toml")).unwrap(), "old");
    // Once the other gives way, saving goes on.
    fs::write(&path, TEXT).unwrap();
    assert_eq!(text.save().unwrap(), Saved::Written);
    assert_eq!(fs::read_to_string(&path).unwrap(), TEXT.replace("\"x\"", "\"mine\""));
}

#[test]
fn a_half_written_file_is_not_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut text) = piece_in(dir.path());
    say(&mut text, 2, "third down");
    for broken in [&b"title = "[..], b"title = \"caf\xe9\"\n"] {
        fs::write(&path, broken).unwrap();
        let message = format!("{:#}", anyhow::Error::from(text.save().unwrap_err()));
        assert!(message.contains("piece.toml"), "{message}");
        assert_eq!(fs::read(&path).unwrap(), broken);
    }
}

#[test]
fn a_file_that_is_gone_is_written_again_and_a_folder_that_is_gone_is_told() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut text) = piece_in(dir.path());
    fs::remove_file(&path).unwrap();
    say(&mut text, 2, "third down");
    assert_eq!(text.save().unwrap(), Saved::Written);
    assert!(fs::read_to_string(&path).unwrap().contains("third down"));
    say(&mut text, 2, "down");
    drop(dir);
    let refused = text.save().unwrap_err();
    assert!(matches!(refused, SaveError::Write { .. }), "{refused}");
}

#[cfg(unix)]
#[test]
fn permissions_stay_and_a_link_still_leads_to_its_file() {
    use std::os::unix::fs::PermissionsExt as _;
    let dir = tempfile::tempdir().unwrap();
    let real = dir.path().join("real.toml");
    fs::write(&real, TEXT).unwrap();
    fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).unwrap();
    let link = dir.path().join("piece.toml");
    std::os::unix::fs::symlink("real.toml", &link).unwrap();
    let mut text = PieceText::open(&link, score(8, &[("P1", "")])).unwrap();
    say(&mut text, 2, "third down");
    text.save().unwrap();
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert!(fs::read_to_string(&real).unwrap().contains("third down"));
    assert_eq!(fs::metadata(&real).unwrap().permissions().mode() & 0o777, 0o640);
}
