//! Who may come in and do what: the shop's people and their devices, and letting in one more.

use std::collections::BTreeSet;

use gloo_timers::future::TimeoutFuture;
use leptos::ev::SubmitEvent;
use leptos::prelude::*;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use shared_model::ids::DeviceId;
use shared_model::job::Timestamp;
use shared_model::wire::Role;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::{JsFuture, spawn_local};
use web_sys::{Headers, RequestInit, Response};

use crate::phone::Phone;
use crate::when::clock;

/// Everybody, as JSON; below it one device, to which a decision is posted.
const PEOPLE: &str = "/people";
/// Takes a link to another server.
const SERVERS: &str = "/servers";
/// Who came in is asked so often while a link is shown, in milliseconds.
const ASK_AGAIN_AFTER: u32 = 2_000;
/// Makes a pairing link; the answer is [`Pairing`] as JSON.
const PAIRING: &str = "/pairing";

#[derive(Clone, Debug, Deserialize)]
struct Everybody {
    devices: Vec<Device>,
    notes: Vec<Note>,
    servers: Vec<Server>,
}

/// Another server of the shop, which this one calls.
#[derive(Clone, Debug, Deserialize)]
struct Server {
    replica: String,
    shop: String,
    connected: bool,
    met: Option<Timestamp>,
}

#[derive(Clone, Debug, Deserialize)]
struct Device {
    device: DeviceId,
    person: String,
    name: String,
    role: Role,
    revoked: Option<Timestamp>,
    connected: bool,
}

#[derive(Clone, Debug, Deserialize)]
struct Note {
    at: Timestamp,
    by: Option<DeviceId>,
    device: DeviceId,
    what: Happened,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Happened {
    Joined(Role),
    GivenRole(Role),
    Revoked,
}

#[derive(Clone, Copy, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
enum Decision {
    GiveRole(Role),
    Revoke,
}

/// What somebody may do, in words.
pub const fn role_words(role: Role) -> &'static str {
    match role {
        Role::Viewer => "looks",
        Role::Crew => "measures",
        Role::Owner => "owner",
        Role::Server => "server",
    }
}

const fn role_purpose(role: Role) -> &'static str {
    match role {
        Role::Viewer => "to look",
        Role::Crew => "to measure",
        Role::Owner => "as an owner",
        Role::Server => "as a server",
    }
}

impl Everybody {
    fn named(&self, device: DeviceId) -> String {
        let known = self.devices.iter().find(|it| it.device == device);
        known.map_or_else(|| "a device".to_owned(), |it| format!("{} ({})", it.person, it.name))
    }

    fn told(&self, note: &Note) -> String {
        let who = self.named(note.device);
        let by = note.by.map_or_else(|| "at the shop's computer".to_owned(), |it| format!("by {}", self.named(it)));
        match note.what {
            Happened::Joined(role) => format!("{who} came in {}, let in {by}", role_purpose(role)),
            Happened::GivenRole(role) => format!("{who} is here {} now, decided {by}", role_purpose(role)),
            Happened::Revoked => format!("{who} was shut out {by}"),
        }
    }
}

/// The shop's people and devices, and for an owner what to decide about each.
#[component]
pub fn People() -> impl IntoView {
    let phone = Phone::here();
    let everybody = RwSignal::new(None::<Result<Everybody, String>>);
    let ask = move |path: String, decision: Option<Decision>| {
        spawn_local(async move {
            let answer = match decision {
                None => ask_server(&path, "GET", None).await,
                Some(decision) => ask_server(&path, "POST", serde_json::to_string(&decision).ok()).await,
            };
            everybody.try_set(Some(answer));
        });
    };
    ask(PEOPLE.to_owned(), None);
    let join = move |link: String| {
        let json = serde_json::json!({ "link": link }).to_string();
        spawn_local(async move {
            match ask_server::<serde_json::Value>(SERVERS, "POST", Some(json)).await {
                Ok(_) => ask(PEOPLE.to_owned(), None),
                Err(reason) => drop(everybody.try_set(Some(Err(reason)))),
            }
        });
    };
    let part = move |replica: String| {
        spawn_local(async move {
            match ask_server::<serde_json::Value>(&format!("{SERVERS}/{replica}"), "DELETE", None).await {
                Ok(_) => ask(PEOPLE.to_owned(), None),
                Err(reason) => drop(everybody.try_set(Some(Err(reason)))),
            }
        });
    };
    let me = move || phone.me.with(|me| me.as_ref().map(|it| it.person.device));
    let decide = move |of: DeviceId, decision| ask(format!("{PEOPLE}/{of}"), Some(decision));
    let line = move |it: Device| device_line(it, phone.role.get() == Role::Owner, me(), decide);
    move || match everybody.get() {
        None => view! { <p class="quiet" role="status">"Asking the server…"</p> }.into_any(),
        Some(Err(reason)) => view! {
            <p class="field-error" role="alert">{reason}</p>
            <button type="button" class="button" on:click=move |_| ask(PEOPLE.to_owned(), None)>"Show the list"</button>
        }
        .into_any(),
        Some(Ok(all)) => {
            let told: Vec<_> = all.notes.iter().map(|it| (all.told(it), it.at)).collect();
            let notes = told.into_iter().map(|(words, at)| {
                view! { <li class="item"><span class="item-main">{words}</span><span class="item-side quiet">{clock(at)}</span></li> }
            });
            let no_servers = all.servers.is_empty();
            let owner = phone.role.get_untracked() == Role::Owner;
            let servers = all.servers.into_iter().map(|it| server_line(it, owner, part));
            view! {
                <ul class="list" id="servers-list" hidden=no_servers>{servers.collect_view()}</ul>
                {owner.then(|| view! { <JoinServer on_link=move |link| join(link) /> })}
                <ul class="list" id="people-list">{all.devices.into_iter().map(line).collect_view()}</ul>
                <h3 class="label">"Who came and went"</h3>
                <ul class="list" id="people-notes">{notes.collect_view()}</ul>
            }
            .into_any()
        }
    }
}

/// A device with what it may do; for an owner, with what to decide about it.
fn device_line(
    it: Device,
    owner: bool,
    me: Option<DeviceId>,
    decide: impl Fn(DeviceId, Decision) + Copy + Send + Sync + 'static,
) -> impl IntoView {
    let is_server = it.role == Role::Server;
    let id = it.device;
    let state = match (it.revoked, it.connected) {
        (Some(at), _) => format!("shut out {}", clock(at)),
        (None, true) => "here now".to_owned(),
        (None, false) => String::new(),
    };
    let you = (me == Some(id)).then_some(", this one");
    let decisions = (owner && it.revoked.is_none()).then(|| {
        let keys = [Role::Viewer, Role::Crew, Role::Owner].map(|role| view! {
            <button type="button" class="segment" aria-pressed=(it.role == role).to_string()
                on:click=move |_| decide(id, Decision::GiveRole(role))>{role_words(role)}</button>
        });
        let keys = (!is_server).then(|| view! {
            <div class="segments even" role="group" aria-label=format!("What {} may do", it.person)>{keys.collect_view()}</div>
        });
        view! {
            {keys}
            <Sure ask=format!("Shut {}'s device out", it.person) why="It is let in no more: here from this moment on, at another server when the two meet. What it sent stays, and what it has on it stays on it: if it was stolen, change the locks, not only this list." yes="Shut it out" no="Leave it in" on_sure=move || decide(id, Decision::Revoke) />
        }
    });
    view! {
        <li class="person-line" data-device=id.to_string()>
            <div class="item">
                <span class="item-main"><strong>{it.person.clone()}</strong>{it.name}{you}</span>
                <span class="item-side quiet">{role_words(it.role)}" "{state}</span>
            </div>
            {decisions}
        </li>
    }
}

/// Another server, and when the two were last in step.
fn server_line(it: Server, owner: bool, part: impl Fn(String) + Copy + Send + Sync + 'static) -> impl IntoView {
    let state = match (it.connected, it.met) {
        (true, _) => "in step now".to_owned(),
        (false, Some(at)) => format!("last met {}", clock(at)),
        (false, None) => "not met yet".to_owned(),
    };
    let Server { replica, shop, .. } = it;
    let ask = format!("Stop keeping in step with {shop}");
    let end = owner.then(|| view! {
        <Sure ask why="This server does not call it any more. What each of the two has stays there. Shut this server out there too: it stays in its list." yes="Stop" no="Go on" on_sure=move || part(replica.clone()) />
    });
    view! {
        <li class="person-line">
            <div class="item"><span class="item-main"><strong>{shop}</strong>"server"</span><span class="item-side quiet">{state}</span></div>
            {end}
        </li>
    }
}

/// Pairs the server that this phone is connected to with another one.
#[component]
fn JoinServer(on_link: impl Fn(String) + Copy + Send + Sync + 'static) -> impl IntoView {
    let open = RwSignal::new(false);
    let link = RwSignal::new(String::new());
    let follow = move |event: SubmitEvent| {
        event.prevent_default();
        on_link(link.get());
    };
    view! {
        <button type="button" class="button button-quiet" id="join-server" hidden=move || open.get() on:click=move |_| open.set(true)>"Pair with another server"</button>
        <form class="form" hidden=move || !open.get() on:submit=follow>
            <label class="field">
                <span class="field-label">"Link for servers"</span>
                <input class="input" name="link" autocomplete="off" prop:value=link on:input=move |event| link.set(event_target_value(&event)) />
                <span class="field-hint">"Made on an owner's phone at the other server: Add a phone, server. The two keep in step from then on, whenever they meet."</span>
            </label>
            <button type="submit" class="button button-main">"Pair the servers"</button>
        </form>
    }
}

/// What is done on the second tap, when it was said what it means.
#[component]
fn Sure(
    ask: String,
    why: &'static str,
    yes: &'static str,
    no: &'static str,
    on_sure: impl Fn() + Send + Sync + 'static,
) -> impl IntoView {
    let asked = RwSignal::new(false);
    view! {
        <button type="button" class="button button-quiet" data-ask="" hidden=move || asked.get() on:click=move |_| asked.set(true)>{ask}</button>
        <div class="field" hidden=move || !asked.get()>
            <p>{why}</p>
            <div class="buttons">
                <button type="button" class="button button-main" data-sure="" on:click=move |_| on_sure()>{yes}</button>
                <button type="button" class="button" on:click=move |_| asked.set(false)>{no}</button>
            </div>
        </div>
    }
}

/// What the server answers when a phone is to be added.
#[derive(Clone, Debug, Deserialize)]
struct Pairing {
    /// The same link by every address of the server, the likeliest first.
    urls: Vec<String>,
    /// The first as a QR code.
    qr_svg: String,
}

/// A link for one more phone, as a code to scan.
#[component]
pub fn AddPhone() -> impl IntoView {
    let phone = Phone::here();
    let role = RwSignal::new(Role::Crew);
    let pairing = RwSignal::new(None::<Result<Pairing, String>>);
    Effect::new(move |_| {
        let asked = role.get();
        let path = format!("{PAIRING}?as={}", role_key(asked));
        pairing.set(None);
        spawn_local(async move {
            let answer = ask_server(&path, "POST", None).await;
            // A late answer must not show a link for somebody else.
            if role.try_get_untracked() == Some(asked) {
                pairing.try_set(Some(answer));
            }
        });
    });
    let came_in = RwSignal::new(Vec::new());
    spawn_local(watch(came_in, role));
    let most = phone.role.get_untracked();
    let all = [Role::Viewer, Role::Crew, Role::Owner, Role::Server];
    let roles = all.into_iter().filter(|it| *it <= most || most == Role::Owner);
    let keys = roles.map(|it| view! {
        <button type="button" class="segment" aria-pressed=move || (role.get() == it).to_string() on:click=move |_| role.set(it)>{role_words(it)}</button>
    });
    view! {
        <div class="field">
            <span class="field-label">"Its person"</span>
            <div class="segments even" role="group" aria-label="What its person may do">{keys.collect_view()}</div>
        </div>
        <ul class="list" id="came-in" role="status">{move || came_in.get().into_iter().map(|it| view! { <li class="item"><strong class="item-main">{it}</strong></li> }).collect_view()}</ul>
        <div class="pairing">{move || match pairing.get() {
            None => view! { <p class="quiet" role="status">"Asking the server for a link…"</p> }.into_any(),
            Some(Err(reason)) => view! { <p class="field-error" role="alert">{reason}</p> }.into_any(),
            Some(Ok(Pairing { urls, qr_svg })) => view! {
                <p>{if role.get() == Role::Server {
                    "Copy the first link, whole, to the other server: on an owner's phone there, People, Pair with another server. It works once."
                } else {
                    "Scan this with the other phone's camera. The link works once."
                }}</p>
                <div class="qr" role="img" aria-label="Pairing link as a QR code" inner_html=qr_svg></div>
                <ul id="pairing-links">{urls.into_iter().map(|it| view! { <li><code>{it}</code></li> }).collect_view()}</ul>
            }
            .into_any(),
        }}</div>
    }
}

/// Says who has come in since, for as long as somebody looks.
async fn watch(came_in: RwSignal<Vec<String>>, role: RwSignal<Role>) {
    let mut before: Option<BTreeSet<DeviceId>> = None;
    while let Some(asked) = role.try_get_untracked() {
        if let Ok(all) = ask_server::<Everybody>(PEOPLE, "GET", None).await {
            let before = before.get_or_insert_with(|| all.devices.iter().map(|it| it.device).collect());
            // Another server brings the people that are let in there.
            let new = all.devices.iter().filter(|it| !before.contains(&it.device) && it.role == asked);
            let words = |it: &Device| format!("{} ({}) is in, {}.", it.person, it.name, role_purpose(it.role));
            let told: Vec<String> = new.map(words).collect();
            if came_in.try_get_untracked().is_some_and(|it| it != told) {
                came_in.try_set(told);
            }
        }
        TimeoutFuture::new(ASK_AGAIN_AFTER).await;
    }
}

const fn role_key(role: Role) -> &'static str {
    match role {
        Role::Viewer => "viewer",
        Role::Crew => "crew",
        Role::Owner => "owner",
        Role::Server => "server",
    }
}

async fn ask_server<T: DeserializeOwned>(path: &str, method: &str, json: Option<String>) -> Result<T, String> {
    let offline = |_| "The server does not answer. This works only while this phone is connected.".to_owned();
    let request = RequestInit::new();
    request.set_method(method);
    if let Some(json) = json {
        let headers = Headers::new().map_err(offline)?;
        headers.set("content-type", "application/json").map_err(offline)?;
        request.set_headers_headers(&headers);
        request.set_body(&JsValue::from_str(&json));
    }
    let answer = JsFuture::from(window().fetch_with_str_and_init(path, &request)).await.map_err(offline)?;
    let answer: Response = answer.dyn_into().map_err(offline)?;
    let status = answer.status();
    let text = JsFuture::from(answer.text().map_err(offline)?).await.map_err(offline)?.as_string().unwrap_or_default();
    match status {
        200 => {}
        403 => return Err("This phone may not do that. An owner of the shop can.".to_owned()),
        422 => return Err(format!("Not paired with the other server: {text}.")),
        409 => return Err("The shop needs an owner: make somebody else one first.".to_owned()),
        other => return Err(format!("The server refuses this ({other}). Is this phone paired?")),
    }
    serde_json::from_str(&text).map_err(|it| format!("The server's answer was not understood: {it}"))
}
