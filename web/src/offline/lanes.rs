//! What waits to be stored: readings in one lane, pictures in another.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gloo_timers::future::TimeoutFuture;
use wasm_bindgen_futures::spawn_local;

use super::{READ_WRITE, Storage, StorageError, Write, finish};

const TRY_AGAIN_AFTER: u32 = 3_000;

/// Writes that are stored one after the other.
pub(super) struct Lane {
    queue: RefCell<Vec<Write>>,
    writing: Cell<bool>,
    /// Why the browser refused the last writes; they are tried again.
    refused: RefCell<Option<String>>,
    /// All that waits is committed at once.
    together: bool,
}

impl Lane {
    /// What one action writes is stored whole or not at all.
    pub(super) fn together() -> Self {
        Self { queue: RefCell::default(), writing: Cell::default(), refused: RefCell::default(), together: true }
    }

    /// One that does not fit keeps no other out.
    pub(super) fn one_by_one() -> Self {
        Self { together: false, ..Self::together() }
    }

    /// Waits until everything queued before is on the disk; answers `false` when the browser refuses to store it.
    async fn settle(&self) -> bool {
        while self.writing.get() && !self.is_failing() {
            TimeoutFuture::new(1).await;
        }
        !self.is_failing()
    }

    fn is_failing(&self) -> bool {
        self.refused.borrow().is_some()
    }
}

impl Write {
    const fn is_of_picture(&self) -> bool {
        matches!(self, Self::Picture(..) | Self::Fetched(..) | Self::There(..) | Self::DropPicture(_))
    }
}

impl Storage {
    /// Queues writes; readings are stored in this order, whatever else happens on the page, and so are pictures.
    pub fn write(&self, writes: impl IntoIterator<Item = Write>) {
        let (pictures, readings): (Vec<_>, Vec<_>) = writes.into_iter().partition(Write::is_of_picture);
        for (lane, writes) in [(&self.readings, readings), (&self.pictures, pictures)] {
            lane.queue.borrow_mut().extend(writes);
            if !lane.queue.borrow().is_empty() && !lane.writing.replace(true) {
                spawn_local(self.clone().drain(Rc::clone(lane)));
            }
        }
    }

    async fn drain(self, lane: Rc<Lane>) {
        loop {
            let batch = lane.queue.take();
            if batch.is_empty() {
                break;
            }
            let (left, refused) = self.store(batch, lane.together).await;
            let told = |it: StorageError| match lane.together {
                false if !self.closed.get() => format!("A photo is not stored: {it}. Keep this page open."),
                _ => it.told(),
            };
            lane.refused.replace(refused.map(told));
            self.tell();
            if left.is_empty() {
                continue;
            }
            let newer = lane.queue.take();
            lane.queue.replace(left.into_iter().chain(newer).collect());
            if self.closed.get() {
                break;
            }
            TimeoutFuture::new(TRY_AGAIN_AFTER).await;
        }
        lane.writing.set(false);
    }

    /// Stores a batch; answers what is to be tried again, and why.
    async fn store(&self, mut batch: Vec<Write>, together: bool) -> (Vec<Write>, Option<StorageError>) {
        if together {
            return match self.commit(&batch).await {
                Ok(()) => (Vec::new(), None),
                Err(error) => (batch, Some(error)),
            };
        }
        // What makes room goes first.
        batch.sort_by_key(|it| !matches!(it, Write::DropPicture(_)));
        let (mut left, mut refused) = (Vec::new(), None);
        for write in batch {
            match self.commit(std::slice::from_ref(&write)).await {
                // The server has it.
                Err(_) if matches!(write, Write::Fetched(..)) => {}
                Err(error) => {
                    left.push(write);
                    refused = Some(error);
                }
                Ok(()) => {}
            }
        }
        (left, refused)
    }

    async fn commit(&self, batch: &[Write]) -> Result<(), StorageError> {
        let transaction = self.transaction(READ_WRITE)?;
        for write in batch {
            self.put(&transaction, write)?;
        }
        finish(transaction).await
    }

    fn tell(&self) {
        let why = self.readings.refused.borrow().clone();
        (self.trouble)(why.or_else(|| self.pictures.refused.borrow().clone()));
    }

    /// Waits until the readings queued before are on the disk; answers `false` when the browser refuses to store them.
    pub async fn settle(&self) -> bool {
        self.readings.settle().await
    }

    pub async fn settle_pictures(&self) -> bool {
        self.pictures.settle().await
    }

    /// Whether something would be lost if the page ended now and the browser goes on refusing.
    pub fn is_failing(&self) -> bool {
        self.readings.is_failing() || self.pictures.is_failing()
    }

    /// Lets go for a newer version of the page, once what was typed here is stored.
    pub(super) async fn close(self) {
        self.settle().await;
        self.settle_pictures().await;
        self.closed.set(true);
        self.db.close();
        (self.trouble)(Some(StorageError::Newer.told()));
    }
}
