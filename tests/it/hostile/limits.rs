//! What is too large, or stands for more than it is, is refused: within 512 MB of memory, and before anybody would wonder.

use std::fs::{self, File};
use std::io::{Cursor, Write};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use catchword::config::Config;
use catchword::import::{Error, read_score};
use catchword::piece_folder::open_piece;
use catchword::source::replay::read_take_lines;
use tempfile::tempdir;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// On a busy machine, in a build for tests; a release build takes a tenth.
const LONG: Duration = Duration::from_secs(30);

/// Runs the program in 512 MB of memory; returns what it says of its failure.
fn refused(args: &[&str]) -> String {
    let begun = Instant::now();
    // The limit is on addresses: what the program maps (its own code, a stack a thread) counts beside what it fills.
    let script = "ulimit -v 524288; exec \"$0\" \"$@\"";
    let output = Command::new("sh").args(["-c", script, env!("CARGO_BIN_EXE_catchword")]).args(args).output().unwrap();
    assert!(begun.elapsed() < LONG, "{args:?} took {:?}", begun.elapsed());
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1), "{args:?}: {said}");
    said
}

#[test]
#[cfg(unix)]
fn files_of_a_hundred_megabytes_are_refused_unread() {
    let dir = tempdir().unwrap();
    let path = |name: &str| dir.path().join(name).display().to_string();
    let data = dir.path().display().to_string();
    for name in ["a.musicxml", "a.mxl", "a.mid", "a.csv", "a.jsonl", "piece.toml", "config.toml"] {
        File::create(path(name)).unwrap().set_len(100 << 20).unwrap();
    }
    for args in [
        &["inspect", &path("a.musicxml")] as &[&str],
        &["inspect", &path("a.mxl")],
        &["inspect", &path("a.mid")],
        &["inspect", &path("a.csv")],
        &["add", &path("a.musicxml"), "--data", &data],
        &["study", &path("a.musicxml"), "--json"],
        &["trace", "ferry", "--take", &path("a.jsonl")],
        &["drill", "ferry", "--data", &path("none"), "--input", &path("a.mid")],
    ] {
        let said = refused(args);
        assert!(said.contains("it is larger than the limit of 64 MB"), "{args:?}: {said}");
    }
    for args in [&["progress", &data] as &[&str], &["config", "--data", &data]] {
        let said = refused(args);
        assert!(said.contains("it is larger than the limit of 1 MB"), "{args:?}: {said}");
    }
    assert!(refused(&["inspect", "/dev/zero"]).contains("it is larger than the limit of 64 MB"));
}

#[test]
#[cfg(unix)]
fn a_score_of_a_million_bars_is_refused_in_any_format() {
    let dir = tempdir().unwrap();
    let path = |name: &str| dir.path().join(name).display().to_string();
    let bars = "<measure number='1'/>".repeat(1_000_000);
    fs::write(path("a.musicxml"), format!("<score-partwise><part id='P1'>{bars}</part></score-partwise>")).unwrap();
    fs::write(path("a.csv"), "onset_beats,duration_beats,pitch,hand\n0,1,60,R\n4000000,1,60,R\n").unwrap();
    // A note at the beginning and one after 4 million quarters: 96 ticks to the quarter, two deltas of the most a file can say (RP-001: 2^28 - 1).
    let track = b"\x00\x90\x3c\x40\x81\x40\x80\x3c\x40\xff\xff\xff\x7f\x90\x3c\x40\xff\xff\xff\x7f\x80\x3c\x40\x00\xff\x2f\x00";
    let mut file = b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk".to_vec();
    file.extend(u32::try_from(track.len()).unwrap().to_be_bytes());
    file.extend(track);
    fs::write(path("a.mid"), file).unwrap();
    for (name, message) in [
        ("a.musicxml", "1000000 bars, above the limit of 100000 bars"),
        ("a.csv", "the number of bars, above the limit of 100000 bars"),
        ("a.mid", "above the limit of"),
    ] {
        let said = refused(&["inspect", &path(name)]);
        assert!(said.contains(message), "{said}");
    }
}

fn archive(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in entries {
        writer.start_file(*name, SimpleFileOptions::default()).unwrap();
        writer.write_all(content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn container(roots: &[&str]) -> Vec<u8> {
    let roots: String = roots.iter().map(|r| format!("<rootfile full-path='{r}'/>")).collect();
    format!("<container><rootfiles>{roots}</rootfiles></container>").into_bytes()
}

#[test]
#[cfg(unix)]
fn an_archive_that_inflates_to_much_more_than_it_is_is_refused_however_often_it_is_named() {
    let dir = tempdir().unwrap();
    let file = dir.path().join("bomb.mxl");
    let entries = [("META-INF/container.xml", container(&vec!["a.xml"; 5_000])), ("a.xml", vec![b' '; (64 << 20) + 1])];
    fs::write(&file, archive(&entries.each_ref().map(|(name, content)| (*name, &content[..])))).unwrap();
    assert!(fs::metadata(&file).unwrap().len() < 200_000);
    let said = refused(&["inspect", &file.display().to_string()]);
    assert!(said.contains("archive entry a.xml, above the limit of 67108864 bytes"), "{said}");
}

#[test]
fn entities_that_stand_for_one_another_are_refused_before_they_grow() {
    let long = "x".repeat(100_000);
    for declared in
        [format!("<!ENTITY a '{long}'>"), "<!ENTITY a SYSTEM 'file:///etc/passwd'>".to_owned(), "<!ENTITY % a '&#37;a;'>".to_owned()]
    {
        let words = "<words>&a;</words>".repeat(10_000);
        let text = format!(
            "<!DOCTYPE score-partwise [{declared}]><score-partwise><part id='P1'><measure>{words}</measure></part></score-partwise>"
        );
        let error = read_score(text.as_bytes(), "a.musicxml").unwrap_err().to_string();
        assert_eq!(error, "a.musicxml: line 1: expected a score without entities of its own, found <!ENTITY");
    }
}

#[test]
fn an_archive_cannot_name_a_file_outside_itself() {
    for root in ["../../../../etc/passwd", "/etc/passwd", "C:\\boot.ini", "a/../../b.xml"] {
        let bytes = archive(&[("META-INF/container.xml", &container(&[root])), ("b.xml", b"<score-partwise/>")]);
        let error = read_score(&bytes, "a.mxl").unwrap_err();
        assert!(matches!(&error, Error::Broken { place, .. } if *place == format!("archive entry {root}")), "{error}");
    }
}

#[test]
fn a_piece_cannot_name_a_score_outside_its_folder() {
    let dir = tempdir().unwrap();
    let folder = dir.path().join("piece");
    fs::create_dir(&folder).unwrap();
    fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("pieces/ferry/ferry.musicxml"), dir.path().join("out.musicxml")).unwrap();
    let absolute = dir.path().join("out.musicxml").display().to_string();
    for score in ["../out.musicxml", "./../out.musicxml", "a/../../out.musicxml", &absolute] {
        fs::write(folder.join("piece.toml"), format!("title = \"a\"\nscore = {score:?}\n")).unwrap();
        let error = open_piece(&folder.display().to_string(), None, &[]).unwrap_err().to_string();
        assert!(error.contains("piece.toml:2:9: expected a score file inside the piece's folder, found"), "{error}");
    }
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("../out.musicxml", folder.join("in.musicxml")).unwrap();
        fs::write(folder.join("piece.toml"), "title = \"a\"\nscore = \"in.musicxml\"\n").unwrap();
        let error = open_piece(&folder.display().to_string(), None, &[]).unwrap_err().to_string();
        assert!(error.contains("a link that leads out of it"), "{error}");
    }
}

#[test]
fn times_that_are_no_times_are_refused_with_their_line() {
    let header = "onset_beats,duration_beats,pitch,hand\n";
    for row in ["nan,1,60,R", "0,NaN,60,R", "inf,1,60,R", "0,-inf,60,R", "0,-1,60,R", "1e300,1,60,R", "-1e300,1,60,R"] {
        let error = read_score(format!("{header}{row}\n").as_bytes(), "a.csv").unwrap_err().to_string();
        assert!(error.starts_with("a.csv: line 2: expected a number of quarter notes"), "{row}: {error}");
    }
    for time in ["-0.001", "1e999", "NaN", "-1e999", "1e300", "\"1\"", "null"] {
        let error = read_take_lines(&format!("{{\"t\":{time},\"pitch\":60,\"velocity\":64}}"), "a.jsonl").unwrap_err().to_string();
        assert!(error.starts_with("a.jsonl: line 1: expected "), "{time}: {error}");
        let duration = format!("{{\"t\":0,\"pitch\":60,\"velocity\":64,\"duration\":{time}}}");
        assert_eq!(read_take_lines(&duration, "a.jsonl").is_err(), time != "null", "{time}");
    }
    for value in ["nan", "inf", "-1.0", "-nan"] {
        let error = Config::parse(&format!("[prompts]\ncue-s = {value}\n"), "config.toml").unwrap_err().to_string();
        assert!(error.starts_with("config.toml:2:9: expected a number from "), "{value}: {error}");
        let dir = tempdir().unwrap();
        fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("pieces/ferry/ferry.musicxml"), dir.path().join("a.musicxml")).unwrap();
        fs::write(dir.path().join("piece.toml"), format!("title = \"a\"\nscore = \"a.musicxml\"\ntempo = {value}\n")).unwrap();
        let error = open_piece(&dir.path().display().to_string(), None, &[]).unwrap_err().to_string();
        assert!(error.contains("piece.toml:3:9: expected a number"), "{value}: {error}");
    }
}

#[test]
fn a_long_piece_file_is_read_in_no_more_than_moments() {
    let mut text = "title = \"a\"\nscore = \"a.musicxml\"\n".to_owned();
    while text.len() < 1 << 20 {
        text.push_str("[[cue]]\nat=\"1\"\ntext=\"a\"\n");
    }
    let begun = Instant::now();
    assert!(catchword::piece::PieceFile::parse(&text, "piece.toml").is_ok());
    assert!(begun.elapsed() < LONG, "{:?}", begun.elapsed());
}
