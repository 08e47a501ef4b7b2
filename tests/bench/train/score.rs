//! Scores what the follower says of a case, as `score.py` of the bench does, and what that leaves out.

use std::fmt::Write as _;
use std::ops::Range;

use catchword::follower::{Begin, Finding, Follower, FollowerConfig, Heard, OnsetIdx, SlipKind, TimingHabit};
use catchword::midi::{MidiKey, Velocity};
use catchword::time::Micros;

use super::case::{Case, Label};

/// What the follower said of one note.
#[derive(Clone, Copy, Debug)]
pub struct Said {
    pub note: Option<usize>,
    pub heard: Heard,
    pub beat: f64,
    /// Until when silence after it is natural, the local tempo, and the belief in the place.
    pub deadline: Option<f64>,
    pub quarters_per_minute: f64,
    pub confidence: f32,
    pub is_lost: bool,
    /// The onset believed.
    pub onset: usize,
}

#[derive(Clone, Debug, Default)]
pub struct Run {
    pub notes: Vec<Said>,
    pub hesitations: Vec<f64>,
    pub findings: Vec<Finding>,
}

/// Follows one case from its beginning.
pub fn run(case: &Case, config: FollowerConfig) -> Run {
    let mut out = Run { notes: Vec::with_capacity(case.take.len()), ..Run::default() };
    follow(case, &mut Follower::new(case.line.clone(), config), 0..case.take.len(), &mut out);
    out
}

/// Follows one case with a follower that is told the truth up to each restart or jump: what is lost then is not
/// lost by where the player came from.
pub fn run_told(case: &Case, config: &FollowerConfig) -> Run {
    let mut out = Run { notes: Vec::with_capacity(case.take.len()), ..Run::default() };
    let onset_of = |beat: f64| OnsetIdx(onset_at(case, beat));
    let first = |t: f64| case.take.partition_point(|n| n.t < t - 0.2);
    let mut stretches = vec![(0, case.take.iter().find(|n| n.row >= 0).map_or(OnsetIdx(0), |n| onset_of(case.rows[n.row as usize].onset)))];
    stretches.extend(case.events.iter().map(|(t, to)| (first(*t), onset_of(*to))));
    for (i, (start, _)) in stretches.iter().enumerate() {
        let end = stretches.get(i + 1).map_or(case.take.len(), |s| s.0);
        let told = |onset| Follower::new(case.line.clone(), FollowerConfig { begin: Begin::At(onset), ..config.clone() });
        let mut follower = match i.checked_sub(1).map(|before| stretches[before]) {
            None => Follower::new(case.line.clone(), config.clone()),
            Some((from, onset)) => {
                let mut follower = told(onset);
                follow(case, &mut follower, from..*start, &mut Run::default());
                follower
            }
        };
        follow(case, &mut follower, *start..end, &mut out);
    }
    out
}

/// Lets a follower hear some notes of a case.
fn follow(case: &Case, follower: &mut Follower, notes: Range<usize>, out: &mut Run) {
    for played in &case.take[notes] {
        let at = Micros::from_secs_f64(played.t);
        if let Some(deadline) = follower.hesitation_deadline().filter(|d| *d < at) {
            out.hesitations.push(deadline.secs_f64());
            follower.silence(deadline, &mut out.findings);
        }
        let key = MidiKey::try_new(i32::from(played.pitch)).expect("pitches lie within 0..128");
        let said = follower.note(at, key, Velocity(played.velocity), &mut out.findings);
        out.notes.push(Said {
            note: said.note.filter(|_| said.heard == Heard::Expected).map(|n| n.0),
            heard: said.heard,
            beat: case.beats[said.position.onset.0],
            deadline: follower.hesitation_deadline().map(Micros::secs_f64),
            quarters_per_minute: follower.tempo().map_or(f64::NAN, |t| t.quarters_per_minute),
            confidence: said.position.confidence,
            is_lost: said.position.lost,
            onset: said.position.onset.0,
        });
    }
}

/// Lets a timing habit learn from a take.
pub fn learn(case: &Case, config: FollowerConfig, habit: &mut TimingHabit) {
    let mut follower = Follower::new(case.line.clone(), config);
    let mut findings = Vec::new();
    for played in &case.take {
        let key = MidiKey::try_new(i32::from(played.pitch)).expect("pitches lie within 0..128");
        follower.note(Micros::from_secs_f64(played.t), key, Velocity(played.velocity), &mut findings);
        if let Some(step) = follower.last_step() {
            habit.observe(step.from, step.log_ratio);
        }
    }
}

/// Prints a run as `catchword trace --json` would.
pub fn json_lines(case: &Case, run: &Run) -> String {
    let mut out = String::new();
    let mut calls = run.hesitations.iter().peekable();
    for (played, said) in case.take.iter().zip(&run.notes) {
        while let Some(t) = calls.next_if(|t| **t < played.t) {
            let _ = writeln!(out, "{{\"kind\":\"hesitation\",\"t\":{t:.4}}}");
        }
        let heard = format!("{:?}", said.heard).to_lowercase();
        let note = said.note.map_or("null".to_owned(), |n| n.to_string());
        let _ = writeln!(out, "{{\"kind\":\"note\",\"score_note\":{note},\"heard\":\"{heard}\",\"beat\":{:.6}}}", said.beat);
    }
    out
}

#[derive(Clone, Debug, Default)]
pub struct Totals {
    pub said: usize,
    pub gold: usize,
    pub hit: usize,
    pub false_slips: usize,
    pub slips: usize,
    pub slip_hit: usize,
    pub slip_said: usize,
    pub ghosts: usize,
    pub ghost_slip: usize,
    pub errors: Vec<f64>,
    /// Notes believed more than a beat off, where the same notes stand as in the true place.
    pub in_look_alike: usize,
    pub relock: Vec<f64>,
    pub pauses: usize,
    pub pause_hit: usize,
    pub delay: Vec<f64>,
    pub stray: usize,
    pub minutes: f64,
    pub missed: usize,
    pub missed_said: usize,
    pub missed_hit: usize,
    pub landings_said: usize,
    pub lost_said: usize,
}

pub fn tally(case: &Case, run: &Run, t: &mut Totals) {
    let rows = &case.rows;
    let same = |a: usize, b: usize| rows[a].onset == rows[b].onset && rows[a].pitch == rows[b].pitch;
    for (said, played) in run.notes.iter().zip(&case.take) {
        let slip = matches!(said.heard, Heard::Wrong | Heard::Extra);
        t.said += usize::from(said.note.is_some());
        t.slip_said += usize::from(slip);
        if played.row >= 0 {
            let gold = played.row as usize;
            t.gold += 1;
            t.hit += usize::from(said.note.is_some_and(|n| same(n, gold)));
            t.false_slips += usize::from(slip);
            let error = (said.beat - rows[gold].onset).abs();
            t.errors.push(error);
            t.in_look_alike += usize::from(error > 1.0 && is_alike(case, said.onset, onset_at(case, rows[gold].onset)));
        } else if matches!(played.label, Label::Wrong | Label::Extra) {
            t.slips += 1;
            t.slip_hit += usize::from(slip);
        } else {
            t.ghosts += 1;
            t.ghost_slip += usize::from(slip);
        }
    }
    let right: Vec<usize> = (0..case.take.len()).filter(|i| case.take[*i].row >= 0).collect();
    for (at, _) in &case.events {
        let ok: Vec<bool> = right
            .iter()
            .filter(|i| case.take[**i].t >= at - 0.2)
            .take(200)
            .map(|i| (run.notes[*i].beat - rows[case.take[*i].row as usize].onset).abs() <= 0.5)
            .collect();
        let lock = (0..ok.len()).find(|k| ok[*k..(*k + 3).min(ok.len())].iter().all(|x| *x)).unwrap_or(ok.len());
        t.relock.push(lock as f64);
    }
    let quiet = quiet(case);
    for p in &case.pauses {
        t.pauses += 1;
        if let Some(first) = run.hesitations.iter().copied().filter(|c| p.start < *c && *c < p.end).reduce(f64::min) {
            t.pause_hit += 1;
            t.delay.push(first - p.start - 0.35);
        }
    }
    t.stray += run.hesitations.iter().filter(|c| !quiet.iter().any(|(a, b)| a <= *c && *c <= b)).count();
    t.minutes += case.seconds / 60.0;
    for finding in &run.findings {
        match finding {
            Finding::Restart { .. } | Finding::Jump { .. } => t.landings_said += 1,
            Finding::Lost { .. } => t.lost_said += 1,
            _ => {}
        }
    }
    if let Some(missed) = &case.missed {
        let mut open: Vec<(f64, usize)> = missed.clone();
        t.missed += open.len();
        for finding in &run.findings {
            let Finding::Slip(slip) = finding else { continue };
            let (SlipKind::Missed, Some(note)) = (slip.kind, slip.note) else { continue };
            t.missed_said += 1;
            let at = slip.at.secs_f64();
            if let Some(i) = open.iter().position(|(when, row)| same(*row, note.0) && (-0.5..8.0).contains(&(at - when))) {
                open.swap_remove(i);
                t.missed_hit += 1;
            }
        }
    }
}

fn onset_at(case: &Case, beat: f64) -> usize {
    case.beats.partition_point(|b| *b < beat - 1e-6).min(case.beats.len() - 1)
}

/// Whether the same keys stand at two onsets and at the two that follow each: playing there cannot tell the two apart.
fn is_alike(case: &Case, a: usize, b: usize) -> bool {
    let keys =
        |onset: usize| case.line.onsets.get(onset).map(|o| case.line.notes[o.notes.clone()].iter().map(|n| n.key).collect::<Vec<_>>());
    (0..3).all(|d| keys(a + d) == keys(b + d))
}

/// When a call is no false one: in pauses, and around restarts and jumps.
pub fn quiet(case: &Case) -> Vec<(f64, f64)> {
    let mut quiet: Vec<(f64, f64)> = case.pauses.iter().map(|p| (p.start, p.end + 0.1)).collect();
    quiet.extend(case.events.iter().map(|(t, _)| (t - 3.5, t + 1.5)));
    quiet
}

fn quantile(xs: &[f64], q: f64) -> f64 {
    let mut xs = xs.to_vec();
    xs.sort_by(f64::total_cmp);
    xs.get(((q * xs.len() as f64) as usize).min(xs.len().saturating_sub(1))).copied().unwrap_or(f64::NAN)
}

/// As Python's `statistics.median`.
fn median(xs: &[f64]) -> f64 {
    let mut xs = xs.to_vec();
    xs.sort_by(f64::total_cmp);
    match xs.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => xs[n / 2],
        n => 0.5 * (xs[n / 2 - 1] + xs[n / 2]),
    }
}

impl Totals {
    pub fn figures(&self) -> Vec<(&'static str, f64)> {
        let share = |a: usize, b: usize| a as f64 / b.max(1) as f64;
        let within = self.errors.iter().filter(|e| **e <= 1.0).count();
        let (p, r) = (share(self.hit, self.said), share(self.hit, self.gold));
        vec![
            ("match P", p),
            ("match R", r),
            ("match F", 2.0 * p * r / (p + r).max(1e-9)),
            ("pos p95", quantile(&self.errors, 0.95)),
            ("within 1 beat", within as f64 / self.errors.len().max(1) as f64),
            ("... or in a look-alike", (within + self.in_look_alike) as f64 / self.errors.len().max(1) as f64),
            ("slip P", share(self.slip_hit, self.slip_said)),
            ("slip R", share(self.slip_hit, self.slips)),
            ("false/1000", 1000.0 * share(self.false_slips, self.gold)),
            ("ghosts called slips", share(self.ghost_slip, self.ghosts)),
            ("relock median", median(&self.relock)),
            ("relock p90", quantile(&self.relock, 0.9)),
            ("pause hit", share(self.pause_hit, self.pauses)),
            ("delay median", median(&self.delay)),
            ("false/min", self.stray as f64 / self.minutes.max(1e-9)),
            ("missed P", share(self.missed_hit, self.missed_said)),
            ("missed R", share(self.missed_hit, self.missed)),
            ("landings said / true", share(self.landings_said, self.relock.len())),
            ("lost said", self.lost_said as f64),
        ]
    }
}
