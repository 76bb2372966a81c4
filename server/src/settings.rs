//! What a shop can set, on the command line or in the environment.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Duration;

#[derive(clap::Args, Debug)]
pub struct Settings {
    /// Folder that keeps all jobs and paired phones; made if it does not exist
    #[arg(long, value_name = "DIR", env = "NAPLINE_DATA", default_value = "napline-data")]
    pub data: PathBuf,

    /// Address and port to listen on; 0.0.0.0 is every network this computer is in, 127.0.0.1 only this computer
    #[arg(long, value_name = "ADDR:PORT", env = "NAPLINE_LISTEN", default_value = "0.0.0.0:8420")]
    pub listen: SocketAddr,

    /// The shop's name, shown on the phones
    #[arg(long, value_name = "NAME", env = "NAPLINE_SHOP", default_value = "our shop")]
    pub shop: String,

    /// A name by which phones may call this computer, besides its own name and its addresses; may be repeated
    #[arg(long = "host", value_name = "NAME")]
    pub hosts: Vec<String>,

    /// Serve plain http only: for a proxy on the same computer that speaks https to the phones
    #[arg(long, conflicts_with_all = ["cert", "key"])]
    pub no_tls: bool,

    /// A certificate chain (PEM) that phones trust already, for a shop with a name of its own; read again when it changes
    #[arg(long, value_name = "FILE", requires = "key")]
    pub cert: Option<PathBuf>,

    /// The certificate's key (PEM)
    #[arg(long, value_name = "FILE", requires = "cert")]
    pub key: Option<PathBuf>,

    /// Most room that photos take, in MiB; further ones wait on the phones
    #[arg(long, value_name = "MIB", default_value_t = 20_480)]
    pub photos_most: u32,

    /// Pair with another server of the shop by a link that an owner made there, once; from then on the two keep in step
    #[arg(long, value_name = "LINK")]
    pub join: Option<String>,

    /// Do not announce this server on the local network
    #[arg(long)]
    pub quiet: bool,

    /// Put the demo house into the store, unless it is there
    #[arg(long)]
    pub demo: bool,

    /// Print a pairing link even if phones are paired already
    #[arg(long)]
    pub pair: bool,

    /// How long a pairing link works, in seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 1800, value_parser = clap::value_parser!(u32).range(1..=86_400))]
    pub pair_within: u32,
}

impl Settings {
    /// Bytes.
    pub fn photos_most(&self) -> u64 {
        u64::from(self.photos_most) << 20
    }

    pub fn pairing_lifetime(&self) -> Duration {
        Duration::from_secs(self.pair_within.into())
    }
}
