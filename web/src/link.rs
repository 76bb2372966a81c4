//! The WebSocket to the shop's server: connects, reconnects, and hands frames over. Decides nothing about jobs.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gloo_timers::callback::{Interval, Timeout};
use leptos::prelude::*;
use shared_model::job::SCHEMA;
use shared_model::wire::{Frame, Hello, PROTOCOL};
use wasm_bindgen::JsCast;
use wasm_bindgen::closure::Closure;
use wasm_bindgen_futures::{JsFuture, spawn_local};
use web_sys::{BinaryType, CloseEvent, MessageEvent, WebSocket};

use crate::phone::Phone;
use crate::truth::Link;

const SOCKET: &str = "/sync";
/// Answers 401 to a phone that is not paired; a socket that is refused says nothing about why.
const WHO: &str = "/me";
const TICK: u32 = 5_000;
const FIRST_WAIT: f64 = 500.0;
const LONGEST_WAIT: f64 = 20_000.0;
/// So many ticks of connecting, with bytes that do not leave, or with edits that nobody answers, mean that the network is gone
/// without a word.
const STUCK_TICKS: u32 = 3;

/// The build of this page, as its own head says.
pub fn build() -> String {
    let meta = document().query_selector("meta[name=build]").ok().flatten();
    meta.and_then(|it| it.get_attribute("content")).unwrap_or_default()
}

struct State {
    phone: Phone,
    socket: RefCell<Option<Socket>>,
    attempt: Cell<u32>,
    retry: RefCell<Option<Timeout>>,
    stuck: Cell<u32>,
}

struct Socket {
    socket: WebSocket,
    _message: Closure<dyn FnMut(MessageEvent)>,
    _open: Closure<dyn FnMut()>,
    _close: Closure<dyn FnMut(CloseEvent)>,
}

/// Connects, and keeps connected as long as the page lives.
pub fn start(phone: Phone) {
    let state = Rc::new(State {
        phone,
        socket: RefCell::default(),
        attempt: Cell::new(0),
        retry: RefCell::default(),
        stuck: Cell::new(0),
    });
    let sender = StoredValue::new_local(Rc::clone(&state));
    phone.set_sender(Callback::new(move |frame: Frame| sender.with_value(|it| it.send(&frame))));
    for wake in ["online", "visibilitychange", "focus", "pageshow"] {
        let state = Rc::clone(&state);
        window_event_listener_untyped(wake, move |_| state.wake());
    }
    let ticking = Rc::clone(&state);
    Interval::new(TICK, move || ticking.tick()).forget();
    state.connect();
}

impl State {
    fn connect(self: &Rc<Self>) {
        self.retry.take();
        if self.socket.borrow().is_some() {
            return;
        }
        if !matches!(self.phone.link.get_untracked(), Link::Unpaired | Link::Closed(_)) {
            self.phone.link.set(Link::Trying);
        }
        let Ok(socket) = WebSocket::new(&address()) else { return self.closed() };
        socket.set_binary_type(BinaryType::Arraybuffer);
        let (opened, heard, ended) = (Rc::clone(self), Rc::clone(self), Rc::clone(self));
        let open = Closure::new(move || {
            let hello = Hello { protocol: PROTOCOL, schema: SCHEMA, build: build() };
            opened.send(&Frame::Hello(hello));
        });
        let message = Closure::new(move |event: MessageEvent| heard.hear(&event));
        let close = Closure::new(move |_: CloseEvent| ended.closed());
        socket.set_onopen(Some(open.as_ref().unchecked_ref()));
        socket.set_onmessage(Some(message.as_ref().unchecked_ref()));
        socket.set_onclose(Some(close.as_ref().unchecked_ref()));
        self.socket.replace(Some(Socket { socket, _message: message, _open: open, _close: close }));
    }

    fn hear(&self, event: &MessageEvent) {
        self.stuck.set(0);
        let bytes = js_sys::Uint8Array::new(&event.data()).to_vec();
        match Frame::decode(&bytes) {
            Ok(frame) => self.phone.hear(frame),
            Err(error) => leptos::logging::warn!("a frame from the server was not understood: {error}"),
        }
    }

    fn send(&self, frame: &Frame) {
        if let Some(it) = self.socket.borrow().as_ref().filter(|it| it.socket.ready_state() == WebSocket::OPEN) {
            // A frame that does not leave is an unconfirmed edit: it goes again.
            let _ = it.socket.send_with_u8_array(&frame.encode());
        }
    }

    fn closed(self: &Rc<Self>) {
        let was = self.phone.link.get_untracked();
        if let Some(Socket { socket, _close, .. }) = self.socket.take() {
            socket.set_onclose(None);
            socket.set_onmessage(None);
            socket.set_onopen(None);
            // This very closure is running; the browser drops it with the page's last use of it.
            _close.forget();
        }
        self.phone.disconnected();
        if !matches!(was, Link::Closed(_) | Link::Unpaired) {
            self.phone.link.set(Link::Away);
        }
        if was != Link::Up {
            spawn_local(ask_who(self.phone));
        }
        let wait = backoff(self.attempt.replace(self.attempt.get() + 1), js_sys::Math::random());
        let again = Rc::clone(self);
        self.retry.replace(Some(Timeout::new(wait, move || again.connect())));
    }

    /// The network is back, or somebody looks at the page: no waiting now.
    fn wake(self: &Rc<Self>) {
        if self.socket.borrow().is_none() && document().visibility_state() == web_sys::VisibilityState::Visible {
            self.attempt.set(0);
            self.connect();
        }
    }

    fn tick(self: &Rc<Self>) {
        if self.phone.link.get_untracked() == Link::Up {
            // Only a connection that lasts: a server that lets nobody stay must not be asked again at once.
            self.attempt.set(0);
        }
        let stands = |it: &WebSocket| it.ready_state() == WebSocket::CONNECTING || it.buffered_amount() > 0;
        let waiting = self.socket.borrow().as_ref().is_some_and(|it| stands(&it.socket) || self.phone.awaits_answer());
        self.stuck.set(if waiting { self.stuck.get() + 1 } else { 0 });
        if self.stuck.get() >= STUCK_TICKS {
            self.stuck.set(0);
            let socket = self.socket.borrow().as_ref().map(|it| it.socket.clone());
            // Closing a dead socket takes the browser a while; the next one is opened meanwhile.
            socket.map(|it| it.close());
            self.closed();
        }
        self.phone.tick();
    }
}

/// Tells a server that does not know this phone from one that cannot be reached.
async fn ask_who(phone: Phone) {
    let Ok(answer) = JsFuture::from(window().fetch_with_str(WHO)).await else { return };
    let status = answer.dyn_into::<web_sys::Response>().map_or(0, |it| it.status());
    if status == 401 || status == 403 {
        phone.link.set(Link::Unpaired);
    }
}

fn address() -> String {
    let location = window().location();
    let secure = location.protocol().is_ok_and(|it| it == "https:");
    let host = location.host().unwrap_or_default();
    format!("{}://{host}{SOCKET}", if secure { "wss" } else { "ws" })
}

/// Milliseconds to wait before the next attempt: doubling, and spread, so that phones do not all come at once after the
/// server was away. `chance` is between 0 and 1.
fn backoff(attempt: u32, chance: f64) -> u32 {
    let longest = (FIRST_WAIT * f64::from(1 << attempt.min(16))).min(LONGEST_WAIT);
    (longest * (0.5 + chance / 2.0)) as u32
}

#[cfg(test)]
mod tests {
    use super::backoff;

    #[test]
    fn waiting_doubles_up_to_twenty_seconds_and_is_spread() {
        assert_eq!((backoff(0, 0.0), backoff(0, 1.0)), (250, 500));
        assert_eq!(backoff(3, 1.0), 4_000);
        assert_eq!((backoff(40, 0.0), backoff(40, 1.0)), (10_000, 20_000));
    }
}
