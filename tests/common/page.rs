//! An answer, looked at as a person would: elements of it, not its text as a whole.

use axum::http::{HeaderMap, StatusCode};
use scraper::{ElementRef, Html, Selector};

use super::form::{Form, squeeze};

#[derive(Debug, Clone)]
pub struct Page {
    /// Where it came from, after any redirects.
    pub url: String,
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: String,
}

impl Page {
    /// The words of the first element that `selector` finds.
    #[track_caller]
    pub fn text(&self, selector: &str) -> String {
        let texts = self.texts(selector);
        texts.into_iter().next().unwrap_or_else(|| panic!("{self} has no {selector}:\n{}", self.body))
    }

    /// The words of every element that `selector` finds.
    pub fn texts(&self, selector: &str) -> Vec<String> {
        self.select(selector, |element| squeeze(&element.text().collect::<Vec<_>>().join(" ")))
    }

    /// The words of the first element that `selector` finds, without those inside what `hidden` selects.
    #[track_caller]
    pub fn text_without(&self, selector: &str, hidden: &str) -> String {
        let hidden = Selector::parse(hidden.trim()).unwrap_or_else(|error| panic!("{hidden}: {error}"));
        let texts = self.select(selector, |element| {
            let seen = element.descendants().filter(|node| {
                let within = node.ancestors().filter_map(ElementRef::wrap);
                !within.into_iter().any(|outer| hidden.matches(&outer))
            });
            squeeze(
                &seen
                    .filter_map(|node| node.value().as_text().map(|text| &**text))
                    .collect::<Vec<_>>()
                    .join(" "),
            )
        });
        texts.into_iter().next().unwrap_or_else(|| panic!("{self} has no {selector}"))
    }

    pub fn has(&self, selector: &str) -> bool {
        !self.select(selector, |_| ()).is_empty()
    }

    /// Whether a person finds these words anywhere on it.
    pub fn says(&self, words: &str) -> bool {
        self.text("body").contains(words)
    }

    /// The page itself, where nothing on it reads like something that only the record knows things by.
    #[track_caller]
    pub fn without_ids(self) -> Page {
        let text = self.text("body");
        let is_id = |word: &str| uuid::Uuid::try_parse(word).is_ok();
        let word = text.split(|c: char| !c.is_ascii_alphanumeric() && c != '-').find(|word| is_id(word));
        assert_eq!(word, None, "{self} shows an id: {text}");
        let slug = pennyweight::catalogue::GRADES.iter().map(|grade| grade.slug.as_str()).find(|slug| {
            slug.contains('-')
                && text.split_whitespace().any(|word| word.trim_matches([',', '.', ':']) == *slug)
        });
        assert_eq!(slug, None, "{self} shows a slug: {text}");
        self
    }

    /// An attribute of every element that `selector` finds and that has it.
    pub fn attributes(&self, selector: &str, name: &str) -> Vec<String> {
        self.select(selector, |element| element.value().attr(name).map(str::to_string))
            .into_iter()
            .flatten()
            .collect()
    }

    /// Where the first link with these words leads.
    #[track_caller]
    pub fn link(&self, words: &str) -> String {
        let links = self.select("a[href]", |link| {
            (
                squeeze(&link.text().collect::<String>()),
                link.value().attr("href").unwrap_or_default().to_string(),
            )
        });
        let found = links.iter().find(|(text, _)| text.contains(words));
        found.unwrap_or_else(|| panic!("{self} has no link “{words}”: {links:?}")).1.clone()
    }

    /// The first form that `selector` finds, filled in as the page has it.
    #[track_caller]
    pub fn form(&self, selector: &str) -> Form {
        let forms = self.select(selector, |element| Form::read(element, &self.url));
        forms.into_iter().next().unwrap_or_else(|| panic!("{self} has no form {selector}:\n{}", self.body))
    }

    /// Every form that `selector` finds.
    pub fn forms(&self, selector: &str) -> Vec<Form> {
        self.select(selector, |element| Form::read(element, &self.url))
    }

    /// The page itself, where it has to be a good one.
    #[track_caller]
    pub fn ok(self) -> Page {
        assert_eq!(self.status, StatusCode::OK, "{self} says: {}", self.text("body"));
        self
    }

    #[track_caller]
    fn select<T>(&self, selector: &str, take: impl Fn(ElementRef<'_>) -> T) -> Vec<T> {
        let selector = Selector::parse(selector).unwrap_or_else(|error| panic!("{selector}: {error}"));
        Html::parse_document(&self.body).select(&selector).map(take).collect()
    }
}

impl std::fmt::Display for Page {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} ({})", self.url, self.status)
    }
}
