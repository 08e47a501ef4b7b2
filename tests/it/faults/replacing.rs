//! A file being replaced: killed at any moment, the old text or the new one stands whole.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use catchword::config::Config;
use catchword::instruments::Instruments;
use catchword::paths::replace_file;

/// Says to the test below, run by itself in another process, what to replace.
const FILE: &str = "CATCHWORD_TEST_REPLACE";
/// Large enough that writing it takes time.
const N_ROWS: usize = 20_000;
const N_KILLS: u64 = 25;

fn text(nth: usize) -> String {
    format!("# {nth}\n").repeat(N_ROWS)
}

/// Reads which text stands in the file, and fails when it is not one of them whole.
fn number(file: &Path) -> usize {
    let found = fs::read_to_string(file).unwrap();
    let first = found.lines().next().unwrap();
    assert!(found.lines().count() == N_ROWS && found.lines().all(|row| row == first), "not one text, and whole");
    first[2..].parse().unwrap()
}

#[test]
#[ignore = "is run by the test after it, which kills it"]
fn replaces_until_it_is_killed() {
    let Ok(file) = std::env::var(FILE) else { return };
    for nth in number(Path::new(&file)) + 1.. {
        replace_file(Path::new(&file), text(nth).as_bytes()).unwrap();
    }
}

#[test]
fn a_kill_at_any_moment_leaves_the_old_file_or_the_new_one_whole() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("config.toml");
    replace_file(&file, text(0).as_bytes()).unwrap();
    for nth in 0..N_KILLS {
        let before = number(&file);
        let mut writer = Command::new(std::env::current_exe().unwrap())
            .args(["--ignored", "--exact", "faults::replacing::replaces_until_it_is_killed"])
            .env(FILE, &file)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        // Once it is under way, a little later each time.
        let begun = Instant::now();
        while number(&file) == before && begun.elapsed() < Duration::from_secs(20) {
            sleep(Duration::from_millis(1));
        }
        sleep(Duration::from_micros(1_300 * nth));
        writer.kill().unwrap();
        writer.wait().unwrap();
        assert!(number(&file) > before, "kill {nth} came before anything was replaced");
    }
    // What was left beside it keeps nobody from writing.
    replace_file(&file, b"[hesitation]\nfloor-s = 1.0\n").unwrap();
    assert_ne!(Config::load(&file).unwrap(), Config::default());
}

#[test]
fn a_change_of_the_settings_and_of_the_instruments_that_cannot_be_written_leaves_them_as_they_were() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("config.toml");
    Config::change(&file, |_| Ok("language = \"fr\"\n".to_owned())).unwrap();
    let refused = Config::change(&file, |text| Ok(format!("{text}no such key = 1\n"))).unwrap_err().to_string();
    assert!(refused.contains("config.toml"), "{refused}");
    assert_eq!(fs::read_to_string(&file).unwrap(), "language = \"fr\"\n");
    let instruments = dir.path().join("instruments.toml");
    fs::create_dir(&instruments).unwrap();
    assert!(Instruments::default().save(&instruments).unwrap_err().to_string().starts_with("cannot write "));
    let mut names: Vec<String> = fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names, ["config.toml", "instruments.toml"], "nothing is left beside them");
}
