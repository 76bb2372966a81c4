//! Days and times as this phone writes them.

use js_sys::Date;
use shared_model::job::Timestamp;
use wasm_bindgen::JsValue;

fn moment(at: Timestamp) -> Date {
    Date::new(&JsValue::from_f64(at.0 as f64 * 1_000.0))
}

pub fn is_today(at: Timestamp) -> bool {
    moment(at).to_date_string() == Date::new_0().to_date_string()
}

/// `2026-11-09`.
pub fn date(at: Timestamp) -> String {
    let at = moment(at);
    format!("{}-{:02}-{:02}", at.get_full_year(), at.get_month() + 1, at.get_date())
}

/// `7:05`.
pub fn time(at: Timestamp) -> String {
    let at = moment(at);
    format!("{}:{:02}", at.get_hours(), at.get_minutes())
}

/// The time of day of a moment today, the date of an earlier one.
pub fn clock(at: Timestamp) -> String {
    if is_today(at) { time(at) } else { date(at) }
}
