//! The shop's grades, from the seed of the catalogue.

use std::path::Path;

use intake::Grade;
use serde::Deserialize;
use trade::ids::GradeId;

#[derive(Deserialize)]
struct File {
    grade: Vec<Entry>,
}

#[derive(Deserialize)]
struct Entry {
    slug: String,
    name: String,
    family: String,
}

pub fn grades() -> Vec<Grade> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../seed/catalogue/grades.toml");
    let text = std::fs::read_to_string(path).expect("the catalogue");
    let file: File = toml::from_str(&text).expect("its grades");
    let grades = file.grade.into_iter();
    grades.map(|g| Grade { id: GradeId::new(g.slug), name: g.name, family: g.family }).collect()
}
