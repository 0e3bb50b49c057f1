//! What stands before the messages of a chat.

use super::said_by;
use crate::context::speaks_of_goods;
use crate::document::Line;
use crate::vocabulary::{Use, VOCABULARY};

/// So many lines that begin with a time and a name are a chat.
const FEWEST_MESSAGES: usize = 3;
pub(super) const LONGEST_SENDER: usize = 40;

/// What stands before a message of a chat: `[11/2/26, 8:14:22 AM] Lou: `, `03.11.26, 07:41 - Lou: `, `Lou, [2026-11-03 07:41]`,
/// and with neither day nor time of its own `8:05 AM  Lou: ` or `lou.scrap  `.
pub(super) struct Stamp<'t> {
    /// Empty where it has none.
    pub date: &'t str,
    pub sender: Option<&'t str>,
    pub message: &'t str,
}

/// The stamp of each line; `None` of what is no chat.
pub(super) fn stamps(lines: &[Line]) -> Option<Vec<Option<Stamp<'_>>>> {
    let of = |stamp: fn(&str) -> Option<Stamp<'_>>| -> Vec<Option<Stamp<'_>>> {
        lines.iter().map(|line| stamp(&line.text)).collect()
    };
    let dated = of(stamp);
    let stamped = dated.iter().flatten().count();
    if stamped >= FEWEST_MESSAGES || stamped > 0 && stamped * 2 >= lines.len() {
        return Some(dated);
    }
    let alone = of(time_and_sender);
    if alone.iter().flatten().count() >= FEWEST_MESSAGES {
        return Some(alone);
    }
    let timed = of(with_a_time);
    if timed.iter().flatten().count() >= FEWEST_MESSAGES {
        return Some(timed);
    }
    let by_nicks = lines.iter().filter(|line| by_a_nick(&line.text)).count();
    // Among people with such names, any word that stands so apart is one.
    (by_nicks >= FEWEST_MESSAGES && by_nicks * 2 >= lines.len()).then(|| of(said_apart))
}

/// `8:05 AM  Lou: brass 2.30`, `8:05am  Lou    brass 2.30`
fn with_a_time(text: &str) -> Option<Stamp<'_>> {
    let rest = behind_time(text.trim_start())?;
    let rest = rest.strip_prefix(char::is_whitespace)?.trim_start();
    let rest = rest.strip_prefix(['-', '–']).unwrap_or(rest).trim_start();
    let (sender, message) = said_by(rest).or_else(|| said_in_columns(rest))?;
    // `7:30 Monday: closed`, and no `70:30 brass: 4.10`.
    let hours = [Use::Opening, Use::Hours].iter().any(|is| VOCABULARY.has_within(sender, *is));
    let goods = sender.split(' ').all(speaks_of_goods);
    (!hours && !goods).then_some(Stamp { date: "", sender: Some(sender), message })
}

/// `Lou    brass 2.30`: who says it, in a column of their own.
fn said_in_columns(text: &str) -> Option<(&str, &str)> {
    let (sender, message) = text.split_once("  ")?;
    let plain = |c: char| c.is_alphabetic() || matches!(c, ' ' | '.' | '-' | '\'' | '’');
    let named = sender.starts_with(char::is_uppercase)
        && sender.chars().all(plain)
        && sender.split_whitespace().count() <= 2
        && !speaks_of_goods(sender);
    let message = message.trim();
    (named && message.contains(char::is_alphabetic) && !message.contains("  ")).then_some((sender, message))
}

/// `10:21 Lou` above the message.
fn time_and_sender(text: &str) -> Option<Stamp<'_>> {
    let rest = behind_time(text.trim())?;
    let sender = rest.strip_prefix(char::is_whitespace)?.trim();
    let plain = sender.chars().all(|c| c.is_alphabetic() || matches!(c, ' ' | '.' | '-' | '\'' | '’'));
    let hours = [Use::Opening, Use::Hours].iter().any(|is| VOCABULARY.has_within(sender, *is));
    let is_name = (1..=3).contains(&sender.split_whitespace().count())
        && sender.starts_with(char::is_uppercase)
        && !speaks_of_goods(sender);
    (plain && is_name && !hours).then_some(Stamp { date: "", sender: Some(sender), message: "" })
}

/// The one word before a wide gap, and what stands behind it.
fn apart(text: &str) -> Option<(&str, &str)> {
    let (sender, message) = text.trim().split_once("  ")?;
    let message = message.trim_start();
    let is_one = sender.chars().count() <= LONGEST_SENDER && !sender.contains(char::is_whitespace);
    let is_said = message.contains(char::is_alphabetic) && !message.contains("  ");
    (is_one && is_said && sender.starts_with(char::is_alphabetic)).then_some((sender, message))
}

fn said_apart(text: &str) -> Option<Stamp<'_>> {
    let (sender, message) = apart(text).filter(|(sender, _)| by_a_nick(text) || !speaks_of_goods(sender))?;
    Some(Stamp { date: "", sender: Some(sender), message })
}

/// `lou_scrap  brass 2.30`: two words as one, as people call themselves.
fn by_a_nick(text: &str) -> bool {
    apart(text).is_some_and(|(sender, _)| {
        let plain = sender.chars().all(|c| c.is_alphanumeric() || matches!(c, '_' | '.' | '-'));
        let words = sender.split(['_', '.']).filter(|word| word.chars().count() >= 3).count();
        plain && words > 1 && sender.contains(char::is_lowercase) && !sender.starts_with("www.")
    })
}

fn stamp(text: &str) -> Option<Stamp<'_>> {
    let text = text.trim_start_matches(|c: char| c.is_whitespace() || is_mark(c));
    if let Some((sender, rest)) = text.split_once(", [")
        && sender.chars().count() <= LONGEST_SENDER
        && let Some((date, rest)) = date_and_time(rest)
        && let Some(message) = rest.strip_prefix(']')
    {
        return Some(Stamp { date, sender: Some(sender), message: message.trim_start_matches(':') });
    }
    if let Some(stamp) = of_its_own_line(text) {
        return Some(stamp);
    }
    if let Some(stamp) = with_its_time_first(text).or_else(|| with_brackets_behind(text)) {
        return Some(stamp);
    }
    if let Some(stamp) = with_only_a_time(text) {
        return Some(stamp);
    }
    let bracketed = text.starts_with('[');
    let (date, rest) = date_and_time(text.trim_start_matches('['))?;
    let rest = if bracketed { rest.trim_start().strip_prefix(']')? } else { rest };
    let rest = rest.trim_start_matches(|c: char| c.is_whitespace() || is_mark(c));
    let dashed = rest.strip_prefix('-').or_else(|| rest.strip_prefix('–'));
    // `25.11.2026 13:22 LOU: brass 2.30`
    let plain = || said_by(rest).filter(|(sender, _)| !sender.split(' ').all(speaks_of_goods)).map(|_| rest);
    let rest = dashed.or(bracketed.then_some(rest)).or_else(plain)?.trim_start();
    match rest.split_once(':').filter(|(sender, _)| sender.chars().count() <= LONGEST_SENDER) {
        Some((sender, message)) => Some(Stamp { date, sender: Some(sender.trim()), message }),
        // Nobody said it: somebody joined, or a picture was left out.
        None => Some(Stamp { date, sender: None, message: "" }),
    }
}

/// `[09:41, 27/11/2026] Lou: brass 2.30`, as messages are copied.
fn with_its_time_first(text: &str) -> Option<Stamp<'_>> {
    let (inside, rest) = text.strip_prefix('[')?.split_once(']')?;
    let (time, date) = inside.split_once(", ")?;
    let parts: Vec<&str> = date.trim().split(['/', '.', '-']).collect();
    let number =
        |part: &&str| (1..=4).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
    let is_day = parts.len() == 3 && parts.iter().all(number);
    let only_a_time = behind_time(time.trim()).is_some_and(|rest| rest.trim().is_empty());
    let (sender, message) =
        rest.split_once(':').filter(|(sender, _)| sender.chars().count() <= LONGEST_SENDER)?;
    (is_day && only_a_time).then_some(Stamp { date: date.trim(), sender: Some(sender.trim()), message })
}

/// `[11:03] Lou @ Pinehollow: brass 2.30`
fn with_only_a_time(text: &str) -> Option<Stamp<'_>> {
    let (time, rest) = text.strip_prefix('[')?.split_once(']')?;
    let only_a_time = behind_time(time.trim()).is_some_and(|rest| rest.trim().is_empty());
    let (sender, message) = rest.trim_start().split_once(':')?;
    let named = sender.chars().count() <= LONGEST_SENDER && sender.starts_with(char::is_alphabetic);
    (only_a_time && named).then_some(Stamp { date: "", sender: Some(sender), message })
}

/// `Lou  (Wed 18 Nov 2026 16:02)`, or on the same day `Lou  (16:13)`, above the message.
fn with_brackets_behind(text: &str) -> Option<Stamp<'_>> {
    let (sender, inside) = text.trim_end().strip_suffix(')')?.split_once('(')?;
    let at = inside.rfind(' ').map_or(0, |at| at + 1);
    let (day, time) = inside.split_at(at);
    let only_a_time = behind_time(time).is_some_and(|rest| rest.trim().is_empty());
    let dated = day.is_empty() || day.contains(|c: char| c.is_ascii_digit());
    let sender = sender.trim();
    let named = sender.starts_with(char::is_alphabetic) && sender.chars().count() <= LONGEST_SENDER;
    (only_a_time && dated && named && !speaks_of_goods(sender)).then_some(Stamp {
        date: day.trim(),
        sender: Some(sender),
        message: "",
    })
}

/// `Lou, Wed 25.11, 09:41` above the message.
fn of_its_own_line(text: &str) -> Option<Stamp<'_>> {
    let (sender, when) = text.split_once(", ")?;
    let (day, time) = when.rsplit_once(", ")?;
    let figures = day.trim_start_matches(|c: char| !c.is_ascii_digit());
    let words = day[..day.len() - figures.len()].trim();
    let is_day = words.is_empty() || VOCABULARY.has(words, Use::Hours) || VOCABULARY.has(words, Use::Weekday);
    let parts: Vec<&str> = figures.trim_end_matches('.').split(['.', '/', '-']).collect();
    let numbers = parts.iter().all(|part| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit()));
    let known = is_day && numbers && (2..=3).contains(&parts.len());
    let number = |at: usize| parts.get(at).and_then(|part| part.parse::<u32>().ok()).unwrap_or(0);
    let known = known && number(0).max(number(1)) <= 31 && (1..=12).contains(&number(0).min(number(1)));
    let named = sender.chars().count() <= LONGEST_SENDER
        && sender.starts_with(char::is_alphabetic)
        && !speaks_of_goods(sender);
    let rest = behind_time(time.trim())?;
    (known && named && rest.trim().is_empty()).then_some(Stamp {
        date: day,
        sender: Some(sender),
        message: "",
    })
}

/// Marks of direction that programs put around names and times.
fn is_mark(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{feff}')
}

/// The date at the beginning of a text that a time follows, and what stands behind the time.
fn date_and_time(text: &str) -> Option<(&str, &str)> {
    let end = text.find(|c: char| !c.is_ascii_digit() && !matches!(c, '/' | '.' | '-'))?;
    let date = text[..end].trim_end_matches(['.', '-']);
    let parts: Vec<&str> = date.split(['/', '.', '-']).collect();
    // `12/11 09:17` has no year.
    let short = || parts.iter().all(|part| part.len() <= 2 && part.parse::<u8>().is_ok_and(|day| day <= 31));
    if !(parts.len() == 3 || parts.len() == 2 && short())
        || parts.iter().any(|part| part.is_empty() || part.len() > 4)
    {
        return None;
    }
    let rest = text[end..].trim_start_matches(is_blank);
    Some((date, behind_time(rest)?))
}

fn is_blank(c: char) -> bool {
    c.is_whitespace() || c == ',' || is_mark(c)
}

/// The length of `AM`, `a.m.`, `a. m.` at the beginning of a text.
fn half_of_day(text: &str) -> usize {
    let rest = text.strip_prefix(['a', 'A', 'p', 'P']).unwrap_or_default();
    let rest = rest.trim_start_matches(['.', ' ', '\u{a0}', '\u{202f}']);
    let rest = rest.strip_prefix(['m', 'M']).map(|rest| rest.strip_prefix('.').unwrap_or(rest));
    match rest {
        Some(rest) if !rest.starts_with(char::is_alphabetic) => text.len() - rest.len(),
        _ => 0,
    }
}

/// What stands behind the time that a text begins with.
fn behind_time(text: &str) -> Option<&str> {
    let end = text.find(|c: char| !c.is_ascii_digit() && c != ':').unwrap_or(text.len());
    let (time, rest) = text.split_at(end);
    let parts: Vec<&str> = time.split(':').collect();
    let minutes = |part: &&&str| part.len() == 2 && part.parse::<u8>().is_ok_and(|minute| minute < 60);
    let is_time = (2..=3).contains(&parts.len())
        && parts[0].parse::<u8>().is_ok_and(|hour| hour < 24)
        && parts[1..].iter().all(|part| minutes(&part));
    if !is_time {
        return None;
    }
    let after = rest.trim_start_matches(is_blank);
    Some(match half_of_day(after) {
        0 => rest,
        half => &after[half..],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expect: Option<(&str, Option<&str>, &str)>) {
        let found = stamp(text).map(|stamp| (stamp.date, stamp.sender, stamp.message.trim()));
        assert_eq!(found, expect, "{text}");
    }

    #[test]
    fn stamps_of_chats() {
        check(
            "[11/2/26, 8:14:22 AM] Lou Scrap: brass 2.30",
            Some(("11/2/26", Some("Lou Scrap"), "brass 2.30")),
        );
        check("03.11.26, 07:41 - Lou: Messing 4,90 €", Some(("03.11.26", Some("Lou"), "Messing 4,90 €")));
        check("11/3/26, 7:15\u{202f}PM - Lou: ok", Some(("11/3/26", Some("Lou"), "ok")));
        check("Lou, [2026-11-03 07:41]", Some(("2026-11-03", Some("Lou"), "")));
        check("3/11/26, 8:06 a. m. - Lou: hola", Some(("3/11/26", Some("Lou"), "hola")));
        check("3/11/26, 8:06 p.m. - Lou: hola", Some(("3/11/26", Some("Lou"), "hola")));
        check("2026-11-03, 07:15 - Messages are encrypted", Some(("2026-11-03", None, "")));
        check("Lou, śr. 25.11, 09:41", Some(("śr. 25.11", Some("Lou"), "")));
        check("25.11.2026 13:22 LOU: brass 2.30", Some(("25.11.2026", Some("LOU"), "brass 2.30")));
        check("[12/11 09:17] Lou : laiton 4,60 €", Some(("12/11", Some("Lou"), "laiton 4,60 €")));
        check("Lou  (Wed 18 Nov 2026 16:02)", Some(("Wed 18 Nov 2026", Some("Lou"), "")));
        check("[11:03] Lou @ Pinehollow: coax .12", Some(("", Some("Lou @ Pinehollow"), "coax .12")));
        check("Lou  (16:13)", Some(("", Some("Lou"), "")));
        check("Copper, 3.10, 2:1", None);
        check("11/2/26 brass 2.30", None);
        check("Open 8:00 - 4:30", None);
        check("Bare bright 4.10", None);
    }
}
