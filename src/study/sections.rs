//! Sections split, merged, renamed, moved; the landmarks at their starts follow.

use super::{Said, Study};
use crate::analysis::draft::setting_words;
use crate::language::named::shown;
use crate::piece::edit::{self, pairs};
use crate::piece::{Landmark, Section, bars_words};
use crate::score::{BarIdx, BarRange, Place};

impl Study {
    /// The section of the bar chosen.
    pub(super) fn section_here(&self) -> Result<usize, Said> {
        self.section_at(self.bar).ok_or_else(|| tr!("this bar is in no section"))
    }

    pub(super) fn split(&mut self) -> Result<Option<Said>, Said> {
        let idx = self.section_here()?;
        let section = self.sections[idx].clone();
        let bar = BarIdx(self.bar);
        if bar == section.bars.start {
            return Err(tr!("the section begins at this bar already: go to the bar where the next is to begin"));
        }
        let mut sections = self.sections.clone();
        sections[idx] = self.with_bars(&section, section.bars.start.0, bar.0);
        let mut second = Section { name: String::new(), ..section.clone() };
        second.bars = BarRange { start: bar, end: section.bars.end };
        second.name = self.free_name(&bars_words(&second.bars, &self.score), None);
        let said = tr!("{name} begins at bar {bar}", name = shown(&second.name), bar = self.score.bar(bar).label);
        sections.insert(idx + 1, second);
        self.cut(&sections)?;
        Ok(Some(said))
    }

    pub(super) fn merge_next(&mut self) -> Result<Option<Said>, Said> {
        let idx = self.section_here()?;
        let Some(next) = self.sections.get(idx + 1).cloned() else { return Err(tr!("this is the last section")) };
        let mut sections = self.sections.clone();
        let first = sections[idx].clone();
        sections[idx] = self.with_bars(&first, first.bars.start.0, next.bars.end.0);
        sections.remove(idx + 1);
        let last = &self.score.bar(BarIdx(next.bars.end.0 - 1)).label;
        let said = tr!("{name} goes on to bar {bar}", name = shown(&sections[idx].name), bar = last);
        self.bar = first.bars.start.0;
        self.cut(&sections)?;
        Ok(Some(said))
    }

    pub(super) fn rename(&mut self, name: &str) -> Result<Option<Said>, Said> {
        let idx = self.section_here()?;
        let name = name.trim();
        if name.is_empty() {
            return Err(tr!("a section needs a name"));
        }
        let mut sections = self.sections.clone();
        if sections.iter().enumerate().any(|(other, s)| other != idx && s.name.to_lowercase() == name.to_lowercase()) {
            return Err(tr!("another section is called {name}", name = format!("{name:?}")));
        }
        name.clone_into(&mut sections[idx].name);
        self.cut(&sections)?;
        Ok(None)
    }

    /// Moves the beginning of the section by a bar; the section before ends where it did against it.
    pub(super) fn move_start(&mut self, by: i64) -> Result<Option<Said>, Said> {
        let idx = self.section_here()?;
        if idx == 0 && by < 0 && self.sections[0].bars.start.0 == 0 {
            return Err(tr!("the section begins with the piece"));
        }
        let section = self.sections[idx].clone();
        let moved = |bar: BarIdx| bar.0.saturating_add_signed(by as isize);
        let start = moved(section.bars.start);
        if start >= section.bars.end.0 {
            return Err(tr!("a section has one bar at least; m merges it with the next"));
        }
        let mut sections = self.sections.clone();
        sections[idx] = self.with_bars(&section, start, section.bars.end.0);
        if let Some(before) = idx.checked_sub(1).map(|b| self.sections[b].clone()) {
            let touches = before.bars.end.0 >= section.bars.start.0;
            if touches || start < before.bars.end.0 {
                let end = if touches { moved(before.bars.end) } else { start };
                if end <= before.bars.start.0 || start <= before.bars.start.0 {
                    return Err(tr!("{} has one bar only; m merges the two from there", shown(&before.name)));
                }
                sections[idx - 1] = self.with_bars(&before, before.bars.start.0, end);
            }
        }
        let old_bar = self.bar;
        self.bar = start;
        self.cut(&sections).inspect_err(|_| self.bar = old_bar)?;
        let label = &self.score.bar(BarIdx(start)).label;
        Ok(Some(tr!("{name} begins at bar {bar}", name = shown(&sections[idx].name), bar = label)))
    }

    pub(super) fn take_proposed(&mut self) -> Result<Option<Said>, Said> {
        let ranges = self.analysis.sections.iter().filter_map(|p| BarRange::try_new(p.from..p.end));
        let sections: Vec<Section> = ranges
            .map(|bars| {
                let standing = self.sections.iter().find(|s| s.bars == bars).cloned();
                standing.unwrap_or_else(|| Section { name: bars_words(&bars, &self.score), bars, target_reps: None })
            })
            .collect();
        self.cut(&sections)?;
        Ok(Some(tr!("1 section as proposed" | "{n} sections as proposed" % sections.len())))
    }

    /// Gives a section other bars; a name that only said its bars says the new ones.
    fn with_bars(&self, section: &Section, start: usize, end: usize) -> Section {
        let bars = BarRange { start: BarIdx(start), end: BarIdx(end) };
        let is_named_by_bars = section.name == bars_words(&section.bars, &self.score);
        let name =
            if is_named_by_bars { self.free_name(&bars_words(&bars, &self.score), Some(&section.name)) } else { section.name.clone() };
        Section { name, bars, ..section.clone() }
    }

    /// The name, or the name with a number, that no section but the one of name `own` has.
    fn free_name(&self, name: &str, own: Option<&str>) -> String {
        let is_taken = |name: &str| Some(name) != own && self.sections.iter().any(|s| s.name == name);
        let mut nth = 1;
        let mut free = name.to_owned();
        while is_taken(&free) {
            nth += 1;
            free = format!("{name} ({nth})");
        }
        free
    }

    /// Makes these the sections of the file, in one step with the landmarks.
    fn cut(&mut self, sections: &[Section]) -> Result<(), Said> {
        let landmarks = self.landmarks_for(sections);
        let text = edit::set_sections(self.text(), &self.file_name, &self.score, sections);
        self.edit(text.and_then(|text| edit::set_landmarks(&text, &self.file_name, &self.score, &landmarks)))
    }

    /// The landmarks when the sections become these: one at a section's start goes along with it, one that has the section's name
    /// is renamed and goes with it, and a new section gets its own. A piece without landmarks stays without.
    fn landmarks_for(&self, sections: &[Section]) -> Vec<Landmark> {
        let mut out = self.landmarks.clone();
        if out.is_empty() {
            return out;
        }
        let found = pairs(&self.sections, sections);
        let at = |section: &Section| Place::start_of(section.bars.start);
        for (old, new) in self.sections.iter().zip(&found) {
            let Some(nth) = out.iter().position(|l| l.place == at(old)) else { continue };
            match new.map(|n| &sections[n]) {
                None if out[nth].name == old.name => drop(out.remove(nth)),
                None => {}
                Some(new) => {
                    if out.iter().all(|l| l.place != at(new)) {
                        out[nth].place = at(new);
                        out[nth].setting = self.setting(new).or(out[nth].setting.take());
                    }
                    let is_free = out.iter().all(|l| l.name != new.name);
                    if out[nth].name == old.name && is_free {
                        out[nth].name.clone_from(&new.name);
                    }
                }
            }
        }
        for (_, new) in sections.iter().enumerate().filter(|(n, _)| !found.contains(&Some(*n))) {
            if out.iter().all(|l| l.place != at(new) && l.name != new.name) {
                out.push(Landmark { place: at(new), name: new.name.clone(), setting: self.setting(new) });
            }
        }
        out
    }

    fn setting(&self, section: &Section) -> Option<String> {
        setting_words(&self.analysis, section.bars.start, self.harp.as_ref())
    }
}
