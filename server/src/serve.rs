//! `napline serve`: from the command line to a running server, and down again.

use std::io::{self, Write};
use std::net::SocketAddr;
use std::process::ExitCode;
use std::sync::Arc;

use shared_model::wire::Role;
use time::OffsetDateTime;
use tokio::net::TcpListener;
use tokio::sync::Mutex;
use tracing_subscriber::EnvFilter;
use uuid::Uuid;

use crate::devices::Devices;
use crate::discovery::Announcement;
use crate::error::ServeError;
use crate::files::Control;
use crate::gate::Rates;
use crate::hosts::{Hosts, replica_name};
use crate::pairing::{Invitations, first_scheme, qr_text};
use crate::peers::{self, Peers};
use crate::photos::{self, Shelf};
use crate::router::{Shop, router};
use crate::settings::Settings;
use crate::store::Store;
use crate::sync::{Hub, Seals};
use crate::tls::{self, Authority, Subject, Tls};
use crate::{accept, demo};

pub fn run(settings: &Settings) -> ExitCode {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("napline=info"));
    // With internal errors, a log that cannot be written (it is on the full disk) ends whatever wanted to log.
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(io::stderr).log_internal_errors(false);
    log.compact().init();
    let served = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(ServeError::from)
        .and_then(|runtime| runtime.block_on(serve(settings)));
    match served {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("napline: {error}");
            error.exit_code()
        }
    }
}

async fn serve(settings: &Settings) -> Result<(), ServeError> {
    let store = Arc::new(Store::open(&settings.data)?);
    if settings.demo {
        demo::ensure(&store).await?;
    }
    let address = settings.listen;
    let listen = |reason| ServeError::Listen { address, reason };
    let listener = TcpListener::bind(address).await.map_err(listen)?;
    let address = listener.local_addr().map_err(listen)?;

    let own = replica_name(Uuid::from_bytes(store.replica()));
    let names: Vec<String> = settings.hosts.iter().cloned().chain([own]).collect();
    let hosts = Arc::new(Hosts::new(&names, address));
    let announcement = announce(settings, address, store.replica(), &hosts);
    let peers = Peers::open(&settings.data)?;
    let tls = secure(settings, &hosts)?.map(Arc::new);
    if let (Some(tls), Some(vouched)) = (&tls, peers.vouched()) {
        tls.be_vouched_for(&vouched)?;
    }
    let devices = Arc::new(Devices::new(store.devices()?));
    let hub = Hub::new(Arc::clone(&store), Arc::clone(&devices), Seals::open(&settings.data)?)?;
    let acceptor = tls.as_ref().map(|it| it.acceptor().clone());
    let shop = Arc::new(Shop {
        name: settings.shop.clone(),
        hosts: Arc::clone(&hosts),
        tls: tls.clone(),
        devices,
        hub: Arc::new(hub),
        invitations: Invitations::new(settings.pairing_lifetime()),
        rates: Rates::default(),
        people: Mutex::default(),
        peers,
        shelf: Arc::new(Shelf::open(&settings.data, settings.photos_most())?),
        announcement,
    });
    let control = Control::open(&settings.data, &shop.hub, &shop.shelf).await;
    let control = control.inspect_err(|error| tracing::warn!(%error, "file commands wait until the server stops")).ok();
    // Nobody may be there to read it, and a log that cannot be written stops no server.
    let _ = io::stdout().write_all(greeting(settings, &shop, address)?.as_bytes());
    shop.peers.call_all(&shop);
    let joining = settings.join.clone().map(|link| tokio::spawn(join(Arc::clone(&shop), link)));

    let keeping = tokio::spawn(Arc::clone(&shop.hub).keep_list());
    let looking = tokio::spawn(Arc::clone(&shop.hub).look_over());
    let sweeping = tokio::spawn(Arc::clone(&shop.hub).sweep());
    let tidying = tokio::spawn(photos::sweep(Arc::clone(&shop)));
    let renewing = tls.map(|tls| tokio::spawn(async move { tls.keep_fresh(&hosts).await }));
    let hub = Arc::clone(&shop.hub);
    let stopping = Arc::clone(&shop);
    accept::serve(listener, acceptor, router(shop), async move {
        asked_to_stop().await;
        hub.stop().await;
        stopping.peers.stop();
    })
    .await;
    drop(control);
    for task in [Some(keeping), Some(looking), Some(sweeping), Some(tidying), renewing, joining].into_iter().flatten() {
        task.abort();
    }
    tokio::task::block_in_place(|| store.close());
    tracing::info!("stopped; everything is stored");
    Ok(())
}

async fn join(shop: Arc<Shop>, link: String) {
    match peers::join(&shop, &link).await {
        Ok(()) => println!("paired with the other server"),
        Err(error) => eprintln!("napline: not paired with the other server: {error}"),
    }
}

/// What https rests on; nothing with `--no-tls`.
fn secure(settings: &Settings, hosts: &Hosts) -> Result<Option<Tls>, ServeError> {
    let now = OffsetDateTime::now_utc();
    if settings.no_tls {
        return Ok(None);
    }
    if let (Some(certificate), Some(key)) = (&settings.cert, &settings.key) {
        return Ok(Some(Tls::of_files(certificate, key, hosts, now)?));
    }
    let authority = Authority::open(&settings.data.join(tls::FOLDER), &settings.shop, &settings.hosts, now)?;
    for name in settings.hosts.iter().cloned().map(Subject::Name).filter(|it| !authority.may_vouch_for(it)) {
        tracing::warn!(?name, "the shop's authority was made without this name: phones will not trust it over https");
    }
    Ok(Some(Tls::of_authority(authority, hosts, now)?))
}

/// Makes the server known on the local network, if phones there can reach it.
fn announce(settings: &Settings, address: SocketAddr, replica: [u8; 16], hosts: &Arc<Hosts>) -> Option<Announcement> {
    if settings.quiet || address.ip().is_loopback() {
        return None;
    }
    let announced = Announcement::start(&settings.shop, address.port(), replica, hosts);
    announced.inspect_err(|error| tracing::warn!(%error, "not announced on the network: phones need its address")).ok()
}

/// What the person at the computer is told: where the server is and how phones get in.
fn greeting(settings: &Settings, shop: &Shop, address: SocketAddr) -> Result<String, ServeError> {
    let scheme = if shop.tls.is_some() { "https" } else { "http" };
    let data = settings.data.display();
    let mut told = format!("Napline serves {} from {data}\nlistening on {scheme}://{address}\n", shop.name);
    if let Some(authority) = shop.tls.as_ref().and_then(|it| it.to_trust()) {
        told += "phones check the shop's certificate by this code: ";
        told += &tls::fingerprint(&authority);
        told += "\n";
    }
    if !(settings.pair || shop.devices.is_empty()) {
        told += "Phones are paired already. For another one: Add a phone on a paired one, or start with --pair.\n";
        return Ok(told);
    }
    let Some(secret) = shop.invitations.open(Role::Owner, None)? else { return Ok(told) };
    let urls: Vec<String> = shop.hosts.authorities().iter().map(|it| secret.url(first_scheme(shop), it)).collect();
    let code = urls.first().map(|it| qr_text(it)).unwrap_or_default();
    let minutes = settings.pair_within.div_ceil(60);
    Ok(format!(
        "{told}\nTo pair an owner's phone, scan this or open one of these links within {minutes} min. \
         The link works once:\n\n  {}\n\n{code}\n",
        urls.join("\n  ")
    ))
}

#[cfg(unix)]
async fn asked_to_stop() {
    use tokio::signal::unix::{SignalKind, signal};
    match signal(SignalKind::terminate()) {
        Ok(mut terminate) => {
            tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = terminate.recv() => {}
            }
        }
        Err(_) => {
            let _ = tokio::signal::ctrl_c().await;
        }
    }
    tracing::info!("stopping");
}

#[cfg(not(unix))]
async fn asked_to_stop() {
    let _ = tokio::signal::ctrl_c().await;
    tracing::info!("stopping");
}
