//! What is said of arguments that are not understood, in the player's language.

use std::error::Error as _;

use clap::error::{ContextKind, ContextValue, ErrorKind};

/// Returns what clap says of arguments, in the language that is spoken.
pub fn of_arguments(error: &clap::Error) -> String {
    let value = |kind| error.get(kind).map(said).unwrap_or_default();
    let argument = value(ContextKind::InvalidArg);
    let what = match error.kind() {
        ErrorKind::UnknownArgument => tr!("there is no argument {argument}", argument),
        ErrorKind::InvalidSubcommand => tr!("there is no command {command}", command = value(ContextKind::InvalidSubcommand)),
        ErrorKind::MissingRequiredArgument => tr!("these are wanted and missing: {argument}", argument),
        ErrorKind::MissingSubcommand => tr!("a command is missing: {commands}", commands = value(ContextKind::ValidSubcommand)),
        ErrorKind::ArgumentConflict if value(ContextKind::PriorArg).is_empty() || argument == value(ContextKind::PriorArg) => {
            tr!("{argument} can be given once only", argument)
        }
        ErrorKind::ArgumentConflict => tr!("{argument} cannot go with {other}", argument, other = value(ContextKind::PriorArg)),
        ErrorKind::InvalidValue if value(ContextKind::InvalidValue).is_empty() => tr!("{argument} wants a value", argument),
        ErrorKind::InvalidValue | ErrorKind::ValueValidation => {
            let found = value(ContextKind::InvalidValue);
            let wanted = value(ContextKind::ValidValue);
            let why = error.source().map(|source| source.to_string()).filter(|_| wanted.is_empty());
            // "99 is not in 1..=60"
            match why.as_ref().and_then(|why| why.split_once(" is not in ")?.1.split_once("..=")) {
                Some((least, most)) => tr!("expected {least} to {most} for {argument}, found {found}", least, most, argument, found),
                None if wanted.is_empty() => tr!("{argument} cannot be {found}", argument, found),
                None => tr!("expected one of {wanted} for {argument}, found {found}", wanted, argument, found),
            }
        }
        ErrorKind::TooManyValues => tr!("{argument} wants no further value: {found}", argument, found = value(ContextKind::InvalidValue)),
        _ => tr!("the arguments are not understood"),
    };
    let meant = [ContextKind::SuggestedArg, ContextKind::SuggestedSubcommand, ContextKind::SuggestedValue].map(value);
    let meant = meant.into_iter().find(|meant| !meant.is_empty()).map(|meant| tr!("did you mean {meant}?", meant));
    let usage = value(ContextKind::Usage);
    let usage = usage.strip_prefix("Usage: ").map(|usage| format!("{} {usage}", tr!("Usage:")));
    let more = tr!("more of it: catchword --help");
    [Some(what), meant, usage, Some(more)].into_iter().flatten().collect::<Vec<_>>().join("\n\n")
}

fn said(value: &ContextValue) -> String {
    match value {
        ContextValue::String(one) => one.clone(),
        ContextValue::Strings(several) => several.join(", "),
        ContextValue::StyledStr(one) => one.to_string(),
        ContextValue::StyledStrs(several) => several.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
        ContextValue::Number(n) => n.to_string(),
        _ => String::new(),
    }
}
