//! Paired devices, and how they are recognised.

use std::collections::HashMap;
use std::sync::{PoisonError, RwLock};

use axum::http::HeaderMap;
use axum::http::header::COOKIE;
use sha2::{Digest, Sha256};
use shared_model::ids::DeviceId;
use shared_model::wire::Role;
use tokio::sync::watch;
use uuid::Uuid;

use crate::accept::Scheme;
use crate::store::Device;

pub const COOKIE_NAME: &str = "napline";
/// Over https: the prefix makes browsers keep it from http, from other paths, and from other hosts of the same domain
/// (RFC 6265bis, 4.1.3.2).
pub const SECURE_COOKIE_NAME: &str = "__Host-napline";
/// As long as browsers keep a cookie: 400 days. Each connection renews it.
const COOKIE_SECONDS: u32 = 400 * 86_400;

/// A 256-bit secret that lets a device in; the server keeps only its hash.
pub struct Token([u8; 32]);

/// What a cookie claims.
struct Claim {
    device: DeviceId,
    token: Token,
}

pub struct Devices {
    all: RwLock<HashMap<DeviceId, Device>>,
    /// Counts what was changed, for those who tell other servers.
    changed: watch::Sender<u64>,
}

impl Token {
    pub fn random() -> Result<Self, std::io::Error> {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes).map_err(std::io::Error::other)?;
        Ok(Self(bytes))
    }

    pub fn hash(&self) -> [u8; 32] {
        Sha256::digest(self.0).into()
    }

    pub const fn bytes(self) -> [u8; 32] {
        self.0
    }

    /// For the device that it lets in.
    pub fn reveal(&self) -> String {
        hex(&self.0)
    }

    /// The `Set-Cookie` header that gives the token to its device.
    pub fn cookie(&self, device: DeviceId, scheme: Scheme) -> String {
        let value = format!("{}.{}", device.0.simple(), self.reveal());
        let (name, secure) = match scheme {
            Scheme::Http => (COOKIE_NAME, ""),
            Scheme::Https => (SECURE_COOKIE_NAME, "; Secure"),
        };
        format!("{name}={value}; Path=/; Max-Age={COOKIE_SECONDS}; HttpOnly; SameSite=Strict{secure}")
    }
}

impl Devices {
    pub fn new(devices: Vec<Device>) -> Self {
        let all = devices.into_iter().map(|it| (it.id, it)).collect();
        Self { all: RwLock::new(all), changed: watch::Sender::default() }
    }

    /// Tells when a device has come or changed.
    pub fn changes(&self) -> watch::Receiver<u64> {
        self.changed.subscribe()
    }

    /// Whether no phone is let in.
    pub fn is_empty(&self) -> bool {
        self.all().iter().all(|it| it.revoked.is_some() || it.role == Role::Server)
    }

    /// All devices that ever came in, the revoked ones too, the latest first.
    pub fn all(&self) -> Vec<Device> {
        let mut all: Vec<Device> = self.all.read().unwrap_or_else(PoisonError::into_inner).values().cloned().collect();
        all.sort_by_key(|it| (std::cmp::Reverse(it.paired), it.id));
        all
    }

    pub fn insert(&self, device: Device) {
        self.all.write().unwrap_or_else(PoisonError::into_inner).insert(device.id, device);
        self.changed.send_modify(|it| *it += 1);
    }

    /// Whether a device was ever let in.
    pub fn knows(&self, id: DeviceId) -> bool {
        self.all.read().unwrap_or_else(PoisonError::into_inner).contains_key(&id)
    }

    /// Who uses a device, or used it.
    pub fn person(&self, id: DeviceId) -> String {
        let devices = self.all.read().unwrap_or_else(PoisonError::into_inner);
        devices.get(&id).map_or_else(|| "another server or a file".to_owned(), |it| it.person.clone())
    }

    /// A device as it stands now, if it is let in.
    pub fn get(&self, id: DeviceId) -> Option<Device> {
        let devices = self.all.read().unwrap_or_else(PoisonError::into_inner);
        devices.get(&id).filter(|it| it.revoked.is_none()).cloned()
    }

    /// The device that sent the request and the cookie that renews its stay, if it is paired.
    pub fn recognise(&self, headers: &HeaderMap, scheme: Scheme) -> Option<(Device, String)> {
        let devices = self.all.read().unwrap_or_else(PoisonError::into_inner);
        claims(headers, scheme).find_map(|claim| {
            let device = devices.get(&claim.device).filter(|it| it.revoked.is_none())?;
            // Hashes are compared, so the time that takes says nothing about the token.
            (device.token == claim.token.hash()).then(|| (device.clone(), claim.token.cookie(claim.device, scheme)))
        })
    }

    /// The id for a device that pairs now. One that is paired already stays itself, and so does one that the server has
    /// lost, if it may: its unsent changes carry its id. Nobody else's id is given away.
    pub fn id_for(&self, headers: &HeaderMap, scheme: Scheme, may_be_lost: bool) -> DeviceId {
        // A cookie from before the phone trusted the shop is good for this.
        let known = self.recognise(headers, scheme).or_else(|| self.recognise(headers, Scheme::Http));
        if let Some((device, _)) = known {
            return device.id;
        }
        let devices = self.all.read().unwrap_or_else(PoisonError::into_inner);
        let lost =
            claims(headers, Scheme::Http).map(|it| it.device).find(|it| !devices.contains_key(it) && !it.0.is_nil());
        lost.filter(|_| may_be_lost).unwrap_or_else(|| DeviceId(Uuid::new_v4()))
    }
}

/// What a request's cookies claim. Over https only those count that http could not have planted.
fn claims(headers: &HeaderMap, scheme: Scheme) -> impl Iterator<Item = Claim> {
    let cookies = headers.get_all(COOKIE).iter().filter_map(|it| it.to_str().ok()).flat_map(|it| it.split(';'));
    cookies.filter_map(move |it| {
        let (name, value) = it.trim().split_once('=')?;
        let (device, token) = value.split_once('.')?;
        let claim = Claim { device: device.parse().ok()?, token: Token(unhex(token)?) };
        let counts = name == SECURE_COOKIE_NAME || name == COOKIE_NAME && scheme == Scheme::Http;
        counts.then_some(claim)
    })
}

pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|it| format!("{it:02x}")).collect()
}

/// Reads exactly the bytes that [`hex`] wrote.
pub fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    if text.len() != 2 * N || !text.bytes().all(|it| it.is_ascii_hexdigit()) {
        return None;
    }
    let mut bytes = [0; N];
    for (index, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(text.get(2 * index..2 * index + 2)?, 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;
    use shared_model::job::Timestamp;

    use super::*;

    fn with_cookie(cookie: &str) -> HeaderMap {
        let pair = cookie.split(';').next().unwrap();
        HeaderMap::from_iter([(COOKIE, HeaderValue::from_str(&format!("other=1; {pair}")).unwrap())])
    }

    fn paired(token: &Token) -> (Devices, DeviceId) {
        let id = DeviceId(Uuid::from_u128(7));
        let device = Device {
            id,
            person: "Ada".into(),
            name: "phone".into(),
            token: token.hash(),
            paired: Timestamp(1),
            role: Role::Crew,
            revoked: None,
            edition: 0,
        };
        (Devices::new(vec![device]), id)
    }

    #[test]
    fn a_device_is_known_by_its_token_only() {
        let token = Token::random().unwrap();
        let (devices, id) = paired(&token);
        let known = devices.recognise(&with_cookie(&token.cookie(id, Scheme::Http)), Scheme::Http);
        assert_eq!(known.map(|(device, _)| device.person), Some("Ada".to_owned()));
        assert!(devices.recognise(&with_cookie(&Token([1; 32]).cookie(id, Scheme::Http)), Scheme::Http).is_none());
        assert!(
            devices
                .recognise(&with_cookie(&token.cookie(DeviceId(Uuid::from_u128(8)), Scheme::Https)), Scheme::Http)
                .is_none()
        );
        assert!(devices.recognise(&HeaderMap::new(), Scheme::Http).is_none());
        let mut gone = devices.all().remove(0);
        gone.revoked = Some(Timestamp(2));
        devices.insert(gone);
        assert!(devices.recognise(&with_cookie(&token.cookie(id, Scheme::Http)), Scheme::Http).is_none(), "revoked");
        assert_ne!(
            devices.id_for(&with_cookie(&token.cookie(id, Scheme::Http)), Scheme::Http, true),
            id,
            "it comes in as new"
        );
    }

    #[test]
    fn pairing_again_keeps_the_own_id_and_takes_nobody_elses() {
        let token = Token::random().unwrap();
        let (devices, id) = paired(&token);
        assert_eq!(devices.id_for(&with_cookie(&token.cookie(id, Scheme::Http)), Scheme::Http, true), id);
        assert_ne!(devices.id_for(&with_cookie(&Token([1; 32]).cookie(id, Scheme::Http)), Scheme::Http, true), id);
        let lost = DeviceId(Uuid::from_u128(9));
        assert_ne!(devices.id_for(&with_cookie(&token.cookie(lost, Scheme::Https)), Scheme::Http, false), lost);
        assert_eq!(devices.id_for(&with_cookie(&token.cookie(lost, Scheme::Https)), Scheme::Http, true), lost);
    }

    #[test]
    fn over_https_a_cookie_that_http_could_have_planted_is_no_pass() {
        let token = Token::random().unwrap();
        let (devices, id) = paired(&token);
        let plain = with_cookie(&token.cookie(id, Scheme::Http));
        assert!(devices.recognise(&plain, Scheme::Http).is_some());
        assert!(devices.recognise(&plain, Scheme::Https).is_none());
        assert!(devices.recognise(&with_cookie(&token.cookie(id, Scheme::Https)), Scheme::Https).is_some());
        assert_eq!(devices.id_for(&plain, Scheme::Https, false), id, "it pairs again as itself");
    }

    #[test]
    fn hex_is_read_back_and_nothing_else_is() {
        assert_eq!(unhex::<3>(&hex(&[0, 10, 255])), Some([0, 10, 255]));
        for wrong in ["", "0", "000", "00g0ff", "+1+1+1", "0011223", "é0é0"] {
            assert_eq!(unhex::<3>(wrong), None, "{wrong}");
        }
    }
}
