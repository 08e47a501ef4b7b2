//! The settings in force, each with where it comes from.

use toml::de::{DeTable, DeValue};

use super::{Config, REFERENCE};
use crate::piece::text::{Error, Source};

/// One setting as text, with the line of the settings file that it stands on; none when nothing is set and the usual value holds.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Shown {
    /// `prompts.cue-s`
    pub key: String,
    /// As a settings file writes it; none where the usual is to have none.
    pub value: Option<String>,
    pub line: Option<u32>,
}

/// A table that holds as a whole: once it is in the file, nothing of the usual one is left.
const WHOLE: &str = "footswitch.controllers.";
/// Keys whose usual value is that there is none; the reference has them in a comment.
const USUALLY_NONE: [&str; 5] = ["input", "log", "speak", "tone", "plan.test-days"];

/// Returns every setting in the order of the reference.
///
/// # Errors
/// As [`Config::parse`]: what is shown is what would hold.
pub fn shown(text: &str, file_name: &str) -> Result<Vec<Shown>, Error> {
    Config::parse(text, file_name)?;
    let set = flat(&Source::new(file_name, text))?;
    let mut all: Vec<Shown> = USUALLY_NONE.map(|key| Shown { key: key.to_owned(), value: None, line: None }).to_vec();
    let has_whole = set.iter().any(|s| s.key.starts_with(WHOLE));
    let usual = flat(&Source::new("the reference", REFERENCE))?;
    all.extend(usual.into_iter().filter(|s| !(has_whole && s.key.starts_with(WHOLE))).map(|s| Shown { line: None, ..s }));
    for own in set {
        match all.iter_mut().find(|s| s.key == own.key) {
            Some(shown) => *shown = own,
            None => all.push(own),
        }
    }
    Ok(all)
}

fn flat(source: &Source<'_>) -> Result<Vec<Shown>, Error> {
    let root = source.parse()?;
    let mut out = Vec::new();
    flatten(root.get_ref(), "", source, &mut out);
    out.sort_by_key(|s| s.line);
    Ok(out)
}

fn flatten(table: &DeTable<'_>, prefix: &str, source: &Source<'_>, out: &mut Vec<Shown>) {
    for (key, value) in table {
        let key = format!("{prefix}{}", key.get_ref());
        match value.get_ref() {
            DeValue::Table(inner) => flatten(inner, &format!("{key}."), source, out),
            _ => {
                let line = Some(source.place(value.span().start).line);
                out.push(Shown { key, value: Some(source.text[value.span()].to_owned()), line });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_is_shown_with_its_line_and_the_usual_ones_without() {
        let lines = |text: &str| -> Vec<(String, Option<String>, Option<u32>)> {
            shown(text, "config.toml").unwrap().into_iter().map(|s| (s.key, s.value, s.line)).collect()
        };
        let usual = lines("");
        assert!(usual.iter().all(|(_, _, line)| line.is_none()));
        assert_eq!(usual[0], ("input".into(), None, None));
        assert!(usual.contains(&("prompts.cue-s".into(), Some("0.7".into()), None)), "{usual:?}");
        let own = lines("input = 'harp' # mine\n\n[prompts]\ncue-s = 1.5\n[footswitch.controllers]\n11 = \"again\"\n");
        assert_eq!(own[0], ("input".into(), Some("'harp'".into()), Some(1)));
        assert!(own.contains(&("prompts.cue-s".into(), Some("1.5".into()), Some(4))), "{own:?}");
        assert!(own.contains(&("prompts.page-s".into(), Some("3.0".into()), None)), "{own:?}");
        let feet: Vec<_> = own.iter().filter(|(key, ..)| key.starts_with(WHOLE)).collect();
        assert_eq!(feet, [&("footswitch.controllers.11".into(), Some("\"again\"".into()), Some(6))]);
        assert!(shown("imput = 1\n", "config.toml").is_err());
    }
}
