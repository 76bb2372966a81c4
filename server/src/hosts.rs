//! The names and addresses that this server goes by.

use std::net::{IpAddr, SocketAddr};
use std::sync::{PoisonError, RwLock};

use uuid::Uuid;

use crate::tls::{Subject, is_private};

/// Most characters of a label of a name (RFC 1035, 2.3.4).
const MOST_LABEL: usize = 63;

/// What may stand in a request's `Host`. Any address is fine; a foreign name could be made to point here by the site that a
/// phone is visiting (DNS rebinding).
pub struct Hosts {
    names: Vec<String>,
    listen: SocketAddr,
    /// The name that is announced on the local network, as in `fairlea-floors.local`; `None` while none is.
    announced: RwLock<Option<String>>,
    /// Names of other servers of the shop, to which this one answers while they are away.
    stood_in_for: RwLock<Vec<String>>,
}

impl Hosts {
    pub fn new(own: &[String], listen: SocketAddr) -> Self {
        let mut names = vec!["localhost".to_owned()];
        names.extend(own.iter().map(|it| it.to_ascii_lowercase()));
        if let Some(name) = computer_name() {
            names.push(format!("{name}.local"));
            names.push(name);
        }
        Self { names, listen, announced: RwLock::default(), stood_in_for: RwLock::default() }
    }

    /// From now on the network knows this server by a name.
    pub fn announce(&self, name: &str) {
        let before = self.announced.write().unwrap_or_else(PoisonError::into_inner).replace(name.to_ascii_lowercase());
        // Phones may have opened the app by it.
        before.into_iter().for_each(|it| self.stand_in(it));
    }

    fn announced(&self) -> Option<String> {
        self.announced.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// From now on phones may mean this server by the name of another one.
    pub fn stand_in(&self, name: String) {
        let mut names = self.stood_in_for.write().unwrap_or_else(PoisonError::into_inner);
        if !names.contains(&name) {
            names.push(name);
        }
    }

    /// Whether `host`, a `Host` header, names this server.
    pub fn knows(&self, host: &str) -> bool {
        let name = without_port(host);
        let address = name.strip_prefix('[').and_then(|it| it.strip_suffix(']')).unwrap_or(name);
        address.parse::<IpAddr>().is_ok()
            || self.names.iter().chain(&self.announced()).any(|it| it.eq_ignore_ascii_case(name))
            || self
                .stood_in_for
                .read()
                .unwrap_or_else(PoisonError::into_inner)
                .iter()
                .any(|it| it.eq_ignore_ascii_case(name))
    }

    /// Host and port by which phones reach this server, the likeliest first.
    pub fn authorities(&self) -> Vec<String> {
        let port = self.listen.port();
        let name = self.announced().map(|it| format!("{it}:{port}"));
        name.into_iter().chain(self.addresses().into_iter().map(|it| SocketAddr::new(it, port).to_string())).collect()
    }

    /// Everything that a certificate of this server has to vouch for.
    pub fn subjects(&self) -> Vec<Subject> {
        let other = self.stood_in_for.read().unwrap_or_else(PoisonError::into_inner).clone();
        let names = self.names.iter().cloned().chain(self.announced()).chain(other).map(Subject::Name);
        let loopback = IpAddr::from([127, 0, 0, 1]);
        let mut subjects: Vec<Subject> =
            names.chain(self.addresses().into_iter().chain([loopback]).map(Subject::Address)).collect();
        subjects.sort();
        subjects.dedup();
        subjects
    }

    fn addresses(&self) -> Vec<IpAddr> {
        if !self.listen.ip().is_unspecified() {
            return vec![self.listen.ip()];
        }
        let interfaces = if_addrs::get_if_addrs().unwrap_or_default();
        let mut addresses: Vec<IpAddr> = interfaces
            .iter()
            .filter(|it| !it.is_loopback() && !it.is_link_local())
            .map(if_addrs::Interface::ip)
            .filter(|it| it.is_ipv4() || self.listen.is_ipv6())
            .collect();
        // The shop's own authority can vouch for private addresses only.
        addresses.sort_by_key(|it| (!is_private(*it), it.is_ipv6(), *it));
        addresses.dedup();
        if addresses.is_empty() {
            addresses.push(IpAddr::from([127, 0, 0, 1]));
        }
        addresses
    }
}

/// A name that only the server with this store has: another server knows by it whom it has called, whoever else the shop's
/// authority vouches for.
pub fn replica_name(replica: Uuid) -> String {
    format!("{}.local", replica.simple())
}

/// A shop's name on the local network: `Fairlea Floors` is found as `fairlea-floors.local`.
pub fn local_name(shop: &str) -> String {
    let plain = |it: char| if it.is_ascii_alphanumeric() { it.to_ascii_lowercase() } else { ' ' };
    let words: String = shop.chars().map(plain).collect();
    let label = words.split_whitespace().collect::<Vec<_>>().join("-");
    let label = label.get(..MOST_LABEL).unwrap_or(&label).trim_end_matches('-');
    format!("{}.local", if label.is_empty() { "napline" } else { label })
}

fn without_port(host: &str) -> &str {
    match host.rsplit_once(':') {
        // A colon that is not before a port stands inside an IPv6 address.
        Some((name, port))
            if port.bytes().all(|it| it.is_ascii_digit()) && (name.ends_with(']') || !name.contains(':')) =>
        {
            name
        }
        _ => host,
    }
}

fn computer_name() -> Option<String> {
    let file = std::fs::read_to_string("/etc/hostname").ok();
    let name = file.or_else(|| std::env::var("COMPUTERNAME").ok()).or_else(|| std::env::var("HOSTNAME").ok())?;
    let name = name.trim().to_ascii_lowercase();
    (!name.is_empty()).then_some(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn own_names_and_any_address_are_known() {
        let hosts = Hosts::new(&["Shop.example".to_owned()], SocketAddr::from(([0, 0, 0, 0], 8420)));
        for known in [
            "localhost",
            "localhost:8420",
            "shop.example:80",
            "192.168.1.5:8420",
            "[::1]:8420",
            "[fe80::1]",
            "10.0.0.1",
        ] {
            assert!(hosts.knows(known), "{known}");
        }
        for foreign in [
            "",
            "evil.example",
            "192.168.1.5.evil.example:8420",
            "shop.example.evil.example",
            ":8420",
            "localhost:80:80",
        ] {
            assert!(!hosts.knows(foreign), "{foreign}");
        }
    }

    #[test]
    fn a_shop_is_found_by_its_name() {
        let cases = [
            ("Fairlea Floors", "fairlea-floors.local"),
            ("O'Hara & Sons, Ltd.", "o-hara-sons-ltd.local"),
            ("床", "napline.local"),
            ("--", "napline.local"),
        ];
        for (shop, name) in cases {
            assert_eq!(local_name(shop), name);
        }
        let long = local_name(&"carpet ".repeat(20));
        assert!(long.len() <= MOST_LABEL + ".local".len() && !long.contains("-.local"), "{long}");
    }

    #[test]
    fn an_announced_name_comes_first_and_is_known() {
        let hosts = Hosts::new(&[], "127.0.0.1:8420".parse().unwrap());
        assert!(!hosts.knows("fairlea-floors.local:8420"));
        hosts.announce("Fairlea-Floors.local");
        assert!(hosts.knows("fairlea-floors.local:8420"));
        assert_eq!(hosts.authorities(), ["fairlea-floors.local:8420", "127.0.0.1:8420"]);
        assert!(hosts.subjects().contains(&Subject::Name("fairlea-floors.local".into())));
    }
}
