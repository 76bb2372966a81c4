//! What rooms that do not fit together say to the crew.

use super::Site;
use super::blame::{Named, Suspect};
use super::circuit::Circuit;
use super::join::Join;
use super::network::{Conditions, Network};
use super::reading::Source;
use crate::ids::OpeningId;
use crate::job::Opening;
use crate::length::{Length, Units};
use crate::problem::{Place, Problem, ProblemKind};

/// A loop that a millimetre of a reading opens by less than this is not its loop.
const TOUCHED: f64 = 0.1;

/// A cluster with what is needed to tell of it.
pub(super) struct Loops<'a> {
    pub sites: &'a [Site<'a>],
    /// The sites of the network's places.
    pub cluster: &'a [usize],
    pub joins: &'a [&'a Join],
    pub network: &'a Network,
    pub conditions: &'a Conditions,
    pub units: Units,
}

impl Loops<'_> {
    /// What is wrong: how far which rooms miss each other, and what to measure again.
    pub fn problem(&self, named: &Named, sources: &[Source]) -> Problem {
        let open = self.open(named.reading);
        let mentioned = named.suspects.iter().map(|it| (it, sources[it.reading]));
        let mentioned: Vec<_> = mentioned.filter(|(_, source)| !matches!(source, Source::Across { .. })).collect();
        let across = named.suspects.iter().any(|it| matches!(sources[it.reading], Source::Across { .. }));
        let place = self.place(sources[named.reading]);
        let text = match &mentioned[..] {
            [] => format!("{open} Check the doors' places, the depths of the openings and the walls on the way round."),
            [(suspect, of)] if !across => {
                let (what, said) = self.item(suspect, *of);
                format!("{open} Measure {what} again: {said}.")
            }
            several => {
                let items = several.iter().map(|(suspect, of)| self.item(suspect, *of));
                let each: Vec<String> = items.map(|(what, said)| format!("{what}, {said}")).collect();
                format!("{open} Measure one of these again: {}.", each.join("; "))
            }
        };
        Problem::new(ProblemKind::BadFloor, place, text)
    }

    /// "Going round through Hall, Bedroom and Study, the rooms miss each other by 1' 0"."
    fn open(&self, reading: usize) -> String {
        let circuits = self.conditions.circuits();
        let touched = (0..circuits.len()).filter(|&it| self.conditions.effect(reading, it).norm() > TOUCHED);
        let Some(circuit) = touched.min_by_key(|&it| circuits[it].0.len()) else {
            return "The rooms do not fit together.".to_owned();
        };
        let missing = self.conditions.misclosure(circuit).norm();
        let missing = Length(libm::round(missing * Length::MM.0 as f64) as i64).show(self.units.style());
        format!("Going round through {}, the rooms miss each other by {missing}.", self.way(&circuits[circuit]))
    }

    /// The names of the rooms on the way round, beginning with the first of the job.
    fn way(&self, circuit: &Circuit) -> String {
        let start = |&(tie, sign): &(usize, f64)| {
            let tie = self.network.ties[tie];
            self.cluster[if sign > 0.0 { tie.from } else { tie.to }]
        };
        let mut way: Vec<usize> = circuit.0.iter().map(start).collect();
        let first = way.iter().enumerate().min_by_key(|it| *it.1).map_or(0, |it| it.0);
        way.rotate_left(first);
        let names: Vec<&str> = way.iter().map(|&it| self.sites[it].room.title()).collect();
        match &names[..] {
            [] => String::new(),
            [one] => (*one).to_owned(),
            [others @ .., last] => format!("{} and {last}", others.join(", ")),
        }
    }

    fn place(&self, source: Source) -> Place {
        match source {
            Source::Offset { site, opening } => Place::Opening(self.sites[site].room.id, opening),
            Source::Wall { site, wall } => Place::Wall(self.sites[site].room.id, wall),
            Source::Across { join } => {
                let side = &self.joins[join].one;
                Place::Opening(side.room, side.opening)
            }
            Source::Checked => Place::Job,
        }
    }

    /// What to measure again: "wall 2 of Hall", and what it says: "12' 4" (13' 4" would fit: a foot off?)".
    fn item(&self, suspect: &Suspect, of: Source) -> (String, String) {
        let (what, read) = self.read(of);
        let said = match (suspect.meant, suspect.fitting) {
            (Some((how, meant)), _) => format!("{read} ({} would fit: {how}?)", self.show(meant)),
            (None, Some(fitting)) => format!("{read} (about {} would fit)", self.show(fitting)),
            (None, None) => read,
        };
        (what, said)
    }

    /// What was read, and what it says.
    fn read(&self, of: Source) -> (String, String) {
        match of {
            Source::Offset { site, opening } => {
                let room = self.sites[site].room;
                let found = opening_of(&self.sites[site], opening);
                let title = found.map_or("opening", |it| it.kind.title());
                let wall = found.map_or_else(String::new, |it| room.wall_title(it.wall));
                let read = found.map_or(Length::ZERO, |it| it.offset);
                (format!("the place of the {title} in {wall} of {}", room.title()), self.show(read))
            }
            Source::Wall { site, wall } => {
                let room = self.sites[site].room;
                let read = room.wall(wall).and_then(|it| it.in_force().next()).map_or(Length::ZERO, |it| it.value);
                (format!("{} of {}", room.wall_title(wall), room.title()), self.show(read))
            }
            Source::Across { .. } | Source::Checked => (String::new(), String::new()),
        }
    }

    fn show(&self, length: Length) -> String {
        length.show(self.units.style())
    }
}

fn opening_of<'a>(site: &Site<'a>, id: OpeningId) -> Option<&'a Opening> {
    site.room.openings.iter().find(|it| it.id == id)
}

/// A house with more loops than can be adjusted.
pub(super) fn too_many(sites: &[Site], joins: &[&Join]) -> Problem {
    let first = joins.first().map(|it| it.one.site);
    let place = first.map_or(Place::Job, |it| Place::Room(sites[it].room.id));
    let text = "So many doors join these rooms that they are placed by the first ones only; nothing checks the others.";
    Problem::new(ProblemKind::BadFloor, place, text)
}
