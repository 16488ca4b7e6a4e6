//! What the door lets in and what it refuses, with the sentence the person reads.

mod common;

use std::collections::BTreeMap;

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, ObjId, ObjType, ROOT, ReadDoc};
use common::*;
use crownweir_record::door::{self, Admission, Limits, Refusal};
use crownweir_record::{Author, Edit, EntryId, Record};
use proptest::prelude::*;

type Bound = BTreeMap<String, String>;

fn entries(doc: &Automerge) -> ObjId {
    doc.get(ROOT, "entries").unwrap().unwrap().1
}

/// A fork of a document under an actor, changed by hand.
fn forged(
    doc: &Automerge,
    actor: [u8; 16],
    change: impl FnOnce(&mut automerge::transaction::Transaction<'_>, &ObjId),
) -> Automerge {
    let mut fork = doc.fork().with_actor(ActorId::from(actor));
    let map = entries(&fork);
    let mut tx = fork.transaction();
    change(&mut tx, &map);
    tx.commit_with(CommitOptions::default().with_time(0));
    fork
}

fn session(author: &Author, actor: [u8; 16]) -> String {
    let Author { user, name, role, device } = author;
    let actor = hex::encode(actor);
    format!(
        r#"{{"t":"session","at":1,"user":"{user}","name":"{name}","role":"{role}","device":"{device}","actor":"{actor}"}}"#
    )
}

fn key(actor: [u8; 16], n: u64) -> String {
    EntryId::new(&actor, n).to_string()
}

fn storeys(house: &EntryId) -> String {
    format!(r#"{{"t":"seen","at":1,"subject":"{house}","fact":"storeys","value":"2","how":"seen"}}"#)
}

fn check(before: &Record, after: &Automerge, author: &Author, bound: &Bound) -> Result<Admission, Refusal> {
    door::check(before.automerge(), after, author, bound, &Limits::default())
}

/// The reason for which changes made by hand under a fresh actor are refused to an inspector.
fn reason(change: impl FnOnce(&mut automerge::transaction::Transaction<'_>, &ObjId, &EntryId)) -> String {
    let (server, house) = imported();
    let after = forged(server.automerge(), actor(1), |tx, map| {
        tx.put(map, key(actor(1), 0), session(&inspector("okafor"), actor(1))).unwrap();
        change(tx, map, &house);
    });
    let refusal = check(&server, &after, &inspector("okafor"), &Bound::new()).unwrap_err();
    assert_eq!(refusal.changes.len(), 1);
    assert!(refusal.admissible.is_empty() && refusal.new_actors.is_empty());
    assert!(refusal.kept.contains("stays on this device"));
    refusal.reason
}

#[test]
fn a_shift_of_work_enters_and_binds_its_actor() {
    let (server, house) = imported();
    let mut work = tablet(&server, "okafor", 1);
    let bath = act(&mut work, subject("room", "Bath", Some(&house)));
    act(&mut work, seen(&bath, "window", "yes"));
    act(&mut work, strike(&bath, "counted twice"));
    let admission = check(&server, work.automerge(), &inspector("okafor"), &Bound::new()).unwrap();
    let hex = hex::encode(actor(1));
    assert_eq!(admission, Admission { new_actors: vec![hex.clone()], changes: 3, waiting: 0 });
    // The next shift goes on in the bound session.
    let bound = Bound::from([(hex, "okafor".into())]);
    let before = Record::open(&work.save()).unwrap();
    act(&mut work, seen(&bath, "window", "no"));
    let admission = check(&before, work.automerge(), &inspector("okafor"), &bound).unwrap();
    assert_eq!(admission, Admission { new_actors: vec![], changes: 1, waiting: 0 });
}

#[test]
fn a_whole_document_in_place_of_changes_is_looked_at_as_well() {
    let (server, house) = imported();
    let mut work = tablet(&server, "okafor", 1);
    act(&mut work, seen(&house, "storeys", "2"));
    let whole = Automerge::load(&work.save()).unwrap();
    assert!(check(&server, &whole, &inspector("okafor"), &Bound::new()).is_ok());
    let refusal = check(&server, &whole, &inspector("lindqvist"), &Bound::new()).unwrap_err();
    assert_eq!(
        refusal.reason,
        "It is signed as OKAFOR of Alderfen (inspector), but LINDQVIST of Alderfen (inspector) is signed in."
    );
}

#[test]
fn text_objects_of_a_javascript_client_enter() {
    let (server, house) = imported();
    let after = forged(server.automerge(), actor(1), |tx, map| {
        for (n, text) in [session(&inspector("okafor"), actor(1)), storeys(&house)].iter().enumerate() {
            let object = tx.put_object(map, key(actor(1), n as u64), ObjType::Text).unwrap();
            tx.splice_text(&object, 0, 0, text).unwrap();
        }
    });
    assert!(check(&server, &after, &inspector("okafor"), &Bound::new()).is_ok());
    let read = Record::open(&after.save()).unwrap();
    assert_eq!(standing(&read, &house, "storeys"), ["2"]);
    assert!(read.state().faults.is_empty(), "{:?}", read.state().faults);
}

#[test]
fn a_text_object_is_held_to_the_same_rules() {
    let (server, house) = imported();
    let after = forged(server.automerge(), actor(1), |tx, map| {
        tx.put(map, key(actor(1), 0), session(&inspector("lindqvist"), actor(1))).unwrap();
        let object = tx.put_object(map, key(actor(1), 1), ObjType::Text).unwrap();
        tx.splice_text(&object, 0, 0, &storeys(&house)).unwrap();
    });
    assert!(check(&server, &after, &inspector("okafor"), &Bound::new()).is_err());
    // Deleting a character of what was just written is a change of an entry.
    let after = forged(server.automerge(), actor(1), |tx, map| {
        tx.put(map, key(actor(1), 0), session(&inspector("okafor"), actor(1))).unwrap();
        let object = tx.put_object(map, key(actor(1), 1), ObjType::Text).unwrap();
        tx.splice_text(&object, 0, 0, &storeys(&house)).unwrap();
        tx.splice_text(&object, 0, 1, "").unwrap();
    });
    assert!(check(&server, &after, &inspector("okafor"), &Bound::new()).is_err());
}

#[test]
fn a_text_object_is_not_written_on_later_and_is_read_in_its_final_order() {
    let (server, house) = imported();
    // The end first, then the beginning in front of it: what counts is how it reads.
    let (head, tail) = (storeys(&house)[..20].to_owned(), storeys(&house)[20..].to_owned());
    let after = forged(server.automerge(), actor(1), |tx, map| {
        tx.put(map, key(actor(1), 0), session(&inspector("okafor"), actor(1))).unwrap();
        let object = tx.put_object(map, key(actor(1), 1), ObjType::Text).unwrap();
        tx.splice_text(&object, 0, 0, &tail).unwrap();
        tx.splice_text(&object, 0, 0, &head).unwrap();
    });
    assert!(check(&server, &after, &inspector("okafor"), &Bound::new()).is_ok());
    // An insertion replaces nothing, and yet it would change an entry: its own author's, or another's.
    let stored = Record::open(&after.save()).unwrap();
    for by in [actor(1), actor(2)] {
        let later = forged(stored.automerge(), by, |tx, map| {
            if by == actor(2) {
                tx.put(map, key(by, 0), session(&inspector("okafor"), by)).unwrap();
            }
            let object = tx.get(map, key(actor(1), 1)).unwrap().unwrap().1;
            tx.splice_text(&object, 3, 0, "x").unwrap();
        });
        let bound = Bound::from([(hex::encode(actor(1)), "okafor".to_owned())]);
        let refusal = check(&stored, &later, &inspector("okafor"), &bound).unwrap_err();
        assert_eq!(refusal.reason, "It writes outside the entries of the record.");
    }
}

#[test]
fn foreign_prefixes_keys_and_places_are_refused() {
    let other = key(actor(7), 1);
    assert_eq!(
        reason(|tx, map, house| tx.put(map, other, storeys(house)).unwrap()),
        "It writes an entry under the name of another session."
    );
    assert_eq!(
        reason(|tx, map, _| tx.put(map, "notes", "hello").unwrap()),
        "`notes` is not the name of an entry: it is 16 hex digits, a full stop and a count in base 36."
    );
    assert_eq!(
        reason(|tx, _, _| tx.put(ROOT, "schema", 2).unwrap()),
        "It changes or deletes what is already in the record; entries are only ever added."
    );
    assert_eq!(
        reason(|tx, _, _| tx.put(ROOT, "extra", 2).unwrap()),
        "It writes outside the entries of the record."
    );
    assert_eq!(
        reason(|tx, _, _| {
            tx.put_object(ROOT, "extra", ObjType::Map).unwrap();
        }),
        "It writes outside the entries of the record."
    );
    assert_eq!(
        reason(|tx, map, _| {
            tx.put_object(map, key(actor(1), 1), ObjType::Map).unwrap();
        }),
        format!("Its entry {} is not a text.", key(actor(1), 1))
    );
    assert_eq!(
        reason(|tx, map, _| tx.put(map, key(actor(1), 1), 42).unwrap()),
        format!("Its entry {} is not a text.", key(actor(1), 1))
    );
}

#[test]
fn changing_and_deleting_entries_is_refused() {
    let changes = "It changes or deletes what is already in the record; entries are only ever added.";
    assert_eq!(reason(|tx, map, house| tx.put(map, house.as_str(), "{}").unwrap()), changes);
    assert_eq!(reason(|tx, map, house| tx.delete(map, house.as_str()).unwrap()), changes);
    assert_eq!(
        reason(|tx, map, house| {
            tx.put(map, key(actor(1), 1), storeys(house)).unwrap();
            tx.put(map, key(actor(1), 1), storeys(house).replace('2', "3")).unwrap();
        }),
        changes
    );
    assert_eq!(reason(|tx, _, _| tx.delete(ROOT, "entries").unwrap()), changes);
}

#[test]
fn what_is_not_an_entry_is_refused() {
    let at = key(actor(1), 1);
    assert_eq!(
        reason(|tx, map, house| {
            let text = format!(r#"{{"t":"photo","at":1,"subject":"{house}","sha256":"../../x","bytes":1}}"#);
            tx.put(map, key(actor(1), 1), text).unwrap();
        }),
        format!("The entry {at} cannot be taken: its `sha256` is not a SHA-256 in 64 lower-case hex digits.")
    );
    assert_eq!(
        reason(|tx, map, _| tx.put(map, key(actor(1), 1), "x".repeat(40_000)).unwrap()),
        "One of its entries is longer than 32768 bytes."
    );
    assert!(
        reason(|tx, map, _| tx.put(map, key(actor(1), 1), "not json").unwrap())
            .starts_with(&format!("The entry {at} cannot be taken: it is not an entry: "))
    );
    assert_eq!(
        reason(|tx, map, _| {
            tx.put(map, key(actor(1), 1), session(&inspector("okafor"), actor(1))).unwrap();
        }),
        "Only the first entry of a session says who writes, and it says nothing else."
    );
}

#[test]
fn an_entry_type_of_a_later_version_enters_unread() {
    let (server, house) = imported();
    let after = forged(server.automerge(), actor(1), |tx, map| {
        tx.put(map, key(actor(1), 0), session(&inspector("okafor"), actor(1))).unwrap();
        tx.put(map, key(actor(1), 1), format!(r#"{{"t":"sketch","at":1,"subject":"{house}"}}"#)).unwrap();
    });
    assert!(check(&server, &after, &inspector("okafor"), &Bound::new()).is_ok());
    let read = Record::open(&after.save()).unwrap();
    let at = key(actor(1), 1);
    assert_eq!(
        read.state().faults,
        [format!(
            "Entry {at} was left out, and kept: its type `sketch` is not known to this version of the program."
        )]
    );
}

#[test]
fn a_session_is_signed_by_who_is_signed_in_and_first() {
    let (server, house) = imported();
    let signed = |author: Author, under: [u8; 16]| {
        let after = forged(server.automerge(), actor(1), |tx, map| {
            tx.put(map, key(actor(1), 0), session(&author, under)).unwrap();
        });
        check(&server, &after, &inspector("okafor"), &Bound::new()).map_err(|r| r.reason)
    };
    assert!(signed(inspector("okafor"), actor(1)).is_ok());
    assert_eq!(
        signed(author("okafor", "supervisor"), actor(1)).unwrap_err(),
        "It is signed as OKAFOR of Alderfen (supervisor), but OKAFOR of Alderfen (inspector) is signed in."
    );
    assert_eq!(
        signed(Author { name: "T. Vale".into(), ..inspector("okafor") }, actor(1)).unwrap_err(),
        "It is signed as T. Vale (inspector), but OKAFOR of Alderfen (inspector) is signed in."
    );
    assert_eq!(
        signed(inspector("okafor"), actor(2)).unwrap_err(),
        "It is signed under another session than the one that wrote it."
    );
    let after = forged(server.automerge(), actor(1), |tx, map| {
        tx.put(map, key(actor(1), 1), storeys(&house)).unwrap();
    });
    assert_eq!(
        check(&server, &after, &inspector("okafor"), &Bound::new()).unwrap_err().reason,
        "Its session does not begin by saying who writes."
    );
}

#[test]
fn a_foreign_session_is_not_gone_on_with() {
    let (server, house) = imported();
    let mut work = tablet(&server, "okafor", 1);
    act(&mut work, seen(&house, "storeys", "2"));
    let stored = Record::open(&work.save()).unwrap();
    act(&mut work, seen(&house, "storeys", "3"));
    // Bound to its user, and shown by somebody else.
    let bound = Bound::from([(hex::encode(actor(1)), "okafor".to_owned())]);
    assert_eq!(
        check(&stored, work.automerge(), &inspector("lindqvist"), &bound).unwrap_err().reason,
        "It says it was written by OKAFOR of Alderfen, but LINDQVIST of Alderfen is signed in."
    );
    // Not in the table at all, but already in the record.
    assert_eq!(
        check(&stored, work.automerge(), &inspector("lindqvist"), &Bound::new()).unwrap_err().reason,
        "It goes on in a session of OKAFOR of Alderfen that did not begin with this sign-in."
    );
    // The server's own session cannot be taken over either.
    let after = forged(server.automerge(), actor(200), |tx, map| {
        tx.put(map, key(actor(200), 9), storeys(&house)).unwrap();
    });
    assert!(check(&server, &after, &inspector("okafor"), &Bound::new()).is_err());
}

#[test]
fn a_second_actor_with_the_same_prefix_is_refused() {
    let (server, house) = imported();
    let mut work = tablet(&server, "okafor", 1);
    act(&mut work, seen(&house, "storeys", "2"));
    let mut twin = actor(1);
    twin[15] = 0xff;
    let after = forged(work.automerge(), twin, |tx, map| {
        tx.put(map, key(twin, 77), storeys(&house)).unwrap();
    });
    let bound = Bound::from([(hex::encode(actor(1)), "okafor".to_owned())]);
    assert_eq!(
        check(&work, &after, &inspector("okafor"), &bound).unwrap_err().reason,
        "Its session has the same name as another one."
    );
}

#[test]
fn a_clerk_writes_no_observation_and_the_record_stays_readable() {
    let (server, house) = imported();
    let clerk = author("moss", "clerk");
    let after = forged(server.automerge(), actor(1), |tx, map| {
        tx.put(map, key(actor(1), 0), session(&clerk, actor(1))).unwrap();
        tx.put(map, key(actor(1), 1), storeys(&house)).unwrap();
    });
    assert_eq!(
        check(&server, &after, &clerk, &Bound::new()).unwrap_err().reason,
        "It enters what was found on site, which the role `clerk` does not do."
    );
    let mut mended = Record::open(&server.save()).unwrap();
    mended.begin(clerk.clone(), actor(1));
    act(&mut mended, Edit::Job(header()));
    assert!(check(&server, mended.automerge(), &clerk, &Bound::new()).is_ok());
}

#[test]
fn what_builds_on_a_refused_change_is_refused_and_the_rest_is_named() {
    let (server, house) = imported();
    let mut good = tablet(&server, "okafor", 1);
    act(&mut good, seen(&house, "storeys", "2"));
    let mut bad = forged(server.automerge(), actor(2), |tx, _| tx.put(ROOT, "extra", 1).unwrap());
    bad.merge(&mut good.automerge().clone()).unwrap();
    let mut both = Record::from_automerge(bad);
    both.begin(inspector("okafor"), actor(1));
    act(&mut both, seen(&house, "storeys", "3"));
    let refusal = check(&server, both.automerge(), &inspector("okafor"), &Bound::new()).unwrap_err();
    let follows: Vec<bool> = refusal.changes.iter().map(|c| c.follows).collect();
    assert_eq!(follows, [false, true]);
    assert_eq!(*refusal.admissible, *good.heads());
    assert_eq!(*refusal.new_actors, [hex::encode(actor(1))]);
    assert_eq!(refusal.reason, "It writes outside the entries of the record.");
}

/// Two changes of which only the second arrives.
fn orphan(server: &Record, house: &EntryId, change: impl FnOnce(&mut Record)) -> (Automerge, Record) {
    let mut work = tablet(server, "okafor", 1);
    act(&mut work, seen(house, "storeys", "2"));
    let between = work.automerge().get_heads();
    change(&mut work);
    let mut after = server.automerge().fork();
    after.load_incremental(&work.automerge().save_after(&between)).unwrap();
    (after, work)
}

#[test]
fn changes_that_wait_for_others_count_for_nothing_and_are_limited() {
    let (server, house) = imported();
    let (after, _) = orphan(&server, &house, |work| {
        for value in ["3", "4", "5"] {
            act(work, seen(&house, "storeys", value));
        }
    });
    assert_eq!(after.get_heads(), server.automerge().get_heads());
    assert_eq!(door::waiting(&after).len(), 3);
    let admission = check(&server, &after, &inspector("okafor"), &Bound::new()).unwrap();
    assert_eq!(admission, Admission { new_actors: vec![], changes: 0, waiting: 3 });
    for limits in
        [Limits { waiting: 2, ..Limits::default() }, Limits { waiting_bytes: 100, ..Limits::default() }]
    {
        let refusal = door::check(server.automerge(), &after, &inspector("okafor"), &Bound::new(), &limits)
            .unwrap_err();
        assert_eq!(refusal.reason, "3 changes came without those they build on.");
    }
}

#[test]
fn a_waiting_change_is_looked_at_before_it_can_be_applied() {
    let (server, house) = imported();
    let bound = Bound::from([(hex::encode(actor(1)), "okafor".to_owned())]);
    let (after, _) = orphan(&server, &house, |work| {
        act(work, seen(&house, "storeys", "3"));
    });
    let refusal = check(&server, &after, &inspector("lindqvist"), &bound).unwrap_err();
    assert!(refusal.reason.ends_with("but LINDQVIST of Alderfen is signed in."), "{}", refusal.reason);
    let (after, _) = orphan(&server, &house, |work| {
        let bad = forged(work.automerge(), actor(2), |tx, _| tx.put(ROOT, "extra", 1).unwrap());
        *work = Record::from_automerge(bad);
    });
    assert!(check(&server, &after, &inspector("okafor"), &bound).is_err());
}

#[test]
fn a_job_is_not_begun_by_sending_it() {
    let (server, _) = imported();
    let refusal = check(
        &Record::from_automerge(Automerge::new()),
        server.automerge(),
        &inspector("okafor"),
        &Bound::new(),
    )
    .unwrap_err();
    assert!(refusal.reason.starts_with("This job is not on the server"));
}

/// A change written field by field, as no library would.
fn rewritten(
    work: &Record,
    server: &Record,
    rewrite: impl FnOnce(&mut automerge::ExpandedChange),
) -> Automerge {
    let mut change = work.automerge().get_changes(&server.automerge().get_heads()).remove(0).decode();
    rewrite(&mut change);
    change.hash = None;
    let mut after = server.automerge().fork();
    after.apply_changes([automerge::Change::from(change)]).unwrap();
    after
}

#[test]
fn a_number_far_ahead_that_would_leave_none_for_others_is_refused() {
    let (server, house) = imported();
    let mut work = tablet(&server, "okafor", 1);
    act(&mut work, seen(&house, "storeys", "2"));
    let as_it_was = rewritten(&work, &server, |_| {});
    assert!(check(&server, &as_it_was, &inspector("okafor"), &Bound::new()).is_ok());
    let ahead = rewritten(&work, &server, |change| {
        change.start_op = (u64::from(u32::MAX) - 10).try_into().unwrap();
    });
    let refusal = check(&server, &ahead, &inspector("okafor"), &Bound::new()).unwrap_err();
    assert_eq!(refusal.reason, "Its operations are numbered far ahead of the record.");
}

#[test]
fn what_a_change_carries_beside_its_operations_is_limited() {
    let (server, house) = imported();
    let mut work = tablet(&server, "okafor", 1);
    act(&mut work, seen(&house, "storeys", "2"));
    let padded = rewritten(&work, &server, |change| change.extra_bytes = vec![0; 5_000]);
    let refusal = check(&server, &padded, &inspector("okafor"), &Bound::new()).unwrap_err();
    assert_eq!(refusal.reason, "It carries more than 256 bytes that are not of the record.");
    let talkative = rewritten(&work, &server, |change| change.message = Some("x".repeat(5_000)));
    let refusal = check(&server, &talkative, &inspector("okafor"), &Bound::new()).unwrap_err();
    assert_eq!(refusal.reason, "It carries a message of more than 200 characters.");
}

#[test]
fn limits_of_a_job_are_held() {
    let (server, house) = imported();
    let mut work = tablet(&server, "okafor", 1);
    for n in 0..5 {
        act(&mut work, seen(&house, "storeys", &n.to_string()));
    }
    let within = |limits: Limits| {
        door::check(server.automerge(), work.automerge(), &inspector("okafor"), &Bound::new(), &limits)
            .map_err(|r| r.reason)
    };
    assert!(within(Limits::default()).is_ok());
    assert_eq!(
        within(Limits { changes: 4, ..Limits::default() }).unwrap_err(),
        "5 changes came in one message; at most 4 are taken."
    );
    assert_eq!(
        within(Limits { entries: 8, ..Limits::default() }).unwrap_err(),
        "This job would hold 9 entries; at most 8 are kept in one job."
    );
    assert_eq!(
        within(Limits { entry_bytes: 50, ..Limits::default() }).unwrap_err(),
        "One of its entries is longer than 50 bytes."
    );
}

#[test]
fn a_message_that_unpacks_too_far_is_refused_before_it_is_unpacked() {
    use automerge::sync::{Message, State, SyncDoc};
    let (server, _) = imported();
    let big = forged(server.automerge(), actor(1), |tx, map| {
        tx.put(map, key(actor(1), 0), "x".repeat(3_000_000)).unwrap();
    });
    // As changes and as a whole document.
    let mut whole = State::new();
    let mut peer = State::new();
    let empty = Automerge::new();
    let hello = empty.generate_sync_message(&mut peer).unwrap();
    big.clone().receive_sync_message(&mut whole, hello).unwrap();
    let as_document = big.generate_sync_message(&mut whole).unwrap();
    let mut as_changes = as_document.clone();
    as_changes.changes = big
        .get_changes(&server.automerge().get_heads())
        .iter_mut()
        .map(|c| c.bytes().to_vec())
        .collect::<Vec<_>>()
        .into();
    for message in [as_document, as_changes] {
        let packed: usize = message.changes.iter().map(<[u8]>::len).sum();
        assert!(packed < 20_000, "{packed}");
        let encoded = Message::decode(&message.encode()).unwrap();
        assert!(door::weigh(&encoded, &Limits::default()).is_ok());
        let refusal =
            door::weigh(&encoded, &Limits { unpacked_bytes: 2_000_000, ..Limits::default() }).unwrap_err();
        assert_eq!(
            refusal.reason,
            "The message would unpack to more than 2000000 bytes or 8000000 operations."
        );
    }
}

/// A character of a text object is an operation; run lengths in the columns stand for all of them.
#[test]
fn operations_are_counted_in_changes_and_whole_documents_alike() {
    use automerge::sync::{Message, MessageVersion};
    let (server, _) = imported();
    let before = server.automerge();
    let text = forged(before, actor(1), |tx, map| {
        let object = tx.put_object(map, key(actor(1), 1), ObjType::Text).unwrap();
        tx.splice_text(&object, 0, 0, &"x".repeat(5_000)).unwrap();
    });
    let message = |chunk: Vec<u8>| Message {
        heads: vec![],
        need: vec![],
        have: vec![],
        changes: vec![chunk].into(),
        flags: None,
        version: MessageVersion::V1,
    };
    let change = text.get_changes(&before.get_heads()).remove(0);
    for chunk in
        [change.raw_bytes().to_vec(), change.clone().bytes().to_vec(), text.save(), text.save_nocompress()]
    {
        assert!(chunk.len() < 40_000);
        let within = |operations| {
            let limits = Limits { unpacked_operations: operations, ..Limits::default() };
            door::weigh(&message(chunk.clone()), &limits).is_ok()
        };
        assert!(within(5_100) && !within(5_000));
    }
}

#[test]
fn a_tablet_takes_only_what_leaves_every_entry_as_it_is() {
    let (server, house) = imported();
    let before = server.automerge();
    let mut more = tablet(&server, "okafor", 1);
    act(&mut more, seen(&house, "storeys", "2"));
    assert_eq!(door::intact(before, more.automerge()), Ok(()));
    let spoilt = |change: &dyn Fn(&mut automerge::transaction::Transaction<'_>, &ObjId)| {
        door::intact(before, &forged(more.automerge(), actor(2), |tx, map| change(tx, map))).unwrap_err()
    };
    let changed = format!("It changes or deletes the entry {house}, and entries are only ever added.");
    assert_eq!(spoilt(&|tx, map| tx.put(map, house.as_str(), "{}").unwrap()), changed);
    assert_eq!(spoilt(&|tx, map| tx.delete(map, house.as_str()).unwrap()), changed);
    assert_eq!(
        spoilt(&|tx, _| {
            tx.put_object(ROOT, "entries", ObjType::Map).unwrap();
        }),
        "It replaces the record by another one."
    );
    assert_eq!(spoilt(&|tx, _| tx.delete(ROOT, "entries").unwrap()), "It is not a job record.");
}

/// A sync message of one change whose bytes were spoilt and whose checksum was made to fit.
fn crafted(change: &[u8], at: usize, flip: u8) -> Option<Vec<u8>> {
    use sha2::{Digest, Sha256};
    let mut bytes = change.to_vec();
    // magic 4, checksum 4, kind 1: the kind stays a change, the length in front of the data too.
    let header = bytes[9..].iter().take_while(|b| **b & 0x80 != 0).count() + 10;
    let at = header + at % (bytes.len() - header);
    bytes[at] ^= flip;
    let digest = Sha256::digest(&bytes[8..]);
    bytes[4..8].copy_from_slice(&digest[..4]);
    let message = automerge::sync::Message {
        heads: vec![],
        need: vec![],
        have: vec![],
        changes: vec![bytes].into(),
        flags: None,
        version: automerge::sync::MessageVersion::V1,
    };
    Some(message.encode())
}

proptest! {
    #![proptest_config(cases(128))]

    /// Whatever a hostile peer crafts: no panic gets out, and what the door lets in leaves the record sound.
    #[test]
    fn crafted_changes_are_answered_and_never_spoil_the_record(
        which in 0..3usize, flips in prop::collection::vec((any::<usize>(), 1..=255u8), 1..3),
    ) {
        let (server, house) = imported();
        let before = server.automerge();
        let mut work = tablet(&server, "okafor", 1);
        for value in ["1", "2"] {
            act(&mut work, seen(&house, "storeys", value));
        }
        let as_text = forged(before, actor(3), |tx, map| {
            tx.put(map, key(actor(3), 0), session(&inspector("okafor"), actor(3))).unwrap();
            let object = tx.put_object(map, key(actor(3), 1), ObjType::Text).unwrap();
            tx.splice_text(&object, 0, 0, &storeys(&house)).unwrap();
        });
        let mut changes = work.automerge().get_changes(&before.get_heads());
        changes.extend(as_text.get_changes(&before.get_heads()));
        let change = changes[which].raw_bytes();
        let stored = if which == 1 {
            before.fork_at(&before.get_heads()).map(|mut d| { d.load_incremental(changes[0].raw_bytes()).unwrap(); d }).unwrap()
        } else {
            before.fork()
        };
        let bound = Bound::from([(hex::encode(actor(1)), "okafor".to_owned()), (hex::encode(actor(3)), "okafor".to_owned())]);
        for (at, flip) in flips {
            let data = crafted(change, at, flip).unwrap();
            let mut fork = stored.fork();
            let mut state = automerge::sync::State::new();
            if door::receive(&mut fork, &mut state, &data, &Limits::default()).is_err() {
                continue;
            }
            if door::check(&stored, &fork, &inspector("okafor"), &bound, &Limits::default()).is_ok() {
                prop_assert_eq!(door::intact(&stored, &fork), Ok(()));
                let read = Record::open(&fork.save()).unwrap();
                let then = Record::open(&stored.save()).unwrap();
                prop_assert!(read.state().taken >= then.state().taken);
                for who in read.state().sessions.values() {
                    prop_assert!(who.who.user == "okafor" || who.who.role == "server");
                }
            }
        }
    }

    #[test]
    fn any_message_is_answered(data: Vec<u8>) {
        let (server, _) = imported();
        let mut fork = server.automerge().fork();
        let mut state = automerge::sync::State::new();
        let _ = door::receive(&mut fork, &mut state, &data, &Limits::default());
    }
}
