//! A small linear program that is solved again and again with more columns: maximise `cost · λ` where
//! `Σ column · λ ≤ limit` row by row, and nothing is negative.
//!
//! The revised simplex method with the inverse of the basis held whole (Dantzig 1951; Chvátal, *Linear Programming*,
//! chapter 7). The limits are not negative, so the slacks are where it starts, and it goes on from its last basis when
//! columns are added. What the search concludes does not rest on this arithmetic: it reads off prices here, and what the
//! prices prove is worked out anew.

/// A reduced cost or a pivot below this is none.
const NOTHING: f64 = 1e-9;

/// Limits are raised by up to this share, each by another, so that no step of the method is of length zero.
const SPREAD: f64 = 1e-8;

/// Steps after which the inverse is made anew.
const STALE: u32 = 400;

#[derive(Debug, Clone)]
pub(super) struct Column {
    pub gain: f64,
    /// Row and factor, every row once at most.
    pub entries: Vec<(usize, f64)>,
}

/// What stands in a row's place in the basis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Basic {
    Slack(usize),
    Column(usize),
}

#[derive(Debug)]
pub(super) struct Linear {
    rows: usize,
    limits: Vec<f64>,
    /// What one unit of each row's slack gains.
    slack: Vec<f64>,
    columns: Vec<Column>,
    basis: Vec<Basic>,
    /// Row by row.
    inverse: Vec<f64>,
    values: Vec<f64>,
    prices: Vec<f64>,
    steps: u32,
}

impl Linear {
    pub fn new(limits: &[f64], slack: Vec<f64>) -> Self {
        let rows = limits.len();
        let scale = limits.iter().copied().fold(0.0, f64::max).max(1.0);
        let raised = limits.iter().enumerate().map(|(row, limit)| {
            // Spread over the rows without a pattern: fractional parts of multiples of the golden ratio.
            let part = ((row + 1) as f64 * 0.618_033_988_749_895).fract();
            limit + SPREAD * (0.5 + part) * if *limit > 0.0 { *limit } else { scale * 1e-3 }
        });
        let limits: Vec<f64> = raised.collect();
        let mut linear = Linear {
            rows,
            values: limits.clone(),
            limits,
            prices: slack.clone(),
            slack,
            columns: Vec::new(),
            basis: (0..rows).map(Basic::Slack).collect(),
            inverse: vec![0.0; rows * rows],
            steps: 0,
        };
        for row in 0..rows {
            linear.inverse[row * rows + row] = 1.0;
        }
        linear
    }

    pub fn push(&mut self, column: Column) {
        self.columns.push(column);
    }

    /// What one more of each row's limit would gain.
    pub fn prices(&self) -> &[f64] {
        &self.prices
    }

    /// The columns in use, and how much of each.
    pub fn used(&self) -> impl Iterator<Item = (usize, f64)> {
        self.basis.iter().zip(&self.values).filter_map(|(basic, &value)| match basic {
            Basic::Column(column) if value > 0.0 => Some((*column, value)),
            _ => None,
        })
    }

    pub fn value(&self) -> f64 {
        self.basis.iter().zip(&self.values).map(|(&basic, value)| self.gain(basic) * value).sum()
    }

    fn gain(&self, basic: Basic) -> f64 {
        match basic {
            Basic::Slack(row) => self.slack[row],
            Basic::Column(column) => self.columns[column].gain,
        }
    }

    /// Whether the column would be taken up at the prices.
    pub fn would_enter(&self, column: &Column) -> bool {
        self.excess(column.gain, &column.entries) > 0.0
    }

    /// What one of a column would lose at the prices.
    pub fn loss(&self, column: usize) -> f64 {
        let Column { gain, entries } = &self.columns[column];
        entries.iter().map(|&(row, factor)| self.prices[row] * factor).sum::<f64>() - gain
    }

    /// What `gain` is beyond the prices of these entries; nothing if it is no more than rounding.
    fn excess(&self, gain: f64, entries: &[(usize, f64)]) -> f64 {
        let cost: f64 = entries.iter().map(|&(row, factor)| self.prices[row] * factor).sum();
        if gain - cost > NOTHING * (1.0 + gain.abs()) { gain - cost } else { 0.0 }
    }

    /// Makes the most of the columns there are. Stops early after so many steps that something must be amiss.
    pub fn maximise(&mut self) {
        let most = 50 * (self.rows + 20);
        for _ in 0..most {
            let mut best: Option<(Basic, f64)> = None;
            let mut offer = |basic: Basic, excess: f64| {
                if excess > 0.0 && best.is_none_or(|(_, most)| excess > most) {
                    best = Some((basic, excess));
                }
            };
            for (index, column) in self.columns.iter().enumerate() {
                offer(Basic::Column(index), self.excess(column.gain, &column.entries));
            }
            for row in 0..self.rows {
                offer(Basic::Slack(row), self.excess(self.slack[row], &[(row, 1.0)]));
            }
            let Some((entering, excess)) = best else { return };
            if !self.enter(entering, excess) {
                return;
            }
        }
    }

    /// Takes one into the basis; false where nothing bounds it, which the limits on all columns rule out.
    fn enter(&mut self, entering: Basic, excess: f64) -> bool {
        let rows = self.rows;
        let slack;
        let entries = match entering {
            Basic::Column(column) => &self.columns[column].entries[..],
            Basic::Slack(row) => {
                slack = [(row, 1.0)];
                &slack[..]
            }
        };
        let mut direction = vec![0.0; rows];
        for (row, way) in direction.iter_mut().enumerate() {
            let inverse = &self.inverse[row * rows..(row + 1) * rows];
            *way = entries.iter().map(|&(at, factor)| inverse[at] * factor).sum();
        }
        let mut leaving: Option<(usize, f64)> = None;
        for (row, &way) in direction.iter().enumerate() {
            if way > NOTHING {
                let length = self.values[row].max(0.0) / way;
                let better = leaving
                    .is_none_or(|(at, least)| length < least || (length <= least && way > direction[at]));
                if better {
                    leaving = Some((row, length));
                }
            }
        }
        let Some((leaving, length)) = leaving else { return false };
        for (value, way) in self.values.iter_mut().zip(&direction) {
            *value -= length * way;
        }
        self.values[leaving] = length;
        self.basis[leaving] = entering;
        let pivot = 1.0 / direction[leaving];
        let (before, rest) = self.inverse.split_at_mut(leaving * rows);
        let (pivot_row, after) = rest.split_at_mut(rows);
        pivot_row.iter_mut().for_each(|cell| *cell *= pivot);
        let others =
            before.chunks_exact_mut(rows).zip(0..).chain(after.chunks_exact_mut(rows).zip(leaving + 1..));
        for (cells, row) in others {
            let way = direction[row];
            if way != 0.0 {
                for (cell, pivot) in cells.iter_mut().zip(pivot_row.iter()) {
                    *cell -= way * pivot;
                }
            }
        }
        for (price, cell) in self.prices.iter_mut().zip(pivot_row.iter()) {
            *price += excess * cell;
        }
        self.steps += 1;
        if self.steps.is_multiple_of(STALE) {
            self.refresh();
        }
        true
    }

    /// Works values and prices out anew from the inverse: what rounding has added up is forgotten.
    fn refresh(&mut self) {
        let rows = self.rows;
        for row in 0..rows {
            let inverse = &self.inverse[row * rows..(row + 1) * rows];
            self.values[row] = inverse.iter().zip(&self.limits).map(|(cell, limit)| cell * limit).sum();
        }
        self.prices = vec![0.0; rows];
        for row in 0..rows {
            let gain = self.gain(self.basis[row]);
            if gain != 0.0 {
                let inverse = &self.inverse[row * rows..(row + 1) * rows];
                for (price, cell) in self.prices.iter_mut().zip(inverse) {
                    *price += gain * cell;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Chvátal, *Linear Programming* (1983), the first example of chapter 2 (from memory): maximise 5x + 4y + 3z with
    /// 2x + 3y + z ≤ 5, 4x + y + 2z ≤ 11, 3x + 4y + 2z ≤ 8 gives 13 at (2, 0, 1), with prices 1, 0, 1.
    #[test]
    fn a_textbook_program() {
        let mut linear = Linear::new(&[5.0, 11.0, 8.0], vec![0.0; 3]);
        for (gain, column) in [(5.0, [2.0, 4.0, 3.0]), (4.0, [3.0, 1.0, 4.0]), (3.0, [1.0, 2.0, 2.0])] {
            linear.push(Column { gain, entries: column.into_iter().enumerate().collect() });
        }
        linear.maximise();
        assert!((linear.value() - 13.0).abs() < 1e-5);
        let near = |(price, expected): (&f64, f64)| (price - expected).abs() < 1e-6;
        assert!(linear.prices().iter().zip([1.0, 0.0, 1.0]).all(near));
        let mut used: Vec<(usize, f64)> = linear.used().collect();
        used.sort_by_key(|(column, _)| *column);
        assert_eq!(used.iter().map(|(column, _)| *column).collect::<Vec<_>>(), [0, 2]);
    }
}
