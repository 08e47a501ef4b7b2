//! The plan set against simpler ones, on virtual learners: the reason to trust it, and what guards it.
//!
//! Each learner practises one piece for some weeks with so many minutes a day, by each plan, and forgets by a law that the
//! plan does not know ([`learner`]). What is counted is the probability that the whole piece holds on the day of the performance: the
//! product over sections, joins and exits. The numbers compare plans; they promise no player anything.

mod learner;
mod session;

use chrono::{Days, NaiveDate};

use super::item::{Layout, PlaceAt, SectionAt};
use super::piece_memory::{PieceFacts, PieceMemory};

/// How a learner spends the minutes of a day.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Policy {
    /// As [`super::plan`] says.
    Plan,
    /// Every section once clean in page order, round and round while there are minutes, and the whole piece at the end.
    AllDaily,
    /// Each section three times clean in page order, on where it stopped the day before, and the whole piece at the end.
    ThreeTimes,
}

impl Policy {
    pub const ALL: [Policy; 3] = [Policy::Plan, Policy::AllDaily, Policy::ThreeTimes];

    pub fn words(self) -> &'static str {
        match self {
            Policy::Plan => msgid!("this plan"),
            Policy::AllDaily => msgid!("all sections daily"),
            Policy::ThreeTimes => msgid!("three times each"),
        }
    }
}

#[derive(Clone, PartialEq, Debug)]
pub struct SimulateConfig {
    pub seed: u64,
    pub n_learners: usize,
    /// Days from the first practice to the performance.
    pub n_days: u64,
    pub n_sections: usize,
    /// Minutes a day to try, rests included.
    pub minutes: Vec<f64>,
}

impl SimulateConfig {
    /// Three months with a piece of twenty-four sections (about five minutes of music) and three pairs of look-alikes.
    pub fn usual(seed: u64) -> Self {
        SimulateConfig { seed, n_learners: 40, n_days: 90, n_sections: 24, minutes: vec![6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0] }
    }
}

/// What one policy came to with so many minutes a day, over all learners.
#[derive(Clone, PartialEq, Debug)]
pub struct Row {
    pub policy: Policy,
    pub minutes_a_day: f64,
    /// Minutes spent until the performance, rests left out; mean over learners.
    pub minutes_spent: f64,
    /// Probability that the whole piece holds on the day; mean over learners.
    pub hold: f64,
    /// Spread of that mean (standard error).
    pub hold_se: f64,
    /// Items out of a hundred that hold; mean over learners.
    pub items_held: f64,
}

/// Runs every policy with every number of minutes; `tell` is called after each learner with how many of how many are done. The same seed gives the same
/// rows; each policy meets the same learners.
pub fn simulate(config: &SimulateConfig, mut tell: impl FnMut(usize, usize)) -> Vec<Row> {
    let n_runs = config.minutes.len() * Policy::ALL.len() * config.n_learners;
    let mut n_done = 0;
    let mut rows = Vec::new();
    for &minutes_a_day in &config.minutes {
        for policy in Policy::ALL {
            rows.push(practised(config, policy, minutes_a_day, || {
                n_done += 1;
                tell(n_done, n_runs);
            }));
        }
    }
    rows
}

/// Runs one policy with so many minutes a day; `tell` is called after each learner.
pub fn practised(config: &SimulateConfig, policy: Policy, minutes_a_day: f64, mut tell: impl FnMut()) -> Row {
    let mut held = Vec::with_capacity(config.n_learners);
    let (mut spent, mut items) = (0.0, 0.0);
    for nth in 0..config.n_learners {
        let seed = config.seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(nth as u64);
        let mut session = session::Session::new(piece(config), seed);
        (0..config.n_days).for_each(|day| session.practise(policy, start() + Days::new(day), minutes_a_day));
        spent += session.minutes_spent;
        let each = session.learner.hold_on_stage();
        items += each.iter().sum::<f64>() / each.len().max(1) as f64;
        held.push(each.iter().product::<f64>());
        tell();
    }
    let n = held.len().max(1) as f64;
    let hold = held.iter().sum::<f64>() / n;
    let variance = held.iter().map(|h| (h - hold) * (h - hold)).sum::<f64>() / n;
    let hold_se = (variance / n).sqrt();
    Row { policy, minutes_a_day, minutes_spent: spent / n, hold, hold_se, items_held: 100.0 * items / n }
}

/// How many times as often the plan holds as the better of the others, at each number of minutes; none where nothing ever holds.
pub fn times_better(rows: &[Row]) -> Vec<(f64, f64)> {
    let plan = rows.iter().filter(|r| r.policy == Policy::Plan);
    let best = |minutes: f64| {
        let others = rows.iter().filter(|r| r.policy != Policy::Plan && r.minutes_a_day == minutes);
        others.map(|r| r.hold).fold(0.0, f64::max)
    };
    plan.map(|r| (r.minutes_a_day, r.hold / best(r.minutes_a_day))).collect()
}

fn start() -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 1, 1).expect("a day of the calendar")
}

/// A piece of four-bar sections of three seconds a bar, with three pairs of look-alikes.
fn piece(config: &SimulateConfig) -> PieceMemory {
    let n_bars = config.n_sections * 4;
    let section = |nth: usize| SectionAt { name: format!("section {}", nth + 1), bars: nth * 4..nth * 4 + 4, target: 3 };
    let place = |section: usize| PlaceAt { text: format!("{}.1", section * 4 + 3), bar: section * 4 + 2 };
    let n_pairs = 3.min(config.n_sections / 4);
    let far = config.n_sections / 2;
    PieceMemory::new(PieceFacts {
        key: "made".to_owned(),
        title: "A made piece".to_owned(),
        perform_on: Some(start() + Days::new(config.n_days)),
        layout: Layout {
            labels: (1..=n_bars).map(|n| n.to_string()).collect(),
            sections: (0..config.n_sections).map(section).collect(),
            switches: (0..n_pairs).map(|p| vec![place(2 * p), place(2 * p + far)]).collect(),
            ..Layout::default()
        },
        bar_seconds: vec![3.0; n_bars],
    })
}
