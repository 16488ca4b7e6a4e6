//! The house that is measured: the demo agency's first job with everything recorded, under the shipped rulesets.

use std::path::Path;

use crownweir_record::{Author, Record, job_file::JobFile};
use crownweir_rules::SourceFile;

/// Every ruleset file of the repository, as `crownweir_rules::load` takes them.
///
/// # Panics
/// When the folder cannot be read: a benchmark without its rulesets measures nothing.
pub fn rulesets() -> Vec<SourceFile> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../rulesets");
    let mut files = Vec::new();
    gather(&root, &root, &mut files);
    files.sort_by(|a, b| a.path.cmp(&b.path));
    files
}

fn gather(root: &Path, dir: &Path, files: &mut Vec<SourceFile>) {
    for entry in std::fs::read_dir(dir).expect("the rulesets folder is readable").flatten() {
        let path = entry.path();
        let table = path.parent().and_then(Path::file_name).is_some_and(|d| d == "tables");
        if path.is_dir() {
            gather(root, &path, files);
        } else if path.extension().is_some_and(|e| e == "rules" || (e == "csv" && table)) {
            files.push(SourceFile {
                path: path.strip_prefix(root).expect("below the root").to_string_lossy().replace('\\', "/"),
                text: std::fs::read_to_string(&path).expect("a ruleset file is UTF-8"),
            });
        }
    }
}

/// The demo house with everything recorded, as a record.
///
/// # Panics
/// When the demo file is not a job file.
pub fn walked_house() -> Record {
    let text = include_str!("../../../sync-server/demo/walked-violations.json");
    let file = JobFile::parse(text).expect("the demo house is a job file");
    let author = Author {
        user: "server".into(),
        name: "Server".into(),
        role: "server".into(),
        device: "bench".into(),
    };
    let mut record = Record::create(file.header(), &author, [1; 16], 0).expect("a fresh record");
    record.stage(&file.edits().expect("the demo house is sound"), 0).expect("edits of the demo house");
    record.accept();
    record
}
