//! What is to be played, as the follower sees it: onsets in playing order.

use std::ops::Range;

use super::{LineNoteIdx, OnsetIdx};
use crate::midi::MidiKey;
use crate::score::{BarIdx, Ornament, Part, Place, Score, Unfolded};
use crate::theory::Hand;
use crate::theory::harp::Rolling;
use crate::time::{ScoreTime, Tempo};

/// A stretch of score laid out for following. Not empty: a line without notes cannot be made.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    /// Sorted by time, no two at one time.
    pub onsets: Vec<Onset>,
    /// Sorted by onset, then the pitch that sounds, then hand: the order of [`Unfolded::notes`].
    pub notes: Vec<LineNote>,
    /// Length of the stretch in quarters.
    pub total: ScoreTime,
    /// The tempo that the score or the piece gives for the beginning, when one is given. Later marks count in proportion to the first.
    pub tempo: Option<Tempo>,
    /// The piece ends with this stretch: its last bars may slow down as ends of pieces do.
    pub ends_piece: bool,
    /// How chords are rolled; none where they are struck together, as on a keyboard.
    pub rolling: Option<Rolling>,
    /// Where a lever or pedal moves, in quarters from the start of the stretch; sorted. The silence around it is longer.
    pub moves: Vec<ScoreTime>,
}

/// All notes that start at one time.
#[derive(Clone, PartialEq, Debug)]
pub struct Onset {
    /// Quarters from the start of the stretch.
    pub at: ScoreTime,
    /// Its notes in [`Line::notes`].
    pub notes: Range<usize>,
    /// The printed place.
    pub place: Place,
    /// Index of the bar in playing order.
    pub played_bar: usize,
    pub starts_bar: bool,
    /// A place the player practises starting from: a landmark or the start of a section.
    pub is_landmark: bool,
    /// A hold or the end of a phrase is marked here: no silence after it means anything.
    pub is_hold: bool,
    /// The tempo mark in force here, when there is one.
    pub mark: Option<Tempo>,
}

/// One note to be played.
#[derive(Clone, PartialEq, Debug)]
pub struct LineNote {
    pub onset: OnsetIdx,
    /// What the instrument sends for it.
    pub key: MidiKey,
    pub hand: Hand,
    pub duration: ScoreTime,
    /// A grace note: may be left out.
    pub is_optional: bool,
    /// A shake, tremolo or glissando: notes around it are free while it lasts.
    pub is_free: bool,
    /// The lowest and highest key of the free notes, where `is_free`.
    pub free_keys: Option<(MidiKey, MidiKey)>,
    /// Top note of the right hand, or bottom note of the left, at its onset.
    pub is_outer: bool,
    /// Other keys that are this note as well: see [`Line::lay_on_strings`]. Three at most count.
    pub others: Vec<MidiKey>,
    /// The lowest and the highest key that its string gives in any setting, where the setting can be heard.
    pub setting: Option<(MidiKey, MidiKey)>,
}

impl LineNote {
    /// Tells whether a key is this note.
    pub fn is(&self, key: MidiKey) -> bool {
        self.key == key || self.others.contains(&key)
    }
}

impl Line {
    /// Lays a stretch out for following; `landmarks` are places on the page besides bar starts from
    /// which the player may start. Returns `None` when the stretch has no note.
    pub fn new(score: &Score, part: &Part, unfolded: &Unfolded, landmarks: &[Place]) -> Option<Line> {
        let mut onsets: Vec<Onset> = Vec::new();
        let mut notes: Vec<LineNote> = Vec::with_capacity(unfolded.notes.len());
        for (idx, played) in unfolded.notes.iter().enumerate() {
            let note = &part.notes[played.note.0];
            let bar = &unfolded.bars[played.played_bar];
            match onsets.last_mut() {
                Some(last) if last.at == played.onset => {
                    last.notes.end = idx + 1;
                    last.is_hold |= note.fermata;
                }
                _ => {
                    let place = Place { bar: bar.bar, into_bar: played.onset - bar.start };
                    let starts_bar = place.into_bar.is_zero() || onsets.last().is_none_or(|o| o.played_bar != played.played_bar);
                    onsets.push(Onset {
                        at: played.onset,
                        notes: idx..idx + 1,
                        place,
                        played_bar: played.played_bar,
                        starts_bar,
                        is_landmark: landmarks.contains(&place),
                        is_hold: note.fermata,
                        mark: score.tempo_at(place.onset(score)),
                    });
                }
            }
            notes.push(LineNote {
                onset: OnsetIdx(onsets.len() - 1),
                key: played.key,
                hand: played.hand,
                duration: played.duration,
                is_optional: note.is_optional(),
                is_free: note.is_free(),
                free_keys: free_keys(note.ornament, played.key),
                is_outer: false,
                others: Vec::new(),
                setting: None,
            });
        }
        for onset in &onsets {
            let of_hand = |hand| onset.notes.clone().filter(|&i| notes[i].hand == hand && !notes[i].is_optional).collect::<Vec<_>>();
            let (bass, top) = (of_hand(Hand::Left).first().copied(), of_hand(Hand::Right).last().copied());
            for outer in [bass, top].into_iter().flatten() {
                notes[outer].is_outer = true;
            }
        }
        join_tremolo_pairs(&onsets, &mut notes, |idx| part.notes[unfolded.notes[idx].note.0].ornament == Ornament::TremoloPair);
        let first_bar = unfolded.bars.first()?.bar;
        let tempo = score.tempo_at(score.bar(first_bar).start);
        let ends_piece = unfolded.bars.last().is_some_and(|last| last.bar.0 + 1 == score.bars.len());
        (!onsets.is_empty()).then_some(Line { onsets, notes, total: unfolded.total(), tempo, ends_piece, rolling: None, moves: Vec::new() })
    }

    pub fn onset(&self, onset: OnsetIdx) -> &Onset {
        &self.onsets[onset.0]
    }

    pub fn note(&self, note: LineNoteIdx) -> &LineNote {
        &self.notes[note.0]
    }

    /// Tells whether a lever or pedal moves between two onsets, or with either of them.
    pub fn is_moved_between(&self, from: OnsetIdx, to: OnsetIdx) -> bool {
        let (from, to) = (self.onset(from).at, self.onset(to).at);
        self.moves.get(self.moves.partition_point(|at| *at < from)).is_some_and(|at| *at <= to)
    }

    /// Returns the printed bar of an onset.
    pub fn bar(&self, onset: OnsetIdx) -> BarIdx {
        self.onset(onset).place.bar
    }
}

/// Semitones around a shaken note that belong to the shake: a whole tone covers trill, mordent and turn.
const SHAKE: i32 = 2;

fn free_keys(ornament: Ornament, key: MidiKey) -> Option<(MidiKey, MidiKey)> {
    let beside = |by: i32| MidiKey::try_new(i32::from(key.number()) + by).unwrap_or(key);
    match ornament {
        Ornament::None | Ornament::Grace | Ornament::Harmonic | Ornament::Cue => None,
        Ornament::Shake => Some((beside(-SHAKE), beside(SHAKE))),
        Ornament::Tremolo | Ornament::TremoloPair | Ornament::GlissandoEnd => Some((key, key)),
        Ornament::GlissandoTo(end) => Some((key.min(end), key.max(end))),
    }
}

/// Lets each end of a tremolo between notes have the keys of the other end.
fn join_tremolo_pairs(onsets: &[Onset], notes: &mut [LineNote], is_pair: impl Fn(usize) -> bool) {
    for idx in (0..notes.len()).filter(|idx| is_pair(*idx)) {
        let (onset, length, hand) = (notes[idx].onset.0, notes[idx].duration, notes[idx].hand);
        let within = |other: &Onset| {
            let distance = if other.at > onsets[onset].at { other.at - onsets[onset].at } else { onsets[onset].at - other.at };
            distance <= length
        };
        let beside = onset.saturating_sub(1)..(onset + 2).min(onsets.len());
        let ends = beside.filter(|o| within(&onsets[*o])).flat_map(|o| onsets[o].notes.clone());
        let keys: Vec<MidiKey> = ends.filter(|other| is_pair(*other) && notes[*other].hand == hand).map(|other| notes[other].key).collect();
        if let (Some(low), Some(high)) = (keys.iter().min(), keys.iter().max()) {
            notes[idx].free_keys = Some((*low, *high));
        }
    }
}
