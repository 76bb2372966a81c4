//! Floors that are known: rooms in rows and columns with one wall thickness between them.

use shared_model::job::{Room, Turn};
use shared_model::length::Length;
use shared_model::polygon::Point;

use crate::random::Random;
use crate::rooms::{doorway, long, measured_room};

/// A real floor: a grid of rooms, each with a doorway to its neighbours to the east and north, walked from any corner in either
/// direction.
#[derive(Clone, Debug)]
pub struct Grid {
    pub columns: Vec<Length>,
    pub rows: Vec<Length>,
    /// For each room: the wall the walk begins with, and whether it goes to the left.
    pub walks: Vec<(usize, bool)>,
}

impl Grid {
    /// Invented sizes; every other room is walked to the left.
    pub fn of(columns: usize, rows: usize) -> Self {
        let size = |i: usize, step: i64, of: i64| Length::inches(96 + step * (i as i64 % of));
        Self {
            columns: (0..columns).map(|i| size(i, 11, 7)).collect(),
            rows: (0..rows).map(|i| size(i, 13, 5)).collect(),
            walks: (0..columns * rows).map(|n| (n % 4, n % 2 == 1)).collect(),
        }
    }

    pub fn count(&self) -> usize {
        self.columns.len() * self.rows.len()
    }

    fn size(&self, n: usize) -> (Length, Length) {
        (self.columns[n % self.columns.len()], self.rows[n / self.columns.len()])
    }

    fn neighbour(&self, n: usize, side: usize) -> Option<usize> {
        let wide = self.columns.len();
        match side {
            0 => (!n.is_multiple_of(wide)).then(|| n - 1),
            1 => (n + wide < wide * self.rows.len()).then_some(n + wide),
            2 => (!(n + 1).is_multiple_of(wide)).then_some(n + 1),
            _ => (n >= wide).then(|| n - wide),
        }
    }

    /// A room as it is.
    pub fn room(&self, n: usize) -> Room {
        self.read(n, &mut |it| it)
    }

    /// All rooms as they are read, every length by itself.
    pub fn measured(&self, mut read: impl FnMut(Length) -> Length) -> Vec<Room> {
        (0..self.count()).map(|n| self.read(n, &mut read)).collect()
    }

    fn read(&self, n: usize, read: &mut dyn FnMut(Length) -> Length) -> Room {
        let (east, north) = self.size(n);
        let lengths = [north, east, north, east];
        let (first, left) = self.walks[n];
        let side = |i: usize| if left { (first + 4 - i) % 4 } else { (first + i) % 4 };
        let turn = if left { Turn::LEFT } else { Turn::RIGHT };
        let walls: Vec<_> = (0..4).map(|i| (vec![read(lengths[side(i)])], turn)).collect();
        let mut room = measured_room(n as u64, &format!("Room {n}"), &walls);
        for i in 0..4 {
            let Some(beyond) = self.neighbour(n, side(i)) else { continue };
            // Every doorway starts 1 ft from the south or west end of its wall.
            let width = Length::inches(30);
            let from_south_west = matches!(side(i), 0 | 1) != left;
            let offset = if from_south_west { Length::feet(1) } else { lengths[side(i)] - Length::feet(1) - width };
            let mut door = doorway(n as u64, i, offset, width, Some(beyond as u64));
            (door.offset, door.width, door.depth) = (read(offset), read(width), read(door.depth));
            room.openings.push(door);
        }
        room
    }

    /// The middle of a room on the plan.
    pub fn middle(&self, n: usize) -> Point {
        let thick = long("4 1/2\"");
        let before = |sizes: &[Length], n: usize| sizes[..n].iter().map(|&it| it + thick).sum::<Length>();
        let (x, y) = (n % self.columns.len(), n / self.columns.len());
        let corner = Point::new(before(&self.columns, x), before(&self.rows, y));
        corner + Point::new(self.columns[x] / 2, self.rows[y] / 2)
    }
}

/// What a tape of class II reads: off by what the tape (MID annex MI-008) and the wall's surface leave, to the nearest 1/16 in.
pub fn by_tape(random: &mut Random) -> impl FnMut(Length) -> Length {
    move |truth| {
        let tape = (0.3 + 0.2 * (truth.as_mm() / 1_000.0).ceil() + 0.2) / 3_f64.sqrt();
        let off = tape.hypot(3.0) * random.normal();
        let read = Length(truth.0 + (off * Length::MM.0 as f64).round() as i64);
        read.round_to(Length::sixty_fourths(4)).max(Length::ZERO)
    }
}
