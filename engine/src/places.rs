//! Where things stand: the walk through a house, and which place every subject belongs to.

use std::collections::BTreeMap;

use crownweir_record::{EntryId, JobState};

/// Kinds that an inspector walks to. Everything else stands in one of them.
pub const PLACE_KINDS: [&str; 4] = ["house", "level", "room", "outside"];

/// A place of the walk.
pub struct Place {
    /// The place's own subject.
    pub id: EntryId,
    /// 0 for the house, 1 for a level, 2 for a room.
    pub depth: u32,
    /// What stands here, nested ones after their owner: (subject, depth below the place). Starts with the place.
    pub contents: Vec<(EntryId, u32)>,
}

/// All places, depth first, in the order in which they were listed.
pub struct Places {
    /// The places in walking order.
    pub walk: Vec<Place>,
    /// Subject -> index into `walk`.
    of: BTreeMap<EntryId, usize>,
}

impl Places {
    /// Lays out the walk. Struck places and subjects are in it (they can be restored); unreadable ones are not.
    pub fn of(state: &JobState) -> Places {
        let mut children: BTreeMap<&EntryId, Vec<&EntryId>> = BTreeMap::new();
        let mut roots = Vec::new();
        for id in &state.order {
            match state.subjects.get(id).map(|s| &s.parent) {
                Some(Some(parent)) => children.entry(parent).or_default().push(id),
                Some(None) => roots.push(id),
                None => {}
            }
        }
        let mut places = Places { walk: Vec::new(), of: BTreeMap::new() };
        for root in roots {
            places.enter(state, &children, root, 0);
        }
        places
    }

    fn enter(
        &mut self,
        state: &JobState,
        children: &BTreeMap<&EntryId, Vec<&EntryId>>,
        id: &EntryId,
        depth: u32,
    ) {
        let at = self.walk.len();
        self.walk.push(Place { id: id.clone(), depth, contents: Vec::new() });
        let mut inner = Vec::new();
        self.gather(state, children, id, 0, at, &mut inner);
        for place in inner {
            self.enter(state, children, place, depth + 1);
        }
    }

    fn gather<'a>(
        &mut self,
        state: &JobState,
        children: &BTreeMap<&'a EntryId, Vec<&'a EntryId>>,
        id: &EntryId,
        depth: u32,
        at: usize,
        inner: &mut Vec<&'a EntryId>,
    ) {
        self.walk[at].contents.push((id.clone(), depth));
        self.of.insert(id.clone(), at);
        for child in children.get(id).into_iter().flatten() {
            let kind = state.subjects.get(*child).map_or("", |s| s.kind.as_str());
            if PLACE_KINDS.contains(&kind) {
                inner.push(child);
            } else {
                self.gather(state, children, child, depth + 1, at, inner);
            }
        }
    }

    /// The place a subject stands in (a place stands in itself).
    pub fn place_of(&self, subject: &EntryId) -> Option<&Place> {
        self.of.get(subject).map(|&at| &self.walk[at])
    }

    /// Position in the walk, for ordering.
    pub fn rank(&self, subject: &EntryId) -> usize {
        self.of.get(subject).copied().unwrap_or(usize::MAX)
    }
}
