//! On the network of this computer. Without one besides loopback there is nothing to find, and nothing is looked for.

use std::net::{IpAddr, Ipv4Addr, UdpSocket};
use std::time::{Duration, Instant};

use napline_tests::peer::Pass;
use napline_tests::server::{PATIENCE, Server};
use reqwest::StatusCode;
use serde_json::Value;

use crate::peers::{join, server_link, until};

/// Multicast DNS: RFC 6762, section 3.
const GROUP: (Ipv4Addr, u16) = (Ipv4Addr::new(224, 0, 0, 251), 5353);

/// This computer's address on its network.
fn own_address() -> Option<Ipv4Addr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect(GROUP).ok()?;
    match socket.local_addr().ok()?.ip() {
        IpAddr::V4(it) if !it.is_loopback() => Some(it),
        _ => None,
    }
}

/// A question for the IPv4 address of a name, written as RFC 1035, 4.1 says; the top bit of the class asks for an answer to
/// the asker alone (RFC 6762, 5.4).
fn question(name: &str) -> Vec<u8> {
    let mut message = vec![0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0];
    for label in name.split('.') {
        message.push(u8::try_from(label.len()).unwrap());
        message.extend(label.as_bytes());
    }
    message.extend([0, 0, 1, 0x80, 1]);
    message
}

/// Asks until somebody answers with an address: the last four bytes of an answer with one record (RFC 1035, 3.4.1).
fn resolve(name: &str) -> Option<Ipv4Addr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).unwrap();
    socket.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
    let start = Instant::now();
    while start.elapsed() < PATIENCE {
        socket.send_to(&question(name), GROUP).unwrap();
        let mut answer = [0; 1_500];
        if let Ok((length, _)) = socket.recv_from(&mut answer)
            && answer[2] & 0x80 != 0
            && answer[7] > 0
        {
            let address: [u8; 4] = answer[length - 4..length].try_into().unwrap();
            return Some(address.into());
        }
    }
    None
}

#[tokio::test]
async fn the_shop_is_found_by_its_name() {
    let Some(own) = own_address() else { return };
    let name = format!("fairlea-{}", std::process::id());
    let server = Server::start_in_network(&["--shop", &name]);
    let found = tokio::task::spawn_blocking(move || resolve(&format!("{name}.local"))).await.unwrap();
    assert_eq!(found, Some(own));
    assert!(server.pairing_link().contains("/join/"));
}

#[tokio::test]
async fn a_van_finds_the_shop_that_has_moved() {
    if own_address().is_none() {
        return;
    }
    let shop = format!("moving shop {}", std::process::id());
    let mut shop = Server::start_in_network(&["--shop", &shop]);
    let van = Server::start_with(&["--shop", "van 3"]);
    let in_shop = Pass::by_link(&shop.pairing_link(), "Ada").await;
    let in_van = Pass::by_link(&van.pairing_link(), "Ben").await;
    let link = server_link(&in_shop).await;
    let (_, secret) = link.split_once("/join/").unwrap();
    assert_eq!(join(&in_van, &format!("{}/join/{secret}", shop.address())).await, StatusCode::OK);
    let connected = async || {
        let told: Value = in_van.get("/people").await.json().await.unwrap();
        told["servers"][0]["connected"] == true
    };
    until("the servers to meet", connected).await;
    shop.kill();
    until("the line to be cut", async || !connected().await).await;
    shop.restart_elsewhere();
    until("the van to find it", connected).await;
}
