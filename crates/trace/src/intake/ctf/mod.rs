//! Common Trace Format 1.8: a folder with a metadata text and a file for each stream. Which part of the format is read is said
//! in `docs/traces.md`; anything else is refused at its line of the metadata.
//!
//! [`metadata`] reads the text, [`layout`] makes of it how streams are read, [`stream`] reads one file out of the bytes that
//! are [`held`], [`said`] and [`teller`] make events of its fields, threads read streams [`ahead`], [`folder`] merges them by
//! [`merge`].

mod ahead;
mod bits;
mod folder;
mod held;
mod kinds;
mod layout;
mod meaning;
mod merge;
mod metadata;
mod said;
mod stream;
mod teller;
mod ticks;
mod tokens;

pub use folder::Folder;
pub use layout::Layout;
pub use stream::Stream;

use crate::note::{At, Place, Refusal};

/// Longer metadata is refused.
pub const LONGEST_METADATA: usize = 4 << 20;

/// The first bytes of a packet of metadata, in either order of bytes.
const PACKET_MAGIC: [u8; 4] = 0x75D1_1D57_u32.to_le_bytes();

/// Something of the metadata that is not read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Wrong {
    line: u64,
    why: String,
}

impl Wrong {
    fn at(line: u64, why: impl Into<String>) -> Self {
        Self { line, why: why.into() }
    }
}

/// Makes of a folder's metadata how its streams are read.
pub fn read_metadata(bytes: &[u8], source: u16) -> Result<Layout, Refusal> {
    let read = || {
        if bytes.len() > LONGEST_METADATA {
            return Err(Wrong::at(1, format!("metadata of more than {LONGEST_METADATA} bytes is not read")));
        }
        let text = unpack(bytes)?;
        let text = std::str::from_utf8(&text).map_err(|error| {
            let before = text[..error.valid_up_to()].iter().filter(|byte| **byte == b'\n').count();
            Wrong::at(before as u64 + 1, "the metadata is not UTF-8")
        })?;
        layout::layout(&metadata::metadata(text)?)
    };
    read().map_err(|Wrong { line, why }| Refusal {
        place: Place { source, at: At::Line(line) },
        why: format!("the metadata: {why}"),
        remedy: "record without this, or convert the trace to what docs/traces.md says is read".to_owned(),
    })
}

/// Whether metadata begins with a packet instead of text.
pub(crate) fn is_packed(bytes: &[u8]) -> bool {
    let mut turned = PACKET_MAGIC;
    turned.reverse();
    bytes.starts_with(&PACKET_MAGIC) || bytes.starts_with(&turned)
}

/// The text within the packets of metadata; text that is in no packets is itself.
fn unpack(bytes: &[u8]) -> Result<std::borrow::Cow<'_, [u8]>, Wrong> {
    const HEAD: usize = 37;
    if !is_packed(bytes) {
        return Ok(bytes.into());
    }
    let big = !bytes.starts_with(&PACKET_MAGIC);
    let mut text = Vec::new();
    let mut rest = bytes;
    while !rest.is_empty() {
        let wrong = |why: &str| Err(Wrong::at(1, format!("the packet at byte {}: {why}", bytes.len() - rest.len())));
        let Some(head) = rest.get(..HEAD) else { return wrong("it ends within its header") };
        if !is_packed(rest) {
            return wrong("it does not begin with the magic number 75D11D57");
        }
        let number = |at: usize| {
            let own = [head[at], head[at + 1], head[at + 2], head[at + 3]];
            (if big { u32::from_be_bytes(own) } else { u32::from_le_bytes(own) }) as usize
        };
        let (content, size) = (number(24) / 8, number(28) / 8);
        if head[32] != 0 || head[33] != 0 {
            return wrong("it is compressed or encrypted");
        }
        let (Some(own), Some(next)) = (rest.get(HEAD..content), rest.get(size.max(HEAD)..)) else {
            return wrong("its sizes pass the end or are less than its header");
        };
        text.extend_from_slice(own);
        rest = next;
    }
    Ok(text.into())
}

#[cfg(test)]
mod tests;
