//! [`Follower`]: turns the belief over positions into what is said of each note and of the playing.

use std::sync::Arc;

use super::belief::{Belief, DEPTH, Hypothesis, Landed, Was};
use super::constants::Constants;
use super::habit::{RestartHabit, TimingHabit};
use super::hesitation::{slowing, wait};
use super::model::Model;
use super::plan::{CHORD_MAX, Plan};
use super::sounding::Strike;
use super::timing::{LocalTempo, TempoBelief};
use super::{Finding, Heard, HeardNote, Line, LineNoteIdx, OnsetIdx, Position, Slip, SlipKind};
use crate::midi::{MidiKey, Velocity};
use crate::time::Micros;

/// Where a take may begin.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Begin {
    /// Anywhere: the beginning is the likeliest, then landmarks and bar starts.
    Anywhere,
    /// A rep: begins at this onset, or at a restart of it.
    At(OnsetIdx),
}

/// How to follow: where the take begins, what is known of the player, and the model's constants.
#[derive(Clone, PartialEq, Debug)]
pub struct FollowerConfig {
    pub begin: Begin,
    pub constants: Constants,
    pub timing: Option<TimingHabit>,
    pub restarts: Option<RestartHabit>,
}

impl FollowerConfig {
    /// Returns the configuration with the learned constants and nothing known of the player.
    pub fn learned(begin: Begin) -> Self {
        FollowerConfig { begin, constants: Constants::LEARNED, timing: None, restarts: None }
    }
}

/// One step from an onset to the next, as it was timed.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Step {
    pub from: OnsetIdx,
    /// Log of the time taken over the time that the local tempo gave.
    pub log_ratio: f64,
}

/// Seconds a quarter where neither the score nor the playing says: 100 quarters a minute.
const PLAIN_SPQ: f64 = 0.6;
/// Uncertainty of a tempo that is not given, and of one that is.
const PLAIN_TEMPO_SD: f64 = 0.6;
const GIVEN_TEMPO_SD: f64 = 0.4;
/// Belief in being lost from which it is said, and below which the place counts as found.
const LOST_FROM: f64 = 0.6;
const FOUND_BELOW: f64 = 0.1;
/// Belief in when the next onset is due from which silence is judged.
const SURE_ENOUGH: f64 = 0.5;
/// The last bar and the last beats: at the end of a piece the tempo may fall to a third (final tempo .3 to .6 of what it
/// was, Friberg & Sundberg 1999), at the end of any other span about as much as the last six beats of pieces mostly do
/// (95 % ratio 2.12, measured on 707 performances of the ASAP set).
const FINAL_QUARTERS: f64 = 2.0;
const ALLOW_PIECE_END: f64 = 3.0;
const ALLOW_SPAN_END: f64 = 2.2;
/// Around the move of a lever or pedal (a reasoned default: no measurement of it is known).
const ALLOW_MOVE: f64 = 2.0;
/// Takes from which a place's own timing stands for the allowance.
const N_TAKES_KNOWN: usize = 3;
/// The tempo's uncertainty (spread of its logarithm) once playing has gone on for some notes. As long as it is larger, the wait
/// is longer by this many times the rest.
const SETTLED_TEMPO_SD: f64 = 0.12;
const UNSETTLED: f64 = 3.0;
/// Spread of the log ratio at a place of which nothing is known: the lower bound of what players show, since the
/// factor of the second term stands for what is not known.
const UNKNOWN_SD: f64 = 0.08;
/// Share of the expected time that is left when a chord's last note has come.
const SPREAD_SHARE: f64 = 0.9;
/// A chord spread over more than this share of the expected time is rolled, and the time counts from its last note.
const ROLLED_SHARE: f64 = 0.5;
/// Where rolls end on the beat, a chord spread over more than so many seconds is one (a reasoned default).
const ROLLED_UP_TO_BEAT: f64 = 0.06;
/// A note can come this late after the next onset began and still belong to its own, seconds.
const LATE_WITHIN: f64 = 0.4;

/// Hears notes against a line. Same input, same output; nothing is allocated once the first notes have been heard.
#[derive(Clone, Debug)]
pub struct Follower {
    line: Arc<Line>,
    model: Model,
    timing: Option<TimingHabit>,
    begin: Begin,
    belief: Belief,
    /// Number of the note at which each line note was heard or stood for, from 1; 0 for never.
    heard_by: Vec<u32>,
    n_heard: u32,
    start: Option<Micros>,
    last: Micros,
    position: Option<Position>,
    last_step: Option<Step>,
    /// Onsets before this one have been judged for missed notes.
    settled: usize,
    /// The landing of the path that has been said to be the player's.
    announced: Option<Landed>,
    lost: bool,
}

impl Follower {
    pub fn new(line: Arc<Line>, config: FollowerConfig) -> Self {
        let plan = Plan::new(&line);
        let belief = Belief::new(&plan);
        let n = line.notes.len();
        let model = Model::new(plan, config.constants, config.restarts);
        Follower {
            line,
            model,
            timing: config.timing,
            begin: config.begin,
            belief,
            heard_by: vec![0; n],
            n_heard: 0,
            start: None,
            last: Micros::ZERO,
            position: None,
            last_step: None,
            settled: 0,
            announced: None,
            lost: false,
        }
    }

    pub fn line(&self) -> &Arc<Line> {
        &self.line
    }

    /// Takes in one struck key and says what it was. Findings known through it are pushed in order.
    ///
    /// A stamp before the last one counts as the last one.
    pub fn note(&mut self, at: Micros, key: MidiKey, velocity: Velocity, findings: &mut Vec<Finding>) -> HeardNote {
        let at = at.max(self.last);
        let begun = self.start.is_some();
        let start = *self.start.get_or_insert(at);
        self.last = at;
        self.n_heard += 1;
        let strike = Strike { at: (at - start).secs_f64(), key: key.number(), velocity: velocity.0, number: self.n_heard };
        if begun {
            self.belief.update(&self.model, strike);
        } else {
            self.start_belief(strike);
        }
        self.read(at, strike, findings)
    }

    fn start_belief(&mut self, strike: Strike) {
        let tempo = match self.line.tempo {
            Some(tempo) => TempoBelief::new(tempo.seconds_per_quarter(), GIVEN_TEMPO_SD),
            None => TempoBelief::new(PLAIN_SPQ, PLAIN_TEMPO_SD),
        };
        let (at, anywhere) = match self.begin {
            Begin::Anywhere => (0, 0.1),
            Begin::At(onset) => (onset.0.min(self.line.onsets.len() - 1), 0.01),
        };
        // The first onset or two may be left out.
        let chances = [0.9, 0.02, 0.005, 0.002];
        let mut prior = [(0u32, 0.0); 4];
        let n = chances.len().min(self.line.onsets.len() - at);
        for (d, chance) in chances.iter().enumerate().take(n) {
            prior[d] = ((at + d) as u32, *chance);
        }
        self.belief.begin(&self.model, strike, tempo, &prior[..n], anywhere);
        self.settled = at;
    }

    /// Reads the belief after a note: what it was, where the player is, what else is known now.
    fn read(&mut self, at: Micros, strike: Strike, findings: &mut Vec<Finding>) -> HeardNote {
        let c = self.model.constants;
        let before = self.position;
        let best = self.belief.best().copied();
        let Some(best) = best else {
            let position = Position { onset: before.map_or(OnsetIdx(0), |p| p.onset), confidence: 0.0, lost: true };
            self.position = Some(position);
            self.tell_lost(at, true, position, findings);
            return HeardNote { heard: Heard::Unclear, note: None, stood_for: None, position };
        };
        self.last_step = None;
        let is_lost = if self.lost { self.belief.lost > FOUND_BELOW } else { self.belief.lost > LOST_FROM };
        let onset = match before {
            Some(p) if is_lost => p.onset,
            _ => OnsetIdx(best.onset as usize),
        };
        let position = Position { onset, confidence: best.mass as f32, lost: is_lost };
        self.position = Some(position);
        self.tell_lost(at, is_lost, position, findings);

        let mut heard = self.label(&best, position);
        if let Some(note) = heard.note.filter(|_| heard.heard == Heard::Expected) {
            self.heard_by[note.0] = self.n_heard;
        }
        if !is_lost {
            self.tell_landing(at, &best, findings);
            let is_step = best.stepped && before.is_some_and(|b| b.onset.0 + 1 == best.onset as usize);
            self.last_step = is_step.then(|| Step { from: OnsetIdx(best.onset as usize - 1), log_ratio: best.ratios[0] });
        }
        let (said, kind) = match heard.heard {
            Heard::Wrong => (true, SlipKind::Wrong),
            Heard::Extra => (true, SlipKind::Extra),
            _ => (false, SlipKind::Extra),
        };
        if said {
            let mut of = position.onset;
            if let Some(note) = heard.stood_for {
                of = self.line.note(note).onset;
                self.heard_by[note.0] = self.n_heard;
            }
            let tally = self.belief.tally;
            let confidence = (tally.wrong + tally.extra + tally.again).min(1.0) as f32;
            findings.push(Finding::Slip(Slip {
                at,
                kind,
                onset: of,
                note: heard.stood_for,
                played: MidiKey::try_new(strike.key as i32),
                confidence,
            }));
        }
        if !is_lost && best.mass >= c.say_finding {
            self.tell_missed(at, &best, strike.at, findings);
        }
        heard.position = position;
        heard
    }

    fn label(&self, best: &Hypothesis, position: Position) -> HeardNote {
        let c = &self.model.constants;
        let tally = &self.belief.tally;
        let mut said = HeardNote { heard: Heard::Unclear, note: None, stood_for: None, position };
        // A note struck again is something extra, but where the score has a shake or tremolo.
        let extra = tally.extra + tally.again;
        let slip = tally.wrong + extra;
        let note = self.belief.best_note();
        let rest = [slip, tally.ghost, tally.free].into_iter().fold(0.0, f64::max);
        match note {
            Some((note, p)) if p >= c.say_match || (p > 0.25 && p > rest) => {
                said.heard = Heard::Expected;
                said.note = Some(LineNoteIdx(note as usize));
            }
            _ if slip >= c.say_slip => {
                said.heard = if tally.wrong >= extra { Heard::Wrong } else { Heard::Extra };
                if let (Heard::Wrong, Was::WrongFor(note)) = (said.heard, best.was) {
                    said.stood_for = Some(LineNoteIdx(note as usize));
                }
            }
            _ if tally.ghost > slip && tally.ghost > tally.free => said.heard = Heard::Ghost,
            _ if tally.free > slip => {
                said.heard = Heard::Repeat;
                said.note = if let Was::Free(note) = best.was { Some(LineNoteIdx(note as usize)) } else { None };
            }
            _ => {}
        }
        said
    }

    fn tell_lost(&mut self, at: Micros, is_lost: bool, position: Position, findings: &mut Vec<Finding>) {
        if is_lost && !self.lost {
            findings.push(Finding::Lost { at });
        } else if !is_lost && self.lost {
            findings.push(Finding::Found { at, onset: position.onset });
        }
        self.lost = is_lost;
    }

    /// Says a restart, a jump or a wrong turn as soon as the belief in it is strong enough; says it again,
    /// with the other place, when the belief turns out to have been in the wrong one.
    fn tell_landing(&mut self, at: Micros, best: &Hypothesis, findings: &mut Vec<Finding>) {
        if best.landed == self.announced || best.mass < self.model.constants.say_finding {
            return;
        }
        let said = std::mem::replace(&mut self.announced, best.landed);
        let (from, to, since, in_flow) = match (best.landed, said) {
            // A new landing, or another place for the one just said.
            (Some(l), said) if said.is_none_or(|s| s.note_number <= l.note_number) => (l.from, l.to, l.note_number, l.in_flow),
            // The one just said was no landing at all: the player is where the line went on.
            (_, Some(said)) => (said.to, best.onset, self.n_heard, false),
            (_, None) => return,
        };
        let (from, to) = (OnsetIdx(from as usize), OnsetIdx(to as usize));
        let confidence = best.mass as f32;
        if let Some(turned) = in_flow.then(|| self.model.plan.parting(from.0, to.0, best.onset as usize)).flatten() {
            let turned = OnsetIdx(turned);
            findings.push(Finding::Slip(Slip { at, kind: SlipKind::WrongTurn, onset: turned, note: None, played: None, confidence }));
        } else if to <= from {
            findings.push(Finding::Restart { at, from, to, confidence });
        } else {
            findings.push(Finding::Jump { at, from, to, confidence });
        }
        // What was heard of the stretch before now belongs to the pass before.
        for note in self.line.onset(to).notes.start..self.line.notes.len() {
            if self.heard_by[note] < since {
                self.heard_by[note] = 0;
            }
        }
        // What lies further back on this path was heard while another place was believed: no word on it.
        self.settled = to.0.max((best.onset as usize + 1).saturating_sub(DEPTH));
    }

    /// Says which notes were left out, once the player is surely past them.
    fn tell_missed(&mut self, at: Micros, best: &Hypothesis, now: f64, findings: &mut Vec<Finding>) {
        let here = best.onset as usize;
        let pending_landing = best.landed != self.announced;
        if pending_landing || self.settled > here {
            return;
        }
        // Further back than a path remembers nothing is sure: no word on it.
        self.settled = self.settled.max((here + 1).saturating_sub(DEPTH));
        while self.settled < here {
            let by = here - self.settled;
            // The onset after the one judged began this long ago; the last one that is remembered is judged in any case.
            if by < DEPTH - 1 && now - best.began[by - 1] < LATE_WITHIN {
                break;
            }
            let onset = self.settled;
            self.judge_missed(at, onset, best, findings);
            self.settled += 1;
        }
    }

    fn judge_missed(&mut self, at: Micros, onset: usize, best: &Hypothesis, findings: &mut Vec<Finding>) {
        let notes = self.line.onsets[onset].notes.clone();
        let played = best.played.get(best.onset as usize - onset).copied();
        for (k, note) in notes.enumerate().take(CHORD_MAX) {
            let was_played = played.map_or(self.heard_by[note] > 0, |mask| mask & (1 << k) != 0);
            // The first stroke of a note cannot be told from the last ones of an ornament on the same key.
            let is_hidden = onset > 0 && self.model.plan.free(onset - 1, self.line.notes[note].key.number()).is_some();
            if self.model.plan.due[onset] & (1 << k) != 0 && !was_played && !is_hidden {
                findings.push(Finding::Slip(Slip {
                    at,
                    kind: SlipKind::Missed,
                    onset: OnsetIdx(onset),
                    note: Some(LineNoteIdx(note)),
                    played: None,
                    confidence: best.mass as f32,
                }));
            }
        }
    }

    /// Tells the follower that no note has come until `now`: notes of the present onset that are still
    /// due then were missed.
    pub fn silence(&mut self, now: Micros, findings: &mut Vec<Finding>) {
        let (Some(start), Some(best)) = (self.start, self.belief.best().copied()) else { return };
        let now_secs = (now.max(self.last) - start).secs_f64();
        if self.lost || best.mass < self.model.constants.say_finding || now_secs - best.began[0] < 2.0 * LATE_WITHIN {
            return;
        }
        self.tell_missed(now, &best, now_secs, findings);
        let here = best.onset as usize;
        let pending_landing = best.landed != self.announced;
        if self.settled == here && !pending_landing {
            self.judge_missed(now, here, &best, findings);
            self.settled = here + 1;
        }
    }

    /// Tells whether a key is a note that may well come now: one of the present onset or of the next.
    pub fn is_due(&self, key: MidiKey) -> bool {
        let here = match (self.belief.best(), self.begin) {
            (Some(best), _) => best.onset as usize,
            (None, Begin::At(onset)) => onset.0,
            (None, Begin::Anywhere) => return true,
        };
        let onsets = here..(here + 2).min(self.line.onsets.len());
        onsets.flat_map(|o| self.line.onsets[o].notes.clone()).any(|n| self.line.notes[n].is(key))
    }

    /// Returns where the player is, or `None` before the first note.
    pub fn position(&self) -> Option<Position> {
        self.position
    }

    /// Returns the tempo now, or `None` before the first note.
    pub fn tempo(&self) -> Option<LocalTempo> {
        self.belief.best().map(|best| best.tempo.tempo(self.model.plan.pace[best.onset as usize]))
    }

    /// Returns the step made with the last note, when it was one onset in a known tempo: what a [`TimingHabit`] learns from.
    pub fn last_step(&self) -> Option<Step> {
        self.last_step
    }

    /// Returns the moment from which silence is a hesitation, or `None` where silence means nothing:
    /// before the first note, lost, unsure of the place, at a hold, at the end.
    pub fn hesitation_deadline(&self) -> Option<Micros> {
        let (start, position, best) = (self.start?, self.position?, self.belief.best()?);
        let here = best.onset as usize;
        let next = here + 1;
        if self.lost || next >= self.line.onsets.len() || position.onset.0 != here {
            return None;
        }
        let onset = &self.line.onsets[here];
        if onset.is_hold {
            return None;
        }
        let c = &self.model.constants;
        let plan = &self.model.plan;
        let gap = plan.at[next] - plan.at[here];
        // Where look-alike places cannot be told apart they mostly agree on when the next onset is due.
        let agree = |onset: usize| onset == here || plan.at.get(onset + 1).is_some_and(|at| (at - plan.at[onset] - gap).abs() < 0.2 * gap);
        let sure: f64 = self.belief.live.iter().filter(|h| agree(h.onset as usize)).map(|h| h.weight).sum();
        if sure < SURE_ENOUGH {
            return None;
        }
        let known = self.timing.as_ref().filter(|t| t.n_takes(OnsetIdx(here)) > 0);
        let habit = known.map_or((0.0, UNKNOWN_SD), |t| t.at(OnsetIdx(here)));
        // Where the place is known its own slowness stands for the signs of slowing, whichever is more.
        let unsettled = UNSETTLED * (best.tempo.var - SETTLED_TEMPO_SD * SETTLED_TEMPO_SD).max(0.0).sqrt();
        let slower = slowing(best.ratios).max(habit.0) + unsettled;
        let expected = gap * (best.tempo.log_spq + slower).exp();
        let is_well_known = known.is_some_and(|t| t.n_takes(OnsetIdx(here)) >= N_TAKES_KNOWN);
        let allowance = if is_well_known { 1.0 } else { self.allowance(here) };
        // From the beginning of the onset; a chord that is spread out moves it.
        let whole = wait(expected, habit.1, allowance, c);
        let spread = best.last_partner - best.began[0];
        let rest = if spread > ROLLED_SHARE * expected { whole } else { SPREAD_SHARE * expected + c.wait_floor };
        let is_rolled = plan.roll_before_beat > 0.0 && spread > ROLLED_UP_TO_BEAT;
        let rest = if is_rolled { whole } else { rest };
        let mut deadline = (best.began[0] + whole).max(best.last_partner + rest);
        if let (Was::Free(_), Some(after)) = (best.was, plan.at.get(next + 1)) {
            // The last stroke of an ornament may have been the next onset's, and then it is the one after that which is due.
            let expected = (after - plan.at[next]) * (best.tempo.log_spq + slower).exp();
            deadline = deadline.max((self.last - start).secs_f64() + wait(expected, habit.1, allowance, c));
        }
        let deadline = Micros(start.0.saturating_add((deadline * 1e6) as i64));
        Some(deadline.max(self.last + Micros::from_millis(300)))
    }

    /// The factor A of [`wait`]: above 1 where a phrase may end, where a lever or pedal moves, and in the last bar.
    fn allowance(&self, here: usize) -> f64 {
        let plan = &self.model.plan;
        let next = here + 1;
        let last_bar = plan.at[plan.bars[plan.bars.len() - 1] as usize];
        if plan.at[next] >= last_bar || plan.at[plan.n_onsets() - 1] - plan.at[next] < FINAL_QUARTERS {
            return if self.line.ends_piece { ALLOW_PIECE_END } else { ALLOW_SPAN_END };
        }
        if self.line.is_moved_between(OnsetIdx(here), OnsetIdx(next)) {
            return ALLOW_MOVE;
        }
        let phrase_end = plan.bar[next] != plan.bar[here] && plan.weighty[plan.bar[next] as usize];
        if phrase_end { self.model.constants.wait_phrase } else { 1.0 }
    }

    /// Returns what comes next, or `None` at the end and before the first note when the take may begin anywhere.
    pub fn next_onset(&self) -> Option<OnsetIdx> {
        match (self.position, self.begin) {
            (Some(position), _) => {
                let next = position.onset.0 + 1;
                (next < self.line.onsets.len()).then_some(OnsetIdx(next))
            }
            (None, Begin::At(onset)) => Some(onset),
            (None, Begin::Anywhere) => None,
        }
    }

    /// Tells whether the last onset has been reached and all its notes heard, or surely missed.
    pub fn is_at_end(&self) -> bool {
        let last = self.line.onsets.len() - 1;
        let Some(position) = self.position else { return false };
        let due = self.model.plan.due[last];
        !position.lost
            && position.onset.0 == last
            && (self.settled > last
                || self.line.onsets[last]
                    .notes
                    .clone()
                    .enumerate()
                    .all(|(k, n)| k >= CHORD_MAX || due & (1 << k) == 0 || self.heard_by[n] > 0))
    }
}
