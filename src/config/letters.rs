//! Settings of the large letters: `[letters]`, written by `catchword sight`.

use toml_edit::{DocumentMut, Item, Table, value};

use crate::piece::text::{Error as TextError, Keys};

/// Reads the fewest half rows of a capital in a cue; none where the player has not said.
pub(super) fn read(root: &Keys<'_, '_>) -> Result<Option<usize>, TextError> {
    let Some(keys) = root.table("letters", "[letters]", &["smallest"])? else { return Ok(None) };
    let smallest = keys.integer("smallest", 7..=60)?;
    Ok(smallest.map(|n| usize::try_from(n.value).expect("the range was checked")))
}

/// Puts the fewest half rows of a capital into the text of a settings file. All else, comments too, stays as it is.
///
/// # Errors
/// When the text is no TOML, or has something else under the name.
pub fn put_letters(text: &str, smallest: usize) -> Result<String, String> {
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| error.message().to_owned())?;
    let letters = document.entry("letters").or_insert_with(|| Item::Table(Table::new()));
    let letters = letters.as_table_mut().ok_or_else(|| tr!("\"letters\" is no table written as [letters]"))?;
    letters.insert("smallest", value(i64::try_from(smallest.clamp(7, 60)).unwrap_or(60)));
    Ok(document.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;

    #[test]
    fn what_can_be_read_is_kept_beside_all_else() {
        let text = put_letters("# mine\ninput = \"harp\"\n", 9).unwrap();
        assert_eq!(Config::parse(&text, "config.toml").unwrap().letters, Some(9));
        assert!(text.starts_with("# mine\ninput = \"harp\"\n"), "{text}");
        let again = put_letters(&text, 12).unwrap();
        assert_eq!(Config::parse(&again, "config.toml").unwrap().letters, Some(12));
        assert_eq!(again.matches("smallest").count(), 1);
        assert!(put_letters("letters = 3\n", 9).is_err());
    }

    #[test]
    fn a_change_of_the_settings_is_written_whole_and_a_wrong_one_not_at_all() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("new").join("config.toml");
        Config::change(&file, |text| put_letters(text, 9)).unwrap();
        let before = std::fs::read_to_string(&file).unwrap();
        assert!(Config::change(&file, |text| Ok(format!("{text}imput = 1\n"))).is_err());
        assert_eq!(std::fs::read_to_string(&file).unwrap(), before);
    }
}
