//! A piece file whose score has got other bar lines: every place stays at its music.

use toml_edit::{DocumentMut, Item, TableLike};

use super::{Error, PieceFile, bars_words, parse_bars};
use crate::score::{BarRange, Place, Score};
use crate::time::ScoreTime;

/// Writes the places of cues and landmarks, and the bars of sections, as the new score counts them. Comments and order stay. What
/// the new score no longer has stays as it is written, and [`PieceFile::check`] says so.
///
/// # Errors
/// When the text is not a piece file.
pub fn relabel(text: &str, file_name: &str, old: &Score, new: &Score) -> Result<String, Error> {
    PieceFile::parse(text, file_name)?;
    let Ok(mut doc) = text.parse::<DocumentMut>() else { return Ok(text.to_owned()) };
    let place = |at: &str| {
        let onset = Place::parse(at, old).ok()?.onset(old);
        Some(Place::at(new, onset)?.text(new))
    };
    for key in ["cue", "landmark"] {
        each(&mut doc, key, |table| {
            if let Some(moved) = word(table, "at").and_then(|at| place(&at)) {
                set(table, "at", moved);
            }
        });
    }
    each(&mut doc, "section", |table| {
        let Some(range) = word(table, "bars").and_then(|bars| parse_bars(&bars, old).ok()) else { return };
        let Some(moved) = same_music(&range, old, new) else { return };
        if word(table, "name") == Some(bars_words(&range, old)) {
            set(table, "name", bars_words(&moved, new));
        }
        let (first, last) = (&new.bar(moved.start).label, &new.bars[moved.end.0 - 1].label);
        set(table, "bars", if first == last { first.to_string() } else { format!("{first}-{last}") });
    });
    Ok(doc.to_string())
}

/// Returns the bars of the new score from the one in which the music of a range begins to the one before its end.
fn same_music(range: &BarRange, old: &Score, new: &Score) -> Option<BarRange> {
    let from = old.bar(range.start).start;
    let last = &old.bars[range.end.0 - 1];
    // What ran to the end of the page still does, a last bar that is no longer full included.
    let end = if range.end.0 == old.bars.len() { new.total() } else { (last.start + last.length).min(new.total()) };
    let first = Place::at(new, from)?.bar.0;
    // A bar that the end falls into belongs to what comes after, unless nothing else would be left.
    let after = new.bars.partition_point(|b| b.start + b.length <= end);
    BarRange::try_new(first..after.max(first + 1)).filter(|_| end > ScoreTime::ZERO)
}

fn each(doc: &mut DocumentMut, key: &str, mut change: impl FnMut(&mut dyn TableLike)) {
    match doc.get_mut(key) {
        Some(Item::ArrayOfTables(tables)) => tables.iter_mut().for_each(|table| change(table)),
        Some(Item::Value(toml_edit::Value::Array(array))) => {
            array.iter_mut().filter_map(|v| v.as_inline_table_mut()).for_each(|table| change(table));
        }
        _ => {}
    }
}

fn word(table: &dyn TableLike, key: &str) -> Option<String> {
    table.get(key).and_then(Item::as_str).map(str::to_owned)
}

/// Sets a value, keeping the spaces and the comment that surround the old one.
fn set(table: &mut dyn TableLike, key: &str, text: String) {
    if let Some(old) = table.get_mut(key).and_then(Item::as_value_mut) {
        let decor = old.decor().clone();
        *old = text.into();
        *old.decor_mut() = decor;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Page;
    use crate::theory::Meter;

    fn score(meters: &[(u32, Meter)], last: u32) -> Score {
        let page = Page { meters: meters.to_vec(), keys: vec![], pickup: ScoreTime::ZERO, n_bars: None, repeats: vec![] };
        Score { bars: page.bars(last), ..Score::default() }
    }

    #[test]
    fn cues_and_sections_stay_at_their_music() {
        let (four, two) = (Meter { beats: 4, unit: 4 }, Meter { beats: 2, unit: 4 });
        let old = score(&[(1, four)], 6);
        let new = score(&[(1, four), (3, two)], 10);
        let text = "title = \"x\"\nscore = \"x.csv\"\n# mine\n[[section]]\nname = \"bars 3-4\"\nbars = \"3-4\" # two\n\
                    [[section]]\nname = \"end\"\nbars = \"5-6\"\n[[cue]]\nat = \"2.3\"\ntext = \"a\"\n[[cue]]\nat = \"4.3+1/2\"\ntext = \"b\"\n\
                    [[landmark]]\nat = \"5.1\"\nname = \"c\"\n";
        let moved = relabel(text, "piece.toml", &old, &new).unwrap();
        for line in
            ["name = \"bars 3-6\"", "bars = \"3-6\" # two", "bars = \"7-10\"", "at = \"2.3\"", "at = \"6.1+1/2\"", "at = \"7.1\"", "# mine"]
        {
            assert!(moved.contains(line), "{line} in {moved}");
        }
        assert_eq!(relabel(&moved, "piece.toml", &new, &old).unwrap(), text);
    }
}
