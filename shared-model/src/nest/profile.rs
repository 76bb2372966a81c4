//! The far side of what lies on the strip, and where a piece that consists of columns does best on it.

use super::Lattice;
use super::stepped::SteppedPiece;

/// A level stretch of the skyline.
#[derive(Clone, Copy)]
struct Level {
    x: i64,
    end: i64,
    y: i64,
}

/// A piece's column, from its left edge and its start.
#[derive(Clone, Copy)]
struct Stretch {
    x: i64,
    end: i64,
    from: i64,
    to: i64,
}

pub(super) struct Item {
    columns: Vec<Stretch>,
    pub width: i64,
    pub length: i64,
    pub area: i64,
    pub along: Lattice,
}

/// Where each piece of an order goes.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Rule {
    /// Each piece in turn as its aim says.
    InTurn,
    /// Into the next gap goes the piece that covers the least and leaves the skyline smoothest, the first of the order among equals.
    BestFit,
}

/// Where a piece goes when it is its turn.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) struct Aim {
    pub piece: usize,
    /// Where it covers the least carpet that nothing can be cut from any more; else as near to the outer end as can be.
    pub least_covered: bool,
    /// To the right of equal places.
    pub right: bool,
}

/// A plan that is being made.
pub(super) struct Profile {
    width: i64,
    levels: Vec<Level>,
    spare: Vec<Level>,
    /// Which piece, and where.
    pub laid: Vec<(usize, i64, i64)>,
    /// Places looked at for this plan.
    steps: u64,
}

impl Profile {
    pub const fn new(width: i64) -> Self {
        Self { width, levels: Vec::new(), spare: Vec::new(), laid: Vec::new(), steps: 0 }
    }

    /// Places an order, none beyond `limit`; the steps that it took.
    pub fn place(&mut self, items: &[Item], rule: Rule, order: &[Aim], limit: i64) -> u64 {
        self.levels.clear();
        self.levels.push(Level { x: 0, end: self.width, y: 0 });
        self.laid.clear();
        self.steps = 0;
        match rule {
            Rule::InTurn => self.in_turn(items, order, limit),
            Rule::BestFit => self.best_fit(items, order, limit),
        }
        self.steps
    }

    fn in_turn(&mut self, items: &[Item], order: &[Aim], limit: i64) {
        for aim in order {
            let (place, steps) = self.place_for(&items[aim.piece], *aim, limit);
            self.steps += steps;
            if let Some((x, y)) = place {
                self.lay(items, aim.piece, x, y);
            }
        }
    }

    fn best_fit(&mut self, items: &[Item], order: &[Aim], limit: i64) {
        let mut waiting: Vec<usize> = order.iter().map(|it| it.piece).collect();
        while !waiting.is_empty() {
            let gap = (0..self.levels.len()).min_by_key(|it| self.levels[*it].y).unwrap_or_default();
            let Level { x, end, y: floor } = self.levels[gap];
            let neighbours = [gap.checked_sub(1).map(|it| self.levels[it].y), self.levels.get(gap + 1).map(|it| it.y)];
            let raised = neighbours.into_iter().flatten().min();
            // To cover more than giving the gap up does is no fit.
            let most = raised.map_or(i64::MAX, |it| (it - floor) * (end - x));
            let mut best: Option<((i64, i64), usize, i64, i64)> = None;
            for (at, &n) in waiting.iter().enumerate() {
                let item = &items[n];
                for column in &item.columns {
                    for left in [x - column.x, end - column.end] {
                        if left < 0 || left + item.width > self.width || column.end - column.x > end - x {
                            continue;
                        }
                        self.steps += 1;
                        let (lies, covered) = self.rest(item, left);
                        if lies + column.from > item.along.up(floor).max(floor)
                            || lies + item.length > limit
                            || covered > most
                        {
                            continue;
                        }
                        let rank = (covered, self.rougher(item, left, lies));
                        if best.is_none_or(|(found, ..)| rank < found) {
                            best = Some((rank, at, left, lies));
                        }
                    }
                }
            }
            match (best, raised) {
                (Some((_, at, left, lies)), _) => {
                    let n = waiting.remove(at);
                    self.lay(items, n, left, lies);
                }
                (None, Some(raised)) => {
                    self.levels[gap].y = raised;
                    self.levels.dedup_by(|next, it| {
                        let same = it.y == next.y;
                        if same {
                            it.end = next.end;
                        }
                        same
                    });
                }
                (None, None) => break,
            }
        }
    }

    /// How many more ends of levels there are with a piece at a place.
    fn rougher(&self, item: &Item, x: i64, y: i64) -> i64 {
        let right = x + item.width;
        let left_of = self.levels.iter().take_while(|it| it.x < x).last().map(|it| it.y);
        let right_of = self.levels.iter().find(|it| it.end > right).map(|it| it.y);
        let tops = item.columns.iter().map(|it| Some(y + it.to));
        let profile: Vec<Option<i64>> = std::iter::once(left_of).chain(tops).chain([right_of]).collect();
        let ends = |it: &[Option<i64>]| matches!(it, [Some(one), Some(other)] if one != other);
        let now = profile.windows(2).filter(|it| ends(it)).count() as i64;
        let before = self.levels.iter().filter(|it| it.x >= x && it.x > 0 && it.x <= right).count() as i64;
        now - before
    }

    /// Where a piece does best on the skyline, and the steps that it took to find.
    fn place_for(&self, item: &Item, aim: Aim, limit: i64) -> (Option<(i64, i64)>, u64) {
        let mut best: Option<((i64, i64, i64), i64, i64)> = None;
        let mut steps = 0;
        for level in &self.levels {
            for column in &item.columns {
                // Flush with the level's left end, or with its right.
                for x in [level.x - column.x, level.end - column.end] {
                    if x < 0 || x + item.width > self.width {
                        continue;
                    }
                    steps += 1;
                    let (y, covered) = self.rest(item, x);
                    let side = if aim.right { -x } else { x };
                    let rank = if aim.least_covered { (covered, y, side) } else { (y, covered, side) };
                    if y + item.length <= limit && best.is_none_or(|(found, ..)| rank < found) {
                        best = Some((rank, x, y));
                    }
                }
            }
        }
        (best.map(|(_, x, y)| (x, y)), steps)
    }

    /// How low a piece comes to lie so far from the left edge, and the area that it covers.
    fn rest(&self, item: &Item, x: i64) -> (i64, i64) {
        let under = |it: &Stretch| {
            let (from, end) = (x + it.x, x + it.end);
            let first = self.levels.partition_point(|level| level.end <= from);
            self.levels[first..].iter().take_while(move |level| level.x < end)
        };
        let lowest = item.columns.iter().flat_map(|it| under(it).map(move |level| level.y - it.from));
        let y = item.along.up(lowest.max().unwrap_or_default().max(0));
        let covered = item.columns.iter().flat_map(|it| {
            under(it).map(move |level| {
                let across = level.end.min(x + it.end) - level.x.max(x + it.x);
                across * (y + it.from - level.y)
            })
        });
        (y, covered.sum())
    }

    /// Lays a piece: lifts the skyline to its far side.
    fn lay(&mut self, items: &[Item], n: usize, x: i64, y: i64) {
        self.laid.push((n, x, y));
        let columns = &items[n].columns;
        let (left, right) = (x, x + items[n].width);
        let spare = &mut self.spare;
        spare.clear();
        let mut push = |level: Level| match spare.last_mut() {
            _ if level.end <= level.x => {}
            Some(last) if last.y == level.y => last.end = level.end,
            _ => spare.push(level),
        };
        let raised = columns.iter().map(|it| Level { x: x + it.x, end: x + it.end, y: y + it.to });
        let mut raised = Some(raised);
        for level in &self.levels {
            push(Level { end: level.end.min(left), ..*level });
            if level.end > left
                && let Some(raised) = raised.take()
            {
                raised.for_each(&mut push);
            }
            push(Level { x: level.x.max(right), ..*level });
        }
        std::mem::swap(&mut self.levels, &mut self.spare);
    }
}

impl Item {
    pub fn of(piece: &SteppedPiece) -> Self {
        let mut x = 0;
        let columns: Vec<Stretch> = piece
            .columns
            .iter()
            .map(|it| {
                let from = x;
                x += it.width.0;
                Stretch { x: from, end: x, from: it.from.0, to: it.to.0 }
            })
            .collect();
        let area = columns.iter().map(|it| (it.end - it.x) * (it.to - it.from)).sum();
        Self { columns, width: x, length: piece.length().0, area, along: Lattice::of(piece.phase) }
    }

    pub fn reversed(mut self) -> Self {
        for it in &mut self.columns {
            (it.from, it.to) = (self.length - it.to, self.length - it.from);
        }
        self
    }
}
