//! The tool's own keypad. The phone's keyboard never covers the sketch; a keyboard or a laser that types enters here too.

use leptos::ev::{KeyboardEvent, MouseEvent};
use leptos::prelude::*;
use shared_model::job::Tool;
use shared_model::length::{Length, LengthError, Units};
use wasm_bindgen::JsCast;

use crate::entry::{Entry, Key, fraction_label};

/// A length that was taken.
#[derive(Clone, PartialEq, Debug)]
pub struct Taken {
    pub value: Length,
    pub typed: String,
    pub tool: Tool,
}

/// The field and its keys. A handle: copy it freely.
#[derive(Clone, Copy)]
pub struct Pad {
    pub entry: RwSignal<Entry>,
    /// Why the entry was not taken.
    pub refused: RwSignal<Option<String>>,
    pub units: Signal<Units>,
}

/// Gets what was entered, or `None` when Enter was pressed on an empty field; may say why it does not take it.
pub type Take = Callback<Option<Taken>, Result<(), String>>;

impl Pad {
    pub fn new(units: Signal<Units>) -> Self {
        Self { entry: RwSignal::default(), refused: RwSignal::default(), units }
    }

    fn press(self, key: Key) {
        self.refused.set(None);
        self.entry.update(|it| it.press(key));
    }

    pub fn clear(self) {
        self.refused.set(None);
        self.entry.set(Entry::default());
    }

    /// Enter: what is in the field is taken, or the reason why not is said.
    fn enter(self, take: Take) {
        let entry = self.entry.get_untracked();
        let typed = match entry.value(self.units.get_untracked()) {
            _ if entry.is_empty() => Ok(None),
            Ok(value) => Ok(Some(Taken { value, typed: entry.text().trim().to_owned(), tool: entry.tool() })),
            Err(error) => Err(in_words(&error)),
        };
        match typed.and_then(|it| take.run(it)) {
            Ok(()) => self.clear(),
            Err(reason) => self.refused.set(Some(reason)),
        }
    }

    fn typed(self, event: &KeyboardEvent, take: Take) {
        let modified = event.ctrl_key() || event.meta_key() || event.alt_key();
        if modified || event.default_prevented() || types_elsewhere(event) {
            return;
        }
        let key = event.key();
        let mut chars = key.chars();
        match (key.as_str(), chars.next(), chars.next()) {
            ("Enter", ..) => self.enter(take),
            ("Backspace", ..) => self.press(Key::Back),
            (_, Some(typed), None) if Entry::accepts(typed) => {
                self.refused.set(None);
                let at = event.time_stamp();
                self.entry.update(|it| it.type_char(typed, at));
            }
            _ => return,
        }
        event.prevent_default();
    }
}

fn in_words(error: &LengthError) -> String {
    let mut text = error.to_string();
    if let Some(first) = text.get(..1).map(str::to_uppercase) {
        text.replace_range(..1, &first);
    }
    text
}

/// Whether the key belongs to a text field, or presses the button that has the focus.
fn types_elsewhere(event: &KeyboardEvent) -> bool {
    let target = event.target().and_then(|it| it.dyn_into::<web_sys::Element>().ok());
    let Some(tag) = target.map(|it| it.tag_name()) else { return false };
    match tag.as_str() {
        "INPUT" | "SELECT" | "TEXTAREA" => true,
        "BUTTON" | "A" | "SUMMARY" => matches!(event.key().as_str(), "Enter" | " "),
        _ => false,
    }
}

/// A tap must not take the focus: Enter on a keyboard would press that key again.
#[expect(clippy::needless_pass_by_value, reason = "an event listener gets its event")]
pub fn keep_focus(event: MouseEvent) {
    event.prevent_default();
}

/// What stands in the field, in large numbers.
#[component]
pub fn EntryLine(
    pad: Pad,
    /// What the number is for.
    #[prop(into)]
    label: Signal<String>,
) -> impl IntoView {
    let invalid = move || pad.refused.with(Option::is_some).then_some("true");
    let text = move || pad.entry.with(|it| if it.is_empty() { "—".to_owned() } else { it.text().to_owned() });
    view! {
        <div class="entry" aria-invalid=invalid>
            <output class="entry-value" id="entry" aria-label=move || label.get() aria-live="off">{text}</output>
            <span class="entry-hint" id="entry-hint" role="status">{move || pad.refused.get().unwrap_or_else(|| label.get())}</span>
        </div>
    }
}

/// The keys. `side` is a key of the caller's own, beside the digits.
#[component]
pub fn Keypad(
    pad: Pad,
    take: Take,
    /// What Enter does now.
    #[prop(into)]
    enter: Signal<String>,
    #[prop(optional, into)] side: ViewFn,
) -> impl IntoView {
    let keyboard = window_event_listener(leptos::ev::keydown, move |event| pad.typed(&event, take));
    on_cleanup(move || keyboard.remove());
    let side = StoredValue::new(side);
    view! {
        <div class="keypad" role="group" aria-label="Keypad" on:mousedown=keep_focus>
            {move || match pad.units.get() {
                Units::Imperial => imperial(pad, enter_key(pad, take, enter, "key key-take"), side).into_any(),
                Units::Metric => metric(pad, enter_key(pad, take, enter, "key key-take tall"), side).into_any(),
            }}
        </div>
    }
}

fn imperial(pad: Pad, enter: impl IntoView, side: StoredValue<ViewFn>) -> impl IntoView {
    let fractions = (1..16).map(|n| key(pad, Key::Sixteenths(n), &fraction_label(n), "key key-fraction", None));
    view! {
        <div class="keys-fractions">{fractions.collect_view()}</div>
        {digits(pad, [7, 8, 9])}
        {key(pad, Key::Feet, "ft", "key key-unit", Some("feet"))}
        {back(pad)}
        {digits(pad, [4, 5, 6])}
        {key(pad, Key::Inches, "in", "key key-unit", Some("inches"))}
        {side.with_value(ViewFn::run)}
        {digits(pad, [1, 2, 3])}
        {digits(pad, [0])}
        {enter}
    }
}

fn metric(pad: Pad, enter: impl IntoView, side: StoredValue<ViewFn>) -> impl IntoView {
    view! {
        {digits(pad, [7, 8, 9])}
        {key(pad, Key::Metres, "m", "key key-unit", Some("metres"))}
        {back(pad)}
        {digits(pad, [4, 5, 6])}
        {key(pad, Key::Centimetres, "cm", "key key-unit", Some("centimetres"))}
        {side.with_value(ViewFn::run)}
        {digits(pad, [1, 2, 3])}
        {key(pad, Key::Millimetres, "mm", "key key-unit", Some("millimetres"))}
        {enter}
        {key(pad, Key::Point, ".", "key key-digit", Some("point"))}
        {key(pad, Key::Digit(0), "0", "key key-digit wide", None)}
        <button type="button" class="key key-move" data-key="clear" on:click=move |_| pad.clear()>"clear"</button>
    }
}

fn digits<const N: usize>(pad: Pad, digits: [u8; N]) -> impl IntoView {
    digits.map(|it| key(pad, Key::Digit(it), &it.to_string(), "key key-digit", None)).collect_view()
}

fn key(pad: Pad, key: Key, label: &str, class: &'static str, name: Option<&'static str>) -> impl IntoView + use<> {
    view! {
        <button type="button" class=class data-key=label.to_owned() aria-label=name on:click=move |_| pad.press(key)>{label.to_owned()}</button>
    }
}

fn back(pad: Pad) -> impl IntoView {
    view! { <button type="button" class="key key-move" data-key="back" aria-label="Delete the last key" on:click=move |_| pad.press(Key::Back)>"⌫"</button> }
}

fn enter_key(pad: Pad, take: Take, label: Signal<String>, class: &'static str) -> impl IntoView {
    view! { <button type="button" class=class data-key="enter" on:click=move |_| pad.enter(take)>{move || label.get()}</button> }
}
