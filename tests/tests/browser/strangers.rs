use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::json;

/// Asks for an address from inside the page, and answers the status.
const STATUS: &str = "return (await fetch(arguments[0], { cache: 'no-store' })).status";

#[tokio::test]
async fn who_is_not_paired_sees_nothing() {
    let server = Server::start_demo();
    let ada = Phone::paired("Ada", &server).await;
    ada.see("[data-job]").await;
    let shell = ada.ask("return performance.getEntriesByType('resource').map((it) => new URL(it.name).pathname)").await;
    let shell: Vec<String> = serde_json::from_value(shell).unwrap();
    assert!(shell.iter().any(|it| it.ends_with(".wasm")), "the client's files: {shell:?}");
    let job = ada.see("[data-job] strong").await;

    let stranger = Phone::start("a stranger").await;
    stranger.open(&server.address()).await;
    let shown = stranger.see("body").await;
    assert!(shown.contains("paired"), "says what to do: {shown}");
    assert!(!shown.contains(&job), "names a job: {shown}");
    stranger.photograph("a-stranger").await;
    let fixed = ["/", "/index.html", "/sw.js", "/build.txt", "/me", "/sync", "/manifest.webmanifest", "/nothing-here"];
    for path in fixed.iter().map(|it| (*it).to_owned()).chain(shell) {
        if path.starts_with("/join/") {
            continue;
        }
        let status = stranger.driver.execute(STATUS, vec![json!(path)]).await.unwrap();
        assert_eq!(*status.json(), json!(401), "{path}");
    }

    // A made-up link, and one that was used, open nothing.
    for link in [format!("{}/join/{}", server.address(), "0".repeat(32)), server.pairing_link()] {
        stranger.open(&link).await;
        let form = stranger.ask("return document.querySelector('form') !== null").await;
        assert_eq!(form, json!(false), "{link}");
    }
}
