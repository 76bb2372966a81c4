use napline_tests::phone::Phone;
use napline_tests::server::Server;

use crate::crew::{add_room, feet, open_job, open_room, see_walls, shared, start_job, waiting, walls};

/// Walls entered before and after the server dies.
const BEFORE: u32 = 6;
const AFTER: u32 = 4;

#[tokio::test]
async fn what_was_acknowledged_survives_a_killed_server() {
    let mut server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 4").await;
    add_room(&ada, "Basement").await;
    shared(&ada).await;
    for wall in 0..BEFORE {
        feet(&ada, 5 + wall).await;
    }
    // The last walls may be anywhere: on the phone, on the way, on disk.
    server.kill();
    for wall in 0..AFTER {
        feet(&ada, 15 + wall).await;
    }
    let entered = usize::try_from(BEFORE + AFTER).unwrap();
    see_walls(&ada, entered).await;
    let unconfirmed = waiting(&ada).await;
    assert!(unconfirmed >= usize::try_from(AFTER).unwrap(), "a dead server confirms nothing");

    // Ada's phone must not help: whatever the server has now comes from its own disk.
    ada.set_network(false).await;
    server.restart();
    let ben = Phone::paired("Ben", &server).await;
    open_job(&ben, "Quarry Lane 4").await;
    open_room(&ben, "Basement").await;
    let kept = walls(&ben).await;
    assert!(kept >= entered - unconfirmed, "{kept} walls are left, {} were acknowledged", entered - unconfirmed);

    ada.set_network(true).await;
    shared(&ada).await;
    see_walls(&ben, entered).await;
}
