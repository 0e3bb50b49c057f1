//! A form as a browser holds it: what would be sent, and what can be typed, chosen, attached and pressed.

use scraper::{ElementRef, Selector};

/// Where a form goes, and with what.
#[derive(Debug, Clone)]
pub struct Form {
    pub action: String,
    pub method: String,
    pub is_multipart: bool,
    pub fields: Vec<Field>,
    controls: Vec<Control>,
    buttons: Vec<Button>,
    pressed: usize,
}

#[derive(Debug, Clone)]
pub struct Field {
    pub name: String,
    pub value: String,
    pub file: Option<Attachment>,
}

#[derive(Debug, Clone)]
pub struct Attachment {
    pub file_name: String,
    pub media_type: String,
    pub bytes: Vec<u8>,
}

/// Something with a name in the form, and the values that a person can give it.
#[derive(Debug, Clone)]
struct Control {
    name: String,
    takes: Takes,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Takes {
    Text,
    OneOf(Vec<String>),
    /// Checkboxes of one name: any of them together.
    AnyOf(Vec<String>),
    File,
    /// Hidden, or shown and locked.
    Nothing,
}

#[derive(Debug, Clone)]
struct Button {
    words: String,
    name: Option<String>,
    value: String,
    action: Option<String>,
}

impl Form {
    /// Reads the form at `element` of a page at `url`.
    pub fn read(element: ElementRef<'_>, url: &str) -> Form {
        let attribute = |name| element.value().attr(name).unwrap_or_default();
        let mut form = Form {
            action: resolve(attribute("action"), url),
            method: attribute("method").to_ascii_uppercase(),
            is_multipart: attribute("enctype") == "multipart/form-data",
            fields: Vec::new(),
            controls: Vec::new(),
            buttons: Vec::new(),
            pressed: 0,
        };
        let controls = Selector::parse("input, select, textarea, button").expect("a selector");
        for control in element.select(&controls).filter(|control| control.value().attr("disabled").is_none())
        {
            form.read_control(control, url);
        }
        form
    }

    fn read_control(&mut self, control: ElementRef<'_>, url: &str) {
        let attribute = |name| control.value().attr(name).map(str::to_string);
        let has = |name| control.value().attr(name).is_some();
        let name = attribute("name").filter(|name| !name.is_empty());
        let value = attribute("value").unwrap_or_default();
        let kind = attribute("type").unwrap_or_default();
        match (control.value().name(), kind.as_str()) {
            ("button", "button" | "reset") | ("input", "button" | "reset") => {}
            ("button", _) | ("input", "submit") => self.buttons.push(Button {
                words: squeeze(&control.text().collect::<String>()),
                name,
                value,
                action: attribute("formaction").map(|action| resolve(&action, url)),
            }),
            (element, kind) => {
                let Some(name) = name else { return };
                match (element, kind) {
                    ("select", _) => self.read_select(control, name),
                    ("input", "checkbox") => {
                        let value = if has("value") { value } else { "on".into() };
                        self.read_pick(name, value, has("checked"), Takes::AnyOf);
                    }
                    ("input", "radio") => self.read_pick(name, value, has("checked"), Takes::OneOf),
                    ("input", "file") => self.add(name, None, Takes::File),
                    ("input", "hidden") => self.add(name, Some(value), Takes::Nothing),
                    ("input", _) if has("readonly") => self.add(name, Some(value), Takes::Nothing),
                    ("textarea", _) => self.add(name, Some(control.text().collect()), Takes::Text),
                    _ => self.add(name, Some(value), Takes::Text),
                }
            }
        }
    }

    fn add(&mut self, name: String, value: Option<String>, takes: Takes) {
        if let Some(value) = value {
            self.fields.push(Field { name: name.clone(), value, file: None });
        }
        self.controls.push(Control { name, takes });
    }

    fn read_pick(&mut self, name: String, value: String, checked: bool, takes: fn(Vec<String>) -> Takes) {
        match self.controls.iter_mut().find(|control| control.name == name) {
            Some(Control { takes: Takes::OneOf(values) | Takes::AnyOf(values), .. }) => {
                values.push(value.clone())
            }
            _ => self.controls.push(Control { name: name.clone(), takes: takes(vec![value.clone()]) }),
        }
        if checked {
            self.fields.push(Field { name, value, file: None });
        }
    }

    /// A browser sends the option that is marked, or else the first.
    fn read_select(&mut self, select: ElementRef<'_>, name: String) {
        let option = Selector::parse("option").expect("a selector");
        let value = |option: &ElementRef<'_>| match option.value().attr("value") {
            Some(value) => value.to_string(),
            None => squeeze(&option.text().collect::<String>()),
        };
        let options: Vec<_> = select.select(&option).collect();
        let marked = options.iter().find(|option| option.value().attr("selected").is_some());
        let chosen = marked.or(options.first()).map(value);
        self.add(name, chosen, Takes::OneOf(options.iter().map(value).collect()));
    }

    /// What stands in a field now; empty where nothing would be sent for it.
    pub fn value(&self, name: &str) -> &str {
        self.fields.iter().find(|field| field.name == name).map_or("", |field| &field.value)
    }

    /// Types into a field, or chooses an option, as a person could.
    #[track_caller]
    pub fn set(mut self, name: &str, value: &str) -> Form {
        match &self.control(name).takes {
            Takes::Text => {}
            Takes::OneOf(values) if values.iter().any(|known| known == value) => {}
            Takes::AnyOf(values) if values.iter().any(|known| known == value) => {
                self.fields.push(Field { name: name.into(), value: value.into(), file: None });
                return self;
            }
            other => panic!("nobody can put “{value}” into {name}, which takes {other:?}"),
        }
        self.forge(name, value)
    }

    /// The values that a person can choose from in `name`.
    #[track_caller]
    pub fn options(&self, name: &str) -> &[String] {
        match &self.control(name).takes {
            Takes::OneOf(values) | Takes::AnyOf(values) => values,
            other => panic!("{name} has no options: it takes {other:?}"),
        }
    }

    /// Attaches a file, as a person could.
    #[track_caller]
    pub fn attach(
        mut self,
        name: &str,
        file_name: &str,
        media_type: &str,
        bytes: impl Into<Vec<u8>>,
    ) -> Form {
        assert_eq!(self.control(name).takes, Takes::File, "{name} takes no file");
        assert!(self.is_multipart, "a browser sends a file's name alone from a form without enctype");
        let file =
            Attachment { file_name: file_name.into(), media_type: media_type.into(), bytes: bytes.into() };
        self.fields.retain(|field| field.name != name);
        self.fields.push(Field { name: name.into(), value: String::new(), file: Some(file) });
        self
    }

    /// Sends it by the button with these words instead of by its first one.
    #[track_caller]
    pub fn press(mut self, words: &str) -> Form {
        let button = self.buttons.iter().position(|button| button.words.contains(words));
        self.pressed = button.unwrap_or_else(|| panic!("no button says “{words}”: {:?}", self.buttons));
        self
    }

    /// Puts in what no browser would send from this page.
    pub fn forge(mut self, name: &str, value: &str) -> Form {
        self.fields.retain(|field| field.name != name);
        self.fields.push(Field { name: name.into(), value: value.into(), file: None });
        self
    }

    /// The form as it goes out: with its button's name and value, to its button's address.
    pub(super) fn sent(mut self) -> Form {
        if let Some(button) = self.buttons.get(self.pressed) {
            if let Some(name) = &button.name {
                self.fields.push(Field { name: name.clone(), value: button.value.clone(), file: None });
            }
            if let Some(action) = &button.action {
                self.action.clone_from(action);
            }
        }
        self
    }

    #[track_caller]
    fn control(&self, name: &str) -> &Control {
        self.controls.iter().find(|control| control.name == name).unwrap_or_else(|| {
            let names: Vec<_> = self.controls.iter().map(|control| &control.name).collect();
            panic!("the form has no field {name}, only {names:?}")
        })
    }
}

/// Runs of white space are one space, as a browser shows them.
pub fn squeeze(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn resolve(address: &str, url: &str) -> String {
    match address {
        "" => url.to_string(),
        query if query.starts_with('?') => {
            format!("{}{query}", url.split('?').next().unwrap_or_default())
        }
        path => path.to_string(),
    }
}
