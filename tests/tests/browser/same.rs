use napline_tests::peer::Pass;
use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::json;
use shared_model::fingerprint;

use crate::crew::shared;

/// Asks the build that runs in the page; its module is loaded already, so this asks for the same one again.
const FINGERPRINT: &str = "
    const client = await import(document.querySelector('link[rel=modulepreload]').href);
    return client.fingerprint();
";

/// Every document that the phone keeps whole.
const SNAPSHOTS: &str = "
    const answer = (request) => new Promise((resolve, reject) => {
        request.onsuccess = () => resolve(request.result);
        request.onerror = () => reject(request.error);
    });
    const store = await answer(indexedDB.open('napline'));
    const kept = await answer(store.transaction('snapshot').objectStore('snapshot').getAll());
    store.close();
    return kept.map((it) => Array.from(new Uint8Array(it.buffer ?? it)));
";

/// The demo house has slanted walls (sines and roots), patterns, a stair, openings and a long nest: wherever the phone's and
/// the server's arithmetic could differ.
#[tokio::test]
async fn the_phone_and_the_server_compute_the_same_bytes() {
    let server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    let here = fingerprint::of_demo().unwrap().to_string();
    assert_eq!(ada.ask(FINGERPRINT).await, json!(here));
}

#[tokio::test]
async fn the_phone_keeps_a_document_as_the_same_bytes() {
    let server = Server::start_demo();
    let ada = Phone::paired("Ada", &server).await;
    let mut native = Pass::by_link(&ada.invitation().await, "a computer").await.connect().await;
    native.until("the list of jobs", |it| !it.jobs.is_empty()).await;
    let job = native.jobs.first().unwrap().job;
    native.open_and_catch_up(job).await;
    let document = native.copies[&job].doc.save();

    ada.tap("[data-job]").await;
    shared(&ada).await;
    // Storing follows showing.
    ada.wait_for(
        "the document to be stored",
        &SNAPSHOTS.replace("return kept.map", "return kept.length > 0; kept.map"),
    )
    .await;
    let kept: Vec<Vec<u8>> = serde_json::from_value(ada.ask(SNAPSHOTS).await).unwrap();
    let holds = |kept: &Vec<u8>| kept.windows(document.len()).any(|it| it == document);
    assert!(
        kept.iter().any(holds),
        "of {:?} bytes none holds the {} of this build",
        kept.iter().map(Vec::len),
        document.len()
    );
}
