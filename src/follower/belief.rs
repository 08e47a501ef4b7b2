//! The belief over score positions: a set of weighted hypotheses, two per onset at most, updated with every note.
//!
//! A forward filter over onsets as in score following with hidden Markov models (Nakamura, Nakamura
//! & Sagayama, arXiv 1404.2313), kept sparse: an onset without weight costs nothing. Each hypothesis
//! also remembers what was played of its last chords and its own tempo (as in the semi-Markov model
//! of Nakamura et al., ISMIR 2015, and Cont 2010), so that a chord's late notes and the time between
//! onsets are evidence.

mod elsewhere;

use super::model::{ANY_KEY, Model};
use super::plan::Plan;
use super::sounding::{Sounding, Strike};
use super::timing::TempoBelief;

/// Onsets whose played notes a hypothesis remembers, the present one included.
pub(super) const DEPTH: usize = 4;
/// Onsets that may be left out in one step.
const SKIP_MAX: usize = 4;
/// Hypotheses lighter than this share of the heaviest are dropped.
const PRUNE: f64 = 1e-5;
/// Hypotheses kept per onset, with different memories of what was played of it.
const VARIANTS: usize = 2;
/// Most hypotheses kept.
const BEAM: usize = 192;
/// Chance that the next note is a stroke of an ornament that sounds: about as likely as going on. It fades with the time since
/// the last note, in seconds: after a silence no ornament goes on (reasoned defaults).
const FREE_STROKE: f64 = 0.7;
const STROKES_APART: f64 = 0.3;
/// How much less likely a note is to be heard by another of its keys than by its own (a reasoned default: of two readings of
/// one key the plain one is taken, and a whole piece heard by the others is still followed).
const BY_ANOTHER_KEY: f64 = 0.3;
/// Chance that a chord of a harp is rolled (a reasoned default).
const CHORD_ROLLS: f64 = 0.3;
/// How much likelier than a step in time a roll must be before its beginning is no measure of time (a reasoned default).
const SURELY_ROLLED: f64 = 5.0;
/// The last stroke of an ornament may come this much after the next onset began, seconds (a chord's usual spread; a reasoned default).
const LATE_STROKE: f64 = 0.1;

/// What a note was, under one hypothesis.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) enum Was {
    /// A note of the line, by index.
    Note(u32),
    /// Stood for a note of the line.
    WrongFor(u32),
    Extra,
    Ghost,
    /// A note of the line struck once more.
    Again(u32),
    /// A stroke of an ornament that sounds.
    Free(u32),
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Hypothesis {
    pub onset: u32,
    pub weight: f64,
    /// Weight of all hypotheses at this onset together, 0 to 1.
    pub mass: f64,
    /// Weight of the heaviest path that ends here: its memory is the one kept.
    lead: f64,
    /// Per remembered onset, newest first: bit k when its k-th note was heard or stood for.
    pub played: [u32; DEPTH],
    /// Notes of the present chord that something wrong stood for: they may still be put right.
    pub stood: u32,
    /// When each of them began, seconds.
    pub began: [f64; DEPTH],
    /// When the last of the present chord's notes came.
    pub last_partner: f64,
    pub tempo: TempoBelief,
    /// Where this path last landed from elsewhere, from where, and the number of the note.
    pub landed: Option<Landed>,
    pub was: Was,
    /// Log ratios of the last two steps of one onset to what the tempo gave, newest first.
    pub ratios: [f64; 2],
    /// The last note made such a step.
    pub stepped: bool,
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Landed {
    pub from: u32,
    pub to: u32,
    pub note_number: u32,
    /// Without a stop before: in time for the next onset, or as a look-alike's continuation.
    pub in_flow: bool,
}

/// Chances summed over all hypotheses that a note was a slip, a ghost, and so on.
#[derive(Clone, Copy, Default, Debug)]
pub(super) struct Tally {
    pub wrong: f64,
    pub extra: f64,
    pub ghost: f64,
    pub again: f64,
    pub free: f64,
    pub lost: f64,
}

#[derive(Clone, Debug)]
pub(super) struct Belief {
    pub live: Vec<Hypothesis>,
    next: Vec<Hypothesis>,
    /// Share of belief that nothing explains the playing.
    pub lost: f64,
    pub tally: Tally,
    /// Weight of each line note as the meaning of the last note, with the notes touched.
    note_weight: Vec<f64>,
    touched: Vec<u32>,
    /// Per onset and variant: where its hypothesis stands in `next`, valid when `stamp` equals `round`.
    slot: Vec<u32>,
    stamp: Vec<u32>,
    round: u32,
    likely: Vec<(u32, f64)>,
    sounding: Sounding,
    last_at: f64,
    heaviest: f64,
}

impl Belief {
    pub fn new(plan: &Plan) -> Belief {
        Belief {
            live: Vec::with_capacity(2 * BEAM),
            next: Vec::with_capacity(2 * BEAM),
            lost: 0.0,
            tally: Tally::default(),
            note_weight: vec![0.0; plan.keys.len()],
            touched: Vec::with_capacity(4 * BEAM),
            slot: vec![0; VARIANTS * plan.n_onsets()],
            stamp: vec![0; VARIANTS * plan.n_onsets()],
            round: 0,
            likely: Vec::with_capacity(64),
            sounding: Sounding::new(),
            last_at: 0.0,
            heaviest: 0.0,
        }
    }

    /// Returns the most likely hypothesis.
    pub fn best(&self) -> Option<&Hypothesis> {
        self.live.iter().max_by(|a, b| a.mass.total_cmp(&b.mass).then(b.onset.cmp(&a.onset)).then(a.weight.total_cmp(&b.weight)))
    }

    /// Returns the line note that the last note most likely was, with its chance.
    pub fn best_note(&self) -> Option<(u32, f64)> {
        let heavier = |a: &(u32, f64), b: &(u32, f64)| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0));
        self.touched.iter().map(|n| (*n, self.note_weight[*n as usize])).max_by(heavier)
    }

    fn open_round(&mut self) {
        self.next.clear();
        self.tally = Tally::default();
        for note in self.touched.drain(..) {
            self.note_weight[note as usize] = 0.0;
        }
        self.heaviest = 0.0;
        self.round = self.round.wrapping_add(1);
        if self.round == 0 {
            self.stamp.fill(0);
            self.round = 1;
        }
    }

    /// Adds a path on which the last note was a note of the line.
    fn add_note(&mut self, model: &Model, key: u8, mut path: Hypothesis) {
        if let Was::Note(note) = path.was
            && !model.plan.is_own(note, key)
        {
            path.weight *= BY_ANOTHER_KEY;
        }
        self.add(path);
    }

    /// Adds one path to the belief, joined with what already ends at its onset.
    fn add(&mut self, mut path: Hypothesis) {
        let w = path.weight;
        if w <= self.heaviest * PRUNE {
            return;
        }
        match path.was {
            Was::Note(note) => {
                let weight = &mut self.note_weight[note as usize];
                if *weight == 0.0 {
                    self.touched.push(note);
                }
                *weight += w;
            }
            Was::WrongFor(_) => self.tally.wrong += w,
            Was::Extra => self.tally.extra += w,
            Was::Ghost => self.tally.ghost += w,
            Was::Again(_) => self.tally.again += w,
            Was::Free(_) => self.tally.free += w,
        }
        path.lead = w;
        // Two memories are kept at an onset: what one path takes for played the other may still expect.
        let mut room = None;
        let mut lighter: Option<usize> = None;
        for cell in VARIANTS * path.onset as usize..VARIANTS * (path.onset as usize + 1) {
            if self.stamp[cell] != self.round {
                room = room.or(Some(cell));
                continue;
            }
            let there = self.slot[cell] as usize;
            if self.next[there].played[0] == path.played[0] {
                (room, lighter) = (None, Some(there));
                break;
            }
            if lighter.is_none_or(|l| self.next[there].weight < self.next[l].weight) {
                lighter = Some(there);
            }
        }
        match (room, lighter) {
            (Some(cell), _) => {
                self.stamp[cell] = self.round;
                self.slot[cell] = self.next.len() as u32;
                self.next.push(path);
                self.heaviest = self.heaviest.max(w);
            }
            (None, Some(there)) => {
                let there = &mut self.next[there];
                let sum = there.weight + w;
                if w > there.lead {
                    *there = path;
                }
                there.weight = sum;
                self.heaviest = self.heaviest.max(sum);
            }
            (None, None) => {}
        }
    }

    /// Starts from nothing: `prior` gives the chance of beginning at each onset it lists.
    pub fn begin(&mut self, model: &Model, strike: Strike, tempo: TempoBelief, prior: &[(u32, f64)], anywhere: f64) {
        self.open_round();
        let c = &model.constants;
        for &(onset, p) in prior {
            let i = onset as usize;
            let fresh = |was, k: usize| Hypothesis::fresh(onset, 1 << k, strike.at, tempo, was);
            let first = model.plan.first[i];
            if let Some(Ok(k)) = model.plan.find(i, strike.key, 0) {
                let weight = p / f64::from(model.plan.due[i].count_ones().max(1));
                self.add_note(model, strike.key, Hypothesis { weight, ..fresh(Was::Note(first + k as u32), k) });
            } else if let Some((q, k)) = model.mistaken(i, strike.key, 0) {
                self.add(Hypothesis { weight: p * c.p_wrong * q, ..fresh(Was::WrongFor(first + k as u32), k) });
            }
        }
        for &onset in model.plan.holders(strike.key) {
            let i = onset as usize;
            if let Some(Ok(k)) = model.plan.find(i, strike.key, 0) {
                let weight = anywhere * model.landing.anywhere(&model.plan, i) / f64::from(model.plan.due[i].count_ones().max(1));
                let was = Was::Note(model.plan.first[i] + k as u32);
                self.add_note(model, strike.key, Hypothesis { weight, ..Hypothesis::fresh(onset, 1 << k, strike.at, tempo, was) });
            }
        }
        self.lost = 0.01 * anywhere.max(0.001) * ANY_KEY;
        self.close_round(strike);
    }

    /// Takes in one note.
    pub fn update(&mut self, model: &Model, strike: Strike) {
        self.open_round();
        let since_last = strike.at - self.last_at;
        let stray = model.delays.stray(since_last);
        let stop = model.delays.stop(since_last);
        let stroke = FREE_STROKE * stray * (-since_last / STROKES_APART).exp();
        let (ghost, soft) = (self.sounding.ghost(&model.constants, strike), self.sounding.soft(strike));
        let live = std::mem::take(&mut self.live);
        let mut jump = 0.0;
        let c = &model.constants;
        let leave = c.p_jump * ((1.0 - c.p_jump_in_flow) * stop + c.p_jump_in_flow * stray);
        for h in &live {
            self.go_on(model, h, strike, stray, stroke, ghost, soft);
            jump += h.weight * leave;
        }
        self.jump(model, &live, strike, jump, leave, stray);
        let kept: f64 = live.iter().map(|h| h.weight).sum();
        self.lost = (self.lost * (1.0 - c.p_found) + kept * c.p_lost) * stray * ANY_KEY;
        self.live = live;
        self.close_round(strike);
    }

    /// All that can follow a hypothesis without going elsewhere.
    #[allow(clippy::too_many_arguments)] // The step's own numbers, worked out once for all hypotheses.
    fn go_on(&mut self, model: &Model, h: &Hypothesis, strike: Strike, stray: f64, stroke: f64, ghost: f64, soft: f64) {
        let (plan, c, delays) = (&model.plan, &model.constants, &model.delays);
        let i = h.onset as usize;
        let w = h.weight;
        let since = strike.at - h.began[0];
        let open = plan.due[i] & !h.played[0];
        let m = open.count_ones();
        let stay = |weight: f64, was: Was| Hypothesis { weight, was, stepped: false, ..*h };
        let first = plan.first[i];
        let partner = || {
            let usual = delays.partner(since, strike.at - h.last_partner, h.played[0].count_ones());
            let is_roll = plan.roll_longest > 0.0 && since < plan.roll_longest;
            if is_roll { (1.0 - CHORD_ROLLS) * usual + CHORD_ROLLS / plan.roll_longest } else { usual }
        };

        match plan.find(i, strike.key, h.played[0]) {
            Some(Ok(k)) => {
                let weight = w * c.p_partner * partner() / f64::from(m.max(1));
                let mut path = stay(weight, Was::Note(first + k as u32));
                path.played[0] |= 1 << k;
                path.last_partner = strike.at;
                self.add_note(model, strike.key, path);
            }
            Some(Err(k)) if h.stood & (1 << k) != 0 => {
                let mut path = stay(w * c.p_put_right * delays.stray(since), Was::Note(first + k as u32));
                path.stood &= !(1 << k);
                path.last_partner = strike.at;
                self.add(path);
            }
            Some(Err(k)) => self.add(stay(w * c.p_repeat * stray, Was::Again(first + k as u32))),
            None => {
                if let Some((q, k)) = model.mistaken(i, strike.key, h.played[0]) {
                    let mut path = stay(w * c.p_wrong * q * partner(), Was::WrongFor(first + k as u32));
                    path.played[0] |= 1 << k;
                    path.stood |= 1 << k;
                    path.last_partner = strike.at;
                    self.add(path);
                }
            }
        }
        // Late notes of the onsets before.
        for d in 1..DEPTH.min(i + 1) {
            let j = i - d;
            if plan.due[j] & !h.played[d] == 0 {
                continue;
            }
            if let Some(Ok(k)) = plan.find(j, strike.key, h.played[d]) {
                let weight = w * c.p_late * delays.late(strike.at - h.began[d]);
                let mut path = stay(weight, Was::Note(plan.first[j] + k as u32));
                path.played[d] |= 1 << k;
                self.add_note(model, strike.key, path);
            }
        }
        // A stroke of an ornament, or its last ones while the next onset begins.
        let free = plan.free(i, strike.key).or_else(|| if i > 0 && since < LATE_STROKE { plan.free(i - 1, strike.key) } else { None });
        if let Some(note) = free {
            self.add(stay(w * stroke, Was::Free(note)));
        }
        // A string may sound along a moment before the one that moves it is heard.
        let mut along = ghost;
        if soft > 1.0 {
            let octave_due = |onset: usize, played: u32| {
                let up = plan.find(onset, strike.key.saturating_add(12), played);
                up.or_else(|| plan.find(onset, strike.key.saturating_sub(12), played)).is_some_and(|found| found.is_ok())
            };
            if open != 0 && octave_due(i, h.played[0]) {
                along += c.p_sympathetic * soft * partner();
            } else if i + 1 < plan.n_onsets() && octave_due(i + 1, 0) {
                let expected = model.expected(i, i + 1, &h.tempo);
                along += c.p_sympathetic * soft * delays.step(since, expected, h.tempo.var, 0.0).0;
            }
        }
        if along > 0.0 {
            self.add(stay(w * along, Was::Ghost));
        }
        // A key beside one of the chord's is hit more easily than any other.
        let beside = plan.notes(i).map(|n| model.wrong_key[(plan.keys[n].abs_diff(strike.key) as usize).min(12)]).fold(0.0, f64::max);
        self.add(stay(w * c.p_extra * stray * 0.5 * (ANY_KEY + beside), Was::Extra));

        // The next onsets.
        let mut p = if m == 0 { c.p_partner } else { c.p_leave_one * c.p_leave_more.powi(m as i32 - 1) };
        for j in i + 1..(i + 1 + SKIP_MAX).min(plan.n_onsets()) {
            match plan.find(j, strike.key, 0) {
                Some(Ok(k)) => {
                    let weight = w * p / f64::from(plan.due[j].count_ones().max(1));
                    self.step(model, h, j, k, strike, weight, Was::Note(plan.first[j] + k as u32));
                }
                _ if j == i + 1 => {
                    if let Some((q, k)) = model.mistaken(j, strike.key, 0) {
                        self.step(model, h, j, k, strike, w * p * c.p_wrong * q, Was::WrongFor(plan.first[j] + k as u32));
                    }
                }
                _ => {}
            }
            p *= match plan.due[j].count_ones() {
                0 => 1.0,
                1 => c.p_skip_single,
                _ => c.p_skip_chord,
            };
            if w * p < self.heaviest * PRUNE * 1e-3 {
                break;
            }
        }
    }

    /// One way to go on to an onset ahead: its time is evidence, and moves the tempo.
    #[allow(clippy::too_many_arguments)] // What was found out about this way of going on.
    fn step(&mut self, model: &Model, h: &Hypothesis, to: usize, k: usize, strike: Strike, weight: f64, was: Was) {
        let from = h.onset as usize;
        let expected = model.expected(from, to, &h.tempo);
        let spread = (h.last_partner - h.began[0]).max(0.0);
        let rolls = model.plan.roll_before_beat;
        let elapsed = strike.at - h.began[0];
        let (mut density, surprise, mut var_obs) = model.delays.step(elapsed, expected, h.tempo.var, spread);
        // A roll that ends on its beat begins before it.
        let early = expected - elapsed;
        let mut is_roll = false;
        if rolls > 0.0 && early > 0.0 && early < rolls && model.plan.due[to].count_ones() > 1 {
            let rolling = CHORD_ROLLS / rolls;
            is_roll = rolling > SURELY_ROLLED * density;
            density = (1.0 - CHORD_ROLLS) * density + rolling;
            if is_roll {
                // It says little of the tempo.
                var_obs += (rolls / expected) * (rolls / expected);
            }
        }
        let mut path = *h;
        path.onset = to as u32;
        path.weight = weight * density;
        let by = to - from;
        for d in (0..DEPTH).rev() {
            (path.played[d], path.began[d]) = if d >= by {
                (h.played[d - by], h.began[d - by])
            } else {
                // Left out on the way: may still come late.
                (0, strike.at)
            };
        }
        path.played[0] = 1 << k;
        path.stood = if matches!(was, Was::WrongFor(_)) { 1 << k } else { 0 };
        path.last_partner = strike.at;
        path.tempo.update(surprise, var_obs, &model.constants);
        path.was = was;
        path.stepped = by == 1 && !is_roll;
        if path.stepped {
            path.ratios = [surprise, h.ratios[0]];
        }
        self.add_note(model, strike.key, path);
    }

    fn close_round(&mut self, strike: Strike) {
        for i in 0..self.next.len() {
            let cells = VARIANTS * self.next[i].onset as usize..VARIANTS * (self.next[i].onset as usize + 1);
            self.next[i].mass = cells.filter(|c| self.stamp[*c] == self.round).map(|c| self.next[self.slot[c] as usize].weight).sum();
        }
        let cut = self.heaviest * PRUNE;
        self.next.retain(|h| h.weight > cut);
        if self.next.len() > BEAM {
            self.next.select_nth_unstable_by(BEAM, |a, b| b.weight.total_cmp(&a.weight).then(a.onset.cmp(&b.onset)));
            self.next.truncate(BEAM);
        }
        let total: f64 = self.next.iter().map(|h| h.weight).sum::<f64>() + self.lost;
        if total > 0.0 && total.is_finite() {
            let scale = 1.0 / total;
            self.next.iter_mut().for_each(|h| {
                h.weight *= scale;
                // Paths that were cut still count in it: it can come out a little above the whole.
                h.mass = (h.mass * scale).min(1.0);
            });
            for note in &self.touched {
                self.note_weight[*note as usize] *= scale;
            }
            self.lost *= scale;
            let t = &mut self.tally;
            t.lost = self.lost;
            [&mut t.wrong, &mut t.extra, &mut t.ghost, &mut t.again, &mut t.free].into_iter().for_each(|x| *x *= scale);
            std::mem::swap(&mut self.live, &mut self.next);
        } else {
            // Nothing left that could be told apart: keep the belief as it was.
            self.lost = 1.0 - self.live.iter().map(|h| h.weight).sum::<f64>().min(1.0);
        }
        self.sounding.hear(strike);
        self.last_at = strike.at;
    }
}

impl Hypothesis {
    fn fresh(onset: u32, played: u32, at: f64, tempo: TempoBelief, was: Was) -> Hypothesis {
        let mut all = [u32::MAX; DEPTH];
        all[0] = played;
        Hypothesis {
            onset,
            weight: 0.0,
            mass: 0.0,
            lead: 0.0,
            played: all,
            stood: if matches!(was, Was::WrongFor(_)) { played } else { 0 },
            began: [at; DEPTH],
            last_partner: at,
            tempo,
            landed: None,
            was,
            ratios: [0.0; 2],
            stepped: false,
        }
    }
}
