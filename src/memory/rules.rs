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
        }
    }
}
