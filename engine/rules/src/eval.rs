//! Evaluation: one pass over resolved code, every value a set of what is still possible.

use crate::function::{HostBounds, HostFunction};
use crate::outcome::Verdict;
use crate::possible::{self, Bounds, F, Possible, T, Truth, U, V};
use crate::program::{Code, NodeId, Place, Program, ProvisionCode, Range};
use crate::quantity::{NOMINAL, QuantityType, ticks_per_si};
use crate::rational::Rational;
use crate::syntax::{Aggregate, Quantifier};
use crate::table::MOST_KEYS;
use crate::value::Value;
use crate::vocabulary::{FactId, KindId, Lexicon, Shape, all_words, date_range};
use crate::world::{Known, MOST_DISPUTED, World};
use std::cell::{Cell, RefCell};

/// Outcomes of a provision that are still possible.
pub(crate) type Outcomes = u8;
pub(crate) const COMPLIES: Outcomes = 1;
pub(crate) const VIOLATES: Outcomes = 2;
pub(crate) const WITHOUT: Outcomes = 4;
/// Two exceptions surely hold, neither goes over the other, and under one of them it violates. What is possible stays the
/// union of the two; this names the reason.
pub(crate) const CONFLICT: Outcomes = 8;

/// Branches that one verdict may be split into for disputed facts, and each of these for facts read twice.
const MOST_BRANCHES: usize = 16;

pub(crate) fn verdict(outcomes: Outcomes) -> Verdict {
    match outcomes {
        COMPLIES => Verdict::Complies,
        VIOLATES => Verdict::Violates,
        WITHOUT => Verdict::NotApplicable,
        o if o == COMPLIES | WITHOUT => Verdict::Settled,
        _ => Verdict::Undetermined,
    }
}

/// Where subjects stand, for walking everything below one without following pointers.
#[derive(Debug)]
pub(crate) struct Layout {
    /// Subjects, each before what stands in it.
    order: Vec<u32>,
    /// Place of a subject in `order`, and of the first one no longer below it.
    at: Vec<(u32, u32)>,
}

impl Layout {
    pub fn new(world: &World) -> Layout {
        let n = world.subjects.len();
        let mut layout = Layout { order: Vec::with_capacity(n), at: vec![(0, 0); n] };
        // An explicit stack: a chain of subjects may be deeper than ours.
        let mut stack: Vec<(usize, bool)> = Vec::new();
        for root in (0..n).rev().filter(|s| world.subjects[*s].parent.is_none()) {
            stack.push((root, false));
        }
        while let Some((subject, done)) = stack.pop() {
            if done {
                layout.at[subject].1 = layout.order.len() as u32;
                continue;
            }
            layout.at[subject].0 = layout.order.len() as u32;
            layout.order.push(subject as u32);
            stack.push((subject, true));
            stack.extend(world.subjects[subject].children.iter().rev().map(|c| (*c, false)));
        }
        layout
    }

    /// Everything below a subject, nearest first in reading order.
    pub fn below(&self, subject: usize) -> &[u32] {
        let (from, to) = self.at[subject];
        &self.order[from as usize + 1..to as usize]
    }
}

/// A fact read while evaluating that may be worth splitting on.
type Reads = Vec<(u32, FactId)>;

/// Values that facts are taken to have.
type Branch = Vec<(u32, FactId, Possible)>;

pub(crate) struct Evaluation<'a> {
    pub program: &'a Program,
    pub functions: &'a [HostFunction],
    pub lexicon: &'a Lexicon,
    pub world: &'a World,
    pub layout: &'a Layout,
    /// The subjects of the frames.
    pub frames: [Cell<u32>; 10],
    /// The branches that the last verdict was split into: in each, some facts are taken to have one value. Empty when it
    /// was not split.
    branches: Vec<Branch>,
    /// The branch being evaluated, one more than its place; 0 for none.
    branch: Cell<usize>,
    reads: Option<RefCell<Reads>>,
    /// Completeness by subject and kind: 0 not worked out, 1 no, 2 yes.
    complete: RefCell<Vec<u8>>,
}

impl<'a> Evaluation<'a> {
    pub fn new(
        program: &'a Program,
        functions: &'a [HostFunction],
        lexicon: &'a Lexicon,
        world: &'a World,
        layout: &'a Layout,
    ) -> Evaluation<'a> {
        Evaluation {
            program,
            functions,
            lexicon,
            world,
            layout,
            frames: Default::default(),
            branches: vec![],
            branch: Cell::new(0),
            reads: None,
            complete: RefCell::new(vec![]),
        }
    }

    /// What the verdict of a provision on a subject may still be.
    pub fn outcomes(&mut self, provision: &ProvisionCode, subject: usize) -> Outcomes {
        self.frames[0].set(subject as u32);
        self.branches.clear();
        let whole = self.outcomes_once(provision);
        // Settled may still become one or the other.
        if whole.count_ones() == 1 || (provision.split.is_empty() && !self.world.has_disputes()) {
            return whole;
        }
        self.reads = Some(RefCell::new(vec![]));
        self.outcomes_once(provision);
        let mut reads = self.reads.take().map_or(vec![], RefCell::into_inner);
        let facts = self.split(provision, &mut reads);
        if facts.is_empty() {
            return whole;
        }
        let count: usize = facts.iter().map(|(_, _, values)| values.len()).product();
        for mut number in 0..count {
            let mut branch = Branch::new();
            for (subject, fact, values) in &facts {
                branch.push((*subject, *fact, values[number % values.len()]));
                number /= values.len();
            }
            self.branches.push(branch);
        }
        self.in_branches(|e| e.outcomes_once(provision), |a, b| a | b) & whole
    }

    /// Runs in every branch and joins the results; once when there are no branches.
    pub fn in_branches<R>(&self, run: impl Fn(&Self) -> R, join: impl Fn(R, R) -> R) -> R {
        if self.branches.is_empty() || self.branch.get() != 0 {
            return run(self);
        }
        self.branch.set(1);
        let mut out = run(self);
        for number in 2..=self.branches.len() {
            self.branch.set(number);
            out = join(out, run(self));
        }
        self.branch.set(0);
        out
    }

    /// What a node may be, by all branches together.
    pub fn joined(&self, node: NodeId) -> Possible {
        self.in_branches(|e| e.eval(node), Possible::hull)
    }

    /// What a condition may be, by all branches together.
    pub fn joined_truth(&self, node: NodeId) -> Truth {
        self.in_branches(|e| e.truth(node), |a, b| a | b)
    }

    /// Whether a member belongs, by all branches together.
    pub fn joined_belongs(&self, range: &Range) -> Truth {
        range.condition.map_or(T, |c| self.joined_truth(c))
    }

    /// The facts to split on and their values.
    ///
    /// INVARIANT: learning only takes facts out of this list or lets further ones in. They are taken in an order that does
    /// not depend on what is known, up to the first that does not fit; else a fact learnt could push out another that a
    /// decided verdict rests on. Disputed facts have a budget of their own for the same reason.
    fn split(&self, provision: &ProvisionCode, reads: &mut Reads) -> Vec<(u32, FactId, Vec<Possible>)> {
        reads.sort_unstable();
        reads.dedup();
        let (mut disputed, mut unknown) = (Vec::new(), Vec::new());
        for (subject, fact) in reads.iter().copied() {
            let own = &self.world.subjects[subject as usize];
            let Some(slot) = self.lexicon.slot(own.kind, fact) else { continue };
            match &own.known[slot] {
                Known::Disputed(values) if values.len() <= MOST_DISPUTED => {
                    disputed.push((subject, fact, values.iter().map(possible_value).collect::<Vec<_>>()));
                }
                Known::Unknown if provision.split.contains(&fact) => {
                    let values = match self.anything(fact) {
                        Possible::Truth(_) => vec![Possible::Truth(T), Possible::Truth(F)],
                        Possible::Words { mask, .. } => {
                            (0..64).filter(|b| mask >> b & 1 == 1).map(Possible::word).collect()
                        }
                        _ => continue,
                    };
                    unknown.push((subject, fact, values));
                }
                _ => {}
            }
        }
        let mut out = Vec::new();
        for mut list in [disputed, unknown] {
            list.sort_by_key(|(subject, fact, values)| (values.len(), *subject, *fact));
            let mut product = 1;
            for (subject, fact, values) in list {
                product *= values.len();
                if product > MOST_BRANCHES {
                    break;
                }
                out.push((subject, fact, values));
            }
        }
        out
    }

    fn outcomes_once(&self, provision: &ProvisionCode) -> Outcomes {
        let applies = provision.when.map_or(T, |when| self.truth(when));
        if applies == F {
            return WITHOUT;
        }
        let mut out = if applies & F != 0 { WITHOUT } else { 0 };
        if applies & V != 0 {
            out |= VIOLATES;
        }
        if applies & T != 0 {
            out |= self.required(provision);
        }
        out
    }

    /// The union of what the requirement and the exceptions still possible give.
    fn required(&self, provision: &ProvisionCode) -> Outcomes {
        if provision.exceptions.is_empty() {
            return requirement(self.truth(provision.require));
        }
        let holds: Vec<Truth> = provision.exceptions.iter().map(|e| self.truth(e.when)).collect();
        let mut out = 0;
        if holds.iter().all(|h| *h != T) {
            out |= requirement(self.truth(provision.require));
        }
        let mut sure: Vec<(usize, Outcomes)> = Vec::new();
        for (i, exception) in provision.exceptions.iter().enumerate() {
            if self.overridden(provision, &holds, i) {
                continue;
            }
            if holds[i] & V != 0 {
                out |= VIOLATES;
            }
            if holds[i] & T == 0 {
                continue;
            }
            let own = exception.require.map_or(WITHOUT, |r| requirement(self.truth(r)));
            out |= own;
            if holds[i] == T {
                sure.push((i, own));
            }
        }
        for (n, (i, a)) in sure.iter().enumerate() {
            for (j, b) in &sure[n + 1..] {
                let ranked = provision.exceptions[*i].over[*j] || provision.exceptions[*j].over[*i];
                // Complying and being waived do not clash: either way nothing is wrong.
                if !ranked && a != b && (a | b) & VIOLATES != 0 {
                    out |= CONFLICT;
                }
            }
        }
        out
    }

    /// Whether an exception that goes over this one surely holds.
    pub fn overridden(&self, provision: &ProvisionCode, holds: &[Truth], i: usize) -> bool {
        provision.exceptions.iter().zip(holds).any(|(other, h)| *h == T && other.over[i])
    }

    pub fn truth(&self, node: NodeId) -> Truth {
        self.eval(node).truth()
    }

    /// The subject that a place names, if there is one.
    pub fn subject(&self, place: Place) -> Option<usize> {
        let mut at = self.frames[usize::from(place.frame)].get() as usize;
        let Some(kind) = place.up else { return Some(at) };
        loop {
            let subject = &self.world.subjects[at];
            if self.lexicon.is_a[usize::from(subject.kind)][usize::from(kind)] {
                return Some(at);
            }
            at = subject.parent?;
        }
    }

    /// Everything the fact may be by its declaration.
    pub fn anything(&self, fact: FactId) -> Possible {
        match &self.lexicon.facts[usize::from(fact)].shape {
            Shape::Truth => Possible::Truth(U),
            Shape::Words(id) => {
                Possible::Words { mask: self.lexicon.words[usize::from(*id)].all(), fails: false }
            }
            Shape::Nominal(a, b) => Possible::Words {
                mask: all_words(usize::from(*b) + 1) & !all_words(usize::from(*a)),
                fails: false,
            },
            Shape::Quantity { least, most, .. } => {
                Possible::number(Bounds { lo: Some(*least), hi: Some(*most) })
            }
            Shape::Date => {
                let (a, b) = date_range();
                let day = |n: i32| Some(Rational::whole(i128::from(n)));
                Possible::number(Bounds { lo: day(a), hi: day(b) })
            }
        }
    }

    fn fact(&self, place: Place, fact: FactId) -> Possible {
        let Some(at) = self.subject(place) else { return self.anything(fact) };
        let subject = &self.world.subjects[at];
        let Some(slot) = self.lexicon.slot(subject.kind, fact) else { return self.anything(fact) };
        if self.branch.get() != 0
            && let Some((.., value)) =
                self.branches[self.branch.get() - 1].iter().find(|(s, f, _)| *s as usize == at && *f == fact)
        {
            return *value;
        }
        match &subject.known[slot] {
            Known::Seen(value) => possible_value(value),
            Known::Unknown => {
                self.read(at, fact);
                self.anything(fact)
            }
            Known::Disputed(values) => {
                self.read(at, fact);
                let mut all = values.iter().map(possible_value);
                let first = all.next().unwrap_or_else(|| self.anything(fact));
                all.fold(first, Possible::hull)
            }
        }
    }

    fn read(&self, subject: usize, fact: FactId) {
        if let Some(reads) = &self.reads {
            reads.borrow_mut().push((subject as u32, fact));
        }
    }

    pub fn eval(&self, node: NodeId) -> Possible {
        match &self.program.node(node).code {
            Code::Constant(value) | Code::Limit(value, _) => *value,
            Code::Fact(place, fact) => self.fact(*place, *fact),
            Code::KindOf(place) => Possible::Kind(self.subject(*place).map(|s| self.world.subjects[s].kind)),
            Code::Let(a) => self.eval(*a),
            Code::Not(a) => Possible::Truth(possible::not(self.truth(*a))),
            Code::And(list) => {
                let mut out = T;
                for item in list {
                    out = possible::and(out, self.truth(*item));
                    if out == F && self.reads.is_none() {
                        break;
                    }
                }
                Possible::Truth(out)
            }
            Code::Or(list) => {
                let mut out = F;
                for item in list {
                    out = possible::or(out, self.truth(*item));
                    if out == T && self.reads.is_none() {
                        break;
                    }
                }
                Possible::Truth(out)
            }
            Code::Compare(sign, a, b) => {
                Possible::Truth(possible::compare(*sign, &self.eval(*a), &self.eval(*b)))
            }
            Code::Within(a, words) => Possible::Truth(possible::within(&self.eval(*a), *words)),
            Code::KindIs(place, kinds) => Possible::Truth(match self.subject(*place) {
                Some(s) if kinds[usize::from(self.world.subjects[s].kind)] => T,
                Some(_) => F,
                None => U,
            }),
            Code::Arithmetic(sign, a, b) => possible::arithmetic(*sign, &self.eval(*a), &self.eval(*b)),
            Code::Minus(a) => match self.eval(*a) {
                Possible::Number { bounds, fails } => Possible::Number { bounds: bounds.neg(), fails },
                other => other,
            },
            Code::Least(list) => self.extreme(list, Bounds::least),
            Code::Greatest(list) => self.extreme(list, Bounds::greatest),
            Code::If(condition, yes, no) => {
                let condition = self.truth(*condition);
                let mut out: Option<Possible> = None;
                for (outcome, branch) in [(T, yes), (F, no)] {
                    if condition & outcome != 0 {
                        let value = self.eval(*branch);
                        out = Some(out.map_or(value, |o| o.hull(value)));
                    }
                }
                match out {
                    Some(out) if condition & V != 0 => out.hull(Possible::Fails),
                    Some(out) => out,
                    None => Possible::Fails,
                }
            }
            Code::Lookup { table, keys, column, lattice } => {
                let table = &self.program.tables[*table as usize];
                // Tables have at most four keys, so that looking one up allocates nothing.
                let mut values = [Possible::Fails; MOST_KEYS];
                for (slot, key) in values.iter_mut().zip(keys) {
                    *slot = self.eval(*key);
                }
                let keys = &values[..keys.len()];
                if let Some(row) = table.sure_row(keys) {
                    return table.rows[row].values[*column as usize].value;
                }
                let found = table.find(keys, lattice);
                let value = table.value(&found, *column as usize);
                if keys.iter().any(Possible::may_fail) { value.hull(Possible::Fails) } else { value }
            }
            Code::Host { function, args, types, result } => {
                self.host(*function as usize, args, types, *result)
            }
            Code::Diameter(a) => possible::diameter(&self.eval(*a)),
            Code::Quantified { quantifier, range, has } => {
                Possible::Truth(self.quantified(*quantifier, range, *has))
            }
            Code::Aggregated { what, range, over, not_negative } => {
                self.aggregated(*what, range, *over, *not_negative)
            }
        }
    }

    fn extreme(&self, list: &[NodeId], join: fn(Bounds, Bounds) -> Bounds) -> Possible {
        let mut out: Option<(Bounds, bool)> = None;
        for item in list {
            match self.eval(*item) {
                Possible::Number { bounds, fails } => {
                    out = Some(out.map_or((bounds, fails), |(b, f)| (join(b, bounds), f || fails)));
                }
                _ => return Possible::Fails,
            }
        }
        out.map_or(Possible::Fails, |(bounds, fails)| Possible::Number { bounds, fails })
    }

    fn host(
        &self,
        function: usize,
        args: &[NodeId],
        types: &[QuantityType],
        result: QuantityType,
    ) -> Possible {
        let open = Possible::number(Bounds::OPEN);
        let mut fails = false;
        let mut values = Vec::with_capacity(args.len());
        for (arg, ty) in args.iter().zip(types) {
            let Possible::Number { bounds, fails: f } = self.eval(*arg) else { return Possible::Fails };
            fails |= f;
            let Some(scale) = ticks_per_si(*ty) else { return open };
            let si = |v: Option<Rational>| v.and_then(|v| v.div(scale)).map(Rational::enclose);
            values.push(HostBounds {
                lo: si(bounds.lo).map_or(f64::NEG_INFINITY, |(lo, _)| lo),
                hi: si(bounds.hi).map_or(f64::INFINITY, |(_, hi)| hi),
            });
        }
        let bounds = self.functions.get(function).and_then(|f| (f.call)(&values).ok()).and_then(|found| {
            let scale = ticks_per_si(result)?;
            let back = |v: f64, up: bool| Rational::from_float(v, up).and_then(|v| v.mul(scale));
            Some(Bounds { lo: back(found.lo, false), hi: back(found.hi, true) })
        });
        Possible::Number { bounds: bounds.unwrap_or(Bounds::OPEN), fails }
    }

    /// Members of a range: everything of its kind below its scope. `None` when there is no such scope.
    pub fn members(&self, range: &Range) -> Option<impl Iterator<Item = u32> + '_> {
        let scope = self.subject(range.scope)?;
        let kind = usize::from(range.kind);
        Some(
            self.layout
                .below(scope)
                .iter()
                .copied()
                .filter(move |s| self.lexicon.is_a[usize::from(self.world.subjects[*s as usize].kind)][kind]),
        )
    }

    /// Whether every member of the range is listed.
    pub fn is_complete(&self, range: &Range) -> bool {
        self.subject(range.scope).is_some_and(|scope| self.complete(scope, range.kind))
    }

    fn complete(&self, subject: usize, kind: KindId) -> bool {
        let kinds = self.lexicon.kinds.len();
        let slot = subject * kinds + usize::from(kind);
        {
            let mut known = self.complete.borrow_mut();
            if known.is_empty() {
                known.resize(self.world.subjects.len() * kinds, 0);
            }
            if known[slot] != 0 {
                return known[slot] == 2;
            }
        }
        let out = self.work_out_complete(subject, kind);
        self.complete.borrow_mut()[slot] = if out { 2 } else { 1 };
        out
    }

    fn work_out_complete(&self, subject: usize, kind: KindId) -> bool {
        let own = &self.world.subjects[subject];
        let closed = |k: usize| own.closed.iter().any(|c| self.lexicon.is_a[k][usize::from(*c)]);
        if closed(usize::from(kind)) {
            return true;
        }
        self.openings(subject, kind).is_empty()
            && own.children.iter().all(|child| {
                let below = self.world.subjects[*child].kind;
                !self.lexicon.leads_to(below, kind) || self.complete(*child, kind)
            })
    }

    /// Concrete kinds directly in a subject whose list would have to be closed before `kind` is complete within it.
    pub fn openings(&self, subject: usize, kind: KindId) -> Vec<KindId> {
        let own = &self.world.subjects[subject];
        (0..self.lexicon.kinds.len())
            .filter(|k| {
                self.lexicon.concrete(*k as KindId)
                    && self.lexicon.sits_in[*k][usize::from(own.kind)]
                    && (self.lexicon.is_a[*k][usize::from(kind)] || self.lexicon.leads_to(*k as KindId, kind))
                    && !own.closed.iter().any(|c| self.lexicon.is_a[*k][usize::from(*c)])
            })
            .map(|k| k as KindId)
            .collect()
    }

    /// Runs with a member in the range's frame. Frames of one depth are never used at once, so nothing is put back.
    pub fn with_member<R>(&self, range: &Range, member: u32, inner: impl FnOnce(&Self) -> R) -> R {
        self.frames[usize::from(range.frame)].set(member);
        inner(self)
    }

    /// Whether a member belongs to the range, by its condition.
    pub fn belongs(&self, range: &Range) -> Truth {
        range.condition.map_or(T, |c| self.truth(c))
    }

    fn quantified(&self, quantifier: Quantifier, range: &Range, has: Option<NodeId>) -> Truth {
        let extra = if self.is_complete(range) { 0 } else { U | if range.may_fail { V } else { 0 } };
        let Some(members) = self.members(range) else { return U | extra };
        let asked = |e: &Self| has.map_or(T, |h| e.truth(h));
        match quantifier {
            Quantifier::Some | Quantifier::No => {
                let mut out = F;
                for member in members {
                    let one = self.with_member(range, member, |e| possible::and(e.belongs(range), asked(e)));
                    out = possible::or(out, one);
                    if out == T && self.reads.is_none() {
                        break;
                    }
                }
                if extra != 0 {
                    out = possible::or(out, extra);
                }
                if quantifier == Quantifier::No { possible::not(out) } else { out }
            }
            Quantifier::Every => {
                let mut out = T;
                for member in members {
                    let one = self.with_member(range, member, |e| {
                        possible::or(possible::not(e.belongs(range)), asked(e))
                    });
                    out = possible::and(out, one);
                    if out == F && self.reads.is_none() {
                        break;
                    }
                }
                if extra != 0 { possible::and(out, extra) } else { out }
            }
            Quantifier::AtLeast(n) | Quantifier::AtMost(n) | Quantifier::Exactly(n) => {
                let count = self.count(range, has);
                let limit = Possible::point(Rational::whole(i128::from(n)));
                let sign = match quantifier {
                    Quantifier::AtLeast(_) => crate::syntax::Comparison::AtLeast,
                    Quantifier::AtMost(_) => crate::syntax::Comparison::AtMost,
                    _ => crate::syntax::Comparison::Equal,
                };
                possible::compare(sign, &count, &limit)
            }
        }
    }

    fn count(&self, range: &Range, has: Option<NodeId>) -> Possible {
        let complete = self.is_complete(range);
        let Some(members) = self.members(range) else {
            return Possible::number(Bounds { lo: Some(Rational::ZERO), hi: None });
        };
        let (mut sure, mut maybe, mut fails) = (0i128, 0i128, !complete && range.may_fail);
        for member in members {
            let one = self.with_member(range, member, |e| {
                possible::and(e.belongs(range), has.map_or(T, |h| e.truth(h)))
            });
            sure += i128::from(one == T);
            maybe += i128::from(one != T && one & T != 0);
            fails |= one & V != 0;
        }
        let hi = complete.then(|| Rational::whole(sure + maybe));
        Possible::Number { bounds: Bounds { lo: Some(Rational::whole(sure)), hi }, fails }
    }

    fn aggregated(
        &self,
        what: Aggregate,
        range: &Range,
        over: Option<NodeId>,
        not_negative: bool,
    ) -> Possible {
        let Some(over) = over else { return self.count(range, None) };
        let complete = self.is_complete(range);
        let Some(members) = self.members(range) else { return Possible::number(Bounds::OPEN) };
        let zero = Bounds::point(Rational::ZERO);
        let mut fails = !complete && range.may_fail;
        let mut sum = zero;
        // Bounds over those that surely belong, and over all that may.
        let mut sure: Option<Bounds> = None;
        let mut all: Option<Bounds> = None;
        for member in members {
            let (belongs, value) = self.with_member(range, member, |e| (e.belongs(range), e.eval(over)));
            fails |= belongs & V != 0;
            if belongs & T == 0 {
                continue;
            }
            let bounds = match value {
                Possible::Number { bounds, fails: f } => {
                    fails |= f;
                    bounds
                }
                _ => {
                    fails = true;
                    Bounds::OPEN
                }
            };
            let join = |before: Option<Bounds>| {
                before.map_or(bounds, |b| {
                    if what == Aggregate::Least { b.least(bounds) } else { b.greatest(bounds) }
                })
            };
            sum = sum.add(if belongs == T { bounds } else { bounds.hull(zero) });
            all = Some(join(all));
            if belongs == T {
                sure = Some(join(sure));
            }
        }
        let bounds = match what {
            Aggregate::Sum | Aggregate::Count => {
                if complete {
                    sum
                } else {
                    Bounds { lo: if not_negative { sum.lo } else { None }, hi: None }
                }
            }
            // Without a sure member there may be none at all, and then there is no least.
            Aggregate::Least => Bounds {
                lo: match (complete, all) {
                    (true, Some(all)) if sure.is_some() => all.lo,
                    _ if not_negative && sure.is_some() => Some(Rational::ZERO),
                    _ => None,
                },
                hi: sure.and_then(|s| s.hi),
            },
            Aggregate::Greatest => Bounds {
                lo: sure.and_then(|s| s.lo),
                hi: match (complete, all) {
                    (true, Some(all)) if sure.is_some() => all.hi,
                    _ => None,
                },
            },
        };
        Possible::Number { bounds, fails }
    }
}

fn requirement(truth: Truth) -> Outcomes {
    let mut out = 0;
    if truth & T != 0 {
        out |= COMPLIES;
    }
    if truth & (F | V) != 0 {
        out |= VIOLATES;
    }
    out
}

pub(crate) fn possible_value(value: &Value) -> Possible {
    match value {
        Value::Truth(yes) => Possible::Truth(if *yes { T } else { F }),
        Value::Word(i) => Possible::word(*i),
        Value::Nominal(i) => Possible::word((*i).min(NOMINAL.len() as u8 - 1)),
        Value::Number(n) => Possible::point(*n),
        Value::Day(day) => Possible::point(Rational::whole(i128::from(day.number()))),
    }
}
