//! Who is signed in: passwords, sessions, tickets for clients without cookies, and the brake on guessing.
//!
//! A session lives for [`SESSION_IDLE_MS`] after its last contact and [`SESSION_MAX_MS`] after signing in. The idle span
//! is longer than a shift, because a tablet may be out of contact from the morning to the evening and must then deliver
//! without anybody typing a password in a basement's doorway.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use serde::Serialize;
use sha2::{Digest, Sha256};
use tokio::sync::Semaphore;

use crate::answer::Problem;
use crate::store::commit::Committer;
use crate::store::{SessionRow, Store, StoreError, UserRow, Write};

/// A session ends this long after its last contact: 14 hours, a long shift and the way home.
pub const SESSION_IDLE_MS: i64 = 14 * 3_600_000;
/// A session ends this long after signing in, whatever happens: 7 days.
pub const SESSION_MAX_MS: i64 = 7 * 24 * 3_600_000;
/// A ticket for a client that cannot send cookies ends after 10 minutes.
pub const TICKET_MS: i64 = 10 * 60_000;
/// Contacts are written down at most this often per session.
const SEEN_EVERY_MS: i64 = 60_000;
/// Wrong passwords per user and address before the brake, and the span in which they count.
const GUESSES: u32 = 5;
const GUESS_SPAN_MS: i64 = 15 * 60_000;
/// Pairs of user and address remembered at most.
const GUESS_PAIRS: usize = 10_000;
/// Hashing needs 19 MiB each: two at a time leave room for everything else.
const HASHING_AT_ONCE: usize = 2;
/// Longer passwords are refused before they are hashed.
const LONGEST_PASSWORD: usize = 1024;

/// The four roles.
pub const ROLES: [&str; 4] = ["inspector", "supervisor", "clerk", "administrator"];

/// Somebody who is signed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signed {
    /// Sign-in name.
    pub user: String,
    /// Name as shown.
    pub name: String,
    /// One of [`ROLES`].
    pub role: String,
    /// What the device called itself.
    pub device: String,
    /// The session this came from.
    pub token_hash: String,
}

/// A person of the agency, as everybody may see them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Person {
    /// Sign-in name.
    pub user: String,
    /// Name as shown.
    pub name: String,
    /// One of [`ROLES`].
    pub role: String,
}

struct Guesses {
    wrong: u32,
    since: i64,
}

/// See the module.
pub struct Accounts {
    store: Arc<dyn Store>,
    committer: Committer,
    hashing: Arc<Semaphore>,
    guesses: Mutex<HashMap<(String, Option<IpAddr>), Guesses>>,
    tickets: Mutex<HashMap<String, (String, i64)>>,
    seen: Mutex<HashMap<String, i64>>,
    nobody: String,
}

impl Accounts {
    /// Over a store.
    pub fn new(store: Arc<dyn Store>, committer: Committer) -> Result<Self, Problem> {
        Ok(Accounts {
            store,
            committer,
            hashing: Arc::new(Semaphore::new(HASHING_AT_ONCE)),
            guesses: Mutex::default(),
            tickets: Mutex::default(),
            seen: Mutex::default(),
            nobody: hash_password("nobody has this password")?,
        })
    }

    /// Checks a password and opens a session. Returns the cookie's token.
    pub async fn sign_in(
        &self,
        user: &str,
        password: &str,
        device: &str,
        from: Option<IpAddr>,
        now: i64,
    ) -> Result<(String, Signed), Problem> {
        let user = user.trim().to_lowercase();
        let pair = (user.clone(), from);
        self.brake(&pair, now)?;
        if password.len() > LONGEST_PASSWORD || user.len() > 128 || device.len() > 256 {
            return Err(Problem::unusable(
                "user name, password or device name is too long",
                "check what was typed and sign in again",
            ));
        }
        let row = self
            .blocking({
                let user = user.clone();
                move |s| s.user(&user)
            })
            .await?;
        // An unknown user costs as much time as a wrong password, so that names cannot be found out.
        let hash = row.as_ref().map_or_else(|| self.nobody.clone(), |u| u.password.clone());
        let password = password.to_owned();
        let permit = self.hashing.clone().acquire_owned().await.map_err(|e| Problem::ours(&e))?;
        let right = tokio::task::spawn_blocking(move || {
            let _permit = permit;
            verify_password(&password, &hash)
        })
        .await
        .map_err(|e| Problem::ours(&e))?;
        let Some(row) = row.filter(|_| right) else {
            self.guessed(pair, now);
            return Err(Problem::new(
                axum::http::StatusCode::UNAUTHORIZED,
                "user name or password is wrong",
                "everything recorded on this tablet is still on it",
                "type both again; a supervisor or an administrator can set a new password",
            ));
        };
        lock(&self.guesses).remove(&pair);
        let token = random_token()?;
        let device = if device.trim().is_empty() { "unnamed device" } else { device.trim() };
        let session = SessionRow {
            token_hash: hash_token(&token),
            user: row.user.clone(),
            device: device.to_owned(),
            created_at: now,
            seen_at: now,
        };
        let signed = signed(&row, &session);
        self.committer.commit(vec![Write::AddSession(session)]).await?;
        Ok((token, signed))
    }

    /// Who a cookie's token belongs to, if its session is alive; notes the contact.
    pub async fn who(&self, token: &str, now: i64) -> Result<Option<Signed>, Problem> {
        self.who_by_hash(hash_token(token), now).await
    }

    /// Like [`Accounts::who`], by the session's hash.
    pub async fn who_by_hash(&self, token_hash: String, now: i64) -> Result<Option<Signed>, Problem> {
        let found = self
            .blocking(move |s| {
                let Some(session) = s.session(&token_hash)? else { return Ok(None) };
                Ok(s.user(&session.user)?.map(|u| (session, u)))
            })
            .await?;
        let Some((session, user)) = found else { return Ok(None) };
        let seen = lock(&self.seen)
            .get(&session.token_hash)
            .copied()
            .unwrap_or(session.seen_at)
            .max(session.seen_at);
        if now - seen > SESSION_IDLE_MS || now - session.created_at >= SESSION_MAX_MS {
            self.end(&session.token_hash).await?;
            return Ok(None);
        }
        if now - seen > SEEN_EVERY_MS {
            lock(&self.seen).insert(session.token_hash.clone(), now);
            let write = Write::SessionSeen { token_hash: session.token_hash.clone(), at: now };
            self.committer.commit(vec![write]).await?;
        }
        Ok(Some(signed(&user, &session)))
    }

    /// Ends a session.
    pub async fn end(&self, token_hash: &str) -> Result<(), Problem> {
        lock(&self.seen).remove(token_hash);
        lock(&self.tickets).retain(|_, (session, _)| session != token_hash);
        self.committer.commit(vec![Write::EndSession { token_hash: token_hash.to_owned() }]).await?;
        Ok(())
    }

    /// A short-lived stand-in for the cookie, bound to the session.
    pub fn ticket(&self, token_hash: &str, now: i64) -> Result<String, Problem> {
        let ticket = random_token()?;
        let mut tickets = lock(&self.tickets);
        tickets.retain(|_, (_, until)| *until > now);
        tickets.insert(hash_token(&ticket), (token_hash.to_owned(), now + TICKET_MS));
        Ok(ticket)
    }

    /// Who a ticket belongs to.
    pub async fn who_by_ticket(&self, ticket: &str, now: i64) -> Result<Option<Signed>, Problem> {
        let session = lock(&self.tickets).get(&hash_token(ticket)).filter(|(_, until)| *until > now).cloned();
        match session {
            Some((token_hash, _)) => self.who_by_hash(token_hash, now).await,
            None => Ok(None),
        }
    }

    /// Everybody of the agency.
    pub async fn people(&self) -> Result<Vec<Person>, Problem> {
        let users = self.blocking(|s| s.users()).await?;
        Ok(users.into_iter().map(|u| Person { user: u.user, name: u.name, role: u.role }).collect())
    }

    async fn blocking<T: Send + 'static>(
        &self,
        f: impl FnOnce(&dyn Store) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, Problem> {
        crate::off_thread(self.store.clone(), f).await
    }

    fn brake(&self, pair: &(String, Option<IpAddr>), now: i64) -> Result<(), Problem> {
        let guesses = lock(&self.guesses);
        let Some(g) = guesses.get(pair).filter(|g| g.wrong >= GUESSES && now - g.since < GUESS_SPAN_MS)
        else {
            return Ok(());
        };
        let wait_s = (GUESS_SPAN_MS - (now - g.since)).max(1000) / 1000;
        Err(Problem::new(
            axum::http::StatusCode::TOO_MANY_REQUESTS,
            "too many wrong passwords for this user from this address",
            "everything recorded on this tablet is still on it",
            format!("wait {} minutes and sign in again", (wait_s + 59) / 60),
        )
        .retry_after(wait_s.unsigned_abs()))
    }

    fn guessed(&self, pair: (String, Option<IpAddr>), now: i64) {
        let mut guesses = lock(&self.guesses);
        if guesses.len() >= GUESS_PAIRS {
            guesses.retain(|_, g| now - g.since < GUESS_SPAN_MS);
        }
        if guesses.len() >= GUESS_PAIRS {
            // Still full: somebody is trying many names. Forgetting the oldest would help them, so nothing is forgotten
            // and new pairs are simply not tracked; hashing two at a time is the brake that is left.
            return;
        }
        let g = guesses.entry(pair).or_insert(Guesses { wrong: 0, since: now });
        if now - g.since >= GUESS_SPAN_MS {
            *g = Guesses { wrong: 0, since: now };
        }
        g.wrong += 1;
    }
}

fn signed(user: &UserRow, session: &SessionRow) -> Signed {
    Signed {
        user: user.user.clone(),
        name: user.name.clone(),
        role: user.role.clone(),
        device: session.device.clone(),
        token_hash: session.token_hash.clone(),
    }
}

fn lock<T>(m: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    // None of these maps is ever half changed.
    m.lock().unwrap_or_else(PoisonError::into_inner)
}

fn hasher() -> Result<Argon2<'static>, Problem> {
    // argon2id, 19 MiB, two passes, one lane: the smallest setting of the OWASP password storage cheat sheet.
    let params = Params::new(19 * 1024, 2, 1, None).map_err(|e| Problem::ours(&e))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

/// The PHC string of a password, with a fresh salt.
pub fn hash_password(password: &str) -> Result<String, Problem> {
    Ok(hasher()?.hash_password(password.as_bytes()).map_err(|e| Problem::ours(&e))?.to_string())
}

fn verify_password(password: &str, hash: &str) -> bool {
    PasswordHash::new(hash).is_ok_and(|h| Argon2::default().verify_password(password.as_bytes(), &h).is_ok())
}

/// 256 random bits in hex.
pub fn random_token() -> Result<String, Problem> {
    let mut bytes = [0u8; 32];
    getrandom::fill(&mut bytes).map_err(|e| Problem::ours(&e))?;
    Ok(hex::encode(bytes))
}

fn hash_token(token: &str) -> String {
    hex::encode(Sha256::digest(token.as_bytes()))
}
