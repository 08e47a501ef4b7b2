//! Journals made from a seed: a player who practises a piece over weeks, forgets a little, and has a few bars that stay hard.
//!
//! For tests, pictures and benches; what is in it is invented.

use catchword::journal::entry::{
    Answer, BarPace, Entry, Happening, Lapse, Mode, Outcome, QuestionKind, Reason, Recovery, Rep, RepNumber, Run, Spot, Verdict, Witness,
};
use catchword::journal::store::{NewSession, SessionId, Store};
use catchword::midi::{Channel, MidiEvent, MidiKey, Take, Velocity};
use catchword::piece::Piece;
use catchword::time::{Micros, Stamped, Timestamp};
use chrono::{Duration, NaiveDate};
use fastrand::Rng;

/// A stretch of somebody's practice.
#[derive(Clone, Debug)]
pub struct Life<'a> {
    pub piece: &'a Piece,
    pub key: &'a str,
    pub first_day: NaiveDate,
    pub n_days: u32,
    /// Reps of each section on a day of practice.
    pub n_reps: u32,
    pub seed: u64,
}

impl Life<'_> {
    /// Writes all of it into a journal.
    pub fn live(&self, store: &mut Store) {
        let mut rng = Rng::with_seed(self.seed);
        let n_bars = self.piece.score.bars.len();
        let mut player = Player {
            weak: (0..n_bars).map(|_| 0.08 + 0.25 * rng.f64()).collect(),
            stubborn: [rng.usize(0..n_bars), n_bars.saturating_sub(4)],
            known_days: vec![0; self.piece.sections.len()],
            rng,
        };
        for day in 0..self.n_days {
            // About five days of seven.
            if day == 0 || player.rng.u8(0..7) < 5 {
                self.practise(store, &mut player, day);
            }
        }
    }

    fn practise(&self, store: &mut Store, player: &mut Player, day: u32) {
        let date = self.first_day + Duration::days(i64::from(day));
        let minutes = 17 * 60 + i64::from(player.rng.u16(0..180));
        let time = date.and_hms_opt(0, 0, 0).expect("midnight is there") + Duration::minutes(minutes);
        let started: Timestamp = time.and_local_timezone(chrono::FixedOffset::east_opt(3600).expect("an hour is an offset")).unwrap();
        let opened = NewSession {
            started,
            piece_key: self.key.to_owned(),
            piece_title: self.piece.title.clone(),
            program_version: "0.1.0".to_owned(),
            seed: player.rng.u64(..),
        };
        let id = store.begin_session(&opened).expect("a session begins");
        let mut evening = Evening { life: self, store, id, at: Micros::from_millis(5_000), n_reps: 0, n_answers: 0 };
        if day == 0 {
            evening.reading(player);
        }
        evening.cold_starts(player);
        for section in 0..self.piece.sections.len() {
            // Sections are taken up one after the other, two days each.
            if section as u32 > 1 + day / 2 {
                break;
            }
            for _ in 0..self.n_reps {
                evening.drill(player, section);
            }
            player.known_days[section] += 1;
        }
        if player.known_days.iter().all(|n| *n > 0) {
            evening.run_through(player);
        }
        let end = started + Duration::microseconds(evening.at.0);
        store.end_session(id, end).expect("a session ends");
    }
}

struct Player {
    /// By bar: probability to fail on the first day.
    weak: Vec<f64>,
    stubborn: [usize; 2],
    known_days: Vec<i32>,
    rng: Rng,
}

impl Player {
    fn fails(&mut self, bar: usize, section: usize) -> bool {
        let (weak, fades): (f64, f64) = if self.stubborn.contains(&bar) { (0.55, 0.97) } else { (self.weak[bar], 0.72) };
        self.rng.f64() < weak * fades.powi(self.known_days[section])
    }
}

struct Evening<'a> {
    life: &'a Life<'a>,
    store: &'a mut Store,
    id: SessionId,
    at: Micros,
    n_reps: u32,
    n_answers: u32,
}

impl Evening<'_> {
    fn label(&self, bar: usize) -> String {
        self.life.piece.score.bars[bar].label.to_string()
    }

    fn rep(&mut self, mode: Mode, span: &str, bars: (usize, usize), rng: &mut Rng) -> Rep {
        let started = self.at;
        self.at += Micros::from_millis(2_000 * (bars.1 - bars.0) as i64 + rng.i64(0..800));
        let rep = Rep {
            number: RepNumber(self.n_reps),
            mode,
            span: span.to_owned(),
            bars: (self.label(bars.0), self.label(bars.1 - 1)),
            started,
            ended: self.at,
            verdict: Verdict::Clean,
            witness: Witness::Heard,
            reason: None,
            happenings: Vec::new(),
            n_notes_due: 10 * (bars.1 - bars.0) as u32,
            n_notes_right: 10 * (bars.1 - bars.0) as u32,
            tempo: Some(90.0 + f64::from(rng.u8(0..12))),
            run: None,
            take: take(started, rng),
        };
        self.n_reps += 1;
        self.at += Micros::from_millis(4_000);
        rep
    }

    fn keep(&mut self, entry: &Entry) {
        self.store.append(self.id, entry).expect("an entry is kept");
    }

    fn reading(&mut self, player: &mut Player) {
        let n_bars = self.life.piece.score.bars.len();
        let rep = self.rep(Mode::Reading, "whole piece", (0, n_bars), &mut player.rng);
        self.keep(&Entry::Rep(rep));
    }

    fn drill(&mut self, player: &mut Player, section: usize) {
        let piece = self.life.piece;
        let bars = &piece.sections[section].bars;
        let mut rep = self.rep(Mode::Drill, &piece.sections[section].name, (bars.start.0, bars.end.0), &mut player.rng);
        let mut spot = None;
        for bar in bars.iter() {
            if !player.fails(bar.0, section) {
                continue;
            }
            let place = format!("{}.{}", self.label(bar.0), player.rng.u8(1..3));
            let at = rep.started + Micros::from_millis(2_000 * (bar.0 - bars.start.0) as i64 + 500);
            let hand = [None, Some("left"), Some("right")][player.rng.usize(0..3)];
            let happening = |kind: &'static str, by: i64| Happening {
                at: at + Micros::from_millis(by),
                kind,
                place: place.clone(),
                hand,
                setting: None,
            };
            if player.rng.u8(0..10) < 6 {
                rep.happenings.extend([happening("hesitation", 0), happening("prompt-1", 700)]);
                rep.verdict = Verdict::Prompted;
                rep.reason.get_or_insert(Reason { place: place.clone(), kind: "prompt-1", words: format!("a cue at bar {place}") });
            } else {
                let kind = ["wrong", "missed", "setting", "wrong-turn"][player.rng.usize(0..4)];
                rep.happenings.push(happening(kind, 0));
                rep.verdict = Verdict::Broken;
                rep.reason = Some(Reason { place: place.clone(), kind, words: format!("bar {place}: not what is written") });
                rep.n_notes_right -= 1;
                rep.ended = at + Micros::from_millis(1_000);
                spot =
                    Some(Spot { at: rep.ended, place, hand, text: player.rng.bool().then(|| "thumb stays home".to_owned()), typed: None });
                break;
            }
        }
        let (number, at) = (rep.number, rep.ended);
        let is_overruled = rep.verdict != Verdict::Clean && player.rng.u8(0..40) == 0;
        self.keep(&Entry::Rep(rep));
        if let Some(spot) = spot {
            self.keep(&Entry::Spot(spot));
        }
        if is_overruled {
            self.keep(&Entry::Overruled { rep: number, verdict: Verdict::Clean, at: at + Micros::from_millis(900) });
        }
    }

    fn cold_starts(&mut self, player: &mut Player) {
        let piece = self.life.piece;
        let n_landmarks = piece.landmarks.len();
        for nth in 0..n_landmarks.min(4) {
            let landmark = &piece.landmarks[(nth * 3 + self.n_reps as usize) % n_landmarks];
            let bar = landmark.place.bar;
            let section = piece.sections.iter().position(|s| s.bars.contains(bar)).unwrap_or_default();
            if player.known_days[section] == 0 {
                continue;
            }
            let is_held = !player.fails(bar.0, section);
            let recall = 1_200 + (4_500.0 * 0.8_f64.powi(player.known_days[section]) * (0.6 + player.rng.f64())) as i64;
            let is_told = player.rng.u8(0..8) == 0;
            let asked = self.at;
            self.at += Micros::from_millis(12_000);
            let answer = Answer {
                number: self.n_answers,
                kind: [QuestionKind::ColdStart, QuestionKind::ColdStart, QuestionKind::Jump, QuestionKind::Switch][player.rng.usize(0..4)],
                place: landmark.place.text(&piece.score),
                asked,
                first_right: (is_held && !is_told).then(|| asked + Micros::from_millis(recall)),
                ended: self.at,
                outcome: if is_held { Outcome::Held } else { Outcome::OutOfTime },
                witness: if is_told { Witness::Told } else { Witness::Heard },
                n_notes_between: None,
                happenings: Vec::new(),
                take: if is_told { Take::default() } else { take(asked, &mut player.rng) },
            };
            self.n_answers += 1;
            self.keep(&Entry::Answer(answer));
        }
    }

    fn run_through(&mut self, player: &mut Player) {
        let piece = self.life.piece;
        let n_bars = piece.score.bars.len();
        let mut rep = self.rep(Mode::RunThrough, "whole piece", (0, n_bars), &mut player.rng);
        let mut lapses = Vec::new();
        for (section, bars) in piece.sections.iter().map(|s| &s.bars).enumerate() {
            for bar in bars.iter() {
                // On stage a little more goes wrong than in the room.
                if !player.fails(bar.0, section) && player.rng.u8(0..80) > 0 {
                    continue;
                }
                let at = rep.started + Micros::from_millis(2_000 * bar.0 as i64);
                let place = format!("{}.1", self.label(bar.0));
                let kind = ["hesitation", "wrong"][player.rng.usize(0..2)];
                rep.happenings.push(Happening { at, kind, place: place.clone(), hand: None, setting: None });
                let recovery = [Recovery::WentOn, Recovery::NotRecovered, Recovery::Landmark, Recovery::Restarted][player.rng.usize(0..4)];
                let going_at = (recovery != Recovery::NotRecovered).then(|| format!("{}.1", self.label((bar.0 + 1).min(n_bars - 1))));
                lapses.push(Lapse { at, place, kind, recovery, going_at, lost: Micros::from_millis(player.rng.i64(400..4_000)) });
            }
        }
        rep.verdict = if lapses.is_empty() { Verdict::Clean } else { Verdict::Broken };
        rep.reason = lapses.first().map(|l| Reason { place: l.place.clone(), kind: l.kind, words: format!("a lapse at bar {}", l.place) });
        let is_held = lapses.iter().all(|l| l.recovery != Recovery::NotRecovered);
        // The places that stay hard are hurried through, and the last bar is taken broadly.
        let permille = |bar: usize| match player.stubborn.map(|hard| bar.abs_diff(hard)) {
            _ if bar + 1 == n_bars => 860,
            near if near.contains(&0) => 1130,
            near if near.contains(&1) => 1104,
            _ => 1000 - bar as u32 % 3 * 15,
        };
        let bars = (0..n_bars).map(|bar| BarPace { bar: self.label(bar), permille: permille(bar) }).collect();
        rep.run = Some(Run { n_bars: n_bars as u32, n_bars_played: n_bars as u32, is_held, lapses, bars, by_reading: true });
        self.keep(&Entry::Rep(rep));
    }
}

/// A few notes from a time on.
fn take(first: Micros, rng: &mut Rng) -> Take {
    let channel = Channel(0);
    let notes = (0..3).flat_map(|nth| {
        let key = MidiKey::try_new(rng.i32(40..90)).expect("a key");
        let at = first + Micros::from_millis(300 * nth);
        let on = Stamped { at, what: MidiEvent::NoteOn { channel, key, velocity: Velocity(rng.u8(30..110)) } };
        [on, Stamped { at: at + Micros::from_millis(250), what: MidiEvent::NoteOff { channel, key } }]
    });
    notes.collect()
}
