//! What this server seals with, and what the other servers of the shop seal with: see [`shared_model::seal`].

use std::path::{Path, PathBuf};
use std::sync::{PoisonError, RwLock};

use axum::body::Bytes;
use shared_model::ids::JobId;
use shared_model::job::{JobDoc, NewChange};
use shared_model::seal::{Hash, MOST_HEADS, Proof, Seal, SealKey};
use shared_model::wire::Frame;

use super::job::heads_of;
use crate::devices::Token;
use crate::tls::{self, TlsError};

const FILE: &str = "seals.key";
const SECRET_BYTES: usize = 32;
/// No shop has so many servers.
const MOST_KEYS: usize = 100;

pub struct Seals {
    path: PathBuf,
    /// This server's own first.
    keys: RwLock<Vec<([u8; SECRET_BYTES], SealKey)>>,
}

impl Seals {
    /// Opens the keys in the data folder; makes a new one when there is none.
    pub fn open(folder: &Path) -> Result<Self, TlsError> {
        let path = folder.join(FILE);
        let unusable = |reason: String| TlsError::Unusable { path: path.clone(), reason };
        let secrets: Vec<[u8; SECRET_BYTES]> = match std::fs::read(&path) {
            Ok(bytes) => match bytes.as_chunks() {
                (secrets @ [_, ..], []) => secrets.to_vec(),
                _ => {
                    return Err(unusable(
                        "not whole: remove it, and phones bring what others wrote from the servers".into(),
                    ));
                }
            },
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                let secret = Token::random().map_err(|error| unusable(error.to_string()))?.bytes();
                tls::put(&path, &secret)?;
                vec![secret]
            }
            Err(error) => return Err(unusable(error.to_string())),
        };
        let keys = secrets.into_iter().map(|it| (it, SealKey::new(&it))).collect();
        Ok(Self { path, keys: RwLock::new(keys) })
    }

    /// The seal over all that these changes are and build on.
    pub fn seal(&self, job: JobId, heads: Vec<Hash>) -> Option<Seal> {
        let keys = self.keys.read().unwrap_or_else(PoisonError::into_inner);
        keys.first().map(|(_, own)| own.seal(job, heads))
    }

    /// The proof of the seal over new changes.
    pub fn proof(&self, job: JobId, changes: &[NewChange]) -> Option<Proof> {
        // The catch-up that so many came in is answered with a seal over everything.
        let hashes = changes.iter().map(|it| it.hash.0);
        (changes.len() <= MOST_HEADS).then(|| self.seal(job, hashes.collect())).flatten().map(|it| it.proof)
    }

    /// A catch-up message, with the seal over all that the document has.
    pub fn catch_up(&self, doc: &JobDoc, message: Vec<u8>) -> Frame {
        let seal = self.seal(doc.id(), heads_of(doc));
        Frame::Sync { job: doc.id(), message, seal }
    }

    /// A change for everybody who shares the job.
    pub fn live(&self, job: JobId, change: NewChange) -> Bytes {
        let proof = self.proof(job, std::slice::from_ref(&change));
        Bytes::from(Frame::Change { job, change: change.bytes, proof }.encode())
    }

    /// Whether a server of the shop made the seal.
    pub fn made(&self, job: JobId, seal: &Seal) -> bool {
        self.keys.read().unwrap_or_else(PoisonError::into_inner).iter().any(|(_, key)| key.made(job, seal))
    }

    /// For another server of the shop.
    pub fn reveal(&self) -> Vec<[u8; SECRET_BYTES]> {
        self.keys.read().unwrap_or_else(PoisonError::into_inner).iter().map(|(secret, _)| *secret).collect()
    }

    /// Takes in what another server of the shop seals with, for good.
    pub fn learn(&self, secrets: &[[u8; SECRET_BYTES]]) -> Result<(), TlsError> {
        let mut keys = self.keys.write().unwrap_or_else(PoisonError::into_inner);
        let mut all: Vec<[u8; SECRET_BYTES]> = keys.iter().map(|(secret, _)| *secret).collect();
        all.extend(secrets.iter().take(MOST_KEYS).filter(|it| keys.iter().all(|(known, _)| known != *it)));
        all.truncate(MOST_KEYS);
        if all.len() > keys.len() {
            tls::put(&self.path, all.as_flattened())?;
            *keys = all.into_iter().map(|it| (it, SealKey::new(&it))).collect();
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    #[test]
    fn servers_that_know_each_other_know_each_others_seals_after_a_restart_too() {
        let (van, shop) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (of_van, of_shop) = (Seals::open(van.path()).unwrap(), Seals::open(shop.path()).unwrap());
        let job = JobId(Uuid::from_u128(1));
        let seal = of_van.seal(job, vec![[9; 32]]).unwrap();
        assert!(of_van.made(job, &seal));
        assert!(!of_shop.made(job, &seal));
        of_shop.learn(&of_van.reveal()).unwrap();
        of_shop.learn(&of_van.reveal()).unwrap();
        let again = Seals::open(shop.path()).unwrap();
        assert!(again.made(job, &seal));
        assert_eq!(again.reveal().len(), 2);
        // It goes on sealing with its own.
        assert!(!of_van.made(job, &again.seal(job, vec![[9; 32]]).unwrap()));
    }

    #[test]
    fn half_a_key_is_no_key() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(FILE), [1; 20]).unwrap();
        assert!(Seals::open(folder.path()).is_err());
    }
}
