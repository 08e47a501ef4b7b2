//! The screens as text at four sizes, and the loop driven by hand.

mod loops;
pub mod pictures;
mod start;
mod studies;

use crate::journal::entry::{Mode, Verdict};
use crate::practice::View;
use crate::practice::view::Stage;

/// Bar labels as a page prints them: a pickup, then 1 onwards.
fn bars(n_bars: usize) -> Vec<String> {
    (1..=n_bars).map(|n| n.to_string()).collect()
}

fn view<'a>(bars: &'a [String], stage: Stage<'a>) -> View<'a> {
    View {
        piece: "The Ferry Lamp",
        mode: Mode::Drill,
        span: "the lift",
        span_idx: 1,
        n_spans: 6,
        bars,
        bar: None,
        look_bar: None,
        n_clean: 1,
        target: 3,
        verdicts: &[Verdict::Broken, Verdict::Clean],
        seams: &[],
        ask: None,
        stage,
    }
}
