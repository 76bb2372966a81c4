//! Everything that can go wrong, and what the person at the other end is told.

use std::net::SocketAddr;
use std::process::ExitCode;

use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, RETRY_AFTER};
use axum::http::{HeaderName, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};

use crate::pages;
use crate::store::StoreError;
use crate::tls::TlsError;

/// Why the server does not start or ended early.
#[derive(thiserror::Error, Debug)]
pub enum ServeError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("cannot listen on {address}: {reason}. Choose another address or port with --listen")]
    Listen { address: SocketAddr, reason: std::io::Error },
    #[error(transparent)]
    Tls(#[from] TlsError),
    #[error("cannot make the demo house: {0}")]
    Demo(String),
    #[error("the operating system refused: {0}")]
    System(#[from] std::io::Error),
}

impl ServeError {
    pub fn exit_code(&self) -> ExitCode {
        match self {
            Self::Listen { .. } => ExitCode::from(2),
            Self::Store(_) | Self::Tls(_) | Self::Demo(_) | Self::System(_) => ExitCode::from(3),
        }
    }
}

/// Why a request is refused.
#[derive(thiserror::Error, Debug)]
pub enum Refused {
    #[error("This phone is not paired with this server.")]
    NotPaired,
    #[error("This server does not go by the name in the address.")]
    WrongHost,
    #[error("This request comes from another site.")]
    WrongOrigin,
    #[error("Too many requests from this address: wait a minute.")]
    TooMany,
    #[error("This link was used already, or it has expired.")]
    LinkGone,
    #[error("This phone may not do that.")]
    NotAllowed,
    #[error("The shop needs an owner: make somebody else one first.")]
    LastOwner,
    #[error("{0}")]
    BadForm(&'static str),
    #[error("The picture is not kept: {0}.")]
    NoPicture(String),
    #[error("The server cannot store this now: {0}")]
    NotStored(String),
    #[error("There is nothing at this address.")]
    NothingHere,
}

impl Refused {
    fn status(&self) -> StatusCode {
        match self {
            Self::NotPaired => StatusCode::UNAUTHORIZED,
            Self::WrongHost => StatusCode::MISDIRECTED_REQUEST,
            Self::WrongOrigin | Self::NotAllowed => StatusCode::FORBIDDEN,
            Self::LastOwner => StatusCode::CONFLICT,
            Self::TooMany => StatusCode::TOO_MANY_REQUESTS,
            Self::LinkGone => StatusCode::GONE,
            Self::BadForm(_) | Self::NoPicture(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::NotStored(_) => StatusCode::INSUFFICIENT_STORAGE,
            Self::NothingHere => StatusCode::NOT_FOUND,
        }
    }

    fn remedy(&self) -> &'static str {
        match self {
            Self::NotPaired | Self::LinkGone => {
                "To get in, open a fresh pairing link: a phone that is in makes one with Add a phone, in the list of jobs. If no \
                 phone is in, start the server with --pair: it prints one."
            }
            Self::WrongHost => "Use the computer's own name or address, or start the server with --host and this name.",
            Self::WrongOrigin => "Open the app from its own address.",
            Self::NotAllowed => "An owner of the shop says who may do what, under People.",
            Self::TooMany | Self::NothingHere | Self::LastOwner | Self::NoPicture(_) => "",
            Self::BadForm(_) => "Go back and try again.",
            Self::NotStored(_) => "Free some space on the server's disk and try again.",
        }
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        let html = pages::message(&self.to_string(), self.remedy());
        let retry: Option<(HeaderName, HeaderValue)> =
            matches!(self, Self::TooMany).then(|| (RETRY_AFTER, HeaderValue::from_static("60")));
        let mut response =
            (self.status(), [(CACHE_CONTROL, "no-store"), (CONTENT_TYPE, "text/html; charset=utf-8")], html)
                .into_response();
        response.headers_mut().extend(retry);
        response
    }
}
