//! A small agency for tests: a job, people, and tablets that pass chunks to one another.
#![allow(dead_code, reason = "each test file uses a part")]

use proptest::test_runner::Config as ProptestConfig;

use crownweir_record::{Author, Edit, EntryId, How, JobHeader, Record, StageError, SubjectRef};

/// How many cases a property is tried with: few on every run, more when `PROPTEST_CASES` asks for them.
pub fn cases(usual: u32) -> ProptestConfig {
    let asked = std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok());
    ProptestConfig::with_cases(asked.unwrap_or(usual))
}

pub const AT: i64 = 1_780_000_000_000;

pub fn header() -> JobHeader {
    JobHeader {
        permit: "P-26-0412".into(),
        address: "14 Larkspur Lane, Brindle Ford".into(),
        scope: "new dwelling".into(),
        contractor: "Tamsin Vale Plumbing".into(),
        adoption: "alderfen".into(),
        applied_on: "2026-03-02".into(),
        agency: "Alderfen County".into(),
        history: vec![],
    }
}

pub fn author(user: &str, role: &str) -> Author {
    Author {
        user: user.into(),
        name: format!("{} of Alderfen", user.to_uppercase()),
        role: role.into(),
        device: format!("tablet of {user}"),
    }
}

pub fn inspector(user: &str) -> Author {
    author(user, "inspector")
}

pub fn actor(n: u8) -> [u8; 16] {
    let mut actor = [n; 16];
    actor[15] = 0xa5;
    actor
}

/// A job as the server imports it: a house.
pub fn imported() -> (Record, EntryId) {
    let mut server = Record::create(header(), &author("crownweir", "server"), actor(200), AT).unwrap();
    let house = act(&mut server, subject("house", "House", None));
    (server, house)
}

/// The same job on a tablet of a user.
pub fn tablet(of: &Record, user: &str, n: u8) -> Record {
    let mut record = Record::open(&of.save()).unwrap();
    record.begin(inspector(user), actor(n));
    record
}

pub fn subject(kind: &str, name: &str, parent: Option<&EntryId>) -> Edit {
    let parent = parent.cloned().map(SubjectRef::Id);
    Edit::Subject { kind: kind.into(), name: name.into(), parent, copied_from: None }
}

pub fn seen(subject: &EntryId, fact: &str, value: &str) -> Edit {
    let value = (!value.is_empty()).then(|| value.to_owned());
    Edit::Seen {
        subject: SubjectRef::Id(subject.clone()),
        fact: fact.into(),
        value,
        how: How::Measured,
        note: String::new(),
    }
}

pub fn strike(of: &EntryId, why: &str) -> Edit {
    Edit::Strike { of: of.clone(), why: why.into() }
}

/// Stages and accepts one edit.
pub fn act(record: &mut Record, edit: Edit) -> EntryId {
    try_act(record, edit).unwrap()
}

pub fn try_act(record: &mut Record, edit: Edit) -> Result<EntryId, StageError> {
    let staged = record.stage(&[edit], AT)?;
    record.accept();
    Ok(staged.ids[0].clone())
}

/// Brings everything that `from` holds into `to`, which goes on in its session.
pub fn pull(to: &mut Record, from: &Record, user: &str, n: u8) {
    let mut merged = Record::open(&[to.save(), from.save()].concat()).unwrap();
    merged.begin(inspector(user), actor(n));
    *to = merged;
}

/// The standing values of a fact, sorted.
pub fn standing(record: &Record, subject: &EntryId, fact: &str) -> Vec<String> {
    let mut values: Vec<String> = record
        .state()
        .fact(subject, fact)
        .map(|r| {
            r.standing.iter().map(|s| s.value.value.clone().unwrap_or_else(|| "unknown".into())).collect()
        })
        .unwrap_or_default();
    values.sort();
    values
}
