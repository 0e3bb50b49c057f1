//! Whether the library of kinds and cautions holds together, as the program reads it.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::dec;

use super::*;
use crate::catalogue::GRADES;
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

impl CatalogueKind {
    /// The parts, without the unit itself, each with what the library says of it.
    fn parts(&self) -> impl Iterator<Item = (usize, &Piece, &PartNotes)> {
        let parts = self.tree.pieces().iter().enumerate().skip(1);
        parts.map(|(at, piece)| (at, piece, self.note(&piece.id).expect("each part has its notes")))
    }

    fn has(&self, caution: &str) -> bool {
        self.cautions.iter().any(|own| own.id == caution)
    }

    /// Everything that is said in it.
    fn words(&self) -> String {
        let mut words = vec![self.name.clone(), self.summary.clone()];
        words.extend(self.also_called.iter().cloned());
        words.extend(self.confused_with.iter().map(|other| other.how.clone()));
        for (_, piece, notes) in self.parts() {
            words.extend([piece.name.clone(), notes.tools.clone(), notes.fasteners.clone()]);
        }
        words.join("\n").to_lowercase()
    }
}

/// The families of the grades by slug.
fn families() -> BTreeMap<&'static str, &'static str> {
    GRADES.iter().map(|grade| (grade.slug.as_str(), grade.details.family.as_str())).collect()
}

#[test]
fn cautions_say_what_to_do_and_where_that_is_from() {
    let ids: BTreeSet<_> = CAUTIONS.iter().map(|caution| &caution.id).collect();
    assert_eq!(ids.len(), CAUTIONS.len(), "two cautions share an id");
    for caution in CAUTIONS.iter() {
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
    let stop: BTreeSet<_> = CAUTIONS.iter().filter(|c| c.stop).map(|c| c.id.as_str()).collect();
    for id in ["tube-charge", "tube-glass", "mercury-lamp", "refrigerant", "smoke-detector", "oil-capacitor"]
    {
        assert!(stop.contains(id), "{id} may be opened");
    }
    let all: BTreeSet<_> = CAUTIONS.iter().map(|c| c.id.as_str()).collect();
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
    for id in all {
        assert!(KINDS.iter().any(|kind| kind.has(id)), "no kind has {id}");
    }
    let page = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/cautions.md");
    let documented = std::fs::read_to_string(page).expect("the page");
    for caution in CAUTIONS.iter() {
        assert!(
            documented.contains(&format!("`{}`", caution.id)),
            "docs/cautions.md leaves out {}",
            caution.id
        );
    }
}

#[test]
fn every_name_leads_somewhere() {
    assert!(KINDS.len() >= 30, "{} kinds", KINDS.len());
    let ids: BTreeSet<_> = KINDS.iter().flat_map(|kind| kind.formerly.iter().chain([&kind.id])).collect();
    let all: usize = KINDS.iter().map(|kind| 1 + kind.formerly.len()).sum();
    assert_eq!(ids.len(), all, "two kinds share an id");
    let names: BTreeSet<_> = KINDS.iter().map(|kind| kind.name.as_str()).collect();
    assert_eq!(names.len(), KINDS.len(), "two kinds share a name");
    let families = families();
    for kind in KINDS.iter() {
        let id = &kind.id;
        assert!(is_slug(id.as_str()) && !kind.family.is_empty() && kind.summary.len() > 20, "{id}");
        assert!(!kind.confused_with.is_empty(), "{id} is confused with nothing");
        for other in &kind.confused_with {
            assert!(KINDS.iter().any(|kind| kind.id == other.kind), "{id} is confused with {}", other.kind);
            assert!(other.kind != *id && !other.how.is_empty(), "{id}");
        }
        for grade in grades_of(&kind.tree) {
            assert!(families.contains_key(grade.as_str()), "{id}: {grade} is no grade");
        }
        for (_, piece, _) in kind.parts() {
            assert!(is_slug(piece.id.as_str()) && !piece.name.is_empty(), "{} of {id}", piece.id);
        }
    }
}

/// That parts and waste make up the whole to the gram is asked when the files are read.
#[test]
fn figures_are_such_as_can_be() {
    for kind in KINDS.iter() {
        let (id, unit) = (&kind.id, kind.tree.unit());
        assert!(unit.mass.is_positive(), "{id}");
        let spread = unit.spread.grams() / unit.mass.grams();
        assert!((dec!(0.05)..=dec!(0.7)).contains(&spread), "{id} spreads {spread}");
        for (_, part, _) in kind.parts() {
            let of = format!("{} of {id}", part.id);
            assert!(part.mass.is_positive() && part.spread.is_positive(), "{of}");
            assert!(part.spread <= part.mass, "{of} spreads more than it weighs");
            assert!((dec!(0)..=dec!(30)).contains(&part.minutes), "{of} takes {} minutes", part.minutes);
        }
    }
}

/// What a part of some grade can do to a person, and the cautions of which one has to stand beside it.
fn demanded(part: &Piece, families: &BTreeMap<&str, &str>) -> &'static [&'static str] {
    match part.grade.as_ref().map(GradeId::as_str) {
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
    for kind in KINDS.iter() {
        let id = &kind.id;
        assert!(!kind.cautions.is_empty(), "{id} has no caution");
        for (_, part, notes) in kind.parts() {
            let needs = demanded(part, &families);
            let has = |caution: &&str| notes.cautions.iter().any(|own| own.id == **caution);
            assert!(needs.is_empty() || needs.iter().any(has), "{} of {id} wants {needs:?}", part.id);
            let needs = part.grade.as_ref().map_or(&[][..], |grade| demanded_of_kind(grade.as_str()));
            let has = |caution: &&str| kind.has(caution);
            assert!(needs.is_empty() || needs.iter().any(has), "{} in {id} wants {needs:?}", part.id);
        }
        // The general rule of handling is to lift with two from about 25 kg; a bench has fewer hands (common practice,
        // no source).
        assert!(kind.tree.unit().mass.grams() < dec!(15_000) || kind.has("heavy"), "{id} is heavy");
        if id.as_str().ends_with("lamps") {
            assert!(kind.has("mercury-lamp"), "{id} has lamps");
        }
    }
}

/// A kind that is not to be opened has nothing but what comes off from outside.
#[test]
fn what_stays_closed_is_not_taken_apart() {
    let mut closed = 0;
    for kind in KINDS.iter() {
        if kind.is_closed {
            closed += 1;
            assert!(kind.parts().count() <= 1, "{} is opened", kind.id);
            let outside = |part: &Piece| ["cord", "battery"].contains(&part.id.as_str());
            assert!(kind.parts().all(|(_, part, _)| outside(part)), "{}", kind.id);
        }
        for (at, part, notes) in kind.parts() {
            if notes.cautions.iter().any(|caution| caution.stop) {
                assert!(part.sealed && kind.tree.parts_of(at).next().is_none(), "{} of {}", part.id, kind.id);
            }
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
    for kind in KINDS.iter() {
        for (_, part, notes) in kind.parts() {
            let grade = part.grade.as_ref().map(GradeId::as_str).filter(|grade| kept.contains(grade));
            assert_eq!(notes.kept_back, grade.is_some(), "{} of {}", part.id, kind.id);
            found.extend(grade);
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
    for kind in KINDS.iter() {
        let words = kind.words();
        for word in
            ["burn", "acid", "torch", "cyanide", "nitric", "smelt", "melt", "bake", "oven-", "hot air"]
        {
            assert!(!words.contains(word), "{} says {word}", kind.id);
        }
    }
    for caution in CAUTIONS.iter() {
        for sentence in caution.words.to_lowercase().split_inclusive(['.', ':']) {
            if sentence.contains("burn insulation") || sentence.contains("acid or cyanide") {
                assert!(sentence.contains("never"), "{}: {sentence}", caution.id);
            }
        }
    }
}

/// A kind of ten grams, one of them waste, with parts as they are written down.
fn written(id: &str, more: &str) -> Result<CatalogueKind, String> {
    read_kind(&format!(
        "id = \"{id}\"\nname = \"A\"\nfamily = \"f\"\nsummary = \"s\"\nmass_g = 10\nmass_spread_g = 1.5\n\
         waste_g = 1\n{more}"
    ))
}

fn part(id: &str, grams: u32, more: &str) -> String {
    format!(
        "[[part]]\nid = \"{id}\"\nname = \"P\"\ngrade = \"g\"\nmass_g = {grams}\nspread_g = 1\nminutes = 0.5\n{more}\n"
    )
}

#[test]
fn a_kind_that_cannot_be_is_told_and_not_taken() {
    let good = written("a", &part("p", 9, "")).unwrap();
    assert_eq!(good.tree.pieces()[1].minutes, dec!(0.5));
    assert_eq!(good.tree.unit().spread.grams(), dec!(1.5));
    let refused = |more: &str| written("a", more).unwrap_err();
    assert!(refused("cautions = [\"no-such\"]").contains("no-such is no caution"));
    assert!(refused("colour = \"red\"").contains("colour"));
    assert!(refused(&part("a", 9, "")).contains("two pieces are called a"));
    assert!(refused(&part("p", 8, "")).contains("the parts of a leave 2 g, not 1"));
    assert!(refused(&part("p", 11, "")).contains("leave -1 g"));
    let within = part("p", 9, "waste_g = 2") + &part("q", 6, "of = \"p\"");
    assert!(refused(&within).contains("the parts of p leave 3 g, not 2"));
    assert!(refused(&part("p", 9, "waste_g = 2")).contains("the parts of p leave 0 g, not 2"));
    assert!(refused(&part("p", 9, "").replace("grade", "tools")).contains("p is nothing, on or off"));
}

#[test]
fn what_a_part_is_behind_is_beside_it() {
    let both = |of: &str, behind: &str| {
        part("lid", 4, "")
            + &part("p", 5, "waste_g = 3")
            + &part("q", 2, &format!("of = \"{of}\"\nbehind = \"{behind}\""))
    };
    // The lid is off the unit, and what it is asked of is in p.
    let told = written("a", &both("p", "lid")).unwrap_err();
    assert!(told.contains("q is behind lid, which is not beside it"), "{told}");
    let beside = part("lid", 4, "") + &part("p", 5, "behind = \"lid\"");
    assert_eq!(written("a", &beside).unwrap().tree.behind(2), Some(1));
}

/// Of a kind that was merged with another the ids lead to the one that is left.
#[test]
fn an_id_that_a_kind_had_before_leads_to_it() {
    let kinds = [
        written("tower", &("formerly = [\"minitower\", \"big-box\"]\n".to_string() + &part("p", 9, "")))
            .unwrap(),
        written("minitower-2", &part("p", 9, "")).unwrap(),
    ];
    let leads = |id: &str| among(&kinds, &KindId::new(id)).map(|kind| kind.id.to_string());
    assert_eq!(leads("big-box").as_deref(), Some("tower"));
    assert_eq!(leads("minitower").as_deref(), Some("tower"));
    assert_eq!(leads("minitower-2").as_deref(), Some("minitower-2"));
    assert_eq!(leads("no-such"), None);
}
