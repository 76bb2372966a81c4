//! Pairing two servers, once: one opens a link for servers, the other one follows it.

use std::io;
use std::sync::Arc;

use axum::extract::{ConnectInfo, Extension, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Json, Response};
use sha2::{Digest, Sha256};
use shared_model::ids::DeviceId;
use shared_model::wire::Role;
use std::net::SocketAddr;
use time::OffsetDateTime;
use tokio_rustls::rustls::pki_types::CertificateDer;
use uuid::Uuid;

use super::guest_subjects;
use super::record::Record;
use super::wire::{self, Proof};
use crate::devices::{Token, hex};
use crate::error::Refused;
use crate::gate::Visitor;
use crate::pairing::{Secret, first_scheme};
use crate::router::Shop;
use crate::store::{Device, Happened, Note, Write};
use crate::sync::Parting;
use crate::tls::{self, TlsError};
use crate::{clock, trust};

/// What a server says that wants to come in.
#[derive(serde::Serialize, serde::Deserialize)]
pub struct Guest {
    shop: String,
    replica: Uuid,
    /// PKCS#10, DER.
    request: Vec<u8>,
    subjects: Vec<String>,
}

/// What it is given.
#[derive(serde::Serialize, serde::Deserialize)]
struct Welcome {
    shop: String,
    replica: Uuid,
    addresses: Vec<String>,
    device: DeviceId,
    token: String,
    certificate: Option<Vec<u8>>,
}

#[derive(thiserror::Error, Debug)]
pub enum JoinError {
    #[error("this is no link for a server: make one on an owner's phone of the other server, under Add a phone")]
    NoLink,
    #[error("the other server is not the one that the link was made on: its certificate has another code")]
    Stranger,
    #[error("this link was used already, it has expired, or it is for a phone")]
    Refused,
    #[error("these are the same server")]
    Same,
    #[error("the other server cannot be reached: {0}")]
    Unreachable(#[from] io::Error),
    #[error("the other server's answer was not understood: {0}")]
    NotUnderstood(String),
    #[error(transparent)]
    Tls(#[from] TlsError),
}

/// Lets another server in, whose link an owner has made.
pub async fn let_in(
    State(shop): State<Arc<Shop>>,
    ConnectInfo(address): ConnectInfo<SocketAddr>,
    Path(secret): Path<String>,
    Json(guest): Json<Guest>,
) -> Result<Response, Refused> {
    shop.rates.knock(address.ip())?;
    let Some(secret) = Secret::parse(&secret).filter(|it| shop.invitations.is_open(*it)) else {
        shop.rates.miss(address.ip());
        return Err(Refused::LinkGone);
    };
    if guest.replica == Uuid::from_bytes(shop.hub.store.replica()) {
        return Err(Refused::BadForm("These are the same server."));
    }
    let broken = |error: &dyn ToString| Refused::NotStored(error.to_string());
    let token = Token::random().map_err(|error| broken(&error))?;
    let subjects = guest_subjects(&shop, &guest.subjects);
    let now = OffsetDateTime::now_utc();
    let vouched = shop.tls.as_ref().map(|it| it.vouch(&guest.request, &subjects, now)).transpose();
    let certificate = vouched.map_err(|_| Refused::BadForm("The certificate request cannot be read."))?.flatten();
    let Some(by) = shop.invitations.use_up_for_server(secret) else {
        shop.rates.miss(address.ip());
        return Err(Refused::LinkGone);
    };
    let (id, paired, role) = (DeviceId(Uuid::new_v4()), clock::now(), Role::Server);
    let person: String = guest.shop.chars().filter(|it| !it.is_control()).take(60).collect();
    let name = "server".to_owned();
    let device = Device { id, person, name, token: token.hash(), paired, role, revoked: None, edition: 0 };
    let note = Note { at: paired, by, device: id, what: Happened::Joined(role) };
    let stored = shop.hub.store.commit(vec![Write::Device(device.clone()), Write::Note(note)]).await;
    stored.map_err(|error| broken(&error))?;
    tracing::info!(device = %id, server = device.person, "another server is paired");
    shop.devices.insert(device);
    let scheme = if shop.tls.is_some() { "https" } else { "http" };
    let welcome = Welcome {
        shop: shop.name.clone(),
        replica: Uuid::from_bytes(shop.hub.store.replica()),
        addresses: shop.hosts.authorities().iter().map(|it| format!("{scheme}://{it}")).collect(),
        device: id,
        token: token.reveal(),
        certificate: certificate.map(|it| it.to_vec()),
    };
    Ok(Json(welcome).into_response())
}

/// A link of another server, which an owner has copied here.
#[derive(serde::Deserialize)]
pub struct Link {
    link: String,
}

/// An owner pairs this server with another one.
pub async fn server_joins(
    State(shop): State<Arc<Shop>>,
    Extension(visitor): Extension<Visitor>,
    Json(Link { link }): Json<Link>,
) -> Result<Response, Refused> {
    if shop.devices.get(visitor.device.id).is_none_or(|it| it.role != Role::Owner) {
        return Err(Refused::NotAllowed);
    }
    // A link that is used up must not be lost because somebody hangs up.
    let joining = Arc::clone(&shop);
    let joined = tokio::spawn(async move { join(&joining, link.trim()).await }).await;
    if let Err(error) = joined.map_err(|error| Refused::NotStored(error.to_string()))? {
        // The owner's page shows it as it is.
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, error.to_string()).into_response());
    }
    Ok((StatusCode::OK, Json(shop.peers.standing())).into_response())
}

/// An owner ends what a link began: this server does not call the other one any more. What each has stays; the other one shuts
/// this one out like any device.
pub async fn server_parts(
    State(shop): State<Arc<Shop>>,
    Extension(visitor): Extension<Visitor>,
    Path(replica): Path<Uuid>,
) -> Result<Response, Refused> {
    if shop.devices.get(visitor.device.id).is_none_or(|it| it.role != Role::Owner) {
        return Err(Refused::NotAllowed);
    }
    if !shop.peers.forget(replica).map_err(|error| Refused::NotStored(error.to_string()))? {
        return Err(Refused::NothingHere);
    }
    shop.hub.part(DeviceId(replica), &Parting::Revoked);
    Ok(Json(shop.peers.standing()).into_response())
}

/// Follows a link for servers, and keeps calling the server behind it from then on.
pub async fn join(shop: &Arc<Shop>, link: &str) -> Result<(), JoinError> {
    let (link, code) = link.split_once('#').map_or((link, None), |(link, code)| (link, Some(code)));
    let (address, secret) = link.split_once("/join/").ok_or(JoinError::NoLink)?;
    let (scheme, host) = address.split_once("://").ok_or(JoinError::NoLink)?;
    let authority = match (scheme, code) {
        ("https", Some(code)) => Some(authority_of(host, code).await?),
        ("http", None) => None,
        _ => return Err(JoinError::NoLink),
    };
    let proof = authority.as_ref().map(|authority| Proof { authority, name: None });
    let key = tls::new_key()?;
    let own = Uuid::from_bytes(shop.hub.store.replica());
    let subjects = shop.hosts.subjects().iter().map(ToString::to_string).collect();
    let guest = Guest { shop: shop.name.clone(), replica: own, request: tls::request(&key)?, subjects };
    let body = serde_json::to_vec(&guest).map_err(|error| JoinError::NotUnderstood(error.to_string()))?;
    let path = format!("{}/server", Secret::parse(secret).ok_or(JoinError::NoLink)?.path());
    let (status, answer) = wire::ask(address, &path, Some(body), proof).await?;
    if status != 200 {
        return Err(JoinError::Refused);
    }
    let it: Welcome = serde_json::from_slice(&answer).map_err(|error| JoinError::NotUnderstood(error.to_string()))?;
    if it.replica == own {
        return Err(JoinError::Same);
    }
    let mut addresses = vec![address.to_owned()];
    addresses.extend(it.addresses.into_iter().filter(|it| it != address));
    let authority = authority.map(|it| it.to_vec());
    // Phones that trust this server's own authority already must not lose it.
    let certificate = it.certificate.filter(|_| shop.devices.is_empty() && !shop.only_https());
    let replica = it.replica;
    let (shop_name, device, token) = (it.shop, it.device, it.token);
    let record = Record { replica, shop: shop_name, addresses, device, token, authority, key, certificate, met: None };
    if let (Some(tls), Some(vouched)) = (&shop.tls, record.vouched()) {
        tls.be_vouched_for(&vouched)?;
    }
    let known = shop.peers.record(replica).is_some();
    shop.peers.keep(record)?;
    if !known {
        shop.peers.call(shop, replica);
    }
    Ok(())
}

/// The authority's certificate, fetched without encryption and known by its code.
async fn authority_of(host: &str, code: &str) -> Result<CertificateDer<'static>, JoinError> {
    let (status, certificate) = wire::ask(&format!("http://{host}"), trust::CERTIFICATE_PATH, None, None).await?;
    if status != 200 || hex(&Sha256::digest(&certificate)) != code {
        return Err(JoinError::Stranger);
    }
    Ok(CertificateDer::from(certificate.to_vec()))
}

/// The link for another server, at one of this server's addresses.
pub fn link(shop: &Shop, secret: Secret, authority: &str) -> String {
    match shop.tls.as_ref().and_then(|it| it.to_trust()) {
        Some(trusted) => {
            format!("https://{authority}{}#{}", secret.path(), hex(&Sha256::digest(&trusted)))
        }
        None => secret.url(first_scheme(shop), authority),
    }
}
