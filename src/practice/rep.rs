//! One rep in progress: what is heard, what is found, and when silence starts to mean something.

use super::Output;
use super::config::PracticeConfig;
use super::ear::Ear;
use super::glissando::GlissandoEar;
use super::judge::{Fault, Found, Judge};
use super::ladder::Ladder;
use super::reading::Readiness;
use super::run::pace::{drifts, speeds};
use super::run::path::Path;
use super::span::Span;
use super::turn::turned;
use super::{run, words};
use crate::follower::{Begin, Finding, Follower, Heard, HeardNote, OnsetIdx, Position, Slip};
use crate::journal::entry::{self, Happening, Mode, Reason, RepNumber, Verdict};
use crate::midi::sensor::Passage;
use crate::midi::{MidiEvent, MidiKey, Take, Velocity};
use crate::piece::Piece;
use crate::theory::Hand;
use crate::time::{Micros, Stamped};

/// After the last onset, how long its missing notes are waited for.
const LAST_CHORD: Micros = Micros(1_000_000);
/// Onsets in order, and belief in the place, with which a run that begins late is under way.
const N_ONSETS_UNDER_WAY: usize = 6;
const SURE_OF_THE_PLACE: f32 = 0.8;
/// Notes after which it is known where a player is whose instrument is back.
const N_NOTES_BACK: u8 = 6;

/// A rep from its first note on.
#[derive(Clone)]
pub struct Attempt {
    ear: Ear,
    glissandi: GlissandoEar,
    follower: Follower,
    pub judge: Judge,
    pub ladder: Option<Ladder>,
    pub take: Take,
    started: Option<Micros>,
    last_note: Micros,
    /// The way taken through the span.
    pub path: Path,
    /// Which notes of the line have been played; a restart does not clear it.
    played: Vec<bool>,
    /// The onset for which a hesitation was last noted: one is said once.
    hesitated: Option<OnsetIdx>,
    n_notes: usize,
    /// The last chord has been waited for since the last note.
    has_waited: bool,
    findings: Vec<Finding>,
    /// Notes to come of which a slip may be what was played while the instrument was away; all of them until its first.
    n_unsure: u8,
}

impl Attempt {
    /// Starts hearing for a rep of `span`, which begins as `begin` says.
    pub fn new(span: &Span, config: &PracticeConfig, begin: Begin) -> Self {
        Attempt {
            ear: Ear::new(&span.hearing),
            glissandi: GlissandoEar::default(),
            follower: Follower::new(span.line.clone(), span.habits.config(config.waits, begin)),
            judge: Judge::default(),
            ladder: None,
            take: Take::default().heard(span.hearing.clone()),
            started: None,
            last_note: Micros::ZERO,
            path: Path::default(),
            played: vec![false; span.line.notes.len()],
            hesitated: None,
            n_notes: 0,
            has_waited: false,
            findings: Vec::new(),
            n_unsure: 0,
        }
    }

    /// The instrument went away: until its next note nothing is asked of the player.
    pub fn instrument_gone(&mut self) {
        self.n_unsure = N_NOTES_BACK;
    }

    /// Hears one note; what it was and what is found goes to `out`.
    pub fn note(&mut self, at: Micros, key: MidiKey, velocity: Velocity, cx: &Context<'_>, out: &mut Vec<Output>) -> HeardNote {
        let is_due = self.follower.is_due(key);
        let passage = self.ear.sift(at, key, velocity, is_due);
        if passage == Passage::Held {
            let position = self.follower.position().unwrap_or(Position { onset: OnsetIdx(0), confidence: 0.0, lost: true });
            let ghost = HeardNote { heard: Heard::Ghost, note: None, stood_for: None, position };
            out.push(Output::Heard { at, key, note: ghost });
            return ghost;
        }
        self.started.get_or_insert(at);
        self.judge.retract_silence_since(at);
        self.last_note = at;
        self.has_waited = false;
        self.n_notes += 1;
        let (is_unsure, was_broken) = (self.n_unsure > 0, self.judge.is_broken());
        self.n_unsure = self.n_unsure.saturating_sub(1);
        self.findings.clear();
        let mut heard = self.follower.note(at, key, velocity, &mut self.findings);
        if self.ear.reconsider(passage, Stamped { at, what: key }, &mut heard, &self.played, cx.span) {
            self.findings.retain(|f| !matches!(f, Finding::Slip(slip) if slip.at == at && slip.played == Some(key)));
        }
        let is_by_strings = self.ear.weigh(Stamped { at, what: key }, &mut heard, &mut self.findings, &self.played, cx.span);
        self.findings.extend(self.glissandi.note(Stamped { at, what: key }, &heard, cx.span));
        if let (Heard::Expected, Some(note)) = (heard.heard, heard.note) {
            self.played[note.0] = true;
        }
        if !heard.position.lost && matches!(heard.heard, Heard::Expected) {
            let here = heard.position.onset;
            if self.ladder.is_some_and(|l| here >= l.onset || here.0 + 1 < l.onset.0) {
                self.ladder = None;
                out.push(Output::PromptCleared { at });
            }
        }
        if self.follower.next_onset() != self.hesitated {
            // The player is elsewhere: coming here once more and halting again is a second hesitation.
            self.hesitated = None;
        }
        self.path.note(at, key, &heard, &self.follower, cx.span);
        self.findings.iter().for_each(|f| self.path.finding(f, heard.position.onset, &self.follower, cx.span));
        out.push(Output::Heard { at, key, note: heard });
        if is_by_strings {
            out.push(Output::ByStrings { at });
        }
        self.pass_on(cx, out);
        if is_unsure && !was_broken && self.judge.is_broken() {
            self.judge.breaks_by_absence();
        }
        heard
    }

    /// Records an event in the take.
    pub fn record(&mut self, event: Stamped<MidiEvent>) {
        self.take.push(event);
    }

    fn pass_on(&mut self, cx: &Context<'_>, out: &mut Vec<Output>) {
        for finding in &self.findings {
            let stand = match finding {
                Finding::Slip(slip) => slip.note.and_then(|n| cx.span.strung(n)).map(|strung| strung.stand()),
                _ => None,
            };
            let was_broken = self.judge.is_broken();
            self.judge.finding(finding, &cx.span.line, &cx.piece.judging, stand);
            if let (false, Finding::Slip(Slip { played: Some(key), .. })) = (was_broken, *finding)
                && cx.span.is_drill()
                && let Some(breaking) = self.judge.breaking_mut()
                && let Some(turn) = turned(breaking, key, cx.span, cx.piece)
            {
                *breaking = turn;
            }
            out.push(Output::Finding(*finding));
        }
    }

    /// Returns when silence is next to be looked at.
    pub fn deadline(&self, cx: &Context<'_>) -> Option<Micros> {
        if let Some(ladder) = &self.ladder {
            return ladder.next;
        }
        let is_watched = self.follower.next_onset().is_some_and(|o| self.hesitated != Some(o));
        let hesitation = self.follower.hesitation_deadline().filter(|_| is_watched);
        let end = (self.is_on_last_onset(cx) && !self.has_waited).then_some(self.last_note + LAST_CHORD);
        [hesitation, end].into_iter().flatten().min()
    }

    /// Silence has lasted until `now`, which is the deadline.
    pub fn silence(&mut self, now: Micros, cx: &Context<'_>, out: &mut Vec<Output>) {
        self.findings.clear();
        self.has_waited = now >= self.last_note + LAST_CHORD;
        self.follower.silence(now, &mut self.findings);
        self.ear.excuse(&mut self.findings, cx.span);
        self.pass_on(cx, out);
        if let Some(ladder) = &mut self.ladder {
            let cue = cx.span.prompt_for(ladder.onset, cx.piece);
            if ladder.rung == 0 && cue.is_some_and(|cue| cx.span.is_hidden(cue)) {
                return ladder.pass_over(cue.is_some_and(|c| c.more.is_some()), &cx.config.ladder);
            }
            ladder.climb(cue.is_some(), cue.is_some_and(|c| c.more.is_some()), &cx.config.ladder);
            let (rung, onset) = (ladder.rung, ladder.onset);
            let place = cx.span.place(onset).words(&cx.piece.score);
            let text = match (rung, cue) {
                (1, Some(cue)) => cue.text.clone(),
                (2, Some(cue)) => cue.more.clone().unwrap_or_default(),
                _ => words::look_at_the_page(&place),
            };
            self.judge.notes(Found { at: now, fault: Fault::Prompt(rung), onset, hand: None });
            out.push(Output::Prompted { at: now, rung, onset, text });
            return;
        }
        let due = self.follower.hesitation_deadline().is_some_and(|d| d <= now);
        if let Some(onset) = self.follower.next_onset().filter(|o| due && self.hesitated != Some(*o)) {
            self.hesitated = Some(onset);
            if self.n_unsure == N_NOTES_BACK {
                self.judge.notes(Found { at: now, fault: Fault::Gone, onset, hand: None });
                return;
            }
            self.judge.notes(Found { at: now, fault: Fault::Hesitation, onset, hand: None });
            self.path.hesitated(now, onset);
            out.push(Output::Hesitated { at: now, onset });
            if cx.span.mode == Mode::Drill && !self.judge.is_broken() {
                self.ladder = Some(Ladder::begin(onset, now, &cx.config.ladder));
            }
        }
    }

    /// Tells whether a string was heard by its name alone, and it is not known whether that was its setting.
    pub fn is_setting_in_doubt(&self) -> bool {
        self.ear.is_in_doubt()
    }

    pub fn is_on_last_onset(&self, cx: &Context<'_>) -> bool {
        self.follower.position().is_some_and(|p| !p.lost && p.onset.0 + 1 == cx.span.n_onsets())
    }

    /// Tells whether the span has been played to its end: all of the last onset heard, or waited for long enough.
    pub fn is_complete(&self, now: Micros, cx: &Context<'_>) -> bool {
        self.is_on_last_onset(cx) && (self.follower.is_at_end() || now >= self.last_note + LAST_CHORD)
    }

    /// Tells of each note of the line whether it has been played in its place.
    pub fn played(&self) -> &[bool] {
        &self.played
    }

    /// Tells whether a run that did not begin with the first onset is surely under way.
    pub fn is_under_way(&self) -> bool {
        let sure = self.follower.position().is_some_and(|p| !p.lost && p.confidence >= SURE_OF_THE_PLACE);
        sure && self.path.reached.len() >= N_ONSETS_UNDER_WAY
    }

    /// Returns what is said of a run-through or a reading take when it is over; nothing of a drill.
    pub fn remarks(&self, rep: &entry::Rep, cx: &Context<'_>) -> Vec<String> {
        match (cx.span.mode, &rep.run) {
            (Mode::RunThrough, Some(run)) if run.n_bars_played > 0 => {
                let lapsed = run::lapsed(&self.path, cx.span, rep.ended);
                run::words::lines(rep, run, &drifts(&speeds(&self.path, cx.span, &lapsed), cx.span), cx.span, cx.config.pass.is_some())
            }
            (Mode::Reading, _) => Readiness::of(self, cx).lines(cx.config.ready, cx.piece),
            _ => Vec::new(),
        }
    }

    pub fn started(&self) -> Option<Micros> {
        self.started
    }

    pub fn n_notes(&self) -> usize {
        self.n_notes
    }

    /// Returns the onset last reached.
    pub fn onset(&self) -> Option<OnsetIdx> {
        self.follower.position().map(|p| p.onset)
    }

    /// Returns the furthest onset reached.
    pub fn furthest(&self) -> Option<OnsetIdx> {
        self.path.reached.iter().map(|r| r.onset).max()
    }

    /// Returns the tempo of what was reached, hesitations left out, in quarters a minute; none below two quarters.
    fn tempo(&self, span: &Span) -> Option<f64> {
        let (quarters, played) = self.path.plain_playing(span);
        (quarters >= 2.0 && played > Micros::ZERO).then(|| quarters * 60.0 / played.secs_f64())
    }

    /// Ends the rep and says what it was.
    pub fn end(mut self, number: RepNumber, ended: Micros, cx: &Context<'_>) -> (entry::Rep, Option<Found>) {
        let span = cx.span;
        let tempo = self.tempo(span);
        let run = (span.mode == Mode::RunThrough).then(|| run::run(&self.path, span, &cx.piece.score, ended, cx.config.pass));
        let lapsed = if run.is_some() { run::lapsed(&self.path, span, ended) } else { Vec::new() };
        let last = OnsetIdx(span.n_onsets() - 1);
        // With a silence in it that is not the player's, a rep has no tempo.
        if self.is_complete(Micros::MAX, cx) && !self.judge.is_broken() && !self.judge.has_absence() {
            self.judge.tempo(tempo, cx.piece.tempo, span.tempo_share.unwrap_or(cx.config.tempo_share), ended, last);
        }
        let (verdict, decided_by) = self.judge.verdict();
        let score = &cx.piece.score;
        let reason = decided_by.filter(|_| verdict != Verdict::Clean).map(|f| Reason {
            place: span.place(f.onset).text(score),
            kind: f.fault.word(),
            words: words::fault(&f, span, cx.piece),
        });
        let happenings = self.judge.found.iter().map(|f| Happening {
            at: f.at,
            kind: f.fault.word(),
            place: span.place(f.onset).text(score),
            hand: f.hand.map(|h| if h == Hand::Left { "left" } else { "right" }),
            setting: f.fault.stand().map(|stand| stand.to_string()),
        });
        // A slip that was the way of a lapse is told once, as that.
        let is_own = |h: &Happening| {
            let is_slip = matches!(h.kind, "wrong" | "missed" | "extra");
            !is_slip || run.as_ref().is_none_or(|run| !run::is_of_a_lapse(h.at, &h.place, run, &lapsed))
        };
        let happenings: Vec<Happening> = happenings.filter(is_own).collect();
        let due = span.line.notes.iter().zip(&self.played).filter(|(n, _)| !n.is_optional);
        let rep = entry::Rep {
            number,
            mode: span.mode,
            span: span.name.clone(),
            bars: span.ends(score),
            started: self.started.unwrap_or(ended),
            ended,
            verdict,
            witness: entry::Witness::Heard,
            reason,
            happenings,
            n_notes_due: due.clone().count() as u32,
            n_notes_right: due.filter(|(_, played)| **played).count() as u32,
            tempo,
            run,
            take: self.take,
        };
        (rep, decided_by)
    }
}

/// What a rep is played against.
#[derive(Clone, Copy)]
pub struct Context<'a> {
    pub piece: &'a Piece,
    pub span: &'a Span,
    pub config: &'a PracticeConfig,
}
