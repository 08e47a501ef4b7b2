//! The command that speaks a text: a program and its words, run without a shell.

use crate::report::plain_text::plain;

/// Stands in the command for what is to be spoken.
const TEXT: &str = "{text}";
/// Characters of a text that are spoken; a cue has far fewer, and a system takes only so many.
const N_CHARS_MAX: usize = 400;

/// A program and its words, with a place for the text.
///
/// The text comes from a piece's file, which may be somebody else's: whatever is in it, it is one argument, and no option.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Speak {
    /// The program, then its words, [`TEXT`] one of them.
    words: Vec<String>,
}

impl Speak {
    pub const HINT: &str = msgid!("it is run without a shell, as in speak = \"espeak-ng {text}\"");

    /// Takes a command as it is written: spaces part words, double quotes hold one together, nothing else has a meaning.
    ///
    /// # Errors
    /// Says what is expected instead.
    pub fn try_new(template: &str) -> Result<Self, &'static str> {
        let words = split(template).ok_or(msgid!("a closing double quote"))?;
        let at = words.iter().position(|word| word == TEXT).filter(|at| *at > 0 && !words[0].is_empty());
        let at = at.filter(|_| template.matches(TEXT).count() == 1).ok_or(msgid!("a program, then {text} as a word of its own, once"))?;
        // `sh -c {text}` would run the text, `-f {text}` read a file of that name.
        if words[at - 1].starts_with('-') && words[at - 1] != "--" {
            return Err(msgid!("no option right before {text}, which it might be taken for the value of: another word, or --"));
        }
        Ok(Speak { words })
    }

    pub fn program(&self) -> &str {
        &self.words[0]
    }

    /// Returns the arguments that make the program speak a text; none where nothing in it can be spoken.
    pub fn arguments(&self, text: &str) -> Option<Vec<String>> {
        let text = spoken(text);
        let fill = |word: &String| if word == TEXT { text.clone() } else { word.clone() };
        (!text.is_empty()).then(|| self.words[1..].iter().map(fill).collect())
    }
}

/// Parts a command at its spaces; `None` when a double quote is not closed.
fn split(template: &str) -> Option<Vec<String>> {
    let mut words = Vec::new();
    let mut word: Option<String> = None;
    let mut is_quoted = false;
    for c in template.chars() {
        if c == '"' {
            is_quoted = !is_quoted;
            word.get_or_insert_default();
        } else if c.is_whitespace() && !is_quoted {
            words.extend(word.take());
        } else {
            word.get_or_insert_default().push(c);
        }
    }
    words.extend(word);
    (!is_quoted).then_some(words)
}

/// Returns the text as one line of what can be spoken: without what steers a terminal, and without signs at its beginning, so that no
/// program takes it for an option.
fn spoken(text: &str) -> String {
    let text = plain(&without_sequences(text)).replace('\u{fffd}', " ");
    let line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    line.trim_start_matches(|c: char| c.is_ascii_punctuation() || c == ' ').chars().take(N_CHARS_MAX).collect()
}

/// Leaves out control sequences whole: ESC, `[`, and all up to a byte from `@` to `~` (ECMA-48, 5th edition, section 5.4).
fn without_sequences(text: &str) -> String {
    let mut parts = text.split("\u{1b}[");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |kept, part| {
        let mut rest = part.trim_start_matches(|c| matches!(c, ' '..='?')).chars();
        rest.next();
        kept + rest.as_str()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_command_is_parted_at_spaces_and_held_together_by_double_quotes() {
        for (template, words) in [
            ("espeak-ng {text}", &["espeak-ng", "{text}"] as &[&str]),
            ("  espeak-ng\t-v  en-gb   {text} ", &["espeak-ng", "-v", "en-gb", "{text}"]),
            ("spd-say -w -- {text}", &["spd-say", "-w", "--", "{text}"]),
            (r#""C:\My Voice\say.exe" --voice="a b" x "" "{text}""#, &[r"C:\My Voice\say.exe", "--voice=a b", "x", "", "{text}"]),
            ("say $HOME ; 'a b' {text}", &["say", "$HOME", ";", "'a", "b'", "{text}"]),
        ] {
            assert_eq!(Speak::try_new(template).unwrap().words, words, "{template}");
        }
    }

    #[test]
    fn a_command_that_could_not_speak_safely_is_refused() {
        for (template, expected) in [
            ("espeak-ng", "{text}"),
            ("espeak-ng {txt}", "{text}"),
            ("{text}", "a program"),
            ("\"\" {text}", "a program"),
            ("espeak-ng {text} {text}", "once"),
            ("sh -c \"espeak-ng {text}\"", "a word of its own"),
            ("espeak-ng --text={text}", "a word of its own"),
            ("espeak-ng \"{text}", "closing"),
            ("sh -c {text}", "no option right before"),
            ("espeak-ng -f {text}", "no option right before"),
        ] {
            let refused = Speak::try_new(template).unwrap_err();
            assert!(refused.contains(expected), "{template}: {refused}");
        }
    }

    #[test]
    fn whatever_is_in_a_text_it_is_one_argument_and_no_option() {
        let speak = Speak::try_new("voice -v en {text} end").unwrap();
        for (text, argument) in [
            ("a third down, same shape", "a third down, same shape"),
            ("home; rm -rf \"$HOME\" `id` && 'x' | y > z", "home; rm -rf \"$HOME\" `id` && 'x' | y > z"),
            ("; rm -rf", "rm -rf"),
            ("--help", "help"),
            ("-w out.wav", "w out.wav"),
            (" \u{1b}[31m\u{1b}[1;4m--red\u{1b}[0m", "red"),
            ("two\nlines\r\n\tof it", "two lines of it"),
            ("a\u{1b}[2Jb\u{7}c\u{0}d\u{202e}e", "ab c d e"),
            ("E\u{266d}, then \u{2013} home", "E\u{266d}, then \u{2013} home"),
            ("\u{266d}VI", "\u{266d}VI"),
        ] {
            assert_eq!(speak.arguments(text).unwrap(), ["-v", "en", argument, "end"], "{text:?}");
        }
        for nothing in ["", "  ", "--", "\u{1b}[", "\u{1b}[31", "\u{0}"] {
            assert_eq!(speak.arguments(nothing), None, "{nothing:?}");
        }
        let long = speak.arguments(&"\u{e9}".repeat(200_000)).unwrap();
        assert_eq!(long[2].chars().count(), N_CHARS_MAX);
    }

    #[test]
    fn a_sequence_may_end_in_any_letter_and_the_text_may_be_of_any_alphabet() {
        assert_eq!(without_sequences("\u{1b}[1\u{e9}t\u{e9}"), "t\u{e9}");
        assert_eq!(without_sequences("x\u{1b}[\u{1f3b5}y"), "xy");
    }
}
