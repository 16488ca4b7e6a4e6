//! Who may see which job.

use crate::Shared;
use crate::accounts::Signed;
use crate::answer::Problem;
use crate::store::JobRow;

/// Assigned users, and everybody who keeps the file: supervisors, clerks, administrators.
pub fn may_read(user: &str, role: &str, job: &JobRow) -> bool {
    matches!(role, "supervisor" | "clerk" | "administrator") || job.assigned.iter().any(|a| a == user)
}

/// Who may import jobs.
pub fn may_import(role: &str) -> bool {
    matches!(role, "supervisor" | "clerk" | "administrator")
}

/// The job of a document, if this user may see it.
pub async fn job(server: &Shared, signed: &Signed, doc: &str) -> Result<JobRow, Problem> {
    let name = doc.to_owned();
    let found = crate::off_thread(server.store.clone(), move |s| s.job(&name)).await?;
    found.filter(|j| may_read(&signed.user, &signed.role, j)).ok_or_else(|| Problem::not_here("this job"))
}
