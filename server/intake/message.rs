//! Messages without what wraps them: the times and names of a chat, and what an e-mail quotes.

mod answers;
mod corrections;
mod stamp;

use std::collections::{HashMap, HashSet};

use crate::document::{Line, MOST_CHARACTERS};
use crate::number::{Habit, Marks};
use crate::price;
use crate::scan::{Kind, Scan};
use crate::sheet::Place;
use crate::vocabulary::{Use, VOCABULARY};
use answers::{Asked, answered};
use stamp::{LONGEST_SENDER, Stamp, stamps};

/// So many answers between the lines of a quoted mail make it one that is answered so.
const FEWEST_ANSWERS: usize = 3;
/// Who asks tells fewer prices than one in so many of the one who tells most.
const MOST_OF_ASKERS: usize = 4;
/// So often each of two speaks in a thread.
const FEWEST_TURNS: usize = 2;
/// So many lines may be the head of a mail.
const LONGEST_HEAD: usize = 8;
/// What the lines of its head are called that say who wrote it, and when.
const SENDERS: [&str; 6] = ["from", "von", "de", "da", "od", "van"];
const SUBJECTS: [&str; 9] =
    ["subject", "betreff", "objet", "asunto", "oggetto", "onderwerp", "temat", "assunto", "re"];
const SENT: [&str; 10] =
    ["date", "sent", "datum", "gesendet", "envoyé", "fecha", "enviado", "data", "inviato", "verzonden"];

/// The lines to read, those set aside, and the texts that date the messages.
#[derive(Debug, Default)]
pub(crate) struct Wrapped {
    pub lines: Vec<Line>,
    pub aside: Vec<Line>,
    /// The lines that put earlier ones right.
    pub correcting: Vec<Place>,
    pub dates: Vec<String>,
}

pub(crate) fn unwrap(lines: Vec<Line>) -> Wrapped {
    let mut wrapped = if let Some(stamps) = stamps(&lines) {
        chat(&lines, &stamps)
    } else if let Some(wrapped) = thread(&lines) {
        wrapped
    } else {
        let mut wrapped = mail(lines);
        let moments = wrapped.lines.iter().filter(|line| is_moment(&line.text)).map(|line| line.text.clone());
        wrapped.dates.extend(moments.take(1));
        wrapped
    };
    corrections::put_right(&mut wrapped);
    wrapped
}

/// What others said in a thread that names who spoke, and has times only now and then: `Me: and the wire?`, `Lou: romex 2.10`.
/// `None` where it is none between the shop and somebody.
fn thread(lines: &[Line]) -> Option<Wrapped> {
    let mut times: HashMap<&str, usize> = HashMap::new();
    for (sender, _) in lines.iter().filter_map(|line| turn(&line.text)) {
        *times.entry(sender).or_default() += 1;
    }
    times.retain(|_, times| *times >= FEWEST_TURNS);
    let own = |sender: &str| VOCABULARY.has(sender, Use::Oneself);
    if !times.keys().any(|sender| own(sender)) || !times.keys().any(|sender| !own(sender)) {
        return None;
    }
    let mut wrapped = Wrapped::default();
    let mut is_own = false;
    let mut asked: Option<&str> = None;
    for line in lines {
        if is_moment(&line.text) {
            if wrapped.dates.is_empty() {
                wrapped.dates.push(line.text.clone());
            }
            wrapped.aside.push(line.clone());
            continue;
        }
        let said = turn(&line.text).filter(|(sender, _)| times.contains_key(sender));
        is_own = said.map_or(is_own, |(sender, _)| own(sender));
        let text = said.map_or(line.text.as_str(), |(_, message)| message);
        if is_own {
            asked = Some(text);
            wrapped.aside.push(line.clone());
        } else if text.is_empty() {
            wrapped.aside.push(line.clone());
        } else {
            wrapped
                .lines
                .push(Line { text: with_its_name(asked.take(), without_stress(text)), ..line.clone() });
        }
    }
    Some(wrapped)
}

/// Who begins to speak in a line, and what they say in it.
fn turn(text: &str) -> Option<(&str, &str)> {
    said_by(text).or_else(|| Some((speaks_from(text)?, "")))
}

/// `Lou: romex 2.10`
fn said_by(text: &str) -> Option<(&str, &str)> {
    let (sender, message) = text.trim_start().split_once(": ")?;
    let short = sender.chars().count() <= LONGEST_SENDER && sender.split_whitespace().count() <= 3;
    let named = sender.chars().all(|c| c.is_alphabetic() || matches!(c, ' ' | '.' | '\'' | '-'));
    (short && named && !message.trim().is_empty()).then_some((sender, message.trim()))
}

/// `Lou  7:21 AM` above what Lou says.
fn speaks_from(text: &str) -> Option<&str> {
    let (sender, time) = text.trim().split_once("  ")?;
    let mut parts = time.trim().splitn(2, ' ');
    let clock = parts.next()?;
    let half = parts.next().is_none_or(|half| matches!(half.to_ascii_lowercase().as_str(), "am" | "pm"));
    let is_time =
        clock.len() <= 5 && clock.contains(':') && clock.chars().all(|c| c.is_ascii_digit() || c == ':');
    let short =
        sender.split_whitespace().count() <= 3 && sender.chars().all(|c| c.is_alphabetic() || c == ' ');
    (half && is_time && short && !sender.is_empty()).then_some(sender)
}

/// `Mon, Nov 23, 7:52 AM`, on a line of its own above messages.
fn is_moment(text: &str) -> bool {
    let scan = Scan::of(text);
    let mut words = (0..scan.tokens.len()).filter(|&at| scan.kind(at) == Some(Kind::Word));
    let half = |at: usize| matches!(scan.word(at).to_ascii_lowercase().as_str(), "am" | "pm" | "at");
    text.contains(':')
        && (0..scan.tokens.len()).any(|at| scan.is(at, Use::Month))
        && words.all(|at| scan.is(at, Use::Month) || scan.is(at, Use::BeforeDay) || half(at))
}

/// What those said who named a price; others only ask and thank.
fn chat(lines: &[Line], stamps: &[Option<Stamp<'_>>]) -> Wrapped {
    let mut wrapped = Wrapped::default();
    let priced = senders_of_prices(lines, stamps);
    // A message goes on in lines without a stamp, and belongs to whoever began it.
    let mut own = false;
    let mut asked: Option<String> = None;
    // The stamp stands on a line of its own, and its message below.
    let mut announced = false;
    // How many prices were named on each day.
    let mut days: Vec<(String, usize)> = Vec::new();
    for (line, stamp) in lines.iter().zip(stamps) {
        let text = stamp.as_ref().map_or(line.text.as_str(), |stamp| stamp.message.trim());
        if let Some(stamp) = stamp {
            if days.last().is_none_or(|(day, _)| day != stamp.date) {
                days.push((stamp.date.to_string(), 0));
            }
            own = stamp.sender.is_some_and(|sender| {
                VOCABULARY.has(sender, Use::Oneself) || !priced.is_empty() && !priced.contains(sender)
            });
        }
        let said = stamp.as_ref().is_none_or(|stamp| stamp.sender.is_some()) && !own && !text.is_empty();
        if !said {
            asked = Some(text).filter(|text| own && !text.is_empty()).map(str::to_string).or(asked);
            announced = stamp.is_some() && text.is_empty();
            wrapped.aside.push(line.clone());
            continue;
        }
        let begins = stamp.is_some() || std::mem::take(&mut announced);
        if let Some((_, prices)) = days.last_mut() {
            *prices += usize::from(names_a_price(text));
        }
        let asked = asked.take().filter(|_| begins);
        let text = with_its_name(asked.as_deref(), without_stress(text));
        wrapped.lines.push(Line { text, ..line.clone() });
    }
    let day = days.into_iter().filter(|(day, _)| !day.is_empty()).max_by_key(|(_, prices)| *prices);
    wrapped.dates.extend(day.map(|(day, _)| day));
    wrapped
}

/// An answer that is only a price, with the name from the question.
fn with_its_name(asked: Option<&str>, text: String) -> String {
    asked.and_then(|question| answered(question, Asked::Last, &text)).unwrap_or(text)
}

/// Those who tell prices. Who asks, and tells one of another yard while somebody else tells many, is none of them.
fn senders_of_prices(lines: &[Line], stamps: &[Option<Stamp<'_>>]) -> HashSet<String> {
    let mut told: HashMap<&str, (usize, bool)> = HashMap::new();
    let mut sender = None;
    for (line, stamp) in lines.iter().zip(stamps) {
        if let Some(stamp) = stamp {
            sender = stamp.sender.filter(|sender| !VOCABULARY.has(sender, Use::Oneself));
        }
        let text = stamp.as_ref().map_or(line.text.as_str(), |stamp| stamp.message);
        if let Some(sender) = sender {
            let (prices, asks) = told.entry(sender).or_default();
            *prices += usize::from(names_a_price(text));
            *asks |= text.trim_end().ends_with('?');
        }
    }
    let most = told.values().map(|(prices, _)| *prices).max().unwrap_or(0);
    let tells = |(prices, asks): (usize, bool)| prices > 0 && !(asks && prices * MOST_OF_ASKERS < most);
    told.into_iter().filter(|(_, said)| tells(*said)).map(|(sender, _)| sender.to_string()).collect()
}

/// `*COBRE* brillante` without the marks that set words in bold; a line that is bold from end to end keeps them, because
/// they make a heading of it.
fn without_stress(text: &str) -> String {
    let whole = text.starts_with('*') && text.trim_end().ends_with('*');
    if whole { text.to_string() } else { text.replace('*', "") }
}

/// Sets aside what a mail quotes of an older one, if the new one has prices of its own; of a mail that is only passed
/// on, the quoting marks go.
fn mail(mut lines: Vec<Line>) -> Wrapped {
    let mut wrapped = Wrapped::default();
    let between = answers_between(&lines);
    if between.len() >= FEWEST_ANSWERS {
        between.into_iter().for_each(|(at, text)| lines[at].text = text);
    }
    let quoted = |line: &Line| line.text.trim_start().starts_with('>');
    let older = (0..lines.len()).find(|&at| begins_older(&lines[at].text) || heads_older(&lines, at));
    let older = older.unwrap_or(lines.len());
    let priced = |line: &Line| names_a_price(&line.text);
    let above = lines[..older].iter().filter(|line| !quoted(line) && priced(line)).count();
    let unquoted = lines.iter().filter(|line| !quoted(line) && priced(line)).count();
    let heads = |line: &&Line| is_header(&line.text, &SENDERS) || is_header(&line.text, &SUBJECTS);
    let head = lines.iter().take(LONGEST_HEAD).filter(heads).count();
    for (at, mut line) in lines.into_iter().enumerate() {
        // The day on which it was written is not the one from which its prices hold.
        if head > 0 && at < LONGEST_HEAD && is_header(&line.text, &SENT) {
            let (_, date) = line.text.split_once(':').unwrap_or_default();
            wrapped.dates.push(date.to_string());
            wrapped.aside.push(line);
            continue;
        }
        if quoted(&line) {
            if unquoted > 1 {
                wrapped.aside.push(line);
                continue;
            }
            line.text = line.text.trim_start_matches(|c: char| c == '>' || c.is_whitespace()).to_string();
            if line.text.is_empty() {
                continue;
            }
        } else if at >= older && above > 1 {
            wrapped.aside.push(line);
            continue;
        }
        wrapped.lines.push(line);
    }
    wrapped
}

/// The lines that answer one quoted above them, with what that names.
fn answers_between(lines: &[Line]) -> Vec<(usize, String)> {
    let mut asked: Option<String> = None;
    let mut answers = Vec::new();
    let mut goes_on = false;
    for (at, line) in lines.iter().enumerate() {
        let quoted = line.text.trim_start().strip_prefix('>').map(str::trim);
        match quoted {
            Some("") => {}
            // A mail program breaks long questions; a mark or a number begins the next one.
            Some(question) => {
                let begins =
                    question.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '*' | '•'));
                let before =
                    asked.take().filter(|before| goes_on && !begins && before.len() < MOST_CHARACTERS);
                asked = Some(before.map_or(question.to_string(), |before| format!("{before} {question}")));
            }
            None => {
                let answer = asked.take().and_then(|question| answered(&question, Asked::First, &line.text));
                answers.extend(answer.map(|text| (at, text)));
            }
        }
        goes_on = quoted.is_some_and(|question| !question.is_empty());
    }
    answers
}

/// Whether a line at the head of a mail begins with one of these.
fn is_header(text: &str, names: &[&str]) -> bool {
    text.split_once(':')
        .is_some_and(|(name, _)| names.iter().any(|other| other.eq_ignore_ascii_case(name.trim())))
}

/// `-----Original Message-----`, `On Nov 1, Ann wrote:`.
fn begins_older(text: &str) -> bool {
    let text = text.trim();
    let ruled = text.starts_with("---") && VOCABULARY.has_within(text, Use::OlderMessage);
    let wrote = text.ends_with(':')
        && text.contains(|c: char| c.is_ascii_digit())
        && VOCABULARY.has_within(text, Use::Wrote);
    ruled || wrote
}

/// Whether the head of another mail stands below this one: `From: Ann`, and then when that was sent.
fn heads_older(lines: &[Line], at: usize) -> bool {
    let behind = || lines[at + 1..].iter().take(LONGEST_HEAD);
    at >= LONGEST_HEAD
        && is_header(&lines[at].text, &SENDERS)
        && behind().any(|line| is_header(&line.text, &SENT))
}

fn names_a_price(text: &str) -> bool {
    let scan = Scan::of(text);
    let marks = Marks::of(scan.numbers(), Habit::Point);
    price::is_within(text, marks)
}
