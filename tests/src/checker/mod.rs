//! Checks a takeoff against its job from first principles: reads the engine's output, shares no code with it.
//!
//! Everything is seen with the pile running away: `u` across to the right, `v` along. Slanted walls are compared with a
//! tolerance of a few counts (1/8 µm), everything else exactly.

mod areas;
mod cut_already;
mod flights;
mod on_hand;
mod plane;
mod rolls;
mod tiles;
mod totals;

use std::fmt::Debug;

use plane::{Polygon, edges, inside, perimeter};
use tiles::tile;

use shared_model::floor::{NapGroup, PlacedRoom};
use shared_model::ids::RoomId;
use shared_model::job::{FloorAtOpening, Goods, Job, Match, Source};
use shared_model::layout::{Layout, Part, Piece, PileDirection, SeamKind};
use shared_model::length::Length;
use shared_model::nest::RollPlan;
use shared_model::polygon::Ring;
use shared_model::takeoff::{Takeoff, takeoff};

/// In counts: what slanted walls may be off by.
const TOLERANCE: f64 = 4.0;
/// How far beyond an edge one looks for what lies there, in counts: 1/4 mm.
const BEYOND: f64 = 2_000.0;

/// Everything that is wrong with the layouts of a takeoff. Empty when all is well.
pub fn faults(job: &Job, takeoff: &Takeoff) -> Vec<String> {
    let mut faults = Faults(Vec::new());
    for each in &takeoff.goods {
        let Some(goods) = job.goods.iter().find(|it| it.id == each.goods) else {
            faults.0.push(format!("{} is none of the job's goods", each.name));
            continue;
        };
        for layout in &each.layouts {
            let check = Check { job, takeoff, goods, layout };
            check.all(&mut faults);
        }
        let measures = |it: &Layout| (it.order, it.seam_length, it.seam_cost);
        faults.expect(each.layouts.is_sorted_by_key(measures), || format!("{}: layouts not best first", each.name));
        // What the crew chose stays in the list.
        let kept = |i: usize| each.standing.is_some() && i == each.chosen;
        faults.expect(each.layouts.len() <= 8 + usize::from(each.standing.is_some()), || {
            format!("{}: too many layouts", each.name)
        });
        for (i, one) in each.layouts.iter().enumerate() {
            let (a, b, c) = measures(one);
            let beaten = each.layouts.iter().enumerate().any(|(j, other)| {
                let (x, y, z) = measures(other);
                i != j && !kept(j) && x <= a && y <= b && z <= c && other.parted <= one.parted
            });
            faults.expect(!beaten || kept(i), || format!("{}: layout {} is beaten by another", each.name, one.name));
            let twice = each.layouts[..i].iter().any(|it| it.key == one.key || it.name == one.name);
            faults.expect(!twice, || format!("{}: two layouts are called {} or {}", each.name, one.key, one.name));
        }
    }
    faults.0
}

/// A takeoff in which nothing is wrong.
#[track_caller]
pub fn sound(job: &Job) -> Takeoff {
    let taken = takeoff(job);
    assert_eq!(faults(job, &taken), Vec::<String>::new());
    taken
}

struct Faults(Vec<String>);

impl Faults {
    fn expect(&mut self, fine: bool, text: impl FnOnce() -> String) {
        if !fine {
            self.0.push(text());
        }
    }

    fn equal<T: PartialEq + Debug>(&mut self, what: impl FnOnce() -> String, found: &T, wanted: &T) {
        self.expect(found == wanted, || format!("{}: {found:?}, but should be {wanted:?}", what()));
    }
}

struct Check<'a> {
    job: &'a Job,
    takeoff: &'a Takeoff,
    goods: &'a Goods,
    layout: &'a Layout,
}

impl<'a> Check<'a> {
    fn all(&self, faults: &mut Faults) {
        self.roll(faults);
        self.on_hand(faults);
        self.totals(faults);
        self.areas(faults);
        let floor = &self.takeoff.floor;
        for (index, group) in floor.groups.iter().enumerate().filter(|(_, it)| it.goods == self.goods.id) {
            let Some(pile) = self.layout.groups.iter().find(|it| it.group == index).map(|it| it.pile) else {
                faults.expect(!self.takeoff.problems.is_empty(), || {
                    format!("group {index} is not laid, and nobody says why")
                });
                continue;
            };
            for placed in floor.rooms.iter().filter(|it| group.rooms.contains(&it.room)) {
                let as_one = self.as_one(placed.room);
                if as_one[0].room == placed.room {
                    self.rooms(&as_one, pile, faults);
                }
            }
            self.pattern(group, pile, faults);
        }
        self.flights(faults);
    }

    /// Pieces beside and behind each other on a roll or a remnant; where they end.
    fn strip(&self, source: Source, pieces: &[Piece], roll: &RollPlan, faults: &mut Faults) -> Length {
        faults.equal(|| "placements".into(), &roll.placements.len(), &pieces.len());
        let laid: Vec<_> = pieces.iter().zip(&roll.placements).collect();
        let mut end = Length::ZERO;
        for (i, (piece, at)) in laid.iter().enumerate() {
            let name = || format!("{} ({})", piece.id, piece.label);
            faults.equal(name, &at.piece, &piece.id);
            let inside = at.x >= Length::ZERO && at.x + piece.width <= roll.width && at.y >= Length::ZERO;
            faults.expect(inside, || format!("{} lies outside the roll", name()));
            faults.expect(piece.width > Length::ZERO && piece.length > Length::ZERO, || format!("{} is empty", name()));
            end = end.max(at.y + piece.length);
            for (other, there) in &laid[..i] {
                let beside = at.x + piece.width <= there.x || there.x + other.width <= at.x;
                let behind = at.y + piece.length <= there.y || there.y + other.length <= at.y;
                let clear = beside || behind || self.fit_into_each_other((piece, at), (other, there));
                faults.expect(clear, || format!("{} and {} overlap on the roll", name(), other.id));
                faults.expect(other.id != piece.id, || format!("two pieces are called {}", piece.id));
            }
        }
        self.cut_already(source, &laid, faults);
        end = self.gone(source).iter().map(|it| it.place.y + it.place.length).fold(end, Length::max);
        faults.equal(|| "length of the plan".into(), &roll.length, &end);
        end
    }

    fn pieces_of(&self, room: RoomId) -> impl Iterator<Item = &'a Piece> {
        let of = move |it: &&Piece| matches!(it.part, Part::Breadth { room: own, .. } if own == room);
        self.layout.placed().map(|(piece, _)| piece).filter(of)
    }

    fn is_left_out(&self, room: RoomId) -> bool {
        self.layout.left_out.iter().any(|it| matches!(it.part, Part::Breadth { room: own, .. } if own == room))
    }

    fn rooms(&self, rooms: &[&PlacedRoom], pile: PileDirection, faults: &mut Faults) {
        let name = &rooms[0].name;
        let pieces: Vec<Laid> = self.pieces_of(rooms[0].room).map(|it| Laid::of(it, pile)).collect();
        if pieces.is_empty() {
            let said = !self.takeoff.problems.is_empty() || self.is_left_out(rooms[0].room);
            faults.expect(said, || format!("{name} is not laid, and nobody says why"));
            return;
        }
        let covered: Vec<Polygon> = rooms.iter().map(|it| seen(&it.covered, pile)).collect();
        let covers: Vec<Polygon> = pieces.iter().flat_map(|it| it.covers.iter().cloned()).collect();
        let play = if rooms.len() > 1 { areas::PLAY } else { 0.0 };
        tile(name, &covered, &covers, play, faults);

        let through = self.run_through(&covered, |(x, y)| turn(x, y, pile));
        let around: f64 = covered.iter().map(perimeter).sum::<f64>() - 2.0 * through;
        let all: f64 = covers.iter().map(|it| perimeter(it) - 2.0 * areas::closed(it)).sum();
        let seams = self
            .layout
            .seams
            .iter()
            .filter(|it| it.kind != SeamKind::Opening && rooms.iter().any(|room| room.room == it.room));
        let seams: f64 = seams.map(|it| it.length.0 as f64).sum();
        let tolerance = TOLERANCE * (20 * covers.len()) as f64 + 8.0 * play * (rooms.len() - 1) as f64;
        faults.expect((all - around - 2.0 * seams).abs() <= tolerance, || {
            format!("{name}: {seams} of seam, but the pieces meet along {}", (all - around) / 2.0)
        });
        for (i, laid) in pieces.iter().enumerate() {
            faults.expect(laid.piece.pile == pile, || format!("{}: another pile than its group", laid.piece.id));
            self.sizes(laid, faults);
            self.margins(laid, &pieces, i, rooms.iter().any(|it| self.is_joined(it.room)), faults);
        }
    }

    /// Width lies across the pile and length along it: a turned piece would not have these sizes.
    fn sizes(&self, laid: &Laid, faults: &mut Faults) {
        let (piece, extra, rules) = (laid.piece, laid.piece.extra, &self.job.rules);
        let id = &piece.id;
        let net = [piece.width - extra.left - extra.right, piece.length - extra.start - extra.end];
        let bounds = [laid.right - laid.left, laid.end - laid.start];
        faults.equal(
            || format!("{id}: width and length less trims and allowances"),
            &net.map(|it| it.0 as f64),
            &bounds,
        );
        let step = rules.cut_step.0.max(1);
        faults.expect(piece.width.0 % step == 0 || piece.width == self.goods.roll_width, || {
            format!("{id}: width not rounded")
        });
        faults.expect(piece.length.0 % step == 0, || format!("{id}: length not rounded"));
        let most = Length(rules.wall_allowance.0.max(rules.seam_trim.0) + step - 1);
        for (side, it) in [("left", extra.left), ("right", extra.right), ("start", extra.start), ("end", extra.end)] {
            faults.expect(it <= most, || format!("{id}: {it:?} at the {side} is more than any rule asks"));
        }
        if let Part::Breadth { fill: Some(_), .. } = piece.part
            && self.cross_seamed(laid)
        {
            faults.expect(bounds[1] >= rules.least_piece.0 as f64, || format!("{id}: shorter than the least piece"));
        }
    }

    fn cross_seamed(&self, laid: &Laid) -> bool {
        let touches = |u: f64, v: f64| u >= laid.left && u <= laid.right && (v == laid.start || v == laid.end);
        self.layout.seams.iter().filter(|it| it.kind == SeamKind::Cross).any(|it| {
            let (u, v) = turn(it.from.x.0, it.from.y.0, laid.piece.pile);
            touches(u, v)
        })
    }

    /// Whether carpet of another room joins this room's in an opening.
    fn is_joined(&self, room: RoomId) -> bool {
        let leads = |from: RoomId| {
            let openings = self.job.rooms.iter().filter(move |it| it.id == from).flat_map(|it| &it.openings);
            openings
                .filter(|it| it.kind.reaches_floor() && it.floor != FloorAtOpening::OtherFloor)
                .filter_map(|it| it.leads_to)
        };
        leads(room).next().is_some() || self.job.rooms.iter().any(|it| leads(it.id).any(|to| to == room))
    }

    /// The trim beyond every seam edge, and the allowance beyond every wall edge.
    fn margins(&self, laid: &Laid, pieces: &[Laid], own: usize, joined: bool, faults: &mut Faults) {
        let trim = self.job.rules.seam_trim.0 as f64;
        let allowance = self.job.rules.wall_allowance.0 as f64;
        for (side, du, dv) in [("right", 1.0, 0.0), ("left", -1.0, 0.0), ("end", 0.0, 1.0), ("start", 0.0, -1.0)] {
            for (a, b) in laid.covers.iter().flat_map(edges) {
                // Clockwise, so outward is to the left of the edge.
                let outward = -(b.1 - a.1) * du + (b.0 - a.0) * dv;
                let straight = (b.0 - a.0) * du + (b.1 - a.1) * dv == 0.0;
                if outward <= 0.0 {
                    continue;
                }
                // Uneven shares: in the middle of an edge a corner may touch it, a wall of no length between two seams.
                for share in [0.003, 0.0199, 0.1013, 0.2517, 0.4987, 0.7519, 0.8993, 0.9801, 0.997] {
                    let (u, v) = (a.0 + (b.0 - a.0) * share, a.1 + (b.1 - a.1) * share);
                    // So near a corner a slanted wall that begins there lies between this point and the one beyond.
                    let to_corner = (b.0 - a.0).hypot(b.1 - a.1) * share.min(1.0 - share);
                    if straight && to_corner < 2.0 * BEYOND {
                        continue;
                    }
                    let beyond = (u + BEYOND * du, v + BEYOND * dv);
                    let holds = |it: &Laid| it.covers.iter().any(|it| inside(it, beyond));
                    if holds(laid) {
                        continue;
                    }
                    let seam = pieces.iter().enumerate().any(|(i, it)| i != own && holds(it));
                    let margin = if seam { trim } else { allowance };
                    let needed = (u + margin * du, v + margin * dv);
                    // Where the next piece tapers to nothing along the seam, its cut is what reaches beyond the wall.
                    let next_to = (u + 2.0 * TOLERANCE * du, v + 2.0 * TOLERANCE * dv);
                    let touches = |it: &Laid| it.covers.iter().any(|it| inside(it, next_to));
                    let tapers = !seam && pieces.iter().enumerate().any(|(i, it)| i != own && touches(it));
                    let others = (!straight || tapers) && pieces.iter().any(|it| it.cut_reaches(needed));
                    faults.expect(laid.cut_reaches(needed) || others, || {
                        let what = if seam { "seam" } else { "wall" };
                        format!(
                            "{}: too little carpet at the {side}, beyond the {what} at {u:.0}, {v:.0}",
                            laid.piece.id
                        )
                    });
                    // An opening to another room's carpet is seamed too.
                    let needed = (u + trim * du, v + trim * dv);
                    faults.expect(!joined || laid.cut_reaches(needed) || others, || {
                        format!("{}: too little to seam at the {side}", laid.piece.id)
                    });
                }
            }
        }
    }

    /// The pattern goes on across every seam: between floor and roll, all pieces of a group are shifted alike, but for the
    /// drop from breadth to breadth.
    fn pattern(&self, group: &NapGroup, pile: PileDirection, faults: &mut Faults) {
        let (goods, layout) = (self.goods, self.layout);
        if goods.pattern == Match::None {
            faults.expect(layout.placed().all(|(it, _)| it.phase.is_none()), || "plain goods have no phase".into());
            return;
        }
        let repeat = goods.repeat_length.0;
        let drop = match goods.pattern {
            Match::Drop { numerator, denominator } => f64::from(numerator) / f64::from(denominator),
            _ => 0.0,
        };
        let of_group = |it: &Piece| matches!(it.part, Part::Breadth { room, .. } if group.rooms.contains(&room));
        let alone = layout.placed().filter(|(it, _)| of_group(it)).count() == 1;
        let (mut first, mut first_from) = (None, None);
        for &room in &group.rooms {
            let mut across = None;
            for (piece, at) in layout.placed() {
                let Part::Breadth { room: own, breadth, .. } = piece.part else { continue };
                // What was cut from another carpet was matched by eye.
                let by_eye =
                    layout.cut.get(&piece.id).is_some_and(|it| *first_from.get_or_insert(it.source) != it.source);
                if own != room || by_eye {
                    continue;
                }
                let laid = Laid::of(piece, pile);
                let start = laid.start - piece.extra.start.0 as f64;
                let shift = drop * f64::from(breadth - 1) * repeat as f64;
                let along = (at.y.0 as f64 - start - shift).rem_euclid(repeat as f64);
                let wanted = *first.get_or_insert(along);
                faults.expect(alone || apart(along, wanted, repeat) <= 1.0, || {
                    format!("{}: out of step along the roll", piece.id)
                });
                let kept = piece.phase.map_or(alone, |it| (at.y.0 - it.0).rem_euclid(repeat) == 0);
                faults.expect(kept, || format!("{}: not at its phase", piece.id));
                let columns = goods.repeat_width.0;
                if columns > 0 {
                    let left = laid.left - piece.extra.left.0 as f64;
                    let column = (at.x.0 as f64 - left).rem_euclid(columns as f64);
                    let wanted = *across.get_or_insert(column);
                    faults
                        .expect(apart(column, wanted, columns) <= 1.0, || format!("{}: out of step across", piece.id));
                }
            }
        }
    }
}

/// A piece as it lies on the floor.
struct Laid<'a> {
    piece: &'a Piece,
    covers: Vec<Polygon>,
    left: f64,
    right: f64,
    start: f64,
    end: f64,
}

impl<'a> Laid<'a> {
    fn of(piece: &'a Piece, pile: PileDirection) -> Self {
        let covers: Vec<Polygon> = piece.covers.iter().map(|it| seen(it, pile)).collect();
        let points = || covers.iter().flatten();
        let least = |it: fn(&(f64, f64)) -> f64| points().map(it).fold(f64::INFINITY, f64::min);
        let most = |it: fn(&(f64, f64)) -> f64| points().map(it).fold(f64::NEG_INFINITY, f64::max);
        let (left, right) = (least(|it| it.0), most(|it| it.0));
        let (start, end) = (least(|it| it.1), most(|it| it.1));
        Self { piece, left, right, start, end, covers }
    }

    /// Whether the cut, laid with its margins, reaches this point of the floor.
    fn cut_reaches(&self, (u, v): (f64, f64)) -> bool {
        let extra = self.piece.extra;
        u >= self.left - extra.left.0 as f64 - TOLERANCE
            && u <= self.right + extra.right.0 as f64 + TOLERANCE
            && v >= self.start - extra.start.0 as f64 - TOLERANCE
            && v <= self.end + extra.end.0 as f64 + TOLERANCE
    }
}

fn turn(x: i64, y: i64, pile: PileDirection) -> (f64, f64) {
    let (x, y) = (x as f64, y as f64);
    match pile {
        PileDirection::North => (x, y),
        PileDirection::East => (-y, x),
        PileDirection::South => (-x, -y),
        PileDirection::West => (y, -x),
    }
}

fn seen(ring: &Ring, pile: PileDirection) -> Polygon {
    ring.0.iter().map(|it| turn(it.x.0, it.y.0, pile)).collect()
}

/// How far two phases are apart on their circle.
fn apart(one: f64, other: f64, step: i64) -> f64 {
    let apart = (one - other).abs() % step as f64;
    apart.min(step as f64 - apart)
}
