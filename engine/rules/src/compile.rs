//! Names resolved, types and dimensions checked, expressions turned into code.

use crate::diagnostic::{Fault, Faults, Span, did_you_mean};
use crate::function::HostFunction;
use crate::parse::write_literal;
use crate::possible::{Possible, T};
use crate::print::print;
use crate::program::*;
use crate::quantity::{Dimension, NAMED, NOMINAL, QuantityType, Tag, find_unit};
use crate::rational::Rational;
use crate::syntax::*;
use crate::table::{ColumnType, Match, Otherwise, Reach, Table};
use crate::vocabulary::{KindId, Lexicon, Shape};
use std::sync::Arc;

/// What a name of a provision stands for.
#[derive(Clone)]
enum Binding {
    Limit {
        value: LiteralAt,
        info: u32,
    },
    Let {
        node: NodeId,
        ty: Type,
    },
    Row {
        table: u32,
        keys: Box<[NodeId]>,
        lattice: Box<[bool]>,
    },
    /// A fault was told where it was defined.
    Broken,
}

#[derive(Clone)]
struct Named {
    name: String,
    span: Span,
    binding: Binding,
    used: bool,
}

/// The subject of a frame: the concrete kinds it may be of.
struct Frame {
    kinds: Vec<KindId>,
    variable: Option<String>,
}

/// Compiles the expressions of one provision after another into a program.
pub(crate) struct Compiler<'a> {
    pub lexicon: &'a Lexicon,
    pub functions: &'a [HostFunction],
    pub faults: &'a mut Faults,
    pub program: Program,
    frames: Vec<Frame>,
    names: Vec<Named>,
}

/// A limit in force with its citation and trail.
pub(crate) struct LimitIn<'a> {
    pub clause: &'a LimitClause,
    pub detail: String,
}

/// A table's place, its keys, and per key what `lookup_keys` says of it.
type Lookup = (u32, Box<[NodeId]>, Box<[bool]>);

/// A fault was told.
pub(crate) struct Failed;

type Compiled = Result<(NodeId, Type), Failed>;

/// How a type reads in a message.
fn article(name: &str) -> String {
    let vowel = name.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {name}", if vowel { "an" } else { "a" })
}

impl<'a> Compiler<'a> {
    pub fn new(
        lexicon: &'a Lexicon,
        functions: &'a [HostFunction],
        tables: Vec<Table>,
        faults: &'a mut Faults,
    ) -> Self {
        let program = Program { tables, ..Program::default() };
        Compiler { lexicon, functions, faults, program, frames: vec![], names: vec![] }
    }

    /// Begins a provision for subjects of these concrete kinds.
    pub fn begin(&mut self, kinds: Vec<KindId>) {
        self.frames = vec![Frame { kinds, variable: None }];
        self.names.clear();
    }

    fn say_type(&self, ty: Type) -> String {
        match ty {
            Type::Truth => "a yes or no".to_owned(),
            Type::Quantity(q) if q == QuantityType::NUMBER => "a plain number".to_owned(),
            Type::Quantity(q) => article(&q.name()),
            Type::Nominal => "a nominal pipe size".to_owned(),
            Type::Words(id) => format!("a word of `{}`", self.lexicon.words[usize::from(id)].name),
            Type::Date => "a date".to_owned(),
            Type::Kind => "a subject".to_owned(),
        }
    }

    fn node(&mut self, code: Code, ty: Type, expr: &Expr) -> NodeId {
        let unit = self.unit_of(&code, ty);
        self.push(code, ty, print(expr), unit)
    }

    fn push(&mut self, code: Code, ty: Type, text: String, unit: &'static str) -> NodeId {
        let id = self.program.nodes.len() as NodeId;
        self.program.nodes.push(Node { code, ty, text, unit });
        id
    }

    /// The unit of the first operand of the same type that has one.
    fn unit_of(&self, code: &Code, ty: Type) -> &'static str {
        let Type::Quantity(_) = ty else { return "" };
        match code {
            Code::Fact(_, fact) => match &self.lexicon.facts[usize::from(*fact)].shape {
                Shape::Quantity { unit, .. } => unit,
                _ => "",
            },
            Code::Lookup { table, column, .. } => {
                let table = &self.program.tables[*table as usize];
                match table.columns[table.values[*column as usize]].ty {
                    ColumnType::Quantity { unit, .. } => unit,
                    _ => "",
                }
            }
            Code::Let(a) | Code::Minus(a) => self.program.node(*a).unit,
            Code::Arithmetic(_, a, b) | Code::If(_, a, b) => self.shared_unit(&[*a, *b], ty),
            Code::Least(list) | Code::Greatest(list) => self.shared_unit(list, ty),
            Code::Aggregated { over: Some(over), .. } => self.program.node(*over).unit,
            _ => "",
        }
    }

    /// The unit of the first part of the same type that has one, however deep.
    fn shared_unit(&self, list: &[NodeId], ty: Type) -> &'static str {
        let mut unit = "";
        for node in list {
            self.program.walk(*node, &mut |n| {
                let node = self.program.node(n);
                if unit.is_empty() && node.ty == ty {
                    unit = node.unit;
                }
            });
        }
        unit
    }

    /// Adds a limit; one of the same name that an exception puts in place of the provision's replaces it.
    pub fn limit(&mut self, limit: &LimitIn<'_>, replacing: bool) {
        let name = &limit.clause.name;
        let info = self.program.limits.len() as u32;
        self.program.limits.push(LimitInfo { detail: limit.detail.clone() });
        let binding = Binding::Limit { value: limit.clause.value.clone(), info };
        self.bind(name, binding, replacing);
    }

    fn bind(&mut self, name: &Name, binding: Binding, replacing: bool) {
        if let Some(old) = self.names.iter_mut().find(|n| n.name == name.text) {
            if replacing {
                // Types of the two are compared where the name is used.
                old.binding = binding;
            } else {
                let first = old.span;
                self.faults.push(
                    Fault::new("E0217", name.span, format!("`{}` stands for two things here", name.text))
                        .label(first, "first here"),
                );
            }
            return;
        }
        let fact = self.lexicon.fact_id(&name.text);
        if fact.is_some_and(|f| self.frames[0].kinds.iter().any(|k| self.lexicon.slot(*k, f).is_some())) {
            self.faults.push(
                Fault::new(
                    "E0217",
                    name.span,
                    format!("`{}` is the name of a fact of this subject", name.text),
                )
                .help("choose another name"),
            );
        }
        self.names.push(Named { name: name.text.clone(), span: name.span, binding, used: false });
    }

    /// Adds a `let`.
    pub fn define(&mut self, clause: &LetClause) {
        let binding = match &clause.value.kind {
            ExprKind::Table { table, keys, column: None } => match self.lookup_keys(table, keys) {
                Ok((table, keys, lattice)) => Binding::Row { table, keys, lattice },
                Err(Failed) => Binding::Broken,
            },
            _ => self.defined(&clause.value),
        };
        self.bind(&clause.name, binding, false);
    }

    fn defined(&mut self, value: &Arc<Expr>) -> Binding {
        match self.expr(value) {
            Ok((node, ty)) => Binding::Let { node, ty },
            Err(Failed) => Binding::Broken,
        }
    }

    /// The exception's limits over a copy of the provision's names, its lets worked out anew.
    pub fn with_limits<R>(
        &mut self,
        limits: &[LimitIn<'_>],
        lets: &[LetClause],
        inner: impl FnOnce(&mut Self) -> R,
    ) -> R {
        if limits.is_empty() {
            return inner(self);
        }
        let saved = self.names.clone();
        for limit in limits {
            self.limit(limit, true);
        }
        for clause in lets {
            let used = self.names.iter().any(|n| n.name == clause.name.text && n.used);
            self.names.retain(|n| n.name != clause.name.text);
            self.define(clause);
            if let Some(named) = self.names.iter_mut().find(|n| n.name == clause.name.text) {
                named.used = used;
            }
        }
        let out = inner(self);
        let now = std::mem::replace(&mut self.names, saved);
        for after in now {
            match self.names.iter_mut().find(|n| n.name == after.name) {
                Some(named) => named.used |= after.used,
                // The exception's own limit: told here, since its name ends here.
                None if !after.used => self.unused(&after),
                None => {}
            }
        }
        out
    }

    fn unused(&mut self, named: &Named) {
        let what = if matches!(named.binding, Binding::Limit { .. }) { "limit" } else { "let" };
        self.faults.push(
            Fault::new("E0213", named.span, format!("{what} `{}` is never used", named.name))
                .help("use it or take it out: an amendment of it would change nothing"),
        );
    }

    /// Ends the provision; tells limits and lets that nothing reads, unless a clause that could was not understood.
    pub fn finish_names(&mut self, tell: bool) {
        let names = std::mem::take(&mut self.names);
        if !tell {
            return;
        }
        for named in &names {
            if !named.used && !matches!(named.binding, Binding::Broken) {
                self.unused(named);
            }
        }
    }

    /// A condition or requirement.
    pub fn condition(&mut self, expr: &Arc<Expr>) -> Result<NodeId, Failed> {
        let (node, ty) = self.expr(expr)?;
        if ty != Type::Truth {
            let told = format!("a condition is wanted here, this is {}", self.say_type(ty));
            self.faults.push(Fault::new("E0204", expr.span, told).help("compare it with something"));
            return Err(Failed);
        }
        Ok(node)
    }

    /// A text with values put in.
    pub fn template(&mut self, template: &Template) -> Vec<TellPart> {
        let mut out = Vec::new();
        for part in &template.parts {
            match part {
                TemplatePart::Text(text) if text.is_empty() => {}
                TemplatePart::Text(text) => out.push(TellPart::Text(text.clone())),
                TemplatePart::Value(expr) => {
                    if let Ok((node, _)) = self.expr(expr) {
                        out.push(match self.program.node(node).code {
                            Code::KindOf(place) => TellPart::Subject(place),
                            _ => TellPart::Value(node),
                        });
                    }
                }
            }
        }
        out
    }

    fn expr(&mut self, expr: &Arc<Expr>) -> Compiled {
        let (code, ty) = match &expr.kind {
            ExprKind::Literal(literal) => {
                let (value, ty) = constant(literal);
                let unit = match literal {
                    Literal::Quantity { unit: Some(unit), .. } => unit,
                    _ => "",
                };
                return Ok((self.push(Code::Constant(value), ty, write_literal(literal), unit), ty));
            }
            ExprKind::Path(path) => return self.path(path, expr),
            ExprKind::Not(a) => (Code::Not(self.condition(a)?), Type::Truth),
            ExprKind::And(list) => (Code::And(self.conditions(list)?), Type::Truth),
            ExprKind::Or(list) => (Code::Or(self.conditions(list)?), Type::Truth),
            ExprKind::Compare(sign, a, b) => (self.comparison(*sign, a, b, expr)?, Type::Truth),
            ExprKind::In { value, words, negated, is } => {
                return self.words(value, words, *negated, *is, expr);
            }
            ExprKind::Arithmetic(sign, a, b) => self.arithmetic(*sign, a, b, expr)?,
            ExprKind::Minus(a) => {
                let (node, ty) = self.expr(a)?;
                match ty {
                    Type::Quantity(q) if q.tag != Tag::Point => (Code::Minus(node), ty),
                    _ => {
                        return self.mismatch(a.span, format!("{} has no opposite", self.say_type(ty)), None);
                    }
                }
            }
            ExprKind::If(c, a, b) => {
                let condition = self.condition(c)?;
                let (yes, no) = (self.expr(a), self.expr(b));
                let ((yes, yes_ty), (no, no_ty)) = (yes?, no?);
                if yes_ty != no_ty {
                    let told = format!(
                        "`then` gives {}, `else` gives {}",
                        self.say_type(yes_ty),
                        self.say_type(no_ty)
                    );
                    return self.mismatch(b.span, told, None);
                }
                if yes_ty == Type::Kind {
                    return self.mismatch(
                        a.span,
                        "a subject cannot be chosen by a condition".to_owned(),
                        None,
                    );
                }
                (Code::If(condition, yes, no), yes_ty)
            }
            ExprKind::Table { table, keys, column } => {
                let (at, keys, lattice) = self.lookup_keys(table, keys)?;
                return self.column(at, keys, lattice, column.as_ref(), expr);
            }
            ExprKind::Call { name, args } => self.call(name, args, expr)?,
            ExprKind::Quantified { quantifier, members, has } => {
                let range = self.enter(members)?;
                let has = has.as_ref().map(|h| self.condition(h)).transpose();
                self.frames.pop();
                let has = has?;
                let range = self.with_failure(range, has);
                (Code::Quantified { quantifier: *quantifier, range, has }, Type::Truth)
            }
            ExprKind::Aggregated { what, over, members } => {
                let range = self.enter(members)?;
                let over_node = over.as_ref().map(|o| self.expr(o)).transpose();
                // Asked while the member's frame stands: its kinds tell which rows of a table may come.
                let not_negative = match &over_node {
                    Ok(Some((node, _))) => self.not_negative(*node),
                    _ => true,
                };
                self.frames.pop();
                let over_node = over_node?;
                let ty = match (over_node, over) {
                    (Some((_, ty @ Type::Quantity(q))), Some(over)) => {
                        if *what == Aggregate::Sum && q.tag == Tag::Point {
                            return self.mismatch(over.span, "temperatures do not add up".to_owned(), None);
                        }
                        ty
                    }
                    (Some((_, ty)), Some(over)) => {
                        let told =
                            format!("`{}` is over a quantity, this is {}", what.word(), self.say_type(ty));
                        return self.mismatch(over.span, told, None);
                    }
                    _ => Type::Quantity(QuantityType::NUMBER),
                };
                let over = over_node.map(|(node, _)| node);
                let range = self.with_failure(range, over);
                (Code::Aggregated { what: *what, range, over, not_negative }, ty)
            }
        };
        Ok((self.node(code, ty, expr), ty))
    }

    fn conditions(&mut self, list: &[Arc<Expr>]) -> Result<Box<[NodeId]>, Failed> {
        // All of them are checked before the first fault ends it.
        let all: Vec<Result<NodeId, Failed>> = list.iter().map(|e| self.condition(e)).collect();
        all.into_iter().collect()
    }

    fn mismatch<R>(&mut self, span: Span, told: String, help: Option<String>) -> Result<R, Failed> {
        self.faults.push(Fault::new("E0204", span, told).maybe_help(help));
        Err(Failed)
    }

    fn comparison(
        &mut self,
        sign: Comparison,
        a: &Arc<Expr>,
        b: &Arc<Expr>,
        whole: &Expr,
    ) -> Result<Code, Failed> {
        let (left, left_ty) = self.expr(a)?;
        // `x = word` reads well and is written with `is`.
        if let (Type::Words(id), ExprKind::Path(word)) = (left_ty, &b.kind)
            && self.lexicon.words[usize::from(id)].find(word).is_some()
            && self.find_name(word).is_none()
        {
            let words = &self.lexicon.words[usize::from(id)];
            let index = words.find(word).unwrap_or(0);
            if matches!(sign, Comparison::Equal | Comparison::Unequal) || words.ordered {
                let right = self.push(Code::Constant(Possible::word(index)), left_ty, word.clone(), "");
                return Ok(Code::Compare(sign, left, right));
            }
        }
        let (right, right_ty) = self.expr(b)?;
        let ordering = !matches!(sign, Comparison::Equal | Comparison::Unequal);
        let fits = match (left_ty, right_ty) {
            (Type::Quantity(x), Type::Quantity(y)) => x == y,
            (Type::Words(x), Type::Words(y)) => {
                if x == y && ordering && !self.lexicon.words[usize::from(x)].ordered {
                    let name = &self.lexicon.words[usize::from(x)].name;
                    self.faults.push(
                        Fault::new("E0206", whole.span, format!("words of `{name}` have no order"))
                            .help(format!("declare `enum {name} ordered ...`, or use `is` or `in`")),
                    );
                    return Err(Failed);
                }
                x == y
            }
            (Type::Truth, Type::Truth) => !ordering,
            (Type::Nominal, Type::Nominal) | (Type::Date, Type::Date) => true,
            _ => false,
        };
        if fits {
            return Ok(Code::Compare(sign, left, right));
        }
        let (left_say, right_say) = (self.say_type(left_ty), self.say_type(right_ty));
        let nominal = |ty, other: Type| {
            ty == Type::Nominal && matches!(other, Type::Quantity(q) if q.dimension == Dimension::LENGTH)
        };
        let help = if nominal(left_ty, right_ty) {
            Some(format!("use `diameter({})`, or give the size as `nps`", print(a)))
        } else if nominal(right_ty, left_ty) {
            Some(format!("use `diameter({})`, or give the size as `nps`", print(b)))
        } else {
            swapped_unit(&b.kind, left_ty).or_else(|| swapped_unit(&a.kind, right_ty))
        };
        let code = if nominal(left_ty, right_ty) || nominal(right_ty, left_ty) { "E0205" } else { "E0203" };
        let mut fault = Fault::new(code, whole.span, format!("{left_say} is compared with {right_say}"))
            .label(a.span, left_say.trim_start_matches("a ").trim_start_matches("an ").to_owned())
            .label(b.span, right_say.trim_start_matches("a ").trim_start_matches("an ").to_owned())
            .maybe_help(help);
        // The caret stands on the right side; the whole would only repeat the line.
        fault.labels[0].0 = b.span;
        fault.labels.remove(2);
        fault.labels[0].1 = right_say.trim_start_matches("a ").trim_start_matches("an ").to_owned();
        if let Code::Fact(_, fact) = self.program.node(left).code {
            let declared = self.lexicon.facts[usize::from(fact)].span;
            fault = fault.label(declared, "declared here");
        }
        self.faults.push(fault);
        Err(Failed)
    }

    fn words(
        &mut self,
        value: &Arc<Expr>,
        words: &[Name],
        negated: bool,
        is: bool,
        whole: &Arc<Expr>,
    ) -> Compiled {
        let (node, ty) = self.expr(value)?;
        let code = match ty {
            Type::Truth => {
                let [word] = words else {
                    return self.mismatch(
                        whole.span,
                        "a yes or no is not one of several words".to_owned(),
                        None,
                    );
                };
                match (word.text.as_str(), negated) {
                    ("yes", false) | ("no", true) => return Ok((node, ty)),
                    ("no", false) | ("yes", true) => Code::Not(node),
                    _ => {
                        let told = format!("this is yes or no, never `{}`", word.text);
                        return self.mismatch(word.span, told, Some("write `is yes` or `is no`".to_owned()));
                    }
                }
            }
            Type::Words(id) => {
                let list = &self.lexicon.words[usize::from(id)];
                let mut mask = 0;
                let mut faults = Vec::new();
                for word in words {
                    let group = list.groups.iter().find(|(name, _)| *name == word.text);
                    if let Some(index) = list.find(&word.text) {
                        mask |= 1 << index;
                    } else if let Some((_, members)) = group.filter(|_| !is) {
                        mask |= members;
                    } else {
                        let told = format!("`{}` is no word of `{}`", word.text, list.name);
                        let known = list.words.iter().chain(&[]).map(|(w, _)| w.as_str());
                        let known = known.chain(list.groups.iter().map(|(g, _)| g.as_str()));
                        let help = if group.is_some() {
                            Some(format!("`{}` is a group: write `in {}`", word.text, word.text))
                        } else {
                            let all: Vec<&str> = list.words.iter().map(|(w, _)| w.as_str()).collect();
                            did_you_mean(&word.text, known)
                                .or(Some(format!("its words are {}", all.join(", "))))
                        };
                        faults.push(Fault::new("E0207", word.span, told).maybe_help(help));
                    }
                }
                if !faults.is_empty() {
                    faults.into_iter().for_each(|f| self.faults.push(f));
                    return Err(Failed);
                }
                Code::Within(node, if negated { list.all() & !mask } else { mask })
            }
            Type::Kind => {
                let Code::KindOf(place) = self.program.node(node).code else { return Err(Failed) };
                let n = self.lexicon.kinds.len();
                let mut kinds = vec![false; n];
                for word in words {
                    let Some(id) = self.lexicon.kind_id(&word.text) else {
                        self.faults.push(
                            Fault::new("E0201", word.span, format!("there is no kind `{}`", word.text))
                                .maybe_help(did_you_mean(&word.text, self.lexicon.kind_names())),
                        );
                        return Err(Failed);
                    };
                    for (k, slot) in kinds.iter_mut().enumerate() {
                        *slot |= self.lexicon.is_a[k][usize::from(id)];
                    }
                }
                if negated {
                    kinds.iter_mut().for_each(|k| *k = !*k);
                }
                Code::KindIs(place, kinds.into())
            }
            other => {
                let told = format!("{} is no word", self.say_type(other));
                return self.mismatch(
                    value.span,
                    told,
                    Some("compare it with `=`, `<=` and the like".to_owned()),
                );
            }
        };
        Ok((self.node(code, Type::Truth, whole), Type::Truth))
    }

    fn arithmetic(
        &mut self,
        sign: Arithmetic,
        a: &Arc<Expr>,
        b: &Arc<Expr>,
        whole: &Expr,
    ) -> Result<(Code, Type), Failed> {
        let (left, right) = (self.expr(a), self.expr(b));
        let ((left, left_ty), (right, right_ty)) = (left?, right?);
        let (Type::Quantity(x), Type::Quantity(y)) = (left_ty, right_ty) else {
            let (span, odd, name) = if matches!(left_ty, Type::Quantity(_)) {
                (b.span, right_ty, print(b))
            } else {
                (a.span, left_ty, print(a))
            };
            let help = (odd == Type::Nominal).then(|| format!("use `diameter({name})`"));
            let told = format!("one cannot calculate with {}", self.say_type(odd));
            return self.mismatch(span, told, help);
        };
        let ty = match sign {
            Arithmetic::Plus | Arithmetic::Minus => {
                let tag = match (x.tag, y.tag, sign) {
                    (Tag::Point, Tag::Point, Arithmetic::Minus) => Some(Tag::Plain),
                    (Tag::Point, Tag::Plain, _) => Some(Tag::Point),
                    (Tag::Plain, Tag::Point, Arithmetic::Plus) => Some(Tag::Point),
                    (Tag::Plain, Tag::Plain, _) => Some(Tag::Plain),
                    (Tag::Slope, Tag::Slope, _) => Some(Tag::Slope),
                    _ => None,
                };
                match tag.filter(|_| x.dimension == y.dimension) {
                    Some(tag) => QuantityType { dimension: x.dimension, tag },
                    None => {
                        let verb = if sign == Arithmetic::Plus { "added to" } else { "taken from" };
                        let (from, what) = if sign == Arithmetic::Plus { (x, y) } else { (y, x) };
                        let (from, what) = if sign == Arithmetic::Plus { (from, what) } else { (what, from) };
                        let told = format!(
                            "{} is {verb} {}",
                            self.say_type(Type::Quantity(what)),
                            self.say_type(Type::Quantity(from))
                        );
                        self.faults.push(
                            Fault::new("E0203", b.span, told)
                                .here(y.name())
                                .label(a.span, x.name())
                                .maybe_help(swapped_unit(&b.kind, left_ty)),
                        );
                        return Err(Failed);
                    }
                }
            }
            Arithmetic::Times | Arithmetic::Over => {
                if x.tag == Tag::Point || y.tag == Tag::Point {
                    let told = "a temperature on its scale cannot be multiplied or divided".to_owned();
                    return self.mismatch(
                        whole.span,
                        told,
                        Some("take the difference of two first".to_owned()),
                    );
                }
                let step = if sign == Arithmetic::Times { 1 } else { -1 };
                let Some(dimension) = x.dimension.times(y.dimension, step) else {
                    return self.mismatch(whole.span, "this power is too high".to_owned(), None);
                };
                // A multiple of a slope is a slope; a length times a slope is a length.
                let tag = match (x.tag, y.tag) {
                    (Tag::Slope, Tag::Plain) if y.dimension == Dimension::NONE => Tag::Slope,
                    (Tag::Plain, Tag::Slope) if x.dimension == Dimension::NONE && step == 1 => Tag::Slope,
                    _ => Tag::Plain,
                };
                QuantityType { dimension, tag }
            }
        };
        Ok((Code::Arithmetic(sign, left, right), Type::Quantity(ty)))
    }

    fn call(&mut self, name: &Name, args: &[Arc<Expr>], whole: &Expr) -> Result<(Code, Type), Failed> {
        let compiled: Vec<Compiled> = args.iter().map(|a| self.expr(a)).collect();
        let compiled: Vec<(NodeId, Type)> = compiled.into_iter().collect::<Result<_, _>>()?;
        let nodes: Box<[NodeId]> = compiled.iter().map(|(n, _)| *n).collect();
        match name.text.as_str() {
            "min" | "max" => {
                let ty = compiled[0].1;
                for ((_, other), arg) in compiled.iter().zip(args) {
                    if *other != ty || !matches!(other, Type::Quantity(_)) {
                        let told = format!(
                            "`{}` is of quantities of one type, this is {}",
                            name.text,
                            self.say_type(*other)
                        );
                        return self.mismatch(arg.span, told, None);
                    }
                }
                Ok((if name.text == "min" { Code::Least(nodes) } else { Code::Greatest(nodes) }, ty))
            }
            "diameter" => match compiled.as_slice() {
                [(node, Type::Nominal)] => {
                    Ok((Code::Diameter(*node), Type::Quantity(QuantityType::plain(Dimension::LENGTH))))
                }
                _ => self.mismatch(whole.span, "`diameter` is of one nominal pipe size".to_owned(), None),
            },
            _ => {
                let Some(at) = self.functions.iter().position(|f| f.name == name.text) else {
                    let known = self
                        .functions
                        .iter()
                        .map(|f| f.name)
                        .chain(["min", "max", "diameter", "count", "sum"]);
                    self.faults.push(
                        Fault::new("E0201", name.span, format!("there is no function `{}`", name.text))
                            .maybe_help(did_you_mean(&name.text, known)),
                    );
                    return Err(Failed);
                };
                let function = &self.functions[at];
                if function.params.len() != args.len() {
                    let told = format!(
                        "`{}` takes {}: {}",
                        name.text,
                        function.params.len(),
                        function.params.join(", ")
                    );
                    return self.mismatch(whole.span, told, None);
                }
                let mut types = Vec::new();
                for (((_, ty), arg), param) in compiled.iter().zip(args).zip(function.params) {
                    let wanted = NAMED.iter().find(|(n, _)| n == param).map(|(_, q)| *q);
                    match (ty, wanted) {
                        (Type::Quantity(q), Some(wanted)) if *q == wanted => types.push(wanted),
                        _ => {
                            let told = format!(
                                "`{}` wants {} here, this is {}",
                                name.text,
                                article(param),
                                self.say_type(*ty)
                            );
                            return self.mismatch(arg.span, told, None);
                        }
                    }
                }
                let Some((_, result)) = NAMED.iter().find(|(n, _)| *n == function.result) else {
                    let told = format!("`{}` gives `{}`, which is no type", name.text, function.result);
                    return self.mismatch(name.span, told, None);
                };
                let code =
                    Code::Host { function: at as u32, args: nodes, types: types.into(), result: *result };
                Ok((code, Type::Quantity(*result)))
            }
        }
    }

    /// Enters the frame of a member; the caller leaves it.
    fn enter(&mut self, members: &Members) -> Result<Range, Failed> {
        let Some(kind) = self.lexicon.kind_id(&members.kind.text) else {
            self.faults.push(
                Fault::new("E0201", members.kind.span, format!("there is no kind `{}`", members.kind.text))
                    .maybe_help(did_you_mean(&members.kind.text, self.lexicon.kind_names())),
            );
            return Err(Failed);
        };
        let scope = self.subject(&members.scope)?;
        let above: Vec<KindId> = match scope.up {
            Some(up) => vec![up],
            None => self.frames[usize::from(scope.frame)].kinds.clone(),
        };
        if !above.iter().any(|a| self.lexicon.may_stand_below(kind, *a)) {
            self.faults.push(
                Fault::new(
                    "E0209",
                    members.kind.span,
                    format!("a `{}` never stands in a `{}`", members.kind.text, members.scope.text),
                )
                .label(members.scope.span, "here")
                .help("the vocabulary says what stands in what: `kind A in B`"),
            );
            return Err(Failed);
        }
        if self.frames.len() >= 8 {
            let told = "more than 8 quantifiers within one another".to_owned();
            self.faults.push(Fault::new("E0109", members.kind.span, told).help("name a part with `let`"));
            return Err(Failed);
        }
        let n = self.lexicon.kinds.len();
        let kinds = (0..n)
            .filter(|k| self.lexicon.is_a[*k][usize::from(kind)] && self.lexicon.concrete(*k as KindId))
            .map(|k| k as KindId)
            .collect();
        if let Some(variable) = &members.variable
            && (self.find_name(&variable.text).is_some() || self.lexicon.kind_id(&variable.text).is_some())
        {
            let told = format!("`{}` already stands for something else", variable.text);
            self.faults.push(Fault::new("E0217", variable.span, told));
            return Err(Failed);
        }
        let frame = self.frames.len() as u8;
        self.frames.push(Frame { kinds, variable: members.variable.as_ref().map(|v| v.text.clone()) });
        match members.condition.as_ref().map(|c| self.condition(c)).transpose() {
            Ok(condition) => Ok(Range { kind, scope, condition, frame, may_fail: false }),
            Err(Failed) => {
                self.frames.pop();
                Err(Failed)
            }
        }
    }

    fn with_failure(&self, mut range: Range, asked: Option<NodeId>) -> Range {
        let mut may_fail = false;
        for node in range.condition.into_iter().chain(asked) {
            self.program.walk(node, &mut |n| {
                if let Code::Lookup { table, .. } = &self.program.node(n).code {
                    may_fail |= self.program.tables[*table as usize].otherwise == Otherwise::Violates;
                }
            });
        }
        range.may_fail = may_fail;
        range
    }

    fn find_name(&self, name: &str) -> Option<usize> {
        self.names.iter().position(|n| n.name == name)
    }

    /// A kind's name or a member's, as a subject.
    fn subject(&mut self, name: &Name) -> Result<Place, Failed> {
        if let Some(frame) =
            self.frames.iter().rposition(|f| f.variable.as_deref() == Some(name.text.as_str()))
        {
            return Ok(Place { frame: frame as u8, up: None });
        }
        if let Some(kind) = self.lexicon.kind_id(&name.text) {
            if let Some(place) = self.upward(kind) {
                return Ok(place);
            }
            self.faults.push(
                Fault::new("E0209", name.span, format!("no `{}` stands above this subject", name.text))
                    .help("the vocabulary says what stands in what: `kind A in B`"),
            );
            return Err(Failed);
        }
        let variables = self.frames.iter().filter_map(|f| f.variable.as_deref());
        let help = did_you_mean(&name.text, self.lexicon.kind_names().chain(variables));
        let told = format!("`{}` is neither a kind nor the name of a member", name.text);
        self.faults.push(Fault::new("E0201", name.span, told).maybe_help(help));
        Err(Failed)
    }

    /// The nearest frame whose subject is of that kind or may stand below one.
    fn upward(&self, kind: KindId) -> Option<Place> {
        let wanted = usize::from(kind);
        for (i, frame) in self.frames.iter().enumerate().rev() {
            let own = frame.kinds.iter().any(|k| self.lexicon.is_a[usize::from(*k)][wanted]);
            let above = frame.kinds.iter().any(|k| self.lexicon.may_stand_below(*k, kind));
            if own || above {
                let all_own = frame.kinds.iter().all(|k| self.lexicon.is_a[usize::from(*k)][wanted]);
                return Some(Place { frame: i as u8, up: if all_own { None } else { Some(kind) } });
            }
        }
        None
    }

    fn path(&mut self, path: &str, expr: &Arc<Expr>) -> Compiled {
        let (first, rest) = match path.split_once('.') {
            Some((first, rest)) => (first, Some(rest)),
            None => (path, None),
        };
        if let Some(at) = self.find_name(path).or_else(|| rest.and_then(|_| self.find_name(first))) {
            self.names[at].used = true;
            let column = if self.names[at].name == path { None } else { rest };
            let (name, span) = (self.names[at].name.clone(), self.names[at].span);
            match (self.names[at].binding.clone(), column) {
                (Binding::Broken, _) => return Err(Failed),
                (Binding::Limit { value, info }, None) => {
                    let (constant, ty) = constant(&value.value);
                    let unit = match value.value {
                        Literal::Quantity { unit: Some(unit), .. } => unit,
                        _ => "",
                    };
                    return Ok((self.push(Code::Limit(constant, info), ty, path.to_owned(), unit), ty));
                }
                (Binding::Let { node, ty }, None) => return Ok((self.node(Code::Let(node), ty, expr), ty)),
                (Binding::Row { table, keys, lattice }, column) => {
                    let column = column.map(|c| Name { text: c.to_owned(), span: expr.span });
                    return self.column(table, keys, lattice, column.as_ref(), expr);
                }
                (_, Some(rest)) => {
                    self.faults.push(
                        Fault::new("E0201", expr.span, format!("`{name}` has no part `{rest}`"))
                            .label(span, "it is no row of a table"),
                    );
                    return Err(Failed);
                }
            }
        }
        // The fact of the innermost subject that has it.
        if let Some(fact) = self.lexicon.fact_id(path) {
            for (i, frame) in self.frames.iter().enumerate().rev() {
                let lacking: Vec<&str> = frame
                    .kinds
                    .iter()
                    .filter(|k| self.lexicon.slot(**k, fact).is_none())
                    .map(|k| self.lexicon.kinds[usize::from(*k)].info.name.as_str())
                    .collect();
                if lacking.is_empty() {
                    return Ok(self.fact(Place { frame: i as u8, up: None }, fact, expr));
                }
                if lacking.len() < frame.kinds.len() {
                    let told = format!("fact `{path}` is not asked of {}", lacking.join(", "));
                    self.faults.push(
                        Fault::new("E0208", expr.span, told)
                            .label(self.lexicon.facts[usize::from(fact)].span, "declared here")
                            .help("add the kind there, or leave it out of `for`"),
                    );
                    return Err(Failed);
                }
            }
        }
        // A member by name.
        if let Some(frame) = self.frames.iter().rposition(|f| f.variable.as_deref() == Some(first)) {
            return self.of_subject(Place { frame: frame as u8, up: None }, rest, expr);
        }
        if self.lexicon.kind_id(first).is_some() {
            let name = Name { text: first.to_owned(), span: expr.span };
            let place = self.subject(&name)?;
            return self.of_subject(place, rest, expr);
        }
        let mut own: Vec<&str> = self.names.iter().map(|n| n.name.as_str()).collect();
        let kinds = self.frames.iter().flat_map(|f| &f.kinds);
        own.extend(
            kinds
                .flat_map(|k| &self.lexicon.kinds[usize::from(*k)].facts)
                .map(|f| self.lexicon.facts[usize::from(*f)].info.name.as_str()),
        );
        let elsewhere = self.lexicon.fact_id(path).map(|f| {
            let on: Vec<&str> = (0..self.lexicon.kinds.len())
                .filter(|k| self.lexicon.slot(*k as KindId, f).is_some())
                .map(|k| self.lexicon.kinds[k].info.name.as_str())
                .collect();
            format!("it is a fact of {}; write `KIND.{path}` for one above this subject", on.join(", "))
        });
        let words =
            self.lexicon.words.iter().filter(|w| w.find(path).is_some()).map(|w| w.name.as_str()).next();
        let as_word = words.map(|w| format!("`{path}` is a word of `{w}`: write `FACT is {path}`"));
        let help = elsewhere.or_else(|| did_you_mean(path, own)).or(as_word);
        let help = help.or_else(|| did_you_mean(path, self.lexicon.fact_names()));
        let code = if self.lexicon.fact_id(path).is_some() { "E0208" } else { "E0201" };
        let told = format!("`{path}` is no fact of this subject, no limit and no let");
        self.faults.push(Fault::new(code, expr.span, told).maybe_help(help));
        Err(Failed)
    }

    fn of_subject(&mut self, place: Place, fact: Option<&str>, expr: &Arc<Expr>) -> Compiled {
        let Some(fact) = fact else {
            return Ok((self.node(Code::KindOf(place), Type::Kind, expr), Type::Kind));
        };
        let kinds: Vec<KindId> = match place.up {
            None => self.frames[usize::from(place.frame)].kinds.clone(),
            Some(up) => (0..self.lexicon.kinds.len())
                .filter(|k| self.lexicon.is_a[*k][usize::from(up)] && self.lexicon.concrete(*k as KindId))
                .map(|k| k as KindId)
                .collect(),
        };
        let id = self.lexicon.fact_id(fact);
        match id.filter(|f| kinds.iter().any(|k| self.lexicon.slot(*k, *f).is_some())) {
            Some(id) => Ok(self.fact(place, id, expr)),
            None => {
                let known = kinds
                    .iter()
                    .flat_map(|k| &self.lexicon.kinds[usize::from(*k)].facts)
                    .map(|f| self.lexicon.facts[usize::from(*f)].info.name.as_str());
                let help = did_you_mean(fact, known);
                self.faults.push(
                    Fault::new("E0208", expr.span, format!("there is no fact `{fact}` of that subject"))
                        .maybe_help(help),
                );
                Err(Failed)
            }
        }
    }

    fn fact(&mut self, place: Place, fact: u16, expr: &Expr) -> (NodeId, Type) {
        let ty = match &self.lexicon.facts[usize::from(fact)].shape {
            Shape::Truth => Type::Truth,
            Shape::Words(id) => Type::Words(*id),
            Shape::Nominal(..) => Type::Nominal,
            Shape::Quantity { ty, .. } => Type::Quantity(*ty),
            Shape::Date => Type::Date,
        };
        (self.node(Code::Fact(place, fact), ty, expr), ty)
    }

    fn lookup_keys(&mut self, table: &Name, keys: &[Arc<Expr>]) -> Result<Lookup, Failed> {
        let Some(at) = self.program.tables.iter().position(|t| t.name == table.text) else {
            let help = did_you_mean(&table.text, self.program.tables.iter().map(|t| t.name.as_str()));
            self.faults.push(
                Fault::new("E0201", table.span, format!("there is no table `{}`", table.text))
                    .maybe_help(help.or(Some(format!("put `{}.csv` into the ruleset's folder", table.text)))),
            );
            return Err(Failed);
        };
        let columns: Vec<(String, ColumnType, Option<Match>)> = {
            let table = &self.program.tables[at];
            table.keys.iter().map(|k| &table.columns[*k]).map(|c| (c.name.clone(), c.ty, c.key)).collect()
        };
        if columns.len() != keys.len() {
            let names: Vec<&str> = columns.iter().map(|(n, ..)| n.as_str()).collect();
            let told = format!("table `{}` has {} keys: {}", table.text, names.len(), names.join(", "));
            self.faults.push(Fault::new("E0204", table.span, told));
            return Err(Failed);
        }
        let mut nodes = Vec::new();
        let mut lattice = Vec::new();
        for ((name, ty, _), key) in columns.iter().zip(keys) {
            let wanted = match ty {
                ColumnType::Quantity { ty, .. } => Type::Quantity(*ty),
                ColumnType::Nominal => Type::Nominal,
                ColumnType::Words(id) => Type::Words(*id),
                ColumnType::Truth => Type::Truth,
                ColumnType::Kind => Type::Kind,
            };
            // A word of the key's enumeration may stand for itself.
            if let (Type::Words(id), ExprKind::Path(word)) = (wanted, &key.kind)
                && self.find_name(word).is_none()
                && let Some(index) = self.lexicon.words[usize::from(id)].find(word)
            {
                nodes.push(self.push(Code::Constant(Possible::word(index)), wanted, word.clone(), ""));
                lattice.push(false);
                continue;
            }
            let (node, found) = self.expr(key)?;
            if found != wanted {
                let told = format!(
                    "key `{name}` of table `{}` is {}, this is {}",
                    table.text,
                    self.say_type(wanted),
                    self.say_type(found)
                );
                self.faults.push(Fault::new("E0203", key.span, told));
                return Err(Failed);
            }
            let column = &self.program.tables[at].columns[self.program.tables[at].keys[nodes.len()]];
            let step = column.lattice;
            lattice.push(match (step, self.grain(node)) {
                (Some(step), Some(grain)) => grain.div(step).is_some_and(Rational::is_whole),
                _ => false,
            });
            nodes.push(node);
        }
        Ok((at as u32, nodes.into(), lattice.into()))
    }

    fn column(
        &mut self,
        table: u32,
        keys: Box<[NodeId]>,
        lattice: Box<[bool]>,
        column: Option<&Name>,
        expr: &Arc<Expr>,
    ) -> Compiled {
        let at = &self.program.tables[table as usize];
        let names: Vec<String> = at.values.iter().map(|v| at.columns[*v].name.clone()).collect();
        let index = match column {
            None if names.len() == 1 => Some(0),
            None => None,
            Some(name) => at.value_column(&name.text),
        };
        let Some(index) = index else {
            let span = column.map_or(expr.span, |c| c.span);
            let told = match column {
                Some(name) => format!("table `{}` has no value column `{}`", at.name, name.text),
                None => format!("table `{}` has several value columns", at.name),
            };
            let help = column.and_then(|c| did_you_mean(&c.text, names.iter().map(String::as_str)));
            let help = help.or(Some(format!(
                "write one of {}",
                names.iter().map(|n| format!(".{n}")).collect::<Vec<_>>().join(", ")
            )));
            self.faults.push(Fault::new("E0201", span, told).maybe_help(help));
            return Err(Failed);
        };
        let ty = match at.columns[at.values[index]].ty {
            ColumnType::Quantity { ty, .. } => Type::Quantity(ty),
            ColumnType::Nominal => Type::Nominal,
            ColumnType::Words(id) => Type::Words(id),
            ColumnType::Truth => Type::Truth,
            ColumnType::Kind => Type::Kind,
        };
        let code = Code::Lookup { table, keys, column: index as u32, lattice };
        Ok((self.node(code, ty, expr), ty))
    }

    /// The step in which a plain number moves, if it moves in steps: counts in ones, half of a count in halves.
    fn grain(&self, node: NodeId) -> Option<Rational> {
        match &self.program.node(node).code {
            Code::Constant(value) | Code::Limit(value, _) => match value {
                Possible::Number { bounds, .. } => bounds.lo?.abs(),
                _ => None,
            },
            Code::Fact(_, fact) => match &self.lexicon.facts[usize::from(*fact)].shape {
                Shape::Quantity { whole: true, .. } => Some(Rational::ONE),
                _ => None,
            },
            Code::Let(a) | Code::Minus(a) => self.grain(*a),
            Code::Aggregated { what: Aggregate::Count, .. } => Some(Rational::ONE),
            Code::Aggregated { over: Some(over), .. } => self.grain(*over),
            Code::Arithmetic(Arithmetic::Times, a, b) => self.grain(*a)?.mul(self.grain(*b)?),
            Code::Arithmetic(Arithmetic::Plus | Arithmetic::Minus, a, b) | Code::If(_, a, b) => {
                self.grain(*a)?.common_measure(self.grain(*b)?)
            }
            Code::Least(list) | Code::Greatest(list) => {
                let mut grains = list.iter().map(|n| self.grain(*n));
                let first = grains.next()??;
                grains.try_fold(first, |a, b| a.common_measure(b?))
            }
            _ => None,
        }
    }

    /// Whether a table keyed by nothing but the kind of a subject has a row for every kind that the subject may be of.
    fn has_row_for_every_kind(&self, table: &Table, keys: &[NodeId]) -> bool {
        let [key] = keys else { return false };
        let Code::KindOf(Place { frame, up: None }) = self.program.node(*key).code else { return false };
        let Some(frame) = self.frames.get(usize::from(frame)) else { return false };
        frame.kinds.iter().all(|kind| {
            table.rows.iter().any(|row| match &row.reach[..] {
                [Reach::Any] => true,
                [Reach::Kinds(kinds)] => kinds.contains(kind),
                _ => false,
            })
        })
    }

    /// Whether a value is surely not below 0, by what is declared.
    fn not_negative(&self, node: NodeId) -> bool {
        let plain = |value: &Possible| matches!(value, Possible::Number { bounds, .. } if bounds.lo.is_some_and(|lo| !lo.is_negative()));
        match &self.program.node(node).code {
            Code::Constant(value) | Code::Limit(value, _) => plain(value),
            Code::Fact(_, fact) => match &self.lexicon.facts[usize::from(*fact)].shape {
                Shape::Quantity { least, .. } => !least.is_negative(),
                _ => false,
            },
            Code::Let(a) => self.not_negative(*a),
            Code::Diameter(_) => true,
            Code::Aggregated { what: Aggregate::Count, .. } => true,
            Code::Aggregated { over: Some(over), .. } => self.not_negative(*over),
            Code::Arithmetic(Arithmetic::Plus | Arithmetic::Times | Arithmetic::Over, a, b)
            | Code::If(_, a, b) => self.not_negative(*a) && self.not_negative(*b),
            Code::Least(list) => list.iter().all(|n| self.not_negative(*n)),
            Code::Greatest(list) => list.iter().any(|n| self.not_negative(*n)),
            Code::Lookup { table, column, keys, .. } => {
                let table = &self.program.tables[*table as usize];
                table.rows.iter().all(|r| plain(&r.values[*column as usize].value))
                    && match &table.otherwise {
                        Otherwise::Row(values) => plain(&values[*column as usize].value),
                        Otherwise::Violates => true,
                        Otherwise::Undetermined => self.has_row_for_every_kind(table, keys),
                    }
            }
            _ => false,
        }
    }
}

fn constant(literal: &Literal) -> (Possible, Type) {
    match literal {
        Literal::Quantity { ticks, ty, .. } => (number(*ticks), Type::Quantity(*ty)),
        Literal::Nominal(index) => (Possible::word((*index).min(NOMINAL.len() as u8 - 1)), Type::Nominal),
        Literal::Truth(yes) => (Possible::Truth(if *yes { T } else { crate::possible::F }), Type::Truth),
        Literal::Day(day) => (number(Rational::whole(i128::from(day.number()))), Type::Date),
    }
}

/// "did you mean `24 in`?" for a literal with a unit of the wrong dimension.
fn swapped_unit(kind: &ExprKind, wanted: Type) -> Option<String> {
    let ExprKind::Literal(Literal::Quantity { ticks, unit, .. }) = kind else { return None };
    let Type::Quantity(ty) = wanted else { return None };
    let unit_wanted = crate::quantity::usual_unit(ty)?;
    let value = match unit {
        Some(unit) => find_unit(unit)?.of_ticks(*ticks)?,
        None => *ticks,
    };
    let number = crate::quantity::write_number(value, unit_wanted.fractions);
    Some(format!("did you mean `{number} {}`?", unit_wanted.name))
}
