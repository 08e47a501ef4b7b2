//! Tells the program which commit it was built from, for `--version`; a build that knows none says only its number.
//!
//! A package may say it in `CATCHWORD_COMMIT`; a crate that was packed by cargo has it in `.cargo_vcs_info.json`; else git is asked,
//! where there is git. Development builds do not look: each commit would have them built anew.

use std::fs;
use std::process::Command;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
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
