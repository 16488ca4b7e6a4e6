//! Opening stored bytes: what is whole, what is damaged, what is newer, and entries of a bad shape.

mod common;

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, ObjId, ObjType, ROOT, ReadDoc};
use common::*;
use crownweir_record::{EntryId, OpenError, Record, StageError};
use proptest::prelude::*;

/// A job as a snapshot and three increments, each one observation.
fn chunks() -> (Vec<Vec<u8>>, EntryId) {
    let (server, house) = imported();
    let mut record = tablet(&server, "okafor", 1);
    let mut chunks = vec![server.save()];
    for value in ["1", "2", "3"] {
        chunks.push(record.stage(&[seen(&house, "storeys", value)], AT).unwrap().bytes);
        record.accept();
    }
    (chunks, house)
}

fn by_hand(change: impl FnOnce(&mut automerge::transaction::Transaction<'_>, &ObjId, &EntryId)) -> Record {
    let (server, house) = imported();
    let mut doc = server.automerge().fork().with_actor(ActorId::from(actor(1)));
    let map = doc.get(ROOT, "entries").unwrap().unwrap().1;
    let mut tx = doc.transaction();
    change(&mut tx, &map, &house);
    tx.commit_with(CommitOptions::default().with_time(0));
    Record::open(&doc.save()).unwrap()
}

#[test]
fn nothing_and_something_else_are_told_apart() {
    assert!(matches!(Record::open(&[]), Err(OpenError::Empty)));
    let mut other = Automerge::new();
    let mut tx = other.transaction();
    tx.put(ROOT, "title", "a recipe").unwrap();
    tx.commit();
    let error = Record::open(&other.save()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the stored document is not a job record; nothing was changed, and it is kept as it is"
    );
}

#[test]
fn a_damaged_piece_is_named_and_the_others_can_be_rescued() {
    let (mut chunks, house) = chunks();
    let at: usize = chunks[..2].iter().map(Vec::len).sum();
    let middle = chunks[2].len() / 2;
    chunks[2][middle] ^= 0x10;
    let bytes = chunks.concat();
    let OpenError::Damaged { entries, damage } = Record::open(&bytes).unwrap_err() else { panic!() };
    assert_eq!(entries, 5, "import: session, job, house; tablet: session, first observation");
    assert_eq!((damage.len(), damage[0].at, damage[0].bytes), (1, at, chunks[2].len()));
    let (mut rescued, damage) = Record::rescue(&bytes).unwrap();
    assert_eq!(damage.len(), 1);
    assert_eq!(standing(&rescued, &house, "storeys"), ["1"], "the third waits for the second");
    assert!(rescued.read_only().unwrap().starts_with("1 stored pieces of this job cannot be read."));
    rescued.begin(inspector("okafor"), actor(2));
    assert!(matches!(rescued.stage(&[seen(&house, "storeys", "4")], AT), Err(StageError::ReadOnly { .. })));
    // Nothing is lost with the piece: what waits for it is saved, and is there when it comes from elsewhere.
    let whole = Record::open(&[rescued.save(), self::chunks().0.concat()].concat()).unwrap();
    assert_eq!(standing(&whole, &house, "storeys"), ["3"]);
}

#[test]
fn the_sentence_about_damage_says_what_is_left_and_what_to_do() {
    let (mut chunks, _) = chunks();
    let end = chunks[3].len() - 1;
    chunks[3].truncate(end);
    let error = Record::open(&chunks.concat()).unwrap_err().to_string();
    assert!(error.starts_with("1 of the stored pieces of this job cannot be read ("), "{error}");
    assert!(error.contains("6 entries in the other pieces can be read and nothing was deleted"), "{error}");
}

#[test]
fn a_damaged_snapshot_leaves_nothing_to_open_and_says_so() {
    let (mut chunks, _) = chunks();
    chunks[0][5] ^= 1;
    let OpenError::Damaged { entries, damage } = Record::open(&chunks.concat()).unwrap_err() else {
        panic!()
    };
    assert_eq!((entries, damage.len(), damage[0].at), (0, 1, 0));
    assert!(matches!(Record::rescue(&chunks.concat()), Err(OpenError::NotAJob)));
}

#[test]
fn a_missing_piece_hides_what_builds_on_it_says_so_and_loses_nothing() {
    let (chunks, house) = chunks();
    let without = [&chunks[0][..], &chunks[1], &chunks[3]].concat();
    let record = Record::open(&without).unwrap();
    assert_eq!(standing(&record, &house, "storeys"), ["1"]);
    assert_eq!(
        record.state().faults,
        [
            "1 later changes are kept but not shown: they build on one that has not arrived. Connect to fetch it."
        ]
    );
    let whole = Record::open(&[record.save(), chunks[2].clone()].concat()).unwrap();
    assert_eq!(standing(&whole, &house, "storeys"), ["3"]);
    assert!(whole.state().faults.is_empty());
}

/// Two tabs that ran one session, as a program that reuses an actor id would write it.
#[test]
fn two_changes_of_one_number_are_told_apart_and_one_is_kept() {
    let (server, house) = imported();
    let mut tab = tablet(&server, "okafor", 1);
    let mut twin = tab.clone();
    let mut bytes = server.save();
    bytes.extend(tab.stage(&[seen(&house, "storeys", "2")], AT).unwrap().bytes);
    let at = bytes.len();
    bytes.extend(twin.stage(&[seen(&house, "storeys", "3")], AT).unwrap().bytes);
    let OpenError::Damaged { entries, damage } = Record::open(&bytes).unwrap_err() else { panic!() };
    assert_eq!((entries, damage.len(), damage[0].at), (5, 1, at));
    assert!(damage[0].why.contains("duplicate seq"), "{}", damage[0].why);
    let (rescued, _) = Record::rescue(&bytes).unwrap();
    assert_eq!(standing(&rescued, &house, "storeys"), ["2"]);
}

#[test]
fn a_newer_shape_opens_for_reading_only() {
    let record = by_hand(|tx, _, _| tx.put(ROOT, "schema", 2).unwrap());
    let why = record.read_only().unwrap();
    assert!(
        why.starts_with("This job was written by a newer version of this program (document shape 2"),
        "{why}"
    );
    assert_eq!(record.state().job(), Some(&header()));
    let mut record = record;
    record.begin(inspector("okafor"), actor(3));
    let house = record.state().order[0].clone();
    let refused = record.stage(&[seen(&house, "storeys", "2")], AT).unwrap_err();
    assert_eq!(refused.to_string(), record.read_only().unwrap());
}

#[test]
fn entries_of_a_bad_shape_are_left_out_and_named() {
    let house_id = imported().1;
    let id = |n: u64| EntryId::new(&actor(1), n).to_string();
    let session = format!(
        r#"{{"t":"session","at":1,"user":"o","name":"O","role":"inspector","device":"d","actor":"{}"}}"#,
        hex::encode(actor(1))
    );
    let seen = |subject: &str, value: &str| {
        format!(r#"{{"t":"seen","at":1,"subject":"{subject}","fact":"f","value":{value},"how":"seen"}}"#)
    };
    let cases: [(&str, String, String); 7] = [
        ("1", "{".into(), "it is not an entry: EOF while parsing an object at line 1 column 1".into()),
        (
            "2",
            r#"{"t":"dance","at":1}"#.into(),
            "its type `dance` is not known to this version of the program".into(),
        ),
        (
            "3",
            seen("00000000000000ff.1", "null"),
            "it speaks of 00000000000000ff.1, which is not a subject of this record".into(),
        ),
        ("4", seen(house_id.as_str(), "\" \""), "its `value` is empty".into()),
        (
            "5",
            session.clone(),
            "only the first entry of a session says who writes, and it says nothing else".into(),
        ),
        (
            "6",
            format!(r#"{{"t":"strike","at":1,"of":"{}","why":""}}"#, id(1)),
            format!("it strikes {}, which cannot be struck or is not in this record", id(1)),
        ),
        (
            "7",
            format!(r#"{{"t":"open","at":1,"visit":"{}","place":"{house_id}","why":""}}"#, id(1)),
            format!("it speaks of {}, which is not a visit of this record", id(1)),
        ),
    ];
    let record = by_hand(|tx, map, _| {
        tx.put(map, id(0), session.clone()).unwrap();
        for (n, text, _) in &cases {
            tx.put(map, id(n.parse().unwrap()), text.clone()).unwrap();
        }
        tx.put(map, id(8), seen(house_id.as_str(), "\"2\"")).unwrap();
        tx.put(map, id(9), 7).unwrap();
        tx.put(map, "zz", "x").unwrap();
        tx.put(map, EntryId::new(&actor(5), 3).to_string(), seen(house_id.as_str(), "\"3\"")).unwrap();
    });
    let faults = &record.state().faults;
    for (n, _, why) in &cases {
        let expected = format!("Entry {} was left out, and kept: {why}.", id(n.parse().unwrap()));
        assert!(faults.contains(&expected), "{expected}\n{faults:#?}");
    }
    assert!(faults.iter().any(|f| f.ends_with("it is not a text.")));
    assert!(faults.iter().any(|f| f.contains("`zz` is not the name of an entry")));
    assert!(faults.iter().any(|f| f.ends_with("it is written under the name of another session.")));
    assert_eq!(faults.len(), cases.len() + 3);
    assert_eq!(standing(&record, &house_id, "f"), ["2"], "the good one is taken");
}

#[test]
fn a_session_that_another_actor_signs_is_left_out_with_its_entries() {
    let record = by_hand(|tx, map, house| {
        let forged = format!(
            r#"{{"t":"session","at":1,"user":"o","name":"O","role":"inspector","device":"d","actor":"{}"}}"#,
            hex::encode(actor(9))
        );
        tx.put(map, EntryId::new(&actor(1), 0).to_string(), forged).unwrap();
        let text =
            format!(r#"{{"t":"seen","at":1,"subject":"{house}","fact":"f","value":"1","how":"seen"}}"#);
        tx.put(map, EntryId::new(&actor(1), 1).to_string(), text).unwrap();
    });
    assert!(record.state().facts.is_empty());
    assert_eq!(record.state().faults.len(), 2);
    assert!(record.state().faults[1].ends_with("nobody has signed in under its name."));
}

#[test]
fn fields_of_a_later_version_are_passed_over() {
    let record = by_hand(|tx, map, house| {
        let session = format!(
            r#"{{"t":"session","at":1,"user":"o","name":"O","role":"inspector","device":"d","actor":"{}","app":"9.1"}}"#,
            hex::encode(actor(1))
        );
        tx.put(map, EntryId::new(&actor(1), 0).to_string(), session).unwrap();
        let text = format!(
            r#"{{"t":"seen","at":1,"subject":"{house}","fact":"f","value":"1","how":"seen","tool":{{"id":4}}}}"#
        );
        let object = tx.put_object(map, EntryId::new(&actor(1), 1).to_string(), ObjType::Text).unwrap();
        tx.splice_text(&object, 0, 0, &text).unwrap();
    });
    assert!(record.state().faults.is_empty(), "{:?}", record.state().faults);
    assert_eq!(record.state().facts.len(), 1);
}

proptest! {
    #![proptest_config(cases(48))]

    /// One spoilt byte anywhere: the record opens whole, or the damage is named and the rest opens. Never a panic,
    /// never an observation that was not made.
    #[test]
    fn a_spoilt_byte_is_answered(at in any::<prop::sample::Index>(), flip in 1..=255u8) {
        let (chunks, house) = chunks();
        let mut bytes = chunks.concat();
        let at = at.index(bytes.len());
        bytes[at] ^= flip;
        match Record::open(&bytes) {
            Ok(record) => prop_assert!(standing(&record, &house, "storeys").iter().all(|v| ["1", "2", "3"].contains(&&**v))),
            Err(OpenError::Damaged { damage, .. }) => prop_assert!(!damage.is_empty()),
            Err(other) => prop_assert!(false, "{other}"),
        }
        if let Ok((record, _)) = Record::rescue(&bytes) {
            prop_assert!(standing(&record, &house, "storeys").iter().all(|v| ["1", "2", "3"].contains(&&**v)));
        }
    }

    #[test]
    fn any_bytes_are_answered(bytes: Vec<u8>, cut in any::<prop::sample::Index>()) {
        let _ = Record::open(&bytes);
        let _ = Record::rescue(&bytes);
        let whole = chunks().0.concat();
        let cut = cut.index(whole.len());
        let _ = Record::open(&whole[..cut]);
        let _ = Record::rescue(&[&whole[..cut], &bytes].concat());
    }
}
