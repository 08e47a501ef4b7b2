//! Made performances of any score, with the timing of people: for textures that the recorded cases do not have.
//!
//! Figures: chord spread, spread of ratios and final slowing as measured on the Vienna 4x22 and ASAP recordings; the rest is common practice.

use std::sync::Arc;

use fastrand::Rng;

use catchword::follower::Line;

use super::case::{Case, Label, Played, Row};

fn normal(rng: &mut Rng) -> f64 {
    // Sum of twelve uniforms: mean 6, variance 1.
    (0..12).map(|_| rng.f64()).sum::<f64>() - 6.0
}

/// Plays a score once through, seeded; the tempo is one at which its fast notes can be played.
pub fn perform(name: &str, rows: Arc<Vec<Row>>, (line, beats): (Arc<Line>, Arc<Vec<f64>>), seed: u64) -> Case {
    let rng = &mut Rng::with_seed(seed);
    let mut gaps: Vec<f64> = rows.windows(2).map(|w| w[1].onset - w[0].onset).filter(|g| *g > 1e-6).collect();
    gaps.sort_by(f64::total_cmp);
    let fast = gaps[gaps.len() / 10];
    let spq = ((0.085 + 0.12 * rng.f64()) / fast).clamp(0.25, 1.6);
    let steadiness = 0.03 + 0.07 * rng.f64();
    let arc = 0.03 + 0.09 * rng.f64();
    let (spread, lead, lag) = (0.006 + 0.014 * rng.f64(), 0.025 * rng.f64(), 0.03 * rng.f64());
    let (first, last) = (rows[0].onset, rows[rows.len() - 1].onset);

    let mut take: Vec<Played> = Vec::new();
    let (mut clock, mut drift, mut before) = (0.5, 0.0, first);
    let mut i = 0;
    while i < rows.len() {
        let at = rows[i].onset;
        let end = i + rows[i..].iter().take_while(|r| r.onset == at).count();
        // Phrases of sixteen quarters are parabolic in tempo (Repp 1992); the end slows down.
        let x = ((at - first) / 16.0).fract() * 2.0 - 1.0;
        let ending = if last - at < 4.0 { 0.25 * (1.0 - (last - at) / 4.0) } else { 0.0 };
        drift = 0.9 * drift + 0.02 * normal(rng);
        let log = arc * x * x + ending + drift + steadiness * normal(rng);
        clock += (at - before) * spq * log.exp();
        let roll = if end - i >= 3 && rng.f64() < 0.03 { 0.05 + 0.2 * rng.f64() } else { 0.0 };
        for (k, row) in rows[i..end].iter().enumerate() {
            if rng.f64() < 0.003 {
                continue;
            }
            let top = k + 1 == end - i && !row.left;
            let mut t = clock + spread * normal(rng).abs() + roll * k as f64 / (end - i) as f64;
            if top {
                t -= lead;
            }
            if row.left {
                t += lag;
            }
            if row.duration == 0.0 {
                t -= 0.06 + 0.08 * rng.f64();
            }
            let loud = if top { 75.0 } else { 55.0 } + 10.0 * normal(rng);
            let velocity = loud.clamp(15.0, 120.0) as u8;
            take.push(Played { t, pitch: row.pitch, velocity, row: (i + k) as i64, label: Label::Right, near: at, wanted: None });
            if rng.f64() < 0.001 {
                // Struck once more, for no reason in the score.
                let again = Played { t: t + 0.08 + 0.2 * rng.f64(), row: -1, label: Label::Extra, ..take[take.len() - 1].clone() };
                take.push(again);
            }
            if rng.f64() < 0.001 {
                let side = if rng.bool() { 1 } else { -1 };
                let pitch = (i32::from(row.pitch) + side).clamp(21, 108) as u8;
                take.push(Played { t: t + 0.03 * rng.f64(), pitch, velocity, row: -1, label: Label::Extra, near: at, wanted: None });
            }
        }
        before = at;
        i = end;
    }
    take.sort_by(|a, b| a.t.total_cmp(&b.t));
    let t0 = take[0].t;
    take.iter_mut().for_each(|n| n.t -= t0);
    Case {
        name: format!("{name}_p{seed:02}"),
        line,
        beats,
        rows,
        seconds: take[take.len() - 1].t,
        take,
        events: Vec::new(),
        pauses: Vec::new(),
        missed: None,
    }
}
