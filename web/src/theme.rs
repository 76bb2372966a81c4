//! Day, night and sun; the phone's own setting without a choice.

use leptos::prelude::*;

use crate::offline::Write;
use crate::phone::Phone;

/// The setting that keeps it.
const THEME: &str = "theme";

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Theme {
    #[default]
    Phone,
    Day,
    Night,
    Sun,
}

impl Theme {
    pub const ALL: [Self; 4] = [Self::Phone, Self::Day, Self::Night, Self::Sun];

    pub const fn name(self) -> &'static str {
        match self {
            Self::Phone => "Phone's",
            Self::Day => "Day",
            Self::Night => "Night",
            Self::Sun => "Sun",
        }
    }

    const fn key(self) -> &'static str {
        match self {
            Self::Phone => "",
            Self::Day => "day",
            Self::Night => "night",
            Self::Sun => "sun",
        }
    }

    fn apply(self) {
        let Some(page) = document().document_element() else { return };
        // Neither fails for a fixed name.
        let _ = match self {
            Self::Phone => page.remove_attribute("data-theme"),
            other => page.set_attribute("data-theme", other.key()),
        };
    }
}

/// Applies the choice that was kept.
pub async fn restore(phone: Phone) {
    let Some(storage) = phone.storage() else { return };
    let kept = storage.setting(THEME).await.ok().flatten().unwrap_or_default();
    let theme = Theme::ALL.into_iter().find(|it| it.key().as_bytes() == kept).unwrap_or_default();
    theme.apply();
    phone.theme.set(theme);
}

pub fn choose(phone: Phone, theme: Theme) {
    theme.apply();
    phone.theme.set(theme);
    if let Some(storage) = phone.storage() {
        storage.write([Write::Setting(THEME, theme.key().as_bytes().to_vec())]);
    }
}
