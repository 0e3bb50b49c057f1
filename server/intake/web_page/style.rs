//! What a page's own style hides or strikes out, by the classes of its elements.

use std::collections::{HashMap, HashSet};

use ego_tree::NodeId;
use scraper::{ElementRef, Html};

use super::element::is_tab;
use crate::number::{Habit, Marks};
use crate::price;
use crate::scan::Scan;

/// Of a page's style so much is read.
const LONGEST_STYLE: usize = 400_000;
/// What is hidden more often than this is folded, and shown when it is asked for.
const MOST_HIDDEN: usize = 2;
/// A remark is no longer than this.
const LONGEST_REMARK: usize = 300;

/// Takes out of the page what a person does not see of it, or sees struck out.
pub(super) fn apply(html: &mut Html) {
    let of_screens = |style: &ElementRef<'_>| {
        style.value().attr("media").is_none_or(|media| media.contains("all") || media.contains("screen"))
    };
    let style: String = html
        .root_element()
        .descendants()
        .filter_map(ElementRef::wrap)
        .filter(|element| element.value().name() == "style")
        .filter(of_screens)
        .flat_map(|style| style.text())
        .collect();
    if style.len() > LONGEST_STYLE {
        return;
    }
    let Rules { struck, hidden, shown } = Rules::of(&style);
    if struck.is_empty() && hidden.is_empty() {
        return;
    }
    let has = |element: &ElementRef<'_>, classes: &HashSet<String>| {
        element.value().classes().any(|class| classes.contains(class))
    };
    let elements: Vec<ElementRef<'_>> =
        html.root_element().descendants().filter_map(ElementRef::wrap).collect();
    let mut counts: HashMap<&str, usize> = HashMap::new();
    for class in elements.iter().flat_map(|element| element.value().classes()) {
        *counts.entry(class).or_default() += 1;
    }
    let seldom = |class: &&String| counts.get(class.as_str()).is_some_and(|count| *count <= MOST_HIDDEN);
    let hidden: HashSet<String> = hidden.difference(&shown).cloned().collect();
    let hidden_seldom: HashSet<String> = hidden.iter().filter(seldom).cloned().collect();
    let unseen = |element: &ElementRef<'_>| {
        let name = element.value().name();
        let hides = || has(element, &hidden_seldom) || is_in_a_line(name) && has(element, &hidden);
        !matches!(name, "html" | "head" | "body" | "main")
            && (has(element, &struck) || !is_tab(element.value()) && hides())
            && !holds_a_list(element)
    };
    let unseen: Vec<NodeId> =
        elements.iter().filter(|element| unseen(element)).map(|element| element.id()).collect();
    for id in unseen {
        if let Some(mut node) = html.tree.get_mut(id) {
            node.detach();
        }
    }
}

/// Whether an element has more in it than a remark with a price: a list that is folded, or one of two that are shown by turns.
fn holds_a_list(element: &ElementRef<'_>) -> bool {
    let mut text = String::new();
    for part in element.text() {
        text.push_str(part);
        text.push(' ');
        if text.len() > LONGEST_REMARK {
            return true;
        }
    }
    price::prices(&Scan::of(&text), Marks::of([], Habit::Point)).len() > 1
}

/// What stands within a line: nobody folds that.
fn is_in_a_line(name: &str) -> bool {
    matches!(name, "span" | "small" | "em" | "i" | "b" | "strong" | "sup" | "font")
}

/// Classes by what the page's style says of them.
#[derive(Debug, Default)]
struct Rules {
    /// A rule of their own strikes them out, whatever the screen,
    struck: HashSet<String>,
    /// or hides them.
    hidden: HashSet<String>,
    /// Some rule shows them, on some screens or within others.
    shown: HashSet<String>,
}

impl Rules {
    fn of(style: &str) -> Rules {
        let mut rules = Rules::default();
        let mut open: Vec<String> = Vec::new();
        let mut text = String::new();
        for c in without_comments(style).chars() {
            match c {
                '{' => open.push(std::mem::take(&mut text)),
                '}' => {
                    let body = std::mem::take(&mut text);
                    if let Some(selectors) = open.pop().filter(|selectors| !selectors.starts_with('@')) {
                        rules.add(&selectors, &body, open.is_empty());
                    }
                }
                // `@import …;`
                ';' if open.is_empty() => text.clear(),
                _ if c.is_whitespace() && text.is_empty() => {}
                _ => text.push(c),
            }
        }
        rules
    }

    fn add(&mut self, selectors: &str, body: &str, on_all_screens: bool) {
        let body: String = body.to_ascii_lowercase().chars().filter(|c| !c.is_whitespace()).collect();
        let hides = body.contains("display:none") || body.contains("visibility:hidden");
        if !hides && (body.contains("display:") || body.contains("visibility:")) {
            let class = |part: &str| part.chars().take_while(|c| is_of_a_name(*c)).collect::<String>();
            self.shown.extend(selectors.split('.').skip(1).map(class));
        }
        if on_all_screens && hides {
            self.hidden.extend(classes(selectors));
        }
        if on_all_screens && body.contains("line-through") {
            self.struck.extend(classes(selectors));
        }
    }
}

fn is_of_a_name(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '-' | '_')
}

/// The classes of `.was, span.old`; those of longer selectors hold within others only.
fn classes(selectors: &str) -> impl Iterator<Item = String> {
    let class = |selector: &str| {
        let (element, class) = selector.trim().split_once('.')?;
        let plain = |name: &str| name.chars().all(is_of_a_name);
        (plain(element) && plain(class) && !class.is_empty()).then(|| class.to_string())
    };
    selectors.split(',').filter_map(class)
}

fn without_comments(style: &str) -> String {
    let mut parts = style.split("/*");
    let first = parts.next().unwrap_or_default().to_string();
    parts.fold(first, |kept, part| kept + part.split_once("*/").map_or("", |(_, rest)| rest))
}
