//! Files out of the page and into it, as a browser does it.

use js_sys::{Array, Uint8Array};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{Blob, BlobPropertyBag, Event, File, HtmlAnchorElement, HtmlInputElement, Url};

/// Hands a file to the browser, which saves it or asks where to.
pub fn save(name: &str, kind: &str, bytes: &[u8]) -> Result<(), JsValue> {
    let url = address(kind, bytes)?;
    let link: HtmlAnchorElement = leptos::prelude::document().create_element("a")?.unchecked_into();
    link.set_href(&url);
    link.set_download(name);
    link.click();
    // The browser has begun to read it, but not more than that.
    gloo_timers::callback::Timeout::new(60_000, move || drop(Url::revoke_object_url(&url))).forget();
    Ok(())
}

/// An address under which this page finds a file, until it is revoked.
pub fn address(kind: &str, bytes: &[u8]) -> Result<String, JsValue> {
    let options = BlobPropertyBag::new();
    options.set_type(kind);
    let parts = Array::of1(&Uint8Array::from(bytes));
    Url::create_object_url_with_blob(&Blob::new_with_u8_array_sequence_and_options(&parts, &options)?)
}

/// The file that was chosen in an input field; the same one may be chosen again.
pub fn picked(event: &Event) -> Option<File> {
    let input: HtmlInputElement = event.target()?.dyn_into().ok()?;
    let file = input.files()?.get(0)?;
    input.set_value("");
    Some(file)
}

/// The name and the bytes of the file that was chosen in an input field; the same one may be chosen again. `None` when none was.
pub async fn chosen(event: &Event) -> Option<Result<(String, Vec<u8>), JsValue>> {
    let file = picked(event)?;
    Some(JsFuture::from(file.array_buffer()).await.map(|it| (file.name(), Uint8Array::new(&it).to_vec())))
}
