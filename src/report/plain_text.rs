//! Texts from files and records, fit to be shown: nothing in them steers a terminal or breaks a page.

/// Returns the text with every character that is not shown replaced: control characters, what turns the direction of writing, and what
/// no XML file may hold (W3C, "Extensible Markup Language 1.0", section 2.2).
pub fn plain(text: &str) -> String {
    text.chars().map(|c| if is_hidden(c) { '\u{fffd}' } else { c }).collect()
}

/// Returns the text as [`plain`] does, but with its line ends and tabs: the last thing before anything is printed.
pub fn plain_lines(text: &str) -> String {
    text.chars().map(|c| if is_hidden(c) && !matches!(c, '\n' | '\t') { '\u{fffd}' } else { c }).collect()
}

/// Tells whether a character steers what shows it rather than being shown.
pub fn is_hidden(c: char) -> bool {
    c.is_control() || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}')
}

/// Returns `1 rep`, `3 reps`.
pub fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// Breaks a text at spaces into lines of at most `width` characters; longer words are cut. Spaces at its beginning are kept, and lines
/// after the first begin with `indent`.
pub fn wrapped(text: &str, width: usize, indent: &str) -> Vec<String> {
    let words = text.trim_start_matches(' ');
    let mut lines = vec![text[..text.len() - words.len()].to_owned()];
    let mut n_chars = lines[0].chars().count();
    let mut is_empty = true;
    for word in words.split(' ') {
        let n_letters = word.chars().count();
        if !is_empty && n_chars + 1 + n_letters > width {
            lines.push(indent.to_owned());
            (n_chars, is_empty) = (indent.chars().count(), true);
        }
        if !is_empty {
            lines.last_mut().expect("never empty").push(' ');
            n_chars += 1;
        }
        is_empty = false;
        for letter in word.chars() {
            if n_chars >= width && n_chars > indent.chars().count() {
                lines.push(indent.to_owned());
                n_chars = indent.chars().count();
            }
            lines.last_mut().expect("never empty").push(letter);
            n_chars += 1;
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_steer_a_terminal_is_not_passed_on() {
        assert_eq!(plain("a\u{1b}[2Jb\u{202e}c\u{0}"), "a\u{fffd}[2Jb\u{fffd}c\u{fffd}");
        assert_eq!(plain_lines("a\u{1b}[2J\n\tb\r\u{9b}1m"), "a\u{fffd}[2J\n\tb\u{fffd}\u{fffd}1m");
        assert_eq!(plain("Ar Hyd y Nós, <b>♭"), "Ar Hyd y Nós, <b>♭");
    }

    #[test]
    fn lines_break_at_spaces_and_keep_within_the_width() {
        assert_eq!(wrapped("one two three four", 9, "  "), ["one two", "  three", "  four"]);
        assert_eq!(wrapped("  kept indent", 40, ""), ["  kept indent"]);
        assert_eq!(wrapped("unbreakablyblong", 10, ""), ["unbreakabl", "yblong"]);
        assert_eq!(wrapped("", 10, ""), [""]);
    }
}
