//! A server's seal: it has these changes and all that they build on, each from the device that made it.
//!
//! A phone carries what others measured to a server that has not got it: from the van to the shop, or back after a loss. It
//! could make up changes in their names. So servers seal what they take in, and let in from a phone only its own changes and
//! sealed ones. The key is known to the servers of one shop and to nobody else. A seal is the HMAC-SHA-256 (RFC 2104) of the
//! job and the hashes, cut to 16 bytes; as a change's hash covers what it builds on, few hashes stand for a whole history.

use std::collections::BTreeSet;

use hmac::{Hmac, KeyInit, Mac as _};
use serde::{Deserialize, Serialize};
use sha2::Sha256;

use crate::ids::JobId;
use crate::job::{ChangeHash, JobDoc, NewChange};

pub type Hash = [u8; 32];
/// The proof that a seal was made by whoever has the key.
pub type Proof = [u8; 16];

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Seal {
    pub heads: Vec<Hash>,
    pub proof: Proof,
}

/// What a shop's servers seal with.
#[derive(Clone)]
pub struct SealKey(Hmac<Sha256>);

impl SealKey {
    pub fn new(secret: &[u8; 32]) -> Self {
        // RFC 2104, section 2: a key is filled up with zeros to the length of the hash's block.
        let mut block = [0; 64];
        block[..32].copy_from_slice(secret);
        Self(Hmac::new(&block.into()))
    }

    pub fn seal(&self, job: JobId, heads: Vec<Hash>) -> Seal {
        let whole = self.over(job, &heads).finalize().into_bytes();
        let mut proof = [0; 16];
        proof.copy_from_slice(&whole[..16]);
        Seal { heads, proof }
    }

    /// Whether the seal was made with this key for this job.
    pub fn made(&self, job: JobId, seal: &Seal) -> bool {
        self.over(job, &seal.heads).verify_truncated_left(&seal.proof).is_ok()
    }

    fn over(&self, job: JobId, heads: &[Hash]) -> Hmac<Sha256> {
        let mut mac = self.0.clone();
        mac.update(job.0.as_bytes());
        heads.iter().for_each(|it| mac.update(it));
        mac
    }
}

/// The seals that a phone keeps of one job.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Seals(Vec<Seal>);

/// Seals that stand beside each other before it is looked which the newest makes needless, and after that at most.
const MOST_UNSORTED: usize = 8;
const MOST: usize = 64;

/// A document has a head for each device that is apart; who sees more of them in a seal is being played with.
pub const MOST_HEADS: usize = 128;

impl Seals {
    /// Adds one that a server gave, also before what it stands for is here.
    pub fn add(&mut self, doc: &JobDoc, seal: Seal) {
        if seal.heads.is_empty() || seal.heads.len() > MOST_HEADS || self.0.last() == Some(&seal) {
            return;
        }
        self.0.push(seal);
        if self.0.len() > MOST_UNSORTED {
            self.drop_needless(doc);
        }
    }

    fn drop_needless(&mut self, doc: &JobDoc) {
        let Some(newest) = self.0.pop() else { return };
        let outside = doc.hashes_outside(&newest.heads);
        self.0.retain(|it| !it.heads.iter().all(|head| doc.has(&ChangeHash(*head)) && !outside.contains(head)));
        let too_many = (self.0.len() + 1).saturating_sub(MOST);
        self.0.drain(..too_many);
        self.0.push(newest);
    }

    /// All of them: also of changes that wait for others, which may come from the very server that is shown them.
    /// The newest first.
    pub fn all(&self) -> Vec<Seal> {
        self.0.iter().rev().cloned().collect()
    }
}

/// The first of the changes that is neither by somebody who `may` bring it nor sealed.
pub fn first_unsealed(
    doc: &JobDoc,
    changes: &[NewChange],
    sealed: &BTreeSet<Hash>,
    may: impl Fn(crate::ids::DeviceId) -> bool,
) -> Option<Hash> {
    let sealed: Vec<Hash> = sealed.iter().copied().collect();
    let outside = doc.hashes_outside(&sealed);
    let unsealed = changes.iter().map(|it| it.hash).filter(|it| outside.contains(&it.0));
    unsealed.filter(|it| doc.author_of(it).is_some_and(|author| !may(author))).map(|it| it.0).next()
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    const JOB: JobId = JobId(Uuid::from_u128(7));

    #[test]
    fn a_seal_is_good_for_its_job_its_changes_and_its_key() {
        let key = SealKey::new(&[1; 32]);
        let seal = key.seal(JOB, vec![[2; 32], [3; 32]]);
        assert!(key.made(JOB, &seal));
        assert!(!key.made(JobId(Uuid::from_u128(8)), &seal));
        assert!(!SealKey::new(&[4; 32]).made(JOB, &seal));
        let mut other = seal.clone();
        other.heads[1][31] ^= 1;
        assert!(!key.made(JOB, &other));
        let shorter = Seal { heads: vec![[2; 32]], ..seal };
        assert!(!key.made(JOB, &shorter));
    }

    /// RFC 4231, section 4.3 (test case 2), through a key of the length used here: HMAC pads a shorter key with zeros
    /// (RFC 2104, section 2), so that "Jefe" and its padding to 32 bytes are one key.
    #[test]
    fn the_proof_is_the_hmac_of_the_rfc() {
        let mut secret = [0; 32];
        secret[..4].copy_from_slice(b"Jefe");
        let mut mac = SealKey::new(&secret).0;
        mac.update(b"what do ya want for nothing?");
        let expected: [u8; 16] =
            [0x5b, 0xdc, 0xc1, 0x46, 0xbf, 0x60, 0x75, 0x4e, 0x6a, 0x04, 0x24, 0x26, 0x08, 0x95, 0x75, 0xc7];
        assert_eq!(mac.finalize().into_bytes()[..16], expected);
    }
}
