//! A map of the document under its id, and its fields.

use std::borrow::Cow;
use std::collections::BTreeMap;

use automerge::transaction::Transactable;
use automerge::{AutomergeError, ObjId, ObjType, ROOT, ScalarValue, ScalarValueRef, Value, ValueRef};
use uuid::Uuid;

use super::look::Look;

/// No map of a job has more entries; what is beyond is not read.
const MOST_ENTRIES: usize = 10_000;

/// No key of ours is longer.
const MOST_KEY: usize = 64;

/// What the document keeps under one id. Two devices that make the same id apart make two maps under it: both are read as one,
/// the later one first (by automerge's order, which is the same everywhere), and both are written.
#[derive(Clone, Debug)]
pub(super) struct Node(Vec<ObjId>);

/// The values of one field, the one in use first; more than one when people gave different ones at the same time.
pub(super) type Values<'a> = Vec<Scalar<'a>>;

/// A value as we keep it.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum Scalar<'a> {
    Text(Cow<'a, str>),
    Int(i64),
    Flag(bool),
    Bytes(Cow<'a, [u8]>),
    Null,
}

impl Node {
    /// One of the maps that the first change makes.
    pub fn root(doc: &impl Look, key: &str) -> Self {
        Self(vec![ROOT]).child(doc, key)
    }

    /// What stands under a key; nothing if there is no map there.
    pub fn child(&self, doc: &impl Look, key: &str) -> Self {
        let all = self.0.iter().flat_map(|it| doc.all(it, key).into_iter().rev());
        let maps = all.filter(|(value, _)| matches!(value, Value::Object(ObjType::Map)));
        Self(maps.map(|(_, id)| id).collect())
    }

    pub fn exists(&self) -> bool {
        !self.0.is_empty()
    }

    /// The operation that made it: its counter, which grows with everything that its maker had seen, and its maker's actor.
    pub fn made(&self) -> Option<(u64, &automerge::ActorId)> {
        match self.0.first() {
            Some(ObjId::Id(counter, actor, _)) => Some((*counter, actor)),
            _ => None,
        }
    }

    /// The maps under this one that are keyed by uuid.
    pub fn children(&self, doc: &impl Look) -> BTreeMap<Uuid, Self> {
        let mut children: BTreeMap<Uuid, Self> = BTreeMap::new();
        for map in &self.0 {
            for item in doc.items(map).take(MOST_ENTRIES) {
                let Some(id) = canonical(&item.key) else { continue };
                let child = children.entry(id).or_insert_with(|| Self(Vec::new()));
                if item.conflict {
                    child.0.extend(Self(vec![map.clone()]).child(doc, &item.key).0);
                } else if item.value == ValueRef::Object(ObjType::Map) {
                    child.0.push(item.id());
                }
            }
        }
        children.retain(|_, child| child.exists());
        children
    }

    /// The scalar fields, and the maps by their keys.
    pub fn read<'d>(&self, doc: &'d impl Look) -> Fields<'d> {
        let mut fields = Fields::default();
        for map in &self.0 {
            for item in doc.items(map).take(MOST_ENTRIES) {
                if item.key.len() > MOST_KEY {
                    continue;
                }
                if item.conflict {
                    fields
                        .maps
                        .entry(item.key.clone())
                        .or_insert_with(|| Self(Vec::new()))
                        .0
                        .extend(Self(vec![map.clone()]).child(doc, &item.key).0);
                    let all = doc.all(map, item.key.as_ref());
                    let values = all.into_iter().rev().filter_map(|(value, _)| owned(value));
                    values.for_each(|value| fields.add(item.key.clone(), value));
                    continue;
                }
                match item.value {
                    ValueRef::Object(ObjType::Map) => {
                        let id = item.id();
                        fields.maps.entry(item.key).or_insert_with(|| Self(Vec::new())).0.push(id);
                    }
                    ValueRef::Object(_) => {}
                    ValueRef::Scalar(value) => {
                        if let Some(value) = borrowed(value) {
                            fields.add(item.key, value);
                        }
                    }
                }
            }
        }
        fields
    }

    /// Writes one field; nothing if it says so already and nobody disputes it.
    ///
    /// To settle a dispute by the value in use, automerge would delete the others; as nothing is ever deleted in a job, they are
    /// written over and then the value is written anew.
    pub fn put(
        &self,
        tx: &mut impl Transactable,
        key: &str,
        value: impl Into<ScalarValue>,
    ) -> Result<(), AutomergeError> {
        let value = value.into();
        for map in &self.0 {
            let said = tx.get_all(map, key)?;
            if said.len() > 1 && said.last().is_some_and(|(said, _)| said.as_scalar() == Some(&value)) {
                let another = if value == ScalarValue::Null { false.into() } else { ScalarValue::Null };
                tx.put(map, key, another)?;
            }
            tx.put(map, key, value.clone())?;
        }
        Ok(())
    }

    /// Whether the field's value in use is this one.
    pub fn says(&self, doc: &impl Look, key: &str, value: &ScalarValue) -> bool {
        let said = self.0.first().and_then(|map| doc.all(map, key).pop());
        said.is_some_and(|(said, _)| said.as_scalar() == Some(value))
    }

    /// The operation that wrote the field's value in use.
    pub fn written(&self, doc: &impl Look, key: &str) -> Option<ObjId> {
        self.0.first().and_then(|map| doc.all(map, key).pop()).map(|(_, operation)| operation)
    }

    /// Makes a map under a key, in the map in use.
    pub fn make(&self, tx: &mut impl Transactable, key: &str) -> Result<Self, AutomergeError> {
        let parent = self.0.first().ok_or_else(|| AutomergeError::InvalidObjId(key.to_owned()))?;
        Ok(Self(vec![tx.put_object(parent, key, ObjType::Map)?]))
    }
}

/// A map's fields, read at once.
#[derive(Default)]
pub(super) struct Fields<'a> {
    scalars: BTreeMap<Cow<'a, str>, Values<'a>>,
    maps: BTreeMap<Cow<'a, str>, Node>,
}

impl<'a> Fields<'a> {
    fn add(&mut self, key: Cow<'a, str>, value: Scalar<'a>) {
        let values = self.scalars.entry(key).or_default();
        if !values.contains(&value) {
            values.push(value);
        }
    }

    pub fn map(&self, key: &str) -> Node {
        self.maps.get(key).cloned().unwrap_or_else(|| Node(Vec::new()))
    }

    /// Every scalar field with its value in use.
    pub fn scalars(&self) -> impl Iterator<Item = (&str, &Scalar<'a>)> {
        self.scalars.iter().filter_map(|(key, values)| Some((key.as_ref(), values.first()?)))
    }

    pub fn all(&self, key: &str) -> &[Scalar<'a>] {
        self.scalars.get(key).map_or(&[], Vec::as_slice)
    }

    pub fn get(&self, key: &str) -> Option<&Scalar<'a>> {
        self.all(key).first()
    }

    pub fn text(&self, key: &str) -> Option<&str> {
        self.get(key).and_then(Scalar::text)
    }

    pub fn int(&self, key: &str) -> Option<i64> {
        self.get(key).and_then(Scalar::int)
    }

    pub fn flag(&self, key: &str) -> bool {
        self.get(key) == Some(&Scalar::Flag(true))
    }

    pub fn bytes(&self, key: &str) -> &[u8] {
        match self.get(key) {
            Some(Scalar::Bytes(bytes)) => bytes,
            _ => &[],
        }
    }
}

impl Scalar<'_> {
    pub fn text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }

    pub const fn int(&self) -> Option<i64> {
        match self {
            Self::Int(n) => Some(*n),
            _ => None,
        }
    }
}

/// Only the usual form of a uuid is a key: otherwise one id could stand under several keys.
fn canonical(key: &str) -> Option<Uuid> {
    let id = Uuid::try_parse(key).ok()?;
    (id.hyphenated().encode_lower(&mut Uuid::encode_buffer()) == key).then_some(id)
}

fn borrowed(value: ScalarValueRef<'_>) -> Option<Scalar<'_>> {
    match value {
        ScalarValueRef::Str(text) => Some(Scalar::Text(text)),
        ScalarValueRef::Int(n) => Some(Scalar::Int(n)),
        ScalarValueRef::Boolean(flag) => Some(Scalar::Flag(flag)),
        ScalarValueRef::Bytes(bytes) => Some(Scalar::Bytes(bytes)),
        ScalarValueRef::Null => Some(Scalar::Null),
        _ => None,
    }
}

fn owned<'a>(value: Value<'_>) -> Option<Scalar<'a>> {
    match value.into_scalar().ok()? {
        ScalarValue::Str(text) => Some(Scalar::Text(Cow::Owned(text.to_string()))),
        ScalarValue::Int(n) => Some(Scalar::Int(n)),
        ScalarValue::Boolean(flag) => Some(Scalar::Flag(flag)),
        ScalarValue::Bytes(bytes) => Some(Scalar::Bytes(Cow::Owned(bytes))),
        ScalarValue::Null => Some(Scalar::Null),
        _ => None,
    }
}
