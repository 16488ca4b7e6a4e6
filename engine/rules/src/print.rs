//! Expressions in their canonical writing: what reasons quote and what the digest is taken over.

use crate::parse::write_literal;
use crate::syntax::*;

/// How tightly an expression binds, loosest first.
fn rank(kind: &ExprKind) -> u8 {
    match kind {
        ExprKind::If(..) => 0,
        ExprKind::Or(_) => 1,
        ExprKind::And(_) => 2,
        ExprKind::Not(_) | ExprKind::Quantified { .. } => 3,
        ExprKind::Compare(..) | ExprKind::In { .. } => 4,
        ExprKind::Arithmetic(Arithmetic::Plus | Arithmetic::Minus, ..) => 5,
        ExprKind::Arithmetic(..) => 6,
        ExprKind::Minus(_) => 7,
        _ => 8,
    }
}

pub(crate) fn print(expr: &Expr) -> String {
    let mut out = String::new();
    write(expr, &mut out);
    out
}

fn inner(expr: &Expr, least: u8, out: &mut String) {
    if rank(&expr.kind) < least {
        out.push('(');
        write(expr, out);
        out.push(')');
    } else {
        write(expr, out);
    }
}

fn joined(list: &[std::sync::Arc<Expr>], word: &str, least: u8, out: &mut String) {
    for (i, item) in list.iter().enumerate() {
        if i > 0 {
            out.push_str(word);
        }
        inner(item, least, out);
    }
}

fn write(expr: &Expr, out: &mut String) {
    match &expr.kind {
        ExprKind::Literal(literal) => out.push_str(&write_literal(literal)),
        ExprKind::Path(path) => out.push_str(path),
        ExprKind::Not(a) => {
            out.push_str("not ");
            inner(a, 3, out);
        }
        ExprKind::And(list) => joined(list, " and ", 3, out),
        ExprKind::Or(list) => joined(list, " or ", 2, out),
        ExprKind::Compare(sign, a, b) => {
            inner(a, 5, out);
            out.push_str(&format!(" {} ", sign.sign()));
            inner(b, 5, out);
        }
        ExprKind::In { value, words, negated, is } => {
            inner(value, 5, out);
            out.push_str(match (is, negated) {
                (true, false) => " is ",
                (true, true) => " is not ",
                (false, false) => " in ",
                (false, true) => " not in ",
            });
            let list: Vec<&str> = words.iter().map(|w| w.text.as_str()).collect();
            if *is || list.len() == 1 {
                out.push_str(&list.join(", "));
            } else {
                out.push_str(&format!("{{{}}}", list.join(", ")));
            }
        }
        ExprKind::Arithmetic(sign, a, b) => {
            let own = rank(&expr.kind);
            inner(a, own, out);
            out.push_str(&format!(" {} ", sign.sign()));
            inner(b, own + 1, out);
        }
        ExprKind::Minus(a) => {
            out.push_str("- ");
            inner(a, 8, out);
        }
        ExprKind::If(c, a, b) => {
            out.push_str("if ");
            write(c, out);
            out.push_str(" then ");
            write(a, out);
            out.push_str(" else ");
            write(b, out);
        }
        ExprKind::Table { table, keys, column } => {
            out.push_str(&format!("table {}[", table.text));
            joined(keys, ", ", 0, out);
            out.push(']');
            if let Some(column) = column {
                out.push_str(&format!(".{}", column.text));
            }
        }
        ExprKind::Call { name, args } => {
            out.push_str(&format!("{}(", name.text));
            joined(args, ", ", 0, out);
            out.push(')');
        }
        ExprKind::Quantified { quantifier, members: list, has } => {
            out.push_str(&match quantifier {
                Quantifier::Some => "some ".to_owned(),
                Quantifier::Every => "every ".to_owned(),
                Quantifier::No => "no ".to_owned(),
                Quantifier::AtLeast(n) => format!("at least {n} "),
                Quantifier::AtMost(n) => format!("at most {n} "),
                Quantifier::Exactly(n) => format!("exactly {n} "),
            });
            members(list, 3, out);
            if let Some(has) = has {
                out.push_str(" has ");
                inner(has, 3, out);
            }
        }
        ExprKind::Aggregated { what, over, members: list } => {
            out.push_str(&format!("{}(", what.word()));
            if let Some(over) = over {
                write(over, out);
                out.push_str(" over ");
            }
            members(list, 0, out);
            out.push(')');
        }
    }
}

fn members(list: &Members, least: u8, out: &mut String) {
    out.push_str(&list.kind.text);
    if let Some(variable) = &list.variable {
        out.push_str(&format!(" {}", variable.text));
    }
    out.push_str(&format!(" in {}", list.scope.text));
    if let Some(condition) = &list.condition {
        out.push_str(" where ");
        inner(condition, least, out);
    }
}
