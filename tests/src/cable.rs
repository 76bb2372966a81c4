//! A network cable between a phone or another server and the server, to be cut: open connections end, and no new ones are made.

use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

use crate::server::Server;

/// The connections that run through the cable; `None` while it is cut.
type Live = Arc<Mutex<Option<Vec<TcpStream>>>>;

pub struct Cable {
    port: u16,
    live: Live,
    carried: Arc<AtomicU64>,
}

impl Cable {
    /// Lays a cable to the server's port.
    pub fn to(server: &Server) -> Self {
        let outer = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port for the cable");
        let port = outer.local_addr().expect("the cable's port").port();
        let (inner, live) = (server.port(), Live::new(Mutex::new(Some(Vec::new()))));
        let carried = Arc::new(AtomicU64::new(0));
        let (plugged, counter) = (Arc::clone(&live), Arc::clone(&carried));
        thread::spawn(move || {
            for phone in outer.incoming().flatten() {
                // A server that is not there is a connection that ends at once.
                let _ = carry(phone, inner, &plugged, &counter);
            }
        });
        Self { port, live, carried }
    }

    /// Where the phone at its end finds the server.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// The printed link, as it reads at the phone's end of the cable.
    pub fn link(&self, server: &Server) -> String {
        server.pairing_link().replacen(&server.address(), &self.address(), 1)
    }

    /// Bytes that have come through, both ways.
    pub fn carried(&self) -> u64 {
        self.carried.load(Ordering::Relaxed)
    }

    pub fn cut(&self) {
        let live = self.live.lock().unwrap_or_else(PoisonError::into_inner).take();
        for stream in live.into_iter().flatten() {
            // One that has ended already needs no cutting.
            let _ = stream.shutdown(Shutdown::Both);
        }
    }

    pub fn mend(&self) {
        *self.live.lock().unwrap_or_else(PoisonError::into_inner) = Some(Vec::new());
    }
}

fn carry(phone: TcpStream, port: u16, live: &Live, carried: &Arc<AtomicU64>) -> io::Result<()> {
    let mut live = live.lock().unwrap_or_else(PoisonError::into_inner);
    let Some(live) = live.as_mut() else { return Ok(()) };
    let server = TcpStream::connect((Ipv4Addr::LOCALHOST, port))?;
    live.extend([phone.try_clone()?, server.try_clone()?]);
    for (mut from, mut to) in [(phone.try_clone()?, server.try_clone()?), (server, phone)] {
        let carried = Arc::clone(carried);
        thread::spawn(move || {
            // However it ends, the other side hears of it.
            let _ = copy(&mut from, &mut to, &carried);
            let _ = to.shutdown(Shutdown::Both);
            let _ = from.shutdown(Shutdown::Both);
        });
    }
    Ok(())
}

fn copy(from: &mut TcpStream, to: &mut TcpStream, carried: &AtomicU64) -> io::Result<()> {
    let mut piece = [0; 16 * 1024];
    loop {
        let length = from.read(&mut piece)?;
        if length == 0 {
            return Ok(());
        }
        to.write_all(&piece[..length])?;
        carried.fetch_add(length as u64, Ordering::Relaxed);
    }
}
