//! Doors, windows and other openings of the picked wall.

use leptos::prelude::*;
use shared_model::ids::{OpeningId, RoomId};
use shared_model::job::{Edit, FloorAtOpening, Opening, OpeningKind};
use shared_model::length::{Length, Units};
use uuid::Uuid;

use super::measure::Measuring;
use super::panel::picked_wall;
use crate::keypad::{Taken, keep_focus};
use crate::measuring::{Aim, OpeningField};
use crate::sheet::Sheet;
use crate::shown;

/// What was entered of an opening that is not in the document yet.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Draft {
    kind: OpeningKind,
    offset: Option<Length>,
}

const KINDS: [OpeningKind; 4] =
    [OpeningKind::Doorway, OpeningKind::CasedOpening, OpeningKind::Window, OpeningKind::PassThrough];

const FLOORS: [(FloorAtOpening, &str); 3] = [
    (FloorAtOpening::SeamUnderDoor, "Seam under the door"),
    (FloorAtOpening::RunsThrough, "Carpet runs through"),
    (FloorAtOpening::OtherFloor, "Another floor"),
];

pub const fn kind_name(kind: OpeningKind) -> &'static str {
    match kind {
        OpeningKind::Doorway => "Door",
        OpeningKind::CasedOpening => "Cased opening",
        OpeningKind::Window => "Window",
        OpeningKind::PassThrough => "Pass-through",
    }
}

/// A stud wall with board on both sides: 4 1/2 in, or 115 mm (common practice); each opening can say otherwise.
const fn usual_depth(units: Units) -> Length {
    match units {
        Units::Imperial => Length::sixty_fourths(288),
        Units::Metric => Length::mm(115),
    }
}

/// A length entered for an opening of the picked wall.
pub fn take(measuring: Measuring, draft: RwSignal<Draft>, taken: &Taken) -> Result<(), String> {
    let Aim::Opening(wall, id, field) = measuring.aim.get_untracked() else { return Ok(()) };
    let Some(room) = measuring.room.get_untracked() else { return Ok(()) };
    let units = measuring.here.job.with_untracked(|it| it.units);
    match (room.openings.iter().find(|it| Some(it.id) == id), field) {
        (Some(opening), field) => {
            let mut opening = opening.clone();
            match field {
                OpeningField::Offset => opening.offset = taken.value,
                OpeningField::Width => opening.width = taken.value,
                OpeningField::Depth => opening.depth = taken.value,
            }
            measuring.here.try_act("opening", vec![Edit::SetOpening { room: room.id, opening }])?;
        }
        (None, OpeningField::Offset) => {
            draft.update(|it| it.offset = Some(taken.value));
            measuring.aim.set(Aim::Opening(wall, None, OpeningField::Width));
        }
        (None, _) => {
            let Draft { kind, offset: Some(offset) } = draft.get_untracked() else { return Ok(()) };
            let opening = Opening {
                id: OpeningId(Uuid::new_v4()),
                wall,
                kind,
                offset,
                width: taken.value,
                depth: usual_depth(units),
                floor: FloorAtOpening::default(),
                leads_to: None,
            };
            // A refused width is asked for again; after a taken one the next number belongs to no opening.
            measuring.here.try_act("opening", vec![Edit::AddOpening { room: room.id, opening }])?;
            draft.set(Draft::default());
            measuring.aim.set(Aim::Wall(wall));
        }
    }
    Ok(())
}

/// In place of the wall's actions while its openings are entered.
#[component]
pub fn OpeningPanel() -> impl IntoView {
    let measuring: Measuring = expect_context();
    let Measuring { aim, draft, .. } = measuring;
    let editing = Memo::new(move |_| match aim.get() {
        Aim::Opening(_, id, _) => id,
        _ => None,
    });
    let chosen = Signal::derive(move || draft.get().kind);
    let choose = Callback::new(move |kind| draft.update(|it| it.kind = kind));
    view! {
        <OpeningTabs editing />
        {move || match editing.get() {
            Some(id) => view! { <OpeningFacts id /> }.into_any(),
            None => view! { <div class="actions" on:mousedown=keep_focus><Kinds chosen choose /></div> }.into_any(),
        }}
    }
}

/// The way back to the wall, the openings that it has, and a new one.
#[component]
fn OpeningTabs(editing: Memo<Option<OpeningId>>) -> impl IntoView {
    let measuring: Measuring = expect_context();
    let done = move |_| measuring.aim.update(|it| *it = it.wall().map_or(Aim::Next, Aim::Wall));
    let go = move |id: Option<OpeningId>| {
        measuring.aim.update(|it| {
            if let Some(wall) = it.wall() {
                *it = Aim::Opening(wall, id, OpeningField::Offset);
            }
        });
    };
    let keys = move || {
        let (room, wall) = picked_wall(measuring)?;
        let units = measuring.here.job.get().units;
        let mut here: Vec<&Opening> = room.openings.iter().filter(|it| it.wall == wall.id).collect();
        here.sort_by_key(|it| (it.offset, it.id));
        let keys = here.iter().map(|it| {
            let (id, label) = (it.id, format!("{} {}", kind_name(it.kind), shown::length(it.width, units)));
            view! { <button type="button" class="button" data-opening=id.to_string() aria-pressed=move || (editing.get() == Some(id)).to_string() on:click=move |_| go(Some(id))>{label}</button> }
        });
        Some(keys.collect::<Vec<_>>())
    };
    view! {
        <div class="actions" role="group" aria-label="Openings of this wall" on:mousedown=keep_focus>
            <button type="button" class="button button-quiet" id="openings-done" on:click=done>"‹ Wall"</button>
            {keys}
            <button type="button" class="button" id="new-opening" aria-pressed=move || editing.get().is_none().to_string() on:click=move |_| go(None)>"New"</button>
        </div>
    }
}

#[component]
fn Kinds(#[prop(into)] chosen: Signal<OpeningKind>, choose: Callback<OpeningKind>) -> impl IntoView {
    KINDS.map(|kind| view! {
        <button type="button" class="button" aria-pressed=move || (chosen.get() == kind).to_string() on:click=move |_| choose.run(kind)>{kind_name(kind)}</button>
    }).collect_view()
}

/// What is known of one opening; each fact can be changed.
#[component]
fn OpeningFacts(id: OpeningId) -> impl IntoView {
    let measuring: Measuring = expect_context();
    let Measuring { here, room, aim, .. } = measuring;
    let beyond = RwSignal::new(false);
    let opening = Memo::new(move |_| room.with(|it| it.as_ref()?.openings.iter().find(|it| it.id == id).cloned()));
    let remove = move |_| {
        if let Some(room) = room.get_untracked() {
            aim.update(|it| *it = it.wall().map_or(Aim::Next, Aim::Wall));
            here.act("opening removed", vec![Edit::RemoveOpening { room: room.id, opening: id, removed: true }]);
        }
    };
    let field = move |field: OpeningField, name: &'static str| {
        let value = move || {
            opening.get().map(|it| match field {
                OpeningField::Offset => it.offset,
                OpeningField::Width => it.width,
                OpeningField::Depth => it.depth,
            })
        };
        let current = move || matches!(aim.get(), Aim::Opening(_, _, now) if now == field).to_string();
        let pick = move |_| {
            aim.update(|it| {
                if let Some(wall) = it.wall() {
                    *it = Aim::Opening(wall, Some(id), field);
                }
            });
        };
        let shown = move || value().map(|it| shown::length(it, here.job.get().units));
        view! { <button type="button" class="button" data-fact=name.to_lowercase() aria-pressed=current on:click=pick>{name}" "{shown}</button> }
    };
    let walked = move || opening.get().is_some_and(|it| it.kind.reaches_floor());
    view! {
        <div class="actions" role="group" aria-label="This opening" on:mousedown=keep_focus>
            {field(OpeningField::Offset, "From")}
            {field(OpeningField::Width, "Width")}
            {move || walked().then(|| field(OpeningField::Depth, "Wall"))}
            <button type="button" class="button" id="beyond" aria-haspopup="dialog" on:click=move |_| beyond.set(true)>"Kind, floor, room beyond"</button>
            <button type="button" class="button button-loud" id="remove-opening" on:click=remove>"Remove"</button>
        </div>
        <Sheet title="Opening" open=beyond id="opening-sheet"><Beyond opening /></Sheet>
    }
}

/// What an opening is, and what is on its other side.
#[component]
fn Beyond(opening: Memo<Option<Opening>>) -> impl IntoView {
    let Measuring { here, room, .. } = expect_context();
    let set = move |change: &dyn Fn(&mut Opening)| {
        let (Some(mut opening), Some(room)) = (opening.get_untracked(), room.get_untracked()) else { return };
        change(&mut opening);
        here.act("opening", vec![Edit::SetOpening { room: room.id, opening }]);
    };
    let floor_key = move |(floor, name): (FloorAtOpening, &'static str)| {
        let chosen = move || opening.get().is_some_and(|it| it.floor == floor).to_string();
        view! { <button type="button" class="choice" aria-pressed=chosen on:click=move |_| set(&move |it| it.floor = floor)><span class="choice-name">{name}</span></button> }
    };
    let walked = move || opening.get().is_some_and(|it| it.kind.reaches_floor());
    let kind = Signal::derive(move || opening.get().map(|it| it.kind).unwrap_or_default());
    view! {
        <div class="buttons" role="group" aria-label="Kind of opening"><Kinds chosen=kind choose=Callback::new(move |kind| set(&move |it| it.kind = kind)) /></div>
        {move || walked().then(|| view! {
            <div class="choices" role="group" aria-label="Floor at the opening">{FLOORS.map(floor_key).collect_view()}</div>
            <LeadsTo opening set=Callback::new(move |to: Option<RoomId>| set(&move |it| it.leads_to = to)) />
        })}
    }
}

/// The room beyond.
#[component]
fn LeadsTo(opening: Memo<Option<Opening>>, set: Callback<Option<RoomId>>) -> impl IntoView {
    let Measuring { here, room, .. } = expect_context();
    let options = move || {
        let own = room.with(|it| it.as_ref().map(|it| it.id));
        let leads = opening.get().and_then(|it| it.leads_to);
        let job = here.job.get();
        let others = job.rooms.iter().filter(|it| Some(it.id) != own);
        others
            .map(
                |it| view! { <option value=it.id.to_string() selected=leads == Some(it.id)>{it.name.clone()}</option> },
            )
            .collect::<Vec<_>>()
    };
    view! {
        <label class="field">
            <span class="field-label">"Leads to"</span>
            <select class="input" name="leads-to" on:change=move |event| set.run(event_target_value(&event).parse().ok())>
                <option value="">"no room of this job"</option>
                {options}
            </select>
        </label>
    }
}
