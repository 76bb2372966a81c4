use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::json;

use crate::crew::{add_room, rectangle, shared, start_job};

#[tokio::test]
async fn an_owner_lets_somebody_look_then_measure_then_shuts_the_phone_out() {
    let server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 4").await;
    add_room(&ada, "Bedroom").await;
    rectangle(&ada, 12, 10).await;
    shared(&ada).await;
    ada.open(&server.address()).await;

    ada.tap("#add-phone").await;
    ada.see("#pairing-links code").await;
    ada.tap(("#add-phone-sheet .segment", "looks")).await;
    ada.wait_for(
        "the link to be made anew",
        "return document.querySelector('#add-phone-sheet [aria-pressed=true]').textContent === 'looks'",
    )
    .await;
    let link = ada.see("#pairing-links code").await;
    ada.photograph("add-a-phone-that-looks").await;
    let cem = Phone::start("Cem").await;
    cem.join(&link).await;
    ada.see(("#came-in", "Cem (phone) is in, to look.")).await;
    ada.photograph("a-phone-came-in").await;
    ada.tap("#add-phone-sheet [data-close]").await;
    cem.see(("[data-job]", "Quarry Lane 4")).await;
    cem.see((".field-hint", "Cem on this phone: looks")).await;
    assert_eq!(cem.ask("return document.querySelector('#new-job').hidden").await, json!(true));
    // He can look at everything; what he tries to change stays as it is, and he is told why.
    cem.tap("[data-job]").await;
    cem.tap("#job-menu").await;
    cem.tap(("#job-sheet .segment", "Metres")).await;
    cem.see(("#notice", "may look, not change")).await;

    ada.tap("#show-people").await;
    ada.see(("#people-list .item", "Cem")).await;
    ada.see(("#people-notes .item", "Cem (phone) came in to look, let in by Ada (phone)")).await;
    ada.photograph("people").await;
    ada.tap(("[data-device]:has([aria-label='What Cem may do']) .segment", "measures")).await;
    ada.see(("#people-notes .item", "Cem (phone) is here to measure now")).await;
    cem.open(&server.address()).await;
    cem.see((".field-hint", "Cem on this phone: measures")).await;
    cem.tap("#show-people").await;
    cem.see(("#people-list .item", "Ada")).await;
    assert_eq!(cem.ask("return document.querySelector('[data-ask]') === null").await, json!(true));
    cem.tap("#people-sheet [data-close]").await;

    ada.tap("[data-device]:has([aria-label='What Cem may do']) [data-ask]").await;
    ada.photograph("shut-a-phone-out").await;
    ada.tap("[data-device]:has([aria-label='What Cem may do']) [data-sure]").await;
    ada.see(("#people-list .item", "shut out")).await;
    cem.see(("#link-state", "not paired")).await;
}
