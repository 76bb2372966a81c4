//! Pictures between this phone and its server, over HTTP: in pieces, from where the last attempt was cut off.

use js_sys::{Reflect, Uint8Array};
use shared_model::ids::JobId;
use shared_model::job::{Picture, PictureHash};
use shared_model::photo::{Next, PIECE, next};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{Headers, RequestInit, Response};

/// How bringing a picture went.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Brought {
    /// The server has it.
    There,
    /// The server will never take it.
    Refused,
    /// The server has no room for it now.
    NoRoom,
    /// Cut off, or the server does not know of it yet.
    NotYet,
}

fn path(hash: PictureHash) -> String {
    format!("/photos/{hash}")
}

async fn ask(path: &str, method: &str, header: Option<(&str, &str)>, body: &[u8]) -> Result<Response, JsValue> {
    let (request, headers) = (RequestInit::new(), Headers::new()?);
    request.set_method(method);
    // A picture is kept once, in this page's storage; and what is asked anew is not to come from a damaged copy.
    Reflect::set(&request, &"cache".into(), &"no-store".into())?;
    if let Some((name, value)) = header {
        headers.set(name, value)?;
    }
    request.set_headers(&headers);
    if !body.is_empty() {
        request.set_body(&Uint8Array::from(body));
    }
    let answer = JsFuture::from(leptos::prelude::window().fetch_with_str_and_init(path, &request)).await?;
    answer.dyn_into()
}

/// What the server says of a picture.
fn said(answer: &Response, picture: &Picture) -> Next {
    let header = |name| answer.headers().get(name).ok().flatten();
    let (complete, offset) = (header("upload-complete"), header("upload-offset"));
    if answer.ok() { next(complete.as_deref(), offset.as_deref(), picture.bytes as usize) } else { Next::Stuck }
}

/// Whether the server has a picture; `None` when it does not say.
pub async fn has(job: JobId, picture: &Picture) -> Result<Option<bool>, JsValue> {
    let answer = ask(&format!("{}?job={job}", path(picture.hash)), "HEAD", None, &[]).await?;
    Ok(match said(&answer, picture) {
        Next::Done => Some(true),
        Next::From(_) => Some(false),
        Next::Stuck => None,
    })
}

/// Brings a picture.
pub async fn bring(job: JobId, picture: &Picture, file: &[u8]) -> Result<Brought, JsValue> {
    let path = format!("{}?job={job}", path(picture.hash));
    let mut answer = ask(&path, "HEAD", None, &[]).await?;
    loop {
        let at = match said(&answer, picture) {
            Next::Done => return Ok(Brought::There),
            Next::From(at) => at,
            Next::Stuck => break,
        };
        let end = (at + PIECE).min(file.len());
        let range = format!("bytes {at}-{}/{}", end - 1, file.len());
        answer = ask(&path, "PUT", Some(("content-range", &range)), file.get(at..end).unwrap_or_default()).await?;
    }
    Ok(match answer.status() {
        422 => Brought::Refused,
        507 => Brought::NoRoom,
        _ => Brought::NotYet,
    })
}

/// Fetches what is missing of a picture behind what is `here`; answers whether that is the picture now.
pub async fn fetch(picture: &Picture, here: &mut Vec<u8>) -> Result<bool, JsValue> {
    while here.len() < picture.bytes as usize {
        let range = format!("bytes={}-{}", here.len(), here.len() + PIECE - 1);
        let answer = ask(&path(picture.hash), "GET", Some(("range", &range)), &[]).await?;
        match answer.status() {
            206 => {}
            // A proxy that knows of no pieces.
            200 => here.clear(),
            _ => return Ok(false),
        }
        let piece = Uint8Array::new(&JsFuture::from(answer.array_buffer()?).await?).to_vec();
        if piece.is_empty() {
            return Ok(false);
        }
        here.extend(piece);
    }
    let whole = PictureHash::of(here) == picture.hash;
    if !whole {
        here.clear();
    }
    Ok(whole)
}
