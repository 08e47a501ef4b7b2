//! What the player may set about practice, with the defaults and where they come from.

use super::in_turns::TurnsConfig;
use super::reading::ReadyMark;
use super::run::PassMark;
use super::slip_loop::SlipsConfig;
use crate::follower::Constants;
use crate::time::Micros;

/// Rules and timings of practice. What belongs to a piece stands in the piece file.
#[derive(Clone, PartialEq, Debug)]
pub struct PracticeConfig {
    /// Slowest and fastest tempo of a clean rep, as a share of the one set.
    pub tempo_share: (f64, f64),
    pub waits: Waits,
    pub ladder: LadderConfig,
    /// What a section must show when it is read from the page.
    pub ready: ReadyMark,
    /// How long a finished span stays on the screen before the next one is offered.
    pub span_done: Micros,
    /// A pause for breath after each rep: pacing only, it holds nobody back. None: the verdict stands until the next rep.
    pub rest: Option<Micros>,
    pub turns: TurnsConfig,
    pub slips: SlipsConfig,
    /// What a run-through must show to be held, beside being played from the first bar to the last with every lapse recovered; none: nothing.
    pub pass: Option<PassMark>,
}

/// Until when silence is natural; see `follower::hesitation`.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Waits {
    /// Seconds beyond the time to the next onset.
    pub floor_s: f64,
    /// Or so many times that time, whichever is later.
    pub factor: f64,
    /// So much longer again where a phrase may end.
    pub phrase: f64,
}

/// When a rest is offered in new work.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Rests {
    /// From here the next change of section is a good moment.
    pub work: Micros,
    pub length: Micros,
}

impl Rests {
    /// Returns the defaults: a five-minute rest early in learning a sequence brought the largest gain (Cash & Duke 2009); after 8 to 10
    /// minutes is our reading of it.
    pub const fn standard() -> Self {
        Rests { work: Micros(8 * 60_000_000), length: Micros(5 * 60_000_000) }
    }
}

/// When each rung of the prompt ladder is shown, counted from the hesitation or from the rung before.
#[derive(Clone, PartialEq, Debug)]
pub struct LadderConfig {
    pub first_cue: Micros,
    pub fuller_cue: Micros,
    pub page: Micros,
    /// Times that a place has to hold without its cue, since it last needed it, before the cue is not shown first any more; 0: always shown.
    pub hide_after: u8,
}

impl PracticeConfig {
    /// Returns the defaults: 85 to 115 % of the tempo set; the cue 0.7 s after the hesitation, then 2 s, then 3 s (reasoned
    /// defaults: no study gives pause lengths at lapses of memory).
    pub fn standard() -> Self {
        PracticeConfig {
            tempo_share: (0.85, 1.15),
            waits: Waits {
                floor_s: Constants::LEARNED.wait_floor,
                factor: Constants::LEARNED.wait_factor,
                phrase: Constants::LEARNED.wait_phrase,
            },
            ladder: LadderConfig {
                first_cue: Micros::from_millis(700),
                fuller_cue: Micros::from_millis(2_000),
                page: Micros::from_millis(3_000),
                hide_after: 0,
            },
            ready: ReadyMark::STANDARD,
            span_done: Micros::from_millis(2_500),
            rest: None,
            turns: TurnsConfig::standard(),
            slips: SlipsConfig::standard(),
            pass: None,
        }
    }
}
