//! What earlier takes teach about one player: timing at each place, and where they start again.

use super::OnsetIdx;

/// Spread of the log ratio where few takes exist, its weight in takes, and its bounds (place by place .08 to .09 in the Vienna 4x22 and ASAP recordings; wider for a player unknown).
const PRIOR_SD: f64 = 0.12;
const PRIOR_TAKES: f64 = 2.0;
const SD_MIN: f64 = 0.08;
const SD_MAX: f64 = 0.25;
/// Takes' worth of belief that a place is played in tempo.
const SHRINK: f64 = 0.3;
/// Log ratios beyond this are stops, not timing: a factor of 4.
const RATIO_MAX: f64 = 1.386;

/// Per onset, how long this player takes to the next one compared with the local tempo.
///
/// Learned from takes: mean and spread of the log ratio of the time taken to the time the local
/// tempo gives, both drawn towards the model (mean 0, spread 0.12) where few takes exist.
#[derive(Clone, PartialEq, Debug)]
pub struct TimingHabit {
    places: Vec<Sums>,
    /// Pooled sum of squares around the places' means, and its count.
    n_pooled: f64,
}

#[derive(Clone, Copy, PartialEq, Debug, Default)]
struct Sums {
    n: f64,
    sum: f64,
    squares: f64,
}

impl TimingHabit {
    /// Returns the habit of a player of whom no take is known.
    pub fn new(n_onsets: usize) -> TimingHabit {
        TimingHabit { places: vec![Sums::default(); n_onsets], n_pooled: 0.0 }
    }

    /// Takes in one step: from `onset` to the next one took `exp(log_ratio)` times what the local tempo gave.
    /// See [`super::Follower::last_step`].
    pub fn observe(&mut self, onset: OnsetIdx, log_ratio: f64) {
        let Some(place) = self.places.get_mut(onset.0) else { return };
        if !log_ratio.is_finite() {
            return;
        }
        let r = log_ratio.clamp(-RATIO_MAX, RATIO_MAX);
        place.n += 1.0;
        place.sum += r;
        place.squares += r * r;
        self.n_pooled += 1.0;
    }

    /// Returns how many takes have passed an onset.
    pub fn n_takes(&self, onset: OnsetIdx) -> usize {
        self.places.get(onset.0).map_or(0, |p| p.n as usize)
    }

    /// Returns mean and standard deviation of the log ratio at an onset, shrunk.
    pub fn at(&self, onset: OnsetIdx) -> (f64, f64) {
        let Some(p) = self.places.get(onset.0) else { return (0.0, PRIOR_SD) };
        let mean = p.sum / (p.n + SHRINK);
        let around = (p.squares - 2.0 * mean * p.sum + p.n * mean * mean).max(0.0);
        let var = (PRIOR_TAKES * PRIOR_SD * PRIOR_SD + around) / (PRIOR_TAKES + p.n);
        (mean, var.sqrt().clamp(SD_MIN, SD_MAX))
    }
}

/// Where this player has gone on after a stop, counted per onset.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct RestartHabit {
    /// Sorted by onset.
    counts: Vec<(u32, u32)>,
    total: u32,
}

/// Counts' worth of belief in the general model.
const RESTARTS_PRIOR: f64 = 6.0;

impl RestartHabit {
    /// Takes in that the player went on at `to` ([`super::Finding::Restart`] or [`super::Finding::Jump`]).
    pub fn observe(&mut self, to: OnsetIdx) {
        let to = to.0 as u32;
        match self.counts.binary_search_by_key(&to, |c| c.0) {
            Ok(i) => self.counts[i].1 += 1,
            Err(i) => self.counts.insert(i, (to, 1)),
        }
        self.total += 1;
    }

    /// Mixes the habit into the places of the general model by Dirichlet smoothing: `(prior * a + count) / (a + total)`.
    pub(super) fn mix_into(&self, places: &mut Vec<(u32, f64)>) {
        let weight = 1.0 / (RESTARTS_PRIOR + f64::from(self.total));
        for (_, p) in places.iter_mut() {
            *p *= RESTARTS_PRIOR * weight;
        }
        places.extend(self.counts.iter().map(|(to, count)| (*to, f64::from(*count) * weight)));
    }
}
