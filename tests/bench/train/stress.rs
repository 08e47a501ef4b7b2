//! Stress cases made from clean ones: what a player does who is memorising, seeded.
//!
//! The recipe is that of the bench's own stress cases: 1.2 % wrong, 1 % missed, double triggers, weak octaves, rolls,
//! hands apart, pauses, restarts of the bar and of the section of eight bars, jumps ahead.

use std::collections::BTreeMap;

use fastrand::Rng;

use super::case::{Case, Label, Pause, Played, Row};

struct Segment {
    from: f64,
    to: f64,
    next: Option<(How, f64, f64)>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum How {
    Hold,
    Elsewhere,
}

fn uniform(rng: &mut Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * rng.f64()
}

/// Where a shaky player goes: stretches of 8 to 30 quarters, each left for the bar, the section, a section ahead, or a hold.
fn route(rows: &[Row], rng: &mut Rng) -> Vec<Segment> {
    let mut first: BTreeMap<i64, f64> = BTreeMap::new();
    for row in rows {
        let at = first.entry(row.bar).or_insert(row.onset);
        *at = at.min(row.onset);
    }
    let bars: Vec<f64> = first.values().copied().collect();
    let marks: Vec<f64> = bars.iter().copied().step_by(8).collect();
    let end = rows.iter().map(|r| r.onset).fold(f64::MIN, f64::max) + 1e-3;
    let mut at = bars[0];
    let mut out = Vec::new();
    while at < end - 1e-6 {
        let length = f64::from(rng.u32(3..=7)) * 4.0 * uniform(rng, 0.6, 1.1);
        let stop = rows.iter().map(|r| r.onset).find(|o| *o > at && *o >= at + length).unwrap_or(end);
        if stop >= end {
            out.push(Segment { from: at, to: stop, next: None });
            break;
        }
        let bar = bars.iter().copied().filter(|b| *b < stop).fold(bars[0], f64::max);
        let section = marks.iter().copied().filter(|m| *m < stop).fold(marks[0], f64::max);
        let ahead: Vec<f64> = marks.iter().copied().filter(|m| *m > stop).collect();
        let (how, target) = match rng.u32(0..11) {
            0..4 => (How::Elsewhere, bar),
            4..6 => (How::Elsewhere, section),
            6..8 if ahead.is_empty() => (How::Elsewhere, bar),
            6..8 => (How::Elsewhere, ahead[rng.usize(0..ahead.len().min(2))]),
            _ => (How::Hold, stop),
        };
        let gap = if how == How::Hold { uniform(rng, 1.0, 6.0) } else { uniform(rng, 0.7, 2.5) };
        out.push(Segment { from: at, to: stop, next: Some((how, target, gap)) });
        at = target;
    }
    out
}

/// Makes one stress case from a clean one.
pub fn stress(clean: &Case, seed: u64) -> Case {
    // Each performance takes its own route.
    let own = clean.name.bytes().fold(0xcbf2_9ce4_8422_2325u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
    let rng = &mut Rng::with_seed(seed ^ own);
    let rows = &clean.rows;
    let mut take = clean.take.clone();
    let mut near = rows[0].onset;
    for n in &mut take {
        if n.row >= 0 {
            near = rows[n.row as usize].onset;
        }
        n.near = near;
    }
    let mut scale: Vec<u8> = rows.iter().map(|r| r.pitch).collect();
    scale.sort_unstable();
    scale.dedup();

    let (mut out, mut events, mut pauses, mut clock) = (Vec::<Played>::new(), Vec::new(), Vec::new(), 0.0);
    let mut missed: Vec<(f64, usize)> = Vec::new();
    let mut passes = Vec::new();
    for (pass, segment) in route(rows, rng).into_iter().enumerate() {
        let part = take.iter().filter(|n| segment.from - 1e-6 <= n.near && n.near < segment.to - 1e-6);
        let start = out.len();
        out.extend(part.cloned());
        passes.resize(out.len(), pass);
        let Some(first) = out.get(start) else { continue };
        let shift = clock - first.t;
        out[start..].iter_mut().for_each(|n| n.t += shift);
        // What this pianist left out of their own accord.
        for (i, row) in rows.iter().enumerate() {
            let within = segment.from - 1e-6 <= row.onset && row.onset < segment.to - 1e-6 && row.duration > 0.0;
            let same = |n: &Played| n.row >= 0 && rows[n.row as usize].onset == row.onset && rows[n.row as usize].pitch == row.pitch;
            if within && !out[start..].iter().any(same) {
                let t = out[start..].iter().rev().find(|n| n.near <= row.onset).map_or(clock, |n| n.t);
                missed.push((t, i));
            }
        }
        let last = out[out.len() - 1].t;
        if let Some((how, target, gap)) = segment.next {
            clock = last + 0.35 + gap;
            match how {
                How::Hold => pauses.push(Pause { start: last, end: clock }),
                How::Elsewhere => events.push((clock, target)),
            }
        }
    }
    roll_chords(&mut out, &passes, rng);

    let (mut kept, mut ghosts) = (Vec::new(), Vec::new());
    for mut n in out {
        let r = rng.f64();
        if n.row >= 0 && r < 0.012 {
            n.label = Label::Wrong;
            n.wanted = Some(n.row as usize);
            n.row = -1;
            let side = if rng.bool() { 1i32 } else { -1 };
            n.pitch = if rng.bool() {
                (i32::from(n.pitch) + side).clamp(0, 127) as u8
            } else {
                let k = scale.iter().position(|p| *p == n.pitch).unwrap_or(0) as i32 + side;
                scale[k.clamp(0, scale.len() as i32 - 1) as usize]
            };
        } else if n.row >= 0 && r < 0.022 {
            missed.push((n.t, n.row as usize));
            continue;
        }
        if rng.f64() < 0.02 {
            let t = n.t + uniform(rng, 0.008, 0.055);
            ghosts.push(Played { t, velocity: (n.velocity / 2).max(8), row: -1, label: Label::Ghost, ..n.clone() });
        }
        if rng.f64() < 0.015 && n.pitch + 12 < 108 {
            let t = n.t + uniform(rng, 0.0, 0.03);
            let pitch = if rng.bool() { n.pitch + 12 } else { n.pitch.saturating_sub(12) };
            ghosts.push(Played { t, pitch, velocity: (n.velocity / 4).max(5), row: -1, label: Label::Ghost, ..n.clone() });
        }
        kept.push(n);
    }
    let lag = uniform(rng, 0.0, 0.06);
    for n in &mut kept {
        if n.row >= 0 && rows[n.row as usize].left {
            n.t += lag;
        }
    }
    kept.append(&mut ghosts);
    kept.sort_by(|a, b| a.t.total_cmp(&b.t));
    let t0 = kept[0].t;
    kept.iter_mut().for_each(|n| n.t -= t0);
    events.iter_mut().for_each(|e| e.0 -= t0);
    missed.iter_mut().for_each(|m| m.0 -= t0);
    for p in &mut pauses {
        p.start -= t0;
        p.end -= t0;
    }
    Case {
        name: format!("{}_s{seed}", clean.name),
        rows: clean.rows.clone(),
        line: clean.line.clone(),
        beats: clean.beats.clone(),
        seconds: kept[kept.len() - 1].t,
        take: kept,
        events,
        pauses,
        missed: Some(missed),
    }
}

/// A quarter of the chords of three and more notes are rolled over 30 to 350 ms, mostly upward.
fn roll_chords(out: &mut [Played], passes: &[usize], rng: &mut Rng) {
    let mut groups: BTreeMap<(i64, usize), Vec<usize>> = BTreeMap::new();
    for (i, n) in out.iter().enumerate() {
        if n.row >= 0 {
            groups.entry(((n.near * 1e4).round() as i64, passes[i])).or_default().push(i);
        }
    }
    for (_, mut idx) in groups {
        if idx.len() < 3 || rng.f64() >= 0.25 {
            continue;
        }
        let down = rng.f64() < 0.15;
        idx.sort_by_key(|i| if down { -i32::from(out[*i].pitch) } else { i32::from(out[*i].pitch) });
        let spread = uniform(rng, 0.03, 0.35);
        let t0 = idx.iter().map(|i| out[*i].t).fold(f64::MAX, f64::min);
        let n = idx.len();
        for (k, i) in idx.into_iter().enumerate() {
            out[i].t = t0 + spread * k as f64 / (n - 1) as f64;
        }
    }
}
