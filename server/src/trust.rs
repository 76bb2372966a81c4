//! Helping a phone to trust the shop's own certificate authority: what to do, whether it worked, and what works without.

use std::sync::Arc;

use axum::extract::State;
use axum::http::header::{
    ACCESS_CONTROL_ALLOW_ORIGIN, CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HOST,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode};
use axum::response::{Html, IntoResponse, Response};

use crate::error::Refused;
use crate::pages::{self, Welcome};
use crate::router::Shop;
use crate::tls::fingerprint;

pub const CHECK_PATH: &str = "/trust/check.js";
pub const CERTIFICATE_PATH: &str = "/trust/shop.crt";
pub const PROBE_PATH: &str = "/trust/ok";

const CHECK: &str = include_str!("trust.js");

/// The page by itself, for a phone that is paired already.
pub async fn page(State(shop): State<Arc<Shop>>, headers: HeaderMap) -> Result<Response, Refused> {
    welcome(&shop, &headers, "/").ok_or(Refused::NothingHere)
}

/// The page that leads to `next` over https; `None` when there is nothing to trust.
pub fn welcome(shop: &Shop, headers: &HeaderMap, next: &str) -> Option<Response> {
    let authority = shop.tls.as_ref()?.to_trust()?;
    let host = headers.get(HOST)?.to_str().ok()?;
    let secure = format!("https://{host}");
    let html = pages::welcome(&Welcome {
        shop: &shop.name,
        probe: &format!("{secure}{PROBE_PATH}"),
        next: &format!("{secure}{next}"),
        without: &format!("{next}?plain=1"),
        fingerprint: &fingerprint(&authority),
    });
    let policy = format!(
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src {secure}; frame-ancestors 'none'; \
         base-uri 'none'; form-action 'none'"
    );
    let mut response = ([(CACHE_CONTROL, "no-store")], Html(html)).into_response();
    response.headers_mut().insert(CONTENT_SECURITY_POLICY, HeaderValue::from_str(&policy).ok()?);
    Some(response)
}

/// The page's script.
pub async fn check() -> impl IntoResponse {
    ([(CONTENT_TYPE, "text/javascript; charset=utf-8"), (CACHE_CONTROL, "no-cache")], CHECK)
}

/// The authority's certificate, as phones take it in.
pub async fn certificate(State(shop): State<Arc<Shop>>) -> Result<Response, Refused> {
    let authority = shop.tls.as_ref().and_then(|it| it.to_trust()).ok_or(Refused::NothingHere)?;
    let headers = [
        (CONTENT_TYPE, "application/x-x509-ca-cert"),
        (CONTENT_DISPOSITION, "attachment; filename=\"napline-shop.crt\""),
        (CACHE_CONTROL, "no-store"),
    ];
    Ok((headers, authority.to_vec()).into_response())
}

/// An answer that says nothing; that it comes says that the certificate is trusted.
pub async fn probe() -> impl IntoResponse {
    let any_page = HeaderName::from_static("cross-origin-resource-policy");
    (
        StatusCode::NO_CONTENT,
        [(any_page, "cross-origin"), (ACCESS_CONTROL_ALLOW_ORIGIN, "*"), (CACHE_CONTROL, "no-store")],
    )
}
