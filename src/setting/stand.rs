//! How one lever or pedal stands, or should: as a text that a record can be counted by.

use std::fmt;
use std::str::FromStr;

use super::Moved;
use crate::theory::Letter;
use crate::theory::harp::HarpString;

/// One lever, pedal or tuned string, and the accidental that it gives.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Stand {
    pub what: Moved,
    /// `-2..=2`, -1 for flat.
    pub alter: i8,
}

impl Stand {
    /// Returns the accidental as it is written down, in any language of the screens: `sharp`.
    fn accidental(&self) -> &'static str {
        accidental(self.alter)
    }
}

fn accidental(alter: i8) -> &'static str {
    match alter {
        -2 => "double flat",
        -1 => "flat",
        0 => "natural",
        1 => "sharp",
        _ => "double sharp",
    }
}

/// Returns `lever F4`, `pedal F` or `tuning D1`.
impl fmt::Display for Moved {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Moved::Pedal(letter) => write!(f, "pedal {}", letter.char()),
            Moved::Lever(string) => write!(f, "lever {string}"),
            Moved::Tuned(string) => write!(f, "tuning {string}"),
        }
    }
}

/// Returns `lever F4 sharp`.
impl fmt::Display for Stand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.what, self.accidental())
    }
}

/// Text that does not say how a lever or pedal stands.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected a lever, pedal or tuning and its accidental, as in \"lever F4 sharp\", found {found}", found = format!("{:?}", .0)))]
pub struct StandError(String);

impl FromStr for Stand {
    type Err = StandError;

    fn from_str(text: &str) -> Result<Stand, StandError> {
        let read = || {
            let (what, rest) = text.split_once(' ')?;
            let (name, word) = rest.split_once(' ')?;
            let alter = (-2..=2).find(|alter| accidental(*alter) == word)?;
            let string = || name.parse::<HarpString>().ok();
            let what = match what {
                "pedal" => Moved::Pedal(Letter::ALL.into_iter().find(|letter| letter.char().to_string() == name)?),
                "lever" => Moved::Lever(string()?),
                "tuning" => Moved::Tuned(string()?),
                _ => return None,
            };
            Some(Stand { what, alter })
        };
        read().ok_or_else(|| StandError(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_lever_pedal_and_tuning_reads_back_from_its_text() {
        for (letter, alter) in Letter::ALL.into_iter().flat_map(|letter| (-2..=2).map(move |alter| (letter, alter))) {
            let string = HarpString::new(letter, 4);
            for what in [Moved::Pedal(letter), Moved::Lever(string), Moved::Tuned(string)] {
                let stand = Stand { what, alter };
                assert_eq!(stand.to_string().parse(), Ok(stand));
            }
        }
        let lever = Stand { what: Moved::Lever(HarpString::new(Letter::F, 4)), alter: 1 };
        assert_eq!(lever.to_string(), "lever F4 sharp");
        for text in ["", "lever", "lever F4", "lever F#4 sharp", "pedal F4 flat", "pedal f flat", "knee F sharp", "lever F4 sharp "] {
            assert!(text.parse::<Stand>().is_err(), "{text}");
        }
    }
}
