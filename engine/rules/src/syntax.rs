//! What the files say, as a tree: no names resolved, no types checked.

use crate::date::Date;
use crate::diagnostic::Span;
use crate::quantity::QuantityType;
use crate::rational::Rational;
use std::sync::Arc;

/// A name and where it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Name {
    pub text: String,
    pub span: Span,
}

/// A text clause.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Prose {
    pub text: String,
    pub span: Span,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Literal {
    /// Ticks of the type; `unit` is the one it was written in.
    Quantity {
        ticks: Rational,
        ty: QuantityType,
        unit: Option<&'static str>,
    },
    Nominal(u8),
    Truth(bool),
    Day(Date),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Comparison {
    Less,
    AtMost,
    Equal,
    Unequal,
    AtLeast,
    More,
}

impl Comparison {
    pub fn sign(self) -> &'static str {
        match self {
            Comparison::Less => "<",
            Comparison::AtMost => "<=",
            Comparison::Equal => "=",
            Comparison::Unequal => "<>",
            Comparison::AtLeast => ">=",
            Comparison::More => ">",
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Arithmetic {
    Plus,
    Minus,
    Times,
    Over,
}

impl Arithmetic {
    pub fn sign(self) -> &'static str {
        match self {
            Arithmetic::Plus => "+",
            Arithmetic::Minus => "-",
            Arithmetic::Times => "*",
            Arithmetic::Over => "/",
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Quantifier {
    Some,
    Every,
    No,
    AtLeast(u32),
    AtMost(u32),
    Exactly(u32),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Aggregate {
    Count,
    Sum,
    Least,
    Greatest,
}

impl Aggregate {
    pub fn word(self) -> &'static str {
        match self {
            Aggregate::Count => "count",
            Aggregate::Sum => "sum",
            Aggregate::Least => "least",
            Aggregate::Greatest => "greatest",
        }
    }
}

/// `kind [name] in scope [where condition]`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Members {
    pub kind: Name,
    pub variable: Option<Name>,
    pub scope: Name,
    pub condition: Option<Arc<Expr>>,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Expr {
    pub kind: ExprKind,
    pub span: Span,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum ExprKind {
    Literal(Literal),
    Path(String),
    Not(Arc<Expr>),
    And(Vec<Arc<Expr>>),
    Or(Vec<Arc<Expr>>),
    Compare(Comparison, Arc<Expr>, Arc<Expr>),
    /// Words or the name of a group; `is` has one.
    In {
        value: Arc<Expr>,
        words: Vec<Name>,
        negated: bool,
        is: bool,
    },
    Arithmetic(Arithmetic, Arc<Expr>, Arc<Expr>),
    Minus(Arc<Expr>),
    If(Arc<Expr>, Arc<Expr>, Arc<Expr>),
    Table {
        table: Name,
        keys: Vec<Arc<Expr>>,
        column: Option<Name>,
    },
    Call {
        name: Name,
        args: Vec<Arc<Expr>>,
    },
    Quantified {
        quantifier: Quantifier,
        members: Members,
        has: Option<Arc<Expr>>,
    },
    Aggregated {
        what: Aggregate,
        over: Option<Arc<Expr>>,
        members: Members,
    },
}

#[derive(Debug, Clone)]
pub(crate) struct RulesetItem {
    pub id: Name,
    pub document: Option<Prose>,
    pub edition: Option<Prose>,
    pub requires: Vec<Name>,
    pub basis: Option<Prose>,
    /// Folder of the file it stands in, with a final `/` unless it is the root.
    pub folder: String,
}

#[derive(Debug, Clone)]
pub(crate) struct KindItem {
    pub name: Name,
    pub parents: Vec<Name>,
    pub narrower: Vec<Name>,
    pub labels: Vec<(Name, Prose)>,
}

#[derive(Debug, Clone)]
pub(crate) struct EnumItem {
    pub name: Name,
    pub ordered: bool,
    pub words: Vec<Name>,
    pub groups: Vec<(Name, Vec<Name>)>,
    pub labels: Vec<(Name, Prose)>,
}

#[derive(Debug, Clone)]
pub(crate) enum FactType {
    Quantity { ty: QuantityType, name: String, least: LiteralAt, most: LiteralAt, step: Option<LiteralAt> },
    Nominal { least: LiteralAt, most: LiteralAt },
    YesNo,
    Date,
    OneOf(Vec<Name>),
    Enum(Name),
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LiteralAt {
    pub value: Literal,
    pub span: Span,
}

#[derive(Debug, Clone)]
pub(crate) struct FactItem {
    pub name: Name,
    pub kinds: Vec<Name>,
    pub ty: FactType,
    pub hint: Option<Prose>,
    pub label: Option<Prose>,
    pub look: Option<Prose>,
}

#[derive(Debug, Clone)]
pub(crate) struct TableItem {
    pub name: Name,
    pub title: Option<Prose>,
    pub cite: Option<Prose>,
    pub basis: Option<Prose>,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LimitClause {
    pub name: Name,
    pub value: LiteralAt,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LetClause {
    pub name: Name,
    pub value: Arc<Expr>,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ExceptClause {
    pub name: Name,
    pub over: Vec<Name>,
    pub cite: Option<Prose>,
    pub when: Option<Arc<Expr>>,
    pub limits: Vec<LimitClause>,
    pub require: Option<Arc<Expr>>,
    pub waive: Option<Span>,
}

/// A text with values to be put in.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Template {
    pub parts: Vec<TemplatePart>,
    pub span: Span,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum TemplatePart {
    Text(String),
    Value(Arc<Expr>),
}

#[derive(Debug, Clone)]
pub(crate) struct ProvisionItem {
    pub id: Name,
    pub title: Option<Prose>,
    pub cite: Option<Prose>,
    pub stages: Vec<Name>,
    pub kinds: Vec<Name>,
    pub limits: Vec<LimitClause>,
    pub lets: Vec<LetClause>,
    pub when: Option<Arc<Expr>>,
    pub require: Option<Arc<Expr>>,
    pub exceptions: Vec<ExceptClause>,
    pub tell: Option<Template>,
    pub look: Option<Prose>,
    pub why: Option<Prose>,
    pub basis: Option<Prose>,
    pub from: Option<(Date, Span)>,
    pub to: Option<(Date, Span)>,
    /// A clause could not be read; what is missing because of it is not told again.
    pub broken: bool,
}

/// A cell of a row as it is written, in a table's file or in an amendment.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CellText {
    pub text: String,
    pub span: Span,
}

#[derive(Debug, Clone)]
pub(crate) enum Operation {
    AddProvision(Box<ProvisionItem>),
    AddException(ExceptClause),
    AddRow(Vec<CellText>),
    AddStage(Vec<Name>),
    ReplaceLimit {
        name: Name,
        was: LiteralAt,
        now: LiteralAt,
    },
    ReplaceCell {
        keys: Vec<CellText>,
        column: Name,
        was: CellText,
        now: CellText,
    },
    ReplaceWhen(Arc<Expr>),
    ReplaceRequire(Arc<Expr>),
    ReplaceFor(Vec<Name>),
    ReplaceStage(Vec<Name>),
    /// `title`, `cite`, `look`, `why`.
    ReplaceText {
        which: &'static str,
        text: Prose,
    },
    ReplaceTell(Template),
    RemoveProvision,
    RemoveException(Name),
    RemoveRow {
        keys: Vec<CellText>,
        was: Vec<CellText>,
    },
    RestrictFor(Vec<Name>),
    RestrictWhen(Arc<Expr>),
}

#[derive(Debug, Clone)]
pub(crate) struct AmendItem {
    /// A provision's id, or a table's name when `table`.
    pub target: Name,
    pub table: bool,
    pub cite: Option<Prose>,
    pub from: Option<(Date, Span)>,
    pub to: Option<(Date, Span)>,
    pub operations: Vec<(Operation, Span)>,
}

#[derive(Debug, Clone)]
pub(crate) struct LayerItem {
    pub id: Name,
    pub over: Vec<Name>,
    pub title: Option<Prose>,
    pub cite: Option<Prose>,
    pub from: Option<(Date, Span)>,
}

#[derive(Debug, Clone)]
pub(crate) struct AdoptionItem {
    pub id: Name,
    pub title: Option<Prose>,
    pub bases: Vec<(Name, Option<Date>)>,
    pub layers: Vec<(Name, Option<Date>)>,
}

#[derive(Debug, Clone)]
pub(crate) struct GivenClause {
    pub kind: Name,
    pub name: Name,
    pub parent: Option<Name>,
    pub facts: Vec<GivenFact>,
}

#[derive(Debug, Clone)]
pub(crate) struct GivenFact {
    pub fact: Name,
    /// Texts of the values: one seen, several disputed.
    pub values: Vec<CellText>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Expected {
    Complies,
    Violates,
    Undetermined,
    Settled,
    NotApplicable,
}

#[derive(Debug, Clone)]
pub(crate) struct ExpectClause {
    pub verdict: Expected,
    pub by: Option<LiteralAt>,
    pub subject: Option<Name>,
    pub because: Option<Prose>,
}

#[derive(Debug, Clone)]
pub(crate) struct CaseItem {
    pub title: Prose,
    pub provision: Name,
    pub under: Option<Name>,
    pub given: Vec<GivenClause>,
    pub closed: Vec<(Name, Name)>,
    pub stage: Option<Name>,
    pub on: Option<(Date, Span)>,
    pub expect: Vec<ExpectClause>,
    pub source: Option<Prose>,
    pub span: Span,
}

/// Everything one file says.
#[derive(Debug, Clone, Default)]
pub(crate) struct FileTree {
    pub rulesets: Vec<RulesetItem>,
    pub kinds: Vec<KindItem>,
    pub facts: Vec<FactItem>,
    pub enums: Vec<EnumItem>,
    pub tables: Vec<TableItem>,
    pub cases: Vec<CaseItem>,
    pub adoptions: Vec<AdoptionItem>,
    /// Provisions, layers and amendments in the order of the file: an amendment belongs to the layer above it.
    pub law: Vec<LawItem>,
}

#[derive(Debug, Clone)]
#[expect(clippy::large_enum_variant, reason = "a few thousand at load, read once")]
pub(crate) enum LawItem {
    Provision(ProvisionItem),
    Layer(LayerItem),
    Amend(AmendItem),
}
