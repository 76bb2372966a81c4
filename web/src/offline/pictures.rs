//! Pictures in the browser's storage.

use std::collections::BTreeMap;

use idb::Transaction;
use js_sys::Uint8Array;
use shared_model::job::PictureHash;
use wasm_bindgen::JsValue;

use super::keys::picture_key;
use super::{PICTURE, READ, Storage, StorageError, THERE};

impl Storage {
    /// The pictures on this phone, each with the server that said last that it has it.
    pub async fn pictures(&self) -> Result<BTreeMap<PictureHash, Option<[u8; 16]>>, StorageError> {
        let transaction: Transaction = self.transaction(READ)?;
        let (pictures, there) = (transaction.object_store(PICTURE)?, transaction.object_store(THERE)?);
        let keys = pictures.get_all_keys(None, None)?;
        let (said, servers) = (there.get_all_keys(None, None)?, there.get_all(None, None)?);
        let hash = |key: &JsValue| key.as_string()?.parse::<PictureHash>().ok();
        let mut all: BTreeMap<PictureHash, Option<[u8; 16]>> =
            keys.await?.iter().filter_map(|it| Some((hash(it)?, None))).collect();
        for (key, server) in said.await?.iter().zip(servers.await?) {
            if let Some(known) = hash(key).and_then(|it| all.get_mut(&it)) {
                *known = Uint8Array::new(&server).to_vec().try_into().ok();
            }
        }
        Ok(all)
    }

    /// A picture's file; `None` when it is not on this phone.
    pub async fn picture(&self, hash: PictureHash) -> Result<Option<Vec<u8>>, StorageError> {
        let transaction = self.transaction(READ)?;
        let found = transaction.object_store(PICTURE)?.get(picture_key(hash))?.await?;
        Ok(found.map(|it| Uint8Array::new(&it).to_vec()))
    }
}
