//! A system MIDI port to send to, chosen by name as the inputs are.

use super::Wire;
use crate::source::Error;

/// Opens the port of this name, or the only one that has it in its name.
pub(super) fn open(name: &str) -> Result<Box<dyn Wire>, Error> {
    system::open(name)
}

#[cfg(feature = "midi-port")]
mod system {
    use midir::{MidiOutput, MidiOutputConnection};

    use super::super::Wire;
    use crate::source::{Error, port};

    /// The name under which other programs see us.
    const CLIENT: &str = "Catchword";

    impl Wire for MidiOutputConnection {
        fn send(&mut self, message: &[u8]) -> Result<(), String> {
            MidiOutputConnection::send(self, message).map_err(|error| error.to_string())
        }
    }

    pub(super) fn open(name: &str) -> Result<Box<dyn Wire>, Error> {
        port::check()?;
        let refused = |what: String, remedy: &str| Error::Open {
            doing: msgid!("opening the MIDI output"),
            name: format!("\"{name}\""),
            what,
            remedy: remedy.to_owned(),
        };
        let output = MidiOutput::new(CLIENT).map_err(|error| refused(error.to_string(), &tr!("start the MIDI system of this machine")))?;
        // One that vanishes while it is asked for its name is left out.
        let (ports, names): (Vec<_>, Vec<String>) =
            output.ports().into_iter().filter_map(|p| output.port_name(&p).ok().map(|name| (p, name))).unzip();
        let chosen = port::choose_among(&names, name)?;
        let wire = output
            .connect(&ports[chosen], "tones")
            .map_err(|error| refused(error.to_string(), &tr!("close other programs that use it, or plug it in anew")))?;
        Ok(Box::new(wire))
    }
}

#[cfg(not(feature = "midi-port"))]
mod system {
    use super::super::Wire;
    use crate::source::{Error, port};

    pub(super) fn open(_: &str) -> Result<Box<dyn Wire>, Error> {
        // Says what is missing in this build.
        port::check().and_then(|()| unreachable!("without system ports the check fails"))
    }
}
