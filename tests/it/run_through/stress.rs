//! Run-throughs on real performances that were broken on purpose: pauses, restarts of the bar and of the section, jumps ahead.

use std::fs;
use std::path::Path;

use catchword::journal::entry::{Entry, Lapse, Mode, Recovery};
use catchword::piece_folder::open_piece;
use catchword::practice::{Output, PracticeConfig, Span, listen};
use catchword::score::Place;
use catchword::source::replay::read_take;
use serde_json::Value;

use super::Hall;

/// A break that was made, in seconds of the take and quarters of the score.
struct Break {
    /// `pause`, `bar` or `section` for going back to its start, `ahead`.
    way: String,
    /// When playing goes on.
    at: f64,
    /// When the last note before it was struck.
    left_at: f64,
    from: f64,
    to: f64,
}

/// What was told of one kind of break.
#[derive(Clone, Copy, Default, Debug)]
struct Tally {
    n: u32,
    n_found: u32,
    /// Of these the way back as it was, by what was told: went on, ahead, again, not at all.
    told: [u32; 4],
}

#[test]
#[ignore = "a measurement: CATCHWORD_CASES=DIR cargo test --release --test it run_through::stress -- --ignored --nocapture"]
fn breaks_in_real_performances_are_told_as_they_were() {
    let dir = std::env::var("CATCHWORD_CASES").expect("CATCHWORD_CASES names a directory of cases");
    let only = std::env::var("CATCHWORD_CASE").ok();
    let mut cases: Vec<_> = fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
    cases.retain(|case| only.as_ref().is_none_or(|only| case.ends_with(only)));
    cases.sort();
    let mut tallies = std::collections::BTreeMap::<String, Tally>::new();
    let (mut n_extra, mut n_lapses) = (0u32, 0);
    for case in &cases {
        let (breaks, lapses, hall) = hear(case);
        let score = &hall.piece.score;
        let mut open: Vec<&Lapse> = lapses.iter().collect();
        for b in &breaks {
            let tally = tallies.entry(b.way.clone()).or_default();
            tally.n += 1;
            // It begins with one of the last onsets before the break, or while it lasts.
            let is_it = |l: &&Lapse| (b.left_at - 1.5..=b.at + 0.5).contains(&l.at.secs_f64());
            let Some(nth) = open.iter().position(is_it) else {
                println!("{}: not found: {} at {:.1} s, {:.2} to {:.2}", case.display(), b.way, b.at, b.from, b.to);
                continue;
            };
            let lapse = open.remove(nth);
            tally.n_found += 1;
            tally.told[lapse.recovery as usize] += 1;
            let should = match b.way.as_str() {
                "pause" => Recovery::WentOn,
                "ahead" => Recovery::Landmark,
                _ => Recovery::Restarted,
            };
            if lapse.recovery != should {
                let going = lapse.going_at.as_ref().map(|p| Place::parse(p, score).unwrap().onset(score).to_f64());
                println!(
                    "{}: {:?} for {should:?} at {:.1} s (left {:.1} s): {:.2} to {:.2}; told {:?} at {:.1} s {}: {} going at {going:?}",
                    case.file_name().unwrap().display(),
                    lapse.recovery,
                    b.at,
                    b.left_at,
                    b.from,
                    b.to,
                    lapse.kind,
                    lapse.at.secs_f64(),
                    lapse.place,
                    lapse.lost.secs_f64(),
                );
            }
        }
        n_lapses += lapses.len();
        n_extra += open.len() as u32;
    }
    for (way, t) in &tallies {
        let [on, ahead, again, ended] = t.told;
        println!("{way}: {} of {} found; told as went on {on}, ahead {ahead}, again {again}, ended {ended}", t.n_found, t.n);
    }
    let (n, n_found) = tallies.values().fold((0, 0), |(n, found), t| (n + t.n, found + t.n_found));
    println!("{n_found} of {n} breaks found, {n_extra} lapses more; {n_lapses} in all, {} cases", cases.len());
    assert!(n_found * 100 >= n * 95 && n_extra * 100 <= n * 5, "{n_found} of {n}, {n_extra} more");
}

fn hear(case: &Path) -> (Vec<Break>, Vec<Lapse>, Hall) {
    let piece = open_piece(&case.join("score.csv").display().to_string(), None, &[]).unwrap().piece;
    let span = Span::whole(&piece, Mode::RunThrough).unwrap();
    let take = read_take(&fs::read(case.join("take.jsonl")).unwrap(), "take.jsonl").unwrap();
    let truth: Value = serde_json::from_slice(&fs::read(case.join("truth.json")).unwrap()).unwrap();
    let hall = Hall { piece: piece.into(), span };
    let Some(Output::Record(Entry::Rep(rep))) = listen(&hall.piece, &hall.span, &PracticeConfig::standard(), &take).pop() else { panic!() };
    (breaks(case, &truth), rep.run.unwrap().lapses, hall)
}

fn breaks(case: &Path, truth: &Value) -> Vec<Break> {
    let text = fs::read_to_string(case.join("take.jsonl")).unwrap();
    let times: Vec<f64> = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap()["t"].as_f64().unwrap()).collect();
    let list = |key: &str| truth[key].as_array().cloned().unwrap_or_default();
    let number = |v: &Value, key: &str| v[key].as_f64().unwrap();
    let left_at = |at: f64| times[times.partition_point(|t| *t < at - 0.3).saturating_sub(1)];
    let rows = fs::read_to_string(case.join("score.csv")).unwrap();
    let onsets: Vec<f64> = rows.lines().skip(1).map(|line| line.split(',').next().unwrap().parse().unwrap()).collect();
    let notes: Vec<i64> = truth["notes"].as_array().unwrap().iter().map(|n| n.as_i64().unwrap()).collect();
    let gone_on = |at: f64| {
        let since = times.partition_point(|t| *t < at - 0.3);
        notes[since..].iter().find_map(|n| Some(onsets[usize::try_from(*n).ok()?]))
    };
    let moved = list("events").into_iter().map(|e| {
        let (at, from, to) = (number(&e, "t"), number(&e, "frm"), number(&e, "to"));
        // Of some that go back by one onset no note is in the take: all that is heard of them is the silence.
        let is_heard = to > from || gone_on(at).is_some_and(|onset| onset < from);
        let way = if is_heard { e["kind"].as_str().unwrap() } else { "pause" };
        Break { way: way.to_owned(), at, left_at: left_at(at), from, to }
    });
    let halted = list("pauses").into_iter().map(|p| {
        let (at, beat) = (number(&p, "end"), number(&p, "beat"));
        Break { way: "pause".to_owned(), at, left_at: number(&p, "start"), from: beat, to: beat }
    });
    let mut breaks: Vec<Break> = moved.chain(halted).collect();
    breaks.sort_by(|a, b| a.at.total_cmp(&b.at));
    breaks
}
