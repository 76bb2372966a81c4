//! Pictures between this phone and its server, over HTTP: in pieces, from where the last attempt was cut off.

use js_sys::Uint8Array;
use shared_model::ids::JobId;
use shared_model::job::{Picture, PictureHash};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{Headers, RequestInit, Response};

/// Bytes that are sent at once; the server takes no more.
const PIECE: usize = 256 * 1024;

fn path(hash: PictureHash) -> String {
    format!("/photos/{hash}")
}

async fn ask(path: &str, method: &str, header: Option<(&str, &str)>, body: &[u8]) -> Result<Response, JsValue> {
    let (request, headers) = (RequestInit::new(), Headers::new()?);
    request.set_method(method);
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

/// Where the server says to go on; `None` when it has the whole.
fn next(answer: &Response) -> Option<usize> {
    if answer.headers().get("upload-complete").ok().flatten().is_some_and(|it| it == "?1") {
        return None;
    }
    answer.headers().get("upload-offset").ok().flatten()?.parse().ok()
}

/// Brings a picture; answers whether the server has it now.
pub async fn bring(job: JobId, picture: &Picture, file: &[u8]) -> Result<bool, JsValue> {
    let path = format!("{}?job={job}", path(picture.hash));
    let mut answer = ask(&path, "HEAD", None, &[]).await?;
    while answer.ok() {
        let Some(at) = next(&answer).filter(|it| *it < file.len()) else { return Ok(true) };
        let end = (at + PIECE).min(file.len());
        let range = format!("bytes {at}-{}/{}", end - 1, file.len());
        answer = ask(&path, "PUT", Some(("content-range", &range)), file.get(at..end).unwrap_or_default()).await?;
    }
    Ok(false)
}

/// Fetches a picture; `None` when the server does not have it, or sends another one.
pub async fn fetch(hash: PictureHash) -> Result<Option<Vec<u8>>, JsValue> {
    let answer = ask(&path(hash), "GET", None, &[]).await?;
    if !answer.ok() {
        return Ok(None);
    }
    let bytes = Uint8Array::new(&JsFuture::from(answer.array_buffer()?).await?).to_vec();
    Ok(Some(bytes).filter(|it| PictureHash::of(it) == hash))
}
