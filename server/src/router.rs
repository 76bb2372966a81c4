//! Which address answers what.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::{from_fn_with_state, map_response};
use axum::routing::{any, delete, get, post};
use shared_model::photo::PIECE;
use tokio::sync::Mutex;
use tower::ServiceBuilder;
use tower_http::limit::RequestBodyLimitLayer;
use tower_http::timeout::TimeoutLayer;
use tower_http::trace::TraceLayer;

use crate::devices::Devices;
use crate::discovery::Announcement;
use crate::gate::{self, Rates};
use crate::hosts::{self, Hosts};
use crate::pairing::Invitations;
use crate::peers::Peers;
use crate::photos::Shelf;
use crate::store::Device;
use crate::sync::{Hub, Parting};
use crate::tls::Tls;
use crate::{assets, pages, pairing, peers, people, photos, sync, trust};

/// No request body is longer, but for pieces of pictures: the longest is the form of a pairing link.
const MOST_BODY: usize = 16 * 1024;
const ANSWER_WITHIN: Duration = Duration::from_secs(15);

/// The running server.
pub struct Shop {
    pub name: String,
    pub hosts: Arc<Hosts>,
    /// `None`: plain http, perhaps behind a proxy.
    pub tls: Option<Arc<Tls>>,
    pub hub: Arc<Hub>,
    pub devices: Arc<Devices>,
    pub invitations: Invitations,
    pub rates: Rates,
    /// Held while it is decided who may do what.
    pub people: Mutex<()>,
    pub peers: Peers,
    pub shelf: Arc<Shelf>,
    /// `None` when phones are to know the address.
    pub announcement: Option<Announcement>,
}

impl Shop {
    /// What was decided about a device, and is stored, holds from now on: for its links and open connections too.
    pub fn decided(&self, device: Device, why: &Parting) {
        let id = device.id;
        self.devices.insert(device);
        self.invitations.close_those_of(id);
        self.hub.part(id, why);
    }

    /// Answers to the name of another server of the shop as long as that one is away: a phone keeps what it measures by the
    /// name under which it opened the app.
    pub fn stand_in_for(&self, shop: &str) {
        let name = hosts::local_name(shop);
        if let Some(Err(error)) = self.announcement.as_ref().map(|it| it.stand_in(&name)) {
            tracing::warn!(name, %error, "this network does not learn the name");
        }
        self.hosts.stand_in(name);
    }

    /// The other server bears its name itself again.
    pub fn step_back(&self, shop: &str) {
        let name = hosts::local_name(shop);
        self.announcement.iter().for_each(|it| it.step_back(&name));
    }

    /// Whether every phone trusts the server's certificate already, so that nothing needs to go over plain http.
    pub fn only_https(&self) -> bool {
        self.tls.as_ref().is_some_and(|it| it.to_trust().is_none())
    }
}

pub fn router(shop: Arc<Shop>) -> Router {
    let inside = Router::new()
        .route("/sync", any(sync::upgrade))
        .route("/me", get(pairing::me))
        .route("/pairing", post(pairing::invite))
        .route("/servers", post(peers::server_joins))
        .route("/servers/{replica}", delete(peers::server_parts))
        .route("/people", get(people::list))
        .route("/people/{device}", post(people::change))
        .fallback(get(assets::file))
        .layer(RequestBodyLimitLayer::new(MOST_BODY))
        .layer(within(ANSWER_WITHIN));
    let pictures = get(photos::hand_out).head(photos::standing).put(photos::take);
    let pictures = Router::new()
        .route("/photos/{hash}", pictures)
        .layer(RequestBodyLimitLayer::new(PIECE))
        .layer(within(photos::PIECE_WITHIN));
    let inside = inside.merge(pictures).layer(from_fn_with_state(Arc::clone(&shop), gate::recognise));
    let door = Router::new()
        .route("/join/{secret}", get(pairing::show).post(pairing::join))
        .route("/join/{secret}/server", post(peers::let_in))
        .route("/trust", get(trust::page))
        .route(trust::CHECK_PATH, get(trust::check))
        .route(trust::CERTIFICATE_PATH, get(trust::certificate))
        .route(trust::PROBE_PATH, get(trust::probe))
        .route(pages::STYLE_PATH, get(([(CONTENT_TYPE, "text/css; charset=utf-8")], pages::STYLE)))
        .layer(RequestBodyLimitLayer::new(MOST_BODY))
        .layer(within(ANSWER_WITHIN));
    let layers = ServiceBuilder::new()
        .layer(TraceLayer::new_for_http())
        .layer(map_response(gate::secure))
        .layer(from_fn_with_state(Arc::clone(&shop), gate::check));
    inside.merge(door).layer(layers).with_state(shop)
}

fn within(time: Duration) -> TimeoutLayer {
    TimeoutLayer::with_status_code(StatusCode::REQUEST_TIMEOUT, time)
}
