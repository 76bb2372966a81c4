//! What stands in the room, placed from the picked wall: hearth, column, built-in, register, stair well; and closets behind it.

use leptos::prelude::*;
use shared_model::ids::FixtureId;
use shared_model::job::{Edit, Fixture, FixtureKind, Room};
use shared_model::length::Length;
use uuid::Uuid;

use super::measure::Measuring;
use super::panel::picked_wall;
use crate::keypad::{Taken, keep_focus};
use crate::measuring::{Aim, FixtureField, start_side};
use crate::parting::closet;
use crate::shown;

const KINDS: [FixtureKind; 5] =
    [FixtureKind::Hearth, FixtureKind::Column, FixtureKind::BuiltIn, FixtureKind::Register, FixtureKind::StairWell];

/// A fixture or a closet that is being entered: its kind, and what was read so far.
#[derive(Clone, Default, PartialEq, Debug)]
pub struct FixtureDraft {
    kind: FixtureKind,
    /// Not something that stands there: the floor goes on behind the wall.
    closet: bool,
    offset: Option<Taken>,
    width: Option<Taken>,
}

/// `Hearth`.
fn name(kind: FixtureKind) -> String {
    let mut letters = kind.title().chars();
    letters.next().map(|it| it.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// What the keypad's line says.
pub fn words(field: FixtureField, room: &Room) -> String {
    match field {
        FixtureField::Offset => format!("From the wall's {} end", start_side(room)),
        FixtureField::Width => "Width along the wall".to_owned(),
        FixtureField::Depth => "How deep".to_owned(),
        FixtureField::Clear => "Off the wall, or Done when against it".to_owned(),
    }
}

/// A length entered for a fixture; none is said of one that stands against its wall.
pub fn take(measuring: Measuring, taken: Option<&Taken>) -> Result<(), String> {
    let Aim::Fixture(wall, id, field) = measuring.aim.get_untracked() else { return Ok(()) };
    let Some(room) = measuring.room.get_untracked() else { return Ok(()) };
    let Some(taken) = taken else {
        measuring.aim.set(Aim::Wall(wall));
        return Ok(());
    };
    if let Some(fixture) = find(&room, id) {
        let mut fixture = fixture.clone();
        *part(&mut fixture, field) = taken.value;
        measuring.here.try_act("fixture", vec![Edit::SetFixture { room: room.id, fixture }])?;
        if field == FixtureField::Clear {
            measuring.aim.set(Aim::Wall(wall));
        }
        return Ok(());
    }
    let draft = measuring.standing.get_untracked();
    let next = match (field, draft.offset, draft.width) {
        (FixtureField::Depth, Some(offset), Some(width)) if draft.closet => {
            let edits = room.wall(wall).and_then(|it| closet(&room, it, &offset, &width, taken));
            measuring.here.try_act(
                "closet",
                edits.ok_or("The closet does not lie within the wall: check where it starts and how wide it is.")?,
            )?;
            measuring.standing.set(FixtureDraft::default());
            Aim::Wall(wall)
        }
        (FixtureField::Depth, Some(offset), Some(width)) => {
            let (offset, width) = (offset.value, width.value);
            let id = FixtureId(Uuid::new_v4());
            let (kind, depth) = (draft.kind, taken.value);
            let fixture = Fixture { id, kind, wall, offset, clear: Length::ZERO, width, depth };
            measuring.here.try_act("fixture", vec![Edit::AddFixture { room: room.id, fixture }])?;
            measuring.standing.set(FixtureDraft::default());
            Aim::Fixture(wall, Some(id), FixtureField::Clear)
        }
        (FixtureField::Width, Some(_), _) => {
            measuring.standing.update(|it| it.width = Some(taken.clone()));
            Aim::Fixture(wall, None, FixtureField::Depth)
        }
        _ => {
            measuring.standing.update(|it| it.offset = Some(taken.clone()));
            Aim::Fixture(wall, None, FixtureField::Width)
        }
    };
    measuring.aim.set(next);
    Ok(())
}

fn find(room: &Room, id: Option<FixtureId>) -> Option<&Fixture> {
    room.fixtures.iter().find(|it| Some(it.id) == id)
}

const fn part(fixture: &mut Fixture, field: FixtureField) -> &mut Length {
    match field {
        FixtureField::Offset => &mut fixture.offset,
        FixtureField::Width => &mut fixture.width,
        FixtureField::Depth => &mut fixture.depth,
        FixtureField::Clear => &mut fixture.clear,
    }
}

/// In place of the wall's actions while what stands at it is entered.
#[component]
pub fn FixturePanel() -> impl IntoView {
    let measuring: Measuring = expect_context();
    let Measuring { aim, standing, here, .. } = measuring;
    let editing = Memo::new(move |_| match aim.get() {
        Aim::Fixture(_, id, _) => id,
        _ => None,
    });
    let go = move |id: Option<FixtureId>| {
        aim.update(|it| *it = it.wall().map_or(*it, |wall| Aim::Fixture(wall, id, FixtureField::Offset)));
    };
    let here_now = move || {
        let (room, wall) = picked_wall(measuring)?;
        let keys = room.fixtures.iter().filter(|it| it.wall == wall.id).map(|it| {
            let (id, label) = (it.id, format!("{} {}", name(it.kind), shown::length(it.width, here.job.get().units)));
            view! { <button type="button" class="button" data-fixture=id.to_string() aria-pressed=move || (editing.get() == Some(id)).to_string() on:click=move |_| go(Some(id))>{label}</button> }
        });
        Some(keys.collect::<Vec<_>>())
    };
    let kinds = move || {
        let stands = KINDS.map(|kind| {
            let chosen = move || standing.with(|it| !it.closet && it.kind == kind).to_string();
            view! { <button type="button" class="button" data-kind=kind.title() aria-pressed=chosen on:click=move |_| standing.update(|it| (it.kind, it.closet) = (kind, false))>{name(kind)}</button> }
        });
        let closet = move || standing.with(|it| it.closet).to_string();
        view! {
            {stands.collect_view()}
            <button type="button" class="button" data-kind="closet" aria-pressed=closet on:click=move |_| standing.update(|it| it.closet = true)>"Closet"</button>
        }
    };
    view! {
        <div class="actions" role="group" aria-label="What stands at this wall" on:mousedown=keep_focus>
            <button type="button" class="button button-quiet" id="fixtures-done" on:click=move |_| aim.update(|it| *it = it.wall().map_or(Aim::Next, Aim::Wall))>"‹ Wall"</button>
            {here_now}
            <button type="button" class="button" id="new-fixture" aria-pressed=move || editing.get().is_none().to_string() on:click=move |_| go(None)>"New"</button>
        </div>
        {move || match editing.get() {
            Some(id) => view! { <FixtureFacts id /> }.into_any(),
            None => view! { <div class="actions" role="group" aria-label="Kind" on:mousedown=keep_focus>{kinds()}</div> }.into_any(),
        }}
    }
}

/// What is known of one; each fact can be changed.
#[component]
fn FixtureFacts(id: FixtureId) -> impl IntoView {
    let Measuring { here, room, aim, .. } = expect_context();
    let fixture = Memo::new(move |_| room.with(|it| find(it.as_ref()?, Some(id)).cloned()));
    let remove = move |_| {
        if let Some(room) = room.get_untracked() {
            aim.update(|it| *it = it.wall().map_or(Aim::Next, Aim::Wall));
            here.act("fixture removed", vec![Edit::RemoveFixture { room: room.id, fixture: id, removed: true }]);
        }
    };
    let fact = move |(field, name): (FixtureField, &'static str)| {
        let current = move || matches!(aim.get(), Aim::Fixture(_, _, now) if now == field).to_string();
        let pick = move |_| aim.update(|it| *it = it.wall().map_or(*it, |wall| Aim::Fixture(wall, Some(id), field)));
        let value = move || fixture.get().map(|mut it| shown::length(*part(&mut it, field), here.job.get().units));
        view! { <button type="button" class="button" data-fact=name.to_lowercase() aria-pressed=current on:click=pick>{name}" "{value}</button> }
    };
    let facts = [
        (FixtureField::Offset, "From"),
        (FixtureField::Width, "Width"),
        (FixtureField::Depth, "Depth"),
        (FixtureField::Clear, "Off"),
    ];
    view! {
        <div class="actions" role="group" aria-label="This fixture" on:mousedown=keep_focus>
            {facts.map(fact).collect_view()}
            <button type="button" class="button button-loud" id="remove-fixture" on:click=remove>"Remove"</button>
        </div>
    }
}
