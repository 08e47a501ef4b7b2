//! Raw notes of all parts to a [`Score`]: bars get their lengths, ties are joined, hands given.

use std::collections::HashMap;

use crate::midi::MidiKey;
use crate::score::{Bar, BarIdx, BarLabel, Note, NoteIdx, Ornament, Part, Roll, Score};
use crate::theory::{Hand, KeySignature, Meter};
use crate::time::ScoreTime;

use super::grid::Grid;
use super::header::Header;
use super::page::{Page, PageMeter};
use super::walk::{Clef, RawNote, RawPart};
use super::warnings::Warnings;

/// Where a lone staff without a telling clef is split between the hands: middle C is the right hand's.
const SPLIT_KEY: u8 = 60;

/// Lays the parts on common bars.
pub(super) fn score(grid: Grid, mut page: Page, mut raw: Vec<RawPart>, header: Header, warnings: &mut Warnings) -> Score {
    page.settle_signs();
    raw.iter_mut().for_each(fill_repeated_bars);
    let (bars, starts) = bars(grid, &page, &raw, warnings);
    let at = |bar: usize, ticks: i64| grid.time(starts[bar].saturating_add(ticks));
    let mut tempos: Vec<_> = page.tempos.iter().map(|&(bar, ticks, tempo)| (at(bar, ticks), tempo)).collect();
    tempos.sort_by_key(|(at, _)| *at);
    tempos.dedup_by_key(|(at, _)| *at);
    let parts = raw.iter_mut().map(|part| self::part(grid, &starts, &bars, part, &header, warnings)).collect();
    Score { title: header.title, composer: header.composer, parts, tempos, bars, origin: ScoreTime::ZERO }
}

/// Returns the bars, and their starts in ticks.
fn bars(grid: Grid, page: &Page, raw: &[RawPart], warnings: &mut Warnings) -> (Vec<Bar>, Vec<i64>) {
    let (mut meter, mut is_free, mut key) = (Meter::COMMON, false, KeySignature::NONE);
    let mut bars: Vec<Bar> = Vec::with_capacity(page.bars.len());
    let mut starts = Vec::with_capacity(page.bars.len());
    let mut start = 0i64;
    // The bar before is short and not itself completed: this one may bring what it lacks.
    let mut lacking: Option<i64> = None;
    for (idx, page_bar) in page.bars.iter().enumerate() {
        match page_bar.meter {
            Some(PageMeter::Metered(new)) => (meter, is_free) = (new, false),
            Some(PageMeter::Free) => is_free = true,
            None => {}
        }
        key = page_bar.key.unwrap_or(key);
        let whole = grid.ticks(meter.bar_length());
        let held = || raw.iter().filter_map(|p| p.lengths.get(idx)).copied().filter(|&l| l > 0);
        let length = held().max().unwrap_or(whole);
        if held().min().is_some_and(|shortest| shortest < length) {
            let label = page_bar.label.as_deref().unwrap_or_default();
            warnings.add(label, None, "measure", msgid!("the parts disagree about its length; the longest is taken"));
        }
        let is_short = !is_free && length < whole;
        let completes = is_short && lacking == Some(length);
        let is_pickup = is_short && (page_bar.is_implicit || (idx == 0 && page.bars.len() > 1) || completes);
        lacking = (is_short && !is_pickup).then_some(whole - length);
        bars.push(Bar {
            label: BarLabel(page_bar.label.clone().unwrap_or_else(|| (idx + 1).to_string())),
            start: grid.time(start),
            length: grid.time(length),
            offset: if is_pickup { grid.time(whole - length) } else { ScoreTime::ZERO },
            meter,
            key,
            signs: page_bar.signs.clone(),
        });
        starts.push(start);
        start = start.saturating_add(length);
    }
    (bars, starts)
}

/// A note with its ties joined, in ticks from the start of the score.
struct Joined<'a> {
    onset: i64,
    duration: i64,
    raw: &'a RawNote,
    hand: Hand,
    ornament: Ornament,
    n_heads: u16,
    is_held_over: bool,
}

/// A tie that waits for its other end.
struct OpenTie {
    note: usize,
    end: i64,
    staff: u8,
    voice: u8,
}

fn part(grid: Grid, starts: &[i64], bars: &[Bar], raw: &mut RawPart, header: &Header, warnings: &mut Warnings) -> Part {
    raw.notes.sort_by_key(|n| (n.bar, n.at));
    spread_rolls(&mut raw.notes);
    let wholes: Vec<i64> = bars.iter().map(|b| grid.ticks(b.meter.bar_length())).collect();
    let own = own_starts(raw, &wholes);
    let mut joined = join_ties(starts, &own, raw);
    join_glissandi(&mut joined, bars, warnings);
    let mut order: Vec<usize> = (0..joined.len()).collect();
    order.sort_by_key(|&i| (joined[i].onset, joined[i].raw.key, joined[i].hand));
    let mut fermatas: Vec<i64> = raw.fermatas.iter().map(|&(bar, at)| starts[bar].saturating_add(hold_at(raw, bar, at))).collect();
    fermatas.sort_unstable();
    fermatas.dedup();
    let held_over = (0..order.len()).filter(|&i| joined[order[i]].is_held_over).map(NoteIdx).collect();
    let note = |i: usize| {
        let Joined { onset, duration, raw, hand, ornament, n_heads, .. } = joined[i];
        Note {
            onset: grid.time(onset),
            duration: grid.time(duration),
            pitch: raw.pitch,
            key: raw.key,
            hand,
            staff: raw.staff,
            voice: raw.voice,
            bar: BarIdx(raw.bar),
            n_heads,
            ornament,
            roll: raw.marks.roll,
            finger: raw.marks.finger,
            fermata: fermatas.binary_search(&onset).is_ok(),
        }
    };
    Part {
        name: header.name_of(&raw.id).to_owned(),
        id: raw.id.clone(),
        n_staves: raw.n_staves,
        notes: order.into_iter().map(note).collect(),
        pedal_diagrams: raw.pedals.iter().map(|&(bar, at, setting)| (grid.time(starts[bar].saturating_add(at)), setting)).collect(),
        fermatas: fermatas.into_iter().map(|at| grid.time(at)).collect(),
        held_over,
        held: grid.time(own[raw.lengths.len()]),
        n_unpitched: raw.n_unpitched,
    }
}

/// Returns where each bar starts by this part's own count, and where the last one ends.
fn own_starts(raw: &RawPart, wholes: &[i64]) -> Vec<i64> {
    let mut at = 0i64;
    let mut starts = vec![0];
    for (&held, &whole) in raw.lengths.iter().zip(wholes) {
        at = at.saturating_add(if held > 0 { held } else { whole });
        starts.push(at);
    }
    starts
}

/// Copies into each bar under a bar-repeat sign the notes that it stands for, with their time; they count no heads.
fn fill_repeated_bars(raw: &mut RawPart) {
    for &(bar, back, staff) in &raw.repeated {
        let first = raw.notes.iter().position(|n| n.bar == bar - back);
        let Some(first) = first else { continue };
        let stands_for = raw.notes[first..].iter().filter(|n| n.bar == bar - back && (staff == 0 || n.staff == staff));
        let copies: Vec<RawNote> = stands_for.map(|n| RawNote { bar, is_printed: false, tie: Default::default(), ..n.clone() }).collect();
        raw.notes.extend(copies);
        raw.lengths[bar] = raw.lengths[bar].max(raw.lengths[bar - back]);
    }
}

/// Gives a rolled chord's sign to all of it: some programs write it on one head only.
fn spread_rolls(notes: &mut [RawNote]) {
    let mut start = 0;
    while start < notes.len() {
        let chord = |n: &RawNote| (n.bar, n.at, n.staff, n.voice, n.is_grace);
        let end = start + notes[start..].iter().take_while(|n| chord(n) == chord(&notes[start])).count();
        if end - start > 1 {
            let roll: Option<Roll> = notes[start..end].iter().find_map(|n| n.marks.roll);
            for note in &mut notes[start..end] {
                note.marks.roll = note.marks.roll.or(roll);
            }
        }
        start = end;
    }
}

/// Joins tied heads: a head that ends a tie lengthens the note of the same key that reaches it, the
/// one in its own voice and staff before any other. A head whose tie comes from nowhere on the page is
/// a note of its own, marked as held over when it stands first in its bar.
///
/// Whether a note reaches another is told by the part's own count of time (`own`), so that a bar that
/// another part makes longer tears no tie.
fn join_ties<'a>(starts: &[i64], own: &[i64], raw: &'a RawPart) -> Vec<Joined<'a>> {
    let mut joined: Vec<Joined> = Vec::with_capacity(raw.notes.len());
    let mut open: Vec<Vec<OpenTie>> = Vec::new();
    open.resize_with(128, Vec::new);
    for note in &raw.notes {
        let onset = own[note.bar].saturating_add(note.at);
        let waiting = &mut open[note.key.number() as usize];
        let mut from = None;
        if note.tie.stops && !note.is_grace {
            waiting.retain(|t| t.end >= onset);
            let fits = |t: &&OpenTie| t.end == onset;
            let same_voice = waiting.iter().filter(fits).find(|t| (t.staff, t.voice) == (note.staff, note.voice));
            from = same_voice.or_else(|| waiting.iter().find(fits)).map(|t| t.note);
        }
        let idx = from.unwrap_or(joined.len());
        if let Some(first) = from {
            waiting.retain(|t| t.note != first);
            let first = &mut joined[first];
            first.duration = first.duration.saturating_add(note.duration);
            first.n_heads = first.n_heads.saturating_add(1);
            if first.ornament == Ornament::None {
                first.ornament = note.marks.ornament;
            }
        } else {
            joined.push(Joined {
                onset: starts[note.bar].saturating_add(note.at),
                duration: note.duration,
                raw: note,
                hand: hand(raw.n_staves, note),
                ornament: match note.marks.ornament {
                    _ if note.is_grace => Ornament::Grace,
                    _ if note.is_cue => Ornament::Cue,
                    ornament => ornament,
                },
                n_heads: note.is_printed as u16,
                is_held_over: note.tie.stops && note.at == 0 && !note.is_grace,
            });
        }
        if note.tie.starts && !note.is_grace {
            waiting.push(OpenTie { note: idx, end: onset.saturating_add(note.duration), staff: note.staff, voice: note.voice });
        }
    }
    joined
}

/// Ties each glissando's first note to its last.
fn join_glissandi(joined: &mut [Joined], bars: &[Bar], warnings: &mut Warnings) {
    let mut started: HashMap<(bool, u8), usize> = HashMap::new();
    let mut ends: Vec<(usize, MidiKey)> = Vec::new();
    for (idx, note) in joined.iter_mut().enumerate() {
        let marks = &note.raw.marks;
        if let Some(first) = marks.glissando_stop.and_then(|id| started.remove(&id)) {
            ends.push((first, note.raw.key));
            if !matches!(note.ornament, Ornament::Grace | Ornament::Cue) {
                note.ornament = Ornament::GlissandoEnd;
            }
        }
        if let Some(id) = marks.glissando_start {
            started.insert(id, idx);
        }
    }
    for (idx, key) in ends {
        if !matches!(joined[idx].ornament, Ornament::Grace | Ornament::Cue) {
            joined[idx].ornament = Ornament::GlissandoTo(key);
        }
    }
    let mut open: Vec<usize> = started.into_values().collect();
    open.sort_unstable();
    for idx in open {
        warnings.add(&bars[joined[idx].raw.bar].label.0, None, "glissando", msgid!("has no end; its first note is kept plain"));
    }
}

/// Returns the hand of a note: of two staves the upper is the right hand's, of more the first is the
/// right's, the last the left's and the rest go by their clef; a lone staff goes by its clef, and by
/// middle C where the clef does not tell.
fn hand(n_staves: u8, note: &RawNote) -> Hand {
    match (n_staves, note.staff) {
        (2.., 1) => Hand::Right,
        (2.., staff) if staff == n_staves => Hand::Left,
        _ => match note.clef {
            Clef::Bass => Hand::Left,
            Clef::Treble => Hand::Right,
            Clef::None if note.key.number() < SPLIT_KEY => Hand::Left,
            Clef::None => Hand::Right,
        },
    }
}

/// Returns the ticks at which a fermata holds: one on a bar line holds the bar's last onset.
fn hold_at(raw: &RawPart, bar: usize, at: i64) -> i64 {
    if at < i64::MAX {
        return at;
    }
    let end = raw.notes.partition_point(|n| n.bar <= bar);
    raw.notes[..end].last().filter(|n| n.bar == bar).map_or(0, |n| n.at)
}
