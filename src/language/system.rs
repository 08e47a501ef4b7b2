//! What the system refuses, in the player's language: it says so in English alone.

use std::error::Error;
use std::io;

/// What systems refuse most often when files and devices are opened, read and written, in their words.
const REFUSALS: [&str; 10] = [
    msgid!("No such file or directory"),
    msgid!("Permission denied"),
    msgid!("File exists"),
    msgid!("Is a directory"),
    msgid!("Not a directory"),
    msgid!("No space left on device"),
    msgid!("Read-only file system"),
    msgid!("Input/output error"),
    msgid!("Device or resource busy"),
    msgid!("No such device"),
];

/// Returns the words of an error; those of the system in the language that is spoken, its number after them as it is.
pub fn said(error: &(dyn Error + 'static)) -> String {
    let words = error.to_string();
    match error.downcast_ref::<io::Error>().and(words.split_once(" (os error ")) {
        Some((what, number)) if REFUSALS.contains(&what) => format!("{} (os error {number}", tr!(what)),
        _ => words,
    }
}

/// Returns the words of an error and of all that caused it, with colons between.
pub fn chain(error: &(dyn Error + 'static)) -> String {
    std::iter::successors(Some(error), |&error| error.source()).map(said).collect::<Vec<_>>().join(&tr!(": "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn in_english_an_error_keeps_its_words() {
        let missing = std::fs::File::open("/no/such/file").unwrap_err();
        assert_eq!(said(&missing), missing.to_string());
        let error = anyhow::Error::from(missing).context("reading it");
        assert_eq!(chain(error.as_ref()), format!("{error:#}"));
    }
}
