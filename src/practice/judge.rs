//! What one rep was: the faults found in it, and the verdict they add up to.

use crate::follower::{Finding, Line, OnsetIdx, Slip, SlipKind};
use crate::journal::entry::Verdict;
use crate::piece::Judging;
use crate::score::Place;
use crate::setting::Stand;
use crate::theory::Hand;
use crate::time::{Micros, Tempo};

/// A fault of a closed list; its word is what the journal counts.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Fault {
    Wrong,
    Missed,
    Extra,
    /// The way of a look-alike: where that is, if it was found.
    WrongTurn(Option<Place>),
    /// The right string with its lever or pedal set wrong: which one, and how the page has it.
    Setting(Option<Stand>),
    Restart,
    Jump,
    Hesitation,
    /// A cue was shown on this rung.
    Prompt(u8),
    TooSlow,
    TooFast,
    /// Left before its end by pause, skip or quit.
    Abandoned,
    /// The instrument went away, and what was or was not heard then is not the player's.
    Gone,
}

impl Fault {
    /// Returns which lever or pedal stood wrong, where that is it.
    pub fn stand(self) -> Option<Stand> {
        if let Fault::Setting(stand) = self { stand } else { None }
    }

    /// Returns the word that records are counted by.
    pub fn word(self) -> &'static str {
        match self {
            Fault::Wrong => "wrong",
            Fault::Missed => "missed",
            Fault::Extra => "extra",
            Fault::WrongTurn(_) => "wrong-turn",
            Fault::Setting(_) => "setting",
            Fault::Restart => "restart",
            Fault::Jump => "jump",
            Fault::Hesitation => "hesitation",
            Fault::Prompt(1) => "prompt-1",
            Fault::Prompt(2) => "prompt-2",
            Fault::Prompt(_) => "prompt-3",
            Fault::TooSlow | Fault::TooFast => "tempo",
            Fault::Abandoned | Fault::Gone => "abandoned",
        }
    }
}

/// One fault in its place.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Found {
    pub at: Micros,
    pub fault: Fault,
    /// The onset concerned: for a hesitation or a prompt the one that should have come.
    pub onset: OnsetIdx,
    pub hand: Option<Hand>,
}

/// Collects the faults of one rep.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Judge {
    /// In the order they were known.
    pub found: Vec<Found>,
    n_inner_faults: usize,
    /// Index into `found` of the first fault that breaks the rep.
    breaking: Option<usize>,
}

impl Judge {
    /// Takes in a finding of the follower; `stand` is the lever or pedal of its note, as the page has it. Tells whether the rep is broken by now.
    ///
    /// A setting that is wrong weighs as one slip: it breaks the rep on the top line or the bass, and counts among the inner notes
    /// elsewhere; the ear says it once, however many notes it is heard in.
    pub fn finding(&mut self, finding: &Finding, line: &Line, rules: &Judging, stand: Option<Stand>) -> bool {
        match *finding {
            Finding::Slip(slip) => self.slip(&slip, line, rules, stand),
            Finding::Restart { at, from, .. } => self.breaks(Found { at, fault: Fault::Restart, onset: from, hand: None }),
            Finding::Jump { at, from, .. } => self.breaks(Found { at, fault: Fault::Jump, onset: from, hand: None }),
            // Being lost says only that nothing is known: what follows tells a restart from a jump from a stop.
            Finding::Lost { .. } | Finding::Found { .. } => {}
        }
        self.is_broken()
    }

    fn slip(&mut self, slip: &Slip, line: &Line, rules: &Judging, stand: Option<Stand>) {
        let note = slip.note.map(|n| line.note(n));
        let fault = match slip.kind {
            SlipKind::Wrong => Fault::Wrong,
            SlipKind::Missed => Fault::Missed,
            SlipKind::Extra => Fault::Extra,
            SlipKind::WrongTurn => Fault::WrongTurn(None),
            SlipKind::Setting => Fault::Setting(stand),
        };
        let found = Found { at: slip.at, fault, onset: slip.onset, hand: note.map(|n| n.hand) };
        if note.is_some_and(|n| n.is_outer) || slip.kind == SlipKind::WrongTurn {
            return self.breaks(found);
        }
        self.n_inner_faults += 1;
        let n_inner = line.notes.iter().filter(|n| !n.is_outer && !n.is_optional).count();
        let allowed = ((1.0 - rules.inner_notes_min) * n_inner as f64 + 1e-9).floor() as usize;
        if self.n_inner_faults > allowed {
            self.breaks(found);
        } else {
            self.found.push(found);
        }
    }

    /// Records a fault that breaks the rep.
    pub fn breaks(&mut self, found: Found) {
        self.breaking.get_or_insert(self.found.len());
        self.found.push(found);
    }

    /// Records something that is said and counted but breaks nothing by itself.
    pub fn notes(&mut self, found: Found) {
        self.found.push(found);
    }

    /// What broke the rep is not the player's: the instrument had gone away just before.
    pub fn breaks_by_absence(&mut self) {
        if let Some(broken) = self.breaking.and_then(|at| self.found.get_mut(at)) {
            broken.fault = Fault::Gone;
        }
    }

    /// Tells whether the instrument was away when something was due.
    pub fn has_absence(&self) -> bool {
        self.found.iter().any(|f| f.fault == Fault::Gone)
    }

    /// Takes back hesitations and prompts dated at or after `at`: a note that happened before them arrived late.
    pub fn retract_silence_since(&mut self, at: Micros) {
        let is_late = |f: &Found| matches!(f.fault, Fault::Hesitation | Fault::Gone | Fault::Prompt(_)) && f.at >= at;
        if self.breaking.is_none() {
            self.found.retain(|f| !is_late(f));
        }
    }

    /// Returns what broke the rep, to be told better once more is known of it.
    pub fn breaking_mut(&mut self) -> Option<&mut Found> {
        self.found.get_mut(self.breaking?)
    }

    pub fn is_broken(&self) -> bool {
        self.breaking.is_some()
    }

    /// Returns the verdict and the fault that decided it.
    ///
    /// A hesitation that passed before a cue was shown is neither clean nor prompted: it breaks the rep at its end,
    /// without stopping the player. So does a silence of an instrument that went away.
    pub fn verdict(&self) -> (Verdict, Option<Found>) {
        if let Some(breaking) = self.breaking {
            return (Verdict::Broken, self.found.get(breaking).copied());
        }
        let prompted = self.found.iter().find(|f| matches!(f.fault, Fault::Prompt(_)));
        let unprompted = self.found.iter().find(|h| {
            let cued = |f: &&Found| matches!(f.fault, Fault::Prompt(_)) && f.onset == h.onset && f.at >= h.at;
            h.fault == Fault::Gone || h.fault == Fault::Hesitation && !self.found.iter().any(|f| cued(&f))
        });
        match (unprompted, prompted) {
            (Some(hesitation), _) => (Verdict::Broken, Some(*hesitation)),
            (None, Some(prompt)) => (Verdict::Prompted, Some(*prompt)),
            (None, None) => (Verdict::Clean, None),
        }
    }

    /// Holds the rep's tempo against the one set, where one is set.
    pub fn tempo(&mut self, played: Option<f64>, set: Option<Tempo>, within: (f64, f64), at: Micros, last: OnsetIdx) {
        let (Some(played), Some(set)) = (played, set) else { return };
        let share = played / set.quarters_per_minute();
        let fault = if share < within.0 {
            Fault::TooSlow
        } else if share > within.1 {
            Fault::TooFast
        } else {
            return;
        };
        self.breaks(Found { at, fault, onset: last, hand: None });
    }
}
