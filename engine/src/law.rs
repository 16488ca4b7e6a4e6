//! The law: every ruleset at hand, and the adoption that binds a permit.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use crownweir_rules::{
    Adopted, Date, Diagnostic, HostBounds, HostFunction, Library, Severity, SourceFile, Vocabulary,
};
use crownweir_sizing::Bounds;

use crate::view::AdoptionView;

/// All rulesets at hand, checked, with the adoptions resolved so far.
pub struct Law {
    library: Library,
    warnings: Vec<Diagnostic>,
    /// Folding the layers of a stack takes milliseconds; a day's jobs share a handful of (adoption, date) pairs.
    adopted: Mutex<BTreeMap<(String, Date), Arc<Adopted>>>,
}

/// The rulesets do not load. Nothing of them is used.
#[derive(Debug, thiserror::Error)]
#[error("the rulesets do not load: {} fault(s)", .0.len())]
pub struct LawError(pub Vec<Diagnostic>);

/// Formulas that a ruleset may call by name. They live in `crownweir-sizing`, which knows no rules.
pub const FUNCTIONS: &[HostFunction] = &[HostFunction {
    name: "expansion_tank",
    params: &["volume", "temperature", "temperature", "pressure", "pressure"],
    result: "volume",
    call: expansion_tank,
}];

fn expansion_tank(args: &[HostBounds]) -> Result<HostBounds, String> {
    let [volume, cold, hot, line, most] = args else {
        return Err("expansion_tank takes volume, cold, hot, line pressure and largest pressure".into());
    };
    let bounds = |b: &HostBounds| Bounds { lo: b.lo, hi: b.hi };
    crownweir_sizing::expansion_tank(bounds(volume), bounds(cold), bounds(hot), bounds(line), bounds(most))
        .map(|b| HostBounds { lo: b.lo, hi: b.hi })
        .map_err(|e| e.to_string())
}

impl Law {
    /// Loads and checks a folder of rulesets.
    ///
    /// # Errors
    /// Every fault found, in one run; a library with a fault decides nothing.
    pub fn load(files: &[SourceFile]) -> Result<Law, LawError> {
        let loading = crownweir_rules::load(files, FUNCTIONS);
        match loading.library {
            Some(library) => {
                Ok(Law { library, warnings: loading.diagnostics, adopted: Mutex::new(BTreeMap::new()) })
            }
            None => Err(LawError(
                loading.diagnostics.into_iter().filter(|d| d.severity == Severity::Error).collect(),
            )),
        }
    }

    /// What the check found that does not stop the rulesets from being used.
    pub fn warnings(&self) -> &[Diagnostic] {
        &self.warnings
    }

    /// The library itself, for `rules test` and the list of adoptions.
    pub fn library(&self) -> &Library {
        &self.library
    }

    /// Kinds and facts of the record, shared by all code families.
    pub fn vocabulary(&self) -> &Vocabulary {
        self.library.vocabulary()
    }

    /// The flat ruleset that binds a permit applied for on `applied_on` (`2026-03-02`).
    ///
    /// # Errors
    /// A sentence for the screen: no such adoption, no date, or a date before the adoption came into force.
    pub fn adopt(&self, adoption: &str, applied_on: &str) -> Result<Arc<Adopted>, String> {
        let date: Date = applied_on.parse().map_err(|_| {
            format!("the permit's date of application `{applied_on}` is not a date such as 2026-03-02")
        })?;
        let key = (adoption.to_owned(), date);
        let mut known = self.adopted.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(adopted) = known.get(&key) {
            return Ok(adopted.clone());
        }
        let adopted = Arc::new(self.library.adopt(adoption, date).map_err(|e| e.to_string())?);
        known.insert(key, adopted.clone());
        Ok(adopted)
    }
}

/// How the adoption reads on a screen, whether or not it could be resolved.
pub fn adoption_view(id: &str, outcome: &Result<Arc<Adopted>, String>) -> AdoptionView {
    match outcome {
        Ok(adopted) => AdoptionView {
            id: id.to_owned(),
            title: adopted.title().to_owned(),
            layers: adopted.layers().to_vec(),
            digest: adopted.digest().to_owned(),
            problem: None,
        },
        Err(problem) => AdoptionView {
            id: id.to_owned(),
            title: id.to_owned(),
            layers: Vec::new(),
            digest: String::new(),
            problem: Some(problem.clone()),
        },
    }
}
