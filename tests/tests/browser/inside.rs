use napline_tests::phone::Phone;
use napline_tests::server::Server;

use crate::crew::{add_room, feet, go, rectangle, see_walls, start_job};

/// Wall 1 runs 12 ft to the north, wall 2 15 ft to the east.
async fn parlour(server: &Server) -> Phone {
    let ada = Phone::paired("Ada", server).await;
    start_job(&ada, "Quarry Lane 6").await;
    add_room(&ada, "Living room").await;
    rectangle(&ada, 12, 15).await;
    ada.see(("#standing", "Closed: 180.00 sq ft")).await;
    ada
}

/// A hearth of 5 by 2 ft takes 10 sq ft; a column that stands free one more.
#[tokio::test]
async fn what_stands_in_the_room_is_placed_from_a_wall() {
    let server = Server::start();
    let ada = parlour(&server).await;
    ada.tap("[data-wall='2']").await;
    ada.tap("#fixtures").await;
    ada.tap("[data-kind='hearth']").await;
    for length in [5, 5, 2] {
        feet(&ada, length).await;
    }
    ada.press(&["enter"]).await;
    ada.see("#sketch polygon.fixture").await;
    ada.tap("#fixtures").await;
    ada.tap("[data-kind='column']").await;
    for length in [2, 1, 1, 7] {
        feet(&ada, length).await;
    }
    ada.photograph("a-hearth-and-a-column").await;
    ada.press(&["enter"]).await;
    ada.see(("#standing", "169.00 sq ft")).await;
    ada.tap("#undo").await;
    ada.see(("#standing", "169.00 sq ft")).await;
    ada.see("#sketch polygon.fixture").await;
    go(&ada, "rooms").await;
    ada.see("#rooms").await;
    ada.photograph("plan-with-a-hearth").await;
}

/// Over the 15 ft wall a rise of 2 1/2 ft adds the segment of a circle of 12 1/2 ft: 25.55 sq ft, drawn a little too large.
#[tokio::test]
async fn a_wall_bends_by_its_rise() {
    let server = Server::start();
    let ada = parlour(&server).await;
    ada.tap("[data-wall='2']").await;
    ada.tap("#bend").await;
    ada.press(&["2", "ft", "6", "in", "enter"]).await;
    ada.see("#sketch .wall-arc").await;
    ada.photograph("a-bow").await;
    ada.tap("#bend-done").await;
    ada.press(&["enter"]).await;
    ada.see(("#standing", "Closed: 205.")).await;
    ada.tap("#undo").await;
    ada.see(("#standing", "Closed: 180.00 sq ft")).await;
}

/// Three walls, and no corner measured: 9, 12 and 15 ft hold 54 sq ft.
#[tokio::test]
async fn corners_that_nobody_measured_follow_from_the_walls() {
    let server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 7").await;
    add_room(&ada, "Closet").await;
    for wall in [9, 12, 15] {
        feet(&ada, wall).await;
    }
    see_walls(&ada, 3).await;
    ada.tap("#close-ring").await;
    for wall in ["1", "2", "3"] {
        ada.tap(format!("[data-wall='{wall}']").as_str()).await;
        ada.tap("#angle").await;
        ada.tap("#free-corner").await;
        ada.press(&["enter"]).await;
    }
    ada.see(("#standing", "54.00 sq ft")).await;
    ada.photograph("a-triangle").await;
}

/// A squeak by one tap on the sketch, a note in words: both stay over a reload and stand on the day's sheet until they are done.
#[tokio::test]
async fn squeaks_and_notes_are_found_again() {
    let server = Server::start();
    let ada = parlour(&server).await;
    ada.tap("#marks-key").await;
    ada.tap("#touch-floor").await;
    ada.see(("#marks .reading", "Squeak")).await;
    ada.tap("[data-mark='note']").await;
    ada.tap("#note-of-room").await;
    ada.write("[name='note']", "Piano stays").await;
    ada.tap("#keep-note").await;
    ada.see(("#marks .reading", "Note: Piano stays")).await;
    ada.photograph("marks").await;
    ada.reload().await;
    ada.see("#sketch .floor-mark").await;
    go(&ada, "day").await;
    ada.see(("#marked li", "Living room: Note: Piano stays")).await;
    ada.see(("#marked li", "Living room: Squeak (")).await;
    ada.photograph("day-with-marks").await;
}

/// A closet of 5 by 2 ft behind a wall adds 10 sq ft; what was read of the whole wall stays as a check.
#[tokio::test]
async fn a_closet_is_put_behind_a_wall() {
    let server = Server::start();
    let ada = parlour(&server).await;
    ada.tap("[data-wall='2']").await;
    ada.tap("#fixtures").await;
    ada.tap("[data-kind='closet']").await;
    for length in [6, 5, 2] {
        feet(&ada, length).await;
    }
    see_walls(&ada, 8).await;
    ada.press(&["enter"]).await;
    ada.see(("#standing", "190.00 sq ft")).await;
    ada.see((".check-text", "15' 0\"")).await;
    ada.photograph("a-closet").await;
}
