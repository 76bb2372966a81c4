use std::io::Write;
use std::net::{Ipv4Addr, TcpStream};

use napline_tests::peer::trusting;
use napline_tests::server::Server;
use reqwest::StatusCode;
use reqwest::header::{CONTENT_SECURITY_POLICY, CONTENT_TYPE, COOKIE, LOCATION, ORIGIN, SET_COOKIE};

async fn authority(server: &Server) -> Vec<u8> {
    let answer = trusting(&[]).get(format!("{}/trust/shop.crt", server.plain_address())).send().await.unwrap();
    assert_eq!(answer.status(), StatusCode::OK);
    assert_eq!(answer.headers()[CONTENT_TYPE], "application/x-x509-ca-cert");
    answer.bytes().await.unwrap().to_vec()
}

fn secret_path(link: &str) -> String {
    link[link.find("/join/").unwrap()..].to_owned()
}

#[tokio::test]
async fn who_trusts_the_shop_speaks_https_and_who_does_not_is_not_let_in_by_mistake() {
    let server = Server::start_secure(&[]);
    let authority = authority(&server).await;
    let me = format!("{}/me", server.address());
    let answer = trusting(&[&authority]).get(&me).send().await.unwrap();
    assert_eq!(answer.status(), StatusCode::UNAUTHORIZED);
    assert!(trusting(&[]).get(&me).send().await.is_err());
    let by_name = format!("https://localhost:{}/me", server.port());
    assert_eq!(trusting(&[&authority]).get(by_name).send().await.unwrap().status(), StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn a_phone_on_plain_http_is_shown_how_to_trust_first_and_may_go_on_without() {
    let server = Server::start_secure(&[]);
    let client = trusting(&[]);
    let path = secret_path(&server.pairing_link());
    let link = format!("{}{path}", server.plain_address());
    let answer = client.get(&link).send().await.unwrap();
    let policy = answer.headers()[CONTENT_SECURITY_POLICY].to_str().unwrap().to_owned();
    assert!(policy.contains(&format!("connect-src {};", server.address())), "only the probe: {policy}");
    let page = answer.text().await.unwrap();
    assert!(page.contains(&format!("data-next=\"{}{path}\"", server.address())), "{page}");
    for said in ["Profile Downloaded", "Certificate Trust Settings", "CA certificate", "Go on without"] {
        assert!(page.contains(said), "{said}");
    }
    assert!(!page.contains("<script>") && !page.contains("name=\"name\""), "{page}");

    let form = client.get(format!("{link}?plain=1")).send().await.unwrap().text().await.unwrap();
    assert!(form.contains("name=\"name\""), "{form}");
    // The link is still good, and what it gives is for plain http.
    let post = client.post(&link).header(ORIGIN, server.plain_address()).body("name=Ada&device=phone");
    let answer = post.header(CONTENT_TYPE, "application/x-www-form-urlencoded").send().await.unwrap();
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    let cookie = answer.headers()[SET_COOKIE].to_str().unwrap();
    assert!(cookie.starts_with("napline=") && !cookie.contains("Secure"), "{cookie}");
}

#[tokio::test]
async fn a_cookie_from_https_stays_on_https() {
    let server = Server::start_secure(&[]);
    let client = trusting(&[&authority(&server).await]);
    let link = format!("{}{}", server.address(), secret_path(&server.pairing_link()));
    assert!(client.get(&link).send().await.unwrap().text().await.unwrap().contains("name=\"name\""));
    let form = |origin: &str| {
        let post = client.post(&link).header(ORIGIN, origin).body("name=Ada&device=phone");
        post.header(CONTENT_TYPE, "application/x-www-form-urlencoded").send()
    };
    // The same address without encryption is another site.
    assert_eq!(form(&server.plain_address()).await.unwrap().status(), StatusCode::FORBIDDEN);
    let answer = form(&server.address()).await.unwrap();
    let cookie = answer.headers()[SET_COOKIE].to_str().unwrap().to_owned();
    for part in ["__Host-napline=", "Secure", "HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(part), "{part} in {cookie}");
    }
    assert!(!cookie.contains("Domain"), "{cookie}");
    let pair = cookie.split(';').next().unwrap();
    let me = client.get(format!("{}/me", server.address())).header(COOKIE, pair).send().await.unwrap();
    assert_eq!(me.status(), StatusCode::OK);
}

#[tokio::test]
async fn the_authority_outlives_the_process_and_its_key_is_its_owners() {
    let mut server = Server::start_secure(&[]);
    let before = authority(&server).await;
    server.kill();
    server.restart();
    assert_eq!(authority(&server).await, before);
    let key = server.folder().join("tls/authority.key");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(std::fs::metadata(&key).unwrap().permissions().mode() & 0o777, 0o600);
    }
    server.stop();
    std::fs::remove_file(key).unwrap();
    let again = std::process::Command::new(napline_tests::server::binary())
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(server.folder())
        .output()
        .unwrap();
    assert_eq!(again.status.code(), Some(3));
    let said = String::from_utf8_lossy(&again.stderr).into_owned();
    assert!(said.contains("key") && said.contains("backup"), "what is wrong and what to do: {said}");
}

#[tokio::test]
async fn a_shop_with_a_certificate_of_its_own_uses_https_only() {
    let folder = tempfile::tempdir().unwrap();
    // The authority of another server stands in for one that everybody trusts.
    let other = Server::start_secure(&[]);
    let root = authority(&other).await;
    let key = rcgen::KeyPair::from_pem(&std::fs::read_to_string(other.folder().join("tls/authority.key")).unwrap());
    let issuer = rcgen::Issuer::from_ca_cert_der(&root.as_slice().into(), key.unwrap()).unwrap();
    let own = rcgen::KeyPair::generate().unwrap();
    let made = rcgen::CertificateParams::new(["shop.local".to_owned(), "127.0.0.1".to_owned()]).unwrap();
    let made = made.signed_by(&own, &issuer).unwrap();
    let [certificate, key] = ["shop.pem", "shop.key"].map(|it| folder.path().join(it).display().to_string());
    std::fs::write(&certificate, made.pem()).unwrap();
    std::fs::write(&key, own.serialize_pem()).unwrap();

    let server = Server::start_secure(&["--cert", &certificate, "--key", &key]);
    let client = trusting(&[&root]);
    let path = secret_path(&server.pairing_link());
    let moved = client.get(format!("{}{path}?a=b", server.plain_address())).send().await.unwrap();
    assert_eq!(moved.status(), StatusCode::PERMANENT_REDIRECT);
    assert_eq!(moved.headers()[LOCATION], format!("{}{path}?a=b", server.address()));
    let form = client.get(format!("{}{path}", server.address())).send().await.unwrap();
    assert!(form.text().await.unwrap().contains("name=\"name\""));
    let trust = client.get(format!("{}/trust", server.address())).send().await.unwrap();
    assert_eq!(trust.status(), StatusCode::NOT_FOUND, "there is nothing to trust by hand");
    assert!(!server.folder().join("tls").exists(), "and no authority was made");
}

#[tokio::test]
async fn noise_and_silence_on_the_port_keep_nobody_out() {
    let server = Server::start_secure(&[]);
    let client = trusting(&[&authority(&server).await]);
    let mut open = Vec::new();
    for first in [&[][..], &[22], &[22, 3, 1, 2, 0, 1], &[0x80; 64], b"GET / HT", &[22, 3, 1, 0xff, 0xff]] {
        let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, server.port())).unwrap();
        stream.write_all(first).unwrap();
        open.push(stream);
    }
    let me = client.get(format!("{}/me", server.address())).send().await.unwrap();
    assert_eq!(me.status(), StatusCode::UNAUTHORIZED);
}
