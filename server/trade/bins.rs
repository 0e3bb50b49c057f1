//! Which whole bag goes in which box, for the packing list: as few boxes of one kind as will hold them all.
//!
//! Packing for cost divides the contents freely ([`crate::packing`]); whoever stands at the bench has closed bags. This
//! is bin packing, solved by filling one box after another (bin completion): the largest bag that is left goes in the
//! next box, and every way to fill that up is tried, unless another way is sure to be as good.

use std::cmp::Reverse;

use crate::mass::{HEAVIEST_GRAMS, Mass};

/// The bags in each box, by their place in the list that was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Boxing {
    pub boxes: Vec<Vec<usize>>,
    /// Whether it is known that fewer boxes cannot do. False only where the search ran into its limit.
    pub proved: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("bag {} is heavier than a box may hold. Split it, or use a stronger box.", .bag + 1)]
pub struct TooHeavy {
    /// Its place in the list that was given.
    pub bag: usize,
}

/// Boxes with up to `limit` in each, as few as possible. Bags without mass are put in no box.
///
/// Masses are compared in whole micrograms, as the ledger keeps them.
pub fn sort_bags(bags: &[Mass], limit: Mass) -> Result<Boxing, TooHeavy> {
    let room = micrograms(limit);
    let mut pieces: Vec<Piece> =
        bags.iter().enumerate().map(|(place, bag)| Piece { place, size: micrograms(*bag) }).collect();
    if let Some(bag) = pieces.iter().position(|piece| piece.size > room) {
        return Err(TooHeavy { bag });
    }
    pieces.retain(|piece| piece.size > 0);
    pieces.sort_by_key(|piece| Reverse(piece.size));

    let best = best_fit(&pieces, room);
    let mut search = Search { room, best, boxes: Vec::new(), gap_halves: 0, work: 0, all_tried: true };
    let least = least_boxes(&pieces, room);
    // Few departures from the order of trying find a good answer soon; no limit on them proves it.
    let orders = [0, 1, 2].into_iter().flat_map(|departures| [0, 1, 2, 4].map(|halves| (departures, halves)));
    for (departures, gap_halves) in orders.chain([(u32::MAX, 0)]) {
        if search.best.len() <= least || search.work >= MOST_WORK {
            break;
        }
        search.gap_halves = gap_halves;
        search.fill(&pieces, departures);
    }
    let proved = search.best.len() <= least || (search.all_tried && search.work < MOST_WORK);
    let boxes = search.best.iter().map(|pieces| pieces.iter().map(|piece| piece.place).collect()).collect();
    Ok(Boxing { boxes, proved })
}

/// Pieces looked at and ways tried after which the search ends, in about a second.
const MOST_WORK: usize = 1_000_000;

/// Ways to fill one box that are tried.
const MOST_WAYS: usize = 5000;

fn micrograms(mass: Mass) -> u64 {
    u64::try_from(mass.min(Mass::from_grams(HEAVIEST_GRAMS)).max(Mass::ZERO).micrograms()).unwrap_or(0)
}

#[derive(Debug, Clone, Copy)]
struct Piece {
    place: usize,
    size: u64,
}

/// Each piece, the largest first, in the fullest box that takes it.
fn best_fit(pieces: &[Piece], room: u64) -> Vec<Vec<Piece>> {
    let mut boxes: Vec<(u64, Vec<Piece>)> = Vec::new();
    for &piece in pieces {
        match boxes.iter_mut().filter(|(left, _)| *left >= piece.size).min_by_key(|(left, _)| *left) {
            Some((left, held)) => {
                *left -= piece.size;
                held.push(piece);
            }
            None => boxes.push((room - piece.size, vec![piece])),
        }
    }
    boxes.into_iter().map(|(_, held)| held).collect()
}

/// No fewer boxes can do: the bound L2 of Martello and Toth (Knapsack Problems, 1990, section 8.3; from memory). For
/// every size `k` up to half a box: pieces over half a box need one each, and those from `k` to half a box do not fit
/// beside a piece over `room − k`.
fn least_boxes(pieces: &[Piece], room: u64) -> usize {
    let room = room.max(1);
    let up_to: Vec<u64> = std::iter::once(0)
        .chain(pieces.iter().scan(0, |sum, piece| {
            *sum += piece.size;
            Some(*sum)
        }))
        .collect();
    let over_half = pieces.partition_point(|piece| piece.size * 2 > room);
    let by_size = pieces[over_half..].iter().zip(&up_to[over_half + 1..]).map(|(piece, sum)| {
        let alone = pieces[..over_half].partition_point(|other| other.size > room - piece.size);
        let large = up_to[over_half] - up_to[alone];
        let beside = room * (over_half - alone) as u64 - large;
        over_half + (sum - up_to[over_half]).saturating_sub(beside).div_ceil(room) as usize
    });
    let by_total = up_to[pieces.len()].div_ceil(room) as usize;
    by_size.chain([over_half, by_total]).max().unwrap_or(0)
}

struct Search {
    room: u64,
    best: Vec<Vec<Piece>>,
    /// The boxes filled so far.
    boxes: Vec<Vec<Piece>>,
    /// The gap up to which a box passes for full, in halves of the average gap that one box less than the best would
    /// leave. Without it small pieces are spent early on filling boxes to the brim, and are missing at the end.
    gap_halves: u64,
    work: usize,
    /// Whether no way to fill a box was left out for their number.
    all_tried: bool,
}

impl Search {
    /// Fills the next box from `left` (the largest first) in every way that can lead to fewer boxes than the best.
    fn fill(&mut self, left: &[Piece], departures: u32) {
        let Some((&largest, rest)) = left.split_first() else {
            // Only reached with fewer boxes than the best.
            self.best = self.boxes.clone();
            return;
        };
        self.work += left.len();
        let spare = self.best.len() - self.boxes.len();
        if self.work >= MOST_WORK || least_boxes(left, self.room) >= spare {
            return;
        }
        // What may stay empty over all boxes that are left to fill.
        let total: u64 = left.iter().map(|piece| piece.size).sum();
        let empty = (spare as u64 - 1) * self.room - total;
        let mut fillings = Fillings { rest, empty, ways: 0, found: Vec::new(), chosen: Vec::new() };
        fillings.choose(0, self.room - largest.size);
        self.work += fillings.ways;
        self.all_tried &= fillings.ways < MOST_WAYS;
        let mut found = fillings.found;
        let passes_for_full = empty * self.gap_halves / 2 / spare as u64;
        found.sort_by_key(|f| (f.empty.saturating_sub(passes_for_full), f.chosen.len(), f.empty));
        for (departure, filling) in (0..=departures).zip(found) {
            let mut others = rest.to_vec();
            let mut held = vec![largest];
            for &i in filling.chosen.iter().rev() {
                held.push(others.remove(i));
            }
            self.boxes.push(held);
            self.fill(&others, departures - departure);
            self.boxes.pop();
            let spare = self.best.len() - self.boxes.len();
            if self.work >= MOST_WORK || least_boxes(left, self.room) >= spare {
                return;
            }
        }
    }
}

/// Which of the rest go in a box, by their places, and what stays empty in it.
struct Filling {
    chosen: Vec<usize>,
    empty: u64,
}

struct Fillings<'a> {
    rest: &'a [Piece],
    /// The most that may stay empty.
    empty: u64,
    ways: usize,
    chosen: Vec<usize>,
    found: Vec<Filling>,
}

impl Fillings<'_> {
    /// Adds pieces from place `from` on to those chosen; `room` is what is still free in the box.
    fn choose(&mut self, from: usize, room: u64) {
        if self.ways >= MOST_WAYS {
            return;
        }
        self.ways += 1;
        if room <= self.empty && !self.could_be_fuller(room) {
            self.found.push(Filling { chosen: self.chosen.clone(), empty: room });
        }
        let fits = from + self.rest[from..].partition_point(|piece| piece.size > room);
        let mut last = None;
        for i in fits..self.rest.len() {
            let size = self.rest[i].size;
            // Of equal pieces the first stands for all.
            if last != Some(size) {
                self.chosen.push(i);
                self.choose(i + 1, room - size);
                self.chosen.pop();
            }
            last = Some(size);
        }
    }

    /// Whether a piece left outside would fit in as well, or in the place of a smaller one. Such a filling is never
    /// better: wherever the larger piece goes, the smaller one could go.
    fn could_be_fuller(&self, room: u64) -> bool {
        self.rest.iter().enumerate().any(|(i, piece)| {
            !self.chosen.contains(&i)
                && (piece.size <= room
                    || self.chosen.iter().any(|&c| {
                        let held = self.rest[c].size;
                        held < piece.size && piece.size <= held + room
                    }))
        })
    }
}
