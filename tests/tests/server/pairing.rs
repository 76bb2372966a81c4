use napline_tests::peer::{Pass, http};
use napline_tests::server::Server;
use reqwest::StatusCode;
use reqwest::header::{CACHE_CONTROL, COOKIE, HOST, ORIGIN, SET_COOKIE};
use std::time::Duration;

#[tokio::test]
async fn a_link_lets_one_device_in_once() {
    let server = Server::start();
    let link = server.pairing_link();
    for _ in 0..2 {
        let page = http().get(&link).send().await.unwrap();
        assert_eq!(page.status(), StatusCode::OK, "looking at the page does not use the link up");
        let html = page.text().await.unwrap();
        assert!(html.contains("name=\"name\"") && !html.contains("<script"), "{html}");
    }
    let first = Pass::by_link(&link, "Ada").await;
    let second = Pass::post_form(&link, "Ben", None).await;
    assert_eq!(second.status(), StatusCode::GONE);
    assert!(second.headers().get(SET_COOKIE).is_none());
    assert_eq!(http().get(&link).send().await.unwrap().status(), StatusCode::GONE);
    assert_eq!(first.connect().await.welcome.you.name, "Ada");
}

#[tokio::test]
async fn of_many_who_use_a_link_at_once_one_gets_in() {
    let server = Server::start();
    let link = server.pairing_link();
    let tries = (0..8).map(|n| {
        let link = link.clone();
        tokio::spawn(async move { Pass::post_form(&link, &format!("P{n}"), None).await.status() })
    });
    let mut answers = Vec::new();
    for each in tries.collect::<Vec<_>>() {
        answers.push(each.await.unwrap());
    }
    assert_eq!(answers.iter().filter(|it| **it == StatusCode::SEE_OTHER).count(), 1, "{answers:?}");
    assert_eq!(answers.iter().filter(|it| **it == StatusCode::GONE).count(), 7, "{answers:?}");
}

#[tokio::test]
async fn a_link_expires() {
    let server = Server::start_with(&["--pair-within", "1"]);
    let link = server.pairing_link();
    tokio::time::sleep(Duration::from_millis(1_100)).await;
    assert_eq!(http().get(&link).send().await.unwrap().status(), StatusCode::GONE);
    assert_eq!(Pass::post_form(&link, "Ada", None).await.status(), StatusCode::GONE);
}

#[tokio::test]
async fn the_cookie_is_out_of_reach_of_scripts_and_other_sites() {
    let server = Server::start();
    let answer = Pass::post_form(&server.pairing_link(), "Ada", None).await;
    let cookie = answer.headers()[SET_COOKIE].to_str().unwrap().to_owned();
    for part in ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=34560000"] {
        assert!(cookie.contains(part), "{part} in {cookie}");
    }
    let token = cookie.split(';').next().unwrap().rsplit('.').next().unwrap();
    assert_eq!(token.len(), 64, "256 bits");
    let stored = std::fs::read(server.folder().join("napline.redb")).unwrap();
    let raw: Vec<u8> = (0..32).map(|it| u8::from_str_radix(&token[2 * it..2 * it + 2], 16).unwrap()).collect();
    let holds = |needle: &[u8]| stored.windows(needle.len()).any(|it| it == needle);
    assert!(!holds(token.as_bytes()) && !holds(&raw), "only the token's hash is on disk");
}

#[tokio::test]
async fn whoever_is_not_paired_sees_nothing() {
    let server = Server::start_demo();
    let mut bodies = Vec::new();
    for path in [
        "/",
        "/?b=1",
        "/index.html",
        "/sw.js",
        "/manifest.webmanifest",
        "/build.txt",
        "/assets/napline.js",
        "/me",
        "/nothing",
        "/join",
        "/sync",
    ] {
        for cookie in [None, Some("napline=00000000000000000000000000000001.00"), Some("napline=x"), Some("")] {
            let mut request = http().get(format!("{}{path}", server.address()));
            if let Some(cookie) = cookie {
                request = request.header(COOKIE, cookie);
            }
            let answer = request.send().await.unwrap();
            assert_eq!(answer.status(), StatusCode::UNAUTHORIZED, "{path} with {cookie:?}");
            assert_eq!(answer.headers()[CACHE_CONTROL], "no-store", "{path}");
            bodies.push(answer.text().await.unwrap());
        }
    }
    bodies.dedup();
    assert_eq!(bodies.len(), 1, "one page for all: it gives nothing away");
    assert!(bodies[0].contains("pairing link"), "and it says how to get in: {}", bodies[0]);
}

#[tokio::test]
async fn changing_methods_and_sockets_need_a_token_too() {
    let server = Server::start();
    let post = http().post(format!("{}/pairing", server.address())).header(ORIGIN, server.address());
    assert_eq!(post.send().await.unwrap().status(), StatusCode::UNAUTHORIZED);
    let nobody = Pass { address: server.address(), cookie: String::new() };
    assert_eq!(nobody.socket(&server.address(), None).await.err(), Some(StatusCode::UNAUTHORIZED));
}

#[tokio::test]
async fn other_sites_cannot_use_a_paired_browser() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    for origin in ["http://evil.example", "null", "http://127.0.0.1:1", "https://127.0.0.1"] {
        assert_eq!(ada.socket(origin, Some(&ada.cookie)).await.err(), Some(StatusCode::FORBIDDEN), "{origin}");
        let post = http().post(format!("{}/pairing", ada.address)).header(COOKIE, &ada.cookie).header(ORIGIN, origin);
        assert_eq!(post.send().await.unwrap().status(), StatusCode::FORBIDDEN, "{origin}");
    }
    let bare = http().post(format!("{}/pairing", ada.address)).header(COOKIE, &ada.cookie);
    assert_eq!(bare.send().await.unwrap().status(), StatusCode::FORBIDDEN, "no origin at all");

    for host in ["evil.example", "127.0.0.1.evil.example", ""] {
        let get = http().get(format!("{}/me", ada.address)).header(COOKIE, &ada.cookie).header(HOST, host);
        assert_eq!(get.send().await.unwrap().status(), StatusCode::MISDIRECTED_REQUEST, "{host}");
    }
    let own = http().get(format!("{}/me", ada.address)).header(COOKIE, &ada.cookie).header(HOST, "localhost:99");
    assert_eq!(own.send().await.unwrap().status(), StatusCode::OK);
}

#[tokio::test]
async fn guessing_links_is_slowed_down() {
    let server = Server::start();
    let guess = format!("{}/join/{}", server.address(), "0".repeat(32));
    let mut answers = Vec::new();
    for _ in 0..60 {
        answers.push(http().get(&guess).send().await.unwrap().status());
    }
    assert_eq!(answers[0], StatusCode::GONE);
    assert_eq!(answers.last(), Some(&StatusCode::TOO_MANY_REQUESTS));
}

#[tokio::test]
async fn a_paired_phone_invites_another() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let request = http().post(format!("{}/pairing", ada.address)).header(COOKIE, &ada.cookie);
    let answer = request.header(ORIGIN, &ada.address).send().await.unwrap();
    let invitation: serde_json::Value = answer.json().await.unwrap();
    assert!(invitation["qr_svg"].as_str().unwrap().contains("<svg"));
    assert!(invitation["expires"].as_i64().unwrap() > 1_700_000_000);
    let ben = Pass::by_link(invitation["urls"][0].as_str().unwrap(), "Ben").await;
    assert_ne!(ben.connect().await.device(), ada.connect().await.device());
}

#[tokio::test]
async fn pairing_again_keeps_the_device() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let before = ada.connect().await.device();
    let answer = Pass::post_form(&ada.invite().await, "Ada+M", Some(&ada.cookie)).await;
    let cookie = answer.headers()[SET_COOKIE].to_str().unwrap().split(';').next().unwrap().to_owned();
    let again = Pass { address: ada.address.clone(), cookie }.connect().await;
    assert_eq!(again.device(), before);
    assert_eq!(again.welcome.you.name, "Ada M");
    assert_eq!(ada.get("/me").await.status(), StatusCode::UNAUTHORIZED, "the old token is no longer good");
}

#[tokio::test]
async fn a_form_without_a_name_changes_nothing() {
    let server = Server::start();
    let link = server.pairing_link();
    for name in ["", "++", &"x".repeat(61)] {
        assert_eq!(Pass::post_form(&link, name, None).await.status(), StatusCode::UNPROCESSABLE_ENTITY, "{name:?}");
    }
    assert_eq!(Pass::by_link(&link, "Ada").await.connect().await.welcome.you.name, "Ada");
}

#[tokio::test]
async fn paired_devices_survive_a_restart() {
    let mut server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let before = ada.connect().await;
    server.kill();
    server.restart();
    let after = ada.connect().await;
    assert_eq!(after.device(), before.device());
    assert_eq!(after.welcome.replica, before.welcome.replica);
}

#[tokio::test]
async fn every_answer_says_what_a_browser_may_do() {
    let server = Server::start();
    let ada = Pass::by_link(&server.pairing_link(), "Ada").await;
    let unpaired = http().get(server.address()).send().await.unwrap();
    let paired = ada.get("/").await;
    for answer in [&unpaired, &paired] {
        let header = |name: &str| answer.headers().get(name).map_or("", |it| it.to_str().unwrap()).to_owned();
        assert!(
            header("content-security-policy").starts_with("default-src 'self'; script-src 'self' 'wasm-unsafe-eval';")
        );
        assert!(!header("content-security-policy").contains("unsafe-inline"));
        assert_eq!(header("x-content-type-options"), "nosniff");
        assert_eq!(header("referrer-policy"), "no-referrer");
        assert_eq!(header("x-frame-options"), "DENY");
    }
    assert_eq!(paired.status(), StatusCode::OK);
}

#[tokio::test]
async fn a_body_that_is_too_long_is_refused() {
    let server = Server::start();
    let answer = Pass::post_form(&server.pairing_link(), &"x".repeat(20_000), None).await;
    assert_eq!(answer.status(), StatusCode::PAYLOAD_TOO_LARGE);
}
