//! What a page's own style hides or strikes out, by the classes of its elements.

use std::collections::HashSet;

use ego_tree::NodeId;
use scraper::{ElementRef, Html};

use super::element::is_tab;

/// Of a page's style so much is read.
const LONGEST_STYLE: usize = 400_000;
/// What is hidden more often than this is folded, and shown when it is asked for.
const MOST_HIDDEN: usize = 2;

/// Takes out of the page what a person does not see of it, or sees struck out.
pub(super) fn apply(html: &mut Html) {
    let style: String = html
        .root_element()
        .descendants()
        .filter_map(ElementRef::wrap)
        .filter(|element| element.value().name() == "style")
        .flat_map(|style| style.text())
        .collect();
    if style.len() > LONGEST_STYLE {
        return;
    }
    let rules = rules(&style);
    let with = |says: &[&str]| -> HashSet<String> {
        let said = rules.iter().filter(|(_, body)| says.iter().any(|says| body.contains(says)));
        said.map(|(class, _)| class.clone()).collect()
    };
    let struck = with(&["line-through"]);
    let hidden = with(&["display:none", "visibility:hidden"]);
    if struck.is_empty() && hidden.is_empty() {
        return;
    }
    let has = |element: &ElementRef<'_>, classes: &HashSet<String>| {
        element.value().classes().any(|class| classes.contains(class))
    };
    let elements: Vec<ElementRef<'_>> =
        html.root_element().descendants().filter_map(ElementRef::wrap).collect();
    let seldom = |class: &str| {
        elements
            .iter()
            .filter(|other| other.value().classes().any(|other| other == class))
            .take(MOST_HIDDEN + 1)
            .count()
            <= MOST_HIDDEN
    };
    let hidden_seldom: HashSet<String> = hidden.iter().filter(|class| seldom(class)).cloned().collect();
    let unseen = |element: &ElementRef<'_>| {
        has(element, &struck)
            || !is_tab(element.value())
                && (has(element, &hidden_seldom)
                    || is_in_a_line(element.value().name()) && has(element, &hidden))
    };
    let unseen: Vec<NodeId> =
        elements.iter().filter(|element| unseen(element)).map(|element| element.id()).collect();
    for id in unseen {
        if let Some(mut node) = html.tree.get_mut(id) {
            node.detach();
        }
    }
}

/// What stands within a line: nobody folds that.
fn is_in_a_line(name: &str) -> bool {
    matches!(name, "span" | "small" | "em" | "i" | "b" | "strong" | "sup" | "font")
}

/// The classes that have a rule of their own whatever the screen, with what it says, in small letters and without blanks.
fn rules(style: &str) -> Vec<(String, String)> {
    let mut rules = Vec::new();
    let mut selector = String::new();
    let mut body = String::new();
    let mut depth = 0usize;
    for c in without_comments(style).chars() {
        match c {
            '{' => depth += 1,
            '}' => {
                depth = depth.saturating_sub(1);
                if depth == 0 {
                    let body = std::mem::take(&mut body);
                    rules.extend(classes(&selector).map(|class| (class, body.clone())));
                    selector.clear();
                }
            }
            // What is between the braces of `@media` holds on some screens only.
            _ if depth == 0 => selector.push(c),
            _ if depth == 1 && !selector.trim_start().starts_with('@') && !c.is_whitespace() => {
                body.push(c.to_ascii_lowercase());
            }
            _ => {}
        }
    }
    rules
}

/// The classes of `.was, span.old`; those of longer selectors hold within others only.
fn classes(selectors: &str) -> impl Iterator<Item = String> {
    let class = |selector: &str| {
        let (element, class) = selector.trim().split_once('.')?;
        let plain = |name: &str| name.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '_'));
        (plain(element) && plain(class) && !class.is_empty()).then(|| class.to_string())
    };
    selectors.split(',').filter_map(class)
}

fn without_comments(style: &str) -> String {
    let mut parts = style.split("/*");
    let first = parts.next().unwrap_or_default().to_string();
    parts.fold(first, |kept, part| kept + part.split_once("*/").map_or("", |(_, rest)| rest))
}
