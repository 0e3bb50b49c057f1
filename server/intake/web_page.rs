//! HTML, saved or pasted: data tables become tables, and everything else the lines that a person sees.
//!
//! A page is laid out with tables, lists, pairs and boxes at will, so only a table of the innermost kind with several
//! columns counts as one. All else is walked in its order: blocks end a line, and pieces that only the page's style sets
//! apart are set apart here as well.

mod boxes;
mod element;
mod flat;
mod grid;
mod style;

use ego_tree::iter::Edge;
use encoding_rs::Encoding;
use iso_currency::Country;
use scraper::node::Node;
use scraper::{ElementRef, Html};

use crate::document::{Block, Cell, Document, GridRow, Line, MOST_CHARACTERS, MOST_ROWS, MOST_TEXT, cut};
use crate::format::Unreadable;
use crate::sheet::{Place, Problem};
use crate::vocabulary::{Use, VOCABULARY};
use crate::{decode, price, text};
use boxes::record;
use element::{is_block, is_button, is_group_heading, is_unseen, kind};

/// Elements nested deeper than this are no page that a person wrote, and cost the parser time by their square.
const DEEPEST: usize = 400;
/// Tags that are looked at; a price list's page has some thousands.
const MOST_TAGS: usize = 300_000;
/// A message with so many prices is not about those of an older one below it.
const FEWEST_NEWER: usize = 3;

/// Whether a text is HTML: it begins with a tag, as pages and pasted fragments do.
pub(crate) fn looks_like_html(text: &str) -> bool {
    let start = text.trim_start_matches(|c: char| c.is_whitespace() || c == '\u{feff}');
    let start = cut(start, 4_000).to_ascii_lowercase();
    let Some(rest) = start.strip_prefix('<') else { return false };
    let name: String =
        rest.trim_start_matches(['!', '/', '?']).chars().take_while(char::is_ascii_alphanumeric).collect();
    let known = matches!(
        name.as_str(),
        "html"
            | "doctype"
            | "head"
            | "body"
            | "meta"
            | "table"
            | "tbody"
            | "tr"
            | "div"
            | "p"
            | "ul"
            | "ol"
            | "dl"
            | "li"
            | "span"
            | "section"
            | "article"
            | "main"
            | "h1"
            | "h2"
            | "h3"
            | "h4"
            | "b"
            | "strong"
            | "font"
            | "center"
            | "style"
            | "link"
            | "title"
            | "xml"
            | "pre"
            | "br"
            | "a"
    ) || rest.starts_with("!--");
    known && (start.contains("</") || start.contains("/>") || start.contains("<br") || start.contains("<td"))
}

pub(crate) fn parse(bytes: &[u8]) -> Result<Document, Unreadable> {
    let text = text_of(bytes)?;
    check_depth(&text)?;
    let mut html = Html::parse_document(&text);
    style::apply(&mut html);
    let mut page = Page::default();
    page.walk(html.root_element());
    page.end_line();
    page.end_block();
    page.document.country = html.root_element().attr("lang").and_then(country);
    Ok(page.document)
}

/// The country in a language tag (BCP 47): `en-CA`.
fn country(language: &str) -> Option<Country> {
    let (_, country) = language.split_once('-')?;
    country.to_ascii_uppercase().parse().ok()
}

/// The text in the encoding that the page names, or else the one that its bytes show.
fn text_of(bytes: &[u8]) -> Result<String, Unreadable> {
    let no_text = || Unreadable::Damaged("it holds no text".into());
    let start = String::from_utf8_lossy(&bytes[..bytes.len().min(2_048)]).to_ascii_lowercase();
    let label = start.find("charset=").map(|at| {
        let label = start[at + 8..].trim_start_matches(['"', '\'']);
        label.chars().take_while(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_')).collect::<String>()
    });
    let encoding = label.and_then(|label| Encoding::for_label(label.as_bytes()));
    match encoding {
        Some(encoding)
            if encoding.is_single_byte() && Encoding::for_bom(bytes).is_none() && !bytes.contains(&0) =>
        {
            Ok(decode::tidy(&encoding.decode_without_bom_handling(bytes).0.replace("\r\n", "\n")))
        }
        _ => decode::text(bytes).map(|decoded| decoded.text).ok_or_else(no_text),
    }
}

/// Refuses what is nested too deep, before it is parsed. Elements that end by themselves do not count.
fn check_depth(text: &str) -> Result<(), Unreadable> {
    let too_deep = || Unreadable::Damaged("its elements are nested too deep".into());
    let mut depth = 0usize;
    let mut tags = 0;
    for tag in text.split('<').skip(1) {
        tags += 1;
        let closes = tag.starts_with('/');
        let name: String = tag
            .trim_start_matches('/')
            .chars()
            .take(12)
            .take_while(char::is_ascii_alphanumeric)
            .map(|c| c.to_ascii_lowercase())
            .collect();
        let by_itself = matches!(
            name.as_str(),
            "" | "p"
                | "li"
                | "td"
                | "th"
                | "tr"
                | "dt"
                | "dd"
                | "option"
                | "tbody"
                | "thead"
                | "tfoot"
                | "colgroup"
                | "col"
                | "br"
                | "img"
                | "input"
                | "hr"
                | "meta"
                | "link"
                | "wbr"
                | "area"
                | "base"
                | "source"
        );
        if by_itself {
            continue;
        }
        if closes {
            depth = depth.saturating_sub(1);
        } else if !tag.split('>').next().is_some_and(|head| head.ends_with('/')) {
            depth += 1;
        }
        if depth > DEEPEST {
            return Err(too_deep());
        }
    }
    if tags > MOST_TAGS { Err(Unreadable::TooManyCells) } else { Ok(()) }
}

/// What has been laid out so far.
#[derive(Debug, Default)]
struct Page {
    document: Document,
    lines: Vec<Line>,
    /// The line that is being written.
    line: String,
    /// What ends a line is a line break in it.
    breaks: bool,
    /// Pieces of the line that came from different elements are apart.
    apart: bool,
    count: u32,
    tables: u32,
    rows: u32,
    text: usize,
    /// How many lines, and rows of tables, tell a price.
    priced: usize,
    last: String,
}

impl Page {
    /// Walks the tree without recursion, so that no depth of it can overflow the stack.
    fn walk(&mut self, root: ElementRef<'_>) {
        enum Step<'a> {
            Enter(ego_tree::NodeRef<'a, Node>),
            Leave(&'a str),
        }
        let mut steps = vec![Step::Enter(*root)];
        while let Some(step) = steps.pop() {
            let node = match step {
                Step::Leave(name) => {
                    self.leave(name);
                    continue;
                }
                Step::Enter(node) => node,
            };
            match node.value() {
                Node::Text(text) => self.write(text),
                Node::Element(element) => {
                    let name = kind(element);
                    if is_unseen(element) || ElementRef::wrap(node).is_some_and(is_button) {
                        continue;
                    }
                    if name == "table"
                        && let Some(table) = ElementRef::wrap(node)
                        && let Some(rows) = self.data_table(table)
                    {
                        self.end_line();
                        self.table(rows);
                        continue;
                    }
                    if name == "pre"
                        && let Some(typed) = ElementRef::wrap(node).and_then(text_of_lines)
                    {
                        self.end_line();
                        self.typed(&typed);
                        continue;
                    }
                    if name == "blockquote"
                        && let Some(quoted) = ElementRef::wrap(node)
                        && self.quotes_an_older_message(quoted)
                    {
                        self.end_line();
                        self.set_aside(quoted);
                        continue;
                    }
                    if matches!(name, "sup" | "sub") {
                        self.superscript(node);
                    } else {
                        self.enter(name);
                    }
                    steps.push(Step::Leave(name));
                    // One record of a list of alike boxes is one line, whatever stands in it.
                    if let Some(record) = ElementRef::wrap(node).and_then(record) {
                        for piece in record.split("  ") {
                            self.gap();
                            self.write(piece);
                        }
                        continue;
                    }
                    steps.extend(node.children().rev().map(Step::Enter));
                }
                Node::Document | Node::Fragment => steps.extend(node.children().rev().map(Step::Enter)),
                _ => {}
            }
        }
    }

    fn enter(&mut self, name: &str) {
        match name {
            "br" => self.end_line(),
            "dd" => self.gap(),
            "td" | "th" => self.gap(),
            _ if is_block(name) => self.end_line(),
            _ => self.apart = true,
        }
        // A heading is marked as one, so that it is told from a name.
        if is_group_heading(name) {
            self.line.push_str("== ");
        }
    }

    fn leave(&mut self, name: &str) {
        match name {
            // The pair's second half follows on the same line.
            "dt" | "td" | "th" => self.gap(),
            "dd" => self.end_line(),
            _ if is_group_heading(name) => {
                if self.line.trim() == "==" {
                    self.line.clear();
                } else {
                    self.line.push_str(" ==");
                }
                self.end_line();
            }
            _ if is_block(name) => self.end_line(),
            _ => self.apart = true,
        }
    }

    fn gap(&mut self) {
        if !self.line.trim().is_empty() {
            self.line.push_str("  ");
        }
        self.apart = false;
    }

    /// `$4` and a raised `18` are 4.18, `n` and a raised `o` a short word; any other raised text is a footnote's mark, set
    /// apart.
    fn superscript(&mut self, raised: ego_tree::NodeRef<'_, Node>) {
        self.apart = false;
        let ends_a_word = ElementRef::wrap(raised)
            .is_some_and(|raised| raised.text().all(|text| text.trim().chars().all(char::is_alphabetic)));
        if ends_a_word && self.line.ends_with(char::is_alphabetic) {
            return;
        }
        let tail: String = self.line.chars().rev().take_while(|c| c.is_ascii_digit() || *c == '$').collect();
        // `$3<sup>45</sup>`, and `3<sup>45</sup>` where nothing but cents can be meant.
        let cents = ElementRef::wrap(raised).is_some_and(|raised| {
            let digits: String = raised.text().collect();
            let digits = digits.trim();
            digits.len() == 2 && digits.bytes().all(|digit| digit.is_ascii_digit())
        });
        let priced =
            tail.ends_with('$') && tail.len() > 1 || cents && tail.contains(|c: char| c.is_ascii_digit());
        self.line.push(if priced { '.' } else { ' ' });
        self.apart = false;
    }

    fn write(&mut self, text: &str) {
        if self.text > MOST_TEXT {
            return;
        }
        self.text += text.len();
        let mut words = text.split_whitespace().peekable();
        let blank_first = text.starts_with(char::is_whitespace);
        if words.peek().is_none() {
            if !text.is_empty() && !self.line.is_empty() && !self.line.ends_with(' ') {
                self.line.push(' ');
            }
            return;
        }
        for (at, word) in words.enumerate() {
            let blank = at > 0 || blank_first;
            if blank && !self.line.is_empty() && !self.line.ends_with([' ', '\n']) {
                self.line.push(' ');
            }
            if at == 0 && self.apart && touches(&self.line, word) {
                self.line.push_str("  ");
            } else if at == 0
                && self.apart
                && self.line.ends_with(|c: char| c.is_ascii_digit())
                && word.starts_with(char::is_alphabetic)
            {
                self.line.push(' ');
            }
            self.line.push_str(word);
        }
        if text.ends_with(char::is_whitespace) {
            self.line.push(' ');
        }
        self.apart = false;
    }

    fn end_line(&mut self) {
        let text = std::mem::take(&mut self.line);
        self.apart = false;
        self.push_line(text.trim());
    }

    fn push_line(&mut self, text: &str) {
        if text.trim().is_empty() {
            return;
        }
        if self.rows >= MOST_ROWS {
            return self.problem(Problem::RowsCut { read: MOST_ROWS });
        }
        let kept = cut(text, MOST_CHARACTERS);
        if kept.len() < text.len() {
            self.problem(Problem::CellsCut { characters: MOST_CHARACTERS as u32 });
        }
        self.rows += 1;
        self.count += 1;
        self.priced += usize::from(price::is_told(kept));
        kept.trim().clone_into(&mut self.last);
        self.lines.push(Line { place: Place::Line(self.count), text: kept.to_string() });
    }

    /// Lines as they were typed, with their blanks.
    fn typed(&mut self, text: &str) {
        self.end_block();
        for line in text.split('\n') {
            if self.text > MOST_TEXT {
                break;
            }
            self.text += line.len();
            self.push_line(line.trim_end());
        }
        let lines = std::mem::take(&mut self.lines);
        self.document.blocks.extend(text::blocks(lines));
    }

    /// Whether the last line tells who wrote what is quoted, `On Mon, Nov 23, Marla wrote:`, and the message above it tells no fewer
    /// prices.
    fn quotes_an_older_message(&self, quoted: ElementRef<'_>) -> bool {
        let last = if self.line.trim().is_empty() { &self.last } else { self.line.trim() };
        let announced = last.ends_with(':') && VOCABULARY.has_within(last, Use::Wrote);
        if !announced || self.priced < FEWEST_NEWER {
            return false;
        }
        // As many as there are above are enough to tell.
        let older = quoted.text().filter(|text| price::is_told(text)).take(self.priced + 1).count();
        older <= self.priced
    }

    /// What is not read, but shown as left out.
    fn set_aside(&mut self, element: ElementRef<'_>) {
        let place = Place::Line(self.count.max(1));
        for text in element.text().map(str::trim).filter(|text| !text.is_empty()) {
            if self.text > MOST_TEXT {
                break;
            }
            self.text += text.len();
            let text = cut(text, MOST_CHARACTERS).to_string();
            self.document.aside.push(Line { place: place.clone(), text });
        }
    }

    fn end_block(&mut self) {
        let lines = text::without_labels(std::mem::take(&mut self.lines), &mut self.document.aside);
        if !lines.is_empty() {
            self.document.blocks.push(Block::Lines(lines));
        }
    }

    fn problem(&mut self, problem: Problem) {
        if !self.document.problems.contains(&problem) {
            self.document.problems.push(problem);
        }
    }

    fn table(&mut self, rows: Vec<Vec<Cell>>) {
        self.end_block();
        self.tables += 1;
        let name = format!("Table {}", self.tables);
        let mut block = Vec::new();
        for (row, cells) in (1u32..).zip(rows) {
            if self.rows >= MOST_ROWS {
                self.problem(Problem::RowsCut { read: MOST_ROWS });
                break;
            }
            self.rows += 1;
            let priced = |cell: &Cell| matches!(cell, Cell::Text(text) if price::is_told(text));
            self.priced += usize::from(cells.iter().any(priced));
            block.push(GridRow { place: Place::Cell { sheet: name.clone(), row, column: 1 }, cells });
        }
        self.document.blocks.push(Block::Table(block));
    }
}

/// What is seen of an element, with the ends of its lines; `None` where it holds a table.
fn text_of_lines(element: ElementRef<'_>) -> Option<String> {
    let mut text = String::new();
    let mut unseen: Option<ego_tree::NodeId> = None;
    for edge in element.traverse() {
        match edge {
            Edge::Open(node) if unseen.is_none() => match node.value() {
                Node::Text(piece) => text.push_str(piece),
                Node::Element(inside) if inside.name() == "table" => return None,
                Node::Element(inside) if is_unseen(inside) => unseen = Some(node.id()),
                Node::Element(inside) if inside.name() == "br" => text.push('\n'),
                Node::Element(inside) if is_block(inside.name()) => text.push('\n'),
                _ => {}
            },
            Edge::Close(node) if unseen == Some(node.id()) => unseen = None,
            Edge::Close(node) if unseen.is_none() => {
                if let Node::Element(inside) = node.value()
                    && is_block(inside.name())
                {
                    text.push('\n');
                }
            }
            _ => {}
        }
    }
    Some(text)
}

/// Whether two pieces that touch in the source are apart on the page: a word and what follows it, but not a sign and
/// its number, or a number and its unit.
fn touches(line: &str, word: &str) -> bool {
    let Some(last) = line.chars().last() else { return false };
    let Some(first) = word.chars().next() else { return false };
    let ends_word = last.is_alphabetic() || matches!(last, ')' | '%' | '"' | ']' | ':');
    let begins = first.is_alphanumeric() || matches!(first, '$' | '€' | '£' | '(' | '#' | '.');
    let number_then_word = last.is_ascii_digit() && (first.is_uppercase() || first.is_ascii_digit());
    ends_word && begins || number_then_word
}
