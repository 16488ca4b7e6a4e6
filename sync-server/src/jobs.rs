//! How a job begins: its document is created once, here, and stored whole before anybody hears of it.

use crownweir_record::{Author, DocumentId, Edit, JobHeader, Record, StageError};

use crate::hub;
use crate::store::{JobRow, Write};

/// What a job begins with.
#[derive(Debug, Clone)]
pub struct NewJob {
    /// Permit, address and law.
    pub header: JobHeader,
    /// What is known of the house already.
    pub edits: Vec<Edit>,
    /// Stage of the planned visit.
    pub stage: String,
    /// When it is planned.
    pub scheduled: String,
    /// Sign-in names of the assigned users.
    pub assigned: Vec<String>,
}

/// Why a job could not begin.
#[derive(Debug, thiserror::Error)]
pub enum BeginError {
    /// The record refused.
    #[error(transparent)]
    Stage(#[from] StageError),
    /// No random numbers.
    #[error("the system gives no random numbers: {0}")]
    Random(getrandom::Error),
}

/// The document of a new job, and what has to be committed, in one batch, for it to exist.
pub fn begin(job: NewJob, at_ms: i64) -> Result<(DocumentId, Vec<Write>), BeginError> {
    let (mut id, mut actor) = ([0u8; 16], [0u8; 16]);
    getrandom::fill(&mut id).and_then(|()| getrandom::fill(&mut actor)).map_err(BeginError::Random)?;
    let doc = DocumentId(id);
    let server = Author {
        user: "server".into(),
        name: job.header.agency.clone(),
        role: "server".into(),
        device: "import".into(),
    };
    let row = JobRow {
        doc: doc.to_string(),
        permit: job.header.permit.clone(),
        address: job.header.address.clone(),
        scope: job.header.scope.clone(),
        stage: job.stage,
        scheduled: job.scheduled,
        adoption: job.header.adoption.clone(),
        applied_on: job.header.applied_on.clone(),
        assigned: job.assigned,
    };
    let mut record = Record::create(job.header, &server, actor, at_ms)?;
    if !job.edits.is_empty() {
        record.stage(&job.edits, at_ms)?;
        record.accept();
    }
    let name = row.doc.clone();
    let bind = Write::Bind { doc: name.clone(), actor: hex::encode(actor), user: server.user };
    Ok((doc, vec![Write::AddJob(row), bind, hub::whole(&name, record.automerge())]))
}
