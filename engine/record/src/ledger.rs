//! The entries of a document as read so far, so that a new one does not cost reading all of them again.

use std::collections::BTreeMap;

use automerge::{Automerge, ObjId, ObjType, ROOT, ReadDoc, Value, ValueRef};

use crate::entry::Entry;
use crate::entry_id::{EntryId, prefix_of};
use crate::state::{JobState, Order};

/// The key of the shape's number in the document's root.
pub(crate) const SCHEMA_KEY: &str = "schema";
/// The key of the entries in the document's root.
pub(crate) const ENTRIES_KEY: &str = "entries";

/// One key of the entries map: which operation wrote it, and what it says.
#[derive(Debug, Clone)]
struct Kept {
    order: Order,
    read: Result<(EntryId, Entry), String>,
}

/// Every entry of a document, read once.
#[derive(Debug, Clone, Default)]
pub(crate) struct Ledger {
    kept: BTreeMap<String, Kept>,
    last: Order,
}

/// The number of the document's shape; `None` if it is not a job.
pub(crate) fn schema_of(doc: &Automerge) -> Option<u64> {
    match doc.get(ROOT, SCHEMA_KEY).ok().flatten()? {
        (Value::Scalar(scalar), _) => match scalar.as_ref() {
            automerge::ScalarValue::Int(n) => u64::try_from(*n).ok(),
            automerge::ScalarValue::Uint(n) => Some(*n),
            // A JavaScript client writes a whole number as a float when told to.
            automerge::ScalarValue::F64(n) if *n >= 0.0 && n.fract() == 0.0 && *n < 1e9 => Some(*n as u64),
            _ => None,
        },
        _ => None,
    }
}

/// The map that holds the entries; `None` if the document is not a job.
pub(crate) fn entries_of(doc: &Automerge) -> Option<ObjId> {
    match doc.get(ROOT, ENTRIES_KEY).ok().flatten()? {
        (Value::Object(ObjType::Map), id) => Some(id),
        _ => None,
    }
}

impl Ledger {
    /// Takes in what the document holds beyond what was read before, and brings `state` up to it.
    pub(crate) fn follow(&mut self, doc: &Automerge, state: &mut JobState) {
        let Some(entries) = entries_of(doc) else { return };
        let mut fresh: Vec<(Order, String)> = Vec::new();
        let mut changed = false;
        let mut met = 0;
        for item in doc.map_range(&entries, ..) {
            met += 1;
            let id = item.id();
            let (order, actor) = order_of(&id);
            match self.kept.get(item.key.as_ref()) {
                Some(kept) if kept.order == order => continue,
                Some(_) => changed = true,
                None => fresh.push((order.clone(), item.key.to_string())),
            }
            let read = read_entry(doc, &item.key, &item.value, &id, &actor);
            self.kept.insert(item.key.into_owned(), Kept { order, read });
        }
        // Both can only come of a change that the door would have refused. The result is still a function of the
        // document alone.
        if self.kept.len() != met {
            let present: std::collections::BTreeSet<String> = doc.keys(&entries).collect();
            self.kept.retain(|key, _| present.contains(key));
            changed = true;
        }
        let schema = schema_of(doc).unwrap_or(0);
        fresh.sort();
        let only_later = fresh.first().is_none_or(|(first, _)| *first > self.last);
        if changed || !only_later || state.schema != schema {
            *state = JobState { schema, ..JobState::default() };
            fresh = self.kept.iter().map(|(key, kept)| (kept.order.clone(), key.clone())).collect();
            fresh.sort();
        }
        for (order, key) in fresh {
            match self.kept.get(&key).map(|kept| &kept.read) {
                Some(Ok((id, entry))) => state.take(id, &hex::encode(&order.1), entry),
                Some(Err(why)) => state.skip(&key, why),
                None => {}
            }
            self.last = self.last.clone().max(order);
        }
    }
}

fn order_of(id: &ObjId) -> (Order, Vec<u8>) {
    match id {
        ObjId::Root => ((0, Vec::new()), Vec::new()),
        ObjId::Id(counter, actor, _) => ((*counter, actor.to_bytes().to_vec()), actor.to_bytes().to_vec()),
    }
}

fn read_entry(
    doc: &Automerge,
    key: &str,
    value: &ValueRef<'_>,
    id: &ObjId,
    actor: &[u8],
) -> Result<(EntryId, Entry), String> {
    let entry_id: EntryId = key.parse().map_err(|e: crate::EntryIdError| e.to_string())?;
    if entry_id.prefix() != prefix_of(actor) {
        return Err("it is written under the name of another session".to_owned());
    }
    let text = match value {
        ValueRef::Scalar(automerge::ScalarValueRef::Str(text)) => text.to_string(),
        // Plain strings of a JavaScript client are text objects.
        ValueRef::Object(ObjType::Text) => doc.text(id).map_err(|e| e.to_string())?,
        _ => return Err("it is not a text".to_owned()),
    };
    let entry = Entry::parse(&text).map_err(|e| e.to_string())?;
    let is_session = matches!(entry.body, crate::entry::Body::Session(_));
    if is_session != (entry_id.counter() == 0) {
        return Err("only the first entry of a session says who writes, and it says nothing else".to_owned());
    }
    Ok((entry_id, entry))
}
