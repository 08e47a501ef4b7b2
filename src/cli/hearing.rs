//! How the instrument of a session is heard: what the piece says, the settings, and its set-up.

use crate::config::Config;
use crate::instruments::Instruments;
use crate::midi::profile::Profile;
use crate::midi::sensor::Sensor;
use crate::midi::{Hearing, MatchMode, Matching};
use crate::paths::Paths;
use crate::piece::Piece;

/// Lets a piece be heard through the source of this name.
///
/// # Errors
/// When what is kept of the instruments cannot be read.
pub fn hear(piece: &mut Piece, source: &str, config: &Config, paths: &Paths) -> anyhow::Result<()> {
    let instruments = Instruments::load(&Instruments::file(paths))?;
    let own = piece.manner;
    piece.manner = own.or(config.harp);
    piece.hearing = hearing(piece, own.matching, instruments.get(source), config).into();
    Ok(())
}

/// Returns how what is played through the source of this name is heard where there is no piece yet: filtered as its set-up says, and by strings
/// where the settings or the set-up say so and the names of the strings are known. Without a set-up everything counts.
///
/// # Errors
/// When what is kept of the instruments cannot be read.
pub fn of_capture(source: &str, config: &Config, paths: &Paths) -> anyhow::Result<Hearing> {
    let instruments = Instruments::load(&Instruments::file(paths))?;
    let profile = instruments.get(source);
    let mode = config.harp.matching.filter(|mode| *mode != MatchMode::Automatic).or(profile.and_then(|p| p.matching));
    let matching = match (mode, profile.and_then(|p| p.names)) {
        (Some(MatchMode::Strings), Some(names)) => MatchMode::Strings.named_by(names),
        _ => Matching::Sounding,
    };
    Ok(Hearing { matching, sensor: profile.map(|p| p.sensor.clone()) })
}

/// What the piece says goes before the settings, and either before the set-up, as long as it is not "automatic". A keyboard is heard
/// through its set-up alone; a harp that was not set up is taken for a usual one.
fn hearing(piece: &Piece, own: Option<MatchMode>, profile: Option<&Profile>, config: &Config) -> Hearing {
    let sensor = profile.map(|p| p.sensor.clone());
    let Some(harp) = &piece.harp else { return Hearing { matching: Matching::Sounding, sensor } };
    let said = [own, config.harp.matching].into_iter().flatten().find(|mode| *mode != MatchMode::Automatic);
    let mode = said.or(profile.and_then(|p| p.matching)).unwrap_or(MatchMode::Automatic);
    let open = harp.open().fifths;
    // B major and C flat major are the same keys: the harp knows which strings they are.
    let names = profile.and_then(|p| p.names).filter(|names| (names - open) % 12 != 0).unwrap_or(open);
    Hearing { matching: mode.named_by(names), sensor: sensor.or(Some(Sensor::usual())) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::profile::Ends;
    use crate::piece::Instrument;
    use crate::piece_folder::open_piece;
    use crate::theory::harp::Harp;

    #[test]
    fn the_piece_goes_before_the_settings_and_these_before_the_set_up() {
        use MatchMode::{Automatic, Sounding, Strings};
        let mut piece = open_piece("ferry", None, &[]).unwrap().piece;
        let found = |matching, names| Profile { sensor: Sensor::usual(), ends: Ends::None, matching, names };
        let set = |matching| {
            let mut config = Config::default();
            config.harp.matching = matching;
            config
        };
        for (own, settings, profile, matching) in [
            (None, None, None, Matching::Automatic { open: -3 }),
            (None, Some(Automatic), Some(found(Some(Sounding), Some(0))), Matching::Sounding),
            (None, Some(Automatic), Some(found(Some(Strings), Some(0))), Matching::Strings { open: 0 }),
            (None, Some(Strings), Some(found(Some(Sounding), None)), Matching::Strings { open: -3 }),
            (Some(Sounding), Some(Strings), None, Matching::Sounding),
            (Some(Automatic), Some(Automatic), Some(found(None, Some(2))), Matching::Automatic { open: 2 }),
        ] {
            let heard = hearing(&piece, own, profile.as_ref(), &set(settings));
            assert_eq!((heard.matching, heard.sensor.is_some()), (matching, true), "{own:?} {settings:?} {profile:?}");
        }
        piece.harp = Some(Harp::concert());
        let as_b_major = found(Some(Strings), Some(5));
        assert_eq!(hearing(&piece, None, Some(&as_b_major), &set(None)).matching, Matching::Strings { open: -7 });
        (piece.instrument, piece.harp) = (Instrument::Keyboard, None);
        assert!(hearing(&piece, None, None, &set(Some(Strings))).is_plain(), "a keyboard has no strings");
    }
}
