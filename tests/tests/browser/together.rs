use napline_tests::cable::Cable;
use napline_tests::phone::Phone;
use napline_tests::server::Server;
use tokio::join;

use crate::crew::{add_room, feet, go, open_job, open_room, rectangle, shared, start_job};

#[tokio::test]
async fn two_people_measure_two_rooms_and_one_wall_at_the_same_time() {
    let server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    let ben = Phone::invited("Ben", &ada).await;
    start_job(&ada, "Quarry Lane 4").await;
    open_job(&ben, "Quarry Lane 4").await;

    join!(
        async {
            add_room(&ada, "Bedroom").await;
            rectangle(&ada, 12, 10).await;
        },
        async {
            add_room(&ben, "Hall").await;
            rectangle(&ben, 16, 4).await;
        }
    );
    for phone in [&ada, &ben] {
        go(phone, "rooms").await;
        phone.see(("[data-room]", "120")).await;
        phone.see(("[data-room]", "64")).await;
    }
    ada.see(("#people li", "Ben")).await;
    ben.see(("#people li", "Ada")).await;
    ada.photograph("rooms-of-two-people").await;

    // Both read the bedroom's first wall again, at once, and differ by an inch.
    join!(
        read_first_wall_again(&ada, &["1", "2", "ft", "enter"]),
        read_first_wall_again(&ben, &["1", "2", "ft", "1", "in", "enter"])
    );
    for phone in [&ada, &ben] {
        for reading in ["12' 0\"Ada", "12' 1\"Ben"] {
            phone.see(("#readings .reading", reading)).await;
        }
        let readings = phone.ask("return document.querySelectorAll('#readings .reading').length").await;
        assert_eq!(readings, 3, "Ada's first reading, and both second ones");
    }
    ada.photograph("a-wall-read-by-two").await;
}

async fn read_first_wall_again(phone: &Phone, keys: &[&str]) {
    open_room(phone, "Bedroom").await;
    phone.tap("[data-wall='1']").await;
    phone.see("#readings").await;
    phone.press(keys).await;
}

#[tokio::test]
async fn edits_on_both_sides_of_a_cut_network_are_merged() {
    let mut server = Server::start();
    let cable = Cable::to(&server);
    let ada = Phone::start("Ada").await;
    ada.join(&cable.link(&server)).await;
    // Ben has a network of his own: Ada's link names her end of the cable.
    let link = ada.invitation().await.replacen(&cable.address(), &server.address(), 1);
    let ben = Phone::start("Ben").await;
    ben.join(&link).await;
    start_job(&ada, "Quarry Lane 4").await;
    add_room(&ada, "Bedroom").await;
    shared(&ada).await;
    open_job(&ben, "Quarry Lane 4").await;
    open_room(&ben, "Bedroom").await;

    // Ada is in the basement, Ben still has the network: both in the same room.
    cable.cut();
    ada.set_network(false).await;
    feet(&ada, 12).await;
    ada.see(("#sync-chip", "waiting: 1 edit")).await;
    feet(&ben, 13).await;
    shared(&ben).await;
    add_room(&ben, "Hall").await;
    rectangle(&ben, 16, 4).await;
    shared(&ben).await;

    // Now the server is gone as well; both reload and go on.
    server.stop();
    join!(ada.reload(), ben.reload());
    add_room(&ada, "Closet").await;
    rectangle(&ada, 5, 2).await;
    add_room(&ben, "Office").await;
    rectangle(&ben, 9, 9).await;
    ada.photograph("measuring-without-a-network").await;

    server.restart();
    cable.mend();
    ada.set_network(true).await;
    for phone in [&ada, &ben] {
        go(phone, "rooms").await;
        for (room, area) in [("Hall", "64"), ("Closet", "10"), ("Office", "81"), ("Bedroom", "2 walls")] {
            let row = phone.see(("[data-room]", room)).await;
            phone.see(("[data-room]", area)).await;
            assert!(row.contains(room));
        }
        shared(phone).await;
    }
}
