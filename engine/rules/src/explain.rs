//! Reasons: the same evaluation, told node by node. Built only when asked for.

use crate::eval::{CONFLICT, Evaluation, Outcomes, verdict};
use crate::outcome::{Explanation, Line, Mark, Verdict};
use crate::possible::{F, Possible, T, Truth, V};
use crate::program::{Code, NodeId, ProvisionCode, TellPart, Type};
use crate::quantity::{NOMINAL, QuantityType};
use crate::rational::Rational;
use crate::show;
use crate::syntax::{Comparison, Quantifier};
use crate::table::{Found, Table};
use crate::vocabulary::FactId;
use crate::world::Known;

/// A reason longer than this is cut, and says so.
const MOST_LINES: usize = 400;

/// Members listed one by one in a reason.
const MOST_MEMBERS: usize = 12;

/// An explanation and the exact margin behind its text.
pub(crate) struct Told {
    pub explanation: Explanation,
    /// How far the deciding comparison is missed, exactly, with its type.
    pub margin: Option<(Rational, QuantityType)>,
}

struct Reason<'a, 'b> {
    e: &'b Evaluation<'a>,
    lines: Vec<Line>,
}

pub(crate) fn mark(truth: Truth) -> Mark {
    match truth {
        T => Mark::Yes,
        F | V => Mark::No,
        t if t & T == 0 => Mark::No,
        _ => Mark::Open,
    }
}

pub(crate) fn explain(e: &mut Evaluation<'_>, provision: &ProvisionCode, subject: usize) -> Told {
    let outcomes = e.outcomes(provision, subject);
    let e = &*e;
    let mut reason = Reason { e, lines: vec![] };
    let applies = provision.when.map_or(T, |w| e.joined_truth(w));
    if let Some(when) = provision.when {
        reason.line(0, mark(applies), "applies when", word(applies).to_owned());
        reason.condition(when, 1);
    }
    let mut asked = Some(provision.require);
    let mut waived = None;
    if applies & T != 0 {
        let holds: Vec<Truth> = provision.exceptions.iter().map(|x| e.joined_truth(x.when)).collect();
        for (i, exception) in provision.exceptions.iter().enumerate() {
            let beaten = e.overridden(provision, &holds, i);
            let does = if exception.require.is_some() { "requires otherwise" } else { "waives" };
            let detail = match (holds[i], beaten) {
                (_, true) => "gives way to another exception".to_owned(),
                (T, _) => format!("holds and {does}, {}", exception.cite),
                (F, _) => "does not apply".to_owned(),
                _ => format!("open; if it holds it {does}, {}", exception.cite),
            };
            reason.line(0, mark(holds[i]), &format!("except {}", exception.name), detail);
            reason.condition(exception.when, 1);
            if holds[i] == T && !beaten {
                asked = exception.require;
                waived = exception.require.is_none().then_some(i);
            }
        }
        if let Some(require) = asked {
            reason.condition(require, 0);
        }
        for (i, exception) in provision.exceptions.iter().enumerate() {
            let open = holds[i] & T != 0 && holds[i] != T;
            if let Some(require) = exception.require.filter(|_| open && !e.overridden(provision, &holds, i)) {
                reason.line(
                    0,
                    mark(e.joined_truth(require)),
                    &format!("under except {}", exception.name),
                    String::new(),
                );
                reason.condition(require, 1);
            }
        }
    }
    let leaf = asked.filter(|_| applies & T != 0).and_then(|r| deciding(e, r, verdict(outcomes)));
    let (found, limit, margin) = leaf.map_or((String::new(), String::new(), None), |leaf| against(e, leaf));
    let margin = margin.filter(|_| verdict(outcomes) == Verdict::Violates);
    let headline = headline(e, provision, outcomes, leaf, waived, applies, (&found, &limit));
    if reason.lines.len() >= MOST_LINES {
        reason.lines.truncate(MOST_LINES);
        reason.lines.push(Line {
            depth: 0,
            mark: Mark::None,
            text: "the reason is longer than this".to_owned(),
            detail: format!("cut after {MOST_LINES} lines"),
        });
    }
    Told {
        explanation: Explanation {
            verdict: verdict(outcomes),
            margin: margin.as_ref().map(|(.., text)| text.clone()),
            headline,
            lines: reason.lines,
            tell: tell(e, provision),
            found,
            limit,
        },
        margin: margin.map(|(ticks, ty, _)| (ticks, ty)),
    }
}

fn word(truth: Truth) -> &'static str {
    match truth {
        T => "it applies",
        F => "it does not apply",
        _ => "open whether it applies",
    }
}

/// The text for the contractor with its values put in.
fn tell(e: &Evaluation<'_>, provision: &ProvisionCode) -> String {
    let mut out = String::new();
    for part in &provision.tell {
        match part {
            TellPart::Text(text) => out.push_str(text),
            TellPart::Subject(place) => match e.subject(*place) {
                Some(s) => out.push_str(&e.world.subjects[s].name),
                None => out.push_str(show::NOT_SEEN),
            },
            TellPart::Value(node) => out.push_str(&value_text(e, *node)),
        }
    }
    out
}

/// A node's value as a person reads it.
pub(crate) fn value_text(e: &Evaluation<'_>, node: NodeId) -> String {
    let shown = e.program.node(node);
    // A fact nobody has seen says so, rather than its declared range.
    if let Some((subject, fact)) = fact_of(e, node)
        && matches!(known(e, subject, fact), None | Some(Known::Unknown))
    {
        return show::NOT_SEEN.to_owned();
    }
    show::possible(&e.joined(node), shown.ty, shown.unit, e.lexicon, true)
}

fn fact_of(e: &Evaluation<'_>, node: NodeId) -> Option<(usize, FactId)> {
    match &e.program.node(node).code {
        Code::Fact(place, fact) => e.subject(*place).map(|s| (s, *fact)),
        Code::Let(inner) => fact_of(e, *inner),
        _ => None,
    }
}

fn known<'a>(e: &Evaluation<'a>, subject: usize, fact: FactId) -> Option<&'a Known> {
    let own = &e.world.subjects[subject];
    e.lexicon.slot(own.kind, fact).map(|slot| &own.known[slot])
}

/// The part of a requirement that decides the verdict, or that stands for it.
fn deciding(e: &Evaluation<'_>, node: NodeId, verdict: Verdict) -> Option<NodeId> {
    match &e.program.node(node).code {
        Code::And(list) | Code::Or(list) => {
            let wanted = |n: &&NodeId| {
                let truth = e.joined_truth(**n);
                match verdict {
                    Verdict::Violates => truth & T == 0,
                    Verdict::Undetermined => truth.count_ones() > 1,
                    _ => truth == T,
                }
            };
            let first = list.iter().find(wanted).or(list.first())?;
            deciding(e, *first, verdict)
        }
        Code::Let(inner) => deciding(e, *inner, verdict),
        Code::If(condition, yes, no) => match e.joined_truth(*condition) {
            T => deciding(e, *yes, verdict),
            F => deciding(e, *no, verdict),
            _ => Some(node),
        },
        _ => Some(node),
    }
}

fn sign_text(sign: Comparison) -> &'static str {
    match sign {
        Comparison::Less => "less than",
        Comparison::AtMost => "at most",
        Comparison::Equal => "exactly",
        Comparison::Unequal => "other than",
        Comparison::AtLeast => "at least",
        Comparison::More => "more than",
    }
}

type Margin = (Rational, QuantityType, String);

/// What was found at a leaf, what was asked, and the margin between them.
fn against(e: &Evaluation<'_>, leaf: NodeId) -> (String, String, Option<Margin>) {
    match &e.program.node(leaf).code {
        Code::Compare(sign, a, b) => {
            let limit = format!("{} {}", sign_text(*sign), value_text(e, *b));
            (value_text(e, *a), limit, margin(e, *a, *b))
        }
        Code::Within(a, words) => (value_text(e, *a), words_text(e, *a, *words), None),
        Code::Not(a) => (value_text(e, *a), "no".to_owned(), None),
        Code::Fact(..) => (value_text(e, leaf), "yes".to_owned(), None),
        Code::Quantified { quantifier, range, has } => {
            let kind = &e.lexicon.kinds[usize::from(range.kind)].info.label;
            let listed = e.members(range).map_or(0, Iterator::count);
            let such = e.members(range).map_or(0, |members| {
                let belongs = |m: &u32| {
                    e.with_member(range, *m, |e| {
                        crate::possible::and(e.joined_belongs(range), has.map_or(T, |h| e.joined_truth(h)))
                            == T
                    })
                };
                members.filter(belongs).count()
            });
            let all = if e.is_complete(range) { "" } else { ", not said to be all" };
            let asked = range.condition.iter().chain(has).map(|n| e.program.node(*n).text.as_str());
            let asked: Vec<&str> = asked.collect();
            let whole = asked.is_empty();
            let such =
                if whole { String::new() } else { format!(", of which {such} with {}", asked.join(" and ")) };
            let limit = match quantifier {
                Quantifier::Some => "at least one".to_owned(),
                Quantifier::Every => "every one".to_owned(),
                Quantifier::No => "none".to_owned(),
                Quantifier::AtLeast(n) => format!("at least {n}"),
                Quantifier::AtMost(n) => format!("at most {n}"),
                Quantifier::Exactly(n) => format!("exactly {n}"),
            };
            (format!("{kind}: {listed} listed{all}{such}"), limit, None)
        }
        _ => (value_text(e, leaf), String::new(), None),
    }
}

fn words_text(e: &Evaluation<'_>, node: NodeId, mask: u64) -> String {
    let list: Vec<String> = match e.program.node(node).ty {
        Type::Words(id) => {
            e.lexicon.words[usize::from(id)].words.iter().map(|(_, label)| label.clone()).collect()
        }
        _ => NOMINAL.iter().map(|(name, ..)| format!("{name} in nominal")).collect(),
    };
    let allowed: Vec<&str> =
        list.iter().enumerate().filter(|(i, _)| mask >> i & 1 == 1).map(|(_, l)| l.as_str()).collect();
    let barred: Vec<&str> =
        list.iter().enumerate().filter(|(i, _)| mask >> i & 1 == 0).map(|(_, l)| l.as_str()).collect();
    if barred.len() < allowed.len() { format!("not {}", barred.join(" or ")) } else { allowed.join(" or ") }
}

fn margin(e: &Evaluation<'_>, a: NodeId, b: NodeId) -> Option<Margin> {
    let Type::Quantity(ty) = e.program.node(a).ty else { return None };
    let (Possible::Number { bounds: x, .. }, Possible::Number { bounds: y, .. }) = (e.joined(a), e.joined(b))
    else {
        return None;
    };
    let unit = [a, b].into_iter().map(|n| e.program.node(n).unit).find(|u| !u.is_empty()).unwrap_or("");
    let exact = x.is_point() && y.is_point();
    // The nearest that the two can come.
    let gap = match (x.lo, x.hi, y.lo, y.hi) {
        (Some(x_lo), _, _, Some(y_hi)) if x_lo > y_hi => x_lo.sub(y_hi)?,
        (_, Some(x_hi), Some(y_lo), _) if x_hi < y_lo => y_lo.sub(x_hi)?,
        _ => return None,
    };
    let text = show::difference(gap, ty, unit);
    Some((gap, ty, if exact { format!("by {text}") } else { format!("by at least {text}") }))
}

fn headline(
    e: &Evaluation<'_>,
    provision: &ProvisionCode,
    outcomes: Outcomes,
    leaf: Option<NodeId>,
    waived: Option<usize>,
    applies: Truth,
    (found, limit): (&str, &str),
) -> String {
    let about = |node: NodeId| -> String {
        let inner = match &e.program.node(node).code {
            Code::Compare(_, a, _) | Code::Within(a, _) | Code::Not(a) => *a,
            _ => node,
        };
        match fact_of(e, inner) {
            Some((_, fact)) => e.lexicon.facts[usize::from(fact)].info.label.clone(),
            None => e.program.node(inner).text.clone(),
        }
    };
    let one_line = |leaf: NodeId| match &e.program.node(leaf).code {
        Code::Compare(..) => format!("{} {found}, {limit}", about(leaf)),
        Code::Within(..) => format!("{}: {found}; must be {limit}", about(leaf)),
        Code::Quantified { .. } => format!("{found}; required: {limit}"),
        _ => format!("{}: {found}", about(leaf)),
    };
    match verdict(outcomes) {
        Verdict::NotApplicable => match waived {
            Some(i) => format!("waived by exception {}", provision.exceptions[i].name),
            None => match provision.when {
                Some(when) => format!("does not apply: {} is not so", e.program.node(when).text),
                None => "does not apply".to_owned(),
            },
        },
        Verdict::Undetermined if outcomes & CONFLICT != 0 => {
            let sure: Vec<String> = provision
                .exceptions
                .iter()
                .filter(|x| e.joined_truth(x.when) == T)
                .map(|x| format!("{} ({})", x.name, x.cite))
                .collect();
            format!("exceptions conflict: {}; ask the code official", sure.join(" and "))
        }
        Verdict::Undetermined => {
            let beyond = leaf.and_then(|leaf| beyond_table(e, leaf));
            let needs = crate::needed::needed(e, provision);
            let mut labels: Vec<String> = Vec::new();
            for need in &needs {
                let label = match &need.what {
                    crate::outcome::NeedWhat::Fact(name) => match e.lexicon.fact_id(name) {
                        Some(id) => e.lexicon.facts[usize::from(id)].info.label.clone(),
                        None => name.clone(),
                    },
                    crate::outcome::NeedWhat::Closing(kind) => {
                        let label =
                            e.lexicon.kind_id(kind).map(|k| &e.lexicon.kinds[usize::from(k)].info.label);
                        format!("whether that is all: {}", label.unwrap_or(kind))
                    }
                };
                if !labels.contains(&label) {
                    labels.push(label);
                }
            }
            match (beyond, labels.is_empty()) {
                (Some(table), true) => format!("beyond table {table}: it has no row for what was found"),
                (_, true) => "what is listed does not decide it".to_owned(),
                _ if labels.len() > 3 => {
                    format!("still to see: {} and {} more", labels[..2].join("; "), labels.len() - 2)
                }
                _ => format!("still to see: {}", labels.join("; ")),
            }
        }
        Verdict::Settled => "met if it applies; whether it applies need not be seen".to_owned(),
        Verdict::Complies | Verdict::Violates => match leaf {
            Some(leaf) if applies & T != 0 => one_line(leaf),
            _ => String::new(),
        },
    }
}

/// A table below this node that has no row for keys that are certain.
fn beyond_table(e: &Evaluation<'_>, node: NodeId) -> Option<String> {
    let mut out = None;
    e.program.walk(node, &mut |n| {
        if let Code::Lookup { table, keys, lattice, .. } = &e.program.node(n).code {
            let table = &e.program.tables[*table as usize];
            let keys: Vec<Possible> = keys.iter().map(|k| e.joined(*k)).collect();
            if keys.iter().all(Possible::is_certain) && table.find(&keys, lattice).beyond {
                out = Some(table.name.clone());
            }
        }
    });
    out
}

impl Reason<'_, '_> {
    fn line(&mut self, depth: u32, mark: Mark, text: &str, detail: String) {
        if self.lines.len() <= MOST_LINES {
            self.lines.push(Line { depth, mark, text: text.to_owned(), detail });
        }
    }

    fn condition(&mut self, node: NodeId, depth: u32) {
        let e = self.e;
        let shown = e.program.node(node);
        let truth = e.joined_truth(node);
        match &shown.code {
            Code::And(list) => list.iter().for_each(|n| self.condition(*n, depth)),
            Code::Or(list) => {
                self.line(depth, mark(truth), "any of", String::new());
                list.iter().for_each(|n| self.condition(*n, depth + 1));
            }
            Code::Not(a) => {
                self.line(depth, mark(truth), &shown.text, String::new());
                self.condition(*a, depth + 1);
            }
            Code::Let(a) => {
                self.line(depth, mark(truth), &shown.text, String::new());
                self.condition(*a, depth + 1);
            }
            Code::Compare(sign, a, b) => {
                let turned = if truth == F { opposite(*sign) } else { sign.sign() };
                let joint = if truth == T || truth == F { turned } else { "against" };
                let detail = if truth == V {
                    "the table has no row for what was found: not allowed".to_owned()
                } else {
                    format!("{} {joint} {}", value_text(e, *a), value_text(e, *b))
                };
                self.line(depth, mark(truth), &shown.text, detail);
                self.value(*a, depth + 1);
                self.value(*b, depth + 1);
            }
            Code::Within(a, words) => {
                let detail = format!("{}; asked: {}", value_text(e, *a), words_text(e, *a, *words));
                self.line(depth, mark(truth), &shown.text, detail);
                self.value(*a, depth + 1);
            }
            Code::KindIs(place, _) => {
                let detail = match e.subject(*place) {
                    Some(s) => e.lexicon.kinds[usize::from(e.world.subjects[s].kind)].info.label.clone(),
                    None => "none above this subject".to_owned(),
                };
                self.line(depth, mark(truth), &shown.text, detail);
            }
            Code::Fact(..) => {
                let detail = self.provenance(node);
                self.line(depth, mark(truth), &shown.text, detail);
            }
            Code::Quantified { range, has, .. } => {
                let detail = self.listed(range);
                self.line(depth, mark(truth), &shown.text, detail);
                let has = *has;
                self.each(range, depth + 1, |reason, depth| {
                    let e = reason.e;
                    let name = reason.member_name(range);
                    let one =
                        crate::possible::and(e.joined_belongs(range), has.map_or(T, |h| e.joined_truth(h)));
                    reason.line(depth, mark(one), &name, String::new());
                    if let Some(condition) = range.condition {
                        reason.condition(condition, depth + 1);
                    }
                    if let Some(has) = has {
                        reason.condition(has, depth + 1);
                    }
                });
            }
            Code::If(condition, yes, no) => {
                self.line(depth, mark(truth), &shown.text, String::new());
                self.condition(*condition, depth + 1);
                self.branches(*condition, *yes, *no, depth + 1, Self::condition);
            }
            _ => self.line(depth, mark(truth), &shown.text, String::new()),
        }
    }

    fn branches(
        &mut self,
        condition: NodeId,
        yes: NodeId,
        no: NodeId,
        depth: u32,
        tell: fn(&mut Self, NodeId, u32),
    ) {
        let truth = self.e.joined_truth(condition);
        if truth & T != 0 {
            tell(self, yes, depth);
        }
        if truth & F != 0 {
            tell(self, no, depth);
        }
    }

    fn value(&mut self, node: NodeId, depth: u32) {
        let e = self.e;
        let shown = e.program.node(node);
        let text = shown.text.as_str();
        match &shown.code {
            Code::Constant(_) | Code::KindOf(_) => {}
            Code::Limit(_, info) => {
                let detail = format!("{}, {}", value_text(e, node), e.program.limits[*info as usize].detail);
                self.line(depth, Mark::None, text, detail);
            }
            Code::Fact(..) => {
                let detail = self.provenance(node);
                self.line(depth, Mark::None, text, detail);
            }
            Code::Let(inner) => {
                let detail = value_text(e, node);
                self.line(depth, Mark::None, text, detail);
                self.operands(*inner, depth + 1);
            }
            Code::Lookup { table, keys, column, lattice } => {
                let table = &e.program.tables[*table as usize];
                let find = |e: &Evaluation<'_>| {
                    let values: Vec<Possible> = keys.iter().map(|k| e.eval(*k)).collect();
                    table.find(&values, lattice)
                };
                let found = e.in_branches(find, |mut a, b| {
                    a.rows.extend(b.rows);
                    a.rows.sort_unstable();
                    a.rows.dedup();
                    Found { rows: a.rows, beyond: a.beyond || b.beyond }
                });
                let shown_keys: Vec<String> = keys.iter().map(|k| value_text(e, *k)).collect();
                let heading = format!("{text} = {}[{}]", table.name, shown_keys.join(", "));
                let own = value_text(e, node);
                let detail = match (found.rows.as_slice(), found.beyond) {
                    ([row], false) => format!("{own}, {}", cell_source(table, *row, *column as usize)),
                    ([], true) => format!("{own}: beyond the table"),
                    (rows, beyond) => {
                        let few: Vec<&str> =
                            rows.iter().take(6).map(|r| table.rows[*r].text.as_str()).collect();
                        let more = if beyond { ", and beyond the table" } else { "" };
                        format!("{own}; rows still possible: {}{more}", few.join("; "))
                    }
                };
                self.line(depth, Mark::None, &heading, detail);
                keys.iter().for_each(|k| self.value(*k, depth + 1));
            }
            Code::Aggregated { range, over, .. } => {
                let detail = format!("{}; {}", value_text(e, node), self.listed(range));
                self.line(depth, Mark::None, text, detail);
                let over = *over;
                self.each(range, depth + 1, |reason, depth| {
                    let e = reason.e;
                    let belongs = e.joined_belongs(range);
                    if belongs == F {
                        return;
                    }
                    let name = reason.member_name(range);
                    let detail = over.map_or_else(String::new, |o| value_text(e, o));
                    reason.line(depth, mark(belongs), &name, detail);
                    if let Some(condition) = range.condition.filter(|_| belongs != T) {
                        reason.condition(condition, depth + 1);
                    }
                    if let Some(over) = over {
                        reason.value(over, depth + 1);
                    }
                });
            }
            Code::If(condition, yes, no) => {
                let detail = value_text(e, node);
                self.line(depth, Mark::None, text, detail);
                self.condition(*condition, depth + 1);
                self.branches(*condition, *yes, *no, depth + 1, Self::value);
            }
            _ => {
                let detail = value_text(e, node);
                self.line(depth, Mark::None, text, detail);
                e.program.children(node).into_iter().for_each(|n| self.operands(n, depth + 1));
            }
        }
    }

    /// The values that a sum or product is made of, without a line for every partial result.
    fn operands(&mut self, node: NodeId, depth: u32) {
        match &self.e.program.node(node).code {
            Code::Arithmetic(_, a, b) => {
                self.operands(*a, depth);
                self.operands(*b, depth);
            }
            _ => self.value(node, depth),
        }
    }

    /// What is known of a fact and who says so.
    fn provenance(&self, node: NodeId) -> String {
        let e = self.e;
        let Code::Fact(place, fact) = &e.program.node(node).code else { return String::new() };
        let Some(subject) = e.subject(*place) else {
            return "nothing of that kind stands above this subject".to_owned();
        };
        let shape = &e.lexicon.facts[usize::from(*fact)].shape;
        let told = e.world.told(subject, *fact).map_or(String::new(), |t| format!(", {t}"));
        let whose = if subject == e.frames[0].get() as usize {
            String::new()
        } else {
            format!(" ({})", e.world.subjects[subject].name)
        };
        match known(e, subject, *fact) {
            Some(Known::Seen(value)) => {
                format!("{}{told}{whose}", crate::value::spoken(e.lexicon, shape, value))
            }
            Some(Known::Disputed(values)) => {
                let list: Vec<String> =
                    values.iter().map(|v| crate::value::spoken(e.lexicon, shape, v)).collect();
                format!("disputed: {}{told}{whose}", list.join(" or "))
            }
            Some(Known::Unknown) => format!("{}{whose}", show::NOT_SEEN),
            None => "not asked of this kind".to_owned(),
        }
    }

    fn listed(&self, range: &crate::program::Range) -> String {
        let count = self.e.members(range).map_or(0, Iterator::count);
        let all = if self.e.is_complete(range) { "that is all of them" } else { "not said to be all" };
        format!("{count} listed, {all}")
    }

    fn member_name(&self, range: &crate::program::Range) -> String {
        let member = self.e.frames[usize::from(range.frame)].get() as usize;
        let own = &self.e.world.subjects[member];
        match own.parent {
            Some(parent) if self.e.subject(range.scope) != Some(parent) => {
                format!("{}, {}", own.name, self.e.world.subjects[parent].name)
            }
            _ => own.name.clone(),
        }
    }

    fn each(&mut self, range: &crate::program::Range, depth: u32, tell: impl Fn(&mut Self, u32)) {
        let members: Vec<u32> = self.e.members(range).map_or(vec![], Iterator::collect);
        for member in members.iter().take(MOST_MEMBERS) {
            self.e.frames[usize::from(range.frame)].set(*member);
            tell(self, depth);
        }
        if members.len() > MOST_MEMBERS {
            self.line(
                depth,
                Mark::None,
                &format!("and {} more", members.len() - MOST_MEMBERS),
                String::new(),
            );
        }
    }
}

fn opposite(sign: Comparison) -> &'static str {
    match sign {
        Comparison::Less => ">=",
        Comparison::AtMost => ">",
        Comparison::Equal => "<>",
        Comparison::Unequal => "=",
        Comparison::AtLeast => "<",
        Comparison::More => "<=",
    }
}

fn cell_source(table: &Table, row: usize, column: usize) -> String {
    let row = &table.rows[row];
    let base = [row.source.as_str(), table.cite.as_str()].into_iter().find(|s| !s.is_empty()).unwrap_or("");
    let mut out = format!("row {}", row.text);
    for part in [row.values[column].trail.say(base), table.basis.clone()] {
        if !part.is_empty() {
            out.push_str(&format!(", {part}"));
        }
    }
    out
}
