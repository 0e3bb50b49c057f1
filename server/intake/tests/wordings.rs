//! Wordings of every grade in eight languages, and how many of them are proposed right, asked about, and wrong.
//!
//! `SCORES=1` tells each that is not proposed right, and `SCORES_WORDINGS` scores another file of them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use intake::{Catalogue, Learned};

#[derive(Debug, Default)]
struct Score {
    graded: usize,
    right: usize,
    wrong: usize,
    /// Wordings of none of the shop's grades, and those of them that are proposed as one.
    none: usize,
    taken: usize,
}

/// `language, heading, wording, grade`, parted by tabs; `-` is none of the shop's grades.
#[test]
fn wordings_of_every_grade() {
    let own = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/wordings.tsv");
    let other = std::env::var_os("SCORES_WORDINGS").map(PathBuf::from);
    let path = other.clone().unwrap_or_else(own);
    let text = std::fs::read_to_string(path).unwrap();
    let catalogue = Catalogue::new(super::seed::grades());
    let mut scores: BTreeMap<&str, Score> = BTreeMap::new();
    for line in text.lines() {
        let [language, heading, wording, grade] = line.split('\t').collect::<Vec<_>>().try_into().unwrap();
        let heading = Some(heading).filter(|heading| !heading.is_empty());
        let found = catalogue.propose(&Learned::default(), wording, heading);
        let proposed = found.grade.as_ref().filter(|_| found.is_sure()).map(|grade| grade.as_str());
        let score = scores.entry(language).or_default();
        if grade == "-" {
            score.none += 1;
            score.taken += usize::from(proposed.is_some());
        } else {
            score.graded += 1;
            score.right += usize::from(proposed == Some(grade));
            score.wrong += usize::from(proposed.is_some_and(|proposed| proposed != grade));
        }
        let expect = Some(grade).filter(|grade| *grade != "-");
        if proposed != expect && std::env::var_os("SCORES").is_some() {
            println!("{language} {wording} < {heading:?}: {proposed:?} not {expect:?} ({})", found.score);
        }
    }
    assert!(scores.len() == 8 || other.is_some());
    for (language, Score { graded, right, wrong, none, taken }) in scores {
        println!(
            "{language}: {right} of {graded} right, {wrong} wrong; {taken} of {none} others taken for a grade"
        );
        if other.is_some() {
            continue;
        }
        assert!(graded >= 200 && none >= 30, "{language}");
        assert!(right * 100 >= graded * 92, "{language}: {right} of {graded} right");
        assert!(wrong * 100 <= graded, "{language}: {wrong} of {graded} wrong");
        assert!(taken * 100 <= none * 3, "{language}: {taken} of {none} taken for a grade");
    }
}
