//! Packs the catalogues of words, and tells the program which commit it was built from, for `--version`; a build that knows none says
//! only its number.
//!
//! A package may say it in `CATCHWORD_COMMIT`; a crate that was packed by cargo has it in `.cargo_vcs_info.json`; else git is asked,
//! where there is git. Development builds do not look: each commit would have them built anew.

use std::fs::{self, File};
use std::io::Write as _;
use std::path::Path;
use std::process::Command;

use flate2::Compression;
use flate2::write::DeflateEncoder;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    pack("fr");
    println!("cargo::rerun-if-env-changed=CATCHWORD_COMMIT");
    let commit = std::env::var("CATCHWORD_COMMIT").ok().or_else(packed).or_else(asked);
    let number = env!("CARGO_PKG_VERSION");
    let version = commit.map_or_else(|| number.to_owned(), |commit| format!("{number} ({commit})"));
    println!("cargo::rustc-env=CATCHWORD_VERSION={version}");
}

fn packed() -> Option<String> {
    let text = fs::read_to_string(".cargo_vcs_info.json").ok()?;
    let hash = text.split("\"sha1\": \"").nth(1)?.get(..10)?;
    Some(hash.to_owned())
}

fn asked() -> Option<String> {
    if std::env::var("PROFILE").as_deref() != Ok("release") {
        return None;
    }
    let git = |args: &[&str]| {
        let output = Command::new("git").args(args).output().ok().filter(|o| o.status.success())?;
        let words = String::from_utf8(output.stdout).ok()?.trim().to_owned();
        (!words.is_empty()).then_some(words)
    };
    // A repository that this one only stands in says nothing about it.
    git(&["ls-files", "--error-unmatch", "build.rs"])?;
    if let Some(log) = git(&["rev-parse", "--git-path", "logs/HEAD"]) {
        println!("cargo::rerun-if-changed={log}");
    }
    let changed = if git(&["status", "--porcelain", "--untracked-files=no"]).is_some() { ", changed" } else { "" };
    Some(git(&["rev-parse", "--short=10", "HEAD"])? + changed)
}

/// Packs a catalogue as `language.rs` reads it. An entry is the context of a text, or nothing, the text, and what it is in the other
/// language, with U+001F between; one that counts has both forms of each. U+001E ends an entry.
fn pack(tag: &str) {
    let source = format!("src/language/{tag}.po");
    println!("cargo::rerun-if-changed={source}");
    let catalogue = rspolib::pofile(Path::new(&source)).unwrap_or_else(|error| panic!("{source}: {error:?}"));
    let mut table = String::new();
    for entry in catalogue.entries.iter().filter(|entry| !entry.obsolete && !entry.msgid.is_empty()) {
        let said = match entry.msgstr_plural.is_empty() {
            true => entry.msgstr.as_deref().into_iter().collect::<Vec<_>>(),
            false => entry.msgstr_plural.iter().map(String::as_str).collect(),
        };
        let context = entry.msgctxt.as_deref().unwrap_or_default();
        let fields: Vec<&str> = [context, entry.msgid.as_str()].into_iter().chain(entry.msgid_plural.as_deref()).chain(said).collect();
        table.push_str(&fields.join("\u{1f}"));
        table.push('\u{1e}');
    }
    let dir = std::env::var("OUT_DIR").expect("cargo says where to write");
    let packed = File::create(Path::new(&dir).join(format!("{tag}.words"))).expect("the build may write there");
    let mut packed = DeflateEncoder::new(packed, Compression::best());
    packed.write_all(table.as_bytes()).and_then(|()| packed.finish().map(drop)).expect("the build may write there");
}
