//! Lists that are laid out as boxes, each with a name and a price.

use scraper::ElementRef;

use super::element::is_heading;
use super::flat::{lines_shown, shown};
use crate::context::speaks_of_goods;
use crate::number::{Habit, Marks};
use crate::price;
use crate::vocabulary::{Use, VOCABULARY};

/// What pages call the element that says what a box is of.
const TITLES: [&str; 4] = ["title", "name", "heading", "headline"];

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
        || holds_records(&inner)
    {
        return None;
    }
    // What is set as a heading, or is called a title, is the name, and the rest is said of it.
    let first = inner.iter().find(|inner| inner.text().any(|text| !text.trim().is_empty()));
    let own = |inner: &&ElementRef<'_>| {
        inner.children().any(|child| child.value().as_text().is_some_and(|text| !text.trim().is_empty()))
    };
    let headed = first.is_some_and(|first| is_heading(first.value().name()))
        || inner.iter().find(own).is_some_and(|first| is_called_a_title(*first));
    let lines = lines_shown(element);
    let text =
        name_and_price(&lines, headed).or_else(|| price_and_name(&lines)).unwrap_or_else(|| shown(element));
    let short = text.chars().count() <= 240;
    short.then_some(text)
}

/// Whether boxes in it have names and prices of their own.
fn holds_records(inner: &[ElementRef<'_>]) -> bool {
    let mut kinds: Vec<(&str, &str)> = Vec::new();
    for element in inner {
        let Some(class) = element.value().attr("class") else { continue };
        let text = shown(*element);
        if !price::is_within(&text, Marks::of([], Habit::Point)) || !speaks_of_goods(&text) {
            continue;
        }
        let kind = (element.value().name(), class);
        if kinds.contains(&kind) {
            return true;
        }
        kinds.push(kind);
    }
    false
}

/// `class="card-title"`.
fn is_called_a_title(element: ElementRef<'_>) -> bool {
    let class = element.value().attr("class").unwrap_or_default();
    class
        .split(|c: char| !c.is_alphanumeric())
        .any(|part| TITLES.contains(&part.to_ascii_lowercase().as_str()))
}

/// A price above its name, perhaps with the one of last month before it: the name first, and the price alone behind it.
fn price_and_name(lines: &[String]) -> Option<String> {
    let marks = Marks::of([], Habit::Point);
    // `POA/kg`
    let asks = |line: &str| VOCABULARY.has(line.split('/').next().unwrap_or_default(), Use::OnRequest);
    let priced = |line: &&String| price::is_within(line, marks) || asks(line);
    // `was $1.00/lb`
    let was = |line: &str| VOCABULARY.has(line.split(' ').next().unwrap_or_default(), Use::Was);
    let past = |line: &&String| {
        (VOCABULARY.has_within(line, Use::Past) || was(line)) && price::is_within(line, marks)
    };
    let mut today = lines.iter().filter(|line| !past(line));
    let price = today.next().filter(|line| priced(line) && !speaks_of_goods(line))?;
    let (name, rest): (&String, Vec<&String>) = (today.next()?, today.collect());
    let named =
        speaks_of_goods(name) && ![name].into_iter().chain(rest.iter().copied()).any(|line| priced(&line));
    let price = if asks(price) { price.split('/').next().unwrap_or_default() } else { price };
    let all: Vec<&str> =
        [name.as_str(), price].into_iter().chain(rest.iter().map(|line| line.as_str())).collect();
    named.then(|| all.join("  "))
}

/// A name, what is said of it, and then its price, with the price behind the name: what stands between the two is a remark.
fn name_and_price(lines: &[String], headed: bool) -> Option<String> {
    let marks = Marks::of([], Habit::Point);
    let priced = |line: &String| price::is_within(line, marks) || VOCABULARY.has(line, Use::OnRequest);
    let at = lines.iter().position(priced).filter(|at| *at >= 2)?;
    let says = |line: &String| line.ends_with(['.', '!']) || line.split_whitespace().count() > 4;
    if !(headed || lines[1..at].iter().all(says)) || !lines[0].contains(char::is_alphabetic) {
        return None;
    }
    // A price for more of it stands below the first, and what is said of it behind both.
    let (prices, remarks): (Vec<&String>, Vec<&String>) = lines[1..].iter().partition(|line| priced(line));
    let all: Vec<&str> = [&lines[0]].into_iter().chain(prices).chain(remarks).map(String::as_str).collect();
    Some(all.join("  "))
}
