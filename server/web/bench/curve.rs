//! The curve of a teardown: what is gained by the minute, step by step, with the best place to stop.

use rust_decimal::{Decimal, dec};
use trade::money::Currency;
use trade::teardown::{Depth, Tree};

use super::minutes;
use crate::web::page::money;
use crate::web::thread::{Levels, Tick, along, shown};

/// The plot in drawing units: room for the scale on its left, and for the minutes below.
const LEFT: Decimal = dec!(56);
const RIGHT: Decimal = dec!(346);
const TOP: Decimal = dec!(30);
const BOTTOM: Decimal = dec!(186);

/// A drawing of the gain over the minutes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Curve {
    pub title: String,
    /// The same in words, for those who hear it.
    pub description: String,
    pub levels: Vec<Tick>,
    pub zero: Decimal,
    /// As far as it pays, and on from there.
    pub path: String,
    pub path_beyond: String,
    pub points: Vec<(Decimal, Decimal)>,
    pub points_beyond: Vec<(Decimal, Decimal)>,
    pub stop: Tick,
    /// Whether the word beside the stop stands on its left.
    pub is_right: bool,
    pub last: String,
}

impl Curve {
    /// `None` where there is nothing to take off.
    pub fn new(tree: &Tree, depth: &Depth, home: Currency) -> Option<Curve> {
        let steps = &depth.steps;
        let last = steps.last().filter(|last| last.minutes_so_far > Decimal::ZERO)?;
        let all = last.minutes_so_far;
        let gains = || steps.iter().map(|step| step.gain_so_far).chain([Decimal::ZERO]);
        let levels = Levels::around(gains().min()?, gains().max()?);
        let x = |minutes: Decimal| along(LEFT, RIGHT, minutes, all);
        let y = |gain: Decimal| along(BOTTOM, TOP, gain - levels.low, levels.high - levels.low);
        let start = (x(Decimal::ZERO), y(Decimal::ZERO));
        let places: Vec<(Decimal, Decimal)> =
            steps.iter().map(|step| (x(step.minutes_so_far), y(step.gain_so_far))).collect();
        let (pays, beyond) = places.split_at(depth.stop);
        let stop = pays.last().copied().unwrap_or(start);
        let words: Vec<String> = steps
            .iter()
            .map(|step| {
                let name = &tree.pieces()[step.piece].name;
                format!("{name}: {} after {}.", money(step.gain_so_far, home), minutes(step.minutes_so_far))
            })
            .collect();
        let stops = match depth.stop {
            0 => "It does not pay to begin.".to_string(),
            _ => format!("The best place to stop is after {}.", minutes(depth.minutes())),
        };
        Some(Curve {
            title: format!("What is gained, over {}", minutes(all)),
            description: format!("{stops} {}", words.join(" ")),
            levels: levels.marks().map(|level| Tick { at: y(level), text: shown(level) }).collect(),
            zero: y(Decimal::ZERO),
            path: path(start, pays),
            path_beyond: path(stop, beyond),
            points: pays.to_vec(),
            points_beyond: beyond.to_vec(),
            is_right: stop.0 > (LEFT + RIGHT) / dec!(2),
            stop: Tick {
                at: stop.0,
                text: if depth.stop == 0 { "sell it whole" } else { "stop here" }.into(),
            },
            last: minutes(all),
        })
    }
}

fn path(start: (Decimal, Decimal), places: &[(Decimal, Decimal)]) -> String {
    let mut path = format!("M{} {}", start.0, start.1);
    for (x, y) in places {
        path += &format!("L{x} {y}");
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;
    use trade::ids::{GradeId, PartId};
    use trade::mass::Mass;
    use trade::teardown::{Net, Nets, Piece, depth};

    fn piece(id: &str, grade: &str, grams: i64, minutes: i64) -> Piece {
        Piece {
            id: PartId::new(id),
            name: id.into(),
            grade: (!grade.is_empty()).then(|| GradeId::new(grade)),
            count: 1,
            mass: Mass::from_grams(grams.into()),
            spread: Mass::ZERO,
            minutes: minutes.into(),
            stays_on: None,
            sealed: false,
            behind: None,
        }
    }

    #[test]
    fn the_curve_is_to_scale_and_stops_where_it_is_highest() {
        let parts = vec![(piece("Board", "board", 100, 10), None), (piece("Lid", "", 10, 10), None)];
        let tree = Tree::new(piece("Box", "", 500, 0), parts).unwrap();
        let nets: Nets = [(GradeId::new("board"), Net::PerGram(dec!(0.06)))].into();
        let found = depth(&tree, &nets, dec!(12));
        let curve = Curve::new(&tree, &found, Currency::USD).unwrap();
        // Twenty minutes over 290 units: the board is off half-way, at 6.00 − 2.00, the top of the scale.
        assert_eq!(curve.path, "M56 186L56 186L201 30");
        assert_eq!(curve.path_beyond, "M201 30L346 108");
        assert_eq!((curve.stop.at, curve.stop.text.as_str()), (dec!(201), "stop here"));
        assert!(curve.description.starts_with("The best place to stop is after 10\u{a0}min."));
        let dear = depth(&tree, &nets, dec!(120));
        assert_eq!(Curve::new(&tree, &dear, Currency::USD).unwrap().stop.text, "sell it whole");
        let bare = Tree::new(piece("Box", "", 500, 0), Vec::new()).unwrap();
        assert_eq!(Curve::new(&bare, &depth(&bare, &nets, dec!(12)), Currency::USD), None);
    }
}
