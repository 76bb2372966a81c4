//! Photos' pictures between two servers: the one that calls fetches what it lacks and brings what the other lacks.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::http::header::{CONTENT_RANGE, RANGE};
use axum::http::{HeaderMap, Method, Request, StatusCode};
use shared_model::ids::JobId;
use shared_model::job::{Photo, Picture, PictureHash, Timestamp};
use shared_model::wire::Frame;

use super::record::Record;
use super::wire::Line;
use crate::clock;
use crate::photos::{self, COMPLETE, Here, OFFSET, PIECE};
use crate::router::Shop;

const LOOK_EVERY: Duration = Duration::from_secs(5);
/// Most pictures asked about in one round, so that phones are not kept out by the rate.
const MOST_PER_ROUND: usize = 100;

/// What is known of both servers' pictures during one call.
#[derive(Default)]
struct Level {
    /// When a job had last changed, when its photos were looked at.
    looked: BTreeMap<JobId, Timestamp>,
    /// Not yet on both sides, for all that is known.
    open: BTreeMap<PictureHash, (JobId, Picture)>,
    both: BTreeSet<PictureHash>,
}

/// Keeps the pictures on both sides level for as long as the call lasts.
pub async fn keep_level(shop: &Shop, record: &Record, address: &str) {
    let mut level = Level::default();
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
        let Frame::Jobs(entries) = shop.hub.list() else { return };
        for entry in entries {
            // Within the same second more may come.
            let settled = clock::now().0 - entry.changed.0 > 1;
            if self.looked.get(&entry.job) == Some(&entry.changed) {
                continue;
            }
            let Ok(photos) = photos::photos(&shop.hub, entry.job).await else { continue };
            for picture in photos.iter().flat_map(Photo::pictures).filter(|it| !self.both.contains(&it.hash)) {
                self.open.insert(picture.hash, (entry.job, picture));
            }
            if settled {
                self.looked.insert(entry.job, entry.changed);
            }
        }
    }

    async fn exchange(&mut self, shop: &Shop, record: &Record, address: &str) -> io::Result<()> {
        let authority = record.authority();
        let mut other = Other { line: Line::open(address, authority.as_ref()).await?, record };
        let round: Vec<_> = self.open.values().copied().take(MOST_PER_ROUND).collect();
        for (job, picture) in round {
            let level = match shop.shelf.has(picture.hash) {
                Here::Whole => other.bring(shop, job, picture).await?,
                Here::Part(have) => other.fetch(shop, picture, have).await?,
            };
            // What is on neither side goes to the end of the line.
            self.open.remove(&picture.hash);
            if level {
                self.both.insert(picture.hash);
            } else {
                self.looked.remove(&job);
            }
        }
        Ok(())
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
        let (mut status, mut headers, _) = self.ask(Method::HEAD, path.clone(), None, Bytes::new()).await?;
        let bytes = Bytes::from(shop.shelf.read(picture.hash)?);
        loop {
            if status != StatusCode::OK {
                return Ok(false);
            }
            if headers.get(COMPLETE).is_some_and(|it| it == "?1") {
                return Ok(true);
            }
            let next = headers.get(OFFSET).and_then(|it| it.to_str().ok()?.parse::<usize>().ok());
            let Some(at) = next.filter(|it| *it < bytes.len()) else { return Ok(false) };
            let end = (at + PIECE).min(bytes.len());
            let range = (CONTENT_RANGE, format!("bytes {at}-{}/{}", end - 1, bytes.len()));
            (status, headers, _) = self.ask(Method::PUT, path.clone(), Some(range), bytes.slice(at..end)).await?;
        }
    }
}
