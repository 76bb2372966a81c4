//! The open job as signals, and the one way to change it.

use std::sync::Arc;

use leptos::prelude::*;
use shared_model::ids::{JobId, RoomId};
use shared_model::job::{Edit, Job};
use shared_model::takeoff::Takeoff;
use shared_model::wire::{Person, Whereabouts};

/// The job that is open on this phone. Provided as context below the job's page; copy it freely.
#[derive(Clone, Copy)]
pub struct OpenJob {
    pub id: JobId,
    /// Read from the document after every change, own or other.
    pub job: Memo<Arc<Job>>,
    /// Recomputed when the job changes, a moment later, never in the way of a keystroke.
    pub takeoff: Signal<Arc<Takeoff>>,
    /// Who else is in this job now, and where.
    pub others: Signal<Vec<(Person, Whereabouts)>>,
    /// What is being drawn or measured; `None` on the list.
    pub room: RwSignal<Option<RoomId>>,
    act: Callback<(&'static str, Vec<Edit>)>,
}

impl OpenJob {
    /// The job whose page this component is on.
    pub fn here() -> Self {
        expect_context()
    }

    /// One action of this phone's person: stored on the phone at once, sent when there is a network, undoable.
    pub fn act(self, said: &'static str, edits: Vec<Edit>) {
        self.act.run((said, edits));
    }
}
