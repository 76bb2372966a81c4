use napline_tests::peer::Pass;
use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::json;
use shared_model::wire::Mark;

use crate::crew::{add_room, open_job, rectangle, shared, start_job};

/// Notes from the next start of the page on which jobs it opens with the server: the fourth kind of frame is `Open`.
const NOTE_OPENED: &str = "
    window.opened = new Set();
    const send = WebSocket.prototype.send;
    WebSocket.prototype.send = function (frame) {
        if (frame[0] === 3) window.opened.add(frame.join());
        return send.call(this, frame);
    };
";

/// What the server has of each job, as it says after a new start.
async fn marks(server: &mut Server, pass: &Pass) -> Vec<Mark> {
    server.stop();
    server.restart();
    let mut peer = pass.connect().await;
    peer.until("the list", |it| !it.jobs.is_empty() && it.jobs.iter().all(|it| it.mark.is_some())).await;
    peer.jobs.iter().filter_map(|it| it.mark).collect()
}

/// Waits until the phone remembers that it had all that these marks stand for. What is stored begins with them.
async fn at_rest(phone: &Phone, marks: &[Mark]) {
    let marks: Vec<String> = marks.iter().map(|it| it.0.map(|it| it.to_string()).join(",")).collect();
    let script = format!(
        "return new Promise(done => {{
            const asked = indexedDB.open('napline');
            asked.onsuccess = () => {{
                const all = asked.result.transaction('rest').objectStore('rest').getAll();
                all.onsuccess = () => {{
                    asked.result.close();
                    const kept = all.result.map(it => it.slice(0, 16).join());
                    done({}.every(it => kept.includes(it)));
                }};
            }};
        }})",
        json!(marks)
    );
    phone.wait_for("the jobs to be at rest", &script).await;
}

#[tokio::test]
async fn a_phone_opens_only_what_changed_since_it_had_all() {
    let mut server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    let ben = Phone::invited("Ben", &ada).await;
    let pass = Pass::by_link(&ada.invitation().await, "Cem").await;
    start_job(&ada, "Quarry Lane 4").await;
    ada.tap("#back").await;
    start_job(&ada, "Tarn Row 9").await;
    add_room(&ada, "Hall").await;
    rectangle(&ada, 9, 4).await;
    shared(&ada).await;
    at_rest(&ben, &marks(&mut server, &pass).await).await;

    // Ben's page starts again. What Ada measures comes, without anybody opening the job; the other is not even read.
    ben.send("Page.addScriptToEvaluateOnNewDocument", json!({ "source": NOTE_OPENED })).await;
    ben.open(&server.address()).await;
    ben.see(("#link-state", "connected")).await;
    ada.see(("#sync-chip", "shared with")).await;
    ada.tap("#back").await;
    add_room(&ada, "Bedroom").await;
    shared(&ada).await;
    at_rest(&ben, &marks(&mut server, &pass).await).await;
    assert_eq!(ben.ask("return window.opened.size").await, 1);
    ben.set_network(false).await;
    ben.reload().await;
    open_job(&ben, "Tarn Row 9").await;
    ben.see(("[data-room]", "Bedroom")).await;

    // A job at rest is measured like any other, without a network too.
    ben.tap("#back").await;
    open_job(&ben, "Quarry Lane 4").await;
    add_room(&ben, "Office").await;
    rectangle(&ben, 7, 5).await;
    ben.tap("#back").await;
    ben.tap("#back").await;
    ben.see(("[data-job]", "not shared since")).await;
    ben.set_network(true).await;
    open_job(&ben, "Quarry Lane 4").await;
    shared(&ben).await;
    ada.tap("#back").await;
    ada.tap("#back").await;
    open_job(&ada, "Quarry Lane 4").await;
    ada.see(("[data-room]", "Office")).await;
}
