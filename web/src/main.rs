//! The client on the phone.

mod state;

use leptos::prelude::*;

fn main() {
    mount_to_body(|| view! { <p>"Napline"</p> });
}
