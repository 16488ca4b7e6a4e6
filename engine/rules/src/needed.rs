//! What is still needed: facts and "that is all of them" that can still change a verdict.
//!
//! The walk follows only what is open: a part of an `and` that already holds, a branch not taken, a member that surely
//! does not belong are never asked for.

use crate::eval::{Evaluation, verdict};
use crate::outcome::{Need, NeedWhat, Verdict};
use crate::possible::{Bounds, F, Possible, T, Truth, compare};
use crate::program::{Code, NodeId, ProvisionCode, Range};
use crate::syntax::{Comparison, Quantifier};
use crate::world::Known;

struct Walk<'a, 'b> {
    e: &'b Evaluation<'a>,
    out: Vec<Need>,
}

fn open(truth: Truth) -> bool {
    truth.count_ones() > 1
}

/// What can still change the verdict of a provision on a subject; empty when it is decided.
pub(crate) fn needed_of(e: &mut Evaluation<'_>, provision: &ProvisionCode, subject: usize) -> Vec<Need> {
    if verdict(e.outcomes(provision, subject)) != Verdict::Undetermined {
        return vec![];
    }
    needed(e, provision)
}

/// The same for a verdict known to be undetermined, the subject standing in the first frame.
pub(crate) fn needed(e: &Evaluation<'_>, provision: &ProvisionCode) -> Vec<Need> {
    let mut walk = Walk { e, out: vec![] };
    let applies = provision.when.map_or(T, |w| e.joined_truth(w));
    if let Some(when) = provision.when.filter(|_| open(applies)) {
        walk.condition(when);
    }
    let holds: Vec<Truth> = provision.exceptions.iter().map(|x| e.joined_truth(x.when)).collect();
    for (i, exception) in provision.exceptions.iter().enumerate() {
        if holds[i] == F || e.overridden(provision, &holds, i) {
            continue;
        }
        if open(holds[i]) {
            walk.condition(exception.when);
        }
        if let Some(require) = exception.require {
            walk.condition(require);
        }
    }
    if holds.iter().all(|h| *h != T) {
        walk.condition(provision.require);
    }
    walk.out
}

impl Walk<'_, '_> {
    fn add(&mut self, need: Need) {
        if !self.out.contains(&need) {
            self.out.push(need);
        }
    }

    fn condition(&mut self, node: NodeId) {
        let e = self.e;
        if !open(e.joined_truth(node)) {
            return;
        }
        match &e.program.node(node).code {
            Code::And(list) | Code::Or(list) => list.iter().for_each(|n| self.condition(*n)),
            Code::Not(a) | Code::Let(a) => self.condition(*a),
            Code::Compare(sign, a, b) => {
                self.side(*sign, *a, *b, false);
                self.side(*sign, *b, *a, true);
            }
            Code::Within(a, _) => self.value(*a),
            Code::If(condition, yes, no) => {
                let truth = e.joined_truth(*condition);
                self.condition(*condition);
                if truth & T != 0 {
                    self.condition(*yes);
                }
                if truth & F != 0 {
                    self.condition(*no);
                }
            }
            Code::Quantified { quantifier, range, has } => {
                let every = *quantifier == Quantifier::Every;
                self.members(range, |walk| {
                    let belongs = walk.e.joined_belongs(range);
                    let asked = has.map_or(T, |h| walk.e.joined_truth(h));
                    // A member that would not count either way, or that already is as asked, changes nothing.
                    let idle = belongs == F || if every { asked == T } else { asked == F };
                    if idle {
                        return;
                    }
                    if let Some(condition) = range.condition {
                        walk.condition(condition);
                    }
                    if let Some(has) = has {
                        walk.condition(*has);
                    }
                });
            }
            _ => self.value(node),
        }
    }

    /// One side of a comparison. Of a least or greatest, only operands that are open against the other side matter.
    fn side(&mut self, sign: Comparison, own: NodeId, other: NodeId, turned: bool) {
        let e = self.e;
        let (Code::Least(list) | Code::Greatest(list)) = &e.program.node(own).code else {
            return self.value(own);
        };
        for operand in list {
            let (x, y) = (e.joined(*operand), e.joined(other));
            let truth = if turned { compare(sign, &y, &x) } else { compare(sign, &x, &y) };
            if open(truth) {
                self.value(*operand);
            }
        }
    }

    fn value(&mut self, node: NodeId) {
        let e = self.e;
        let value = e.joined(node);
        if value.is_certain() {
            return;
        }
        match &e.program.node(node).code {
            Code::Fact(place, fact) => {
                let Some(subject) = e.subject(*place) else { return };
                let own = &e.world.subjects[subject];
                let Some(slot) = e.lexicon.slot(own.kind, *fact) else { return };
                if !matches!(own.known[slot], Known::Seen(_)) {
                    let name = e.lexicon.facts[usize::from(*fact)].info.name.clone();
                    self.add(Need { subject, what: NeedWhat::Fact(name) });
                }
            }
            Code::Let(a) | Code::Minus(a) | Code::Diameter(a) => self.value(*a),
            Code::Arithmetic(_, a, b) => {
                self.value(*a);
                self.value(*b);
            }
            Code::Least(list) => {
                self.extremes(list, |own, all| own.lo.zip(all.hi).is_none_or(|(a, b)| a < b))
            }
            Code::Greatest(list) => {
                self.extremes(list, |own, all| own.hi.zip(all.lo).is_none_or(|(a, b)| a > b))
            }
            Code::If(condition, yes, no) => {
                let truth = e.joined_truth(*condition);
                if open(truth) {
                    self.condition(*condition);
                }
                if truth & T != 0 {
                    self.value(*yes);
                }
                if truth & F != 0 {
                    self.value(*no);
                }
            }
            Code::Lookup { keys, .. } => keys.iter().for_each(|k| self.value(*k)),
            Code::Host { args, .. } => args.iter().for_each(|a| self.value(*a)),
            Code::Aggregated { range, over, .. } => {
                self.members(range, |walk| {
                    if walk.e.joined_belongs(range) == F {
                        return;
                    }
                    if let Some(condition) = range.condition {
                        walk.condition(condition);
                    }
                    if let Some(over) = over {
                        walk.value(*over);
                    }
                });
            }
            Code::Constant(_) | Code::Limit(..) | Code::KindOf(_) | Code::KindIs(..) => {}
            _ => self.condition(node),
        }
    }

    /// Operands that may still be the least or the greatest.
    fn extremes(&mut self, list: &[NodeId], matters: fn(&Bounds, &Bounds) -> bool) {
        for node in list {
            let others = list.iter().filter(|n| *n != node).map(|n| self.e.joined(*n));
            let beaten = others.into_iter().any(|other| match (self.e.joined(*node), other) {
                (Possible::Number { bounds: own, .. }, Possible::Number { bounds: other, .. }) => {
                    !matters(&own, &other)
                }
                _ => false,
            });
            if !beaten {
                self.value(*node);
            }
        }
    }

    fn members(&mut self, range: &Range, ask: impl Fn(&mut Self)) {
        let members: Vec<u32> = self.e.members(range).map_or(vec![], Iterator::collect);
        for member in members {
            self.e.frames[usize::from(range.frame)].set(member);
            ask(self);
        }
        if let Some(scope) = self.e.subject(range.scope)
            && !self.e.is_complete(range)
        {
            let kind = self.e.lexicon.kinds[usize::from(range.kind)].info.name.clone();
            self.add(Need { subject: scope, what: NeedWhat::Closing(kind) });
        }
    }
}
