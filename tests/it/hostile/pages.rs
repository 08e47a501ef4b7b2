//! Pages for a browser escape everything that comes from files.

#![cfg(unix)]

use std::fs;
use std::path::Path;
use std::process::Command;

/// Every sign that HTML gives a meaning, in the places where it would have one (HTML Living Standard, 13.2.5).
const HOSTILE: &str = "<script>alert(1)</script><img src=x onerror=alert(1)>\\\" onload=\\\"x' & </style></title></svg>&lt;";

#[test]
fn the_pages_of_a_hostile_piece_have_no_tag_or_attribute_of_its_making() {
    let dir = tempfile::tempdir().unwrap();
    let ferry = Path::new(env!("CARGO_MANIFEST_DIR")).join("pieces/ferry/ferry.musicxml");
    // Texts of the score too: its title, its composer, its bars.
    let in_xml = HOSTILE.replace("\\\"", "\"").replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;");
    let score = fs::read_to_string(ferry).unwrap().replace("measure number=\"2\"", &format!("measure number=\"{in_xml}\""));
    assert!(score.contains("onerror"));
    fs::write(dir.path().join("a.musicxml"), score).unwrap();
    let toml = format!(
        "title = \"t {HOSTILE}\"\nscore = \"a.musicxml\"\n[[section]]\nname = \"s {HOSTILE}\"\nbars = \"3-4\"\n\
         [[cue]]\nat = \"3\"\ntext = \"c {HOSTILE}\"\nmore = \"m {HOSTILE}\"\n[[landmark]]\nat = \"3\"\nname = \"l {HOSTILE}\"\n"
    );
    fs::write(dir.path().join("piece.toml"), toml).unwrap();
    let (piece, data) = (dir.path().to_str().unwrap(), dir.path().join("data"));
    for command in ["story", "progress"] {
        let page = dir.path().join(format!("{command}.html"));
        let args = [command, piece, "--html", page.to_str().unwrap(), "--data", data.to_str().unwrap()];
        let args = if command == "story" { &args[..4] } else { &args[..] };
        let output = Command::new(env!("CARGO_BIN_EXE_catchword")).args(args).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let text = fs::read_to_string(&page).unwrap();
        assert!(text.contains("alert(1)"), "{command} shows the name at all");
        for bad in ["<script", "<img", "\" onload=\"", "&lt;script&gt;alert(1)</script>"] {
            assert!(!text.contains(bad), "{command}: {bad}");
        }
        assert_eq!(text.matches("</style>").count(), text.matches("<style").count(), "{command}");
        assert_eq!(text.matches("</title>").count(), text.matches("<title").count(), "{command}");
        assert_eq!(text.matches("</svg>").count(), text.matches("<svg").count(), "{command}");
    }
}
