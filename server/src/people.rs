//! Who may come in and do what; an owner decides.

use std::sync::Arc;

use axum::extract::{Extension, Path, State};
use axum::http::header::CACHE_CONTROL;
use axum::response::{IntoResponse, Json, Response};
use shared_model::ids::DeviceId;
use shared_model::job::Timestamp;
use shared_model::wire::Role;

use crate::clock;
use crate::error::Refused;
use crate::gate::Visitor;
use crate::peers::Standing;
use crate::router::Shop;
use crate::store::{Device, Happened, Note, Write};
use crate::sync::Parting;

/// Lines of the list of who came and went that are told at once.
const MOST_NOTES: usize = 500;

/// A device as the phones show it.
#[derive(serde::Serialize)]
struct Entry {
    device: DeviceId,
    person: String,
    name: String,
    role: Role,
    paired: Timestamp,
    revoked: Option<Timestamp>,
    connected: bool,
}

#[derive(serde::Serialize)]
struct People {
    devices: Vec<Entry>,
    /// Only owners see who let whom in.
    notes: Vec<Note>,
    /// The servers that this one calls.
    servers: Vec<Standing>,
}

/// Everybody who is or was let in.
pub async fn list(State(shop): State<Arc<Shop>>, Extension(visitor): Extension<Visitor>) -> Result<Response, Refused> {
    let connected = shop.hub.connected();
    let entry = |Device { id, person, name, role, paired, revoked, .. }| {
        let connected = connected.contains(&id);
        Entry { device: id, person, name, role, paired, revoked, connected }
    };
    let devices = shop.devices.all().into_iter().map(entry).collect();
    let notes = match visitor.device.role {
        Role::Owner => shop.hub.store.notes(MOST_NOTES).map_err(|error| Refused::NotStored(error.to_string()))?,
        Role::Crew | Role::Viewer | Role::Server => Vec::new(),
    };
    Ok(([(CACHE_CONTROL, "no-store")], Json(People { devices, notes, servers: shop.peers.standing() })).into_response())
}

/// What an owner decides about a device.
#[derive(Clone, Copy, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Decision {
    GiveRole(Role),
    /// Not let in any more. What it has sent stays; what is on it cannot be taken back.
    Revoke,
}

/// Carries out a decision, also when whoever made it hangs up meanwhile.
pub async fn change(
    State(shop): State<Arc<Shop>>,
    Extension(visitor): Extension<Visitor>,
    Path(device): Path<DeviceId>,
    Json(decision): Json<Decision>,
) -> Result<Response, Refused> {
    let done = tokio::spawn(decide(Arc::clone(&shop), visitor.device.id, device, decision)).await;
    done.map_err(|error| Refused::NotStored(error.to_string()))??;
    list(State(shop), Extension(visitor)).await
}

/// It is stored first, and then holds for open connections too.
async fn decide(shop: Arc<Shop>, by: DeviceId, device: DeviceId, decision: Decision) -> Result<(), Refused> {
    // Two owners who demote each other at once must not both succeed.
    let _deciding = shop.people.lock().await;
    let all = shop.devices.all();
    let role_now = |id: DeviceId| all.iter().find(|it| it.id == id && it.revoked.is_none()).map(|it| it.role);
    if role_now(by) != Some(Role::Owner) {
        return Err(Refused::NotAllowed);
    }
    let mut changed =
        all.iter().find(|it| it.id == device && it.revoked.is_none()).cloned().ok_or(Refused::NothingHere)?;
    let at = clock::now();
    let (what, parting) = match decision {
        Decision::GiveRole(role) => {
            if role == Role::Server || changed.role == Role::Server {
                return Err(Refused::NotAllowed);
            }
            changed.role = role;
            (Happened::GivenRole(role), Parting::OtherRole)
        }
        Decision::Revoke => {
            changed.revoked = Some(at);
            (Happened::Revoked, Parting::Revoked)
        }
    };
    if leaves_no_owner(&all, &changed) {
        return Err(Refused::LastOwner);
    }
    changed.edition = changed.edition.saturating_add(1);
    let note = Note { at, by: Some(by), device, what };
    let stored = shop.hub.store.commit(vec![Write::Device(changed.clone()), Write::Note(note)]).await;
    stored.map_err(|error| Refused::NotStored(error.to_string()))?;
    tracing::info!(%device, %by, ?what, "decided");
    shop.decided(changed, &parting);
    Ok(())
}

/// Whether the shop would be left without an owner if a device became this.
fn leaves_no_owner(all: &[Device], changed: &Device) -> bool {
    let owns = |it: &Device| it.revoked.is_none() && it.role == Role::Owner;
    let was_owner = all.iter().any(|it| it.id == changed.id && owns(it));
    was_owner && !owns(changed) && !all.iter().any(|it| it.id != changed.id && owns(it))
}
