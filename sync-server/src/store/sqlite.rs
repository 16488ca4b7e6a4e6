//! The store in one SQLite file: write-ahead log, `synchronous=FULL`.
//!
//! In WAL mode `synchronous=NORMAL` does not flush at commit, so FULL is set on every connection and read back; a
//! database that does not take it is refused rather than trusted.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Mutex, MutexGuard};
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};
use sha2::{Digest, Sha256};

use super::{
    Chunk, ChunkKind, JobRow, PhotoRow, QuarantineRow, SessionRow, Store, StoreError, UserRow, Write,
};

const SCHEMA: i64 = 1;

const TABLES: &str = "
create table chunks (
    doc text not null, kind integer not null, key text not null, sha256 blob not null, bytes blob not null,
    primary key (doc, kind, key)) without rowid;
create table actors (
    doc text not null, actor text not null, user text not null, primary key (doc, actor)) without rowid;
create table jobs (doc text primary key, permit text not null unique, head text not null) without rowid;
create table users (user text primary key, name text not null, role text not null, password text not null)
    without rowid;
create table sessions (
    token_hash text primary key, user text not null, device text not null, created_at integer not null,
    seen_at integer not null) without rowid;
create table photos (
    doc text not null, sha256 text not null, bytes integer not null, user text not null, at integer not null,
    primary key (doc, sha256)) without rowid;
create table quarantine (
    id integer primary key, doc text not null, user text not null, device text not null, reason text not null,
    bytes blob not null, at integer not null, sha256 blob not null);
create unique index quarantined_once on quarantine (doc, user, sha256);
create table settings (name text primary key, value text not null) without rowid;
";

/// See the module.
pub struct SqliteStore {
    writer: Mutex<Connection>,
    // WAL lets it read while the writer waits for the disk.
    reader: Mutex<Connection>,
}

impl SqliteStore {
    /// Opens or creates the file.
    pub fn open(file: &Path) -> Result<Self, StoreError> {
        let mut writer = connect(file)?;
        prepare(&mut writer)?;
        Ok(SqliteStore { writer: Mutex::new(writer), reader: Mutex::new(connect(file)?) })
    }

    fn read(&self) -> MutexGuard<'_, Connection> {
        // A poisoned lock means a reader panicked; a read leaves nothing half done.
        self.reader.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

fn connect(file: &Path) -> Result<Connection, StoreError> {
    let doing = "open its database";
    let c = Connection::open(file).map_err(fails(doing))?;
    c.busy_timeout(Duration::from_secs(10)).map_err(fails(doing))?;
    c.set_prepared_statement_cache_capacity(64);
    for (setting, value, wanted) in [
        ("journal_mode", "wal", "wal"),
        ("synchronous", "full", "2"),
        ("fullfsync", "on", "1"),
        ("checkpoint_fullfsync", "on", "1"),
    ] {
        c.pragma_update(None, setting, value).map_err(fails(doing))?;
        let found: String = c
            .pragma_query_value(None, setting, |r| {
                Ok(match r.get_ref(0)? {
                    rusqlite::types::ValueRef::Integer(i) => i.to_string(),
                    other => other.as_str().unwrap_or_default().to_owned(),
                })
            })
            .map_err(fails(doing))?;
        if found != wanted {
            return Err(StoreError::Promise { setting, found, wanted });
        }
    }
    Ok(c)
}

fn prepare(c: &mut Connection) -> Result<(), StoreError> {
    let doing = "lay out its tables";
    let t = c.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate).map_err(fails(doing))?;
    let found: i64 = t.pragma_query_value(None, "user_version", |r| r.get(0)).map_err(fails(doing))?;
    match found {
        0 => {
            t.execute_batch(TABLES).map_err(fails(doing))?;
            t.pragma_update(None, "user_version", SCHEMA).map_err(fails(doing))?;
        }
        SCHEMA => {}
        _ => return Err(StoreError::Newer { found, known: SCHEMA }),
    }
    t.commit().map_err(fails(doing))
}

fn fails(doing: &'static str) -> impl Fn(rusqlite::Error) -> StoreError {
    move |e| StoreError::Database { doing, cause: e.to_string() }
}

fn number(kind: ChunkKind) -> i64 {
    match kind {
        ChunkKind::Snapshot => 0,
        ChunkKind::Increment => 1,
    }
}

impl Store for SqliteStore {
    fn commit(&self, batch: &[Write]) -> Result<(), StoreError> {
        let doing = "write";
        // After a panic inside a transaction the connection rolled back when the transaction was dropped.
        let mut c = self.writer.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let t =
            c.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate).map_err(fails(doing))?;
        for write in batch {
            apply(&t, write)?;
        }
        t.commit().map_err(fails(doing))
    }

    fn chunks(&self, doc: &str) -> Result<Vec<Chunk>, StoreError> {
        let doing = "read a document";
        let c = self.read();
        let mut s = c
            .prepare_cached("select kind, key, sha256, bytes from chunks where doc = ? order by kind, key")
            .map_err(fails(doing))?;
        let rows = s.query_map([doc], |r| {
            let sum: Vec<u8> = r.get(2)?;
            let bytes: Vec<u8> = r.get(3)?;
            Ok(Chunk {
                kind: if r.get::<_, i64>(0)? == 0 { ChunkKind::Snapshot } else { ChunkKind::Increment },
                key: r.get(1)?,
                sound: Sha256::digest(&bytes).as_slice() == sum,
                bytes,
            })
        });
        rows.and_then(Iterator::collect).map_err(fails(doing))
    }

    fn actors(&self, doc: &str) -> Result<BTreeMap<String, String>, StoreError> {
        let doing = "read who wrote a document";
        let c = self.read();
        let mut s = c.prepare_cached("select actor, user from actors where doc = ?").map_err(fails(doing))?;
        let rows = s.query_map([doc], |r| Ok((r.get(0)?, r.get(1)?)));
        rows.and_then(Iterator::collect).map_err(fails(doing))
    }

    fn jobs(&self) -> Result<Vec<JobRow>, StoreError> {
        let doing = "list the jobs";
        let c = self.read();
        let mut s = c.prepare_cached("select head from jobs order by permit").map_err(fails(doing))?;
        let rows = s.query_map([], job_row);
        rows.and_then(Iterator::collect).map_err(fails(doing))
    }

    fn job(&self, doc: &str) -> Result<Option<JobRow>, StoreError> {
        let doing = "read a job";
        let c = self.read();
        let mut s = c.prepare_cached("select head from jobs where doc = ?").map_err(fails(doing))?;
        s.query_row([doc], job_row).optional().map_err(fails(doing))
    }

    fn job_by_permit(&self, permit: &str) -> Result<Option<JobRow>, StoreError> {
        let doing = "read a job";
        let c = self.read();
        let mut s = c.prepare_cached("select head from jobs where permit = ?").map_err(fails(doing))?;
        s.query_row([permit], job_row).optional().map_err(fails(doing))
    }

    fn users(&self) -> Result<Vec<UserRow>, StoreError> {
        let doing = "list the users";
        let c = self.read();
        let mut s = c
            .prepare_cached("select user, name, role, password from users order by user")
            .map_err(fails(doing))?;
        let rows = s.query_map([], user_row);
        rows.and_then(Iterator::collect).map_err(fails(doing))
    }

    fn user(&self, user: &str) -> Result<Option<UserRow>, StoreError> {
        let doing = "read a user";
        let c = self.read();
        let mut s = c
            .prepare_cached("select user, name, role, password from users where user = ?")
            .map_err(fails(doing))?;
        s.query_row([user], user_row).optional().map_err(fails(doing))
    }

    fn session(&self, token_hash: &str) -> Result<Option<SessionRow>, StoreError> {
        let doing = "read a session";
        let c = self.read();
        let mut s = c
            .prepare_cached(
                "select token_hash, user, device, created_at, seen_at from sessions where token_hash = ?",
            )
            .map_err(fails(doing))?;
        s.query_row([token_hash], |r| {
            Ok(SessionRow {
                token_hash: r.get(0)?,
                user: r.get(1)?,
                device: r.get(2)?,
                created_at: r.get(3)?,
                seen_at: r.get(4)?,
            })
        })
        .optional()
        .map_err(fails(doing))
    }

    fn photo(&self, doc: &str, sha256: &str) -> Result<Option<PhotoRow>, StoreError> {
        let doing = "read a photo's entry";
        let c = self.read();
        let mut s = c
            .prepare_cached("select doc, sha256, bytes, user, at from photos where doc = ? and sha256 = ?")
            .map_err(fails(doing))?;
        s.query_row([doc, sha256], |r| {
            Ok(PhotoRow {
                doc: r.get(0)?,
                sha256: r.get(1)?,
                bytes: r.get::<_, i64>(2)?.unsigned_abs(),
                user: r.get(3)?,
                at: r.get(4)?,
            })
        })
        .optional()
        .map_err(fails(doing))
    }

    fn photo_count(&self, doc: &str) -> Result<u64, StoreError> {
        let doing = "count the photos of a job";
        let c = self.read();
        let mut s = c.prepare_cached("select count(*) from photos where doc = ?").map_err(fails(doing))?;
        s.query_row([doc], |r| r.get::<_, i64>(0)).map(i64::unsigned_abs).map_err(fails(doing))
    }

    fn quarantine(&self) -> Result<Vec<QuarantineRow>, StoreError> {
        let doing = "read what was refused";
        let c = self.read();
        let mut s = c
            .prepare_cached("select doc, user, device, reason, bytes, at from quarantine order by id")
            .map_err(fails(doing))?;
        let rows = s.query_map([], |r| {
            Ok(QuarantineRow {
                doc: r.get(0)?,
                user: r.get(1)?,
                device: r.get(2)?,
                reason: r.get(3)?,
                bytes: r.get(4)?,
                at: r.get(5)?,
            })
        });
        rows.and_then(Iterator::collect).map_err(fails(doing))
    }

    fn setting(&self, name: &str) -> Result<Option<String>, StoreError> {
        let doing = "read a setting";
        let c = self.read();
        let mut s = c.prepare_cached("select value from settings where name = ?").map_err(fails(doing))?;
        s.query_row([name], |r| r.get(0)).optional().map_err(fails(doing))
    }
}

fn user_row(r: &Row<'_>) -> rusqlite::Result<UserRow> {
    Ok(UserRow { user: r.get(0)?, name: r.get(1)?, role: r.get(2)?, password: r.get(3)? })
}

fn job_row(r: &Row<'_>) -> rusqlite::Result<JobRow> {
    let text: String = r.get(0)?;
    serde_json::from_str(&text)
        .map_err(|e| rusqlite::Error::FromSqlConversionFailure(0, rusqlite::types::Type::Text, Box::new(e)))
}

fn head(job: &JobRow) -> Result<String, StoreError> {
    serde_json::to_string(job)
        .map_err(|e| StoreError::Database { doing: "write a job's head", cause: e.to_string() })
}

fn apply(t: &Transaction<'_>, write: &Write) -> Result<(), StoreError> {
    let doing = "write";
    let run = |sql: &str, values: &[&dyn rusqlite::ToSql]| {
        t.prepare_cached(sql).and_then(|mut s| s.execute(values))
    };
    let done = match write {
        Write::Chunk { doc, kind, key, bytes } => run(
            "insert or ignore into chunks (doc, kind, key, sha256, bytes) values (?, ?, ?, ?, ?)",
            params![doc, number(*kind), key, Sha256::digest(bytes).as_slice(), bytes],
        ),
        Write::DropChunks { doc, keys } => keys.iter().try_fold(0, |n, (kind, key)| {
            run("delete from chunks where doc = ? and kind = ? and key = ?", params![doc, number(*kind), key])
                .map(|m| n + m)
        }),
        Write::Bind { doc, actor, user } => {
            run("insert or ignore into actors (doc, actor, user) values (?, ?, ?)", params![doc, actor, user])
        }
        Write::Quarantine(q) => run(
            // A tablet sends refused work again each time it connects; one copy is enough.
            "insert or ignore into quarantine (doc, user, device, reason, bytes, at, sha256)
             values (?, ?, ?, ?, ?, ?, ?)",
            params![q.doc, q.user, q.device, q.reason, q.bytes, q.at, Sha256::digest(&q.bytes).as_slice()],
        ),
        Write::AddJob(job) => {
            match run(
                "insert into jobs (doc, permit, head) values (?, ?, ?)",
                params![job.doc, job.permit, head(job)?],
            ) {
                Err(rusqlite::Error::SqliteFailure(e, _))
                    if e.code == rusqlite::ErrorCode::ConstraintViolation =>
                {
                    return Err(StoreError::JobExists { permit: job.permit.clone(), doc: job.doc.clone() });
                }
                other => other,
            }
        }
        Write::JobHead(job) => run("update jobs set head = ? where doc = ?", params![head(job)?, job.doc]),
        Write::User(u) => run(
            "insert into users (user, name, role, password) values (?, ?, ?, ?) on conflict (user) do update
             set name = excluded.name, role = excluded.role, password = excluded.password",
            params![u.user, u.name, u.role, u.password],
        ),
        Write::AddSession(s) => run(
            "insert into sessions (token_hash, user, device, created_at, seen_at) values (?, ?, ?, ?, ?)",
            params![s.token_hash, s.user, s.device, s.created_at, s.seen_at],
        ),
        Write::SessionSeen { token_hash, at } => {
            run("update sessions set seen_at = ? where token_hash = ?", params![at, token_hash])
        }
        Write::EndSession { token_hash } => {
            run("delete from sessions where token_hash = ?", params![token_hash])
        }
        Write::Photo(p) => run(
            "insert or ignore into photos (doc, sha256, bytes, user, at) values (?, ?, ?, ?, ?)",
            params![p.doc, p.sha256, i64::try_from(p.bytes).unwrap_or(i64::MAX), p.user, p.at],
        ),
        Write::Setting { name, value } => run(
            "insert into settings (name, value) values (?, ?)
             on conflict (name) do update set value = excluded.value",
            params![name, value],
        ),
    };
    done.map(|_| ()).map_err(fails(doing))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_connection_flushes_at_commit() {
        let folder = tempfile::tempdir().expect("a folder");
        let store = SqliteStore::open(&folder.path().join("x.db")).expect("a store");
        for connection in [&store.writer, &store.reader] {
            let c = connection.lock().expect("a connection");
            let synchronous: i64 = c.pragma_query_value(None, "synchronous", |r| r.get(0)).expect("read");
            let journal: String = c.pragma_query_value(None, "journal_mode", |r| r.get(0)).expect("read");
            // 2 is FULL; 1, NORMAL, would not flush in WAL mode.
            assert_eq!((synchronous, journal.as_str()), (2, "wal"));
        }
    }

    #[test]
    fn folder_of_a_newer_program_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("x.db");
        drop(SqliteStore::open(&file).expect("a store"));
        Connection::open(&file).and_then(|c| c.pragma_update(None, "user_version", 99)).expect("changed");
        assert!(matches!(SqliteStore::open(&file), Err(StoreError::Newer { found: 99, .. })));
    }
}
