//! Every input that a fuzz target found worth keeping, and every one that once made it fail, run again.

#[path = "../../fuzz/entries.rs"]
mod entries;

use std::fs;
use std::path::Path;

#[test]
fn what_was_found_by_fuzzing_is_borne() {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/kept");
    for (name, entry) in entries::ALL {
        let mut files: Vec<_> = fs::read_dir(kept.join(name)).unwrap().map(|e| e.unwrap().path()).collect();
        files.sort();
        assert!(!files.is_empty(), "nothing is kept of {name}");
        for file in files {
            let bytes = fs::read(&file).unwrap();
            let result = std::panic::catch_unwind(|| entry(&bytes));
            assert!(result.is_ok(), "{} does harm to {name}", file.display());
        }
    }
}
