//! Every input that a fuzz target found worth keeping, and every one that once made it fail, run again; and each of them damaged at random.

#[path = "../../fuzz/entries.rs"]
mod entries;

use std::fs;
use std::path::Path;

use entries::{ALL, Entry};

fn kept(name: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/kept").join(name);
    let mut files: Vec<_> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    assert!(!files.is_empty(), "nothing is kept of {name}");
    files.into_iter().map(|file| (file.display().to_string(), fs::read(&file).unwrap())).collect()
}

fn assert_borne(name: &str, entry: Entry, what: &str, bytes: &[u8]) {
    if std::panic::catch_unwind(|| entry(bytes)).is_err() {
        let file = std::env::temp_dir().join(format!("catchword-{name}-failed"));
        fs::write(&file, bytes).unwrap();
        panic!("{what} does harm to {name}; it is in {}: keep it in tests/fuzz/kept/{name}", file.display());
    }
}

#[test]
fn what_was_found_by_fuzzing_is_borne() {
    for (name, entry) in ALL {
        for (file, bytes) in kept(name) {
            assert_borne(name, entry, &file, &bytes);
        }
    }
}

/// Changes, drops, doubles or takes over from another input a few stretches of bytes.
fn damage(rng: &mut fastrand::Rng, bytes: &mut Vec<u8>, other: &[u8]) {
    /// Bytes that mean something to one reader or another.
    const SIGNS: &[u8] = b"<>/\"'=&;0123456789.-+eEnai{}[]#,\n \0\x7f\x80\x90\xf0\xf7\xff";
    for _ in 0..rng.usize(1..=4) {
        if bytes.is_empty() {
            bytes.push(rng.u8(..));
        }
        let at = rng.usize(..bytes.len());
        let end = (at + rng.usize(1..=16)).min(bytes.len());
        match rng.u8(..6) {
            0 => bytes[at] ^= 1 << rng.u8(..8),
            1 => bytes[at] = SIGNS[rng.usize(..SIGNS.len())],
            2 => bytes.insert(at, SIGNS[rng.usize(..SIGNS.len())]),
            3 => drop(bytes.drain(at..end)),
            4 => {
                let stretch = bytes[at..end].to_vec();
                let to = rng.usize(..=bytes.len());
                bytes.splice(to..to, stretch);
            }
            _ => {
                let from = rng.usize(..other.len());
                let until = (from + rng.usize(1..=64)).min(other.len());
                bytes.splice(at..end, other[from..until].iter().copied());
            }
        }
    }
}

/// Without a count by coverage this is no fuzzing, only its poor relation that needs no tools: `CATCHWORD_DAMAGED=100000` looks further,
/// `CATCHWORD_SEED` elsewhere.
#[test]
fn what_was_found_is_borne_when_it_is_damaged_too() {
    let of = |name: &str, otherwise: u64| std::env::var(name).ok().and_then(|n| n.parse().ok()).unwrap_or(otherwise);
    let mut rng = fastrand::Rng::with_seed(of("CATCHWORD_SEED", 1));
    let n_times = of("CATCHWORD_DAMAGED", 200);
    for (name, entry) in ALL {
        let inputs = kept(name);
        for n in 0..n_times {
            let [(file, bytes), (_, other)] = [(); 2].map(|()| &inputs[rng.usize(..inputs.len())]);
            let mut damaged = bytes.clone();
            damage(&mut rng, &mut damaged, other);
            assert_borne(name, entry, &format!("{file}, damaged ({n})"), &damaged);
        }
    }
}
