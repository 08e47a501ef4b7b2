//! Pieces on disk: found by name and path, and never read outside their folder.

use std::fs;
use std::path::Path;

use catchword::piece::Instrument;
use catchword::piece_folder::{Error, open_piece, piece_names};

/// Two bars of 2/4 as a note list (`onset_beats,duration_beats,pitch,hand`).
const NOTES: &str = "onset_beats,duration_beats,pitch,hand,bar,meter\n0,2,60,R,1,2/4\n2,2,62,R,2,2/4\n";

fn write_piece(dir: &Path, score: &str) {
    fs::create_dir_all(dir).unwrap();
    fs::write(dir.join("piece.toml"), format!("title = \"Own\"\nscore = \"{score}\"\n")).unwrap();
    fs::write(dir.join("notes.csv"), NOTES).unwrap();
}

#[test]
fn a_piece_is_found_by_name_by_folder_and_by_its_file() {
    let dir = tempfile::tempdir().unwrap();
    write_piece(&dir.path().join("own-piece"), "notes.csv");
    let dirs = [dir.path().join("nowhere"), dir.path().to_owned()];
    let folder = dir.path().join("own-piece").display().to_string();
    for typed in ["own-piece", &folder, &format!("{folder}/piece.toml")] {
        let opened = open_piece(typed, None, &dirs).unwrap();
        assert_eq!((opened.key.as_str(), opened.piece.title.as_str()), ("own-piece", "Own"), "{typed}");
        assert_eq!(opened.file, Some(dir.path().join("own-piece/piece.toml")));
    }
    assert_eq!(piece_names(&dirs), ["all-through-the-night", "ferry", "own-piece"]);
}

#[test]
fn a_bare_score_is_a_piece_with_sections_and_no_cues() {
    let dir = tempfile::tempdir().unwrap();
    let score = dir.path().join("study no 4.csv");
    fs::write(&score, NOTES).unwrap();
    let opened = open_piece(&score.display().to_string(), None, &[]).unwrap();
    assert_eq!((opened.key.as_str(), opened.file), ("study no 4", None));
    assert_eq!((opened.piece.title.as_str(), opened.piece.instrument), ("study no 4", Instrument::Keyboard));
    assert_eq!(opened.piece.sections.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(), ["bars 1-2"]);
    assert!(opened.piece.cues.is_empty());
}

#[test]
fn a_pieces_score_never_stands_outside_its_folder() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("secret.csv"), NOTES).unwrap();
    let absolute = dir.path().join("secret.csv").display().to_string();
    for score in ["../secret.csv", "sub/../../secret.csv", &absolute] {
        write_piece(&dir.path().join("p"), score);
        let message = open_piece("p", None, &[dir.path().to_owned()]).unwrap_err().to_string();
        assert!(message.contains("piece.toml:2:9: expected a score file inside the piece's folder"), "{message}");
    }
    #[cfg(unix)]
    {
        write_piece(&dir.path().join("p"), "link.csv");
        std::os::unix::fs::symlink("../secret.csv", dir.path().join("p/link.csv")).unwrap();
        let message = open_piece("p", None, &[dir.path().to_owned()]).unwrap_err().to_string();
        assert!(message.contains("a link that leads out of it"), "{message}");
    }
}

#[test]
fn what_cannot_be_opened_is_named_with_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let dirs = [dir.path().to_owned()];
    let message = |typed: &str| format!("{:#}", anyhow::Error::from(open_piece(typed, None, &dirs).unwrap_err()));
    assert_eq!(message("fery"), "no piece \"fery\"; did you mean \"ferry\"?; a path to a score file or to a piece's folder does as well");
    assert!(message("./scores/none.mid").contains("known here: all-through-the-night, ferry"));
    let empty = dir.path().join("empty");
    fs::create_dir(&empty).unwrap();
    assert!(message(&empty.display().to_string()).contains("has no piece.toml; give its score file, or write one"));

    write_piece(&dir.path().join("lost"), "lost.mid");
    assert!(message("lost").contains("found \"lost.mid\", which is not there; copy the score into the folder and name it here"));
    write_piece(&dir.path().join("folder"), ".");
    assert!(message("folder").contains("it is not a regular file"));
    write_piece(&dir.path().join("latin"), "notes.csv");
    fs::write(dir.path().join("latin/piece.toml"), b"title = \"T\"\n# caf\xe9\n").unwrap();
    assert!(message("latin").contains("piece.toml:2:6: expected text in UTF-8, found bytes that are not; save the file as UTF-8"));
    fs::write(dir.path().join("odd.txt"), "hello").unwrap();
    let odd = open_piece(&dir.path().join("odd.txt").display().to_string(), None, &[]).unwrap_err();
    assert!(matches!(odd, Error::Score(_)), "{odd}");
}
