//! `catchword ports`: which MIDI inputs this machine has, what is known of them, and the set-up that finds it out.

mod tune;
mod words;

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use crate::instruments::Instruments;
use crate::paths::Paths;
use crate::source::port;

#[derive(Args, Debug)]
pub struct PortsArgs {
    /// Print one JSON object instead of lines to read
    #[arg(long, conflicts_with = "tune")]
    json: bool,
    /// Learn what footswitches, buttons or spare keys send, by their being pressed
    #[arg(long, conflicts_with = "json", group = "set-up")]
    footswitch: bool,
    /// Set an instrument up, in about a minute: its strings, what they do by themselves, what its keys mean
    #[arg(long, group = "set-up")]
    tune: bool,
    /// Write plain lines, as the set-ups and the list always do
    #[arg(long, conflicts_with = "json")]
    plain: bool,
    /// What to listen to for it: port:NAME, stream:PATH, or part of a port's name
    #[arg(long, value_name = "INPUT", requires = "set-up")]
    input: Option<String>,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

/// What `--json` prints. `missing` says why there is no list; the ports are empty then.
#[derive(Serialize)]
struct Listing {
    ports: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    missing: Option<String>,
    /// Instruments that were set up.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    set_up: Vec<Known>,
}

#[derive(Serialize)]
struct Known {
    name: String,
    known: String,
}

/// Prints the list, or why there is none: a machine without MIDI is no failure, other inputs still work.
pub fn run(args: PortsArgs) -> anyhow::Result<()> {
    if args.footswitch {
        return super::footswitch::learn(args.input.as_deref(), args.data.as_deref());
    }
    let paths = Paths::find(args.data.as_deref());
    if args.tune {
        return tune::run(args.input.as_deref(), &paths?);
    }
    // Without a home directory nothing can be known, and there is still a list.
    let instruments = paths.map_or(Ok(Instruments::default()), |paths| Instruments::load(&Instruments::file(&paths)))?;
    let set_up = instruments.0.iter().map(|(name, profile)| Known { name: name.clone(), known: words::profile_line(profile) }).collect();
    let listing = match port::names() {
        Ok(ports) => Listing { ports, missing: None, set_up },
        Err(error) => Listing { ports: Vec::new(), missing: Some(error.to_string()), set_up },
    };
    let text = if args.json { serde_json::to_string(&listing)? } else { lines(&listing) };
    super::print_lines(text.lines().map(str::to_owned))
}

fn lines(listing: &Listing) -> String {
    let known: String = listing.set_up.iter().map(|known| format!("  {}: {}\n", known.name, known.known)).collect();
    let known = if known.is_empty() { known } else { format!("{}\n{known}", tr!("Set up:")) };
    port_lines(listing) + &known
}

fn port_lines(listing: &Listing) -> String {
    match (&listing.missing, &listing.ports[..]) {
        (Some(missing), _) => tr!("No MIDI ports: {why}.", why = missing) + "\n",
        (None, []) => tr!("No MIDI ports: no instrument is connected. Plug it in, switch it on and look again.") + "\n",
        (None, ports) => {
            let names: String = ports.iter().map(|p| format!("  {p}\n")).collect();
            format!("{}\n{names}{}\n", tr!("MIDI ports:"), tr!("Choose one by any part of its name: --input port:NAME"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn list_says_how_to_choose_or_why_it_is_empty() {
        let of = |ports: &[&str], missing: Option<&str>| {
            lines(&Listing {
                ports: ports.iter().map(|p| (*p).to_owned()).collect(),
                missing: missing.map(str::to_owned),
                set_up: Vec::new(),
            })
        };
        assert_eq!(of(&["Lyra 20:0"], None), "MIDI ports:\n  Lyra 20:0\nChoose one by any part of its name: --input port:NAME\n");
        assert!(of(&[], None).contains("no instrument is connected"));
        assert_eq!(of(&[], Some("looking for it: gone")), "No MIDI ports: looking for it: gone.\n");
    }
}
