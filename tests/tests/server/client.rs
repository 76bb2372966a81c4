use napline_tests::peer::{Pass, http};
use napline_tests::server::Server;
use reqwest::header::{ACCEPT_ENCODING, CACHE_CONTROL, CONTENT_ENCODING, CONTENT_TYPE, COOKIE, VARY};

async fn get(pass: &Pass, path: &str, encodings: &str) -> reqwest::Response {
    let request = http().get(format!("{}{path}", pass.address)).header(COOKIE, &pass.cookie);
    request.header(ACCEPT_ENCODING, encodings).send().await.unwrap()
}

/// The paths that a page names.
fn named(html: &str) -> Vec<String> {
    let paths = html.split('"').filter(|it| it.starts_with("/assets/"));
    paths.map(str::to_owned).collect()
}

#[tokio::test]
async fn the_page_opens_without_the_server_once_it_was_loaded() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let page = get(&ada, "/", "").await;
    assert_eq!(page.headers()[CACHE_CONTROL], "private, max-age=31536000, immutable");
    assert_eq!(page.headers()[CONTENT_TYPE], "text/html; charset=utf-8");
    let html = page.text().await.unwrap();
    assert_eq!(get(&ada, "/?b=another", "").await.text().await.unwrap(), html, "a newer build is asked for by a query");

    let assets = named(&html);
    assert!(assets.iter().any(|it| it.ends_with(".js")) && assets.iter().any(|it| it.ends_with(".css")), "{assets:?}");
    for path in &assets {
        let answer = get(&ada, path, "").await;
        assert_eq!(answer.status(), 200, "{path}");
        assert_eq!(answer.headers()[CACHE_CONTROL], "public, max-age=31536000, immutable", "{path}");
    }
    assert_eq!(get(&ada, "/sw.js", "").await.headers()[CACHE_CONTROL], "no-cache");
    assert_eq!(get(&ada, "/assets/none-000000000000.js", "").await.status(), 404);
}

#[tokio::test]
async fn the_client_comes_compressed_as_the_browser_asks() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let html = get(&ada, "/", "").await.text().await.unwrap();
    let wasm = named(&html).into_iter().find(|it| it.ends_with(".wasm")).unwrap();
    let mut sizes = Vec::new();
    for (asked, given) in [("", None), ("gzip", Some("gzip")), ("gzip, deflate, br", Some("br"))] {
        let answer = get(&ada, &wasm, asked).await;
        assert_eq!(answer.headers().get(CONTENT_ENCODING).map(|it| it.to_str().unwrap()), given);
        assert_eq!(answer.headers()[CONTENT_TYPE], "application/wasm");
        assert_eq!(answer.headers()[VARY], "accept-encoding");
        sizes.push(answer.bytes().await.unwrap().len());
    }
    assert!(sizes[0] > 2 * sizes[1] && sizes[1] > sizes[2], "{sizes:?}");
}

#[tokio::test]
async fn the_server_names_the_build_that_it_serves() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let build = ada.connect().await.welcome.build;
    let html = get(&ada, "/", "").await.text().await.unwrap();
    assert!(!build.is_empty() && html.contains(&format!("content=\"{build}\"")), "{build}");
}

#[tokio::test]
async fn a_request_that_never_ends_is_cut_off() {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    let server = Server::start();
    let mut socket = tokio::net::TcpStream::connect(server.address().trim_start_matches("http://")).await.unwrap();
    socket.write_all(b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: ").await.unwrap();
    let mut rest = Vec::new();
    let ended = tokio::time::timeout(std::time::Duration::from_secs(40), socket.read_to_end(&mut rest)).await;
    assert!(ended.is_ok(), "the server waits for ever");
}
