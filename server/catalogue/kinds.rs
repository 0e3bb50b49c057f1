//! The library of kinds of units, and of cautions: readable files in `seed/catalogue`, part of the binary.
//!
//! Masses and minutes in it are the project's own estimates, until the shop's own teardowns replace them.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use include_dir::{Dir, include_dir};
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::ids::{GradeId, KindId, PartId};
use trade::mass::Mass;
use trade::teardown::{Piece, Tree};

static FILES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/seed/catalogue");

/// Stands for a grade where a piece brings nothing if it is left on. No grade is called so.
const WASTE: &str = "waste";

/// What can hurt, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    pub id: String,
    pub name: String,
    /// The drawing beside it.
    pub sign: String,
    pub words: String,
    /// What it is about is not to be opened here.
    pub stop: bool,
    pub source: String,
}

/// A kind of unit with everything that the library says of it.
#[derive(Debug, Clone)]
pub struct CatalogueKind {
    pub id: KindId,
    pub name: String,
    pub family: String,
    pub summary: String,
    pub also_called: Vec<String>,
    pub confused_with: Vec<ConfusedKind>,
    /// Of the unit and of everything in it, those first that say not to open it.
    pub cautions: Vec<&'static Caution>,
    /// Whether a caution says that the unit itself is not to be opened here.
    pub is_closed: bool,
    pub tree: Tree,
    pub notes: BTreeMap<PartId, PartNotes>,
    /// Ids that it, or a kind that it was merged with, had before.
    pub formerly: Vec<KindId>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConfusedKind {
    pub kind: KindId,
    pub how: String,
}

/// What the library says of a part, besides its figures.
#[derive(Debug, Clone, Default)]
pub struct PartNotes {
    pub tools: String,
    pub fasteners: String,
    pub cautions: Vec<&'static Caution>,
    /// Small and precious: it goes into its own vial or bag.
    pub kept_back: bool,
}

impl CatalogueKind {
    pub fn note(&self, part: &PartId) -> Option<&PartNotes> {
        self.notes.get(part)
    }
}

#[derive(Deserialize)]
struct CautionsFile {
    caution: Vec<Caution>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct KindFile {
    id: KindId,
    name: String,
    family: String,
    summary: String,
    #[serde(default)]
    also_called: Vec<String>,
    #[serde(default)]
    confused_with: Vec<ConfusedKind>,
    mass_g: Decimal,
    mass_spread_g: Decimal,
    /// What remains without value: written down for who reads the file, and has to be what the masses say.
    waste_g: Decimal,
    sold_as: Option<GradeId>,
    #[serde(default)]
    cautions: Vec<String>,
    #[serde(default)]
    formerly: Vec<KindId>,
    #[serde(default)]
    part: Vec<PartFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PartFile {
    id: PartId,
    name: String,
    of: Option<PartId>,
    #[serde(default = "one")]
    count: u32,
    grade: Option<GradeId>,
    mass_g: Decimal,
    spread_g: Decimal,
    #[serde(default)]
    waste_g: Decimal,
    minutes: Decimal,
    #[serde(default)]
    tools: String,
    #[serde(default)]
    fasteners: String,
    stays_on: Option<GradeId>,
    /// A part beside it that has to be off before.
    behind: Option<PartId>,
    #[serde(default)]
    cautions: Vec<String>,
    #[serde(default)]
    kept_back: bool,
}

fn one() -> u32 {
    1
}

/// All cautions, in the order of their file.
pub static CAUTIONS: LazyLock<Vec<Caution>> = LazyLock::new(|| {
    let text = FILES.get_file("cautions.toml").and_then(|file| file.contents_utf8()).unwrap_or_default();
    let file: Result<CautionsFile, _> = toml::from_str(text);
    file.expect("the cautions are part of the binary, and a test reads them").caution
});

/// All kinds, by family and name.
pub static KINDS: LazyLock<Vec<CatalogueKind>> = LazyLock::new(|| {
    let files = FILES.get_dir("kinds").into_iter().flat_map(Dir::files);
    let read = |file: &include_dir::File<'_>| {
        let path = file.path();
        let kind = read_kind(file.contents_utf8().unwrap_or_default());
        let named = kind.and_then(|kind| match path.file_stem().and_then(|stem| stem.to_str()) {
            Some(stem) if stem == kind.id.as_str() => Ok(kind),
            _ => Err("its file is not called as its id".to_string()),
        });
        named.unwrap_or_else(|problem| {
            panic!("{} is part of the binary, and a test reads it: {problem}", path.display())
        })
    };
    let mut kinds: Vec<CatalogueKind> = files.map(read).collect();
    kinds.sort_by(|one, other| (&one.family, &one.name).cmp(&(&other.family, &other.name)));
    kinds
});

/// The kind with this id, or the one that has taken its place.
pub fn kind(id: &KindId) -> Option<&'static CatalogueKind> {
    among(&KINDS, id)
}

fn among<'a>(kinds: &'a [CatalogueKind], id: &KindId) -> Option<&'a CatalogueKind> {
    kinds.iter().find(|kind| kind.id == *id).or_else(|| kinds.iter().find(|kind| kind.formerly.contains(id)))
}

fn cautions(ids: &[String]) -> Result<Vec<&'static Caution>, String> {
    let find = |id: &String| {
        CAUTIONS.iter().find(|caution| caution.id == *id).ok_or_else(|| format!("{id} is no caution"))
    };
    ids.iter().map(find).collect()
}

fn read_kind(text: &str) -> Result<CatalogueKind, String> {
    let file: KindFile = toml::from_str(text).map_err(|problem| problem.to_string())?;
    let unit = Piece {
        id: PartId::new(file.id.as_str()),
        name: file.name.clone(),
        grade: file.sold_as,
        count: 1,
        mass: Mass::from_grams(file.mass_g),
        spread: Mass::from_grams(file.mass_spread_g),
        minutes: Decimal::ZERO,
        stays_on: None,
        // The parts of a unit that is not to be opened are those on its outside.
        sealed: false,
        behind: None,
    };
    let mut all = cautions(&file.cautions)?;
    let is_closed = all.iter().any(|caution| caution.stop);
    let mut notes = BTreeMap::new();
    let mut parts = Vec::new();
    let mut waste = BTreeMap::from([(unit.id.clone(), file.waste_g)]);
    for part in file.part {
        if part.grade.is_none() && part.stays_on.is_none() {
            return Err(format!("{} is nothing, on or off", part.id));
        }
        waste.insert(part.id.clone(), part.waste_g);
        let of_part = cautions(&part.cautions)?;
        all.extend(of_part.iter().copied().filter(|caution| !file.cautions.contains(&caution.id)));
        let piece = Piece {
            id: part.id.clone(),
            name: part.name,
            grade: part.grade,
            count: part.count,
            mass: Mass::from_grams(part.mass_g),
            spread: Mass::from_grams(part.spread_g),
            minutes: part.minutes,
            stays_on: part.stays_on.or_else(|| part.of.is_none().then(|| GradeId::new(WASTE))),
            sealed: of_part.iter().any(|caution| caution.stop),
            behind: part.behind,
        };
        let PartFile { id, of, tools, fasteners, kept_back, .. } = part;
        notes.insert(id, PartNotes { tools, fasteners, cautions: of_part, kept_back });
        parts.push((piece, of.filter(|of| !of.as_str().is_empty())));
    }
    let mut seen = BTreeSet::new();
    all.retain(|caution| seen.insert(&caution.id));
    all.sort_by_key(|caution| !caution.stop);
    let tree = Tree::new(unit, parts).map_err(|problem| problem.to_string())?;
    for (at, piece) in tree.pieces().iter().enumerate() {
        let is_made_of = tree.parts_of(at).next().is_some() || at == 0;
        let left = if is_made_of { tree.waste_of(at) } else { Mass::ZERO };
        let said = waste.get(&piece.id).copied().unwrap_or_default();
        if left != Mass::from_grams(said) || left.is_negative() {
            return Err(format!("the parts of {} leave {} g, not {said}", piece.id, left.grams()));
        }
    }
    Ok(CatalogueKind {
        tree,
        is_closed,
        id: file.id,
        name: file.name,
        family: file.family,
        summary: file.summary,
        also_called: file.also_called,
        confused_with: file.confused_with,
        cautions: all,
        notes,
        formerly: file.formerly,
    })
}

/// Grades of a tree; what is left on as waste is of none.
pub fn grades_of(tree: &Tree) -> BTreeSet<&GradeId> {
    let grades = tree.pieces().iter().flat_map(|piece| [&piece.grade, &piece.stays_on]).flatten();
    grades.filter(|grade| grade.as_str() != WASTE).collect()
}

#[cfg(test)]
mod tests;
