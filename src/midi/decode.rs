//! Decoding of raw MIDI bytes into events.
//!
//! A [`Decoder`] takes bytes as they come from a wire, in pieces of any size; `midly` finds the messages in them, `wmidi`
//! says what each one is. Messages that are neither notes nor controllers pass by.

use midly::live::LiveEvent;
use midly::stream::MidiStream;
use wmidi::MidiMessage;

use super::{Channel, MidiEvent, MidiKey, Velocity};

/// Finds the events in a stream of bytes; keeps what is unfinished until the rest comes.
#[derive(Default)]
pub struct Decoder {
    stream: MidiStream,
}

impl Decoder {
    /// Takes the next bytes and hands on each event that they complete.
    pub fn feed(&mut self, bytes: &[u8], mut each: impl FnMut(MidiEvent)) {
        self.stream.feed(bytes, |message| {
            // A channel message has at most three bytes; the others carry no event.
            let mut raw = [0u8; 3];
            let mut rest = &mut raw[..];
            if matches!(message, LiveEvent::Midi { .. }) && message.write(&mut rest).is_ok() {
                let unused = rest.len();
                let length = raw.len() - unused;
                event(&raw[..length]).into_iter().for_each(&mut each);
            }
        });
    }

    /// Forgets an unfinished message and the running status, as after a break in the wire.
    pub fn reset(&mut self) {
        self.stream = MidiStream::default();
    }
}

/// Returns the event that one complete message is, or `None` for messages that practice has no use for and for broken ones.
pub fn event(message: &[u8]) -> Option<MidiEvent> {
    let key = |note: wmidi::Note| MidiKey::try_new(i32::from(u8::from(note)));
    let channel = |channel: wmidi::Channel| Channel(channel.index());
    match MidiMessage::try_from(message).ok()? {
        MidiMessage::NoteOn(c, note, velocity) => {
            Some(MidiEvent::NoteOn { channel: channel(c), key: key(note)?, velocity: Velocity(u8::from(velocity)) })
        }
        MidiMessage::NoteOff(c, note, _) => Some(MidiEvent::NoteOff { channel: channel(c), key: key(note)? }),
        MidiMessage::ControlChange(c, function, value) => {
            Some(MidiEvent::Control { channel: channel(c), controller: u8::from(function), value: u8::from(value) })
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn on(channel: u8, key: u8, velocity: u8) -> MidiEvent {
        MidiEvent::NoteOn { channel: Channel(channel), key: MidiKey::try_new(key.into()).unwrap(), velocity: Velocity(velocity) }
    }

    fn off(channel: u8, key: u8) -> MidiEvent {
        MidiEvent::NoteOff { channel: Channel(channel), key: MidiKey::try_new(key.into()).unwrap() }
    }

    fn control(channel: u8, controller: u8, value: u8) -> MidiEvent {
        MidiEvent::Control { channel: Channel(channel), controller, value }
    }

    fn decode(bytes: &[u8]) -> Vec<MidiEvent> {
        let mut events = Vec::new();
        Decoder::default().feed(bytes, |e| events.push(e));
        events
    }

    /// Rules of the MIDI 1.0 Detailed Specification (document 4.2), section "Data format: data types", and its
    /// tables of status bytes and of channel voice messages.
    #[test]
    fn streams_decode_as_the_midi_specification_rules() {
        type Row = (&'static str, &'static [u8], Vec<MidiEvent>);
        let rows: Vec<Row> = vec![
            (
                "note-on, note-off, controller",
                &[0x90, 60, 64, 0x80, 60, 0, 0xB0, 64, 127],
                vec![on(0, 60, 64), off(0, 60), control(0, 64, 127)],
            ),
            ("the low half of the status is the channel", &[0x9F, 60, 1, 0x8F, 60, 9], vec![on(15, 60, 1), off(15, 60)]),
            ("note-on with velocity 0 is a note-off", &[0x90, 60, 64, 0x90, 60, 0], vec![on(0, 60, 64), off(0, 60)]),
            (
                "running status: the status byte may be left out while it stays the same",
                &[0x90, 60, 64, 62, 65, 60, 0],
                vec![on(0, 60, 64), on(0, 62, 65), off(0, 60)],
            ),
            ("running status holds for controllers", &[0xB2, 64, 127, 64, 0], vec![control(2, 64, 127), control(2, 64, 0)]),
            ("real-time bytes inside a message leave it whole", &[0x90, 0xF8, 60, 0xFE, 64], vec![on(0, 60, 64)]),
            ("real-time bytes only interrupt running status", &[0x90, 60, 64, 0xF8, 62, 0xFA, 65], vec![on(0, 60, 64), on(0, 62, 65)]),
            ("active sensing and clock alone are nothing played", &[0xFE, 0xFE, 0xF8, 0xFE], vec![]),
            ("system exclusive passes by with its data", &[0xF0, 0x7D, 60, 64, 1, 0xF7, 0x90, 60, 64], vec![on(0, 60, 64)]),
            (
                "real-time bytes inside system exclusive leave it whole",
                &[0xF0, 0x7D, 0xF8, 60, 64, 0xF7, 0x90, 60, 64],
                vec![on(0, 60, 64)],
            ),
            ("any status but real-time ends system exclusive", &[0xF0, 0x7D, 1, 2, 0x90, 60, 64], vec![on(0, 60, 64)]),
            ("system exclusive ends running status", &[0x90, 60, 64, 0xF0, 0x7D, 0xF7, 62, 65], vec![on(0, 60, 64)]),
            ("system common ends running status: song position", &[0x90, 60, 64, 0xF2, 1, 2, 62, 65], vec![on(0, 60, 64)]),
            (
                "system common ends running status: tune request",
                &[0x90, 60, 64, 0xF6, 62, 65, 0x90, 63, 66],
                vec![on(0, 60, 64), on(0, 63, 66)],
            ),
            ("undefined status F4 and its data are ignored", &[0xF4, 60, 64, 0x90, 60, 64], vec![on(0, 60, 64)]),
            ("undefined status F5 ends running status", &[0x90, 60, 64, 0xF5, 62, 65], vec![on(0, 60, 64)]),
            ("undefined real-time F9 and FD are ignored", &[0x90, 60, 0xF9, 64, 0xFD, 62, 65], vec![on(0, 60, 64), on(0, 62, 65)]),
            ("data bytes without a status are ignored", &[60, 64, 12, 0x90, 60, 64], vec![on(0, 60, 64)]),
            ("a new status drops an unfinished message", &[0x90, 60, 0x80, 62, 0], vec![off(0, 62)]),
            ("a lone end of exclusive is ignored", &[0xF7, 0x90, 60, 64], vec![on(0, 60, 64)]),
            ("one-byte messages use running status of their own length", &[0xC0, 5, 6, 0xD0, 7, 8, 0x90, 60, 64], vec![on(0, 60, 64)]),
            ("pressure and bend are framed and pass by", &[0xA0, 60, 64, 0xE0, 0, 64, 0x90, 60, 64], vec![on(0, 60, 64)]),
            ("system reset inside a message leaves it whole", &[0x90, 60, 0xFF, 64], vec![on(0, 60, 64)]),
            ("channel mode messages are controllers 120 to 127", &[0xB0, 123, 0], vec![control(0, 123, 0)]),
        ];
        for (rule, bytes, expected) in rows {
            assert_eq!(decode(bytes), expected, "{rule}");
        }
    }

    #[test]
    fn every_controller_and_key_comes_through_as_its_number() {
        for n in 0..128u8 {
            assert_eq!(decode(&[0xB0, n, n]), [control(0, n, n)]);
            assert_eq!(decode(&[0x90, n, 1]), [on(0, n, 1)]);
        }
    }

    #[test]
    fn reset_forgets_half_a_message() {
        let mut decoder = Decoder::default();
        let mut events = Vec::new();
        decoder.feed(&[0x90, 60], |e| events.push(e));
        decoder.reset();
        decoder.feed(&[64, 62, 65], |e| events.push(e));
        assert!(events.is_empty(), "{events:?}");
    }

    #[test]
    fn single_messages_are_typed_and_broken_ones_are_nothing() {
        assert_eq!(event(&[0x91, 60, 64]), Some(on(1, 60, 64)));
        assert_eq!(event(&[0x91, 60, 0]), Some(off(1, 60)));
        for broken in [&[][..], &[0x90], &[0x90, 60], &[60, 64], &[0x90, 60, 0x80], &[0xF7]] {
            assert_eq!(event(broken), None, "{broken:02x?}");
        }
    }

    proptest! {
        #[test]
        fn pieces_of_any_size_decode_like_the_whole(bytes in prop::collection::vec(any::<u8>(), 0..200), cuts in prop::collection::vec(1..9usize, 0..80)) {
            let mut decoder = Decoder::default();
            let mut events = Vec::new();
            let mut rest = &bytes[..];
            for cut in cuts.into_iter().chain([bytes.len()]) {
                let (piece, after) = rest.split_at(cut.min(rest.len()));
                decoder.feed(piece, |e| events.push(e));
                rest = after;
            }
            prop_assert_eq!(events, decode(&bytes));
        }

        #[test]
        fn noise_before_a_status_byte_never_hides_what_follows(noise in prop::collection::vec(any::<u8>(), 0..100)) {
            let mut bytes = noise;
            bytes.extend([0x93, 60, 64]);
            prop_assert_eq!(decode(&bytes).last().copied(), Some(on(3, 60, 64)));
        }
    }
}
