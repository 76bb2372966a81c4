use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::json;

use crate::crew::{add_room, feet, go, open_room, order, rectangle, shared, start_job};

/// Picks a seam by its line in the list.
async fn open_seam(phone: &Phone) {
    go(phone, "seams").await;
    phone.tap(("button.item", "Seam along")).await;
    phone.see("#seam-card").await;
}

/// Where the slider goes, as a finger would take it there.
async fn slide(phone: &Phone, steps: i64) {
    let script = format!(
        "const it = document.querySelector('#seam-slide'); it.value = {steps}; it.dispatchEvent(new Event('input', {{ bubbles: true }}))"
    );
    phone.ask(&script).await;
}

/// Drags the picked seam over the plan, so many pixels up.
async fn drag_seam(phone: &Phone, up: f64) {
    let (x, y) = phone.spot(".touch-movable".into()).await;
    let finger = |y: f64| json!([{ "x": x, "y": y }]);
    phone.send("Input.dispatchTouchEvent", json!({ "type": "touchStart", "touchPoints": finger(y) })).await;
    for part in [0.5, 1.0] {
        let at = finger(y - up * part);
        phone.send("Input.dispatchTouchEvent", json!({ "type": "touchMove", "touchPoints": at })).await;
    }
    phone.send("Input.dispatchTouchEvent", json!({ "type": "touchEnd", "touchPoints": [] })).await;
}

/// Names the room that is asked something.
async fn pick_room(phone: &Phone, name: &str) {
    let script = format!(
        "const it = document.querySelector('#pin-room select'); \
         it.value = [...it.options].find(it => it.text === '{name}').value; it.dispatchEvent(new Event('change'))"
    );
    phone.ask(&script).await;
}

/// One phone with the demo house open at a place.
async fn at(place: &str) -> (Server, Phone) {
    let server = Server::start_demo();
    let ada = Phone::paired("Ada", &server).await;
    ada.tap("[data-job]").await;
    go(&ada, place).await;
    (server, ada)
}

#[tokio::test]
async fn a_seam_says_why_it_is_there_and_is_pinned_elsewhere() {
    let server = Server::start_demo();
    let ada = Phone::paired("Ada", &server).await;
    let ben = Phone::invited("Ben", &ada).await;
    for phone in [&ada, &ben] {
        phone.tap("[data-job]").await;
    }
    open_seam(&ada).await;
    assert!(ada.see("#why-here").await.ends_with('.'));
    ada.see("#why-not-there li").await;
    ada.photograph("why-a-seam").await;

    // Far out of the room no seam can lie, and none can be pinned there.
    slide(&ada, 144).await;
    ada.see(("#seam-moved", "No seam can lie there")).await;
    ada.wait_for("no pin", "return document.querySelector('#pin-seam').disabled").await;
    // What a foot costs is told before it is pinned.
    slide(&ada, 12).await;
    ada.see(("#seam-moved", "1' 0\" farther")).await;
    ada.see(".plan .seam-ghost").await;
    ada.wait_for("a pin", "return !document.querySelector('#pin-seam').disabled").await;
    ada.photograph("a-seam-moved").await;
    // On the plan the picked seam follows the finger.
    drag_seam(&ada, -30.0).await;
    ada.see(("#seam-moved", "farther down")).await;
    ada.photograph("a-seam-dragged").await;
    slide(&ada, 12).await;
    ada.see(("#seam-moved", "1' 0\" farther up")).await;
    ada.tap("#pin-seam").await;
    ada.see(("#pins li", "a seam")).await;
    shared(&ada).await;

    // The other phone keeps to it, and may take it back.
    go(&ben, "seams").await;
    ben.see(("#pins li", "a seam")).await;
    open_seam(&ben).await;
    ben.see(("#why-here", "The crew pinned")).await;
    ben.tap("#seam-card [data-close]").await;
    ben.photograph("pins").await;
    ben.tap(("#pins button", "Take back")).await;
    ada.wait_for("no pins", "return document.querySelectorAll('#pins li').length === 0").await;

    // A pin that cannot be kept is told, with what to do.
    ada.tap("#pin-room summary").await;
    pick_room(&ada, "Living room").await;
    ada.tap(("#pin-room button", "No seam in this room")).await;
    ada.see("#pins li").await;
    ada.see((".problem", "cannot be laid without a seam")).await;
    ada.photograph("a-room-asked").await;
}

#[tokio::test]
async fn what_a_finger_goes_for_stays_where_it_is_when_a_takeoff_comes() {
    let server = Server::start_demo();
    let ada = Phone::paired("Ada", &server).await;
    let ben = Phone::invited("Ben", &ada).await;
    for phone in [&ada, &ben] {
        phone.tap("[data-job]").await;
        go(phone, "seams").await;
        phone.tap("#pin-room summary").await;
    }
    let (no_seam, pile) = (("#pin-room button", "No seam in this room"), ("#pin-room button", "right"));
    ada.spot(no_seam.into()).await;
    let before = ada.spot(pile.into()).await;

    pick_room(&ben, "Living room").await;
    ben.tap(no_seam).await;

    // A pin and a problem stand above, and other layouts.
    ada.see("#pins li").await;
    ada.see((".problem", "cannot be laid without a seam")).await;
    let after = ada.spot(pile.into()).await;
    assert!((before.1 - after.1).abs() < 2.0, "{before:?} became {after:?}");
}

#[tokio::test]
async fn a_layout_is_compared_with_the_chosen_one_before_it_is_used() {
    let (_server, ada) = at("seams").await;
    ada.tap(".choice[aria-checked=false]").await;
    let told = ada.see("#side-by-side").await;
    assert!(["Order", "Waste", "Seam points", "Offcuts"].iter().all(|it| told.contains(it)), "{told}");
    ada.ask("document.querySelector('#side-by-side').scrollIntoView({ block: 'center', behavior: 'instant' })").await;
    ada.photograph("side-by-side").await;
    ada.tap(("button", "use this layout")).await;
    ada.wait_for("the chosen one", "return document.querySelector('#side-by-side') === null").await;
}

#[tokio::test]
async fn the_roll_zooms_under_two_fingers_and_the_list_tells_every_cut() {
    let (_server, ada) = at("cuts").await;
    ada.see(".roll-svg").await;
    let wide = "return document.querySelector('.roll-svg').getBoundingClientRect().width";
    let before = ada.ask(wide).await.as_f64().unwrap();
    let at = ada
        .ask("const it = document.querySelector('.roll-scroll').getBoundingClientRect(); return [it.left, it.top]")
        .await;
    let (left, top) = (at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
    let fingers = |apart: f64| {
        let finger = |id: u32, x: f64| json!({ "id": id, "x": left + x, "y": top + 60.0 });
        json!([finger(0, 150.0 - apart), finger(1, 150.0 + apart)])
    };
    ada.send("Input.dispatchTouchEvent", json!({ "type": "touchStart", "touchPoints": fingers(40.0) })).await;
    for apart in [60.0, 80.0] {
        ada.send("Input.dispatchTouchEvent", json!({ "type": "touchMove", "touchPoints": fingers(apart) })).await;
    }
    ada.send("Input.dispatchTouchEvent", json!({ "type": "touchEnd", "touchPoints": [] })).await;
    let after = ada.ask(wide).await.as_f64().unwrap();
    assert!((1.6..2.4).contains(&(after / before)), "{before} became {after}: twice as far apart, twice as large");
    ada.photograph("roll-zoomed").await;

    // A piece for which there is carpet is not cut from this roll.
    ada.tap((".cut-number", "piece 4")).await;
    ada.photograph("a-piece-picked").await;
    ada.tap((".cut-leave", "Not from this roll")).await;
    ada.see(("button", "Cut it after all")).await;
    ada.photograph("a-piece-left-out").await;
    ada.tap(("button", "Cut it after all")).await;
    ada.wait_for(
        "all pieces",
        "return ![...document.querySelectorAll('button')].some(it => it.textContent === 'Cut it after all')",
    )
    .await;

    ada.see("#offcuts li").await;
    ada.tap("#every-cut summary").await;
    assert!(ada.see("#every-cut li").await.starts_with("Across at"), "the roll is cut across first");
    ada.photograph("every-cut").await;
}

/// The stair of the demo house is a nap group of its own.
#[tokio::test]
async fn stairs_are_cut_from_a_remnant_on_hand() {
    let (_server, ada) = at("cuts").await;
    let before = ada.see(".order .figure").await;
    ada.tap(("a", "Change goods")).await;
    ada.write("input[name=lot]", "lot 4711").await;
    ada.tap("[data-length='Remnant across the roll']").await;
    ada.press(&["4", "ft", "enter"]).await;
    ada.press(&["2", "4", "ft", "enter"]).await;
    // What it is worth is for who has another use for it.
    ada.press(&["done"]).await;
    ada.tap("#add-remnant").await;
    ada.see(("#on-hand li", "Cut from it: Stair")).await;
    ada.ask("document.querySelector('#on-hand').scrollIntoView({ block: 'center', behavior: 'instant' })").await;
    ada.photograph("on-hand").await;
    go(&ada, "cuts").await;
    ada.see(("#from-remnants", "cut from what is on hand")).await;
    assert_ne!(ada.see(".order .figure").await, before, "less is ordered");
    ada.see((".cut", "from the remnant lot 4711")).await;
    ada.ask("[...document.querySelectorAll('.cut')].at(-1).scrollIntoView({ block: 'center', behavior: 'instant' })")
        .await;
    ada.photograph("cut-from-a-remnant").await;
    // Who cuts a piece of a plan chooses it.
    ada.tap((".tick", "Piece 10 is cut")).await;
    go(&ada, "seams").await;
    ada.see(("#standing", "Still fits")).await;
}

#[tokio::test]
async fn a_long_order_comes_in_several_rolls() {
    let (_server, ada) = at("cuts").await;
    ada.tap(("a", "Change goods")).await;
    ada.tap("[data-length='Longest roll']").await;
    ada.press(&["7", "0", "ft", "enter"]).await;
    go(&ada, "cuts").await;
    ada.see(("#several-rolls", "In 2 rolls")).await;
    ada.photograph("several-rolls").await;
    ada.see((".cut", "from roll 2")).await;
    ada.ask("[...document.querySelectorAll('.cut')].at(-1).scrollIntoView({ block: 'center', behavior: 'instant' })")
        .await;
    ada.tap(".cut:last-child .cut-number").await;
    ada.photograph("cut-from-the-second-roll").await;
}

/// With an inch more at every wall the order grows.
#[tokio::test]
async fn the_rules_for_cutting_are_the_jobs_own() {
    let (_server, ada) = at("cuts").await;
    let before = ada.see(".order .figure").await;
    ada.tap(("a", "Change goods")).await;
    ada.tap("[data-length='Wall allowance']").await;
    ada.press(&["4", "in", "enter", "done"]).await;
    ada.tap("input[name=freehand]").await;
    ada.see(("[data-length='Wall allowance']", "4\"")).await;
    ada.ask("document.querySelector('input[name=freehand]').scrollIntoView({ block: 'center', behavior: 'instant' })")
        .await;
    ada.photograph("rules-for-cutting").await;
    go(&ada, "cuts").await;
    let script = format!("return document.querySelector('.order .figure').textContent !== {}", json!(before));
    ada.wait_for("more to be ordered", &script).await;
}

#[tokio::test]
async fn a_room_that_comes_open_is_named_beside_what_is_ordered() {
    let server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 12").await;
    for room in ["Bedroom", "Hall"] {
        add_room(&ada, room).await;
        rectangle(&ada, 12, 10).await;
        go(&ada, "rooms").await;
    }
    let whole = order(&ada).await;
    assert_eq!(ada.ask("return document.querySelector('[data-left-out]') === null").await, json!(true));
    open_room(&ada, "Hall").await;
    ada.tap("[data-wall='1']").await;
    ada.tap("#correct").await;
    feet(&ada, 13).await;
    go(&ada, "cuts").await;
    ada.see(("[data-left-out]", "Not in this number: Hall (its readings do not fit together).")).await;
    assert_ne!(order(&ada).await, whole);
    ada.photograph("an-order-without-a-room").await;
    go(&ada, "day").await;
    ada.see(("[data-left-out]", "Hall")).await;
}
