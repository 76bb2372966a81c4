//! What the phone hears: from the server, from its other tabs, and the clock.

use super::*;
use shared_model::wire::{JobEntry, Lost, PROTOCOL, Welcome};

impl Phone {
    /// The server answered: this is who we are. What it has comes next.
    fn hear_welcome(self, welcome: Welcome) {
        if welcome.protocol != PROTOCOL || welcome.build != crate::link::build() {
            self.newer_build.set(Some(welcome.build));
        }
        let known = self.me.get_untracked();
        let me = Me { person: welcome.you, shop: welcome.shop, replica: welcome.replica };
        if known.as_ref().is_some_and(|it| it.replica != me.replica) {
            self.forget_sharing();
        }
        if let (Ok(bytes), Some(storage)) = (postcard::to_stdvec(&me), self.storage()) {
            storage.write([Write::Setting(ME, bytes)]);
        }
        if known.as_ref() != Some(&me) {
            self.me.set(Some(me));
        }
        self.inner.update_value(|it| it.resting.forget_marks());
        self.link.set(Link::Up);
    }

    fn hear_role(self, role: Role) {
        if let (Ok(bytes), Some(storage)) = (postcard::to_stdvec(&role), self.storage()) {
            storage.write([Write::Setting(ROLE, bytes)]);
        }
        if self.role.get_untracked() != role {
            self.role.set(role);
        }
    }

    /// The server's store is another one than before: what it has is not known.
    fn forget_sharing(self) {
        self.each_loaded(|it| {
            it.kept.forget_peer();
            it.record.shared = None;
            it.signals.truth.update(|truth| truth.shared = None);
        });
        let jobs: Vec<_> = self.jobs.get_untracked().into_iter().map(|it| JobRecord { shared: None, ..it }).collect();
        if let Some(storage) = self.storage() {
            storage.write(jobs.iter().cloned().map(Write::Job));
        }
        self.set_jobs(jobs);
    }

    /// The server's list: a job that is new to this phone is kept here too from now on.
    fn hear_jobs(self, entries: &[JobEntry]) {
        let news = entries.iter().any(|of| self.keeping.with_untracked(|it| it.is_archived(of.job) != of.archived));
        if news {
            self.keeping.update(|it| entries.iter().for_each(|of| it.set_archived(of.job, of.archived)));
            self.store_keeping();
        }
        for entry in entries {
            let known = self.jobs.with_untracked(|jobs| jobs.iter().any(|it| it.job == entry.job));
            if !known {
                let name = entry.name.clone();
                let record = JobRecord { job: entry.job, name, changed: entry.changed, shared: None };
                if let Some(storage) = self.storage() {
                    storage.write([Write::Job(record.clone())]);
                }
                self.set_record(record);
            }
        }
        self.hear_marks(entries);
    }

    /// Shares a job over the connection, once it is read from storage.
    pub(super) fn share(self, job: JobId) {
        let shared = self.inner.with_value(|it| it.shared.contains(&job));
        if shared || !self.keeping.with_untracked(|it| it.keeps(job)) {
            return;
        }
        spawn_local(async move {
            if self.open(job).await.is_none() || self.link.get_untracked() != Link::Up {
                return;
            }
            let first = self.inner.try_update_value(|it| {
                let first = !it.shared.contains(&job);
                if first {
                    it.shared.push(job);
                }
                first
            });
            if first == Some(true) {
                let author = self.me.get_untracked().map(|it| it.person.device);
                let written = author.and_then(|it| self.with(job, |of| of.kept.write_as(it, new_actor())));
                if let Some(Err(error)) = written {
                    self.notice.set(Some(error.to_string()));
                }
                if let Some(outcome) = self.with(job, |it| it.kept.open()) {
                    self.settle(job, outcome);
                }
                self.say_whereabouts();
            }
        });
    }

    pub fn hear(self, frame: Frame) {
        match frame {
            Frame::Welcome(welcome) => self.hear_welcome(welcome),
            Frame::Jobs(entries) => self.hear_jobs(&entries),
            Frame::Sync { job, message, seal } => self.hear_about(job, |it| it.kept.hear_sync(&message, seal)),
            Frame::Change { job, change, proof } => self.hear_about(job, |it| it.kept.hear_change(change, proof)),
            Frame::Ack { job, hashes, proof } => self.hear_about(job, |it| it.kept.hear_ack(&hashes, proof)),
            Frame::Nack { job, hash, reason } => {
                self.hear_about(job, |it| it.kept.hear_nack(hash, &reason, new_actor()));
                let barred = self.with(job, |it| it.kept.is_barred()) == Some(true);
                self.notice.set(Some(if barred {
                    "This server does not take from this phone what another one measured. It comes when the servers meet; here nothing is lost.".to_owned()
                } else {
                    format!("The server refused an edit: {reason}. It is set apart on this phone.")
                }));
            }
            Frame::Damaged { job, lost, waiting } => self.hear_damaged(job, lost, waiting),
            Frame::Presence { job, who: Some(person), at } => self.hear_presence(job, person, at),
            Frame::Role(role) => self.hear_role(role),
            Frame::Goodbye { reason } => self.link.set(Link::Closed(reason)),
            Frame::Presence { who: None, .. }
            | Frame::Hello(_)
            | Frame::Open { .. }
            | Frame::Close { .. }
            | Frame::Roster(_)
            | Frame::Vouch { .. }
            | Frame::Vouched { .. }
            | Frame::Sealed { .. }
            | Frame::SealKeys(_) => {}
        }
    }

    fn hear_about(self, job: JobId, event: impl FnOnce(&mut Loaded) -> Outcome) {
        if let Some(outcome) = self.with(job, event) {
            self.settle(job, outcome);
        }
    }

    fn hear_damaged(self, job: JobId, lost: Vec<Lost>, waiting: u32) {
        let Some((signals, name)) = self.with(job, |it| (it.signals.clone(), it.record.name.clone())) else { return };
        if !lost.is_empty() {
            self.notice
                .set(Some(format!("A part of {name} is damaged on the shop's disk: tap the chip for what it is.")));
        }
        signals.lost.set((lost, waiting));
    }

    fn hear_presence(self, job: JobId, person: Person, at: Whereabouts) {
        let me = self.me.get_untracked().map(|it| it.person.device);
        if Some(person.device) == me {
            return;
        }
        let Some(seen) = self.with(job, |it| it.signals.seen.clone()) else { return };
        let new_here = !seen.with_untracked(|all| all.iter().any(|it| it.person.device == person.device));
        seen.update(|all| {
            all.retain(|it| it.person.device != person.device);
            if at != Whereabouts::Gone {
                all.push(Seen { person, at, when: now() });
                all.sort_by(|a, b| a.person.name.cmp(&b.person.name));
            }
        });
        if new_here && at != Whereabouts::Gone {
            // Who comes later does not know yet where we are.
            self.say_whereabouts();
        }
    }

    /// This phone's person went somewhere else in the job, or left it.
    pub fn go(self, job: JobId, at: Whereabouts) {
        self.inner.update_value(|it| it.whereabouts = (at != Whereabouts::Gone).then_some((job, at)));
        self.send_shared(Frame::Presence { job, who: None, at });
    }

    fn say_whereabouts(self) {
        if let Some((job, at)) = self.inner.with_value(|it| it.whereabouts) {
            self.send_shared(Frame::Presence { job, who: None, at });
        }
    }

    fn send_shared(self, frame: Frame) {
        let (Frame::Presence { job, .. } | Frame::Change { job, .. }) = &frame else { return };
        if self.inner.with_value(|it| it.shared.contains(job)) {
            self.send(frame);
        }
    }

    /// The connection is gone: everything goes on here.
    pub fn disconnected(self) {
        self.inner.update_value(|it| {
            it.shared.clear();
            it.resting.forget_marks();
        });
        self.each_loaded(|it| it.signals.seen.update(Vec::clear));
    }

    /// Every few seconds: unconfirmed edits go again, who fell silent is gone.
    pub fn tick(self) {
        let (jobs, time) = (self.inner.with_value(|it| it.shared.clone()), now());
        for job in jobs {
            let frames = self.with(job, |it| it.kept.send_again(time)).unwrap_or_default();
            frames.into_iter().for_each(|it| self.send(it));
        }
        self.each_loaded(|it| {
            let old = |it: &Seen| time.0 - it.when.0 > GONE_AFTER;
            if it.signals.seen.with_untracked(|all| all.iter().any(old)) {
                it.signals.seen.update(|all| all.retain(|it| !old(it)));
            }
        });
        if time.0 % 20 < 5 {
            self.say_whereabouts();
        }
    }

    /// Edits went over the connection that is up, and the server has not said that it has them.
    pub fn awaits_answer(self) -> bool {
        self.inner
            .with_value(|it| it.shared.iter().filter_map(|job| it.loaded.get(job)).any(|it| it.kept.waiting() > 0))
    }

    fn each_loaded(self, mut each: impl FnMut(&mut Loaded)) {
        self.inner.update_value(|it| it.loaded.values_mut().for_each(&mut each));
    }

    /// Another tab of this phone did something; it has stored it already.
    pub(super) fn hear_tab(self, note: TabNote) {
        match note {
            // It waits for a server from now on. And what is being read may be older than this.
            TabNote::Made { job, .. } if self.inner.with_value(|it| !it.loaded.contains_key(&job)) => {
                spawn_local(async move {
                    if self.open(job).await.is_some() {
                        self.hear_tab(note);
                    }
                });
            }
            TabNote::Made { job, hash, made } => {
                self.hear_about(job, |it| it.kept.made_elsewhere(hash, made));
                self.inner.update_value(|it| it.resting.begin_fold(job));
                self.share(job);
            }
            TabNote::Confirmed { job, hashes } => {
                self.with(job, |it| it.kept.confirmed_elsewhere(&hashes));
                self.show(job, false, false, Vec::new());
            }
            TabNote::Listed(record) => {
                if !self.jobs.with_untracked(|jobs| jobs.iter().any(|it| it.job == record.job)) {
                    self.set_record(record.clone());
                    self.share(record.job);
                }
            }
        }
    }
}
