//! A harp in the hands: facts of the instrument, a simulated string sensor, rolled chords, glissandi.
//!
//! What a sensor does to a take is simulated after the makers' own words and common practice: it triggers twice, it reports what
//! rings along, it may name the string in place of the pitch, and a lever may stand wrong.

mod facts;
mod pedal_harp;
mod replay;
mod rolls;
mod sensor;
mod simulated;
mod tune;

use catchword::follower::{Finding, Slip};
use catchword::journal::entry::{Entry, Mode, Rep};
use catchword::midi::{Hearing, Take};
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::practice::{Output, PracticeConfig, Span, listen};

/// The demo pieces, heard as an instrument is heard.
fn pieces(hearing: &Hearing) -> [Piece; 2] {
    ["ferry", "all-through-the-night"].map(|name| Piece { hearing: hearing.clone().into(), ..open_piece(name, None, &[]).unwrap().piece })
}

/// What a whole take came to.
struct Judged {
    rep: Rep,
    slips: Vec<Slip>,
    outputs: Vec<Output>,
    span: Span,
}

fn whole(piece: &Piece) -> Span {
    Span::whole(piece, Mode::RunThrough).unwrap()
}

/// Hears a take of the whole piece.
fn judged(piece: &Piece, take: &Take) -> Judged {
    let span = whole(piece);
    let outputs = listen(piece, &span, &PracticeConfig::standard(), take);
    let slips = outputs.iter().filter_map(|o| if let Output::Finding(Finding::Slip(slip)) = o { Some(*slip) } else { None }).collect();
    let Some(Output::Record(Entry::Rep(rep))) = outputs.last() else { panic!("the last output is the rep") };
    Judged { rep: rep.clone(), slips, span, outputs }
}
