//! Warnings as they are gathered: one per element and reason, with how often it was met.

use std::collections::HashMap;

use roxmltree::Node;

use crate::import::Warning;

/// Beyond this many different warnings the rest are only counted.
const N_KINDS_MAX: usize = 100;

/// Gathers warnings; what is met again is counted with its first occurrence.
#[derive(Default)]
pub(super) struct Warnings {
    list: Vec<Warning>,
    seen: HashMap<(String, &'static str), (usize, u32)>,
    n_dropped: u32,
}

impl Warnings {
    /// Notes that `element` (a tag name without brackets) was skipped or guessed at in a bar.
    pub fn add(&mut self, bar: &str, node: Option<Node>, element: &str, what: &'static str) {
        if let Some((_, n)) = self.seen.get_mut(&(element.to_owned(), what)) {
            *n += 1;
        } else if self.list.len() >= N_KINDS_MAX {
            self.n_dropped += 1;
        } else {
            self.seen.insert((element.to_owned(), what), (self.list.len(), 1));
            let line = node.map(|n| n.document().text_pos_at(n.range().start).row);
            let bar = (!bar.is_empty()).then(|| bar.to_owned());
            self.list.push(Warning { bar, line, element: format!("<{element}>"), what: tr!(what) });
        }
    }

    pub fn finish(mut self) -> Vec<Warning> {
        for (idx, n) in self.seen.into_values() {
            if n > 1 {
                let more = n - 1;
                self.list[idx].what += &tr!("; {n} more like it", n = more);
            }
        }
        if self.n_dropped > 0 {
            let what = tr!("{n} more warnings of other kinds", n = self.n_dropped);
            self.list.push(Warning { bar: None, line: None, element: tr!("file"), what });
        }
        self.list
    }
}
