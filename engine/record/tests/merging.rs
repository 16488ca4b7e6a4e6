//! What holds for every interleaving of edits and merges.

mod common;

use std::collections::BTreeMap;

use common::*;
use crownweir_record::{Author, Edit, EntryId, Hindrance, How, JobHeader, JobState, Record, SubjectRef};
use proptest::prelude::*;
use proptest::sample::Index;

const USERS: [&str; 3] = ["okafor", "lindqvist", "vale"];

/// What a person does, with whatever stands in their record.
#[derive(Debug, Clone)]
enum Act {
    Add(Index),
    Rename(Index, u8),
    Strike(Index),
    StrikeStrike(Index),
    Restore(Index),
    Seen(Index, u8, Option<u8>),
    All(Index, bool),
    Photo(Index, u8),
    Words(u8),
    Visit(u8),
    Hinder(Index, bool),
    Open(Index, Index, u8),
    Header(u8),
    Notice(Index),
}

#[derive(Debug, Clone)]
enum Step {
    Act(usize, Act),
    /// Stages and discards: the store failed.
    Fail(usize, Act),
    Pull(usize, usize),
    /// The page is loaded again: a new session.
    Reload(usize),
}

fn an_act() -> impl Strategy<Value = Act> {
    prop_oneof![
        3 => any::<Index>().prop_map(Act::Add),
        1 => (any::<Index>(), 0..3u8).prop_map(|(i, n)| Act::Rename(i, n)),
        2 => any::<Index>().prop_map(Act::Strike),
        1 => any::<Index>().prop_map(Act::StrikeStrike),
        1 => any::<Index>().prop_map(Act::Restore),
        6 => (any::<Index>(), 0..3u8, prop::option::weighted(0.8, 0..3u8)).prop_map(|(i, f, v)| Act::Seen(i, f, v)),
        2 => (any::<Index>(), any::<bool>()).prop_map(|(i, all)| Act::All(i, all)),
        1 => (any::<Index>(), 0..4u8).prop_map(|(i, n)| Act::Photo(i, n)),
        1 => (0..4u8).prop_map(Act::Words),
        1 => (1..29u8).prop_map(Act::Visit),
        1 => (any::<Index>(), any::<bool>()).prop_map(|(i, b)| Act::Hinder(i, b)),
        1 => (any::<Index>(), any::<Index>(), 0..3u8).prop_map(|(v, p, w)| Act::Open(v, p, w)),
        1 => (0..3u8).prop_map(Act::Header),
        1 => any::<Index>().prop_map(Act::Notice),
    ]
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let peer = 0..USERS.len();
    let step = prop_oneof![
        8 => (peer.clone(), an_act()).prop_map(|(p, a)| Step::Act(p, a)),
        1 => (peer.clone(), an_act()).prop_map(|(p, a)| Step::Fail(p, a)),
        3 => (peer.clone(), peer.clone()).prop_map(|(a, b)| Step::Pull(a, b)),
        1 => peer.prop_map(Step::Reload),
    ];
    prop::collection::vec(step, 1..60)
}

/// The edit an act comes to in a record, if there is something to do it to.
fn edit(act: &Act, record: &Record) -> Option<Edit> {
    let state = record.state();
    let subject = |i: &Index| state.order[i.index(state.order.len())].clone();
    let visit =
        |i: &Index| (!state.visits.is_empty()).then(|| state.visits[i.index(state.visits.len())].id.clone());
    Some(match act {
        Act::Add(i) => Edit::Subject {
            kind: "room".into(),
            name: format!("Room {}", state.order.len()),
            parent: Some(SubjectRef::Id(subject(i))),
            copied_from: None,
        },
        Act::Rename(i, n) => Edit::Name { of: subject(i), name: format!("Name {n}") },
        Act::Strike(i) => strike(&subject(i), "struck"),
        Act::StrikeStrike(i) => {
            if state.strikes.is_empty() {
                return None;
            }
            strike(&state.strikes[i.index(state.strikes.len())].id, "not so")
        }
        Act::Restore(i) => {
            let of = subject(i);
            state.subjects[&of].struck.as_ref()?;
            Edit::Restore { of, why: "it is there".into() }
        }
        Act::Seen(i, fact, value) => {
            let value = value.map_or(String::new(), |v| format!("{v} in"));
            seen(&subject(i), &format!("fact.{fact}"), &value)
        }
        Act::All(i, all) => Edit::All { subject: SubjectRef::Id(subject(i)), kind: "sink".into(), all: *all },
        Act::Photo(i, n) => Edit::Photo {
            subject: SubjectRef::Id(subject(i)),
            sha256: format!("{n:064x}"),
            bytes: 1000,
            caption: String::new(),
        },
        Act::Words(n) => Edit::Words { text: format!("words {n}"), provision: None, subject: None },
        Act::Visit(day) => Edit::Visit { stage: "rough".into(), on: format!("2026-11-{day:02}") },
        Act::Hinder(i, not_ready) => {
            let what = if *not_ready { Hindrance::NotReady } else { Hindrance::NoAccess };
            Edit::Hinder { visit: visit(i)?, what, why: "gate".into() }
        }
        Act::Open(v, p, w) => {
            Edit::Open { visit: visit(v)?, place: subject(p), why: "x".repeat(usize::from(*w)) }
        }
        Act::Header(n) => Edit::Job(JobHeader { scope: format!("scope {n}"), ..header() }),
        Act::Notice(v) => Edit::Notice {
            visit: visit(v)?,
            disposition: "approved".into(),
            heads: record.heads(),
            digest: String::new(),
            received_by: "T. Vale".into(),
        },
    })
}

/// Three tablets of one job, and every observation ever accepted on any of them.
struct Fleet {
    tablets: Vec<Record>,
    sessions: Vec<u8>,
    next: u8,
    observed: BTreeMap<EntryId, (EntryId, String, Option<String>, Author)>,
}

impl Fleet {
    fn new() -> Fleet {
        let (server, _) = imported();
        let tablets = (0..USERS.len()).map(|p| tablet(&server, USERS[p], p as u8)).collect();
        let sessions = (0..USERS.len() as u8).collect();
        Fleet { tablets, sessions, next: USERS.len() as u8, observed: BTreeMap::new() }
    }

    fn step(&mut self, step: &Step) {
        match step {
            Step::Act(p, act) => {
                let record = &mut self.tablets[*p];
                let Some(edit) = edit(act, record) else { return };
                let id = common::act(record, edit.clone());
                if let Edit::Seen { subject: SubjectRef::Id(of), fact, value, .. } = edit {
                    self.observed.insert(id, (of, fact, value, inspector(USERS[*p])));
                }
            }
            Step::Fail(p, act) => {
                let record = &mut self.tablets[*p];
                let Some(edit) = edit(act, record) else { return };
                record.stage(&[edit], AT).unwrap();
                record.discard();
            }
            Step::Pull(to, from) => {
                let from = self.tablets[*from].clone();
                pull(&mut self.tablets[*to], &from, USERS[*to], self.sessions[*to]);
            }
            Step::Reload(p) => {
                self.sessions[*p] = self.next;
                self.next += 1;
                self.tablets[*p] = tablet(&self.tablets[*p], USERS[*p], self.sessions[*p]);
            }
        }
    }
}

/// What must hold in any state.
fn check_sound(state: &JobState) {
    assert_eq!(state.faults, Vec::<String>::new());
    assert_eq!(state.order.len(), state.subjects.len());
    for (at, id) in state.order.iter().enumerate() {
        if let Some(parent) = &state.subjects[id].parent {
            assert!(state.order[..at].contains(parent), "what it stands in comes before it");
        }
    }
    for register in state.facts.values() {
        assert!(!register.standing.is_empty(), "something always stands");
        let all: Vec<_> = register.all().collect();
        for standing in &register.standing {
            assert!(
                all.iter().all(|other| !other.after.contains(&standing.id)),
                "nobody replaced what stands"
            );
        }
        for earlier in &register.earlier {
            assert!(
                all.iter().any(|other| other.after.contains(&earlier.id)),
                "somebody replaced what does not"
            );
        }
    }
    for strike in &state.strikes {
        let struck = state.strikes_of(&strike.id).any(|s| s.stands);
        assert_eq!(strike.stands, !struck);
        if let Some(subject) = state.subjects.get(&strike.of) {
            assert_eq!(subject.struck.is_some(), state.strikes_of(&strike.of).any(|s| s.stands));
        }
    }
}

proptest! {
    #![proptest_config(cases(24))]

    #[test]
    fn tablets_that_hold_the_same_say_the_same_and_lose_nothing(
        steps in steps(),
        order in Just((0..USERS.len()).collect::<Vec<_>>()).prop_shuffle(),
        again in Just((0..USERS.len()).collect::<Vec<_>>()).prop_shuffle(),
    ) {
        let mut fleet = Fleet::new();
        for step in &steps {
            fleet.step(step);
            for record in &fleet.tablets {
                check_sound(record.state());
            }
        }
        // Everything meets, each tablet taking the others in an order of its own.
        let before: Vec<Record> = fleet.tablets.clone();
        for (to, first) in order.iter().enumerate() {
            let n = again.len();
            for from in (0..n).map(|k| again[(first + k) % n]) {
                pull(&mut fleet.tablets[to], &before[from], USERS[to], fleet.sessions[to]);
            }
        }
        let [one, two, three] = &fleet.tablets[..] else { unreachable!() };
        prop_assert_eq!(one.heads(), two.heads());
        prop_assert_eq!(one.heads(), three.heads());
        prop_assert_eq!(one.state(), two.state());
        prop_assert_eq!(one.state(), three.state());
        check_sound(one.state());
        for (id, (of, fact, value, who)) in &fleet.observed {
            let register = one.state().fact(of, fact).unwrap();
            let kept = register.all().find(|s| s.id == *id).unwrap();
            prop_assert_eq!(&kept.value.value, value);
            prop_assert_eq!(&*kept.who, who);
        }
    }

    #[test]
    fn following_edit_by_edit_says_what_reading_from_scratch_says(steps in steps()) {
        let mut fleet = Fleet::new();
        for step in &steps {
            fleet.step(step);
        }
        for record in &fleet.tablets {
            let scratch = Record::open(&record.save()).unwrap();
            prop_assert_eq!(scratch.state(), record.state());
            let at = record.state_at(&record.heads()).unwrap();
            prop_assert_eq!(&at, record.state());
        }
    }

    #[test]
    fn chunks_open_in_any_order_and_more_than_once(
        acts in prop::collection::vec(an_act(), 1..12),
        snapshot_after in any::<Index>(),
        keys in prop::collection::vec(any::<u64>(), 32),
        repeated in any::<Index>(),
    ) {
        let (server, _) = imported();
        let mut record = tablet(&server, "okafor", 1);
        let mut chunks = vec![server.save()];
        let snapshot_after = snapshot_after.index(acts.len());
        for (n, act) in acts.iter().enumerate() {
            let Some(edit) = edit(act, &record) else { continue };
            chunks.push(record.stage(&[edit], AT).unwrap().bytes);
            record.accept();
            if n == snapshot_after {
                chunks.push(record.save());
            }
        }
        chunks.push(chunks[repeated.index(chunks.len())].clone());
        let mut shuffled: Vec<_> = chunks.into_iter().zip(keys.iter().cycle()).collect();
        shuffled.sort_by_key(|(_, key)| **key);
        let bytes: Vec<u8> = shuffled.into_iter().flat_map(|(chunk, _)| chunk).collect();
        let opened = Record::open(&bytes).unwrap();
        prop_assert_eq!(opened.heads(), record.heads());
        prop_assert_eq!(opened.state(), record.state());
    }

    #[test]
    fn values_set_apart_stand_together_until_somebody_who_saw_both_decides(
        values in prop::collection::vec(0..3u8, 3),
        decided in 0..3u8,
        decider in 0..3usize,
    ) {
        let (server, house) = imported();
        let mut tablets: Vec<Record> = (0..3).map(|p| tablet(&server, USERS[p], p as u8)).collect();
        let mut ids = Vec::new();
        for (record, value) in tablets.iter_mut().zip(&values) {
            ids.push(act(record, seen(&house, "height", &format!("{value} in"))));
        }
        let all = tablets.clone();
        for (p, record) in tablets.iter_mut().enumerate() {
            for other in &all {
                pull(record, other, USERS[p], p as u8);
            }
        }
        for record in &tablets {
            let register = record.state().fact(&house, "height").unwrap();
            let mut standing = register.standing_ids();
            standing.sort();
            let mut expected = ids.clone();
            expected.sort();
            prop_assert_eq!(standing, expected);
            prop_assert_eq!(register.disagrees(), values.iter().any(|v| *v != values[0]));
            for (id, user) in ids.iter().zip(USERS) {
                prop_assert_eq!(&register.standing.iter().find(|s| s.id == *id).unwrap().who.user, user);
            }
        }
        let decision = act(&mut tablets[decider], seen(&house, "height", &format!("{decided} in")));
        let decided_on = tablets[decider].clone();
        for (p, record) in tablets.iter_mut().enumerate() {
            pull(record, &decided_on, USERS[p], p as u8);
            let register = record.state().fact(&house, "height").unwrap();
            prop_assert_eq!(register.standing_ids(), vec![decision.clone()]);
            prop_assert_eq!(register.earlier.len(), 3);
            prop_assert!(!register.disagrees());
        }
    }
}

fn apart() -> (Record, Record, EntryId) {
    let (server, house) = imported();
    (tablet(&server, "okafor", 0), tablet(&server, "lindqvist", 1), house)
}

fn meet(one: &mut Record, two: &mut Record) {
    pull(one, two, "okafor", 0);
    pull(two, one, "lindqvist", 1);
    assert_eq!(one.state(), two.state());
}

#[test]
fn a_strike_and_an_edit_made_apart_both_stay() {
    let (mut one, mut two, house) = apart();
    let bath = act(&mut one, subject("room", "Bath", Some(&house)));
    meet(&mut one, &mut two);
    act(&mut one, strike(&bath, "there is none"));
    act(&mut two, seen(&bath, "window", "yes"));
    meet(&mut one, &mut two);
    let state = one.state();
    assert_eq!(state.subjects[&bath].struck.as_ref().unwrap().why, "there is none");
    assert_eq!(standing(&one, &bath, "window"), ["yes"]);
}

#[test]
fn a_restore_takes_back_the_strikes_it_saw_and_no_other() {
    let (mut one, mut two, house) = apart();
    let bath = act(&mut one, subject("room", "Bath", Some(&house)));
    meet(&mut one, &mut two);
    act(&mut one, strike(&bath, "first"));
    act(&mut two, strike(&bath, "second"));
    act(&mut one, Edit::Restore { of: bath.clone(), why: "it is there".into() });
    meet(&mut one, &mut two);
    assert_eq!(one.state().subjects[&bath].struck.as_ref().unwrap().why, "second");
    act(&mut two, Edit::Restore { of: bath.clone(), why: "agreed".into() });
    meet(&mut one, &mut two);
    assert!(one.state().subjects[&bath].struck.is_none());
}

#[test]
fn equal_values_found_apart_agree_however_they_were_found() {
    let (mut one, mut two, house) = apart();
    act(&mut one, seen(&house, "storeys", "2"));
    act(
        &mut two,
        Edit::Seen {
            subject: SubjectRef::Id(house.clone()),
            fact: "storeys".into(),
            value: Some("2".into()),
            how: How::Plans,
            note: "sheet A1".into(),
        },
    );
    meet(&mut one, &mut two);
    let register = one.state().fact(&house, "storeys").unwrap();
    assert_eq!(register.standing.len(), 2);
    assert!(!register.disagrees());
    assert_eq!(register.distinct().len(), 1);
    assert_eq!(register.agreed().unwrap().value.value.as_deref(), Some("2"));
}

#[test]
fn a_withdrawal_and_a_value_set_apart_disagree() {
    let (mut one, mut two, house) = apart();
    act(&mut one, seen(&house, "storeys", "2"));
    meet(&mut one, &mut two);
    act(&mut one, seen(&house, "storeys", ""));
    act(&mut two, seen(&house, "storeys", "3"));
    meet(&mut one, &mut two);
    assert!(one.state().fact(&house, "storeys").unwrap().disagrees());
    assert_eq!(standing(&one, &house, "storeys"), ["3", "unknown"]);
}

#[test]
fn visits_opened_apart_both_stand_until_one_is_opened_by_who_saw_both() {
    let (mut one, mut two, _) = apart();
    act(&mut one, Edit::Visit { stage: "rough".into(), on: "2026-11-25".into() });
    act(&mut two, Edit::Visit { stage: "final".into(), on: "2026-11-25".into() });
    meet(&mut one, &mut two);
    assert!(one.state().visit.disagrees());
    assert_eq!(one.state().visits.len(), 2);
    act(&mut one, Edit::Visit { stage: "final".into(), on: "2026-11-25".into() });
    meet(&mut one, &mut two);
    assert_eq!(two.state().visit.agreed().unwrap().value.stage, "final");
    assert_eq!(two.state().visits.len(), 3);
}

/// The clocks of two tablets are hours apart; what was entered later by somebody who saw the other stands.
#[test]
fn a_wrong_clock_decides_nothing() {
    let (mut one, mut two, house) = apart();
    one.stage(&[seen(&house, "storeys", "2")], AT + 86_400_000).unwrap();
    one.accept();
    meet(&mut one, &mut two);
    two.stage(&[seen(&house, "storeys", "3")], AT - 86_400_000).unwrap();
    two.accept();
    meet(&mut one, &mut two);
    assert_eq!(standing(&one, &house, "storeys"), ["3"]);
}
