//! The shop's own certificate authority. Each phone is told once to trust it; it can vouch for local names and private
//! addresses only, so that whoever steals its key cannot pretend to be a public site.

use std::fmt::{self, Display, Formatter};
use std::fs;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use std::path::{Path, PathBuf};

use rcgen::{
    BasicConstraints, CertificateParams, CertificateSigningRequestParams, CidrSubnet, DnType, ExtendedKeyUsagePurpose,
    GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose, NameConstraints, SanType, SerialNumber,
};
use sha2::{Digest, Sha256};
use time::{Duration, OffsetDateTime};
use tokio_rustls::rustls::pki_types::CertificateDer;
use x509_parser::prelude::{FromDer, X509Certificate};

use super::TlsError;
use crate::devices::hex;

const KEY: &str = "authority.key";
const CERTIFICATE: &str = "authority.crt";

/// A shop's authority lasts this long, and is made anew, with the same key, in its last year.
const AUTHORITY_DAYS: i64 = 3_650;
const AUTHORITY_RENEWED_DAYS: i64 = 400;
/// Phones whose clocks are behind must accept a new certificate.
const BACKDATED: Duration = Duration::days(1);
/// Under the 825 days that Apple's systems allow, also for authorities that the user has added
/// (https://support.apple.com/103769).
const LEAF_DAYS: i64 = 397;

/// The addresses that are nobody's on the Internet: RFC 1918, 3927, 6598, 1122 for IPv4; RFC 4193, 4291 for IPv6.
const PRIVATE: [(IpAddr, u8); 9] = [
    (IpAddr::V4(Ipv4Addr::new(10, 0, 0, 0)), 8),
    (IpAddr::V4(Ipv4Addr::new(172, 16, 0, 0)), 12),
    (IpAddr::V4(Ipv4Addr::new(192, 168, 0, 0)), 16),
    (IpAddr::V4(Ipv4Addr::new(169, 254, 0, 0)), 16),
    (IpAddr::V4(Ipv4Addr::new(100, 64, 0, 0)), 10),
    (IpAddr::V4(Ipv4Addr::new(127, 0, 0, 0)), 8),
    (IpAddr::V6(Ipv6Addr::new(0xfc00, 0, 0, 0, 0, 0, 0, 0)), 7),
    (IpAddr::V6(Ipv6Addr::new(0xfe80, 0, 0, 0, 0, 0, 0, 0)), 10),
    (IpAddr::V6(Ipv6Addr::LOCALHOST), 128),
];

/// What a certificate vouches for.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Subject {
    Name(String),
    Address(IpAddr),
}

impl From<&str> for Subject {
    fn from(text: &str) -> Self {
        text.parse().map_or_else(|_| Self::Name(text.to_owned()), Self::Address)
    }
}

impl Display for Subject {
    fn fmt(&self, f: &mut Formatter) -> fmt::Result {
        match self {
            Self::Name(name) => name.fmt(f),
            Self::Address(address) => address.fmt(f),
        }
    }
}

pub struct Authority {
    issuer: Issuer<'static, KeyPair>,
    certificate: CertificateDer<'static>,
    /// Names below which it may vouch, in lower case.
    names: Vec<String>,
}

/// A certificate for this server and its key, PKCS#8.
pub struct Leaf {
    pub certificate: CertificateDer<'static>,
    pub key: Vec<u8>,
}

impl Authority {
    /// Opens the authority in `folder`, or makes one that may vouch for `names`, for names below `.local`, and for private
    /// addresses. An authority near its end is made anew with the same key.
    pub fn open(folder: &Path, shop: &str, names: &[String], now: OffsetDateTime) -> Result<Self, TlsError> {
        fs::create_dir_all(folder).map_err(|error| unusable(folder, &error))?;
        let key_file = folder.join(KEY);
        let key = match fs::read_to_string(&key_file) {
            Ok(pem) => {
                let key = KeyPair::from_pem(&pem).map_err(|error| unusable(&key_file, &error))?;
                keep_private(&key_file)?;
                key
            }
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                if folder.join(CERTIFICATE).exists() {
                    return Err(TlsError::KeyLost { folder: folder.to_owned() });
                }
                let key = KeyPair::generate()?;
                put(&key_file, key.serialize_pem().as_bytes())?;
                key
            }
            Err(error) => return Err(unusable(&key_file, &error)),
        };
        let certificate_file = folder.join(CERTIFICATE);
        let stored = match fs::read(&certificate_file) {
            Ok(pem) => {
                let (_, pem) =
                    x509_parser::pem::parse_x509_pem(&pem).map_err(|error| unusable(&certificate_file, &error))?;
                Some(CertificateDer::from(pem.contents))
            }
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
            Err(error) => return Err(unusable(&certificate_file, &error)),
        };
        let stays =
            |it: &CertificateDer| ends(it).is_some_and(|end| end - now > Duration::days(AUTHORITY_RENEWED_DAYS));
        let certificate = match stored.filter(stays) {
            Some(certificate) => certificate,
            None => {
                let made = authority(shop, names, now)?.self_signed(&key)?;
                put(&certificate_file, made.pem().as_bytes())?;
                made.der().clone()
            }
        };
        let names = permitted_names(&certificate);
        let issuer =
            Issuer::from_ca_cert_der(&certificate, key).map_err(|error| unusable(&certificate_file, &error))?;
        Ok(Self { issuer, certificate, names })
    }

    /// The certificate that phones are to trust, DER.
    pub fn certificate(&self) -> &CertificateDer<'static> {
        &self.certificate
    }

    /// Whether it may vouch for a name or address.
    pub fn may_vouch_for(&self, subject: &Subject) -> bool {
        match subject {
            Subject::Address(address) => is_private(*address),
            Subject::Name(name) => {
                let name = name.to_ascii_lowercase();
                name.is_ascii()
                    && self.names.iter().any(|it| {
                        name.strip_suffix(it.as_str()).is_some_and(|rest| rest.is_empty() || rest.ends_with('.'))
                    })
            }
        }
    }

    /// A certificate for this server; subjects that the authority may not vouch for are left out.
    pub fn leaf(&self, subjects: &[Subject], now: OffsetDateTime) -> Result<Leaf, TlsError> {
        let key = KeyPair::generate()?;
        let certificate = self.server(subjects, now)?.signed_by(&key, &self.issuer)?;
        Ok(Leaf { certificate: certificate.der().clone(), key: key.serialize_der() })
    }

    /// A certificate for another server of the shop, which keeps its key to itself: `request` (PKCS#10, DER) proves that it
    /// has one. Only the key is taken from the request.
    pub fn vouch(
        &self,
        request: &[u8],
        subjects: &[Subject],
        now: OffsetDateTime,
    ) -> Result<CertificateDer<'static>, TlsError> {
        let request = CertificateSigningRequestParams::from_der(&request.into())?;
        let certificate = self.server(subjects, now)?.signed_by(&request.public_key, &self.issuer)?;
        Ok(certificate.der().clone())
    }

    fn server(&self, subjects: &[Subject], now: OffsetDateTime) -> Result<CertificateParams, TlsError> {
        let mut leaf = CertificateParams::default();
        leaf.serial_number = Some(serial()?);
        for subject in subjects.iter().filter(|it| self.may_vouch_for(it)) {
            leaf.subject_alt_names.push(match subject {
                Subject::Name(name) => SanType::DnsName(name.as_str().try_into()?),
                Subject::Address(address) => SanType::IpAddress(*address),
            });
        }
        leaf.distinguished_name.push(DnType::CommonName, "Napline server");
        leaf.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        leaf.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        leaf.use_authority_key_identifier_extension = true;
        leaf.not_before = now - BACKDATED;
        leaf.not_after = now - BACKDATED + Duration::days(LEAF_DAYS);
        Ok(leaf)
    }
}

fn authority(shop: &str, names: &[String], now: OffsetDateTime) -> Result<CertificateParams, TlsError> {
    let mut params = CertificateParams::default();
    params.serial_number = Some(serial()?);
    params.distinguished_name.push(DnType::CommonName, format!("Napline of {shop}"));
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    // A constraint holds for everything below a name (RFC 5280, 4.2.1.10): one of a single label could be a public suffix.
    let names = names.iter().filter(|it| it.is_ascii() && it.contains('.'));
    let mut permitted: Vec<GeneralSubtree> = names.map(|it| GeneralSubtree::DnsName(it.to_ascii_lowercase())).collect();
    permitted.extend(["local", "localhost"].map(|it| GeneralSubtree::DnsName(it.to_owned())));
    permitted.extend(
        PRIVATE.iter().map(|(network, bits)| GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(*network, *bits))),
    );
    params.name_constraints = Some(NameConstraints { permitted_subtrees: permitted, excluded_subtrees: Vec::new() });
    params.not_before = now - BACKDATED;
    params.not_after = now + Duration::days(AUTHORITY_DAYS);
    Ok(params)
}

/// RFC 5280, 4.1.2.2: positive, unique for each certificate of an authority, at most 20 bytes.
fn serial() -> Result<SerialNumber, TlsError> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).map_err(|error| TlsError::NoRandomness(error.to_string()))?;
    bytes[0] = bytes[0] & 0x7f | 0x40;
    Ok(SerialNumber::from_slice(&bytes))
}

/// SHA-256 of a certificate, as phones show it.
pub fn fingerprint(certificate: &CertificateDer) -> String {
    let hex = hex(&Sha256::digest(certificate)).to_uppercase();
    hex.as_bytes().chunks(2).map(|it| String::from_utf8_lossy(it).into_owned()).collect::<Vec<_>>().join(":")
}

/// When a certificate ends; `None` when it cannot be read.
pub fn ends(certificate: &CertificateDer) -> Option<OffsetDateTime> {
    let (_, certificate) = X509Certificate::from_der(certificate).ok()?;
    Some(certificate.validity().not_after.to_datetime())
}

fn permitted_names(certificate: &CertificateDer) -> Vec<String> {
    use x509_parser::extensions::GeneralName;
    let Ok((_, certificate)) = X509Certificate::from_der(certificate) else { return Vec::new() };
    let constraints = certificate.name_constraints().ok().flatten();
    let permitted = constraints.and_then(|it| it.value.permitted_subtrees.as_ref()).into_iter().flatten();
    let names = permitted.filter_map(|it| match it.base {
        GeneralName::DNSName(name) => Some(name.to_ascii_lowercase()),
        _ => None,
    });
    names.collect()
}

/// Whether an address is nobody's on the Internet.
pub fn is_private(address: IpAddr) -> bool {
    let address = address.to_canonical();
    PRIVATE.iter().any(|(network, bits)| contains(*network, *bits, address))
}

fn contains(network: IpAddr, bits: u8, address: IpAddr) -> bool {
    match (network, address) {
        (IpAddr::V4(network), IpAddr::V4(address)) => {
            (network.to_bits() ^ address.to_bits()).leading_zeros() >= u32::from(bits)
        }
        (IpAddr::V6(network), IpAddr::V6(address)) => {
            (network.to_bits() ^ address.to_bits()).leading_zeros() >= u32::from(bits)
        }
        _ => false,
    }
}

/// Writes a file that only its owner reads: whole or not at all.
pub fn put(path: &Path, bytes: &[u8]) -> Result<(), TlsError> {
    crate::put::put(path, bytes).map_err(|error| unusable(path, &error))
}

/// Takes from others what they could read of a key that was copied here with a loose hand.
fn keep_private(path: &Path) -> Result<(), TlsError> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let found = fs::metadata(path).map_err(|error| unusable(path, &error))?.permissions();
        if found.mode() & 0o077 != 0 {
            tracing::warn!(path = %path.display(), "others could read the authority's key; not any more");
            fs::set_permissions(path, fs::Permissions::from_mode(0o600)).map_err(|error| unusable(path, &error))?;
        }
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}

fn unusable(path: &Path, reason: &impl ToString) -> TlsError {
    TlsError::Unusable { path: PathBuf::from(path), reason: reason.to_string() }
}
