//! The server's clock.

use std::time::{SystemTime, UNIX_EPOCH};

use shared_model::job::Timestamp;

pub fn now() -> Timestamp {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    Timestamp(i64::try_from(since.as_secs()).unwrap_or(i64::MAX))
}
