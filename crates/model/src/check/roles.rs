//! At most one partition builds the others, and at most one forwards their messages.

use super::name;
use crate::read::{Context, Document, role_of};
use crate::system::Role;
use diagnostic::Diagnostic;
use diagnostic::codes::partition::ROLE_TWICE;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for (role, word) in [(Role::Control, "control"), (Role::Forwarder, "forwarder")] {
        let partitions = doc.root.tables("partition");
        let mut having = partitions.filter_map(|p| Some((name(p), role_of(p).filter(|r| r.value == role)?.span)));
        let Some((first, first_span)) = having.next() else { continue };
        for (other, span) in having {
            let message = format!("partitions {first} and {other} both have the role \"{word}\"");
            let fault = Diagnostic::new(&ROLE_TWICE, span, message).also(first_span, "first here");
            cx.report(fault.help("give the role to one of them"));
        }
    }
}
