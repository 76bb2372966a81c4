//! Before any answer: is the request meant for this server, does it come from its own pages, is its device paired?

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{ConnectInfo, Extension, Request, State};
use axum::http::header::{HOST, HeaderName, ORIGIN, UPGRADE};
use axum::http::{HeaderMap, HeaderValue, Method};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use tokio::time::Instant;

use crate::accept::Scheme;
use crate::error::Refused;
use crate::limits::Bucket;
use crate::router::Shop;
use crate::store::Device;

/// Requests per address: at once, and per second in the long run.
const REQUESTS: (f64, f64) = (500.0, 50.0);
/// Wrong pairing links per address, likewise.
const MISSES: (f64, f64) = (40.0, 0.5);
/// Addresses remembered before those that have been quiet are forgotten, and all of them when none has.
const ADDRESSES: usize = 4_096;

/// The paired device behind a request.
#[derive(Clone)]
pub struct Visitor {
    pub device: Device,
    /// The `Set-Cookie` header that renews its stay.
    pub cookie: String,
}

/// How much each address has asked for.
#[derive(Default)]
pub struct Rates {
    addresses: Mutex<HashMap<IpAddr, (Bucket, Bucket)>>,
}

impl Rates {
    fn request(&self, from: IpAddr) -> Result<(), Refused> {
        self.with(from, |requests, _, now| requests.try_take(1.0, now).then_some(()).ok_or(Refused::TooMany))
    }

    /// Asks whether an address may still try a pairing link.
    pub fn knock(&self, from: IpAddr) -> Result<(), Refused> {
        self.with(from, |_, misses, now| misses.try_take(0.0, now).then_some(()).ok_or(Refused::TooMany))
    }

    /// Counts a wrong link. The debt is bounded by what [`Rates::knock`] lets through.
    pub fn miss(&self, from: IpAddr) {
        self.with(from, |_, misses, now| misses.take(1.0, now));
    }

    fn with<T>(&self, from: IpAddr, body: impl FnOnce(&mut Bucket, &mut Bucket, Instant) -> T) -> T {
        let now = Instant::now();
        let mut addresses = self.addresses.lock().unwrap_or_else(PoisonError::into_inner);
        if addresses.len() >= ADDRESSES {
            addresses.retain(|_, (requests, misses)| !(requests.is_full(now) && misses.is_full(now)));
        }
        if addresses.len() >= ADDRESSES {
            addresses.clear();
        }
        let new = || (Bucket::new(REQUESTS.0, REQUESTS.1, now), Bucket::new(MISSES.0, MISSES.1, now));
        let (requests, misses) = addresses.entry(network(from)).or_insert_with(new);
        body(requests, misses, now)
    }
}

/// Whose requests count together: an IPv6 host picks its own address within its network of 64 bits (RFC 8981).
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(it) => IpAddr::V6(Ipv6Addr::from_bits(it.to_bits() & !u128::from(u64::MAX))),
        v4 => v4,
    }
}

/// For every request: rate, `Host`, and `Origin` where something could change.
pub async fn check(
    State(shop): State<Arc<Shop>>,
    ConnectInfo(address): ConnectInfo<SocketAddr>,
    Extension(scheme): Extension<Scheme>,
    request: Request,
    next: Next,
) -> Result<Response, Refused> {
    shop.rates.request(address.ip())?;
    let host = text(request.headers(), &HOST).filter(|it| shop.hosts.knows(it)).ok_or(Refused::WrongHost)?;
    if scheme == Scheme::Http && shop.only_https() {
        return Ok(moved(host, &request));
    }
    let reads = matches!(*request.method(), Method::GET | Method::HEAD) && !request.headers().contains_key(UPGRADE);
    if !reads {
        let origin = text(request.headers(), &ORIGIN).ok_or(Refused::WrongOrigin)?;
        // Without certificates of its own, the server may stand behind a proxy that has some.
        let schemes = if shop.tls.is_none() { [Scheme::Http, Scheme::Https].as_slice() } else { &[scheme] };
        let authority = schemes.iter().find_map(|it| origin.strip_prefix(it.name())?.strip_prefix("://"));
        if !authority.is_some_and(|it| it.eq_ignore_ascii_case(host)) {
            return Err(Refused::WrongOrigin);
        }
    }
    Ok(next.run(request).await)
}

/// For everything but pairing: only paired devices.
pub async fn recognise(
    State(shop): State<Arc<Shop>>,
    Extension(scheme): Extension<Scheme>,
    mut request: Request,
    next: Next,
) -> Result<Response, Refused> {
    let (device, cookie) = shop.devices.recognise(request.headers(), scheme).ok_or(Refused::NotPaired)?;
    request.extensions_mut().insert(Visitor { device, cookie });
    Ok(next.run(request).await)
}

/// On every answer: what a browser may do with it.
pub async fn secure(mut response: Response) -> Response {
    const HEADERS: [(&str, &str); 5] = [
        (
            "content-security-policy",
            "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' data: blob:; \
             connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'; object-src 'none'",
        ),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("x-frame-options", "DENY"),
        ("cross-origin-resource-policy", "same-origin"),
    ];
    for (name, value) in HEADERS {
        response.headers_mut().entry(HeaderName::from_static(name)).or_insert(HeaderValue::from_static(value));
    }
    response
}

/// The same address over https.
fn moved(host: &str, request: &Request) -> Response {
    let path = request.uri().path_and_query().map_or("/", |it| it.as_str());
    Redirect::permanent(&format!("https://{host}{path}")).into_response()
}

fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name)?.to_str().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_does_not_use_up_anothers_tries() {
        let rates = Rates::default();
        let [noisy, quiet] = ["192.0.2.1", "192.0.2.2"].map(|it| it.parse().unwrap());
        (0..1_000).for_each(|_| rates.miss(noisy));
        assert!(rates.knock(noisy).is_err());
        assert!(rates.knock(quiet).is_ok());
    }

    #[test]
    fn the_addresses_of_one_ipv6_network_count_together() {
        let same = |a: &str, b: &str| network(a.parse().unwrap()) == network(b.parse().unwrap());
        assert!(same("2001:db8::1", "2001:db8::ffff:1:2"));
        assert!(!same("2001:db8::1", "2001:db8:0:1::1"));
        assert!(same("::ffff:192.0.2.1", "192.0.2.1"));
        assert!(!same("192.0.2.1", "192.0.2.2"));
    }

    #[test]
    fn a_flood_of_addresses_stays_in_bounds() {
        let rates = Rates::default();
        (0..20_000_u32).for_each(|it| rates.miss(IpAddr::from(it.to_be_bytes())));
        assert!(rates.addresses.lock().unwrap().len() <= ADDRESSES);
    }
}
