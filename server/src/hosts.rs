//! The names and addresses that this server goes by.

use std::net::{IpAddr, SocketAddr};

/// What may stand in a request's `Host`. Any address is fine; a foreign name could be made to point here by the site that a
/// phone is visiting (DNS rebinding).
pub struct Hosts {
    names: Vec<String>,
    listen: SocketAddr,
}

impl Hosts {
    pub fn new(own: &[String], listen: SocketAddr) -> Self {
        let mut names = vec!["localhost".to_owned()];
        names.extend(own.iter().map(|it| it.to_ascii_lowercase()));
        if let Some(name) = computer_name() {
            names.push(format!("{name}.local"));
            names.push(name);
        }
        Self { names, listen }
    }

    /// Whether `host`, a `Host` header, names this server.
    pub fn knows(&self, host: &str) -> bool {
        let name = without_port(host);
        let address = name.strip_prefix('[').and_then(|it| it.strip_suffix(']')).unwrap_or(name);
        address.parse::<IpAddr>().is_ok() || self.names.iter().any(|it| it.eq_ignore_ascii_case(name))
    }

    /// Host and port by which phones reach this server, the likeliest first.
    pub fn authorities(&self) -> Vec<String> {
        let port = self.listen.port();
        if !self.listen.ip().is_unspecified() {
            return vec![self.listen.to_string()];
        }
        let interfaces = if_addrs::get_if_addrs().unwrap_or_default();
        let mut addresses: Vec<IpAddr> = interfaces
            .iter()
            .filter(|it| !it.is_loopback() && !it.is_link_local())
            .map(if_addrs::Interface::ip)
            .filter(|it| it.is_ipv4() || self.listen.is_ipv6())
            .collect();
        addresses.sort_by_key(|it| (it.is_ipv6(), *it));
        addresses.dedup();
        if addresses.is_empty() {
            addresses.push(IpAddr::from([127, 0, 0, 1]));
        }
        addresses.into_iter().map(|it| SocketAddr::new(it, port).to_string()).collect()
    }
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
}
