//! One set from each of several grades, so that their gains less a cost that steps up with their total size are most.
//!
//! A multiple-choice knapsack, solved exactly: partial choices, grade after grade, of which none is both larger and
//! gains less than another, and none can still beat the best whole choice known. What the grades to come can add is
//! bounded at a few prices per size: at a price, every grade decides alone, and the cost lies above a straight line.

/// A choice within one grade.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Piece {
    pub size: f64,
    pub gain: f64,
}

/// Up to `cap` in size it costs `cost`; ascending in both, the last cap is infinite.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    pub cap: f64,
    pub cost: f64,
}

/// The prices that bounds are taken at, as shares of the relaxed problem's.
const PRICES: [f64; 4] = [1.0, 0.0, 0.7, 1.5];

/// Room for rounding, as a share, under the value of the best choice known.
const ROOM: f64 = 1e-12;

/// Partial choices after which the search gives up.
const MOST_PARTIAL: usize = 3_000;

#[derive(Debug, Clone, Copy)]
struct Partial {
    size: f64,
    gain: f64,
    /// The choice taken last, and the partial choice before it.
    choice: usize,
    before: usize,
}

/// A price per size with what the grades from each one on gain beyond it, and by how much the cost lies above it.
struct Line {
    price: f64,
    ahead: Vec<f64>,
    above: f64,
}

/// The most gained, and the choice in every grade, of which none may be without choices; they ascend in size and gain.
/// `None` where it would take too long. At `price` per size the best of the relaxed problem was found.
pub(super) fn best(grades: &[&[Piece]], steps: &[Step], price: f64) -> Option<(f64, Vec<usize>)> {
    let mut lines: Vec<Line> = PRICES.iter().map(|share| Line::new(share * price, grades)).collect();
    let known = climb(grades, steps, price);
    let known = known - ROOM * (1.0 + known.abs());
    let (steps, from) = worthwhile(steps, &lines, known);
    let to = steps.last()?.cap;
    for line in &mut lines {
        line.rest_on(&steps, total(grades, |choices| choices.last()));
    }
    let mut levels = vec![vec![Partial { size: 0.0, gain: 0.0, choice: 0, before: 0 }]];
    for (level, choices) in grades.iter().enumerate() {
        let ahead = &grades[level + 1..];
        let (least, most) = (total(ahead, |choices| choices.first()), total(ahead, |choices| choices.last()));
        let bars: Vec<(f64, f64)> =
            lines.iter().map(|line| (line.price, known + line.above - line.ahead[level + 1])).collect();
        let mut next = Vec::new();
        for (before, partial) in levels[level].iter().enumerate() {
            for (choice, piece) in choices.iter().enumerate() {
                let (size, gain) = (partial.size + piece.size, partial.gain + piece.gain);
                if size + least > to {
                    break;
                }
                if size + most >= from && bars.iter().all(|(price, bar)| gain - price * size > *bar) {
                    next.push(Partial { size, gain, choice, before });
                }
            }
        }
        next.sort_unstable_by(|a, b| a.size.total_cmp(&b.size).then(b.gain.total_cmp(&a.gain)));
        let mut highest = f64::NEG_INFINITY;
        next.retain(|partial| {
            let better = partial.gain > highest;
            highest = highest.max(partial.gain);
            better
        });
        if next.len() > MOST_PARTIAL {
            return None;
        }
        levels.push(next);
    }
    let value = |partial: &Partial| partial.gain - cost(&steps, partial.size);
    let last = levels.last()?.iter().enumerate();
    let (mut at, best) = last.max_by(|a, b| value(a.1).total_cmp(&value(b.1)))?;
    let gain = value(best);
    let mut picks = vec![0; grades.len()];
    for level in (0..grades.len()).rev() {
        let partial = levels[level + 1][at];
        picks[level] = partial.choice;
        at = partial.before;
    }
    Some((gain, picks))
}

/// The value of a good choice: each grade's best at the price, then one grade after the other changed for the better.
fn climb(grades: &[&[Piece]], steps: &[Step], price: f64) -> f64 {
    let at_price = |choice: &Piece| choice.gain - price * choice.size;
    let best = |choices: &&[Piece]| {
        choices.iter().copied().max_by(|a, b| at_price(a).total_cmp(&at_price(b))).unwrap_or_default()
    };
    let mut picks: Vec<Piece> = grades.iter().map(best).collect();
    let mut value = f64::NEG_INFINITY;
    loop {
        let before = value;
        for (level, choices) in grades.iter().enumerate() {
            let others = || picks.iter().enumerate().filter(|(other, _)| *other != level);
            let size: f64 = others().map(|(_, pick)| pick.size).sum();
            let gain: f64 = others().map(|(_, pick)| pick.gain).sum();
            let mut best = None;
            for choice in *choices {
                let with = gain + choice.gain - cost(steps, size + choice.size);
                if with > value {
                    value = with;
                    best = Some(*choice);
                }
            }
            if let Some(best) = best {
                picks[level] = best;
            }
        }
        if value <= before {
            return value;
        }
    }
}

fn cost(steps: &[Step], size: f64) -> f64 {
    let at = steps.partition_point(|step| step.cap < size);
    steps.get(at).map_or(f64::INFINITY, |step| step.cost)
}

/// The steps under which more than `known` may be gained, and the size at which the first of them begins.
fn worthwhile(steps: &[Step], lines: &[Line], known: f64) -> (Vec<Step>, f64) {
    let under = |step: &Step| {
        let gains = lines.iter().map(|line| match line.price > 0.0 {
            true => line.ahead[0] + line.price * step.cap,
            false => line.ahead[0],
        });
        gains.fold(f64::INFINITY, f64::min) - step.cost
    };
    let first = steps.iter().position(|step| under(step) > known).unwrap_or(steps.len());
    let from = first.checked_sub(1).map_or(0.0, |before| steps[before].cap);
    (steps[first..].iter().copied().filter(|step| under(step) > known).collect(), from)
}

fn total(grades: &[&[Piece]], of: impl Fn(&[Piece]) -> Option<&Piece>) -> f64 {
    grades.iter().filter_map(|choices| of(choices)).map(|choice| choice.size).sum()
}

impl Line {
    fn new(price: f64, grades: &[&[Piece]]) -> Self {
        let mut ahead = vec![0.0; grades.len() + 1];
        for (level, choices) in grades.iter().enumerate().rev() {
            let gains = choices.iter().map(|choice| choice.gain - price * choice.size);
            ahead[level] = ahead[level + 1] + gains.fold(f64::NEG_INFINITY, f64::max);
        }
        Line { price, ahead, above: f64::NEG_INFINITY }
    }

    /// Raises the line until it rests on the steps.
    fn rest_on(&mut self, steps: &[Step], largest: f64) {
        let corners = steps.iter().map(|step| step.cost - self.price * step.cap.min(largest));
        self.above = corners.fold(f64::INFINITY, f64::min);
    }
}
