//! One change, operation by operation.

use std::collections::{BTreeMap, BTreeSet};

use automerge::legacy::{Key, ObjectId, Op, OpId, OpType};
use automerge::{ActorId, Automerge, Change, ChangeHash, ObjId, ObjType, ReadDoc, ScalarValue};

use super::{Limits, RefusedChange, same_prefix};
use crate::author::Author;
use crate::entry::{Body, Entry, EntryFault};
use crate::entry_id::{EntryId, prefix_of};

/// The longest message that a change may carry, in characters.
const MAX_MESSAGE: usize = 200;
/// The most bytes that a change may carry beside its operations; a client's author field takes some.
const MAX_EXTRA: usize = 256;

/// What has been looked at so far.
pub(super) struct Look<'a> {
    before: &'a Automerge,
    after: &'a Automerge,
    entries: ObjId,
    entries_op: Option<OpId>,
    author: &'a Author,
    bound: &'a BTreeMap<String, String>,
    limits: &'a Limits,
    /// Names put by the changes looked at.
    put: BTreeSet<String>,
    /// The highest operation number so far.
    top: u64,
    /// Actors that nobody has shown before, with their changes.
    shown: BTreeMap<ActorId, Vec<ChangeHash>>,
}

impl<'a> Look<'a> {
    pub(super) fn new(
        before: &'a Automerge,
        after: &'a Automerge,
        entries: ObjId,
        author: &'a Author,
        bound: &'a BTreeMap<String, String>,
        limits: &'a Limits,
    ) -> Look<'a> {
        let entries_op = match &entries {
            ObjId::Root => None,
            ObjId::Id(counter, actor, _) => Some(OpId(*counter, actor.clone())),
        };
        let (put, shown) = (BTreeSet::new(), BTreeMap::new());
        // A change is numbered on from what its author had seen, so the highest number is that of a head.
        let heads = before.get_heads();
        let tops =
            heads.iter().filter_map(|head| before.get_change_meta_by_hash(head)).map(|meta| meta.max_op);
        let top = tops.max().unwrap_or(0);
        Look { before, after, entries, entries_op, author, bound, limits, put, top, shown }
    }

    /// Actors that were shown first here and have a change that was not refused.
    pub(super) fn new_actors(&self, refused: &BTreeMap<ChangeHash, RefusedChange>) -> Vec<String> {
        self.shown
            .iter()
            .filter(|(_, changes)| changes.iter().any(|hash| !refused.contains_key(hash)))
            .map(|(actor, _)| actor.to_hex_string())
            .collect()
    }

    /// Whether a change may enter; `waits` if those it builds on have not arrived.
    pub(super) fn at(&mut self, change: &Change, waits: bool) -> Result<(), String> {
        self.actor(change, waits)?;
        if change.message().is_some_and(|message| message.chars().count() > MAX_MESSAGE) {
            return Err(format!("It carries a message of more than {MAX_MESSAGE} characters."));
        }
        if change.extra_bytes().len() > MAX_EXTRA {
            return Err(format!("It carries more than {MAX_EXTRA} bytes that are not of the record."));
        }
        // Operations are numbered up to 2^32. One number far ahead would leave none for anybody's next entry.
        if !waits && change.start_op().get() > self.top + 1 {
            return Err("Its operations are numbered far ahead of the record.".to_owned());
        }
        let decoded = change.decode();
        let mut texts: BTreeMap<OpId, (String, String)> = BTreeMap::new();
        let mut written: Vec<(String, String)> = Vec::new();
        for (nth, op) in decoded.operations.iter().enumerate() {
            let counter = decoded.start_op.get() + u64::try_from(nth).unwrap_or(u64::MAX / 2);
            self.operation(op, OpId(counter, decoded.actor_id.clone()), &mut texts, &mut written)?;
        }
        // The pieces of a text object stand in the order of writing, which need not be that of reading.
        for (op, (key, pieces)) in texts {
            let id = ObjId::Id(op.0, op.1, 0);
            let text = if waits { pieces } else { self.after.text(&id).unwrap_or(pieces) };
            written.push((key, text));
        }
        let sessions_first = |(key, _): &(String, String)| !key.ends_with(".0");
        written.sort_by_key(sessions_first);
        for (key, text) in written {
            self.entry(&key, &text, change.actor_id(), waits)?;
        }
        if !waits {
            self.top = self.top.max(change.max_op());
        }
        Ok(())
    }

    fn actor(&mut self, change: &Change, waits: bool) -> Result<(), String> {
        let actor = change.actor_id();
        if actor.to_bytes().len() < 8 || actor.to_bytes().len() > 64 {
            return Err("Its actor id is not of a length that this program writes.".to_owned());
        }
        match self.bound.get(&actor.to_hex_string()) {
            Some(user) if *user == self.author.user => return Ok(()),
            Some(_) => {
                let name = self.signed_name(actor);
                return Err(format!(
                    "It says it was written by {name}, but {} is signed in.",
                    self.author.name
                ));
            }
            None => {}
        }
        if waits {
            // Whose it is will be asked when it can be applied; until then it counts for nothing.
            return Ok(());
        }
        if let Some(changes) = self.shown.get_mut(actor) {
            changes.push(change.hash());
            return Ok(());
        }
        if change.seq() != 1 {
            let name = self.signed_name(actor);
            return Err(format!("It goes on in a session of {name} that did not begin with this sign-in."));
        }
        let taken = self.shown.keys().any(|other| same_prefix(other.to_bytes(), actor.to_bytes()))
            || self.bound.keys().any(|other| other.starts_with(&prefix_of(actor.to_bytes())))
            || self.holds_prefix(&prefix_of(actor.to_bytes()));
        if taken {
            return Err("Its session has the same name as another one.".to_owned());
        }
        self.shown.insert(actor.clone(), vec![change.hash()]);
        Ok(())
    }

    fn holds_prefix(&self, prefix: &str) -> bool {
        self.before.map_range(&self.entries, format!("{prefix}.")..format!("{prefix}/")).next().is_some()
    }

    /// Who a session in the stored record belongs to.
    fn signed_name(&self, actor: &ActorId) -> String {
        let key = format!("{}.0", prefix_of(actor.to_bytes()));
        let text = match self.before.get(&self.entries, key.as_str()) {
            Ok(Some((automerge::Value::Scalar(text), _))) => text.as_str().map(str::to_owned),
            Ok(Some((automerge::Value::Object(ObjType::Text), id))) => self.before.text(&id).ok(),
            _ => None,
        };
        match text.and_then(|text| Entry::parse(&text).ok()).map(|entry| entry.body) {
            Some(Body::Session(session)) => session.name,
            _ => "somebody else".to_owned(),
        }
    }

    fn operation(
        &mut self,
        op: &Op,
        id: OpId,
        texts: &mut BTreeMap<OpId, (String, String)>,
        written: &mut Vec<(String, String)>,
    ) -> Result<(), String> {
        if !op.pred.is_empty() {
            return Err("It changes or deletes what is already in the record; entries are only ever added."
                .to_owned());
        }
        let of = match &op.obj {
            ObjectId::Root => None,
            ObjectId::Id(of) => Some(of),
        };
        if let Some((_, pieces)) = of.and_then(|of| texts.get_mut(of)) {
            return match &op.action {
                OpType::Put(ScalarValue::Str(piece)) if op.insert => {
                    pieces.push_str(piece);
                    if pieces.len() > self.limits.entry_bytes {
                        return Err(self.too_long());
                    }
                    Ok(())
                }
                _ => Err("It puts something else than text into an entry.".to_owned()),
            };
        }
        if of.is_none() || of != self.entries_op.as_ref() {
            return Err("It writes outside the entries of the record.".to_owned());
        }
        let Key::Map(key) = &op.key else {
            return Err("It writes outside the entries of the record.".to_owned());
        };
        let entry_id: EntryId = key.parse().map_err(|e: crate::EntryIdError| capital(&e.to_string()))?;
        if entry_id.prefix() != prefix_of(id.1.to_bytes()) {
            return Err("It writes an entry under the name of another session.".to_owned());
        }
        let known = matches!(self.before.get(&self.entries, key.as_str()), Ok(Some(_)));
        if known || !self.put.insert(key.to_string()) {
            return Err(format!("It writes the entry {key} a second time; entries are only ever added."));
        }
        match &op.action {
            OpType::Put(ScalarValue::Str(text)) => written.push((key.to_string(), text.to_string())),
            OpType::Make(ObjType::Text) => {
                texts.insert(id, (key.to_string(), String::new()));
            }
            _ => return Err(format!("Its entry {key} is not a text.")),
        }
        Ok(())
    }

    fn entry(&self, key: &str, text: &str, actor: &ActorId, waits: bool) -> Result<(), String> {
        if text.len() > self.limits.entry_bytes {
            return Err(self.too_long());
        }
        let entry_id: EntryId = key.parse().map_err(|e: crate::EntryIdError| capital(&e.to_string()))?;
        let body = match Entry::parse(text) {
            Ok(entry) => Some(entry.body),
            // A later version of the program may write more types; this one keeps them unread.
            Err(EntryFault::UnknownType { .. }) => None,
            Err(fault) => return Err(format!("The entry {key} cannot be taken: {fault}.")),
        };
        match (&body, entry_id.counter()) {
            (Some(Body::Session(session)), 0) => {
                let who = (&session.user, &session.name, &session.role);
                if who != (&self.author.user, &self.author.name, &self.author.role) {
                    return Err(format!(
                        "It is signed as {} ({}), but {} ({}) is signed in.",
                        session.name, session.role, self.author.name, self.author.role
                    ));
                }
                if session.actor != actor.to_hex_string() {
                    return Err("It is signed under another session than the one that wrote it.".to_owned());
                }
                return Ok(());
            }
            (Some(Body::Session(_)), _) | (_, 0) => {
                return Err(
                    "Only the first entry of a session says who writes, and it says nothing else.".to_owned()
                );
            }
            _ => {}
        }
        let finding = body.as_ref().is_none_or(Body::is_finding);
        if finding && !self.author.inspects() {
            return Err(format!(
                "It enters what was found on site, which the role `{}` does not do.",
                self.author.role
            ));
        }
        let session = format!("{}.0", entry_id.prefix());
        let signed = self.put.contains(&session)
            || matches!(self.before.get(&self.entries, session.as_str()), Ok(Some(_)));
        if !signed && !waits {
            return Err("Its session does not begin by saying who writes.".to_owned());
        }
        Ok(())
    }

    fn too_long(&self) -> String {
        format!("One of its entries is longer than {} bytes.", self.limits.entry_bytes)
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).chain(['.']).collect(),
        None => String::new(),
    }
}
