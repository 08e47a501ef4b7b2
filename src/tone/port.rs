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

    /// A connection, and the name of the port that it was made to: a port that vanishes takes what is sent, and says nothing.
    struct Port {
        connection: MidiOutputConnection,
        name: String,
    }

    impl Wire for Port {
        fn send(&mut self, message: &[u8]) -> Result<(), String> {
            self.connection.send(message).map_err(|error| error.to_string())
        }

        fn is_there(&self) -> bool {
            let Ok(output) = MidiOutput::new(CLIENT) else { return false };
            output.ports().iter().any(|port| output.port_name(port).is_ok_and(|name| name == self.name))
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
        let connection = output
            .connect(&ports[chosen], "tones")
            .map_err(|error| refused(error.to_string(), &tr!("close other programs that use it, or plug it in anew")))?;
        Ok(Box::new(Port { connection, name: names[chosen].clone() }))
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
