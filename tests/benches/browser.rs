//! The client in a real browser: `cargo bench -p napline-tests --bench browser`.
//!
//! Chromium runs headless on the same processors as the server; the throttle slows the page's main thread by the factor given.
#![expect(clippy::expect_used, reason = "a benchmark that cannot run says so and ends")]

use std::time::Instant;

use napline_tests::demo::house;
use napline_tests::phone::Phone;
use napline_tests::server::Server;
use serde_json::{Value, json};
use shared_model::takeoff::takeoff;

/// A mid-range phone against the machine that measures.
const THROTTLE: f64 = 4.0;
const TAPS: usize = 40;
const TAKEOFFS: usize = 9;

/// From the finger's lifting to the end of the frame that follows the sketch's change.
const WATCH: &str = "
    window.taps = [];
    let lifted = null;
    addEventListener('pointerup', (event) => { lifted = event.timeStamp; }, true);
    new MutationObserver(() => {
        if (lifted === null) return;
        const start = lifted;
        lifted = null;
        requestAnimationFrame(() => {
            const painted = new MessageChannel();
            painted.port1.onmessage = () => taps.push(performance.now() - start);
            painted.port2.postMessage(null);
        });
    }).observe(document.querySelector('.measure-sketch'), { subtree: true, childList: true, attributes: true, characterData: true });
";

/// The client marks each of its takeoffs in the browser's timeline.
const TAKEOFFS_SO_FAR: &str = "return performance.getEntriesByName('takeoff', 'measure').map((it) => it.duration)";

const FIRST_PAINT: &str = "return performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null";
const LOADED: &str = "return document.querySelector('#boot') === null && document.querySelector('.topbar') !== null";

#[tokio::main]
async fn main() {
    if !std::env::args().any(|it| it == "--bench") {
        return;
    }
    let server = Server::start_demo();
    let ada = Phone::paired("Ada", &server).await;
    opening(&ada, &server).await;
    typing(&ada).await;
    takeoffs(&ada).await;
}

/// First paint and a usable page, with an empty cache.
async fn opening(phone: &Phone, server: &Server) {
    let (mut painted, mut usable) = (Vec::new(), Vec::new());
    phone.slow_down(THROTTLE).await;
    for _ in 0..5 {
        phone.send("Network.clearBrowserCache", json!({})).await;
        phone.ask("for (const it of await navigator.serviceWorker.getRegistrations()) await it.unregister()").await;
        phone.open("about:blank").await;
        phone.open(&server.address()).await;
        phone.wait_for("the client to start", LOADED).await;
        usable.push(phone.ask("return performance.now()").await.as_f64().expect("a time"));
        painted.extend(phone.ask(FIRST_PAINT).await.as_f64());
    }
    phone.slow_down(1.0).await;
    figure("first paint, 4× slower", &mut painted, "under 1000 ms");
    figure("client usable, 4× slower", &mut usable, "");
}

/// Digits into the sketch of a room of the demo house, one at a time, and whole readings.
async fn typing(phone: &Phone) {
    phone.tap("[data-job]").await;
    phone.tap("[data-room]").await;
    phone.see("#sketch [data-wall='1']").await;
    phone.ask(WATCH).await;
    phone.slow_down(THROTTLE).await;
    phone.tap("[data-wall='2']").await;
    phone.see("#readings").await;
    let mut digits = taps(phone, &["1", "back"], TAPS / 2).await;
    figure("keypad tap to redrawn sketch, 4× slower", &mut digits, "under 50 ms");
    let mut readings = Vec::new();
    for _ in 0..TAPS / 8 {
        phone.press(&["1", "2", "ft"]).await;
        readings.extend(taps(phone, &["enter"], 1).await);
        phone.tap("#undo").await;
    }
    figure("reading entered to redrawn sketch, 4× slower", &mut readings, "under 50 ms");
    phone.slow_down(1.0).await;
}

/// Presses the keys so many times; each tap is timed once it has changed the sketch.
async fn taps(phone: &Phone, keys: &[&str], rounds: usize) -> Vec<f64> {
    phone.ask("taps.length = 0").await;
    for (n, key) in keys.iter().cycle().take(keys.len() * rounds).enumerate() {
        phone.press(&[*key]).await;
        phone.wait_for("the sketch to change", &format!("return taps.length > {n}")).await;
    }
    let taps = phone.ask("return taps").await;
    taps.as_array().into_iter().flatten().filter_map(Value::as_f64).collect()
}

/// The whole house: each time the page with it is opened, which starts the engine; after each reading; and the same natively.
async fn takeoffs(phone: &Phone) {
    let (mut opened, mut in_browser) = (Vec::new(), Vec::new());
    for _ in 0..TAKEOFFS {
        phone.reload().await;
        opened.extend(takeoff_after(phone, 0).await);
    }
    phone.tap("[data-wall='2']").await;
    for n in 0..TAKEOFFS {
        phone.press(&["2", "5", "ft", "enter"]).await;
        in_browser.extend(takeoff_after(phone, 1 + 2 * n).await);
        phone.tap("#undo").await;
        in_browser.extend(takeoff_after(phone, 2 + 2 * n).await);
    }
    let job = house();
    let mut native = Vec::new();
    for _ in 0..TAKEOFFS {
        let start = Instant::now();
        std::hint::black_box(takeoff(&job));
        native.push(start.elapsed().as_secs_f64() * 1000.0);
    }
    figure("takeoff of the demo house, on the server", &mut native, "under 100 ms");
    figure("takeoff of the demo house, in the browser", &mut in_browser, "under 300 ms");
    figure("takeoff of the demo house, in the browser with the engine's start", &mut opened, "");
}

/// How long the takeoff after the first `before` of the page took.
async fn takeoff_after(phone: &Phone, before: usize) -> Option<f64> {
    let count = TAKEOFFS_SO_FAR.replace(".map((it) => it.duration)", &format!(".length > {before}"));
    phone.wait_for("a takeoff", &count).await;
    phone.ask(TAKEOFFS_SO_FAR).await.get(before).and_then(Value::as_f64)
}

fn figure(name: &str, milliseconds: &mut [f64], aim: &str) {
    milliseconds.sort_by(f64::total_cmp);
    let at = |share: f64| milliseconds.get((milliseconds.len() as f64 * share) as usize).copied().unwrap_or(f64::NAN);
    let worst = milliseconds.last().copied().unwrap_or(f64::NAN);
    println!("figure\t{name}\t{:.1} ms (worst of {}: {worst:.1})\t{aim}", at(0.5), milliseconds.len());
}
