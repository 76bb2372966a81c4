//! Every computed number opens to its reason: the rule, its source, and the readings it came from.

use leptos::prelude::*;

/// Why a number is what it is.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Because {
    /// What it is made of, in the order of the sum: what, and how much.
    pub facts: Vec<(String, String)>,
    /// How the facts become the number: one or two sentences.
    pub rule: String,
    /// Where the rule is from; empty when the rule says so itself.
    pub source: String,
}

impl Because {
    pub fn with(mut self, what: &str, how_much: String) -> Self {
        self.facts.push((what.to_owned(), how_much));
        self
    }
}

/// A line that opens to a reason.
#[component]
pub fn Reason(
    /// The question that it answers: "Why 52' 6"?"
    #[prop(into)]
    ask: String,
    because: Because,
) -> impl IntoView {
    view! {
        <details class="reason">
            <summary>{ask}</summary>
            {body(because)}
        </details>
    }
}

/// What a reason says, once it is open.
pub fn body(because: Because) -> impl IntoView {
    let facts = because.facts.into_iter().map(|(what, how_much)| view! { <dt>{what}</dt><dd>{how_much}</dd> });
    let source =
        (!because.source.is_empty()).then(|| view! { <p class="reason-source">"Source: " {because.source}</p> });
    view! {
        <div class="reason-body">
            <dl class="facts">{facts.collect_view()}</dl>
            <p>{because.rule}</p>
            {source}
        </div>
    }
}
