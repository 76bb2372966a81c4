use napline_tests::phone::Phone;
use napline_tests::server::Server;

use crate::crew::{add_room, feet, rectangle, see_walls, start_job};

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

/// A foot too much on one wall: two diagonals tell which one, and what would fit.
#[tokio::test]
async fn a_foot_off_is_named_while_the_crew_is_in_the_room() {
    let server = Server::start();
    let ada = den(&server).await;
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
    ada.see(("#standing", "wall 3 reads 13' 0\"; 12' 0\" would fit: a foot off?")).await;
    ada.photograph("a-foot-off").await;
    ada.tap("#go-to-wall").await;
    ada.tap("#correct").await;
    feet(&ada, 12).await;
    ada.press(&["enter"]).await;
    ada.see(("#standing", "Closed: 108.00 sq ft")).await;
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
