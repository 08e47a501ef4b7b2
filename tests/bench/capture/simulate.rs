//! A reader who plays from the page, slowly, to a click.
//!
//! Spread around a click: a few hundredths of the interval for musicians (B. H. Repp, "Sensorimotor synchronization", Psychonomic
//! Bulletin & Review 12, 2005), early on the whole by some tens of milliseconds (the same review); chord spread as measured on
//! the Vienna 4x22 recordings; the rest is common practice.

use catchword::capture::{Beats, Struck};
use catchword::midi::{MidiKey, Velocity};
use catchword::theory::Hand;
use catchword::time::{Micros, ScoreTime, Tempo};
use fastrand::Rng;

use super::cases::{Case, Sheet, Truth};

pub fn normal(rng: &mut Rng) -> f64 {
    // Sum of twelve uniforms: mean 6, variance 1.
    (0..12).map(|_| rng.f64()).sum::<f64>() - 6.0
}

pub fn all(sheets: &[Sheet], n_passes: u64) -> Vec<Case> {
    sheets.iter().map(|sheet| case(sheet, n_passes)).collect()
}

fn case(sheet: &Sheet, n_passes: u64) -> Case {
    let mut truth = sheet.notes.clone();
    let passes = (1..=n_passes).map(|seed| play(sheet, &mut truth, seed)).collect();
    Case { name: sheet.name.clone(), page: sheet.page.clone(), truth, passes }
}

fn play(sheet: &Sheet, truth: &mut [Truth], seed: u64) -> (Vec<Struck>, Beats) {
    let rng = &mut Rng::with_seed(seed.wrapping_mul(7919) + sheet.name.bytes().map(u64::from).sum::<u64>());
    let mut gaps: Vec<f64> = sheet.notes.windows(2).map(|w| (w[1].onset - w[0].onset).to_f64()).filter(|g| *g > 1e-6).collect();
    gaps.sort_by(f64::total_cmp);
    // Slow enough for the fast notes, and no slower than clicks are kept to.
    let quick = gaps.get(gaps.len() / 20).copied().unwrap_or(1.0);
    let seconds_per_quarter = (0.25 / quick).clamp(0.6, 2.0);
    let tempo = Tempo::try_new(60.0 / seconds_per_quarter).expect("a slow tempo");
    let lead = Micros::from_secs_f64(4.0);
    let beats = Beats::even(lead, ScoreTime::ZERO, tempo);
    let beat = sheet.page.meter_of(1).beat_length().to_f64() * seconds_per_quarter;
    let spread = 0.015f64.hypot(0.022 * beat);
    let mut drift = 0.0;
    let mut struck: Vec<Struck> = Vec::new();
    let mut i = 0;
    while i < truth.len() {
        let end = i + truth[i..].iter().take_while(|n| n.onset == truth[i].onset).count();
        drift = 0.8 * drift + 0.006 * normal(rng);
        let at = 4.0 + truth[i].onset.to_f64() * seconds_per_quarter - 0.020 + drift + spread * normal(rng);
        for hand in [Hand::Left, Hand::Right] {
            let lag = 0.010 * normal(rng);
            let own: Vec<usize> = (i..end).filter(|&n| truth[n].hand == hand).collect();
            let is_marked = own.iter().any(|&n| truth[n].roll.is_some());
            let is_rolled = own.len() >= 3 && (is_marked || rng.f64() < 0.08);
            let step = 0.03 + 0.05 * rng.f64();
            let before = if is_rolled && rng.bool() { step * (own.len() - 1) as f64 } else { 0.0 };
            for (nth, &n) in own.iter().enumerate() {
                let roll = if is_rolled { step * nth as f64 - before } else { 0.0 };
                let lead_in = if truth[n].is_grace { -0.09 - 0.04 * rng.f64() } else { 0.0 };
                if rng.f64() < 0.005 {
                    continue;
                }
                truth[n].was_played = true;
                let wrong = if rng.f64() < 0.004 { if rng.bool() { 1 } else { -2 } } else { 0 };
                let key = MidiKey::try_new(i32::from(truth[n].key) + wrong).expect("keys lie within the keyboard");
                let on = at + lag + roll + lead_in + 0.006 * normal(rng).abs();
                let length = (truth[n].duration.to_f64() * seconds_per_quarter * (0.6 + 0.38 * rng.f64())).max(0.06);
                let velocity = Velocity(60);
                let stroke = |on: f64, length: f64| Struck {
                    on: Micros::from_secs_f64(on),
                    off: Some(Micros::from_secs_f64(on + length)),
                    key,
                    velocity,
                };
                struck.push(stroke(on, length));
            }
        }
        i = end;
    }
    struck.sort_by_key(|s| s.on);
    (struck, beats)
}
