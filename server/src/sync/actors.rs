//! Whose an actor is: the device's whose page or process writes under it. Nobody goes on as somebody else.

use std::collections::BTreeSet;

use shared_model::guard::{self, VettedChange};
use shared_model::ids::DeviceId;
use shared_model::job::NewChange;

use super::hub::Hub;
use super::outbox::Parting;
use crate::store::Write;

/// Registers the actors of changes: nobody may go on as somebody else whose changes another one brought.
pub fn own_actors(hub: &Hub, device: DeviceId, changes: &[NewChange]) -> Result<Vec<Write>, Parting> {
    let mut actors = BTreeSet::new();
    let mut others = Vec::new();
    for change in changes {
        let Ok(vetted) = guard::change(&change.bytes, None) else { continue };
        match vetted.author() {
            Some(author) if author == device => {
                actors.extend(own_actor(hub, device, vetted.actor().to_bytes())?);
            }
            Some(author) => others.extend(actor_of(hub, &vetted, author)?),
            None => {}
        }
    }
    let own = actors.into_iter().map(|actor| Write::Actor { actor, device });
    Ok(own.chain(others).collect())
}

/// The actor, if it is this phone's: registered to it, or to nobody yet.
pub fn own_actor(hub: &Hub, device: DeviceId, actor: &[u8]) -> Result<Option<[u8; 16]>, Parting> {
    let Ok(actor) = <[u8; 16]>::try_from(actor) else { return Ok(None) };
    let owner = hub.store.claim(actor, device)?;
    Ok((owner == device).then_some(actor))
}

/// Registers an actor to the author whom its first change names, unless it is registered.
pub fn actor_of(hub: &Hub, change: &VettedChange, author: DeviceId) -> Result<Option<Write>, Parting> {
    let Ok(actor) = <[u8; 16]>::try_from(change.actor().to_bytes()) else { return Ok(None) };
    let owner = hub.store.claim(actor, author)?;
    if owner != author {
        tracing::warn!(%owner, %author, "two devices write under one actor");
    }
    Ok((owner == author).then_some(Write::Actor { actor, device: author }))
}
