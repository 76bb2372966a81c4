//! What of the job is measured, what is disputed and what nobody has checked: room by room, the most urgent first.

use shared_model::ids::{ReadingId, RoomId, WallId};
use shared_model::job::{Across, Reading, Room, Wall};
use shared_model::problem::{Place, Problem, ProblemKind};
use shared_model::survey::words::{of_wall, title, trust};
use shared_model::survey::{Adjusted, Amount, Source, Survey, Suspect, Verdict};

use crate::checking;
use crate::known::{Known, is_wrong, sentence, wall_at, without_room};
use crate::measuring::{Aim, aim_after, is_unread_here, wall_name};
use crate::shown;

/// Why a line stands in the list, the most urgent first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Matter {
    /// Something cannot be as it was read or said.
    Wrong,
    /// Readings of one wall disagree.
    Disputed,
    /// No reading yet.
    Unread,
    /// Not said to be closed.
    Open,
    /// A length that nobody read in the room: from a drawing, or proposed.
    Unseen,
    /// One reading more makes the cuts certain enough.
    Uncertain,
    /// A slip larger than the wall allowance would go unseen.
    Unchecked,
    /// Readings that do not count: corrected, taken back or set aside.
    Aside,
}

impl Matter {
    const ALL: [Self; 8] = [
        Self::Wrong,
        Self::Disputed,
        Self::Unread,
        Self::Open,
        Self::Unseen,
        Self::Uncertain,
        Self::Unchecked,
        Self::Aside,
    ];

    /// In a few letters, beside its line.
    pub const fn badge(self) -> &'static str {
        match self {
            Self::Wrong => "look again",
            Self::Disputed => "disputed",
            Self::Unread => "to read",
            Self::Open => "open",
            Self::Unseen => "not read here",
            Self::Uncertain => "uncertain",
            Self::Unchecked => "unchecked",
            Self::Aside => "set aside",
        }
    }

    /// `2 disputed`, `5 walls to read`.
    fn counted(self, n: usize) -> String {
        match self {
            Self::Wrong => format!("{n} to look at again"),
            Self::Unread => format!("{} to read", shown::count(n, "wall", "walls")),
            Self::Open | Self::Uncertain => format!("{} {}", shown::count(n, "room", "rooms"), self.badge()),
            _ => format!("{n} {}", self.badge()),
        }
    }
}

/// One thing to see to, or to know.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    pub matter: Matter,
    pub text: String,
    /// What the keypad is for when the line is followed; `None` for the room as a whole.
    pub aim: Option<Aim>,
    /// The readings that it is about, each with who and when.
    pub readings: Vec<Reading>,
    /// How many mistakes, walls or readings it stands for; none for what else may explain a mistake told already.
    pub count: usize,
}

/// What is to be said of one room.
#[derive(Clone, PartialEq, Debug)]
pub struct Account {
    pub room: RoomId,
    pub name: String,
    /// How far it can be trusted, when that is known.
    pub trust: Option<String>,
    /// The most urgent first.
    pub lines: Vec<Line>,
}

/// Every room of the job, the most urgent first; `found` are the problems of the whole takeoff.
pub fn overview(rooms: &[Known], found: &[Problem]) -> Vec<Account> {
    let mut accounts: Vec<Account> = rooms.iter().map(|it| account(it, found)).collect();
    accounts.sort_by_key(|it| it.lines.first().map_or(Matter::Aside, |line| line.matter));
    accounts
}

/// `2 disputed · 5 walls to read`; `None` when there is nothing to see to.
pub fn summary(accounts: &[Account]) -> Option<String> {
    let lines = || accounts.iter().flat_map(|it| &it.lines);
    let counted = Matter::ALL.into_iter().filter(|it| *it != Matter::Aside).filter_map(|matter| {
        let n: usize = lines().filter(|it| it.matter == matter).map(|it| it.count).sum();
        (n > 0).then(|| matter.counted(n))
    });
    let counted: Vec<String> = counted.collect();
    (!counted.is_empty()).then(|| counted.join(" · "))
}

fn account(known: &Known, found: &[Problem]) -> Account {
    let room = known.room();
    let trust = known.survey().and_then(|it| trust(room, it, known.units()));
    let between = found.iter().filter(|it| is_between_rooms(it, room.id));
    let mut lines = wrong(known, between);
    lines.extend(suspects(known));
    lines.extend(unread(known));
    lines.extend(open(known));
    lines.extend(unseen(room));
    lines.extend(uncertain(known, trust.as_deref()));
    lines.extend(unchecked(known));
    lines.extend(aside(room));
    lines.sort_by_key(|it| it.matter);
    let trusted = known.adjusted().is_some_and(|it| it.trusted);
    Account { room: room.id, name: room.name.clone(), trust: trust.filter(|_| trusted), lines }
}

/// Whether it shows only where this room and others stand side by side: doors seen from both sides, rooms in a loop.
fn is_between_rooms(problem: &Problem, room: RoomId) -> bool {
    match (problem.kind, problem.place) {
        (ProblemKind::BadFloor, Place::Room(of) | Place::Wall(of, _)) => of == room,
        (ProblemKind::BadFloor | ProblemKind::Disputed, Place::Opening(of, _)) => of == room,
        _ => false,
    }
}

/// Problems other than work still to do; of disputed walls every reading in force.
fn wrong<'a>(known: &'a Known, between: impl Iterator<Item = &'a Problem>) -> Vec<Line> {
    let room = known.room();
    let line = |it: &Problem| {
        let wall = wall_at(room, it.place);
        let suspected = blamed(known).first().filter(|_| it.kind == ProblemKind::Suspect).and_then(|it| aim(known, it));
        let disputed = it.kind == ProblemKind::Disputed;
        let readings = match it.place {
            Place::Wall(_, wall) if disputed => room.wall(wall).map(|it| it.in_force().cloned().collect()),
            _ => None,
        };
        Line {
            matter: if disputed { Matter::Disputed } else { Matter::Wrong },
            text: without_room(room, &it.text),
            aim: suspected.or(wall.map(Aim::Wall)),
            readings: readings.unwrap_or_default(),
            count: 1,
        }
    };
    known.problems().iter().filter(|it| is_wrong(it)).chain(between).map(line).collect()
}

/// The readings that the survey holds for wrong, or one of which it does; the likeliest first.
fn blamed(known: &Known) -> &[Suspect] {
    match known.adjusted().map(|it| &it.verdict) {
        Some(Verdict::Suspects(all) | Verdict::Inseparable(all)) => all,
        _ => &[],
    }
}

fn source(known: &Known, suspect: &Suspect) -> Option<Source> {
    known.survey()?.sources.get(suspect.observation).copied()
}

fn aim(known: &Known, suspect: &Suspect) -> Option<Aim> {
    Some(match source(known, suspect)? {
        Source::Wall(wall, _) | Source::Turn(wall) => Aim::Wall(wall),
        Source::Check(of, _) => Aim::Check(of),
    })
}

/// Those that may be wrong beside the one that a problem names.
fn suspects(known: &Known) -> Vec<Line> {
    let has = |kind| known.problems().iter().any(|it| it.kind == kind);
    // Readings of one wall that disagree are to be settled first: what else looks wrong may follow from them.
    let Some(adjusted) = known.adjusted().filter(|_| !has(ProblemKind::Disputed)) else { return Vec::new() };
    let named = usize::from(has(ProblemKind::Suspect));
    let line = |suspect: &Suspect| {
        let title = sentence(&title(known.room(), source(known, suspect)?));
        Some(Line {
            matter: Matter::Wrong,
            text: format!("{title} may be wrong{}.", if named > 0 { " instead, or as well" } else { "" }),
            aim: aim(known, suspect),
            readings: Vec::new(),
            count: 0,
        })
    };
    blamed(known).iter().skip(named).filter(|it| it.fit <= adjusted.test.blunder).filter_map(line).collect()
}

/// Walls without a reading. In a room that is closed without them it says what that means.
fn unread(known: &Known) -> Option<Line> {
    let room = known.room();
    let walls: Vec<WallId> = room.walls.iter().filter(|it| it.in_force().next().is_none()).map(|it| it.id).collect();
    let first = *walls.first()?;
    let derived = known.outline().is_some_and(|it| !it.derived.is_empty());
    let text = match known.problems().iter().find(|it| derived && it.kind == ProblemKind::Unchecked) {
        Some(problem) => without_room(room, &problem.text),
        None => format!("{} not read yet.", walls_are(room, &walls)),
    };
    let next = aim_after(room, None);
    let aim = if next == Aim::Next { Aim::Wall(first) } else { next };
    Some(Line { matter: Matter::Unread, text, aim: Some(aim), readings: Vec::new(), count: walls.len() })
}

/// A ring that is still to be walked to its end, or to be closed.
fn open(known: &Known) -> Option<Line> {
    let room = known.room();
    let told = known.problems().iter().find(|it| it.kind == ProblemKind::Unmeasured).filter(|_| !room.closed)?;
    let text = without_room(room, &told.text);
    Some(Line { matter: Matter::Open, text, aim: None, readings: Vec::new(), count: 1 })
}

/// `Wall 2 is`, `Walls 2, 3 and 5 are`.
fn walls_are(room: &Room, walls: &[WallId]) -> String {
    let numbers = room.walls.iter().zip(1..).filter(|(it, _)| walls.contains(&it.id)).map(|(_, n)| n.to_string());
    match &numbers.collect::<Vec<String>>()[..] {
        [one] => format!("Wall {one} is"),
        [others @ .., last] => format!("Walls {} and {last} are", others.join(", ")),
        [] => String::new(),
    }
}

fn unseen(room: &Room) -> Option<Line> {
    let walls: Vec<WallId> = room.walls.iter().filter(|it| is_unread_here(it)).map(|it| it.id).collect();
    let first = *walls.first()?;
    let each = if walls.len() == 1 { "it" } else { "each" };
    let text = format!("{} only from a drawing or proposed: read {each} once.", walls_are(room, &walls));
    Some(Line { matter: Matter::Unseen, text, aim: Some(Aim::Wall(first)), readings: Vec::new(), count: walls.len() })
}

/// A room whose readings agree but whose cuts are not certain enough, with the reading that helps most.
fn uncertain(known: &Known, trust: Option<&str>) -> Option<Line> {
    let adjusted = known.adjusted().filter(|it| !it.trusted && it.verdict.agrees())?;
    let next = adjusted.next.and_then(|_| checking::next(known.room(), known.survey()?)).map(|it| it.0);
    let text = trust?.to_owned();
    Some(Line { matter: Matter::Uncertain, text, aim: next, readings: Vec::new(), count: 1 })
}

/// Walls in which a slip of more than the wall allowance would go unseen.
fn unchecked(known: &Known) -> Vec<Line> {
    let (Some(survey), Some(adjusted)) = (known.survey(), known.adjusted()) else { return Vec::new() };
    if !adjusted.verdict.agrees() {
        return Vec::new();
    }
    let room = known.room();
    let line = |wall: &Wall| {
        let goes_unseen = unseen_slip(survey, adjusted, wall.id).any(|it| match it {
            None => true,
            Some(least) => least > known.rules().wall_allowance,
        });
        Some(Line {
            matter: Matter::Unchecked,
            text: of_wall(room, survey, wall.id, known.units()).filter(|_| goes_unseen)?,
            aim: Some(Aim::Wall(wall.id)),
            readings: Vec::new(),
            count: 1,
        })
    };
    // What nobody read here is to be read anyway.
    room.walls.iter().filter(|it| !is_unread_here(it)).filter_map(line).collect()
}

/// Of each reading of a wall the least slip that would be found; `None` when nothing checks it.
fn unseen_slip<'a>(
    survey: &'a Survey,
    adjusted: &'a Adjusted,
    wall: WallId,
) -> impl Iterator<Item = Option<shared_model::length::Length>> + use<'a> {
    let own = survey.sources.iter().zip(&adjusted.judged);
    own.filter(move |(source, _)| matches!(source, Source::Wall(of, _) if *of == wall)).map(|(_, judged)| match judged
        .least_blunder
    {
        Some(Amount::Length(least)) => Some(least),
        _ => None,
    })
}

/// Readings that do not count any more, by the wall or the check that they are of.
fn aside(room: &Room) -> Vec<Line> {
    let line = |text: String, aim: Aim, readings: Vec<Reading>| Line {
        matter: Matter::Aside,
        text,
        aim: Some(aim),
        count: readings.len(),
        readings,
    };
    let walls = room.walls.iter().filter_map(|wall| {
        let counts: Vec<ReadingId> = wall.in_force().map(|it| it.id).collect();
        let gone: Vec<Reading> = wall.readings.iter().filter(|it| !counts.contains(&it.id)).cloned().collect();
        (!gone.is_empty()).then(|| line(wall_name(room, wall.id), Aim::Wall(wall.id), gone))
    });
    let counts: Vec<ReadingId> = room.checks_in_force().map(|it| it.reading.id).collect();
    let gone = |of: Across| {
        let same = room.checks.iter().filter(move |it| it.of == of);
        same.map(|it| &it.reading).filter(|it| !counts.contains(&it.id)).cloned().collect::<Vec<_>>()
    };
    let mut places: Vec<Across> = room.checks.iter().map(|it| it.of).collect();
    places.sort_unstable();
    places.dedup();
    let checks = places.into_iter().filter_map(|of| {
        let gone = gone(of);
        (!gone.is_empty()).then(|| line(sentence(&checking::words(room, of)), Aim::Check(of), gone))
    });
    walls.chain(checks).collect()
}

#[cfg(test)]
mod tests;
