//! Whether the library of kinds and cautions holds together: read from the files as they stand, with nothing left out.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use rust_decimal::{Decimal, dec};
use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::GRADES;
use crate::store::grades::is_slug;

/// The drawings that a caution can have beside it.
const SIGNS: [&str; 12] = [
    "shock",
    "glass",
    "poison",
    "fire",
    "dust",
    "radiation",
    "cold",
    "cut",
    "lift",
    "heat",
    "spring",
    "data",
];

/// Stands for a grade where a piece fetches nothing.
const WASTE: &str = "waste";

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Cautions {
    caution: Vec<Caution>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Caution {
    id: String,
    name: String,
    sign: String,
    words: String,
    stop: bool,
    source: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Kind {
    id: String,
    name: String,
    family: String,
    summary: String,
    also_called: Vec<String>,
    confused_with: Vec<Confused>,
    mass_g: Decimal,
    mass_spread_g: Decimal,
    waste_g: Decimal,
    sold_as: Option<String>,
    cautions: Vec<String>,
    #[serde(default)]
    part: Vec<Part>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Confused {
    kind: String,
    how: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Part {
    id: String,
    name: String,
    #[serde(default)]
    of: String,
    #[serde(default = "one")]
    count: u32,
    grade: Option<String>,
    mass_g: Decimal,
    spread_g: Decimal,
    #[serde(default)]
    waste_g: Decimal,
    minutes: Decimal,
    #[serde(default)]
    tools: String,
    #[serde(default)]
    fasteners: String,
    stays_on: Option<String>,
    /// A part beside it that has to be off before.
    behind: Option<String>,
    #[serde(default)]
    cautions: Vec<String>,
    #[serde(default)]
    kept_back: bool,
}

fn one() -> u32 {
    1
}

impl Kind {
    /// What is made of it: the unit itself for an empty `id`.
    fn parts_of<'a>(&'a self, id: &'a str) -> impl Iterator<Item = &'a Part> {
        self.part.iter().filter(move |part| part.of == id)
    }

    fn is_made_of(&self, id: &str) -> Decimal {
        self.parts_of(id).map(|part| part.mass_g * Decimal::from(part.count)).sum()
    }

    /// Of the unit and of everything in it.
    fn all_cautions(&self) -> BTreeSet<&str> {
        let parts = self.part.iter().flat_map(|part| &part.cautions);
        self.cautions.iter().chain(parts).map(String::as_str).collect()
    }

    /// Everything that is said in it.
    fn words(&self) -> String {
        let mut words = vec![self.name.clone(), self.summary.clone()];
        words.extend(self.also_called.iter().cloned());
        words.extend(self.confused_with.iter().map(|other| other.how.clone()));
        for part in &self.part {
            words.extend([part.name.clone(), part.tools.clone(), part.fasteners.clone()]);
        }
        words.join("\n").to_lowercase()
    }
}

fn catalogue() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("seed/catalogue")
}

fn read<T: DeserializeOwned>(path: &Path) -> T {
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    toml::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn cautions() -> Vec<Caution> {
    read::<Cautions>(&catalogue().join("cautions.toml")).caution
}

/// Each kind with the name of its file.
fn kinds() -> Vec<(String, Kind)> {
    let files = std::fs::read_dir(catalogue().join("kinds")).expect("the kinds");
    let paths = files.map(|file| file.expect("a file").path());
    let mut kinds: Vec<_> = paths
        .filter(|path| path.extension().is_some_and(|ext| ext == "toml"))
        .map(|path| (path.file_stem().expect("a name").to_string_lossy().into_owned(), read(&path)))
        .collect();
    kinds.sort_by(|a, b| a.0.cmp(&b.0));
    kinds
}

/// The families of the grades by slug.
fn families() -> BTreeMap<&'static str, &'static str> {
    GRADES.iter().map(|grade| (grade.slug.as_str(), grade.details.family.as_str())).collect()
}

#[test]
fn cautions_say_what_to_do_and_where_that_is_from() {
    let cautions = cautions();
    let ids: BTreeSet<_> = cautions.iter().map(|caution| &caution.id).collect();
    assert_eq!(ids.len(), cautions.len(), "two cautions share an id");
    for caution in &cautions {
        let id = &caution.id;
        assert!(is_slug(id), "{id}");
        assert!(SIGNS.contains(&caution.sign.as_str()), "{id} has no drawing");
        assert!((5..60).contains(&caution.name.len()), "{id}: {}", caution.name);
        assert!((30..300).contains(&caution.words.len()), "{id} says {} bytes", caution.words.len());
        assert!(!caution.source.is_empty(), "{id} has no source");
        let last = caution.words.trim_end_matches('.').rsplit(". ").next().unwrap_or_default().to_lowercase();
        assert_eq!(last.contains("take it"), caution.stop, "{id} ends: {last}");
    }
}

/// The hazards that the trade's public pages name for this work, each with a caution, and those that the law or sense
/// keeps closed. `docs/cautions.md` names the pages.
#[test]
fn the_usual_hazards_are_all_there() {
    let cautions = cautions();
    let stop: BTreeSet<_> = cautions.iter().filter(|c| c.stop).map(|c| c.id.as_str()).collect();
    for id in ["tube-charge", "tube-glass", "mercury-lamp", "refrigerant", "smoke-detector", "oil-capacitor"]
    {
        assert!(stop.contains(id), "{id} may be opened");
    }
    let all: BTreeSet<_> = cautions.iter().map(|c| c.id.as_str()).collect();
    for id in [
        "supply-capacitor",
        "microwave-capacitor",
        "lithium-cell",
        "magnetron-ceramic",
        "toner",
        "no-fire",
        "no-acid",
    ] {
        assert!(all.contains(id), "{id} is not there");
    }
    let used: BTreeSet<String> = kinds()
        .iter()
        .flat_map(|(_, kind)| kind.all_cautions().into_iter().map(str::to_string).collect::<Vec<_>>())
        .collect();
    for id in all {
        assert!(used.contains(id), "no kind has {id}");
    }
    let documented = std::fs::read_to_string(catalogue().join("../../docs/cautions.md")).expect("the page");
    for caution in &cautions {
        assert!(
            documented.contains(&format!("`{}`", caution.id)),
            "docs/cautions.md leaves out {}",
            caution.id
        );
    }
}

#[test]
fn every_name_leads_somewhere() {
    let kinds = kinds();
    assert!(kinds.len() >= 30, "{} kinds", kinds.len());
    let ids: BTreeSet<_> = kinds.iter().map(|(_, kind)| kind.id.as_str()).collect();
    assert_eq!(ids.len(), kinds.len(), "two kinds share an id");
    let names: BTreeSet<_> = kinds.iter().map(|(_, kind)| kind.name.as_str()).collect();
    assert_eq!(names.len(), kinds.len(), "two kinds share a name");
    let cautions = cautions();
    let cautions: BTreeSet<_> = cautions.iter().map(|caution| caution.id.as_str()).collect();
    let families = families();
    let is_grade = |slug: &str| families.contains_key(slug);
    for (file, kind) in &kinds {
        let id = &kind.id;
        assert_eq!(file, id, "a kind's file has its id");
        assert!(is_slug(id) && !kind.family.is_empty() && kind.summary.len() > 20, "{id}");
        assert!(!kind.confused_with.is_empty(), "{id} is confused with nothing");
        for other in &kind.confused_with {
            assert!(ids.contains(other.kind.as_str()), "{id} is confused with {}", other.kind);
            assert!(other.kind != *id && !other.how.is_empty(), "{id}");
        }
        assert!(kind.sold_as.as_deref().is_none_or(is_grade), "{id} is sold as {:?}", kind.sold_as);
        for caution in kind.all_cautions() {
            assert!(cautions.contains(caution), "{id} has the caution {caution}");
        }
        let parts: BTreeSet<_> = kind.part.iter().map(|part| part.id.as_str()).collect();
        assert_eq!(parts.len(), kind.part.len(), "two parts of {id} share an id");
        for part in &kind.part {
            let of = format!("{} of {id}", part.id);
            assert!(is_slug(&part.id) && !part.name.is_empty(), "{of}");
            assert!(part.grade.as_deref().is_none_or(is_grade), "{of} is {:?}", part.grade);
            let stays = |grade: &str| grade == WASTE || is_grade(grade);
            assert!(part.stays_on.as_deref().is_none_or(stays), "{of} stays on {:?}", part.stays_on);
            assert!(part.of.is_empty() || parts.contains(part.of.as_str()), "{of} is part of {}", part.of);
            // A parent stands above its parts, so that nothing can be part of itself in a ring.
            let before = kind.part.iter().take_while(|other| other.id != part.id);
            assert!(part.of.is_empty() || before.into_iter().any(|other| other.id == part.of), "{of}");
            let is_beside = |id: &String| {
                kind.part.iter().any(|other| other.id == *id && other.of == part.of && other.id != part.id)
            };
            assert!(part.behind.as_ref().is_none_or(is_beside), "{of} is behind {:?}", part.behind);
        }
    }
}

#[test]
fn parts_and_waste_make_up_the_whole_to_the_gram() {
    for (_, kind) in kinds() {
        let id = &kind.id;
        assert!(kind.mass_g > Decimal::ZERO && kind.waste_g >= Decimal::ZERO, "{id}");
        assert_eq!(kind.is_made_of("") + kind.waste_g, kind.mass_g, "{id}");
        let spread = kind.mass_spread_g / kind.mass_g;
        assert!((dec!(0.05)..=dec!(0.7)).contains(&spread), "{id} spreads {spread}");
        for part in &kind.part {
            let of = format!("{} of {id}", part.id);
            assert!(part.count > 0 && part.mass_g > Decimal::ZERO && part.spread_g > Decimal::ZERO, "{of}");
            assert!(part.spread_g <= part.mass_g, "{of} spreads more than it weighs");
            assert!((dec!(0)..=dec!(30)).contains(&part.minutes), "{of} takes {} minutes", part.minutes);
            let inside = kind.is_made_of(&part.id);
            if inside.is_zero() {
                assert!(part.waste_g.is_zero(), "{of} has waste and no parts");
            } else {
                assert_eq!(inside + part.waste_g, part.mass_g, "{of}");
            }
            assert!(part.waste_g >= Decimal::ZERO, "{of}");
            assert!(part.grade.is_some() || part.stays_on.is_some(), "{of} is nothing, on or off");
        }
    }
}

/// What a part of some grade can do to a person, and the cautions of which one has to stand beside it.
fn demanded(part: &Part, families: &BTreeMap<&str, &str>) -> &'static [&'static str] {
    match part.grade.as_deref() {
        Some("lithium-ion-pack") => &["lithium-cell"],
        Some("button-cell") => &["coin-cell"],
        Some("lead-acid") => &["lead-acid"],
        Some("nickel-metal-hydride" | "nickel-cadmium") => &["nickel-cell"],
        Some("battery-damaged") => &["battery-damaged"],
        Some(grade) if families.get(grade) == Some(&"batteries") => &["battery-ends"],
        Some("power-supply-whole") => &["supply-capacitor"],
        Some("hard-drive-whole" | "phone-whole" | "laptop-whole") => &["data"],
        Some("drive-optical-whole") => &["laser"],
        Some("magnetron") => &["magnetron-ceramic"],
        Some("toner-cartridge") => &["toner"],
        Some("beryllium-copper") => &["beryllium-copper"],
        _ => &[],
    }
}

/// What the whole kind has to warn of where a part of such a grade is in it.
fn demanded_of_kind(grade: &str) -> &'static [&'static str] {
    match grade {
        "board-power-supply" => &["supply-capacitor", "microwave-capacitor", "backup-live"],
        "connector-gold" | "cpu-fibre" | "cpu-ceramic" | "memory-gold" | "board-phone" => {
            &["no-acid", "lead-dust"]
        }
        "copper-2" | "wire-mains-cord" | "motor-small" => &["no-fire"],
        _ => &[],
    }
}

#[test]
fn what_can_hurt_has_its_caution() {
    let families = families();
    for (_, kind) in kinds() {
        let id = &kind.id;
        assert!(!kind.all_cautions().is_empty(), "{id} has no caution");
        for part in &kind.part {
            let needs = demanded(part, &families);
            let has = |caution: &&str| part.cautions.iter().any(|own| own == caution);
            assert!(needs.is_empty() || needs.iter().any(has), "{} of {id} wants {needs:?}", part.id);
            let needs = part.grade.as_deref().map_or(&[][..], demanded_of_kind);
            let has = |caution: &&str| kind.all_cautions().contains(caution);
            assert!(needs.is_empty() || needs.iter().any(has), "{} in {id} wants {needs:?}", part.id);
        }
        // The general rule of handling is to lift with two from about 25 kg; a bench has fewer hands (common practice,
        // no source).
        assert!(kind.mass_g < dec!(15_000) || kind.all_cautions().contains("heavy"), "{id} is heavy");
        if id.ends_with("lamps") {
            assert!(kind.all_cautions().contains("mercury-lamp"), "{id} has lamps");
        }
    }
}

/// A kind that is not to be opened has nothing but what comes off from outside.
#[test]
fn what_stays_closed_is_not_taken_apart() {
    let cautions = cautions();
    let stops: BTreeSet<_> = cautions.iter().filter(|c| c.stop).map(|c| c.id.as_str()).collect();
    let stopped = |cautions: &[String]| cautions.iter().any(|caution| stops.contains(caution.as_str()));
    let mut closed = 0;
    for (_, kind) in kinds() {
        if stopped(&kind.cautions) {
            closed += 1;
            assert!(kind.part.len() <= 1, "{} is opened", kind.id);
            assert!(
                kind.part.iter().all(|part| ["cord", "battery"].contains(&part.id.as_str())),
                "{}",
                kind.id
            );
        }
        for part in kind.part.iter().filter(|part| stopped(&part.cautions)) {
            assert!(kind.parts_of(&part.id).next().is_none(), "{} of {} is opened", part.id, kind.id);
        }
    }
    assert!(closed >= 5, "only {closed} kinds stay closed");
}

#[test]
fn kept_back_parts_are_those_of_grades_that_are_kept_back() {
    let kept: BTreeSet<_> = GRADES
        .iter()
        .filter(|grade| grade.details.notes.kept_back.is_some())
        .map(|grade| grade.slug.as_str())
        .collect();
    assert!(kept.len() >= 5);
    let mut found = BTreeSet::new();
    for (_, kind) in kinds() {
        for part in &kind.part {
            let grade = part.grade.as_deref().filter(|grade| kept.contains(grade));
            assert_eq!(part.kept_back, grade.is_some(), "{} of {}", part.id, kind.id);
            found.extend(grade.map(str::to_string));
        }
    }
    for slug in ["connector-gold", "contact-silver", "capacitor-ceramic", "capacitor-tantalum", "cpu-fibre"] {
        assert!(found.contains(slug), "nothing gives {slug}");
    }
    for grade in GRADES.iter() {
        let first = &grade.details.notes.keep_back_first;
        for other in first {
            assert!(kept.contains(other.grade.as_str()), "{} keeps back {}", grade.slug, other.grade);
            assert!(!other.tell.is_empty() && other.grade != grade.slug, "{}", grade.slug);
        }
    }
}

/// The two things that must never be advised are named as hazards only, and kinds do not name them at all.
#[test]
fn nothing_advises_fire_or_acid() {
    for (_, kind) in kinds() {
        let words = kind.words();
        for word in
            ["burn", "acid", "torch", "cyanide", "nitric", "smelt", "melt", "bake", "oven-", "hot air"]
        {
            assert!(!words.contains(word), "{} says {word}", kind.id);
        }
    }
    for caution in cautions() {
        for sentence in caution.words.to_lowercase().split_inclusive(['.', ':']) {
            if sentence.contains("burn insulation") || sentence.contains("acid or cyanide") {
                assert!(sentence.contains("never"), "{}: {sentence}", caution.id);
            }
        }
    }
}
