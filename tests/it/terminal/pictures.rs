//! Every kind of screen as a picture to look at: `cargo test --test it pictures -- --ignored`, then see `target/tmp/screens`.

use std::path::Path;
use std::time::Duration;

use super::{stand_in, svg};

#[test]
#[ignore = "writes pictures to look at"]
fn every_screen_at_three_sizes() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("screens");
    std::fs::create_dir_all(&folder).unwrap();
    for (columns, rows) in [(80, 24), (120, 40), (200, 60)] {
        let mut pty = stand_in::start(columns, rows);
        pty.wait_for("play, or press a key");
        let draw = |pty: &super::pty::Pty, name: &str| {
            pty.settle(Duration::from_millis(80));
            let title = format!("{name}, {columns} columns by {rows} rows");
            let drawing = pty.look(|screen| svg::draw(screen, &title));
            std::fs::write(folder.join(format!("{name}-{columns}x{rows}.svg")), drawing).unwrap();
        };
        draw(&pty, "caution");
        pty.press("?");
        pty.wait_for("play when you are ready");
        for name in stand_in::STAGES {
            draw(&pty, name);
            pty.press_and_see("n");
        }
        pty.press("?");
        pty.wait_for("next section");
        draw(&pty, "keys");
    }
}
