//! Resolved, indexed code: what an expression becomes once names and types are checked. No strings are looked up here.

use crate::possible::Possible;
use crate::quantity::QuantityType;
use crate::rational::Rational;
use crate::syntax::{Aggregate, Arithmetic, Comparison, Quantifier};
use crate::table::Table;
use crate::vocabulary::{FactId, KindId, WordsId};

pub(crate) type NodeId = u32;

/// A subject as an expression names it: that of a frame (0 is the provision's own, each quantifier adds one), or the
/// nearest of a kind from there upward, itself included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    pub frame: u8,
    pub up: Option<KindId>,
}

/// Type of a checked expression.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Type {
    Truth,
    Quantity(QuantityType),
    Nominal,
    Words(WordsId),
    Date,
    Kind,
}

/// Members that a quantifier or an aggregate runs over.
#[derive(Debug, Clone)]
pub(crate) struct Range {
    pub kind: KindId,
    pub scope: Place,
    pub condition: Option<NodeId>,
    /// The frame that holds the member.
    pub frame: u8,
    /// Whether the condition, or what is asked of members, may find no row in a table that then violates.
    pub may_fail: bool,
}

#[derive(Debug, Clone)]
pub(crate) enum Code {
    Constant(Possible),
    /// A limit, by its place among the provision's names.
    Limit(Possible, u32),
    Fact(Place, FactId),
    KindOf(Place),
    /// A `let`: its value's node.
    Let(NodeId),
    Not(NodeId),
    And(Box<[NodeId]>),
    Or(Box<[NodeId]>),
    Compare(Comparison, NodeId, NodeId),
    Within(NodeId, u64),
    KindIs(Place, Box<[bool]>),
    Arithmetic(Arithmetic, NodeId, NodeId),
    Minus(NodeId),
    Least(Box<[NodeId]>),
    Greatest(Box<[NodeId]>),
    If(NodeId, NodeId, NodeId),
    Lookup {
        table: u32,
        keys: Box<[NodeId]>,
        column: u32,
        lattice: Box<[bool]>,
    },
    Host {
        function: u32,
        args: Box<[NodeId]>,
        types: Box<[QuantityType]>,
        result: QuantityType,
    },
    Diameter(NodeId),
    Quantified {
        quantifier: Quantifier,
        range: Range,
        has: Option<NodeId>,
    },
    Aggregated {
        what: Aggregate,
        range: Range,
        over: Option<NodeId>,
        not_negative: bool,
    },
}

#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub code: Code,
    pub ty: Type,
    /// As the provision writes it.
    pub text: String,
    /// The unit to show it in, empty for the usual one.
    pub unit: &'static str,
}

/// A named limit in force, for reasons.
#[derive(Debug, Clone)]
pub(crate) struct LimitInfo {
    /// Citation and trail.
    pub detail: String,
}

#[derive(Debug, Clone)]
pub(crate) struct ExceptionCode {
    pub name: String,
    pub cite: String,
    pub when: NodeId,
    /// Exceptions that this one goes over, by place, transitively.
    pub over: Vec<bool>,
    /// `None` when it waives.
    pub require: Option<NodeId>,
}

#[derive(Debug, Clone)]
pub(crate) enum TellPart {
    Text(String),
    Value(NodeId),
    Subject(Place),
}

#[derive(Debug, Clone)]
pub(crate) struct ProvisionCode {
    /// By kind.
    pub kinds: Vec<bool>,
    pub stages: u8,
    pub when: Option<NodeId>,
    pub require: NodeId,
    pub exceptions: Vec<ExceptionCode>,
    pub tell: Vec<TellPart>,
    /// Yes/no facts and short enumerations that are read more than once: bounds alone forget that both are one.
    pub split: Vec<FactId>,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct Program {
    pub nodes: Vec<Node>,
    pub limits: Vec<LimitInfo>,
    pub provisions: Vec<ProvisionCode>,
    pub tables: Vec<Table>,
}

/// Stages a provision may be inspected at, in the order of a job.
pub(crate) const STAGES: &[&str] = &["groundwork", "rough", "final", "reinspection"];

pub(crate) fn stage_bit(name: &str) -> Option<u8> {
    STAGES.iter().position(|s| *s == name).map(|i| 1 << i)
}

impl Program {
    pub fn node(&self, id: NodeId) -> &Node {
        &self.nodes[id as usize]
    }

    /// The nodes an expression is made of directly.
    pub fn children(&self, id: NodeId) -> Vec<NodeId> {
        match &self.node(id).code {
            Code::Constant(_) | Code::Limit(..) | Code::Fact(..) | Code::KindOf(_) | Code::KindIs(..) => {
                vec![]
            }
            Code::Let(a) | Code::Not(a) | Code::Within(a, _) | Code::Minus(a) | Code::Diameter(a) => vec![*a],
            Code::And(list) | Code::Or(list) | Code::Least(list) | Code::Greatest(list) => list.to_vec(),
            Code::Compare(_, a, b) | Code::Arithmetic(_, a, b) => vec![*a, *b],
            Code::If(a, b, c) => vec![*a, *b, *c],
            Code::Lookup { keys, .. } => keys.to_vec(),
            Code::Host { args, .. } => args.to_vec(),
            Code::Quantified { range, has, .. } => range.condition.iter().chain(has).copied().collect(),
            Code::Aggregated { range, over, .. } => over.iter().chain(&range.condition).copied().collect(),
        }
    }

    /// Every node below, itself included, in order of reading; shared ones as often as they are read.
    pub fn walk(&self, id: NodeId, visit: &mut dyn FnMut(NodeId)) {
        visit(id);
        for child in self.children(id) {
            self.walk(child, visit);
        }
    }
}

/// A value on the grid of a quantity, for `Possible` built from literals.
pub(crate) fn number(value: Rational) -> Possible {
    Possible::point(value)
}
