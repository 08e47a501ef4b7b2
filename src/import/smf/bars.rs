//! Bars laid out by the time signatures, with key signatures and markers in them.

use super::file::{Event, File, What};
use super::timeline::Timeline;
use super::warning;
use crate::import::{Error, Warning};
use crate::score::{Bar, BarLabel, BarSigns};
use crate::theory::{KeySignature, Meter, Mode};
use crate::time::ScoreTime;

/// More bars than any score has.
const BARS_MAX: usize = 20_000;
/// The smallest note value that a time signature may count: a 64th, two to this power.
const UNIT_POWER_MAX: u8 = 6;

/// Lays out bars until `end`; the last one is whole.
pub(super) fn lay_out(
    file: &File,
    timeline: &Timeline,
    end: ScoreTime,
    file_name: &str,
    warnings: &mut Vec<Warning>,
) -> Result<Vec<Bar>, Error> {
    let mut meters = changes(file, timeline, |what| match *what {
        What::Meter { beats, unit_power } => Some((beats, unit_power)),
        _ => None,
    })
    .into_iter()
    .filter_map(|(at, (beats, unit_power))| {
        let meter = (unit_power <= UNIT_POWER_MAX).then(|| Meter::try_new(beats.into(), 1 << unit_power)).flatten();
        if meter.is_none() {
            warnings.push(warning(
                &tr!("time signature"),
                tr!("{beats} over two to the power {unit_power} cannot be laid out; it is left out", beats, unit_power),
            ));
        }
        meter.map(|m| (at, m))
    })
    .collect::<Vec<_>>();
    let keys = changes(file, timeline, |what| match *what {
        What::Key { fifths, is_minor } => Some((fifths, is_minor)),
        _ => None,
    })
    .into_iter()
    .filter_map(|(at, (fifths, is_minor))| {
        let mode = if is_minor { Mode::Minor } else { Mode::Major };
        let key = (-7..=7).contains(&fifths).then(|| KeySignature::new(fifths, Some(mode)));
        if key.is_none() {
            warnings.push(warning(&tr!("key signature"), tr!("{fifths} sharps cannot be; it is left out", fifths)));
        }
        key.map(|k| (at, k))
    })
    .collect::<Vec<_>>();
    // Four-four until the file says otherwise (RP-001, "Time signature").
    if meters.first().is_none_or(|m| m.0 > ScoreTime::ZERO) {
        meters.insert(0, (ScoreTime::ZERO, Meter::COMMON));
    }

    let pickup = pickup(&meters);
    let mut bars: Vec<Bar> = Vec::new();
    let mut start = ScoreTime::ZERO;
    while start < end || bars.is_empty() {
        if bars.len() == BARS_MAX {
            let what = tr!("the notes fill more than {n} bars", n = BARS_MAX);
            return Err(Error::TooLarge { file: file_name.to_owned(), what, limit: tr!("{n} bars", n = BARS_MAX) });
        }
        let in_force = meters.partition_point(|m| m.0 <= start) - 1;
        let (meter, whole) = (meters[in_force].1, meters[in_force].1.bar_length());
        let number = bars.len() + usize::from(pickup.is_none());
        let label = BarLabel(number.to_string());
        let cut = meters.get(in_force + 1).map(|next| next.0 - start).filter(|&until| until < whole);
        if cut.is_some() {
            warnings.push(Warning {
                bar: Some(label.0.clone()),
                line: None,
                element: tr!("time signature"),
                what: tr!("it changes inside the bar, which is cut short there"),
            });
        }
        let key = keys[..keys.partition_point(|k| k.0 <= start)].last().map_or(KeySignature::NONE, |k| k.1);
        let (meter, offset) = match pickup.filter(|_| bars.is_empty()) {
            Some(full) => (full, full.bar_length() - whole),
            None => (meter, ScoreTime::ZERO),
        };
        let length = cut.unwrap_or(whole);
        bars.push(Bar { label, start, length, offset, meter, key, signs: BarSigns::default() });
        start += length;
    }
    if pickup.is_some() {
        let what = tr!("one short bar before the time signature that stays: taken as a pickup, bar 0");
        warnings.push(warning(&tr!("time signature"), what));
    }
    let markers = changes(file, timeline, |what| match what {
        What::Marker(text) => Some(text.clone()),
        _ => None,
    });
    for (at, text) in markers {
        let bar = bars.partition_point(|b| b.start <= at).saturating_sub(1);
        bars[bar].signs.rehearsal.get_or_insert(text);
    }
    Ok(bars)
}

/// Collects events of one kind from all tracks in order; of several at one time the last counts.
fn changes<T>(file: &File, timeline: &Timeline, pick: impl Fn(&What) -> Option<T>) -> Vec<(ScoreTime, T)> {
    let picked = |e: &Event| pick(&e.what).map(|what| (e.tick, what));
    let mut found: Vec<(u64, T)> = file.tracks.iter().flat_map(|t| &t.events).filter_map(picked).collect();
    found.sort_by_key(|f| f.0);
    let mut out: Vec<(ScoreTime, T)> = Vec::new();
    for (tick, what) in found {
        let at = timeline.at(tick);
        match out.last_mut() {
            Some(last) if last.0 == at => last.1 = what,
            _ => out.push((at, what)),
        }
    }
    out
}

/// Returns the metre of the bar that a pickup leads to: the first signature covers one bar only, and that is shorter than the bars
/// after it. Notation programs write pickups so (common practice); a file has no other word for it.
fn pickup(meters: &[(ScoreTime, Meter)]) -> Option<Meter> {
    let [(_, first), (second_at, second), rest @ ..] = meters else { return None };
    let stays = rest.first().is_none_or(|third| third.0 - *second_at >= second.bar_length() + second.bar_length());
    let is_short = first.bar_length() < second.bar_length();
    (*second_at == first.bar_length() && is_short && stays).then_some(*second)
}
