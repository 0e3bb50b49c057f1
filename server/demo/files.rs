//! The files of `seed/demo`, in the binary.

use include_dir::{Dir, include_dir};
use serde::de::DeserializeOwned;

use super::DemoError;

static FILES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/seed/demo");

/// The bytes of one file.
pub fn bytes(name: &str) -> Result<&'static [u8], DemoError> {
    let file = FILES.get_file(name).ok_or_else(|| DemoError::of(name, "it is not there"))?;
    Ok(file.contents())
}

/// One TOML file, read.
pub fn toml<T: DeserializeOwned>(name: &str) -> Result<T, DemoError> {
    let text = std::str::from_utf8(bytes(name)?).map_err(|problem| DemoError::of(name, problem))?;
    toml::from_str(text).map_err(|problem| DemoError::of(name, problem))
}

/// The names of the files straight in a folder, in their order.
pub fn names(folder: &str) -> Vec<String> {
    let files = FILES.get_dir(folder).into_iter().flat_map(Dir::files);
    let mut names: Vec<String> = files.map(|file| file.path().display().to_string()).collect();
    names.sort();
    names
}
