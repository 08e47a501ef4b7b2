//! Every kind of screen as a picture to look at: `cargo test --test it pictures -- --ignored`, then see `target/tmp/screens`.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command as Process;
use std::time::Duration;

use portable_pty::CommandBuilder;

use super::pty::{Pty, program};
use super::{stand_in, svg};

const SIZES: [(u16, u16); 3] = [(80, 24), (120, 40), (200, 60)];

/// Where pictures of one size go.
struct Album {
    folder: PathBuf,
    columns: u16,
    rows: u16,
}

impl Album {
    fn of((columns, rows): (u16, u16)) -> Album {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("screens");
        fs::create_dir_all(&folder).unwrap();
        Album { folder, columns, rows }
    }

    fn draw(&self, pty: &Pty, name: &str) {
        let Album { folder, columns, rows } = self;
        pty.settle(Duration::from_millis(80));
        let title = format!("{name}, {columns} columns by {rows} rows");
        fs::write(folder.join(format!("{name}-{columns}x{rows}.svg")), pty.look(|screen| svg::draw(screen, &title))).unwrap();
    }

    fn run(&self, words: &[&str], data: &Path) -> Pty {
        let mut command = CommandBuilder::new(program());
        command.args(words);
        command.args(["--data", &data.to_string_lossy()]);
        command.env("TERM", "xterm-256color");
        command.env_remove("NO_COLOR");
        Pty::start(command, self.columns, self.rows)
    }
}

#[test]
#[ignore = "writes pictures to look at"]
fn every_screen_at_three_sizes() {
    for size in SIZES {
        let album = Album::of(size);
        let mut pty = stand_in::start(album.columns, album.rows);
        pty.wait_for("play, or press a key");
        album.draw(&pty, "caution");
        pty.press("?");
        pty.wait_for("play when you are ready");
        for name in stand_in::STAGES {
            album.draw(&pty, name);
            pty.press_and_see("n");
        }
        pty.press("?");
        pty.wait_for("next section");
        album.draw(&pty, "keys");
        let mut pty = stand_in::start_further(album.columns, album.rows);
        pty.wait_for("play, or press a key");
        pty.press_and_see("?");
        for name in stand_in::FURTHER {
            album.draw(&pty, name);
            pty.press_and_see("n");
        }
    }
}

/// A data folder with two pieces of one's own beside the demo pieces, which listens to a FIFO.
fn desk() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["Steps", "Stairs"] {
        let own = folder.path().join("pieces").join(name.to_lowercase());
        fs::create_dir_all(&own).unwrap();
        super::flow::piece(&own);
        let toml = fs::read_to_string(own.join("piece.toml")).unwrap();
        fs::write(own.join("piece.toml"), toml.replace("\"Steps\"", &format!("\"{name}\""))).unwrap();
    }
    let fifo = folder.path().join("keys.fifo");
    assert!(Process::new("mkfifo").arg(&fifo).status().unwrap().success());
    fs::write(folder.path().join("config.toml"), format!("input = \"stream:{}\"\n", fifo.display())).unwrap();
    folder
}

#[test]
#[ignore = "writes pictures to look at"]
fn the_screens_of_the_real_program_at_three_sizes() {
    for size in SIZES {
        let (album, desk) = (Album::of(size), desk());
        let mut pty = album.run(&[], desk.path());
        pty.wait_for("what to practise");
        album.draw(&pty, "start");
        // What stands between two parts of a plan.
        pty.press("p");
        let _fifo = File::options().write(true).open(desk.path().join("keys.fifo")).unwrap();
        pty.wait_for("play, or press a key");
        pty.press("\r");
        pty.wait_until("the caution to go", |screen| !screen.contents().contains("play, or press a key"));
        pty.press("q");
        pty.wait_until("what follows", |screen| screen.contents().contains("next") && screen.contents().contains("q close"));
        album.draw(&pty, "between");

        let mut pty = album.run(&["study", "ferry"], desk.path());
        pty.wait_for("[story]");
        album.draw(&pty, "study-story");
        for (key, name) in [("2", "map"), ("3", "sections")] {
            pty.press_and_see(key);
            album.draw(&pty, &format!("study-{name}"));
        }
        let pty = album.run(&["sight"], desk.path());
        pty.wait_for("n smaller");
        album.draw(&pty, "sight");
        let pty = album.run(&["progress", "ferry"], desk.path());
        pty.wait_for("q close");
        album.draw(&pty, "progress");
        let mut pty = album.run(&["drill", "ferry", "--input", "keys"], desk.path());
        pty.wait_for("play, or press a key");
        pty.press_and_see("\r");
        pty.press_and_see("?");
        album.draw(&pty, "keys-of-a-harp");
        let mut pty = album.run(&["capture", "paper", "--meter", "2/4", "--tempo", "240", "--bars", "1"], desk.path());
        let _fifo = File::options().write(true).open(desk.path().join("keys.fifo")).unwrap();
        pty.wait_for("Enter when you are ready");
        pty.press("\r");
        pty.wait_for("nothing was played");
        album.draw(&pty, "capture");
    }
}
