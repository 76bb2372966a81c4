//! A job's history as it is shown: a page of actions at a time, by day and person.

use shared_model::history::Difference;
use shared_model::ids::DeviceId;
use shared_model::job::{ChangeHash, Entry, Job, Timestamp};

/// So many actions are shown at once; what each did is found out only then.
pub const PAGE: usize = 50;

/// Times are shown to the minute: clocks that differ by less contradict nothing that is shown.
const CLOCKS_AGREE: i64 = 60;

/// No action tells more in the list; the rest is told where it is opened.
const MOST_TOLD: usize = 4;

/// Actions of one person on one day, one after the other.
#[derive(Clone, PartialEq, Debug)]
pub struct Group {
    pub day: String,
    pub who: String,
    pub lines: Vec<Line>,
}

/// One action.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    pub change: ChangeHash,
    pub time: String,
    pub said: String,
    /// Its clock contradicts what it builds on.
    pub clock: Option<String>,
    pub did: Vec<String>,
}

/// How days and times are written where this phone is.
#[derive(Clone, Copy)]
pub struct Calendar {
    pub day: fn(Timestamp) -> String,
    pub time: fn(Timestamp) -> String,
}

/// Entries in their order; neighbours of one day and person are one group.
pub fn groups(
    entries: &[Entry],
    job: &Job,
    did: impl Fn(&ChangeHash) -> Vec<Difference>,
    calendar: Calendar,
) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let mut last = None;
    for entry in entries {
        let day = (calendar.day)(entry.at);
        if last.replace((day.clone(), entry.by)) != Some((day.clone(), entry.by)) {
            groups.push(Group { day, who: who(job, entry.by), lines: Vec::new() });
        }
        let line = Line {
            change: entry.change,
            time: (calendar.time)(entry.at),
            said: said(entry),
            clock: clock_words(entry, calendar),
            did: told(&did(&entry.change), job),
        };
        groups.iter_mut().last().into_iter().for_each(|it| it.lines.push(line.clone()));
    }
    groups
}

/// The name of a device's person in this job.
pub fn who(job: &Job, by: DeviceId) -> String {
    job.people.get(&by).filter(|it| !it.is_empty()).cloned().unwrap_or_else(|| "Somebody without a name".to_owned())
}

/// What the maker of an action called it.
pub fn said(entry: &Entry) -> String {
    if entry.said.trim().is_empty() { "action".to_owned() } else { entry.said.clone() }
}

/// What to know of an action whose clock contradicts what it builds on.
pub fn clock_words(entry: &Entry, calendar: Calendar) -> Option<String> {
    let later = entry.earlier_than.filter(|it| it.0 - entry.at.0 >= CLOCKS_AGREE)?;
    let day = (calendar.day)(later);
    let day = if day == (calendar.day)(entry.at) { String::new() } else { format!("{day}, ") };
    Some(format!("Made after something from {day}{}: one of the two clocks is wrong.", (calendar.time)(later)))
}

fn told(did: &[Difference], job: &Job) -> Vec<String> {
    let shown = if did.len() > MOST_TOLD { MOST_TOLD - 1 } else { did.len() };
    let mut words: Vec<String> = did.iter().take(shown).map(|it| it.words(job)).collect();
    if did.len() > shown {
        words.push(format!("and {} more", did.len() - shown));
    }
    words
}

/// The part of a history on one page, from 0; a page that is not there is the last one.
pub fn page_of(entries: &[Entry], page: usize) -> (usize, &[Entry]) {
    let last = entries.len().saturating_sub(1) / PAGE;
    let page = page.min(last);
    (page, entries.chunks(PAGE).nth(page).unwrap_or_default())
}

/// On which page an action stands.
pub fn page_with(entries: &[Entry], change: ChangeHash) -> usize {
    entries.iter().position(|it| it.change == change).unwrap_or_default() / PAGE
}

/// `1 to 50 of 312 actions, the newest first`.
pub fn span_words(page: usize, on_page: usize, of: usize) -> String {
    match of {
        0 => "Nobody has done anything yet.".to_owned(),
        1 => "One action.".to_owned(),
        _ if on_page == of => format!("{of} actions, the newest first."),
        _ => format!("{} to {} of {of} actions, the newest first.", page * PAGE + 1, page * PAGE + on_page),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::fixture;
    use uuid::Uuid;

    const ADA: DeviceId = DeviceId(Uuid::from_u128(1));
    const BEN: DeviceId = DeviceId(Uuid::from_u128(2));

    const PLAIN: Calendar =
        Calendar { day: |it| format!("day {}", it.0 / 86_400), time: |it| format!("{}:00", it.0 % 86_400 / 3_600) };

    fn entry(n: u8, by: DeviceId, hours: i64, earlier_than: Option<i64>) -> Entry {
        Entry {
            change: ChangeHash([n; 32]),
            by,
            at: Timestamp(hours * 3_600),
            said: "reading".to_owned(),
            earlier_than: earlier_than.map(Timestamp),
        }
    }

    #[test]
    fn neighbours_of_one_day_and_person_are_one_group() {
        let mut job = fixture::job();
        job.people.insert(ADA, "Ada".to_owned());
        let entries = [(1, ADA, 50), (2, ADA, 49), (3, BEN, 49), (4, ADA, 48), (5, ADA, 3)];
        let entries = entries.map(|(n, by, hours)| entry(n, by, hours, None));
        let groups = groups(&entries, &job, |_| Vec::new(), PLAIN);
        let told: Vec<_> = groups.iter().map(|it| (it.day.as_str(), it.who.as_str(), it.lines.len())).collect();
        assert_eq!(
            told,
            [("day 2", "Ada", 2), ("day 2", "Somebody without a name", 1), ("day 2", "Ada", 1), ("day 0", "Ada", 1)]
        );
    }

    #[test]
    fn clocks_that_differ_by_a_minute_are_told_and_the_order_stays() {
        let words = |later: i64| clock_words(&entry(1, ADA, 10, Some(later)), PLAIN);
        assert_eq!(words(10 * 3_600 + 59), None);
        assert_eq!(
            words(11 * 3_600).as_deref(),
            Some("Made after something from 11:00: one of the two clocks is wrong.")
        );
        assert!(words(40 * 3_600).unwrap().contains("day 1, 16:00"));
    }

    #[test]
    fn a_long_history_is_turned_page_by_page() {
        let entries: Vec<Entry> = (0..120).map(|n| entry(n, ADA, 1, None)).collect();
        assert_eq!((page_of(&entries, 0).1.len(), page_of(&entries, 2).1.len()), (50, 20));
        assert_eq!((page_of(&entries, 9).0, page_of(&[], 3)), (2, (0, [].as_slice())));
        assert_eq!(page_with(&entries, ChangeHash([70; 32])), 1);
        assert_eq!(span_words(2, 20, 120), "101 to 120 of 120 actions, the newest first.");
    }
}
