//! One session in the shell: what is practised, the journal it is written to, the pedals, and the demo's own player.

use crate::cli::director::Director;
use crate::cli::record::Record;
use crate::cli::story_file::StoryFile;
use crate::cli::voice::Voice;
use crate::journal::entry::{Entry, Mode};
use crate::log;
use crate::midi::MidiKey;
use crate::practice::hands_free::{HandsFree, HandsFreeConfig, Heard};
use crate::practice::view::Breaks;
use crate::practice::{Command, Engine, Input, Machine, Output, Stage, Story, View};
use crate::time::{Micros, Stamped, Tempo};
use crate::tone::{Sound, Tone};
use crate::tui::{Failure, Practice};

/// A session being played.
pub struct Session {
    machine: Box<dyn Machine>,
    record: Option<Record>,
    director: Option<Director>,
    hands: Option<HandsFree>,
    /// The keys that the whole piece has: where no drill says what is played, none of them is a sign.
    piece_keys: Vec<MidiKey>,
    /// Something lies over the practice screen: what is asked for without a key puts it away, and nothing more.
    is_covered: bool,
    /// A switch or a sign was used, and nobody has asked yet.
    is_pressed: bool,
    tone: Tone,
    /// Opens the player's own input when the demo hands over; returns its name.
    heir: Option<Heir>,
    caption: Option<String>,
    /// Where lines of story go.
    stories: Option<StoryFile>,
    voice: Option<Voice>,
    notice: Option<String>,
    breaks: Breaks,
    out: Vec<Output>,
}

type Heir = Box<dyn FnMut() -> anyhow::Result<String>>;

impl Session {
    pub fn new(machine: impl Machine + 'static, record: Option<Record>) -> Self {
        Session::over(Box::new(machine), record)
    }

    pub fn over(machine: Box<dyn Machine>, record: Option<Record>) -> Self {
        Session {
            machine,
            record,
            director: None,
            hands: None,
            piece_keys: Vec::new(),
            is_covered: false,
            is_pressed: false,
            tone: Tone::off(),
            heir: None,
            caption: None,
            stories: None,
            voice: None,
            notice: None,
            breaks: Breaks::USUAL,
            out: Vec::new(),
        }
    }

    /// Lets the demo's own player play.
    pub fn directed(mut self, seed: u64) -> Self {
        self.director = self.machine.drill().map(|engine| Director::new(engine, seed));
        self.caption = Some(tr!("the built-in player is playing   p play it yourself   q close"));
        self
    }

    /// Keeps the lines of story told in the session.
    pub fn with_stories(mut self, stories: StoryFile) -> Self {
        self.stories = Some(stories);
        self
    }

    /// Suggests breaks as they are set.
    pub fn with_breaks(mut self, breaks: Breaks) -> Self {
        self.breaks = breaks;
        self
    }

    /// Has something to say in passing.
    pub fn with_notice(mut self, words: Option<String>) -> Self {
        self.notice = words.or(self.notice);
        self
    }

    /// Speaks the cues, where there is a voice.
    pub fn with_voice(mut self, voice: Option<Voice>) -> Self {
        self.voice = voice;
        self
    }

    #[cfg(test)]
    pub fn voice(&self) -> &Voice {
        self.voice.as_ref().expect("the session was given a voice")
    }

    /// Listens to switches and signs; `piece_keys` are those that the piece has.
    pub fn with_hands_free(mut self, config: HandsFreeConfig, piece_keys: Vec<MidiKey>) -> Self {
        self.hands = Some(HandsFree::new(config));
        self.piece_keys = piece_keys;
        self
    }

    /// Sounds tones; those of [`Tone::off`] are silent.
    pub fn with_tone(mut self, tone: Tone) -> Self {
        self.notice = tone.take_trouble().or(self.notice);
        self.tone = tone;
        self
    }

    /// Returns the account of a session that is over; nothing before.
    pub fn account(&self) -> Vec<String> {
        match self.machine.view().stage {
            Stage::Finished { account } => account.to_vec(),
            _ => Vec::new(),
        }
    }

    /// Ends the session's record.
    ///
    /// # Errors
    /// When something could not be written to the last.
    pub fn close(self) -> anyhow::Result<()> {
        self.record.map_or(Ok(()), Record::close)
    }

    /// Opens an input for whoever takes over from the demo's player, when they do.
    pub fn with_heir(mut self, heir: impl FnMut() -> anyhow::Result<String> + 'static) -> Self {
        self.heir = Some(Box::new(heir));
        self
    }

    /// Lets the demo's player play all that is due by `now`.
    fn play_until(&mut self, now: Micros) {
        while let Some(event) = self.director.as_mut().and_then(|d| d.next(now)) {
            self.feed(event);
        }
    }

    fn feed(&mut self, input: Stamped<Input>) {
        let at = input.at;
        self.out.clear();
        if let (Some(record), Input::Midi(event)) = (&mut self.record, &input.what) {
            record.hear(Stamped { at, what: *event });
        }
        self.machine.handle(input, &mut self.out);
        let mut changed = None;
        for output in &self.out {
            match output {
                Output::Record(entry) => {
                    if let Entry::Rep(rep) = entry {
                        log::note(|| format!("rep of {}: {:?}, {:?}", rep.span, rep.verdict, rep.reason));
                    }
                    self.record.iter_mut().for_each(|record| record.keep(at, entry));
                }
                Output::RepBegan { at, .. } => {
                    let view = self.machine.view();
                    self.record.iter_mut().for_each(|record| record.begin_rep(*at, &view));
                }
                Output::Hesitated { at, onset } => log::note(|| format!("hesitation at {at:?} before onset {}", onset.0)),
                Output::Prompted { at, rung, .. } => log::note(|| format!("rung {rung} at {at:?}")),
                Output::Story { cue, .. } => {
                    if let Some(file) = &mut self.stories {
                        let kept = file.keep(cue);
                        self.notice = Some(kept.words);
                        changed = kept.cues;
                    }
                }
                Output::Advised { words, .. } => self.notice = Some(words.clone()),
                Output::ByStrings { .. } => {
                    self.notice = Some(tr!("your instrument sends strings: levers and pedals are not listened to"));
                }
                _ => {}
            }
            if let Some(director) = &mut self.director {
                director.see(output);
            }
        }
        if let Some(voice) = &mut self.voice {
            voice.follow(&self.out, &self.machine.view());
            if let Some(trouble) = voice.take_trouble() {
                self.notice = Some(trouble);
            }
        }
        self.sound(at);
        if let Some(cues) = changed {
            self.machine.handle(Stamped { at, what: Input::Story(Story::Cues(cues)) }, &mut Vec::new());
        }
        if let (Some(director), Some(engine)) = (&mut self.director, self.machine.drill()) {
            director.look(engine, at);
        }
        if let Some(record) = &mut self.record {
            record.try_again(at);
            if let Some(news) = record.take_news() {
                self.notice = Some(news);
            }
        }
    }

    /// Gives an input to practice, as far as it is none to steer by.
    fn take_in(&mut self, input: Stamped<Input>) {
        let at = input.at;
        let Some(mut hands) = self.hands.take() else { return self.feed(input) };
        let mut heard = Vec::new();
        hands.input(input, &self.machine.view(), |key| self.is_in_span(key), &mut heard);
        for heard in heard {
            match heard {
                Heard::Input(input) => self.put_in(input),
                Heard::Asked(Stamped { at, what }) => {
                    self.is_pressed = true;
                    let is_over = matches!(self.machine.view().stage, Stage::Finished { .. });
                    if !self.is_covered && !is_over {
                        self.put_in(Stamped { at, what: Input::Command(what) });
                    }
                }
            }
        }
        hands.follow(at, &self.machine.view());
        self.hands = Some(hands);
    }

    fn put_in(&mut self, input: Stamped<Input>) {
        let (at, is_start) = (input.at, input.what == Input::Command(Command::Start));
        self.feed(input);
        if is_start && let Some(bar) = self.machine.drill().and_then(count_in) {
            self.tone.play(at, bar);
        }
    }

    fn is_in_span(&self, key: MidiKey) -> bool {
        match self.machine.drill() {
            Some(engine) => engine.span().line.notes.iter().any(|note| is_near(note.key, key)),
            None => self.piece_keys.iter().any(|own| is_near(*own, key)),
        }
    }

    /// Sounds what is to be heard of what was just put out; nothing in a run-through.
    fn sound(&mut self, at: Micros) {
        if let Some(trouble) = self.tone.take_trouble() {
            self.notice = Some(trouble);
        }
        if self.machine.view().mode == Mode::RunThrough {
            // A bar counted in before it is no part of it.
            if self.out.iter().any(|output| matches!(output, Output::SpanBegan { .. })) {
                self.tone.hush();
            }
            return;
        }
        for output in &self.out {
            match output {
                Output::Called { .. } => self.tone.play(at, Sound::call()),
                Output::Record(Entry::Answer(_)) => self.tone.play(at, Sound::question_over()),
                // Whoever has begun needs no more counting.
                Output::RepBegan { .. } => self.tone.hush(),
                _ => {}
            }
        }
    }
}

impl Practice for Session {
    fn handle(&mut self, input: Stamped<Input>) -> Result<(), Failure> {
        self.play_until(input.at);
        self.take_in(input);
        Ok(())
    }

    fn next_deadline(&self) -> Option<Micros> {
        let played = self.director.as_ref().and_then(Director::due);
        let hands = self.hands.as_ref().and_then(HandsFree::deadline);
        let again = self.record.as_ref().and_then(Record::next_try);
        [self.machine.next_deadline(), played, hands, again].into_iter().flatten().min()
    }

    fn view(&self) -> View<'_> {
        self.machine.view()
    }

    fn hand_over(&mut self, at: Micros) -> Result<Option<String>, Failure> {
        if self.director.is_none() {
            return Ok(None);
        }
        let words = match self.heir.as_mut().map(|heir| heir()) {
            Some(Err(error)) => return Ok(Some(tr!("the built-in player goes on: {why}", why = format!("{error:#}")))),
            Some(Ok(name)) => tr!("over to you: listening to {name}", name),
            None => tr!("over to you"),
        };
        self.director = None;
        self.caption = None;
        self.feed(Stamped { at, what: Input::Command(Command::Again) });
        Ok(Some(words))
    }

    fn breaks(&self) -> Breaks {
        self.breaks
    }

    fn cover(&mut self, is_covered: bool) {
        self.is_covered = is_covered;
    }

    fn take_pressed(&mut self) -> bool {
        std::mem::take(&mut self.is_pressed)
    }

    fn take_notice(&mut self) -> Option<String> {
        self.notice.take().or_else(|| self.record.as_mut().and_then(Record::take_news))
    }

    fn caption(&self) -> Option<&str> {
        self.record.as_ref().and_then(Record::trouble).or(self.caption.as_deref())
    }
}

/// Tells whether two keys may be one string: a lever or a pedal moves it by a semitone, and some pickups name it without that.
fn is_near(one: MidiKey, other: MidiKey) -> bool {
    one.number().abs_diff(other.number()) <= 1
}

/// Returns a bar counted in before what is offered; none before a run-through, which nobody counts in.
fn count_in(engine: &Engine) -> Option<Vec<Sound>> {
    let (span, view) = (engine.span(), engine.view());
    if span.mode != Mode::Drill || !matches!(view.stage, Stage::Waiting | Stage::RepDone { .. } | Stage::Look { .. }) {
        return None;
    }
    let meter = engine.piece().score.bar(span.stretch.bars.first()?.bar).meter;
    let beat = span.line.tempo.unwrap_or(Tempo::USUAL).duration(meter.beat_length());
    let n_beats = (meter.bar_length().to_f64() / meter.beat_length().to_f64()).round() as u32;
    Some(Sound::count_in(n_beats, beat))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::time::Duration;

    use super::*;
    use crate::clock::SessionClock;
    use crate::piece_folder::open_piece;
    use crate::practice::{PracticeConfig, Span};

    /// Returns the keys struck when a landmark is called in a session of this mode.
    fn called(mode: Mode) -> Vec<u8> {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bytes");
        std::fs::write(&path, []).unwrap();
        let clock = SessionClock::start();
        let tone = Tone::open(&format!("stream:{}", path.display()), clock).unwrap();
        let piece = Arc::new(open_piece("ferry", None, &[]).unwrap().piece);
        let span = Span::whole(&piece, mode).unwrap();
        let engine = Engine::try_new(piece, vec![span], PracticeConfig::standard()).unwrap();
        let mut session = Session::new(engine, None).with_tone(tone);
        session.out = vec![Output::Called { at: clock.now(), words: "to bar 5".to_owned() }];
        session.sound(clock.now());
        session.put_in(Stamped { at: clock.now(), what: Input::Command(Command::Start) });
        std::thread::sleep(Duration::from_millis(500));
        drop(session);
        std::fs::read(path).unwrap().chunks(3).filter(|m| m[0] == 0x90).map(|m| m[1]).collect()
    }

    #[test]
    fn a_call_and_a_bar_counted_in_are_heard_and_nothing_in_a_run_through() {
        let heard = called(Mode::Drill);
        assert!([79, 86, 96].iter().all(|key| heard.contains(key)), "{heard:?}");
        assert_eq!(called(Mode::RunThrough), [0; 0]);
    }
}
