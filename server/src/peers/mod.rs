//! The shop's other servers: a laptop in the van and the computer in the shop. Paired once, they bring each other what either
//! has, and let in the same people. The one that was paired by the other's link looks for it and calls.

mod call;
mod joining;
mod lists;
mod photos;
mod record;
mod wire;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use shared_model::job::Timestamp;
use shared_model::wire::{Frame, Role};
use time::OffsetDateTime;
use tokio::task::JoinHandle;
use uuid::Uuid;

pub use joining::{join, let_in, link, server_joins, server_parts};
pub use record::Record;

use crate::clock;
use crate::router::Shop;
use crate::store::{Device, Happened, Note, Write};
use crate::sync::{Outbox, Parting, Phone};
use crate::tls::{Subject, TlsError, Vouched};

/// The data folder's part that keeps what this server knows of others, their secrets included.
pub const FOLDER: &str = "peers";

/// Most devices that another server may tell of in one frame, and how many this one puts into one.
const MOST_DEVICES: usize = 10_000;
const DEVICES_AT_ONCE: usize = 500;
/// Nobody decides so often about one device.
const MOST_EDITIONS: u64 = 1 << 40;

/// The servers that this one calls.
pub struct Peers {
    folder: PathBuf,
    all: Mutex<BTreeMap<Uuid, Peer>>,
    calls: Mutex<Vec<JoinHandle<()>>>,
}

struct Peer {
    record: Record,
    connected: bool,
}

/// How it stands with another server.
#[derive(serde::Serialize)]
pub struct Standing {
    replica: Uuid,
    shop: String,
    addresses: Vec<String>,
    connected: bool,
    /// When the two were last connected.
    met: Option<Timestamp>,
}

impl Peers {
    pub fn open(data: &Path) -> Result<Self, TlsError> {
        let folder = data.join(FOLDER);
        let records = Record::read_all(&folder)?;
        let all = records.into_iter().map(|record| (record.replica, Peer { record, connected: false })).collect();
        Ok(Self { folder, all: Mutex::new(all), calls: Mutex::default() })
    }

    /// Whether this server calls any other.
    pub fn any(&self) -> bool {
        !self.lock().is_empty()
    }

    /// What another server has vouched for, if one did.
    pub fn vouched(&self) -> Option<Vouched> {
        self.lock().values().find_map(|it| it.record.vouched())
    }

    pub fn standing(&self) -> Vec<Standing> {
        let standing = |it: &Peer| {
            let Record { replica, shop, addresses, met, .. } = it.record.clone();
            Standing { replica, shop, addresses, connected: it.connected, met }
        };
        self.lock().values().map(standing).collect()
    }

    /// Keeps calling every server that is known; more are called when they are joined.
    pub fn call_all(&self, shop: &Arc<Shop>) {
        let known: Vec<Uuid> = self.lock().keys().copied().collect();
        known.into_iter().for_each(|it| self.call(shop, it));
    }

    fn call(&self, shop: &Arc<Shop>, replica: Uuid) {
        let call = tokio::spawn(call::keep_calling(Arc::clone(shop), replica));
        self.calls.lock().unwrap_or_else(PoisonError::into_inner).push(call);
    }

    pub fn stop(&self) {
        for call in self.calls.lock().unwrap_or_else(PoisonError::into_inner).drain(..) {
            call.abort();
        }
    }

    fn is_connected(&self, replica: Uuid) -> bool {
        self.lock().get(&replica).is_some_and(|it| it.connected)
    }

    fn record(&self, replica: Uuid) -> Option<Record> {
        self.lock().get(&replica).map(|it| it.record.clone())
    }

    /// Adds or changes what is known of a server.
    fn keep(&self, record: Record) -> Result<(), TlsError> {
        let mut all = self.lock();
        record.write(&self.folder)?;
        let connected = all.get(&record.replica).is_some_and(|it| it.connected);
        all.insert(record.replica, Peer { record, connected });
        Ok(())
    }

    /// Forgets a server; answers whether it was known.
    fn forget(&self, replica: Uuid) -> Result<bool, TlsError> {
        let mut all = self.lock();
        if let Some(it) = all.get(&replica) {
            it.record.remove(&self.folder)?;
        }
        Ok(all.remove(&replica).is_some())
    }

    fn note_connected(&self, replica: Uuid, connected: bool) {
        let mut all = self.lock();
        let Some(it) = all.get_mut(&replica) else { return };
        it.connected = connected;
        it.record.met = Some(clock::now());
        if let Err(error) = it.record.write(&self.folder) {
            tracing::warn!(%error, "when the servers met was not stored");
        }
    }

    fn lock(&self) -> MutexGuard<'_, BTreeMap<Uuid, Peer>> {
        self.all.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What this server seals with.
pub fn tell_seal_keys(shop: &Shop, to: &Outbox) {
    to.send(&Frame::SealKeys(shop.hub.seals.reveal()));
}

/// Everybody whom this server lets in, or does not any more. Each server says itself which other ones it lets in.
pub fn tell_roster(shop: &Shop, to: &Outbox) {
    let mut devices = shop.devices.all();
    devices.retain(|it| it.role != Role::Server);
    for some in devices.chunks(DEVICES_AT_ONCE) {
        to.send(&Frame::Roster(serde_json::to_vec(some).unwrap_or_default()));
    }
}

/// Answers one frame of another server.
pub async fn take(shop: &Shop, peer: &mut Phone, frame: Frame) -> Result<(), Parting> {
    match frame {
        Frame::Roster(devices) => merge(shop, &peer.device, &devices).await,
        Frame::SealKeys(keys) => {
            if let Err(error) = shop.hub.seals.learn(&keys) {
                tracing::warn!(%error, "what another server seals with is not kept: its phones' news of others waits for it");
            }
            Ok(())
        }
        Frame::Vouch { request, subjects } => {
            let answer = vouch(shop, &request, &subjects).map_err(|error| Parting::NotUnderstood(error.to_string()))?;
            answer.iter().for_each(|it| peer.outbox.send(it));
            Ok(())
        }
        other => peer.take(&shop.hub, other).await,
    }
}

fn vouch(shop: &Shop, request: &[u8], subjects: &[String]) -> Result<Option<Frame>, TlsError> {
    let Some(tls) = &shop.tls else { return Ok(None) };
    let certificate = tls.vouch(request, &guest_subjects(shop, subjects), OffsetDateTime::now_utc())?;
    Ok(certificate.map(|it| Frame::Vouched { certificate: it.to_vec() }))
}

/// What another server is vouched for: its own names and addresses, and the shop's name, which it bears where this one is
/// not.
fn guest_subjects(shop: &Shop, subjects: &[String]) -> Vec<Subject> {
    const MOST: usize = 100;
    let own = subjects.iter().take(MOST).map(|it| Subject::from(it.as_str()));
    let mut subjects: Vec<Subject> = own.filter(|it| !is_own(shop, it)).collect();
    subjects.push(Subject::Name(crate::hosts::local_name(&shop.name)));
    subjects
}

/// Whether a name or address is this server's alone. Loopback is everybody's.
fn is_own(shop: &Shop, subject: &Subject) -> bool {
    let everybodys = match subject {
        Subject::Name(name) => name == "localhost",
        Subject::Address(address) => address.is_loopback(),
    };
    !everybodys && shop.hosts.subjects().contains(subject)
}

/// Takes in whom another server lets in.
async fn merge(shop: &Shop, from: &Device, devices: &[u8]) -> Result<(), Parting> {
    let told: Vec<Device> = serde_json::from_slice(devices)
        .map_err(|error| Parting::NotUnderstood(format!("the list of devices: {error}")))?;
    if told.len() > MOST_DEVICES {
        return Err(Parting::NotUnderstood("the list of devices is too long".into()));
    }
    let _deciding = shop.people.lock().await;
    // Both sides may have been told meanwhile that the other one is shut out.
    if shop.devices.all().iter().any(|it| it.id == from.id && it.revoked.is_some()) {
        return Err(Parting::Revoked);
    }
    let known: BTreeMap<_, _> = shop.devices.all().into_iter().map(|it| (it.id, it)).collect();
    let is_news = |it: &Device| {
        let sound = it.role != Role::Server
            && !it.id.0.is_nil()
            && it.person.len() + it.name.len() < 1_000
            && it.edition < MOST_EDITIONS;
        sound && known.get(&it.id).is_none_or(|own| own.role != Role::Server && own.gives_way_to(it))
    };
    let news: Vec<Device> = told.into_iter().filter(is_news).collect();
    if news.is_empty() {
        return Ok(());
    }
    let mut writes = Vec::new();
    for it in &news {
        let what = match (it.revoked, known.contains_key(&it.id)) {
            (Some(_), _) => Happened::Revoked,
            (None, true) => Happened::GivenRole(it.role),
            (None, false) => Happened::Joined(it.role),
        };
        writes.push(Write::Device(it.clone()));
        writes.push(Write::Note(Note { at: clock::now(), by: Some(from.id), device: it.id, what }));
    }
    shop.hub.store.commit(writes).await.map_err(|error| Parting::NotStored(error.to_string()))?;
    for it in news {
        let why = if it.revoked.is_some() { Parting::Revoked } else { Parting::OtherRole };
        shop.decided(it, &why);
    }
    if shop.devices.all().iter().all(|it| it.revoked.is_some() || it.role != Role::Owner) {
        tracing::warn!("nobody owns this shop any more: start the server with --pair for an owner's link");
    }
    Ok(())
}
