//! Tones sent out over MIDI: a count-in, the call of a jump, the end of a question, a bar played back.
//!
//! [`Tone`] is a handle that only hands words to a thread of its own, so that nothing here ever holds up the loop: what
//! cannot be sent is dropped, and said once. An output that vanished is opened again when it is back. Times are those of the session's clock. Where no tone is wanted
//! [`Tone::off`] takes every call and does nothing.

mod player;
mod port;
mod stream;

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crossbeam_channel::{Receiver, Sender, bounded};

use crate::clock::SessionClock;
use crate::midi::{Channel, MidiKey, Velocity};
use crate::source::{Error, Spec};
use crate::time::Micros;

/// Words that may wait for the thread; it never waits for anything but time.
const N_WORDS_MAX: usize = 64;
/// How long the end of the program waits until what still sounds is let go.
const FAREWELL: Duration = Duration::from_millis(500);

/// One note to be heard, counted from the time its [`Tone::play`] is told.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Sound {
    /// From the time that `play` names to the note's beginning; never negative.
    pub after: Micros,
    pub channel: Channel,
    pub key: MidiKey,
    pub velocity: Velocity,
    /// From its beginning to its end.
    pub length: Micros,
}

impl Sound {
    /// A note on the first channel, which every instrument and synth listens to in its usual setting (common practice).
    ///
    /// # Panics
    /// When `key` is no MIDI key.
    const fn on_first(after: Micros, key: MidiKey, velocity: u8, length: Micros) -> Sound {
        Sound { after, channel: Channel(0), key, velocity: Velocity(velocity), length }
    }

    /// Returns one beat of a click, `after` from the beginning: short and high, the first beat of a bar higher and louder.
    pub fn click(after: Micros, is_first: bool) -> Sound {
        let (key, velocity) = if is_first { (96, 96) } else { (84, 72) };
        Sound::on_first(after, key_of(key), velocity, Micros::from_millis(40))
    }

    /// Returns a bar counted in: `n_beats` clicks, a `beat` apart.
    pub fn count_in(n_beats: u32, beat: Micros) -> Vec<Sound> {
        (0..n_beats).map(|n| Sound::click(Micros(beat.0 * i64::from(n)), n == 0)).collect()
    }

    /// Returns the call of a landmark in the middle of playing: two notes upwards, which no other tone here is.
    pub fn call() -> Vec<Sound> {
        let short = Micros::from_millis(120);
        vec![
            Sound::on_first(Micros::ZERO, key_of(79), 88, short),
            Sound::on_first(Micros::from_millis(130), key_of(86), 96, Micros::from_millis(220)),
        ]
    }

    /// Returns the end of a question: one soft note, the same whatever came of it.
    pub fn question_over() -> Vec<Sound> {
        vec![Sound::on_first(Micros::ZERO, key_of(72), 56, Micros::from_millis(250))]
    }
}

fn key_of(number: i32) -> MidiKey {
    MidiKey::try_new(number).expect("the keys used here are MIDI keys")
}

/// What the thread is told.
enum Word {
    Play { at: Micros, sounds: Vec<Sound> },
    Hush,
}

/// Sends tones; dropped, it lets go of all that sounds.
pub struct Tone {
    /// None: nothing is wanted, or nothing could be opened.
    words: Option<Sender<Word>>,
    /// Closed when the thread has ended.
    ended: Option<Receiver<()>>,
    trouble: Arc<Mutex<Option<String>>>,
}

impl Tone {
    /// Takes every call and does nothing.
    pub fn off() -> Tone {
        Tone { words: None, ended: None, trouble: Arc::default() }
    }

    /// Returns a tone that no thread plays, and what takes out all that it has been told: each note with the time of its beginning.
    #[cfg(test)]
    pub(crate) fn told() -> (Tone, impl Fn() -> Vec<(Micros, Sound)>) {
        let (words, told) = bounded(N_WORDS_MAX);
        let tone = Tone { words: Some(words), ended: None, trouble: Arc::default() };
        let notes = move || {
            let notes_of = |word| match word {
                Word::Play { at, sounds } => sounds.into_iter().map(|sound| (at + sound.after, sound)).collect(),
                Word::Hush => Vec::new(),
            };
            told.try_iter().flat_map(notes_of).collect()
        };
        (tone, notes)
    }

    /// Opens what `spec` names: `port:NAME` or part of a port's name, or `stream:PATH` for raw MIDI bytes (a FIFO that is
    /// being read, a device, a file that is there and is added to).
    ///
    /// # Errors
    /// When it is not there or cannot be written to; the message says what to do.
    pub fn open(spec: &str, clock: SessionClock) -> Result<Tone, Error> {
        let spec = Spec::parse(spec);
        let opener = move || match &spec {
            Spec::Port(name) => port::open(name),
            Spec::Stream(path) | Spec::Take(path) => stream::open(path),
        };
        let wire = opener()?;
        let (words, told) = bounded(N_WORDS_MAX);
        let (end, ended) = bounded::<()>(0);
        let trouble = Arc::new(Mutex::new(None));
        let heard = Arc::clone(&trouble);
        std::thread::spawn(move || {
            player::run((wire, &opener), clock, &told, &heard);
            drop(end);
        });
        Ok(Tone { words: Some(words), ended: Some(ended), trouble })
    }

    /// Opens what a setting names, if it names anything. Where that cannot be opened nothing sounds, and the reason is
    /// there to be taken once.
    pub fn of_setting(setting: Option<&str>, clock: SessionClock) -> Tone {
        match setting.map(|spec| Tone::open(spec, clock)) {
            None => Tone::off(),
            Some(Ok(tone)) => tone,
            Some(Err(error)) => {
                let tone = Tone::off();
                note(&tone.trouble, tr!("no tones: {why}", why = error));
                tone
            }
        }
    }

    /// Tells whether anything can sound.
    pub fn is_on(&self) -> bool {
        self.words.is_some()
    }

    /// Plays notes, counted from `at` of the session's clock. What is called for too late to be in time is left out.
    pub fn play(&self, at: Micros, sounds: Vec<Sound>) {
        self.tell(Word::Play { at, sounds });
    }

    /// Lets go of all that sounds, and forgets what was still to come.
    pub fn hush(&self) {
        self.tell(Word::Hush);
    }

    /// Returns why nothing sounds, once.
    pub fn take_trouble(&self) -> Option<String> {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner).take()
    }

    fn tell(&self, word: Word) {
        if let Some(words) = &self.words {
            // A thread that is so far behind drops what it is told: the loop waits for nothing.
            let _ = words.try_send(word);
        }
    }
}

impl Drop for Tone {
    fn drop(&mut self) {
        drop(self.words.take());
        if let Some(ended) = &self.ended {
            let _ = ended.recv_timeout(FAREWELL);
        }
    }
}

/// Where bytes go. A wire may drop what it cannot take at once, and must not wait.
trait Wire: Send {
    /// Sends one whole message.
    ///
    /// # Errors
    /// Says why it could not be sent.
    fn send(&mut self, message: &[u8]) -> Result<(), String>;

    /// Tells whether what it leads to is there, where sending alone does not tell.
    fn is_there(&self) -> bool {
        true
    }
}

fn note(trouble: &Mutex<Option<String>>, words: String) {
    trouble.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(words);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::MidiEvent;
    use crate::midi::decode::Decoder;

    /// Plays `what` into a file, and returns the events in it when the tone has been let go.
    fn written(what: impl FnOnce(&Tone, SessionClock)) -> Vec<MidiEvent> {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bytes");
        std::fs::write(&path, []).unwrap();
        let clock = SessionClock::start();
        let tone = Tone::open(&format!("stream:{}", path.display()), clock).unwrap();
        what(&tone, clock);
        assert_eq!(tone.take_trouble(), None);
        drop(tone);
        let mut events = Vec::new();
        Decoder::default().feed(&std::fs::read(path).unwrap(), |event| events.push(event));
        events
    }

    fn keys(events: &[MidiEvent]) -> Vec<i32> {
        let key = |event: &MidiEvent| match event {
            MidiEvent::NoteOn { key, .. } => i32::from(key.number()),
            MidiEvent::NoteOff { key, .. } => -i32::from(key.number()),
            MidiEvent::Control { .. } => 0,
        };
        events.iter().map(key).collect()
    }

    #[test]
    fn a_bar_is_counted_in_and_every_note_is_let_go() {
        let events = written(|tone, clock| {
            tone.play(clock.now(), Sound::count_in(3, Micros::from_millis(60)));
            std::thread::sleep(Duration::from_millis(400));
        });
        assert_eq!(keys(&events), [96, -96, 84, -84, 84, -84]);
    }

    #[test]
    fn notes_come_in_the_order_of_their_times_whatever_order_they_are_told_in() {
        let sound = |after, key, length| Sound::on_first(Micros::from_millis(after), key_of(key), 60, Micros::from_millis(length));
        let events = written(|tone, clock| {
            // The key is struck anew while it sounds: it is let go first, and only once more at the end.
            tone.play(clock.now(), vec![sound(90, 62, 20), sound(0, 60, 200), sound(50, 60, 100), sound(50, 64, 10)]);
            std::thread::sleep(Duration::from_millis(400));
        });
        assert_eq!(keys(&events), [60, -60, 60, 64, -64, 62, -62, -60]);
    }

    #[test]
    fn what_is_hushed_falls_silent_and_does_not_come() {
        let events = written(|tone, clock| {
            tone.play(clock.now(), Sound::count_in(8, Micros::from_millis(300)));
            std::thread::sleep(Duration::from_millis(150));
            tone.play(clock.now(), vec![Sound::on_first(Micros::ZERO, key_of(50), 60, Micros(60_000_000))]);
            std::thread::sleep(Duration::from_millis(50));
            tone.hush();
            std::thread::sleep(Duration::from_millis(400));
        });
        assert_eq!(keys(&events), [96, -96, 50, -50]);
    }

    #[test]
    fn the_end_lets_go_of_what_sounds_and_a_late_call_is_left_out() {
        let events = written(|tone, clock| {
            tone.play(clock.now() - Micros(2_000_000), Sound::question_over());
            tone.play(clock.now(), vec![Sound::on_first(Micros::ZERO, key_of(50), 60, Micros(60_000_000))]);
            std::thread::sleep(Duration::from_millis(100));
        });
        assert_eq!(keys(&events), [50, -50]);
    }

    #[test]
    fn where_there_is_nothing_to_sound_it_is_said_once_and_nothing_else_happens() {
        let clock = SessionClock::start();
        let tone = Tone::of_setting(Some("stream:/no/such/place"), clock);
        assert!(!tone.is_on());
        let trouble = tone.take_trouble().unwrap();
        assert!(trouble.starts_with("no tones: opening the MIDI output /no/such/place: "), "{trouble}");
        tone.play(clock.now(), Sound::call());
        tone.hush();
        assert_eq!(tone.take_trouble(), None);
        assert_eq!(Tone::of_setting(None, clock).take_trouble(), None);
        assert_eq!(Tone::off().take_trouble(), None);
    }

    #[cfg(unix)]
    #[test]
    fn a_pipe_that_nobody_reads_is_refused_and_one_whose_reader_goes_is_told_of_once() {
        use std::io::Read;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("out.fifo");
        assert!(std::process::Command::new("mkfifo").arg(&path).status().unwrap().success());
        let spec = format!("stream:{}", path.display());
        let clock = SessionClock::start();
        let refused = Tone::open(&spec, clock).err().unwrap().to_string();
        assert!(refused.contains("nothing reads it"), "{refused}");
        let opener = std::thread::spawn({
            let path = path.clone();
            move || std::fs::File::open(path).unwrap()
        });
        let tone = loop {
            match Tone::open(&spec, clock) {
                Ok(tone) => break tone,
                Err(_) => std::thread::sleep(Duration::from_millis(5)),
            }
        };
        let mut reader = opener.join().unwrap();
        tone.play(clock.now(), Sound::question_over());
        let mut bytes = [0; 3];
        reader.read_exact(&mut bytes).unwrap();
        assert_eq!(bytes, [0x90, 72, 56]);
        drop(reader);
        let mut troubles = Vec::new();
        for _ in 0..4 {
            tone.play(clock.now(), Sound::question_over());
            std::thread::sleep(Duration::from_millis(60));
            troubles.extend(tone.take_trouble());
        }
        assert_eq!(troubles.len(), 1, "{troubles:?}");
        assert!(troubles[0].starts_with("no tones: "), "{troubles:?}");

        // Somebody reads it again: from the next try on it sounds.
        let mut reader = std::fs::File::open(&path).unwrap_or_else(|error| panic!("{error}"));
        let begun = std::time::Instant::now();
        let back = loop {
            if let Some(words) = tone.take_trouble() {
                break words;
            }
            assert!(begun.elapsed() < Duration::from_secs(20), "it was not opened again");
            std::thread::sleep(Duration::from_millis(20));
        };
        assert_eq!(back, "tones can be heard again");
        tone.play(clock.now(), Sound::question_over());
        reader.read_exact(&mut bytes).unwrap();
        assert_eq!(bytes, [0x90, 72, 56]);
    }
}
