//! What the crew asks of a room's carpet: every layout keeps it.

use leptos::prelude::*;
use shared_model::floor::PlacedRoom;
use shared_model::ids::{ChoiceId, RoomId, WallId};
use shared_model::job::{Decision, Edit, Job, NewChoice, PileDirection, Pin};
use shared_model::length::Length;
use uuid::Uuid;

use super::compare::pile_words;
use super::seams::with_layout;
use crate::drawing::plan::Laid;
use crate::shown;
use crate::state::OpenJob;

/// The pins in force, and a way to set one for a room that is laid.
#[component]
pub fn Pins(laid: Memo<Option<Laid>>) -> impl IntoView {
    let here = OpenJob::here();
    let rooms = Memo::new(move |_| {
        let takeoff = here.takeoff.get();
        let laid = with_layout(here, laid.get(), |_, _, layout| layout.ways.clone()).unwrap_or_default();
        let rooms = takeoff.floor.rooms.iter().filter(|it| laid.contains_key(&it.room.0));
        rooms.map(|it| (it.room, it.name.clone())).collect::<Vec<_>>()
    });
    let picked = RwSignal::new(None::<RoomId>);
    let room = move || picked.get().or_else(|| rooms.with(|it| it.first().map(|it| it.0)));
    let in_force = move || here.job.with(|job| rooms.with(|rooms| pinned(job, rooms)));
    let line = move |(id, words): (ChoiceId, String)| {
        let back = move |_| here.act("pin taken back", vec![Edit::WithdrawChoice { choice: id, withdrawn: true }]);
        view! {
            <li class="item">
                <span class="item-main">{words}</span>
                <button type="button" class="button" on:click=back>"Take back"</button>
            </li>
        }
    };
    let pick = move |event| picked.set(event_target_value(&event).parse().ok().map(RoomId));
    let options = move || {
        let option = |(id, name): (RoomId, String)| view! { <option value=id.0.to_string()>{name}</option> };
        rooms.get().into_iter().map(option).collect_view()
    };
    view! {
        <h2 class="subtitle">"Pins"</h2>
        <ul class="list" id="pins">{move || in_force().into_iter().map(line).collect_view()}</ul>
        <details class="reason" id="pin-room">
            <summary>"Ask something of a room"</summary>
            <div class="reason-body">
                <label class="field">
                    <span class="field-label">"Room"</span>
                    <select class="input" on:change=pick>{options}</select>
                </label>
                {move || room().map(|room| view! { <Asks room /> })}
            </div>
        </details>
    }
}

/// What can be asked of one room.
#[component]
fn Asks(room: RoomId) -> impl IntoView {
    let here = OpenJob::here();
    let ask = move |pin: Pin| here.act("pin", vec![pin_edit(&here.job.get_untracked(), room, pin)]);
    let pile = move |it: PileDirection| {
        view! { <button type="button" class="segment" on:click=move |_| ask(Pin::Pile(it))>{it.way()}</button> }
    };
    let from = move |(words, wall): (&'static str, WallId)| {
        view! { <button type="button" class="segment" on:click=move |_| ask(Pin::Along { wall })>{words}</button> }
    };
    let walls = here.takeoff.with(|it| it.floor.rooms.iter().find(|it| it.room == room).map(outer_walls));
    use PileDirection::{East, North, South, West};
    view! {
        <div class="field">
            <span class="field-label">"The pile runs, on the plan"</span>
            <div class="segments" role="group" aria-label="Pile">{[North, East, South, West].map(pile).collect_view()}</div>
        </div>
        <div class="field">
            <span class="field-label">"Start with a full breadth at the wall"</span>
            <div class="segments" role="group" aria-label="First breadth">{walls.unwrap_or_default().into_iter().map(from).collect_view()}</div>
        </div>
        <button type="button" class="button" on:click=move |_| ask(Pin::NoSeam)>"No seam in this room"</button>
    }
}

/// The decision for a pin; one that says something else about the same is superseded.
pub fn pin_edit(job: &Job, room: RoomId, pin: Pin) -> Edit {
    let before = job.choices.iter().filter(|it| match it.decision {
        Decision::Pin { room: of, pin: other } => of == room && about_the_same(pin, other),
        _ => false,
    });
    let supersedes = before.map(|it| it.id).collect();
    Edit::Choose {
        choice: NewChoice { id: ChoiceId(Uuid::new_v4()), decision: Decision::Pin { room, pin }, supersedes },
    }
}

/// A seam pinned anew replaces pins of where seams and breadths lie; the pile is another question.
const fn about_the_same(one: Pin, other: Pin) -> bool {
    matches!(one, Pin::Pile(_)) == matches!(other, Pin::Pile(_))
}

/// The pins in these rooms, in words.
fn pinned(job: &Job, rooms: &[(RoomId, String)]) -> Vec<(ChoiceId, String)> {
    let words = |room: RoomId, pin: Pin| {
        let name = rooms.iter().find(|it| it.0 == room).map(|it| it.1.as_str())?;
        Some(match pin {
            Pin::Pile(pile) => format!("{name}: the pile runs {}.", pile_words(pile)),
            Pin::Seam { distance, .. } => {
                format!("{name}: a seam {} from its wall.", shown::length(distance, job.units))
            }
            Pin::Along { .. } => format!("{name}: a full breadth starts along its wall."),
            Pin::NoSeam => format!("{name}: no seam."),
        })
    };
    let in_force = job.choices.iter().filter_map(|it| match it.decision {
        Decision::Pin { room, pin } => Some((it.id, words(room, pin)?)),
        _ => None,
    });
    in_force.collect()
}

/// The straight outermost walls, by the side of the plan on which they lie.
fn outer_walls(placed: &PlacedRoom) -> Vec<(&'static str, WallId)> {
    let Some(bounds) = placed.ring.bounds() else { return Vec::new() };
    let sides: [(&str, bool, Length); 4] = [
        ("left", true, bounds.min.x),
        ("right", true, bounds.max.x),
        ("top", false, bounds.max.y),
        ("bottom", false, bounds.min.y),
    ];
    let at = |upright: bool, place: Length| {
        let mut walls = placed.outline.walls.iter().zip(placed.ring.edges());
        walls.find(|(_, (from, to))| {
            let (a, b) = if upright { (from.x, to.x) } else { (from.y, to.y) };
            a == place && b == place
        })
    };
    sides.into_iter().filter_map(|(words, upright, place)| Some((words, *at(upright, place)?.0))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::fixture;
    use shared_model::ids::DeviceId;
    use shared_model::job::{Choice, Stamp, Timestamp};

    #[test]
    fn a_pin_supersedes_what_says_something_else_about_the_same() {
        let (den, hall) = (RoomId(Uuid::from_u128(1)), RoomId(Uuid::from_u128(2)));
        let stamp = Stamp { by: DeviceId(Uuid::nil()), at: Timestamp(0) };
        let made = |id, room, pin| Choice {
            id: ChoiceId(Uuid::from_u128(id)),
            decision: Decision::Pin { room, pin },
            stamp,
            supersedes: Vec::new(),
        };
        let choices =
            vec![made(1, den, Pin::NoSeam), made(2, den, Pin::Pile(PileDirection::East)), made(3, hall, Pin::NoSeam)];
        let job = Job { choices, ..fixture::job() };
        let wall = WallId(Uuid::nil());
        let Edit::Choose { choice } = pin_edit(&job, den, Pin::Along { wall }) else { panic!("not a choice") };
        assert_eq!(choice.supersedes, [ChoiceId(Uuid::from_u128(1))]);
        let rooms = [(den, "Den".to_owned())];
        let words: Vec<String> = pinned(&job, &rooms).into_iter().map(|it| it.1).collect();
        assert_eq!(words, ["Den: no seam.", "Den: the pile runs right on the plan."]);
    }
}
