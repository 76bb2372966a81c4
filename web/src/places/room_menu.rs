//! What concerns a whole room: its name, its goods, taking it off the list.

use leptos::ev::SubmitEvent;
use leptos::prelude::*;
use shared_model::ids::{GoodsId, RoomId};
use shared_model::job::{Edit, Subject};

use super::photos::Photos;
use crate::app::go;
use crate::copying::copy;
use crate::route::{Place, Route};
use crate::state::OpenJob;

#[component]
pub fn RoomMenu(room: RoomId, open: RwSignal<bool>) -> impl IntoView {
    let here = OpenJob::here();
    let current = move || here.job.get().room(room).cloned();
    let name = RwSignal::new(untrack(current).map(|it| it.name).unwrap_or_default());
    let rename = move |event: SubmitEvent| {
        event.prevent_default();
        let named = name.get().trim().to_owned();
        if !named.is_empty() {
            here.act("room renamed", vec![Edit::NameRoom { room, name: named }]);
            open.set(false);
        }
    };
    let remove = move |_| {
        open.set(false);
        here.act("room removed", vec![Edit::RemoveRoom { room, removed: true }]);
        go(Route::In(here.id, Place::Rooms));
    };
    let again = move |mirrored: bool| {
        let job = here.job.get_untracked();
        let Some(at) = job.rooms.iter().position(|it| it.id == room) else { return };
        let next = job.rooms.get(at + 1).map(|it| &it.order);
        let (made, edits) = copy(&job.rooms[at], Some(&job.rooms[at].order), next, mirrored);
        open.set(false);
        here.act(if mirrored { "mirrored room" } else { "copied room" }, edits);
        go(Route::In(here.id, Place::Room(made)));
    };
    let lay = move |goods: Option<GoodsId>| here.act("goods of the room", vec![Edit::SetRoomGoods { room, goods }]);
    let goods = move || {
        let job = here.job.get();
        let laid = current().and_then(|it| it.goods).or(job.goods.first().map(|it| it.id));
        let key = |(id, name): (GoodsId, String)| {
            view! {
                <button type="button" class="segment" aria-pressed=(laid == Some(id)).to_string() on:click=move |_| lay(Some(id))>{name}</button>
            }
        };
        let all: Vec<_> = job.goods.iter().map(|it| (it.id, it.name.clone())).collect();
        (all.len() > 1).then(|| view! {
            <div class="field"><span class="field-label">"Goods laid here"</span><div class="segments" role="group" aria-label="Goods laid here">{all.into_iter().map(key).collect_view()}</div></div>
        })
    };
    view! {
        <form class="form" on:submit=rename>
            <label class="field">
                <span class="field-label">"Name"</span>
                <input class="input" name="room-name" autocomplete="off" maxlength="80" prop:value=name on:input=move |event| name.set(event_target_value(&event)) />
            </label>
            <button type="submit" class="button button-main">"Rename"</button>
        </form>
        {goods}
        <div class="field"><span class="field-label">"Photos of the room"</span><Photos of=Subject::Room(room) /></div>
        <div class="buttons">
            <button type="button" class="button" id="copy-room" on:click=move |_| again(false)>"Copy the room"</button>
            <button type="button" class="button" id="mirror-room" on:click=move |_| again(true)>"Mirror image"</button>
        </div>
        <p class="fine quiet">"Its lengths count as taken from a drawing: read each wall of the new room once."</p>
        <button type="button" class="button button-loud" id="remove-room" on:click=remove>"Remove the room"</button>
        <p class="fine quiet">"Nothing is deleted: undo brings it back with all its readings."</p>
    }
}
