//! What stands before the music: title, composer and the list of parts.

use roxmltree::Node;

/// The head of a score.
#[derive(Default)]
pub(super) struct Header {
    pub title: Option<String>,
    pub composer: Option<String>,
    /// Identifier and name of each listed part.
    pub parts: Vec<(String, String)>,
}

impl Header {
    pub fn name_of(&self, id: &str) -> &str {
        self.parts.iter().find(|(listed, _)| listed == id).map_or("", |(_, name)| name)
    }
}

/// Reads the head. The title is the work's, with the movement's after it where both differ; failing
/// these, the credit that names itself a title.
pub(super) fn read(root: Node) -> Header {
    let child = |node: Node, name: &str| node.children().find(|n| n.has_tag_name(name)).and_then(words);
    let work = root.children().find(|n| n.has_tag_name("work")).and_then(|n| child(n, "work-title"));
    let movement = child(root, "movement-title");
    let title = match (work, movement) {
        (Some(work), Some(movement)) if work != movement => Some(format!("{work}: {movement}")),
        (work, movement) => work.or(movement).or_else(|| credit(root, "title")),
    };
    let creators = root.children().filter(|n| n.has_tag_name("identification")).flat_map(|n| n.children());
    let composer = creators
        .filter(|n| n.has_tag_name("creator") && n.attribute("type").is_none_or(|t| t == "composer"))
        .find_map(words)
        .or_else(|| credit(root, "composer"));
    let listed = root.children().filter(|n| n.has_tag_name("part-list")).flat_map(|n| n.children());
    let parts = listed
        .filter(|n| n.has_tag_name("score-part"))
        .map(|n| (n.attribute("id").unwrap_or_default().to_owned(), child(n, "part-name").unwrap_or_default()))
        .collect();
    Header { title, composer, parts }
}

fn credit(root: Node, kind: &str) -> Option<String> {
    let mut credits = root.children().filter(|n| n.has_tag_name("credit"));
    let of_kind = |n: &Node| n.children().any(|c| c.has_tag_name("credit-type") && c.text().is_some_and(|t| t.trim() == kind));
    credits.find(of_kind)?.children().find(|n| n.has_tag_name("credit-words")).and_then(words)
}

/// The element's text with runs of white space made single spaces; `None` when nothing is left.
fn words(node: Node) -> Option<String> {
    let text = node.text()?.split_whitespace().collect::<Vec<_>>().join(" ");
    (!text.is_empty()).then_some(text)
}
