//! A system MIDI port: listed, chosen by name, watched for going and coming back.
//!
//! The library below says nothing when an instrument is unplugged (its callback falls silent), so a thread looks at
//! the list of ports twice a second, drops the connection when the port is missing and makes a new one
//! when a port of that name is there. The callback stamps and decodes; it never waits.

use super::Error;

/// How often the list of ports is looked at. Going and coming back are told within 2 s.
#[cfg(feature = "midi-port")]
const LOOK_AGAIN: std::time::Duration = std::time::Duration::from_millis(500);

/// A port as the system lists it.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Listed {
    /// The system's handle: it changes when the instrument is plugged in anew.
    id: String,
    name: String,
}

/// Returns the names of the ports that can be listened to, in the system's order; may be empty.
///
/// # Errors
/// When the machine or this build has no MIDI system; the message says what is missing and what there is instead.
pub fn names() -> Result<Vec<String>, Error> {
    Ok(system::list()?.into_iter().map(|p| p.name).collect())
}

/// Looks whether there is a MIDI system at all.
///
/// # Errors
/// When the machine or this build has none; the message says what is missing and what there is instead.
pub(crate) fn check() -> Result<(), Error> {
    system::check()
}

/// Chooses one of the ports of these names as [`Port::find`] does; returns its index.
///
/// # Errors
/// When no port or several ports fit; the message names what there is.
#[cfg(feature = "midi-port")]
pub(crate) fn choose_among(names: &[String], wanted: &str) -> Result<usize, Error> {
    let listed: Vec<Listed> = names.iter().map(|name| Listed { id: String::new(), name: name.clone() }).collect();
    choose(&listed, wanted)
}

/// A source that listens to a system port.
pub struct Port {
    /// Its name without the numbers that change from one plugging-in to the next.
    name: String,
}

impl Port {
    /// Chooses a port by its name or an unambiguous part of it, letter case aside; an empty text means the only one there is.
    ///
    /// # Errors
    /// When there is no MIDI system, or no port or several ports fit; the message names what there is.
    pub fn find(wanted: &str) -> Result<Self, Error> {
        let listed = system::list()?;
        let chosen = choose(&listed, wanted)?;
        Ok(Port { name: lasting(&listed[chosen].name).to_owned() })
    }
}

impl super::Source for Port {
    fn name(&self) -> String {
        self.name.clone()
    }

    fn start(
        self: Box<Self>,
        clock: crate::clock::SessionClock,
        out: crossbeam_channel::Sender<super::Signal>,
    ) -> Result<super::Running, Error> {
        system::start(self.name, clock, out)
    }
}

const INSTEAD: &str = msgid!(
    "other inputs need none: --input stream:PATH for raw MIDI bytes, --input take:FILE for a recording, --input player for the built-in player"
);

fn no_system(what: &str, remedy: &str) -> Error {
    Error::Open {
        doing: msgid!("looking for"),
        name: tr!("MIDI ports"),
        what: what.to_owned(),
        remedy: if remedy.is_empty() { tr!(INSTEAD) } else { [remedy, &tr!(INSTEAD)].join(&tr!("; ")) },
    }
}

/// Returns a port's name without a trailing `client:port` pair of numbers (ALSA), which changes with every plugging-in.
fn lasting(name: &str) -> &str {
    let is_pair = |word: &str| {
        word.split_once(':').is_some_and(|(a, b)| [a, b].iter().all(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit())))
    };
    match name.rsplit_once(' ') {
        Some((rest, last)) if is_pair(last) => rest,
        _ => name,
    }
}

/// Tells whether a port only passes on what other programs send it (ALSA): never an instrument.
fn is_through(name: &str) -> bool {
    name.starts_with("Midi Through")
}

/// Chooses a port: the one of exactly this name, else the only one whose name has `wanted` in it.
fn choose(listed: &[Listed], wanted: &str) -> Result<usize, Error> {
    let wanted = wanted.trim();
    let low = wanted.to_lowercase();
    let exact = |p: &Listed| [p.name.as_str(), lasting(&p.name)].iter().any(|n| n.to_lowercase() == low);
    let part = |p: &Listed| if low.is_empty() { !is_through(&p.name) } else { p.name.to_lowercase().contains(&low) };
    let all_that = |fits: &dyn Fn(&Listed) -> bool| (0..listed.len()).filter(|&i| fits(&listed[i])).collect::<Vec<_>>();
    let mut found = all_that(&exact);
    if found.is_empty() {
        found = all_that(&part);
    }
    let names = |which: &[usize]| which.iter().map(|&i| format!("\"{}\"", listed[i].name)).collect::<Vec<_>>().join(", ");
    let refused = |what: String, remedy: String| Error::Open {
        doing: msgid!("choosing"),
        name: tr!("MIDI port \"{name}\"", name = wanted),
        what,
        remedy,
    };
    match found[..] {
        [one] => Ok(one),
        [] if all_that(&|p| !is_through(&p.name)).is_empty() => Err(refused(
            tr!("no instrument is connected"),
            tr!("plug it in and switch it on, or use another input; {instead}", instead = tr!(INSTEAD)),
        )),
        [] => Err(refused(tr!("no port has that name"), tr!("the ports are {}", names(&(0..listed.len()).collect::<Vec<_>>())))),
        _ => Err(refused(tr!("{n} ports fit", n = found.len()), tr!("give more of the name: {}", names(&found)))),
    }
}

/// What the watcher does after a look at the ports.
#[cfg(any(test, feature = "midi-port"))]
#[derive(PartialEq, Eq, Debug)]
enum Seen {
    Same,
    /// The connected port is no longer there.
    Lost,
    /// A port of the name is there and not connected: its index.
    Found(usize),
}

/// Compares the list of ports with what is connected. A port plugged in anew between two looks counts as lost: it has a new id, or
/// `is_wired` says that nothing leads from it to us any more.
#[cfg(any(test, feature = "midi-port"))]
fn look(listed: &[Listed], name: &str, connected: Option<&str>, is_wired: bool) -> Seen {
    match connected {
        Some(id) if listed.iter().any(|p| p.id == id && lasting(&p.name) == name) && is_wired => Seen::Same,
        Some(_) => Seen::Lost,
        None => listed.iter().position(|p| lasting(&p.name) == name).map_or(Seen::Same, Seen::Found),
    }
}

/// Reads in the sequencer's own account (`/proc/asound/seq/clients` on Linux) whether our port named `ours` still hears `from`
/// (`client:port`). An account that does not name our port proves nothing and counts as yes.
///
/// An instrument that goes and comes back within one look, as after a dip in power, often gets its old number; the connection is gone all the same.
#[cfg(any(test, all(feature = "midi-port", target_os = "linux")))]
fn still_wired(account: &str, ours: &str, from: &str) -> bool {
    let quoted = format!("\"{ours}\"");
    let mut lines = account.lines().skip_while(|l| !(l.trim_start().starts_with("Port") && l.contains(&quoted)));
    if lines.next().is_none() {
        return true;
    }
    let of_port = lines.take_while(|l| !l.trim_start().starts_with("Port") && !l.starts_with("Client"));
    let mut senders = of_port.filter_map(|l| l.trim_start().strip_prefix("Connected From:")).flat_map(|l| l.split(','));
    // Each sender may carry a note in brackets: 16:0[real:0].
    senders.any(|s| s.trim().split('[').next() == Some(from))
}

#[cfg(feature = "midi-port")]
mod system {
    use std::sync::atomic::{AtomicU32, Ordering};
    use std::thread;

    use crossbeam_channel::{Receiver, Sender, bounded};
    use midir::{MidiInput, MidiInputConnection};

    use super::super::outbox::Outbox;
    use super::super::{Error, Running, Signal};
    use super::{LOOK_AGAIN, Listed, Seen, look, no_system};
    use crate::clock::SessionClock;
    use crate::midi::decode::Decoder;
    use crate::time::Stamped;

    /// The name under which other programs see us.
    const CLIENT: &str = "Catchword";

    pub(super) fn list() -> Result<Vec<Listed>, Error> {
        Ok(listed(&client()?).into_iter().map(|(l, _)| l).collect())
    }

    fn client() -> Result<MidiInput, Error> {
        check()?;
        let mut input =
            MidiInput::new(CLIENT).map_err(|error| no_system(&tr!("the MIDI system does not answer ({why})", why = error), ""))?;
        input.ignore(midir::Ignore::All);
        Ok(input)
    }

    /// Looks for the sequencer before the library does, which complains on the terminal when it is missing.
    #[cfg(target_os = "linux")]
    pub(super) fn check() -> Result<(), Error> {
        const DEVICE: &str = "/dev/snd/seq";
        use std::io::ErrorKind;
        match std::fs::OpenOptions::new().read(true).write(true).open(DEVICE) {
            Ok(_) => Ok(()),
            Err(error) if error.kind() == ErrorKind::NotFound => Err(no_system(
                &tr!("this machine has no MIDI system ({device} is missing)", device = DEVICE),
                &tr!("on a machine with MIDI hardware 'sudo modprobe snd-seq' starts it"),
            )),
            Err(error) => Err(no_system(
                &tr!("the MIDI system cannot be used ({device}: {why})", device = DEVICE, why = error),
                &tr!("your user may have to join the group audio"),
            )),
        }
    }

    #[cfg(not(target_os = "linux"))]
    pub(super) fn check() -> Result<(), Error> {
        Ok(())
    }

    /// Lists the ports; one that vanishes while it is asked for its name is left out.
    fn listed(input: &MidiInput) -> Vec<(Listed, midir::MidiInputPort)> {
        let with_name = |port: midir::MidiInputPort| Some((Listed { id: port.id(), name: input.port_name(&port).ok()? }, port));
        input.ports().into_iter().filter_map(with_name).collect()
    }

    /// A connection, what it leads from, and the name of our own end.
    struct Connection {
        from: String,
        ours: String,
        /// Held for as long as it is to be heard.
        _wire: MidiInputConnection<()>,
    }

    impl Connection {
        #[cfg(target_os = "linux")]
        fn is_wired(&self) -> bool {
            std::fs::read_to_string("/proc/asound/seq/clients").map_or(true, |account| super::still_wired(&account, &self.ours, &self.from))
        }

        #[cfg(not(target_os = "linux"))]
        fn is_wired(&self) -> bool {
            true
        }
    }

    pub(super) fn start(name: String, clock: SessionClock, out: Sender<Signal>) -> Result<Running, Error> {
        let watch = client()?;
        let connected = connect_if_there(&watch, &name, clock, &out)?;
        if connected.is_none() {
            return Err(Error::Open {
                doing: msgid!("opening"),
                name: tr!("MIDI port \"{name}\"", name),
                what: tr!("it is no longer there"),
                remedy: tr!("plug it in and try again"),
            });
        }
        let (stop, stopped) = bounded::<()>(0);
        let thread = thread::spawn(move || keep_connected(&watch, &name, clock, out, connected, &stopped));
        Ok(Running::new(move || {
            drop(stop);
            // The thread closes the connection as it ends.
            let _ = thread.join();
        }))
    }

    /// Looks after the connection until told to stop.
    fn keep_connected(
        watch: &MidiInput,
        name: &str,
        clock: SessionClock,
        out: Sender<Signal>,
        mut connected: Option<Connection>,
        stopped: &Receiver<()>,
    ) {
        let mut word = Outbox::new(out.clone());
        while stopped.recv_timeout(LOOK_AGAIN) == Err(crossbeam_channel::RecvTimeoutError::Timeout) {
            let ports: Vec<Listed> = listed(watch).into_iter().map(|(l, _)| l).collect();
            let what = name.to_owned();
            let is_wired = connected.as_ref().is_none_or(Connection::is_wired);
            let is_heard = match look(&ports, name, connected.as_ref().map(|c| c.from.as_str()), is_wired) {
                Seen::Same => true,
                Seen::Lost => {
                    connected = None;
                    tell(&mut word, Signal::Gone { what }, stopped)
                }
                Seen::Found(_) => {
                    // It may vanish again before it is connected; the next look tells.
                    connected = connect_if_there(watch, name, clock, &out).ok().flatten();
                    connected.is_none() || tell(&mut word, Signal::Back { what }, stopped)
                }
            };
            if !is_heard {
                return;
            }
        }
    }

    /// Sends word of the instrument, waiting for room until told to stop.
    fn tell(word: &mut Outbox, signal: Signal, stopped: &Receiver<()>) -> bool {
        word.insist_until(signal, || stopped.try_recv() != Err(crossbeam_channel::TryRecvError::Empty))
    }

    fn connect_if_there(watch: &MidiInput, name: &str, clock: SessionClock, out: &Sender<Signal>) -> Result<Option<Connection>, Error> {
        let ports = listed(watch);
        let names: Vec<Listed> = ports.iter().map(|(l, _)| l.clone()).collect();
        let Seen::Found(i) = look(&names, name, None, true) else { return Ok(None) };
        let (listed, port) = &ports[i];
        let mut outbox = Outbox::new(out.clone());
        let mut decoder = Decoder::default();
        let hear = move |_: u64, message: &[u8], (): &mut ()| {
            let at = clock.now();
            decoder.feed(message, |what| {
                outbox.offer(Signal::Midi(Stamped { at, what }));
            });
        };
        // A name of its own for each connection, so that it can be found in the system's account.
        static N_MADE: AtomicU32 = AtomicU32::new(1);
        let ours = format!("{CLIENT} {}-{}", std::process::id(), N_MADE.fetch_add(1, Ordering::Relaxed));
        let wire = client()?.connect(port, &ours, hear, ()).map_err(|error| Error::Open {
            doing: msgid!("opening"),
            name: tr!("MIDI port \"{name}\"", name),
            what: error.to_string(),
            remedy: tr!("close other programs that use it, or plug it in anew"),
        })?;
        Ok(Some(Connection { from: listed.id.clone(), ours, _wire: wire }))
    }
}

#[cfg(not(feature = "midi-port"))]
mod system {
    use crossbeam_channel::Sender;

    use super::super::{Error, Running, Signal};
    use super::{Listed, no_system};
    use crate::clock::SessionClock;

    fn missing() -> Error {
        no_system(
            &tr!("this build of catchword leaves system MIDI out"),
            &tr!("build it with the feature midi-port, which is there by default"),
        )
    }

    pub(super) fn check() -> Result<(), Error> {
        Err(missing())
    }

    pub(super) fn list() -> Result<Vec<Listed>, Error> {
        Err(missing())
    }

    pub(super) fn start(_: String, _: SessionClock, _: Sender<Signal>) -> Result<Running, Error> {
        Err(missing())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ports(names: &[&str]) -> Vec<Listed> {
        names.iter().enumerate().map(|(i, name)| Listed { id: i.to_string(), name: (*name).to_owned() }).collect()
    }

    const NAMES: [&str; 4] = ["Midi Through:Midi Through Port-0 14:0", "Lyra:Lyra MIDI 1 20:0", "Lyra:Lyra MIDI 10 20:1", "Desk Keys 24:0"];

    #[test]
    fn port_is_chosen_by_its_name_or_a_part_that_only_it_has() {
        let listed = ports(&NAMES);
        for (wanted, chosen) in [
            ("desk", 3),
            ("Desk Keys 24:0", 3),
            ("DESK KEYS", 3),
            ("Lyra:Lyra MIDI 1", 1),
            ("midi 10", 2),
            ("through", 0),
            ("24:0", 3),
            (" keys ", 3),
        ] {
            assert_eq!(choose(&listed, wanted).ok(), Some(chosen), "{wanted}");
        }
        assert_eq!(choose(&ports(&NAMES[..2]), "").ok(), Some(1), "the only instrument; the through port is none");
    }

    #[test]
    fn choice_that_fits_none_or_several_names_the_ports() {
        let listed = ports(&NAMES);
        let words = |wanted: &str, listed: &[Listed]| choose(listed, wanted).unwrap_err().to_string();
        assert_eq!(
            words("lyra", &listed),
            "choosing MIDI port \"lyra\": 2 ports fit; give more of the name: \"Lyra:Lyra MIDI 1 20:0\", \"Lyra:Lyra MIDI 10 20:1\""
        );
        assert!(words("organ", &listed).starts_with("choosing MIDI port \"organ\": no port has that name; the ports are \"Midi Through"));
        assert!(words("", &listed).contains("3 ports fit"));
        for none in [&NAMES[..0], &NAMES[..1]] {
            assert!(words("", &ports(none)).contains("no instrument is connected; plug it in"));
            assert!(words("organ", &ports(none)).contains("no instrument is connected; plug it in"));
        }
    }

    #[test]
    fn numbers_that_change_with_the_plug_are_no_part_of_the_name() {
        assert_eq!(lasting("Lyra:Lyra MIDI 1 20:0"), "Lyra:Lyra MIDI 1");
        for name in ["Desk Keys", "Desk 24", "Desk 24:", "Desk:1", "Keys a:0"] {
            assert_eq!(lasting(name), name);
        }
    }

    #[test]
    fn watcher_notices_going_coming_back_and_a_quick_change() {
        let name = "Lyra:Lyra MIDI 1";
        let look = |listed: &[Listed], connected, wired| look(listed, name, connected, wired);
        let listed = ports(&NAMES);
        assert_eq!(look(&listed, Some("1"), true), Seen::Same);
        assert_eq!(look(&ports(&NAMES[..1]), Some("1"), true), Seen::Lost);
        assert_eq!(look(&ports(&NAMES[..1]), None, true), Seen::Same, "still away");
        assert_eq!(look(&listed, None, true), Seen::Found(1));
        // Plugged in anew between two looks: the system gave it another number, or the old one without a connection.
        let anew = vec![Listed { id: "28:0".into(), name: "Lyra:Lyra MIDI 1 28:0".into() }];
        assert_eq!(look(&anew, Some("20:0"), true), Seen::Lost);
        assert_eq!(look(&anew, None, true), Seen::Found(0));
        assert_eq!(look(&listed, Some("1"), false), Seen::Lost);
        // Another instrument now has the old number.
        let other = vec![Listed { id: "20:0".into(), name: "Desk Keys 20:0".into() }];
        assert_eq!(look(&other, Some("20:0"), true), Seen::Lost);
    }

    #[test]
    fn system_s_account_tells_a_dead_connection() {
        // As Linux 6.1 prints it, memory figures left out.
        let account = "Client info\n  cur  clients : 7\n\nClient   0 : \"System\" [Kernel Legacy]\n  Port   0 : \"Timer\" (Rwe-)\n\
                       Client  16 : \"Virtual Raw MIDI 0-0\" [Kernel Legacy]\n  Port   0 : \"VirMIDI 0-0\" (RWeX)\n    Connecting To: 129:0, 130:0\n\
                       Client 129 : \"Catchword\" [User Legacy]\n  Port   0 : \"Catchword 96-1\" (-We-)\n    Connected From: 16:0\n  Output pool :\n    Pool size          : 500\n\
                       Client 130 : \"Catchword\" [User Legacy]\n  Port   0 : \"Catchword 97-1\" (-We-)\n    Connected From: 20:0, 16:0[real:0]\n\
                       Client 131 : \"Catchword\" [User Legacy]\n  Port   0 : \"Catchword 98-1\" (-We-)\n\
                       Client 132 : \"Other\" [User Legacy]\n  Port   0 : \"in\" (-We-)\n    Connected From: 16:0\n";
        for (ours, from, wired) in [
            ("Catchword 96-1", "16:0", true),
            ("Catchword 96-1", "17:0", false),
            ("Catchword 97-1", "16:0", true),
            ("Catchword 97-1", "6:0", false),
            ("Catchword 98-1", "16:0", false),
            ("Catchword 99-1", "16:0", true),
        ] {
            assert_eq!(still_wired(account, ours, from), wired, "{ours} {from}");
        }
        assert!(still_wired("", "Catchword 96-1", "16:0"));
    }

    #[test]
    fn without_a_midi_system_the_words_say_what_is_missing_and_what_there_is() {
        // On a machine with MIDI this only checks that listing works.
        match names() {
            Ok(_) => {}
            Err(error) => {
                let words = error.to_string();
                assert!(words.starts_with("looking for MIDI ports: th"), "{words}");
                for input in ["stream:PATH", "take:FILE", "--input player"] {
                    assert!(words.contains(input), "{words}");
                }
            }
        }
    }
}
