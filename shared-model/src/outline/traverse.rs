//! The walk around a room: its gap, its unmeasured walls, and its adjustment.
//!
//! The compass (Bowditch) rule spreads the misclosure over the walls in proportion to their lengths. It is the least-squares
//! solution for corrections whose squares are weighted with 1 ÷ length (Ghilani, *Adjustment Computations*), and in this
//! form it takes one condition more: a wall that meets another square keeps its direction, so it is corrected only along
//! itself. Without square corners this is the published rule; in a rectilinear room each axis is spread over the
//! walls that run along it, and all corners stay square.

use super::readings::Measured;
use super::{Misclosure, tolerance};
use crate::job::{Angle, Room, Rules, Turn};
use crate::length::{Length, Units};
use crate::polygon::Point;
use crate::problem::{Place, Problem, ProblemKind};

/// Two unmeasured walls follow from the others when their directions differ by at least 15°: sin² 15°.
const INDEPENDENT: f64 = 0.067;

/// A vector on the plan in counts: east, north.
type Vector = (f64, f64);

fn dot(a: Vector, b: Vector) -> f64 {
    a.0 * b.0 + a.1 * b.1
}

fn sum(a: Vector, b: Vector) -> Vector {
    (a.0 + b.0, a.1 + b.1)
}

fn scaled(a: Vector, by: f64) -> Vector {
    (a.0 * by, a.1 * by)
}

struct Leg {
    heading: Angle,
    /// Unit vector of the heading.
    direction: Vector,
    length: Option<Length>,
    /// Meets a neighbour square, so that it keeps its direction.
    square: bool,
}

pub(super) struct Traverse {
    legs: Vec<Leg>,
    /// Of all turns, the last one back into the first wall included.
    turned: i64,
    impossible: Option<usize>,
}

/// The ring with every length known, before its adjustment.
pub(super) struct Solution {
    pub lengths: Vec<Length>,
    pub misclosure: Misclosure,
    gap: Vector,
}

/// Why a walk gives no ring.
pub(super) enum Unsolved {
    TooFewWalls,
    /// The corner's turn is half a turn or more.
    ImpossibleTurn(usize),
    NotOnceAround,
    Unmeasured,
    /// The two unmeasured walls run the same way.
    Parallel,
}

/// The heading of the first wall with which most of the walls that meet square run along the axes.
pub(super) fn frame(room: &Room, measured: &[Option<Measured>]) -> Angle {
    let traverse = Traverse::new(room, measured, Angle::ZERO);
    let slant = |leg: &Leg| leg.heading.0 % Angle::QUARTER.0;
    let weight = |of: i64| -> Length {
        let alike = traverse.legs.iter().filter(|it| it.square && slant(it) == of);
        alike.filter_map(|it| it.length).sum()
    };
    let slants = traverse.legs.iter().filter(|it| it.square).map(slant);
    let most = slants.map(|it| (weight(it), -it)).max();
    Angle(most.map_or(0, |(_, turned_back)| turned_back)).direction()
}

impl Traverse {
    pub fn new(room: &Room, measured: &[Option<Measured>], first: Angle) -> Self {
        let turns: Vec<Turn> = room.walls.iter().map(|it| it.turn()).collect();
        let mut heading = first;
        let mut legs = Vec::with_capacity(turns.len());
        for (i, turn) in turns.iter().enumerate() {
            let before = turns[(i + turns.len() - 1) % turns.len()];
            let length = measured.get(i).copied().flatten().map(|it| it.length);
            let square = turn.is_square() || before.is_square();
            legs.push(Leg { heading, direction: heading.unit(), length, square });
            heading = heading.then(turn.0);
        }
        let turned = turns.iter().fold(0_i64, |sum, it| sum.saturating_add(it.0.0));
        Self { legs, turned, impossible: turns.iter().position(|it| !it.is_possible()) }
    }

    pub fn heading(&self, wall: usize) -> Angle {
        self.legs[wall].heading
    }

    pub fn turns_left(&self) -> bool {
        self.turned < 0
    }

    /// The walls without a length.
    pub fn unknown(&self) -> Vec<usize> {
        (0..self.legs.len()).filter(|&i| self.legs[i].length.is_none()).collect()
    }

    /// Finds the lengths of up to two unmeasured walls, and the gap that is left.
    pub fn solve(&self) -> Result<Solution, Unsolved> {
        if let Some(wall) = self.impossible {
            return Err(Unsolved::ImpossibleTurn(wall));
        }
        if self.legs.len() < 3 {
            return Err(Unsolved::TooFewWalls);
        }
        if self.turned.unsigned_abs() != Angle::FULL.0.unsigned_abs() {
            return Err(Unsolved::NotOnceAround);
        }
        let known = self.legs.iter().filter_map(|leg| leg.length.map(|it| scaled(leg.direction, it.0 as f64)));
        let mut gap = known.fold((0.0, 0.0), sum);
        let mut lengths: Vec<Length> = self.legs.iter().map(|it| it.length.unwrap_or_default()).collect();
        match self.unknown()[..] {
            [] => {}
            [one] => {
                let direction = self.legs[one].direction;
                let length = -dot(gap, direction);
                lengths[one] = counts(length);
                gap = sum(gap, scaled(direction, length));
            }
            [one, two] => {
                let (a, b) = (self.legs[one].direction, self.legs[two].direction);
                let sine = a.0 * b.1 - a.1 * b.0;
                if sine * sine < INDEPENDENT {
                    return Err(Unsolved::Parallel);
                }
                lengths[one] = counts((gap.1 * b.0 - gap.0 * b.1) / sine);
                lengths[two] = counts((gap.0 * a.1 - gap.1 * a.0) / sine);
                gap = (0.0, 0.0);
            }
            _ => return Err(Unsolved::Unmeasured),
        }
        let end = Point::new(counts(gap.0), counts(gap.1));
        let misclosure = Misclosure::between(end, lengths.iter().copied().sum());
        Ok(Solution { lengths, misclosure, gap })
    }

    /// The corners after the adjustment, one per wall, the wall's start; the first is the origin.
    pub fn adjusted(&self, solution: &Solution) -> Vec<Point> {
        let corrections = self.corrections(solution);
        let mut at = (0.0, 0.0);
        let mut corners = Vec::with_capacity(self.legs.len());
        for ((leg, length), correction) in self.legs.iter().zip(&solution.lengths).zip(corrections) {
            corners.push(Point::new(counts(at.0), counts(at.1)));
            at = sum(at, sum(scaled(leg.direction, length.0 as f64), correction));
        }
        corners
    }

    /// What each wall's vector is corrected by; together they close the gap.
    fn corrections(&self, solution: &Solution) -> Vec<Vector> {
        // The condition Σ length · P · λ = −gap, where P lets a wall move any way, or only along itself if it is square.
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for leg in &self.legs {
            let length = leg.length.map_or(0.0, |it| it.0 as f64);
            let (x, y) = leg.direction;
            let (along_x, along_xy, along_y) = if leg.square { (x * x, x * y, y * y) } else { (1.0, 0.0, 1.0) };
            xx += length * along_x;
            xy += length * along_xy;
            yy += length * along_y;
        }
        let unknown = self.unknown();
        let gap = solution.gap;
        let lambda = match unknown[..] {
            [] => {
                let determinant = xx * yy - xy * xy;
                scaled((gap.1 * xy - gap.0 * yy, gap.0 * xy - gap.1 * xx), reciprocal(determinant))
            }
            // A derived wall takes up everything along itself; only what lies across it is spread over the others.
            [one] => {
                let (x, y) = self.legs[one].direction;
                let across = (-y, x);
                let stiffness = xx * y * y - 2.0 * xy * x * y + yy * x * x;
                scaled(across, -dot(gap, across) * reciprocal(stiffness))
            }
            _ => (0.0, 0.0),
        };
        let mut corrections: Vec<Vector> = self.legs.iter().map(|leg| leg.correction(lambda)).collect();
        if let [one] = unknown[..] {
            let direction = self.legs[one].direction;
            let moved = corrections.iter().copied().fold((0.0, 0.0), sum);
            corrections[one] = scaled(direction, -dot(moved, direction));
        }
        corrections
    }

    /// Tells the crew why there is no ring.
    pub fn problem(&self, reason: &Unsolved, room: &Room) -> Problem {
        let name = room.title();
        let all = Place::Room(room.id);
        let unmeasured = || {
            let walls: Vec<_> = self.unknown().into_iter().map(|i| room.walls[i].id).collect();
            room.wall_titles(&walls)
        };
        let (kind, place, text) = match *reason {
            Unsolved::TooFewWalls => {
                (ProblemKind::OpenRing, all, format!("{name} has fewer than three walls. Add the others."))
            }
            Unsolved::ImpossibleTurn(wall) => {
                let (wall, title) = (room.walls[wall].id, room.wall_title(room.walls[wall].id));
                let text =
                    format!("{name}: the corner at the end of {title} turns by half a turn or more. State it again.");
                (ProblemKind::OpenRing, Place::Corner(room.id, wall), text)
            }
            Unsolved::NotOnceAround => {
                let place = room.walls.last().map_or(all, |it| Place::Corner(room.id, it.id));
                (ProblemKind::OpenRing, place, format!("{name}: {}", self.turning()))
            }
            Unsolved::Unmeasured => (ProblemKind::Unmeasured, all, format!("{name}: measure {}.", unmeasured())),
            Unsolved::Parallel => {
                let text = format!(
                    "{name}: measure one of {}; they run the same way, so neither follows from the others.",
                    unmeasured()
                );
                (ProblemKind::Unmeasured, all, text)
            }
        };
        Problem::new(kind, place, text)
    }

    /// What is wrong with turns that do not add up to once around.
    fn turning(&self) -> String {
        let half = Angle::degrees(180).0;
        let around = if self.turned < 0 { -Angle::FULL.0 } else { Angle::FULL.0 };
        let (missing, total) = (around.saturating_sub(self.turned), Angle(self.turned.saturating_abs()).show());
        let advice = if missing == half {
            "One left turn may be a right turn.".to_owned()
        } else if missing == -half {
            "One right turn may be a left turn.".to_owned()
        } else {
            format!(
                "{} is missing: check the turns, the last corner's too, and whether a wall is missing.",
                Turn(Angle(missing)).show()
            )
        };
        format!("the turns add up to {total}, not to 360°. {advice}")
    }
}

impl Leg {
    fn correction(&self, lambda: Vector) -> Vector {
        let length = self.length.map_or(0.0, |it| it.0 as f64);
        let free = scaled(lambda, length);
        if self.square { scaled(self.direction, dot(free, self.direction)) } else { free }
    }
}

/// Zero for zero: where nothing can be corrected nothing is.
fn reciprocal(of: f64) -> f64 {
    if of == 0.0 { 0.0 } else { 1.0 / of }
}

fn counts(value: f64) -> Length {
    Length(libm::round(value) as i64)
}

impl Solution {
    pub fn perimeter(&self) -> Length {
        self.lengths.iter().copied().sum()
    }

    /// Whether every wall has a length.
    pub fn is_sound(&self) -> bool {
        self.lengths.iter().all(|&it| it > Length::ZERO)
    }

    /// Refuses a derived wall that cannot be, and a gap that is no tape's.
    pub fn check(&self, room: &Room, traverse: &Traverse, rules: &Rules, units: Units) -> Result<(), Problem> {
        let name = room.title();
        if let Some(wall) = self.lengths.iter().position(|&it| it <= Length::ZERO) {
            let id = room.walls[wall].id;
            let title = room.wall_title(id);
            let text = format!("{name}: the other walls leave no length for {title}. Measure it, and check the turns.");
            return Err(Problem::new(ProblemKind::OpenRing, Place::Wall(room.id, id), text));
        }
        if self.misclosure.within(self.perimeter(), rules) {
            return Ok(());
        }
        let show = |it: Length| it.show(units.style());
        let ratio = self.misclosure.ratio.map(|it| format!(" (1:{it})")).unwrap_or_default();
        let text = format!(
            "{name} is open by {}{ratio}; up to {} is what a tape leaves. {}",
            show(self.misclosure.gap),
            show(tolerance(self.perimeter(), rules)),
            self.suspects(room, traverse)
        );
        Err(Problem::new(ProblemKind::OpenRing, Place::Room(room.id), text))
    }

    /// A slip in one length opens the ring along that wall (Ghilani, *Adjustment Computations*, ch. 21).
    fn suspects(&self, room: &Room, traverse: &Traverse) -> String {
        let size = libm::sqrt(dot(self.gap, self.gap));
        // Within about 11°: cos 0.98.
        let along = |leg: &Leg| leg.length.is_some() && dot(self.gap, leg.direction).abs() > 0.98 * size;
        let walls: Vec<_> =
            room.walls.iter().zip(&traverse.legs).filter(|(_, leg)| along(leg)).map(|(it, _)| it.id).collect();
        match walls[..] {
            [] => "No single wall explains it: check the turns and measure again.".to_owned(),
            [one] => format!("Measure {} again: it runs along the gap.", room.wall_title(one)),
            _ => format!("Measure {} again: they run along the gap.", room.wall_titles(&walls)),
        }
    }
}
