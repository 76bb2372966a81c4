//! Photos' pictures between two servers: the one that calls fetches what it lacks and brings what the other lacks.

use std::collections::BTreeMap;
use std::io;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::http::header::{CONTENT_RANGE, RANGE};
use axum::http::{HeaderMap, Method, Request, StatusCode};
use shared_model::ids::JobId;
use shared_model::job::{Photo, Picture, PictureHash, Timestamp};
use shared_model::photo::{self, Next, PIECE};
use tokio::time::Instant;

use super::record::Record;
use super::wire::{Line, Proof};
use crate::clock;
use crate::hosts::replica_name;
use crate::photos::{self, COMPLETE, Here, OFFSET, PIECE_WITHIN};
use crate::router::Shop;

const LOOK_EVERY: Duration = Duration::from_secs(5);
/// Most pictures asked about in one round, so that phones are not kept out by the rate.
const MOST_PER_ROUND: usize = 100;
/// A picture that is on neither side, or cannot be read, is tried again after this.
const TRY_AGAIN: Duration = Duration::from_secs(30);

/// What is known of both servers' pictures, from one call to the next.
#[derive(Default)]
pub struct Level {
    /// When a job had last changed, when its photos were looked at.
    looked: BTreeMap<JobId, Timestamp>,
    /// Not yet on both sides, for all that is known.
    open: BTreeMap<PictureHash, (JobId, Picture)>,
    /// Those of them that wait, and until when.
    later: BTreeMap<PictureHash, Instant>,
    both: BTreeMap<PictureHash, (JobId, Picture)>,
}

/// Keeps the pictures on both sides level for as long as the call lasts.
pub async fn keep_level(shop: &Shop, record: &Record, address: &str, level: &mut Level) {
    // The other may have lost some since the last call.
    level.open.append(&mut level.both);
    level.later.clear();
    loop {
        tokio::time::sleep(LOOK_EVERY).await;
        level.look(shop).await;
        if !level.open.is_empty()
            && let Err(error) = level.exchange(shop, record, address).await
        {
            tracing::debug!(server = record.shop, %error, "pictures wait");
        }
    }
}

impl Level {
    async fn look(&mut self, shop: &Shop) {
        for entry in shop.hub.list() {
            // Within the same second more may come.
            let settled = clock::now().0 - entry.changed.0 > 1;
            if self.looked.get(&entry.job) == Some(&entry.changed) {
                continue;
            }
            let Ok(photos) = photos::at_a_glance(&shop.hub, entry.job).await else { continue };
            let shown: BTreeMap<_, _> = photos.iter().flat_map(Photo::pictures).map(|it| (it.hash, it)).collect();
            // What was taken off is on no side any more.
            for known in [&mut self.open, &mut self.both] {
                known.retain(|hash, (job, _)| *job != entry.job || shown.contains_key(hash));
            }
            for (hash, picture) in shown {
                if !self.both.contains_key(&hash) {
                    self.open.insert(hash, (entry.job, picture));
                }
            }
            if settled {
                self.looked.insert(entry.job, entry.changed);
            }
        }
    }

    async fn exchange(&mut self, shop: &Shop, record: &Record, address: &str) -> io::Result<()> {
        let (authority, name) = (record.authority(), replica_name(record.replica));
        let proof = authority.as_ref().map(|authority| Proof { authority, name: Some(&name) });
        let line = Line::open(address, proof).await?.with_patience(PIECE_WITHIN);
        let mut other = Other { line, record };
        for (job, picture) in self.round(Instant::now()) {
            let level = match tokio::task::block_in_place(|| shop.shelf.standing(&picture)) {
                Ok(Here::Whole) => other.bring(shop, job, picture).await?,
                Ok(Here::Part(have)) => other.fetch(shop, picture, have).await?,
                Err(error) => {
                    tracing::warn!(hash = %picture.hash, %error, "a picture cannot be put in place");
                    false
                }
            };
            self.settle(picture.hash, level, Instant::now());
        }
        Ok(())
    }

    /// Those whose turn it is: what was not tried yet, then what has waited longest.
    fn round(&self, now: Instant) -> Vec<(JobId, Picture)> {
        let tried = |hash: &PictureHash| self.later.get(hash).copied();
        let mut due: Vec<_> = self.open.iter().filter(|(hash, _)| tried(hash).is_none_or(|it| it <= now)).collect();
        due.sort_by_key(|(hash, _)| tried(hash));
        due.into_iter().map(|(_, it)| *it).take(MOST_PER_ROUND).collect()
    }

    fn settle(&mut self, hash: PictureHash, level: bool, now: Instant) {
        if level {
            self.both.extend(self.open.remove_entry(&hash));
            self.later.remove(&hash);
        } else {
            self.later.insert(hash, now + TRY_AGAIN);
        }
    }
}

/// The other server, as one asks it.
struct Other<'a> {
    line: Line,
    record: &'a Record,
}

impl Other<'_> {
    async fn ask(
        &mut self,
        method: Method,
        path: String,
        header: Option<(axum::http::HeaderName, String)>,
        body: Bytes,
    ) -> io::Result<(StatusCode, HeaderMap, Bytes)> {
        let request = Request::builder().method(method).uri(path).header("cookie", self.record.cookie());
        let request = header.into_iter().fold(request, |request, (name, value)| request.header(name, value));
        self.line.ask(request.body(Body::from(body)).map_err(io::Error::other)?).await
    }

    /// Fetches a picture from where it was cut off; answers whether it is here now.
    async fn fetch(&mut self, shop: &Shop, picture: Picture, have: u64) -> io::Result<bool> {
        let mut have = have;
        loop {
            let range = (RANGE, format!("bytes={have}-{}", have + PIECE as u64 - 1));
            let path = format!("/photos/{}", picture.hash);
            let (status, _, piece) = self.ask(Method::GET, path, Some(range), Bytes::new()).await?;
            if status != StatusCode::PARTIAL_CONTENT {
                return Ok(false);
            }
            match tokio::task::block_in_place(|| shop.shelf.add(&picture, have, &piece)) {
                Ok(Here::Whole) => return Ok(true),
                Ok(Here::Part(next)) => have = next,
                Err(error) => {
                    tracing::warn!(hash = %picture.hash, %error, "a picture of another server is not kept");
                    return Ok(false);
                }
            }
        }
    }

    /// Brings a picture to the other server, from where it was cut off; answers whether it is there now.
    async fn bring(&mut self, shop: &Shop, job: JobId, picture: Picture) -> io::Result<bool> {
        let path = format!("/photos/{}?job={job}", picture.hash);
        let (status, headers, _) = self.ask(Method::HEAD, path.clone(), None, Bytes::new()).await?;
        let mut next = next(status, &headers, &picture);
        if next == Next::Done {
            return Ok(true);
        }
        let file = match tokio::task::block_in_place(|| shop.shelf.read(picture.hash)) {
            Ok(Some(file)) => Bytes::from(file),
            Ok(None) => return Ok(false),
            Err(error) => {
                tracing::error!(hash = %picture.hash, %error, "a picture cannot be read");
                return Ok(false);
            }
        };
        while let Next::From(at) = next {
            let end = (at + PIECE).min(file.len());
            let range = (CONTENT_RANGE, format!("bytes {at}-{}/{}", end - 1, file.len()));
            let (status, headers, _) = self.ask(Method::PUT, path.clone(), Some(range), file.slice(at..end)).await?;
            next = self::next(status, &headers, &picture);
        }
        Ok(next == Next::Done)
    }
}

fn next(status: StatusCode, headers: &HeaderMap, picture: &Picture) -> Next {
    let said = |name| headers.get(name).and_then(|it| it.to_str().ok());
    if status == StatusCode::OK {
        photo::next(said(COMPLETE), said(OFFSET), picture.bytes as usize)
    } else {
        Next::Stuck
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use uuid::Uuid;

    use super::*;

    fn picture(n: u16) -> Picture {
        let hash = PictureHash(std::array::from_fn(|at| n.to_be_bytes().get(at).copied().unwrap_or_default()));
        Picture { hash, bytes: 9, width: 9, height: 9 }
    }

    #[test]
    fn pictures_that_are_nowhere_keep_no_other_from_its_turn() {
        let mut level = Level::default();
        let all = (0..1_000).map(|n| (picture(n).hash, (JobId(Uuid::from_u128(1)), picture(n))));
        level.open.extend(all);
        let (mut now, mut tried) = (Instant::now(), BTreeSet::new());
        for _ in 0..10 {
            for (_, picture) in level.round(now) {
                tried.insert(picture.hash);
                level.settle(picture.hash, false, now);
            }
            now += LOOK_EVERY;
        }
        assert_eq!(tried.len(), 1_000);
        // And they come again, the one that waited longest first.
        let again = level.round(now);
        assert_eq!((again.len(), again[0].1), (MOST_PER_ROUND, picture(0)));
        level.settle(picture(0).hash, true, now);
        assert!(level.round(now).iter().all(|(_, it)| *it != picture(0)));
    }
}
