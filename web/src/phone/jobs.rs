//! How jobs come to be on this phone, and leave it as files.

use shared_model::job::{Photo, Picture, PictureHash};
use shared_model::job_file::{self, EXTENSION, MOST_ON_PHONE, Photos};
use shared_model::photo;

use super::*;
use crate::files;
use crate::pictures::Pictures;
use crate::truth;

/// What a saved file is for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Form {
    /// To be opened on another phone or imported by another server: everything that was ever entered, and the pictures that are
    /// on this phone.
    JobFile,
    /// For other programs: the job as it reads now.
    Json,
}

impl Phone {
    /// The person goes into a job: from now on it stays on this phone.
    pub fn keep_opened(self, job: JobId) {
        let was_kept = self.keeping.with_untracked(|it| it.keeps(job));
        if self.keeping.try_update(|it| it.open(job)) == Some(true) {
            self.store_keeping();
        }
        if !was_kept && self.link.get_untracked() != Link::Up {
            self.notice.set(Some("This job is not on this phone: it comes when the shop is in reach.".to_owned()));
        }
        self.share(job);
    }

    /// Changes which jobs are kept.
    pub fn set_only_opened(self, only_opened: bool) {
        self.keeping.update(|it| it.only_opened = only_opened);
        self.store_keeping();
        if self.link.get_untracked() == Link::Up {
            self.share_if(|_| true);
        }
    }

    /// Takes a job off this phone; the shop keeps it. The reason when something of it is only here.
    pub fn take_off(self, job: JobId) -> Result<(), String> {
        if self.is_only_here(job) {
            return Err(
                "Not taken off: the shop has not said yet that it has all of it. Connect, and try again in a moment."
                    .to_owned(),
            );
        }
        if self
            .inner
            .try_update_value(|it| it.shared.iter().position(|of| *of == job).map(|at| it.shared.remove(at)))
            .is_some()
        {
            self.send(Frame::Close { job });
        }
        self.inner.update_value(|it| {
            it.loaded.remove(&job);
            it.resting.disturb(job);
        });
        self.keeping.update(|it| it.take_off(job));
        self.store_keeping();
        if let Some(record) = self.jobs.get_untracked().into_iter().find(|it| it.job == job) {
            let record = JobRecord { shared: None, ..record };
            if let Some(storage) = self.storage() {
                storage.write([Write::DropJob(job), Write::Job(record.clone())]);
            }
            self.set_record(record);
        }
        Ok(())
    }

    pub(super) fn store_keeping(self) {
        if let (Ok(bytes), Some(storage)) = (postcard::to_stdvec(&self.keeping.get_untracked()), self.storage()) {
            storage.write([Write::Setting(KEEPING, bytes)]);
        }
    }

    /// A new job on this phone, with or without a network; `None` when the browser keeps nothing for this page.
    pub fn new_job(self, edits: &[Edit]) -> Option<JobId> {
        self.storage()?;
        let me = self.me.get_untracked().filter(|_| self.role.get_untracked() != Role::Viewer)?;
        let job = JobId(Uuid::new_v4());
        let kept = Kept::new(job, new_actor(), me.person.device);
        self.keep(job, kept, Undo::default(), None, Vec::new());
        self.keep_opened(job);
        if let Err(why) = self.act(job, "new job", edits) {
            self.notice.set(Some(why));
        }
        self.inner.update_value(|it| {
            if let Some(loaded) = it.loaded.get_mut(&job) {
                loaded.undo = Undo::default();
            }
        });
        self.list_and_share(job);
        Some(job)
    }

    /// Tells the other tabs and the server of a job that is new on this phone.
    fn list_and_share(self, job: JobId) {
        if let Some(record) = self.with(job, |it| it.record.clone()) {
            self.inner.with_value(|it| it.tabs.iter().for_each(|tabs| tabs.tell(&TabNote::Listed(record.clone()))));
        }
        self.share(job);
    }

    /// Saves a job as a file; what went wrong stands on the screen.
    pub async fn save_file(self, job: JobId, form: Form) {
        let saved = self.write_file(job, form).await;
        if let Err(why) = saved {
            self.notice.set(Some(format!("Not saved: {why}.")));
        }
    }

    async fn write_file(self, job: JobId, form: Form) -> Result<(), String> {
        self.open(job).await.ok_or("the job cannot be opened")?;
        let (extension, kind) =
            if form == Form::Json { ("json", "application/json") } else { (EXTENSION, "application/octet-stream") };
        let (photos, pictures) =
            if form == Form::JobFile { self.pictures_of(job).await? } else { (Vec::new(), Photos::new()) };
        let bytes = self.with(job, |it| match form {
            Form::JobFile => it.kept.file(&pictures).map_err(|it| it.to_string()),
            Form::Json => it.signals.job.with_untracked(|job| serde_json::to_vec(&**job)).map_err(|it| it.to_string()),
        });
        let name = self.with(job, |it| job_file::file_name(&it.record.name)).unwrap_or_default();
        let bytes = bytes.ok_or("the job is not open")??;
        files::save(&format!("{name}.{extension}"), kind, &bytes)
            .map_err(|it| format!("the browser refuses it ({it:?})"))?;
        let missing = missing(&photos, |it| pictures.contains_key(&job_file::photo_name_of(it.hash)));
        if missing > 0 {
            let photos = truth::photos(missing);
            self.notice.set(Some(format!("Saved without {photos}: the pictures are not all on this phone.")));
        }
        Ok(())
    }

    /// A job's photos, and the pictures of them that are on this phone, by their names in a file. Of photos that were taken off
    /// too: they may come back.
    async fn pictures_of(self, job: JobId) -> Result<(Vec<Photo>, Photos), String> {
        let storage = self.storage().ok_or("the browser keeps nothing for this page")?;
        let photos = self.with(job, |it| it.kept.doc().photos()).ok_or("the job is not open")?;
        let (mut pictures, mut bytes) = (Photos::new(), 0);
        for picture in photos.iter().flat_map(Photo::pictures) {
            let file = storage.picture(picture.hash).await.map_err(|it| it.to_string())?;
            let Some(file) = file.filter(|it| is_of(&picture, it)) else { continue };
            bytes += u64::from(picture.bytes);
            if bytes > MOST_ON_PHONE {
                let most = MOST_ON_PHONE >> 20;
                return Err(format!(
                    "its photos have more than {most} MiB, too many for a phone: export it at the server"
                ));
            }
            pictures.insert(job_file::photo_name_of(picture.hash), file);
        }
        Ok((photos, pictures))
    }

    /// Opens a job file: the job is merged with this phone's if it has it, and new here otherwise. `None` when it is refused;
    /// then nothing is changed, and the screen says why.
    pub async fn open_file(self, pictures: Pictures, name: &str, bytes: &[u8]) -> Option<JobId> {
        self.notice.set(None);
        let taken = self.take_file(pictures, bytes).await;
        taken.map_err(|why| self.notice.set(Some(format!("{name} is not opened: {why}. Nothing is changed.")))).ok()
    }

    async fn take_file(self, pictures: Pictures, bytes: &[u8]) -> Result<JobId, String> {
        let me = self.me.get_untracked().filter(|_| self.role.get_untracked() != Role::Viewer);
        let me = me.ok_or("this phone may only look")?;
        let file = job_file::read_on_phone(bytes).map_err(|it| it.to_string())?;
        let job = file.job;
        let new = self.jobs.with_untracked(|jobs| jobs.iter().all(|it| it.job != job));
        if new {
            let kept = Kept::new(job, new_actor(), me.person.device);
            self.keep(job, kept, Undo::default(), None, Vec::new());
        } else {
            self.open(job).await.ok_or("this phone's own copy of the job cannot be opened")?;
        }
        let outcome = self.with(job, |it| {
            let outcome = it.kept.take_in_file(file.changes, file.seals)?;
            if outcome.changed {
                // Whether the server has it all is not known before it says so.
                it.record.shared = None;
            }
            Ok::<_, DocError>(outcome)
        });
        let outcome = outcome.ok_or("the job is not open")?.map_err(|it| it.to_string())?;
        self.settle(job, outcome);
        let missing = self.take_pictures(pictures, job, file.photos);
        self.keep_opened(job);
        // It is here, whatever a phone that keeps only what was opened says of a job that it does not know.
        self.notice.set(None);
        if new {
            self.list_and_share(job);
        }
        if missing > 0 {
            let photos = truth::photos(missing);
            self.notice.set(Some(format!("Opened without {photos}: the pictures are not all in the file.")));
        }
        Ok(job)
    }

    /// Keeps the pictures of a file that the job names; answers how many photos lack one.
    fn take_pictures(self, pictures: Pictures, job: JobId, mut file: Photos) -> usize {
        let photos = self.with(job, |it| it.kept.doc().photos()).unwrap_or_default();
        for picture in photos.iter().flat_map(Photo::pictures).filter(|it| !pictures.has(it.hash)) {
            let found = file.remove(&job_file::photo_name_of(picture.hash));
            if let Some(bytes) = found.filter(|it| is_of(&picture, it) && photo::vet(it).is_ok()) {
                pictures.keep(picture.hash, bytes);
            }
        }
        missing(&photos, |it| pictures.has(it.hash))
    }
}

/// How many of the photos lack a picture. Of those that were taken off it may be gone.
fn missing(photos: &[Photo], has: impl Fn(&Picture) -> bool) -> usize {
    photos.iter().filter(|it| !it.withdrawn && !it.pictures().iter().all(&has)).count()
}

fn is_of(picture: &Picture, file: &[u8]) -> bool {
    PictureHash::of(file) == picture.hash
}

impl Kept {
    /// The job as a file.
    fn file(&self, photos: &Photos) -> Result<Vec<u8>, shared_model::sealed::SealedError> {
        job_file::write(self.doc(), photos, self.seals())
    }
}
