//! The demo house as a job, for tests that measure or compare it.

use shared_model::demo::actions;
use shared_model::ids::JobId;
use shared_model::job::{Job, JobDoc, Timestamp};
use uuid::Uuid;

/// What the house's people measured, as if one of them had entered all of it.
pub fn house() -> Job {
    let actions = actions();
    let author = actions.first().expect("the demo's first action").by;
    let mut document = JobDoc::new(JobId(Uuid::from_u128(1)), [1; 16], author);
    for (at, action) in (0..).zip(&actions) {
        document.edit(&action.edits, action.said, Timestamp(at)).expect("the demo's edits to be sound");
    }
    document.job()
}
