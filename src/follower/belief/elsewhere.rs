//! Going on elsewhere than the line does: back, ahead, or the way of a look-alike.

use super::super::model::Model;
use super::super::plan::{LIKE, LIKE_MIN};
use super::super::sounding::Strike;
use super::{Belief, Hypothesis, Landed, PRUNE, Was};

/// Sources of a jump that are told apart; the others share the prior that knows no source.
const SOURCES: usize = 3;
/// A player who goes elsewhere within this many times the expected time has not stopped before.
const IN_TIME: f64 = 1.5;

impl Belief {
    /// All ways to go on elsewhere, `total` of belief times density in all.
    pub(super) fn jump(&mut self, model: &Model, live: &[Hypothesis], strike: Strike, total: f64, leave: f64, stray: f64) {
        let (plan, c) = (&model.plan, &model.constants);
        let found = self.lost * c.p_found * stray;
        let all = total + found;
        if all <= self.heaviest * PRUNE {
            return;
        }
        let Some(lead) = live.iter().max_by(|a, b| a.mass.total_cmp(&b.mass).then(a.weight.total_cmp(&b.weight))).copied() else { return };
        // Known sources: the heaviest few.
        let mut done = [u32::MAX; SOURCES];
        for n in 0..SOURCES {
            let Some(h) =
                live.iter().filter(|h| !done.contains(&h.onset)).max_by(|a, b| a.mass.total_cmp(&b.mass).then(b.onset.cmp(&a.onset)))
            else {
                break;
            };
            done[n] = h.onset;
            let weight = h.mass * leave;
            if weight <= self.heaviest * PRUNE {
                break;
            }
            let mut likely = std::mem::take(&mut self.likely);
            model.landing.likely(plan, h.onset as usize, model.restarts.as_ref(), c, &mut likely);
            for &(to, p) in &likely {
                self.land(model, h, to, weight * p, strike, false);
            }
            self.likely = likely;
        }
        let from = lead.onset as usize;
        let turn = lead.weight * c.p_wrong_turn;
        // In fluent playing no place of a long piece is likely enough to be looked at.
        let anywhere = all * model.landing.anywhere_most() > self.heaviest * PRUNE;
        if !anywhere && turn <= self.heaviest * PRUNE {
            return;
        }
        for &to in plan.holders(strike.key) {
            let j = to as usize;
            if anywhere {
                self.land(model, &lead, to, all * model.landing.anywhere(plan, j), strike, false);
            }
            // A look-alike's continuation, in tempo.
            if j > 0 && j != from + 1 && plan.digest[j - 1] == plan.digest[from] && turn > self.heaviest * PRUNE {
                let alike = plan.likeness(from, j - 1, LIKE);
                if alike >= LIKE_MIN {
                    let expected = ((plan.at[j] - plan.at[j - 1]) * lead.tempo.log_spq.exp()).max(0.01);
                    let (density, ..) = model.delays.step(strike.at - lead.began[0], expected, lead.tempo.var, 0.0);
                    self.land(model, &lead, to, turn * density, strike, true);
                }
            }
        }
    }

    fn land(&mut self, model: &Model, from: &Hypothesis, to: u32, weight: f64, strike: Strike, alike: bool) {
        let j = to as usize;
        let weight = weight / f64::from(model.plan.due[j].count_ones().max(1));
        if weight <= self.heaviest * PRUNE {
            return;
        }
        if let Some(Ok(k)) = model.plan.find(j, strike.key, 0) {
            let mut path = Hypothesis::fresh(to, 1 << k, strike.at, from.tempo, Was::Note(model.plan.first[j] + k as u32));
            path.weight = weight;
            path.tempo.var += 0.01;
            let next = (from.onset as usize + 1).min(model.plan.n_onsets() - 1);
            let in_time = strike.at - from.began[0] < IN_TIME * model.expected(from.onset as usize, next, &from.tempo);
            path.landed = Some(Landed { from: from.onset, to, note_number: strike.number, in_flow: alike || in_time });
            self.add_note(model, strike.key, path);
        }
    }
}
