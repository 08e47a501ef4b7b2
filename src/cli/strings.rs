//! `catchword strings`: how levers or pedals stand through a piece, and what they cannot give.

use std::path::PathBuf;

use anyhow::{Context as _, bail};
use clap::Args;

use super::{pieces_dirs, print_lines};
use crate::export::musicxml;
use crate::piece::Piece;
use crate::piece_folder::open_piece;
use crate::score::{Place, Score, Unfolded, unfold};
use crate::setting::{Change, Plan, plan};
use crate::theory::harp::{Harp, Mechanism};
use crate::theory::{Letter, SpelledPitch};
use crate::time::ScoreTime;

#[derive(Args, Debug)]
pub struct StringsArgs {
    /// A piece: its name, its folder, or a score file
    piece: String,
    /// The part to play, where the score has several
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Write the score as MusicXML with the pedal diagrams of this plan, for a pedal harp
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

pub fn run(args: StringsArgs) -> anyhow::Result<()> {
    let piece = open_piece(&args.piece, args.part.as_deref(), &pieces_dirs())?.piece;
    let Some(harp) = &piece.harp else {
        return print_lines([tr!("a keyboard has no levers or pedals to set; say instrument = \"lever-harp\" in the piece file")]);
    };
    let Some(bars) = piece.score.all_bars() else { return print_lines([tr!("the score has no bars")]) };
    let stretch = unfold(&piece.score, piece.part(), &bars);
    let plan = plan(harp, &piece.score, piece.part(), &stretch, piece.tempo);
    if let Some(file) = &args.out {
        let Mechanism::Pedals { .. } = harp.mechanism else {
            bail!(tr!("only a pedal harp has pedal diagrams; say instrument = \"pedal-harp\" in the piece file"));
        };
        let mut score = Score::clone(&piece.score);
        score.parts[piece.part].pedal_diagrams = plan.diagrams(&piece.score);
        if file.exists() {
            bail!(tr!("{file} is there already; give another name", file = file.display()));
        }
        std::fs::write(file, musicxml::write(&score)).with_context(|| tr!("writing the score to {file}", file = file.display()))?;
    }
    print_lines(lines(&piece, harp, &stretch, &plan))
}

fn lines(piece: &Piece, harp: &Harp, stretch: &Unfolded, plan: &Plan) -> Vec<String> {
    let score = &piece.score;
    let mut lines = vec![harp_words(harp), tr!("at the start: {}", plan.words_at(ScoreTime::ZERO, harp))];
    lines.extend(plan.changes.iter().map(|change| {
        let Change { place, for_place, trouble, .. } = change;
        let hard = trouble.map_or(String::new(), |t| format!(" ({})", t.words()));
        tr!(
            "{place}: {change}, for {played}{hard}",
            place = place.words(score),
            change = change.words(),
            played = for_place.words(score),
            hard
        )
    }));
    if plan.changes.is_empty() {
        lines.push(tr!("nothing moves"));
    } else {
        let starts = piece.sections.iter().map(|s| (s.name.as_str(), Place::start_of(s.bars.start)));
        let landmarks = piece.landmarks.iter().map(|l| (l.name.as_str(), l.place));
        for (name, place) in starts.chain(landmarks) {
            if let Some(played) = first_played(stretch, place) {
                lines.push(tr!(
                    "at {name}, {place}: {setting}",
                    name = format!("{name:?}"),
                    place = place.words(score),
                    setting = plan.words_at(played, harp)
                ));
            }
        }
    }
    lines.extend(plan.problems.iter().map(|problem| problem.words(score, harp)));
    lines
}

/// When a place is reached for the first time, in quarters from the start.
fn first_played(stretch: &Unfolded, place: Place) -> Option<ScoreTime> {
    stretch.bars.iter().find(|b| b.bar == place.bar).map(|b| b.start + place.into_bar)
}

fn harp_words(harp: &Harp) -> String {
    let strings = tr!(
        "{n} strings, {lowest} to {highest} (C4 is middle C)",
        n = harp.strings.n_strings(),
        lowest = harp.strings.lowest(),
        highest = harp.strings.highest()
    );
    match &harp.mechanism {
        Mechanism::Pedals { .. } => tr!("pedal harp: {strings}", strings),
        Mechanism::Levers(tuning) => {
            let tonic = |fifths: i8| {
                let letter = Letter::from_steps(i32::from(fifths) * 4);
                let alter = (i32::from(fifths) + 1).div_euclid(7);
                SpelledPitch::new(letter, alter as i8, 0).name()
            };
            let keys: Vec<String> = tuning.signatures(&Letter::ALL).into_iter().map(tonic).collect();
            tr!(
                "lever harp: {strings}, tuned in {key}; with levers on every string it reaches {keys}",
                strings,
                key = tonic(tuning.open.fifths),
                keys = keys.join(", ")
            )
        }
    }
}
