//! Photos' pictures: files beside the store, each named by its hash, taken in by pieces so that a phone in a bad network goes on
//! where it was cut off. Only what a job's document names is taken.
//!
//! How much is here is said in the words of *Resumable Uploads for HTTP* (draft-ietf-httpbis-resumable-upload): `Upload-Offset`,
//! `Upload-Complete`.

mod shelf;

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::extract::{Extension, Path, Query, State};
use axum::http::header::{ACCEPT_RANGES, CACHE_CONTROL, CONTENT_RANGE, CONTENT_TYPE, RANGE};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use shared_model::ids::JobId;
use shared_model::job::{JobDoc, Photo, Picture, PictureHash};
use shared_model::wire::Role;

pub use shelf::{Here, Shelf, ShelfError, UNNEEDED};

use crate::error::Refused;
use crate::gate::Visitor;
use crate::router::Shop;
use crate::sync::{Hub, OpenDocument, OpenError};

pub const OFFSET: HeaderName = HeaderName::from_static("upload-offset");
pub const COMPLETE: HeaderName = HeaderName::from_static("upload-complete");

/// A piece may take so long: a slow network must bring one in whole, or it brings nothing.
pub const PIECE_WITHIN: Duration = Duration::from_secs(300);

const SWEEP_EVERY: Duration = Duration::from_secs(6 * 3_600);

/// In which job's document the picture is named.
#[derive(serde::Deserialize)]
pub struct NamedIn {
    job: JobId,
}

/// Says how much of a picture is here.
pub async fn standing(
    State(shop): State<Arc<Shop>>,
    Path(hash): Path<String>,
    Query(named): Query<NamedIn>,
) -> Result<Response, Refused> {
    let hash = read_hash(&hash)?;
    let picture = needed(&shop.hub, named.job, hash).await?;
    let here = tokio::task::block_in_place(|| shop.shelf.standing(&picture));
    here.map(|it| said(StatusCode::OK, it)).map_err(|error| Refused::NotStored(error.to_string()))
}

/// Takes the next piece of a picture.
pub async fn take(
    State(shop): State<Arc<Shop>>,
    Extension(visitor): Extension<Visitor>,
    Path(hash): Path<String>,
    Query(named): Query<NamedIn>,
    headers: HeaderMap,
    piece: Bytes,
) -> Result<Response, Refused> {
    if visitor.device.role == Role::Viewer {
        return Err(Refused::NotAllowed);
    }
    let picture = needed(&shop.hub, named.job, read_hash(&hash)?).await?;
    let range = headers.get(CONTENT_RANGE).and_then(|it| it.to_str().ok()).and_then(read_content_range);
    let fits = |(from, last, all): &(u64, u64, u64)| {
        *all == u64::from(picture.bytes) && *last < *all && last.checked_sub(*from) == Some(piece.len() as u64 - 1)
    };
    let at = range.filter(|it| !piece.is_empty() && fits(it)).map(|(from, ..)| from);
    let at = at.ok_or(Refused::BadForm("Its Content-Range does not fit the piece or the picture."))?;
    match tokio::task::block_in_place(|| shop.shelf.add(&picture, at, &piece)) {
        Ok(here) => Ok(said(StatusCode::OK, here)),
        Err(ShelfError::Elsewhere(next)) => Ok(said(StatusCode::CONFLICT, Here::Part(next))),
        // What was kept of it went bad on the way: it comes again from its start.
        Err(ShelfError::Another) => Ok(said(StatusCode::CONFLICT, Here::Part(0))),
        Err(error @ ShelfError::NoPicture(_)) => Err(Refused::NoPicture(error.to_string())),
        Err(error) => {
            tracing::warn!(%hash, %error, "a piece of a photo was not stored");
            Err(Refused::NotStored(error.to_string()))
        }
    }
}

/// Hands out a picture, or a part of it.
pub async fn hand_out(
    State(shop): State<Arc<Shop>>,
    Path(hash): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    const KEEP: &str = "private, max-age=31536000, immutable";
    let hash = read_hash(&hash)?;
    let read = tokio::task::block_in_place(|| shop.shelf.read(hash));
    let read = read.map_err(|error| Refused::NotStored(error.to_string()))?;
    let bytes = Bytes::from(read.ok_or(Refused::NothingHere)?);
    let kind = [(CONTENT_TYPE, "image/jpeg"), (CACHE_CONTROL, KEEP), (ACCEPT_RANGES, "bytes")];
    let Some(asked) = headers.get(RANGE).and_then(|it| it.to_str().ok()).and_then(read_range) else {
        return Ok((kind, bytes).into_response());
    };
    let all = bytes.len();
    let end = asked.1.map_or(all, |last| last.saturating_add(1).min(all));
    if asked.0 >= end {
        return Ok((StatusCode::RANGE_NOT_SATISFIABLE, [(CONTENT_RANGE, format!("bytes */{all}"))]).into_response());
    }
    let range = [(CONTENT_RANGE, format!("bytes {}-{}/{all}", asked.0, end - 1))];
    Ok((StatusCode::PARTIAL_CONTENT, kind, range, bytes.slice(asked.0..end)).into_response())
}

/// Removes what no job needs any more; runs as long as the server. Whoever was away has had time to say what they need.
pub async fn sweep(shop: Arc<Shop>) {
    loop {
        tokio::time::sleep(SWEEP_EVERY).await;
        if let Some(needed) = needed_by_any(&shop.hub).await {
            match tokio::task::block_in_place(|| shop.shelf.sweep(&needed, SWEEP_EVERY)) {
                Ok(0) => {}
                Ok(removed) => tracing::info!(removed, "pictures that no job needed for a month are gone"),
                Err(error) => tracing::warn!(%error, "pictures that no job needs were not removed"),
            }
        }
    }
}

/// The pictures that any job needs; `None` when a job cannot be read in whole: what is lost may name any.
async fn needed_by_any(hub: &Hub) -> Option<BTreeSet<PictureHash>> {
    let mut needed = BTreeSet::new();
    for job in hub.jobs() {
        let shared = hub.shared(job);
        let mut shared = shared.lock().await;
        let document = shared.document(&hub.store).await.ok().filter(|it| it.is_whole())?;
        needed.extend(shown(&document.doc).iter().flat_map(Photo::pictures).map(|it| it.hash));
    }
    Some(needed)
}

/// The photos that a job shows.
pub async fn photos(hub: &Hub, job: JobId) -> Result<Vec<Photo>, Refused> {
    if !hub.jobs().contains(&job) {
        return Err(Refused::NothingHere);
    }
    let shared = hub.shared(job);
    let mut shared = shared.lock().await;
    let document = shared.document(&hub.store).await.map_err(|error| Refused::NotStored(error.to_string()))?;
    Ok(shown(&document.doc))
}

/// The same for one who only looks.
pub async fn at_a_glance(hub: &Hub, job: JobId) -> Result<Vec<Photo>, OpenError> {
    let look = |found: Result<&mut OpenDocument, OpenError>| {
        found.map(|it| {
            if it.mark().is_none() {
                hub.note_damage(job);
            }
            shown(&it.doc)
        })
    };
    hub.glance(job, look).await
}

/// The photos that nobody took off.
fn shown(doc: &JobDoc) -> Vec<Photo> {
    let mut photos = doc.photos();
    photos.retain(|it| !it.withdrawn);
    photos
}

async fn needed(hub: &Hub, job: JobId, hash: PictureHash) -> Result<Picture, Refused> {
    let photos = photos(hub, job).await?;
    photos.iter().flat_map(Photo::pictures).find(|it| it.hash == hash).ok_or(Refused::NothingHere)
}

fn read_hash(text: &str) -> Result<PictureHash, Refused> {
    text.parse().map_err(|_| Refused::NothingHere)
}

fn said(status: StatusCode, here: Here) -> Response {
    let complete = if here == Here::Whole { "?1" } else { "?0" };
    let mut answer = (status, [(CACHE_CONTROL, "no-store")], [(COMPLETE, complete)]).into_response();
    if let Here::Part(next) = here {
        answer.headers_mut().insert(OFFSET, HeaderValue::from(next));
    }
    answer
}

/// `bytes 0-262143/300000` (RFC 9110, 14.4).
fn read_content_range(text: &str) -> Option<(u64, u64, u64)> {
    let (range, all) = text.strip_prefix("bytes ")?.split_once('/')?;
    let (first, last) = range.split_once('-')?;
    Some((first.parse().ok()?, last.parse().ok()?, all.parse().ok()?))
}

/// `bytes=262144-` (RFC 9110, 14.2); of other ranges the whole is handed out.
fn read_range(text: &str) -> Option<(usize, Option<usize>)> {
    let (first, last) = text.strip_prefix("bytes=")?.split_once('-')?;
    let last = if last.is_empty() { None } else { Some(last.parse().ok()?) };
    Some((first.parse().ok()?, last))
}

#[cfg(test)]
mod tests {
    use shared_model::ids::{DeviceId, PhotoId};
    use shared_model::job::{Edit, NewPhoto, Subject, Timestamp};
    use uuid::Uuid;

    use super::*;
    use crate::devices::Devices;
    use crate::store::{Store, StoredChange, Write};
    use crate::sync::Seals;

    #[tokio::test(flavor = "multi_thread")]
    async fn nothing_goes_while_a_job_is_damaged_that_may_need_it() {
        let folder = tempfile::tempdir().unwrap();
        let job = JobId(Uuid::from_u128(1));
        let mut doc = JobDoc::new(job, [1; 16], DeviceId(Uuid::from_u128(2)));
        let picture = |n| Picture { hash: PictureHash([n; 32]), bytes: 900, width: 30, height: 20 };
        let id = PhotoId(Uuid::from_u128(3));
        let caption = String::new();
        let photo = NewPhoto { id, of: Subject::Job, picture: picture(1), thumbnail: picture(2), caption };
        let change = doc.edit(&[Edit::AddPhoto { photo }], "photo", Timestamp(1)).unwrap().unwrap();
        let needed = async |seq, bytes: Vec<u8>| {
            let store = Arc::new(Store::open(folder.path()).unwrap());
            let change =
                StoredChange { hash: change.hash.0, from: DeviceId(Uuid::nil()), received: Timestamp(1), bytes };
            store.commit(vec![Write::Change { job, seq, change }]).await.unwrap();
            let devices = Arc::new(Devices::new(store.devices().unwrap()));
            let hub = Hub::new(Arc::clone(&store), devices, Seals::open(folder.path()).unwrap()).unwrap();
            let needed = needed_by_any(&hub).await;
            store.close();
            needed
        };
        let mut damaged = change.bytes.clone();
        damaged[change.bytes.len() / 2] ^= 1;
        assert_eq!(needed(0, damaged).await, None);
        let both = BTreeSet::from([picture(1).hash, picture(2).hash]);
        assert_eq!(needed(1, change.bytes.clone()).await, Some(both), "a phone has brought it again");
    }
}
