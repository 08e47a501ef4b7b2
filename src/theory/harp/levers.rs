//! Levers: what the open strings are tuned to, and which keys the levers then reach.

use super::HarpString;
use crate::theory::{KeySignature, Letter};

/// How a lever harp is tuned with all levers down, and where levers are missing.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct LeverTuning {
    /// The signature that the open strings give.
    pub open: KeySignature,
    /// Strings without a lever, sorted.
    pub without: Vec<HarpString>,
}

impl LeverTuning {
    /// The tuning in E flat with a lever on every string, which most lever harps leave the maker with (common practice).
    pub fn e_flat() -> Self {
        LeverTuning { open: KeySignature::new(-3, None), without: Vec::new() }
    }

    pub fn has_lever(&self, string: HarpString) -> bool {
        self.without.binary_search(&string).is_err()
    }

    /// Tells whether a string can be given this accidental by its lever; a lever raises by a semitone.
    pub fn reaches(&self, string: HarpString, alter: i8) -> bool {
        let up = alter - self.open.alter_of(string.letter());
        up == 0 || (up == 1 && self.has_lever(string))
    }

    /// Returns the signatures, by sharps (negative: flats), that levers on these letters reach, lowest first.
    ///
    /// ```
    /// # use catchword::theory::{Letter, harp::LeverTuning};
    /// // An E flat tuning gives eight major keys: E flat, B flat, F, C, G, D, A and E.
    /// assert_eq!(LeverTuning::e_flat().signatures(&Letter::ALL), [-3, -2, -1, 0, 1, 2, 3, 4]);
    /// ```
    pub fn signatures(&self, levers: &[Letter]) -> Vec<i8> {
        let reaches = |fifths: &i8| {
            Letter::ALL.into_iter().all(|letter| {
                let up = KeySignature::new(*fifths, None).alter_of(letter) - self.open.alter_of(letter);
                up == 0 || (up == 1 && levers.contains(&letter))
            })
        };
        (-7..=7).filter(reaches).collect()
    }

    /// Returns the letters whose levers are up for a signature, in the order of the alphabet from C; those out of reach are left out.
    pub fn up_for(&self, key: KeySignature) -> Vec<Letter> {
        Letter::ALL.into_iter().filter(|l| key.alter_of(*l) - self.open.alter_of(*l) == 1).collect()
    }
}

/// Joins names as they are spoken: `B, E and A`; nothing for none.
pub fn spoken(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => tr!("{first} and {last}", first = rest.join(", "), last),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, as lever harp methods list it.
    #[test]
    fn tunings_reach_the_keys_that_methods_list() {
        let tuned = |fifths| LeverTuning { open: KeySignature::new(fifths, None), without: Vec::new() };
        assert_eq!(tuned(0).signatures(&Letter::ALL), [0, 1, 2, 3, 4, 5, 6, 7], "C, G, D, A, E, B, F sharp and C sharp");
        assert_eq!(tuned(-1).signatures(&[Letter::B, Letter::F, Letter::C]), [-1, 0, 1, 2], "F, C, G, D");
        assert_eq!(tuned(-3).up_for(KeySignature::NONE), [Letter::E, Letter::A, Letter::B], "C on an E flat harp");
    }

    #[test]
    fn a_lever_raises_by_one_semitone_and_only_where_there_is_one() {
        let (f3, f4) = ("F3".parse().unwrap(), "F4".parse().unwrap());
        let tuning = LeverTuning { without: vec![f3], ..LeverTuning::e_flat() };
        assert_eq!([-1, 0, 1, 2].map(|alter| tuning.reaches(f4, alter)), [false, true, true, false]);
        assert_eq!([-1, 0, 1, 2].map(|alter| tuning.reaches(f3, alter)), [false, true, false, false]);
        assert!(tuning.reaches("B4".parse().unwrap(), -1) && tuning.reaches("B4".parse().unwrap(), 0));
    }
}
