//! What the player may set about tests over days and the plan of a day, with the defaults and where they come from.

/// Rules of testing over days. What the forgetting model asks for is held within them.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Rules {
    /// Largest growth from one gap to the next.
    pub gap_growth_max: f64,
    pub gap_days_max: i64,
    /// Largest share of the days left to the performance.
    pub gap_share_max: f64,
    /// The last days before a performance, in which more is asked.
    pub last_days: i64,
    /// Probability to hold at which an item is due, in those days.
    pub last_recall: f64,
    /// Days before the performance on which everything is tested from cold.
    pub full_test_days_before: i64,
    /// Clean reps wanted of what was clean on an earlier day.
    pub later_reps: u8,
    /// Minutes played before a rest, and minutes of the rest.
    pub block_minutes: f64,
    pub rest_minutes: f64,
    /// Clean first attempts from cold, each on its own day, for "secure".
    pub secure_tries: usize,
    /// Days between the last two of them.
    pub secure_gap_days: i64,
    /// Times that the joins beside it must have been clean.
    pub secure_joins: u32,
    /// Run-throughs without a mark there.
    pub secure_runs: u32,
    /// The least probability to hold at which "secure" may be said.
    pub secure_recall: f64,
    /// Days of tests that the player wants instead of those that the model asks for.
    pub test_days: TestDays,
    /// Every so many run-throughs one is to be played elsewhere: 0 says nothing. In a room or at an instrument that was changed, less is
    /// recalled (Mishra & Backlin 2007, Psychol. of Music), and the stage is one.
    pub run_elsewhere_every: u32,
    /// The longest sitting that is good for the hands, in minutes; and how much more a week may have than the usual one, as a share, before
    /// it is said: 0 says nothing. Sudden increases are what players are warned of (Chan & Ackermann 2014); the figures are reasoned.
    pub sitting_minutes_max: f64,
    pub week_growth_max: f64,
}

/// Days after the first on which what holds is tested again: `[1, 3, 7, 14, 28]`. Empty: the model says when.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct TestDays {
    days: [u16; TestDays::N_MAX],
    n: u8,
}

impl TestDays {
    pub const N_MAX: usize = 8;
    pub const NONE: TestDays = TestDays { days: [0; TestDays::N_MAX], n: 0 };

    /// Takes rising days; those beyond the most that fit are left out.
    pub fn new(days: &[i64]) -> TestDays {
        let mut own = TestDays::NONE;
        for (slot, day) in own.days.iter_mut().zip(days) {
            *slot = u16::try_from(*day).unwrap_or(u16::MAX);
            own.n += 1;
        }
        own
    }

    /// Returns the gap after the nth test that held, from 1; after the last of them it stays the same. None where there are none.
    pub fn gap_after(&self, nth: usize) -> Option<i64> {
        let n = usize::from(self.n);
        let nth = nth.min(n).checked_sub(1)?;
        let before = nth.checked_sub(1).map_or(0, |before| self.days[before]);
        Some(i64::from(self.days[nth]) - i64::from(before))
    }
}

impl Rules {
    /// Returns the defaults: reasoned ones, built on expanding gaps (Cepeda et al. 2008; Kang et al. 2014), on successive relearning
    /// (Rawson & Dunlosky 2011) and, for the rests, on what musicians are advised, whose exact figures have weak evidence (Rotter et al. 2020).
    pub const fn standard() -> Self {
        Rules {
            gap_growth_max: 2.5,
            gap_days_max: 21,
            gap_share_max: 0.2,
            last_days: 14,
            last_recall: 0.95,
            full_test_days_before: 2,
            later_reps: 1,
            block_minutes: 25.0,
            rest_minutes: 5.0,
            secure_tries: 3,
            secure_gap_days: 7,
            secure_joins: 2,
            secure_runs: 2,
            secure_recall: 0.90,
            test_days: TestDays::NONE,
            run_elsewhere_every: 0,
            sitting_minutes_max: 90.0,
            week_growth_max: 0.15,
        }
    }
}
