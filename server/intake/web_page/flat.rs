//! All of an element in one line, as cells and boxes are read.

use scraper::ElementRef;
use scraper::node::Node;

use super::Page;
use super::element::{is_block, is_unseen};

/// The text that a person sees in an element, on one line.
pub(super) fn shown(element: ElementRef<'_>) -> String {
    let mut page = Page::default();
    page.walk_flat(element);
    page.line.trim().to_string()
}

/// The same with a line for each that a person sees; of one line only, as [`shown`].
pub(super) fn lines_shown(element: ElementRef<'_>) -> Vec<String> {
    let mut page = Page { breaks: true, ..Page::default() };
    page.walk_flat(element);
    page.line.split('\n').map(str::trim).filter(|line| !line.is_empty()).map(str::to_string).collect()
}

impl Page {
    /// Ends a piece: by a gap, or by a line break where lines are asked for.
    fn end_piece(&mut self) {
        if self.breaks {
            self.line.push('\n');
            self.apart = false;
        } else {
            self.gap();
        }
    }

    /// Writes all of an element into one line; what would end a line sets pieces apart.
    fn walk_flat(&mut self, element: ElementRef<'_>) {
        let mut unseen_until = None;
        for edge in element.traverse() {
            match edge {
                ego_tree::iter::Edge::Open(node) => match node.value() {
                    _ if unseen_until.is_some() => {}
                    Node::Text(text) => self.write(text),
                    Node::Element(inner) if is_unseen(inner) => unseen_until = Some(node.id()),
                    Node::Element(inner)
                        if inner.name() == "br" || is_block(inner.name()) && node.id() != element.id() =>
                    {
                        self.end_piece()
                    }
                    Node::Element(inner) if matches!(inner.name(), "sup" | "sub") => self.superscript(node),
                    Node::Element(_) => self.apart = true,
                    _ => {}
                },
                ego_tree::iter::Edge::Close(node) => {
                    if unseen_until == Some(node.id()) {
                        unseen_until = None;
                    } else if let Node::Element(inner) = node.value()
                        && unseen_until.is_none()
                    {
                        if is_block(inner.name()) && node.id() != element.id() {
                            self.end_piece()
                        } else {
                            self.apart = true
                        }
                    }
                }
            }
        }
    }
}
