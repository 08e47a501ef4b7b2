//! A followed take as JSON lines: one object a performed note, and in between what was found.
//!
//! `{"kind":"note","t":s,"pitch":n,"heard":w,"score_note":i|null,"beat":b}`: `score_note` counts the notes of the part as
//! printed, onset then pitch, from 0; `beat` is the believed position right after the note, in quarter notes of the printed
//! score (with the origin of the file's own counting, where it has one). Both are as known at that moment, never revised.
//! `heard` is `expected`, `wrong`, `extra`, `ghost`, `repeat`, or `unclear` where the place is too uncertain to call the note anything.
//! A `rep` of the whole piece has a `run`: held or not, bars played, and its lapses with the way back.
//! A stored rep judged by other numbers than those set now begins with a `settings`, which has them.
//! Other kinds: `slip`, `restart`, `jump`, `lost`, `found`, `hesitation`, `prompt`, `prompt-cleared`, `rep`.

use serde_json::{Value, json};

use crate::follower::{Finding, Heard, OnsetIdx};
use crate::journal::entry::{Entry, Lapse, Recovery, Rep, Run, Verdict};
use crate::practice::{Output, Span};
use crate::score::Score;
use crate::time::Micros;

/// Returns the line for an output of the engine, without a line feed; `None` for those that say nothing here.
pub fn line(output: &Output, span: &Span, score: &Score) -> Option<String> {
    value(output, span, score).map(|v| v.to_string())
}

fn value(output: &Output, span: &Span, score: &Score) -> Option<Value> {
    let place = |onset: OnsetIdx| span.place(onset).text(score);
    Some(match output {
        Output::Heard { at, key, note } => {
            let beat = span.place(note.position.onset).onset(score) + score.origin;
            json!({
                "kind": "note",
                "t": seconds(*at),
                "pitch": key.number(),
                "heard": heard_word(note.heard),
                "score_note": note.note.map(|n| span.note_of(n)),
                "beat": beat.to_f64(),
            })
        }
        Output::Finding(finding) => match *finding {
            Finding::Slip(slip) => json!({
                "kind": "slip",
                "t": seconds(slip.at),
                "slip": slip.kind.word(),
                "place": place(slip.onset),
                "hand": slip.note.map(|n| span.line.note(n).hand),
                "confidence": rounded(slip.confidence),
            }),
            Finding::Restart { at, from, to, confidence } => {
                json!({ "kind": "restart", "t": seconds(at), "from": place(from), "to": place(to), "confidence": rounded(confidence) })
            }
            Finding::Jump { at, from, to, confidence } => {
                json!({ "kind": "jump", "t": seconds(at), "from": place(from), "to": place(to), "confidence": rounded(confidence) })
            }
            Finding::Lost { at } => json!({ "kind": "lost", "t": seconds(at) }),
            Finding::Found { at, onset } => json!({ "kind": "found", "t": seconds(at), "place": place(onset) }),
        },
        Output::Hesitated { at, onset } => json!({ "kind": "hesitation", "t": seconds(*at), "place": place(*onset) }),
        Output::Prompted { at, rung, onset, text } => {
            json!({ "kind": "prompt", "t": seconds(*at), "rung": rung, "place": place(*onset), "text": text })
        }
        Output::PromptCleared { at } => json!({ "kind": "prompt-cleared", "t": seconds(*at) }),
        Output::Record(Entry::Rep(rep)) => rep_value(rep),
        _ => return None,
    })
}

fn rep_value(rep: &Rep) -> Value {
    json!({
        "kind": "rep",
        "t": seconds(rep.ended),
        "from_t": seconds(rep.started),
        "span": rep.span,
        "bars": [rep.bars.0, rep.bars.1],
        "verdict": verdict_word(rep.verdict),
        "reason": rep.reason.as_ref().map(|r| r.kind),
        "place": rep.reason.as_ref().map(|r| r.place.as_str()),
        "notes_due": rep.n_notes_due,
        "notes_right": rep.n_notes_right,
        "quarters_a_minute": rep.tempo.map(|t| (t * 10.0).round() / 10.0),
        "run": rep.run.as_ref().map(run_value),
    })
}

fn run_value(run: &Run) -> Value {
    let lapse = |lapse: &Lapse| {
        json!({
            "t": seconds(lapse.at),
            "place": lapse.place,
            "lapse": lapse.kind,
            "recovery": recovery_word(lapse.recovery),
            "going_at": lapse.going_at,
            "lost": seconds(lapse.lost),
        })
    };
    let lapses: Vec<Value> = run.lapses.iter().map(lapse).collect();
    json!({ "held": run.is_held, "bars": run.n_bars, "bars_played": run.n_bars_played, "lapses": lapses })
}

fn recovery_word(recovery: Recovery) -> &'static str {
    match recovery {
        Recovery::WentOn => "went-on",
        Recovery::Landmark => "landmark",
        Recovery::Restarted => "restarted",
        Recovery::NotRecovered => "not-recovered",
    }
}

/// Seconds exact to the microsecond, as the shortest decimal.
fn seconds(at: Micros) -> f64 {
    at.secs_f64()
}

fn rounded(confidence: f32) -> f64 {
    (f64::from(confidence) * 1000.0).round() / 1000.0
}

fn heard_word(heard: Heard) -> &'static str {
    match heard {
        Heard::Expected => "expected",
        Heard::Wrong => "wrong",
        Heard::Extra => "extra",
        Heard::Ghost => "ghost",
        Heard::Setting => "setting",
        Heard::Repeat => "repeat",
        Heard::Unclear => "unclear",
    }
}

/// Returns the word of a verdict in files.
pub fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Clean => "clean",
        Verdict::Prompted => "prompted",
        Verdict::Broken => "broken",
    }
}
