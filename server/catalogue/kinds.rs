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
    /// Whether a caution says that the unit itself is not to be opened here.
    pub fn is_closed(&self) -> bool {
        let of_parts: BTreeSet<&str> = self
            .notes
            .values()
            .flat_map(|notes| &notes.cautions)
            .map(|caution| caution.id.as_str())
            .collect();
        self.cautions.iter().any(|caution| caution.stop && !of_parts.contains(caution.id.as_str()))
    }

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
    /// What remains without value. The masses say the same; a test compares.
    #[expect(dead_code, reason = "for who reads the file")]
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
    #[expect(dead_code, reason = "for who reads the file")]
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
        let text = file.contents_utf8().unwrap_or_default();
        read_kind(text).unwrap_or_else(|problem| {
            panic!("{} is part of the binary, and a test reads it: {problem}", file.path().display())
        })
    };
    let mut kinds: Vec<CatalogueKind> = files.map(read).collect();
    kinds.sort_by(|one, other| (&one.family, &one.name).cmp(&(&other.family, &other.name)));
    kinds
});

/// The kind with this id, or the one that has taken its place.
pub fn kind(id: &KindId) -> Option<&'static CatalogueKind> {
    KINDS.iter().find(|kind| kind.id == *id).or_else(|| KINDS.iter().find(|kind| kind.formerly.contains(id)))
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
    let mut notes = BTreeMap::new();
    let mut parts = Vec::new();
    for part in file.part {
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
    Ok(CatalogueKind {
        tree: Tree::new(unit, parts).map_err(|problem| problem.to_string())?,
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
mod tests {
    use super::*;
    use crate::catalogue::GRADES;

    #[test]
    fn the_library_holds_together() {
        assert!(CAUTIONS.iter().all(|caution| !caution.words.is_empty() && !caution.source.is_empty()));
        for kind in KINDS.iter() {
            for grade in grades_of(&kind.tree) {
                assert!(GRADES.iter().any(|known| known.slug == *grade), "{}: {grade} is no grade", kind.id);
            }
            for at in 0..kind.tree.pieces().len() {
                assert!(
                    !kind.tree.waste_of(at).is_negative() || kind.tree.parts_of(at).next().is_none(),
                    "{}",
                    kind.id
                );
            }
            for other in &kind.confused_with {
                assert!(KINDS.iter().any(|known| known.id == other.kind), "{}: {}", kind.id, other.kind);
            }
        }
        let mut ids: Vec<&KindId> =
            KINDS.iter().flat_map(|kind| std::iter::once(&kind.id).chain(&kind.formerly)).collect();
        ids.sort();
        assert!(ids.windows(2).all(|pair| pair[0] != pair[1]), "two kinds have one id");
    }

    #[test]
    fn a_kind_that_cannot_be_is_told_and_not_taken() {
        let kind = |more: &str| {
            read_kind(&format!(
                "id = \"a\"\nname = \"A\"\nfamily = \"f\"\nsummary = \"s\"\nmass_g = 10\nmass_spread_g = 1.5\n\
                 waste_g = 0\n{more}"
            ))
        };
        let good =
            kind("[[part]]\nid = \"p\"\nname = \"P\"\nmass_g = 4\nspread_g = 1\nminutes = 0.5\n").unwrap();
        assert_eq!(good.tree.pieces()[1].minutes, rust_decimal::dec!(0.5));
        assert_eq!(good.tree.unit().spread.grams(), rust_decimal::dec!(1.5));
        assert!(kind("cautions = [\"no-such\"]").unwrap_err().contains("no-such is no caution"));
        assert!(kind("colour = \"red\"").is_err());
        let twice = "[[part]]\nid = \"a\"\nname = \"P\"\nmass_g = 4\nspread_g = 1\nminutes = 1\n";
        assert!(kind(twice).unwrap_err().contains("two pieces are called a"));
    }
}
