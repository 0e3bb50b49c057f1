//! Lists that are laid out as boxes, each with a name and a price.

use scraper::ElementRef;

use super::flat::shown;

/// One of at least two boxes of the same kind side by side, each with a name and a price of a few words: its text in
/// one line. Boxes that hold boxes of the same kind are no records.
pub(super) fn record(element: ElementRef<'_>) -> Option<String> {
    let value = element.value();
    if !matches!(value.name(), "div" | "li" | "article" | "a" | "section" | "p") {
        return None;
    }
    let class = value.attr("class")?;
    let same = |other: &ElementRef<'_>| {
        other.value().name() == value.name() && other.value().attr("class") == Some(class)
    };
    let before = element.prev_siblings().filter_map(ElementRef::wrap).next();
    let after = element.next_siblings().filter_map(ElementRef::wrap).next();
    if !before.iter().chain(after.iter()).any(same) {
        return None;
    }
    let inner = element.descendants().skip(1).take(40).filter_map(ElementRef::wrap).collect::<Vec<_>>();
    if inner.is_empty()
        || inner.len() >= 40
        || inner.iter().any(|e| matches!(e.value().name(), "table" | "ul" | "dl" | "h1" | "h2"))
        || inner.iter().any(same)
    {
        return None;
    }
    let text = shown(element);
    let short = text.chars().count() <= 240;
    short.then_some(text)
}
