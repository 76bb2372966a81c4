//! What an event asks for, what waits for a server, and what was set apart.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use shared_model::guard;
use shared_model::job::Timestamp;
use shared_model::seal::Seals;
use shared_model::wire::Frame;

use super::Hash;

/// An own edit that no server has confirmed; stored until one does.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Waiting {
    pub bytes: Vec<u8>,
    pub said: String,
    /// The [`Edit`]s as JSON, which a later version of the tool still reads.
    pub edits: String,
    pub made: Timestamp,
}

/// An edit set apart because a server refused it or because it broke the tool; never thrown away.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SetApart {
    pub at: Timestamp,
    pub said: String,
    pub reason: String,
    /// Empty where the server has them: it sends them again at each connection.
    pub bytes: Vec<u8>,
}

impl SetApart {
    /// Whether it says what one of these says, and has no bytes of its own to keep.
    pub fn repeats(&self, said: &[Self]) -> bool {
        self.bytes.is_empty() && said.iter().any(|it| (&it.said, &it.reason) == (&self.said, &self.reason))
    }
}

/// What an event asks for: to be stored first, then sent.
#[derive(Debug, Default)]
pub struct Outcome {
    /// Changes to store singly.
    pub changes: Vec<Vec<u8>>,
    /// Own changes that now wait for a server.
    pub waiting: Vec<(Hash, Waiting)>,
    /// No longer waiting.
    pub confirmed: Vec<Hash>,
    pub apart: Vec<SetApart>,
    pub send: Vec<Frame>,
    /// The document reads differently now.
    pub changed: bool,
    /// The server and this phone have the same now.
    pub level: bool,
    /// Fold everything into a snapshot.
    pub snapshot: bool,
    /// The seals to keep from now on.
    pub seals: Option<Seals>,
}

/// Stored changes, oldest first, without those that were set apart and what was built on them, which was made again then:
/// read back, they would be in the document again, and no server could take it in.
pub fn without_apart<K>(mut changes: Vec<(K, Vec<u8>)>, apart: &[SetApart]) -> Vec<(K, Vec<u8>)> {
    if apart.is_empty() {
        return changes;
    }
    let vetted = |bytes: &[u8]| guard::change(bytes, None).ok();
    let mut gone: BTreeSet<Hash> = apart.iter().filter_map(|it| Some(vetted(&it.bytes)?.hash().0)).collect();
    changes.retain(|(_, bytes)| {
        // One that was set apart because it does not read is known by its bytes.
        let Some(change) = vetted(bytes) else { return apart.iter().all(|it| it.bytes != *bytes) };
        let builds_on_it = change.deps().iter().any(|it| gone.contains(&it.0));
        !(gone.contains(&change.hash().0) || builds_on_it && gone.insert(change.hash().0))
    });
    changes
}

pub fn set_apart(said: &str, reason: String, bytes: Vec<u8>) -> SetApart {
    SetApart { at: Timestamp::default(), said: said.to_owned(), reason, bytes }
}
