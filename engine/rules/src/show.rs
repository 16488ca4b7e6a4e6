//! How values read to a person.

use crate::date::Date;
use crate::possible::{Bounds, F, Possible, T, U};
use crate::program::Type;
use crate::quantity::{NOMINAL, QuantityType, Tag, Unit, find_unit, usual_unit, write_number};
use crate::rational::Rational;
use crate::vocabulary::Lexicon;

/// What is said of a value of which nothing is known.
pub(crate) const NOT_SEEN: &str = "not seen";

fn unit_for(ty: QuantityType, unit: &str) -> Option<&'static Unit> {
    find_unit(unit).filter(|u| u.ty == ty).or_else(|| usual_unit(ty))
}

/// A quantity in a unit, exact where it can be written so.
pub(crate) fn quantity(ticks: Rational, ty: QuantityType, unit: &str) -> String {
    if ty == QuantityType::NUMBER {
        return write_number(ticks, true);
    }
    let Some(unit) = unit_for(ty, unit) else { return format!("{ticks}") };
    match unit.of_ticks(ticks) {
        Some(value) => format!("{} {}", rounded(value, unit.fractions), unit.name),
        None => "too large".to_owned(),
    }
}

/// The size of a difference: of temperatures, without the scale's offset.
pub(crate) fn difference(ticks: Rational, ty: QuantityType, unit: &str) -> String {
    let Some(unit) = unit_for(ty, unit).filter(|_| ty != QuantityType::NUMBER) else {
        return write_number(ticks, true);
    };
    let offset = if ty.tag == Tag::Point { unit.to_ticks(Rational::ZERO) } else { None };
    let value = match offset {
        Some(offset) => ticks.add(offset).and_then(|t| unit.of_ticks(t)),
        None => unit.of_ticks(ticks),
    };
    value.map_or_else(|| "too much".to_owned(), |v| format!("{} {}", rounded(v, unit.fractions), unit.name))
}

fn rounded(value: Rational, fractions: bool) -> String {
    let tape = fractions && value.denominator() <= 64 && value.denominator().unsigned_abs().is_power_of_two();
    if tape || value.decimal(4).is_some() {
        return write_number(value, fractions);
    }
    format!("about {:.2}", value.approximate())
}

/// A value that may still be several.
pub(crate) fn possible(value: &Possible, ty: Type, unit: &str, lexicon: &Lexicon, labels: bool) -> String {
    match (value, ty) {
        (Possible::Truth(t), _) => match *t & U {
            T => "yes".to_owned(),
            F => "no".to_owned(),
            0 => "beyond the table".to_owned(),
            _ => NOT_SEEN.to_owned(),
        },
        (Possible::Number { bounds, .. }, Type::Date) => {
            let day = |v: Rational| i32::try_from(v.floor()).ok().and_then(Date::from_number);
            match (bounds.is_point(), bounds.lo.and_then(day)) {
                (true, Some(day)) => day.to_string(),
                _ => NOT_SEEN.to_owned(),
            }
        }
        (Possible::Number { bounds, .. }, Type::Quantity(q)) => range(bounds, |v| quantity(v, q, unit)),
        (Possible::Words { mask, .. }, Type::Nominal) => {
            words(*mask, NOMINAL.len(), |i| format!("{} in nominal", NOMINAL[i].0))
        }
        (Possible::Words { mask, .. }, Type::Words(id)) => {
            let list = &lexicon.words[usize::from(id)].words;
            words(*mask, list.len(), |i| if labels { list[i].1.clone() } else { list[i].0.clone() })
        }
        (Possible::Kind(Some(kind)), _) => lexicon.kinds[usize::from(*kind)].info.label.clone(),
        (Possible::Fails, _) => "beyond the table".to_owned(),
        _ => NOT_SEEN.to_owned(),
    }
}

fn range(bounds: &Bounds, say: impl Fn(Rational) -> String) -> String {
    match (bounds.lo, bounds.hi) {
        (Some(lo), Some(hi)) if lo == hi => say(lo),
        (Some(lo), Some(hi)) => {
            let (lo, hi) = (say(lo), say(hi));
            // Bounds of a formula may differ in places that nobody reads.
            if lo == hi { lo } else { format!("{lo} to {hi}") }
        }
        (Some(lo), None) => format!("at least {}", say(lo)),
        (None, Some(hi)) => format!("at most {}", say(hi)),
        (None, None) => "not known".to_owned(),
    }
}

fn words(mask: u64, count: usize, say: impl Fn(usize) -> String) -> String {
    let list: Vec<String> = (0..count.min(64)).filter(|i| mask >> i & 1 == 1).map(say).collect();
    match list.as_slice() {
        [] => "beyond the table".to_owned(),
        [one] => one.clone(),
        few if few.len() <= 3 && few.len() < count => few.join(" or "),
        _ => NOT_SEEN.to_owned(),
    }
}
