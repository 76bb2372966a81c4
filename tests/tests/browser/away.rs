use napline_tests::phone::Phone;
use napline_tests::server::Server;

use crate::crew::{add_room, go, open_room, order, rectangle, shared, start_job};

#[tokio::test]
async fn the_takeoff_needs_no_server_not_even_after_a_reload() {
    let mut server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 4").await;
    add_room(&ada, "Bedroom").await;
    rectangle(&ada, 12, 10).await;
    shared(&ada).await;
    // A phone that keeps the tool's files needs nobody to open it.
    ada.wait_for("the files to be kept", "return navigator.serviceWorker.controller !== null").await;

    server.kill();
    ada.set_network(false).await;
    ada.reload().await;
    // One breadth: 12' + 2 × 3".
    assert_eq!(order(&ada).await, "12' 6\"");

    // The same room measured again is longer by a foot; the order follows.
    go(&ada, "rooms").await;
    open_room(&ada, "Bedroom").await;
    for wall in ["1", "3"] {
        ada.tap(format!("[data-wall='{wall}']").as_str()).await;
        ada.tap("#correct").await;
        ada.press(&["1", "3", "ft", "enter"]).await;
        ada.see(("#readings .reading", "13' 0\"")).await;
    }
    ada.press(&["enter"]).await;
    ada.see(("#standing", "130")).await;
    go(&ada, "cuts").await;
    ada.see((".order .figure", "13' 6\"")).await;

    // Tomorrow, still without a network: everything is there.
    ada.reload().await;
    ada.see((".order .figure", "13' 6\"")).await;
    ada.see(("#sync-chip", "waiting: 2 edits")).await;
    ada.photograph("cuts-without-a-server").await;
}
