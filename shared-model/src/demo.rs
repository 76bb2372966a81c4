//! The demo job: an invented house, measured by invented people.

use crate::ids::DeviceId;
use crate::job::Edit;

/// One action of one of the demo's people.
pub struct Action {
    pub by: DeviceId,
    pub said: &'static str,
    pub edits: Vec<Edit>,
}

/// The actions that measure the demo house, in order. Ids are fixed, so that the demo is the same everywhere.
pub fn actions() -> Vec<Action> {
    todo!()
}
