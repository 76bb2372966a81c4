//! The client's bundle, embedded in the binary by a release build.

use std::borrow::Cow;

use axum::body::{Body, Bytes};
use axum::http::header::{ACCEPT_ENCODING, CACHE_CONTROL, CONTENT_ENCODING, CONTENT_TYPE, VARY};
use axum::http::{HeaderMap, HeaderValue, Uri};
use axum::response::{Html, IntoResponse, Response};
use rust_embed::{Embed, EmbeddedFile};

use crate::error::Refused;
use crate::pages;

/// Made by `cargo xtask web`: each file, and beside it the same file compressed as `.br` and `.gz`.
#[derive(Embed)]
#[folder = "../web/dist"]
#[allow_missing = true]
struct Bundle;

/// Names below this carry a hash of their content.
const HASHED: &str = "assets/";

/// The bundle's hash; empty without a bundle.
pub fn build() -> String {
    let file = Bundle::get("build.txt");
    file.map(|it| String::from_utf8_lossy(&it.data).trim().to_owned()).unwrap_or_default()
}

/// Serves the client; its page at `/`, with or without a query.
pub async fn file(uri: Uri, headers: HeaderMap) -> Result<Response, Refused> {
    let path = match uri.path().trim_start_matches('/') {
        "" => "index.html",
        other => other,
    };
    let Some(whole) = Bundle::get(path) else {
        return if path == "index.html" { Ok(no_bundle()) } else { Err(Refused::NothingHere) };
    };
    let accepted = headers.get(ACCEPT_ENCODING).and_then(|it| it.to_str().ok()).unwrap_or_default();
    let mut encoding = None;
    let mut chosen = whole;
    for (name, ending) in [("br", ".br"), ("gzip", ".gz")] {
        if accepts(accepted, name)
            && let Some(compressed) = Bundle::get(&format!("{path}{ending}"))
        {
            (encoding, chosen) = (Some(name), compressed);
            break;
        }
    }
    let mut response = Response::new(body(chosen));
    let headers = response.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(kind(path)));
    headers.insert(CACHE_CONTROL, HeaderValue::from_static(caching(path)));
    headers.insert(VARY, HeaderValue::from_static("accept-encoding"));
    headers.extend(encoding.map(|it| (CONTENT_ENCODING, HeaderValue::from_static(it))));
    Ok(response)
}

/// Over plain http there is no service worker: a page that the browser never asks for again opens without the server. When
/// the server has a newer build, the client moves on to `/?b=` and the build's hash.
fn caching(path: &str) -> &'static str {
    match path {
        "index.html" => "private, max-age=31536000, immutable",
        "sw.js" => "no-cache",
        hashed if hashed.starts_with(HASHED) => "public, max-age=31536000, immutable",
        _ => "private, max-age=86400",
    }
}

fn kind(path: &str) -> &'static str {
    match path.rsplit_once('.').map_or("", |(_, ending)| ending) {
        "html" => "text/html; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "wasm" => "application/wasm",
        "webmanifest" => "application/manifest+json",
        "json" => "application/json",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "ico" => "image/x-icon",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}

/// Whether an `Accept-Encoding` header names an encoding and does not refuse it.
fn accepts(header: &str, encoding: &str) -> bool {
    header.split(',').any(|it| {
        let mut parts = it.split(';').map(str::trim);
        let named = parts.next().is_some_and(|name| name.eq_ignore_ascii_case(encoding));
        let refused = parts.any(|weight| weight.strip_prefix("q=").is_some_and(|it| it.parse() == Ok(0.0)));
        named && !refused
    })
}

fn body(file: EmbeddedFile) -> Body {
    match file.data {
        Cow::Borrowed(embedded) => Body::from(Bytes::from_static(embedded)),
        Cow::Owned(read) => Body::from(read),
    }
}

fn no_bundle() -> Response {
    let page = pages::message(
        "This server was built without its app.",
        "Run the command: cargo xtask run. It builds the app, puts it into the server, and starts both.",
    );
    ([(CACHE_CONTROL, "no-store")], Html(page)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn encodings_are_taken_as_asked() {
        let cases = [
            ("gzip, deflate, br, zstd", "br", true),
            ("gzip;q=0.5, BR;q=1.0", "br", true),
            ("gzip, br;q=0", "br", false),
            ("gzip, br; q=0.000", "br", false),
            ("", "gzip", false),
            ("brotli", "br", false),
        ];
        for (header, encoding, expected) in cases {
            assert_eq!(accepts(header, encoding), expected, "{header}");
        }
    }

    #[test]
    fn only_names_with_a_hash_are_kept_for_ever_by_everybody() {
        assert_eq!(caching("assets/style-0123456789ab.css"), "public, max-age=31536000, immutable");
        assert_eq!(caching("index.html"), "private, max-age=31536000, immutable");
        assert_eq!(caching("sw.js"), "no-cache");
        assert_eq!(caching("manifest.webmanifest"), "private, max-age=86400");
    }
}
