//! Our own icons, drawn in the colour of the text around them.

use leptos::prelude::*;

/// The signs of the four places.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Glyph {
    Rooms,
    Seams,
    Cuts,
    Day,
}

impl Glyph {
    const fn svg(self) -> &'static str {
        match self {
            Self::Rooms => include_str!("../icons/rooms.svg"),
            Self::Seams => include_str!("../icons/seams.svg"),
            Self::Cuts => include_str!("../icons/cuts.svg"),
            Self::Day => include_str!("../icons/day.svg"),
        }
    }

    /// Decoration beside a word: a screen reader passes over it.
    pub fn show(self) -> impl IntoView {
        view! { <span class="glyph" aria-hidden="true" inner_html=self.svg()></span> }
    }
}
