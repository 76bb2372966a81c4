//! Who has what: the chip, the sheet behind it, and adding a phone.

use leptos::prelude::*;
use shared_model::wire::Whereabouts;

use super::history::ToHistory;
use super::shelf::Shelf;
use crate::phone::Phone;
use crate::pictures::Pictures;
use crate::sheet::Sheet;
use crate::state::OpenJob;
use crate::truth::{Link, edits};
use crate::when::clock;

/// The truth about sharing in a few words; a tap opens the rest.
#[component]
pub fn SyncChip() -> impl IntoView {
    let here = OpenJob::here();
    let phone = Phone::here();
    let open = RwSignal::new(false);
    let photos = photos_waiting(here);
    let route = crate::app::route();
    Effect::new(move |_| {
        route.track();
        open.set(false);
    });
    let words = move || {
        let shop = phone.me.get().map(|it| it.shop);
        here.truth.get().words(&phone.link.get(), shop.as_deref(), clock, photos.get())
    };
    view! {
        <button
            type="button" id="sync-chip" class=move || format!("chip {}", here.truth.get().tone(photos.get()).class())
            aria-haspopup="dialog" on:click=move |_| open.set(true)
        >{words}</button>
        <Sheet title="Who has what" open id="sharing-sheet"><Sharing /></Sheet>
    }
}

#[component]
fn Sharing() -> impl IntoView {
    let here = OpenJob::here();
    let phone = Phone::here();
    let shop = move || phone.me.get().map_or_else(|| "The shop".to_owned(), |it| it.shop);
    let on_phone = move || match here.truth.get().waiting {
        0 => "has everything".to_owned(),
        n => format!("has everything; the shop waits for {}", edits(n)),
    };
    let on_server = move || {
        here.truth
            .get()
            .shared
            .map_or_else(|| "has nothing of this job yet".to_owned(), |at| format!("had the same at {}", clock(at)))
    };
    let waiting = move || {
        phone
            .with(here.id, |it| {
                it.signals.truth.track();
                it.kept.waiting_list()
            })
            .unwrap_or_default()
    };
    let apart = here.signals().apart;
    let lost = here.signals().lost;
    let pictures = Pictures::here();
    let photos = move || here.job.with(|it| pictures.whereabouts(it));
    let not_brought = move || here.job.with(|it| pictures.not_brought(it));
    let any_photo = Memo::new(move |_| here.job.with(|it| it.photos_in_force().next().is_some()));
    view! {
        <dl class="facts">
            <dt>"This phone"</dt><dd>{on_phone}</dd>
            <dt>{shop}</dt><dd>{on_server}</dd>
            {move || any_photo.get().then(|| view! { <dt>"Photos"</dt><dd id="photos-standing">{photos}</dd> })}
            <dt>"Connection"</dt><dd>{move || link_words(&phone.link.get())}</dd>
        </dl>
        {move || {
            let not_brought = not_brought();
            (!not_brought.is_empty()).then(|| view! {
                <h3 class="label">"Photos that stay on this phone"</h3>
                <ul class="list" id="not-brought">{not_brought.into_iter().map(|(photo, why)| view! { <li class="item"><span class="item-main"><strong>{photo.caption}</strong>{why}</span><span class="item-side quiet">{clock(photo.stamp.at)}</span></li> }).collect_view()}</ul>
            })
        }}
        <People />
        <ToHistory />
        <Shelf />
        {move || {
            let waiting = waiting();
            (!waiting.is_empty()).then(|| view! {
                <h3 class="label">"Waiting for the server"</h3>
                <ul class="list" id="waiting">{waiting.into_iter().map(|(at, said)| view! { <li class="item"><span class="item-main">{said}</span><span class="item-side quiet">{clock(at)}</span></li> }).collect_view()}</ul>
            })
        }}
        {move || {
            let (lost, waiting) = lost.get();
            (!lost.is_empty()).then(|| view! {
                <h3 class="label">"Damaged on the shop's disk"</h3>
                <ul class="list" id="lost">{lost.into_iter().map(|it| view! { <li class="item"><span class="item-main">"an entry brought by "{it.who}</span><span class="item-side quiet">{clock(it.received)}</span></li> }).collect_view()}</ul>
                <p>
                    {(waiting > 0).then(|| format!("{} built on it wait with it. ", edits(waiting as usize)))}
                    "The rest of the job is sound. A phone that has the lost part brings it back by itself when it connects; otherwise measure it again or restore the backup."
                </p>
            })
        }}
        {move || {
            let apart = apart.get();
            (!apart.is_empty()).then(|| view! {
                <h3 class="label">"Set apart: kept on this phone, not in the job"</h3>
                <ul class="list" id="set-apart">{apart.into_iter().map(|it| view! { <li class="item"><span class="item-main"><strong>{it.said}</strong>{it.reason}</span><span class="item-side quiet">{clock(it.at)}</span></li> }).collect_view()}</ul>
            })
        }}
    }
}

/// How many of the job's photos the server does not have.
fn photos_waiting(here: OpenJob) -> Memo<usize> {
    let pictures = Pictures::here();
    Memo::new(move |_| here.job.with(|it| pictures.waiting(it)))
}

/// Everybody in this job now, and where.
#[component]
pub fn People() -> impl IntoView {
    let here = OpenJob::here();
    let people = move || {
        here.others
            .get()
            .into_iter()
            .enumerate()
            .map(|(n, (person, at))| {
                let place = match at {
                    Whereabouts::Room(room) | Whereabouts::Wall(room, _) => {
                        here.job.get().room(room).map(|it| format!(" in {}", it.name))
                    }
                    _ => None,
                };
                view! {
                    <li class=format!("person p{}", n % 6)><span class="person-dot"></span>{person.name}{place}</li>
                }
            })
            .collect_view()
    };
    view! { <ul class="people" id="people" aria-label="Also in this job now">{people}</ul> }
}

pub fn link_words(link: &Link) -> String {
    match link {
        Link::Away => "offline".to_owned(),
        Link::Trying => "connecting…".to_owned(),
        Link::Up => "connected".to_owned(),
        Link::Unpaired => "not paired".to_owned(),
        Link::Closed(reason) => format!("closed: {reason}"),
    }
}
