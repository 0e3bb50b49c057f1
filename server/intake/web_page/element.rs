//! What an element does to the text around it.

use scraper::ElementRef;
use scraper::node::Element;

/// The name of what an element is: a `div` can be a table by its role (WAI-ARIA 1.2).
pub(super) fn kind(element: &Element) -> &str {
    match element.attr("role") {
        Some("table" | "grid" | "treegrid") => "table",
        Some("row") => "tr",
        Some("cell" | "gridcell" | "rowheader") => "td",
        Some("columnheader") => "th",
        Some("list") => "ul",
        Some("listitem") => "li",
        _ => element.name(),
    }
}

pub(super) fn is_cell(element: &ElementRef<'_>) -> bool {
    matches!(kind(element.value()), "td" | "th")
}

pub(super) fn is_heading(name: &str) -> bool {
    matches!(name, "h1" | "h2" | "h3" | "h4" | "h5" | "h6")
}

/// A heading within the page; the first of them is its title.
pub(super) fn is_group_heading(name: &str) -> bool {
    is_heading(name) && name != "h1"
}

pub(super) fn is_block(name: &str) -> bool {
    is_heading(name)
        || matches!(
            name,
            "p" | "div"
                | "li"
                | "ul"
                | "ol"
                | "dl"
                | "dt"
                | "tr"
                | "table"
                | "tbody"
                | "thead"
                | "tfoot"
                | "section"
                | "article"
                | "header"
                | "footer"
                | "main"
                | "aside"
                | "nav"
                | "form"
                | "fieldset"
                | "blockquote"
                | "pre"
                | "hr"
                | "address"
                | "figure"
                | "figcaption"
                | "center"
                | "body"
                | "caption"
                | "details"
                | "summary"
        )
}

/// What is no text of the page, and prices that are struck out.
pub(super) fn is_unseen(element: &Element) -> bool {
    let style = element.attr("style").unwrap_or_default();
    matches!(
        element.name(),
        "script"
            | "style"
            | "noscript"
            | "template"
            | "head"
            | "svg"
            | "iframe"
            | "select"
            | "textarea"
            | "button"
            | "output"
            | "nav"
            | "del"
            | "s"
            | "strike"
            | "object"
    ) || matches!(element.name(), "li" | "a" | "span" | "label") && element.attr("role") == Some("tab")
        || is_hidden(element, style) && !is_tab(element)
        || style.contains("line-through")
}

/// A link that looks like a button says what a tap on it does, unless it tells a price.
pub(super) fn is_button(link: ElementRef<'_>) -> bool {
    let element = link.value();
    let class = |class: &str| class.split(['-', '_']).any(|word| matches!(word, "btn" | "button"));
    element.name() == "a"
        && (element.attr("role") == Some("button") || element.classes().any(class))
        && !link.text().any(|text| text.contains(|c: char| c.is_ascii_digit()))
}

fn is_hidden(element: &Element, style: &str) -> bool {
    element.attr("hidden").is_some() || style.contains("display:none") || style.contains("display: none")
}

/// Whether it is what stands behind a tab, of which only one is seen at a time.
pub(super) fn is_tab(element: &Element) -> bool {
    element.attr("role") == Some("tabpanel")
        || element.classes().any(|class| class.starts_with("tab-") || class.starts_with("tabpanel"))
}
