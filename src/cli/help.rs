//! The help of the program in the player's language: the tree that clap builds, with each of its texts looked up in the catalogue.
//!
//! Words that clap writes by itself ("Usage", "[default: 5]") are put in where the language is not English; there clap's own stay.
//! Manual pages and completions are made of the English tree.

use clap::builder::{PossibleValue, StyledStr};
use clap::{Arg, Command};

/// How the program is called, in short.
pub const USAGE: &str = msgid!("catchword [--data DIR] [--plain] | catchword COMMAND");

/// Returns every text of the tree that stands on a screen: of commands, of options, of what they take and of its possible values. A name
/// of what is taken ("DIR") has its context before it, as a catalogue keeps it: `value`, U+0004, the name.
pub fn texts(mut command: Command) -> Vec<String> {
    command.build();
    let mut texts = Vec::new();
    collect(&command, &mut texts);
    texts.sort();
    texts.dedup();
    texts
}

fn collect(command: &Command, texts: &mut Vec<String>) {
    let mut add = |text: Option<&StyledStr>| texts.extend(text.map(StyledStr::to_string));
    add(command.get_about());
    add(command.get_long_about());
    for argument in command.get_arguments() {
        add(argument.get_help());
        add(argument.get_long_help());
        argument.get_possible_values().iter().for_each(|value| add(value.get_help()));
    }
    for argument in command.get_arguments().filter(|argument| argument.get_action().takes_values()) {
        texts.extend(argument.get_value_names().unwrap_or_default().iter().map(|name| format!("value\u{4}{name}")));
    }
    if command.has_subcommands() {
        texts.push("value\u{4}COMMAND".to_owned());
    }
    command.get_subcommands().for_each(|below| collect(below, texts));
}

/// Returns the tree, with all that clap adds to it, in the language that is spoken.
pub fn translated(mut command: Command) -> Command {
    command.build();
    put(command.override_usage(tr!(USAGE)))
}

fn put(mut command: Command) -> Command {
    if let Some(about) = command.get_about().map(said) {
        command = command.about(about);
    }
    if let Some(about) = command.get_long_about().map(said) {
        command = command.long_about(about);
    }
    let usage = command.get_styles().get_usage();
    let template = format!("{{about-with-newline}}\n{usage}{}{usage:#} {{usage}}\n\n{{all-args}}{{after-help}}", tr!("Usage:"));
    let headed =
        command.help_template(template).subcommand_help_heading(heading(msgid!("Commands:"))).subcommand_value_name(value("COMMAND"));
    headed.mut_args(argument).mut_subcommands(put)
}

fn argument(argument: Arg) -> Arg {
    let head = heading(if argument.is_positional() { msgid!("Arguments:") } else { msgid!("Options:") });
    if !argument.get_action().takes_values() {
        let help = argument.get_help().map(said).unwrap_or_default();
        return argument.help(help).help_heading(head);
    }
    let usual: Vec<String> = argument.get_default_values().iter().map(|value| value.to_string_lossy().into_owned()).collect();
    let possible: Vec<PossibleValue> = argument.get_possible_values();
    let names: Vec<&str> = possible.iter().map(PossibleValue::get_name).collect();
    let mut help = argument.get_help().map(said).unwrap_or_default();
    if !usual.is_empty() {
        help.push_str(&tr!(" [default: {}]", usual.join(" ")));
    }
    if !names.is_empty() {
        help.push_str(&tr!(" [possible values: {}]", names.join(", ")));
    }
    let value_names: Vec<&'static str> = argument.get_value_names().unwrap_or_default().iter().map(|name| value(name)).collect();
    argument.help(help).help_heading(head).value_names(value_names).hide_default_value(true).hide_possible_values(true)
}

fn said(text: &StyledStr) -> String {
    let text: &str = &text.to_string();
    tr!(text)
}

/// Returns a text in the language that is spoken, kept as long as the program runs, as clap wants it.
fn kept(text: &str) -> &'static str {
    tr!(text).leak()
}

/// Returns a name of what an option takes: a letter of the scale may be one too.
fn value(name: &str) -> &'static str {
    tr!("value" => name).leak()
}

/// Returns a heading as clap wants it, which sets the colon itself.
fn heading(text: &str) -> &'static str {
    kept(text).trim_end_matches(':')
}
