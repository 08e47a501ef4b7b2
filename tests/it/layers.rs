//! The layers of the code hold in its imports: a file looks only at layers above its own in the map of DEVELOPERS.md.

use std::fs;
use std::path::{Path, PathBuf};

/// The rooms of the code and their layer, most special path first. Layer 0 knows nothing of the others.
const LAYERS: &[(&str, u8)] = &[
    ("time", 0),
    ("theory", 0),
    ("language", 0),
    ("score", 1),
    ("midi", 1),
    ("import", 2),
    ("follower", 2),
    ("piece", 2),
    ("analysis", 2),
    ("setting", 2),
    ("capture", 2),
    ("export", 2),
    ("journal/store", 4),
    ("journal/migrations", 4),
    ("journal", 2),
    ("memory", 2),
    ("practice", 3),
    ("study", 3),
    ("report", 3),
    ("clock", 4),
    ("paths", 4),
    ("log", 4),
    ("config", 4),
    ("instruments", 4),
    ("piece_folder", 4),
    ("source", 4),
    ("tone", 4),
    ("tui", 5),
    ("cli", 5),
    ("lib", 6),
    ("main", 6),
];

/// Looks within one layer that are meant, each with its reason.
const SIDEWAYS: &[(&str, &str)] = &[
    ("theory", "time"),         // a metre's bar has a length
    ("score", "midi"),          // a note has the key it sounds on
    ("analysis", "piece"),      // sections and instruments are the piece's words
    ("memory", "journal"),      // reps and answers are what memory is told from
    ("report", "practice"),     // outputs of the engine are what is reported
    ("source", "clock"),        // events are stamped where they arrive
    ("tone", "source"),         // the words for a port or a path, and how one is chosen
    ("tone", "clock"),          // tones sound at times of the session
    ("source", "paths"),        // files are read up to a limit
    ("piece_folder", "paths"),  // where pieces are looked for
    ("config", "paths"),        // where the settings file is
    ("instruments", "paths"),   // where the set-up of instruments is kept
    ("journal/store", "paths"), // where the journal is
    ("journal/store", "clock"), // entries are dated where they are kept
    ("log", "clock"),           // a line says when
    ("cli", "tui"),             // subcommands open the screen
];

fn room_of(path: &str) -> (&'static str, u8) {
    let inside = |room: &str| path == room || path.strip_prefix(room).is_some_and(|rest| rest.starts_with('/'));
    LAYERS
        .iter()
        .copied()
        .find(|(room, _)| inside(room))
        .unwrap_or_else(|| panic!("src/{path} has no layer: add it to the map in DEVELOPERS.md and here"))
}

/// Files under `src` with their path without ending, as `journal/store`.
fn source_files() -> Vec<(String, String)> {
    fn walk(folder: &Path, root: &Path, out: &mut Vec<(String, String)>) {
        let mut entries: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
        entries.sort();
        for path in entries {
            if path.is_dir() && path.ends_with("tests") {
                // Unit tests grown into a folder of their own may look anywhere.
            } else if path.is_dir() {
                walk(&path, root, out);
            } else if path.extension().is_some_and(|e| e == "rs") && path.file_stem().is_some_and(|s| s != "tests") {
                let name = path.with_extension("").strip_prefix(root).unwrap().to_string_lossy().replace('\\', "/");
                out.push((name, fs::read_to_string(&path).unwrap()));
            }
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut out = Vec::new();
    walk(&root, &root, &mut out);
    out
}

/// The `crate::` paths that a file names outside comments and outside its unit tests, as `journal/store/Store`.
fn looks(text: &str) -> Vec<String> {
    let code = text.split("\n#[cfg(test)]\nmod ").next().unwrap();
    let lines = code.lines().map(str::trim_start).filter(|l| !l.starts_with("//"));
    let mut out = Vec::new();
    for line in lines {
        for (at, _) in line.match_indices("crate::") {
            let path: String = line[at + "crate::".len()..].chars().take_while(|c| c.is_alphanumeric() || matches!(c, '_' | ':')).collect();
            assert!(!path.is_empty(), "name what is used, one `use crate::` path a line: {line}");
            out.push(path.trim_end_matches(':').replace("::", "/"));
        }
    }
    out
}

#[test]
fn no_layer_looks_upward() {
    let files = source_files();
    assert!(files.len() > 20, "the walk found the sources");
    let mut n_looks = 0;
    let mut wrong = Vec::new();
    for (file, text) in &files {
        let (room, layer) = room_of(file);
        for look in looks(text) {
            n_looks += 1;
            let (other, other_layer) = room_of(&look);
            let is_own = other == room || other.split('/').next() == room.split('/').next() && other_layer <= layer;
            let is_fine = is_own || other_layer < layer || SIDEWAYS.contains(&(room, other));
            if !is_fine {
                wrong.push(format!("src/{file}.rs (layer {layer}) looks at {other} (layer {other_layer}): crate::{look}"));
            }
        }
    }
    assert!(n_looks > 50, "the `use` lines were read");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn screens_and_widgets_see_views_only() {
    for (file, text) in source_files() {
        if file.starts_with("tui/screen") || file.starts_with("tui/widget") {
            for look in looks(&text) {
                let is_shell =
                    ["source", "journal/store", "config", "paths", "clock", "import", "follower"].iter().any(|s| look.starts_with(s));
                assert!(!is_shell, "src/{file}.rs draws, and looks at {look}");
            }
        }
    }
}

#[test]
fn only_the_clock_reads_the_time() {
    for (file, text) in source_files() {
        let code = text.split("\n#[cfg(test)]\nmod ").next().unwrap();
        let reads = ["Instant::now", "SystemTime::now", "Local::now", "Utc::now"].iter().any(|call| code.contains(call));
        assert!(!reads || file == "clock", "src/{file}.rs reads a clock: only src/clock.rs does");
    }
}

#[test]
fn the_map_names_every_room() {
    let map = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md")).unwrap();
    for (room, _) in LAYERS.iter().filter(|(room, _)| !matches!(*room, "lib")) {
        let room = room.split('/').next().unwrap();
        assert!(map.contains(&format!("`{room}")), "DEVELOPERS.md does not name {room}");
    }
}
