//! A room of the job as a network: which reading is which observation, and how far each can be trusted.

use serde::{Deserialize, Serialize};

use super::network::{Network, Observation, Span, Unsolved};
use super::{Adjusted, Settings, Verdict, adjust};
use crate::ids::{ReadingId, WallId};
use crate::job::{Across, Reading, Room, Rules, Tool};
use crate::length::{Length, Units};

/// Where an observation comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Source {
    /// A reading of a wall.
    Wall(WallId, ReadingId),
    /// A check across the room.
    Check(Across, ReadingId),
    /// What was said of the corner at a wall's end; nothing said means square.
    Turn(WallId),
}

/// What the readings of one room say of each other.
#[derive(Clone, PartialEq, Debug)]
pub struct Survey {
    /// One for each observation, in the same order.
    pub sources: Vec<Source>,
    pub network: Network,
    pub result: Result<Adjusted, Unsolved>,
}

impl Survey {
    /// One reading is likelier to be wrong than any other.
    pub fn names_one(&self) -> bool {
        self.result.as_ref().is_ok_and(|it| matches!(it.verdict, Verdict::Suspects(_)))
    }
}

/// Surveys a room as it stands.
pub fn survey(room: &Room, rules: &Rules, units: Units) -> Survey {
    let (network, sources) = network(room, rules);
    let settings = Settings { allowance: rules.wall_allowance, thickness: thickness(room), units };
    let result = adjust(&network, &settings);
    Survey { sources, network, result }
}

fn network(room: &Room, rules: &Rules) -> (Network, Vec<Source>) {
    let count = room.walls.len();
    let mut network = Network { corners: count, ..Network::default() };
    let mut sources = Vec::new();
    let length = |of, it: &Reading| Observation::Length {
        of,
        value: it.value,
        sigma: sigma(it.value, it.tool, rules),
        typed: it.typed.clone(),
    };
    for (i, wall) in room.walls.iter().enumerate() {
        for it in wall.in_force() {
            network.observations.push(length(Span::Wall(i), it));
            sources.push(Source::Wall(wall.id, it.id));
        }
        let (corner, value) = ((i + 1) % count, wall.turn());
        if wall.turns_freely() {
            network.looks.push((corner, value));
        } else {
            network.observations.push(Observation::Turn { corner, value, sigma: rules.square });
            sources.push(Source::Turn(wall.id));
        }
    }
    for check in room.checks_in_force() {
        let at = |wall: WallId| room.walls.iter().position(|it| it.id == wall);
        let span = match check.of {
            Across::Corners { from, to } => at(from).zip(at(to)).map(|(from, to)| Span::Across { from, to }),
            Across::Offset { corner, wall } => {
                at(corner).zip(at(wall)).map(|(corner, wall)| Span::Offset { corner, wall })
            }
            Across::Walls { wall, opposite } => {
                at(wall).zip(at(opposite)).map(|(wall, opposite)| Span::Width { wall, opposite })
            }
        };
        // A check whose wall was removed says nothing any more; one that a later edit made impossible is left out too.
        let Some(of) = span.filter(|it| network.has(*it)) else { continue };
        network.observations.push(length(of, &check.reading));
        sources.push(Source::Check(check.of, check.reading.id));
    }
    (network, sources)
}

/// The standard deviation of a reading: what its instrument leaves and, in quadrature, what plaster, skirting and the choice of
/// the point do (the rules' wall surface).
///
/// * A tape of class I, II or III (EU directive 2014/32, annex MI-008; OIML R 35-1) may be off by a + b·L + c, L in metres rounded
///   up, c for the end that is held against a wall. Nothing between these bounds is likelier, so the bound is divided by √3
///   (rectangular distribution; GUM, JCGM 100:2008, 4.3.7).
/// * A laser by 1 mm to 10 m and 0.025 mm for every metre begun beyond: makers' figures after ISO 16331-1, stated as two
///   standard deviations, so halved (GUM 4.3.3).
/// * A length from a drawing: 1 %, at least 1/2 in (our judgement).
pub(crate) fn sigma(value: Length, tool: Tool, rules: &Rules) -> Length {
    let metres = value.0.div_euclid(Length::METRE.0) + i64::from(value.0 % Length::METRE.0 != 0);
    let metres = metres as f64;
    let instrument = match tool {
        Tool::Tape => {
            let (a, b, c) = match rules.tape_class {
                1 => (0.1, 0.1, 0.1),
                3 => (0.6, 0.4, 0.3),
                _ => (0.3, 0.2, 0.2),
            };
            (a + b * metres + c) / libm::sqrt(3.0)
        }
        Tool::Laser => (1.0 + 0.025 * (metres - 10.0).max(0.0)) / 2.0,
        Tool::Plan => Length(value.0 / 100).max(Length::sixty_fourths(32)).as_mm(),
    };
    super::network::length(libm::hypot(instrument, rules.wall_surface.as_mm())).max(Length(1))
}

/// The usual thickness of the room's walls: that of its openings, or 4 1/2 in, a stud wall with board on both sides.
fn thickness(room: &Room) -> Length {
    room.openings.iter().map(|it| it.depth).max().filter(|it| *it > Length::ZERO).unwrap_or(Length::sixty_fourths(288))
}
