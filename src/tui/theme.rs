//! The few styles of the screens. Words and shapes carry the meaning; colour only adds to it.

use ratatui::style::{Color, Modifier, Style};

/// Blue and orange of the 256-colour palette that keep about 4:1 contrast or more on black and on
/// white alike (WCAG 2.2 formula: blue `#0087d7` 5.4 and 3.9, orange `#d75f00` 5.5 and 3.8), and
/// that people with red-green deficiency tell apart.
const BLUE: Color = Color::Indexed(32);
const ORANGE: Color = Color::Indexed(166);

#[derive(Clone, Copy, Debug)]
pub struct Theme {
    colour: bool,
}

impl Theme {
    pub fn new(colour: bool) -> Self {
        Theme { colour }
    }

    /// Large letters, headings.
    pub fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// Hints that may be overlooked.
    pub fn quiet(self) -> Style {
        Style::new().add_modifier(Modifier::DIM)
    }

    /// Where the player is, and the cue.
    pub fn here(self) -> Style {
        self.strong().patch(self.accent(BLUE))
    }

    /// The page, and the place to look at on it.
    pub fn page(self) -> Style {
        self.strong().patch(self.accent(ORANGE))
    }

    fn accent(self, colour: Color) -> Style {
        if self.colour { Style::new().fg(colour) } else { Style::new() }
    }
}
