//! What the file commands ask of a store: the running server's, or one that the command opened itself.

use std::io::{Read, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{NewChange, Photo, Picture};
use shared_model::job_file::{self, JobFile, Photos};
use shared_model::wire::JobEntry;
use tokio::runtime::Handle;
use uuid::Uuid;

use super::FilesError;
use super::backup::{self, Kept};
use crate::clock;
use crate::photos::Shelf;
use crate::store::Write as Stored;
use crate::sync::{Hub, actor_of};

/// A file is no phone, but what it brings is stored as brought by somebody.
const FILE: DeviceId = DeviceId(Uuid::nil());

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum Ask {
    Jobs,
    Export { job: JobId, form: Form },
    Import,
    Backup,
}

#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub enum Form {
    /// A file to import elsewhere.
    JobFile,
    /// The job as it reads now, for other programs.
    Json,
}

/// What was done; bytes that were asked for go another way.
#[derive(Debug, Serialize, Deserialize)]
pub enum Done {
    Jobs(Vec<JobEntry>),
    Exported(Exported),
    Imported(Imported),
    BackedUp(Kept),
}

#[derive(Debug, Serialize, Deserialize)]
pub struct Exported {
    pub name: String,
    /// Photos whose pictures are not all in the file.
    pub photos_missing: usize,
}

#[derive(Debug, Serialize, Deserialize)]
pub struct Imported {
    pub job: JobId,
    pub name: String,
    /// Changes that the store did not have.
    pub new: usize,
    pub changes: usize,
    /// Pictures in the file that could not be kept, and why.
    pub pictures_lost: Vec<String>,
    /// Photos whose pictures are not all here, nor among those.
    pub photos_missing: usize,
}

pub struct Desk<'a> {
    pub hub: &'a Hub,
    pub shelf: &'a Shelf,
    pub folder: &'a Path,
    pub runtime: &'a Handle,
}

impl Desk<'_> {
    /// Does what is asked: reads what comes with it from `body`, and writes the bytes of the answer to `to`.
    pub fn serve(&self, ask: &Ask, body: &mut dyn Read, to: &mut dyn Write) -> Result<Done, FilesError> {
        match ask {
            Ask::Jobs => self.runtime.block_on(self.jobs()),
            Ask::Export { job, form } => self.runtime.block_on(self.export(*job, *form, to)),
            Ask::Import => {
                let mut bytes = Vec::new();
                body.read_to_end(&mut bytes)?;
                self.runtime.block_on(self.import(job_file::read(&bytes)?))
            }
            Ask::Backup => backup::write(&self.hub.store.moment()?, self.folder, to).map(Done::BackedUp),
        }
    }

    async fn jobs(&self) -> Result<Done, FilesError> {
        let mut jobs = self.hub.store.jobs()?;
        for unnamed in jobs.iter_mut().filter(|it| it.name.is_empty()) {
            // The list is brought up to date a moment after a change.
            if let Ok(document) = self.hub.shared(unnamed.job).lock().await.document(&self.hub.store).await {
                unnamed.name = document.doc.name();
            }
        }
        Ok(Done::Jobs(jobs))
    }

    async fn export(&self, id: JobId, form: Form, to: &mut dyn Write) -> Result<Done, FilesError> {
        let doc = {
            let shared = self.hub.shared(id);
            let mut shared = shared.lock().await;
            let document = shared.document(&self.hub.store).await;
            document.map_err(|error| FilesError::Unopened(error.to_string()))?.doc.copy()
        };
        let mut exported = Exported { name: doc.name(), photos_missing: 0 };
        let bytes = match form {
            Form::JobFile => {
                let heads = doc.heads().iter().map(|it| it.0).collect();
                let seals = self.hub.seals.seal(id, heads).into_iter().collect();
                let photos = doc.photos();
                let pictures = self.pictures(&photos)?;
                exported.photos_missing =
                    missing(&photos, |it| pictures.contains_key(&job_file::photo_name_of(it.hash)));
                job_file::write(&doc, &pictures, seals)?
            }
            Form::Json => serde_json::to_vec_pretty(&doc.job())?,
        };
        to.write_all(&bytes)?;
        Ok(Done::Exported(exported))
    }

    /// The pictures that are here, by their names in a job file: of photos that were taken off too, as they may come back.
    fn pictures(&self, photos: &[Photo]) -> Result<Photos, FilesError> {
        let mut pictures = Photos::new();
        for picture in photos.iter().flat_map(Photo::pictures) {
            if let Some(bytes) = self.shelf.read(picture.hash)? {
                pictures.insert(job_file::photo_name_of(picture.hash), bytes);
            }
        }
        Ok(pictures)
    }

    /// Keeps the pictures of a file that the job names; answers which could not be kept, and why.
    fn keep_pictures(&self, photos: &[Photo], file: &Photos) -> Vec<String> {
        let named = |it: Picture| Some((it, file.get(&job_file::photo_name_of(it.hash))?));
        let kept = |(picture, bytes): (Picture, &Vec<u8>)| {
            let lost = self.shelf.put(&picture, bytes).err()?;
            Some(format!("{}: {lost}", job_file::photo_name_of(picture.hash)))
        };
        photos.iter().flat_map(Photo::pictures).filter_map(named).filter_map(kept).collect()
    }

    /// Merges a job into the one that is there, or adds it; phones that share it see it at once.
    async fn import(&self, file: JobFile) -> Result<Done, FilesError> {
        let (id, count) = (file.job, file.changes.len());
        let here =
            |name: &str| name.split('.').next().and_then(|it| it.parse().ok()).is_some_and(|it| self.shelf.has(it));
        let more = file.photos.iter().filter(|(name, _)| !here(name)).map(|(_, bytes)| bytes.len() as u64);
        self.shelf.has_room_for(more.sum())?;
        let shared = self.hub.shared(id);
        let mut shared = shared.lock().await;
        let document =
            shared.document(&self.hub.store).await.map_err(|error| FilesError::Unopened(error.to_string()))?;
        let claims = file.changes.iter().filter_map(|it| actor_of(self.hub, it, it.author()?).transpose());
        let claims = claims.collect::<Result<Vec<_>, _>>().map_err(|it| FilesError::Unopened(it.to_string()))?;
        let taken = document.doc.apply(file.changes).map_err(job_file::JobFileError::from)?;
        let new: Vec<NewChange> = taken.iter().filter_map(|it| document.doc.change(it)).collect();
        let (epoch, name, now) = (document.epoch, document.doc.name(), clock::now());
        let (archived, photos) = (document.doc.archived(), document.doc.photos());
        let mended = document.mended();
        let mut writes = document.number(&new, FILE, now);
        writes.extend(claims);
        writes.push(Stored::Listed { job: id, name: name.clone(), archived });
        let (done, stored) = tokio::sync::oneshot::channel();
        self.hub.store.submit(epoch, writes, move |result| {
            // Whoever asked may have gone away; it is stored all the same.
            let _ = done.send(result);
        });
        match stored.await {
            Ok(Ok(())) => {}
            failed => {
                // In memory are changes that are not on the disk.
                shared.forget_document();
                let reason = failed.ok().and_then(Result::err).map(|it| it.to_string());
                return Err(FilesError::NotStored(reason.unwrap_or_default()));
            }
        }
        let count_new = new.len();
        let news = new.into_iter().map(|it| self.hub.seals.live(id, it));
        for frame in news.chain(mended.map(|it| it.encode().into())) {
            shared.listeners.values().for_each(|it| it.outbox.send_bytes(frame.clone()));
        }
        self.hub.note_change(id, now);
        // Storing many pictures takes its time: the job's phones go on meanwhile.
        drop(shared);
        let pictures_lost = self.keep_pictures(&photos, &file.photos);
        let named = |it: &Picture| file.photos.contains_key(&job_file::photo_name_of(it.hash));
        let photos_missing = missing(&photos, |it| named(it) || self.shelf.has(it.hash));
        Ok(Done::Imported(Imported { job: id, name, new: count_new, changes: count, pictures_lost, photos_missing }))
    }
}

/// How many photos lack a picture. Of those that were taken off it may be gone.
fn missing(photos: &[Photo], has: impl Fn(&Picture) -> bool) -> usize {
    photos.iter().filter(|it| !it.withdrawn && !it.pictures().iter().all(&has)).count()
}
