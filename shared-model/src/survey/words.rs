//! What a survey says to the crew.

use super::network::Amount;
use super::{NextCheck, Source, Span, Survey, Verdict};
use crate::ids::WallId;
use crate::job::{Across, Room};
use crate::length::{Length, Units};
use crate::problem::{Place, Problem, ProblemKind};

/// The problem that a survey finds; `None` when its readings agree, or when there is no ring to judge.
pub fn problem(room: &Room, survey: &Survey, units: Units) -> Option<Problem> {
    let adjusted = survey.result.as_ref().ok()?;
    let (Verdict::Suspects(suspects) | Verdict::Inseparable(suspects)) = &adjusted.verdict else { return None };
    let name = room.title();
    let source = |observation: usize| survey.sources.get(observation).copied();
    let first = suspects.first().and_then(|it| Some((it, source(it.observation)?)));
    let Some((suspect, of)) = first else {
        let text = format!("{name}: its readings do not agree, and none of them can be blamed. Read a wall again.");
        return Some(Problem::new(ProblemKind::Suspect, Place::Room(room.id), text));
    };
    let title = title(room, of);
    if let Verdict::Inseparable(_) = adjusted.verdict {
        let alike: Vec<String> =
            suspects.iter().filter_map(|it| source(it.observation)).map(|it| self::title(room, it)).collect();
        let next = adjusted.next.map(|it| format!(" {}.", do_next(room, &it))).unwrap_or_default();
        let text = match &alike[..] {
            [_] | [] => {
                format!("{name}: {title} does not agree with the others, and nothing else tells which is wrong.{next}")
            }
            [others @ .., last] => {
                let others = others.join(", ");
                format!("{name}: {others} and {last} do not agree; one reading more tells which is wrong.{next}")
            }
        };
        return Some(Problem::new(ProblemKind::Suspect, place(room, of), text));
    }
    let judged = adjusted.judged.get(suspect.observation)?;
    let read = survey.network.observations.get(suspect.observation)?.amount();
    let show = |it: Length| it.show(units.style());
    let text = match (read, suspect.proposed) {
        (Amount::Length(read), Some((slip, Amount::Length(meant)))) => {
            format!(
                "{name}: {title} reads {}; {} would fit: {}? Measure it again.",
                show(read),
                show(meant),
                slip.words()
            )
        }
        (Amount::Angle(_), Some((slip, _))) => format!("{name}: {title} does not fit: {}?", slip.words()),
        (Amount::Length(read), _) => match judged.residual {
            Amount::Length(residual) if judged.redundancy > 0.0 => {
                let off = Length((residual.0 as f64 / judged.redundancy) as i64).abs();
                format!("{name}: {title} reads {} and is off by about {}. Measure it again.", show(read), show(off))
            }
            _ => format!("{name}: {title} reads {} and does not fit the others. Measure it again.", show(read)),
        },
        _ => format!("{name}: {title} is not what was said. Look at it again."),
    };
    Some(Problem::new(ProblemKind::Suspect, place(room, of), text))
}

/// What the others say of a wall, in a sentence or two; `None` when the room cannot be adjusted or the wall is not read.
pub fn of_wall(room: &Room, survey: &Survey, wall: WallId, units: Units) -> Option<String> {
    let adjusted = survey.result.as_ref().ok()?;
    let own =
        survey.sources.iter().zip(&adjusted.judged).filter(|(it, _)| matches!(it, Source::Wall(of, _) if *of == wall));
    let judged: Vec<_> = own.map(|(_, it)| it).collect();
    let (mut off, mut least) = (Length::ZERO, None);
    for it in &judged {
        if let Amount::Length(residual) = it.residual {
            off = off.max(residual.abs());
        }
        if let Some(Amount::Length(blunder)) = it.least_blunder {
            least = least.max(Some(blunder));
        }
    }
    judged.first()?;
    let number = room.walls.iter().position(|it| it.id == wall)? + 1;
    let title = format!("Wall {number}");
    let show = |it: Length| it.show(units.style());
    Some(match least {
        None => format!("{title}: nothing checks it, a slip in it would go unseen."),
        Some(least) => {
            format!("{title} fits the others to {}. A slip of less than {} would go unseen.", show(off), show(least))
        }
    })
}

/// How far what is cut for the room can be relied on, or what would help.
pub fn trust(room: &Room, survey: &Survey, units: Units) -> Option<String> {
    let adjusted = survey.result.as_ref().ok()?;
    let worst = adjusted.cuts.iter().map(|it| it.uncertainty).max()?;
    let show = worst.show(units.style());
    if adjusted.trusted {
        return Some(format!("Cuts are certain to {show}."));
    }
    let next = adjusted.next.map(|it| format!(" {}.", do_next(room, &it))).unwrap_or_default();
    adjusted.verdict.agrees().then(|| format!("Cuts are certain to {show} only.{next}"))
}

/// What to do for a check, as a sentence without its end.
pub fn do_next(room: &Room, next: &NextCheck) -> String {
    let corner = |it: usize| it + 1;
    match next.of {
        Span::Wall(wall) => {
            format!("Read {} again", room.walls.get(wall).map_or_else(String::new, |it| room.wall_title(it.id)))
        }
        Span::Across { from, to } => format!("Hold the tape from corner {} to corner {}", corner(from), corner(to)),
        Span::Offset { corner: at, wall } => {
            format!("Hold the tape from corner {} square to wall {}", corner(at), wall + 1)
        }
        Span::Width { wall, opposite } => format!("Hold the tape from wall {} to wall {}", wall + 1, opposite + 1),
    }
}

/// "wall 3", "the check from corner 1 to corner 3", "the corner after wall 2".
pub fn title(room: &Room, of: Source) -> String {
    let number = |wall: WallId| room.walls.iter().position(|it| it.id == wall).map_or(0, |it| it + 1);
    match of {
        Source::Wall(wall, _) => room.wall_title(wall),
        Source::Turn(wall) => format!("the corner after {}", room.wall_title(wall)),
        Source::Check(Across::Corners { from, to }, _) => {
            format!("the check from corner {} to corner {}", number(from), number(to))
        }
        Source::Check(Across::Offset { corner, wall }, _) => {
            format!("the check from corner {} to wall {}", number(corner), number(wall))
        }
        Source::Check(Across::Walls { wall, opposite }, _) => {
            format!("the check from wall {} to wall {}", number(wall), number(opposite))
        }
    }
}

fn place(room: &Room, of: Source) -> Place {
    match of {
        Source::Wall(wall, _) => Place::Wall(room.id, wall),
        Source::Turn(wall) => Place::Corner(room.id, wall),
        Source::Check(..) => Place::Room(room.id),
    }
}
