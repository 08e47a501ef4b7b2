//! XML text, element by element, indented.

/// Text being written; elements are closed in the order that they were opened.
pub(super) struct Xml {
    out: String,
    open: Vec<String>,
}

impl Xml {
    /// Begins a document; `doctype` is written as it is.
    pub fn new(doctype: &str) -> Self {
        Xml { out: format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{doctype}\n"), open: Vec::new() }
    }

    pub fn open(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.tag(name, attributes);
        self.out.push_str(">\n");
        self.open.push(name.to_owned());
    }

    pub fn close(&mut self) {
        let name = self.open.pop().expect("as many elements are closed as were opened");
        self.indent();
        self.out.push_str(&format!("</{name}>\n"));
    }

    /// Writes an element with text in it, or an empty one.
    pub fn leaf(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) {
        self.tag(name, attributes);
        if text.is_empty() {
            self.out.push_str("/>\n");
        } else {
            self.out.push('>');
            self.escape(text);
            self.out.push_str(&format!("</{name}>\n"));
        }
    }

    /// Returns the text.
    ///
    /// # Panics
    /// When an element is still open.
    pub fn finish(self) -> String {
        assert!(self.open.is_empty(), "{:?} not closed", self.open);
        self.out
    }

    fn tag(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.indent();
        self.out.push('<');
        self.out.push_str(name);
        for (key, value) in attributes {
            self.out.push_str(&format!(" {key}=\""));
            self.escape(value);
            self.out.push('"');
        }
    }

    fn indent(&mut self) {
        self.out.extend(std::iter::repeat_n(' ', 2 * self.open.len()));
    }

    fn escape(&mut self, text: &str) {
        for c in text.chars() {
            match c {
                '&' => self.out.push_str("&amp;"),
                '<' => self.out.push_str("&lt;"),
                '>' => self.out.push_str("&gt;"),
                '"' => self.out.push_str("&quot;"),
                // XML has no way to write the other control characters (XML 1.0, production 2).
                c if c < ' ' || matches!(c, '\u{fffe}' | '\u{ffff}') => self.out.push(' '),
                c => self.out.push(c),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_are_escaped_and_elements_nest() {
        let mut xml = Xml::new("<!-- -->");
        xml.open("a", &[("b", "\"1\" & 2")]);
        xml.leaf("c", &[], "x < y\u{1}");
        xml.leaf("d", &[], "");
        xml.close();
        let expected =
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!-- -->\n<a b=\"&quot;1&quot; &amp; 2\">\n  <c>x &lt; y </c>\n  <d/>\n</a>\n";
        assert_eq!(xml.finish(), expected);
    }
}
