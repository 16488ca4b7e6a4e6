//! What a sync message unpacks to, before it is unpacked.
//!
//! Two things in a message can stand for much more than its bytes: DEFLATE streams, and run lengths, by which a column
//! of a few bytes repeats one operation any number of times. Both are added up here by reading the packed form.

use std::io::Read;

use automerge::sync::Message;

use super::{Limits, Refusal};
use crate::chunks::chunk_header;

/// Refuses a message that would unpack to more than `limits` allow.
///
/// # Errors
/// [`Refusal`] of the message as a whole.
pub fn weigh(message: &Message, limits: &Limits) -> Result<(), Refusal> {
    let mut scales =
        Scales { bytes_left: limits.unpacked_bytes, operations_left: limits.unpacked_operations };
    for bytes in message.changes.iter() {
        let mut at = 0;
        // Where no chunk begins, loading ends: nothing behind it is unpacked.
        while let Some(header) = chunk_header(bytes, at) {
            let Some(data) = bytes.get(header.data.clone()) else { break };
            scales.chunk(header.kind, data).ok_or_else(|| too_much(limits))?;
            at = header.data.end;
        }
    }
    Ok(())
}

fn too_much(limits: &Limits) -> Refusal {
    Refusal::whole(
        format!(
            "The message would unpack to more than {} bytes or {} operations.",
            limits.unpacked_bytes, limits.unpacked_operations
        ),
        "Ask your office to export the job from this device.",
    )
}

/// What may still be unpacked. Every method answers `None` when it would be more.
struct Scales {
    bytes_left: usize,
    operations_left: u64,
}

impl Scales {
    fn chunk(&mut self, kind: u8, data: &[u8]) -> Option<()> {
        match kind {
            0 => self.document(data),
            1 => {
                self.bytes(data.len())?;
                self.change(data)
            }
            2 => {
                let change = self.inflate(data)?;
                self.change(&change)
            }
            // A bundle may be packed in ways of its own, and no client sends one.
            _ => None,
        }
    }

    fn bytes(&mut self, count: usize) -> Option<()> {
        self.bytes_left = self.bytes_left.checked_sub(count)?;
        Some(())
    }

    /// Unpacks a DEFLATE stream. A broken stream ends where it breaks; loading will refuse it.
    fn inflate(&mut self, data: &[u8]) -> Option<Vec<u8>> {
        let limit = u64::try_from(self.bytes_left).ok()?.checked_add(1)?;
        let mut unpacked = Vec::new();
        let _ = flate2::bufread::DeflateDecoder::new(data).take(limit).read_to_end(&mut unpacked);
        self.bytes(unpacked.len())?;
        Some(unpacked)
    }

    /// A change: dependencies, actor, sequence number, first operation, time, message, other actors, columns.
    fn change(&mut self, data: &[u8]) -> Option<()> {
        let mut rest = data;
        // One that ends early is not a change, and loading will refuse it.
        let columns = change_columns(&mut rest).unwrap_or_default();
        self.columns(&columns, rest)
    }

    /// A document: actors, heads, then the specifications of two sets of columns and their data. A column with the
    /// DEFLATE bit in its specification is packed.
    fn document(&mut self, data: &[u8]) -> Option<()> {
        let mut rest = data;
        let columns = document_columns(&mut rest).unwrap_or_default();
        self.bytes(data.len())?;
        self.columns(&columns, rest)
    }

    fn columns(&mut self, columns: &[(u64, usize)], mut rest: &[u8]) -> Option<()> {
        let mut longest = 0;
        for &(specification, length) in columns {
            let (column, after) = rest.split_at(length.min(rest.len()));
            rest = after;
            let rows = if specification & 0b1000 == 0 {
                rows(specification, column)
            } else {
                rows(specification, &self.inflate(column)?)
            };
            longest = longest.max(rows);
        }
        self.operations_left = self.operations_left.checked_sub(longest)?;
        Some(())
    }
}

fn change_columns(rest: &mut &[u8]) -> Option<Vec<(u64, usize)>> {
    let dependencies = length(rest)?;
    skip(rest, dependencies.checked_mul(32)?)?;
    prefixed(rest)?;
    for _ in 0..3 {
        // The time is signed, which takes the same bytes.
        leb(rest)?;
    }
    prefixed(rest)?;
    let actors = length(rest)?;
    for _ in 0..actors {
        prefixed(rest)?;
    }
    specifications(rest)
}

fn document_columns(rest: &mut &[u8]) -> Option<Vec<(u64, usize)>> {
    let actors = length(rest)?;
    for _ in 0..actors {
        prefixed(rest)?;
    }
    let heads = length(rest)?;
    skip(rest, heads.checked_mul(32)?)?;
    let mut columns = specifications(rest)?;
    columns.extend(specifications(rest)?);
    Some(columns)
}

/// Specification and length of each column.
fn specifications(rest: &mut &[u8]) -> Option<Vec<(u64, usize)>> {
    let count = length(rest)?;
    if count > rest.len() {
        return None;
    }
    (0..count).map(|_| Some((leb(rest)?, length(rest)?))).collect()
}

/// How many rows a column has, as far as it can be read: a count in front of one value that is repeated, a negative
/// count in front of so many values, or zero and a count of rows without a value.
fn rows(specification: u64, column: &[u8]) -> u64 {
    let mut rest = column;
    let mut total = 0u64;
    let kind = specification & 0b111;
    match kind {
        // Bytes of values: as many as there are.
        7 => {}
        // Runs of false and true in turn.
        4 => {
            while let Some(run) = leb(&mut rest) {
                total = total.saturating_add(run);
            }
        }
        _ => {
            let value = |rest: &mut &[u8]| if kind == 5 { prefixed(rest) } else { leb(rest).map(|_| ()) };
            while let Some(count) = signed(&mut rest) {
                total = total.saturating_add(count.unsigned_abs());
                let read = match count {
                    0 => leb(&mut rest).map(|nulls| total = total.saturating_add(nulls)),
                    1.. => value(&mut rest),
                    // Every value takes a byte at least, so that this ends with the column.
                    _ => (0..count.unsigned_abs()).try_for_each(|_| value(&mut rest).ok_or(())).ok(),
                };
                if read.is_none() {
                    break;
                }
            }
        }
    }
    total
}

fn skip(rest: &mut &[u8], bytes: usize) -> Option<()> {
    *rest = rest.get(bytes..)?;
    Some(())
}

fn prefixed(rest: &mut &[u8]) -> Option<()> {
    let bytes = length(rest)?;
    skip(rest, bytes)
}

fn length(rest: &mut &[u8]) -> Option<usize> {
    usize::try_from(leb(rest)?).ok()
}

/// An unsigned number in LEB128.
fn leb(rest: &mut &[u8]) -> Option<u64> {
    let mut value = 0u64;
    for i in 0..10u32 {
        let (first, after) = rest.split_first()?;
        *rest = after;
        value |= u64::from(first & 0x7f).checked_shl(7 * i).unwrap_or(0);
        if first & 0x80 == 0 {
            return Some(value);
        }
    }
    None
}

/// A signed number in LEB128.
fn signed(rest: &mut &[u8]) -> Option<i64> {
    let before = rest.len();
    let raw = leb(rest)?;
    let bits = u32::try_from(7 * (before - rest.len())).ok()?;
    if bits >= 64 {
        return Some(raw.cast_signed());
    }
    let negative = raw >> (bits - 1) & 1 == 1;
    Some(if negative { (raw | u64::MAX << bits).cast_signed() } else { raw.cast_signed() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(count: i64) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut left = count;
        loop {
            let byte = u8::try_from(left & 0x7f).unwrap();
            left >>= 7;
            let done = (left == 0 && byte & 0x40 == 0) || (left == -1 && byte & 0x40 != 0);
            bytes.push(if done { byte } else { byte | 0x80 });
            if done {
                return bytes;
            }
        }
    }

    #[test]
    fn signed_numbers_read_back() {
        for n in [0, 1, -1, 63, 64, -64, -65, 300, -300, i64::from(u32::MAX), 1 << 50, -(1 << 50)] {
            let bytes = run(n);
            assert_eq!(signed(&mut &bytes[..]), Some(n));
        }
    }

    #[test]
    fn run_lengths_are_added_up() {
        let integers = [run(1 << 40), vec![7], run(-2), vec![1, 2], run(0), vec![5]].concat();
        assert_eq!(rows(2, &integers), (1 << 40) + 2 + 5);
        let strings = [run(3), vec![2, b'a', b'b'], run(-1), vec![1, b'c']].concat();
        assert_eq!(rows(5, &strings), 4);
        assert_eq!(rows(4, &[3, 4, 0x80, 1]), 3 + 4 + 128);
        assert_eq!(rows(7, &[9, 9, 9]), 0);
    }

    #[test]
    fn a_run_that_ends_early_counts_and_ends() {
        assert_eq!(rows(2, &run(-(1 << 40))), 1 << 40);
        assert_eq!(rows(2, &run(1 << 62)), 1 << 62);
        assert_eq!(rows(2, &[0x80]), 0);
    }
}
