use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::json;

use crate::crew::{go, order};

/// Widths from the smallest phone to the shop's screen.
const SCREENS: [(&str, u32, u32); 3] = [("small", 320, 568), ("tablet", 820, 1180), ("shop", 1440, 900)];

#[tokio::test]
async fn the_demo_house_shows_every_place_and_says_nothing_wrong() {
    let server = Server::start_demo();
    let ada = Phone::paired("Ada", &server).await;
    ada.see("[data-job]").await;
    // What the door's pages said is not the client's.
    ada.driver.browser_log().await.unwrap();
    ada.photograph("jobs").await;
    ada.tap("[data-job]").await;
    let ordered = order(&ada).await;
    assert_ne!(ordered, "0' 0\"");
    ada.photograph("cuts").await;
    for place in ["rooms", "seams", "day"] {
        go(&ada, place).await;
        ada.photograph(place).await;
    }
    go(&ada, "rooms").await;
    ada.tap("[data-room]").await;
    ada.see("#sketch [data-wall='1']").await;
    ada.photograph("measuring").await;
    ada.tap("#sync-chip").await;
    ada.see("#sharing-sheet").await;
    ada.photograph("sharing").await;
    ada.tap("#sharing-sheet [data-close]").await;
    // The smallest screens keep the whole height for measuring: one goes back before going on.
    ada.tap("#back").await;

    for (name, width, height) in SCREENS {
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 1000 });
        ada.send("Emulation.setDeviceMetricsOverride", metrics).await;
        for place in ["rooms", "seams", "cuts", "day"] {
            go(&ada, place).await;
            let over = ada.ask("return document.documentElement.scrollWidth - innerWidth").await;
            assert_eq!(over, json!(0), "{place} is wider than the {name} screen");
            ada.photograph(&format!("{place}-{name}")).await;
        }
    }
    let log = ada.driver.browser_log().await.unwrap();
    let wrong: Vec<_> = log.iter().filter(|it| it.level == "SEVERE").map(|it| &it.message).collect();
    assert!(wrong.is_empty(), "the console: {wrong:?}");
}
