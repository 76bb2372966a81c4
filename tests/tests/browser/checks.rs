use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::json;

use crate::crew::{add_room, feet, go, open_room, rectangle, see_walls, start_job};

async fn den(server: &Server) -> Phone {
    let ada = Phone::paired("Ada", server).await;
    start_job(&ada, "Quarry Lane 5").await;
    add_room(&ada, "Office").await;
    ada
}

/// The fraction may be pressed before or after the key for inches; nothing of it is lost.
#[tokio::test]
async fn every_key_of_a_length_counts() {
    let server = Server::start();
    let ada = den(&server).await;
    ada.press(&["1", "2", "ft", "4", "in", "1/2", "enter"]).await;
    ada.press(&["9", "ft", "3", "3/16", "enter"]).await;
    see_walls(&ada, 2).await;
    ada.see(("#sketch text", "12' 4 1/2\"")).await;
    ada.see(("#sketch text", "9' 3 3/16\"")).await;
}

/// From corner to corner, by two taps and a number; the wrong one is set aside and brought back.
#[tokio::test]
async fn a_check_across_the_room_stays_in_sight() {
    let server = Server::start();
    let ada = den(&server).await;
    rectangle(&ada, 12, 9).await;
    ada.tap("#check-across").await;
    ada.photograph("check-aimed").await;
    ada.tap("[data-corner='1']").await;
    ada.tap("[data-corner='3']").await;
    // 9-12-15: the rope with twelve knots.
    feet(&ada, 15).await;
    ada.see((".check-text", "15' 0\"")).await;
    ada.photograph("checked").await;

    ada.tap("#check-across").await;
    ada.tap("[data-corner='1']").await;
    ada.tap("[data-corner='3']").await;
    ada.tap(("#readings [data-set-aside]", "Set aside 15' 0\"")).await;
    ada.see("#readings .reading.aside").await;
    ada.wait_for("the check to be gone", "return document.querySelector('.check-text') === null").await;
    ada.reload().await;
    ada.see("#sketch").await;
    ada.tap("#check-across").await;
    ada.tap("[data-corner='3']").await;
    ada.tap("[data-corner='1']").await;
    ada.tap(("#readings [data-set-aside]", "Bring back 15' 0\"")).await;
    ada.see((".check-text", "15' 0\"")).await;
}

/// A room of 12 by 9 ft with both diagonals, and then a foot too much on wall 3.
async fn a_foot_off(server: &Server) -> Phone {
    let ada = den(server).await;
    rectangle(&ada, 12, 9).await;
    for (from, to) in [(1, 3), (2, 4)] {
        ada.tap("#check-across").await;
        ada.tap(format!("[data-corner='{from}']").as_str()).await;
        ada.tap(format!("[data-corner='{to}']").as_str()).await;
        feet(&ada, 15).await;
    }
    ada.see(("#standing", "Cuts are certain to")).await;
    ada.tap("[data-wall='3']").await;
    ada.see(("#standing", "A slip of less than")).await;
    ada.tap("#correct").await;
    feet(&ada, 13).await;
    ada.press(&["enter"]).await;
    ada.see(("#standing", "Wall 3 reads 13' 0\"; 12' 0\" would fit: a foot off?")).await;
    ada
}

/// Two diagonals tell which wall is wrong, and what would fit; it is measured again.
#[tokio::test]
async fn a_foot_off_is_named_while_the_crew_is_in_the_room() {
    let server = Server::start();
    let ada = a_foot_off(&server).await;
    ada.photograph("a-foot-off").await;
    ada.tap("#go-to-wall").await;
    ada.tap("#correct").await;
    feet(&ada, 12).await;
    ada.press(&["enter"]).await;
    ada.see(("#standing", "Closed: 108.00 sq ft")).await;
}

/// What would fit is taken by one tap, stays marked as nobody's reading, and undo brings the old one back.
#[tokio::test]
async fn a_foot_off_is_put_right_by_one_tap() {
    let server = Server::start();
    let ada = a_foot_off(&server).await;
    screen(&ada, SMALLEST).await;
    ada.photograph("a-foot-off-small").await;
    screen(&ada, USUAL).await;
    ada.see(("#standing", "Measure it again.")).await;
    ada.tap(("#take-proposed", "Take 12' 0\" for wall 3")).await;
    ada.see(("#standing", "Closed: 108.00 sq ft")).await;
    ada.see(("#standing", "Wall 3 is not read here yet: read it once.")).await;
    ada.photograph("a-foot-off-taken").await;
    ada.tap("#why").await;
    ada.see(("#why-sheet .reason-body", "Least certain cut")).await;
    ada.photograph("why-of-a-room").await;
    ada.tap("#why-sheet [data-close]").await;
    ada.tap("[data-wall='3']").await;
    ada.see(("#readings .reading", "proposed")).await;
    ada.see(("#readings .reading.aside", "13' 0\"")).await;

    ada.tap("#undo").await;
    ada.see(("#standing", "a foot off?")).await;
    ada.tap("#take-proposed").await;
    ada.see(("#standing", "Wall 3 is not read here yet: read it once.")).await;
    ada.tap("[data-wall='3']").await;
    feet(&ada, 12).await;
    ada.tap("#why").await;
    ada.see(("#why-sheet .reason-body", "All readings together")).await;
    ada.photograph("why-of-a-wall").await;
    ada.tap("#why-sheet [data-close]").await;
    ada.press(&["enter"]).await;
    ada.wait_for(
        "nothing left to read",
        "return !document.querySelector('#standing').textContent.includes('not read')",
    )
    .await;
    ada.see(("#standing", "Closed: 108.00 sq ft")).await;
}

/// A wall of two readings that disagree, and the way to it from the list of what is checked.
#[tokio::test]
async fn the_overview_leads_to_what_is_disputed() {
    let server = Server::start();
    let ada = den(&server).await;
    rectangle(&ada, 12, 9).await;
    go(&ada, "rooms").await;
    ada.see(("#to-checked", "2 unchecked")).await;
    open_room(&ada, "Office").await;
    ada.tap("[data-wall='2']").await;
    feet(&ada, 10).await;
    go(&ada, "rooms").await;
    ada.tap(("#to-checked", "1 disputed")).await;
    let line = ada.see(("[data-matter=disputed]", "Wall 2 reads 9' 0\" and 10' 0\", 1' 0\" apart.")).await;
    for reading in ["9' 0\", Ada ", "10' 0\", Ada "] {
        assert!(line.contains(reading), "{line}");
    }
    ada.photograph("overview").await;
    screen(&ada, SMALLEST).await;
    let over = ada.ask("return document.documentElement.scrollWidth - innerWidth").await;
    assert_eq!(over, json!(0), "the overview is wider than the smallest screen");
    ada.photograph("overview-small").await;
    screen(&ada, USUAL).await;

    ada.tap("[data-matter=disputed]").await;
    ada.see(("#readings .reading", "10' 0\"")).await;
    ada.tap(("#readings [data-set-aside]", "Set aside 10' 0\"")).await;
    ada.see("#readings .reading.aside").await;
    go(&ada, "rooms").await;
    ada.tap(("#to-checked", "2 unchecked")).await;
    ada.see(("#checked summary", "1 reading set aside")).await;
    ada.see(("#checked [data-trust]", "Cuts are certain to")).await;
}

/// Width and height in points.
const USUAL: (u32, u32) = (390, 844);
const SMALLEST: (u32, u32) = (320, 568);

async fn screen(phone: &Phone, (width, height): (u32, u32)) {
    let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 2, "mobile": true });
    phone.send("Emulation.setDeviceMetricsOverride", metrics).await;
}

/// A wall in two, and the room once more as its mirror image.
#[tokio::test]
async fn rooms_are_made_from_rooms() {
    let server = Server::start();
    let ada = den(&server).await;
    rectangle(&ada, 12, 9).await;
    ada.tap("[data-wall='1']").await;
    ada.tap("#split-wall").await;
    feet(&ada, 5).await;
    see_walls(&ada, 5).await;
    ada.see((".check-text", "12' 0\"")).await;
    feet(&ada, 7).await;
    ada.see(("#standing", "Closed: 108.00 sq ft")).await;
    ada.tap("#room-menu").await;
    ada.tap("#mirror-room").await;
    ada.see((".topbar", "mirrored")).await;
    see_walls(&ada, 5).await;
    ada.see(("#standing", "Closed: 108.00 sq ft")).await;
}
