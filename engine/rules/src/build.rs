//! A flat text made into something that can be evaluated, with the checks that need the whole of it.

use crate::compile::{Compiler, Failed, LimitIn};
use crate::diagnostic::{Fault, Faults, did_you_mean};
use crate::eval::{Evaluation, Layout};
use crate::function::HostFunction;
use crate::law::{Flat, FlatProvision};
use crate::outcome::ProvisionInfo;
use crate::possible::{F, T};
use crate::print::print;
use crate::program::{Code, ExceptionCode, NodeId, Program, ProvisionCode, STAGES, stage_bit};
use crate::syntax::*;
use crate::trail::Trail;
use crate::vocabulary::{FactId, KindId, Lexicon, Shape, Vocabulary};
use crate::world::World;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A program and what readers want to know of its provisions.
#[derive(Debug, Clone, Default)]
pub(crate) struct Built {
    pub program: Program,
    pub infos: Vec<ProvisionInfo>,
}

pub(crate) fn build(
    flat: Flat,
    lexicon: &Arc<Lexicon>,
    functions: &[HostFunction],
    faults: &mut Faults,
) -> Built {
    let mut infos = Vec::new();
    let mut codes = Vec::new();
    let mut spans = Vec::new();
    let mut compiler = Compiler::new(lexicon, functions, flat.tables, faults);
    for provision in &flat.provisions {
        if let Some(code) = compile(&mut compiler, provision) {
            spans.push(constant_spans(provision));
            infos.push(info(provision));
            codes.push(code);
        }
    }
    let mut program = std::mem::take(&mut compiler.program);
    program.provisions = codes;
    check_constant(&program, &spans, lexicon, functions, faults);
    Built { program, infos }
}

fn info(provision: &FlatProvision) -> ProvisionInfo {
    let item = &provision.item;
    let text = |prose: &Option<Prose>| prose.as_ref().map_or(String::new(), |p| p.text.clone());
    let mut cite = text(&item.cite);
    let mut amenders: Vec<String> = Vec::new();
    let steps = provision.trails.values().flat_map(|t| &t.0).map(|s| &s.cite);
    for by in steps.chain(provision.changes.iter().map(|(_, by, _)| by)) {
        if !amenders.contains(by) && *by != cite {
            amenders.push(by.clone());
        }
    }
    if !amenders.is_empty() {
        cite.push_str(&format!("; amended by {}", amenders.join("; ")));
    }
    ProvisionInfo {
        id: item.id.text.clone(),
        title: text(&item.title),
        cite,
        stages: item.stages.iter().map(|s| s.text.clone()).collect(),
        kinds: item.kinds.iter().map(|k| k.text.clone()).collect(),
        look: text(&item.look),
        why: text(&item.why),
        basis: text(&item.basis),
    }
}

/// Tells what is missing or unknown in the clauses that are not expressions.
fn check_clauses(compiler: &mut Compiler<'_>, provision: &FlatProvision) -> Option<(Vec<KindId>, u8)> {
    let item = &provision.item;
    if !item.broken {
        let wanted = [
            ("title", item.title.is_some()),
            ("cite", item.cite.is_some()),
            ("stage", !item.stages.is_empty()),
            ("for", !item.kinds.is_empty()),
            ("require", item.require.is_some()),
        ];
        for (word, there) in wanted {
            if !there {
                let told = format!("provision `{}` has no `{word}`", item.id.text);
                compiler.faults.push(Fault::new("E0107", item.id.span, told));
            }
        }
        for (word, there) in [("tell", item.tell.is_some()), ("basis", item.basis.is_some())] {
            if !there {
                let told = format!("provision `{}` has no `{word}`", item.id.text);
                compiler.faults.push(Fault::new("E0107", item.id.span, told).warning());
            }
        }
    }
    let mut stages = 0;
    for stage in &item.stages {
        match stage_bit(&stage.text) {
            Some(bit) => stages |= bit,
            None => compiler.faults.push(
                Fault::new("E0201", stage.span, format!("there is no stage `{}`", stage.text))
                    .help(format!("stages are {}", STAGES.join(", ")))
                    .maybe_help(did_you_mean(&stage.text, STAGES.iter().copied())),
            ),
        }
    }
    let lexicon = compiler.lexicon;
    let mut kinds: Vec<KindId> = Vec::new();
    for kind in &item.kinds {
        let Some(id) = lexicon.kind_id(&kind.text) else {
            compiler.faults.push(
                Fault::new("E0201", kind.span, format!("there is no kind `{}`", kind.text))
                    .maybe_help(did_you_mean(&kind.text, lexicon.kind_names())),
            );
            continue;
        };
        for k in 0..lexicon.kinds.len() {
            let concrete = lexicon.concrete(k as KindId);
            if concrete && lexicon.is_a[k][usize::from(id)] && !kinds.contains(&(k as KindId)) {
                kinds.push(k as KindId);
            }
        }
    }
    (!kinds.is_empty()).then_some((kinds, stages))
}

fn limits<'a>(
    clauses: &'a [LimitClause],
    prefix: &str,
    cite: &str,
    trails: &BTreeMap<String, Trail>,
) -> Vec<LimitIn<'a>> {
    clauses
        .iter()
        .map(|clause| {
            let detail = match trails.get(&format!("{prefix}{}", clause.name.text)) {
                Some(trail) => trail.say(cite),
                None => cite.to_owned(),
            };
            LimitIn { clause, detail }
        })
        .collect()
}

fn compile(compiler: &mut Compiler<'_>, provision: &FlatProvision) -> Option<ProvisionCode> {
    let item = &provision.item;
    let (kinds, stages) = check_clauses(compiler, provision)?;
    let cite = item.cite.as_ref().map_or("", |c| c.text.as_str());
    let met_before = compiler.faults.met;
    compiler.begin(kinds.clone());
    let own = limits(&item.limits, "", cite, &provision.trails);
    for limit in &own {
        compiler.limit(limit, false);
    }
    for clause in &item.lets {
        compiler.define(clause);
    }
    let when = item.when.as_ref().map(|w| compiler.condition(w));
    let require = item.require.as_ref().map(|r| compiler.condition(r));
    let mut exceptions: Vec<Result<ExceptionCode, Failed>> = Vec::new();
    for exception in &item.exceptions {
        exceptions.push(compile_exception(compiler, provision, exception));
    }
    let tell = item.tell.as_ref().map_or(vec![], |t| compiler.template(t));
    let understood = !item.broken && compiler.faults.met == met_before;
    compiler.finish_names(understood);
    let mut by_kind = vec![false; compiler.lexicon.kinds.len()];
    kinds.iter().for_each(|k| by_kind[usize::from(*k)] = true);
    let when = when.transpose().ok()?;
    let require = require?.ok()?;
    let mut exceptions: Vec<ExceptionCode> = exceptions.into_iter().collect::<Result<_, _>>().ok()?;
    priorities(compiler, item, &mut exceptions);
    let split = read_twice(compiler, when, require, &exceptions);
    Some(ProvisionCode { kinds: by_kind, stages, when, require, exceptions, tell, split })
}

fn compile_exception(
    compiler: &mut Compiler<'_>,
    provision: &FlatProvision,
    exception: &ExceptClause,
) -> Result<ExceptionCode, Failed> {
    let item = &provision.item;
    let cite = exception.cite.as_ref().or(item.cite.as_ref()).map_or("", |c| c.text.as_str());
    let own = limits(&exception.limits, &format!("{}.", exception.name.text), cite, &provision.trails);
    compiler.with_limits(&own, &item.lets, |compiler| {
        let when = exception.when.as_ref().map(|w| compiler.condition(w));
        let require = match (&exception.require, exception.waive) {
            (Some(require), _) => Some(compiler.condition(require)),
            (None, Some(_)) => None,
            (None, None) => item.require.as_ref().map(|r| compiler.condition(r)),
        };
        Ok(ExceptionCode {
            name: exception.name.text.clone(),
            cite: cite.to_owned(),
            when: when.unwrap_or(Err(Failed))?,
            over: vec![],
            require: require.transpose()?,
        })
    })
}

/// Which exceptions go over which, transitively; circles and unknown names are told.
fn priorities(compiler: &mut Compiler<'_>, item: &ProvisionItem, exceptions: &mut [ExceptionCode]) {
    let n = exceptions.len();
    let mut over = vec![vec![false; n]; n];
    for (i, exception) in item.exceptions.iter().enumerate() {
        for name in &exception.over {
            match item.exceptions.iter().position(|e| e.name.text == name.text) {
                Some(j) if j != i => over[i][j] = true,
                _ => {
                    let known = item
                        .exceptions
                        .iter()
                        .map(|e| e.name.text.as_str())
                        .filter(|e| *e != exception.name.text);
                    compiler.faults.push(
                        Fault::new(
                            "E0501",
                            name.span,
                            format!("there is no other exception `{}`", name.text),
                        )
                        .maybe_help(did_you_mean(&name.text, known)),
                    );
                }
            }
        }
        if let Some(j) = item.exceptions[..i].iter().position(|e| e.name.text == exception.name.text) {
            compiler.faults.push(
                Fault::new(
                    "E0217",
                    exception.name.span,
                    format!("exception `{}` stands twice", exception.name.text),
                )
                .label(item.exceptions[j].name.span, "first here"),
            );
        }
    }
    for via in 0..n {
        for a in 0..n {
            if over[a][via] {
                let reached = over[via].clone();
                for (over, through) in over[a].iter_mut().zip(reached) {
                    *over |= through;
                }
            }
        }
    }
    if let Some(i) = (0..n).find(|i| over[*i][*i]) {
        let told = format!("exception `{}` would go over itself", item.exceptions[i].name.text);
        compiler.faults.push(Fault::new("E0501", item.exceptions[i].name.span, told));
    }
    for (exception, row) in exceptions.iter_mut().zip(over) {
        exception.over = row;
    }
    for i in 0..n {
        for j in i + 1..n {
            let ranked = exceptions[i].over[j] || exceptions[j].over[i];
            let differ = exceptions[i].require.is_some() || exceptions[j].require.is_some();
            if !ranked && differ && !apart(&compiler.program, exceptions[i].when, exceptions[j].when) {
                let (a, b) = (&item.exceptions[i], &item.exceptions[j]);
                let example = match (&a.when, &b.when) {
                    (Some(a), Some(b)) => format!("for example when {} and {}", print(a), print(b)),
                    _ => String::new(),
                };
                compiler.faults.push(
                    Fault::new(
                        "E0502",
                        b.name.span,
                        format!(
                            "exceptions `{}` and `{}` may both hold and require different things",
                            a.name.text, b.name.text
                        ),
                    )
                    .here(example)
                    .label(a.name.span, "the other one")
                    .help(format!(
                        "write `except {} over {}`, or make their conditions exclude each other",
                        b.name.text, a.name.text
                    ))
                    .warning(),
                );
            }
        }
    }
}

/// Whether two conditions surely exclude each other: one asks for words or ranges of a fact that the other rules out.
fn apart(program: &Program, a: NodeId, b: NodeId) -> bool {
    let parts = |node: NodeId| -> Vec<NodeId> {
        match &program.node(node).code {
            Code::And(list) => list.to_vec(),
            _ => vec![node],
        }
    };
    parts(a).iter().any(|x| {
        parts(b).iter().any(|y| match (&program.node(*x).code, &program.node(*y).code) {
            (Code::Within(f, m), Code::Within(g, n)) => {
                program.node(*f).text == program.node(*g).text && m & n == 0
            }
            (Code::KindIs(p, k), Code::KindIs(q, l)) => {
                p == q && !k.iter().zip(l.iter()).any(|(a, b)| *a && *b)
            }
            (Code::Not(x), _) if program.node(*x).text == program.node(*y).text => true,
            (_, Code::Not(y)) if program.node(*x).text == program.node(*y).text => true,
            (Code::Compare(s, f, l), Code::Compare(t, g, m))
                if program.node(*f).text == program.node(*g).text =>
            {
                use Comparison::{AtLeast, AtMost, Equal, Less, More};
                match (&program.node(*l).code, &program.node(*m).code) {
                    (Code::Constant(l) | Code::Limit(l, _), Code::Constant(m) | Code::Limit(m, _)) => {
                        let less = crate::possible::compare(Less, l, m) == T;
                        let more = crate::possible::compare(More, l, m) == T;
                        let equal = !less && !more;
                        match (s, t) {
                            (Less | AtMost | Equal, More | AtLeast | Equal) if less => true,
                            (More | AtLeast | Equal, Less | AtMost | Equal) if more => true,
                            (Less, AtLeast | More | Equal) | (AtLeast | More | Equal, Less) => equal,
                            (More, AtMost | Equal) | (AtMost | Equal, More) => equal,
                            _ => false,
                        }
                    }
                    _ => false,
                }
            }
            _ => false,
        })
    })
}

/// Yes/no facts and short enumerations read more than once, in the text or by a quantifier's turning round.
fn read_twice(
    compiler: &Compiler<'_>,
    when: Option<NodeId>,
    require: NodeId,
    exceptions: &[ExceptionCode],
) -> Vec<FactId> {
    let program = &compiler.program;
    let mut seen = Vec::new();
    let mut twice = Vec::new();
    let roots = when
        .into_iter()
        .chain([require])
        .chain(exceptions.iter().flat_map(|e| [Some(e.when), e.require]).flatten());
    for root in roots {
        reads_below(program, root, 0, &mut |fact, again| {
            let short = match &compiler.lexicon.facts[usize::from(fact)].shape {
                Shape::Truth => true,
                Shape::Words(id) => compiler.lexicon.words[usize::from(*id)].words.len() <= 8,
                _ => false,
            };
            if short && (again || seen.contains(&fact)) && !twice.contains(&fact) {
                twice.push(fact);
            }
            seen.push(fact);
        });
    }
    twice
}

/// Visits every fact read, telling whether one reading may meet the same subject more than once: within a quantifier, of a
/// subject that is not its own member.
fn reads_below(program: &Program, node: NodeId, depth: u8, visit: &mut dyn FnMut(FactId, bool)) {
    let depth = match &program.node(node).code {
        Code::Fact(place, fact) => {
            visit(*fact, depth > 0 && (place.frame < depth || place.up.is_some() || depth > 1));
            depth
        }
        Code::Quantified { range, .. } | Code::Aggregated { range, .. } => range.frame,
        _ => depth,
    };
    for child in program.children(node) {
        reads_below(program, child, depth, visit);
    }
}

fn constant_spans(provision: &FlatProvision) -> (crate::diagnostic::Span, crate::diagnostic::Span) {
    let item = &provision.item;
    let at = |e: &Option<Arc<Expr>>| e.as_ref().map_or(item.id.span, |e| e.span);
    (at(&item.when), at(&item.require))
}

/// Conditions that declared ranges alone decide, whatever is seen.
fn check_constant(
    program: &Program,
    spans: &[(crate::diagnostic::Span, crate::diagnostic::Span)],
    lexicon: &Arc<Lexicon>,
    functions: &[HostFunction],
    faults: &mut Faults,
) {
    for (provision, (when_at, require_at)) in program.provisions.iter().zip(spans) {
        let mut outcomes = [0u8; 2];
        for kind in (0..lexicon.kinds.len()).filter(|k| provision.kinds[*k]) {
            let mut world = World::new(&Vocabulary(Arc::clone(lexicon)));
            if world.add("it", &lexicon.kinds[kind].info.name, None).is_err() {
                continue;
            }
            let layout = Layout::new(&world);
            let evaluation = Evaluation::new(program, functions, lexicon, &world, &layout);
            outcomes[0] |= provision.when.map_or(T | F, |w| evaluation.truth(w));
            outcomes[1] |= evaluation.truth(provision.require);
        }
        for (outcome, at, what) in
            [(outcomes[0], when_at, "condition"), (outcomes[1], require_at, "requirement")]
        {
            if outcome == T || outcome == F {
                let word = if outcome == T { "always" } else { "never" };
                faults.push(
                    Fault::new("E0215", *at, format!("this {what} {word} holds, whatever is seen"))
                        .help("compare the limit with the range declared for the fact")
                        .warning(),
                );
            }
        }
    }
}
