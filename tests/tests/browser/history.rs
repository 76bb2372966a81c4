use napline_tests::phone::Phone;
use napline_tests::server::Server;

use crate::crew::{add_room, go, open_job, open_room, order, rectangle, shared, start_job};

async fn open_history(phone: &Phone) {
    phone.tap("#sync-chip").await;
    phone.tap("#to-history").await;
    phone.see("#history-span").await;
}

/// Corrects the opposite walls 1 and 3 of a room to 13 ft.
async fn correct(phone: &Phone, room: &str) {
    open_room(phone, room).await;
    for wall in ["1", "3"] {
        phone.tap(format!("[data-wall='{wall}']").as_str()).await;
        phone.tap("#correct").await;
        phone.press(&["1", "3", "ft", "enter"]).await;
        phone.see(("#readings .reading", "13' 0\"")).await;
    }
    phone.press(&["enter"]).await;
}

/// Everything to touch in the place is at least as large as a thumb.
async fn is_large_enough(phone: &Phone) {
    let small = "return [...document.querySelectorAll('main a, main button, .topbar a, .topbar button')].map(it => [it.id || it.textContent, it.getBoundingClientRect()])
        .filter(([, box]) => box.width > 0 && (box.width < 47.5 || box.height < 47.5)).map(([name, box]) => `${name} ${box.width}×${box.height}`)";
    let small = phone.ask(small).await;
    assert_eq!(small.as_array().map(Vec::len), Some(0), "{small}");
    let wide = phone.ask("return document.documentElement.scrollWidth").await;
    assert_eq!(wide.as_u64(), Some(390), "nothing sticks out at the side");
}

/// Ada corrects the bedroom, Ben removes it. Without any server Ada sees who did what, the bedroom as it stood, and brings it back.
#[tokio::test]
async fn what_is_lost_is_found_in_the_history_and_comes_back() {
    let mut server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    let ben = Phone::invited("Ben", &ada).await;
    start_job(&ada, "Quarry Lane 4").await;
    add_room(&ada, "Bedroom").await;
    rectangle(&ada, 12, 10).await;
    assert_eq!(order(&ada).await, "12' 6\"");
    go(&ada, "rooms").await;
    correct(&ada, "Bedroom").await;
    shared(&ada).await;
    open_job(&ben, "Quarry Lane 4").await;
    // Where Ada is comes a moment after the job, and draws the list anew.
    ben.see(("[data-room]", "Ada")).await;
    open_room(&ben, "Bedroom").await;
    ben.tap("#room-menu").await;
    ben.tap("#remove-room").await;
    shared(&ben).await;
    ada.see((".empty", "was removed")).await;
    server.kill();
    ada.set_network(false).await;

    open_history(&ada).await;
    ada.see((".history-head", "Ben")).await;
    ada.see((".history-did", "Bedroom: removed: a room of 4 walls, 13' 0\", 10' 0\", 13' 0\", 10' 0\"")).await;
    ada.see((".history-did", "Bedroom, wall 3: 12' 0\" → 13' 0\", read by Ada")).await;
    is_large_enough(&ada).await;
    ada.photograph("history").await;

    // As it stood when the walls were measured first: the plan and the order of then, and nothing that edits.
    ada.tap(("[data-action]", "Bedroom: ring open → closed")).await;
    ada.see(("#as-it-stood", "nothing here can be changed")).await;
    ada.see(("#different", "Bedroom: removed")).await;
    ada.see(("#orders", "12' 6\" → nothing")).await;
    ada.see((".then-plan .room-name", "Bedroom")).await;
    let controls = "return [...document.querySelectorAll('#then input, #then select, #then button:not([data-bring-back])')].filter(it => !it.closest('.drawing')).length";
    ada.photograph("as-it-stood").await;
    is_large_enough(&ada).await;
    assert_eq!(ada.ask(controls).await.as_u64(), Some(0));

    // The way back leads to the list; the removal is undone from there, as an action of Ada's that she can take back.
    ada.tap("#to-timeline").await;
    ada.tap(("[data-action]", "room removed")).await;
    ada.photograph("a-removal").await;
    ada.tap("#did [data-bring-back]").await;
    ada.see(("#different", "Different now: 1 thing")).await;
    go(&ada, "rooms").await;
    ada.see(("[data-room]", "130")).await;
    ada.see(("#undo", "Undo: brought back")).await;

    // One reading alone comes back too.
    open_history(&ada).await;
    ada.tap(("[data-action]", "wall 3: 12' 0\" → 13' 0\"")).await;
    ada.tap("#did [data-bring-back]").await;
    open_room(&ada, "Bedroom").await;
    ada.tap("[data-wall='3']").await;
    ada.see(("#readings .reading.aside", "13' 0\"")).await;
    ada.reload().await;
    ada.tap("[data-wall='3']").await;
    ada.see(("#readings .reading.aside", "13' 0\"")).await;
}

/// Paper stays as it was printed: the day's place and the history say what changed since.
#[tokio::test]
async fn what_changed_since_a_sheet_was_printed_or_a_plan_chosen_is_told() {
    let server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 8").await;
    add_room(&ada, "Bedroom").await;
    rectangle(&ada, 14, 10).await;
    go(&ada, "seams").await;
    ada.tap((".choice-shown", "")).await;
    go(&ada, "day").await;
    let take_page = "window.print = () => { dispatchEvent(new Event('beforeprint')); \
         window.page = document.getElementById('on-paper').textContent; }";
    ada.ask(take_page).await;
    ada.tap(("main button", "Print this sheet")).await;
    ada.see(("[data-since=print]", "Nothing changed since the day's sheet was printed")).await;
    let page = ada.ask("return window.page").await;
    assert!(page.as_str().is_some_and(|it| it.starts_with("our shop: Quarry Lane 8, as on this phone 20")), "{page}");
    go(&ada, "rooms").await;
    correct(&ada, "Bedroom").await;
    go(&ada, "day").await;
    ada.see(("[data-since=print]", "2 things changed since the day's sheet was printed")).await;
    ada.photograph("day-printed-before").await;
    ada.tap("[data-since=print]").await;
    ada.see(("#different", "Bedroom, wall 1: 14' 0\" → 13' 0\", read by Ada")).await;
    ada.see(("#did", "The day's sheet was printed")).await;
    ada.photograph("since-the-sheet").await;
    open_history(&ada).await;
    ada.see(("#since [data-since=print]", "2 things changed since the day's sheet was printedAda")).await;
    ada.see(("#history-span", "actions, the newest first")).await;
}
