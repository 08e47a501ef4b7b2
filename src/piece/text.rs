//! Reading a TOML text key by key, so that every complaint names its line and column.
//!
//! [`Keys`] is one table of the text: it refuses keys that nobody knows, with the nearest known
//! one, and hands values out as [`At`], a value with its place. Shared by the piece file and the
//! settings file; knows neither.

use std::fmt;
use std::ops::Range;
use std::rc::Rc;

use chrono::NaiveDate;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A place in a text: line and column, both from 1; the column counts characters.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug, Default)]
pub struct TextPlace {
    pub line: u32,
    pub column: u32,
}

impl fmt::Display for TextPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.column)
    }
}

/// A value with the place it stands at. Two are equal when their values are: the place only serves messages.
#[derive(Clone, Copy, Debug, Default)]
pub struct At<T> {
    pub value: T,
    pub place: TextPlace,
}

impl<T> From<T> for At<T> {
    /// Makes a value that comes from no text.
    fn from(value: T) -> Self {
        At { value, place: TextPlace::default() }
    }
}

impl<T: PartialEq> PartialEq for At<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}

/// Something in a text that is not as it must be: `file:line:column: expected …, found …; hint`.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("{file}:{place}: expected {expected}, found {found}{hint}", file, place, expected, found, hint = hint.as_ref().map(|h| tr!("; ") + h).unwrap_or_default()))]
pub struct Error {
    pub file: String,
    pub place: TextPlace,
    pub expected: String,
    pub found: String,
    /// What to do, or the nearest thing that would have been right.
    pub hint: Option<String>,
}

impl Error {
    pub fn new(file: &str, place: TextPlace, expected: impl Into<String>, found: impl Into<String>) -> Self {
        Error { file: file.to_owned(), place, expected: expected.into(), found: found.into(), hint: None }
    }

    pub fn with_hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

/// Returns the known word nearest to `word`, when one is near enough to be a slip of the keys.
///
/// Nearness is the Damerau–Levenshtein distance (a swap of neighbours counts once), at most a third
/// of the word; a word cut short (two letters or more of the beginning) counts as near, after those.
pub fn nearest<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let lower = word.to_lowercase();
    let allowed = (lower.chars().count() / 3).max(1);
    let is_cut = |k: &str| lower.chars().count() >= 2 && k.starts_with(&lower);
    known
        .into_iter()
        .map(|k| (strsim::damerau_levenshtein(&lower, &k.to_lowercase()), k))
        .filter(|(distance, k)| *distance <= allowed || is_cut(&k.to_lowercase()))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, k)| k)
}

/// Returns the hint for a word that is not among the known ones: the nearest, or else all of them.
pub fn did_you_mean(word: &str, known: &[&str]) -> String {
    match nearest(word, known.iter().copied()) {
        Some(near) => tr!("did you mean {meant}?", meant = format!("{near:?}")),
        None => tr!("known here: {}", known.join(", ")),
    }
}

/// A text and its name, from which places are told.
#[derive(Clone, Debug)]
pub struct Source<'s> {
    pub file: &'s str,
    pub text: &'s str,
    /// First byte of each line: a text of thousands of rows has a place for each of them.
    line_starts: Rc<[usize]>,
}

impl<'s> Source<'s> {
    pub fn new(file: &'s str, text: &'s str) -> Self {
        let line_starts = std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
        Source { file, text, line_starts }
    }

    /// Reads the text as TOML.
    ///
    /// # Errors
    /// When it is not TOML; only the first complaint is kept.
    pub fn parse(&self) -> Result<Spanned<DeTable<'s>>, Error> {
        DeTable::parse(self.text).map_err(|e| {
            let at = e.span().map_or(0, |s| s.start);
            Error::new(self.file, self.place(at), tr!("TOML that can be read"), tr!("an error in it: {}", e.message()))
        })
    }

    /// Returns the place of a byte; past the end, the place of the end.
    pub fn place(&self, byte: usize) -> TextPlace {
        let mut end = byte.min(self.text.len());
        while !self.text.is_char_boundary(end) {
            end -= 1;
        }
        let line = self.line_starts.partition_point(|start| *start <= end);
        let column = self.text[self.line_starts[line - 1]..end].chars().count() + 1;
        TextPlace { line: u32::try_from(line).unwrap_or(u32::MAX), column: u32::try_from(column).unwrap_or(u32::MAX) }
    }
}

/// One table of a text, with only known keys in it.
#[derive(Clone, Debug)]
pub struct Keys<'a, 's> {
    source: Source<'s>,
    table: &'a DeTable<'s>,
    span: Range<usize>,
    /// How the table is called in messages: `[[section]]`.
    name: &'static str,
}

impl<'a, 's> Keys<'a, 's> {
    /// Takes a table whose keys must all be among `known`.
    ///
    /// # Errors
    /// At the first key, in the order of the text, that is not.
    pub fn try_new(
        source: Source<'s>,
        table: &'a DeTable<'s>,
        span: Range<usize>,
        name: &'static str,
        known: &[&str],
    ) -> Result<Self, Error> {
        let unknown = table.keys().filter(|k| !known.contains(&k.get_ref().as_ref())).min_by_key(|k| k.span().start);
        if let Some(key) = unknown {
            let word = key.get_ref().as_ref();
            let place = source.place(key.span().start);
            return Err(Error::new(source.file, place, tr!("a key of {name}", name = tr!(name)), format!("{word:?}"))
                .with_hint(did_you_mean(word, known)));
        }
        Ok(Keys { source, table, span, name })
    }

    /// Returns the place where the table begins.
    pub fn place(&self) -> TextPlace {
        self.source.place(self.span.start)
    }

    /// Returns the keys in the order of the text.
    pub fn names(&self) -> Vec<At<String>> {
        let mut keys: Vec<_> = self.table.keys().collect();
        keys.sort_by_key(|k| k.span().start);
        keys.into_iter().map(|k| At { value: k.get_ref().as_ref().to_owned(), place: self.source.place(k.span().start) }).collect()
    }

    pub fn string(&self, key: &str) -> Result<Option<At<String>>, Error> {
        self.typed(key, &tr!("a text in quotes"), |v| v.as_str().map(str::to_owned))
    }

    /// Returns a text that must be there and have letters in it.
    pub fn required_string(&self, key: &str) -> Result<At<String>, Error> {
        let value = self.string(key)?.ok_or_else(|| {
            Error::new(
                self.source.file,
                self.place(),
                tr!(
                    "the key {key} in {table}",
                    key = format!("{key:?}"),
                    table = {
                        let name = self.name;
                        tr!(name)
                    }
                ),
                tr!("none"),
            )
            .with_hint(tr!("add a line such as {line}", line = format!("{key} = \"…\"")))
        })?;
        self.not_empty(key, &value)?;
        Ok(value)
    }

    /// Returns a text that may be left out but not left empty.
    pub fn optional_string(&self, key: &str) -> Result<Option<At<String>>, Error> {
        let value = self.string(key)?;
        value.iter().try_for_each(|v| self.not_empty(key, v))?;
        Ok(value)
    }

    fn not_empty(&self, key: &str, value: &At<String>) -> Result<(), Error> {
        if value.value.trim().is_empty() {
            return Err(Error::new(
                self.source.file,
                value.place,
                tr!("some words for {key}", key = format!("{key:?}")),
                tr!("an empty text"),
            ));
        }
        Ok(())
    }

    pub fn boolean(&self, key: &str) -> Result<Option<At<bool>>, Error> {
        self.typed(key, &tr!("true or false"), DeValue::as_bool)
    }

    /// Returns a whole number within `range`.
    pub fn integer(&self, key: &str, range: std::ops::RangeInclusive<i64>) -> Result<Option<At<i64>>, Error> {
        let expected =
            tr!("a whole number from {least} to {most} for {key}", least = range.start(), most = range.end(), key = format!("{key:?}"));
        self.typed(key, &expected, |v| v.as_integer().and_then(integer).filter(|n| range.contains(n)))
    }

    /// Returns a list of whole numbers within `range`, each larger than the one before, at most `n_max` and at least one.
    pub fn rising(&self, key: &str, range: std::ops::RangeInclusive<i64>, n_max: usize) -> Result<Option<At<Vec<i64>>>, Error> {
        let (least, most) = (range.start(), range.end());
        let expected = tr!(
            "1 to {n} whole numbers from {least} to {most}, each larger than the one before, for {key}",
            n = n_max,
            least,
            most,
            key = format!("{key:?}")
        );
        self.typed(key, &expected, |value| {
            let number = |v: &Spanned<DeValue<'s>>| v.get_ref().as_integer().and_then(integer).filter(|n| range.contains(n));
            let numbers: Vec<i64> = value.as_array()?.iter().map(number).collect::<Option<_>>()?;
            let is_rising = numbers.windows(2).all(|w| w[0] < w[1]);
            (is_rising && (1..=n_max).contains(&numbers.len())).then_some(numbers)
        })
    }

    /// Returns a number, whole or not, within `range`.
    pub fn number(&self, key: &str, range: std::ops::RangeInclusive<f64>) -> Result<Option<At<f64>>, Error> {
        let expected =
            tr!("a number from {least} to {most} for {key}", least = range.start(), most = range.end(), key = format!("{key:?}"));
        let read = |v: &DeValue<'_>| match v {
            DeValue::Integer(i) => integer(i).map(|n| n as f64),
            DeValue::Float(f) => f.as_str().replace('_', "").parse::<f64>().ok(),
            _ => None,
        };
        self.typed(key, &expected, |v| read(v).filter(|n| range.contains(n)))
    }

    /// Returns a day of the calendar, written without quotes.
    pub fn date(&self, key: &str) -> Result<Option<At<NaiveDate>>, Error> {
        let expected = tr!("a date such as 2027-03-14, without quotes, for {key}", key = format!("{key:?}"));
        let read = |v: &DeValue<'_>| {
            let DeValue::Datetime(d) = v else { return None };
            let date = d.date.filter(|_| d.time.is_none())?;
            NaiveDate::from_ymd_opt(date.year.into(), date.month.into(), date.day.into())
        };
        self.typed(key, &expected, read)
    }

    /// Returns one of a closed list of words.
    pub fn word<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Result<Option<At<T>>, Error> {
        let Some(text) = self.string(key)? else { return Ok(None) };
        match words.iter().find(|(w, _)| *w == text.value) {
            Some((_, value)) => Ok(Some(At { value: *value, place: text.place })),
            None => {
                let known: Vec<&str> = words.iter().map(|(w, _)| *w).collect();
                let expected = tr!(
                    "one of {known} for {key}",
                    known = known.iter().map(|w| format!("{w:?}")).collect::<Vec<_>>().join(", "),
                    key = format!("{key:?}")
                );
                let error = Error::new(self.source.file, text.place, expected, format!("{:?}", text.value));
                Err(match nearest(&text.value, known) {
                    Some(near) => error.with_hint(tr!("did you mean {meant}?", meant = format!("{near:?}"))),
                    None => error,
                })
            }
        }
    }

    /// Returns a table written `[key]`.
    pub fn table(&self, key: &str, name: &'static str, known: &[&str]) -> Result<Option<Keys<'a, 's>>, Error> {
        let Some(keys) = self.open_table(key, name)? else { return Ok(None) };
        Keys::try_new(self.source.clone(), keys.table, keys.span, name, known).map(Some)
    }

    /// Returns a table written `[key]` whose keys are the player's own.
    pub fn open_table(&self, key: &str, name: &'static str) -> Result<Option<Keys<'a, 's>>, Error> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        match value.get_ref() {
            DeValue::Table(table) => Ok(Some(Keys { source: self.source.clone(), table, span: value.span(), name })),
            other => Err(self.wrong_type(value.span(), &tr!("a table {name}", name), other)),
        }
    }

    /// Returns the tables written `[[key]]`, in the order of the text.
    pub fn tables(&self, key: &str, name: &'static str, known: &[&str]) -> Result<Vec<Keys<'a, 's>>, Error> {
        let Some(value) = self.table.get(key) else { return Ok(Vec::new()) };
        let expected = tr!("tables, each under a line {name}", name);
        let DeValue::Array(array) = value.get_ref() else { return Err(self.wrong_type(value.span(), &expected, value.get_ref())) };
        array
            .iter()
            .map(|item| match item.get_ref() {
                DeValue::Table(table) => Keys::try_new(self.source.clone(), table, item.span(), name, known),
                other => Err(self.wrong_type(item.span(), &expected, other)),
            })
            .collect()
    }

    fn typed<T>(&self, key: &str, expected: &str, read: impl Fn(&DeValue<'s>) -> Option<T>) -> Result<Option<At<T>>, Error> {
        let Some(value) = self.table.get(key) else { return Ok(None) };
        match read(value.get_ref()) {
            Some(read) => Ok(Some(At { value: read, place: self.source.place(value.span().start) })),
            None => Err(self.wrong_type(value.span(), expected, value.get_ref())),
        }
    }

    fn wrong_type(&self, span: Range<usize>, expected: &str, found: &DeValue<'_>) -> Error {
        Error::new(self.source.file, self.source.place(span.start), expected, words_for(found))
    }
}

/// Returns the integer, or `None` when it does not fit 64 bits.
fn integer(i: &toml::de::DeInteger<'_>) -> Option<i64> {
    i64::from_str_radix(&i.as_str().replace('_', ""), i.radix()).ok()
}

fn words_for(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(s) => tr!("the text {text}", text = format!("{s:?}")),
        DeValue::Integer(i) => format!("{i}"),
        DeValue::Float(f) => format!("{f}"),
        DeValue::Boolean(b) => format!("{b}"),
        DeValue::Datetime(d) => tr!("the date {date}", date = d),
        DeValue::Array(_) => tr!("a list"),
        DeValue::Table(_) => tr!("a table"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_lines_and_characters_from_one() {
        let source = Source::new("x", "a\né = 1\n");
        for (byte, line, column) in [(0, 1, 1), (2, 2, 1), (4, 2, 2), (5, 2, 3), (900, 3, 1)] {
            assert_eq!(source.place(byte), TextPlace { line, column }, "byte {byte}");
        }
    }

    #[test]
    fn the_nearest_word_is_found_only_when_it_is_near() {
        let known = ["title", "tempo", "section"];
        for (word, near) in
            [("titel", Some("title")), ("Tempo", Some("tempo")), ("sections", Some("section")), ("sec", Some("section")), ("colour", None)]
        {
            assert_eq!(nearest(word, known), near, "{word}");
        }
    }
}
