//! Expressions and literals, by recursive descent over one clause's tokens.

use crate::diagnostic::{Fault, Faults, Span};
use crate::lex::{Tok, Token};
use crate::quantity::{QuantityType, find_unit, nominal_index};
use crate::rational::Rational;
use crate::syntax::*;
use std::sync::Arc;

/// Deeper nesting than this is refused, so that no text can exhaust the stack.
pub(crate) const MOST_DEPTH: u32 = 64;

/// A fault was told; the clause is dropped.
#[derive(Debug)]
pub(crate) struct Dropped;

pub(crate) type Parsed<T> = Result<T, Dropped>;

pub(crate) struct Parser<'a> {
    pub tokens: Vec<Token>,
    pub at: usize,
    pub faults: &'a mut Faults,
    depth: u32,
}

/// Words that cannot be names of facts, lets or limits because an expression gives them a meaning.
pub(crate) const RESERVED: &[&str] = &[
    "and", "or", "not", "is", "in", "if", "then", "else", "table", "some", "every", "no", "yes", "at",
    "exactly", "where", "has", "over",
];

impl<'a> Parser<'a> {
    pub fn new(tokens: Vec<Token>, faults: &'a mut Faults) -> Parser<'a> {
        Parser { tokens, at: 0, faults, depth: 0 }
    }

    pub fn peek(&self) -> &Tok {
        self.peek_at(0)
    }

    pub fn peek_at(&self, ahead: usize) -> &Tok {
        self.tokens.get(self.at + ahead).map_or(&Tok::End, |t| &t.tok)
    }

    pub fn span(&self) -> Span {
        self.tokens.get(self.at).or(self.tokens.last()).map_or(Span::default(), |t| t.span)
    }

    pub fn last_span(&self) -> Span {
        self.tokens.get(self.at.saturating_sub(1)).map_or(Span::default(), |t| t.span)
    }

    pub fn advance(&mut self) {
        self.at += 1;
    }

    pub fn at_end(&self) -> bool {
        *self.peek() == Tok::End
    }

    pub fn is_word(&self, word: &str) -> bool {
        matches!(self.peek(), Tok::Word(w) if w == word)
    }

    pub fn eat_word(&mut self, word: &str) -> bool {
        let found = self.is_word(word);
        if found {
            self.advance();
        }
        found
    }

    pub fn is_sign(&self, sign: &str) -> bool {
        matches!(self.peek(), Tok::Sign(s) if *s == sign)
    }

    pub fn eat_sign(&mut self, sign: &str) -> bool {
        let found = self.is_sign(sign);
        if found {
            self.advance();
        }
        found
    }

    pub fn fail<T>(&mut self, expected: &str) -> Parsed<T> {
        let found = self.peek().describe();
        self.faults.push(Fault::new("E0103", self.span(), format!("expected {expected}, found {found}")));
        Err(Dropped)
    }

    pub fn expect_sign(&mut self, sign: &str) -> Parsed<()> {
        if self.eat_sign(sign) { Ok(()) } else { self.fail(&format!("`{sign}`")) }
    }

    pub fn expect_word(&mut self, word: &str) -> Parsed<()> {
        if self.eat_word(word) { Ok(()) } else { self.fail(&format!("`{word}`")) }
    }

    pub fn expect_end(&mut self) -> Parsed<()> {
        if self.at_end() { Ok(()) } else { self.fail("the end of the clause") }
    }

    pub fn name(&mut self, what: &str) -> Parsed<Name> {
        let span = self.span();
        match self.peek() {
            Tok::Word(w) => {
                let text = w.clone();
                self.advance();
                Ok(Name { text, span })
            }
            _ => self.fail(what),
        }
    }

    /// Names with commas between them.
    pub fn names(&mut self, what: &str) -> Parsed<Vec<Name>> {
        let mut out = vec![self.name(what)?];
        while self.eat_sign(",") {
            out.push(self.name(what)?);
        }
        Ok(out)
    }

    pub fn text(&mut self) -> Option<Prose> {
        let span = self.span();
        match self.peek() {
            Tok::Text(t) => {
                let text = t.clone();
                self.advance();
                Some(Prose { text, span })
            }
            _ => None,
        }
    }

    /// A literal on its own, as a limit or a range has it.
    pub fn literal(&mut self) -> Parsed<LiteralAt> {
        let start = self.span();
        let negative = self.eat_sign("-");
        let value = match self.peek().clone() {
            Tok::Number(_) => self.number(negative)?,
            Tok::Day(day) if !negative => {
                self.advance();
                Literal::Day(day)
            }
            Tok::Word(w) if !negative && (w == "yes" || w == "no") => {
                self.advance();
                Literal::Truth(w == "yes")
            }
            _ => return self.fail("a number with its unit, a date, `yes` or `no`"),
        };
        Ok(LiteralAt { value, span: start.to(self.last_span()) })
    }

    /// A number, its unit and what may follow it (`3 ft 6 in`, `23 5/8 in`); the parser stands at the number.
    fn number(&mut self, negative: bool) -> Parsed<Literal> {
        let start = self.span();
        let Tok::Number(mut value) = *self.peek() else { return self.fail("a number") };
        self.advance();
        // `23 5/8`: a fraction after a space belongs to the whole number before it.
        if let Tok::Number(part) = *self.peek()
            && value.is_whole()
            && part < Rational::ONE
            && !part.is_whole()
        {
            let Some(sum) = value.add(part) else { return self.overflow(start) };
            value = sum;
            self.advance();
        }
        if negative {
            let Some(turned) = value.neg() else { return self.overflow(start) };
            value = turned;
        }
        if self.eat_word("nps") {
            let span = start.to(self.last_span());
            return match nominal_index(value) {
                Some(index) => Ok(Literal::Nominal(index)),
                None => {
                    let sizes: Vec<&str> = crate::quantity::NOMINAL.iter().map(|(name, ..)| *name).collect();
                    self.faults.push(
                        Fault::new(
                            "E0202",
                            span,
                            format!("no pipe is made in nominal size {}", value.mixed()),
                        )
                        .help(format!("sizes are {}", sizes.join(", "))),
                    );
                    Err(Dropped)
                }
            };
        }
        let Some((unit, width)) = self.unit_ahead() else {
            return Ok(Literal::Quantity { ticks: value, ty: QuantityType::NUMBER, unit: None });
        };
        self.at += width;
        let Some(mut ticks) = unit.to_ticks(value) else { return self.overflow(start) };
        // `3 ft 6 in`
        if unit.name == "ft"
            && let Tok::Number(inches) = *self.peek()
        {
            let mark = self.at;
            self.advance();
            let mut inches = inches;
            if let Tok::Number(part) = *self.peek()
                && inches.is_whole()
                && part < Rational::ONE
            {
                inches = inches.add(part).unwrap_or(inches);
                self.advance();
            }
            match self.unit_ahead() {
                Some((second, width)) if second.name == "in" => {
                    self.at += width;
                    let more = second.to_ticks(inches).and_then(|t| if negative { t.neg() } else { Some(t) });
                    match more.and_then(|m| ticks.add(m)) {
                        Some(sum) => ticks = sum,
                        None => return self.overflow(start),
                    }
                }
                _ => self.at = mark,
            }
        }
        Ok(Literal::Quantity { ticks, ty: unit.ty, unit: Some(unit.name) })
    }

    fn overflow<T>(&mut self, start: Span) -> Parsed<T> {
        let span = start.to(self.last_span());
        self.faults.push(Fault::new("E0214", span, "this number is too large to be exact"));
        Err(Dropped)
    }

    /// The unit at this token and how many tokens it takes: `in`, `in/ft`, `%`.
    fn unit_ahead(&self) -> Option<(crate::quantity::Unit, usize)> {
        if let Tok::Sign("%") = self.peek() {
            return find_unit("%").map(|u| (*u, 1));
        }
        let Tok::Word(first) = self.peek() else { return None };
        if let (Tok::Sign("/"), Tok::Word(second)) = (self.peek_at(1), self.peek_at(2)) {
            let joined = self.tokens[self.at].span.end == self.tokens[self.at + 1].span.start
                && self.tokens[self.at + 1].span.end == self.tokens[self.at + 2].span.start;
            if joined && let Some(unit) = find_unit(&format!("{first}/{second}")) {
                return Some((*unit, 3));
            }
        }
        find_unit(first).map(|u| (*u, 1))
    }

    fn nested<T>(&mut self, inner: impl FnOnce(&mut Self) -> Parsed<T>) -> Parsed<T> {
        if self.depth >= MOST_DEPTH {
            self.faults.push(
                Fault::new("E0109", self.span(), format!("nested more than {MOST_DEPTH} deep"))
                    .help("name a part with `let`"),
            );
            return Err(Dropped);
        }
        self.depth += 1;
        let out = inner(self);
        self.depth -= 1;
        out
    }

    /// A whole expression.
    pub fn expr(&mut self) -> Parsed<Arc<Expr>> {
        self.nested(|p| p.either())
    }

    fn either(&mut self) -> Parsed<Arc<Expr>> {
        let first = self.both()?;
        if !self.is_word("or") {
            return Ok(first);
        }
        let mut list = vec![first];
        while self.eat_word("or") {
            list.push(self.both()?);
        }
        let span = list[0].span.to(list[list.len() - 1].span);
        Ok(Arc::new(Expr { kind: ExprKind::Or(list), span }))
    }

    fn both(&mut self) -> Parsed<Arc<Expr>> {
        let first = self.negation()?;
        if !self.is_word("and") {
            return Ok(first);
        }
        let mut list = vec![first];
        while self.eat_word("and") {
            list.push(self.negation()?);
        }
        let span = list[0].span.to(list[list.len() - 1].span);
        Ok(Arc::new(Expr { kind: ExprKind::And(list), span }))
    }

    fn negation(&mut self) -> Parsed<Arc<Expr>> {
        let start = self.span();
        if self.eat_word("not") {
            let inner = self.nested(|p| p.negation())?;
            let span = start.to(inner.span);
            return Ok(Arc::new(Expr { kind: ExprKind::Not(inner), span }));
        }
        if let Some(quantifier) = self.quantifier()? {
            let members = self.members(Self::negation)?;
            let has = if self.eat_word("has") { Some(self.nested(|p| p.negation())?) } else { None };
            if has.is_none() && quantifier == Quantifier::Every {
                return self.fail("`has` and what every one of them must have");
            }
            let span = start.to(self.last_span());
            return Ok(Arc::new(Expr { kind: ExprKind::Quantified { quantifier, members, has }, span }));
        }
        self.comparison()
    }

    /// `some`, `every`, `no`, `at least n`, `at most n`, `exactly n`, when a kind and `in` follow.
    fn quantifier(&mut self) -> Parsed<Option<Quantifier>> {
        let Tok::Word(word) = self.peek().clone() else { return Ok(None) };
        let simple = match word.as_str() {
            "some" => Some(Quantifier::Some),
            "every" => Some(Quantifier::Every),
            "no" => Some(Quantifier::No),
            _ => None,
        };
        if let Some(quantifier) = simple {
            if word == "no" && !matches!(self.peek_at(1), Tok::Word(w) if !RESERVED.contains(&w.as_str())) {
                return Ok(None);
            }
            self.advance();
            return Ok(Some(quantifier));
        }
        let bound: fn(u32) -> Quantifier = match (word.as_str(), self.peek_at(1)) {
            ("exactly", _) => {
                self.advance();
                Quantifier::Exactly
            }
            ("at", Tok::Word(w)) if w == "least" || w == "most" => {
                let out = if w == "least" { Quantifier::AtLeast } else { Quantifier::AtMost };
                self.at += 2;
                out
            }
            _ => return Ok(None),
        };
        match *self.peek() {
            Tok::Number(n) if n.is_whole() => match u32::try_from(n.numerator()) {
                Ok(n) => {
                    self.advance();
                    Ok(Some(bound(n)))
                }
                Err(_) => self.fail("a whole number that small"),
            },
            _ => self.fail("a whole number"),
        }
    }

    /// `condition` reads what follows `where`: inside parentheses anything, otherwise one comparison, so that an `and` after
    /// it joins the whole quantifier to what comes next.
    fn members(&mut self, condition: fn(&mut Self) -> Parsed<Arc<Expr>>) -> Parsed<Members> {
        let kind = self.name("a kind")?;
        let variable =
            if self.is_word("in") { None } else { Some(self.name("`in` or a name for the member")?) };
        self.expect_word("in")?;
        let scope = self.name("the kind or name of what they are in")?;
        let condition = if self.eat_word("where") { Some(self.nested(condition)?) } else { None };
        Ok(Members { kind, variable, scope, condition })
    }

    fn comparison(&mut self) -> Parsed<Arc<Expr>> {
        let left = self.sum()?;
        let start = left.span;
        let sign = match self.peek() {
            Tok::Sign("<") => Some(Comparison::Less),
            Tok::Sign("<=") => Some(Comparison::AtMost),
            Tok::Sign("=") => Some(Comparison::Equal),
            Tok::Sign("<>") => Some(Comparison::Unequal),
            Tok::Sign(">=") => Some(Comparison::AtLeast),
            Tok::Sign(">") => Some(Comparison::More),
            _ => None,
        };
        if let Some(sign) = sign {
            self.advance();
            let right = self.sum()?;
            if matches!(self.peek(), Tok::Sign("<" | "<=" | "=" | "<>" | ">=" | ">")) {
                self.faults.push(
                    Fault::new("E0103", self.span(), "a comparison has two sides")
                        .help("write `a <= b and b <= c`"),
                );
                return Err(Dropped);
            }
            let span = start.to(right.span);
            return Ok(Arc::new(Expr { kind: ExprKind::Compare(sign, left, right), span }));
        }
        if self.eat_word("is") {
            let negated = self.eat_word("not");
            if matches!(self.peek(), Tok::Word(w) if w == "known" || w == "unknown") {
                self.faults.push(
                    Fault::new("E0212", self.span(), "a provision cannot ask whether a thing is known")
                        .help("what is unknown leaves the verdict undetermined; ignorance never decides"),
                );
                return Err(Dropped);
            }
            if matches!(self.peek(), Tok::Sign("{")) {
                return self.words(left, negated);
            }
            let word = self.name("a word")?;
            let span = start.to(word.span);
            let kind = ExprKind::In { value: left, words: vec![word], negated, is: true };
            return Ok(Arc::new(Expr { kind, span }));
        }
        if self.is_word("in") || (self.is_word("not") && matches!(self.peek_at(1), Tok::Word(w) if w == "in"))
        {
            let negated = self.eat_word("not");
            self.expect_word("in")?;
            return self.words(left, negated);
        }
        Ok(left)
    }

    fn words(&mut self, value: Arc<Expr>, negated: bool) -> Parsed<Arc<Expr>> {
        let words = if self.eat_sign("{") {
            let words = self.names("a word")?;
            self.expect_sign("}")?;
            words
        } else {
            vec![self.name("the name of a group, or `{` and words")?]
        };
        let span = value.span.to(self.last_span());
        Ok(Arc::new(Expr { kind: ExprKind::In { value, words, negated, is: false }, span }))
    }

    fn sum(&mut self) -> Parsed<Arc<Expr>> {
        let mut left = self.product()?;
        loop {
            let sign = match self.peek() {
                Tok::Sign("+") => Arithmetic::Plus,
                Tok::Sign("-") => Arithmetic::Minus,
                _ => return Ok(left),
            };
            self.advance();
            let right = self.product()?;
            left = self.joined(sign, left, right)?;
        }
    }

    fn product(&mut self) -> Parsed<Arc<Expr>> {
        let mut left = self.factor()?;
        loop {
            let sign = match self.peek() {
                Tok::Sign("*") => Arithmetic::Times,
                Tok::Sign("/") => Arithmetic::Over,
                _ => return Ok(left),
            };
            self.advance();
            let right = self.factor()?;
            left = self.joined(sign, left, right)?;
        }
    }

    /// A long chain nests to the left, so its length counts as depth too.
    fn joined(&mut self, sign: Arithmetic, left: Arc<Expr>, right: Arc<Expr>) -> Parsed<Arc<Expr>> {
        let mut depth = 0;
        let mut walk = &left;
        while let ExprKind::Arithmetic(_, inner, _) = &walk.kind {
            depth += 1;
            walk = inner;
        }
        if depth >= MOST_DEPTH {
            let span = left.span.to(right.span);
            let told = format!("more than {MOST_DEPTH} terms in one chain");
            self.faults.push(Fault::new("E0109", span, told).help("name a part with `let`"));
            return Err(Dropped);
        }
        let span = left.span.to(right.span);
        Ok(Arc::new(Expr { kind: ExprKind::Arithmetic(sign, left, right), span }))
    }

    fn factor(&mut self) -> Parsed<Arc<Expr>> {
        let start = self.span();
        if self.is_sign("-") {
            if matches!(self.peek_at(1), Tok::Number(_)) {
                let literal = self.literal()?;
                return Ok(Arc::new(Expr { kind: ExprKind::Literal(literal.value), span: literal.span }));
            }
            self.advance();
            let inner = self.nested(|p| p.factor())?;
            let span = start.to(inner.span);
            return Ok(Arc::new(Expr { kind: ExprKind::Minus(inner), span }));
        }
        self.atom()
    }

    fn atom(&mut self) -> Parsed<Arc<Expr>> {
        let start = self.span();
        let kind = match self.peek().clone() {
            Tok::Number(_) | Tok::Day(_) => ExprKind::Literal(self.literal()?.value),
            Tok::Sign("(") => {
                self.advance();
                let inner = self.expr()?;
                self.expect_sign(")")?;
                return Ok(inner);
            }
            Tok::Word(word) => match word.as_str() {
                "yes" | "no" => {
                    self.advance();
                    ExprKind::Literal(Literal::Truth(word == "yes"))
                }
                "if" => {
                    self.advance();
                    let condition = self.expr()?;
                    self.expect_word("then")?;
                    let yes = self.expr()?;
                    self.expect_word("else")?;
                    let no = self.expr()?;
                    ExprKind::If(condition, yes, no)
                }
                "table" => {
                    self.advance();
                    let table = self.name("the name of a table")?;
                    self.expect_sign("[")?;
                    let mut keys = vec![self.expr()?];
                    while self.eat_sign(",") {
                        keys.push(self.expr()?);
                    }
                    self.expect_sign("]")?;
                    let column = if self.eat_sign(".") { Some(self.name("a column's name")?) } else { None };
                    ExprKind::Table { table, keys, column }
                }
                "count" | "sum" | "least" | "greatest" if matches!(self.peek_at(1), Tok::Sign("(")) => {
                    self.at += 2;
                    let what = match word.as_str() {
                        "count" => Aggregate::Count,
                        "sum" => Aggregate::Sum,
                        "least" => Aggregate::Least,
                        _ => Aggregate::Greatest,
                    };
                    let over = if what == Aggregate::Count {
                        None
                    } else {
                        let over = self.expr()?;
                        self.expect_word("over")?;
                        Some(over)
                    };
                    let members = self.members(Self::expr)?;
                    self.expect_sign(")")?;
                    ExprKind::Aggregated { what, over, members }
                }
                "some" | "every" | "at" | "exactly" => {
                    // A condition where a value was wanted: `if some ...` inside parentheses is read by `negation`.
                    return self.nested(|p| p.negation());
                }
                "now" | "today" => {
                    self.faults
                        .push(Fault::new("E0212", start, "a provision cannot read the clock").help(
                            "the adoption chooses the text in force by the date of permit application",
                        ));
                    return Err(Dropped);
                }
                _ if RESERVED.contains(&word.as_str()) => {
                    return self.fail("a value");
                }
                _ if matches!(self.peek_at(1), Tok::Sign("(")) => {
                    let name = Name { text: word, span: start };
                    self.at += 2;
                    let mut args = vec![self.expr()?];
                    while self.eat_sign(",") {
                        args.push(self.expr()?);
                    }
                    self.expect_sign(")")?;
                    ExprKind::Call { name, args }
                }
                _ => {
                    self.advance();
                    ExprKind::Path(word)
                }
            },
            _ => return self.fail("a value"),
        };
        Ok(Arc::new(Expr { kind, span: start.to(self.last_span()) }))
    }
}
