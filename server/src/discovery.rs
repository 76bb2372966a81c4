//! Found without typing: the shop's name and service on the local network, by multicast DNS (RFC 6762) and DNS-SD (RFC 6763).

use std::sync::Arc;

use mdns_sd::{DaemonEvent, ServiceDaemon, ServiceInfo};
use uuid::Uuid;

use crate::hosts::{Hosts, local_name};

pub const SERVICE: &str = "_napline._tcp.local.";
/// The key under which a server tells which one it is: its store's replica.
pub const REPLICA: &str = "replica";

/// Announces the server until it is dropped. A network that does not take it is no reason not to serve.
pub struct Announcement {
    daemon: ServiceDaemon,
}

impl Announcement {
    pub fn start(shop: &str, port: u16, replica: [u8; 16], hosts: &Arc<Hosts>) -> Result<Self, mdns_sd::Error> {
        let daemon = ServiceDaemon::new()?;
        let name = local_name(shop);
        let events = daemon.monitor()?;
        let instance: String = shop.chars().take(20).collect();
        let replica = Uuid::from_bytes(replica).simple().to_string();
        let properties = [(REPLICA, replica.as_str())];
        let host = format!("{name}.");
        let service = ServiceInfo::new(SERVICE, &instance, &host, "", port, &properties[..])?.enable_addr_auto();
        daemon.register(service)?;
        hosts.announce(&name);
        let hosts = Arc::clone(hosts);
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
                }
            }
        });
        Ok(Self { daemon })
    }
}

impl Drop for Announcement {
    fn drop(&mut self) {
        // The process may end before the goodbye is sent; the network forgets the name after two minutes.
        let _ = self.daemon.shutdown();
    }
}
