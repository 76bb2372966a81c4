use napline_tests::peer::http;
use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::json;

use crate::crew::{add_room, order, rectangle, shared, start_job};

#[tokio::test]
async fn a_phone_learns_to_trust_the_shop_and_then_opens_without_it() {
    let mut server = Server::start_secure(&["--host", "napline.localhost"]);
    let mut ada = Phone::start("Ada").await;
    // As scanned from the shop's screen: a name, not an address, and no encryption yet.
    let by_name = |address: String| address.replace("127.0.0.1", "napline.localhost");
    let link = by_name(server.pairing_link().replace("https://", "http://"));
    ada.open(&link).await;
    ada.see(("#trusted", "does not trust the shop yet")).await;
    ada.photograph("trust-the-shop").await;

    // The settings, in which the person takes the certificate in.
    let certificate = http().get(format!("{}/trust/shop.crt", server.plain_address())).send().await.unwrap();
    let certificate = certificate.bytes().await.unwrap();
    assert!(certificate.len() > 300, "{}", certificate.len());
    ada.trust(&certificate);
    // This browser reads its list when it starts; phones do at once.
    ada.restart().await;
    ada.open(&link).await;
    // The page finds out by itself and goes on.
    ada.write("input[name=name]", "Ada").await;
    assert_eq!(ada.ask("return location.protocol").await, json!("https:"));
    ada.tap("button[type=submit]").await;
    start_job(&ada, "Quarry Lane 4").await;
    add_room(&ada, "Bedroom").await;
    rectangle(&ada, 12, 10).await;
    shared(&ada).await;
    ada.wait_for("the files to be kept", "return navigator.serviceWorker.controller !== null").await;
    assert_eq!(ada.ask("return isSecureContext").await, json!(true));

    // The van leaves, and the phone is switched off and on in airplane mode.
    server.kill();
    ada.restart().await;
    ada.set_network(false).await;
    ada.open(&by_name(server.address())).await;
    ada.see(("[data-job]", "Quarry Lane 4")).await;
    ada.tap("[data-job]").await;
    assert_eq!(order(&ada).await, "12' 6\"");
    ada.photograph("cold-start-without-a-network").await;
}
