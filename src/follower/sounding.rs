//! What the strings do by themselves: a string that sounds twice, or along with another.

use super::constants::Constants;

/// A string that sounds again within this is not the player's doing, seconds (a reasoned default: a pickup refreshes every 8 ms or so).
const DOUBLE_WITHIN: f64 = 0.06;
const SYMPATHETIC_WITHIN: f64 = 0.05;
/// Where a string that sounds along lies from the one played, semitones, with its share: mostly the octave, then
/// the twelfth and the neighbouring strings (Le Carrou, Gautier & Badeau 2009; the shares are reasoned defaults).
const SYMPATHETIC: [(i32, f64); 8] = [(12, 0.4), (-12, 0.4), (19, 0.04), (-19, 0.04), (1, 0.03), (-1, 0.03), (2, 0.03), (-2, 0.03)];
/// Keys from here up count as the upper half, whose usual velocity is kept apart.
const MIDDLE: u8 = 60;
/// Notes over which the usual velocity is averaged.
const USUAL_OVER: f64 = 12.0;

/// One struck key as the model sees it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Strike {
    pub at: f64,
    pub key: u8,
    pub velocity: u8,
    pub number: u32,
}

/// The last strike of each key, and how hard the player usually strikes.
#[derive(Clone, Debug)]
pub(super) struct Sounding {
    /// Time and velocity of each key's last strike.
    struck: [(f64, u8); 128],
    /// Usual velocity below and above the middle.
    usual: [f64; 2],
}

impl Sounding {
    pub fn new() -> Sounding {
        Sounding { struck: [(f64::NEG_INFINITY, 0); 128], usual: [0.0; 2] }
    }

    /// Chance density of this strike as the instrument's doing.
    pub fn ghost(&self, c: &Constants, strike: Strike) -> f64 {
        let mut p = 0.0;
        let softer = |than: u8| softness(f64::from(strike.velocity) / f64::from(than.max(1)));
        let (at, velocity) = self.struck[strike.key as usize];
        if strike.at - at < DOUBLE_WITHIN {
            p += c.p_double / DOUBLE_WITHIN * softer(velocity).max(0.5);
        }
        for (distance, share) in SYMPATHETIC {
            let other = strike.key as i32 + distance;
            if !(0..128).contains(&other) {
                continue;
            }
            let (at, velocity) = self.struck[other as usize];
            if strike.at - at < SYMPATHETIC_WITHIN && softer(velocity) >= 1.0 {
                p += c.p_sympathetic * share / SYMPATHETIC_WITHIN * softer(velocity);
            }
        }
        p
    }

    /// How much likelier this strike's velocity is for a string sounding along than for a played one.
    pub fn soft(&self, strike: Strike) -> f64 {
        softness(f64::from(strike.velocity) / self.usual[(strike.key >= MIDDLE) as usize].max(1.0))
    }

    /// Takes in a strike.
    pub fn hear(&mut self, strike: Strike) {
        self.struck[strike.key as usize] = (strike.at, strike.velocity);
        let usual = &mut self.usual[(strike.key >= MIDDLE) as usize];
        if *usual == 0.0 {
            *usual = f64::from(strike.velocity);
        }
        *usual += (f64::from(strike.velocity) - *usual) / USUAL_OVER;
    }
}

/// Likelihood ratio of a velocity, relative to another, between a string that sounds along and one that is
/// played. Strings sounding along are below 35 % of their neighbour (a reasoned default).
fn softness(ratio: f64) -> f64 {
    match ratio {
        r if r < 0.35 => 12.0,
        r if r < 0.5 => 3.0,
        r if r < 0.65 => 1.0,
        r if r < 0.85 => 0.2,
        _ => 0.05,
    }
}
