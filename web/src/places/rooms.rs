//! The rooms and stairs of a job: the plan, the list, who is where.

use leptos::ev::SubmitEvent;
use leptos::prelude::*;
use shared_model::ids::{FlightId, RoomId};
use shared_model::job::{Edit, Flight, Job, Order, Subject};
use shared_model::length::{Length, Units};
use shared_model::problem::ProblemKind;
use shared_model::wire::Whereabouts;
use uuid::Uuid;

use super::checked::ToChecked;
use super::history::ToHistory;
use super::photos::Photos;
use super::sharing::People;
use super::shelf::Shelf;
use super::undo_keys::UndoKeys;
use crate::app::go;
use crate::drawing::plan::{FloorPlan, level_name};
use crate::known::{Known, is_wrong};
use crate::route::{Place, Route};
use crate::sheet::Sheet;
use crate::shown;
use crate::state::OpenJob;

/// Names that most houses need; any other can be typed.
const USUAL_NAMES: [&str; 9] =
    ["Living room", "Bedroom", "Hall", "Closet", "Dining room", "Office", "Landing", "Stair hall", "Basement"];
const LEVELS: [i64; 4] = [-1, 0, 1, 2];

#[component]
pub fn Rooms() -> impl IntoView {
    let here = OpenJob::here();
    let (adding, job_sheet) = (RwSignal::new(false), RwSignal::new(false));
    let on_room = Callback::new(move |room| go(Route::In(here.id, Place::Room(room))));
    // The plan has its place before it is computed: the list below must not jump under a finger.
    let any_closed = Memo::new(move |_| here.job.with(|it| it.rooms.iter().any(|room| room.closed)));
    view! {
        <main class="place split">
            {move || any_closed.get().then(|| view! { <div class="split-main"><FloorPlan on_room /></div> })}
            <div class="split-side">
                <TakeoffBroke />
                <RoomList />
                <ToChecked />
                <div class="buttons">
                    <button type="button" class="button button-main" id="add-room" on:click=move |_| adding.set(true)>"Add a room"</button>
                    <button type="button" class="button" id="add-flight" on:click=move |_| add_flight(here)>"Add stairs"</button>
                    <div class="row"><UndoKeys /></div>
                </div>
                <FlightList />
                <Photos of=Subject::Job />
                <People />
                <button type="button" class="button button-quiet" id="job-menu" on:click=move |_| job_sheet.set(true)>"Name, units, history, put away"</button>
            </div>
        </main>
        <Sheet title="Add a room" open=adding id="add-room-sheet"><AddRoom open=adding /></Sheet>
        <Sheet title="Job" open=job_sheet id="job-sheet"><JobMenu open=job_sheet /></Sheet>
    }
}

/// The engine stopped: readings are safe, and the next change tries again.
#[component]
fn TakeoffBroke() -> impl IntoView {
    let here = OpenJob::here();
    move || {
        here.takeoff_broke.get().then(|| view! {
            <div class="problem" id="takeoff-broke">
                <span class="problem-text">"The takeoff of this job stopped. All readings are here; seams and cuts are older than they are. The next change tries again."</span>
            </div>
        })
    }
}

/// How far a room is, in a few words.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Standing {
    words: String,
    wrong: bool,
}

fn standing(known: &Known) -> Standing {
    let (room, problems) = (known.room(), known.problems());
    let wrong = room.closed && problems.iter().any(is_wrong);
    let unread = room.walls.iter().filter(|it| it.in_force().next().is_none()).count();
    let walls = shown::count(room.walls.len(), "wall", "walls");
    let disputed = problems.iter().any(|it| it.kind == ProblemKind::Disputed);
    let words = match (room.walls.len(), room.closed, known.outline()) {
        (0, ..) => "not measured".to_owned(),
        (_, true, Some(outline)) => shown::area(outline.area, known.units()),
        (_, true, None) if unread > 0 => format!("{unread} of {walls} to read"),
        (_, true, None) if disputed => "readings disagree".to_owned(),
        (_, true, None) => "does not close".to_owned(),
        (_, false, _) => format!("{walls}, open"),
    };
    Standing { words, wrong }
}

#[component]
fn RoomList() -> impl IntoView {
    let here = OpenJob::here();
    let rows = move || {
        let (rooms, others) = (here.rooms.get(), here.others.get());
        let several_levels = rooms.iter().any(|it| it.room().level != 0);
        let row = |known: &Known| {
            let (Standing { words, wrong }, room) = (standing(known), known.room());
            let there = others.iter().enumerate().filter(
                |(_, (_, at))| matches!(at, Whereabouts::Room(id) | Whereabouts::Wall(id, _) if *id == room.id),
            );
            let there = there.map(|(n, (person, _))| view! { <span class=format!("person p{}", n % 6)><span class="person-dot"></span>{person.name.clone()}</span> }).collect_view();
            let level = several_levels.then(|| view! { <span class="quiet">{level_name(room.level)}</span> });
            view! {
                <a class="item" data-room=room.id.to_string() href=Route::In(here.id, Place::Room(room.id)).to_string()>
                    <span class="item-main"><strong>{room.name.clone()}</strong>{level}</span>
                    <span class="item-side">{there}{wrong.then(|| view! { <span class="badge">"check"</span> })}<span class="number">{words}</span></span>
                </a>
            }
        };
        rooms.iter().map(row).collect::<Vec<_>>()
    };
    move || {
        if here.job.with(|it| it.rooms.is_empty()) {
            view! { <p class="empty">"No room yet. Add one and start at any corner."</p> }.into_any()
        } else {
            view! { <nav class="list" id="rooms" aria-label="Rooms">{rows}</nav> }.into_any()
        }
    }
}

#[component]
fn AddRoom(open: RwSignal<bool>) -> impl IntoView {
    let here = OpenJob::here();
    let last_level = here.job.with_untracked(|it| it.rooms.last().map_or(0, |it| it.level));
    let (name, level) = (RwSignal::new(String::new()), RwSignal::new(last_level));
    let add = move |name: &str| {
        let job = here.job.get_untracked();
        let room = RoomId(Uuid::new_v4());
        let order = Order::between(job.rooms.last().map(|it| &it.order), None);
        let edit =
            Edit::AddRoom { room, name: free_name(&job, name), level: level.get_untracked(), goods: None, order };
        open.set(false);
        here.act_and_go("room", vec![edit], Route::In(here.id, Place::Room(room)));
    };
    let typed = move |event: SubmitEvent| {
        event.prevent_default();
        let named = name.get_untracked().trim().to_owned();
        if !named.is_empty() {
            add(&named);
        }
    };
    let usual = USUAL_NAMES
        .map(|it| view! { <button type="button" class="button" data-name=it on:click=move |_| add(it)>{it}</button> });
    let levels = LEVELS.map(|it| view! {
        <button type="button" class="segment" aria-pressed=move || (level.get() == it).to_string() on:click=move |_| level.set(it)>{level_name(it)}</button>
    });
    view! {
        <div class="segments even" role="group" aria-label="Level">{levels.collect_view()}</div>
        <div class="buttons">{usual.collect_view()}</div>
        <form class="form" on:submit=typed>
            <label class="field">
                <span class="field-label">"Or another name"</span>
                <input class="input" name="room-name" autocomplete="off" maxlength="80" prop:value=name on:input=move |event| name.set(event_target_value(&event)) />
            </label>
            <button type="submit" class="button button-main" id="create-room">"Add it"</button>
        </form>
    }
}

/// `Bedroom`, then `Bedroom 2`.
fn free_name(job: &Job, name: &str) -> String {
    let taken = |name: &str| job.rooms.iter().any(|it| it.name.eq_ignore_ascii_case(name));
    if !taken(name) {
        return name.to_owned();
    }
    let numbered = (2..).map(|n| format!("{name} {n}")).find(|it| !taken(it));
    numbered.unwrap_or_else(|| name.to_owned())
}

fn add_flight(here: OpenJob) {
    let job = here.job.get_untracked();
    let order = Order::between(job.flights.last().map(|it| &it.order), None);
    let name = match job.flights.len() {
        0 => "Stairs".to_owned(),
        n => format!("Stairs {}", n + 1),
    };
    let zero = Length::ZERO;
    let flight = Flight {
        id: FlightId(Uuid::new_v4()),
        name,
        steps: 1,
        riser: zero,
        going: zero,
        nosing: zero,
        width: zero,
        winders: 0,
        winder_reach: zero,
        landing: zero,
        foot: None,
        goods: None,
        order,
    };
    let id = flight.id;
    here.act_and_go("stairs", vec![Edit::AddFlight { flight }], Route::In(here.id, Place::Flight(id)));
}

#[component]
fn FlightList() -> impl IntoView {
    let here = OpenJob::here();
    move || {
        let job = here.job.get();
        let row = |it: &Flight| {
            let words = if it.width == Length::ZERO {
                "not measured".to_owned()
            } else {
                shown::count(it.steps as usize, "step", "steps")
            };
            view! {
                <a class="item" data-flight=it.id.to_string() href=Route::In(here.id, Place::Flight(it.id)).to_string()>
                    <span class="item-main"><strong>{it.name.clone()}</strong></span>
                    <span class="item-side number">{words}</span>
                </a>
            }
        };
        (!job.flights.is_empty()).then(|| view! { <nav class="list" id="flights" aria-label="Stairs">{job.flights.iter().map(row).collect::<Vec<_>>()}</nav> })
    }
}

#[component]
fn JobMenu(open: RwSignal<bool>) -> impl IntoView {
    let here = OpenJob::here();
    let name = RwSignal::new(here.job.with_untracked(|it| it.name.clone()));
    let rename = move |event: SubmitEvent| {
        event.prevent_default();
        let named = name.get_untracked().trim().to_owned();
        if !named.is_empty() {
            here.act("job renamed", vec![Edit::NameJob { name: named }]);
            open.set(false);
        }
    };
    let units = [(Units::Imperial, "Feet and inches"), (Units::Metric, "Metres")].map(|(to, label)| {
        let chosen = move || here.job.with(|it| it.units == to).to_string();
        view! { <button type="button" class="segment" aria-pressed=chosen on:click=move |_| here.act("units", vec![Edit::SetUnits { units: to }])>{label}</button> }
    });
    view! {
        <form class="form" on:submit=rename>
            <label class="field">
                <span class="field-label">"Name of the job"</span>
                <input class="input" name="job-name" autocomplete="off" maxlength="80" prop:value=name on:input=move |event| name.set(event_target_value(&event)) />
            </label>
            <button type="submit" class="button button-main">"Rename"</button>
        </form>
        <div class="field"><span class="field-label">"Units"</span><div class="segments" role="group" aria-label="Units">{units.collect_view()}</div></div>
        <p class="fine quiet">"Readings stay as they were entered; only what is shown changes."</p>
        <ToHistory />
        <Shelf />
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measured::House;

    #[test]
    fn a_second_bedroom_is_bedroom_2() {
        let mut house = House::default();
        assert_eq!(free_name(&house.job(), "Bedroom"), "Bedroom");
        for name in ["Bedroom", "bedroom 2"] {
            house.add(name);
        }
        assert_eq!(free_name(&house.job(), "Bedroom"), "Bedroom 3");
    }

    #[test]
    fn a_row_says_how_far_a_room_is() {
        let mut house = House::default();
        house.add("Hall");
        house.walls("Bedroom", &["12'", "9'"]);
        house.rectangle("Office", [12, 9]);
        let den = house.rectangle("Den", [10, 10]);
        house.read(den, 1, "10' 6\"");
        let job = house.job();
        let rows = job.rooms.iter().map(|it| standing(&Known::new(it.clone(), &job)));
        let rows: Vec<(String, bool)> = rows.map(|it| (it.words, it.wrong)).collect();
        let said = |words: &str, wrong| (words.to_owned(), wrong);
        assert_eq!(
            rows,
            [
                said("not measured", false),
                said("2 walls, open", false),
                said("108.00 sq ft", false),
                said("readings disagree", true),
            ]
        );
    }
}
