//! The server as phones and people meet it: the real binary, over real sockets.
#![expect(clippy::unwrap_used, reason = "what goes wrong here fails its test")]

/// The client as the server hands it out.
mod client;
/// The command line: answers, messages, exit codes.
mod commands;
/// The local network learns where the shop is.
mod discovery;
/// Crashes, full disks, second processes, shutdowns: nothing acknowledged is lost.
mod durability;
/// Jobs and whole stores as files.
mod files;
/// Bytes that no honest phone sends.
mod hostile;
/// Encrypted and plain on one port; whom a phone has to trust.
mod https;
/// Who gets in, and what everybody else sees.
mod pairing;
/// Two servers of a shop.
mod peers;
/// Who may do what, and who decides.
mod people;
/// Pictures in job files and backups.
mod photo_files;
/// Pictures: in pieces, cut off, refused, on a full disk, between servers.
mod photos;
/// Several phones on one job.
mod sharing;
