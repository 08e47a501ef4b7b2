//! Names that the program gives itself, as they are shown.
//!
//! In files and in the journal such a name stands in English, so that it is the same span whatever the language: `whole piece`,
//! `bars 5-8`, `from opening into answer`. A name that the player gave is shown as it is.

/// Returns a name of a section, span or item as it is shown.
pub fn shown(name: &str) -> String {
    if name == "whole piece" {
        return tr!("whole piece");
    }
    if let Some(bars) = bars(name) {
        return bars;
    }
    if let Some((from, into)) = name.strip_prefix("from ").and_then(|rest| rest.split_once(" into ")) {
        return tr!("from {from} into {into}", from = shown(from), into = shown(into));
    }
    if let Some(rest) = name.strip_prefix("the parting in bar ") {
        let (bar, from) = rest.split_once(", from bar ").map_or((rest, None), |(bar, from)| (bar, Some(from)));
        let parting = tr!("the parting in bar {bar}", bar);
        return from.map_or(parting.clone(), |from| tr!("{parting}, from bar {from}", parting, from));
    }
    name.to_owned()
}

/// Returns a name in printed bars, `bars 5-8` or `bar 5`, in the player's language; nothing for any other name.
fn bars(name: &str) -> Option<String> {
    let is_label = |label: &str| label.starts_with(|c: char| c.is_ascii_digit()) && !label.contains(char::is_whitespace);
    let one = name.strip_prefix("bar ").filter(|label| is_label(label));
    let more = name.strip_prefix("bars ").filter(|labels| is_label(labels));
    one.map(|bar| tr!("bar {bar}", bar)).or_else(|| more.map(|bars| tr!("bars {bars}", bars)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// In English every name is shown as it stands: it is told apart from the player's own by the French of the integration tests.
    #[test]
    fn names_stay_what_they_are_in_english() {
        for name in [
            "whole piece",
            "bars 5-8",
            "bar 12a",
            "from bars 1-4 into the far bank",
            "the parting in bar 7",
            "the parting in bar 7, from bar 5",
            "bars of the ferry",
            "from here",
            "up + home",
        ] {
            assert_eq!(shown(name), name);
        }
        assert_eq!(bars("bars of the ferry"), None);
    }
}
