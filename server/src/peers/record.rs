//! What this server knows of another one: a file that only its owner reads.

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use shared_model::ids::DeviceId;
use shared_model::job::Timestamp;
use tokio_rustls::rustls::pki_types::CertificateDer;
use uuid::Uuid;

use crate::devices::{COOKIE_NAME, SECURE_COOKIE_NAME};
use crate::tls::{TlsError, Vouched, put};

#[derive(Clone, serde::Serialize, serde::Deserialize)]
pub struct Record {
    /// Which store the other server has.
    pub replica: Uuid,
    pub shop: String,
    /// As in `https://fairlea-floors.local:8420`, the likeliest first.
    pub addresses: Vec<String>,
    /// Who this server is there, and the token that proves it.
    pub device: DeviceId,
    pub token: String,
    /// The authority that vouches for the other server, and for this one; DER.
    pub authority: Option<Vec<u8>>,
    /// This server's key, PEM, and the certificate that the authority gave it.
    pub key: String,
    pub certificate: Option<Vec<u8>>,
    /// When the two were last connected.
    pub met: Option<Timestamp>,
}

impl Record {
    pub fn read_all(folder: &Path) -> Result<Vec<Self>, TlsError> {
        let unusable = |reason: String| TlsError::Unusable { path: folder.to_owned(), reason };
        let entries = match fs::read_dir(folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(unusable(error.to_string())),
        };
        let mut records = Vec::new();
        for entry in entries {
            let path = entry.map_err(|error| unusable(error.to_string()))?.path();
            if path.extension().is_some_and(|it| it == "json") {
                let text = fs::read(&path).map_err(|error| unusable(error.to_string()))?;
                match serde_json::from_slice(&text) {
                    Ok(record) => records.push(record),
                    Err(error) => {
                        tracing::error!(path = %path.display(), %error, "another server is forgotten: pair with it again");
                    }
                }
            }
        }
        Ok(records)
    }

    pub fn write(&self, folder: &Path) -> Result<(), TlsError> {
        let path = self.path(folder);
        let unusable = |reason: String| TlsError::Unusable { path: path.clone(), reason };
        fs::create_dir_all(folder).map_err(|error| unusable(error.to_string()))?;
        let text = serde_json::to_vec(self).map_err(|error| unusable(error.to_string()))?;
        put(&path, &text)
    }

    pub fn remove(&self, folder: &Path) -> Result<(), TlsError> {
        let path = self.path(folder);
        fs::remove_file(&path).map_err(|error| TlsError::Unusable { path, reason: error.to_string() })
    }

    fn path(&self, folder: &Path) -> PathBuf {
        folder.join(format!("{}.json", self.replica.simple()))
    }

    pub fn authority(&self) -> Option<CertificateDer<'static>> {
        self.authority.clone().map(CertificateDer::from)
    }

    /// By which the other server recognises this one, under the names for http and for https.
    pub fn cookie(&self) -> String {
        let value = format!("{}.{}", self.device.0.simple(), self.token);
        format!("{COOKIE_NAME}={value}; {SECURE_COOKIE_NAME}={value}")
    }

    /// What the other server's authority vouches for.
    pub fn vouched(&self) -> Option<Vouched> {
        let certificate = CertificateDer::from(self.certificate.clone()?);
        Some(Vouched { authority: self.authority()?, certificate, key: self.key.clone() })
    }
}
