//! Wordings as outlets write them, and the grade each must be proposed as.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use intake::{Catalogue, How, Learned, Proposal};
use trade::ids::GradeId;

/// Each line of `cases` is `wording [< heading] = grade`, with `?` for one that must be asked about.
fn check(cases: &str) {
    let grades = super::seed::grades();
    let catalogue = Catalogue::new(grades);
    let mut wrong = Vec::new();
    for case in cases.lines().map(str::trim).filter(|line| !line.is_empty()) {
        let (said, expect) = case.split_once(" = ").unwrap();
        let (wording, group) = said.split_once(" < ").map_or((said, None), |(w, g)| (w, Some(g)));
        let proposal = catalogue.propose(&Learned::default(), wording, group);
        let shown = match &proposal.grade {
            Some(grade) if proposal.is_sure() => grade.as_str(),
            _ => "?",
        };
        if shown != expect.trim() {
            wrong.push(format!("{case}   got {shown}: {proposal:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn usual_names() {
    check(
        "
        Bare bright = copper-bright
        #1 Bare Bright = copper-bright
        #1 copper = copper-1
        No. 1 < Copper = copper-1
        Copper, No. 2 (mixed) = copper-2
        #2 cu = copper-2
        No. 2 < COPPER = copper-2
        Light < Copper = copper-light
        Light iron = steel-light
        Light iron < STEEL = steel-light
        Shred = steel-light
        HMS #1 = steel-heavy
        Clean extrusion < ALUMINUM = extrusion-clean
        Extrusion 6063, clean = extrusion-clean
        Painted extrusion = extrusion-painted
        Extrusion painted < Aluminum = extrusion-painted
        Cast < Aluminum = cast-aluminium
        Irony aluminum = aluminium-breakage
        dirty alum breakage = aluminium-breakage
        Yellow < Brass = brass-yellow
        brass yellow = brass-yellow
        romex = wire-60
        60% insulated wire = wire-60
        80 % THHN = wire-80
        xmas lights = ?
        Cat5 wire = cable-network
        304 stainless = stainless
        Motherboards = board-desktop
        Motherboards, clean = board-desktop
        Server boards = board-server
        Laptop motherboards = board-laptop
        Hard drive boards = board-hard-drive
        Hard drives = hard-drive-whole
        Telecom boards = board-network
        Low grade brown = board-brown
        RAM, gold edge = memory-gold
        Fibre CPUs = cpu-fibre
        Ceramic CPU < Processors = cpu-ceramic
        Phone boards = board-phone
        Laptops (whole) = laptop-whole
        Laptops, no battery = laptop-whole
        Tube TVs = monitor-tube-whole
        CRT monitors = monitor-tube-whole
        Electric motors (small) = motor-small
        Copper transformers = transformer
        Alkaline batteries = dry-cell
        Lead acid < Batteries = lead-acid
        Kupfer blank = copper-bright
        gemischt < Kupfer = copper-2
        Mischschrott = steel-light
        ",
    );
}

/// Code words of the Scrap Specifications Circular (ISRI): Barley, Berry, Birch and Cliff as in its public notice of
/// 29 March 2017; Toto and Tense as in its aluminium pages; Honey from memory.
#[test]
fn code_words() {
    check(
        "
        Barley = copper-bright
        Copper (Birch/Cliff) = copper-2
        Berry < Copper = copper-1
        Toto < Aluminum = extrusion-clean
        Tense < Aluminum = cast-aluminium
        Honey < Brass = brass-yellow
        ",
    );
}

#[test]
fn what_contradicts_is_never_proposed() {
    check(
        "
        No. 3 brass = ?
        #2 yellow brass = ?
        Insulated wire = ?
        Insulated copper wire 40% = ?
        50 % insulated wire = ?
        Copper wire = ?
        Copper cable, mixed = ?
        Kupferkabel, gemischt = ?
        Mixed copper cable = ?
        Aluminum wire = ?
        Painted heatsinks = ?
        Red brass = ?
        Dirty brass = ?
        Brass radiators = ?
        Aluminum rims = ?
        Aluminum cans = ?
        Tinned brass = ?
        Inkjet printer boards no memory = ?
        Hard drives without boards = ?
        Broken laptops = ?
        Tablets = ?
        Catalytic converters = ?
        Silver RAM = ?
        Insulated aluminum wire = wire-aluminium
        Heatsinks < Copper = heatsink-copper
        ",
    );
}

#[test]
fn learned_meanings_come_first() {
    let grades = super::seed::grades();
    let catalogue = Catalogue::new(grades);
    let meaning = |grade: &str| Some(GradeId::from(grade));
    let learned = Learned::new([
        (Learned::key("Motherboards", None), meaning("board-server")),
        (Learned::key("No. 2", Some("House wire")), meaning("wire-60")),
        (Learned::key("Freight", None), None),
        (Learned::key("Gone", None), meaning("no-such-grade")),
    ]);
    let show = |wording, group| {
        let Proposal { grade, score, why } = catalogue.propose(&learned, wording, group);
        format!("{} {score} {why:?}", grade.as_ref().map_or("-", GradeId::as_str))
    };
    assert_eq!(show("MOTHERBOARDS.", Some("Boards")), "board-server 100 Learned");
    assert_eq!(show("#2", Some("house wire")), "wire-60 100 Learned");
    assert_eq!(show("No. 2", Some("Copper")), "copper-2 100 Exact");
    assert_eq!(show("freight", None), "- 100 LearnedIgnored");
    assert_eq!(show("Gone", None), "- 0 Scored");
    assert_eq!(catalogue.propose(&learned, "Barley wire", None).why, How::CodeWord);
}

#[test]
fn every_name_of_the_catalogue_means_itself() {
    let grades = super::seed::grades();
    let catalogue = Catalogue::new(grades.clone());
    for grade in grades {
        let proposal = catalogue.propose(&Learned::default(), &grade.name, None);
        assert_eq!((proposal.grade, proposal.why), (Some(grade.id), How::Exact), "{}", grade.name);
    }
}
