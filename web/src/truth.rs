//! The truth about sharing, in the few words of the chip.

use shared_model::job::Timestamp;

/// Where the connection to the shop's server stands.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub enum Link {
    /// No network, or no server that answers.
    #[default]
    Away,
    Trying,
    Up,
    /// The server answers, and does not know this phone.
    Unpaired,
    /// The server closed the connection and said why.
    Closed(String),
}

/// What is known about one job's sharing; all of it is kept on the phone.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct SyncTruth {
    /// Own edits that no server has confirmed as stored.
    pub waiting: usize,
    /// Own edits that the server refused.
    pub refused: usize,
    /// When the server and this phone last had the same.
    pub shared: Option<Timestamp>,
}

/// How the chip is coloured and marked, always beside its words.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Tone {
    Good,
    Waiting,
    Alone,
    Trouble,
}

impl SyncTruth {
    /// The chip's words; `clock` writes a time of day, `photos_waiting` are not on the server in whole.
    pub fn words(
        &self,
        link: &Link,
        shop: Option<&str>,
        clock: impl Fn(Timestamp) -> String,
        photos_waiting: usize,
    ) -> String {
        let shop = shop.unwrap_or("the shop");
        match (self.refused, self.waiting, self.shared) {
            (1.., _, _) => format!("{} refused", edits(self.refused)),
            (_, _, None) if *link == Link::Unpaired => "not paired".to_owned(),
            (_, _, None) => "on this phone only".to_owned(),
            (_, 0, _) if photos_waiting > 0 => format!("waiting: {}", photos(photos_waiting)),
            (_, 0, Some(at)) => format!("shared with {shop} {}", clock(at)),
            (_, waiting, _) => format!("waiting: {}", edits(waiting)),
        }
    }

    pub fn tone(&self, photos_waiting: usize) -> Tone {
        match (self.refused, self.waiting, self.shared) {
            (1.., _, _) => Tone::Trouble,
            (_, _, None) => Tone::Alone,
            (_, 0, _) if photos_waiting == 0 => Tone::Good,
            _ => Tone::Waiting,
        }
    }
}

/// The words of a job's line in the list, of which the document may not be read: when the job last changed on this phone, when the
/// server and this phone last had the same, and whether it is kept here.
pub fn list_words(
    changed: Timestamp,
    shared: Option<Timestamp>,
    kept: bool,
    clock: impl Fn(Timestamp) -> String,
) -> String {
    match shared {
        Some(at) if changed > at => format!("not shared since {}", clock(at)),
        Some(at) => format!("shared {}", clock(at)),
        None if kept => "on this phone only".to_owned(),
        None => "at the shop".to_owned(),
    }
}

impl Tone {
    pub const fn class(self) -> &'static str {
        match self {
            Self::Good => "chip-shared",
            Self::Waiting => "chip-waiting",
            Self::Alone => "chip-alone",
            Self::Trouble => "chip-alone button-loud",
        }
    }
}

/// `1 photo`, `3 photos`.
pub fn photos(n: usize) -> String {
    if n == 1 { "1 photo".to_owned() } else { format!("{n} photos") }
}

/// `1 edit`, `3 edits`.
pub fn edits(n: usize) -> String {
    if n == 1 { "1 edit".to_owned() } else { format!("{n} edits") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(truth: &SyncTruth, link: &Link) -> String {
        truth.words(link, Some("Fairlea"), |_| "10:42".to_owned(), 0)
    }

    #[test]
    fn the_chip_says_where_the_readings_are() {
        let shared = Some(Timestamp(1));
        assert_eq!(words(&SyncTruth::default(), &Link::Away), "on this phone only");
        assert_eq!(words(&SyncTruth { waiting: 2, ..SyncTruth::default() }, &Link::Away), "on this phone only");
        assert_eq!(words(&SyncTruth { waiting: 2, ..SyncTruth::default() }, &Link::Unpaired), "not paired");
        assert_eq!(words(&SyncTruth { waiting: 1, shared, refused: 0 }, &Link::Up), "waiting: 1 edit");
        assert_eq!(words(&SyncTruth { waiting: 0, shared, refused: 0 }, &Link::Away), "shared with Fairlea 10:42");
        let level = SyncTruth { shared, ..SyncTruth::default() };
        assert_eq!(level.words(&Link::Up, None, |_| String::new(), 2), "waiting: 2 photos");
        assert_eq!((level.tone(2), level.tone(0)), (Tone::Waiting, Tone::Good));
        assert_eq!(words(&SyncTruth { waiting: 3, shared, refused: 1 }, &Link::Up), "1 edit refused");
    }

    #[test]
    fn the_list_says_when_edits_wait() {
        let words = |changed, shared| list_words(Timestamp(changed), shared, true, |at| at.0.to_string());
        assert_eq!(words(7, Some(Timestamp(7))), "shared 7");
        assert_eq!(words(8, Some(Timestamp(7))), "not shared since 7");
        assert_eq!(words(8, None), "on this phone only");
        assert_eq!(list_words(Timestamp(8), None, false, |_| String::new()), "at the shop");
    }
}
