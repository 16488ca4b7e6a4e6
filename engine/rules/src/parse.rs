//! Items and clauses. Every clause is read on its own, so a fault in one does not hide the faults of the others.

use crate::date::Date;
use crate::diagnostic::{Fault, Faults, Span, did_you_mean};
use crate::lex::{Tok, lex};
use crate::outline::{Clause, Item, outline};
use crate::parse_expr::{Dropped, Parsed, Parser, RESERVED};
use crate::quantity::{NAMED, find_unit};
use crate::syntax::*;

/// Number of the language this engine reads.
pub(crate) const LANGUAGE: u32 = 1;

/// Reads one `.rules` file.
pub(crate) fn parse(path: &str, source: &str, file: u32, faults: &mut Faults) -> FileTree {
    let mut tree = FileTree::default();
    let folder = path.rfind('/').map_or(String::new(), |i| path[..=i].to_owned());
    for item in outline(source, file, faults) {
        let mut reader = Reader { source, item: &item, faults, folder: &folder };
        match item.keyword {
            "ruleset" => tree.rulesets.extend(reader.ruleset()),
            "kind" => tree.kinds.extend(reader.kinds()),
            "fact" => tree.facts.extend(reader.fact()),
            "enum" => tree.enums.extend(reader.enumeration()),
            "table" => tree.tables.extend(reader.table()),
            "provision" => tree.law.extend(reader.provision().map(LawItem::Provision)),
            "layer" => tree.law.extend(reader.layer().map(LawItem::Layer)),
            "amend" => tree.law.extend(reader.amend().map(LawItem::Amend)),
            "adoption" => tree.adoptions.extend(reader.adoption()),
            "case" => tree.cases.extend(reader.case()),
            _ => {}
        }
    }
    tree
}

struct Reader<'a> {
    source: &'a str,
    item: &'a Item,
    faults: &'a mut Faults,
    folder: &'a str,
}

/// Puts `value` into `slot`, or tells that the clause stands twice.
fn once<T>(faults: &mut Faults, slot: &mut Option<T>, value: T, clause: &Clause) {
    if slot.is_some() {
        faults.push(
            Fault::new("E0106", clause.at, format!("a second `{}` in one item", clause.keyword))
                .help("if this line only continues the text above, put that whole text in double quotes"),
        );
    } else {
        *slot = Some(value);
    }
}

impl Reader<'_> {
    fn prose(&self, clause: &Clause) -> Prose {
        Prose { text: clause.text(self.source), span: clause.body() }
    }

    fn parser(&mut self, clause: &Clause) -> Parser<'_> {
        let tokens = clause.tokens(self.source, self.faults);
        Parser::new(tokens, self.faults)
    }

    /// Reads a clause's body with `read` and wants nothing after it.
    fn read<T>(&mut self, clause: &Clause, read: impl FnOnce(&mut Parser<'_>) -> Parsed<T>) -> Option<T> {
        let before = self.faults.list.len();
        let mut parser = self.parser(clause);
        if parser.faults.list.len() > before {
            return None;
        }
        let out = read(&mut parser).ok()?;
        parser.expect_end().ok()?;
        Some(out)
    }

    fn clauses(&self) -> std::slice::Iter<'_, Clause> {
        self.item.clauses.iter()
    }

    fn head(&self) -> Clause {
        self.item.clauses[0].clone()
    }

    fn rest(&self) -> Vec<Clause> {
        self.item.clauses[1..].to_vec()
    }

    fn day(&mut self, clause: &Clause) -> Option<(Date, Span)> {
        self.read(clause, |p| {
            let span = p.span();
            match *p.peek() {
                Tok::Day(day) => {
                    p.advance();
                    Ok((day, span))
                }
                _ => p.fail("a date like 2026-03-01"),
            }
        })
    }

    fn ruleset(&mut self) -> Option<RulesetItem> {
        let head = self.head();
        let (id, inline_edition) = self.read(&head, |p| {
            let id = p.name("the ruleset's name")?;
            let span = p.span();
            let edition = match p.peek().clone() {
                Tok::Number(n) => Some(Prose { text: n.mixed(), span }),
                Tok::Word(w) => Some(Prose { text: w, span }),
                Tok::Day(d) => Some(Prose { text: d.to_string(), span }),
                _ => None,
            };
            if edition.is_some() {
                p.advance();
            }
            Ok((id, edition))
        })?;
        let (mut document, mut edition, mut basis, mut language) = (None, None, None, None);
        let mut requires = Vec::new();
        for clause in self.rest() {
            let prose = self.prose(&clause);
            match clause.keyword {
                "document" | "title" => once(self.faults, &mut document, prose, &clause),
                "edition" => once(self.faults, &mut edition, prose, &clause),
                "basis" => once(self.faults, &mut basis, prose, &clause),
                "requires" => {
                    requires.extend(self.read(&clause, |p| p.names("a ruleset's name")).unwrap_or_default());
                }
                _ => once(self.faults, &mut language, prose, &clause),
            }
        }
        match &language {
            None => self.faults.push(
                Fault::new("E0315", head.at, "the ruleset does not say which language it is written in")
                    .help(format!("add `language {LANGUAGE}`")),
            ),
            Some(prose) if prose.text != LANGUAGE.to_string() => {
                let newer = prose.text.parse::<u32>().is_ok_and(|n| n > LANGUAGE);
                let told =
                    format!("written in language `{}`, this engine reads language {LANGUAGE}", prose.text);
                self.faults.push(Fault::new("E0315", prose.span, told).help(if newer {
                    "install a newer version of the program, or use an older edition of the ruleset"
                } else {
                    "use an edition of the ruleset written in the language this engine reads"
                }));
            }
            Some(_) => {}
        }
        let edition = edition.or(inline_edition);
        Some(RulesetItem { id, document, edition, requires, basis, folder: self.folder.to_owned() })
    }

    fn labels(&mut self, clauses: &[Clause]) -> Vec<(Name, Prose)> {
        let mut out = Vec::new();
        for clause in clauses.iter().filter(|c| c.keyword == "label") {
            out.extend(self.read(clause, |p| {
                let name = p.name("the word that is labelled")?;
                match p.text() {
                    Some(text) => Ok((name, text)),
                    None => p.fail("the label in double quotes"),
                }
            }));
        }
        out
    }

    /// `kind a in b, c: d, e` and several kinds on one line: `kind heater in house, room in house`.
    fn kinds(&mut self) -> Vec<KindItem> {
        let head = self.head();
        let mut items = self
            .read(&head, |p| {
                let mut items = Vec::new();
                loop {
                    let name = p.name("the kind's name")?;
                    let mut item = KindItem { name, parents: vec![], narrower: vec![], labels: vec![] };
                    let mut more = false;
                    if p.eat_word("in") {
                        item.parents.push(p.name("the kind it stands in")?);
                        while p.eat_sign(",") {
                            // `, room in house` begins another kind; `, house` is a further parent.
                            if matches!(p.peek_at(1), Tok::Word(w) if w == "in") {
                                more = true;
                                break;
                            }
                            item.parents.push(p.name("the kind it stands in")?);
                        }
                    }
                    if !more && p.eat_sign(":") {
                        item.narrower = p.names("a narrower kind")?;
                    }
                    items.push(item);
                    if !more {
                        return Ok(items);
                    }
                }
            })
            .unwrap_or_default();
        let rest = self.rest();
        let labels = self.labels(&rest);
        if let Some(first) = items.first_mut() {
            first.labels = labels;
        }
        items
    }

    fn enumeration(&mut self) -> Option<EnumItem> {
        let head = self.head();
        let group = |p: &mut Parser<'_>| -> Parsed<(Name, Vec<Name>)> {
            let name = p.name("the group's name")?;
            p.expect_sign("=")?;
            let words = p.names("a word of the enumeration")?;
            Ok((name, words))
        };
        let mut item = self.read(&head, |p| {
            let name = p.name("the enumeration's name")?;
            let ordered = p.is_word("ordered") && matches!(p.peek_at(1), Tok::Word(_));
            if ordered {
                p.advance();
            }
            let words = p.names("a word")?;
            let mut groups = Vec::new();
            while matches!(p.peek(), Tok::Word(_)) {
                groups.push(group(p)?);
            }
            Ok(EnumItem { name, ordered, words, groups, labels: vec![] })
        })?;
        let rest = self.rest();
        for clause in rest.iter().filter(|c| c.keyword == "group") {
            item.groups.extend(self.read(clause, group));
        }
        item.labels = self.labels(&rest);
        Some(item)
    }

    fn fact(&mut self) -> Option<FactItem> {
        let head = self.head();
        let mut item = self.read(&head, |p| {
            let name = p.name("the fact's name")?;
            p.expect_word("on")?;
            let mut kinds = vec![p.name("a kind")?];
            while p.eat_sign(",") {
                kinds.push(p.name("a kind")?);
            }
            let ty = fact_type(p)?;
            let hint = p.text();
            Ok(FactItem { name, kinds, ty, hint, label: None, look: None })
        })?;
        if let Some(word) = item.name.text.split('.').next().filter(|w| RESERVED.contains(w)) {
            let told = format!("`{word}` has a meaning of its own and cannot begin a fact's name");
            self.faults.push(Fault::new("E0105", item.name.span, told));
        }
        for clause in self.rest() {
            let prose = self.prose(&clause);
            let slot = if clause.keyword == "label" { &mut item.label } else { &mut item.look };
            once(self.faults, slot, prose, &clause);
        }
        Some(item)
    }

    fn table(&mut self) -> Option<TableItem> {
        let head = self.head();
        let name = self.read(&head, |p| p.name("the table's name"))?;
        let mut item = TableItem { name, title: None, cite: None, basis: None };
        for clause in self.rest() {
            let prose = self.prose(&clause);
            let slot = match clause.keyword {
                "title" => &mut item.title,
                "cite" => &mut item.cite,
                _ => &mut item.basis,
            };
            once(self.faults, slot, prose, &clause);
        }
        Some(item)
    }

    fn provision(&mut self) -> Option<ProvisionItem> {
        let head = self.head();
        let id = self.read(&head, |p| p.name("the provision's id"))?;
        let rest = self.rest();
        Some(self.provision_clauses(id, &rest))
    }

    fn provision_clauses(&mut self, id: Name, clauses: &[Clause]) -> ProvisionItem {
        let mut item = ProvisionItem {
            id,
            title: None,
            cite: None,
            stages: vec![],
            kinds: vec![],
            limits: vec![],
            lets: vec![],
            when: None,
            require: None,
            exceptions: vec![],
            tell: None,
            look: None,
            why: None,
            basis: None,
            from: None,
            to: None,
            broken: false,
        };
        let mut at = 0;
        while at < clauses.len() {
            let clause = &clauses[at];
            at += 1;
            let faults_before = self.faults.list.len();
            let prose = self.prose(clause);
            match clause.keyword {
                "title" => once(self.faults, &mut item.title, prose, clause),
                "cite" => once(self.faults, &mut item.cite, prose, clause),
                "look" => once(self.faults, &mut item.look, prose, clause),
                "why" => once(self.faults, &mut item.why, prose, clause),
                "basis" => once(self.faults, &mut item.basis, prose, clause),
                "tell" => {
                    let template = self.template(clause);
                    once(self.faults, &mut item.tell, template, clause);
                }
                "stage" => item.stages.extend(self.read(clause, |p| p.names("a stage")).unwrap_or_default()),
                "for" => item.kinds.extend(self.read(clause, |p| p.names("a kind")).unwrap_or_default()),
                "limit" => item.limits.extend(self.read(clause, limit)),
                "let" => item.lets.extend(self.read(clause, |p| {
                    let name = p.name("a name")?;
                    p.expect_sign("=")?;
                    Ok(LetClause { name, value: p.expr()? })
                })),
                "when" => {
                    if let Some(value) = self.read(clause, |p| p.expr()) {
                        once(self.faults, &mut item.when, value, clause);
                    }
                }
                "require" => {
                    if let Some(value) = self.read(clause, |p| p.expr()) {
                        once(self.faults, &mut item.require, value, clause);
                    }
                }
                "from" => {
                    if let Some(day) = self.day(clause) {
                        once(self.faults, &mut item.from, day, clause);
                    }
                }
                "to" => {
                    if let Some(day) = self.day(clause) {
                        once(self.faults, &mut item.to, day, clause);
                    }
                }
                "except" => {
                    let inner: Vec<Clause> =
                        clauses[at..].iter().take_while(|c| in_exception(c.keyword)).cloned().collect();
                    at += inner.len();
                    item.exceptions.extend(self.exception(clause, &inner));
                }
                other => self.faults.push(
                    Fault::new("E0105", clause.at, format!("`{other}` has no place here"))
                        .help("`waive` stands under an `except`; operations stand in an `amend`"),
                ),
            }
            item.broken |= self.faults.list.len() > faults_before;
        }
        item
    }

    fn exception(&mut self, head: &Clause, clauses: &[Clause]) -> Option<ExceptClause> {
        let (name, over) = self.read(head, |p| {
            let name = p.name("the exception's name")?;
            let over = if p.eat_word("over") { p.names("an exception's name")? } else { vec![] };
            Ok((name, over))
        })?;
        let mut item =
            ExceptClause { name, over, cite: None, when: None, limits: vec![], require: None, waive: None };
        for clause in clauses {
            match clause.keyword {
                "cite" => {
                    let prose = self.prose(clause);
                    once(self.faults, &mut item.cite, prose, clause);
                }
                "when" => {
                    if let Some(value) = self.read(clause, |p| p.expr()) {
                        once(self.faults, &mut item.when, value, clause);
                    }
                }
                "limit" => item.limits.extend(self.read(clause, limit)),
                "require" => {
                    if let Some(value) = self.read(clause, |p| p.expr()) {
                        once(self.faults, &mut item.require, value, clause);
                    }
                }
                _ => {
                    self.read(clause, |_| Ok(()));
                    once(self.faults, &mut item.waive, clause.at, clause);
                }
            }
        }
        if item.when.is_none() {
            self.faults.push(
                Fault::new(
                    "E0107",
                    head.at,
                    format!("exception `{}` does not say when it holds", item.name.text),
                )
                .help("add `when` and its condition"),
            );
        }
        if item.require.is_none() && item.waive.is_none() && item.limits.is_empty() {
            self.faults.push(
                Fault::new("E0107", head.at, format!("exception `{}` changes nothing", item.name.text))
                    .help("add `waive`, another `require`, or a `limit` in place of the provision's"),
            );
        }
        if let (Some(waive), Some(require)) = (item.waive, &item.require) {
            self.faults.push(
                Fault::new("E0106", waive, "an exception either waives or requires something else")
                    .label(require.span, "required here"),
            );
        }
        Some(item)
    }

    /// A text with `{values}` in it.
    fn template(&mut self, clause: &Clause) -> Template {
        let mut parts = Vec::new();
        let mut text = String::new();
        let flat = |s: &str| s.split_whitespace().collect::<Vec<_>>().join(" ");
        for (start, end) in &clause.pieces {
            let mut at = *start;
            if !text.is_empty() || !parts.is_empty() {
                text.push(' ');
            }
            while let Some(open) = self.source[at..*end].find('{').map(|i| at + i) {
                text.push_str(&self.source[at..open]);
                let Some(close) = self.source[open..*end].find('}').map(|i| open + i) else {
                    let span = Span { file: clause.at.file, start: open as u32, end: open as u32 + 1 };
                    self.faults.push(Fault::new("E0216", span, "`{` without `}` on its line"));
                    at = *end;
                    break;
                };
                let mut tokens = Vec::new();
                lex(self.source, clause.at.file, open + 1, close, self.faults, &mut tokens);
                let span = Span { file: clause.at.file, start: close as u32, end: close as u32 };
                tokens.push(crate::lex::Token { tok: Tok::End, span });
                let mut parser = Parser::new(tokens, self.faults);
                if let Ok(value) = parser.expr().and_then(|v| parser.expect_end().map(|()| v)) {
                    parts.push(TemplatePart::Text(std::mem::take(&mut text)));
                    parts.push(TemplatePart::Value(value));
                }
                at = close + 1;
            }
            text.push_str(&self.source[at..*end]);
        }
        parts.push(TemplatePart::Text(text));
        let last = parts.len() - 1;
        for (i, part) in parts.iter_mut().enumerate() {
            if let TemplatePart::Text(text) = part {
                let lead = i > 0 && text.starts_with(char::is_whitespace);
                let trail = i < last && text.ends_with(char::is_whitespace);
                let mut tidy = flat(text);
                if lead && !(tidy.is_empty() && trail) {
                    tidy.insert(0, ' ');
                }
                if trail && !(i == 0 && tidy.is_empty()) {
                    tidy.push(' ');
                }
                *text = tidy;
            }
        }
        // A text wholly in quotes loses them, as other texts do.
        if let (Some(TemplatePart::Text(first)), Some(TemplatePart::Text(end))) =
            (parts.first(), parts.last())
            && first.starts_with('"')
            && end.ends_with('"')
            && (parts.len() > 1 || first.len() > 1)
        {
            if let Some(TemplatePart::Text(first)) = parts.first_mut() {
                first.remove(0);
            }
            if let Some(TemplatePart::Text(end)) = parts.last_mut() {
                end.pop();
            }
        }
        Template { parts, span: clause.body() }
    }

    fn layer(&mut self) -> Option<LayerItem> {
        let head = self.head();
        let (id, over) = self.read(&head, |p| {
            let id = p.name("the layer's name")?;
            let over = if p.eat_word("over") { p.names("a layer or ruleset")? } else { vec![] };
            Ok((id, over))
        })?;
        let mut item = LayerItem { id, over, title: None, cite: None, from: None };
        for clause in self.rest() {
            let prose = self.prose(&clause);
            match clause.keyword {
                "title" => once(self.faults, &mut item.title, prose, &clause),
                "cite" => once(self.faults, &mut item.cite, prose, &clause),
                "from" => {
                    if let Some(day) = self.day(&clause) {
                        once(self.faults, &mut item.from, day, &clause);
                    }
                }
                _ => {}
            }
        }
        Some(item)
    }

    fn amend(&mut self) -> Option<AmendItem> {
        let head = self.head();
        let (target, table) = self.read(&head, |p| {
            let table = p.is_word("table") && matches!(p.peek_at(1), Tok::Word(_));
            if table {
                p.advance();
            }
            Ok((p.name("a provision's id, or `table` and its name")?, table))
        })?;
        let mut item = AmendItem { target, table, cite: None, from: None, to: None, operations: vec![] };
        let rest = self.rest();
        let mut at = 0;
        while at < rest.len() {
            let clause = &rest[at];
            at += 1;
            match clause.keyword {
                "cite" => {
                    let prose = self.prose(clause);
                    once(self.faults, &mut item.cite, prose, clause);
                }
                "from" => {
                    if let Some(day) = self.day(clause) {
                        once(self.faults, &mut item.from, day, clause);
                    }
                }
                "to" => {
                    if let Some(day) = self.day(clause) {
                        once(self.faults, &mut item.to, day, clause);
                    }
                }
                "note" | "basis" => {}
                "add" | "replace" | "remove" | "restrict" | "renumber" => {
                    let word = clause.text(self.source);
                    let word = word.split_whitespace().next().unwrap_or("");
                    let inner: Vec<Clause> = if clause.keyword == "add" && word == "provision" {
                        rest[at..].to_vec()
                    } else if clause.keyword == "add" && word == "exception" {
                        rest[at..].iter().take_while(|c| in_exception(c.keyword)).cloned().collect()
                    } else {
                        vec![]
                    };
                    at += inner.len();
                    if let Some(operation) = self.operation(&item.target, table, clause, &inner) {
                        item.operations.push((operation, clause.span()));
                    }
                }
                other => self.faults.push(
                    Fault::new("E0105", clause.at, format!("`{other}` is no operation of an amendment"))
                        .help("write `replace`, `add`, `remove` or `restrict` before it"),
                ),
            }
        }
        Some(item)
    }

    fn operation(
        &mut self,
        target: &Name,
        table: bool,
        clause: &Clause,
        inner: &[Clause],
    ) -> Option<Operation> {
        let body =
            self.source.get(clause.body().start as usize..clause.body().end as usize).unwrap_or("").trim();
        let word = body.split_whitespace().next().unwrap_or("").to_owned();
        // The clause that follows the operation's words, for clauses that are texts.
        let inside = |skip: &str| -> Clause {
            let mut inside = clause.clone();
            if let Some(piece) = inside.pieces.iter_mut().find(|(a, b)| a < b) {
                let lead = self.source[piece.0..piece.1].find(skip).map_or(0, |i| i + skip.len());
                piece.0 += lead;
            }
            inside
        };
        if clause.keyword == "renumber" {
            return Some(Operation::ReplaceText { which: "cite", text: self.prose(clause) });
        }
        match (clause.keyword, word.as_str()) {
            ("add", "provision") => {
                let mut named = target.clone();
                let own = inside("provision");
                if !own.text(self.source).is_empty() {
                    named = self.read(&own, |p| p.name("the provision's id"))?;
                }
                Some(Operation::AddProvision(Box::new(self.provision_clauses(named, inner))))
            }
            ("add", "exception") => {
                let own = inside("exception");
                self.exception(&own, inner).map(Operation::AddException)
            }
            ("add", "row") => self.cells(&inside("row"), &[]).map(|mut c| Operation::AddRow(c.remove(0))),
            ("add", "stage") => {
                let own = inside("stage");
                self.read(&own, |p| p.names("a stage")).map(Operation::AddStage)
            }
            ("replace", "limit") => {
                let own = inside("limit");
                self.read(&own, |p| {
                    let name = p.name("the limit's name")?;
                    p.expect_word("was")?;
                    let was = p.literal()?;
                    p.expect_word("now")?;
                    Ok(Operation::ReplaceLimit { name, was, now: p.literal()? })
                })
            }
            ("replace", "cell") => self.replace_cell(&inside("cell")),
            ("replace", "when") => {
                let own = inside("when");
                self.read(&own, |p| p.expr()).map(Operation::ReplaceWhen)
            }
            ("replace", "require") => {
                let own = inside("require");
                self.read(&own, |p| p.expr()).map(Operation::ReplaceRequire)
            }
            ("replace", "for") => {
                let own = inside("for");
                self.read(&own, |p| p.names("a kind")).map(Operation::ReplaceFor)
            }
            ("replace", "stage") => {
                let own = inside("stage");
                self.read(&own, |p| p.names("a stage")).map(Operation::ReplaceStage)
            }
            ("replace", "tell") => {
                let own = inside("tell");
                Some(Operation::ReplaceTell(self.template(&own)))
            }
            ("replace", which @ ("title" | "cite" | "look" | "why")) => {
                let which = ["title", "cite", "look", "why"].into_iter().find(|w| *w == which)?;
                let own = inside(which);
                Some(Operation::ReplaceText { which, text: self.prose(&own) })
            }
            ("remove", "provision") => Some(Operation::RemoveProvision),
            ("remove", "exception") => {
                let own = inside("exception");
                self.read(&own, |p| p.name("the exception's name")).map(Operation::RemoveException)
            }
            ("remove", "row") => {
                let mut parts = self.cells(&inside("row"), &["was"])?;
                if parts.len() != 2 {
                    self.faults.push(
                        Fault::new("E0103", clause.body(), "the values the row has now are not named").help(
                            "write `remove row KEYS was VALUES`, so that a change of the base is noticed",
                        ),
                    );
                    return None;
                }
                let was = parts.remove(1);
                Some(Operation::RemoveRow { keys: parts.remove(0), was })
            }
            ("restrict", "for") => {
                let own = inside("for");
                self.read(&own, |p| p.names("a kind")).map(Operation::RestrictFor)
            }
            ("restrict", "when") => {
                let own = inside("when");
                self.read(&own, |p| p.expr()).map(Operation::RestrictWhen)
            }
            (verb, _) => {
                let known: &[&str] = match verb {
                    "add" => &["provision", "exception", "row", "stage"],
                    "replace" => &[
                        "limit", "cell", "when", "require", "for", "stage", "tell", "title", "cite", "look",
                        "why",
                    ],
                    "remove" => &["provision", "exception", "row"],
                    _ => &["for", "when"],
                };
                let of = if table { "of a table " } else { "" };
                self.faults.push(
                    Fault::new(
                        "E0105",
                        clause.body(),
                        format!("nothing {of}that one can {verb} is called `{word}`"),
                    )
                    .help(format!("{verb} {}", known.join(", ")))
                    .maybe_help(did_you_mean(&word, known.iter().copied())),
                );
                None
            }
        }
    }

    /// Cells with commas between them, cut into parts at the given words.
    fn cells(&mut self, clause: &Clause, cut_at: &[&str]) -> Option<Vec<Vec<CellText>>> {
        let body = clause.body();
        let (start, end) = (body.start as usize, body.end as usize);
        let mut parts = vec![Vec::new()];
        let mut from = start;
        let text = self.source;
        let push = |parts: &mut Vec<Vec<CellText>>, from: usize, to: usize| {
            let cell = text[from..to].trim();
            let lead = text[from..to].len() - text[from..to].trim_start().len();
            let span =
                Span { file: body.file, start: (from + lead) as u32, end: (from + lead + cell.len()) as u32 };
            if let Some(list) = parts.last_mut() {
                list.push(CellText { text: cell.to_owned(), span });
            }
        };
        let mut at = start;
        while at < end {
            if text.as_bytes()[at] == b',' {
                push(&mut parts, from, at);
                from = at + 1;
            } else if let Some(word) = cut_at.iter().find(|w| {
                text[at..end].starts_with(**w)
                    && text[..at].ends_with(char::is_whitespace)
                    && text[at + w.len()..end].starts_with(char::is_whitespace)
            }) {
                push(&mut parts, from, at);
                parts.push(Vec::new());
                at += word.len();
                from = at;
                continue;
            }
            at += text[at..].chars().next().map_or(1, char::len_utf8);
        }
        push(&mut parts, from, end);
        if parts.iter().flatten().any(|c| c.text.is_empty()) {
            self.faults.push(Fault::new("E0103", body, "a cell is empty here"));
            return None;
        }
        Some(parts)
    }

    /// `cell [keys].column was A now B`
    fn replace_cell(&mut self, clause: &Clause) -> Option<Operation> {
        let body = clause.body();
        let text = &self.source[body.start as usize..body.end as usize];
        let shape = text.find('[').zip(text.find("]."));
        let Some((open, close)) = shape.filter(|(o, c)| o < c) else {
            self.faults.push(
                Fault::new("E0103", body, "the cell is not named")
                    .help("write `cell [KEYS].COLUMN was A now B`"),
            );
            return None;
        };
        let part = |from: usize, to: usize| Clause {
            pieces: vec![(body.start as usize + from, body.start as usize + to)],
            ..clause.clone()
        };
        let keys = self.cells(&part(open + 1, close), &[])?.remove(0);
        let rest = part(close + 2, text.len());
        let words = &text[close + 2..];
        let len = words.find(char::is_whitespace).unwrap_or(words.len());
        let column = Name {
            text: words[..len].to_owned(),
            span: Span {
                file: body.file,
                start: body.start + (close + 2) as u32,
                end: body.start + (close + 2 + len) as u32,
            },
        };
        let mut parts = self.cells(&rest, &["was", "now"])?;
        if parts.len() != 3 || parts.iter().any(|p| p.len() != 1) {
            self.faults.push(
                Fault::new("E0103", body, "the cell's values before and after are not named")
                    .help("write `cell [KEYS].COLUMN was A now B`"),
            );
            return None;
        }
        let now = parts.remove(2).remove(0);
        let was = parts.remove(1).remove(0);
        Some(Operation::ReplaceCell { keys, column, was, now })
    }

    fn adoption(&mut self) -> Option<AdoptionItem> {
        let head = self.head();
        let id = self.read(&head, |p| p.name("the adoption's name"))?;
        let mut item = AdoptionItem { id, title: None, bases: vec![], layers: vec![] };
        for clause in self.rest() {
            match clause.keyword {
                "title" => {
                    let prose = self.prose(&clause);
                    once(self.faults, &mut item.title, prose, &clause);
                }
                "base" | "layer" => {
                    let read = self.read(&clause, |p| {
                        let name = p.name("its name")?;
                        // The edition after a base is for the reader.
                        if matches!(p.peek(), Tok::Number(_)) {
                            p.advance();
                        }
                        let from = if p.eat_word("from") {
                            match *p.peek() {
                                Tok::Day(day) => {
                                    p.advance();
                                    Some(day)
                                }
                                _ => return p.fail("a date like 2026-03-01"),
                            }
                        } else {
                            None
                        };
                        Ok((name, from))
                    });
                    let list = if clause.keyword == "base" { &mut item.bases } else { &mut item.layers };
                    list.extend(read);
                }
                _ => {
                    let text = clause.text(self.source);
                    if text != "date of permit application" {
                        self.faults.push(
                            Fault::new("E0105", clause.body(), format!("an adoption cannot go by `{text}`"))
                                .help("write `by date of permit application`"),
                        );
                    }
                }
            }
        }
        if item.bases.is_empty() {
            self.faults.push(
                Fault::new("E0107", item.id.span, format!("adoption `{}` has no base", item.id.text))
                    .help("add `base RULESET from DATE`"),
            );
        }
        Some(item)
    }

    /// A case may stand on several lines or on one, so its clauses are found among the tokens.
    fn case(&mut self) -> Option<CaseItem> {
        let head = self.head();
        let span = head.span();
        let mut item = CaseItem {
            title: Prose::default(),
            provision: Name { text: String::new(), span },
            under: None,
            given: vec![],
            closed: vec![],
            stage: None,
            on: None,
            expect: vec![],
            source: None,
            span,
        };
        let mut whole = true;
        for clause in self.clauses().cloned().collect::<Vec<_>>() {
            let before = self.faults.list.len();
            let source = self.source;
            let mut parser = self.parser(&clause);
            if parser.faults.list.len() > before && clause.keyword != "source" {
                whole = false;
                continue;
            }
            if clause.keyword == "source" {
                // Free text may hold signs without meaning.
                self.faults.list.truncate(before);
                item.source = Some(self.prose(&clause));
                continue;
            }
            let mut keyword = clause.keyword.to_owned();
            loop {
                if keyword == "source" {
                    let start = parser.span().start as usize;
                    let end = clause.span().end as usize;
                    let text = source[start..end].split_whitespace().collect::<Vec<_>>().join(" ");
                    item.source =
                        Some(Prose { text: text.trim_matches('"').to_owned(), span: clause.body() });
                    break;
                }
                if case_clause(&mut parser, &keyword, &mut item).is_err() {
                    whole = false;
                    break;
                }
                match parser.peek().clone() {
                    Tok::End => break,
                    Tok::Word(next)
                        if ["given", "all", "stage", "on", "under", "expect", "because", "source"]
                            .contains(&next.as_str()) =>
                    {
                        parser.advance();
                        keyword = next;
                    }
                    _ => {
                        let _: Parsed<()> = parser.fail("the next clause of the case");
                        whole = false;
                        break;
                    }
                }
            }
        }
        if whole && item.expect.is_empty() {
            self.faults.push(
                Fault::new("E0107", head.at, "the case expects nothing").help("add `expect` and a verdict"),
            );
        }
        whole.then_some(item)
    }
}

/// Clauses that belong to the exception above them.
fn in_exception(keyword: &str) -> bool {
    matches!(keyword, "cite" | "when" | "limit" | "require" | "waive")
}

fn limit(p: &mut Parser<'_>) -> Parsed<LimitClause> {
    let name = p.name("the limit's name")?;
    p.expect_sign("=")?;
    let start = p.at;
    let told = p.faults.list.len();
    let value = p.literal();
    if value.is_err() || !p.at_end() {
        // One message per cause: what is wrong is that this is no literal.
        p.faults.list.truncate(told);
        let span = p.tokens.get(start).map_or(name.span, |t| t.span);
        p.faults.push(
            Fault::new("E0211", span, format!("limit `{}` must be one literal", name.text)).help(
                "a limit is what amendments and tests address: one number with its unit; use `let` for a calculation",
            ),
        );
        return Err(Dropped);
    }
    Ok(LimitClause { name, value: value? })
}

fn fact_type(p: &mut Parser<'_>) -> Parsed<FactType> {
    let name = p.name("a type")?;
    match name.text.as_str() {
        "yesno" => return Ok(FactType::YesNo),
        "date" => return Ok(FactType::Date),
        "one" => {
            p.expect_word("of")?;
            return Ok(FactType::OneOf(p.names("a word")?));
        }
        _ => {}
    }
    if name.text == "nps" {
        // `nps 1-1/4 .. 4`: the sizes are written without repeating the unit.
        let size = |p: &mut Parser<'_>| -> Parsed<LiteralAt> {
            let span = p.span();
            let literal = p.literal()?;
            let index = match literal.value {
                Literal::Quantity { ticks, unit: None, .. } => crate::quantity::nominal_index(ticks),
                Literal::Nominal(index) => Some(index),
                _ => None,
            };
            match index {
                Some(index) => Ok(LiteralAt { value: Literal::Nominal(index), span: literal.span }),
                None => {
                    let told = "this is no nominal pipe size";
                    p.faults.push(Fault::new("E0202", span, told).help("write sizes like 1-1/4 or 2"));
                    Err(Dropped)
                }
            }
        };
        let least = size(p)?;
        p.expect_sign("..")?;
        let most = size(p)?;
        return Ok(FactType::Nominal { least, most });
    }
    let Some((_, ty)) = NAMED.iter().find(|(n, _)| *n == name.text) else {
        if matches!(p.peek(), Tok::Number(_)) {
            let known = NAMED.iter().map(|(n, _)| *n).chain(["nps", "yesno", "date"]);
            p.faults.push(
                Fault::new("E0201", name.span, format!("`{}` is no type with a range", name.text))
                    .maybe_help(did_you_mean(&name.text, known)),
            );
            return Err(Dropped);
        }
        return Ok(FactType::Enum(name));
    };
    let least = p.literal()?;
    p.expect_sign("..")?;
    let most = p.literal()?;
    let step = if p.eat_word("step") { Some(p.literal()?) } else { None };
    Ok(FactType::Quantity { ty: *ty, name: name.text, least, most, step })
}

fn case_clause(p: &mut Parser<'_>, keyword: &str, item: &mut CaseItem) -> Parsed<()> {
    match keyword {
        "case" => {
            match p.text() {
                Some(title) => item.title = title,
                None => return p.fail("the case's title in double quotes"),
            }
            p.expect_word("of")?;
            item.provision = p.name("a provision's id")?;
            if p.eat_word("under") {
                item.under = Some(p.name("an adoption's name")?);
            }
        }
        "given" => loop {
            let kind = p.name("a kind")?;
            let is_head = |p: &Parser<'_>| p.at_end() || p.is_sign(":") || p.is_word("in") || p.is_sign(",");
            let name = if is_head(p) { kind.clone() } else { p.name("a name for it")? };
            let parent = if p.eat_word("in") { Some(p.name("what it is in")?) } else { None };
            let mut facts = Vec::new();
            if p.eat_sign(":") {
                loop {
                    facts.push(given_fact(p)?);
                    if !p.eat_sign(",") {
                        break;
                    }
                }
            }
            item.given.push(GivenClause { kind, name, parent, facts });
            if !p.eat_sign(",") {
                return Ok(());
            }
        },
        "all" => loop {
            let kind = p.name("a kind")?;
            p.expect_word("in")?;
            let subject = p.name("the name of a given subject")?;
            item.closed.push((kind, subject));
            if !p.eat_sign(",") {
                return Ok(());
            }
        },
        "stage" => item.stage = Some(p.name("a stage")?),
        "under" => item.under = Some(p.name("an adoption's name")?),
        "on" => {
            let span = p.span();
            match *p.peek() {
                Tok::Day(day) => {
                    p.advance();
                    item.on = Some((day, span));
                }
                _ => return p.fail("a date like 2026-03-01"),
            }
        }
        "expect" => {
            let word = p.name("a verdict")?;
            let verdict = match word.text.as_str() {
                "complies" => Expected::Complies,
                "violates" => Expected::Violates,
                "undetermined" => Expected::Undetermined,
                "settled" => Expected::Settled,
                "not" if p.eat_word("applicable") => Expected::NotApplicable,
                _ => {
                    let known = ["complies", "violates", "undetermined", "settled", "not applicable"];
                    p.faults.push(
                        Fault::new("E0601", word.span, format!("`{}` is no verdict", word.text))
                            .help(format!("verdicts are {}", known.join(", ")))
                            .maybe_help(did_you_mean(&word.text, known)),
                    );
                    return Err(Dropped);
                }
            };
            let by = if p.eat_word("by") { Some(p.literal()?) } else { None };
            let subject = if p.eat_word("for") { Some(p.name("the name of a given subject")?) } else { None };
            item.expect.push(ExpectClause { verdict, by, subject, because: None });
        }
        "because" => {
            let Some(text) = p.text() else { return p.fail("the reason in double quotes") };
            match item.expect.last_mut() {
                Some(last) => last.because = Some(text),
                None => {
                    p.faults.push(Fault::new("E0105", text.span, "`because` stands before any `expect`"));
                    return Err(Dropped);
                }
            }
        }
        _ => return p.fail("a clause of a case"),
    }
    Ok(())
}

/// `fact = value` or `fact = {value, value}` for a disputed one. Values are kept as text: their type is the fact's.
fn given_fact(p: &mut Parser<'_>) -> Parsed<GivenFact> {
    let fact = p.name("a fact")?;
    p.expect_sign("=")?;
    let mut values = Vec::new();
    if p.eat_sign("{") {
        loop {
            values.push(given_value(p)?);
            if !p.eat_sign(",") {
                break;
            }
        }
        p.expect_sign("}")?;
    } else {
        values.push(given_value(p)?);
    }
    Ok(GivenFact { fact, values })
}

fn given_value(p: &mut Parser<'_>) -> Parsed<CellText> {
    let start = p.span();
    if let Tok::Word(word) = p.peek().clone() {
        p.advance();
        return Ok(CellText { text: word, span: start });
    }
    let literal = p.literal()?;
    Ok(CellText { text: write_literal(&literal.value), span: literal.span })
}

/// A literal as the language writes it, and reads it back.
pub(crate) fn write_literal(literal: &Literal) -> String {
    match literal {
        Literal::Quantity { ticks, unit: Some(unit), .. } => match find_unit(unit) {
            Some(unit) => unit.write(*ticks),
            None => ticks.to_string(),
        },
        Literal::Quantity { ticks, unit: None, .. } => crate::quantity::write_number(*ticks, true),
        Literal::Nominal(index) => {
            format!(
                "{} nps",
                crate::quantity::NOMINAL.get(usize::from(*index)).map_or("?", |(name, ..)| *name)
            )
        }
        Literal::Truth(true) => "yes".to_owned(),
        Literal::Truth(false) => "no".to_owned(),
        Literal::Day(day) => day.to_string(),
    }
}
