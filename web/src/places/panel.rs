//! The lower part while measuring: what is entered, what can be done with it, the keypad; and the words over the sketch.

use leptos::prelude::*;
use shared_model::ids::RoomId;
use shared_model::job::{Edit, MarkKind, Room, Subject, Wall};

use super::bending::BendPanel;
use super::fixtures::{self, FixturePanel};
use super::marks::{self, MarkPanel};
use super::measure::Measuring;
use super::openings::OpeningPanel;
use super::photos::Photos;
use super::readings::Readings;
use super::room_menu::RoomMenu;
use super::turning::TurnSheet;
use super::undo_keys::UndoKeys;
use crate::checking;
use crate::keypad::{EntryLine, Keypad, keep_focus};
use crate::measuring::{
    Aim, FixtureField, OpeningField, Shape, insert_wall, start_from, start_side, turn_words, wall_name,
};
use crate::sheet::Sheet;

/// Undo, redo, and what concerns the whole room.
#[component]
pub fn Tools(room: RoomId) -> impl IntoView {
    let menu = RwSignal::new(false);
    view! {
        <div class="measure-tools" on:mousedown=keep_focus>
            <UndoKeys />
            <button type="button" class="button button-icon" id="room-menu" aria-label="About this room" aria-haspopup="dialog" on:click=move |_| menu.set(true)>"⋯"</button>
        </div>
        <Sheet title="Room" open=menu id="room-sheet"><RoomMenu room open=menu /></Sheet>
    }
}

#[component]
pub fn Panel() -> impl IntoView {
    let measuring: Measuring = expect_context();
    let Measuring { room, aim, pad, .. } = measuring;
    let turning = RwSignal::new(false);
    let entering = Memo::new(move |_| Entering::of(aim.get()));
    let label =
        Signal::derive(move || room.with(|it| it.as_ref().map(|it| aim_words(it, measuring)).unwrap_or_default()));
    let enter = Signal::derive(move || enter_word(measuring).to_owned());
    view! {
        {move || match entering.get() {
            Entering::Opening => view! { <OpeningPanel /> }.into_any(),
            Entering::Fixture => view! { <FixturePanel /> }.into_any(),
            Entering::Bend => view! { <Readings /><BendPanel /> }.into_any(),
            Entering::Mark => view! { <MarkPanel /> }.into_any(),
            Entering::Length => view! {
                <div class="read-row" on:mousedown=keep_focus><Readings /><WallPhotos /></div>
                <Actions turning />
            }
            .into_any(),
        }}
        <EntryLine pad label />
        <Keypad pad take=Callback::new(move |taken| measuring.take(taken)) enter side=move || turn_key(measuring) />
        <Sheet title="Turn at the corner" open=turning id="turn-sheet"><TurnSheet open=turning /></Sheet>
    }
}

/// What the panel is for.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Entering {
    Length,
    Opening,
    Fixture,
    Bend,
    Mark,
}

impl Entering {
    pub const fn of(aim: Aim) -> Self {
        match aim {
            Aim::Opening(..) => Self::Opening,
            Aim::Fixture(..) => Self::Fixture,
            Aim::Rise(..) => Self::Bend,
            Aim::Mark(_) => Self::Mark,
            _ => Self::Length,
        }
    }
}

/// What the number will be.
fn aim_words(room: &Room, measuring: Measuring) -> String {
    match measuring.aim.get() {
        Aim::Next if room.closed => "Tap a wall to read it again".to_owned(),
        Aim::Next if room.walls.is_empty() => "Wall 1".to_owned(),
        Aim::Next => format!("Wall {}, {}", room.walls.len() + 1, turn_words(measuring.turn.get())),
        Aim::Wall(wall) => match room.wall(wall).is_some_and(|it| it.in_force().next().is_some()) {
            true => format!("{}: read it again", wall_name(room, wall)),
            false => wall_name(room, wall),
        },
        Aim::Correct(wall) => format!("{}: correct it", wall_name(room, wall)),
        Aim::Split(wall) => format!("{}: length of its first part", wall_name(room, wall)),
        Aim::Probe(from) => checking::probe_words(room, from),
        Aim::Check(of) => format!("From {}", checking::words(room, of)),
        Aim::Fixture(_, _, field) => fixtures::words(field, room),
        Aim::Rise(wall, _) => format!("{}: how far its middle stands off its chord", wall_name(room, wall)),
        Aim::Mark(kind) => marks::words(kind).to_owned(),
        Aim::Opening(_, _, OpeningField::Offset) => format!("From the wall's {} end", start_side(room)),
        Aim::Opening(_, _, OpeningField::Width) => "Width of the opening".to_owned(),
        Aim::Opening(_, _, OpeningField::Depth) => "Thickness of the wall".to_owned(),
    }
}

fn enter_word(measuring: Measuring) -> &'static str {
    let empty = measuring.pad.entry.with(crate::entry::Entry::is_empty);
    match measuring.aim.get() {
        Aim::Next if empty && measuring.can_close() => "Close",
        Aim::Next | Aim::Opening(..) => "Enter",
        _ if empty => "Done",
        _ => "Enter",
    }
}

/// The key beside the digits that turns the corner the other way.
fn turn_key(measuring: Measuring) -> impl IntoView {
    // A closed ring is turned by its sheet, not by a key beside the digits that a thumb may hit.
    let cannot = move || {
        let closed = measuring.room.with(|it| it.as_ref().is_none_or(|it| it.closed || it.walls.is_empty()));
        closed || (measuring.aim.get() != Aim::Next && measuring.aim.get().wall().is_none())
    };
    let left = move || measuring.turn_now().0.0 < 0;
    view! {
        <button
            type="button" class="key key-move" data-key="turn" disabled=cannot
            aria-label=move || format!("The corner {}: turn it the other way", turn_words(measuring.turn_now()))
            on:click=move |_| measuring.turn_other_way()
        >{move || if left() { "↰ left" } else { "↱ right" }}</button>
    }
}

/// What can be done now besides entering a number.
#[component]
fn Actions(turning: RwSignal<bool>) -> impl IntoView {
    let measuring: Measuring = expect_context();
    let state = Memo::new(move |_| {
        let room = measuring.room.get()?;
        let wall = measuring.wall();
        Some((room.id, room.walls.is_empty(), room.closed, wall.map(|it| (it.id, it.in_force().next().is_some()))))
    });
    view! {
        <div class="actions" role="group" aria-label="Actions" on:mousedown=keep_focus>
            {move || match state.get() {
                Some((_, true, ..)) => view! { <Shapes /> }.into_any(),
                Some((_, _, _, Some((_, read)))) => view! { <WallActions read turning /> }.into_any(),
                Some((room, _, closed, None)) => {
                    view! { <RingActions closed turning /><Photos of=Subject::Room(room) /> }.into_any()
                }
                None => ().into_any(),
            }}
        </div>
    }
}

/// Photos of the picked wall.
#[component]
fn WallPhotos() -> impl IntoView {
    let measuring: Measuring = expect_context();
    let of = Memo::new(move |_| Some(Subject::Wall(measuring.room.get()?.id, measuring.wall()?.id)));
    move || of.get().map(|of| view! { <Photos of /> })
}

/// An empty room: start from a shape, or type the first wall.
#[component]
fn Shapes() -> impl IntoView {
    let Measuring { here, room, aim, .. } = expect_context();
    let start = move |shape: Shape| {
        let Some(id) = room.get_untracked().map(|it| it.id) else { return };
        here.act("shape", start_from(shape, id));
        if let Some(room) = room.get_untracked() {
            aim.set(crate::measuring::aim_after(&room, None));
        }
    };
    Shape::ALL.map(|it| view! {
        <button type="button" class="button" data-shape=it.name().to_lowercase() on:click=move |_| start(it)>{it.name()}</button>
    }).collect_view()
}

#[component]
fn RingActions(closed: bool, turning: RwSignal<bool>) -> impl IntoView {
    let measuring: Measuring = expect_context();
    let later = move |_| {
        if let Some(room) = measuring.room.get_untracked() {
            measuring.pad.refused.set(measuring.add(&room, None).err());
        }
    };
    let few = move || measuring.room.with(|it| it.as_ref().is_none_or(|it| it.walls.len() < 3));
    if closed {
        return view! {
            <button type="button" class="button" id="check-across" aria-pressed=move || matches!(measuring.aim.get(), Aim::Probe(_) | Aim::Check(_)).to_string() on:click=move |_| measuring.aim.update(|it| *it = if matches!(it, Aim::Probe(_) | Aim::Check(_)) { Aim::Next } else { Aim::Probe(None) })>"Check across"</button>
            {move || {
                let best = measuring.known.with(|it| it.as_ref().and_then(|it| checking::next(it.room(), it.survey()?)));
                best.map(|(aim, words)| view! {
                    <button type="button" class="button" id="next-check" aria-label=words on:click=move |_| measuring.aim.set(aim)>"Best check"</button>
                })
            }}
            <MarksKey />
            <button type="button" class="button button-quiet" id="open-ring" on:click=move |_| measuring.close_ring()>"Open the ring again"</button>
        }.into_any();
    }
    view! {
        <button type="button" class="button" id="angle" on:click=move |_| turning.set(true)>"Angle…"</button>
        <button type="button" class="button" id="read-later" on:click=later>"Later"</button>
        <MarksKey />
        <button type="button" class="button" id="close-ring" disabled=few on:click=move |_| measuring.close_ring()>"Close ring"</button>
    }
    .into_any()
}

#[component]
fn MarksKey() -> impl IntoView {
    let Measuring { aim, .. } = expect_context();
    view! { <button type="button" class="button" id="marks-key" on:click=move |_| aim.set(Aim::Mark(MarkKind::Squeak))>"Squeak, note"</button> }
}

#[component]
fn WallActions(read: bool, turning: RwSignal<bool>) -> impl IntoView {
    let measuring: Measuring = expect_context();
    let Measuring { here, room, aim, .. } = measuring;
    let picked = move || Some((room.get_untracked()?, measuring.aim.get_untracked().wall()?));
    let correct = move |_| {
        aim.update(|it| {
            *it = match *it {
                Aim::Correct(wall) => Aim::Wall(wall),
                other => other.wall().map_or(other, Aim::Correct),
            }
        });
    };
    let openings =
        move |_| aim.update(|it| *it = it.wall().map_or(*it, |wall| Aim::Opening(wall, None, OpeningField::Offset)));
    let insert = move |_| {
        if let Some((wall, edits)) = picked().and_then(|(room, wall)| insert_wall(&room, wall)) {
            here.act("wall put in", edits);
            aim.set(Aim::Wall(wall));
        }
    };
    let remove = move |_| {
        if let Some((room, wall)) = picked() {
            aim.set(Aim::Next);
            here.act("wall removed", vec![Edit::RemoveWall { room: room.id, wall, removed: true }]);
        }
    };
    let correcting = move || matches!(aim.get(), Aim::Correct(_)).to_string();
    view! {
        {read.then(|| view! { <button type="button" class="button" id="correct" aria-pressed=correcting on:click=correct>"Correct"</button> })}
        <button type="button" class="button" id="openings" on:click=openings>"Door, window"</button>
        <button type="button" class="button" id="fixtures" on:click=move |_| aim.update(|it| *it = it.wall().map_or(*it, |wall| Aim::Fixture(wall, None, FixtureField::Offset)))>"Hearth, closet"</button>
        <button type="button" class="button" id="angle" on:click=move |_| turning.set(true)>"Turn…"</button>
        <button type="button" class="button" id="bend" on:click=move |_| aim.update(|it| *it = it.wall().map_or(*it, |wall| Aim::Rise(wall, false)))>"Arc"</button>
        <button type="button" class="button" id="split-wall" on:click=move |_| aim.update(|it| *it = it.wall().map_or(*it, Aim::Split))>"Split"</button>
        <button type="button" class="button" id="insert-wall" on:click=insert>"Add wall"</button>
        <button type="button" class="button button-loud" id="remove-wall" on:click=remove>"Remove"</button>
    }
}

/// Kept here for the wall that the panel is about.
pub fn picked_wall(measuring: Measuring) -> Option<(Room, Wall)> {
    let room = measuring.room.get()?;
    let wall = measuring.wall()?;
    Some((room, wall))
}
