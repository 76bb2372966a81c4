//! Letting a device in: links with a one-time secret.

use std::collections::HashMap;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::{ConnectInfo, Extension, Form, Path, Query, State};
use axum::http::header::{CACHE_CONTROL, HOST, LOCATION, REFERRER_POLICY, SET_COOKIE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Json, Response};
use sha2::{Digest, Sha256};
use shared_model::ids::DeviceId;
use shared_model::job::Timestamp;
use shared_model::wire::Role;
use tokio::time::Instant;

use crate::accept::Scheme;
use crate::devices::{Token, hex, unhex};
use crate::error::Refused;
use crate::gate::Visitor;
use crate::router::Shop;
use crate::store::{Device, Happened, Note, Write};
use crate::sync::Parting;
use crate::{clock, pages, peers, trust};

/// Most links that can be open at a time.
const MOST_OPEN: usize = 50;
/// Most characters of a person's or device's name.
const MOST_NAME: usize = 60;

/// What a pairing link carries.
#[derive(Clone, Copy)]
pub struct Secret([u8; 16]);

/// The links that are open now, by the hash of their secret. They do not outlive the process: a link from a printed page
/// or a restored backup opens nothing.
pub struct Invitations {
    open: Mutex<HashMap<[u8; 32], Guest>>,
    lifetime: Duration,
}

/// Whom a link lets in.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Guest {
    until: Instant,
    role: Role,
    /// The device that made the link; `None` is the person at the server's computer.
    by: Option<DeviceId>,
}

impl Secret {
    fn random() -> Result<Self, std::io::Error> {
        let mut bytes = [0; 16];
        getrandom::fill(&mut bytes).map_err(std::io::Error::other)?;
        Ok(Self(bytes))
    }

    pub fn parse(text: &str) -> Option<Self> {
        unhex(text).map(Self)
    }

    fn hash(self) -> [u8; 32] {
        Sha256::digest(self.0).into()
    }

    /// The link on a server that is reached at `authority` (host and port).
    pub fn url(self, scheme: Scheme, authority: &str) -> String {
        format!("{}://{authority}{}", scheme.name(), self.path())
    }

    /// The link's path.
    pub fn path(self) -> String {
        format!("/join/{}", hex(&self.0))
    }
}

impl Invitations {
    pub fn new(lifetime: Duration) -> Self {
        Self { open: Mutex::default(), lifetime }
    }

    /// Opens a new link; `None` when too many are open.
    pub fn open(&self, role: Role, by: Option<DeviceId>) -> Result<Option<Secret>, std::io::Error> {
        let secret = Secret::random()?;
        let now = Instant::now();
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.retain(|_, it| it.until > now);
        if open.len() >= MOST_OPEN {
            return Ok(None);
        }
        open.insert(secret.hash(), Guest { until: now + self.lifetime, role, by });
        Ok(Some(secret))
    }

    pub fn is_open(&self, secret: Secret) -> bool {
        let open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.get(&secret.hash()).is_some_and(|it| it.until > Instant::now())
    }

    /// Closes the link for good. Of several that use it at once, one gets in.
    fn use_up(&self, secret: Secret) -> Option<Guest> {
        self.take(secret, |it| it.role != Role::Server)
    }

    /// Closes a link for another server; answers who has made it.
    pub fn use_up_for_server(&self, secret: Secret) -> Option<Option<DeviceId>> {
        self.take(secret, |it| it.role == Role::Server).map(|it| it.by)
    }

    fn take(&self, secret: Secret, fits: impl Fn(&Guest) -> bool) -> Option<Guest> {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let guest = *open.get(&secret.hash()).filter(|it| fits(it))?;
        open.remove(&secret.hash());
        (guest.until > Instant::now()).then_some(guest)
    }

    /// Closes the links that a device has made.
    pub fn close_those_of(&self, device: DeviceId) {
        self.open.lock().unwrap_or_else(PoisonError::into_inner).retain(|_, it| it.by != Some(device));
    }
}

#[derive(serde::Deserialize)]
pub struct ShowQuery {
    /// The person has read what is missing without https, and goes on.
    plain: Option<String>,
}

/// The page behind a link. Looking at it does not use it up: messengers look at links too. Over plain http it first helps the
/// phone to trust the shop.
pub async fn show(
    State(shop): State<Arc<Shop>>,
    ConnectInfo(address): ConnectInfo<SocketAddr>,
    Extension(scheme): Extension<Scheme>,
    Path(secret): Path<String>,
    Query(query): Query<ShowQuery>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    shop.rates.knock(address.ip())?;
    let Some(secret) = Secret::parse(&secret).filter(|it| shop.invitations.is_open(*it)) else {
        shop.rates.miss(address.ip());
        return Err(Refused::LinkGone);
    };
    if scheme == Scheme::Http
        && query.plain.is_none()
        && let Some(page) = trust::welcome(&shop, &headers, &secret.path())
    {
        return Ok(page);
    }
    // With `no-referrer` the browser would hide the origin of the form's post, which is checked.
    let headers = [(CACHE_CONTROL, "no-store"), (REFERRER_POLICY, "same-origin")];
    Ok((headers, Html(pages::join(&shop.name))).into_response())
}

#[derive(serde::Deserialize)]
pub struct JoinForm {
    name: String,
    device: String,
}

/// Pairs the device that posts the form.
pub async fn join(
    State(shop): State<Arc<Shop>>,
    ConnectInfo(address): ConnectInfo<SocketAddr>,
    Extension(scheme): Extension<Scheme>,
    Path(secret): Path<String>,
    headers: HeaderMap,
    Form(form): Form<JoinForm>,
) -> Result<Response, Refused> {
    shop.rates.knock(address.ip())?;
    let person = name(&form.name).ok_or(Refused::BadForm("Your name is missing or too long."))?;
    let name = name(&form.device).ok_or(Refused::BadForm("The device's name is missing or too long."))?;
    let token = Token::random().map_err(|error| Refused::NotStored(error.to_string()))?;
    let Some(guest) = Secret::parse(&secret).and_then(|it| shop.invitations.use_up(it)) else {
        shop.rates.miss(address.ip());
        return Err(Refused::LinkGone);
    };
    let _deciding = shop.people.lock().await;
    let all = shop.devices.all();
    // With other servers about, an id that this one has lost may be somebody's who is known there.
    let alone = !shop.peers.any() && all.iter().all(|it| it.role != Role::Server);
    let id = shop.devices.id_for(&headers, scheme, alone);
    let known = all.iter().find(|it| it.id == id);
    let edition = known.map_or(0, |it| it.edition.saturating_add(1));
    // Whoever pairs again keeps what it was allowed.
    let role = known.map_or(guest.role, |it| it.role.max(guest.role));
    let paired = clock::now();
    let device = Device { id, person, name, token: token.hash(), paired, role, revoked: None, edition };
    let note = Note { at: paired, by: guest.by, device: id, what: Happened::Joined(role) };
    let stored = shop.hub.store.commit(vec![Write::Device(device.clone()), Write::Note(note)]).await;
    stored.map_err(|error| Refused::NotStored(error.to_string()))?;
    tracing::info!(device = %device.id, person = device.person, name = device.name, "paired");
    let cookie = token.cookie(device.id, scheme);
    shop.decided(device, &Parting::OtherRole);
    let headers = [(SET_COOKIE, cookie.as_str()), (LOCATION, "/"), (CACHE_CONTROL, "no-store")];
    Ok((StatusCode::SEE_OTHER, headers).into_response())
}

fn name(typed: &str) -> Option<String> {
    let name = typed.trim();
    let sound = !name.is_empty() && name.chars().count() <= MOST_NAME && !name.chars().any(char::is_control);
    sound.then(|| name.to_owned())
}

#[derive(serde::Serialize)]
pub struct Invitation {
    /// The same link by every address of the server, the one this request came by first.
    urls: Vec<String>,
    /// A QR code of the first.
    qr_svg: String,
    expires: Timestamp,
}

#[derive(serde::Deserialize)]
pub struct InviteQuery {
    /// What the other device may do; as much as this one, but not more than measure, if it is not said.
    #[serde(rename = "as")]
    role: Option<Role>,
}

/// A paired device asks for a link for another one.
pub async fn invite(
    State(shop): State<Arc<Shop>>,
    Extension(visitor): Extension<Visitor>,
    Query(query): Query<InviteQuery>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    // Nobody decides meanwhile what the asking device may do.
    let _deciding = shop.people.lock().await;
    let own = shop.devices.get(visitor.device.id).ok_or(Refused::NotPaired)?.role;
    let role = query.role.unwrap_or(Role::Crew);
    let allowed = match own {
        Role::Owner => true,
        Role::Crew => role <= Role::Crew,
        Role::Viewer | Role::Server => false,
    };
    if !allowed {
        return Err(Refused::NotAllowed);
    }
    if role == Role::Server && shop.only_https() {
        return Err(Refused::BadForm("A server with a certificate from files can join others; others cannot join it."));
    }
    let opened =
        shop.invitations.open(role, Some(visitor.device.id)).map_err(|error| Refused::NotStored(error.to_string()))?;
    let secret = opened.ok_or(Refused::TooMany)?;
    let mut authorities = shop.hosts.authorities();
    if let Some(host) = headers.get(HOST).and_then(|it| it.to_str().ok()) {
        authorities.retain(|it| it != host);
        authorities.insert(0, host.to_owned());
    }
    let scheme = first_scheme(&shop);
    let url = |it: &String| if role == Role::Server { peers::link(&shop, secret, it) } else { secret.url(scheme, it) };
    let urls: Vec<String> = authorities.iter().map(url).collect();
    let qr_svg = urls.first().map(|it| qr_svg(it)).unwrap_or_default();
    let lifetime = i64::try_from(shop.invitations.lifetime.as_secs()).unwrap_or(i64::MAX);
    let expires = Timestamp(clock::now().0.saturating_add(lifetime));
    Ok(([(CACHE_CONTROL, "no-store")], Json(Invitation { urls, qr_svg, expires })).into_response())
}

/// By which scheme a new phone comes: one that must learn to trust the shop first has only plain http.
pub fn first_scheme(shop: &Shop) -> Scheme {
    if shop.only_https() { Scheme::Https } else { Scheme::Http }
}

/// Who the asking device is; also how a client learns that it is not paired, by a 401.
pub async fn me(State(shop): State<Arc<Shop>>, Extension(visitor): Extension<Visitor>) -> impl IntoResponse {
    let Device { id, person, name, role, .. } = visitor.device;
    let me = serde_json::json!({ "device": id, "person": person, "name": name, "role": role, "shop": shop.name });
    ([(CACHE_CONTROL, "no-store")], Json(me))
}

fn qr_svg(url: &str) -> String {
    let Ok(code) = qrcode::QrCode::new(url) else { return String::new() };
    code.render::<qrcode::render::svg::Color>().min_dimensions(240, 240).build()
}

/// A QR code for a terminal, dark on light whatever the terminal's colours are.
pub fn qr_text(url: &str) -> String {
    use qrcode::render::unicode::Dense1x2;
    let Ok(code) = qrcode::QrCode::new(url) else { return String::new() };
    let drawn = code.render::<Dense1x2>().dark_color(Dense1x2::Dark).light_color(Dense1x2::Light).build();
    let (black_on_white, reset) = ("\u{1b}[30;107m", "\u{1b}[0m");
    drawn.lines().map(|it| format!("{black_on_white}{it}{reset}\n")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn a_link_works_once_and_not_for_ever() {
        let invitations = Invitations::new(Duration::from_secs(60));
        let secret = invitations.open(Role::Crew, None).unwrap().unwrap();
        assert!(invitations.is_open(secret));
        assert_eq!(invitations.use_up(secret).map(|it| it.role), Some(Role::Crew));
        assert!(!invitations.is_open(secret));
        assert!(invitations.use_up(secret).is_none());

        let late = invitations.open(Role::Crew, None).unwrap().unwrap();
        tokio::time::advance(Duration::from_secs(61)).await;
        assert!(!invitations.is_open(late));
        assert!(invitations.use_up(late).is_none());
    }

    #[test]
    fn names_are_trimmed_and_checked() {
        assert_eq!(name("  Zoë  "), Some("Zoë".to_owned()));
        for wrong in ["", "   ", "a\u{0}b", &"x".repeat(61)] {
            assert_eq!(name(wrong), None);
        }
    }
}
