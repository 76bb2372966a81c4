//! Where on the page one is, as the part of the address after `#`; so that back, bookmarks and reloads work.

use std::fmt;

use shared_model::ids::{FlightId, GoodsId, JobId, RoomId};
use shared_model::job::ChangeHash;

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Route {
    #[default]
    Jobs,
    In(JobId, Place),
}

/// A place in a job.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Place {
    Rooms,
    /// What of the rooms is measured, disputed, unchecked.
    Checked,
    Room(RoomId),
    Flight(FlightId),
    Goods(GoodsId),
    Seams,
    Cuts,
    Day,
    /// Who did what when; a page of it, from 0.
    History(usize),
    /// The job as it stood after a change.
    Then(ChangeHash),
}

impl Place {
    /// Which of the four places in the bottom bar it belongs to.
    pub const fn tab(self) -> Self {
        match self {
            Self::Rooms | Self::Checked | Self::Room(_) | Self::Flight(_) => Self::Rooms,
            Self::Goods(_) | Self::Seams => Self::Seams,
            Self::History(_) | Self::Then(_) => Self::Rooms,
            other => other,
        }
    }
}

impl Route {
    /// Anything that is no place leads to the list of jobs.
    pub fn parse(hash: &str) -> Self {
        Self::known(hash.trim_start_matches('#')).unwrap_or_default()
    }

    fn known(path: &str) -> Option<Self> {
        let mut parts = path.trim_matches('/').split('/');
        let job = (parts.next()? == "job").then(|| parts.next())??.parse().ok()?;
        let place = match (parts.next(), parts.next()) {
            (None | Some("rooms"), None) => Place::Rooms,
            (Some("checked"), None) => Place::Checked,
            (Some("room"), Some(id)) => Place::Room(id.parse().ok()?),
            (Some("flight"), Some(id)) => Place::Flight(id.parse().ok()?),
            (Some("goods"), Some(id)) => Place::Goods(id.parse().ok()?),
            (Some("seams"), None) => Place::Seams,
            (Some("cuts"), None) => Place::Cuts,
            (Some("day"), None) => Place::Day,
            (Some("history"), Some(page)) => Place::History(page.parse().ok()?),
            (Some("then"), Some(change)) => Place::Then(change.parse().ok()?),
            _ => return None,
        };
        Some(Self::In(job, place))
    }
}

impl fmt::Display for Route {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self::In(job, place) = self else { return f.write_str("#/") };
        write!(f, "#/job/{job}/")?;
        match place {
            Place::Rooms => f.write_str("rooms"),
            Place::Checked => f.write_str("checked"),
            Place::Room(id) => write!(f, "room/{id}"),
            Place::Flight(id) => write!(f, "flight/{id}"),
            Place::Goods(id) => write!(f, "goods/{id}"),
            Place::Seams => f.write_str("seams"),
            Place::Cuts => f.write_str("cuts"),
            Place::Day => f.write_str("day"),
            Place::History(page) => write!(f, "history/{page}"),
            Place::Then(change) => write!(f, "then/{change}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    #[test]
    fn every_place_has_an_address_that_leads_back_to_it() {
        let (job, id) = (JobId(Uuid::from_u128(7)), Uuid::from_u128(9));
        let places = [
            Place::Rooms,
            Place::Checked,
            Place::Room(RoomId(id)),
            Place::Flight(FlightId(id)),
            Place::Goods(GoodsId(id)),
            Place::Seams,
            Place::Cuts,
            Place::Day,
            Place::History(3),
            Place::Then(ChangeHash([0xa5; 32])),
        ];
        for place in places {
            let route = Route::In(job, place);
            assert_eq!(Route::parse(&route.to_string()), route);
        }
        assert_eq!(Route::parse(&Route::Jobs.to_string()), Route::Jobs);
    }

    #[test]
    fn an_unknown_address_leads_to_the_jobs() {
        for hash in ["", "#", "#/job", "#/job/12", "#/nowhere", "#/job/00000000-0000-0000-0000-000000000007/attic"] {
            assert_eq!(Route::parse(hash), Route::Jobs, "{hash}");
        }
    }
}
