//! The law in force for one permit, ready to decide.

use crate::build::Built;
use crate::date::Date;
use crate::eval::{Evaluation, Layout, verdict};
use crate::explain::{Told, explain};
use crate::function::HostFunction;
use crate::needed::needed_of;
use crate::outcome::{Explanation, Finding, Need, ProvisionInfo};
use crate::program::{Code, NodeId, stage_bit};
use crate::vocabulary::{KindId, Vocabulary};
use crate::world::World;
use std::sync::Arc;

/// A flat text: a base with the layers in force on the date of permit application.
///
/// Cheap to clone; may be shared between threads.
#[derive(Debug, Clone)]
pub struct Adopted {
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) layers: Vec<String>,
    pub(crate) basis: Vec<String>,
    pub(crate) date: Date,
    pub(crate) digest: String,
    pub(crate) vocabulary: Vocabulary,
    pub(crate) built: Arc<Built>,
    pub(crate) functions: Arc<[HostFunction]>,
}

impl Adopted {
    /// Id of the adoption.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Its title.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Base, then each layer in force, as a person cites them.
    pub fn layers(&self) -> &[String] {
        &self.layers
    }

    /// Where the texts of the base and what it requires were read, as their rulesets say; to be shown with verdicts.
    pub fn basis(&self) -> &[String] {
        &self.basis
    }

    /// The date of permit application that chose the text.
    pub fn date(&self) -> Date {
        self.date
    }

    /// SHA-256 of the canonical flat text, its vocabulary and the language's number, in hex.
    pub fn digest(&self) -> &str {
        &self.digest
    }

    /// The words of the text.
    pub fn vocabulary(&self) -> &Vocabulary {
        &self.vocabulary
    }

    /// The provisions, in the order of the files.
    pub fn provisions(&self) -> &[ProvisionInfo] {
        &self.built.infos
    }

    fn evaluation<'a>(&'a self, world: &'a World, layout: &'a Layout) -> Evaluation<'a> {
        assert!(
            Arc::ptr_eq(&world.vocabulary, &self.vocabulary.0),
            "the world was built with the vocabulary of another loading"
        );
        Evaluation::new(&self.built.program, &self.functions, &self.vocabulary.0, world, layout)
    }

    /// Every verdict of the provisions of a stage on the subjects they are for, in the order of provisions, then subjects.
    /// An unknown stage has none.
    ///
    /// # Panics
    /// When the world was built with the vocabulary of another [`crate::load`].
    pub fn assess(&self, world: &World, stage: &str) -> Vec<Finding> {
        let Some(bit) = stage_bit(stage) else { return vec![] };
        let layout = Layout::new(world);
        let mut evaluation = self.evaluation(world, &layout);
        let mut out = Vec::new();
        for (provision, code) in self.built.program.provisions.iter().enumerate() {
            if code.stages & bit == 0 {
                continue;
            }
            for (subject, own) in world.subjects.iter().enumerate() {
                if code.kinds[usize::from(own.kind)] {
                    let verdict = verdict(evaluation.outcomes(code, subject));
                    out.push(Finding { provision, subject, verdict });
                }
            }
        }
        out
    }

    /// The reason of one verdict. `provision` is a place in [`Adopted::provisions`], `subject` a number of the world.
    ///
    /// # Panics
    /// When either does not exist, or the world was built with another vocabulary.
    pub fn explain(&self, world: &World, provision: usize, subject: usize) -> Explanation {
        self.told(world, provision, subject).explanation
    }

    pub(crate) fn told(&self, world: &World, provision: usize, subject: usize) -> Told {
        let layout = Layout::new(world);
        let mut evaluation = self.evaluation(world, &layout);
        explain(&mut evaluation, &self.built.program.provisions[provision], subject)
    }

    /// Facts and closings that can still change the verdict; none when it is decided. A disputed fact is among them:
    /// deciding between its values may decide the verdict.
    ///
    /// # Panics
    /// As [`Adopted::explain`].
    pub fn needed(&self, world: &World, provision: usize, subject: usize) -> Vec<Need> {
        let layout = Layout::new(world);
        let mut evaluation = self.evaluation(world, &layout);
        needed_of(&mut evaluation, &self.built.program.provisions[provision], subject)
    }

    /// Names of the facts of a kind that provisions of a stage read, in order of first reading.
    pub fn asks(&self, kind: &str, stage: &str) -> Vec<String> {
        let lexicon = &self.vocabulary.0;
        let (Some(bit), Some(kind)) = (stage_bit(stage), lexicon.kind_id(kind)) else { return vec![] };
        let mut out: Vec<String> = Vec::new();
        for code in self.built.program.provisions.iter().filter(|p| p.stages & bit != 0) {
            let own = code.kinds[usize::from(kind)];
            let exceptions = code.exceptions.iter().flat_map(|e| [Some(e.when), e.require]).flatten();
            for root in code.when.into_iter().chain([code.require]).chain(exceptions) {
                self.reads(root, kind, &mut vec![own], &mut out);
            }
        }
        out
    }

    /// Adds the facts that a node reads of `kind`; `frames` says for each frame whether its subject may be of it.
    fn reads(&self, node: NodeId, kind: KindId, frames: &mut Vec<bool>, out: &mut Vec<String>) {
        let lexicon = &self.vocabulary.0;
        let program = &self.built.program;
        let code = &program.node(node).code;
        if let Code::Fact(place, fact) = code {
            let of_kind = match place.up {
                Some(up) => lexicon.is_a[usize::from(kind)][usize::from(up)],
                None => frames.get(usize::from(place.frame)).copied().unwrap_or(false),
            };
            let name = &lexicon.facts[usize::from(*fact)].info.name;
            if of_kind && lexicon.slot(kind, *fact).is_some() && !out.contains(name) {
                out.push(name.clone());
            }
        }
        let entered = match code {
            Code::Quantified { range, .. } | Code::Aggregated { range, .. } => {
                frames.truncate(usize::from(range.frame));
                frames.push(lexicon.is_a[usize::from(kind)][usize::from(range.kind)]);
                true
            }
            _ => false,
        };
        for child in program.children(node) {
            self.reads(child, kind, frames, out);
        }
        if entered {
            frames.pop();
        }
    }
}
