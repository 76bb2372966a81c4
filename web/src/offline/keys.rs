//! How things are named in the browser's storage, and packed.

use js_sys::{Array, Uint8Array};
use serde::Serialize;
use serde::de::DeserializeOwned;
use shared_model::ids::JobId;
use shared_model::job::PictureHash;
use wasm_bindgen::JsValue;

use super::StorageError;
use crate::kept::Hash;

pub(super) fn name_of(job: JobId) -> JsValue {
    JsValue::from_str(&job.to_string())
}

pub(super) fn key(job: JobId, parts: &[f64]) -> JsValue {
    let key = Array::of1(&name_of(job));
    for part in parts {
        key.push(&JsValue::from_f64(*part));
    }
    key.into()
}

pub(super) fn number(parts: &Array, at: u32) -> f64 {
    parts.get(at).as_f64().unwrap_or_default()
}

pub(super) fn hash_key(job: JobId, hash: &Hash) -> JsValue {
    let hex: String = hash.iter().map(|it| format!("{it:02x}")).collect();
    Array::of2(&name_of(job), &JsValue::from_str(&hex)).into()
}

pub(super) fn picture_key(hash: PictureHash) -> JsValue {
    JsValue::from_str(&hash.to_string())
}

pub(super) fn hash_of(parts: &Array) -> Option<Hash> {
    let hex = parts.get(1).as_string()?;
    let byte = |at: usize| u8::from_str_radix(hex.get(at * 2..at * 2 + 2)?, 16).ok();
    let bytes: Vec<u8> = (0..32).map_while(byte).collect();
    bytes.try_into().ok()
}

pub(super) fn pack(value: &impl Serialize) -> Result<Uint8Array, StorageError> {
    let bytes = postcard::to_stdvec(value).map_err(|it| StorageError::Unreadable(it.to_string()))?;
    Ok(Uint8Array::from(bytes.as_slice()))
}

pub(super) fn unpack<T: DeserializeOwned>(value: &JsValue) -> Result<T, StorageError> {
    postcard::from_bytes(&Uint8Array::new(value).to_vec()).map_err(|it| StorageError::Unreadable(it.to_string()))
}
