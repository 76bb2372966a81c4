//! https: a certificate that phones trust, kept fresh while the server runs.

mod authority;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::{Duration, SystemTime};

use rcgen::{CertificateParams, KeyPair};
use time::OffsetDateTime;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio_rustls::rustls::server::{ClientHello, ResolvesServerCert};
use tokio_rustls::rustls::sign::CertifiedKey;
use tokio_rustls::rustls::{self, ServerConfig};

pub use authority::{Authority, Subject, fingerprint, is_private, put};

use crate::hosts::Hosts;

/// The data folder's part that keeps the authority.
pub const FOLDER: &str = "tls";

/// How often addresses and files are looked at.
const LOOK_EVERY: Duration = Duration::from_secs(30);
/// A certificate of the own authority is made anew at least so often.
const RENEW_AFTER: time::Duration = time::Duration::days(30);
/// A certificate from a file that ends so soon is warned about.
const WARN_BEFORE: time::Duration = time::Duration::days(14);

#[derive(thiserror::Error, Debug)]
pub enum TlsError {
    #[error(
        "the key of the shop's certificate authority is missing from {folder}: put authority.key back from a backup, or remove \
         the folder to make a new authority, which every phone must trust again"
    )]
    KeyLost { folder: PathBuf },
    #[error("cannot use {path}: {reason}")]
    Unusable { path: PathBuf, reason: String },
    #[error("cannot make a certificate: {0}")]
    Made(#[from] rcgen::Error),
    #[error("the certificate and its key cannot be used: {0}")]
    Rejected(#[from] rustls::Error),
    #[error("the operating system gives no random bytes: {0}")]
    NoRandomness(String),
}

/// Where the certificate comes from.
enum Source {
    /// The shop's own authority, and what the certificate in use vouches for since when.
    Authority(Box<Authority>, Option<(Vec<Subject>, OffsetDateTime)>),
    /// The authority of the shop's other server, which has vouched for this one.
    Vouched { authority: CertificateDer<'static> },
    /// Files that somebody else renews, and when they were last changed.
    Files { certificate: PathBuf, key: PathBuf, read: Option<SystemTime> },
}

pub struct Tls {
    source: Mutex<Source>,
    current: Arc<Current>,
    acceptor: TlsAcceptor,
}

/// The certificate in use.
#[derive(Debug)]
struct Current(RwLock<Arc<CertifiedKey>>);

impl ResolvesServerCert for Current {
    fn resolve(&self, _: ClientHello) -> Option<Arc<CertifiedKey>> {
        Some(Arc::clone(&self.0.read().unwrap_or_else(PoisonError::into_inner)))
    }
}

impl Tls {
    /// With certificates of the shop's own authority.
    pub fn of_authority(authority: Authority, hosts: &Hosts, now: OffsetDateTime) -> Result<Self, TlsError> {
        Self::new(Source::Authority(Box::new(authority), None), hosts, now)
    }

    /// With a certificate chain and key from PEM files.
    pub fn of_files(certificate: &Path, key: &Path, hosts: &Hosts, now: OffsetDateTime) -> Result<Self, TlsError> {
        Self::new(Source::Files { certificate: certificate.to_owned(), key: key.to_owned(), read: None }, hosts, now)
    }

    fn new(mut source: Source, hosts: &Hosts, now: OffsetDateTime) -> Result<Self, TlsError> {
        let Some(first) = source.renewed(hosts, now)? else {
            return Err(rustls::Error::General("there is no certificate".into()).into());
        };
        let current = Arc::new(Current(RwLock::new(Arc::new(first))));
        let versions = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()?;
        let mut config = versions.with_no_client_auth().with_cert_resolver(Arc::clone(&current) as _);
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Self { source: Mutex::new(source), current, acceptor: TlsAcceptor::from(Arc::new(config)) })
    }

    pub fn acceptor(&self) -> &TlsAcceptor {
        &self.acceptor
    }

    /// The authority's certificate that phones must be told to trust; `None` when they trust the server's already.
    pub fn to_trust(&self) -> Option<CertificateDer<'static>> {
        match &*self.source() {
            Source::Authority(authority, _) => Some(authority.certificate().clone()),
            Source::Vouched { authority } => Some(authority.clone()),
            Source::Files { .. } => None,
        }
    }

    /// From now on with a certificate of the shop's other server, whose authority the phones trust.
    pub fn be_vouched_for(&self, it: &Vouched) -> Result<(), TlsError> {
        let certified = it.certified()?;
        let mut source = self.source();
        if !matches!(*source, Source::Files { .. }) {
            *source = Source::Vouched { authority: it.authority.clone() };
            self.change(certified);
        }
        Ok(())
    }

    /// A certificate for another server of the shop; `None` without an authority of its own.
    pub fn vouch(
        &self,
        request: &[u8],
        subjects: &[Subject],
        now: OffsetDateTime,
    ) -> Result<Option<CertificateDer<'static>>, TlsError> {
        match &*self.source() {
            Source::Authority(authority, _) => authority.vouch(request, subjects, now).map(Some),
            Source::Vouched { .. } | Source::Files { .. } => Ok(None),
        }
    }

    /// Renews the certificate when the computer's addresses change and before it ends; runs as long as the server.
    pub async fn keep_fresh(&self, hosts: &Hosts) {
        loop {
            tokio::time::sleep(LOOK_EVERY).await;
            let mut source = self.source();
            match source.renewed(hosts, OffsetDateTime::now_utc()) {
                Ok(None) => {}
                Ok(Some(new)) => self.change(new),
                Err(error) => tracing::error!(%error, "https goes on with the certificate it has"),
            }
        }
    }

    fn change(&self, certified: CertifiedKey) {
        tracing::info!("https goes on with a new certificate");
        *self.current.0.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(certified);
    }

    fn source(&self) -> std::sync::MutexGuard<'_, Source> {
        self.source.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Source {
    /// A new certificate, when one is due.
    fn renewed(&mut self, hosts: &Hosts, now: OffsetDateTime) -> Result<Option<CertifiedKey>, TlsError> {
        match self {
            Self::Authority(authority, made) => {
                let subjects = hosts.subjects();
                let fresh =
                    |(of, since): &(Vec<Subject>, OffsetDateTime)| *of == subjects && now - *since < RENEW_AFTER;
                if made.as_ref().is_some_and(fresh) {
                    return Ok(None);
                }
                let leaf = authority.leaf(&subjects, now)?;
                *made = Some((subjects, now));
                let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(leaf.key));
                // The authority's own certificate goes along: some phones show it when they are asked what they trust.
                certified(vec![leaf.certificate, authority.certificate().clone()], key).map(Some)
            }
            // The other server makes a new one whenever the two meet.
            Self::Vouched { .. } => Ok(None),
            Self::Files { certificate, key, read } => {
                let changed = |path: &Path| std::fs::metadata(path).and_then(|it| it.modified());
                let newest = changed(certificate).and_then(|it| Ok(it.max(changed(key)?)));
                let newest = newest.map_err(|error| unusable(certificate, &error))?;
                if *read == Some(newest) {
                    return Ok(None);
                }
                let chain = CertificateDer::pem_file_iter(&certificate)
                    .and_then(Iterator::collect::<Result<Vec<_>, _>>)
                    .map_err(|error| unusable(certificate, &error))?;
                let end = chain.first().and_then(authority::ends);
                let key = PrivateKeyDer::from_pem_file(&key).map_err(|error| unusable(key, &error))?;
                let certified = certified(chain, key)?;
                if end.is_none_or(|it| it - now < WARN_BEFORE) {
                    tracing::warn!(path = %certificate.display(), ?end, "this certificate ends soon: renew it");
                }
                *read = Some(newest);
                Ok(Some(certified))
            }
        }
    }
}

/// What makes a server trusted that another one has vouched for.
#[derive(Clone)]
pub struct Vouched {
    pub authority: CertificateDer<'static>,
    pub certificate: CertificateDer<'static>,
    /// PEM.
    pub key: String,
}

impl Vouched {
    fn certified(&self) -> Result<CertifiedKey, TlsError> {
        let key = KeyPair::from_pem(&self.key)?.serialize_der();
        let chain = vec![self.certificate.clone(), self.authority.clone()];
        certified(chain, PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key)))
    }
}

/// A new key (PEM) for a server that is to be vouched for.
pub fn new_key() -> Result<String, TlsError> {
    Ok(KeyPair::generate()?.serialize_pem())
}

/// The request to vouch for the holder of a key (PKCS#10, DER).
pub fn request(key: &str) -> Result<Vec<u8>, TlsError> {
    let request = CertificateParams::default().serialize_request(&KeyPair::from_pem(key)?)?;
    Ok(request.der().to_vec())
}

fn certified(chain: Vec<CertificateDer<'static>>, key: PrivateKeyDer<'static>) -> Result<CertifiedKey, TlsError> {
    Ok(CertifiedKey::from_der(chain, key, &ring::default_provider())?)
}

fn unusable(path: &Path, reason: &impl ToString) -> TlsError {
    TlsError::Unusable { path: path.to_owned(), reason: reason.to_string() }
}
