//! Compressed MusicXML: archives made here, entry by entry.

use std::io::{Cursor, Write};

use catchword::import::{Error, Warning, read_score};
use catchword::score::Score;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::{bytes, notes};

fn archive(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in entries {
        writer.start_file(*name, SimpleFileOptions::default()).unwrap();
        writer.write_all(content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn container(roots: &[(&str, &str)]) -> String {
    let root = |(path, media): &(&str, &str)| {
        let media = if media.is_empty() { String::new() } else { format!(" media-type=\"{media}\"") };
        format!("<rootfile full-path=\"{path}\"{media}/>")
    };
    format!("<?xml version=\"1.0\"?><container><rootfiles>{}</rootfiles></container>", roots.iter().map(root).collect::<String>())
}

fn read(entries: &[(&str, &[u8])]) -> Result<(Score, Vec<Warning>), Error> {
    read_score(&archive(entries), "song.mxl")
}

#[test]
fn the_container_names_the_score_and_other_root_files_are_passed_over() {
    // MusicXML 4.0, container: the first rootfile is the score; others may be renditions such as PDF.
    let container = container(&[("print/song.pdf", "application/pdf"), ("inner/song.musicxml", "application/vnd.recordare.musicxml+xml")]);
    let (score, warnings) = read(&[
        ("mimetype", b"application/vnd.recordare.musicxml"),
        ("META-INF/container.xml", container.as_bytes()),
        ("print/song.pdf", b"%PDF"),
        ("other.xml", b"<opus/>"),
        ("inner/song.musicxml", &bytes("chord.musicxml")),
    ])
    .unwrap();
    assert_eq!(notes(&score.parts[0]), "0 C4 2, 0 E4 2, 0 G4 2, 2 D4 2");
    assert_eq!(warnings, []);
}

#[test]
fn of_two_scores_the_first_is_read_and_the_other_told_of() {
    let container = container(&[("a.xml", ""), ("b.xml", "")]);
    let entries =
        [("META-INF/container.xml", container.as_bytes()), ("a.xml", &bytes("chord.musicxml")), ("b.xml", &bytes("grace.musicxml"))];
    let (score, warnings) = read(&entries).unwrap();
    assert_eq!(score.parts[0].notes.len(), 4);
    assert_eq!((warnings.len(), warnings[0].element.as_str()), (1, "<rootfile>"));
}

#[test]
fn a_root_file_that_is_no_score_gives_way_to_one_that_is() {
    let container = container(&[("opus.xml", ""), ("b.xml", "")]);
    let entries = [
        ("META-INF/container.xml", container.as_bytes()),
        ("opus.xml", &bytes("not_a_score.musicxml")),
        ("b.xml", &bytes("grace.musicxml")),
    ];
    assert_eq!(read(&entries).unwrap().0.parts[0].notes.len(), 5);
}

#[test]
fn without_a_container_the_first_score_in_the_archive_is_read() {
    let (score, warnings) = read(&[("readme.txt", b"hello"), ("song.xml", &bytes("chord.musicxml"))]).unwrap();
    assert_eq!(score.parts[0].notes.len(), 4);
    assert_eq!(warnings[0].element, "META-INF/container.xml");
}

#[test]
fn a_broken_archive_is_told_with_the_entry() {
    let named = container(&[("song.xml", "")]);
    let error = read(&[("META-INF/container.xml", named.as_bytes())]).unwrap_err().to_string();
    assert!(error.starts_with("song.mxl: archive entry song.xml: expected an entry that can be inflated"), "{error}");
    let error = read(&[("META-INF/container.xml", named.as_bytes()), ("song.xml", &bytes("broken_tag.musicxml"))]).unwrap_err().to_string();
    assert!(error.starts_with("song.mxl, archive entry song.xml: line 16"), "{error}");
    let error = read(&[("META-INF/container.xml", b"<container><rootfiles/></container>")]).unwrap_err().to_string();
    assert!(error.contains("expected a <rootfile> that is MusicXML, found none"), "{error}");
    let error = read_score(b"PK\x03\x04 and then nothing of a ZIP archive", "song.mxl").unwrap_err().to_string();
    assert!(error.starts_with("song.mxl: the archive's directory: expected a ZIP archive"), "{error}");
}

#[test]
fn an_archive_with_too_many_entries_is_refused() {
    let names: Vec<String> = (0..5000).map(|n| format!("{n}.xml")).collect();
    let entries: Vec<(&str, &[u8])> = names.iter().map(|n| (n.as_str(), &b""[..])).collect();
    assert!(matches!(read(&entries), Err(Error::TooLarge { .. })));
}

#[test]
fn an_archive_cut_off_or_changed_anywhere_never_panics() {
    let named = container(&[("song.xml", "")]);
    let whole = archive(&[("META-INF/container.xml", named.as_bytes()), ("song.xml", &bytes("chord.musicxml"))]);
    for at in 0..whole.len() {
        let _ = read_score(&whole[..at], "song.mxl");
        for change in [whole[at] ^ 0x01, whole[at] ^ 0x80, 0xFF] {
            let mut damaged = whole.clone();
            damaged[at] = change;
            let _ = read_score(&damaged, "song.mxl");
        }
    }
}
