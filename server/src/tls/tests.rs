//! Certificates are judged by rustls-webpki, as any client would.

use std::fs;

use rcgen::{CertificateParams, Issuer, KeyPair};
use rustls::RootCertStore;
use rustls::client::WebPkiServerVerifier;
use rustls::client::danger::ServerCertVerifier;
use rustls::pki_types::{ServerName, UnixTime};

use super::*;

const TODAY: OffsetDateTime = OffsetDateTime::UNIX_EPOCH.saturating_add(time::Duration::days(20_800));

fn days(n: i64) -> time::Duration {
    time::Duration::days(n)
}

fn open(folder: &Path, now: OffsetDateTime) -> Authority {
    Authority::open(folder, "Fairlea Floors", &["shop.example".into()], now).unwrap()
}

fn name(name: &str) -> Subject {
    Subject::Name(name.into())
}

fn address(address: &str) -> Subject {
    Subject::Address(address.parse().unwrap())
}

/// Whether a device that trusts `root` takes `leaf` for `host` at a moment.
fn trusts(root: &CertificateDer, leaf: &CertificateDer, host: &str, now: OffsetDateTime) -> bool {
    let mut roots = RootCertStore::empty();
    roots.add(root.clone().into_owned()).unwrap();
    let verifier = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), Arc::new(ring::default_provider()));
    let host = ServerName::try_from(host).unwrap();
    let now = UnixTime::since_unix_epoch(Duration::from_secs(now.unix_timestamp() as u64));
    verifier.build().unwrap().verify_server_cert(leaf, &[], &host, &[], now).is_ok()
}

#[test]
fn a_device_that_trusts_the_shop_trusts_its_server_by_name_and_address() {
    let folder = tempfile::tempdir().unwrap();
    let authority = open(folder.path(), TODAY);
    let subjects = [name("fairlea-floors.local"), name("shop.example"), address("192.168.1.5"), address("fd00::5")];
    let leaf = authority.leaf(&subjects, TODAY).unwrap();
    for host in ["fairlea-floors.local", "shop.example", "192.168.1.5", "fd00::5"] {
        assert!(trusts(authority.certificate(), &leaf.certificate, host, TODAY), "{host}");
    }
    assert!(!trusts(authority.certificate(), &leaf.certificate, "other.local", TODAY));
    assert!(!trusts(authority.certificate(), &leaf.certificate, "shop.example", TODAY + days(398)));
    let stranger = open(tempfile::tempdir().unwrap().path(), TODAY);
    assert!(!trusts(stranger.certificate(), &leaf.certificate, "shop.example", TODAY));
}

#[test]
fn whoever_steals_the_key_cannot_pretend_to_be_another_site() {
    let folder = tempfile::tempdir().unwrap();
    let authority = open(folder.path(), TODAY);
    let key = KeyPair::from_pem(&fs::read_to_string(folder.path().join("authority.key")).unwrap()).unwrap();
    let stolen = Issuer::from_ca_cert_der(authority.certificate(), key).unwrap();
    for host in ["bank.example", "local.example", "evilshop.example", "8.8.8.8", "172.32.0.1", "2001:db8::1"] {
        let mut forged = CertificateParams::new([host.to_owned()]).unwrap();
        (forged.not_before, forged.not_after) = (TODAY - days(1), TODAY + days(10));
        let forged = forged.signed_by(&KeyPair::generate().unwrap(), &stolen).unwrap();
        assert!(!trusts(authority.certificate(), forged.der(), host, TODAY), "{host}");
        let subject = host.parse().map_or_else(|_| name(host), Subject::Address);
        assert!(!authority.may_vouch_for(&subject), "{host}");
        let left_out = authority.leaf(&[subject, name("a.local")], TODAY).unwrap();
        assert!(trusts(authority.certificate(), &left_out.certificate, "a.local", TODAY), "{host}");
    }
}

#[test]
fn the_authority_stays_the_same_and_its_key_is_its_owners() {
    let folder = tempfile::tempdir().unwrap();
    let first = fingerprint(open(folder.path(), TODAY).certificate());
    assert_eq!(first.len(), 95, "32 bytes, as AB:CD: {first}");
    let key = folder.path().join("authority.key");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(fs::metadata(&key).unwrap().permissions().mode() & 0o777, 0o600);
        fs::set_permissions(&key, fs::Permissions::from_mode(0o644)).unwrap();
    }
    assert_eq!(fingerprint(open(folder.path(), TODAY + days(3_000)).certificate()), first);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(fs::metadata(&key).unwrap().permissions().mode() & 0o777, 0o600, "tightened");
    }
    fs::remove_file(&key).unwrap();
    let lost = Authority::open(folder.path(), "Fairlea Floors", &[], TODAY);
    assert!(matches!(lost, Err(TlsError::KeyLost { .. })), "no second authority in silence");
}

#[test]
fn an_authority_in_its_last_year_is_made_anew_and_old_trust_holds_until_the_end() {
    let folder = tempfile::tempdir().unwrap();
    let old = open(folder.path(), TODAY);
    let later = TODAY + days(3_300);
    let new = open(folder.path(), later);
    assert_ne!(old.certificate(), new.certificate());
    let leaf = new.leaf(&[name("a.local")], later).unwrap();
    assert!(trusts(new.certificate(), &leaf.certificate, "a.local", later));
    assert!(trusts(old.certificate(), &leaf.certificate, "a.local", later), "the same key");
}

#[test]
fn a_start_that_a_crash_cut_short_is_finished() {
    let folder = tempfile::tempdir().unwrap();
    open(folder.path(), TODAY);
    fs::remove_file(folder.path().join("authority.crt")).unwrap();
    fs::write(folder.path().join("authority.crt.part"), "half a file").unwrap();
    let authority = open(folder.path(), TODAY);
    let leaf = authority.leaf(&[name("a.local")], TODAY).unwrap();
    assert!(trusts(authority.certificate(), &leaf.certificate, "a.local", TODAY));
}

#[test]
fn another_server_of_the_shop_is_vouched_for_by_the_key_it_keeps() {
    let folder = tempfile::tempdir().unwrap();
    let authority = open(folder.path(), TODAY);
    let van = KeyPair::generate().unwrap();
    let request = CertificateParams::new(["bank.example".to_owned()]).unwrap().serialize_request(&van).unwrap();
    let leaf = authority.vouch(request.der(), &[name("van.local")], TODAY).unwrap();
    assert!(trusts(authority.certificate(), &leaf, "van.local", TODAY));
    assert!(!trusts(authority.certificate(), &leaf, "bank.example", TODAY), "only the key is the request's");
    assert!(certified(vec![leaf], PrivateKeyDer::Pkcs8(van.serialize_der().into())).is_ok());
    assert!(authority.vouch(b"nothing", &[name("van.local")], TODAY).is_err());
}

#[test]
fn the_certificate_is_renewed_when_addresses_change_and_monthly() {
    let folder = tempfile::tempdir().unwrap();
    let hosts = Hosts::new(&[], "127.0.0.1:8420".parse().unwrap());
    let mut source = Source::Authority(Box::new(open(folder.path(), TODAY)), None);
    assert!(source.renewed(&hosts, TODAY).unwrap().is_some());
    assert!(source.renewed(&hosts, TODAY + days(29)).unwrap().is_none());
    hosts.announce("fairlea-floors.local");
    assert!(source.renewed(&hosts, TODAY + days(29)).unwrap().is_some());
    assert!(source.renewed(&hosts, TODAY + days(58)).unwrap().is_none());
    assert!(source.renewed(&hosts, TODAY + days(59)).unwrap().is_some());
}

#[test]
fn certificates_from_files_are_read_again_when_they_change() {
    let folder = tempfile::tempdir().unwrap();
    let hosts = Hosts::new(&[], "127.0.0.1:8420".parse().unwrap());
    let [certificate, key] = ["shop.pem", "shop.key"].map(|it| folder.path().join(it));
    let issue = |age: u64| {
        let pair = KeyPair::generate().unwrap();
        let made = CertificateParams::new(["shop.example".to_owned()]).unwrap().self_signed(&pair).unwrap();
        fs::write(&certificate, made.pem()).unwrap();
        fs::write(&key, pair.serialize_pem()).unwrap();
        let written = SystemTime::UNIX_EPOCH + Duration::from_secs(age);
        fs::File::options().write(true).open(&key).unwrap().set_modified(written).unwrap();
        fs::File::options().write(true).open(&certificate).unwrap().set_modified(written).unwrap();
    };
    let mut source = Source::Files { certificate: certificate.clone(), key: key.clone(), read: None };
    let missing = source.renewed(&hosts, TODAY).unwrap_err();
    assert!(missing.to_string().contains("shop.pem"), "{missing}");
    issue(1);
    assert!(source.renewed(&hosts, TODAY).unwrap().is_some());
    assert!(source.renewed(&hosts, TODAY).unwrap().is_none());
    issue(2);
    assert!(source.renewed(&hosts, TODAY).unwrap().is_some());
    fs::write(&key, KeyPair::generate().unwrap().serialize_pem()).unwrap();
    assert!(matches!(source.renewed(&hosts, TODAY), Err(TlsError::Rejected(_))), "a key of another certificate");
}
