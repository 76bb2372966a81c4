//! A sheet from the bottom of the screen, or a dialog on a wide one.

use leptos::ev::KeyboardEvent;
use leptos::html;
use leptos::prelude::*;

/// Shown while `open`; Escape, a tap beside it and its own button close it.
#[component]
pub fn Sheet(
    #[prop(into)] title: Signal<String>,
    open: RwSignal<bool>,
    #[prop(optional)] id: &'static str,
    children: ChildrenFn,
) -> impl IntoView {
    let children = StoredValue::new(children);
    move || {
        open.get().then(|| {
            let sheet = NodeRef::<html::Div>::new();
            // Whoever reads the page by keyboard or ear continues inside the sheet.
            Effect::new(move |_| {
                if let Some(sheet) = sheet.get() {
                    let _ = sheet.focus();
                }
            });
            let keys = move |event: KeyboardEvent| {
                event.stop_propagation();
                if event.key() == "Escape" {
                    open.set(false);
                }
            };
            view! {
                // A sheet may open from keys that keep the focus where it is; a field inside must get it.
                <div class="sheet-back" on:click=move |_| open.set(false) on:mousedown=|event| event.stop_propagation()>
                    <div
                        class="sheet" id=id role="dialog" aria-modal="true" aria-label=move || title.get() tabindex="-1" node_ref=sheet
                        on:click=|event| event.stop_propagation() on:keydown=keys
                    >
                        <div class="sheet-head">
                            <h2 class="subtitle">{move || title.get()}</h2>
                            <button type="button" class="button button-quiet button-icon" aria-label="Close" data-close="" on:click=move |_| open.set(false)>"×"</button>
                        </div>
                        <div class="sheet-body">{children.with_value(|it| it())}</div>
                    </div>
                </div>
            }
        })
    }
}
