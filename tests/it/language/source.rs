//! The texts that stand in the code outside the catalogue: string literals, and what each is handed to.

use std::fs;
use std::path::{Path, PathBuf};

/// A string literal of the code.
pub struct Literal {
    pub file: String,
    pub line: usize,
    pub text: String,
    /// What it is inside of, outermost first: `format!`, `expect`, `#` for an attribute.
    within: Vec<String>,
}

/// What takes texts that no player reads: broken promises of our own, names that are compared with, files of the program.
const NOT_SHOWN: [&str; 20] = [
    "#",
    "expect",
    "expect_err",
    "panic!",
    "unreachable!",
    "assert!",
    "assert_eq!",
    "assert_ne!",
    "debug_assert!",
    "debug_assert_eq!",
    "include_str!",
    "include_bytes!",
    "starts_with",
    "ends_with",
    "strip_prefix",
    "strip_suffix",
    "split_once",
    "contains",
    "matches!",
    "var_os",
];

impl Literal {
    /// Tells whether the catalogue has it, or no player ever sees it.
    pub fn is_settled(&self) -> bool {
        self.within.last().is_some_and(|inner| ["tr!", "msgid!"].contains(&&**inner))
            || self.within.iter().any(|outer| NOT_SHOWN.contains(&&**outer))
    }
}

/// Returns the literals of rooms (files or folders under `src`), without those of tests.
pub fn literals_of(rooms: &[&str]) -> Vec<Literal> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files: Vec<PathBuf> = Vec::new();
    let mut paths: Vec<PathBuf> = rooms.iter().map(|room| root.join(room)).collect();
    while let Some(path) = paths.pop() {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if path.is_dir() && name != "tests" {
            paths.extend(fs::read_dir(&path).unwrap().map(|entry| entry.unwrap().path()));
        } else if name.ends_with(".rs") && name != "tests.rs" {
            files.push(path);
        }
    }
    files.sort();
    let name = |file: &Path| file.strip_prefix(&root).unwrap().to_string_lossy().into_owned();
    files.iter().flat_map(|file| literals_in(&name(file), &fs::read_to_string(file).unwrap())).collect()
}

/// Reads Rust as far as it takes to know where its strings stand.
pub fn literals_in(file: &str, source: &str) -> Vec<Literal> {
    let code = source.find("#[cfg(test)]\nmod ").map_or(source, |tests| &source[..tests]);
    let (mut found, mut within): (Vec<Literal>, Vec<String>) = (Vec::new(), Vec::new());
    let mut at = 0;
    while let Some(c) = code[at..].chars().next() {
        let rest = &code[at..];
        if rest.starts_with("//") {
            at += rest.find('\n').unwrap_or(rest.len());
        } else if rest.starts_with("/*") {
            at += rest.find("*/").map_or(rest.len(), |end| end + 2);
        } else if c == '\'' {
            at += quoted_letter(rest);
        } else if let Some(raw) = rest.strip_prefix("r#\"") {
            at += raw.find("\"#").map_or(rest.len(), |end| end + 5);
        } else if c == '"' {
            let (text, after) = super::literal(rest).unwrap_or_else(|| panic!("{file}: a string without an end"));
            let line = code[..at].matches('\n').count() + 1;
            at = code.len() - after.len();
            found.push(Literal { file: file.to_owned(), line, text, within: within.clone() });
        } else {
            match c {
                '(' | '[' | '{' => within.push(taker(&code[..at])),
                ')' | ']' | '}' => drop(within.pop()),
                _ => {}
            }
            at += c.len_utf8();
        }
    }
    found
}

/// Returns how long a letter in quotes is at the beginning of `rest`; one for the mark of a lifetime.
fn quoted_letter(rest: &str) -> usize {
    let mut chars = rest.char_indices().skip(1);
    match (chars.next(), chars.next()) {
        (Some((_, '\\')), Some((at, escaped))) => at + escaped.len_utf8() + rest[at + escaped.len_utf8()..].find('\'').unwrap_or(0) + 1,
        (Some(_), Some((at, '\''))) => at + 1,
        _ => 1,
    }
}

/// Returns what an opening bracket behind `before` belongs to.
fn taker(before: &str) -> String {
    let before = before.trim_end();
    if before.ends_with(['#', '!']) && before.trim_end_matches('!').ends_with('#') {
        return "#".to_owned();
    }
    let mark = usize::from(before.ends_with('!'));
    let name = before[..before.len() - mark].rsplit(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap_or_default();
    format!("{name}{}", if mark == 1 && !name.is_empty() { "!" } else { "" })
}

#[test]
fn strings_are_found_with_what_they_are_handed_to() {
    let source = r##"
        // "a comment"
        #[expect(dead_code, reason = "no reader")]
        fn f<'a>(x: &'a str) -> char { call(tr!("one {x}", x = format!("inner")), ['"', '\'', '\u{2190}']); y.expect("two words") }
        const T: &str = msgid!("three");
        #[cfg(test)]
mod tests { const U: &str = "four"; }
    "##;
    let found = literals_in("x.rs", source);
    let said: Vec<(&str, bool)> = found.iter().map(|literal| (literal.text.as_str(), literal.is_settled())).collect();
    assert_eq!(said, [("no reader", true), ("one {x}", true), ("inner", false), ("two words", true), ("three", true)]);
}
