//! Between the instrument and the follower: what is not the player's doing is held back, and a string that is right but set
//! wrong is told from a wrong string.
//!
//! Where keys are pitches, a lever or pedal that stands wrong is one mistake: it is told of once, until its string has sounded right
//! again. Where keys are strings nothing can be known of levers and pedals, and nothing is said. Where it is not known which
//! (see [`Matching::Automatic`]), a string heard by its name waits: the first altered string that sounds as written shows that keys
//! are pitches, and what waited is told of then; two strings or more heard by their names alone are strings.

use super::span::{Span, Strung};
use crate::follower::{Finding, Heard, HeardNote, LineNoteIdx, Slip, SlipKind};
use crate::midi::sensor::{Filter, Passage};
use crate::midi::{Hearing, Matching, MidiKey, Velocity};
use crate::setting::Moved;
use crate::theory::{KeySignature, Letter};
use crate::time::{Micros, Stamped};

/// Strings heard by their names from which an instrument is taken to send strings.
const N_STRINGS: usize = 2;
/// What rings along may be taken for a note that is played so much later (a reasoned default: the longest roll).
const TAKEN_EARLY: Micros = Micros(400_000);

/// The ear of one attempt.
#[derive(Clone)]
pub struct Ear {
    filter: Option<Filter>,
    matching: Matching,
    /// An altered string has sounded as written: keys are pitches.
    is_sounding: bool,
    /// It has been said that keys are strings.
    is_by_strings: bool,
    /// Levers and pedals that stand wrong and have been told of, with the accidental they give.
    told: Vec<(Moved, i32)>,
    /// Strings heard by their names, as slips of their setting.
    waiting: Vec<Slip>,
    /// Notes whose string came with the wrong setting: they are not left out.
    excused: Vec<LineNoteIdx>,
    /// The last doubtful note, with the note it was heard as.
    taken_early: Option<(Micros, MidiKey, Option<LineNoteIdx>)>,
}

impl Ear {
    pub fn new(hearing: &Hearing) -> Ear {
        Ear {
            filter: hearing.sensor.clone().map(Filter::new),
            matching: hearing.matching,
            is_sounding: hearing.matching == Matching::Sounding,
            is_by_strings: false,
            told: Vec::new(),
            waiting: Vec::new(),
            excused: Vec::new(),
            taken_early: None,
        }
    }

    /// Tells whether strings were heard by their names and nothing has shown whether that was their setting.
    pub fn is_in_doubt(&self) -> bool {
        !self.is_sounding && !self.waiting.is_empty()
    }

    /// Says whether the beginning of a note is the player's doing.
    pub fn sift(&mut self, at: Micros, key: MidiKey, velocity: Velocity, is_due: bool) -> Passage {
        self.filter.as_mut().map_or(Passage::Played, |filter| filter.weigh(at, key, velocity, is_due))
    }

    /// Hears a note once more where the sensor blurs it: a doubtful one that has no place is the instrument's doing; and a note on a
    /// string that a doubtful one came from a moment ago is the note that is still to come there. Returns whether it was something
    /// else than the follower said.
    pub fn reconsider(
        &mut self,
        passage: Passage,
        Stamped { at, what: key }: Stamped<MidiKey>,
        heard: &mut HeardNote,
        played: &[bool],
        span: &Span,
    ) -> bool {
        if passage == Passage::Doubtful {
            let note = heard.note.filter(|_| heard.heard == Heard::Expected);
            self.taken_early = Some((at, key, note));
            let is_nothing = matches!(heard.heard, Heard::Wrong | Heard::Extra | Heard::Unclear);
            if is_nothing {
                (heard.heard, heard.stood_for) = (Heard::Ghost, None);
            }
            return is_nothing;
        }
        let before = self.taken_early.filter(|(then, of, _)| *of == key && at - *then <= TAKEN_EARLY);
        let Some((.., early)) = before.filter(|_| heard.heard != Heard::Expected) else { return false };
        let here = heard.position.onset.0;
        let mut due = (here..(here + 2).min(span.n_onsets())).flat_map(|onset| span.line.onsets[onset].notes.clone());
        let due = early.or_else(|| due.find(|n| !played[*n] && span.line.notes[*n].is(key)).map(LineNoteIdx));
        self.taken_early = None;
        if due.is_some() {
            (heard.heard, heard.note, heard.stood_for) = (Heard::Expected, due, None);
        }
        due.is_some()
    }

    /// Looks at a heard note with what was found by it: slips of a setting become such, each once. Returns whether it is only now
    /// known that keys are strings.
    pub fn weigh(
        &mut self,
        struck: Stamped<MidiKey>,
        heard: &mut HeardNote,
        findings: &mut Vec<Finding>,
        played: &[bool],
        span: &Span,
    ) -> bool {
        if span.strung(LineNoteIdx(0)).is_none() {
            return false;
        }
        let key = struck.what;
        self.excuse(findings, span);
        let mut found: Vec<Finding> = Vec::new();
        if let (Heard::Expected, Some(note)) = (heard.heard, heard.note) {
            self.weigh_right_note(struck, note, heard, &mut found, span);
        }
        for finding in findings.drain(..) {
            let Finding::Slip(mut slip) = finding else {
                found.push(finding);
                continue;
            };
            match self.note_set_wrong(&slip, played, span) {
                Some(note) => {
                    if slip.kind == SlipKind::Extra {
                        self.excused.push(note);
                    }
                    (slip.kind, slip.note) = (SlipKind::Setting, Some(note));
                    if slip.played == Some(key) {
                        (heard.heard, heard.stood_for) = (Heard::Setting, Some(note));
                    }
                    found.extend(self.tell(slip, span));
                }
                None => found.push(finding),
            }
        }
        *findings = found;
        let strings: Vec<Moved> = self.waiting.iter().filter_map(|slip| span.strung(slip.note?)).map(|s| s.moved).collect();
        let n_strings = strings.iter().enumerate().filter(|(i, moved)| !strings[..*i].contains(moved)).count();
        let is_news = n_strings >= N_STRINGS && !self.is_sounding && !self.is_by_strings;
        self.is_by_strings |= is_news;
        is_news
    }

    /// A note in its place: its string stands right, or is heard by its name.
    fn weigh_right_note(
        &mut self,
        Stamped { at, what: key }: Stamped<MidiKey>,
        note: LineNoteIdx,
        heard: &mut HeardNote,
        found: &mut Vec<Finding>,
        span: &Span,
    ) {
        let Some(strung) = span.strung(note) else { return };
        let open = match self.matching {
            Matching::Sounding => None,
            Matching::Automatic { open } => Some(KeySignature::new(open, None).alter_of(strung.letter)),
            Matching::Strings { .. } => return,
        };
        if key == span.line.note(note).key {
            self.told.retain(|(moved, _)| *moved != strung.moved);
            if open.is_some_and(|open| open != strung.alter) && !self.is_sounding {
                self.is_sounding = true;
                for slip in std::mem::take(&mut self.waiting) {
                    found.extend(self.by_setting(slip, span));
                }
            }
            return;
        }
        let alter = strung.alter_of(key);
        if open != Some(alter as i8) || alter == i32::from(strung.alter) {
            // A harmonic, heard by its string.
            return;
        }
        let (onset, confidence) = (span.line.note(note).onset, heard.position.confidence);
        let slip = Slip { at, kind: SlipKind::Setting, onset, note: Some(note), played: Some(key), confidence };
        if !self.is_sounding {
            self.waiting.push(slip);
            return;
        }
        heard.heard = if strung.is_set_wrong(key) { Heard::Setting } else { Heard::Wrong };
        (heard.note, heard.stood_for) = (None, Some(note));
        found.extend(self.by_setting(slip, span));
    }

    /// A string heard by its name, where keys are pitches: its setting, or another string that sounds so.
    fn by_setting(&mut self, slip: Slip, span: &Span) -> Option<Finding> {
        if span.strung(slip.note?)?.is_set_wrong(slip.played?) {
            return self.tell(slip, span);
        }
        Some(Finding::Slip(Slip { kind: SlipKind::Wrong, ..slip }))
    }

    /// Takes away what would call a note left out whose string was played, with the wrong setting; and all notes of a lever or pedal
    /// that is known to stand wrong.
    pub fn excuse(&self, findings: &mut Vec<Finding>, span: &Span) {
        let is_known = |note: LineNoteIdx| span.strung(note).is_some_and(|s| self.told.iter().any(|(moved, _)| *moved == s.moved));
        let is_excused = |slip: &Slip| slip.kind == SlipKind::Missed && slip.note.is_some_and(|n| self.excused.contains(&n) || is_known(n));
        findings.retain(|f| !matches!(f, Finding::Slip(slip) if is_excused(slip)));
    }

    /// The note whose string was played with another setting, where that explains the slip.
    fn note_set_wrong(&self, slip: &Slip, played: &[bool], span: &Span) -> Option<LineNoteIdx> {
        let key = slip.played?;
        let explains = |note: &LineNoteIdx| {
            let can_give = span.line.note(*note).setting.is_some_and(|(low, high)| (low..=high).contains(&key));
            can_give && span.strung(*note).is_some_and(|strung| strung.is_set_wrong(key))
        };
        match slip.kind {
            SlipKind::Wrong => slip.note.filter(explains),
            SlipKind::Extra => {
                let onsets = slip.onset.0..(slip.onset.0 + 2).min(span.n_onsets());
                let mut notes = onsets.flat_map(|o| span.line.onsets[o].notes.clone());
                notes.find(|n| !played[*n] && explains(&LineNoteIdx(*n))).map(LineNoteIdx)
            }
            _ => None,
        }
    }

    /// A slip of a setting, unless it has been told of.
    fn tell(&mut self, slip: Slip, span: &Span) -> Option<Finding> {
        let strung = span.strung(slip.note?)?;
        let mistake = (strung.moved, strung.alter_of(slip.played?));
        if self.told.contains(&mistake) {
            return None;
        }
        self.told.push(mistake);
        Some(Finding::Slip(slip))
    }
}

impl Strung {
    /// Returns the accidental that the string would have to give this key; of a harmonic, which may be heard by its string, in the
    /// nearer octave.
    fn alter_of(&self, key: MidiKey) -> i32 {
        let alter = i32::from(key.number()) - self.natural;
        if alter < -6 { alter + 12 } else { alter }
    }

    /// Tells whether a key is what the string gives with another accidental, and no other string gives it as the signature has them.
    fn is_set_wrong(&self, key: MidiKey) -> bool {
        let alter = self.alter_of(key);
        (-1..=1).contains(&alter) && alter != i32::from(self.alter) && !self.is_of_another(alter)
    }

    fn is_of_another(&self, alter: i32) -> bool {
        let sound = self.letter.semitones() + alter;
        Letter::ALL.into_iter().any(|letter| {
            let set = letter.semitones() + i32::from(self.key.alter_of(letter));
            letter != self.letter && (sound - set).rem_euclid(12) == 0
        })
    }
}
