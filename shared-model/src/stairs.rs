//! Flights of stairs against what codes allow: a measure far outside is more often a slip of the tape than a stair.
//!
//! The limits are those of the International Residential Code, R311.7, as *Jefferson County* prints them (2018) and, for the
//! nosing, as stair makers quote the 2021 edition. They judge the stair without its carpet, and new stairs only: the tool
//! asks for a second look and leaves compliance to local codes.

use crate::floor::Floor;
use crate::job::{Flight, Job};
use crate::length::Length;
use crate::problem::{Place, Problem, ProblemKind};

/// R311.7.5.1: no riser is higher.
const HIGHEST_RISER: Length = Length::sixty_fourths(7 * 64 + 48);
/// R311.7.5.2: no tread is less deep, from nosing to nosing.
const LEAST_GOING: Length = Length::inches(10);
/// R311.7.5.3: a nosing stands out so far; none is needed on treads of [`NO_NOSING`] or more.
const NOSING: (Length, Length) = (Length::sixty_fourths(48), Length::sixty_fourths(64 + 16));
const NO_NOSING: Length = Length::inches(11);
/// R311.7.1: no stair is narrower above its handrail.
const LEAST_WIDTH: Length = Length::inches(36);
/// R311.7.5.2.1: no winder is less deep where it is walked on, 12 in from its narrow side (from memory). Over its tread it is longer.
const LEAST_WINDER: Length = Length::inches(10);
/// R311.7.6: no landing is less deep in the direction of travel (from memory).
const LEAST_LANDING: Length = Length::inches(36);

/// What is unusual about the job's flights, and which do not start where they are said to.
pub fn inspect(job: &Job, floor: &Floor) -> Vec<Problem> {
    job.flights.iter().flat_map(|it| [unusual(it, job), misplaced(it, job, floor)]).flatten().collect()
}

/// A flight that does not fit the wall that it is said to start at. Nothing while its room is not closed, or it is not measured.
fn misplaced(flight: &Flight, job: &Job, floor: &Floor) -> Option<Problem> {
    let foot = flight.foot?;
    let problem = |text: String| Some(Problem::new(ProblemKind::BadFloor, Place::Flight(flight.id), text));
    let Some(room) = job.room(foot.room).filter(|it| it.wall(foot.wall).is_some()) else {
        return problem(format!("{}: the wall that it starts at was removed. Say where it starts.", flight.name));
    };
    let placed = floor.rooms.iter().find(|it| it.room == foot.room)?;
    if flight.width == Length::ZERO || placed.foot(flight).is_some() {
        return None;
    }
    let (end, title) = (foot.offset + flight.width, room.wall_title(foot.wall));
    let show = |it: Length| it.show(job.units.style());
    problem(format!(
        "{}: it is {} wide and starts {} along {title} of {}, which is shorter than {}. Measure where it starts again.",
        flight.name,
        show(flight.width),
        show(foot.offset),
        room.title(),
        show(end)
    ))
}

fn unusual(flight: &Flight, job: &Job) -> Option<Problem> {
    let show = |it: Length| it.show(job.units.style());
    let (least, most) = NOSING;
    let nosing_fits =
        (least..=most).contains(&flight.nosing) || flight.nosing == Length::ZERO && flight.going >= NO_NOSING;
    // A measure of zero is not taken yet; no nosing at all is one once the going is known.
    let going_known = flight.going > Length::ZERO;
    let under = |value: Length, least: Length| value > Length::ZERO && value < least;
    let at_least = |it: Length| format!("at least {}", show(it));
    let checks = [
        (flight.riser > HIGHEST_RISER, "riser", flight.riser, format!("at most {}", show(HIGHEST_RISER))),
        (under(flight.going, LEAST_GOING), "going", flight.going, at_least(LEAST_GOING)),
        (under(flight.width, LEAST_WIDTH), "width", flight.width, at_least(LEAST_WIDTH)),
        (
            flight.winders > 0 && under(flight.winder_reach, LEAST_WINDER),
            "winders' reach",
            flight.winder_reach,
            at_least(LEAST_WINDER),
        ),
        (under(flight.landing, LEAST_LANDING), "landing", flight.landing, at_least(LEAST_LANDING)),
        (
            (going_known || flight.nosing > Length::ZERO) && !nosing_fits,
            "nosing",
            flight.nosing,
            format!("{} to {}", show(least), show(most)),
        ),
    ];
    let found =
        checks.into_iter().filter(|it| it.0).map(|(_, what, value, limit)| format!("{what} {} ({limit})", show(value)));
    let found: Vec<String> = found.collect();
    if found.is_empty() {
        return None;
    }
    let text = format!(
        "{}: {} is outside what the IRC, R311.7, allows a new stair. Measure it again; if it is so, local code and a builder decide.",
        flight.name,
        found.join(", ")
    );
    Some(Problem::new(ProblemKind::Unusual, Place::Flight(flight.id), text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;
    use crate::ids::JobId;
    use crate::job::{JobDoc, Timestamp};
    use uuid::Uuid;

    fn job(change: impl Fn(&mut Flight)) -> Job {
        let actions = demo::actions();
        let mut doc = JobDoc::new(JobId(Uuid::from_u128(1)), [1; 16], actions[0].by);
        for (at, action) in (0..).zip(&actions) {
            doc.edit(&action.edits, action.said, Timestamp(at)).unwrap();
        }
        let mut job = doc.job();
        job.flights.iter_mut().for_each(change);
        job
    }

    /// The limits themselves are allowed: riser 7 3/4 in, tread 10 in, nosing 3/4 to 1 1/4 in, or none on 11 in.
    #[test]
    fn the_codes_limits_are_allowed() {
        for (riser, going, nosing) in [(496, 640, 48), (496, 640, 80), (256, 704, 0)] {
            let job = job(|it| {
                (it.riser, it.going) = (Length::sixty_fourths(riser), Length::sixty_fourths(going));
                it.nosing = Length::sixty_fourths(nosing);
            });
            assert_eq!(inspect(&job, &Floor::default()), []);
        }
    }

    #[test]
    fn what_is_not_measured_yet_is_not_judged() {
        let zero = Length::ZERO;
        let new = job(|it| (it.riser, it.going, it.nosing) = (zero, zero, zero));
        assert_eq!(inspect(&new, &Floor::default()), []);
        let begun = job(|it| (it.riser, it.going, it.nosing) = (Length::inches(9), zero, zero));
        let [problem] = &inspect(&begun, &Floor::default())[..] else { panic!("one flight, one problem") };
        assert!(problem.text.contains("riser 9\" (at most 7 3/4\") is outside"), "{}", problem.text);
    }

    #[test]
    fn what_is_outside_is_said_with_its_limit() {
        let steep = job(|it| (it.riser, it.going) = (Length::inches(9), Length::inches(8)));
        let [problem] = &inspect(&steep, &Floor::default())[..] else { panic!("one flight, one problem") };
        assert_eq!(problem.kind, ProblemKind::Unusual);
        assert!(problem.text.contains("riser 9\" (at most 7 3/4\"), going 8\" (at least 10\")"), "{}", problem.text);
        let sharp = job(|it| it.nosing = Length::ZERO);
        assert!(
            inspect(&sharp, &Floor::default())[0].text.contains("nosing"),
            "none is allowed on a tread of less than 11 in"
        );
    }
}
