//! Lengths in forms: each is a button that the tool's own keypad then fills.

use leptos::html;
use leptos::prelude::*;
use shared_model::length::Length;

use crate::keypad::{EntryLine, Keypad, Pad, Take, Taken};
use crate::shown;
use crate::state::OpenJob;

/// What of a form the keypad fills.
#[derive(Clone, Copy)]
struct Field {
    name: &'static str,
    set: Callback<Length>,
}

/// The lengths of one form. Provided as context around its [`LengthField`]s.
#[derive(Clone, Copy)]
pub struct Lengths {
    here: OpenJob,
    aim: RwSignal<Option<&'static str>>,
    fields: StoredValue<Vec<Field>>,
    pad: Pad,
}

impl Lengths {
    pub fn provide() -> Self {
        let here = OpenJob::here();
        let (aim, fields) = (RwSignal::new(None), StoredValue::new(Vec::<Field>::new()));
        let units = Signal::derive(move || here.job.get().units);
        let pad = Pad::new(units);
        let lengths = Self { here, aim, fields, pad };
        provide_context(lengths);
        lengths
    }

    /// The picked field takes the length, and the keypad goes on to the next.
    fn take(self, taken: Option<Taken>) {
        let Some(name) = self.aim.get_untracked() else { return };
        let at = self.fields.with_value(|all| all.iter().position(|it| it.name == name)).unwrap_or_default();
        if let (Some(taken), Some(field)) = (taken, self.fields.with_value(|all| all.get(at).copied())) {
            field.set.run(taken.value);
        }
        self.aim.set(self.fields.with_value(|all| all.get(at + 1).map(|it| it.name)));
    }
}

/// A length of the form; a tap lets the keypad fill it, Enter goes on to the next.
#[component]
pub fn LengthField(
    name: &'static str,
    #[prop(into)] value: Signal<Length>,
    set: Callback<Length>,
    #[prop(optional)] hint: &'static str,
) -> impl IntoView {
    let lengths: Lengths = expect_context();
    lengths.fields.update_value(|all| match all.iter_mut().find(|it| it.name == name) {
        Some(field) => field.set = set,
        None => all.push(Field { name, set }),
    });
    let shown = move || match value.get() {
        Length::ZERO => "—".to_owned(),
        some => shown::length(some, lengths.here.job.get().units),
    };
    let pick = move |_| {
        lengths.pad.clear();
        lengths.aim.update(|it| *it = if *it == Some(name) { None } else { Some(name) });
    };
    // The keypad takes the lower half of the screen: what is being entered stands above it.
    let field = NodeRef::<html::Button>::new();
    Effect::new(move |_| {
        if let (true, Some(field)) = (lengths.aim.get() == Some(name), field.get()) {
            request_animation_frame(move || field.scroll_into_view());
        }
    });
    view! {
        <button type="button" class="choice" node_ref=field data-length=name aria-pressed=move || (lengths.aim.get() == Some(name)).to_string() on:click=pick>
            <span class="choice-head"><span class="choice-name">{name}</span><span class="number">{shown}</span></span>
            {(!hint.is_empty()).then(|| view! { <span class="field-hint">{hint}</span> })}
        </button>
    }
}

/// The keypad at the bottom of the form, while a length is picked.
#[component]
pub fn LengthPad() -> impl IntoView {
    let lengths: Lengths = expect_context();
    let label = Signal::derive(move || lengths.aim.get().unwrap_or_default().to_owned());
    let shown = Memo::new(move |_| lengths.aim.get().is_some());
    let take: Take = Callback::new(move |taken| {
        lengths.take(taken);
        Ok(())
    });
    move || {
        shown.get().then(|| view! {
            <div class="form-pad measure-panel">
                <EntryLine pad=lengths.pad label />
                <Keypad pad=lengths.pad take enter="Enter" side=move || view! {
                    <button type="button" class="key key-move" data-key="done" on:click=move |_| lengths.aim.set(None)>"Done"</button>
                } />
            </div>
        })
    }
}
