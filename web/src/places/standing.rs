//! How the ring stands, in words over the sketch: what is known, what is wrong, and the keys that go with it.

use leptos::prelude::*;
use shared_model::ids::WallId;
use shared_model::job::Room;
use shared_model::length::Length;
use shared_model::outline::{Misclosure, Outline, sketch};
use shared_model::problem::{Problem, ProblemKind};
use shared_model::survey::words;

use super::measure::Measuring;
use super::why::{Why, WhyKey};
use crate::keypad::keep_focus;
use crate::known::{Known, is_wrong, wall_at, without_room};
use crate::measuring::{Aim, gap_words, is_unread_here, wall_name};
use crate::proposal::Proposal;
use crate::shown;

#[component]
pub fn Standing() -> impl IntoView {
    let measuring: Measuring = expect_context();
    let Measuring { known, aim, .. } = measuring;
    // Picking a wall looks for nothing again.
    let ring = Memo::new(move |_| known.with(|it| it.as_ref().map(of_ring)));
    let words = Memo::new(move |_| {
        let (ring, picked) = (ring.get()?, aim.get().wall());
        known.with(|it| it.as_ref().map(|it| of_picked(it, picked, ring)))
    });
    let why = RwSignal::new(false);
    let note = move || {
        words.get().filter(|it| !it.text.is_empty()).map(|Words { text, tone, wall, proposal }| {
            let class = match tone {
                Tone::Said => "measure-note",
                Tone::Wrong => "measure-note problem",
                Tone::Work => "measure-note problem problem-work",
            };
            let there = wall.filter(|_| tone == Tone::Wrong && aim.get().wall().is_none());
            let go = there.map(|wall| view! {
                <button type="button" class="button" id="go-to-wall" on:click=move |_| aim.set(Aim::Wall(wall))>"Go to it"</button>
            });
            let take = proposal.zip(known.get()).map(|(it, known)| view! {
                <button type="button" class="button" id="take-proposed" aria-label=it.label(known.room(), known.units()) on:click=move |_| measuring.take_proposed(it)>
                    {it.key(known.units())}
                </button>
            });
            view! {
                <div class=class>
                    <span class="note-text" id="standing" role="status">{text}</span>
                    <span class="note-keys" on:mousedown=keep_focus>{go}{take}<WhyKey open=why /></span>
                </div>
            }
        })
    };
    view! { {note}<Why open=why /> }
}

#[derive(Clone, PartialEq, Debug)]
struct Words {
    text: String,
    tone: Tone,
    /// The wall that it is about.
    wall: Option<WallId>,
    /// What one tap would put in place of what is wrong.
    proposal: Option<Proposal>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Tone {
    Said,
    Wrong,
    Work,
}

fn said(text: String) -> Words {
    Words { text, tone: Tone::Said, wall: None, proposal: None }
}

/// What is known of the picked wall. While one wall is entered, what is wrong elsewhere waits.
fn of_picked(known: &Known, picked: Option<WallId>, ring: Words) -> Words {
    let room = known.room();
    match picked {
        Some(wall) if ring.tone != Tone::Said && ring.wall != picked => said(read_words(room, wall)),
        Some(wall) if known.outline().is_some() && known.problems().is_empty() => {
            known.survey().and_then(|it| words::of_wall(room, it, wall, known.units())).map_or(ring, said)
        }
        _ => ring,
    }
}

fn read_words(room: &Room, wall: WallId) -> String {
    let name = wall_name(room, wall);
    match room.wall(wall).map_or(0, |it| it.in_force().count()) {
        0 => String::new(),
        1 => format!("{name} is read once."),
        n => format!("{name} is read {n} times."),
    }
}

/// What is known of the ring and what to do.
fn of_ring(known: &Known) -> Words {
    let (room, units) = (known.room(), known.units());
    if room.walls.is_empty() {
        return said("Start at any corner and go round to the right, or start from a shape.".to_owned());
    }
    if !room.closed {
        let sketch = sketch(room, known.rules());
        let gap = gap_words(&sketch, units).unwrap_or_default();
        return said(if sketch.closes { format!("{gap} It can be closed.") } else { gap });
    }
    let problems = known.problems();
    let worst = problems.iter().find(|it| is_wrong(it)).or(problems.first());
    match (known.outline(), worst) {
        (_, Some(problem)) if is_wrong(problem) => wrong(known, problem),
        (Some(outline), None) => said(format!("{}. {}", closed_words(outline, known), trust_words(known))),
        (Some(outline), Some(note)) => {
            said(format!("{}. {}", closed_words(outline, known), without_room(room, &note.text)))
        }
        (None, Some(note)) => Words {
            text: without_room(room, &note.text),
            tone: Tone::Work,
            wall: wall_at(room, note.place),
            proposal: None,
        },
        (None, None) => said(String::new()),
    }
}

/// A mistake, with the proposal that goes with it.
fn wrong(known: &Known, problem: &Problem) -> Words {
    let room = known.room();
    let proposal = match problem.kind {
        ProblemKind::Suspect => known.survey().and_then(Proposal::for_suspect),
        ProblemKind::OpenRing => Proposal::for_turns(known),
        _ => None,
    };
    let more = proposal.and_then(|it| it.words(room)).map(|it| format!(" {it}")).unwrap_or_default();
    let wall = proposal.and_then(Proposal::corner).or_else(|| wall_at(room, problem.place));
    Words { text: format!("{}{more}", without_room(room, &problem.text)), tone: Tone::Wrong, wall, proposal }
}

/// How far the cuts can be relied on, and which walls only seem to be read.
fn trust_words(known: &Known) -> String {
    let room = known.room();
    let trust = known.survey().and_then(|it| words::trust(room, it, known.units())).unwrap_or_default();
    match room.walls.iter().find(|it| is_unread_here(it)) {
        Some(wall) => format!("{trust} {} is not read here yet: read it once.", wall_name(room, wall.id)),
        None => trust,
    }
}

/// The area, and by how much the readings missed.
fn closed_words(outline: &Outline, known: &Known) -> String {
    let units = known.units();
    let area = shown::area(outline.area, units);
    let Misclosure { gap, ratio, .. } = outline.misclosure;
    let gap = gap.show(units.style());
    match ratio {
        Some(ratio) if gap != Length::ZERO.show(units.style()) => {
            format!("Closed: {area}; it missed by {gap} (1:{ratio})")
        }
        _ => format!("Closed: {area}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measured::House;
    use crate::measuring::Shape;
    use shared_model::ids::RoomId;
    use shared_model::job::Turn;
    use shared_model::length::Units;

    fn words_of(house: &House, room: RoomId, picked: Option<WallId>) -> Words {
        let known = Known::new(house.room(room), &house.job());
        of_picked(&known, picked, of_ring(&known))
    }

    #[test]
    fn a_suspect_stands_with_what_would_fit_and_the_key_that_takes_it() {
        let mut house = House::default();
        let den = house.rectangle("Den", [12, 9]);
        house.check(den, 1, 3, "15'");
        house.check(den, 2, 4, "15'");
        house.correct(den, 3, "13'");
        let words = words_of(&house, den, None);
        assert_eq!(words.text, "Wall 3 reads 13' 0\"; 12' 0\" would fit: a foot off? Measure it again.");
        assert_eq!((words.tone, words.wall), (Tone::Wrong, Some(house.wall(den, 3))));
        assert_eq!(words_of(&house, den, Some(house.wall(den, 3))), words, "also while that wall is entered");
        assert_eq!(words_of(&house, den, Some(house.wall(den, 2))).text, "Wall 2 is read once.", "the rest waits");
        let proposal = words.proposal.unwrap();
        assert_eq!(proposal.key(Units::Imperial), "Take 12' 0\"");
        let edit = proposal.edit(&house.room(den), Units::Imperial).unwrap();
        house.act(&[edit]);
        let words = words_of(&house, den, None);
        assert!(words.text.starts_with("Closed: 108.00 sq ft. Cuts are certain to "), "{}", words.text);
        assert!(words.text.ends_with("Wall 3 is not read here yet: read it once."), "{}", words.text);
    }

    #[test]
    fn a_disputed_wall_is_settled_by_measuring_not_by_a_tap() {
        let mut house = House::default();
        let den = house.rectangle("Den", [12, 9]);
        house.read(den, 3, "13'");
        let words = words_of(&house, den, None);
        assert!(words.text.contains("reads 12' 0\" and 13' 0\""), "{}", words.text);
        assert_eq!((words.wall, words.proposal), (Some(house.wall(den, 3)), None));
    }

    #[test]
    fn a_wrong_turn_leads_to_its_corner() {
        let mut house = House::default();
        let hall = house.shape("Hall", Shape::L);
        for (number, feet) in [(1, "12'"), (2, "10'"), (3, "5'"), (4, "4'"), (5, "7'"), (6, "14'")] {
            house.read(hall, number, feet);
        }
        house.turn(hall, 3, Turn::RIGHT);
        let words = words_of(&house, hall, None);
        assert_eq!(words.wall, Some(house.wall(hall, 3)));
        assert_eq!(
            words.text,
            "The turns add up to 540°, not to 360°. One right turn may be a left turn. With the corner after wall 3 \
             turned left all readings agree. Look at it again first."
        );
    }

    #[test]
    fn a_picked_wall_says_how_far_it_is_checked() {
        let mut house = House::default();
        let den = house.rectangle("Den", [12, 9]);
        let words = words_of(&house, den, Some(house.wall(den, 2)));
        assert!(words.text.starts_with("Wall 2 fits the others to 0\". A slip of less than "), "{}", words.text);
        assert_eq!(words.tone, Tone::Said);
    }
}
