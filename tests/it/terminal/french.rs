//! The drill on a real terminal in another language than English.

use std::fs;

use portable_pty::CommandBuilder;

use super::flow::piece;
use super::pty::{Pty, program};

#[test]
fn a_section_is_drilled_in_french_from_the_caution_to_the_account() {
    let folder = tempfile::tempdir().unwrap();
    piece(folder.path());
    let data = folder.path().join("data");
    fs::create_dir(&data).unwrap();
    fs::write(data.join("config.toml"), "language = \"fr\"\n").unwrap();
    let mut command = CommandBuilder::new(program());
    command.args(["drill", &*folder.path().to_string_lossy(), "--input", "keys", "--data", &data.to_string_lossy()]);
    command.env("TERM", "xterm-256color");
    let mut pty = Pty::start(command, 100, 30);
    pty.wait_for("jouez, ou pressez une touche");
    for (keys, expected) in [
        ("\rl", "espace quand c'est joué, c pour un repère"),
        (" ", "y: net, c: avec un repère, x: pas net"),
        ("y", "net, 1 sur 3"),
        // A cue is the player's own words, whatever the language.
        ("c", "top, then home"),
        ("?", "recommencer la section ; cet essai ne compte pas"),
        ("?", "top, then home"),
        (" ", "comment était-ce ?"),
        ("x", "pas net"),
    ] {
        pty.press(keys);
        pty.wait_for(expected);
    }
    pty.press("q");
    assert!(pty.wait_for_end().success());
    assert!(pty.text().contains("up : 1 nets sur 2 essais"), "{}", pty.text());
}
