//! Photos of a room, wall, mark or flight: taking one, the row of thumbnails, looking at one.

use leptos::ev::SubmitEvent;
use leptos::html;
use leptos::prelude::*;
use shared_model::ids::PhotoId;
use shared_model::job::{Edit, NewPhoto, Photo, Subject};
use shared_model::wire::Role;
use uuid::Uuid;
use wasm_bindgen_futures::spawn_local;

use crate::camera::{self, Shot};
use crate::files;
use crate::phone::Phone;
use crate::pictures::Pictures;
use crate::sheet::Sheet;
use crate::state::OpenJob;
use crate::when::clock;

/// The photos of something, and the key that takes one more.
#[component]
pub fn Photos(of: Subject) -> impl IntoView {
    let (here, phone) = (OpenJob::here(), Phone::here());
    let open = RwSignal::new(None::<PhotoId>);
    let photos = Memo::new(move |_| {
        here.job.with(|job| job.photos_in_force().filter(|it| it.of == of).cloned().collect::<Vec<Photo>>())
    });
    let may = move || phone.role.get() != Role::Viewer;
    view! {
        <div class="photos">
            <For each=move || photos.get() key=|it| it.id let:photo>
                <Thumbnail photo open />
            </For>
            {move || may().then(|| view! { <TakePhoto of /> })}
        </div>
        {move || {
            let photo = photos.with(|all| all.iter().find(|it| Some(it.id) == open.get()).cloned());
            photo.map(|photo| view! { <PhotoView photo open /> })
        }}
    }
}

#[component]
fn Thumbnail(photo: Photo, open: RwSignal<Option<PhotoId>>) -> impl IntoView {
    let address = Pictures::here().address(photo.thumbnail.hash);
    let label = if photo.caption.is_empty() { "Photo".to_owned() } else { format!("Photo: {}", photo.caption) };
    let id = photo.id;
    view! {
        <button type="button" class="photo-small" data-photo=id.to_string() aria-label=label aria-haspopup="dialog" on:click=move |_| open.set(Some(id))>
            {move || match address.get() {
                Some(address) => view! { <img src=address alt="" /> }.into_any(),
                None => view! { <span aria-hidden="true">"…"</span> }.into_any(),
            }}
        </button>
    }
}

/// Opens the camera, or the gallery where there is none; what was taken is looked at before it is kept.
#[component]
fn TakePhoto(of: Subject) -> impl IntoView {
    let (here, phone, pictures) = (OpenJob::here(), Phone::here(), Pictures::here());
    let taken = RwSignal::new(None::<[Shot; 2]>);
    let busy = RwSignal::new(false);
    let refused = RwSignal::new(None::<String>);
    let (asking, caption) = (RwSignal::new(false), RwSignal::new(String::new()));
    let take = move |event: web_sys::Event| {
        let Some(file) = files::picked(&event) else { return };
        busy.set(true);
        spawn_local(async move {
            let shots = camera::take(&file).await;
            busy.try_set(false);
            match shots {
                Ok(shots) => {
                    caption.try_set(String::new());
                    refused.try_set(None);
                    taken.try_set(Some(shots));
                    asking.try_set(true);
                }
                Err(why) => phone.notice.set(Some(why.to_string())),
            }
        });
    };
    let keep = move |event: SubmitEvent| {
        event.prevent_default();
        let Some([picture, thumbnail]) = taken.get_untracked() else { return };
        let photo = NewPhoto {
            id: PhotoId(Uuid::new_v4()),
            of,
            picture: picture.picture,
            thumbnail: thumbnail.picture,
            caption: caption.get_untracked().trim().to_owned(),
        };
        if let Err(why) = here.try_act("photo", vec![Edit::AddPhoto { photo }]) {
            return refused.set(Some(why));
        }
        for shot in [thumbnail, picture] {
            pictures.keep(shot.picture.hash, shot.file);
        }
        asking.set(false);
        taken.set(None);
    };
    let preview = move || taken.with(|it| it.as_ref().and_then(|[_, it]| files::address("image/jpeg", &it.file).ok()));
    view! {
        <label class="button photo-key" aria-busy=move || busy.get().to_string()>
            {move || if busy.get() { "Scaling…" } else { "Photo" }}
            <input type="file" class="unseen" name="photo" accept="image/*" capture="environment" on:change=take />
        </label>
        <Sheet title="Photo" open=asking id="photo-sheet">
            <form class="form" on:submit=keep>
                {move || preview().map(|it| view! { <img class="photo-preview" src=it alt="The photo that was taken" /> })}
                <label class="field">
                    <span class="field-label">"What it shows, if that is not plain"</span>
                    <input class="input" name="caption" autocomplete="off" maxlength="200" prop:value=caption on:input=move |event| caption.set(event_target_value(&event)) />
                </label>
                {move || refused.get().map(|it| view! { <p class="field-error" role="alert">{it}</p> })}
                <button type="submit" class="button button-main" id="keep-photo">"Keep the photo"</button>
                <p class="fine quiet">"It is made smaller, and says neither where nor with which device it was taken."</p>
            </form>
        </Sheet>
    }
}

/// One photo on the whole screen.
#[component]
fn PhotoView(photo: Photo, open: RwSignal<Option<PhotoId>>) -> impl IntoView {
    let (here, phone, pictures) = (OpenJob::here(), Phone::here(), Pictures::here());
    pictures.ask_for(photo.picture.hash);
    let (large, small) = (pictures.address(photo.picture.hash), pictures.address(photo.thumbnail.hash));
    on_cleanup(move || pictures.hide(photo.picture.hash));
    let view = NodeRef::<html::Div>::new();
    Effect::new(move |_| {
        if let Some(view) = view.get() {
            // Who reads the page by keyboard or ear continues inside.
            let _ = view.focus();
        }
    });
    let keys = move |event: leptos::ev::KeyboardEvent| {
        event.stop_propagation();
        if event.key() == "Escape" {
            open.set(None);
        }
    };
    let id = photo.id;
    let remove = move |_| {
        open.set(None);
        here.act("photo taken off", vec![Edit::WithdrawPhoto { photo: id, withdrawn: true }]);
    };
    let by = here.job.with_untracked(|job| job.people.get(&photo.stamp.by).cloned()).unwrap_or_default();
    let told = format!("{by}, {}", clock(photo.stamp.at));
    let alt = if photo.caption.is_empty() { "The photo".to_owned() } else { photo.caption.clone() };
    let shown = move || {
        let alt = alt.clone();
        match (large.get(), small.get()) {
            (Some(it), _) => view! { <img class="photo-large" id="photo-large" src=it alt=alt /> }.into_any(),
            (None, small) => view! {
                {small.map(|it| view! { <img class="photo-large photo-waits" src=it alt=alt /> })}
                <p class="photo-note" role="status">"The picture itself is not on this phone: it comes when the server has it and can be reached."</p>
            }
            .into_any(),
        }
    };
    view! {
        <div class="photo-view" id="photo-view" role="dialog" aria-modal="true" aria-label="Photo" tabindex="-1" node_ref=view on:keydown=keys on:click=|event| event.stop_propagation()>
            <div class="photo-bar">
                <button type="button" class="button button-quiet button-icon" aria-label="Close" data-close="" on:click=move |_| open.set(None)>"×"</button>
                <span class="photo-told">{told}</span>
                {(phone.role.get_untracked() != Role::Viewer).then(|| view! { <button type="button" class="button button-loud" id="remove-photo" on:click=remove>"Remove"</button> })}
            </div>
            <div class="photo-stage">{shown}</div>
            <p class="photo-caption">{photo.caption}</p>
        </div>
    }
}
