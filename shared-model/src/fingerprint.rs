//! What two builds must agree on to the byte: the phone's and the server's. A test compares them.

use std::collections::BTreeMap;

use uuid::Uuid;

use crate::demo;
use crate::guard;
use crate::ids::{DeviceId, JobId};
use crate::job::{JobDoc, Timestamp};
use crate::survey::survey;
use crate::takeoff::takeoff;

/// Checksums of the demo house: as a saved document, as the adjustments of its rooms, as a takeoff.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Fingerprint {
    pub document: u64,
    pub surveys: u64,
    pub takeoff: u64,
}

/// Measures the demo house on one phone for each of its people, with fixed actors and clocks, and takes it off.
///
/// The error says which action cannot be done; a sound demo has none.
pub fn of_demo() -> Result<Fingerprint, String> {
    let job = JobId(Uuid::from_u128(1));
    let mut phones: BTreeMap<DeviceId, JobDoc> = BTreeMap::new();
    let actions = demo::actions();
    for action in &actions {
        phones.entry(action.by).or_insert_with(|| JobDoc::new(job, *action.by.0.as_bytes(), action.by));
    }
    for (at, action) in (0..).zip(&actions) {
        let failed = |reason: String| format!("{}: {reason}", action.said);
        let phone = phones.get_mut(&action.by).ok_or_else(|| failed("nobody".to_owned()))?;
        let change = phone.edit(&action.edits, action.said, Timestamp(at)).map_err(|it| failed(it.to_string()))?;
        let Some(change) = change else { continue };
        for (_, other) in phones.iter_mut().filter(|(by, _)| **by != action.by) {
            let vetted = guard::change(&change.bytes, Some(action.by)).map_err(|it| failed(it.to_string()))?;
            other.apply(vec![vetted]).map_err(|it| failed(it.to_string()))?;
        }
    }
    let (_, phone) = phones.pop_first().ok_or("the demo has no people")?;
    let job = phone.job();
    let adjusted: Vec<_> =
        job.rooms.iter().filter_map(|room| survey(room, &job.rules, job.units).result.ok()).collect();
    let surveys = postcard::to_stdvec(&adjusted).map_err(|it| it.to_string())?;
    let taken = postcard::to_stdvec(&takeoff(&job)).map_err(|it| it.to_string())?;
    Ok(Fingerprint { document: checksum(&phone.save()), surveys: checksum(&surveys), takeoff: checksum(&taken) })
}

/// FNV-1a with 64 bits (Fowler, Noll, Vo): against differences, not against malice.
pub(crate) fn checksum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |sum, byte| (sum ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3))
}

impl std::fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "document {:016x}, surveys {:016x}, takeoff {:016x}", self.document, self.surveys, self.takeoff)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Test vectors published by the authors of the checksum: <http://www.isthe.com/chongo/src/fnv/test_fnv.c>.
    #[test]
    fn the_checksum_is_fnv_1a() {
        assert_eq!(checksum(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(checksum(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(checksum(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn the_demo_gives_the_same_bytes_each_time() {
        let fingerprint = of_demo().unwrap();
        assert_eq!(of_demo(), Ok(fingerprint));
        assert_ne!(fingerprint.document, checksum(b""));
        let text = fingerprint.to_string();
        assert_eq!((text.len(), &text[..9]), (77, "document "));
    }
}
