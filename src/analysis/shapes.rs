//! Hand shapes: what a hand holds, as step counts from its lowest string (1-5-8 is root, fifth and octave: common practice).
//!
//! Placing follows a stated model: on a harp both hands set the thumb (1) on the highest string and go
//! down to the ring finger (4); the little finger is not used, so a hand places four at most. A
//! fingering printed in the score goes before the model.

use super::material::Tone;
use crate::theory::{Hand, KeySignature, Letter};

/// Steps from the lowest string, which is 1; sorted, no duplicates, at least one.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct HandShape(pub Vec<u8>);

/// Which chord member lies lowest, told from the shape alone.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Inversion {
    Root,
    First,
    Second,
}

/// A space between neighbouring fingers.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct PlacingGap {
    /// The finger on the higher string and the one on the lower, 1 (thumb) to 4.
    pub upper_finger: u8,
    pub lower_finger: u8,
    /// Strings left free between them.
    pub strings_between: u8,
}

impl HandShape {
    /// Strings that still count as one shape.
    const STRINGS_MAX: usize = 6;

    /// Returns the shape of strings counted in steps, or `None` for no strings or too many to be a shape.
    ///
    /// ```
    /// # use catchword::analysis::shapes::HandShape;
    /// assert_eq!(HandShape::of_steps([21, 25, 28]).unwrap().to_string(), "1-5-8");
    /// ```
    pub fn of_steps(steps: impl IntoIterator<Item = i32>) -> Option<HandShape> {
        let mut steps: Vec<i32> = steps.into_iter().collect();
        steps.sort_unstable();
        steps.dedup();
        let lowest = *steps.first()?;
        let counted: Option<Vec<u8>> = steps.iter().map(|s| u8::try_from(s - lowest + 1).ok()).collect();
        counted.filter(|c| c.len() <= Self::STRINGS_MAX).map(HandShape)
    }

    /// Returns how many strings the hand spans: 8 for an octave.
    pub fn span(&self) -> u8 {
        *self.0.last().expect("a shape has a string")
    }

    /// Returns the steps within one octave, sorted: 1-5-8-10 gives 1-3-5.
    pub fn reduced(&self) -> Vec<u8> {
        let mut within: Vec<u8> = self.0.iter().map(|s| (s - 1) % 7 + 1).collect();
        within.sort_unstable();
        within.dedup();
        within
    }

    /// Returns which member of a triad lies lowest, where the shape is a triad or part of one
    /// (1-3-5 root, 1-3-6 first, 1-4-6 second inversion: common practice).
    pub fn inversion(&self) -> Option<Inversion> {
        match self.reduced()[..] {
            [1, 3, 5] | [1, 5] | [1, 2, 5] | [1, 2, 3, 5] => Some(Inversion::Root),
            [1, 3, 6] => Some(Inversion::First),
            [1, 4, 6] => Some(Inversion::Second),
            _ => None,
        }
    }

    /// Tells whether it is fifths and octaves of its lowest string only.
    pub fn is_open(&self) -> bool {
        self.reduced() == [1, 5]
    }

    /// Tells whether an open fifth, or a triad in root position, has the second above its root added.
    pub fn has_added_second(&self) -> bool {
        matches!(self.reduced()[..], [1, 2, 5] | [1, 2, 3, 5])
    }

    /// Tells whether strings next to each other are held: then it is a run or a cluster, not a chord.
    pub fn has_neighbours(&self) -> bool {
        self.0.windows(2).any(|w| w[1] - w[0] == 1)
    }

    /// Returns the shape in words: `one-five-eight`.
    pub fn words(&self) -> String {
        const NUMBERS: [&str; 17] = [
            "0",
            msgid!("one"),
            msgid!("two"),
            msgid!("three"),
            msgid!("four"),
            msgid!("five"),
            msgid!("six"),
            msgid!("seven"),
            msgid!("eight"),
            msgid!("nine"),
            msgid!("ten"),
            msgid!("eleven"),
            msgid!("twelve"),
            msgid!("thirteen"),
            msgid!("fourteen"),
            msgid!("fifteen"),
            msgid!("sixteen"),
        ];
        let word = |s: &u8| NUMBERS.get(*s as usize).map_or_else(|| s.to_string(), |&word| tr!(word));
        self.0.iter().map(word).collect::<Vec<_>>().join("-")
    }
}

impl std::fmt::Display for HandShape {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0.iter().map(u8::to_string).collect::<Vec<_>>().join("-"))
    }
}

/// Names that the player has given to shapes; used in place of the step counts.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct ShapeNames(pub Vec<(HandShape, String)>);

impl ShapeNames {
    pub fn words(&self, shape: &HandShape) -> String {
        self.0.iter().find(|(s, _)| s == shape).map_or_else(|| shape.words(), |(_, name)| name.clone())
    }
}

/// Returns the gaps between neighbouring fingers of strings placed together, from the top down;
/// `None` when there are more than a hand has fingers for, or none.
pub fn placing_gaps(tones: &[Tone]) -> Option<Vec<PlacingGap>> {
    let mut strings: Vec<(i32, Option<u8>)> = tones.iter().map(|t| (t.steps, t.finger)).collect();
    strings.sort_unstable_by_key(|(s, _)| std::cmp::Reverse(*s));
    strings.dedup_by_key(|(s, _)| *s);
    if strings.is_empty() || strings.len() > 4 {
        return None;
    }
    let finger = |nth: usize| strings[nth].1.filter(|f| (1..=4).contains(f)).unwrap_or(nth as u8 + 1);
    let gap = |nth: usize| {
        let free = strings[nth].0 - strings[nth + 1].0 - 1;
        (free > 0).then(|| PlacingGap { upper_finger: finger(nth), lower_finger: finger(nth + 1), strings_between: free.min(255) as u8 })
    };
    Some((0..strings.len() - 1).filter_map(gap).collect())
}

/// How a hand moves through a bar.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Texture {
    Silent,
    /// One note.
    One,
    /// Strings of a chord one after the other.
    Broken,
    /// Strings together.
    Chords,
    Octaves,
    /// Two notes at a time all the way, the same distance apart.
    Parallel(u8),
    /// One at a time, mostly by step.
    Scale,
    /// One at a time, free.
    Tune,
    /// A tune with other notes under or over it.
    Mixed,
}

impl Texture {
    pub fn words(self) -> String {
        match self {
            Texture::Silent => tr!("silent"),
            Texture::One => tr!("one note"),
            Texture::Broken => tr!("one string after the other"),
            Texture::Chords => tr!("chords"),
            Texture::Octaves => tr!("octaves"),
            Texture::Parallel(steps) => {
                const PARALLEL: [&str; 8] = [
                    "",
                    "",
                    msgid!("seconds in parallel"),
                    msgid!("thirds in parallel"),
                    msgid!("fourths in parallel"),
                    msgid!("fifths in parallel"),
                    msgid!("sixths in parallel"),
                    msgid!("sevenths in parallel"),
                ];
                let words = PARALLEL[steps.min(7) as usize];
                tr!(words)
            }
            Texture::Scale => tr!("a line by step"),
            Texture::Tune => tr!("a tune"),
            Texture::Mixed => tr!("a tune with notes under it"),
        }
    }
}

/// What one hand does in a stretch.
#[derive(Clone, PartialEq, Debug)]
pub struct HandView {
    pub texture: Texture,
    /// The shape, where what the hand plays is one.
    pub shape: Option<HandShape>,
    /// String and accidental of the lowest and the highest note, and of the first lowest and highest.
    pub lowest: Option<(i32, i8)>,
    pub highest: Option<(i32, i8)>,
    pub first_low: Option<(i32, i8)>,
    pub first_high: Option<(i32, i8)>,
    pub last_high: Option<(i32, i8)>,
    /// All sounded as one rolled chord.
    pub is_rolled: bool,
    pub n_onsets: usize,
    /// Whether the top line only rises (1), only falls (-1), stays (0) or turns (`None`).
    pub direction: Option<i8>,
}

/// Looks at what one hand plays; `tones` are of one stretch, in order, and may hold the other hand's too.
pub fn view(tones: &[Tone], hand: Hand) -> HandView {
    let own: Vec<&Tone> = tones.iter().filter(|t| t.hand == hand).collect();
    let columns: Vec<&[&Tone]> = own.chunk_by(|a, b| a.at == b.at).collect();
    let place = |t: &&Tone| (t.steps, t.alter);
    let high = |c: &&[&Tone]| c.iter().map(place).max();
    let low = |c: &&[&Tone]| c.iter().map(place).min();
    let tops: Vec<i32> = columns.iter().filter_map(|c| c.iter().map(|t| t.steps).max()).collect();
    let shape = HandShape::of_steps(own.iter().map(|t| t.steps)).filter(|s| s.0.len() >= 2);
    let texture = texture(&columns, &tops, shape.as_ref());
    let is_shape = matches!(texture, Texture::Broken | Texture::Chords | Texture::Octaves | Texture::Parallel(_));
    HandView {
        texture,
        shape: shape.filter(|_| is_shape),
        lowest: own.iter().map(place).min(),
        highest: own.iter().map(place).max(),
        first_low: columns.first().and_then(low),
        first_high: columns.first().and_then(high),
        last_high: columns.last().and_then(high),
        is_rolled: columns.first().is_some_and(|c| c.len() > 1 && c.iter().all(|t| t.is_rolled)),
        n_onsets: columns.len(),
        direction: direction(&tops),
    }
}

fn direction(tops: &[i32]) -> Option<i8> {
    let moves: Vec<i32> = tops.windows(2).map(|w| (w[1] - w[0]).signum()).filter(|m| *m != 0).collect();
    match moves.first() {
        None => Some(0),
        Some(first) => moves.iter().all(|m| m == first).then_some(*first as i8),
    }
}

fn texture(columns: &[&[&Tone]], tops: &[i32], shape: Option<&HandShape>) -> Texture {
    let distance = |c: &[&Tone]| {
        let (low, high) = (c.iter().map(|t| t.steps).min(), c.iter().map(|t| t.steps).max());
        low.zip(high).map_or(0, |(l, h)| h - l)
    };
    let n = columns.len();
    let is_chordal = shape.is_some_and(|s| !s.has_neighbours() || s.has_added_second());
    match columns {
        [] => Texture::Silent,
        [one] if one.len() == 1 => Texture::One,
        _ if columns.iter().all(|c| c.len() == 1) => {
            let steps = tops.windows(2).filter(|w| (w[1] - w[0]).abs() <= 1).count();
            if is_chordal && !(n > 2 && steps * 2 > n) {
                Texture::Broken
            } else if steps * 10 >= (n - 1) * 7 {
                Texture::Scale
            } else {
                Texture::Tune
            }
        }
        _ if columns.iter().all(|c| c.len() == 2 && distance(c) == 7) => Texture::Octaves,
        [first, rest @ ..]
            if first.len() == 2
                && !rest.is_empty()
                && columns.iter().all(|c| c.len() == 2 && distance(c) == distance(first))
                && distance(first) < 7 =>
        {
            Texture::Parallel(distance(first) as u8 + 1)
        }
        _ if columns.iter().filter(|c| c.len() > 1).count() * 2 > n => Texture::Chords,
        _ if is_chordal => Texture::Broken,
        _ => Texture::Mixed,
    }
}

/// Returns the accidental a string has beyond its signature: 0 when the signature sets it.
pub fn beyond_signature(steps: i32, alter: i8, key: KeySignature) -> i8 {
    alter - key.alter_of(Letter::from_steps(steps))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shape(steps: &[u8]) -> HandShape {
        HandShape(steps.to_vec())
    }

    #[test]
    fn shapes_are_told_as_the_trade_tells_them() {
        // Common practice: 1-5-8 is root, fifth, octave; 1-5-8-10-12 adds the tenth and the twelfth;
        // a closing 1-5-8 with one more note a step from its root is an added second.
        let wide = HandShape::of_steps([14, 18, 21, 23, 25]).unwrap();
        assert_eq!((wide.to_string().as_str(), wide.words().as_str()), ("1-5-8-10-12", "one-five-eight-ten-twelve"));
        assert_eq!((wide.span(), wide.inversion(), wide.reduced()), (12, Some(Inversion::Root), vec![1, 3, 5]));
        assert!(shape(&[1, 5, 8]).is_open() && !shape(&[1, 5, 10]).is_open());
        for added in [&[1, 5, 8, 9][..], &[1, 2, 5, 8]] {
            assert!(shape(added).has_added_second(), "{added:?}");
        }
        assert!(!shape(&[1, 5, 8]).has_added_second());
    }

    #[test]
    fn inversions_are_told_from_the_lowest_string() {
        // C. E. Gardner, "Essentials of Music Theory: Elementary" (1912), on the inversion of triads: in the first inversion the
        // fundamental is the sixth of the bass (1-3-6), in the second it is the fourth (1-4-6).
        for (steps, inversion) in [
            (&[1, 3, 5][..], Some(Inversion::Root)),
            (&[1, 3, 6], Some(Inversion::First)),
            (&[1, 4, 6], Some(Inversion::Second)),
            (&[1, 6, 10], Some(Inversion::First)),
            (&[1, 5, 10], Some(Inversion::Root)),
            (&[1, 2], None),
        ] {
            assert_eq!(shape(steps).inversion(), inversion, "{steps:?}");
        }
    }

    #[test]
    fn a_name_given_by_the_player_is_used() {
        let names = ShapeNames(vec![(shape(&[1, 5, 8]), "the tower".to_owned())]);
        assert_eq!((names.words(&shape(&[1, 5, 8])).as_str(), names.words(&shape(&[1, 3, 5])).as_str()), ("the tower", "one-three-five"));
    }

    fn tone(steps: i32, finger: Option<u8>) -> Tone {
        Tone { at: 0, end: 1, key: 60, steps, alter: 0, hand: Hand::Left, bar: 0, note: crate::score::NoteIdx(0), finger, is_rolled: false }
    }

    #[test]
    fn gaps_are_between_neighbouring_fingers_and_a_printed_fingering_wins() {
        let gap = |upper_finger, lower_finger, strings_between| PlacingGap { upper_finger, lower_finger, strings_between };
        let open: Vec<Tone> = [28, 25, 21].map(|s| tone(s, None)).to_vec();
        assert_eq!(placing_gaps(&open), Some(vec![gap(1, 2, 2), gap(2, 3, 3)]));
        let printed = [tone(28, Some(1)), tone(25, Some(2)), tone(21, Some(4))];
        assert_eq!(placing_gaps(&printed), Some(vec![gap(1, 2, 2), gap(2, 4, 3)]));
        assert_eq!(placing_gaps(&[tone(28, None), tone(27, None)]), Some(vec![]));
        assert_eq!(placing_gaps(&(20..25).map(|s| tone(s, None)).collect::<Vec<_>>()), None);
    }
}
