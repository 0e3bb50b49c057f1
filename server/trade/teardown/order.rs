//! The order of the steps: what pays most for its minutes first, as far as one thing has to come off before another.
//!
//! Each step waits for one other, that of the piece around it. Putting the step that pays best behind the one that it
//! waits for, as one block, until all are in one row, gives the row in which the gain so far is highest over all the time
//! (W. A. Horn, SIAM J. Appl. Math. 23 (1972) 189-202, for jobs that wait for one other each).

use std::collections::BinaryHeap;

use rust_decimal::Decimal;

/// What a step brings for its minutes, and the step that it waits for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Job {
    pub gain: Decimal,
    pub minutes: Decimal,
    /// `None` of the first one alone.
    pub after: Option<usize>,
}

/// Steps that go together.
struct Block {
    gain: Decimal,
    minutes: Decimal,
    jobs: Vec<usize>,
    /// Counts up when it grows, so that what the heap knew of it before is told apart.
    version: u32,
    is_open: bool,
}

/// Gain for a minute. What takes no time comes first if it brings something, and last if it costs something.
fn pace(gain: Decimal, minutes: Decimal) -> Decimal {
    if minutes > Decimal::ZERO {
        let far = if gain > Decimal::ZERO { Decimal::MAX } else { Decimal::MIN };
        return gain.checked_div(minutes).unwrap_or(far);
    }
    match gain.cmp(&Decimal::ZERO) {
        std::cmp::Ordering::Greater => Decimal::MAX,
        std::cmp::Ordering::Equal => Decimal::ZERO,
        std::cmp::Ordering::Less => Decimal::MIN,
    }
}

/// The jobs in the best order. The first one waits for none, and every other for one of those before it.
pub(super) fn in_order(jobs: &[Job]) -> Vec<usize> {
    let mut blocks: Vec<Block> = jobs
        .iter()
        .enumerate()
        .map(|(at, job)| Block {
            gain: job.gain,
            minutes: job.minutes,
            jobs: vec![at],
            version: 0,
            is_open: true,
        })
        .collect();
    // Whose block a job stands in.
    let mut place: Vec<usize> = (0..jobs.len()).collect();
    // Of two at the same pace the one that was written down first.
    let entry =
        |at: usize, block: &Block| (pace(block.gain, block.minutes), std::cmp::Reverse(at), block.version);
    let mut heap: BinaryHeap<_> = (1..blocks.len()).map(|at| entry(at, &blocks[at])).collect();
    while let Some((_, std::cmp::Reverse(at), version)) = heap.pop() {
        if !blocks[at].is_open || blocks[at].version != version {
            continue;
        }
        let Some(after) = jobs[at].after else { continue };
        let into = place[after];
        blocks[at].is_open = false;
        let moved = std::mem::take(&mut blocks[at].jobs);
        let (gain, minutes) = (blocks[at].gain, blocks[at].minutes);
        for &job in &moved {
            place[job] = into;
        }
        let block = &mut blocks[into];
        block.jobs.extend(moved);
        block.gain += gain;
        block.minutes += minutes;
        block.version += 1;
        if into != 0 {
            heap.push(entry(into, &blocks[into]));
        }
    }
    blocks.into_iter().next().map_or_else(Vec::new, |first| first.jobs)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rust_decimal::dec;

    /// Gain so far, over all the time.
    fn area(jobs: &[Job], order: &[usize]) -> Decimal {
        let all: Decimal = jobs.iter().map(|job| job.minutes).sum();
        let (mut at, mut area) = (Decimal::ZERO, Decimal::ZERO);
        for &job in order {
            at += jobs[job].minutes;
            area += jobs[job].gain * (all - at);
        }
        area
    }

    fn best(jobs: &[Job], done: &mut Vec<usize>) -> Decimal {
        if done.len() == jobs.len() {
            return area(jobs, done);
        }
        let ready: Vec<usize> = (0..jobs.len())
            .filter(|job| !done.contains(job) && jobs[*job].after.is_none_or(|after| done.contains(&after)))
            .collect();
        let mut most = Decimal::MIN;
        for job in ready {
            done.push(job);
            most = most.max(best(jobs, done));
            done.pop();
        }
        most
    }

    #[test]
    fn no_other_order_gains_more_along_the_way() {
        let mut random = fastrand::Rng::with_seed(7);
        for round in 0..400 {
            let jobs: Vec<Job> = (0..random.usize(1..=7))
                .map(|at| Job {
                    gain: Decimal::from(random.i32(-9..20)),
                    minutes: Decimal::from(random.i32(0..6)),
                    after: (at > 0).then(|| random.usize(0..at.max(1))),
                })
                .collect();
            let order = in_order(&jobs);
            for (at, &job) in order.iter().enumerate() {
                assert!(
                    jobs[job].after.is_none_or(|after| order[..at].contains(&after)),
                    "{jobs:?} {order:?}"
                );
            }
            assert_eq!(order.len(), jobs.len());
            assert_eq!(
                area(&jobs, &order),
                best(&jobs, &mut Vec::new()),
                "round {round}: {jobs:?} {order:?}"
            );
        }
    }

    #[test]
    fn what_pays_behind_what_costs_comes_before_what_pays_less() {
        let job = |gain, minutes, after| Job { gain, minutes, after };
        // The cover costs two minutes and brings nothing; the board behind it is worth more than the cord.
        let jobs = [
            job(dec!(0), dec!(0), None),
            job(dec!(-1), dec!(2), Some(0)),
            job(dec!(1), dec!(1), Some(0)),
            job(dec!(30), dec!(3), Some(1)),
        ];
        assert_eq!(in_order(&jobs), [0, 1, 3, 2]);
    }
}
