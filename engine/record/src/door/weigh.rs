//! What a sync message unpacks to, before it is unpacked.

use std::io::Read;

use automerge::sync::Message;

use super::{Limits, Refusal};
use crate::chunks::chunk_header;

/// Refuses a message that would unpack to more than `limits` allow. Reads the packed parts without keeping them.
///
/// # Errors
/// [`Refusal`] of the message as a whole.
pub fn weigh(message: &Message, limits: &Limits) -> Result<(), Refusal> {
    let mut left = limits.unpacked_bytes;
    for bytes in message.changes.iter() {
        let mut at = 0;
        while at < bytes.len() {
            let Some(header) = chunk_header(bytes, at) else {
                // Loading will refuse it; without a header nothing is unpacked.
                break;
            };
            let Some(data) = bytes.get(header.data.clone()) else { break };
            let weight = match header.kind {
                0 => document(data, left),
                1 => Some(data.len()),
                2 => inflated(data, left),
                // A bundle may be packed in ways of its own, and no client sends one.
                _ => None,
            };
            left = weight.and_then(|weight| left.checked_sub(weight)).ok_or_else(|| {
                Refusal::whole(
                    format!("The message would unpack to more than {} bytes.", limits.unpacked_bytes),
                    "Ask your office to export the job from this device.",
                )
            })?;
            at = header.data.end;
        }
    }
    Ok(())
}

/// The unpacked size of a DEFLATE stream, `None` if it is more than `most`. A broken stream ends where it breaks.
fn inflated(data: &[u8], most: usize) -> Option<usize> {
    let mut decoder = flate2::bufread::DeflateDecoder::new(data);
    let mut buffer = [0; 8192];
    let mut total = 0usize;
    loop {
        match decoder.read(&mut buffer) {
            Ok(0) | Err(_) => return Some(total),
            Ok(n) => {
                total += n;
                if total > most {
                    return None;
                }
            }
        }
    }
}

/// The unpacked size of a document chunk: its columns, of which those with the DEFLATE bit in their specification
/// are packed. `None` if it is more than `most` or the columns are not as the format says.
fn document(data: &[u8], most: usize) -> Option<usize> {
    let mut rest = data;
    let actors = leb(&mut rest)?;
    for _ in 0..actors {
        let length = leb(&mut rest)?;
        rest = rest.get(length..)?;
    }
    let heads = leb(&mut rest)?;
    rest = rest.get(heads.checked_mul(32)?..)?;
    let changes = columns(&mut rest)?;
    let ops = columns(&mut rest)?;
    let mut total = 0usize;
    for (specification, length) in changes.into_iter().chain(ops) {
        let column = rest.get(..length)?;
        rest = &rest[length..];
        let packed = specification & 0b1000 != 0;
        total = total.checked_add(if packed { inflated(column, most)? } else { length })?;
        if total > most {
            return None;
        }
    }
    Some(total.max(data.len()))
}

fn columns(rest: &mut &[u8]) -> Option<Vec<(usize, usize)>> {
    let count = leb(rest)?;
    // Every column takes at least two bytes here.
    if count > rest.len() {
        return None;
    }
    (0..count).map(|_| Some((leb(rest)?, leb(rest)?))).collect()
}

fn leb(rest: &mut &[u8]) -> Option<usize> {
    let mut value = 0usize;
    for i in 0..9u32 {
        let (first, after) = rest.split_first()?;
        *rest = after;
        value |= usize::from(first & 0x7f).checked_shl(7 * i)?;
        if first & 0x80 == 0 {
            return Some(value);
        }
    }
    None
}
