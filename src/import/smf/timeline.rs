//! Ticks to quarters: by the file's own division, or through the tempo where it counts frames.

use super::file::{Division, Event, File, What};
use super::notes::Struck;
use crate::time::{ScoreTime, Tempo};

/// Without a tempo event a quarter lasts half a second (RP-001, "Set tempo").
const MICROS_PER_QUARTER: u32 = 500_000;

/// Turns ticks into positions in the score.
pub(super) struct Timeline {
    division: Division,
    /// Where each tempo begins, its position there, and microseconds to the quarter from there on.
    tempos: Vec<(u64, ScoreTime, u32)>,
}

impl Timeline {
    pub fn new(file: &File) -> Self {
        let of_event = |e: &Event| match e.what {
            What::Tempo(micros) => Some((e.tick, micros)),
            _ => None,
        };
        let mut changes: Vec<(u64, u32)> = file.tracks.iter().flat_map(|t| &t.events).filter_map(of_event).collect();
        changes.sort_by_key(|c| c.0);
        let mut timeline = Timeline { division: file.division, tempos: vec![(0, ScoreTime::ZERO, MICROS_PER_QUARTER)] };
        for (tick, micros) in changes {
            let at = timeline.at(tick);
            timeline.tempos.push((tick, at, micros));
        }
        timeline
    }

    /// Returns the position of a tick, exact.
    pub fn at(&self, tick: u64) -> ScoreTime {
        let whole = |n: u64| i64::try_from(n).unwrap_or(i64::MAX);
        match self.division {
            Division::PerQuarter(n) => ScoreTime::new(whole(tick), i64::from(n)),
            Division::PerSecond { ticks, seconds } => {
                let (since, start, micros) = self.tempos[self.tempos.partition_point(|t| t.0 <= tick) - 1];
                let per_tick = ScoreTime::new(1_000_000 * i64::from(seconds), i64::from(ticks) * i64::from(micros));
                start + per_tick.scaled(whole(tick - since), 1)
            }
        }
    }

    /// Returns about how many quarters a tick is in, for a first look that cannot overflow.
    pub fn rough_quarters(&self, tick: u64) -> f64 {
        match self.division {
            Division::PerQuarter(n) => tick as f64 / f64::from(n),
            Division::PerSecond { .. } => self.at(tick).to_f64(),
        }
    }

    /// Tells whether ticks count SMPTE frames, so that beats depend on the tempo.
    pub fn is_by_frames(&self) -> bool {
        matches!(self.division, Division::PerSecond { .. })
    }

    /// Returns the tempo marks of the score; the implied first one only where the file gives none at all.
    pub fn tempos(&self) -> Vec<(ScoreTime, Tempo)> {
        let mut marks: Vec<(ScoreTime, Tempo)> = Vec::new();
        for &(_, at, micros) in self.tempos.iter().skip(1) {
            let Some(tempo) = Tempo::try_new(60e6 / f64::from(micros)) else { continue };
            match marks.last_mut() {
                Some(last) if last.0 == at => last.1 = tempo,
                _ => marks.push((at, tempo)),
            }
        }
        marks
    }

    /// Says so when the onsets are plainly played, not written: most lie off any beat grid.
    pub fn looks_performed(&self, struck: &[Struck]) -> Option<String> {
        // 24ths of a quarter hold thirty-second notes and triplet sixteenths. A coarser clock
        // than this could not be off the grid; fewer onsets than these prove nothing.
        const GRID: u64 = 24;
        const CLOCK_MIN: u16 = 192;
        const ONSETS_MIN: usize = 20;
        let Division::PerQuarter(per_quarter) = self.division else { return None };
        let mut onsets: Vec<u64> = struck.iter().map(|n| n.on).collect();
        onsets.sort_unstable();
        onsets.dedup();
        if per_quarter < CLOCK_MIN || onsets.len() < ONSETS_MIN {
            return None;
        }
        let per_quarter = u64::from(per_quarter);
        // Within one tick of the grid is on it: files round triplets.
        let is_off = |tick: u64| {
            let past = tick * GRID % per_quarter;
            past.min(per_quarter - past) >= GRID
        };
        let n_off = onsets.iter().filter(|&&t| is_off(t)).count();
        (2 * n_off > onsets.len()).then(|| {
            tr!(
                "{n_off} of {n} onsets lie off the beats: this looks like a recorded performance, not a score; to replay it use it as a take",
                n_off,
                n = onsets.len()
            )
        })
    }
}
