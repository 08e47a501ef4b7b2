//! How large letters are to the eye: millimetres at a distance, in minutes of arc.
//!
//! A letter of height `h` at distance `d` takes the angle 2 atan(h / 2d); plain geometry.

/// The least height of letters to be read at a glance, in minutes of arc; 20 to 22 are preferred (ISO 9241-3:1992, as quoted in
/// handbooks of display design).
pub const LEAST: f64 = 16.0;
pub const PREFERRED: f64 = 20.0;

/// How far the screen is from the eyes, and how high a row of it is.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Sighting {
    /// Millimetres.
    pub distance: f64,
    /// Height of one row of the terminal in millimetres.
    pub row: f64,
    /// The player has measured it.
    pub is_measured: bool,
}

impl Sighting {
    /// Returns the height of a capital of so many half rows, in millimetres.
    pub fn height(self, half_rows: usize) -> f64 {
        self.row * half_rows as f64 / 2.0
    }

    /// Returns how large a capital of so many half rows is, in minutes of arc.
    pub fn minutes(self, half_rows: usize) -> f64 {
        minutes(self.height(half_rows), self.distance)
    }

    /// Returns the fewest half rows whose capitals are large enough.
    pub fn least(self) -> usize {
        (height(LEAST, self.distance) * 2.0 / self.row).ceil().max(1.0) as usize
    }
}

/// Returns the angle of a height at a distance, both in one unit, in minutes of arc.
///
/// ```
/// # use catchword::tui::sight::angle::minutes;
/// assert_eq!(minutes(9.3, 2000.0).round(), 16.0);
/// ```
pub fn minutes(height: f64, distance: f64) -> f64 {
    2.0 * (height / (2.0 * distance)).atan().to_degrees() * 60.0
}

/// Returns the height that has an angle in minutes of arc at a distance, in the unit of the distance.
pub fn height(minutes: f64, distance: f64) -> f64 {
    2.0 * distance * (minutes / 60.0 / 2.0).to_radians().tan()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heights in millimetres at 1.5, 2.0 and 2.5 m. The minutes are those of ISO 9241-3:1992 (16 at least, 20 to 22 preferred),
    /// the heights follow from them by geometry and were worked out by hand to a tenth of a millimetre.
    const TABLE: [(f64, [f64; 3]); 3] = [(16.0, [7.0, 9.3, 11.6]), (22.0, [9.6, 12.8, 16.0]), (30.0, [13.1, 17.5, 21.8])];

    #[test]
    fn the_heights_are_those_of_the_table_of_visual_angles() {
        for (arc, heights) in TABLE {
            for (distance, expected) in [1500.0, 2000.0, 2500.0].into_iter().zip(heights) {
                let found = height(arc, distance);
                assert!((found - expected).abs() <= 0.05, "{arc} minutes at {distance} mm: {found} for {expected}");
                assert!((minutes(found, distance) - arc).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_two_hundredth_of_the_distance_is_seventeen_minutes() {
        // The rule of thumb of the FAA Human Factors Design Standard: height is distance over 200.
        assert_eq!(minutes(10.0, 2000.0).round(), 17.0);
    }

    #[test]
    fn what_the_plain_letters_of_a_terminal_come_to_is_too_small_and_three_rows_are_enough() {
        // A capital of about 3 mm, as common terminals have it: 5 minutes at 2 m.
        assert_eq!(minutes(3.0, 2000.0).round(), 5.0);
        let sighting = Sighting { distance: 2000.0, row: 4.2, is_measured: true };
        assert!(sighting.minutes(sighting.least()) >= LEAST && sighting.minutes(sighting.least() - 1) < LEAST);
        assert_eq!(sighting.least(), 5);
        assert!(sighting.minutes(7) > PREFERRED);
    }
}
