//! Found without typing: the shop's name and service on the local network, by multicast DNS (RFC 6762) and DNS-SD (RFC 6763).

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use mdns_sd::{DaemonEvent, ServiceDaemon, ServiceEvent, ServiceInfo};
use uuid::Uuid;

use crate::hosts::{Hosts, local_name};

/// Characters of a service's name: at most 63 bytes, whatever the script (RFC 6763, 4.1.1).
const MOST_INSTANCE: usize = 14;

pub const SERVICE: &str = "_napline._tcp.local.";
/// The key under which a server tells which one it is: its store's replica.
pub const REPLICA: &str = "replica";
/// A name that another computer bears is asked for again after this time.
const TRY_AGAIN_AFTER: Duration = Duration::from_secs(120);

/// Announces the server until it is dropped. A network that does not take it is no reason not to serve.
pub struct Announcement {
    daemon: ServiceDaemon,
    port: u16,
    /// The names of servers that are away to which it answers, each with the service that says so.
    standing_in: Mutex<BTreeMap<String, String>>,
}

impl Announcement {
    pub fn start(shop: &str, port: u16, replica: [u8; 16], hosts: &Arc<Hosts>) -> Result<Self, mdns_sd::Error> {
        let daemon = ServiceDaemon::new()?;
        let name = local_name(shop);
        let events = daemon.monitor()?;
        let instance: String = shop.chars().take(MOST_INSTANCE).collect();
        let replica = Uuid::from_bytes(replica).simple().to_string();
        let properties = [(REPLICA, replica.as_str())];
        let host = format!("{name}.");
        let service = ServiceInfo::new(SERVICE, &instance, &host, "", port, &properties[..])?.enable_addr_auto();
        daemon.register(service.clone())?;
        hosts.announce(&name);
        let (hosts, renewing) = (Arc::clone(hosts), daemon.clone());
        tokio::spawn(async move {
            while let Ok(event) = events.recv_async().await {
                if let DaemonEvent::NameChange(change) = event
                    && change.original.trim_end_matches('.').eq_ignore_ascii_case(&name)
                {
                    let new = change.new_name.trim_end_matches('.').to_owned();
                    tracing::warn!(
                        name,
                        new,
                        "another computer on this network has this shop's name: give --shop another"
                    );
                    hosts.announce(&new);
                    // The other one may only have stood in while this server was away.
                    let (daemon, service, hosts, name) =
                        (renewing.clone(), service.clone(), Arc::clone(&hosts), name.clone());
                    tokio::spawn(async move {
                        tokio::time::sleep(TRY_AGAIN_AFTER).await;
                        let _ = daemon.unregister(service.get_fullname());
                        if daemon.register(service).is_ok() {
                            hosts.announce(&name);
                        }
                    });
                }
            }
        });
        Ok(Self { daemon, port, standing_in: Mutex::default() })
    }

    /// Answers to another name too, unless somebody on this network bears it: then the network gives another one, which
    /// nobody asks for.
    pub fn stand_in(&self, name: &str) -> Result<(), mdns_sd::Error> {
        let mut standing_in = self.standing_in.lock().unwrap_or_else(PoisonError::into_inner);
        if !standing_in.contains_key(name) {
            let instance: String = name.chars().take(MOST_INSTANCE).collect::<String>() + " away";
            let host = format!("{name}.");
            let nothing: [(&str, &str); 0] = [];
            let service = ServiceInfo::new(SERVICE, &instance, &host, "", self.port, &nothing[..])?.enable_addr_auto();
            let full = service.get_fullname().to_owned();
            self.daemon.register(service)?;
            standing_in.insert(name.to_owned(), full);
        }
        Ok(())
    }

    /// The one that bears the name is back.
    pub fn step_back(&self, name: &str) {
        let service = self.standing_in.lock().unwrap_or_else(PoisonError::into_inner).remove(name);
        if let Some(Err(error)) = service.map(|it| self.daemon.unregister(&it)) {
            tracing::debug!(%error, "a name was not given back");
        }
    }
}

/// Where the network finds the server with a replica, as host and port.
pub async fn find(replica: Uuid, within: Duration) -> Vec<SocketAddr> {
    let Ok(daemon) = ServiceDaemon::new() else { return Vec::new() };
    let wanted = replica.simple().to_string();
    let search = async {
        let events = daemon.browse(SERVICE).ok()?;
        while let Ok(event) = events.recv_async().await {
            if let ServiceEvent::ServiceResolved(found) = event
                && found.get_property_val_str(REPLICA) == Some(&wanted)
            {
                let port = found.get_port();
                return Some(found.get_addresses().iter().map(|it| SocketAddr::new(it.to_ip_addr(), port)).collect());
            }
        }
        None
    };
    let found: Option<Vec<SocketAddr>> = tokio::time::timeout(within, search).await.ok().flatten();
    let _ = daemon.shutdown();
    found.unwrap_or_default()
}

impl Drop for Announcement {
    fn drop(&mut self) {
        // The process may end before the goodbye is sent; the network forgets the name after two minutes.
        let _ = self.daemon.shutdown();
    }
}
