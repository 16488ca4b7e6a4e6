//! What each edit does to the state, and what is refused before anything is written.

mod common;

use common::*;
use crownweir_record::{Edit, EntryId, Hindrance, How, Record, StageError, SubjectRef};

fn job() -> (Record, EntryId) {
    let (server, house) = imported();
    (tablet(&server, "okafor", 1), house)
}

#[test]
fn a_new_record_says_who_imported_it_and_what_it_is() {
    let (record, house) = imported();
    let state = record.state();
    assert_eq!(state.job().unwrap(), &header());
    assert_eq!(state.header.standing[0].who.role, "server");
    assert_eq!(state.subjects[&house].called(), "House");
    assert_eq!(state.schema, 1);
    assert!(state.faults.is_empty(), "{:?}", state.faults);
    assert_eq!(record.read_only(), None);
}

#[test]
fn the_session_is_written_once_before_the_first_edit() {
    let (mut record, house) = job();
    let first = act(&mut record, seen(&house, "storeys", "2"));
    let second = act(&mut record, seen(&house, "storeys", "3"));
    assert_eq!((first.counter(), second.counter()), (1, 2));
    let session = &record.state().sessions[first.prefix()];
    assert_eq!(session.who.user, "okafor");
    assert_eq!(session.who.device, "tablet of okafor");
    assert_eq!(session.id.counter(), 0);
}

#[test]
fn an_observation_replaces_what_its_author_saw() {
    let (mut record, house) = job();
    let first = act(&mut record, seen(&house, "storeys", "2"));
    let second = act(&mut record, seen(&house, "storeys", "3"));
    let register = record.state().fact(&house, "storeys").unwrap();
    assert_eq!(register.standing_ids(), std::slice::from_ref(&second));
    assert_eq!(register.standing[0].after, std::slice::from_ref(&first));
    assert_eq!(register.earlier.iter().map(|s| s.id.clone()).collect::<Vec<_>>(), [first]);
    assert_eq!(register.agreed().unwrap().value.value.as_deref(), Some("3"));
}

#[test]
fn a_withdrawn_observation_stands_as_unknown_and_keeps_the_earlier_one() {
    let (mut record, house) = job();
    act(&mut record, seen(&house, "storeys", "2"));
    act(&mut record, seen(&house, "storeys", ""));
    let register = record.state().fact(&house, "storeys").unwrap();
    assert_eq!(register.agreed().unwrap().value.value, None);
    assert_eq!(register.earlier[0].value.value.as_deref(), Some("2"));
}

#[test]
fn one_slice_adds_a_subject_and_speaks_of_it() {
    let (mut record, house) = job();
    let edits = [
        subject("room", "Bath", Some(&house)),
        Edit::Subject {
            kind: "lavatory".into(),
            name: "Lavatory".into(),
            parent: Some(SubjectRef::New(0)),
            copied_from: None,
        },
        Edit::Seen {
            subject: SubjectRef::New(1),
            fact: "trap.size".into(),
            value: Some("1-1/4 nps".into()),
            how: How::Seen,
            note: "behind the panel".into(),
        },
        Edit::All { subject: SubjectRef::New(0), kind: "lavatory".into(), all: true },
    ];
    let staged = record.stage(&edits, AT).unwrap();
    record.accept();
    let state = record.state();
    let (bath, lavatory) = (&staged.ids[0], &staged.ids[1]);
    assert_eq!(state.subjects[lavatory].parent.as_ref(), Some(bath));
    assert_eq!(state.order, [house, bath.clone(), lavatory.clone()]);
    let fact = &state.fact(lavatory, "trap.size").unwrap().standing[0];
    assert_eq!((fact.value.how, fact.value.note.as_str()), (How::Seen, "behind the panel"));
    assert!(state.closing(bath, "lavatory").unwrap().agreed().unwrap().value);
}

#[test]
fn later_edits_of_a_slice_replace_earlier_ones() {
    let (mut record, house) = job();
    let before = act(&mut record, seen(&house, "storeys", "1"));
    let staged = record.stage(&[seen(&house, "storeys", "2"), seen(&house, "storeys", "3")], AT).unwrap();
    record.accept();
    let register = record.state().fact(&house, "storeys").unwrap();
    assert_eq!(register.standing_ids(), [staged.ids[1].clone()]);
    assert_eq!(
        register.earlier.iter().map(|s| s.id.clone()).collect::<Vec<_>>(),
        [before, staged.ids[0].clone()]
    );
}

#[test]
fn a_new_name_keeps_the_first_one_readable() {
    let (mut record, house) = job();
    act(&mut record, Edit::Name { of: house.clone(), name: "Main house".into() });
    let subject = &record.state().subjects[&house];
    assert_eq!(subject.called(), "Main house");
    assert_eq!(subject.name.earlier[0].value, "House");
}

#[test]
fn a_strike_and_its_restore_both_stay_readable() {
    let (mut record, house) = job();
    let bath = act(&mut record, subject("room", "Bath", Some(&house)));
    let lavatory = act(&mut record, subject("lavatory", "Lavatory", Some(&bath)));
    act(&mut record, strike(&bath, "counted twice"));
    assert_eq!(record.state().subjects[&bath].struck.as_ref().unwrap().why, "counted twice");
    assert!(record.state().is_struck(&lavatory), "it stands in a struck room");
    assert!(record.state().subjects[&lavatory].struck.is_none());
    act(&mut record, Edit::Restore { of: bath.clone(), why: "it is another one".into() });
    assert!(!record.state().is_struck(&lavatory));
    let strikes: Vec<_> = record.state().strikes.iter().map(|s| (s.why.as_str(), s.stands)).collect();
    assert_eq!(strikes, [("counted twice", false), ("it is another one", true)]);
}

#[test]
fn a_strike_of_a_restore_strikes_again() {
    let (mut record, house) = job();
    let bath = act(&mut record, subject("room", "Bath", Some(&house)));
    act(&mut record, strike(&bath, "one"));
    let restore = act(&mut record, Edit::Restore { of: bath.clone(), why: "two".into() });
    act(&mut record, strike(&restore, "three"));
    assert_eq!(record.state().subjects[&bath].struck.as_ref().unwrap().why, "one");
}

#[test]
fn photos_are_wanted_until_struck_and_once_each() {
    let (mut record, house) = job();
    let photo = |sha: &str| Edit::Photo {
        subject: SubjectRef::Id(house.clone()),
        sha256: sha.repeat(32),
        bytes: 120_000,
        caption: "cleanout".into(),
    };
    let first = act(&mut record, photo("ab"));
    act(&mut record, photo("ab"));
    act(&mut record, photo("cd"));
    assert_eq!(record.state().wanted_photos().len(), 2);
    act(&mut record, strike(&first, "blurred"));
    assert_eq!(record.state().wanted_photos().len(), 2, "the other reference still wants it");
    assert_eq!(record.state().photos[0].struck.as_ref().unwrap().why, "blurred");
}

#[test]
fn visits_hindrances_open_places_words_and_notices_are_kept_in_order() {
    let (mut record, house) = job();
    let rough = act(&mut record, Edit::Visit { stage: "rough".into(), on: "2026-11-20".into() });
    let last = act(&mut record, Edit::Visit { stage: "final".into(), on: "2026-11-25".into() });
    let hinder = |why: &str| Edit::Hinder { visit: last.clone(), what: Hindrance::NoAccess, why: why.into() };
    act(&mut record, hinder("nobody at home"));
    act(&mut record, hinder(""));
    act(&mut record, Edit::Open { visit: last.clone(), place: house.clone(), why: "locked".into() });
    act(
        &mut record,
        Edit::Words { text: "Call first.".into(), provision: None, subject: Some(house.clone()) },
    );
    let heads = record.heads();
    act(
        &mut record,
        Edit::Notice {
            visit: last.clone(),
            disposition: "approved_in_part".into(),
            heads: heads.clone(),
            digest: "0".repeat(64),
            received_by: "T. Vale".into(),
        },
    );
    let state = record.state();
    assert_eq!(state.visits.iter().map(|v| v.id.clone()).collect::<Vec<_>>(), [rough, last.clone()]);
    assert_eq!(state.open_visit().unwrap().value.stage, "final");
    assert_eq!(state.hinders[&last].agreed().unwrap().value.why, "");
    assert_eq!(state.hinders[&last].earlier[0].value.why, "nobody at home");
    assert_eq!(state.open_places[&(last, house)].agreed().unwrap().value, "locked");
    assert_eq!(state.words[0].text, "Call first.");
    let at_notice = record.state_at(&state.notices[0].heads).unwrap();
    assert!(at_notice.notices.is_empty() && at_notice.words == state.words);
}

#[test]
fn a_copy_names_what_it_was_copied_from() {
    let (mut record, house) = job();
    let bath = act(&mut record, subject("room", "Bath", Some(&house)));
    let copy = Edit::Subject {
        kind: "room".into(),
        name: "Bath 2".into(),
        parent: Some(SubjectRef::Id(house)),
        copied_from: Some(bath.clone()),
    };
    let copy = act(&mut record, copy);
    assert_eq!(record.state().subjects[&copy].copied_from, Some(bath));
}

#[test]
fn nothing_is_seen_before_it_is_accepted_and_nothing_is_left_after_it_is_discarded() {
    let (mut record, house) = job();
    let (heads, state) = (record.heads(), record.state().clone());
    record.stage(&[seen(&house, "storeys", "2")], AT).unwrap();
    assert_eq!((record.heads(), record.state()), (heads.clone(), &state));
    assert_eq!(record.stage(&[seen(&house, "storeys", "3")], AT), Err(StageError::Pending));
    record.discard();
    assert_eq!((record.heads(), record.state()), (heads, &state));
}

/// A store that failed may have written all the same. Were the session to go on under its actor, two changes would
/// have one number, and the record would never open again.
#[test]
fn bytes_that_reached_the_disk_although_discarded_still_merge_with_what_came_after() {
    let (mut record, house) = job();
    let saved = record.save();
    let lost = record.stage(&[seen(&house, "storeys", "2")], AT).unwrap();
    record.discard();
    let kept = record.stage(&[seen(&house, "storeys", "3")], AT).unwrap();
    record.accept();
    assert_ne!(lost.ids[0].prefix(), kept.ids[0].prefix());
    let reopened = Record::open(&[saved, lost.bytes, kept.bytes].concat()).unwrap();
    assert_eq!(standing(&reopened, &house, "storeys"), ["2", "3"]);
    assert!(reopened.state().faults.is_empty());
}

#[test]
fn a_session_goes_on_after_reopening() {
    let (mut record, house) = job();
    act(&mut record, seen(&house, "storeys", "2"));
    let mut reopened = tablet(&record, "okafor", 1);
    let id = act(&mut reopened, seen(&house, "storeys", "3"));
    assert_eq!(id.counter(), 2, "0 is the session, 1 the first observation");
    assert_eq!(reopened.state().sessions.len(), 2);
}

#[test]
fn an_actor_that_another_person_used_is_not_used_again() {
    let (mut record, house) = job();
    act(&mut record, seen(&house, "storeys", "2"));
    let mut other = tablet(&record, "lindqvist", 1);
    let id = act(&mut other, seen(&house, "storeys", "3"));
    assert_ne!(id.prefix(), hex::encode(&actor(1)[..8]));
    assert_eq!(other.state().fact(&house, "storeys").unwrap().standing[0].who.user, "lindqvist");
}

#[test]
fn what_cannot_be_written_is_refused_with_a_reason_and_nothing_is_staged() {
    let (mut record, house) = job();
    let nobody: EntryId = "00112233445566aa.7".parse().unwrap();
    let refused = |record: &mut Record, edit: Edit, expected: &str| {
        let error = record.stage(&[edit], AT).unwrap_err().to_string();
        assert_eq!(error, expected);
        assert!(!record.is_staged());
    };
    let r = &mut record;
    refused(
        r,
        seen(&nobody, "storeys", "2"),
        "`00112233445566aa.7` is not a subject of this job; reload the job and try again",
    );
    refused(
        r,
        Edit::Open { visit: nobody.clone(), place: house.clone(), why: "x".into() },
        "`00112233445566aa.7` is not a visit of this job; reload the job and try again",
    );
    refused(
        r,
        strike(&nobody, "x"),
        "`00112233445566aa.7` is not an entry to strike of this job; reload the job and try again",
    );
    refused(r, seen(&house, "", "2"), "this cannot be entered: its `fact` is empty");
    refused(
        r,
        Edit::Visit { stage: "rough".into(), on: "2026-02-30".into() },
        "this cannot be entered: its `on` is not a day written like 2026-03-02",
    );
    refused(
        r,
        Edit::Photo {
            subject: SubjectRef::Id(house.clone()),
            sha256: "AB".into(),
            bytes: 1,
            caption: String::new(),
        },
        "this cannot be entered: its `sha256` is not a SHA-256 in 64 lower-case hex digits",
    );
    let late = [
        Edit::All { subject: SubjectRef::New(1), kind: "room".into(), all: true },
        subject("room", "Bath", Some(&house)),
    ];
    assert_eq!(r.stage(&late, AT), Err(StageError::NotAddedBefore { index: 0 }));
    let long = Edit::Words { text: "x".repeat(8_001), provision: None, subject: None };
    refused(r, long, "this cannot be entered: its `text` is longer than 8000 characters");
}

#[test]
fn a_clerk_may_mend_the_heading_and_enters_nothing_found_on_site() {
    let (server, house) = imported();
    let mut record = Record::open(&server.save()).unwrap();
    record.begin(author("moss", "clerk"), actor(9));
    let mended = crownweir_record::JobHeader { address: "16 Larkspur Lane".into(), ..header() };
    act(&mut record, Edit::Job(mended.clone()));
    assert_eq!(record.state().job(), Some(&mended));
    assert_eq!(
        record.stage(&[seen(&house, "storeys", "2")], AT),
        Err(StageError::Role { role: "clerk".into() })
    );
}

#[test]
fn nobody_signed_in_writes_nothing() {
    let (server, house) = imported();
    let mut record = Record::open(&server.save()).unwrap();
    assert_eq!(record.stage(&[seen(&house, "storeys", "2")], AT), Err(StageError::NoSession));
}

#[test]
fn a_session_begun_while_an_edit_is_being_stored_counts_from_its_own_beginning() {
    let (mut record, house) = job();
    act(&mut record, seen(&house, "storeys", "1"));
    record.stage(&[seen(&house, "storeys", "2")], AT).unwrap();
    record.begin(inspector("lindqvist"), actor(2));
    record.accept();
    let id = act(&mut record, seen(&house, "storeys", "3"));
    assert_eq!(id.counter(), 1);
    assert_eq!(record.state().fact(&house, "storeys").unwrap().standing[0].who.user, "lindqvist");
    assert!(record.state().faults.is_empty(), "{:?}", record.state().faults);
}
