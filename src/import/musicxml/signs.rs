//! Directions, sounds and bar lines: tempo, jumps, repeats, endings, rehearsal marks.
//!
//! What a jump means is taken from the `<sound>` attributes where there are any, and else from the
//! printed sign or words.

use roxmltree::Node;

use crate::time::Tempo;

use super::note::beat_unit_quarters;
use super::walk::Walk;

impl Walk<'_> {
    /// Reads a `<direction>`.
    pub(super) fn direction(&mut self, node: Node) {
        let mut sound = None;
        let mut metronome = None;
        let mut offset = 0;
        let mut printed = Printed::default();
        for child in node.children() {
            match child.tag_name().name() {
                "direction-type" => self.direction_type(child, &mut printed, &mut metronome),
                "sound" => sound = Some(child),
                "offset" if child.attribute("sound") == Some("yes") => {
                    offset = child.text().zip(self.divisions).and_then(|(text, d)| d.signed_ticks(text)).unwrap_or(0);
                }
                "" | "offset" | "footnote" | "level" | "voice" | "staff" | "listening" => {}
                other => self.warn(child, other, msgid!("unknown inside <direction>; skipped")),
            }
        }
        let at = self.at.saturating_add(offset).max(0);
        if let Some(sound) = sound {
            self.sound(sound, at);
        }
        if let Some(tempo) = metronome
            && sound.is_none_or(|s| s.attribute("tempo").is_none())
        {
            self.page.tempos.push((self.bar, at, tempo));
        }
        let says_jump = |name: &str| sound.is_some_and(|s| s.attribute(name).is_some());
        if !["dacapo", "dalsegno", "segno", "coda", "tocoda", "fine"].into_iter().any(says_jump) {
            self.printed_jump(&printed);
        }
    }

    fn direction_type(&mut self, node: Node, printed: &mut Printed, metronome: &mut Option<Tempo>) {
        for child in node.children() {
            match child.tag_name().name() {
                "words" => printed.words.push_str(child.text().unwrap_or_default()),
                "segno" => printed.segno = true,
                "coda" => printed.coda = true,
                "rehearsal" => {
                    let mark = child.text().map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned);
                    let signs = self.page.signs(self.bar);
                    signs.rehearsal = signs.rehearsal.take().or(mark);
                }
                "metronome" => *metronome = metronome_tempo(child).or(*metronome),
                "harp-pedals" => self.harp_pedals(child),
                // Pitches are written as they sound under an octave line, so it changes nothing here.
                "octave-shift" => {}
                ""
                | "accordion-registration"
                | "bracket"
                | "damp"
                | "damp-all"
                | "dashes"
                | "dynamics"
                | "eyeglasses"
                | "image"
                | "pedal"
                | "percussion"
                | "principal-voice"
                | "scordatura"
                | "staff-divide"
                | "string-mute"
                | "symbol"
                | "wedge"
                | "other-direction" => {}
                other => self.warn(child, other, msgid!("unknown inside <direction-type>; skipped")),
            }
        }
    }

    /// Reads a `<sound>`, at `at` ticks into the bar.
    pub(super) fn sound(&mut self, node: Node, at: i64) {
        for attribute in node.attributes() {
            let is_on = !matches!(attribute.value().trim(), "" | "no");
            match attribute.name() {
                "tempo" => match attribute.value().trim().parse().ok().and_then(Tempo::try_new) {
                    Some(tempo) => self.page.tempos.push((self.bar, at, tempo)),
                    None => self.warn(node, "sound", msgid!("expected a tempo of 1 to 2000 quarters a minute; skipped")),
                },
                "dacapo" => self.page.signs(self.bar).da_capo |= is_on,
                "dalsegno" => self.page.signs(self.bar).dal_segno |= is_on,
                "segno" => self.page.signs(self.bar).segno |= is_on,
                "coda" => self.page.signs(self.bar).coda |= is_on,
                "tocoda" => self.page.signs(self.bar).to_coda |= is_on,
                "fine" => self.page.signs(self.bar).fine |= is_on,
                "forward-repeat" => self.page.signs(self.bar).repeat_start |= is_on,
                _ => {}
            }
        }
    }

    /// Takes a jump from what is printed, for files without playing instructions.
    fn printed_jump(&mut self, printed: &Printed) {
        let bar = self.bar;
        let words: String = printed.words.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
        let starts = |beginnings: &[&str]| beginnings.iter().any(|b| words.starts_with(b));
        let is_jump = |short: &str, long: &str| {
            words.contains(long)
                || words.strip_prefix(short).is_some_and(|rest| rest.is_empty() || rest.starts_with("al") || rest.starts_with("senza"))
        };
        let page_bar = &mut self.page.bars[bar];
        let signs = &mut page_bar.signs;
        if is_jump("dc", "dacapo") {
            (signs.da_capo, page_bar.worded_jump) = (true, true);
        } else if is_jump("ds", "dalsegno") {
            (signs.dal_segno, page_bar.worded_jump) = (true, true);
        } else if starts(&["tocoda", "alcoda", "allacoda"]) || (printed.coda && words == "to") {
            signs.to_coda = true;
        } else if words == "fine" {
            signs.fine = true;
        } else if printed.segno {
            signs.segno = true;
        } else if words == "coda" {
            signs.coda = true;
        } else if printed.coda {
            page_bar.bare_coda = true;
        }
    }

    /// Reads a `<barline>`.
    pub(super) fn barline(&mut self, node: Node) {
        let location = node.attribute("location").unwrap_or("right");
        let is_left = location == "left";
        // A right-hand sign steers this bar, a left-hand one may belong to the bar before.
        let bar_before = self.bar.checked_sub(1);
        for child in node.children() {
            match child.tag_name().name() {
                "bar-style" => {
                    let is_double =
                        matches!(child.text().unwrap_or_default().trim(), "light-light" | "light-heavy" | "heavy-light" | "heavy-heavy");
                    let ended = if is_left { bar_before } else { Some(self.bar) };
                    if let (true, true, Some(bar)) = (is_double, location != "middle", ended) {
                        self.page.signs(bar).double_bar = true;
                    }
                }
                "repeat" if location == "middle" => self.warn(child, "repeat", msgid!("a repeat sign inside a bar; skipped")),
                "repeat" => match (child.attribute("direction"), is_left) {
                    (Some("forward"), true) => self.page.signs(self.bar).repeat_start = true,
                    (Some("forward"), false) if self.bar + 1 < self.page.bars.len() => self.page.signs(self.bar + 1).repeat_start = true,
                    (Some("backward"), _) => {
                        let times = child.attribute("times").and_then(|t| t.trim().parse::<u8>().ok()).filter(|&t| t >= 1).unwrap_or(2);
                        let ended = if is_left { bar_before } else { Some(self.bar) };
                        if let Some(bar) = ended {
                            self.page.signs(bar).repeat_after_jump |= child.attribute("after-jump") == Some("yes");
                            let sign = &mut self.page.signs(bar).repeat_end;
                            *sign = Some(sign.map_or(times, |t| t.max(times)));
                        }
                    }
                    _ => self.warn(
                        child,
                        "repeat",
                        msgid!("expected direction forward at the left or backward at the right of a bar; skipped"),
                    ),
                },
                "ending" => self.ending(child),
                "segno" => self.page.signs(self.bar).segno = true,
                "coda" => self.page.bars[self.bar].bare_coda = true,
                "fermata" => self.out.fermatas.push((self.bar, i64::MAX)),
                "" | "footnote" | "level" | "wavy-line" => {}
                other => self.warn(child, other, msgid!("unknown inside <barline>; skipped")),
            }
        }
    }

    fn ending(&mut self, node: Node) {
        match node.attribute("type") {
            Some("start") => {
                let mut numbers = ending_numbers(node.attribute("number").unwrap_or_default());
                if numbers.is_empty() {
                    numbers = ending_numbers(node.text().unwrap_or_default());
                }
                if numbers.is_empty() {
                    self.warn(node, "ending", msgid!("expected numbers such as 1 or 1, 2; counted on from the bracket before"));
                }
                self.page.bars[self.bar].ending_start.get_or_insert(numbers);
            }
            Some("stop" | "discontinue") => self.page.bars[self.bar].ending_stop = true,
            _ => self.warn(node, "ending", msgid!("expected a type of start, stop or discontinue; skipped")),
        }
    }
}

/// What a direction prints that may steer playing.
#[derive(Default)]
struct Printed {
    words: String,
    segno: bool,
    coda: bool,
}

/// Reads the numbers of an ending bracket: `1`, `1, 2`, `1.-3.`; sorted, no duplicates, at most 32.
fn ending_numbers(text: &str) -> Vec<u8> {
    let mut numbers: Vec<u8> = Vec::new();
    for item in text.split([',', ';', ' ', '&', '/']) {
        let number = |t: &str| t.trim().trim_end_matches('.').parse::<u8>().ok().filter(|n| (1..=32).contains(n));
        match item.split_once('-') {
            Some((first, last)) => {
                if let (Some(first), Some(last)) = (number(first), number(last)) {
                    numbers.extend(first..=last);
                }
            }
            None => numbers.extend(number(item)),
        }
    }
    numbers.sort_unstable();
    numbers.dedup();
    numbers
}

/// Reads a metronome mark of the form note value = number; other forms (modulations) give `None`.
fn metronome_tempo(node: Node) -> Option<Tempo> {
    let mut units = node.children().filter(|n| n.has_tag_name("beat-unit"));
    let unit = units.next()?.text()?;
    if units.next().is_some() {
        return None;
    }
    let dots = node.children().filter(|n| n.has_tag_name("beat-unit-dot")).count() as u32;
    let text = node.children().find(|n| n.has_tag_name("per-minute"))?.text()?;
    let number: String = text.chars().skip_while(|c| !c.is_ascii_digit()).take_while(|c| c.is_ascii_digit() || *c == '.').collect();
    Tempo::try_new(number.trim_end_matches('.').parse::<f64>().ok()? * beat_unit_quarters(unit, dots)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ending_numbers_are_read_in_every_usual_form() {
        for (text, numbers) in
            [("1", &[1][..]), ("1, 2", &[1, 2]), ("1,2", &[1, 2]), ("1.-3.", &[1, 2, 3]), ("", &[]), ("x", &[]), ("0", &[])]
        {
            assert_eq!(ending_numbers(text), numbers, "{text:?}");
        }
        assert!(ending_numbers("9-1").is_empty());
    }

    #[test]
    fn a_metronome_mark_counts_quarters() {
        for (xml, quarters) in [
            ("<m><beat-unit>quarter</beat-unit><per-minute>96</per-minute></m>", Some(96.0)),
            ("<m><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>c. 60</per-minute></m>", Some(90.0)),
            ("<m><beat-unit>half</beat-unit><per-minute>50.5</per-minute></m>", Some(101.0)),
            ("<m><beat-unit>quarter</beat-unit><beat-unit>half</beat-unit></m>", None),
            ("<m><beat-unit>quarter</beat-unit><per-minute>fast</per-minute></m>", None),
        ] {
            let document = roxmltree::Document::parse(xml).unwrap();
            assert_eq!(metronome_tempo(document.root_element()).map(Tempo::quarters_per_minute), quarters, "{xml}");
        }
    }
}
